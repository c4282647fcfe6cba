"""What may be written on a job: each kind of entry with its fields.

Every field has a default except those without which the entry says nothing, so that a form half
filled in is kept. Words of the technician and the owner are free text and stay as typed.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any, Final, Literal

from pydantic import BaseModel, ConfigDict, Field, StringConstraints

from beltside.casework.formats.fields import MIC_SPACING_RANGE_MM, STAND_OFF_RANGE_MM, Number

Line = Annotated[str, StringConstraints(max_length=300)]
Words = Annotated[str, StringConstraints(max_length=20_000)]
FileName = Annotated[str, StringConstraints(pattern="^[0-9a-f]{64}$")]
EntryName = Annotated[str, StringConstraints(max_length=64)]
MoneyText = Annotated[str, StringConstraints(pattern=r"^-?\d{1,12}(\.\d{1,4})?$")]
Positive = Annotated[Number, Field(gt=0)]


class EntryKeys(BaseModel):
    """The fields of one kind of entry; any other is refused."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class OwnerKeys(EntryKeys):
    """Whose car it is."""

    name: Line = Field(default="", description="as the owner says it")
    phone: Line = Field(default="", description="telephone")
    email: Line = Field(default="", description="e-mail")
    address: Words = Field(default="", description="postal address")
    anonymised: bool = Field(default=False, description="the owner asked to be forgotten")


class CarKeys(EntryKeys):
    """Which car it is."""

    name: Line = Field(default="", description="what he calls it")
    plate: Line = Field(default="", description="registration plate")
    vin: Line = Field(default="", description="vehicle identification number")
    engine_family: Line = Field(default="", description="from the label under the bonnet")
    model_year: Annotated[int, Field(ge=1900, le=2100)] | None = Field(
        default=None, description="model year"
    )
    displacement_l: Annotated[Number, Field(gt=0, le=30)] | None = Field(
        default=None, description="displacement in litres"
    )
    distance_km: Annotated[Number, Field(ge=0, le=5e6)] | None = Field(
        default=None, description="what the odometer shows, in kilometres"
    )


class ComplaintKeys(EntryKeys):
    """What the owner says, in his words."""

    words: Words = Field(default="", description="the owner's words")
    when: list[Line] = Field(default_factory=list, description='"at idle", "when turning", ...')
    where: Line = Field(default="", description="where it seems to come from")
    engine: Literal["", "cold", "hot", "both"] = Field(default="", description="cold or hot")
    since: Line = Field(default="", description="since when")


class ObservationKeys(EntryKeys):
    """What was seen when looking it over, and whether it should be watched."""

    words: Words = Field(description="what was seen")
    part: Line = Field(default="", description="on which part")
    watch: bool = Field(default=False, description="to be watched; it stands on the proof sheet")
    files: list[FileName] = Field(default_factory=list, description="photos")


class TakeEntryKeys(EntryKeys):
    """A recording and its conditions."""

    file: FileName = Field(description="the stored recording")
    name: Line = Field(default="", description="the file's own name")
    belt: Literal["on", "off", "unknown"] = Field(default="unknown", description="belt on or off")
    place: Line = Field(
        default="front of engine", description="where the phone was, or the part the probe was on"
    )
    load: list[Line] = Field(default_factory=list, description="what was switched on")
    raised: bool = Field(default=False, description="engine speed raised")
    crank_rpm: Annotated[Number, Field(ge=300, le=8000)] | None = Field(
        default=None, description="crank speed read off a dash or scan tool, turns per minute"
    )
    mic_spacing_mm: (
        Annotated[Number, Field(ge=MIC_SPACING_RANGE_MM[0], le=MIC_SPACING_RANGE_MM[1])] | None
    ) = Field(default=None, description="stereo take: distance of the phone's two microphones, mm")
    stand_off_mm: (
        Annotated[Number, Field(ge=STAND_OFF_RANGE_MM[0], le=STAND_OFF_RANGE_MM[1])] | None
    ) = Field(default=None, description="stereo take: distance from the phone to the pulleys, mm")
    phone_at: list[Line] = Field(
        default_factory=list,
        description="stereo take: where the phone was, a part or mm right of (above) the crank, "
        "several for a phone moved steadily from one to the next",
    )
    held: Literal["across", "upright"] = Field(
        default="across", description="stereo take: microphones left and right, or one above"
    )
    stage: Literal["before", "after"] = Field(
        default="before", description="before the repair, or after it"
    )
    hand_over: bool = Field(default=False, description="the take the owner was handed over with")
    recorded_at: Line = Field(default="", description="when it was recorded, ISO 8601")


