"""Record: closing, comebacks, reminders, the proof sheet, how it was done."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Annotated, Any

from fastapi import APIRouter
from fastapi.responses import Response
from pydantic import BaseModel, ConfigDict, Field

from beltside.base.errors import InputError
from beltside.casework.formats.entries import Line, MoneyText, Words
from beltside.casework.proof_sheet import ProofSheet
from beltside.casework.shop import MissingError, Shop, sheet_of
from beltside.casework.shop_comeback import (
    begin_comeback,
    earlier_of,
    remind_after,
    since_hand_over,
)
from beltside.casework.shop_forget import forget_owner
from beltside.casework.shop_how import how_of, photos_of
from beltside.casework.shop_jobs import (
    close_job,
    job_line,
    open_again,
    remind,
    reminder_done,
    reminders,
)
from beltside.casework.shop_proof import clips_of, hand_out, handed_out, proof_of
from beltside.casework.shop_proof_check import check_code, check_sheet
from beltside.web.api.answers import (
    ClosedSaid,
    EntriesSaid,
    EntrySaid,
    JobLineSaid,
    RemindersSaid,
    entry_said,
)
from beltside.web.api.answers_work import (
    EarlierSaid,
    ForgottenSaid,
    HowSaid,
    ProofCheckedSaid,
    ProofSaid,
    SinceSaid,
)
from beltside.web.api.frame import (
    PROBLEMS,
    ApiRoute,
    EntryName,
    JobName,
    OwnName,
    ReadShop,
    WriteShop,
    download,
    file_answer,
)

router = APIRouter(prefix="/api", tags=["record"], route_class=ApiRoute, responses=PROBLEMS)

US = bool
PDF = file_answer("application/pdf", what="the sheet, to print")
HTML = file_answer("text/html", what="the sheet as one file, to send")


class Given(BaseModel):
    """A body whose other fields are refused."""

    model_config = ConfigDict(extra="forbid")


class Outcome(Given):
    """How it ended; a cause that is known teaches the odds."""

    cause: Line = Field(default="", description="the suspect it was: coolant-pump.bearing")
    replaced: list[Line] = Field(default_factory=list, description="put right, by suspect")
    cured: bool | None = Field(default=None, description="whether the noise is gone")
    charged: MoneyText | None = None
    currency: Line = ""
    note: Words = ""


class Back(Given):
    """What the owner says now."""

    words: Words = ""


class Remind(Given):
    """Something to look at again, on a day or at an odometer reading."""

    words: Annotated[Words, Field(min_length=1)]
    due: Line = Field(default="", description="the day, ISO 8601", examples=["2027-03-31"])
    due_km: Annotated[float, Field(ge=0, le=5e6)] | None = None


class Forget(Given):
    """How an owner's data is taken out; without `really` it is only said what would be done."""

    everywhere: bool = Field(
        default=False, description="on all jobs of the same telephone, e-mail, plate or number"
    )
    photos: bool = Field(default=False, description="put a blank picture in place of every photo")
    delete: bool = Field(default=False, description="delete the jobs whole instead")
    really: bool = Field(default=False, description="do it; it can't be undone")


class ProofToCheck(Given):
    """What a sheet's QR code says, or the whole sheet as data."""

    code: Annotated[str, Field(max_length=2000)] = ""
    sheet: dict[str, Any] | None = None


@router.post("/jobs/{job}/close", response_model=ClosedSaid)
def close(shop: WriteShop, job: JobName, body: Outcome) -> dict[str, Any]:
    """Close the job with its outcome."""
    return close_job(shop, job, body.model_dump(exclude_unset=True)).to_json()


@router.post("/jobs/{job}/reopen", response_model=EntrySaid)
def reopen(shop: WriteShop, job: JobName) -> dict[str, Any]:
    """Open a closed job again: it was closed too early."""
    return entry_said(open_again(shop, job))


@router.post("/jobs/{job}/comeback", response_model=JobLineSaid, status_code=201)
def comeback(shop: WriteShop, job: JobName, body: Back, own_name: OwnName = None) -> dict[str, Any]:
    """The car is back: a new job linked to this one."""
    return job_line(begin_comeback(shop, job, body.words, new_id=own_name).job).to_json()


@router.get("/jobs/{job}/earlier", response_model=EarlierSaid)
def earlier(shop: ReadShop, job: JobName) -> dict[str, Any]:
    """The job that this one goes on from."""
    found = earlier_of(shop, sheet_of(shop, job))
    if found is None:
        return {"job": None, "why": "", "cause": "", "hand_over": ""}
    return {
        "job": job_line(found.job.job).to_json(),
        "why": found.why,
        "cause": found.cause,
        "hand_over": "" if found.hand_over is None else found.hand_over.id,
    }


@router.post("/jobs/{job}/since-hand-over", response_model=SinceSaid)
def since(shop: WriteShop, job: JobName) -> dict[str, Any]:
    """Compare today's take with the one the earlier job was handed over with; some seconds."""
    return since_hand_over(shop, job).to_json()


