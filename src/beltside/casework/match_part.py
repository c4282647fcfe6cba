"""One flat part, from its file or its photo, as holes, outline and heights in millimetres."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import lru_cache
from pathlib import Path
from typing import Final

import numpy as np
import numpy.typing as npt

from beltside.base.errors import InputError
from beltside.bolting.match import Holes, holes
from beltside.casework.formats.part_file import SIDES, PartFileKeys
from beltside.casework.formats.photo_keys import KnownKeys, load_keys, refuse
from beltside.media.picture import read_picture
from beltside.photo.edges import Ellipse
from beltside.photo.holes import FoundPart, find_part
from beltside.photo.plane import Circle, Marks, PlaneFit, fit_plane

Array = npt.NDArray[np.float64]

PICTURE_SUFFIXES: Final = (".jpg", ".jpeg", ".png", ".webp", ".tif", ".tiff", ".bmp", ".heic")
_EDGE_SIGMA_PX: Final = 0.5
_FLOOR_MM: Final = 0.05


@dataclass(frozen=True)
class MeasuredPart:
    """A part as measured, seen on its mating face.

    Attributes
    ----------
    name
        What to call it.
    holes
        See `bolting.match.Holes`.
    outline_mm, ports_mm
        Corners, shape (n, 2) each; the outline may be empty [mm].
    height_mm, hub_offset_mm
        By caliper, when given [mm].
    how
        In words, where the places came from.
    tilt_deg
        Tilt of the picture, when there was one [degrees].
    found
        Whether the holes were found without taps.
    """

    name: str
    holes: Holes
    outline_mm: Array
    ports_mm: tuple[Array, ...] = ()
    height_mm: float | None = None
    hub_offset_mm: float | None = None
    how: str = ""
    tilt_deg: float | None = None
    found: bool = False
    warnings: tuple[str, ...] = field(default=())


def read_part(path: Path, *, disc_mm: float | None = None) -> MeasuredPart:
    """A part from its TOML file, or straight from a photo of it beside a disc of known size.

    Raises
    ------
    InputError
        When the file says too little or something impossible.
    """
    if path.suffix.lower() in PICTURE_SUFFIXES:
        if disc_mm is None:
            raise InputError(
                f"{path.name} alone has no scale",
                allowed="a photo with a round thing of known size beside the part",
                instead="--disc-mm with that thing's diameter, or a part file with [known]",
            )
        keys = PartFileKeys(name=path.stem, known=KnownKeys(diameter_mm=disc_mm))
        return _from_picture(path, keys, found_in(path))
    keys = load_keys(path, PartFileKeys)
    if keys.side not in SIDES:
        raise refuse(path, ("side",), f'"{keys.side}"', '"mating" or "back"')
    kinds = {hole.kind() for hole in keys.hole}
    for number, hole in enumerate(keys.hole, start=1):
        if not hole.kind():
            raise refuse(
                path,
                ("hole", number),
                "its place is not clear",
                "x_mm and y_mm, or x_px and y_px, or three or more taps",
            )
    if "mm" in kinds and len(kinds) > 1:
        raise refuse(path, ("hole",), "millimetres and pixels mixed", "one of them in a file")
    if kinds == {"mm"}:
        return _seen_from(_from_millimetres(keys, path), keys.side)
    if keys.known is None:
        raise refuse(path, (), "[known] is missing", "something of known size in the picture")
    if wrong := keys.known.problem():
        raise refuse(path, ("known",), "not clear", wrong)
    seen = found_in(path.parent / keys.photo) if keys.photo else None
    return _seen_from(_from_picture(path, keys, seen), keys.side)


def _from_millimetres(keys: PartFileKeys, path: Path) -> MeasuredPart:
    places = np.array([[hole.x_mm, hole.y_mm] for hole in keys.hole], dtype=float)
    sizes = np.array([hole.diameter_mm or np.nan for hole in keys.hole], dtype=float)
    return MeasuredPart(
        keys.name or path.stem,
        holes(places, keys.error_mm, sizes),
        _corners(keys.outline_mm),
        tuple(_corners(port.corners_mm) for port in keys.port if port.corners_mm),
        keys.height_mm,
        keys.hub_offset_mm,
        f"measured, each place within {keys.error_mm:g} mm",
    )


def _corners(corners: list[list[float]] | None) -> Array:
    return np.array(corners, dtype=float).reshape(-1, 2) if corners else np.zeros((0, 2))


@dataclass(frozen=True)
class PictureFound:
    """A picture without its pixels, and what was found in it without taps."""

    width_px: int
    height_px: int
    focal_px: float | None
    warnings: tuple[str, ...]
    part: FoundPart


def found_in(path: Path) -> PictureFound:
    """What a picture of a flat part shows; looked for once while the file stays as it is.

    Raises
    ------
    PictureError, LimitError
        When it can't be read.
    """
    real = path.resolve()
    try:
        now = real.stat()
    except OSError:
        read_picture(path)  # Says what is wrong.
        raise
    return _found_in(real, now.st_mtime_ns, now.st_size)


@lru_cache(maxsize=16)
def _found_in(path: Path, _written_ns: int, _bytes: int) -> PictureFound:
    picture = read_picture(path)
    return PictureFound(
        picture.width_px,
        picture.height_px,
        picture.focal_px,
        picture.warnings,
        find_part(picture.pixels),
    )


def _from_picture(path: Path, keys: PartFileKeys, picture: PictureFound | None) -> MeasuredPart:
    width = float(picture.width_px) if picture else keys.width_px
    height = float(picture.height_px) if picture else keys.height_px
    if width is None or height is None:
        raise refuse(path, (), "the picture's size is missing", "photo, or width_px and height_px")
    found = picture.part if picture else FoundPart(np.zeros((0, 2)), (), ())
    shapes = (*found.holes, *found.discs)
    if not keys.hole and picture is None:
        raise refuse(path, ("hole",), "no hole", "three or more, or a photo to find them in")
    assert keys.known is not None
    circles: list[Circle] = []
    marks: list[Marks] = []
    sizes_mm: list[float | None] = []
    known_circle, known_marks = _known(path, keys.known, keys.tap_error_px, found)
    order: list[tuple[str, int]] = []
    if keys.hole:
        for hole in keys.hole:
            near = _nearest(shapes, hole.x_px, hole.y_px)
            if hole.kind() == "edge":
                order.append(("circle", len(circles)))
                circles.append(Circle(np.array(hole.taps, dtype=float), keys.tap_error_px))
            elif near is not None:
                order.append(("circle", len(circles)))
                circles.append(_edge(near))
            else:
                order.append(("point", len(marks)))
                marks.append(
                    Marks(np.array([[hole.x_px, hole.y_px]], dtype=float), keys.tap_error_px)
                )
            sizes_mm.append(hole.diameter_mm)
    else:
        for one in found.holes:
            order.append(("circle", len(circles)))
            circles.append(_edge(one))
            sizes_mm.append(None)
        if len(order) < 3:
            raise InputError(
                f"{path.name}: {len(order)} holes were found without taps",
                allowed="3 or more",
                instead="a part file with a tap in each hole ([[hole]] x_px, y_px)",
            )
    corners = [_corners(keys.outline_px) if keys.outline_px else found.outline_px]
    corners += [_corners(port.corners_px) for port in keys.port if port.corners_px]
    fit = fit_plane(
        width,
        height,
        [*circles, *known_circle],
        [*marks, *known_marks],
        focal_px=picture.focal_px if picture else None,
    )
    measured = _holes(fit, order, len(circles) + len(known_circle), sizes_mm)
    assert fit.mm_per_unit is not None
    outlines = [fit.view.to_plane(one) * fit.mm_per_unit for one in corners]
    found_alone = not keys.hole
    return MeasuredPart(
        keys.name or path.stem,
        replace(measured, complete=not found_alone),
        outlines[0],
        tuple(outlines[1:]),
        keys.height_mm,
        keys.hub_offset_mm,
        ("found in" if found_alone else "marked in")
        + f" the picture, tilt {fit.view.tilt_deg:.0f} degrees undone",
        fit.view.tilt_deg,
        found_alone,
        _warnings(path, keys.known, fit, picture),
    )


def _warnings(
    path: Path, known: KnownKeys, fit: PlaneFit, picture: PictureFound | None
) -> tuple[str, ...]:
    said = [f"photo {path.name}: {note}" for note in (picture.warnings if picture else ())]
    if known.lower_mm == 0.0:
        said.append(
            f"{path.stem}: what has the known size is taken to lie level with the part's face; "
            "when it lies on the bench, say how much lower: the part's thickness"
        )
    if fit.rival is not None:
        said.append(f"{path.name}: the tilt is not settled; mark the edges of more holes")
    if fit.tap_error_factor > 2.0:
        said.append(f"{path.name}: the marks fit a flat part badly; look for a wrong one")
    return tuple(said)


def _edge(one: Ellipse) -> Circle:
    # An edge's points are not independent: light and shadow move whole stretches of it.
    return Circle(one.points(16), _EDGE_SIGMA_PX)


def _nearest(shapes: tuple[Ellipse, ...], x: float | None, y: float | None) -> Ellipse | None:
    """The smallest round shape whose inside a tap hit, or nearly."""
    if x is None or y is None:
        return None
    hit = [s for s in shapes if np.hypot(s.x_px - x, s.y_px - y) < 0.6 * s.size_px]
    return min(hit, key=lambda s: s.size_px) if hit else None


def _known(
    path: Path, known: KnownKeys, tap_px: float, found: FoundPart
) -> tuple[list[Circle], list[Marks]]:
    if known.length_mm is not None:
        ends = np.array(known.between, dtype=float)
        return [], [Marks(ends, tap_px, np.array([[0.0, 0.0], [known.length_mm, 0.0]]))]
    if known.width_mm is not None and known.height_mm is not None:
        w, h = known.width_mm, known.height_mm
        corners = np.array(known.corners, dtype=float)
        # Seen from the front the corners may run either way; the layout has to run the same.
        one, other = corners[1] - corners[0], corners[2] - corners[1]
        sign = 1.0 if one[0] * other[1] - one[1] * other[0] < 0.0 else -1.0
        return [], [
            Marks(corners, tap_px, np.array([[0, 0], [w, 0], [w, sign * h], [0, sign * h]]))
        ]
    assert known.diameter_mm is not None
    taps = known.taps or []
    if len(taps) >= 3:
        circle = Circle(np.array(taps, dtype=float), tap_px)
    else:
        shape: Ellipse | None
        if taps:
            shape = _nearest((*found.discs, *found.holes), taps[0][0], taps[0][1])
        else:
            shape = found.discs[0] if found.discs else None
        if shape is None:
            raise refuse(
                path,
                ("known",),
                "the disc of known size was not found in the picture",
                "taps = five or more points on its edge",
            )
        circle = _edge(shape)
    return [
        replace(
            circle,
            diameter_mm=known.diameter_mm,
            diameter_sigma_mm=known.error_mm,
            forward_mm=-known.lower_mm,
        )
    ], []


def _holes(
    fit: PlaneFit, order: list[tuple[str, int]], n_circles: int, sizes_mm: list[float | None]
) -> Holes:
    """Holes in their order, with their part of the covariance."""
    pick, places, size, spread = [], [], [], []
    for (kind, number), given in zip(order, sizes_mm, strict=True):
        start = 3 * number if kind == "circle" else 3 * n_circles + 2 * number
        pick += [start, start + 1]
        places.append(fit.circles[number, :2] if kind == "circle" else fit.points[number])
        if given is not None:
            size.append(given)
            spread.append(0.1)
        elif kind == "circle":
            size.append(2.0 * fit.circles[number, 2])
            spread.append(2.0 * float(np.sqrt(fit.covariance[start + 2, start + 2])))
        else:
            size.append(np.nan)
            spread.append(np.nan)
    centers = np.array(places)
    covariance = fit.covariance[np.ix_(pick, pick)] + _FLOOR_MM**2 * np.eye(len(pick))
    if fit.rival is not None:
        other = np.array(
            [
                fit.rival.circles[number, :2] if kind == "circle" else fit.rival.points[number]
                for kind, number in order
            ]
        )
        apart = (other - other.mean(axis=0) - centers + centers.mean(axis=0)).ravel()
        covariance = covariance + 0.25 * np.outer(apart, apart)
    return Holes(centers, covariance, np.array(size), np.array(spread))


def _seen_from(part: MeasuredPart, side: str) -> MeasuredPart:
    """The part as seen on its mating face."""
    if side == "mating":
        return part
    mirror = np.array([-1.0, 1.0])
    signs = np.tile(mirror, len(part.holes.places_mm))
    return replace(
        part,
        holes=replace(
            part.holes,
            places_mm=part.holes.places_mm * mirror,
            covariance_mm2=part.holes.covariance_mm2 * signs[:, None] * signs,
        ),
        outline_mm=part.outline_mm * mirror,
        ports_mm=tuple(port * mirror for port in part.ports_mm),
    )
