"""Pictures as phones send them, and as nobody should."""

from __future__ import annotations

import io
import struct
import zlib
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from beltside.base.errors import InputError, LimitError
from beltside.media.picture import PictureError, picture_from_bytes, read_picture


def corner_marked(width: int = 120, height: int = 80) -> Image.Image:
    pixels = np.full((height, width, 3), 40, np.uint8)
    pixels[:20, :20] = (250, 0, 0)
    return Image.fromarray(pixels)


def coded(image: Image.Image, kind: str = "PNG", **more: object) -> bytes:
    buffer = io.BytesIO()
    image.save(buffer, kind, **more)
    return buffer.getvalue()


@pytest.mark.parametrize("kind", ["PNG", "JPEG", "WEBP", "TIFF", "BMP"])
def test_every_kind_is_read(tmp_path: Path, kind: str) -> None:
    path = tmp_path / "part.bin"
    path.write_bytes(coded(corner_marked(), kind))
    picture = read_picture(path)
    assert picture.pixels.shape == (80, 120, 3)
    assert picture.pixels.dtype == np.uint8
    assert picture.pixels[10, 10, 0] > 180


def test_the_orientation_tag_is_obeyed() -> None:
    # EXIF (CIPA DC-008, tag 0x0112): 6 means that the first row is the picture's right side.
    exif = Image.Exif()
    exif[0x0112] = 6
    picture = picture_from_bytes(coded(corner_marked(), "JPEG", exif=exif), "p.jpg")
    assert picture.pixels.shape == (120, 80, 3)
    assert picture.pixels[10, 70, 0] > 180


def test_the_focal_length_is_read_and_the_place_is_not_kept() -> None:
    # CIPA DC-008, tag 0xA405: focal length in 35 mm film; 26 mm on 43.27 mm of diagonal.
    exif = Image.Exif()
    exif.get_ifd(0x8769)[0xA405] = 26
    exif.get_ifd(0x8825)[1] = "N"
    picture = picture_from_bytes(coded(corner_marked(), "JPEG", exif=exif), "p.jpg")
    assert picture.focal_px == pytest.approx(26 / 43.267 * np.hypot(120, 80), rel=1e-4)
    assert set(vars(picture)) == {"pixels", "focal_px", "name", "warnings"}


def test_grey_and_see_through_pictures_become_colours() -> None:
    grey = picture_from_bytes(coded(Image.new("L", (100, 100), 77)), "g.png")
    assert (grey.pixels == 77).all()
    deep = Image.fromarray(np.full((100, 100), 257 * 99, np.uint16))
    assert (picture_from_bytes(coded(deep), "d.png").pixels == 99).all()
    clear = picture_from_bytes(coded(Image.new("RGBA", (100, 100), (0, 0, 0, 0))), "c.png")
    assert (clear.pixels == 255).all()


def bomb(width: int, height: int) -> bytes:
    """A PNG whose head promises a huge picture (ISO/IEC 15948)."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return (
            struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))
        )

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    body = zlib.compress(bytes(1000))
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", body) + chunk(b"IEND", b"")


@pytest.mark.parametrize("size", [(60_000, 60_000), (30_000, 100), (15_000, 15_000)])
def test_bombs_are_refused_unopened(size: tuple[int, int]) -> None:
    with pytest.raises((LimitError, PictureError)):
        picture_from_bytes(bomb(*size), "bomb.png")


def test_damage_and_strangers_are_named_plainly(tmp_path: Path) -> None:
    good = coded(
        Image.fromarray(np.random.default_rng(1).integers(0, 255, (200, 200, 3), np.uint8))
    )
    with pytest.raises(PictureError, match="damaged"):
        picture_from_bytes(good[: len(good) // 2], "half.png")
    for data in (b"hello, this is no picture", b"%PDF-1.7 and so on", bytes(500)):
        with pytest.raises(PictureError, match="no picture"):
            picture_from_bytes(data, "x.jpg")
    with pytest.raises(PictureError, match="HEIC"):
        picture_from_bytes(b"\0\0\0\x18ftypheic" + bytes(100), "x.heic")
    with pytest.raises(PictureError, match="empty"):
        picture_from_bytes(b"", "x.jpg")
    with pytest.raises(PictureError, match="only 20 by 20"):
        picture_from_bytes(coded(Image.new("RGB", (20, 20))), "x.png")
    with pytest.raises(InputError):
        read_picture(tmp_path)
    with pytest.raises(InputError):
        read_picture(tmp_path / "gone.jpg")
