"""Takes with known causes, and which of them one take is most like."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from beltside.base.errors import BeltsideError, InputError
from beltside.base.provenance import Provenance
from beltside.base.words import FAULTS, PARTS, part_kind
from beltside.casework.formats.drive_sheet import load_drive_sheet
from beltside.casework.results import Progress
from beltside.casework.shipped import fingerprint_nuisance
from beltside.casework.take_print import print_of
from beltside.casework.where_results import SimilarResult, SimilarTake
from beltside.drive.sheet import DriveSheet
from beltside.media import open_recording
from beltside.sound.fingerprint import Fingerprint, distances

METHOD: Final = "beltside.similar"
VERSION: Final = 3

MOST_TAKES: Final = 2000
NEAREST: Final = 5

STRANGER: Final = "nothing like it"
CHANCE: Final = (1.00, -5.33, 11.53)
"""Log odds that the nearest take has the right cause: constant, per distance, per root of the lead
over the nearest take with another cause. Fitted on simulated cars, for half of which no take of
their own was there (scripts/fit_fingerprint.py, docs/methods/fingerprint.md)."""

NEAR: Final = 0.9
SOME_LIKENESS: Final = 0.7
"""Chances from which the nearest take is near or of some likeness; own choice."""

CHANCE_ALONE: Final = (9.96, -13.76)
"""Log odds by the distance alone, fitted on the same: for where no take has another cause."""

RECORDING_SUFFIXES: Final = frozenset(
    [
        *(".m4a", ".mp4", ".mov", ".aac", ".wav", ".wave", ".mp3", ".flac", ".ogg", ".oga"),
        *(".opus", ".webm", ".mkv", ".mka", ".3gp", ".amr", ".caf", ".aif", ".aiff", ".wma"),
    ]
)
NO_RECORDING: Final = frozenset(
    [
        *(".toml", ".json", ".txt", ".md", ".csv", ".pdf", ".png", ".jpg", ".jpeg", ".heic"),
        *(".svg", ".html", ".htm"),
    ]
)
"""Other files that may well lie beside recordings: passed over without a word."""


@dataclass(frozen=True)
class KnownTake:
    """A take whose cause is known."""

    name: str
    cause: str
    fingerprint: Fingerprint


def similar(
    take: Path,
    folder: Path,
    *,
    drive: Path | None,
    crank_rpm: float | None = None,
    most: int = NEAREST,
    progress: Progress | None = None,
) -> SimilarResult:
    """The takes in a folder that one take is most like.

    Parameters
    ----------
    take
        The take in question.
    folder
        Takes in sub-folders named by their cause ("coolant-pump.bearing", "none"), or files whose
        name begins with the cause. A `drive.toml` beside or above a take within the folder is its
        drive sheet; without one the sheet of `drive` is used.
    drive
        Drive sheet of the take in question.
    crank_rpm
        Speed of the take in question read off the dash [1/min].
    most
        How many of the nearest are wanted, 1 to 100.

    Raises
    ------
    InputError, RecordingError
        For a take, sheet or folder that can't be used.
    """
    say = progress or (lambda _what, _share: None)
    if drive is None:
        raise InputError(
            "no drive sheet given",
            allowed="a drive sheet with at least [engine] and cylinders = 4 (or how many it has)",
            instead="--drive drive.toml",
        )
    if not 1 <= most <= 100:
        raise InputError(f"{most} nearest takes", allowed="1 to 100", instead=f"{NEAREST}")
    sheet = load_drive_sheet(drive)
    say(f"listening to {take.name}", 0.0)
    with open_recording(take) as recording:
        asked = print_of(recording, sheet, stated_rpm=crank_rpm)
    files, left_out = known_files(folder, take)
    sheets: dict[Path, DriveSheet] = {}
    known: list[KnownTake] = []
    for number, (path, cause) in enumerate(files):
        name = str(path.relative_to(folder))
        say(f"listening to {path.name}", 0.05 + 0.95 * number / len(files))
        try:
            own = _sheet_of(path, folder, sheets) or sheet
            with open_recording(path) as recording:
                known.append(KnownTake(name, cause, print_of(recording, own)))
        except BeltsideError as error:
            left_out.append((name, str(error)))
    if not known:
        raise InputError(
            f"{folder} holds no take with a known cause that can be read"
            + (f"; left out: {left_out[0][0]} ({left_out[0][1]})" if left_out else ""),
            allowed="recordings in sub-folders named by their cause, such as "
            "coolant-pump.bearing/idle.m4a",
            instead="a folder for each cause, with the takes in it",
        )
    say("done", 1.0)
    return similar_among(take.name, asked, known, most=most, left_out=left_out)


def similar_among(
    name: str,
    asked: Fingerprint,
    known: Sequence[KnownTake],
    *,
    most: int = NEAREST,
    left_out: Sequence[tuple[str, str]] = (),
) -> SimilarResult:
    """`similar` for fingerprints at hand."""
    away = distances(asked, [one.fingerprint for one in known], fingerprint_nuisance())
    ranked = sorted(
        (
            SimilarTake(one.name, one.cause, float(far))
            for one, far in zip(known, away, strict=True)
        ),
        key=lambda one: one.distance,
    )
    warnings = []
    if not asked.speeds:
        warnings.append(
            "The crank speed of this take can't be told, so only what rings in it was compared, "
            "which says little. Read the speed off the dash and add --crank-rpm."
        )
    deaf = [one.name for one in known if not one.fingerprint.speeds]
    if deaf:
        warnings.append(
            f"The crank speed can't be told in {len(deaf)} of the {len(known)} known takes; of "
            "these only what rings was compared."
        )
    closest = ranked[0].distance
    others = [one.distance for one in ranked if one.cause != ranked[0].cause]
    lead = others[0] - closest if others else None
    return SimilarResult(
        file=name,
        nearest=tuple(ranked[:most]),
        state=likeness_state(closest, lead) if asked.speeds else STRANGER,
        lead=lead,
        chance=chance_right(closest, lead),
        compared=len(known),
        left_out=tuple(left_out),
        warnings=tuple(warnings),
        provenance=Provenance(
            method=METHOD,
            version=VERSION,
            inputs={"takes": len(known)},
            valid_range="takes of 5 s and more; finds the same engine with the "
            "same fault, not the fault on any engine",
            source="own method, docs/methods/fingerprint.md",
        ),
    )


def chance_right(closest: float, lead: float | None) -> float:
    """How often the nearest take at such a distance has the right cause, 0 to 1.

    `lead` is how much farther the nearest take with another cause is; None when there is none. It
    holds where every other car has been heard before.
    """
    if lead is None:
        odds = CHANCE_ALONE[0] + CHANCE_ALONE[1] * closest
    else:
        odds = CHANCE[0] + CHANCE[1] * closest + CHANCE[2] * math.sqrt(max(lead, 0.0))
    return 1.0 / (1.0 + math.exp(-odds))


def likeness_state(closest: float, lead: float | None) -> str:
    """What a distance to the nearest known take says: "near", "some likeness" or `STRANGER`.

    >>> likeness_state(0.3, 0.3), likeness_state(0.9, 0.0)
    ('near', 'nothing like it')
    """
    chance = chance_right(closest, lead)
    if chance >= NEAR:
        return "near"
    return "some likeness" if chance >= SOME_LIKENESS else STRANGER


def known_files(
    folder: Path, asked: Path | None = None
) -> tuple[list[tuple[Path, str]], list[tuple[str, str]]]:
    """Recordings of a folder with their causes, and what was left out and why.

    Raises
    ------
    InputError
        When it is no folder, or holds too many files.
    """
    if not folder.is_dir():
        raise InputError(f"{folder} is no folder", allowed="a folder of takes with known causes")
    found: list[tuple[Path, str]] = []
    left_out: list[tuple[str, str]] = []
    same = asked.resolve() if asked is not None else None
    for path in _files(folder):
        name = str(path.relative_to(folder))
        suffix = path.suffix.lower()
        if path.name.startswith(".") or suffix in NO_RECORDING:
            continue
        if same is not None and path.resolve() == same:
            left_out.append((name, "this is the take in question"))
            continue
        if suffix not in RECORDING_SUFFIXES:
            left_out.append((name, "not a recording by its name"))
            continue
        cause = cause_of(path.relative_to(folder))
        if cause is None:
            left_out.append((name, "no cause in the name of its folder or its own"))
            continue
        found.append((path, cause))
        if len(found) > MOST_TAKES:
            raise InputError(
                f"{folder} holds more than {MOST_TAKES} takes",
                allowed=f"{MOST_TAKES} takes",
                instead="a folder for each kind of engine",
            )
    return found, left_out


def _files(folder: Path) -> Iterator[Path]:
    """All plain files below the folder; links are not followed out of it."""
    for path in sorted(folder.rglob("*")):
        if path.is_file() and not path.is_symlink():
            yield path


def cause_of(path: Path) -> str | None:
    """The cause in a path: that of the nearest folder named by one, or at the head of the name.

    >>> cause_of(Path("coolant-pump.bearing/idle.m4a")), cause_of(Path("belt.slip 3.wav"))
    ('coolant-pump.bearing', 'belt.slip')
    >>> cause_of(Path("new/idle.m4a")) is None
    True
    """
    for part in reversed(path.parts[:-1]):
        if is_cause(part.lower()):
            return part.lower()
    head = path.name.lower().replace("_", " ").split(" ")[0]
    return next((word for word in (head, head.rpartition(".")[0]) if is_cause(word)), None)


def is_cause(word: str) -> bool:
    """Whether a word is a suspect's id, "none" or "other"."""
    if word in ("none", "other"):
        return True
    part, dot, fault = word.partition(".")
    return bool(dot) and part_kind(part) in PARTS and fault in FAULTS


def _sheet_of(path: Path, folder: Path, known: dict[Path, DriveSheet]) -> DriveSheet | None:
    """The nearest drive.toml from a take's own folder up to the folder asked for."""
    for place in (path.parent, *path.parent.parents):
        file = place / "drive.toml"
        if file.is_file():
            if file not in known:
                known[file] = load_drive_sheet(file)
            return known[file]
        if place == folder:
            break
    return None
