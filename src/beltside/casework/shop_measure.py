"""Measured on a job: the drive sheet, strums of the belt, and takes before and after compared."""

from __future__ import annotations

import contextlib
import re
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from beltside.base.errors import BeltsideError, InputError
from beltside.base.words import count_of
from beltside.casework.compare import VERSION as COMPARE_VERSION
from beltside.casework.compare import compare
from beltside.casework.compare_results import Range
from beltside.casework.drive import drive_of_sheet
from beltside.casework.drive_results import DriveResult
from beltside.casework.formats.drive_sheet import drive_sheet_from_text
from beltside.casework.results import Progress
from beltside.casework.shop import Shop, checked, keep, sheet_of, write
from beltside.casework.shop_analysis import analyse_now
from beltside.casework.shop_case import NO_SHEET, sheet_on_job, take_names
from beltside.casework.shop_listen import ask_for_all, take_of
from beltside.casework.shop_takes import recording_pieces
from beltside.casework.strum import StrumResult, strum
from beltside.jobs.entries import Entry, JobSheet

COMPARE: Final = "compare"
_OPTIONS: Final = re.compile(r"Give it with --[^,.]*, or ")


@dataclass(frozen=True)
class SheetSaved:
    """A drive sheet as kept, and what it gives; `problem` says why it gives nothing yet."""

    entry: Entry
    notes: tuple[str, ...]
    result: DriveResult | None
    problem: str

    def to_json(self) -> dict[str, Any]:
        """The JSON of `drive`, with the entry."""
        plain = self.result.to_json() if self.result is not None else {}
        return {
            **plain,
            "entry": self.entry.id,
            "version": self.entry.version,
            "notes": list(self.notes),
            "problem": self.problem,
        }


def save_drive_sheet(
    shop: Shop,
    job_id: str,
    toml: str,
    *,
    picture: str | None = None,
    based_on: int | None = None,
) -> SheetSaved:
    """Keep the drive sheet of a job; its takes are listened to again with it.

    Parameters
    ----------
    toml
        The sheet as written.
    picture
        The stored photo it was measured on.
    based_on
        The version the writer had before him; what somebody else wrote since is joined or told.

    Raises
    ------
    InputError
        When it is no drive sheet, with all that is wrong; nothing is changed then.
    """
    job = sheet_of(shop, job_id)
    read = drive_sheet_from_text(toml)
    typed: dict[str, Any] = {"toml": toml}
    files = []
    if picture is not None:
        typed["picture"], files = picture, [picture]
    there = job.newest("drive-sheet")
    if there is not None and based_on is not None:
        body = checked("drive-sheet", {**there.body, **typed})
        entry = shop.record.change(there.id, body, by=shop.by, based_on=based_on, files=files).entry
    else:
        entry = write(shop, job.job.id, "drive-sheet", typed, files=files)
    ask_for_all(shop, sheet_of(shop, job.job.id))
    result, problem = None, ""
    try:
        result = drive_of_sheet(read.sheet)
    except BeltsideError as error:
        problem = str(error)
    return SheetSaved(entry, read.notes, result, problem)


def drive_on_job(shop: Shop, job_id: str) -> DriveResult:
    """Lengths, ratios, wraps and slip margins of a job's drive.

    Raises
    ------
    InputError
        When there is no drive sheet, or it gives no path.
    """
    sheet, _, said = sheet_on_job(sheet_of(shop, job_id))
    if sheet is None:
        raise InputError(said[0], instead="entering the drive sheet")
    return drive_of_sheet(sheet)


@contextlib.contextmanager
def sheet_as_file(job: JobSheet) -> Iterator[Path | None]:
    """The drive sheet of a job as a file, for as long as the block lasts; None without a sheet."""
    _, toml, _ = sheet_on_job(job)
    if toml is None:
        yield None
        return
    with text_as_file(toml, "drive.toml") as path:
        yield path


@contextlib.contextmanager
def text_as_file(text: str, name: str) -> Iterator[Path]:
    """A text as a file of this name, for as long as the block lasts."""
    with tempfile.TemporaryDirectory(prefix="beltside-") as folder:
        path = Path(folder) / name
        path.write_text(text, encoding="utf-8")
        yield path


# Strum -------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class StrumKept:
    """A strum as kept: its entry, its result, and what it says in a sentence."""

    entry: Entry
    result: StrumResult
    says: str

    def to_json(self) -> dict[str, Any]:
        """The JSON of `strum`, with entry and sentence."""
        return {**self.result.to_json(), "entry": self.entry.id, "says": self.says}


