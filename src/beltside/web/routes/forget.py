"""An owner asks to be forgotten: what would go and what stays, the question, what was done."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response

from beltside.casework.shop_forget import Forgotten, forget_owner, is_forgotten
from beltside.web.forms import CheckedForm, text, texts
from beltside.web.job_frame import JobFrame, open_job
from beltside.web.pages import Page, shop_of, show

router = APIRouter()


@dataclass(frozen=True)
class ForgetOwnerPage(Page):
    """What forgetting does, the question before it, and afterwards what was done.

    `already` is whether this owner was forgotten before; `ticked` what was chosen; `unsure` whether
    the form was sent without the tick that says so.
    """

    template = "forget_owner.html"
    frame: JobFrame
    found: Forgotten
    already: bool
    ticked: Sequence[str]
    unsure: bool


@router.get("/job/{number}/forget")
def forget_page(request: Request, number: int) -> HTMLResponse:
    """What would be done."""
    return show(request, _page(request, number))


@router.post("/job/{number}/forget")
def forget(request: Request, number: int, form: CheckedForm) -> Response:
    """Do it, once it was said twice; it can't be undone."""
    ticked = texts(form, "also")
    if text(form, "sure") != "yes":
        return show(request, _page(request, number, ticked, unsure=True), status=422)
    done = forget_owner(
        shop_of(request),
        str(number),
        everywhere="everywhere" in ticked,
        photos="photos" in ticked,
        really=True,
    )
    _, frame = open_job(request, number)
    return show(request, ForgetOwnerPage(frame, done, True, ticked, False))


def _page(
    request: Request, number: int, ticked: Sequence[str] = (), *, unsure: bool = False
) -> ForgetOwnerPage:
    shop = shop_of(request)
    sheet, frame = open_job(request, number)
    found = forget_owner(shop, str(number))
    return ForgetOwnerPage(frame, found, is_forgotten(shop, sheet.job.id), ticked, unsure)
