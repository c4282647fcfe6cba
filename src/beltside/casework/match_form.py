"""Parts to match as the fields of a form: what a photo shows, marks and caliper figures as text."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import tomlkit

from beltside.base.errors import InputError, require_range
from beltside.base.words import count_of
from beltside.casework.formats.toml_file import parse_toml
from beltside.casework.match_part import found_in
from beltside.casework.shop import Shop
from beltside.casework.toml_form import put

SIDES: Final = ("mating", "back")
LEAST_HOLES: Final = 3
MOST_HOLES: Final = 24
MOST_DISCS: Final = 4
"""So many round things beside the part are offered; a textured bench shows dozens."""
TAP_PX: Final = 3.0
MOST_TAP_PX: Final = 60.0
_CSS_PX: Final = 3.0
"""How far a finger's tap is off, in pixels of the screen once zoomed in: own choice."""

Place = tuple[float, float]


@dataclass(frozen=True)
class RoundThing:
    """A round edge in a picture: its middle and mean diameter [px]."""

    x_px: float
    y_px: float
    size_px: float


@dataclass(frozen=True)
class PhotoSeen:
    """What was found in a photo without taps: holes of the part, round things beside it."""

    width_px: int
    height_px: int
    holes: tuple[RoundThing, ...]
    discs: tuple[RoundThing, ...]


def photo_seen(shop: Shop, sha256: str) -> PhotoSeen:
    """What a stored photo of a flat part shows.

    Raises
    ------
    MissingError, PictureError, LimitError
        When it is not there or can't be read.
    """
    shop.record.file_kind(sha256)
    found = found_in(shop.files.path(sha256))
    holes, discs = (
        tuple(RoundThing(one.x_px, one.y_px, one.size_px) for one in shapes)
        for shapes in (found.part.holes, found.part.discs[:MOST_DISCS])
    )
    return PhotoSeen(found.width_px, found.height_px, holes, discs)


@dataclass(frozen=True)
class PartMarks:
    """A part as marked on its photo, or measured by caliper.

    Attributes
    ----------
    holes
        Middles of its holes: [px] in a photo, else (x, y, diameter or None) [mm].
    known
        Taps on the known thing [px]: one in a disc, three or more on its edge, or the two ends.
    tap_px
        How many pixels of the photo one of the screen was when they were tapped.
    others
        "side", "height_mm", "hub_offset_mm", as typed.
    """

    holes: tuple[tuple[float, ...], ...]
    known: tuple[Place, ...] = ()
    tap_px: float = 1.0
    others: Mapping[str, str] | None = None


def part_toml(
    name: str, marks: PartMarks, *, photo: bool, sizes: Mapping[str, str] | None = None
) -> str:
    """The part file of a part.

    Parameters
    ----------
    photo
        Whether it was marked on a photo, called by the part's name.
    sizes
        Of the known thing, as typed: "disc_mm" or "length_mm", and "lower_mm".

    Raises
    ------
    InputError
        Fewer than 3 or more than 24 holes, or nothing of known size.
    """
    if not LEAST_HOLES <= len(marks.holes) <= MOST_HOLES:
        raise InputError(
            f"{count_of(len(marks.holes), 'hole')} marked on the {name} part",
            allowed=f"{LEAST_HOLES} to {MOST_HOLES}",
            instead="tapping into each hole, or its places by caliper",
        )
    document = tomlkit.document()
    document.add("name", name)
    for key in ("side", "height_mm", "hub_offset_mm"):
        put(document, key, (marks.others or {}).get(key, ""), words=("side",))
    if photo:
        document.add("photo", f"{name}.jpg")
        error = min(max(TAP_PX, _CSS_PX * marks.tap_px), MOST_TAP_PX)
        document.add("tap_error_px", round(error, 2))
        document.add("known", _known(name, marks.known, sizes or {}))
    holes = tomlkit.aot()
    for hole in marks.holes:
        row = tomlkit.table()
        unit = "px" if photo else "mm"
        row.add(f"x_{unit}", round(hole[0], 2))
        row.add(f"y_{unit}", round(hole[1], 2))
        if len(hole) > 2 and not photo:
            row.add("diameter_mm", round(hole[2], 2))
        holes.append(row)
    document.add("hole", holes)
    return tomlkit.dumps(document)