def strum_on_job(
    shop: Shop,
    job_id: str,
    recordings: Sequence[Iterator[bytes] | Sequence[bytes]],
    *,
    between: Sequence[str] = (),
    span_mm: float | None = None,
    target_n: tuple[float, float] | None = None,
    ribs: int | None = None,
    mass_g_per_m: float | None = None,
    media_type: str = "application/octet-stream",
    entry_id: str | None = None,
) -> StrumKept:
    """Keep recordings of plucks of one span, and what they say of the belt's tension.

    Parameters
    ----------
    between
        The two pulleys of the span, in any order; may be left out.
    span_mm
        Its free length by rule [mm]; stands above the drive sheet's.
    target_n
        Lowest and highest tension wanted [N].
    ribs, mass_g_per_m
        Of the belt, where there is no drive sheet or it does not say; mass in g/m.

    Raises
    ------
    InputError, RecordingError, LimitError
        For a figure or a recording that can't be used.
    """
    job = sheet_of(shop, job_id)
    _two_or_none(between)
    stored = [keep(shop, recording_pieces(one), media_type=media_type) for one in recordings]
    names = [one.sha256 for one in stored]
    result = _strummed(shop, job, names, between, span_mm, target_n, ribs, mass_g_per_m)
    body = _strum_body(result, names, between)
    entry = write(shop, job.job.id, "strum", body, entry_id=entry_id, files=names)
    return StrumKept(entry, result, body["says"])


def strum_again(
    shop: Shop,
    job_id: str,
    entry_id: str,
    *,
    between: Sequence[str] = (),
    span_mm: float | None = None,
    target_n: tuple[float, float] | None = None,
    ribs: int | None = None,
    mass_g_per_m: float | None = None,
) -> StrumKept:
    """The plucks of a strum that is kept, with other figures; as `strum_on_job`.

    Raises
    ------
    InputError, RecordingError, LimitError
        As `strum_on_job`; also when there is no such strum on this job. Nothing is changed then.
    """
    job = sheet_of(shop, job_id)
    _two_or_none(between)
    entry = next((one for one in job.of_kind("strum") if one.id == entry_id), None)
    if entry is None:
        raise InputError(f"{entry_id} is no strum on this job", instead="one that the job shows")
    names = list(entry.body["files"])
    result = _strummed(shop, job, names, between, span_mm, target_n, ribs, mass_g_per_m)
    body = checked("strum", _strum_body(result, names, between))
    return StrumKept(shop.record.change(entry.id, body, by=shop.by).entry, result, body["says"])


def _two_or_none(between: Sequence[str]) -> None:
    if len(between) not in (0, 2):
        count = count_of(len(between), "pulley")
        raise InputError(f"a span between {count}", allowed="two pulleys, or none")


def _strummed(
    shop: Shop,
    job: JobSheet,
    names: Sequence[str],
    between: Sequence[str],
    span_mm: float | None,
    target_n: tuple[float, float] | None,
    ribs: int | None,
    mass_g_per_m: float | None,
) -> StrumResult:
    with sheet_as_file(job) as sheet:
        return strum(
            [shop.files.path(one) for one in names],
            sheet=sheet,
            span=(between[0], between[1]) if between else None,
            span_mm=span_mm,
            target_n=target_n,
            ribs=ribs,
            mass_g_per_m=mass_g_per_m,
        )


def _strum_body(
    result: StrumResult, names: Sequence[str], between: Sequence[str]
) -> dict[str, Any]:
    return {
        "files": list(names),
        "between": list(between),
        "hertz": result.strum.frequency_hz,
        "tension_n": None if result.tension is None else result.tension.value_n,
        "says": strum_words(result),
        "result": {**result.to_json(), "files": list(names)},
    }


def strum_words(result: StrumResult) -> str:
    """A strum in one sentence."""
    heard = result.strum
    if heard.frequency_hz is None:
        return f"No note could be told: {heard.reason}."
    note = f"The span sounds at {heard.frequency_hz:.1f} Hz"
    if result.tension is None:
        return f"{note}; its tension can't be told."
    one = result.tension
    verdict = f", {result.verdict}" if result.verdict else ""
    return f"{note}: {one.value_n:.0f} N ({one.low_n:.0f} to {one.high_n:.0f}){verdict}."


# Before and after --------------------------------------------------------------------------------


@dataclass(frozen=True)
class Compared:
    """Two takes of a job side by side, as kept."""

    entry: Entry
    says: str

    def to_json(self) -> dict[str, Any]:
        """The JSON of `compare`, with the takes' entries and the sentence."""
        body = self.entry.body
        return {
            **body["result"],
            "entry": self.entry.id,
            "before_take": body["before"],
            "after_take": body["after"],
            "says": self.says,
        }


