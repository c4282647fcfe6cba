"""Recording a take or choosing a file, with its conditions in three taps."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, JSONResponse, Response

from beltside.base.errors import BeltsideError
from beltside.base.words import PULLEY_PARTS
from beltside.casework.shop import JobSheet
from beltside.casework.shop_case import sheet_on_job
from beltside.casework.shop_takes import add_take, conditions_in_words, remove_take
from beltside.web.forms import CheckedForm, pieces, text, texts, uploads
from beltside.web.job_frame import JobFrame, open_job
from beltside.web.pages import Page, go_to, shop_of, show
from beltside.web.texts import text_
from beltside.web.words import part_words

router = APIRouter()

FRONT: Final = "front of engine"
_FRONT_WORDS: Final = text_("front of engine")
LOADS: Final = (
    ("lights", text_("Lights")),
    ("heater fan", text_("Heater fan")),
    ("air conditioning", text_("Air conditioning")),
    ("steering", text_("Steering turned")),
    ("rear window", text_("Rear window heater")),
)
FIGURES: Final = ("crank_rpm", "mic_spacing_mm", "stand_off_mm")
"""What may be typed as a number."""

MOST_SECONDS: Final = 600


@dataclass(frozen=True)
class ListedTake:
    """A take as the list shows it: its entry, its recording, its conditions in words."""

    entry_id: str
    file: str
    says: str


@dataclass(frozen=True)
class TakePage(Page):
    """Record a take, or choose a file.

    `kept` is the take that was kept although a field was off. `places` are
    where the phone may have been, `loads` what may be on: value and words.
    """

    template = "take.html"
    frame: JobFrame
    takes: Sequence[ListedTake]
    places: Sequence[tuple[str, str]]
    loads: Sequence[tuple[str, str]]
    most_seconds: int
    typed: dict[str, Any]
    problems: dict[str, str]
    kept: str


@router.get("/job/{number}/take")
def take_page(request: Request, number: int, stage: str = "before") -> HTMLResponse:
    """The page to record on."""
    first = {"belt": "on", "place": FRONT, "load": [], "stage": stage}
    return show(request, _page(request, number, first, {}))


@router.post("/job/{number}/take")
def keep_take(request: Request, number: int, form: CheckedForm) -> Response:
    """Keep a recording; sent by a form, or in the background by the recorder."""
    as_json = "application/json" in request.headers.get("accept", "")
    typed: dict[str, Any] = {
        **{name: text(form, name) for name in ("belt", "place", "stage")},
        **{name: text(form, name) for name in FIGURES},
        "load": texts(form, "load"),
        "raised": bool(text(form, "raised")),
        "recorded_at": text(form, "recorded_at"),
    }
    problems: dict[str, str] = {}
    kept = ""
    files = uploads(form, "file")
    sheet, _ = open_job(request, number)
    if not files:
        problems["file"] = "No file came with it. Choose a recording or a video."
    else:
        try:
            added = add_take(
                shop_of(request),
                sheet.job.id,
                pieces(files[0]),
                {
                    "name": (files[0].filename or "")[:300],
                    **{name: value for name, value in typed.items() if value != ""},
                },
                media_type=files[0].content_type or "application/octet-stream",
                entry_id=text(form, "entry_id") or None,
            )
            problems, kept = dict(added.problems), added.entry.id
        except BeltsideError as error:
            problems["file"] = str(error)
    if as_json:
        if not kept:
            return JSONResponse({"problem": " ".join(problems.values())}, status_code=422)
        return JSONResponse({"href": f"/job/{number}/take/{kept}"})
    if problems:
        return show(request, _page(request, number, typed, problems, kept), status=422)
    return go_to(f"/job/{number}/take", saved="1")


@router.post("/job/{number}/take/{entry_id}/remove")
def remove(request: Request, number: int, entry_id: str, form: CheckedForm) -> Response:
    """Take a recording off the sheet; the list of all changes brings it back."""
    sheet, _ = open_job(request, number)
    remove_take(shop_of(request), sheet.job.id, entry_id)
    return go_to(f"/job/{number}/take", saved="1")


def _page(
    request: Request,
    number: int,
    typed: dict[str, Any],
    problems: dict[str, str],
    kept: str = "",
) -> TakePage:
    sheet, frame = open_job(request, number)
    return TakePage(
        frame,
        listed_takes(sheet),
        places_on_job(sheet, str(typed.get("place", ""))),
        LOADS,
        MOST_SECONDS,
        typed,
        problems,
        kept,
    )


def places_on_job(sheet: JobSheet, chosen: str = "") -> list[tuple[str, str]]:
    """Where the phone or the probe may have been, value and words.

    The pulleys of the job's own drive in the order of its belt, a second idler among them; those
    of any drive while there is no usable sheet. `chosen` stays on offer whatever it is.
    """
    drive, _, _ = sheet_on_job(sheet)
    named = [pulley.part for pulley in drive.pulleys] if drive is not None else []
    places = [FRONT, *(named or PULLEY_PARTS)]
    if chosen and chosen not in places:
        places.append(chosen)
    return [(place, _FRONT_WORDS if place == FRONT else part_words(place)) for place in places]


def listed_takes(sheet: JobSheet) -> list[ListedTake]:
    """The takes of a job, newest first."""
    return [
        ListedTake(entry.id, entry.body["file"], conditions_in_words(entry.body))
        for entry in sheet.of_kind("take")[::-1]
    ]
