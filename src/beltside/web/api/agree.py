"""Agree and work: the plan with its ticks, estimate and OK, bolts, parts."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Path
from pydantic import BaseModel, ConfigDict, Field, JsonValue

from beltside.casework.formats.entries import FileName, Line, PartUsedKeys, Words
from beltside.casework.formats.teardown_prices import DisposalKeys, OptionKeys, PriceKeys
from beltside.casework.shop import MissingError, sheet_of
from beltside.casework.shop_agree import make_estimate, offer_now, owner_agrees, part_used
from beltside.casework.shop_bolting import (
    PartGiven,
    bolts_now,
    match_on_job,
    save_bolt_pattern,
    tick_bolt,
)
from beltside.casework.shop_steps import tick_step, untick_step
from beltside.casework.shop_teardown import make_plan, plan_on_job
from beltside.casework.teardown_templates import template_names
from beltside.web.api.answers import EntrySaid, entry_said
from beltside.web.api.answers_work import (
    BoltsSaid,
    EstimateSaid,
    MatchSaid,
    NamesSaid,
    OfferSaid,
    PlanSaid,
)
from beltside.web.api.frame import PROBLEMS, ApiRoute, JobName, OwnName, ReadShop, WriteShop

router = APIRouter(prefix="/api", tags=["agree and work"], route_class=ApiRoute, responses=PROBLEMS)

Minutes = Annotated[float, Field(ge=0, le=100_000)]
StepName = Annotated[
    str, Path(description="the step's name in the plan, or its thing", max_length=300)
]


class Given(BaseModel):
    """A body whose other fields are refused."""

    model_config = ConfigDict(extra="forbid")


class Plan(Given):
    """A shipped template by name, or a teardown job as text (TOML)."""

    template: Line = ""
    toml: Annotated[str, Field(max_length=400_000)] = ""
    target: list[Line] = Field(default_factory=list, description="repairs; all without")
    aim: Literal["expected", "sure", "tools"] = Field(
        default="expected", description="least expected minutes, minutes at 80 %, or tools"
    )


class StepTick(Given):
    """A step done, its clock started or stopped, gone wrong, or stuck."""

    step: Annotated[Line, Field(description='its name in the plan ("apart:belt"), or its thing')]
    state: Literal["done", "started", "stopped", "went wrong", "stuck"] = "done"
    minutes: Minutes | None = None
    says: Words = Field(default="", description="which of its troubles it was")
    note: Words = Field(default="", description="where it fought back")
    extra_min: list[Minutes] = Field(
        default_factory=list,
        max_length=3,
        description="minutes more, low, likely, high, for a trouble the plan does not know",
    )


Amount = Annotated[str | int, Field(description='money or per cent as text: "89.50"')]


class Estimate(Given):
    """Prices and options; what is left out is as in the offer before, else as in the settings."""

    price: list[PriceKeys] | None = Field(default=None, max_length=500)
    option: list[OptionKeys] | None = Field(default=None, max_length=12)
    disposal: list[DisposalKeys] | None = Field(default=None, max_length=100)
    currency: Annotated[str, Field(max_length=20)] | None = None
    labour_per_hour: Amount | None = None
    tax_percent: Amount | None = None
    parts_margin_percent: Amount | None = None
    consumables: Amount | None = None
    travel: Amount | None = None
    deposit_percent: Amount | None = None
    offer_days: Annotated[int, Field(ge=1, le=365)] | None = None
    coolant_litres: Annotated[float, Field(gt=0, le=100)] | None = None
    coolant_source: Line | None = None
    sealant_ml: Annotated[float, Field(gt=0, le=10_000)] | None = None
    sealant_source: Line | None = None


class Agreement(Given):
    """The owner's OK to one option of the newest offer."""

    option: Annotated[Line, Field(description="the option by name or number")]
    name: Annotated[Line, Field(description="who says yes")]
    version: Annotated[int, Field(ge=1)] | None = Field(
        default=None, description="the version he was shown; refused when it is not the newest"
    )
    signature: Annotated[str, Field(max_length=200_000)] = Field(
        default="", description="strokes drawn on the screen, as text of lists of points"
    )


class Pattern(Given):
    """The holes of a flange (TOML), and the maker's torque with where it stands."""

    toml: Annotated[str, Field(max_length=100_000)]
    torque: Annotated[Line, Field(examples=["10 N m"])] = ""
    torque_source: Line = ""


class BoltTick(Given):
    """A fastener tightened; the next bolt of the order without a number."""

    fastener: Line = Field(default="", description="which one; the only pattern's without")
    number: Annotated[int, Field(ge=1, le=200)] | None = Field(
        default=None, description="its place in the order"
    )
    pass_number: Annotated[int, Field(ge=1, le=20)] | None = None
    torque_nm: Annotated[float, Field(gt=0, le=10_000)] | None = None
    angle_deg: Annotated[float, Field(ge=0, le=720)] | None = None
    source: Line = Field(default="", description="where the torque stands")


class MatchPart(Given):
    """A part by its stored photo, its part file as text (TOML), or both."""

    name: Annotated[Line, Field(min_length=1)]
    photo: FileName | None = None
    toml: Annotated[str, Field(max_length=100_000)] = ""

    def as_given(self) -> PartGiven:
        """As matching takes it."""
        return PartGiven(self.name, self.photo, self.toml)


