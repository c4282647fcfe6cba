"""The list of jobs, and a new one."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response

from beltside.casework.shop import FieldProblemsError
from beltside.casework.shop_jobs import JobLine, list_jobs, new_job
from beltside.casework.shop_search import search_jobs
from beltside.web.forms import CheckedForm, text
from beltside.web.pages import Page, go_to, shop_of, show
from beltside.web.words import STAGE_WORDS

router = APIRouter()

MOST_SHOWN: Final = 100
_FIELDS: Final = ("words", "car", "owner")


@dataclass(frozen=True)
class JobsPage(Page):
    """The list of jobs.

    `problems` has what is wrong beside each field of a new job, `typed` what was typed.
    """

    template = "jobs.html"
    jobs: Sequence[JobLine]
    stage_words: Mapping[str, str]
    words: str
    which: str
    typed: Mapping[str, str]
    problems: Mapping[str, str]


@router.get("/")
def jobs(request: Request, words: str = "", which: str = "open") -> HTMLResponse:
    """Jobs, the one touched last first; or those a search finds."""
    return show(request, _page(request, words, which, {}, {}))


@router.post("/jobs")
def open_new_job(request: Request, form: CheckedForm) -> Response:
    """A new job from three fields: what the owner says, which car, whose."""
    typed = {name: text(form, name) for name in _FIELDS}
    try:
        sheet, problems = new_job(shop_of(request), typed, job_id=text(form, "job_id") or None)
    except FieldProblemsError as error:
        page = _page(request, "", "open", typed, error.by_field)
        return show(request, page, status=422)
    number = sheet.job.number
    return go_to(f"/job/{number}/complaint" if problems else f"/job/{number}")


def _page(
    request: Request,
    words: str,
    which: str,
    typed: Mapping[str, str],
    problems: Mapping[str, str],
) -> JobsPage:
    shop = shop_of(request)
    if words.strip():
        found = search_jobs(shop, words)
    else:
        found = list_jobs(shop, which=which, limit=MOST_SHOWN)
    return JobsPage(found, STAGE_WORDS, words, which, typed, problems)
