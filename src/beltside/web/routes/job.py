"""A job as one sheet: the eight stages along the belt, each folded to its result."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from beltside.casework.shop import sheet_of
from beltside.casework.shop_view import JobView, view_of
from beltside.web.job_frame import JobFrame, frame_of
from beltside.web.pages import Page, shop_of, show
from beltside.web.texts import text_
from beltside.web.words import STAGE_WORDS

router = APIRouter()

STATE_WORDS: Final[Mapping[str, str]] = {
    "open": text_("open"),
    "begun": text_("begun"),
    "now": text_("now"),
    "done": text_("done"),
}
# The pages behind each stage, in the order of the work: path after the job's own, and words.
DOORS: Final[Mapping[str, Sequence[tuple[str, str]]]] = {
    "complaint": (("complaint", text_("Owner, car, words")),),
    "listen": (("take", text_("Takes")),),
    "find": (("find", text_("Odds and checks")),),
    "measure": (
        ("drive", text_("Belt drive")),
        ("pulleys", text_("Pulleys from a photo")),
        ("strum", text_("Strum the belt")),
    ),
    "agree": (
        ("plan", text_("Plan")),
        ("agree", text_("Price and OK")),
    ),
    "work": (
        ("plan", text_("Steps")),
        ("match", text_("Old part against new")),
        ("bolts", text_("Bolting")),
        ("close#parts-title", text_("Parts used")),
    ),
    "prove": (
        ("coolant", text_("Coolant bench")),
        ("hold", text_("Hold test")),
        ("compare", text_("Before and after")),
    ),
    "record": (
        ("close", text_("Close the job")),
        ("proof", text_("Proof sheet")),
        ("how", text_("How it was done")),
    ),
}
COMEBACK_DOOR: Final = ("comeback", text_("The earlier job"))
"""On a job that goes on from another one."""
# What is done at the keyboard: these commands have no page.
COMMANDS: Final[Mapping[str, Sequence[str]]] = {
    "record": (
        "note",
        "photo",
        "remind",
    ),
}


@dataclass(frozen=True)
class Band:
    """A stage on the sheet: its state, its result in a sentence, its pages and commands."""

    stage: str
    state: str
    says: str
    doors: Sequence[tuple[str, str]]
    commands: Sequence[str]


@dataclass(frozen=True)
class JobPage(Page):
    """The whole sheet of a job."""

    template = "job.html"
    frame: JobFrame
    view: JobView
    bands: Sequence[Band]
    stage_words: Mapping[str, str]
    state_words: Mapping[str, str]


@router.get("/job/{number}")
def job(request: Request, number: int) -> HTMLResponse:
    """The sheet."""
    shop = shop_of(request)
    sheet = sheet_of(shop, str(number))
    view = view_of(shop, sheet)
    more = {"complaint": (COMEBACK_DOOR,)} if sheet.newest("comeback") is not None else {}
    bands = [
        Band(
            one.stage,
            "now" if one.stage == view.next.stage else one.state,
            one.says,
            [
                (f"/job/{number}/{path}", words)
                for path, words in (*DOORS.get(one.stage, ()), *more.get(one.stage, ()))
            ],
            [f"beltside job {command} {number}" for command in COMMANDS.get(one.stage, ())],
        )
        for one in view.stages
    ]
    return show(request, JobPage(frame_of(view), view, bands, STAGE_WORDS, STATE_WORDS))
