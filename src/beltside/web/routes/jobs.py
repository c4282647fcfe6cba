"""The list of jobs, and a new one."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from beltside.casework.shop import FieldProblemsError, Job, checked
from beltside.web.forms import CheckedForm, text
from beltside.web.pages import Page, go_to, shop_of, show
from beltside.web.words import STAGE_WORDS

router = APIRouter()

_FIELDS: Final = {
    "words": ("complaint", "words"),
    "car": ("car", "name"),
    "owner": ("owner", "name"),
}
"""Where each field of a new job goes: kind of entry, and its field."""


@dataclass(frozen=True)
class JobsPage(Page):
    """The list of jobs.

    `problems` has what is wrong beside each field of a new job, `typed` what was typed.
    """

    template = "jobs.html"
    jobs: list[Job]
    stage_words: Mapping[str, str]
    words: str
    which: str
    typed: dict[str, str]
    problems: dict[str, str]


@router.get("/")
def jobs(request: Request, words: str = "", which: str = "open") -> HTMLResponse:
    """Jobs, the one touched last first; or those a search finds."""
    return show(request, _page(request, words, which, {}, {}))


@router.post("/jobs")
def new_job(request: Request, form: CheckedForm) -> Response:
    """A new job from three fields: what the owner says, whose car, which car."""
    typed = {name: text(form, name) for name in _FIELDS}
    entries, problems = [], {}
    for name, (kind, key) in _FIELDS.items():
        try:
            entries.append((kind, checked(kind, {key: typed[name]})))
        except FieldProblemsError as error:
            problems[name] = error.by_field[key]
    if problems:
        return show(request, _page(request, "", "open", typed, problems), status=422)
    shop = shop_of(request)
    sheet = shop.record.new_job(entries, by=shop.by, job_id=text(form, "job_id") or None)
    return _to(sheet.job)


def _to(job: Job) -> RedirectResponse:
    return go_to(f"/job/{job.number}")


def _page(
    request: Request, words: str, which: str, typed: dict[str, str], problems: dict[str, str]
) -> JobsPage:
    closed = {"open": False, "closed": True}.get(which)
    found = shop_of(request).record.jobs(closed=closed, limit=100)
    return JobsPage(found, STAGE_WORDS, words, which, typed, problems)