def _known(name: str, taps: Sequence[Place], sizes: Mapping[str, str]) -> Any:
    known = tomlkit.table()
    places = [[round(x, 2), round(y, 2)] for x, y in taps]
    if sizes.get("length_mm"):
        if len(places) != 2:
            raise InputError(
                f"{count_of(len(places), 'end')} of the known length tapped on the {name} part's "
                "photo",
                allowed="2",
            )
        put(known, "length_mm", sizes["length_mm"])
        known.add("between", places)
    elif sizes.get("disc_mm"):
        if len(places) == 2 or not places:
            raise InputError(
                f"the round thing of known size is not marked on the {name} part's photo",
                allowed="one that was found, or five taps on its edge",
                instead="a photo in which it lies free beside the part",
            )
        put(known, "diameter_mm", sizes["disc_mm"])
        known.add("taps", places)
    else:
        raise InputError(
            "nothing says how large anything in the photos is",
            allowed="the diameter of a round thing beside the part, or a length between two points",
        )
    put(known, "lower_mm", sizes.get("lower_mm", ""))
    return known


def read_place(text: str) -> tuple[float, ...]:
    """A place as text: "412.5,305", for caliper figures with the diameter behind it.

    Raises
    ------
    InputError
        When it is none.

    >>> read_place("84,6,8.5")
    (84.0, 6.0, 8.5)
    """
    try:
        found = tuple(float(cell) for cell in text.split(","))
    except ValueError:
        found = ()
    if not 2 <= len(found) <= 3 or not all(math.isfinite(one) for one in found):
        raise InputError(f'"{text[:40]}" is no place', allowed="two numbers with a comma between")
    for value in found:
        require_range("a place", value, -20000.0, 20000.0, "")
    return found


@dataclass(frozen=True)
class ShownPart:
    """A part with its holes as numbered in the result.

    Attributes
    ----------
    name
        What it is called.
    photo
        Its stored photo; "" for one measured by caliper.
    width, height
        Of the picture [px], or of the room the figures take [mm].
    holes
        Middles and diameters, y down, in the picture's own measure.
    """

    name: str
    photo: str
    width: float
    height: float
    holes: tuple[RoundThing, ...]


def shown_part(shop: Shop, given: Mapping[str, Any]) -> ShownPart:
    """A part of a kept match as it was marked; `given` is how the match keeps it.

    Raises
    ------
    InputError, PictureError, MissingError
        When its photo is gone or can't be read.
    """
    name, photo = str(given["name"]), given.get("photo")
    text = parse_toml(given["toml"], Path(f"{name}.toml")) if given.get("toml") else {}
    rows = text.get("hole", [])
    if photo:
        seen = photo_seen(shop, str(photo))
        holes = tuple(_marked(row, seen) for row in rows) or seen.holes
        return ShownPart(name, str(photo), seen.width_px, seen.height_px, holes)
    side = -1.0 if text.get("side") == "back" else 1.0
    places = [(side * float(row["x_mm"]), -float(row["y_mm"])) for row in rows]
    left, top = min(x for x, _ in places) - 15.0, min(y for _, y in places) - 15.0
    return ShownPart(
        name,
        "",
        max(x for x, _ in places) - left + 15.0,
        max(y for _, y in places) - top + 15.0,
        tuple(
            RoundThing(x - left, y - top, float(row.get("diameter_mm") or 8.0))
            for (x, y), row in zip(places, rows, strict=True)
        ),
    )


def _marked(row: Mapping[str, Any], seen: PhotoSeen) -> RoundThing:
    """A marked hole with the size of the round shape it fell into."""
    if row.get("taps"):
        taps = row["taps"]
        x, y = (sum(float(tap[i]) for tap in taps) / len(taps) for i in (0, 1))
    else:
        x, y = float(row["x_px"]), float(row["y_px"])
    near = [one for one in seen.holes if math.hypot(one.x_px - x, one.y_px - y) < one.size_px / 2]
    if near:
        return min(near, key=lambda one: one.size_px)
    return RoundThing(x, y, 0.02 * max(seen.width_px, seen.height_px))
