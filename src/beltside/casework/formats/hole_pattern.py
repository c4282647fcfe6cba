"""Hole pattern files: the holes of one flange, its gasket line and its bolts."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Final

from pydantic import Field, ValidationError

from beltside.base.errors import InputError
from beltside.bolting.flange import (
    COVERS,
    GASKETS,
    HOLE_KINDS,
    MOST_BOLTS,
    Flange,
    Hole,
    check_flange,
)
from beltside.bolting.heads import CLEARANCE_MM
from beltside.bolting.threads import Thread, parse_thread
from beltside.casework.formats.fields import Count, Keys, Number, OneOrMore, Text, Word
from beltside.casework.formats.problems import (
    FileProblemsError,
    Problem,
    from_pydantic,
    with_labels,
)
from beltside.casework.formats.toml_file import read_toml

STRETCH_MM: Final = 25.0
"""Length of bolt that stretches when the file doesn't say (common practice, no source)."""
_LONGEST_NAME: Final = 12
_MOST_HOLES: Final = 60


class FlangeKeys(Keys):
    """Cover and gasket."""

    outline_mm: Annotated[list[tuple[Number, Number]], Field(max_length=400)] = Field(
        default_factory=list,
        description="middle of the gasket's sealing face, [[x, y], ...] in mm, once round",
    )
    cover: Word = Field(
        default="aluminium",
        description="what the cover is made of: " + ", ".join(COVERS),
        json_schema_extra={"enum": list(COVERS)},
    )
    cover_thickness_mm: Number = Field(
        default=12.0,
        description="thickness of the cover in mm, ribs counted in",
        json_schema_extra={"minimum": 1, "maximum": 100},
    )
    gasket: Word = Field(
        default="paper",
        description="kind of gasket: " + ", ".join(GASKETS),
        json_schema_extra={"enum": list(GASKETS)},
    )


class BoltsKeys(Keys):
    """What all bolts have in common."""

    thread: Text | None = Field(default=None, description='thread, "M6" or "M8x1.0"')
    stretch_mm: Number = Field(
        default=STRETCH_MM,
        description="length of bolt that stretches in mm: under the head to inside the thread",
        json_schema_extra={"minimum": 3, "maximum": 500},
    )
    torque: Text | None = Field(
        default=None, description='torque of the maker\'s service data with its unit, "10 N m"'
    )
    torque_source: Text | None = Field(default=None, description="where that torque stands")


class HoleKeys(Keys):
    """One hole."""

    x_mm: Number = Field(description="centre to the right in mm, a number")
    y_mm: Number = Field(description="centre upwards in mm, a number")
    name: Text | None = Field(
        default=None,
        description="what you call it, up to 12 letters",
        max_length=_LONGEST_NAME,
    )
    kind: Word = Field(
        default="bolt",
        description="what sits in it: " + ", ".join(HOLE_KINDS),
        json_schema_extra={"enum": list(HOLE_KINDS)},
    )
    diameter_mm: Number | None = Field(
        default=None,
        description="diameter of the hole in mm, a number",
        json_schema_extra={"minimum": 2, "maximum": 50},
    )
    turn: Count | None = Field(
        default=None,
        description="its place in the tightening order where the maker gives one, from 1",
        json_schema_extra={"minimum": 1, "maximum": MOST_BOLTS},
    )


class HolePatternKeys(Keys):
    """A hole pattern: the holes of one flange, seen from the side the bolts go in."""

    name: Text = Field(default="", description="a name for this flange")
    flange: FlangeKeys = Field(default_factory=FlangeKeys, description="[flange]")
    bolts: BoltsKeys = Field(default_factory=BoltsKeys, description="[bolts]")
    hole: Annotated[list[HoleKeys], OneOrMore] = Field(
        description=f"[[hole]] once for each hole, at most {_MOST_HOLES}",
        max_length=_MOST_HOLES,
    )


@dataclass(frozen=True)
class HolePattern:
    """A flange as read from a file.

    Attributes
    ----------
    name
        Of the flange.
    flange
        Holes, gasket line and stiffness, checked.
    diameters_mm
        Of each hole, in the order entered; None where neither given nor known by the thread.
    thread
        Of the bolts, or None.
    stretch_mm
        Length of bolt that stretches [mm].
    torque, torque_source
        As written, or None.
    """

    name: str
    flange: Flange
    diameters_mm: tuple[float | None, ...]
    thread: Thread | None
    stretch_mm: float
    torque: str | None
    torque_source: str | None


def load_hole_pattern(path: Path) -> HolePattern:
    """The hole pattern in a TOML file.

    Raises
    ------
    InputError
        When the file is not there or is not TOML (naming the line), or as `FileProblemsError`
        naming what is wrong with it.
    LimitError
        When the file is larger than 1 MB.
    """
    data = read_toml(path)
    try:
        keys = HolePatternKeys.model_validate(data)
    except ValidationError as error:
        problems = from_pydantic(path.name, HolePatternKeys, error)
        raise FileProblemsError(with_labels(problems, data)) from None
    problems = _number_problems(path.name, keys)
    thread = None
    try:
        thread = parse_thread(keys.bolts.thread) if keys.bolts.thread else None
    except InputError as error:
        problems.append(_problem(path.name, ("bolts", "thread"), error))
    flange = _flange(keys)
    if not problems:
        try:
            check_flange(flange)
        except InputError as error:
            problems.append(_problem(path.name, (), error))
    if problems:
        raise FileProblemsError(with_labels(problems, data))
    return HolePattern(
        name=keys.name,
        flange=flange,
        diameters_mm=tuple(_diameter_mm(hole, thread) for hole in keys.hole),
        thread=thread,
        stretch_mm=keys.bolts.stretch_mm,
        torque=keys.bolts.torque,
        torque_source=keys.bolts.torque_source,
    )


def _flange(keys: HolePatternKeys) -> Flange:
    return Flange(
        holes=tuple(
            Hole(hole.x_mm, hole.y_mm, hole.name or str(number), hole.kind, hole.turn)
            for number, hole in enumerate(keys.hole, start=1)
        ),
        outline_mm=tuple(keys.flange.outline_mm),
        cover=keys.flange.cover,
        cover_thickness_mm=keys.flange.cover_thickness_mm,
        gasket=keys.flange.gasket,
    )


def _diameter_mm(hole: HoleKeys, thread: Thread | None) -> float | None:
    if hole.diameter_mm is not None:
        return hole.diameter_mm
    return CLEARANCE_MM.get(thread.diameter_mm) if thread else None


def _number_problems(file: str, keys: HolePatternKeys) -> list[Problem]:
    problems = []
    if not 3.0 <= keys.bolts.stretch_mm <= 500.0:
        problems.append(
            Problem(file, ("bolts", "stretch_mm"), f"{keys.bolts.stretch_mm:g} mm", "3 to 500 mm")
        )
    for number, hole in enumerate(keys.hole, start=1):
        if not (math.isfinite(hole.x_mm) and math.isfinite(hole.y_mm)):
            problems.append(Problem(file, ("hole", number), "its place is no number"))
        if hole.diameter_mm is not None and not 2.0 <= hole.diameter_mm <= 50.0:
            problems.append(
                Problem(
                    file,
                    ("hole", number, "diameter_mm"),
                    f"{hole.diameter_mm:g} mm",
                    "2 to 50 mm",
                )
            )
    return problems


def _problem(file: str, where: tuple[str | int, ...], error: InputError) -> Problem:
    return Problem(file, where, error.given, error.allowed, error.instead)
