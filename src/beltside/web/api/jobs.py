"""Jobs: listed, found, opened, looked at, changed entry by entry, looked back on."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Query
from pydantic import BaseModel, ConfigDict, Field

from beltside.base.errors import InputError
from beltside.casework.formats.entries import (
    CarKeys,
    ComplaintKeys,
    Line,
    ObservationKeys,
    OwnerKeys,
    Words,
)
from beltside.casework.shop import sheet_of, write
from beltside.casework.shop_entries import change_entry, change_single, entry_on_job, versions_of
from beltside.casework.shop_jobs import (
    bring_back,
    history,
    job_line,
    list_jobs,
    new_job,
    remove_entry,
)
from beltside.casework.shop_notes import add_note
from beltside.casework.shop_search import search_jobs
from beltside.casework.shop_view import job_view
from beltside.web.api.answers import (
    ChangeSaid,
    EntriesSaid,
    EntrySaid,
    HistorySaid,
    JobListSaid,
    JobSaid,
    NewJobSaid,
    change_said,
    entry_said,
)
from beltside.web.api.frame import (
    PROBLEMS,
    ApiRoute,
    BasedOn,
    EntryName,
    JobName,
    OwnName,
    ReadShop,
    RefuseClash,
    WriteShop,
)

router = APIRouter(prefix="/api", tags=["jobs"], route_class=ApiRoute, responses=PROBLEMS)


class NewJob(BaseModel):
    """A new job: the owner's words, his name or the car suffice. Fields that are off are told."""

    model_config = ConfigDict(extra="forbid")

    words: Words = Field(default="", description="what the owner says")
    car: Line = Field(default="", description="what he calls the car")
    plate: Line = Field(default="", description="registration plate")
    vin: Line = Field(default="", description="vehicle identification number")
    owner: Line = Field(default="", description="who he is")
    phone: Line = Field(default="", description="his telephone")
    when: list[Line] = Field(default_factory=list, description='"at idle", "when turning", ...')
    where: Line = Field(default="", description="where it seems to come from")
    engine: Literal["", "cold", "hot", "both"] = Field(default="", description="cold or hot")
    since: Line = Field(default="", description="since when")


class Note(BaseModel):
    """A note."""

    model_config = ConfigDict(extra="forbid")

    words: Words


class Version(BaseModel):
    """Which version to bring back; the one before, or the one removed, without."""

    model_config = ConfigDict(extra="forbid")

    version: Annotated[int, Field(ge=1, le=1_000_000)] | None = None


@router.get("/jobs", response_model=JobListSaid)
def list_of_jobs(
    shop: ReadShop,
    which: Literal["open", "closed", "all"] = "open",
    stage: Annotated[list[str] | None, Query(description="only at these stages")] = None,
    limit: Annotated[int, Query(ge=1, le=1000)] = 50,
    before: Annotated[
        datetime | None, Query(description="goes on: only jobs changed before this moment")
    ] = None,
) -> dict[str, Any]:
    """Jobs, the one changed last first."""
    if before is not None and before.tzinfo is None:
        raise InputError(f"{before.isoformat()} has no zone", instead=f"{before.isoformat()}Z")
    found = list_jobs(shop, which=which, stages=stage, limit=limit, before=before)
    return {"jobs": [one.to_json() for one in found]}


@router.get("/search", response_model=JobListSaid)
def search(
    shop: ReadShop, words: Annotated[str, Query(min_length=1, max_length=300)]
) -> dict[str, Any]:
    """Jobs that hold these words, or words a slip of the finger away, the best first."""
    return {"jobs": [one.to_json() for one in search_jobs(shop, words)]}


@router.post("/jobs", response_model=NewJobSaid, status_code=201)
def open_job(shop: WriteShop, body: NewJob, own_name: OwnName = None) -> dict[str, Any]:
    """Open a job."""
    sheet, problems = new_job(shop, body.model_dump(), job_id=own_name)
    return {**job_line(sheet.job).to_json(), "problems": problems}


@router.get("/jobs/{job}", response_model=JobSaid)
def one_job(shop: ReadShop, job: JobName) -> dict[str, Any]:
    """A job at a glance: the answer, what to do next, each stage."""
    return job_view(shop, job).to_json()


# Owner, car, complaint, what was seen -------------------------------------------------------------


@router.patch("/jobs/{job}/owner", response_model=ChangeSaid)
def owner(
    shop: WriteShop,
    job: JobName,
    body: OwnerKeys,
    based_on: BasedOn = None,
    refuse_clash: RefuseClash = False,
) -> dict[str, Any]:
    """Write the owner; fields left out stay."""
    typed = body.model_dump(exclude_unset=True)
    return change_said(
        change_single(shop, job, "owner", typed, based_on=based_on, refuse_clash=refuse_clash)
    )


