"""A take listened to: its crank speed, its lines and whose they are, its pictures."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, JSONResponse, Response

from beltside.base.errors import InputError
from beltside.casework.results import ExplainedLine, ListenResult
from beltside.casework.shop import FieldProblemsError, sheet_of
from beltside.casework.shop_analysis import call_off
from beltside.casework.shop_listen import TakeHeard, change_take, take_heard
from beltside.casework.shop_takes import conditions_in_words
from beltside.web.drawn import drawn_once
from beltside.web.forms import CheckedForm, text, texts
from beltside.web.job_frame import JobFrame, open_job
from beltside.web.pages import Page, go_to, shop_of, show
from beltside.web.routes.take import FIGURES, LOADS, places_on_job
from beltside.web.texts import said, text_
from beltside.web.texts.figures import number_marks
from beltside.web.visitors import visitor_of

router = APIRouter()

PICTURES: Final[Mapping[str, str]] = {
    "spectrogram": text_("Loudness over time and frequency, with the crank speed"),
    "orders": text_("Level over orders of the crank, lines named"),
    "envelope": text_("How the high band beats, over orders: bearings show here"),
}
FIRST_LINES: Final = 12


@dataclass(frozen=True)
class ListenPage(Page):
    """What was heard in a take, or how far listening is.

    `by_part` are the explained lines of each part, strongest part first. `typed` are its
    conditions as kept or as typed; `problems` what is wrong beside each.
    """

    template = "listen.html"
    frame: JobFrame
    entry_id: str
    file: str
    conditions: str
    heard: TakeHeard
    by_part: Mapping[str, Sequence[ExplainedLine]]
    first_lines: int
    pictures: Mapping[str, str]
    typed: Mapping[str, Any]
    problems: Mapping[str, str]
    places: Sequence[tuple[str, str]]
    loads: Sequence[tuple[str, str]]


@router.get("/job/{number}/take/{entry_id}")
def listen_page(request: Request, number: int, entry_id: str) -> HTMLResponse:
    """What was heard."""
    return show(request, _page(request, number, entry_id))


@router.get("/job/{number}/take/{entry_id}/progress")
def progress(request: Request, number: int, entry_id: str) -> JSONResponse:
    """How far listening is; the page asks until it is done."""
    shop = shop_of(request)
    work = take_heard(shop, sheet_of(shop, str(number)).job.id, entry_id).work
    return JSONResponse(
        {
            "done": work.state not in ("waiting", "working"),
            "percent": round(100 * work.share),
            "doing": said(work.doing, visitor_of(request).language),
        }
    )


@router.post("/job/{number}/take/{entry_id}/call-off")
def called_off(request: Request, number: int, entry_id: str, form: CheckedForm) -> Response:
    """Stop listening to this take."""
    shop = shop_of(request)
    work = take_heard(shop, sheet_of(shop, str(number)).job.id, entry_id).work
    if work.id:
        call_off(shop, work.id)
    return go_to(f"/job/{number}/take")


@router.post("/job/{number}/take/{entry_id}")
def change(request: Request, number: int, entry_id: str, form: CheckedForm) -> Response:
    """Change the conditions; it is listened to again where that matters."""
    typed: dict[str, Any] = {
        **{name: text(form, name) for name in ("belt", "place", "stage")},
        **{name: text(form, name) or None for name in FIGURES},
        "load": texts(form, "load"),
        "raised": bool(text(form, "raised")),
        "hand_over": bool(text(form, "hand_over")),
    }
    shop = shop_of(request)
    try:
        version = text(form, "version")
        based_on = int(version) if version.isdecimal() and 0 < len(version) < 10 else None
        job_id = sheet_of(shop, str(number)).job.id
        change_take(shop, job_id, entry_id, typed, based_on=based_on)
    except FieldProblemsError as error:
        page = _page(request, number, entry_id, typed, error.by_field)
        return show(request, page, status=422)
    return go_to(f"/job/{number}/take/{entry_id}", saved="1")


@router.get("/job/{number}/take/{entry_id}/{picture}.svg")
def picture(request: Request, number: int, entry_id: str, picture: str) -> Response:
    """One of the take's pictures."""
    if picture not in PICTURES:
        raise InputError(f"There is no picture {picture!r}", allowed=", ".join(PICTURES))
    shop = shop_of(request)
    heard = take_heard(shop, sheet_of(shop, str(number)).job.id, entry_id)
    return Response(
        drawn(heard, picture, visitor_of(request).language),
        media_type="image/svg+xml",
        headers={"Cache-Control": "private, max-age=600"},
    )


def drawn(heard: TakeHeard, picture: str, language: str) -> str:
    """A picture of a take as SVG, by its name in `PICTURES`; drawn once for a language.

    Raises
    ------
    InputError
        When the take is not listened to yet.
    """
    listen = heard.listen
    if listen is None:
        raise InputError(
            f"{heard.name} is not listened to yet: {heard.work.state}",
            instead="the page of the take, or asking later",
        )
    return drawn_once(
        (heard.work.id, heard.name, picture, language), lambda: _drawn(listen, picture, language)
    )


def _drawn(listen: ListenResult, picture: str, language: str) -> str:
    from beltside.proof.definition import to_svg
    from beltside.proof.order_picture import envelope_order_chart, order_spectrum_chart
    from beltside.proof.spectrogram_picture import spectrogram_chart

    charts = {
        "spectrogram": spectrogram_chart,
        "orders": order_spectrum_chart,
        "envelope": envelope_order_chart,
    }
    chart = charts[picture](listen, lambda words: said(words, language))
    decimal, thousands = number_marks(language)
    return to_svg(chart, decimal=decimal, thousands=thousands)


def _page(
    request: Request,
    number: int,
    entry_id: str,
    typed: Mapping[str, Any] | None = None,
    problems: Mapping[str, str] | None = None,
) -> ListenPage:
    shop = shop_of(request)
    sheet, frame = open_job(request, number)
    heard = take_heard(shop, sheet.job.id, entry_id)
    body = heard.entry.body
    return ListenPage(
        frame,
        heard.entry.id,
        body["file"],
        conditions_in_words(body),
        heard,
        _by_part(heard.listen.lines if heard.listen else ()),
        FIRST_LINES,
        PICTURES,
        typed or body,
        problems or {},
        places_on_job(sheet, str((typed or body).get("place", ""))),
        LOADS,
    )


def _by_part(lines: Sequence[ExplainedLine]) -> dict[str, list[ExplainedLine]]:
    """Lines of each part, the most certain part first."""
    found: dict[str, list[ExplainedLine]] = {}
    for line in sorted(lines, key=lambda one: -one.significance):
        found.setdefault(line.part, []).append(line)
    return found
