"""Drive sheet files: one engine's pulleys and belt."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Final

from pydantic import Discriminator, Field, Tag, ValidationError

from beltside.base.errors import InputError
from beltside.base.words import PULLEY_PARTS
from beltside.casework.formats.fields import (
    Count,
    Keys,
    Number,
    OneOrMore,
    PartName,
    Text,
    Word,
)
from beltside.casework.formats.problems import (
    FileProblemsError,
    Problem,
    from_pydantic,
    patched,
    touches,
    with_labels,
)
from beltside.casework.formats.toml_file import read_toml
from beltside.casework.shipped import bearing_table
from beltside.drive.bearing_table import find_bearing
from beltside.drive.check import CYLINDERS, FACES, LIMITS, PROFILES, STROKES, sheet_problems
from beltside.drive.sheet import Bearing, Belt, DriveSheet, Engine, Pulley


def _limits(key: str) -> dict[str, Any]:
    """The range of a key for the JSON Schema; `drive.check` is what enforces it."""
    return {"minimum": LIMITS[key].low, "maximum": LIMITS[key].high}


_PULLEY_NAME: Final = f"^(crank|({'|'.join(PULLEY_PARTS[1:])})(-[2-9])?)$"


class EngineKeys(Keys):
    """What the crank speed estimate needs to know of the engine."""

    cylinders: Count = Field(
        description="number of cylinders", json_schema_extra={"enum": list(CYLINDERS)}
    )
    strokes: Count = Field(
        default=4, description="4, or 2 for a two-stroke", json_schema_extra={"enum": list(STROKES)}
    )
    idle_rpm: Number | None = Field(
        default=None,
        description="idle speed in turns per minute, a number",
        json_schema_extra=_limits("idle_rpm"),
    )
    crank_sprocket_teeth: Count | None = Field(
        default=None,
        description="teeth of the crank's timing sprocket, a whole number",
        json_schema_extra=_limits("crank_sprocket_teeth"),
    )


class BeltKeys(Keys):
    """The belt."""

    profile: Text = Field(
        default=PROFILES[0], description='profile, "PK"', json_schema_extra={"enum": list(PROFILES)}
    )
    ribs: Count | None = Field(
        default=None,
        description="number of ribs, a whole number",
        json_schema_extra=_limits("ribs"),
    )
    length_mm: Number | None = Field(
        default=None,
        description="effective length in mm, a number",
        json_schema_extra=_limits("length_mm"),
    )


class BearingKeys(Keys):
    """A ball bearing's geometry."""

    balls: Count = Field(
        description="number of balls in one row", json_schema_extra=_limits("balls")
    )
    ball_mm: Number = Field(
        description="ball diameter in mm, a number", json_schema_extra=_limits("ball_mm")
    )
    pitch_mm: Number = Field(
        description="diameter through the ball centres in mm, a number",
        json_schema_extra=_limits("pitch_mm"),
    )
    contact_deg: Number = Field(
        default=0.0,
        description="contact angle in degrees, a number",
        json_schema_extra=_limits("contact_deg"),
    )


def _bearing_branch(value: Any) -> str:
    return "number" if isinstance(value, str | int) else "table"


class PulleyKeys(Keys):
    """One pulley, in the order the belt meets them, clockwise seen from the front."""

    part: PartName = Field(
        description="the part's name: " + ", ".join(PULLEY_PARTS),
        json_schema_extra={"pattern": _PULLEY_NAME},
    )
    diameter_mm: Number = Field(
        description="diameter in mm over the ribs, or over the flat for a back-side pulley",
        json_schema_extra=_limits("diameter_mm"),
    )
    face: Word = Field(
        default="ribbed",
        description='"ribbed", or "back" when the belt\'s back runs on it',
        json_schema_extra={"enum": list(FACES)},
    )
    x_mm: Number | None = Field(
        default=None,
        description="centre right of the crank in mm, a number",
        json_schema_extra=_limits("x_mm"),
    )
    y_mm: Number | None = Field(
        default=None,
        description="centre above the crank in mm, a number",
        json_schema_extra=_limits("y_mm"),
    )
    poles: Count | None = Field(
        default=None,
        description="magnet poles (not pairs), a whole number",
        json_schema_extra=_limits("poles"),
    )
    vanes: Count | None = Field(
        default=None,
        description="impeller vanes, a whole number",
        json_schema_extra=_limits("vanes"),
    )
    fan_blades: Count | None = Field(
        default=None,
        description="fan blades, a whole number",
        json_schema_extra=_limits("fan_blades"),
    )
    bearing: (
        Annotated[
            Annotated[BearingKeys, Tag("table")] | Annotated[Text, Tag("number")],
            Discriminator(_bearing_branch),
        ]
        | None
    ) = Field(
        default=None,
        description='{ balls = 8, ball_mm = 6.75, pitch_mm = 28.5 }, or a number such as "6203"',
    )


class DriveSheetKeys(Keys):
    """A drive sheet: pulleys and belt of one engine."""

    name: Text = Field(default="", description="a name for this drive")
    engine: EngineKeys = Field(description="[engine] with at least cylinders")
    belt: BeltKeys = Field(default_factory=BeltKeys, description="[belt]")
    pulley: Annotated[list[PulleyKeys], OneOrMore] = Field(
        default_factory=list,
        max_length=40,
        description="[[pulley]] once for each pulley, at most 40; the crank is one of them",
    )