@router.post("/jobs/{job}/forget", response_model=ForgottenSaid)
def forget(shop: WriteShop, job: JobName, body: Forget) -> dict[str, Any]:
    """Take the owner's data out of the job, every version and file of it.

    The one thing here that can't be undone. What was found, done, measured and charged stays.
    """
    return forget_owner(shop, job, **body.model_dump()).to_json()


# Reminders ----------------------------------------------------------------------------------------


@router.get("/reminders", response_model=RemindersSaid)
def all_reminders(shop: ReadShop) -> dict[str, Any]:
    """Open reminders of all jobs, those due first."""
    return {"reminders": [one.to_json() for one in reminders(shop)]}


@router.get("/jobs/{job}/reminders", response_model=RemindersSaid)
def job_reminders(shop: ReadShop, job: JobName) -> dict[str, Any]:
    """Open reminders of one job."""
    return {"reminders": [one.to_json() for one in reminders(shop, job_id=job)]}


@router.post("/jobs/{job}/reminders", response_model=EntrySaid, status_code=201)
def new_reminder(shop: WriteShop, job: JobName, body: Remind) -> dict[str, Any]:
    """Write down something to look at again."""
    return entry_said(remind(shop, job, body.words, due=body.due, due_km=body.due_km))


@router.post("/jobs/{job}/reminders/usual", response_model=EntriesSaid, status_code=201)
def usual_reminders(shop: WriteShop, job: JobName) -> dict[str, Any]:
    """Write down what is usual after a repair; nothing twice."""
    made = remind_after(shop, job, today=datetime.now(UTC).date())
    return {"entries": [entry_said(one) for one in made]}


@router.post("/reminders/{entry}/done", response_model=EntrySaid)
def done(shop: WriteShop, entry: EntryName) -> dict[str, Any]:
    """Tick a reminder."""
    if shop.record.entry(entry).kind != "reminder":
        raise InputError(f"{entry} is no reminder", instead="one of the list")
    return entry_said(reminder_done(shop, entry))


# Proof sheet --------------------------------------------------------------------------------------


@router.get("/jobs/{job}/proof", response_model=ProofSaid)
def proof(shop: ReadShop, job: JobName) -> dict[str, Any]:
    """The proof sheet as it would be now."""
    return proof_of(shop, job).to_json()


@router.post("/jobs/{job}/proof", response_model=ProofSaid, status_code=201)
def give_out(shop: WriteShop, job: JobName) -> dict[str, Any]:
    """Keep the sheet as handed out; one that has not changed is not written again."""
    return hand_out(shop, job).to_json()


def _kept(shop: Shop, job: str) -> ProofSheet:
    found = handed_out(shop, sheet_of(shop, job).job.id)
    if found is None:
        raise MissingError("No sheet of this job was handed out yet", instead="handing it out")
    return found[1]


@router.get("/jobs/{job}/proof.pdf", response_class=Response, responses=PDF)
def proof_as_pdf(shop: ReadShop, job: JobName, us: US = False) -> Response:
    """The sheet handed out last, on paper."""
    from beltside.proof.sheet_pdf import proof_pdf

    sheet = _kept(shop, job)
    name = f"proof-{sheet.job_number}.pdf"
    return download(proof_pdf(sheet, us=us), "application/pdf", name)


@router.get("/jobs/{job}/proof.html", response_class=Response, responses=HTML)
def proof_as_html(shop: ReadShop, job: JobName, us: US = False) -> Response:
    """The sheet handed out last, with its sounds."""
    from beltside.proof.sheet_html import proof_html

    sheet = _kept(shop, job)
    text = proof_html(sheet, clips_of(shop, sheet), us=us)
    return download(text.encode(), "text/html", f"proof-{sheet.job_number}.html")


@router.post("/proof/check", response_model=ProofCheckedSaid)
def check_proof(shop: WriteShop, body: ProofToCheck) -> dict[str, Any]:
    """Hold a sheet, or what its QR code says, against the record."""
    if bool(body.code) == (body.sheet is not None):
        raise InputError("a code and a sheet, or neither", allowed="one of them")
    if body.sheet is not None:
        return check_sheet(shop, body.sheet).to_json()
    return check_code(shop, body.code).to_json()


@router.get("/jobs/{job}/how", response_model=HowSaid)
def how(shop: ReadShop, job: JobName) -> dict[str, Any]:
    """How the job was done, without its owner."""
    return how_of(shop, job).to_json()


@router.get("/jobs/{job}/how.pdf", response_class=Response, responses=PDF)
def how_as_pdf(shop: ReadShop, job: JobName, us: US = False) -> Response:
    """How the job was done, on paper."""
    from beltside.proof.how_sheet import how_pdf

    sheet = how_of(shop, job)
    data = how_pdf(sheet, photos_of(shop, sheet), us=us)
    return download(data, "application/pdf", f"how-{sheet.job_number}.pdf")


@router.get("/jobs/{job}/how.html", response_class=Response, responses=HTML)
def how_as_html(shop: ReadShop, job: JobName, us: US = False) -> Response:
    """How the job was done, as one file."""
    from beltside.proof.how_sheet import how_html

    sheet = how_of(shop, job)
    text = how_html(sheet, photos_of(shop, sheet), us=us)
    return download(text.encode(), "text/html", f"how-{sheet.job_number}.html")
