"""Is this drive sheet possible? All that is wrong with it, named at once."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from beltside.base.errors import InputError, OutOfRangeError, nearest, require_range
from beltside.base.words import PULLEY_PARTS, part_kind, suggest_part
from beltside.drive.sheet import Bearing, DriveSheet, Pulley, Tensioner

CYLINDERS: Final = (1, 2, 3, 4, 5, 6, 8, 10, 12, 16)
STROKES: Final = (2, 4)
TURNS: Final = ("clockwise", "anticlockwise")
FACES: Final = ("ribbed", "back")
PROFILES: Final = ("PK",)


@dataclass(frozen=True)
class Limit:
    """Lowest and highest allowed value of a key, with its unit."""

    low: float
    high: float
    unit: str


LIMITS: Final[Mapping[str, Limit]] = MappingProxyType(
    {
        "idle_rpm": Limit(300, 2000, "rpm"),
        "crank_sprocket_teeth": Limit(10, 60, "teeth"),
        "ribs": Limit(2, 14, "ribs"),
        "length_mm": Limit(300, 4000, "mm"),
        "x_mm": Limit(-2000, 2000, "mm"),
        "y_mm": Limit(-2000, 2000, "mm"),
        "diameter_mm": Limit(20, 400, "mm"),
        "poles": Limit(2, 48, "poles"),
        "vanes": Limit(2, 24, "vanes"),
        "fan_blades": Limit(2, 30, "blades"),
        "balls": Limit(3, 30, "balls"),
        "ball_mm": Limit(1, 40, "mm"),
        "pitch_mm": Limit(5, 200, "mm"),
        "contact_deg": Limit(0, 45, "degrees"),
        "pitch_line_mm": Limit(0, 6, "mm"),
        "back_line_mm": Limit(0, 6, "mm"),
        "mass_g_per_m": Limit(10, 1000, "g/m"),
        "tension_n": Limit(10, 5000, "N"),
        "torque_nm": Limit(0, 300, "N m"),
        "offset_mm": Limit(-50, 50, "mm"),
        "pivot_x_mm": Limit(-2000, 2000, "mm"),
        "pivot_y_mm": Limit(-2000, 2000, "mm"),
        "slide_deg": Limit(-360, 360, "degrees"),
        "takes_up": Limit(0, 120, "degrees or mm"),
        "lets_out": Limit(0, 120, "degrees or mm"),
        "arm_torque_nm": Limit(0.5, 200, "N m"),
    }
)
"""Ranges that hold any passenger-car front drive (common practice, no source)."""


@dataclass(frozen=True)
class SheetProblem:
    """One thing wrong with a sheet.

    Attributes
    ----------
    where
        Key path as in the drive sheet file, pulleys counted from 1: ("pulley", 2, "diameter_mm").
    given, allowed, instead
        The three parts of the message, as in `base.errors`.
    """

    where: tuple[str | int, ...]
    given: str
    allowed: str = ""
    instead: str = ""


def sheet_problems(sheet: DriveSheet) -> tuple[SheetProblem, ...]:
    """Everything wrong with the sheet, empty when it can be used.

    A sheet without pulleys is allowed (crank speed needs only the engine), and so is one with the
    crank alone; any other pulley needs the crank beside it.
    """
    return tuple(_problems(sheet))


def check_sheet(sheet: DriveSheet) -> DriveSheet:
    """Give back the sheet when nothing is wrong with it.

    Raises
    ------
    InputError
        Naming every problem.
    """
    problems = sheet_problems(sheet)
    if problems:
        said = (
            str(InputError(f"{key_path(p.where)}: {p.given}", allowed=p.allowed, instead=p.instead))
            for p in problems
        )
        raise InputError(" ".join(said))
    return sheet


def key_path(where: tuple[str | int, ...]) -> str:
    """A key path in words.

    >>> key_path(("pulley", 2, "bearing", "balls"))
    'pulley 2, bearing.balls'
    """
    text = ""
    for step in where:
        if isinstance(step, int):
            text += f" {step}"
        elif not text:
            text = step
        else:
            text += (", " if text[-1].isdigit() else ".") + step
    return text


def _problems(sheet: DriveSheet) -> Iterator[SheetProblem]:
    engine, belt = sheet.engine, sheet.belt
    yield from _one_of(("engine", "cylinders"), engine.cylinders, CYLINDERS)
    yield from _one_of(("engine", "strokes"), engine.strokes, STROKES)
    yield from _in_range(("engine", "idle_rpm"), engine.idle_rpm)
    yield from _in_range(("engine", "crank_sprocket_teeth"), engine.crank_sprocket_teeth)
    if engine.crank_turns is not None:
        yield from _one_of(("engine", "crank_turns"), engine.crank_turns, TURNS)
    yield from _one_of(("belt", "profile"), belt.profile, PROFILES)
    yield from _in_range(("belt", "ribs"), belt.ribs)
    for key in ("length_mm", "pitch_line_mm", "back_line_mm", "mass_g_per_m", "tension_n"):
        yield from _in_range(("belt", key), getattr(belt, key))
    yield from _part_problems(sheet.pulleys)
    for number, pulley in enumerate(sheet.pulleys, start=1):
        yield from _pulley_problems(("pulley", number), pulley)
    if sheet.tensioner is not None:
        yield from _tensioner_problems(sheet.tensioner, [pulley.part for pulley in sheet.pulleys])


def _part_problems(pulleys: tuple[Pulley, ...]) -> Iterator[SheetProblem]:
    seen: dict[str, int] = {}
    for number, pulley in enumerate(pulleys, start=1):
        where = ("pulley", number, "part")
        kind = part_kind(pulley.part)
        if kind not in PULLEY_PARTS or (kind == "crank" and pulley.part != "crank"):
            close = suggest_part(pulley.part, PULLEY_PARTS)
            yield SheetProblem(
                where,
                f'"{pulley.part}" is not a pulley',
                allowed=", ".join(PULLEY_PARTS) + ", all but the crank also with -2 to -9",
                instead=f'"{close}"' if close else "",
            )
        elif pulley.part in seen:
            yield SheetProblem(
                where,
                f'"{pulley.part}" stands here a second time, first at pulley {seen[pulley.part]}',
                allowed="each part once",
                instead="" if kind == "crank" else f'"{kind}-2" to "{kind}-9" for a further {kind}',
            )
        seen.setdefault(pulley.part, number)
    if pulleys and "crank" not in seen:
        yield SheetProblem(
            ("pulley",),
            "no pulley is the crank",
            allowed='exactly one pulley with part = "crank"',
            instead="adding the crank pulley: every ratio is counted from it",
        )


def _pulley_problems(where: tuple[str | int, ...], pulley: Pulley) -> Iterator[SheetProblem]:
    yield from _one_of((*where, "face"), pulley.face, FACES)
    for key in (
        "diameter_mm",
        "x_mm",
        "y_mm",
        "poles",
        "vanes",
        "fan_blades",
        "torque_nm",
        "offset_mm",
    ):
        yield from _in_range((*where, key), getattr(pulley, key))
    if (pulley.x_mm is None) != (pulley.y_mm is None):
        alone, missing = ("x_mm", "y_mm") if pulley.y_mm is None else ("y_mm", "x_mm")
        yield SheetProblem(
            (*where, missing),
            f"{alone} is given without {missing}",
            allowed="both x_mm and y_mm, or neither",
        )
    if pulley.poles is not None and pulley.poles % 2:
        yield SheetProblem(
            (*where, "poles"),
            f"{pulley.poles} poles",
            allowed="an even number: poles come in pairs",
            instead=f"{pulley.poles * 2} if {pulley.poles} are the pole pairs",
        )
    if pulley.bearing is not None:
        yield from bearing_problems((*where, "bearing"), pulley.bearing)


def _tensioner_problems(tensioner: Tensioner, parts: list[str]) -> Iterator[SheetProblem]:
    for key in ("pivot_x_mm", "pivot_y_mm", "slide_deg", "takes_up", "lets_out", "arm_torque_nm"):
        yield from _in_range(("tensioner", key), getattr(tensioner, key))
    movable = [part for part in parts if part != "crank"]
    if tensioner.part not in movable:
        yield SheetProblem(
            ("tensioner", "part"),
            f'"{tensioner.part}" is not a pulley of this drive that could move',
            allowed=", ".join(movable) or "a pulley besides the crank",
            instead="adding its [[pulley]], or naming the pulley that tightens the belt",
        )
    if (tensioner.pivot_x_mm is None) != (tensioner.pivot_y_mm is None):
        yield SheetProblem(
            ("tensioner",),
            "one of pivot_x_mm and pivot_y_mm is missing",
            allowed="both, for an arm that swings, or neither",
        )
    elif tensioner.pivot_x_mm is not None and tensioner.slide_deg is not None:
        yield SheetProblem(
            ("tensioner",),
            "both a pivot and slide_deg",
            allowed="pivot_x_mm and pivot_y_mm for an arm that swings, or slide_deg for a slot",
        )


def bearing_problems(where: tuple[str | int, ...], bearing: Bearing) -> tuple[SheetProblem, ...]:
    """Everything wrong with a bearing's geometry."""
    ranges = [
        problem
        for key in ("balls", "ball_mm", "pitch_mm", "contact_deg")
        for problem in _in_range((*where, key), getattr(bearing, key))
    ]
    if ranges:
        return tuple(ranges)
    # Neighbouring ball centres are a chord apart: D sin(pi / n), which must hold one ball.
    largest_mm = bearing.pitch_mm * math.sin(math.pi / bearing.balls)
    if bearing.ball_mm >= largest_mm:
        return (
            SheetProblem(
                where,
                f"{bearing.balls} balls of {bearing.ball_mm:g} mm do not fit on a pitch circle "
                f"of {bearing.pitch_mm:g} mm",
                allowed=f"balls under {largest_mm:.3g} mm there",
                instead="checking that pitch_mm is a diameter, through the ball centres",
            ),
        )
    return ()


def _one_of(
    where: tuple[str | int, ...], value: object, allowed: tuple[object, ...]
) -> Iterator[SheetProblem]:
    if value not in allowed:
        words = [str(word) for word in allowed]
        close = nearest(str(value), words) if isinstance(value, str) else None
        yield SheetProblem(
            where,
            f'"{value}"' if isinstance(value, str) else str(value),
            allowed=", ".join(words),
            instead=f'"{close}"' if close else "",
        )


def _in_range(where: tuple[str | int, ...], value: float | None) -> Iterator[SheetProblem]:
    if value is None:
        return
    key = str(where[-1])
    limit = LIMITS[key]
    try:
        require_range(key, value, limit.low, limit.high, limit.unit)
    except OutOfRangeError as error:
        yield SheetProblem(where, error.given, error.allowed, error.instead)