_PLACEHOLDERS: Final[Mapping[str, Any]] = {
    "engine": {"cylinders": 4},
    "cylinders": 4,
    "part": "",
    "diameter_mm": 100.0,
    "pulley": {"part": "", "diameter_mm": 100.0},
    "balls": 8,
    "ball_mm": 6.75,
    "pitch_mm": 28.5,
}


@dataclass(frozen=True)
class ReadSheet:
    """A drive sheet as read; `notes` say what was filled in or renamed."""

    sheet: DriveSheet
    path: Path
    notes: tuple[str, ...] = ()


def load_drive_sheet(path: Path) -> DriveSheet:
    """The drive sheet in a TOML file.

    Raises
    ------
    InputError
        When the file is not there or is not TOML (naming the line), or as `FileProblemsError`
        naming everything wrong with it.
    LimitError
        When the file is larger than 1 MB.
    """
    return read_drive_sheet(path).sheet


def read_drive_sheet(path: Path) -> ReadSheet:
    """As `load_drive_sheet`, with the notes made in reading."""
    data = _forgiven(read_toml(path))
    problems: list[Problem] = []
    try:
        keys = DriveSheetKeys.model_validate(data)
    except ValidationError as error:
        problems = from_pydantic(path.name, DriveSheetKeys, error)
        try:
            keys = DriveSheetKeys.model_validate(patched(data, problems, _PLACEHOLDERS))
        except ValidationError:
            raise FileProblemsError(with_labels(problems, data)) from None
    sheet, notes, bearing_faults = _build(path.name, keys)
    # What touches a key already complained of speaks of a filled-in value: "no pulley is the
    # crank" may only mean that a name could not be read.
    problems += [
        fault
        for fault in (
            *(
                Problem(path.name, found.where, found.given, found.allowed, found.instead)
                for found in sheet_problems(sheet)
            ),
            *bearing_faults,
        )
        if not touches(fault.where, problems)
    ]
    if problems:
        raise FileProblemsError(with_labels(problems, data))
    return ReadSheet(sheet, path, notes)


def _forgiven(data: dict[str, Any]) -> dict[str, Any]:
    """Accepts the belt's own marking: profile "6PK" is six ribs of PK."""
    belt = data.get("belt")
    if isinstance(belt, dict) and isinstance(belt.get("profile"), str):
        marking = re.fullmatch(r"(\d{1,2})?\s*(PK)", belt["profile"].strip().upper())
        if marking and belt.get("ribs") in (None, int(marking[1] or 0)):
            ribs = {"ribs": int(marking[1])} if marking[1] else {}
            return {**data, "belt": {**belt, "profile": marking[2], **ribs}}
        if marking and not marking[1]:
            return {**data, "belt": {**belt, "profile": marking[2]}}
    return data


def _build(file: str, keys: DriveSheetKeys) -> tuple[DriveSheet, tuple[str, ...], list[Problem]]:
    names, notes = _numbered([pulley.part for pulley in keys.pulley])
    problems: list[Problem] = []
    pulleys = []
    for number, (name, pulley) in enumerate(zip(names, keys.pulley, strict=True), start=1):
        bearing = None
        try:
            bearing = _bearing(pulley.bearing)
        except InputError as error:
            problems.append(
                Problem(
                    file,
                    ("pulley", number, "bearing"),
                    error.given,
                    error.allowed,
                    error.instead,
                )
            )
        pulleys.append(
            Pulley(
                part=name,
                diameter_mm=pulley.diameter_mm,
                face=pulley.face,
                x_mm=pulley.x_mm,
                y_mm=pulley.y_mm,
                poles=pulley.poles,
                vanes=pulley.vanes,
                fan_blades=pulley.fan_blades,
                bearing=bearing,
            )
        )
    sheet = DriveSheet(
        engine=Engine(**keys.engine.model_dump()),
        belt=Belt(**keys.belt.model_dump()),
        pulleys=tuple(pulleys),
        name=keys.name,
    )
    return sheet, tuple(f"{file}: {note}" for note in notes), problems


def _bearing(given: BearingKeys | str | None) -> Bearing | None:
    if given is None:
        return None
    if isinstance(given, str):
        return find_bearing(given, bearing_table()).bearing
    return Bearing(**given.model_dump())


def _numbered(parts: list[str]) -> tuple[list[str], list[str]]:
    """Gives the second of two parts called the same the next free number, -2 to -9."""
    taken = set(parts)
    seen: set[str] = set()
    names, notes = [], []
    for position, part in enumerate(parts, start=1):
        name = part
        if part in seen and part in PULLEY_PARTS and part != "crank":
            free = (f"{part}-{n}" for n in range(2, 10) if f"{part}-{n}" not in taken)
            name = next(free, part)
            if name != part:
                notes.append(f'pulley {position}, a further {part}, is called "{name}"')
        taken.add(name)
        seen.add(name)
        names.append(name)
    return names, notes
