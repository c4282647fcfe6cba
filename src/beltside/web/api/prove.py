"""Prove: the coolant bench and the hold test."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Path, Query
from pydantic import BaseModel, ConfigDict, Field, JsonValue

from beltside.casework.shop import sheet_of
from beltside.casework.shop_coolant import (
    HOLD_FIELDS,
    ask_coolant,
    begin_hold,
    coolant_fields,
    coolant_on_job,
    end_hold,
    hold_now,
    hold_reading,
)
from beltside.web.api.answers import EntriesSaid, EntrySaid, entry_said
from beltside.web.api.answers_work import CoolantKeptSaid, CoolantSaid, HoldSaid, NamesSaid
from beltside.web.api.frame import PROBLEMS, ApiRoute, JobName, OwnName, ReadShop, WriteShop

router = APIRouter(prefix="/api", tags=["prove"], route_class=ApiRoute, responses=PROBLEMS)

About = Annotated[
    Literal["mix", "adjust", "reuse", "cap", "fill", "drain", "clock"],
    Path(description="the question"),
]
TestName = Annotated[
    str, Path(description="the hold test's entry, or its number on the sheet", max_length=64)
]
Typed = float | str
"""A number in the unit of its name, or text with its unit."""


class Question(BaseModel):
    """What was read: numbers in the units of their names, or text with a unit ("6.5 l", "-34C")."""

    model_config = ConfigDict(extra="forbid")

    given: Annotated[dict[str, JsonValue], Field(examples=[{"cap": "108 kPa"}])]
    us: bool | None = Field(
        default=None, description="whether bare figures in text are US units; else as the shop's"
    )


class Begin(BaseModel):
    """How the system was pumped up."""

    model_config = ConfigDict(extra="forbid")

    given: Annotated[
        dict[str, Typed | None], Field(description="any of: " + ", ".join(HOLD_FIELDS))
    ] = Field(default_factory=dict)
    stage: Literal["before", "after"] = "after"


class Look(BaseModel):
    """One look at the gauge."""

    model_config = ConfigDict(extra="forbid")

    minutes: Annotated[Typed, Field(description='since pumping ended: 1.5, "1:30" or "90s"')]
    pressure_kpa: Annotated[Typed, Field(description="a number in kPa, or text with its unit")]
    engine_c: Typed | None = None
    air_c: Typed | None = None


class Seen(BaseModel):
    """What was seen meanwhile: words such as "adaptor-hiss"."""

    model_config = ConfigDict(extra="forbid")

    seen: list[Annotated[str, Field(max_length=100)]] = Field(default_factory=list, max_length=20)


@router.get("/coolant/{about}/fields", response_model=NamesSaid)
def fields(shop: ReadShop, about: About) -> dict[str, Any]:
    """The fields of a question of the coolant bench."""
    del shop
    return {"names": list(coolant_fields(about))}


@router.post("/coolant/{about}", response_model=CoolantSaid)
def ask(shop: WriteShop, about: About, body: Question) -> dict[str, Any]:
    """Answer a question of the coolant bench; nothing is kept."""
    del shop
    return ask_coolant(about, body.given, us=bool(body.us)).to_json()


@router.post("/jobs/{job}/coolant/{about}", response_model=CoolantKeptSaid, status_code=201)
def ask_and_keep(
    shop: WriteShop, job: JobName, about: About, body: Question, own_name: OwnName = None
) -> dict[str, Any]:
    """Answer a question of the coolant bench, and keep the answer on the job."""
    kept = coolant_on_job(shop, job, about, body.given, us=body.us, entry_id=own_name)
    return kept.to_json()


@router.get("/jobs/{job}/hold-tests", response_model=EntriesSaid)
def tests(shop: ReadShop, job: JobName) -> dict[str, Any]:
    """The hold tests of the job."""
    return {"entries": [entry_said(one) for one in sheet_of(shop, job).of_kind("hold-test")]}


@router.post("/jobs/{job}/hold-tests", response_model=EntrySaid, status_code=201)
def begin(shop: WriteShop, job: JobName, body: Begin, own_name: OwnName = None) -> dict[str, Any]:
    """Begin a hold test."""
    return entry_said(begin_hold(shop, job, body.given, stage=body.stage, entry_id=own_name))


@router.get("/jobs/{job}/hold-tests/{test}", response_model=HoldSaid)
def verdict(
    shop: ReadShop,
    job: JobName,
    test: TestName,
    seen: Annotated[list[str] | None, Query(description="what was seen")] = None,
) -> dict[str, Any]:
    """The verdict so far, with the readings."""
    return hold_now(shop, job, test, seen=seen or ()).to_json()


@router.post("/jobs/{job}/hold-tests/{test}/readings", response_model=HoldSaid, status_code=201)
def reading(
    shop: WriteShop, job: JobName, test: TestName, body: Look, own_name: OwnName = None
) -> dict[str, Any]:
    """Enter one look at the gauge; gives the verdict so far."""
    now = hold_reading(
        shop,
        job,
        body.minutes,
        body.pressure_kpa,
        engine_c=body.engine_c,
        air_c=body.air_c,
        test=test,
        entry_id=own_name,
    )
    return now.to_json()


@router.post("/jobs/{job}/hold-tests/{test}/verdict", response_model=HoldSaid)
def end(shop: WriteShop, job: JobName, test: TestName, body: Seen) -> dict[str, Any]:
    """Write the verdict on the job; reading on and ending again renews it."""
    return end_hold(shop, job, test, seen=body.seen).to_json()
