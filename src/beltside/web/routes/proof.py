"""The owner's proof sheet, how it was done, and what is to be looked at again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from urllib.parse import quote

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response

from beltside.base.errors import InputError
from beltside.casework.proof_sheet import ProofSheet
from beltside.casework.shop import Shop
from beltside.casework.shop_comeback import remind_after
from beltside.casework.shop_how import HowSheet, how_of, photos_of
from beltside.casework.shop_jobs import Reminder, reminder_done, reminders
from beltside.casework.shop_proof import clips_of, hand_out, handed_out, proof_of
from beltside.web.forms import CheckedForm
from beltside.web.job_frame import JobFrame, open_job
from beltside.web.pages import Page, go_to, shop_of, show
from beltside.web.visitors import RefusedError, visitor_of

router = APIRouter()

BigFigure = tuple[str, str, str, str]


@dataclass(frozen=True)
class ProofPage(Page):
    """The sheet as it would be now, and the one handed out last.

    `big` are number, unit, name and range. `handed` is the moment of the last one, "" without;
    `newer` says that something was written since. `mail` opens a message to the owner.
    """

    template = "proof.html"
    frame: JobFrame
    headline: str
    big: Sequence[BigFigure]
    not_tested: Sequence[str]
    handed: str
    newer: bool
    mail: str


@dataclass(frozen=True)
class HowPage(Page):
    """How the job was done: steps with minutes and what fought back."""

    template = "how.html"
    frame: JobFrame
    how: HowSheet


@dataclass(frozen=True)
class RemindersPage(Page):
    """What is to be looked at again, those due first."""

    template = "reminders.html"
    items: Sequence[Reminder]


@router.get("/job/{number}/proof")
def proof_page(request: Request, number: int) -> HTMLResponse:
    """What the sheet says now, and the sheet handed out."""
    from beltside.proof.sheet_words import big_figures

    shop, job_id, frame = _allowed(request, number)
    now = proof_of(shop, job_id)
    kept = handed_out(shop, job_id)
    sheet = now if kept is None else kept[1]
    newer = kept is not None and {**now.content(), "made_at": ""} != {
        **sheet.content(),
        "made_at": "",
    }
    owner = shop.record.sheet(job_id).newest("owner")
    email = str(owner.body.get("email") or "") if owner is not None else ""
    subject = quote(f"Proof sheet, job {number}")
    return show(
        request,
        ProofPage(
            frame,
            now.headline,
            big_figures(now, us=visitor_of(request).us_units),
            now.not_tested,
            "" if kept is None else sheet.time.strftime("%Y-%m-%d %H:%M UTC"),
            newer,
            f"mailto:{quote(email, safe='@')}?subject={subject}" if "@" in email else "",
        ),
    )


@router.post("/job/{number}/proof")
def hand_over(request: Request, number: int, form: CheckedForm) -> Response:
    """Keep the sheet as handed out, with the usual reminders."""
    del form
    shop, job_id, _ = _allowed(request, number)
    remind_after(shop, job_id)
    hand_out(shop, job_id)
    return go_to(f"/job/{number}/proof", saved="1")


@router.get("/job/{number}/proof/page.png")
def first_page(request: Request, number: int) -> Response:
    """The first page as a picture: of the sheet handed out, else of the one that would be."""
    from beltside.proof.sheet_pdf import proof_picture

    shop, job_id, _ = _allowed(request, number)
    kept = handed_out(shop, job_id)
    sheet = proof_of(shop, job_id) if kept is None else kept[1]
    return Response(proof_picture(sheet, us=visitor_of(request).us_units), media_type="image/png")


@router.get("/job/{number}/proof/sheet.pdf")
def as_pdf(request: Request, number: int) -> Response:
    """The sheet handed out, on paper."""
    from beltside.proof.sheet_pdf import proof_pdf

    _, sheet = _kept(request, number)
    data = proof_pdf(sheet, us=visitor_of(request).us_units)
    return _download(data, "application/pdf", f"proof-{number}.pdf")


@router.get("/job/{number}/proof/sheet.html")
def as_html(request: Request, number: int) -> Response:
    """The sheet handed out, as one file to send."""
    from beltside.proof.sheet_html import proof_html

    shop, sheet = _kept(request, number)
    text = proof_html(sheet, clips_of(shop, sheet), us=visitor_of(request).us_units)
    return _download(text.encode(), "text/html", f"proof-{number}.html")


@router.get("/job/{number}/how")
def how_page(request: Request, number: int) -> HTMLResponse:
    """How it was done."""
    sheet, frame = open_job(request, number)
    return show(request, HowPage(frame, how_of(shop_of(request), sheet.job.id)))


@router.get("/job/{number}/how/sheet.{kind}")
def how_file(request: Request, number: int, kind: str) -> Response:
    """How it was done, to keep: "pdf" or "html"."""
    from beltside.proof.how_sheet import how_html, how_pdf

    sheet, _ = open_job(request, number)
    shop, us = shop_of(request), visitor_of(request).us_units
    how = how_of(shop, sheet.job.id)
    photos = photos_of(shop, how)
    if kind == "pdf":
        return _download(how_pdf(how, photos, us=us), "application/pdf", f"how-{number}.pdf")
    if kind != "html":
        raise InputError(f"a sheet as {kind}", allowed="pdf or html")
    return _download(how_html(how, photos, us=us).encode(), "text/html", f"how-{number}.html")


@router.get("/reminders")
def reminders_page(request: Request) -> HTMLResponse:
    """What is to be looked at again."""
    today = datetime.now(UTC).date()
    return show(request, RemindersPage(reminders(shop_of(request), today=today)))


@router.post("/reminders/{entry_id}")
def tick(request: Request, entry_id: str, form: CheckedForm) -> Response:
    """Tick one as done."""
    del form
    shop = shop_of(request)
    if shop.record.entry(entry_id).kind != "reminder":
        raise InputError("This is no reminder", instead="one of the list")
    reminder_done(shop, entry_id)
    return go_to("/reminders", saved="1")


def _allowed(request: Request, number: int) -> tuple[Shop, str, JobFrame]:
    """The job's sheet is for the technician: it shows prices and the owner."""
    if not visitor_of(request).sees_prices:
        raise RefusedError("The proof sheet shows prices", instead="asking the technician")
    sheet, frame = open_job(request, number)
    return shop_of(request), sheet.job.id, frame


def _kept(request: Request, number: int) -> tuple[Shop, ProofSheet]:
    shop, job_id, _ = _allowed(request, number)
    kept = handed_out(shop, job_id)
    if kept is None:
        raise InputError("No sheet of this job was handed out yet", instead="handing it out first")
    return shop, kept[1]


def _download(data: bytes, media_type: str, name: str) -> Response:
    return Response(
        data,
        media_type=media_type,
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )
