"""Case files: the takes, what the checks showed, and the drive sheet they belong to."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Annotated, Any, Final, Literal

from pydantic import BeforeValidator, Field, ValidationError

from beltside.base.errors import InputError, LimitError, OutOfRangeError, require_range
from beltside.base.words import PARTS, PULLEY_PARTS, part_kind, suggest_part
from beltside.casework.formats.drive_sheet import ReadSheet, read_drive_sheet
from beltside.casework.formats.fields import (
    MIC_SPACING_RANGE_MM,
    STAND_OFF_RANGE_MM,
    Keys,
    Number,
    OneOrMore,
    OnOff,
    PartName,
    Text,
    Word,
    as_part,
    as_word,
)
from beltside.casework.formats.load_words import as_loads, unknown_loads_said
from beltside.casework.formats.problems import (
    FileProblemsError,
    Problem,
    from_pydantic,
    patched,
    touches,
    with_labels,
)
from beltside.casework.formats.toml_file import file_beside, nearest_file, read_toml
from beltside.casework.phone_setup import Setup, positions
from beltside.drive.sheet import DriveSheet

FRONT: Final = "front of engine"
CRANK_RPM_RANGE: Final = (300.0, 8000.0)

_PLACES_WITHOUT_PULLEY: Final = tuple(
    part for part in PARTS if part not in PULLEY_PARTS and part != "none"
)
_KNOWN_PARTS: Final = tuple(part for part in PARTS if part != "none")


class TakeKeys(Keys):
    """One recording and its conditions."""

    file: Text = Field(description="the recording, relative to the case file")
    belt: Annotated[Literal["on", "off", "unknown"], OnOff] = Field(
        default="unknown", description='"on" or "off"'
    )
    place: Text = Field(
        default=FRONT,
        description='"front of engine", or a part\'s name when the probe or phone is held on it',
    )
    load: Annotated[list[Text], OneOrMore] = Field(
        default_factory=list, description='what is switched on, any of ["lights", "ac", "steering"]'
    )
    crank_rpm: Number | None = Field(
        default=None,
        description="crank speed read off a dash or scan tool in turns per minute, a number",
        json_schema_extra={"minimum": CRANK_RPM_RANGE[0], "maximum": CRANK_RPM_RANGE[1]},
    )
    mic_spacing_mm: Number | None = Field(
        default=None,
        description="stereo take: distance of the phone's two microphones",
        json_schema_extra={"minimum": MIC_SPACING_RANGE_MM[0], "maximum": MIC_SPACING_RANGE_MM[1]},
    )
    stand_off_mm: Number | None = Field(
        default=None,
        description="stereo take: distance from the phone to the pulleys",
        json_schema_extra={"minimum": STAND_OFF_RANGE_MM[0], "maximum": STAND_OFF_RANGE_MM[1]},
    )
    phone_at: Annotated[list[Text], OneOrMore] = Field(
        default_factory=list,
        description="stereo take: where the phone was, a part or mm right of (above) the crank, "
        "several for a phone moved steadily from one to the next",
    )
    held: Annotated[Literal["across", "upright"], BeforeValidator(as_word)] = Field(
        default="across",
        description='stereo take: "across" for microphones left and right, "upright" for one '
        "above the other",
    )


class FindingKeys(Keys):
    """What a check showed."""

    check: Word = Field(description='name of the check, "spin-by-hand"')
    part: PartName | None = Field(default=None, description="the part it was done on")
    outcome: Word = Field(description='what it showed, "rough"')


class CaseKeys(Keys):
    """A case: takes, findings and the drive sheet they belong to."""

    drive: Text = Field(description="the drive sheet's file, relative to the case file")
    take: Annotated[list[TakeKeys], OneOrMore] = Field(
        default_factory=list,
        max_length=200,
        description="[[take]] once for each recording, at most 200",
    )
    finding: Annotated[list[FindingKeys], OneOrMore] = Field(
        default_factory=list,
        max_length=200,
        description="[[finding]] once for each check done, at most 200",
    )
    conditions: dict[str, bool] = Field(
        default_factory=dict,
        description="what holds on this car, `engine-cold = false`: true or false for each",
    )
    replaced: Annotated[list[Word], OneOrMore] = Field(
        default_factory=list,
        max_length=50,
        description='repairs done on this job that did not end the noise, ["idler"]',
    )
    costs: dict[str, Any] = Field(
        default_factory=dict,
        description="this job's own costs, laid over suspects/costs.toml",
    )


@dataclass(frozen=True)
class Take:
    """One recording with its conditions.

    Attributes
    ----------
    file
        Where the recording lies, resolved.
    belt
        "on", "off", or None when nobody said.
    place
        Where the phone was, as written.
    place_part
        The part the probe or phone was held on; None for the front of the engine or free text.
    load
        What was switched on, in our words where they are known ones (`load_words`).
    crank_rpm
        Crank speed read off a dash or scan tool [1/min], or None.
    name
        The file as written in the case.
    setup
        How the phone was held for a take that is to tell a direction, or None.
    """

    file: Path
    belt: Literal["on", "off"] | None
    place: str
    place_part: str | None
    load: tuple[str, ...]
    crank_rpm: float | None
    name: str
    setup: Setup | None = None


@dataclass(frozen=True)
class Finding:
    """What a check showed, on which part when it was done on one."""

    check: str
    part: str | None
    outcome: str


@dataclass(frozen=True)
class Case:
    """One car, one complaint; `notes` say what was filled in, renamed or read as free text.

    `conditions`, `replaced` and `costs` are as written: the catalogue and the table of costs know
    which words are allowed.
    """

    sheet: DriveSheet
    sheet_path: Path
    takes: tuple[Take, ...]
    findings: tuple[Finding, ...]
    path: Path
    notes: tuple[str, ...] = ()
    conditions: Mapping[str, bool] = field(default_factory=dict)
    replaced: tuple[str, ...] = ()
    costs: Mapping[str, Any] = field(default_factory=dict)


_PLACEHOLDERS: Final[Mapping[str, Any]] = {
    "drive": "",
    "file": "",
    "check": "",
    "outcome": "",
    "take": {"file": ""},
    "finding": {"check": "", "outcome": ""},
}


def load_case(path: Path, *, may_be_empty: bool = False) -> Case:
    """The case in a TOML file, or in a folder that holds one.

    Parameters
    ----------
    path
        A case file, or a folder with `case.toml` or with exactly one TOML file that is a case.
    may_be_empty
        Whether a case without take and finding is let pass: one about to be asked about.

    A recording that is not there is left out with a note as long as another one is.

    Raises
    ------
    InputError
        When there is no case or it is not TOML (naming the line), or as `FileProblemsError` naming
        everything wrong with it and with its drive sheet, missing files included.
    LimitError
        When a file is larger than 1 MB.
    """
    file = find_case_file(path) if path.is_dir() else path
    data = read_toml(file)
    problems: list[Problem] = []
    try:
        keys = CaseKeys.model_validate(data)
    except ValidationError as error:
        problems = from_pydantic(file.name, CaseKeys, error)
        try:
            keys = CaseKeys.model_validate(patched(data, problems, _PLACEHOLDERS))
        except ValidationError:
            raise FileProblemsError(with_labels(problems, data)) from None
    found: list[Problem] = []
    absent: list[Problem] = []
    notes: list[str] = []
    read, sheet_faults = _sheet(file, keys.drive, found)
    parts = tuple(pulley.part for pulley in read.sheet.pulleys) if read else None
    takes = _takes(file, keys.take, parts, read.sheet if read else None, found, absent, notes)
    findings = _findings(file, keys.finding, parts, found, notes)
    if found or problems or sheet_faults or not takes:
        found += absent
    else:
        notes += [_left_out(one, keys.take) for one in absent]
    if not (takes or absent or findings or problems or may_be_empty):
        found.append(
            Problem(
                file.name,
                (),
                "there is no take and no finding",
                "at least one [[take]] or one [[finding]]",
            )
        )
    problems += [problem for problem in found if not touches(problem.where, problems)]
    if problems or sheet_faults or read is None:
        raise FileProblemsError([*with_labels(problems, data), *sheet_faults])
    return Case(
        sheet=read.sheet,
        sheet_path=read.path,
        takes=takes,
        findings=findings,
        path=file,
        notes=(*read.notes, *notes),
        conditions=dict(keys.conditions),
        replaced=tuple(keys.replaced),
        costs=dict(keys.costs),
    )


def find_case_file(folder: Path) -> Path:
    """The case file of a folder: `case.toml`, or the only TOML file that is a case.

    Raises
    ------
    InputError
        When there is none or more than one; says which files were seen.
    """
    seen = sorted(entry for entry in folder.iterdir() if entry.suffix.lower() == ".toml")
    named = [entry for entry in seen if entry.name.lower() == "case.toml"]
    if named:
        return named[0]
    cases, broken = [], []
    for entry in seen:
        try:
            data = read_toml(entry)
        except (InputError, LimitError):
            broken.append(entry)
            continue
        if not data.keys().isdisjoint(CaseKeys.model_fields):
            cases.append(entry)
    if len(cases) == 1:
        return cases[0]
    if not cases and len(broken) == 1:
        # Read again by the caller, who is told the line that is wrong.
        return broken[0]
    names = ", ".join(entry.name for entry in seen) or "no TOML file"
    raise InputError(
        f"{folder} holds {names}; "
        + (f"{len(cases)} of them are cases" if cases else "none of them is a case"),
        allowed='one case file, with drive = "..." and [[take]] or [[finding]]',
        instead="calling it case.toml" if cases else "writing case.toml, see docs/formats.md",
    )


def _sheet(
    file: Path, name: str, problems: list[Problem]
) -> tuple[ReadSheet | None, list[Problem]]:
    """The drive sheet, or what is wrong with it."""
    path, is_there = file_beside(file.parent, name)
    if not is_there:
        problems.append(_missing(file, ("drive",), name, path, "a drive sheet"))
        return None, []
    try:
        return read_drive_sheet(path), []
    except FileProblemsError as error:
        return None, list(error.problems)
    except InputError as error:
        return None, [Problem(path.name, (), error.given, error.allowed, error.instead)]


def _takes(
    file: Path,
    keys: list[TakeKeys],
    parts: tuple[str, ...] | None,
    sheet: DriveSheet | None,
    problems: list[Problem],
    absent: list[Problem],
    notes: list[str],
) -> tuple[Take, ...]:
    """The takes whose recording is there; `absent` gets those whose is not."""
    takes: list[Take] = []
    for number, take in enumerate(keys, start=1):
        path, is_there = file_beside(file.parent, take.file)
        where = ("take", number, "file")
        if not is_there:
            absent.append(_missing(file, where, take.file, path, "a recording"))
        elif any(path == other.file for other in takes):
            problems.append(
                Problem(
                    file.name,
                    where,
                    f'"{take.file}" stands here a second time',
                    "each recording once: the same sound is no second witness",
                )
            )
        if take.crank_rpm is not None:
            try:
                require_range("crank_rpm", take.crank_rpm, *CRANK_RPM_RANGE, "rpm")
            except OutOfRangeError as error:
                problems.append(
                    Problem(
                        file.name,
                        ("take", number, "crank_rpm"),
                        error.given,
                        error.allowed,
                        error.instead,
                    )
                )
        setup = _setup(file.name, number, take, sheet, problems)
        if not is_there:
            continue
        place_part, note = place_held(take.place, parts)
        load, unknown_loads = as_loads(take.load)
        named = f"{file.name}: take {number} ({take.file})"
        if note:
            notes.append(f"{named}: {note}")
        notes += unknown_loads_said(named, unknown_loads)
        takes.append(
            Take(
                file=path,
                belt=None if take.belt == "unknown" else take.belt,
                place=take.place or FRONT,
                place_part=place_part,
                load=load,
                crank_rpm=take.crank_rpm,
                name=take.file,
                setup=setup,
            )
        )
    return tuple(takes)


def _setup(
    name: str, number: int, take: TakeKeys, sheet: DriveSheet | None, problems: list[Problem]
) -> Setup | None:
    """How the phone was held, where a take is to tell a direction."""
    given = take.mic_spacing_mm, take.stand_off_mm
    if given == (None, None) and not take.phone_at:
        return None
    setup = Setup(*given, held=take.held, at=(":".join(take.phone_at),) if take.phone_at else ())
    for key, value, allowed in (
        ("mic_spacing_mm", take.mic_spacing_mm, MIC_SPACING_RANGE_MM),
        ("stand_off_mm", take.stand_off_mm, STAND_OFF_RANGE_MM),
    ):
        try:
            if value is None:
                raise InputError(
                    f"a stereo take without {key}",
                    allowed=f"{allowed[0]:g} to {allowed[1]:g} mm, by ruler",
                )
            require_range(key, value, *allowed, "mm")
        except (InputError, OutOfRangeError) as error:
            problems.append(
                Problem(name, ("take", number, key), error.given, error.allowed, error.instead)
            )
    try:
        positions(setup, sheet, 1)
    except (InputError, OutOfRangeError) as error:
        problems.append(
            Problem(name, ("take", number, "phone_at"), error.given, error.allowed, error.instead)
        )
    return setup


def place_held(place: str, parts: tuple[str, ...] | None) -> tuple[str | None, str]:
    """The part the phone was held on, and a note when the words may have meant one."""
    part = as_part(place)
    if part in ("", as_word(FRONT)) or parts is None:
        return None, ""
    held_on = ("crank", *parts, *_PLACES_WITHOUT_PULLEY)
    if part in held_on:
        return part, ""
    if part_kind(part) in PULLEY_PARTS:
        return None, f'place "{place}" is not on this drive and is read as free text'
    meant = suggest_part(part, held_on)
    return None, (
        f'place "{place}" is read as free text; if the probe was on a part, did you mean "{meant}"?'
        if meant
        else ""
    )


def _findings(
    file: Path,
    keys: list[FindingKeys],
    parts: tuple[str, ...] | None,
    problems: list[Problem],
    notes: list[str],
) -> tuple[Finding, ...]:
    for number, finding in enumerate(keys, start=1):
        for key in ("check", "outcome"):
            if not getattr(finding, key):
                problems.append(
                    Problem(
                        file.name,
                        ("finding", number, key),
                        "it is empty",
                        str(FindingKeys.model_fields[key].description),
                    )
                )
        part = finding.part
        if part is None:
            continue
        if part_kind(part) not in _KNOWN_PARTS:
            meant = suggest_part(part, (*(parts or ()), *_KNOWN_PARTS))
            problems.append(
                Problem(
                    file.name,
                    ("finding", number, "part"),
                    f'"{part}" is not a part',
                    ", ".join(_KNOWN_PARTS),
                    f'"{meant}"' if meant else "",
                )
            )
        elif parts is not None and part not in ("crank", *parts, *_PLACES_WITHOUT_PULLEY):
            notes.append(f"{file.name}: finding {number} is on {part}, which is not on this drive")
    return tuple(Finding(finding.check, finding.part, finding.outcome) for finding in keys)


def _left_out(problem: Problem, keys: list[TakeKeys]) -> str:
    number = int(problem.where[1])
    said = f"{keys[number - 1].file[:60]} is left out: {problem.file}: take {number}: " + (
        problem.given
    )
    return f"{said}; try {problem.instead}" if problem.instead else said


def _missing(
    file: Path, where: tuple[str | int, ...], name: str, path: Path, wanted: str
) -> Problem:
    close = nearest_file(path) if name else ""
    folder = f"the folder of {file.name}" if file.parent == Path() else str(file.parent)
    return Problem(
        file.name,
        where,
        f'"{name[:60]}" is ' + ("a folder" if close == path.name else "not there"),
        f"{wanted}, its path counted from {folder}",
        f'"{close}"' if close and close != path.name else "",
    )
