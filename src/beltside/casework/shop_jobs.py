"""Jobs: opened, listed, looked through, changed back, closed, opened again, remembered."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any, Final

from beltside.base.errors import InputError
from beltside.casework.shop import (
    FieldProblemsError,
    Shop,
    checked,
    rewrite,
    sheet_of,
    write,
)
from beltside.jobs.card import STAGES
from beltside.jobs.entries import Entry, Job, JobSheet

NEW_JOB_FIELDS: Final[Mapping[str, tuple[str, str]]] = {
    "words": ("complaint", "words"),
    "car": ("car", "name"),
    "plate": ("car", "plate"),
    "vin": ("car", "vin"),
    "owner": ("owner", "name"),
    "phone": ("owner", "phone"),
    "when": ("complaint", "when"),
    "where": ("complaint", "where"),
    "engine": ("complaint", "engine"),
    "since": ("complaint", "since"),
}
"""Fields of a new job: the kind of entry each goes to, and its name there."""


def new_job(
    shop: Shop, typed: Mapping[str, Any], *, job_id: str | None = None
) -> tuple[JobSheet, dict[str, str]]:
    """Open a job; the owner's words, his name and the car or its plate suffice.

    Parameters
    ----------
    typed
        Fields of `NEW_JOB_FIELDS`; any may be left out, not all.
    job_id
        A name of the sender's own: a form sent twice opens one job.

    Returns
    -------
    tuple
        The job, and what is wrong beside each field that was off: these are left out, all else
        is kept.

    Raises
    ------
    FieldProblemsError
        When nothing usable was typed.
    """
    bodies: dict[str, dict[str, Any]] = {}
    problems: dict[str, str] = {}
    for name, value in typed.items():
        if name not in NEW_JOB_FIELDS:
            problems[name] = f"there is no such field; there are {', '.join(NEW_JOB_FIELDS)}"
            continue
        if value in ("", None, []):
            continue
        kind, key = NEW_JOB_FIELDS[name]
        if key == "when" and isinstance(value, str):
            value = [value]
        try:
            checked(kind, {key: value})
            bodies.setdefault(kind, {})[key] = value
        except FieldProblemsError as error:
            problems[name] = next(iter(error.by_field.values()))
    if not bodies:
        raise FieldProblemsError(
            "job", typed, problems or {"words": "say what the owner says, who he is, or which car"}
        )
    order = [kind for kind in ("owner", "car", "complaint") if kind in bodies]
    entries = [(kind, checked(kind, bodies[kind])) for kind in order]
    return shop.record.new_job(entries, by=shop.by, job_id=job_id), problems


@dataclass(frozen=True)
class JobLine:
    """A job in a list."""

    number: int
    id: str
    car: str
    owner: str
    words: str
    stage: str
    cause: str
    cured: bool | None
    takes: int
    changed_at: datetime

    def to_json(self) -> dict[str, Any]:
        """Plain dict."""
        return {
            "number": self.number,
            "id": self.id,
            "car": self.car,
            "owner": self.owner,
            "words": self.words,
            "stage": self.stage,
            "cause": self.cause,
            "cured": self.cured,
            "takes": self.takes,
            "changed_at": self.changed_at.isoformat(timespec="seconds"),
        }


def job_line(job: Job) -> JobLine:
    """A job as a list shows it."""
    card = job.card
    return JobLine(
        job.number,
        job.id,
        car_words(card.car, card.plate, card.vin),
        card.owner,
        card.complaint,
        card.stage,
        card.cause,
        card.cured,
        card.take_count,
        job.changed_at,
    )


def car_words(name: str, plate: str, vin: str = "") -> str:
    """A car in a few words.

    >>> car_words("Tarn 1.4", "B 12"), car_words("", "", "VIN1"), car_words("", "")
    ('Tarn 1.4, B 12', 'VIN1', '')
    """
    return ", ".join(word for word in (name, plate) if word) or vin


def list_jobs(
    shop: Shop,
    *,
    which: str = "open",
    stages: Sequence[str] | None = None,
    limit: int = 50,
    before: datetime | None = None,
) -> list[JobLine]:
    """Jobs, the one changed last first.

    Parameters
    ----------
    which
        "open", "closed" or "all".
    stages
        Only jobs that are at one of these stages.
    limit
        At most so many, 1 to 1000.
    before
        Goes on where the last list ended: only jobs changed before this.

    Raises
    ------
    InputError
        When `which` or a stage is none, or the limit is out of range.
    """
    if which not in ("open", "closed", "all"):
        raise InputError(f'jobs that are "{which}"', allowed="open, closed or all")
    known = (*STAGES, "closed")
    for stage in stages or ():
        if stage not in known:
            raise InputError(f'"{stage}" is not a stage', allowed=", ".join(known))
    if not 1 <= limit <= 1000:
        raise InputError(f"a list of {limit} jobs", allowed="1 to 1000")
    closed = {"open": False, "closed": True, "all": None}[which]
    found = shop.record.jobs(stages=stages, closed=closed, limit=limit, before=before)
    return [job_line(job) for job in found]


# History -----------------------------------------------------------------------------------------


@dataclass(frozen=True)
class ChangeLine:
    """One change of a job: what was written, by whom, when, and how it came about.

    `changed` are the fields that differ from the version before.
    """

    entry: str
    kind: str
    version: int
    how: str
    at: datetime
    by: str
    changed: tuple[str, ...]
    body: Mapping[str, Any]

    def to_json(self) -> dict[str, Any]:
        """Plain dict."""
        return {
            "entry": self.entry,
            "kind": self.kind,
            "version": self.version,
            "how": self.how,
            "at": self.at.isoformat(timespec="seconds"),
            "by": self.by,
            "changed": list(self.changed),
            "body": dict(self.body),
        }


def history(shop: Shop, job_id: str) -> list[ChangeLine]:
    """Every change of a job, oldest first; removed things too."""
    last: dict[str, Entry] = {}
    lines = []
    for one in shop.record.changes(sheet_of(shop, job_id).job.id):
        was = last.get(one.id)
        lines.append(
            ChangeLine(
                one.id,
                one.kind,
                one.version,
                one.how,
                one.at,
                one.by,
                _changed(was.body if was else {}, one.body),
                one.body,
            )
        )
        last[one.id] = one
    return lines


def _changed(was: Mapping[str, Any], now: Mapping[str, Any]) -> tuple[str, ...]:
    return tuple(name for name in dict.fromkeys((*now, *was)) if was.get(name) != now.get(name))


def bring_back(shop: Shop, job_id: str, entry_id: str, version: int | None = None) -> Entry:
    """Make an earlier version of an entry the present one, or a removed entry stand again.

    Raises
    ------
    InputError
        When the entry is not on this job, or has no such version.
    """
    job = sheet_of(shop, job_id)
    entry = shop.record.entry(entry_id)
    if entry.job_id != job.job.id:
        raise InputError(f"{entry_id} is not on this job", instead="one that its history shows")
    if version is None:
        version = entry.version if entry.removed else max(entry.version - 1, 1)
    return shop.record.bring_back(entry_id, version, by=shop.by)


def remove_entry(shop: Shop, job_id: str, entry_id: str) -> Entry:
    """Take anything off a job's sheet; it stays readable and can be brought back.

    Raises
    ------
    InputError
        When the entry is not on this job.
    """
    job = sheet_of(shop, job_id)
    if shop.record.entry(entry_id).job_id != job.job.id:
        raise InputError(f"{entry_id} is not on this job", instead="one that its history shows")
    return shop.record.remove(entry_id, by=shop.by)


# Closing and opening again -----------------------------------------------------------------------


@dataclass(frozen=True)
class Closed:
    """A job that was closed: its outcome, and what was learned from it.

    `learned` says how many closed jobs the odds rest on now; `not_learned` why this one is not
    among them, "" when it is; `sounds` how many of its takes later noises can be compared with;
    `settled` what a comeback says of the earlier job, "" else.
    """

    entry: Entry
    learned: int
    not_learned: str
    sounds: int
    settled: str = ""

    def to_json(self) -> dict[str, Any]:
        """Plain dict."""
        return {
            "entry": self.entry.id,
            "outcome": dict(self.entry.body),
            "closed_jobs_learned_from": self.learned,
            "not_learned": self.not_learned,
            "sounds_kept": self.sounds,
            "settled": self.settled,
        }


def close_job(shop: Shop, job_id: str, typed: Mapping[str, Any]) -> Closed:
    """Close a job: what the cause was, what was replaced, whether the noise is gone.

    A cause that is a suspect of this car, with a word on whether it was cured, teaches the odds;
    a comeback also settles what its earlier job taught.

    Raises
    ------
    FieldProblemsError
        With what is wrong beside each field; the job stays open.
    InputError
        When the cause is no suspect of this car.
    """
    from beltside.casework.shop_comeback import settle
    from beltside.casework.shop_learning import learn_from, require_suspect
    from beltside.casework.shop_sounds import keep_sounds_of

    job = sheet_of(shop, job_id)
    cause = str(typed.get("cause") or "")
    checked("outcome", {**typed, "closed": True})
    if cause:
        require_suspect(shop, job, cause)
    entry = write(shop, job.job.id, "outcome", {**typed, "closed": True})
    closed = sheet_of(shop, job.job.id)
    settled = settle(shop, closed)
    learned, why_not = learn_from(shop, closed)
    return Closed(entry, learned, why_not, keep_sounds_of(shop, closed), settled)


def open_again(shop: Shop, job_id: str) -> Entry:
    """Open a closed job again, to go on with it: it was closed too early.

    Raises
    ------
    InputError
        When it is not closed.
    """
    job = sheet_of(shop, job_id)
    outcome = job.newest("outcome")
    if outcome is None or outcome.body.get("closed") is not True:
        raise InputError(f"job {job.job.number} is open", allowed="a closed job")
    return rewrite(shop, outcome.id, {"closed": False}).entry


def came_back(shop: Shop, job_id: str, words: str = "", *, new_id: str | None = None) -> JobSheet:
    """The car is back: a new job with the same owner, car and drive sheet, linked to the earlier.

    The earlier job is told that the noise came back.

    Raises
    ------
    InputError
        When the earlier job is not closed.
    """
    earlier = sheet_of(shop, job_id)
    outcome = earlier.newest("outcome")
    if outcome is None or outcome.body.get("closed") is not True:
        raise InputError(
            f"job {earlier.job.number} is still open",
            allowed="a closed job",
            instead="going on with it",
        )
    entries: list[tuple[str, Mapping[str, Any]]] = [
        ("comeback", checked("comeback", {"earlier_job": earlier.job.id, "why": words}))
    ]
    for kind in ("owner", "car", "drive-sheet"):
        entry = earlier.newest(kind)
        if entry is not None:
            entries.append((kind, entry.body))
    said = words or str(getattr(earlier.newest("complaint"), "body", {}).get("words", ""))
    entries.append(("complaint", checked("complaint", {"words": said})))
    new = shop.record.new_job(entries, by=shop.by, job_id=new_id)
    if outcome.body.get("came_back") is not True:
        rewrite(shop, outcome.id, {"came_back": True})
    return new


# Reminders ---------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Reminder:
    """Something to look at again, on which job, and whether it is due."""

    entry: str
    job_number: int
    car: str
    words: str
    due: str
    due_km: float | None
    is_due: bool

    def to_json(self) -> dict[str, Any]:
        """Plain dict."""
        return {
            "entry": self.entry,
            "job": self.job_number,
            "car": self.car,
            "words": self.words,
            "due": self.due,
            "due_km": self.due_km,
            "is_due": self.is_due,
        }


def remind(
    shop: Shop, job_id: str, words: str, *, due: str = "", due_km: float | None = None
) -> Entry:
    """Write down something to look at again, on a day or at an odometer reading.

    Raises
    ------
    FieldProblemsError
        When the day is none, or nothing says when.
    """
    typed = {"words": words, "due": due, "due_km": due_km}
    problems = {}
    if not words.strip():
        problems["words"] = "say what to look at"
    if due:
        try:
            date.fromisoformat(due)
        except ValueError:
            problems["due"] = "is a day, such as 2027-03-31"
    elif due_km is None:
        problems["due"] = "a day or an odometer reading is needed"
    if problems:
        raise FieldProblemsError("reminder", typed, problems)
    return write(shop, sheet_of(shop, job_id).job.id, "reminder", typed)


def reminder_done(shop: Shop, entry_id: str) -> Entry:
    """Tick a reminder."""
    return rewrite(shop, entry_id, {"done": True}).entry


def reminders(
    shop: Shop, *, today: date | None = None, job_id: str | None = None
) -> list[Reminder]:
    """Open reminders of a job, or of all jobs, those due first."""
    if job_id is not None:
        return reminders_of(sheet_of(shop, job_id), today=today)
    entries = shop.record.entries_of_kind("reminder")
    named = [str(one.job_id) for one in entries if not one.body.get("done")]
    jobs = {job.id: job for job in shop.record.jobs_named(list(dict.fromkeys(named)))}
    return _open(entries, jobs, today)


def reminders_of(sheet: JobSheet, *, today: date | None = None) -> list[Reminder]:
    """Open reminders of a job, those due first."""
    return _open(sheet.of_kind("reminder"), {sheet.job.id: sheet.job}, today)


def _open(entries: Sequence[Entry], jobs: Mapping[str, Job], today: date | None) -> list[Reminder]:
    today = today or datetime.now(UTC).date()
    found = [
        _reminder(jobs[str(entry.job_id)], entry, today)
        for entry in entries
        if not entry.body.get("done") and str(entry.job_id) in jobs
    ]
    return sorted(found, key=lambda one: (not one.is_due, one.due or "9999"))


def _reminder(job: Job, entry: Entry, today: date) -> Reminder:
    due = str(entry.body.get("due") or "")
    try:
        is_due = bool(due) and date.fromisoformat(due) <= today
    except ValueError:
        is_due = False
    return Reminder(
        entry.id,
        job.number,
        car_words(job.card.car, job.card.plate, job.card.vin),
        str(entry.body["words"]),
        due,
        entry.body.get("due_km"),
        is_due,
    )
