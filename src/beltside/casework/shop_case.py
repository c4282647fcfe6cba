"""From what is written on a job to what `find` reads: drive, takes, findings, conditions.

Whatever can't be used is left out and said; the rest still speaks.
"""

from __future__ import annotations

import threading
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

from beltside.base.errors import BeltsideError, InputError
from beltside.base.words import PULLEY_PARTS, part_kind
from beltside.casework.formats.case import FRONT, Case
from beltside.casework.formats.drive_sheet import drive_sheet_from_text
from beltside.casework.formats.fields import as_part
from beltside.casework.formats.load_words import as_loads, unknown_loads_said
from beltside.casework.own import CATALOGUE_FILE, COSTS_FILE, LEARNED_FILE, Tables, tables
from beltside.casework.phone_setup import Setup, positions
from beltside.casework.settings import settings
from beltside.casework.shipped import catalogue as shipped_catalogue
from beltside.casework.shipped import costs as shipped_costs
from beltside.casework.shop import Shop
from beltside.drive.sheet import Belt, DriveSheet, Engine, Pulley
from beltside.jobs.entries import Entry, JobSheet
from beltside.suspects.catalogue import CheckDone, check_done

NO_SHEET: Final = "There is no drive sheet yet"
NO_TAKES: Final = "There is no recording yet"

_STAND_IN_MM: Final = 60.0
"""Diameter of the pulleys of a drive nobody has measured; nothing is worked out from it."""

Stamp = tuple[Any, ...]
_TABLES: Final[dict[Path, tuple[Stamp, Tables]]] = {}
_LOCK: Final = threading.Lock()


@dataclass(frozen=True)
class TakeOnJob:
    """A take whose recording is there: the entry, the name it goes by, how it was made.

    `part` is the part the probe was held on, None in front of the engine; `setup` how the phone
    was held for a stereo take that is to tell a direction.
    """

    entry: str
    name: str
    file: str
    belt: str | None
    part: str | None
    load: tuple[str, ...]
    crank_rpm: float | None
    setup: Setup | None = None

    def to_json(self) -> dict[str, Any]:
        """What listening needs to know, plain."""
        return {
            **({} if self.setup is None else {"setup": setup_to_json(self.setup)}),
            "name": self.name,
            "file": self.file,
            "belt": self.belt,
            "part": self.part,
            "load": list(self.load),
            "crank_rpm": self.crank_rpm,
        }


@dataclass(frozen=True)
class JobCase:
    """A job as `find` reads it.

    Attributes
    ----------
    sheet
        The drive; one with every usual part when there is no usable sheet.
    sheet_toml
        The drive sheet as written, None when there is no usable one.
    takes
        Takes before the repair whose recordings are there.
    findings, finding_entries
        What the checks showed, and which entries say so.
    case
        Conditions and repairs in the form `find` knows.
    tables
        Catalogue and costs as they hold in this shop.
    missing
        What is missing or could not be used, a sentence each.
    """

    sheet: DriveSheet
    sheet_toml: str | None
    takes: tuple[TakeOnJob, ...]
    findings: tuple[CheckDone, ...]
    finding_entries: tuple[str, ...]
    case: Case
    tables: Tables
    missing: tuple[str, ...]


def shop_tables(shop: Shop) -> Tables:
    """Catalogue, costs and what closed jobs taught in this shop; read again when a file changes.

    An own file that can't be read is left out, and a note says so.
    """
    now = settings(shop)
    rate, currency = now["labour_per_hour"].value, now["currency"].value
    stamp: Stamp = (rate, currency, *(_stamp(shop.folder / name) for name in _OWN_FILES))
    with _LOCK:
        kept = _TABLES.get(shop.folder)
        if kept is not None and kept[0] == stamp:
            return kept[1]
        costs = {} if rate is None else {"labour_per_hour": float(rate), "currency": currency}
        try:
            found = tables(costs, folder=shop.folder)
        except BeltsideError as error:
            shipped = shipped_catalogue()
            found = Tables(shipped, shipped_costs(), shipped, 0, (f"Not used: {error}",))
        _TABLES[shop.folder] = (stamp, found)
        return found