def compare_on_job(
    shop: Shop,
    job_id: str,
    before: str = "",
    after: str = "",
    *,
    progress: Progress | None = None,
) -> Compared:
    """Compare a take before the repair with one after it; kept on the job.

    Without names the two made most alike are taken: same place, belt, load and speed.

    Raises
    ------
    InputError
        When there is no drive sheet, or no take before or after the repair.
    RecordingError, LimitError
        When a recording can't be used.
    """
    job = sheet_of(shop, job_id)
    _, toml, _ = sheet_on_job(job)
    if toml is None:
        raise InputError(NO_SHEET, instead="entering the drive sheet, at least its [engine]")
    first, second = _pair(job, before, after)
    names = take_names(job)
    settings = {
        "sheet": toml,
        "before": {
            "file": first.body["file"],
            "name": names[first.id],
            "crank_rpm": first.body.get("crank_rpm"),
        },
        "after": {
            "file": second.body["file"],
            "name": names[second.id],
            "crank_rpm": second.body.get("crank_rpm"),
        },
    }
    found = analyse_now(shop, COMPARE, COMPARE_VERSION, job.job.id, settings, job.job.id, progress)
    typed = {
        "before": first.id,
        "after": second.id,
        "says": found["says"],
        "result": found["result"],
    }
    for entry in job.of_kind("comparison"):
        if (entry.body["before"], entry.body["after"]) == (first.id, second.id):
            body = checked("comparison", typed)
            return Compared(shop.record.change(entry.id, body, by=shop.by).entry, found["says"])
    return Compared(write(shop, job.job.id, "comparison", typed), found["says"])


def compare_two(shop: Shop, settings: Mapping[str, Any], progress: Progress) -> dict[str, Any]:
    """Compare two stored recordings."""
    before, after = settings["before"], settings["after"]
    with text_as_file(settings["sheet"], "drive.toml") as sheet:
        result = compare(
            shop.files.path(before["file"]),
            shop.files.path(after["file"]),
            drive=sheet,
            before_rpm=before["crank_rpm"],
            after_rpm=after["crank_rpm"],
            progress=progress,
        )
    plain = result.to_json()
    for side, one in (("before", before), ("after", after)):
        plain[side]["file"] = one["name"]
        # Stored files go by their hash, and options are for those who type commands.
        plain["why_not"] = [
            _OPTIONS.sub("Give it with the take, or ", why.replace(one["file"], one["name"]))
            for why in plain["why_not"]
        ]
    if result.comparable:
        says = quieter_words(result.quieter_db)
    else:
        names = (before["name"], after["name"])
        why = str(plain["why_not"][0]).rstrip(".")
        says = f"{names[0]} and {names[1]} can't be compared: {why}."
    return {"result": plain, "says": says}


def quieter_words(quieter: Range) -> str:
    """How much quieter in a sentence, with its range.

    >>> quieter_words(Range(7.2, 5.9, 8.4)), quieter_words(Range(-3.0, -4.0, -2.0))
    ('7.2 dB quieter than before (5.9 to 8.4).', '3.0 dB louder than before (2.0 to 4.0).')
    >>> quieter_words(Range(0.4, -0.5, 1.2))
    'About as loud as before: between 0.5 dB louder and 1.2 dB quieter.'
    """
    value, low, high = quieter.value, quieter.low, quieter.high
    if value is None:
        return "How much quieter it is can't be told."
    if low is None or high is None:
        quieter_by = f"About {value:.1f} dB quieter than before."
        return quieter_by if value >= 0.0 else f"About {-value:.1f} dB louder than before."
    if low >= 0.0:
        return f"{value:.1f} dB quieter than before ({low:.1f} to {high:.1f})."
    if high <= 0.0:
        return f"{-value:.1f} dB louder than before ({-high:.1f} to {-low:.1f})."
    return f"About as loud as before: between {-low:.1f} dB louder and {high:.1f} dB quieter."


def _pair(job: JobSheet, before: str, after: str) -> tuple[Entry, Entry]:
    takes = job.of_kind("take")
    firsts = (
        [take_of(job, before)]
        if before
        else [one for one in takes if one.body.get("stage") != "after"]
    )
    seconds = (
        [take_of(job, after)]
        if after
        else [one for one in takes if one.body.get("stage") == "after"]
    )
    if not firsts or not seconds:
        which = "before" if not firsts else "after"
        raise InputError(
            f"there is no take from {which} the repair",
            allowed="one from before and one from after it",
            instead=f"recording one, or saying which one is from {which}",
        )
    pairs = [(one, two) for one in firsts for two in seconds if one.id != two.id]
    if not pairs:
        raise InputError("both are the same take", allowed="two takes")
    return max(pairs, key=lambda pair: _likeness(pair[0].body, pair[1].body))


def _likeness(one: Mapping[str, Any], other: Mapping[str, Any]) -> tuple[int, int]:
    """How alike two takes were made, and whether the later is the one handed over with."""
    same = sum(one.get(name) == other.get(name) for name in ("place", "belt", "load", "raised"))
    return same, int(bool(other.get("hand_over")))
