"""Before and after: two takes side by side, how much quieter, and both to listen to."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response

from beltside.base.errors import BeltsideError, InputError
from beltside.casework.compare_results import most_changed
from beltside.casework.proof_clips import clips_from, sound_of_pair
from beltside.casework.shop import Entry, JobSheet
from beltside.casework.shop_listen import take_of
from beltside.casework.shop_measure import compare_on_job
from beltside.casework.shop_takes import conditions_in_words
from beltside.web.forms import CheckedForm, text
from beltside.web.job_frame import JobFrame, open_job
from beltside.web.pages import Page, go_to, shop_of, show

router = APIRouter()

THIRD: Final = 2.0 ** (1.0 / 3.0)
"""A third of an octave (IEC 61260-1)."""


@dataclass(frozen=True)
class ComparisonShown:
    """A comparison as kept: the two takes in words, its sentence, its figures.

    `most` says in which band it changed most, empty when in none more than elsewhere. `band_hz` is
    where the change is heard best: lower and upper edge [Hz]; None when nothing changed.
    """

    entry: str
    before: str
    after: str
    says: str
    most: str
    result: Mapping[str, Any]
    band_hz: tuple[float, float] | None


@dataclass(frozen=True)
class ComparePage(Page):
    """Choose two takes; what comparing them gave."""

    template = "compare.html"
    frame: JobFrame
    before: Sequence[tuple[str, str]]
    after: Sequence[tuple[str, str]]
    chosen_before: str
    chosen_after: str
    problem: str
    compared: Sequence[ComparisonShown]


@router.get("/job/{number}/compare")
def compare_page(request: Request, number: int) -> HTMLResponse:
    """What was compared so far."""
    sheet, frame = open_job(request, number)
    return show(request, _page(frame, sheet))


@router.post("/job/{number}/compare")
def compare(request: Request, number: int, form: CheckedForm) -> Response:
    """Compare two takes; some seconds."""
    sheet, frame = open_job(request, number)
    before, after = text(form, "before"), text(form, "after")
    try:
        compare_on_job(shop_of(request), sheet.job.id, before, after)
    except BeltsideError as error:
        return show(request, _page(frame, sheet, before, after, str(error)), status=422)
    return go_to(f"/job/{number}/compare", saved="1")


@router.get("/job/{number}/compare/{entry_id}/{side}.m4a")
def clip(request: Request, number: int, entry_id: str, side: str) -> Response:
    """One of the two clips, brought to the same level by what the repair cannot change."""
    shop = shop_of(request)
    sheet, _ = open_job(request, number)
    for entry in sheet.of_kind("comparison"):
        if entry.id == entry_id and side in ("before", "after"):
            takes = [take_of(sheet, entry.body[one]) for one in ("before", "after")]
            clips = clips_from(sound_of_pair(shop, sheet, takes[0], takes[1], wait=True))
            if clips is not None:
                return Response(
                    clips.before if side == "before" else clips.after,
                    media_type=clips.media_type,
                    headers={"Cache-Control": "private, max-age=86400"},
                )
    raise InputError("There are no clips of these takes", instead="two takes that compare")


def _page(
    frame: JobFrame, sheet: JobSheet, before: str = "", after: str = "", problem: str = ""
) -> ComparePage:
    takes = {entry.id: entry for entry in sheet.of_kind("take")}
    words = {name: conditions_in_words(entry.body) for name, entry in takes.items()}
    first = [(name, words[name]) for name in takes]
    # What there most likely is to compare: after the repair, else the belt off, never with itself.
    second = sorted(
        first,
        key=lambda one: (
            takes[one[0]].body["stage"] != "after",
            takes[one[0]].body.get("belt") != "off",
        ),
    )
    chosen = before or (first[0][0] if first else "")
    others = [name for name, _ in second if name != chosen]
    compared = [
        _shown(entry, words)
        for entry in sheet.of_kind("comparison")[::-1]
        if entry.body["before"] in takes and entry.body["after"] in takes
    ]
    return ComparePage(
        frame,
        first,
        second,
        chosen,
        after or (others or [chosen])[0],
        problem,
        compared,
    )


def _shown(entry: Entry, words: Mapping[str, str]) -> ComparisonShown:
    from beltside.proof.compare_words import band_words

    body = entry.body
    most = most_changed(body["result"])
    return ComparisonShown(
        entry.id,
        words[body["before"]],
        words[body["after"]],
        body["says"],
        "" if most is None else band_words(most),
        body["result"],
        heard_best_hz(body["result"]),
    )


def heard_best_hz(result: Mapping[str, Any]) -> tuple[float, float] | None:
    """Where to listen: the band that the surest line of a rhythm beats in, else the third of an
    octave that changed most, with its neighbours."""
    beats = [one for one in result.get("orders", ()) if one.get("band_hz")]
    if beats:
        low, high = max(beats, key=lambda one: float(one["significance"]))["band_hz"]
        return float(low), float(high)
    changed = [one for one in result.get("bands", ()) if (one.get("quieter_db") or {}).get("value")]
    if not changed:
        return None
    most = max(changed, key=lambda one: abs(one["quieter_db"]["value"]))
    return most["low_hz"] / THIRD, most["high_hz"] * THIRD
