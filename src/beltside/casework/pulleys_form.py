"""Pulleys on a job's photo as the fields of a form: shapes that suggest themselves, taps, sizes."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any, Final

import tomlkit

from beltside.base.errors import InputError
from beltside.base.words import count_of
from beltside.casework.formats.toml_file import parse_toml
from beltside.casework.photo_pulleys import FrontResult, measure_front, suggest_rims
from beltside.casework.shop import JobSheet, Shop
from beltside.casework.shop_measure import text_as_file
from beltside.casework.toml_form import put
from beltside.media.picture import read_picture

MOST_RIMS: Final = 24
LEAST_TAPS: Final = 3
TAP_PX: Final = 3.0
MOST_TAP_PX: Final = 60.0
_CSS_PX: Final = 3.0
"""How far a finger's tap is off, in pixels of the screen: own choice."""


@dataclass(frozen=True)
class FrontSeen:
    """A photo of the front: its size, and the shapes that may be rims.

    Each shape is middle x and y, half axes [px] and angle [deg], as the rim file has them.
    """

    width_px: int
    height_px: int
    shapes: tuple[tuple[float, ...], ...]


@dataclass(frozen=True)
class MarkedRim:
    """A rim as marked: its part, and the shape accepted or the taps on it [px].

    `diameter_mm` is its known diameter as typed, empty when it is not known.
    """

    part: str
    face: str = "ribbed"
    shape: tuple[float, ...] = ()
    taps: tuple[tuple[float, float], ...] = ()
    diameter_mm: str = ""


@dataclass(frozen=True)
class MarkedFront:
    """All that is marked on a photo of the front.

    Attributes
    ----------
    rims
        Those with a part's name, in any order.
    known_taps, known_mm
        Points on the edge of something round at the pulleys' level [px], and its diameter as typed.
    scale
        Pixels of the photo under one of the screen when it was tapped.
    cylinders, ribs
        Of engine and belt, as typed; used where the job has no drive sheet.
    """

    rims: Sequence[MarkedRim]
    known_taps: Sequence[tuple[float, float]] = ()
    known_mm: str = ""
    scale: float = 1.0
    cylinders: str = ""
    ribs: str = ""


def front_seen(shop: Shop, sha256: str) -> FrontSeen:
    """What suggests itself on a stored photo.

    Raises
    ------
    MissingError, PictureError, LimitError
        When it is not there or can't be read.
    """
    shop.record.file_kind(sha256)
    return _seen(shop.files.path(sha256))


# A stored file never changes.
@lru_cache(maxsize=32)
def _seen(path: Path) -> FrontSeen:
    picture = read_picture(path)
    shapes = tuple(
        (one.x_px, one.y_px, one.a_px, one.b_px, math.degrees(one.angle_rad))
        for one in suggest_rims(path).ellipses
    )
    return FrontSeen(picture.width_px, picture.height_px, shapes)


def front_on_job(shop: Shop, job: JobSheet, photo: str, marked: MarkedFront) -> FrontResult:
    """Pulleys from the rims marked on a job's photo; nothing is kept.

    The belt is taken to meet them clockwise about their middle, the crank first.

    Raises
    ------
    InputError
        When too little is marked, or something impossible: which, and what would do.
    PictureError, LimitError
        When the photo can't be read.
    """
    shop.record.file_kind(photo)
    toml = rim_toml(marked, engine_and_belt(job))
    with text_as_file(toml, "rims.toml") as path:
        return measure_front(path, shop.files.path(photo))


def engine_and_belt(job: JobSheet) -> Mapping[str, Any]:
    """[engine] and [belt] of the job's drive sheet, by name; empty without one that can be read."""
    there = job.newest("drive-sheet")
    if there is None:
        return {}
    try:
        read = parse_toml(str(there.body["toml"]), Path("drive.toml"))
    except InputError:
        return {}
    found = {name: read[name] for name in ("engine", "belt") if isinstance(read.get(name), dict)}
    if "belt" in found:
        # The length is the old drive's until it is measured on the new one.
        found["belt"] = {key: value for key, value in found["belt"].items() if key != "length_mm"}
    return found


def rim_toml(marked: MarkedFront, known: Mapping[str, Any]) -> str:
    """The rim file of what is marked; `known` has [engine] and [belt] where they are known."""
    named = [one for one in marked.rims if one.part]
    if not named:
        raise InputError(
            "no rim has a part's name",
            allowed="two and more, the crank among them",
            instead="saying which part each shape is",
        )
    parts = [one.part for one in named]
    document = tomlkit.document()
    if any(one.taps for one in named) or marked.known_taps:
        document.add(
            "tap_error_px", round(min(max(_CSS_PX * marked.scale, TAP_PX), MOST_TAP_PX), 2)
        )
    engine, belt = tomlkit.table(), tomlkit.table()
    for key, value in dict(known.get("engine", {})).items():
        engine.add(key, value)
    for key, value in dict(known.get("belt", {})).items():
        belt.add(key, value)
    if marked.cylinders:
        engine.pop("cylinders", None)
        put(engine, "cylinders", marked.cylinders)
    if marked.ribs:
        belt.pop("ribs", None)
        put(belt, "ribs", marked.ribs)
    if engine:
        document.add("engine", engine)
    if belt:
        document.add("belt", belt)
    if marked.known_mm:
        disc = tomlkit.table()
        put(disc, "diameter_mm", marked.known_mm)
        disc.add("taps", [[round(x, 1), round(y, 1)] for x, y in marked.known_taps])
        document.add("known", disc)
    rims = tomlkit.aot()
    seen: dict[str, int] = {}
    for one in _clockwise(named):
        seen[one.part] = seen.get(one.part, 0) + 1
        count = seen[one.part]
        row = tomlkit.table()
        row.add("part", one.part if count == 1 else f"{one.part}-{count}")
        row.add("face", one.face)
        if one.shape:
            row.add("ellipse", [round(value, 2) for value in one.shape])
        else:
            row.add("taps", [[round(x, 1), round(y, 1)] for x, y in one.taps])
        if one.diameter_mm:
            put(row, "diameter_mm", one.diameter_mm)
        rims.append(row)
    document.add("rim", rims)
    if "crank" not in parts:
        raise InputError(
            "the crank pulley is not marked", instead="saying which shape is the crank"
        )
    return tomlkit.dumps(document)


def _clockwise(rims: Sequence[MarkedRim]) -> list[MarkedRim]:
    """Clockwise about their middle as seen in the picture, the crank first."""
    places = [_middle(one) for one in rims]
    x, y = (sum(values) / len(values) for values in zip(*places, strict=True))
    # Down is up in a picture: the angle grows clockwise.
    turn = [math.atan2(there[1] - y, there[0] - x) for there in places]
    first = next((turn[k] for k, one in enumerate(rims) if one.part == "crank"), 0.0)
    order = sorted(range(len(rims)), key=lambda k: (turn[k] - first) % (2.0 * math.pi))
    return [rims[k] for k in order]


def _middle(rim: MarkedRim) -> tuple[float, float]:
    if rim.shape:
        return rim.shape[0], rim.shape[1]
    if len(rim.taps) < LEAST_TAPS:
        raise InputError(
            f"{count_of(len(rim.taps), 'tap')} on the {rim.part}",
            allowed="3 or more, spread round the rim; 5 and more are better",
        )
    return (
        sum(x for x, _ in rim.taps) / len(rim.taps),
        sum(y for _, y in rim.taps) / len(rim.taps),
    )