@router.patch("/jobs/{job}/car", response_model=ChangeSaid)
def car(
    shop: WriteShop,
    job: JobName,
    body: CarKeys,
    based_on: BasedOn = None,
    refuse_clash: RefuseClash = False,
) -> dict[str, Any]:
    """Write the car; fields left out stay."""
    typed = body.model_dump(exclude_unset=True)
    return change_said(
        change_single(shop, job, "car", typed, based_on=based_on, refuse_clash=refuse_clash)
    )


@router.patch("/jobs/{job}/complaint", response_model=ChangeSaid)
def complaint(
    shop: WriteShop,
    job: JobName,
    body: ComplaintKeys,
    based_on: BasedOn = None,
    refuse_clash: RefuseClash = False,
) -> dict[str, Any]:
    """Write the complaint; fields left out stay."""
    typed = body.model_dump(exclude_unset=True)
    return change_said(
        change_single(shop, job, "complaint", typed, based_on=based_on, refuse_clash=refuse_clash)
    )


@router.post("/jobs/{job}/observations", response_model=EntrySaid, status_code=201)
def observation(
    shop: WriteShop, job: JobName, body: ObservationKeys, own_name: OwnName = None
) -> dict[str, Any]:
    """Write down what was seen; `files` are stored photos."""
    made = write(
        shop,
        sheet_of(shop, job).job.id,
        "observation",
        body.model_dump(),
        entry_id=own_name,
        files=body.files,
    )
    return entry_said(made)


@router.post("/jobs/{job}/notes", response_model=EntrySaid, status_code=201)
def note(shop: WriteShop, job: JobName, body: Note, own_name: OwnName = None) -> dict[str, Any]:
    """Write a note."""
    return entry_said(add_note(shop, job, body.words, entry_id=own_name))


# Entries ------------------------------------------------------------------------------------------


@router.get("/jobs/{job}/entries", response_model=EntriesSaid)
def entries(
    shop: ReadShop,
    job: JobName,
    kind: Annotated[str | None, Query(description="only of this kind", max_length=40)] = None,
) -> dict[str, Any]:
    """Everything on the job that is not removed."""
    found = sheet_of(shop, job).entries
    return {"entries": [entry_said(one) for one in found if kind in (None, one.kind)]}


@router.get("/jobs/{job}/entries/{entry}", response_model=EntrySaid)
def one_entry(shop: ReadShop, job: JobName, entry: EntryName) -> dict[str, Any]:
    """An entry as it is now, removed or not."""
    return entry_said(entry_on_job(shop, job, entry))


@router.get("/jobs/{job}/entries/{entry}/versions", response_model=EntriesSaid)
def versions(shop: ReadShop, job: JobName, entry: EntryName) -> dict[str, Any]:
    """Every version of an entry, oldest first."""
    return {"entries": [entry_said(one) for one in versions_of(shop, job, entry)]}


@router.patch("/jobs/{job}/entries/{entry}", response_model=ChangeSaid)
def change(
    shop: WriteShop,
    job: JobName,
    entry: EntryName,
    body: dict[str, Any],
    based_on: BasedOn = None,
    refuse_clash: RefuseClash = False,
) -> dict[str, Any]:
    """Change fields of an entry that a person wrote; fields left out stay.

    A take is listened to again where that matters.
    """
    return change_said(
        change_entry(shop, job, entry, body, based_on=based_on, refuse_clash=refuse_clash)
    )


@router.delete("/jobs/{job}/entries/{entry}", response_model=EntrySaid)
def remove(shop: WriteShop, job: JobName, entry: EntryName) -> dict[str, Any]:
    """Take an entry off the sheet; it stays readable and can be brought back."""
    return entry_said(remove_entry(shop, job, entry))


@router.post("/jobs/{job}/entries/{entry}/bring-back", response_model=EntrySaid)
def brought_back(shop: WriteShop, job: JobName, entry: EntryName, body: Version) -> dict[str, Any]:
    """Make an earlier version the present one, or a removed entry stand again."""
    return entry_said(bring_back(shop, job, entry, body.version))


@router.get("/jobs/{job}/history", response_model=HistorySaid)
def changes(shop: ReadShop, job: JobName) -> dict[str, Any]:
    """Every change of the job, oldest first: what, who, when."""
    return {"changes": [one.to_json() for one in history(shop, job)]}
