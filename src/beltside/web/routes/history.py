"""Everything ever written on a job, and bringing an earlier value back."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response

from beltside.base.errors import InputError
from beltside.casework.shop import Entry
from beltside.web.forms import CheckedForm, text
from beltside.web.job_frame import JobFrame, open_job
from beltside.web.pages import Page, go_to, shop_of, show
from beltside.web.texts import text_

router = APIRouter()

HOW: Final[Mapping[str, str]] = {
    "made": text_("written"),
    "changed": text_("changed"),
    "joined": text_("changed by two at once"),
    "removed": text_("taken off the sheet"),
    "brought back": text_("brought back"),
}
_LONGEST: Final = 200
# Names of files and entries, which say nothing to a reader.
_INNER_NAME: Final = re.compile(r"[0-9a-f]{24}|[0-9a-f]{64}")
_HEADS: Final = ("headline", "says")
"""Where a result says itself in a sentence."""


@dataclass(frozen=True)
class Written:
    """One version of an entry as the list shows it.

    `differs` are the fields that changed against the version before, with both values.
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
    written = shop_of(request).record.changes(sheet.job.id)
    newest = {entry.id: entry.version for entry in written}
    before: dict[str, Entry] = {}
    changes = []
    for entry in written:
        changes.append(
            Written(
                entry,
                _differs(before[entry.id].body if entry.id in before else {}, entry.body),
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


def _differs(was: Mapping[str, Any], now: Mapping[str, Any]) -> list[tuple[str, str, str]]:
    return [
        (name, _shown(was.get(name)), _shown(value))
        for name, value in now.items()
        if was.get(name) != value
        and not (name not in was and value in ("", None, [], {}, False))
        and not (isinstance(value, str) and _INNER_NAME.fullmatch(value))
    ]


def _shown(value: Any) -> str:
    """A value in a line; long ones cut."""
    if value in (None, "", [], {}):
        return ""
    if value is True:
        return "yes"
    if value is False:
        return "no"
    if isinstance(value, Mapping):
        head = next((value[name] for name in _HEADS if value.get(name)), None)
        said = (
            _shown(head)
            if head
            else "; ".join(
                f"{name.replace('_', ' ')}: {_shown(one)}"
                for name, one in value.items()
                if _shown(one)
            )
        )
    elif isinstance(value, list):
        said = "; ".join(_shown(one) for one in value)
    else:
        said = str(value)
    return said if len(said) <= _LONGEST else said[:_LONGEST] + "..."
