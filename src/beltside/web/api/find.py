"""Find the part: odds, checks, findings, conditions."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Path, Query
from pydantic import BaseModel, ConfigDict, Field

from beltside.casework.formats.entries import Line
from beltside.casework.shop import sheet_of
from beltside.casework.shop_case import shop_tables
from beltside.casework.shop_find import (
    check_card,
    condition_holds,
    find_now,
    finding_made,
    next_check,
    take_back_finding,
)
from beltside.casework.shop_likeness import likeness_now
from beltside.web.api.answers import (
    CardSaid,
    ConditionsSaid,
    EntrySaid,
    FindSaid,
    LikenessSaid,
    NextCardSaid,
    entry_said,
)
from beltside.web.api.frame import PROBLEMS, ApiRoute, JobName, OwnName, ReadShop, WriteShop

router = APIRouter(prefix="/api", tags=["find the part"], route_class=ApiRoute, responses=PROBLEMS)


class Finding(BaseModel):
    """What a check showed."""

    model_config = ConfigDict(extra="forbid")

    check: Annotated[Line, Field(description="the check: spin-by-hand", examples=["spin-by-hand"])]
    outcome: Annotated[Line, Field(description="what it showed: rough", examples=["rough"])]
    part: Annotated[Line, Field(description="on which part", examples=["coolant-pump"])] = ""
    minutes: Annotated[float, Field(ge=0, le=10_000)] | None = None


class Holds(BaseModel):
    """Whether a condition holds."""

    model_config = ConfigDict(extra="forbid")

    holds: bool


@router.get("/jobs/{job}/odds", response_model=FindSaid)
def odds(
    shop: ReadShop,
    job: JobName,
    without: Annotated[
        list[str] | None, Query(description="findings left out for once, by their entries")
    ] = None,
) -> dict[str, Any]:
    """Odds of every suspect and what to check next.

    Takes not listened to yet are left to the workers; `listening` says so.
    """
    return find_now(shop, sheet_of(shop, job), without=without or ()).to_json()


@router.get("/jobs/{job}/similar", response_model=LikenessSaid)
def similar(
    shop: ReadShop,
    job: JobName,
    take: Annotated[
        str, Query(max_length=310, description="one take; the nearest of all without")
    ] = "",
    most: Annotated[int, Query(ge=1, le=50)] = 5,
) -> dict[str, Any]:
    """Which takes of closed jobs this noise is most like; takes not listened to are left out."""
    return likeness_now(shop, sheet_of(shop, job), take=take, most=most).to_json()


@router.get("/jobs/{job}/checks/next", response_model=NextCardSaid)
def best_check(shop: ReadShop, job: JobName) -> dict[str, Any]:
    """The card of the check most worth its minutes now."""
    card = next_check(shop, job)
    return {"card": None if card is None else card.to_json()}


@router.get("/jobs/{job}/checks/{check}", response_model=CardSaid)
def one_check(
    shop: ReadShop,
    job: JobName,
    check: Annotated[str, Path(max_length=100)],
    part: Annotated[str, Query(max_length=100)] = "",
) -> dict[str, Any]:
    """The card of one check: what to do, what it can show, its risks."""
    return check_card(shop, job, check, part).to_json()


@router.post("/jobs/{job}/findings", response_model=EntrySaid, status_code=201)
def finding(
    shop: WriteShop, job: JobName, body: Finding, own_name: OwnName = None
) -> dict[str, Any]:
    """Write down what a check showed; the odds follow at once."""
    made = finding_made(
        shop,
        job,
        body.check,
        body.outcome,
        body.part,
        minutes=body.minutes,
        entry_id=own_name,
    )
    return entry_said(made)


@router.delete("/jobs/{job}/findings/{finding}", response_model=EntrySaid)
def take_back(
    shop: WriteShop,
    job: JobName,
    finding: Annotated[
        str, Path(description="the finding's entry, or its number on the sheet", max_length=64)
    ],
) -> dict[str, Any]:
    """Take a finding back; it stays readable."""
    return entry_said(take_back_finding(shop, job, finding))


@router.get("/jobs/{job}/conditions", response_model=ConditionsSaid)
def conditions(shop: ReadShop, job: JobName) -> dict[str, Any]:
    """Conditions of the catalogue, and whether they hold on this car."""
    said = {str(one.body["name"]): one for one in sheet_of(shop, job).of_kind("condition")}
    return {
        "conditions": [
            {
                "name": one.id,
                "says": one.says,
                "holds": said[one.id].body["holds"] if one.id in said else one.assumed,
                "entry": said[one.id].id if one.id in said else "",
            }
            for one in shop_tables(shop).catalogue.conditions
        ]
    }


@router.put("/jobs/{job}/conditions/{name}", response_model=EntrySaid)
def condition(
    shop: WriteShop, job: JobName, name: Annotated[str, Path(max_length=100)], body: Holds
) -> dict[str, Any]:
    """Say whether a condition holds."""
    return entry_said(condition_holds(shop, job, name, body.holds))