class Match(Given):
    """Old part and new part, with the gasket where there is one."""

    old: MatchPart
    new: MatchPart
    gasket: MatchPart | None = None
    part: Line = Field(default="", description="which part it is")
    disc_mm: Annotated[float, Field(gt=0, le=1000)] | None = Field(
        default=None, description="diameter of the round thing lying beside it in photos, mm"
    )


@router.get("/templates", response_model=NamesSaid)
def templates(shop: ReadShop) -> dict[str, Any]:
    """Shipped templates of plans."""
    del shop
    return {"names": list(template_names())}


@router.get("/jobs/{job}/plan", response_model=PlanSaid)
def plan(shop: ReadShop, job: JobName) -> dict[str, Any]:
    """What is left of the plan, step by step, with the ticks."""
    if sheet_of(shop, job).newest("plan") is None:
        raise MissingError("There is no plan on this job yet", instead="making one")
    return plan_on_job(shop, job).to_json()


@router.put("/jobs/{job}/plan", response_model=PlanSaid)
def choose_plan(shop: WriteShop, job: JobName, body: Plan) -> dict[str, Any]:
    """Choose the plan; an earlier one stays readable."""
    make_plan(shop, job, body.model_dump())
    return plan_on_job(shop, job).to_json()


@router.post("/jobs/{job}/plan/ticks", response_model=EntrySaid, status_code=201)
def tick(shop: WriteShop, job: JobName, body: StepTick, own_name: OwnName = None) -> dict[str, Any]:
    """Tick a step; when it went wrong the rest is planned anew."""
    made = tick_step(
        shop,
        job,
        body.step,
        state=body.state,
        minutes=body.minutes,
        says=body.says,
        note=body.note,
        extra_min=body.extra_min,
        entry_id=own_name,
    )
    return entry_said(made)


@router.delete("/jobs/{job}/plan/ticks/{step}", response_model=EntrySaid)
def untick(shop: WriteShop, job: JobName, step: StepName) -> dict[str, Any]:
    """Take the tick of a step back."""
    return entry_said(untick_step(shop, job, step))


@router.get("/jobs/{job}/estimate", response_model=OfferSaid)
def offer(shop: ReadShop, job: JobName) -> dict[str, Any]:
    """The newest offer, and the owner's OK to it."""
    found = offer_now(sheet_of(shop, job))
    if found is None:
        raise MissingError("There is no estimate on this job yet", instead="making one")
    return found.to_json()


@router.post("/jobs/{job}/estimate", response_model=EstimateSaid, status_code=201)
def estimate(shop: WriteShop, job: JobName, body: Estimate) -> dict[str, Any]:
    """Price the plan; an earlier offer stays readable."""
    typed: dict[str, JsonValue] = body.model_dump(mode="json", exclude_none=True)
    return make_estimate(shop, job, typed).to_json()


@router.post("/jobs/{job}/approval", response_model=EntrySaid, status_code=201)
def approve(
    shop: WriteShop, job: JobName, body: Agreement, own_name: OwnName = None
) -> dict[str, Any]:
    """Keep the owner's OK, word for word with the offer's digest."""
    made = owner_agrees(
        shop,
        job,
        body.option,
        body.name,
        signature=body.signature,
        version=body.version,
        entry_id=own_name,
    )
    return entry_said(made)


@router.post("/jobs/{job}/parts", response_model=EntrySaid, status_code=201)
def part(
    shop: WriteShop, job: JobName, body: PartUsedKeys, own_name: OwnName = None
) -> dict[str, Any]:
    """Write down a part or material that went in."""
    return entry_said(part_used(shop, job, body.model_dump(), entry_id=own_name))


@router.get("/jobs/{job}/bolts/{fastener}", response_model=BoltsSaid)
def bolts(
    shop: ReadShop, job: JobName, fastener: Annotated[str, Path(max_length=300)]
) -> dict[str, Any]:
    """The bolts of a flange in their order, with the ticks."""
    return bolts_now(shop, job, fastener).to_json()


@router.put("/jobs/{job}/bolts/{fastener}", response_model=BoltsSaid)
def save_pattern(
    shop: WriteShop,
    job: JobName,
    fastener: Annotated[str, Path(max_length=300, description="what is bolted: coolant pump")],
    body: Pattern,
) -> dict[str, Any]:
    """Keep the holes of a flange; gives the order and stages to tighten them in."""
    save_bolt_pattern(
        shop, job, fastener, body.toml, torque=body.torque, torque_source=body.torque_source
    )
    return bolts_now(shop, job, fastener).to_json()


@router.post("/jobs/{job}/torque-ticks", response_model=EntrySaid, status_code=201)
def tighten(
    shop: WriteShop, job: JobName, body: BoltTick, own_name: OwnName = None
) -> dict[str, Any]:
    """Tick a fastener as tightened."""
    return entry_said(tick_bolt(shop, job, **body.model_dump(), entry_id=own_name))


@router.post("/jobs/{job}/matches", response_model=MatchSaid, status_code=201)
def match(shop: WriteShop, job: JobName, body: Match, own_name: OwnName = None) -> dict[str, Any]:
    """Lay the holes of old and new part on each other; some seconds."""
    made = match_on_job(
        shop,
        job,
        body.old.as_given(),
        body.new.as_given(),
        gasket=None if body.gasket is None else body.gasket.as_given(),
        part=body.part,
        disc_mm=body.disc_mm,
        entry_id=own_name,
    )
    return made.to_json()
