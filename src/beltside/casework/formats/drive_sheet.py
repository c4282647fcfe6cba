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
from beltside.casework.formats.toml_file import parse_toml, read_toml
from beltside.casework.shipped import bearing_table
from beltside.drive.bearing_table import find_bearing
from beltside.drive.check import CYLINDERS, FACES, LIMITS, PROFILES, STROKES, TURNS, sheet_problems
from beltside.drive.sheet import Bearing, Belt, DriveSheet, Engine, Pulley, Tensioner


def _limits(key: str) -> dict[str, Any]:
    """The range of a key for the JSON Schema; `drive.check` is what enforces it."""
    return {"minimum": LIMITS[key].low, "maximum": LIMITS[key].high}


_PULLEY_NAME: Final = f"^(crank|({'|'.join(PULLEY_PARTS[1:])})(-[2-9])?)$"


class EngineKeys(Keys):
    """What the crank speed estimate needs to know of the engine."""

    cylinders: Count = Field(
        description=f"number of cylinders, one of {', '.join(map(str, CYLINDERS))}",
        json_schema_extra={"enum": list(CYLINDERS)},
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
    crank_turns: Word | None = Field(
        default=None,
        description="how the crank turns seen from the front, when not as the pulleys are listed",
        json_schema_extra={"enum": [*TURNS, None]},
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
    pitch_line_mm: Number | None = Field(
        default=None,
        description="cords outside the diameter of a ribbed pulley in mm, 2 when left out",
        json_schema_extra=_limits("pitch_line_mm"),
    )
    back_line_mm: Number | None = Field(
        default=None,
        description="cords outside the flat of a back-side pulley in mm, 1.5 when left out",
        json_schema_extra=_limits("back_line_mm"),
    )
    mass_g_per_m: Number | None = Field(
        default=None,
        description="mass of the belt in g per m, weighed",
        json_schema_extra=_limits("mass_g_per_m"),
    )
    tension_n: Number | None = Field(
        default=None,
        description="tension of the standing belt in N, from a strum or a gauge",
        json_schema_extra=_limits("tension_n"),
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
    torque_nm: Number | None = Field(
        default=None,
        description="torque it takes from the belt in N m",
        json_schema_extra=_limits("torque_nm"),
    )
    offset_mm: Number | None = Field(
        default=None,
        description="how far it stands forward of the straight-edge in mm, negative for behind",
        json_schema_extra=_limits("offset_mm"),
    )


class TensionerKeys(Keys):
    """How the belt is tightened: a pulley on an arm that swings, or one that slides in a slot."""

    part: PartName = Field(
        default="tensioner",
        description="the pulley that moves",
        json_schema_extra={"pattern": _PULLEY_NAME},
    )
    pivot_x_mm: Number | None = Field(
        default=None,
        description="the arm's pivot right of the crank in mm",
        json_schema_extra=_limits("pivot_x_mm"),
    )
    pivot_y_mm: Number | None = Field(
        default=None,
        description="the arm's pivot above the crank in mm",
        json_schema_extra=_limits("pivot_y_mm"),
    )
    slide_deg: Number | None = Field(
        default=None,
        description="along which line it slides: 0 for level, 90 for straight up",
        json_schema_extra=_limits("slide_deg"),
    )
    takes_up_deg: Number | None = Field(
        default=None,
        description="how far the arm still swings to its tight stop in degrees",
        json_schema_extra=_limits("takes_up"),
    )
    lets_out_deg: Number | None = Field(
        default=None,
        description="how far the arm swings back to its loose stop in degrees",
        json_schema_extra=_limits("lets_out"),
    )
    takes_up_mm: Number | None = Field(
        default=None,
        description="how far it still slides to its tight stop in mm",
        json_schema_extra=_limits("takes_up"),
    )
    lets_out_mm: Number | None = Field(
        default=None,
        description="how far it slides back to its loose stop in mm",
        json_schema_extra=_limits("lets_out"),
    )
    spring: bool = Field(
        default=True, description="true when a spring keeps the tension, false when bolted fast"
    )
    arm_torque_nm: Number | None = Field(
        default=None,
        description="the spring's torque on the arm where it stands in N m",
        json_schema_extra=_limits("arm_torque_nm"),
    )


class DriveSheetKeys(Keys):
    """A drive sheet: pulleys and belt of one engine."""

    name: Text = Field(default="", description="a name for this drive")
    engine: EngineKeys = Field(description="[engine] with at least cylinders")
    belt: BeltKeys = Field(default_factory=BeltKeys, description="[belt]")
    tensioner: TensionerKeys | None = Field(
        default=None, description="[tensioner], how the belt is tightened"
    )
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
    return _read(_forgiven(read_toml(path)), path)


def drive_sheet_from_text(text: str, name: str = "drive sheet") -> ReadSheet:
    """A drive sheet given as text; `name` is what messages call it.

    Raises
    ------
    InputError
        As `load_drive_sheet`.
    """
    path = Path(name)
    return _read(_forgiven(parse_toml(text, path)), path)


def _read(data: dict[str, Any], path: Path) -> ReadSheet:
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
                torque_nm=pulley.torque_nm,
                offset_mm=pulley.offset_mm,
            )
        )
    sheet = DriveSheet(
        engine=Engine(**keys.engine.model_dump()),
        belt=Belt(**keys.belt.model_dump()),
        pulleys=tuple(pulleys),
        name=keys.name,
        tensioner=_tensioner(file, keys.tensioner, problems),
    )
    return sheet, tuple(f"{file}: {note}" for note in notes), problems


def _tensioner(file: str, given: TensionerKeys | None, problems: list[Problem]) -> Tensioner | None:
    if given is None:
        return None
    slides = given.slide_deg is not None
    right, wrong = ("mm", "deg") if slides else ("deg", "mm")
    for key in ("takes_up", "lets_out"):
        if getattr(given, f"{key}_{wrong}") is not None:
            problems.append(
                Problem(
                    file,
                    ("tensioner", f"{key}_{wrong}"),
                    f"given for a tensioner that {'slides' if slides else 'swings'}",
                    f"{key}_{right}",
                    "slide_deg for one that slides, pivot_x_mm and pivot_y_mm for one that swings",
                )
            )
    return Tensioner(
        part=given.part,
        pivot_x_mm=given.pivot_x_mm,
        pivot_y_mm=given.pivot_y_mm,
        slide_deg=given.slide_deg,
        takes_up=getattr(given, f"takes_up_{right}"),
        lets_out=getattr(given, f"lets_out_{right}"),
        spring=given.spring,
        arm_torque_nm=given.arm_torque_nm,
    )


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
