"""The belt drive: pulleys as rows or as text, drawn at once, and what the drive gives."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, JSONResponse, Response
from starlette.datastructures import FormData

from beltside.base.errors import BeltsideError, InputError
from beltside.base.words import PULLEY_PARTS
from beltside.casework.drive_form import (
    HEAD_FIELDS,
    MOST_ROWS,
    ROW_FIELDS,
    DriveForm,
    DriveTried,
    Row,
    form_of,
    toml_of,
    try_drive,
)
from beltside.casework.drive_results import DriveResult
from beltside.casework.shop import JobSheet
from beltside.casework.shop_measure import save_drive_sheet
from beltside.web.forms import CheckedForm, text
from beltside.web.job_frame import JobFrame, open_job
from beltside.web.pages import Page, go_to, shop_of, show
from beltside.web.svg_address import svg_address
from beltside.web.texts import said, text_
from beltside.web.visitors import visitor_of
from beltside.web.words import PART_WORDS

router = APIRouter()

FACES: Final = (("ribbed", text_("ribbed side")), ("back", text_("back of the belt")))
HEAD_WORDS: Final = (
    ("cylinders", text_("Cylinders"), ""),
    ("strokes", text_("Strokes"), ""),
    ("idle_rpm", text_("Idle speed"), text_("rpm")),
    ("ribs", text_("Ribs of the belt"), ""),
    ("length_mm", text_("Belt length, where known"), "mm"),
)
ROW_WORDS: Final = (
    ("diameter_mm", text_("Diameter"), "mm"),
    ("x_mm", text_("Right of the crank"), "mm"),
    ("y_mm", text_("Above the crank"), "mm"),
    ("poles", text_("Poles"), ""),
    ("vanes", text_("Vanes"), ""),
    ("fan_blades", text_("Fan blades"), ""),
)
EMPTY: Final = DriveForm(
    {**dict.fromkeys(HEAD_FIELDS, ""), "strokes": "4"},
    [
        {**dict.fromkeys(ROW_FIELDS, ""), "part": part, "face": face}
        for part, face in (
            ("crank", "ribbed"),
            ("coolant-pump", "ribbed"),
            ("alternator", "ribbed"),
            # A tensioner's roller mostly runs on the belt's back (common practice, no source).
            ("tensioner", "back"),
        )
    ],
)


@dataclass(frozen=True)
class DrivePage(Page):
    """The drive of a job.

    `tried` is what the fields as they stand give; `picture` its drawing as a data address, empty
    when there is none. `version` is the sheet's version the fields come from.
    """

    template = "drive.html"
    frame: JobFrame
    form: DriveForm
    toml: str
    as_text: bool
    tried: DriveTried
    picture: str
    version: int
    kept: bool
    parts: Sequence[tuple[str, str]]
    faces: Sequence[tuple[str, str]]
    head_words: Sequence[tuple[str, str, str]]
    row_words: Sequence[tuple[str, str, str]]


@router.get("/job/{number}/drive")
def drive_page(request: Request, number: int, text: bool = False) -> HTMLResponse:
    """The sheet as it is kept, or an empty one to fill in."""
    sheet, frame = open_job(request, number)
    toml, _ = _kept(sheet)
    try:
        form = form_of(toml) if toml else EMPTY
    except InputError:
        form, text = EMPTY, True
    if not form.rows:
        form = replace(form, rows=EMPTY.rows)
    return show(request, _page(request, frame, sheet, form, toml, text))


@router.post("/job/{number}/drive")
def change(request: Request, number: int, form: CheckedForm) -> Response:
    """Keep the sheet, or add a row, take one out, move one, draw it: nothing typed is lost."""
    sheet, frame = open_job(request, number)
    do = text(form, "do")
    before, _ = _kept(sheet)
    if "toml" in form:
        toml = str(form["toml"])
        given = EMPTY
    else:
        given = _changed(_typed(form), do)
        toml = toml_of(given, before)
    if do == "keep":
        try:
            based_on = text(form, "version")
            save_drive_sheet(
                shop_of(request),
                sheet.job.id,
                toml,
                based_on=int(based_on) if based_on.isdecimal() and int(based_on) else None,
            )
        except InputError:
            # Said beside each field by the page.
            page = _page(request, frame, sheet, given, toml, "toml" in form)
            return show(request, page, status=422)
        return go_to(f"/job/{number}/drive", saved="1")
    return show(request, _page(request, frame, sheet, given, toml, "toml" in form))


@router.post("/job/{number}/drive/draw")
def draw(request: Request, number: int, form: CheckedForm) -> Response:
    """The drawing of the fields as they stand, for the page to show while they are filled in."""
    sheet, _ = open_job(request, number)
    tried = try_drive(toml_of(_typed(form), _kept(sheet)[0]))
    return JSONResponse(
        {
            "picture": _picture(tried.result, visitor_of(request).language),
            "problems": dict(tried.by_field),
            "said": [*tried.other, *tried.notes],
            "length_mm": tried.result.belt_length_mm if tried.result else None,
        }
    )


def _kept(sheet: JobSheet) -> tuple[str, int]:
    there = sheet.newest("drive-sheet")
    return (str(there.body["toml"]), there.version) if there else ("", 0)


def _typed(form: FormData) -> DriveForm:
    head = {name: text(form, name) for name in HEAD_FIELDS}
    rows: list[Row] = []
    for number in range(MOST_ROWS):
        if f"{number}.part" not in form:
            break
        rows.append({key: text(form, f"{number}.{key}") for key in ROW_FIELDS})
    return DriveForm(head, rows)


def _changed(form: DriveForm, do: str) -> DriveForm:
    """The form after its rows were added to, taken out or moved."""
    verb, _, which = do.partition("-")
    rows = list(form.rows)
    at = int(which) if which.isdecimal() and int(which) < len(rows) else -1
    if verb == "add" and len(rows) < MOST_ROWS:
        rows.append({**dict.fromkeys(ROW_FIELDS, ""), "part": "idler", "face": "ribbed"})
    elif verb == "out" and at >= 0:
        del rows[at]
    elif verb == "up" and at > 0:
        rows[at - 1], rows[at] = rows[at], rows[at - 1]
    return replace(form, rows=rows)


def _page(
    request: Request, frame: JobFrame, sheet: JobSheet, form: DriveForm, toml: str, as_text: bool
) -> DrivePage:
    tried = try_drive(toml) if toml else DriveTried(None)
    kept, version = _kept(sheet)
    parts: Mapping[str, str] = {part: PART_WORDS[part] for part in PULLEY_PARTS}
    named = {row["part"] for row in form.rows} - set(parts) - {""}
    return DrivePage(
        frame,
        form,
        toml,
        as_text,
        tried,
        _picture(tried.result, visitor_of(request).language),
        version,
        bool(kept) and kept == toml,
        [*parts.items(), *((part, part) for part in sorted(named))],
        FACES,
        HEAD_WORDS,
        ROW_WORDS,
    )


def _picture(result: DriveResult | None, language: str) -> str:
    """The drive drawn in a language, as an address that holds the picture itself."""
    if result is None or not result.spans:
        return ""
    from beltside.proof.drive_picture import drive_drawing

    try:
        svg = drive_drawing(result, lambda words: said(words, language)).svg()
    except BeltsideError:
        return ""
    return svg_address(svg)