class FindingEntryKeys(EntryKeys):
    """What a check showed."""

    check: Line = Field(description="name of the check in the catalogue")
    part: Line = Field(default="", description="the part it was done on")
    outcome: Line = Field(description="what it showed")
    minutes: Annotated[Number, Field(ge=0, le=1e4)] | None = Field(
        default=None, description="how long it took, minutes"
    )


class ConditionKeys(EntryKeys):
    """What holds on this car now: engine cold, belt off."""

    name: Line = Field(description="name of the condition in the catalogue")
    holds: bool = Field(description="whether it holds")


class DriveSheetEntryKeys(EntryKeys):
    """The drive sheet as written, TOML."""

    toml: Annotated[str, StringConstraints(max_length=200_000)] = Field(
        description="the drive sheet as written"
    )
    picture: FileName | None = Field(default=None, description="the photo it was measured on")


class StrumKeys(EntryKeys):
    """A plucked span."""

    files: list[FileName] = Field(default_factory=list, description="recordings of the plucks")
    between: list[Line] = Field(default_factory=list, description="the two pulleys of the span")
    hertz: Positive | None = Field(default=None, description="frequency heard, Hz")
    tension_n: Positive | None = Field(default=None, description="tension worked out, N")
    says: Words = Field(default="", description="the result in words")
    result: dict[str, Any] = Field(default_factory=dict, description="the whole result")


class PhotoKeys(EntryKeys):
    """A picture, of what, and what was marked on it."""

    file: FileName = Field(description="the stored picture")
    name: Line = Field(default="", description="the file's own name")
    caption: Words = Field(default="", description="what it shows")
    part: Line = Field(default="", description="which part")
    step: Line = Field(default="", description="step of the plan it belongs to")
    marks: dict[str, Any] = Field(default_factory=dict, description="what was tapped on it")


class PlanKeys(EntryKeys):
    """The order of work: the teardown job it comes from, and what was chosen."""

    template: Line = Field(default="", description="the shipped template it was bent from")
    toml: Annotated[str, StringConstraints(max_length=400_000)] = Field(
        default="", description="the teardown job as written; empty for the template as it is"
    )
    target: list[Line] = Field(default_factory=list, description="what is to be done")
    aim: Line = Field(default="", description="expected minutes, minutes at 80 %, or fewest tools")


class StepTickKeys(EntryKeys):
    """A step of the plan done, or gone wrong."""

    step: Line = Field(description="the step's name in the plan")
    says: Words = Field(default="", description="the step in words")
    state: Literal["done", "started", "stopped", "went wrong", "stuck"] = Field(
        default="done",
        description="how far; stopped is begun with the clock standing still, stuck can't come off",
    )
    minutes: Annotated[Number, Field(ge=0, le=1e5)] | None = Field(
        default=None, description="how long it took, minutes"
    )
    note: Words = Field(default="", description="where it fought back")
    started: list[Line] = Field(
        default_factory=list, description="when the clock was started, ISO 8601, once or more"
    )
    stopped: list[Line] = Field(
        default_factory=list, description="when it was stopped; one fewer while it runs"
    )
    extra_min: Annotated[list[Annotated[Number, Field(ge=0, le=1e4)]], Field(max_length=3)] = Field(
        default_factory=list,
        description="minutes more, low, likely, high, for a trouble the plan does not know",
    )


