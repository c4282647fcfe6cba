"""Pulleys from a photo: shapes that suggest themselves, taps on rims, one known size, the sheet."""

from __future__ import annotations

import base64
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response
from starlette.datastructures import FormData

from beltside.base.errors import BeltsideError
from beltside.base.words import PULLEY_PARTS
from beltside.casework.photo_pulleys import FrontResult
from beltside.casework.pulleys_form import (
    MOST_RIMS,
    FrontSeen,
    MarkedFront,
    MarkedRim,
    front_on_job,
    front_seen,
)
from beltside.casework.shop import JobSheet
from beltside.casework.shop_measure import save_drive_sheet
from beltside.web.forms import CheckedForm, text, typed, uploads
from beltside.web.job_frame import JobFrame, open_job
from beltside.web.pages import Page, go_to, shop_of, show
from beltside.web.routes.photo import photo_kept, photos_of
from beltside.web.texts import said, text_
from beltside.web.visitors import visitor_of
from beltside.web.words import PART_WORDS

router = APIRouter()

CAPTION: Final = "Front of the engine"
FACES: Final = (("ribbed", text_("ribbed side")), ("back", text_("back of the belt")))


@dataclass(frozen=True)
class RimRow:
    """A rim on the page: the shape or the taps as one text each, and what was said of it."""

    shape: str
    taps: str
    part: str
    face: str
    diameter_mm: str


@dataclass(frozen=True)
class PulleysPage(Page):
    """Mark the pulleys on a photo of the front, and what they measure.

    `photos` are those on the job to choose from. `seen` is None until a photo is chosen.
    `ellipses` are the shapes with numbers of their rows, to be drawn.
    """

    template = "pulleys.html"
    frame: JobFrame
    photo: str
    photos: Sequence[tuple[str, str]]
    seen: FrontSeen | None
    rows: Sequence[RimRow]
    ellipses: Sequence[tuple[float, ...]]
    fields: Mapping[str, str]
    problem: str
    file_problem: str
    result: FrontResult | None
    picture: str
    version: int
    has_sheet: bool
    parts: Sequence[tuple[str, str]]
    faces: Sequence[tuple[str, str]]


@router.get("/job/{number}/pulleys")
def pulleys_page(request: Request, number: int, photo: str = "") -> HTMLResponse:
    """Choose a photo, or mark the one chosen."""
    sheet, frame = open_job(request, number)
    shop = shop_of(request)
    try:
        seen = front_seen(shop, photo) if photo else None
    except BeltsideError as error:
        return show(request, _page(request, frame, sheet, file_problem=str(error)), status=422)
    rows = [RimRow(_joined(one), "", "", "ribbed", "") for one in seen.shapes] if seen else []
    return show(request, _page(request, frame, sheet, photo, seen, rows))


@router.post("/job/{number}/pulleys/photo")
def keep_photo(request: Request, number: int, form: CheckedForm) -> Response:
    """Keep a photo on the job; then it is marked."""
    sheet, frame = open_job(request, number)
    files = uploads(form, "file")
    if (photo := text(form, "photo")) in photos_of(sheet):
        return go_to(f"/job/{number}/pulleys?photo={photo}")
    try:
        if not files:
            page = _page(request, frame, sheet, file_problem="No photo came with it. Choose one.")
            return show(request, page, status=422)
        photo = photo_kept(shop_of(request), sheet, files[0], CAPTION)
    except BeltsideError as error:
        return show(request, _page(request, frame, sheet, file_problem=str(error)), status=422)
    return go_to(f"/job/{number}/pulleys?photo={photo}")


@router.post("/job/{number}/pulleys")
def measure(request: Request, number: int, form: CheckedForm) -> Response:
    """Measure what is marked; with it the marks come back, so that they can be bettered."""
    sheet, frame = open_job(request, number)
    shop = shop_of(request)
    photo = text(form, "photo")
    rows = _rows(form)
    seen = front_seen(shop, photo)
    problem, result = "", None
    try:
        result = front_on_job(shop, sheet, photo, _marked(form, rows))
    except BeltsideError as error:
        problem = str(error)
    page = _page(request, frame, sheet, photo, seen, rows, typed(form), problem, result)
    return show(request, page, status=422 if problem else 200)


@router.post("/job/{number}/pulleys/keep")
def keep_sheet(request: Request, number: int, form: CheckedForm) -> Response:
    """Keep what was measured as the job's drive sheet."""
    sheet, _ = open_job(request, number)
    based_on = text(form, "version")
    save_drive_sheet(
        shop_of(request),
        sheet.job.id,
        str(form.get("toml", "")),
        picture=text(form, "photo") or None,
        based_on=int(based_on) if based_on.isdecimal() and int(based_on) else None,
    )
    return go_to(f"/job/{number}/drive", saved="1")


def _rows(form: FormData) -> list[RimRow]:
    rows = []
    for number in range(MOST_RIMS):
        if f"{number}.part" not in form:
            break
        names = ("shape", "taps", "part", "face", "diameter_mm")
        rows.append(RimRow(*(text(form, f"{number}.{name}") for name in names)))
    return rows


def _marked(form: FormData, rows: Sequence[RimRow]) -> MarkedFront:
    rims = [
        MarkedRim(one.part, one.face, _numbers(one.shape), _points(one.taps), one.diameter_mm)
        for one in rows
    ]
    scale = _numbers(text(form, "scale"))
    return MarkedFront(
        rims,
        _points(text(form, "known_taps")),
        text(form, "known_mm"),
        scale[0] if scale else 1.0,
        text(form, "cylinders"),
        text(form, "ribs"),
    )


def _joined(values: Sequence[float]) -> str:
    return ",".join(f"{value:.2f}" for value in values)


def _numbers(words: str) -> tuple[float, ...]:
    """Numbers with commas between; none when they are not what the page sends."""
    try:
        return tuple(float(one) for one in words.split(",") if one)
    except ValueError:
        return ()


def _points(words: str) -> tuple[tuple[float, float], ...]:
    pairs = [_numbers(one) for one in words.split()]
    return tuple((one[0], one[1]) for one in pairs if len(one) == 2)


def _page(
    request: Request,
    frame: JobFrame,
    sheet: JobSheet,
    photo: str = "",
    seen: FrontSeen | None = None,
    rows: Sequence[RimRow] = (),
    fields: Mapping[str, str] | None = None,
    problem: str = "",
    result: FrontResult | None = None,
    file_problem: str = "",
) -> PulleysPage:
    there = sheet.newest("drive-sheet")
    return PulleysPage(
        frame,
        photo,
        [
            (str(one.body["file"]), str(one.body.get("caption") or one.body.get("name") or ""))
            for one in sheet.of_kind("photo")[::-1]
        ],
        seen,
        rows,
        [
            (number, *shape)
            for number, one in enumerate(rows, start=1)
            if len(shape := _numbers(one.shape)) == 5
        ],
        fields or {},
        problem,
        file_problem,
        result,
        _picture(result, visitor_of(request).language),
        there.version if there else 0,
        there is not None,
        [(part, PART_WORDS[part]) for part in PULLEY_PARTS],
        FACES,
    )


def _picture(result: FrontResult | None, language: str) -> str:
    """The pulleys seen squarely, in a language, as an address that holds the picture itself."""
    if result is None:
        return ""
    from beltside.proof.front_picture import front_svg

    svg = front_svg(result, lambda words: said(words, language))
    return "data:image/svg+xml;base64," + base64.b64encode(svg.encode()).decode()
