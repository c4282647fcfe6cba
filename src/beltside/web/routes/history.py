"""Everything ever written on a job, and bringing an earlier value back."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response

from beltside.base.errors import InputError
from beltside.casework.shop import Entry
from beltside.web.changed_words import changed_fields
from beltside.web.forms import CheckedForm, text
from beltside.web.job_frame import JobFrame, open_job
from beltside.web.pages import Page, go_to, shop_of, show
from beltside.web.texts import said, text_
from beltside.web.visitors import visitor_of

router = APIRouter()

HOW: Final[Mapping[str, str]] = {
    "made": text_("written"),
    "changed": text_("changed"),
    "joined": text_("changed by two at once"),
    "removed": text_("taken off the sheet"),
    "brought back": text_("brought back"),
}


@dataclass(frozen=True)
class Written:
    """One version of an entry as the list shows it.

    `differs` are the fields that changed against the version before, with both values, in words.
    """

    entry: Entry
    differs: Sequence[tuple[str, str, str]]
    newest: bool


@dataclass(frozen=True)
class HistoryPage(Page):
    """Every change on a job, newest first, with who and when."""

    template = "history.html"
    frame: JobFrame
    changes: Sequence[Written]
    how: Mapping[str, str]


@router.get("/job/{number}/history")
def history(request: Request, number: int) -> HTMLResponse:
    """All changes."""
    sheet, frame = open_job(request, number)
    language = visitor_of(request).language
    written = shop_of(request).record.changes(sheet.job.id)
    newest = {entry.id: entry.version for entry in written}
    before: dict[str, Entry] = {}
    changes = []
    for entry in written:
        changes.append(
            Written(
                entry,
                changed_fields(
                    before[entry.id].body if entry.id in before else {},
                    entry.body,
                    lambda words: said(words, language),
                ),
                entry.version == newest[entry.id],
            )
        )
        before[entry.id] = entry
    return show(request, HistoryPage(frame, changes[::-1], HOW))


@router.post("/job/{number}/history/{entry_id}")
def bring_back(request: Request, number: int, entry_id: str, form: CheckedForm) -> Response:
    """Bring an earlier version back, by writing it anew."""
    shop = shop_of(request)
    sheet, _ = open_job(request, number)
    version = text(form, "version")
    if shop.record.entry(entry_id).job_id != sheet.job.id or not version.isdecimal():
        raise InputError("This belongs to another job", instead="the list of this job's changes")
    shop.record.bring_back(entry_id, int(version), by=shop.by)
    return go_to(f"/job/{number}/history", saved="1")
