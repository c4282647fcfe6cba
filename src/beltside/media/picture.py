"""The only reader of pictures: bounded, turned upright, nothing kept of where it was taken."""

from __future__ import annotations

import io
import math
import warnings
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any, Final

import numpy as np
import numpy.typing as npt
from PIL import Image, ImageOps, UnidentifiedImageError

from beltside.base.errors import BeltsideError, InputError, LimitError
from beltside.media.bounded import Bounds, BrokeDownError, look_at
from beltside.media.limits import GIBIBYTE, MEBIBYTE

MOST_BYTES: Final = 60 * MEBIBYTE
MOST_PIXELS: Final = 120_000_000
MOST_SIDE_PX: Final = 20_000
LEAST_SIDE_PX: Final = 64
KINDS: Final = ("JPEG", "PNG", "WEBP", "TIFF", "BMP")
_FRAME_DIAGONAL_MM: Final = math.hypot(36.0, 24.0)
_FOCAL_35: Final = 0xA405
_EXIF_GROUP: Final = 0x8769
_AS_TAKEN: Final = "the photo as the phone took it, as JPEG or PNG"


class PictureError(BeltsideError):
    """A picture cannot be used: unreadable, damaged, of a kind that is not read here."""


BOUNDS: Final = Bounds(2 * GIBIBYTE, cpu_s=30, wall_s=60.0, output_bytes=MOST_PIXELS * 3 + MEBIBYTE)
"""120 megapixels are 360 MB in red, green and blue, and are held up to four times while they are
unpacked and turned; the largest picture takes about 6 s on one of our cores."""
_ERRORS: Final[dict[str, type[BeltsideError]]] = {"PictureError": PictureError}


@dataclass(frozen=True)
class Picture:
    """A picture, upright.

    Attributes
    ----------
    pixels
        Colours red, green, blue, shape (height, width, 3), uint8.
    focal_px
        Focal length when the camera wrote it down [px].
    name
        The file's name.
    warnings
        What to know before trusting it.
    """

    pixels: npt.NDArray[np.uint8]
    focal_px: float | None = None
    name: str = ""
    warnings: tuple[str, ...] = ()

    @property
    def width_px(self) -> int:
        """Width [px]."""
        return int(self.pixels.shape[1])

    @property
    def height_px(self) -> int:
        """Height [px]."""
        return int(self.pixels.shape[0])


def read_picture(path: Path) -> Picture:
    """The picture in a file: JPEG, PNG, WebP, TIFF or BMP, at most 60 MiB and 120 megapixels.

    The orientation tag is obeyed. Of what the camera wrote down only the focal length is kept.

    Raises
    ------
    InputError
        When there is no such file or it is a folder.
    LimitError
        When it is larger than allowed, as a file or unpacked.
    PictureError
        When it is no picture, of a kind that is not read here, or damaged.
    """
    try:
        if not path.is_file():
            raise InputError(f"{path} is not there or no file", allowed="a picture")
        with path.open("rb") as file:
            data = file.read(MOST_BYTES + 1)
    except (OSError, ValueError) as error:
        if isinstance(error, InputError):
            raise
        raise InputError(f"picture {path} cannot be read", instead="check its name") from error
    return picture_from_bytes(data, path.name)


def picture_from_bytes(data: bytes, name: str) -> Picture:
    """As `read_picture`, from the bytes of a file; `name` is what to call it in messages."""
    if len(data) > MOST_BYTES:
        raise LimitError(
            f"{name} is larger than {MOST_BYTES >> 20} MiB", allowed=f"{MOST_BYTES >> 20} MiB"
        )
    if not data:
        raise PictureError(f"{name} is empty", instead="copy it again")
    if data[4:8] == b"ftyp" and data[8:12] in (b"heic", b"heix", b"mif1", b"msf1", b"heim"):
        raise PictureError(
            f"{name} is a HEIC picture, which is not read here",
            allowed="JPEG, PNG, WebP, TIFF, BMP",
            instead="send it as JPEG, or set the phone's camera to the most compatible format",
        )
    try:
        (shape, focal, notes), out = look_at(
            name, "beltside.media.picture:unpacked", data, BOUNDS, _ERRORS, name=name
        )
    except BrokeDownError as error:
        raise _damaged(name) from error
    with out:
        height, width = (int(one) for one in shape[:2])
        if not (0 < height * width <= MOST_PIXELS and max(height, width) <= MOST_SIDE_PX):
            raise _damaged(name)
        pixels = np.frombuffer(bytearray(out.read(height * width * 3)), np.uint8)
    if len(pixels) != height * width * 3:
        raise _damaged(name)
    focal = focal if isinstance(focal, int | float) and 0 < focal < 1e6 else None
    said = tuple(str(one)[:300] for one in notes)
    return Picture(pixels.reshape(height, width, 3), focal, name, said)


