"""What the API answers with: what was worked out, the proof sheet, the shop. As `answers`."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import Field

from beltside.web.api.answers import Answer, JobLineSaid

# Worked out --------------------------------------------------------------------------------------


class Kept(Answer):
    """A result that was kept on the job: the keys of the command's JSON, and its entry."""

    entry: str


class SheetSaid(Kept):
    """The drive sheet as kept, and what it gives."""

    version: int
    toml: str
    picture: str | None
    notes: list[str]
    problem: Annotated[str, Field(description="why it gives nothing yet")]


class DriveSaid(Answer):
    """Lengths [mm], ratios, wraps [degrees] and slip margins of a drive."""

    belt_length_mm: float | None
    pulleys: list[dict[str, Any]]
    spans: list[dict[str, Any]]
    warnings: list[str]


class StrumSaid(Kept):
    """A plucked span."""

    says: str
    warnings: list[str]


class ComparedSaid(Kept):
    """Two takes side by side."""

    before_take: str
    after_take: str
    says: str
    quieter_db: dict[str, Any]
    comparable: bool
    why_not: list[str]


class StepTickSaid(Answer):
    """A step of the plan with its tick."""

    step: str
    title: str
    state: str
    entry: str
    minutes: float | None
    note: str
    says: str
    running_since: str


class PlanSaid(Answer):
    """The plan of a job: what is left of it, and the ticks."""

    title: str
    repairs: list[str]
    technician: str
    minutes_left: float
    minutes_in_all: float
    detour: str
    ticks: list[StepTickSaid]
    steps: list[dict[str, Any]]


class EstimateSaid(Kept):
    """An offer as kept; amounts are text, so that no digit is lost."""

    version: int
    says: str
    currency: str
    options: list[dict[str, Any]]
    warnings: list[str]


class OfferSaid(Kept):
    """The newest offer, how old it is, and the owner's OK to it."""

    version: int
    offer: dict[str, Any]
    age: str
    holds: bool
    approval: dict[str, Any] | None


class BoltSaid(Answer):
    """One bolt in one pass."""

    place: int
    name: str
    pass_number: int
    torque_nm: float | None
    tick: str


class BoltsSaid(Answer):
    """The bolts of a flange as they stand."""

    fastener: str
    bolts: list[BoltSaid]
    next: BoltSaid | None


class MatchSaid(Kept):
    """Old part against new part."""

    verdict: str
    pairs: list[dict[str, Any]]
    warnings: list[str]


class CoolantSaid(Answer):
    """An answer of the coolant bench."""

    topic: str
    headline: str
    steps: list[str]
    because: list[str]
    warnings: list[str]
    cautions: list[str]


class CoolantKeptSaid(CoolantSaid):
    """An answer of the coolant bench, kept on the job."""

    entry: str


class HoldReadSaid(Answer):
    """One look at the gauge."""

    entry: str
    minutes: float
    pressure_kpa: float
    engine_c: float | None
    air_c: float | None


class HoldSaid(Answer):
    """A hold test as it stands: its readings, and the verdict so far beside them."""

    test: str
    started_at: str
    read: list[HoldReadSaid]


class NamesSaid(Answer):
    """Names to choose from."""

    names: list[str]


# Proof and record --------------------------------------------------------------------------------


class ProofSaid(Answer):
    """The owner's proof sheet as data."""

    job: dict[str, Any]
    made_at: str
    headline: str
    sections: list[dict[str, Any]]
    not_tested: list[str]
    cautions: list[str]
    digest: str


class ProofCheckedSaid(Answer):
    """A sheet held against the record."""

    genuine: bool
    job: int
    made_at: str
    says: list[str]
    altered: list[dict[str, Any]]


class HowSaid(Answer):
    """How a job was done."""

    job: int
    what: str
    minutes: float
    steps: list[dict[str, Any]]
    missing: list[str]


class EarlierSaid(Answer):
    """The job that this one goes on from; `job` is null when there is none."""

    job: JobLineSaid | None
    why: str
    cause: str
    hand_over: Annotated[str, Field(description="the take it was handed over with")]


class SinceSaid(Answer):
    """Today's take beside the hand-over take of the earlier job."""

    says: str
    louder_db: dict[str, Any]
    why_not: list[str]


class ImportedSaid(Answer):
    """What became of each job of a zip."""

    jobs: list[dict[str, Any]]


class SettingSaid(Answer):
    """A setting of the shop."""

    name: str
    says: str
    kind: str
    value: Any
    default: Any
    entry: str | None
    version: int


class SettingsSaid(Answer):
    """All settings of the shop."""

    settings: list[SettingSaid]


class WorkSaid(Answer):
    """What waits or is being done in the background."""

    open: int


class VehicleSaid(Answer):
    """What a number and a label say."""

    model_year: int | None
    certainty: str
    displacement_l: float | None
    agree: bool | None
    vin: dict[str, Any] | None
    engine_family: dict[str, Any] | None
    warnings: list[str]


class ForgottenSaid(Answer):
    """What was taken out of the record, or would be."""

    done: bool
    deleted: bool
    jobs: list[int]
    other_jobs_of_the_same: list[int]
    mentioned_on: list[int]
    files: int
    unclear: list[str]