class TorqueTickKeys(EntryKeys):
    """A fastener tightened."""

    fastener: Line = Field(description="which one")
    number: Annotated[int, Field(ge=1, le=200)] | None = Field(
        default=None, description="its number in the tightening order"
    )
    pass_number: Annotated[int, Field(ge=1, le=20)] = Field(
        default=1, description="which pass it was"
    )
    torque_nm: Positive | None = Field(default=None, description="torque, N m")
    angle_deg: Annotated[Number, Field(ge=0, le=720)] | None = Field(
        default=None, description="angle after the torque, degrees"
    )
    source: Line = Field(default="", description="where the torque stands")


class BoltPatternKeys(EntryKeys):
    """The holes of a flange whose bolts are tightened in order, and the maker's torque."""

    fastener: Line = Field(description="what is bolted: coolant pump")
    toml: Annotated[str, StringConstraints(max_length=100_000)] = Field(
        description="the hole pattern as written"
    )
    torque: Line = Field(default="", description="the maker's torque with its unit")
    torque_source: Line = Field(default="", description="where it stands")


class PartUsedKeys(EntryKeys):
    """A part or material that went in."""

    name: Line = Field(description="what it is")
    number: Line = Field(default="", description="part number")
    quantity: Annotated[Number, Field(gt=0, le=1e6)] = Field(default=1.0, description="how many")
    unit: Line = Field(default="", description="piece, l, g")
    price: MoneyText | None = Field(default=None, description="what was charged for all of it")


class PartMatchKeys(EntryKeys):
    """Old part against new part by their holes."""

    part: Line = Field(default="", description="which part")
    files: list[FileName] = Field(default_factory=list, description="the two photos")
    verdict: Line = Field(default="", description="fits, does not fit, can't tell")
    says: Words = Field(default="", description="the result in words")
    result: dict[str, Any] = Field(default_factory=dict, description="the whole result")


class CoolantKeys(EntryKeys):
    """A result from the coolant bench."""

    about: Literal["mix", "adjust", "reuse", "cap", "fill", "drain", "clock"] = Field(
        description="which question"
    )
    given: dict[str, Any] = Field(default_factory=dict, description="what was typed")
    says: Words = Field(default="", description="the answer in words")
    result: dict[str, Any] = Field(default_factory=dict, description="the whole answer")


class HoldTestKeys(EntryKeys):
    """A hold test begun: how the system was pumped up."""

    given: dict[str, Any] = Field(
        default_factory=dict, description="cap, strokes, gauge, temperatures"
    )
    started_at: Line = Field(default="", description="when pumping ended, ISO 8601")
    stage: Literal["before", "after"] = Field(default="after", description="before or after repair")
    unit: Literal["", "kPa", "bar", "psi"] = Field(
        default="", description="unit on the gauge's face; that of the shop without it"
    )
    seen: list[Line] = Field(default_factory=list, description="what was seen meanwhile: drip, ...")
    says: Words = Field(default="", description="the verdict in words when it ended")
    result: dict[str, Any] = Field(default_factory=dict, description="the whole verdict")


class HoldReadingKeys(EntryKeys):
    """One look at the gauge."""

    test: EntryName = Field(description="the hold test it belongs to")
    minutes: Annotated[Number, Field(ge=0, le=1e5)] = Field(description="minutes since the start")
    pressure_kpa: Annotated[Number, Field(ge=-100, le=1000)] = Field(
        description="what the gauge shows, kPa"
    )
    engine_c: Annotated[Number, Field(ge=-60, le=200)] | None = Field(
        default=None, description="engine temperature, degrees Celsius"
    )
    air_c: Annotated[Number, Field(ge=-60, le=70)] | None = Field(
        default=None, description="air temperature, degrees Celsius"
    )


class EstimateKeys(EntryKeys):
    """An offer with its options, as worked out."""

    offer: dict[str, Any] = Field(description="the offer as saved")
    says: Words = Field(default="", description="the offer in words")


