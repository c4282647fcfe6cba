"""The complaint: the owner's words, whose car it is, which car, and what was seen on it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Final

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response

from beltside.base.errors import BeltsideError, InputError
from beltside.casework.shop import Clash, Entry, FieldProblemsError, JobSheet, write
from beltside.casework.shop_entries import change_single
from beltside.casework.vehicle import VehicleResult, vehicle
from beltside.web.forms import CheckedForm, text, texts, uploads
from beltside.web.job_frame import JobFrame, open_job
from beltside.web.pages import Page, go_to, shop_of, show
from beltside.web.routes.photo import photo_kept, photos_of
from beltside.web.texts import text_

router = APIRouter()

WHEN: Final = (
    ("starting cold", text_("Starting cold")),
    ("at idle", text_("At idle")),
    ("speed raised", text_("Speed raised")),
    ("pulling away", text_("Pulling away")),
    ("turning the wheel", text_("Turning the wheel")),
    ("in the wet", text_("In the wet")),
    ("always", text_("Always")),
)
ENGINE: Final = (
    ("cold", text_("Cold")),
    ("hot", text_("Hot")),
    ("both", text_("Both")),
    ("", text_("Not said")),
)
_FIELDS: Final[Mapping[str, tuple[str, ...]]] = {
    "complaint": ("words", "where", "engine", "since"),
    "car": (
        "name",
        "plate",
        "vin",
        "engine_family",
        "model_year",
        "displacement_l",
        "distance_km",
    ),
    "owner": ("name", "phone", "email", "address"),
    "observation": ("words", "part"),
}
_NUMBERS: Final = frozenset({"model_year", "displacement_l", "distance_km"})


@dataclass(frozen=True)
class ComplaintPage(Page):
    """Owner, car, complaint and observations, each its own form.

    `typed` and `problems` belong to the form last sent; `body` is what is kept of each kind,
    `version` its version, `clashes` what two entered at the same time.
    `vehicle` is what the identification number and the label say; `vehicle_problem` why they
    say nothing.
    `photos` are kept already for an observation that had something else off.
    """

    template = "complaint.html"
    frame: JobFrame
    body: Mapping[str, Mapping[str, Any]]
    version: Mapping[str, int]
    clashes: Mapping[str, Sequence[Clash]]
    observations: Sequence[Entry]
    when: Sequence[tuple[str, str]]
    engine: Sequence[tuple[str, str]]
    vehicle: VehicleResult | None
    vehicle_problem: str
    problems: Mapping[str, Mapping[str, str]]
    photos: Sequence[str]


@router.get("/job/{number}/complaint")
def complaint_page(request: Request, number: int) -> HTMLResponse:
    """What is known of owner, car and complaint."""
    return show(request, _page(request, number))


@router.post("/job/{number}/complaint/{kind}")
def keep_complaint(request: Request, number: int, kind: str, form: CheckedForm) -> Response:
    """Keep one of the forms."""
    if kind not in _FIELDS:
        raise InputError(f"There is no form {kind!r}", allowed=", ".join(_FIELDS))
    typed: dict[str, Any] = {name: text(form, name) for name in _FIELDS[kind]}
    for name in _NUMBERS & typed.keys():
        typed[name] = typed[name].replace(",", ".") or None
    if kind == "complaint":
        typed["when"] = texts(form, "when")
    shop = shop_of(request)
    sheet, _ = open_job(request, number)
    files = []
    if kind == "observation":
        typed["watch"] = bool(text(form, "watch"))
        # One that came before is named by the form.
        files = [one for one in texts(form, "photo_kept") if one in photos_of(sheet)]
        try:
            files += [photo_kept(shop, sheet, one, "") for one in uploads(form, "photo")]
        except BeltsideError as error:
            page = _page(request, number, {kind: typed}, {kind: {"photo": str(error)}}, files)
            return show(request, page, status=422)
        typed["files"] = files
    try:
        if kind == "observation":
            entry_id = text(form, "entry_id") or None
            write(shop, sheet.job.id, kind, typed, files=files, entry_id=entry_id)
        else:
            version = text(form, "version")
            based_on = int(version) if version.isdecimal() and len(version) < 10 else None
            change_single(shop, sheet.job.id, kind, typed, based_on=based_on)
    except FieldProblemsError as error:
        page = _page(request, number, {kind: typed}, {kind: error.by_field}, files)
        return show(request, page, status=422)
    return go_to(f"/job/{number}/complaint", saved="1")


def _page(
    request: Request,
    number: int,
    typed: Mapping[str, Mapping[str, Any]] | None = None,
    problems: Mapping[str, Mapping[str, str]] | None = None,
    photos: Sequence[str] = (),
) -> ComplaintPage:
    sheet, frame = open_job(request, number)
    kept = {kind: sheet.newest(kind) for kind in ("complaint", "car", "owner")}
    body: dict[str, Mapping[str, Any]] = {
        kind: entry.body if entry else {} for kind, entry in kept.items()
    }
    found, problem = _vehicle(body["car"])
    body.update(typed or {})
    return ComplaintPage(
        frame,
        {"observation": {}, **body},
        {kind: entry.version if entry else 0 for kind, entry in kept.items()},
        {kind: entry.clashes if entry else () for kind, entry in kept.items()},
        observations_of(sheet),
        WHEN,
        ENGINE,
        found,
        problem,
        {kind: (problems or {}).get(kind, {}) for kind in _FIELDS},
        photos,
    )


def observations_of(sheet: JobSheet) -> tuple[Entry, ...]:
    """What was seen, newest first."""
    return sheet.of_kind("observation")[::-1]


def _vehicle(car: Mapping[str, Any]) -> tuple[VehicleResult | None, str]:
    """What number and label say, or why they say nothing."""
    given = [str(car[name]) for name in ("vin", "engine_family") if car.get(name)]
    if not given:
        return None, ""
    try:
        return vehicle(*given, today_year=datetime.now(UTC).year), ""
    except InputError as error:
        return None, str(error)