def unpacked(file: IO[bytes], *, name: str) -> tuple[tuple[Any, float | None, list[str]], Any]:
    """A picture's size, focal length and notes, and its pixels; runs in a process of its own."""
    picture = _unpacked(file.read(MOST_BYTES + 1), name)
    return (
        (picture.pixels.shape, picture.focal_px, list(picture.warnings)),
        np.ascontiguousarray(picture.pixels).data.cast("B"),
    )


def _damaged(name: str) -> PictureError:
    return PictureError(f"{name} is damaged: it could not be unpacked", instead="copy it again")


def _unpacked(data: bytes, name: str) -> Picture:
    try:
        # The library warns of a large picture and goes on; here the limits below decide.
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            with Image.open(io.BytesIO(data), formats=KINDS) as image:
                _check_size(name, *image.size)
                image.draft("RGB", image.size)
                exif = image.getexif()
                focal_35 = exif.get_ifd(_EXIF_GROUP).get(_FOCAL_35)
                notes = _notes(image)
                upright = ImageOps.exif_transpose(image)
                pixels = _as_rgb(upright)
    except Image.DecompressionBombError as error:
        raise LimitError(
            f"{name} has more pixels than a picture may",
            allowed=f"{MOST_PIXELS // 1_000_000} megapixels, {MOST_SIDE_PX} a side",
            instead=_AS_TAKEN,
        ) from error
    except UnidentifiedImageError as error:
        raise PictureError(
            f"{name} is no picture, or of a kind that is not read here",
            allowed="JPEG, PNG, WebP, TIFF, BMP",
            instead=_AS_TAKEN,
        ) from error
    except MemoryError as error:
        raise LimitError(f"{name} needs more memory than a picture may") from error
    except BeltsideError:
        raise
    # A damaged picture makes the decoders raise nearly anything.
    except Exception as error:
        raise _damaged(name) from error
    return Picture(pixels, _focal_px(focal_35, pixels.shape), name, notes)


def _check_size(name: str, width: int, height: int) -> None:
    if width * height > MOST_PIXELS or max(width, height) > MOST_SIDE_PX:
        raise LimitError(
            f"{name} is {width} by {height} pixels",
            allowed=f"{MOST_PIXELS // 1_000_000} megapixels, {MOST_SIDE_PX} a side",
            instead=_AS_TAKEN,
        )
    if min(width, height) < LEAST_SIDE_PX:
        raise PictureError(
            f"{name} is only {width} by {height} pixels",
            allowed=f"{LEAST_SIDE_PX} pixels and more a side",
            instead=_AS_TAKEN,
        )


def _notes(image: Image.Image) -> tuple[str, ...]:
    if max(image.size) < 1000:
        return (
            f"the picture is only {image.size[0]} by {image.size[1]} pixels; "
            "the photo as the phone took it measures better",
        )
    return ()


def _as_rgb(image: Image.Image) -> npt.NDArray[np.uint8]:
    if image.mode in ("I;16", "I;16B", "I;16L"):
        grey = (np.asarray(image, dtype=np.float32) / 257.0).astype(np.uint8)
        return np.repeat(grey[:, :, None], 3, axis=2)
    if image.mode in ("RGBA", "LA", "PA"):
        # What shows through is taken to be white.
        ground = Image.new("RGBA", image.size, (255, 255, 255, 255))
        image = Image.alpha_composite(ground, image.convert("RGBA"))
    return np.array(image.convert("RGB"), dtype=np.uint8)


def _focal_px(focal_35: object, shape: tuple[int, ...]) -> float | None:
    """Focal length [px] from its 35 mm equivalent, by the picture's diagonal (CIPA DC-008)."""
    if not isinstance(focal_35, int | float) or not 8.0 <= float(focal_35) <= 400.0:
        return None
    return float(focal_35) / _FRAME_DIAGONAL_MM * math.hypot(shape[0], shape[1])
