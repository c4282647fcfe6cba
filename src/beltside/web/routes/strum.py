"""Strumming the belt: plucks recorded or chosen, the note, the tension, the verdict."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, JSONResponse, Response

from beltside.base.errors import BeltsideError
from beltside.casework.shop import FieldProblemsError, JobSheet
from beltside.casework.shop_jobs import remove_entry
from beltside.casework.shop_measure import strum_again, strum_on_job
from beltside.casework.strum_form import LIMITS, spans_on_job, strum_figures
from beltside.web.forms import CheckedForm, pieces, text, typed, uploads
from beltside.web.job_frame import JobFrame, open_job
from beltside.web.pages import Page, go_to, shop_of, show
from beltside.web.texts import text_
from beltside.web.visitors import visitor_of
from beltside.web.words import part_words

router = APIRouter()

MOST_SECONDS: Final = 30
NEWTONS_PER_POUND_FORCE: Final = 4.4482216152605
"""By definition of pound and standard gravity."""
VERDICTS: Final[Mapping[str, str]] = {
    "within target": text_("Within your target."),
    "too slack": text_("Too slack for your target."),
    "too tight": text_("Too tight for your target."),
    "can't tell": text_("Your target can't be told from this: its edge lies within the range."),
}


@dataclass(frozen=True)
class Figure:
    """A figure as shown: value, unit, range."""

    value: str
    unit: str
    range: str


@dataclass(frozen=True)
class SpanShown:
    """What the note would mean on one span."""

    words: str
    length: str
    tension: str
    possible: bool
    verdict: str


@dataclass(frozen=True)
class StrumShown:
    """A strum as the page shows it; `figures` are those it was reckoned with."""

    entry: str
    says: str
    note: Figure | None
    tension: Figure | None
    verdict: str
    reason: str
    plucks: int
    spans: Sequence[SpanShown]
    warnings: Sequence[str]
    files: Sequence[str]
    figures: Mapping[str, str]


@dataclass(frozen=True)
class StrumPage(Page):
    """Record plucks of a span, or choose a file; what they said.

    `spans` are those of the drive sheet to choose from. `problems` and `typed` belong to the form
    `at`: "" for a new strum, else the entry of one that is kept. `off` are fields that were left
    out of the newest one because they were no figures.
    """

    template = "strum.html"
    frame: JobFrame
    strums: Sequence[StrumShown]
    spans: Sequence[tuple[str, str]]
    typed: Mapping[str, str]
    problems: Mapping[str, str]
    at: str
    off: Sequence[str]
    has_sheet: bool
    most_seconds: int


FIELD_WORDS: Final[Mapping[str, str]] = {
    "span_mm": text_("Free length of the span"),
    "target_low_n": text_("Tension wanted, lowest"),
    "target_high_n": text_("Tension wanted, highest"),
    "ribs": text_("Ribs of the belt"),
    "mass_g_per_m": text_("Mass of a metre of belt"),
}


@router.get("/job/{number}/strum")
def strum_page(request: Request, number: int, off: str = "") -> HTMLResponse:
    """The page to record plucks on."""
    sheet, frame = open_job(request, number)
    left_out = [FIELD_WORDS[name] for name in off.split(",") if name in FIELD_WORDS]
    return show(request, _page(request, frame, sheet, {}, {}, off=left_out))


@router.post("/job/{number}/strum")
def keep_strum(request: Request, number: int, form: CheckedForm) -> Response:
    """Keep plucks, from a form or in the background from the recorder.

    A recording is kept also when a figure is off: that one is left out and told.
    """
    sheet, frame = open_job(request, number)
    as_json = "application/json" in request.headers.get("accept", "")
    fields = typed(form)
    files = uploads(form, "file")
    off: list[str] = []
    try:
        if not files:
            raise FieldProblemsError(
                "strum", fields, {"file": "No file came with it. Choose a recording of the plucks."}
            )
        try:
            figures = strum_figures(fields)
        except FieldProblemsError as wrong:
            off = [name for name in wrong.by_field if name in LIMITS]
            figures = strum_figures({name: fields[name] for name in fields if name not in off})
        strum_on_job(
            shop_of(request),
            sheet.job.id,
            [pieces(one) for one in files],
            **figures.given(),
            media_type=files[0].content_type or "application/octet-stream",
            entry_id=text(form, "entry_id") or None,
        )
    except BeltsideError as error:
        problems = dict(getattr(error, "by_field", {})) or {"file": str(error)}
        if as_json:
            return JSONResponse({"problem": " ".join(problems.values())}, status_code=422)
        return show(request, _page(request, frame, sheet, fields, problems), status=422)
    there = f"/job/{number}/strum" + (f"?off={','.join(off)}" if off else "")
    if as_json:
        return JSONResponse({"href": there})
    return go_to(there, saved="1")


@router.post("/job/{number}/strum/{entry_id}")
def reckon_again(request: Request, number: int, entry_id: str, form: CheckedForm) -> Response:
    """Reckon the plucks that are kept with other figures."""
    sheet, frame = open_job(request, number)
    fields = typed(form)
    try:
        strum_again(shop_of(request), sheet.job.id, entry_id, **strum_figures(fields).given())
    except FieldProblemsError as error:
        page = _page(request, frame, sheet, fields, dict(error.by_field), at=entry_id)
        return show(request, page, status=422)
    return go_to(f"/job/{number}/strum", saved="1")


@router.post("/job/{number}/strum/{entry_id}/remove")
def remove(request: Request, number: int, entry_id: str, form: CheckedForm) -> Response:
    """Take a strum off the sheet; the list of all changes brings it back."""
    sheet, _ = open_job(request, number)
    remove_entry(shop_of(request), sheet.job.id, entry_id)
    return go_to(f"/job/{number}/strum", saved="1")


def _page(
    request: Request,
    frame: JobFrame,
    sheet: JobSheet,
    fields: Mapping[str, str],
    problems: Mapping[str, str],
    *,
    at: str = "",
    off: Sequence[str] = (),
) -> StrumPage:
    us = visitor_of(request).us_units
    return StrumPage(
        frame,
        [_shown(one.id, one.body, us) for one in sheet.of_kind("strum")[::-1]],
        [
            (f"{start},{end}", f"{part_words(start)} – {part_words(end)}, {length:.0f} mm")
            for start, end, length in spans_on_job(sheet)
        ],
        fields,
        problems,
        at,
        off,
        sheet.newest("drive-sheet") is not None,
        MOST_SECONDS,
    )


def _shown(entry: str, body: Mapping[str, Any], us: bool) -> StrumShown:
    result = body["result"]
    note = result["frequency_hz"]
    target = result["target_n"] or ("", "")
    named = next((one for one in result["spans"] if one["named"]), None)
    return StrumShown(
        entry,
        str(body["says"]),
        None if note is None else _figure(note, "Hz", 1),
        None if result["tension_n"] is None else _force(result["tension_n"], us),
        VERDICTS.get(result["verdict"] or "", ""),
        str(result["reason"] or ""),
        len(result["plucks"]),
        [_span(one, us) for one in result["spans"]],
        list(result["warnings"]),
        list(body["files"]),
        {
            "span": ",".join(body["between"]),
            "span_mm": f"{named['length_mm']:g}" if named and not body["between"] else "",
            "target_low_n": f"{target[0]:g}" if target[0] else "",
            "target_high_n": f"{target[1]:g}" if target[1] else "",
        },
    )


def _span(one: Mapping[str, Any], us: bool) -> SpanShown:
    force = _force(one["tension_n"], us)
    words = f"{part_words(one['from'])} – {part_words(one['to'])}" if one["from"] else ""
    return SpanShown(
        words,
        f"{one['length_mm']:.0f} mm",
        f"{force.value} {force.unit} ({force.range})",
        bool(one["possible"]),
        VERDICTS.get(one["verdict"] or "", ""),
    )


def _force(newtons: Mapping[str, float], us: bool) -> Figure:
    per = NEWTONS_PER_POUND_FORCE if us else 1.0
    scaled = {name: newtons[name] / per for name in ("value", "low", "high")}
    return _figure(scaled, "lbf" if us else "N", 0)


def _figure(value: Mapping[str, float], unit: str, digits: int) -> Figure:
    low, high = f"{value['low']:.{digits}f}", f"{value['high']:.{digits}f}"
    return Figure(f"{value['value']:.{digits}f}", unit, f"{low} – {high} {unit}")
