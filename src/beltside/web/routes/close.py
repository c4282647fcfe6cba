"""Close and reopen: outcome, parts used, charged against agreed, minutes; the car that is back."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response

from beltside.base.errors import BeltsideError, InputError
from beltside.casework.shop import FieldProblemsError, JobSheet
from beltside.casework.shop_agree import part_used
from beltside.casework.shop_close import CloseForm, close_form, take_over_parts
from beltside.casework.shop_comeback import (
    Earlier,
    SinceHandOver,
    begin_comeback,
    earlier_of,
    remind_after,
    since_hand_over,
)
from beltside.casework.shop_jobs import close_job, open_again, remove_entry
from beltside.casework.shop_takes import conditions_in_words
from beltside.web.forms import CheckedForm, text, texts
from beltside.web.job_frame import JobFrame, open_job
from beltside.web.pages import Page, go_to, shop_of, show
from beltside.web.texts import text_
from beltside.web.visitors import visitor_of

router = APIRouter()

CURED = (
    ("yes", text_("The noise is gone")),
    ("no", text_("It is still there")),
    ("", text_("Not said")),
)
FIRST_SHOWN = 6


@dataclass(frozen=True)
class ClosePage(Page):
    """How the job ends.

    Attributes
    ----------
    form
        What is known of it.
    first
        The likeliest suspects, and those named already: to tick what was put right.
    typed, problems
        What was typed into the form last sent, and what is wrong beside each field.
    is_comeback
        Whether it goes on from an earlier job.
    """

    template = "close.html"
    frame: JobFrame
    form: CloseForm
    first: Sequence[tuple[str, str]]
    cured: Sequence[tuple[str, str]]
    typed: Mapping[str, Any]
    problems: Mapping[str, str]
    is_comeback: bool


@dataclass(frozen=True)
class ComebackPage(Page):
    """A car that is back: the earlier job, and today's take against its hand-over.

    `takes` are name and words of today's takes; `hand_over` the words of the take of then, "" for
    none. `found` is the comparison, None while none was made; `problem` why it can't be.
    """

    template = "comeback.html"
    frame: JobFrame
    earlier: Earlier
    cause: str
    hand_over: str
    takes: Sequence[tuple[str, str]]
    chosen: str
    found: SinceHandOver | None
    problem: str


@router.get("/job/{number}/close")
def close_page(request: Request, number: int) -> HTMLResponse:
    """How the job ends, or ended."""
    sheet, frame = open_job(request, number)
    return show(request, _page(request, frame, sheet))


@router.post("/job/{number}/close")
def close(request: Request, number: int, form: CheckedForm) -> Response:
    """Close the job."""
    sheet, frame = open_job(request, number)
    shop = shop_of(request)
    said = {name: text(form, name) for name in ("cause", "cured", "note")}
    replaced = texts(form, "replaced")
    typed: dict[str, Any] = {
        "cause": said["cause"],
        # What it was is what was put right, where nothing else is said.
        "replaced": replaced or [one for one in (said["cause"],) if one not in ("", "none")],
        "cured": {"yes": True, "no": False}.get(said["cured"]),
        "note": said["note"],
    }
    if visitor_of(request).sees_prices:
        charged = text(form, "charged").replace(",", ".")
        typed["charged"] = charged or None
        typed["currency"] = text(form, "currency") if charged else ""
    try:
        close_job(shop, sheet.job.id, typed)
    except FieldProblemsError as error:
        words = {"charged": "is an amount, such as 183.50"}
        problems = {name: words.get(name, one) for name, one in error.by_field.items()}
        page = _page(request, frame, sheet, {**typed, "charged": text(form, "charged")}, problems)
        return show(request, page, status=422)
    except InputError as error:
        page = _page(request, frame, sheet, typed, {"cause": str(error)})
        return show(request, page, status=422)
    if text(form, "remind"):
        remind_after(shop, sheet.job.id)
    return go_to(f"/job/{number}/close", saved="1")


@router.post("/job/{number}/close/part")
def part(request: Request, number: int, form: CheckedForm) -> Response:
    """Write parts down as used, or take one off."""
    sheet, frame = open_job(request, number)
    shop = shop_of(request)
    do = text(form, "do")
    if do == "take-over":
        take_over_parts(shop, sheet, texts(form, "take"))
    elif do == "remove":
        remove_entry(shop, sheet.job.id, text(form, "entry"))
    else:
        names = ("part_name", "part_number", "quantity", "unit", "price")
        said = {name: text(form, name) for name in names}
        typed: dict[str, Any] = {
            "name": said["part_name"],
            "number": said["part_number"],
            "unit": said["unit"],
            "quantity": said["quantity"].replace(",", ".") or 1.0,
            "price": said["price"].replace(",", ".") or None,
        }
        try:
            if not said["part_name"]:
                raise FieldProblemsError("part-used", typed, {"name": "what went in"})
            part_used(shop, sheet.job.id, typed)
        except FieldProblemsError as error:
            words = {"name": "part_name", "number": "part_number"}
            plain = {"quantity": "is a number above 0", "price": "is an amount, such as 12.80"}
            problems = {
                words.get(name, name): plain.get(name, one) for name, one in error.by_field.items()
            }
            return show(request, _page(request, frame, sheet, said, problems), status=422)
    return go_to(f"/job/{number}/close", saved="1")


@router.post("/job/{number}/close/open")
def reopen(request: Request, number: int, form: CheckedForm) -> Response:
    """Open it again: closed too early. Or go on with a new job: the car is back."""
    sheet, _ = open_job(request, number)
    shop = shop_of(request)
    if text(form, "do") == "back":
        new = begin_comeback(
            shop, sheet.job.id, text(form, "words"), new_id=text(form, "job_id") or None
        )
        return go_to(f"/job/{new.job.number}/comeback")
    open_again(shop, sheet.job.id)
    return go_to(f"/job/{number}", saved="1")


@router.get("/job/{number}/comeback")
def comeback_page(request: Request, number: int, take: str = "") -> HTMLResponse:
    """The earlier job; with a take, how it sounds against the hand-over of then."""
    sheet, frame = open_job(request, number)
    shop = shop_of(request)
    earlier = earlier_of(shop, sheet)
    if earlier is None:
        raise InputError(
            f"Job {number} goes on from no earlier one",
            allowed="a job that was opened because the car is back",
        )
    found, problem = None, ""
    if take:
        try:
            found = since_hand_over(shop, sheet.job.id, take)
        except BeltsideError as error:
            problem = str(error)
    takes = [(one.id, conditions_in_words(one.body)) for one in sheet.of_kind("take")]
    then = earlier.hand_over
    page = ComebackPage(
        frame,
        earlier,
        earlier.cause.replace(".", " ").replace("-", " "),
        conditions_in_words(then.body) if then is not None else "",
        takes[::-1],
        take,
        found,
        problem,
    )
    return show(request, page)


def _page(
    request: Request,
    frame: JobFrame,
    sheet: JobSheet,
    typed: Mapping[str, Any] | None = None,
    problems: Mapping[str, str] | None = None,
) -> ClosePage:
    shop = shop_of(request)
    form = close_form(shop, sheet)
    body = form.body
    named = {*(body.get("replaced") or ()), *((typed or {}).get("replaced") or ())}
    first = [
        one
        for place, one in enumerate(form.suspects)
        if one[0] != "none" and (place < FIRST_SHOWN or one[0] in named)
    ]
    shown = {
        "cause": body.get("cause", "") or (form.suspects[0][0] if form.suspects else ""),
        "replaced": body.get("replaced") or (),
        "cured": body.get("cured"),
        "charged": body.get("charged") or form.agreed,
        "note": body.get("note", ""),
        **(typed or {}),
    }
    return ClosePage(
        frame,
        form,
        first,
        CURED,
        shown,
        problems or {},
        sheet.newest("comeback") is not None,
    )