class ApprovalKeys(EntryKeys):
    """The owner's OK: to what exactly, by whom, when."""

    estimate: EntryName = Field(description="the offer it belongs to")
    estimate_version: Annotated[int, Field(ge=1)] = Field(description="which version of it")
    option: Line = Field(description="the option agreed to")
    name: Line = Field(description="who said yes")
    agreed_at: Line = Field(description="when, ISO 8601")
    agreement: dict[str, Any] = Field(
        default_factory=dict, description="what exactly was agreed, with its digest"
    )
    signature: Annotated[str, StringConstraints(max_length=200_000)] = Field(
        default="", description="strokes drawn on the screen, as lists of points"
    )


class ComparisonKeys(EntryKeys):
    """Two takes side by side."""

    before: EntryName = Field(description="the take before")
    after: EntryName = Field(description="the take after")
    says: Words = Field(default="", description="the result in words")
    result: dict[str, Any] = Field(default_factory=dict, description="the whole result")


class NoteKeys(EntryKeys):
    """Anything else worth keeping."""

    words: Words = Field(description="the note")


class ReminderKeys(EntryKeys):
    """Something to look at again."""

    words: Words = Field(description="what to do")
    due: Line = Field(default="", description="the day, ISO 8601")
    due_km: Annotated[Number, Field(ge=0, le=5e6)] | None = Field(
        default=None, description="at this odometer reading, km"
    )
    done: bool = Field(default=False, description="whether it is done")


class OutcomeKeys(EntryKeys):
    """How it ended."""

    cause: Line = Field(default="", description="the suspect that was the cause, part.fault")
    replaced: list[Line] = Field(default_factory=list, description="repairs done, by suspect")
    cured: bool | None = Field(default=None, description="whether the noise is gone")
    closed: bool = Field(default=False, description="whether the job is closed")
    came_back: bool | None = Field(default=None, description="whether the noise came back")
    charged: MoneyText | None = Field(default=None, description="what was charged")
    currency: Line = Field(default="", description="in which currency")
    note: Words = Field(default="", description="anything to add")


class ComebackKeys(EntryKeys):
    """This job goes on from an earlier one."""

    earlier_job: EntryName = Field(description="the earlier job")
    why: Words = Field(default="", description="what the owner says now")


class ProofKeys(EntryKeys):
    """A proof sheet as it was handed out: all that stood on it, and its digest."""

    made_at: Line = Field(description="the moment it speaks of, ISO 8601")
    digest: FileName = Field(description="SHA-256 over the canonical form of the sheet")
    sheet: dict[str, Any] = Field(description="the whole sheet")


class SettingKeys(EntryKeys):
    """One setting of the shop."""

    name: Line = Field(description="which setting")
    value: Any = Field(default=None, description="its value")


ENTRY_KINDS: Final[Mapping[str, type[EntryKeys]]] = {
    "owner": OwnerKeys,
    "car": CarKeys,
    "complaint": ComplaintKeys,
    "observation": ObservationKeys,
    "take": TakeEntryKeys,
    "finding": FindingEntryKeys,
    "condition": ConditionKeys,
    "drive-sheet": DriveSheetEntryKeys,
    "strum": StrumKeys,
    "photo": PhotoKeys,
    "plan": PlanKeys,
    "step-tick": StepTickKeys,
    "bolt-pattern": BoltPatternKeys,
    "torque-tick": TorqueTickKeys,
    "part-used": PartUsedKeys,
    "part-match": PartMatchKeys,
    "coolant": CoolantKeys,
    "hold-test": HoldTestKeys,
    "hold-reading": HoldReadingKeys,
    "estimate": EstimateKeys,
    "approval": ApprovalKeys,
    "comparison": ComparisonKeys,
    "note": NoteKeys,
    "reminder": ReminderKeys,
    "outcome": OutcomeKeys,
    "comeback": ComebackKeys,
    "proof": ProofKeys,
    "setting": SettingKeys,
}

# Of these a job has one: written again, it is changed.
SINGLE_KINDS: Final = frozenset({"owner", "car", "complaint", "drive-sheet", "plan", "outcome"})
