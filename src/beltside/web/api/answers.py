"""What the API answers with. Keys named here stay; an answer may hold more than them."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from beltside.casework.shop import Change, Entry


class Answer(BaseModel):
    """An answer; keys that are not named here may stand beside."""

    model_config = ConfigDict(extra="allow")


Moment = Annotated[str, Field(json_schema_extra={"format": "date-time"})]
"""ISO 8601 with its zone."""
Share = Annotated[float, Field(ge=0, le=1)]


class ClashSaid(Answer):
    """A field that two people changed at the same time."""

    field: str
    kept: Any
    other: Any
    other_by: str
    other_version: int


class EntrySaid(Answer):
    """One thing on a job, in one of its versions."""

    entry: Annotated[str, Field(description="its name")]
    kind: str
    version: Annotated[int, Field(ge=1)]
    created_at: Moment
    at: Annotated[Moment, Field(description="when this version was written")]
    by: Annotated[str, Field(description="by whom")]
    removed: Annotated[bool, Field(description="whether it is taken off the sheet")]
    body: dict[str, Any]
    clashes: Annotated[
        list[ClashSaid], Field(description="what two entered at once, until somebody settles it")
    ]
    how: Annotated[str, Field(description="how this version came about, in a list of versions")]


class ChangeSaid(EntrySaid):
    """An entry after a change."""

    joined: Annotated[
        list[str], Field(description="fields taken over from somebody else's newer version")
    ]


class EntriesSaid(Answer):
    """Entries in the order they were made; versions oldest first."""

    entries: list[EntrySaid]


def entry_said(entry: Entry) -> dict[str, Any]:
    """An entry as the API shows it."""
    return {
        "entry": entry.id,
        "kind": entry.kind,
        "version": entry.version,
        "created_at": entry.created_at.isoformat(),
        "at": entry.at.isoformat(),
        "by": entry.by,
        "removed": entry.removed,
        "body": dict(entry.body),
        "clashes": [one.to_plain() for one in entry.clashes],
        "how": entry.how,
    }


def change_said(change: Change) -> dict[str, Any]:
    """A change as the API shows it."""
    return {**entry_said(change.entry), "joined": list(change.joined)}


# Jobs --------------------------------------------------------------------------------------------


class JobLineSaid(Answer):
    """A job as a list shows it."""

    number: int
    id: str
    car: str
    owner: str
    words: str
    stage: str
    cause: str
    cured: bool | None
    takes: int
    changed_at: Moment


class JobListSaid(Answer):
    """Jobs."""

    jobs: list[JobLineSaid]


class NewJobSaid(JobLineSaid):
    """A job that was opened; fields that were off are left out and told."""

    problems: dict[str, str]


class NextSaid(Answer):
    """The one thing to do next."""

    what: str
    says: str
    minutes: float | None
    check: str
    part: str
    step: str
    stage: str


class StageSaid(Answer):
    """A stage: "open", "begun" or "done"."""

    stage: str
    state: str
    says: str


class BecauseSaid(Answer):
    """A reason: +1 bit doubles the odds."""

    from_: Annotated[str, Field(alias="from")]
    says: str
    bits: float


class SuspectSaid(Answer):
    """How likely one suspect is."""

    id: str
    name: str
    probability: Share
    because: list[BecauseSaid]


class JobSaid(Answer):
    """A job at a glance."""

    job: JobLineSaid
    answer: str
    suspect: str
    name: str
    probability: Share
    in_ten: str
    next: NextSaid
    stages: list[StageSaid]
    missing: list[str]
    listening: bool
    suspects: list[SuspectSaid]
    due: list[str]


class ChangeLineSaid(Answer):
    """One change of a job."""

    entry: str
    kind: str
    version: int
    how: str
    at: Moment
    by: str
    changed: list[str]
    body: dict[str, Any]


class HistorySaid(Answer):
    """Every change of a job, oldest first."""

    changes: list[ChangeLineSaid]


class ClosedSaid(Answer):
    """A job that was closed, and what was learned from it."""

    entry: str
    outcome: dict[str, Any]
    closed_jobs_learned_from: int
    not_learned: str
    settled: str


class ReminderSaid(Answer):
    """Something to look at again."""

    entry: str
    job: int
    car: str
    words: str
    due: str
    due_km: float | None
    is_due: bool


class RemindersSaid(Answer):
    """Open reminders, those due first."""

    reminders: list[ReminderSaid]


# Takes -------------------------------------------------------------------------------------------


class CrankSaid(Answer):
    """Crank speed [1/min] with its range; `track` has moments [s] and speeds."""

    rpm_median: float
    rpm_low: float
    rpm_high: float
    confidence: float
    track: list[list[float]]


class LineSaid(Answer):
    """A line that a known shaft or bearing explains."""

    part: str
    source: str
    order: float
    level_db: float
    significance: float


class ListenSaid(Answer):
    """What was heard in a take."""

    crank: CrankSaid | None
    crank_reason: str | None
    lines: list[LineSaid]
    warnings: list[str]


class TakeSaid(Answer):
    """A take, how far listening to it is, and what was heard once it is done."""

    take: Annotated[str, Field(description="its entry")]
    name: str
    conditions: Annotated[str, Field(description="how it was made, in words")]
    body: dict[str, Any]
    version: int
    state: Literal["not asked", "waiting", "working", "done", "failed", "cancelled"]
    progress: Share
    doing: str
    problem: str
    listen: ListenSaid | None


class TakesSaid(Answer):
    """The takes of a job, oldest first; `listen` is left to the take itself."""

    takes: list[TakeSaid]


class TakeAddedSaid(Answer):
    """A take that was kept."""

    entry: str
    file: str
    same_as: Annotated[str, Field(description="a take of this job with the same recording")]
    problems: Annotated[dict[str, str], Field(description="fields that were off and left out")]


class CalledOffSaid(Answer):
    """Whether work was still open and is called off."""

    called_off: bool


class StoredSaid(Answer):
    """A stored file."""

    file: Annotated[str, Field(description="SHA-256 of its bytes: its name", pattern="^[0-9a-f]*$")]
    bytes: int
    was_there: bool


# Find --------------------------------------------------------------------------------------------


class NextCheckSaid(Answer):
    """A check worth its minutes."""

    check: str
    part: str
    minutes: float
    worth: float
    why: str


class FindSaid(Answer):
    """Odds of every suspect, reasons, next checks; probabilities sum to 1."""

    suspects: list[SuspectSaid]
    next_checks: list[NextCheckSaid]
    crank: dict[str, CrankSaid | None]
    warnings: list[str]
    missing: list[str]
    listening: bool


class OutcomeSaid(Answer):
    """What a check can show: the word to send, and what it looks like."""

    word: str
    says: str


class CardSaid(Answer):
    """A check as a card."""

    check: str
    name: str
    part: str
    minutes: float
    how: str
    why: str
    first: list[str]
    outcomes: list[OutcomeSaid]
    hazard: str
    cautions: list[str]


class NextCardSaid(Answer):
    """The check most worth its minutes; null when none is."""

    card: CardSaid | None


class ConditionSaid(Answer):
    """A condition and whether it holds; `entry` is empty while nobody said."""

    name: str
    says: str
    holds: bool
    entry: str


class ConditionsSaid(Answer):
    """What holds on this car now."""

    conditions: list[ConditionSaid]


class LikenessSaid(Answer):
    """What a job's noise is most like among closed jobs; distances from 0, the same, to 1."""

    take: str
    state: str
    nearest: list[dict[str, Any]]
    compared: int
    why_not: str
