"""Find the part: odds with their reasons, findings in one tap, and the next check as a card."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, JSONResponse, Response

from beltside.casework.results import SuspectOdds
from beltside.casework.shop import JobSheet, sheet_of
from beltside.casework.shop_find import (
    CheckCard,
    JobFind,
    card_of,
    check_card,
    checks_of,
    condition_holds,
    conditions_of,
    find_now,
    finding_made,
    take_back_finding,
)
from beltside.casework.shop_view import view_of
from beltside.web.forms import CheckedForm, text
from beltside.web.job_frame import JobFrame, frame_of, open_job
from beltside.web.pages import Page, go_to, shop_of, show

router = APIRouter()

FIRST_SHOWN: Final = 4
"""So many suspects stand open; the rest is folded."""
SHORT_END_S: Final = 180
"""The short end of 3 to 8 minutes from cold: common practice, no source."""


@dataclass(frozen=True)
class Shown:
    """A finding on the page: its entry, what it said and what it moves."""

    entry: str
    says: str
    bits: float


@dataclass(frozen=True)
class FindPage(Page):
    """Odds, findings and the next check.

    `others` are further checks worth their minutes.
    `saves` is the money that proposed checks are expected to save, by check and part.
    `conditions` are (name, words, holds, was said). `done_by_hand` are all checks of this car:
    word, part, name. `belt_off_s` is how long the engine may run without its
    belt, `belt_off_from` where that comes from.
    """

    template = "find.html"
    frame: JobFrame
    found: JobFind
    first: Sequence[SuspectOdds]
    rest: Sequence[SuspectOdds]
    findings: Sequence[Shown]
    card: CheckCard | None
    others: Sequence[CheckCard]
    saves: Mapping[tuple[str, str], float]
    conditions: Sequence[tuple[str, str, bool, bool]]
    done_by_hand: Sequence[tuple[str, str, str]]
    belt_off_s: int
    belt_off_from: str


@router.get("/job/{number}/find")
def find_page(request: Request, number: int, check: str = "", part: str = "") -> HTMLResponse:
    """Odds and checks; with `check`, "spin-by-hand" or "spin-by-hand:idler-2", that card first."""
    shop = shop_of(request)
    check, _, named = check.partition(":")
    part = named or part
    sheet = sheet_of(shop, str(number))
    view = view_of(shop, sheet)
    found = view.find
    cards = [card_of(shop, one) for one in found.result.next_checks]
    if check:
        chosen = check_card(shop, sheet.job.id, check, part)
        cards = [chosen, *(one for one in cards if (one.check, one.part) != (check, part))]
    suspects = found.result.suspects
    seconds, source = _belt_off(sheet)
    findings = [
        Shown(entry, one.says, one.bits)
        for entry, one in zip(found.finding_entries, found.result.findings, strict=True)
    ]
    return show(
        request,
        FindPage(
            frame_of(view),
            found,
            suspects[:FIRST_SHOWN],
            suspects[FIRST_SHOWN:],
            findings[::-1],
            cards[0] if cards else None,
            cards[1:],
            {(one.check, one.part): one.worth for one in found.result.next_checks},
            conditions_of(shop, sheet),
            checks_of(shop, sheet),
            seconds,
            source,
        ),
    )


@router.get("/job/{number}/find/progress")
def progress(request: Request, number: int) -> JSONResponse:
    """Whether the takes are listened to; the page asks until they are."""
    shop = shop_of(request)
    sheet = sheet_of(shop, str(number))
    done = not find_now(shop, sheet).listening
    return JSONResponse({"done": done, "percent": 100 if done else 50, "doing": ""})


@router.post("/job/{number}/find/finding")
def made(request: Request, number: int, form: CheckedForm) -> Response:
    """Write down what a check showed."""
    sheet, _ = open_job(request, number)
    finding_made(
        shop_of(request),
        sheet.job.id,
        text(form, "check"),
        text(form, "outcome"),
        text(form, "part"),
        entry_id=text(form, "entry_id") or None,
    )
    return go_to(f"/job/{number}/find", saved="1")


@router.post("/job/{number}/find/take-back")
def taken_back(request: Request, number: int, form: CheckedForm) -> Response:
    """Take a finding back."""
    sheet, _ = open_job(request, number)
    take_back_finding(shop_of(request), sheet.job.id, text(form, "finding"))
    return go_to(f"/job/{number}/find", saved="1")


@router.post("/job/{number}/find/condition")
def condition(request: Request, number: int, form: CheckedForm) -> Response:
    """Say whether a condition holds on this car now."""
    sheet, _ = open_job(request, number)
    condition_holds(
        shop_of(request), sheet.job.id, text(form, "name"), text(form, "holds") == "yes"
    )
    return go_to(f"/job/{number}/find", saved="1")


def _belt_off(sheet: JobSheet) -> tuple[int, str]:
    """How long it may run without its belt: what the coolant bench worked out for this car."""
    for entry in sheet.of_kind("coolant")[::-1]:
        limit = entry.body["result"].get("limit_s")
        if entry.body["about"] == "clock" and isinstance(limit, int | float) and limit > 0:
            return min(int(limit), 480), "from this car's own figures on the coolant bench"
    return SHORT_END_S, "the short end of 3 to 8 minutes from cold: common practice, no source"