_OWN_FILES: Final = (CATALOGUE_FILE, COSTS_FILE, LEARNED_FILE)


def _stamp(path: Path) -> tuple[int, int] | None:
    try:
        found = path.stat()
    except OSError:
        return None
    return (found.st_mtime_ns, found.st_size)


def stand_in(parts: Iterable[str] = ()) -> DriveSheet:
    """A drive with every usual part, and those named, of which nothing is known."""
    names = dict.fromkeys((*PULLEY_PARTS, *parts))
    return DriveSheet(
        Engine(cylinders=4), Belt(), tuple(Pulley(name, _STAND_IN_MM) for name in names)
    )


def sheet_on_job(job: JobSheet) -> tuple[DriveSheet | None, str | None, list[str]]:
    """The drive sheet of a job, its text, and what is to be said of it."""
    entry = job.newest("drive-sheet")
    if entry is None:
        return None, None, [f"{NO_SHEET}: the suspects are those of a drive with every usual part"]
    text = str(entry.body.get("toml", ""))
    try:
        read = drive_sheet_from_text(text)
    except BeltsideError as error:
        return None, None, [f"The drive sheet can't be used: {error}"]
    return read.sheet, text, list(read.notes)


def case_of(shop: Shop, job: JobSheet, *, without: Iterable[str] = ()) -> JobCase:
    """A job as `find` reads it.

    Parameters
    ----------
    without
        Entries of findings that are left out for once.
    """
    own = shop_tables(shop)
    left_out = set(without)
    entries = [entry for entry in job.of_kind("finding") if entry.id not in left_out]
    sheet, text, said = sheet_on_job(job)
    missing: list[str] = []
    notes: list[str] = []
    (missing if sheet is None else notes).extend(said)
    if sheet is None or not sheet.pulleys:
        if sheet is not None:
            missing.append(
                "The drive sheet has no pulleys: the suspects are those of a drive with every "
                "usual part"
            )
            text = None
        named = [as_part(str(entry.body.get("part", ""))) for entry in entries]
        sheet = stand_in(name for name in named if part_kind(name) in PULLEY_PARTS)
    takes = takes_on_job(shop, job, sheet, missing)
    if not takes:
        missing.append(NO_TAKES)
    elif text is None:
        missing.append("Without a drive sheet the recordings don't move the odds")
    findings, kept = [], []
    parts = [pulley.part for pulley in sheet.pulleys]
    for entry in entries:
        body = entry.body
        try:
            findings.append(
                check_done(
                    own.catalogue,
                    parts,
                    str(body["check"]),
                    as_part(str(body.get("part") or "")) or None,
                    str(body["outcome"]),
                )
            )
            kept.append(entry.id)
        except InputError as error:
            missing.append(f"A finding is left out: {error}")
    return JobCase(
        sheet,
        text,
        tuple(takes),
        tuple(findings),
        tuple(kept),
        _case(job, sheet, own, notes),
        own,
        tuple(missing),
    )


def take_names(job: JobSheet) -> dict[str, str]:
    """The name each take of a job goes by, no two alike, by its entry."""
    names: dict[str, str] = {}
    taken: set[str] = set()
    for number, entry in enumerate(job.of_kind("take"), start=1):
        wanted = str(entry.body.get("name") or f"take {number}")
        name, again = wanted, 2
        while name in taken:
            name, again = f"{wanted} ({again})", again + 1
        taken.add(name)
        names[entry.id] = name
    return names


