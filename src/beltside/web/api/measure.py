"""Measure and compare: the drive sheet, plucked spans, takes before and after."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path as FilePath
from typing import Annotated, Any

from fastapi import APIRouter
from pydantic import BaseModel, ConfigDict, Field

from beltside.casework.formats.entries import FileName, Line
from beltside.casework.shop import MissingError, sheet_of
from beltside.casework.shop_measure import (
    compare_on_job,
    drive_on_job,
    save_drive_sheet,
    strum_on_job,
)
from beltside.web.api.answers import EntrySaid, entry_said
from beltside.web.api.answers_work import ComparedSaid, DriveSaid, SheetSaid, StrumSaid
from beltside.web.api.frame import (
    PROBLEMS,
    ApiRoute,
    BasedOn,
    JobName,
    OwnName,
    ReadShop,
    WriteShop,
)

router = APIRouter(
    prefix="/api", tags=["measure and compare"], route_class=ApiRoute, responses=PROBLEMS
)

Millimetres = Annotated[float, Field(gt=0, le=10_000)]
Newtons = Annotated[float, Field(gt=0, le=100_000)]


class Sheet(BaseModel):
    """A drive sheet as written, TOML; docs/formats.md says its keys."""

    model_config = ConfigDict(extra="forbid")

    toml: Annotated[str, Field(max_length=200_000)]
    picture: (
        Annotated[FileName, Field(description="the stored photo it was measured on")] | None
    ) = None


class Strum(BaseModel):
    """Plucks of one span, as stored recordings."""

    model_config = ConfigDict(extra="forbid")

    recordings: Annotated[
        list[FileName],
        Field(min_length=1, max_length=20, description="names of POST /api/recordings"),
    ]
    between: Annotated[
        list[Line], Field(max_length=2, description="the two pulleys of the span, or none")
    ] = Field(default_factory=list)
    span_mm: Annotated[Millimetres, Field(description="free length by rule, mm")] | None = None
    target_n: (
        Annotated[
            tuple[Newtons, Newtons], Field(description="lowest and highest tension wanted, N")
        ]
        | None
    ) = None


class Pair(BaseModel):
    """Two takes; those made most alike without names."""

    model_config = ConfigDict(extra="forbid")

    before: Annotated[str, Field(max_length=310)] = ""
    after: Annotated[str, Field(max_length=310)] = ""


@router.get("/jobs/{job}/drive-sheet", response_model=EntrySaid)
def sheet(shop: ReadShop, job: JobName) -> dict[str, Any]:
    """The drive sheet as written."""
    entry = sheet_of(shop, job).newest("drive-sheet")
    if entry is None:
        raise MissingError("There is no drive sheet yet", instead="writing one")
    return entry_said(entry)


@router.put("/jobs/{job}/drive-sheet", response_model=SheetSaid)
def save_sheet(
    shop: WriteShop, job: JobName, body: Sheet, based_on: BasedOn = None
) -> dict[str, Any]:
    """Keep the drive sheet; the takes are listened to again with it."""
    saved = save_drive_sheet(shop, job, body.toml, picture=body.picture, based_on=based_on)
    kept = saved.entry.body
    return {**saved.to_json(), "toml": kept["toml"], "picture": kept.get("picture")}


@router.get("/jobs/{job}/drive", response_model=DriveSaid)
def drive(shop: ReadShop, job: JobName) -> dict[str, Any]:
    """What the drive sheet gives: lengths, ratios, wraps, slip margins."""
    return drive_on_job(shop, job).to_json()


@router.post("/jobs/{job}/strums", response_model=StrumSaid, status_code=201)
def strum(shop: WriteShop, job: JobName, body: Strum, own_name: OwnName = None) -> dict[str, Any]:
    """What plucks of a span say of the belt's tension; some seconds."""
    kinds = [shop.record.file_kind(one) for one in body.recordings]
    paths = [shop.files.path(one) for one in body.recordings]
    made = strum_on_job(
        shop,
        job,
        [_pieces(path) for path in paths],
        between=body.between,
        span_mm=body.span_mm,
        target_n=body.target_n,
        media_type=kinds[0],
        entry_id=own_name,
    )
    return made.to_json()


def _pieces(path: FilePath) -> Iterator[bytes]:
    with path.open("rb") as file:
        while piece := file.read(1 << 20):
            yield piece


@router.post("/jobs/{job}/comparisons", response_model=ComparedSaid, status_code=201)
def compare(shop: WriteShop, job: JobName, body: Pair) -> dict[str, Any]:
    """Compare a take before the repair with one after it; some seconds."""
    return compare_on_job(shop, job, body.before, body.after).to_json()