def takes_on_job(
    shop: Shop, job: JobSheet, sheet: DriveSheet, missing: list[str] | None = None
) -> list[TakeOnJob]:
    """Takes before the repair whose recordings are there, each recording once.

    Of a recording that was kept twice the last one counts: that is how its conditions are put
    right, a forgotten "after the repair" among them.
    """
    names = take_names(job)
    said = [] if missing is None else missing
    found: list[TakeOnJob] = []
    last = {str(entry.body["file"]): entry.id for entry in job.of_kind("take")}
    for entry in job.of_kind("take"):
        name, file = names[entry.id], str(entry.body["file"])
        if last[file] != entry.id:
            said.append(f"{name} is the same recording as {names[last[file]]}, which counts")
            continue
        if entry.body.get("stage") == "after":
            continue
        try:
            shop.files.path(file)
        except BeltsideError:
            said.append(f"The recording of {name} is missing; it is left out")
            continue
        setup, problem = take_setup(entry.body, sheet)
        if problem:
            said.append(f"The direction of {name} is not counted: {problem}")
        _, unknown_loads = as_loads(entry.body.get("load") or ())
        said += unknown_loads_said(name, unknown_loads)
        found.append(replace(_take(entry, name, file, sheet), setup=setup))
    return found


def take_setup(take: Mapping[str, Any], sheet: DriveSheet) -> tuple[Setup | None, str]:
    """How the phone was held for a stereo take, and what is wrong with that ("" when nothing).

    None when the take says nothing of a direction, or too little.
    """
    spacing, stand_off = take.get("mic_spacing_mm"), take.get("stand_off_mm")
    at = [str(one) for one in take.get("phone_at") or ()]
    if spacing is None and stand_off is None and not at:
        return None, ""
    if spacing is None or stand_off is None:
        what = "the microphones" if spacing is None else "the phone from the pulleys"
        return None, f"the distance of {what} is not given"
    setup = Setup(
        spacing, stand_off, str(take.get("held") or "across"), (":".join(at),) if at else ()
    )
    try:
        positions(setup, sheet, 1)
    except InputError as error:
        return None, str(error)
    return setup, ""


def setup_to_json(setup: Setup) -> dict[str, Any]:
    """Plain dict; `setup_from_json` reads it back."""
    return {
        "mic_spacing_mm": setup.mic_spacing_mm,
        "stand_off_mm": setup.stand_off_mm,
        "held": setup.held,
        "at": list(setup.at),
    }


def setup_from_json(plain: Mapping[str, Any] | None) -> Setup | None:
    """What `setup_to_json` wrote; None for None."""
    if plain is None:
        return None
    return Setup(plain["mic_spacing_mm"], plain["stand_off_mm"], plain["held"], tuple(plain["at"]))


def _take(entry: Entry, name: str, file: str, sheet: DriveSheet) -> TakeOnJob:
    body = entry.body
    place = as_part(str(body.get("place") or FRONT))
    known = {pulley.part for pulley in sheet.pulleys} | _OTHER_PLACES
    belt = body.get("belt")
    return TakeOnJob(
        entry.id,
        name,
        file,
        belt if belt in ("on", "off") else None,
        place if place in known else None,
        as_loads(body.get("load") or ())[0],
        body.get("crank_rpm"),
    )


_OTHER_PLACES: Final = frozenset(
    {"crank", "belt", "timing-chain", "valve-train", "vacuum-leak", "exhaust-leak", "engine"}
)


def _case(job: JobSheet, sheet: DriveSheet, own: Tables, notes: list[str]) -> Case:
    known = {one.id for one in own.catalogue.conditions}
    conditions: dict[str, bool] = {}
    for entry in job.of_kind("condition"):
        name = str(entry.body["name"])
        if name in known:
            conditions[name] = bool(entry.body["holds"])
        else:
            notes.append(f'"{name}" is no condition of the catalogue; it is left out')
    return Case(
        sheet,
        Path("drive sheet"),
        (),
        (),
        Path("job"),
        tuple(notes),
        conditions,
        _replaced(job, own),
    )


def _replaced(job: JobSheet, own: Tables) -> tuple[str, ...]:
    """Repairs done that did not end the noise, in the words of the table of costs."""
    outcome: Mapping[str, Any] = getattr(job.newest("outcome"), "body", {})
    if outcome.get("cured") is not False:
        return ()
    done = [str(one) for one in outcome.get("replaced") or ()]
    found = []
    for repair in own.costs.repairs:
        if repair.id in done or any(
            part_kind(one.partition(".")[0]) + "." + one.partition(".")[2] in repair.cures
            for one in done
        ):
            found.append(repair.id)
    return tuple(found)
