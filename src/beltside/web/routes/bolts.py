"""Bolting: the flange drawn with its bolts numbered, each ticked in its turn, the time kept."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final
from urllib.parse import quote

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, JSONResponse, Response
from starlette.datastructures import FormData

from beltside.base.errors import InputError
from beltside.casework.bolt_form import (
    COVER_KINDS,
    GASKET_KINDS,
    HEAD_FIELDS,
    KINDS,
    MOST_ROWS,
    ROW_FIELDS,
    BoltForm,
    Row,
    bolt_form_of,
    bolt_toml_of,
    circle_rows,
    hole_row,
    try_bolts,
)
from beltside.casework.bolts_answer import OrderPicture, both_units
from beltside.casework.shop import FieldProblemsError, JobSheet, Shop, sheet_of
from beltside.casework.shop_bolting import (
    BoltNow,
    BoltsNow,
    bolt_patterns,
    bolts_now,
    matched_holes,
    save_bolt_pattern,
    tick_bolt,
)
from beltside.casework.shop_jobs import remove_entry
from beltside.web.forms import CheckedForm, text, typed
from beltside.web.job_frame import JobFrame, open_job
from beltside.web.pages import Page, go_to, shop_of, show
from beltside.web.texts import said, text_, translator
from beltside.web.visitors import visitor_of

router = APIRouter()

WIDE: Final = 400.0
EDGE: Final = 46.0
CAUTIONS: Final = (
    text_("Engine cold. The last pass is by torque wrench, never by impact driver."),
    text_(
        "The vehicle maker's service data stands above anything worked out here. Where it shows an "
        "order, that order is the one to use."
    ),
)
KIND_WORDS: Final[Mapping[str, str]] = {
    "bolt": text_("Bolt"),
    "stud": text_("Stud"),
    "dowel": text_("Dowel"),
}
COVER_WORDS: Final[Mapping[str, str]] = {
    "aluminium": text_("Aluminium"),
    "steel": text_("Steel"),
    "cast-iron": text_("Cast iron"),
    "plastic": text_("Plastic"),
}
GASKET_WORDS: Final[Mapping[str, str]] = {
    "paper": text_("Paper"),
    "rubber": text_("Rubber"),
    "metal": text_("Metal"),
    "sealant": text_("Sealant"),
}


@dataclass(frozen=True)
class DrawnBolt:
    """A bolt on the drawing: its middle, its place in the order, its name, and how it stands."""

    x: float
    y: float
    place: int
    name: str
    state: str


@dataclass(frozen=True)
class Drawing:
    """The flange from the side its bolts go in: the gasket's line, dowels and bolts."""

    height: float
    line: str
    dowels: Sequence[tuple[float, float]]
    bolts: Sequence[DrawnBolt]


@dataclass(frozen=True)
class Stage:
    """A pass: its number, its torque in words, its bolts with the times of their ticks."""

    number: int
    share: float
    torque: str
    bolts: Sequence[tuple[BoltNow, str]]


@dataclass(frozen=True)
class Bolting:
    """A flange as it stands: the next bolt, its torque, the drawing, every stage."""

    now: BoltsNow
    torque: str
    torque_nm: float | None
    stages: Sequence[Stage]
    drawing: Drawing | None
    done: int


@dataclass(frozen=True)
class BoltsMoving(Page):
    """What moves with every tick."""

    template = "bolts_now.html"
    number: int
    bolting: Bolting


@dataclass(frozen=True)
class BoltsPage(Page):
    """The bolts of a job.

    `bolting` is the flange chosen, None without one; `form` its holes as fields, with `fields` the
    name, torque and source. `singles` are bolts ticked without a pattern: name, torque, source,
    time, entry. `can_take_over` says that the holes of a matched part are at hand.
    """

    template = "bolts.html"
    frame: JobFrame
    number: int
    bolting: Bolting | None
    fasteners: Sequence[str]
    form: BoltForm
    fields: Mapping[str, str]
    problems: Mapping[str, str]
    wrong: Sequence[str]
    editing: bool
    singles: Sequence[tuple[str, str, str, str, str]]
    can_take_over: bool
    cautions: Sequence[str]
    kinds: Sequence[tuple[str, str]]
    covers: Sequence[tuple[str, str]]
    gaskets: Sequence[tuple[str, str]]


EMPTY: Final = BoltForm(
    dict.fromkeys(HEAD_FIELDS, ""),
    [{**dict.fromkeys(ROW_FIELDS, ""), "kind": "bolt"} for _ in range(4)],
)


@router.get("/job/{number}/bolts")
def bolts_page(
    request: Request, number: int, fastener: str = "", new: bool = False
) -> HTMLResponse:
    """The bolts of a flange; of the newest one without its name, with `new` an empty pattern."""
    sheet, frame = open_job(request, number)
    patterns = bolt_patterns(sheet)
    name = "" if new else fastener or (patterns[-1] if patterns else "")
    return show(request, _page(shop_of(request), sheet, frame, name))


@router.post("/job/{number}/bolts")
def pattern(request: Request, number: int, form: CheckedForm) -> Response:
    """Keep the holes, or add one, take one out, lay them on a circle, take a part's over."""
    sheet, frame = open_job(request, number)
    shop = shop_of(request)
    fields = {name: value.strip() for name, value in typed(form).items()}
    do, fastener = fields.get("do", "keep"), fields.get("fastener", "")
    given, wrong = _typed(form), []
    try:
        given = _changed(shop, sheet, given, do, fields)
    except InputError as error:
        wrong = [str(error)]
    problems: Mapping[str, str] = {}
    if do == "keep" and not wrong:
        given = replace(given, rows=[row for row in given.rows if row["x_mm"] or row["y_mm"]])
        toml = bolt_toml_of(given, _kept(sheet, fastener))
        torque, source = fields.get("torque", ""), fields.get("torque_source", "")
        try:
            save_bolt_pattern(
                shop, sheet.job.id, fastener, toml, torque=torque, torque_source=source
            )
        except InputError as error:
            tried = try_bolts(toml)
            problems = tried.by_field
            if isinstance(error, FieldProblemsError):
                problems = {**problems, **error.by_field}
            wrong = [*tried.other]
            if not problems and not wrong:
                wrong = [str(error)]
        else:
            return go_to(f"/job/{number}/bolts?fastener={quote(fastener)}", saved="1")
    page = _page(shop, sheet, frame, "", given, fields, problems, wrong)
    return show(request, page, status=422 if problems or wrong else 200)


@router.post("/job/{number}/bolts/tick")
def tick(request: Request, number: int, form: CheckedForm) -> Response:
    """Tick a bolt; sent live or by a form."""
    shop = shop_of(request)
    sheet = sheet_of(shop, str(number))
    fields = {name: value.strip() for name, value in typed(form).items()}
    as_json = "application/json" in request.headers.get("accept", "")
    try:
        entry = tick_bolt(
            shop,
            sheet.job.id,
            fields.get("fastener", ""),
            number=_whole(fields, "place"),
            pass_number=_whole(fields, "pass"),
            entry_id=fields.get("entry_id") or None,
        )
    except InputError as error:
        if as_json:
            problem = said(str(error), visitor_of(request).language)
            return JSONResponse({"problem": problem}, status_code=422)
        raise
    return _moved(request, shop, number, str(entry.body["fastener"]), as_json)


@router.post("/job/{number}/bolts/untick")
def untick(request: Request, number: int, form: CheckedForm) -> Response:
    """Take a tick back; the list of all changes brings it back."""
    shop = shop_of(request)
    sheet = sheet_of(shop, str(number))
    gone = remove_entry(shop, sheet.job.id, text(form, "tick"))
    as_json = "application/json" in request.headers.get("accept", "")
    return _moved(request, shop, number, str(gone.body.get("fastener", "")), as_json)


@router.post("/job/{number}/bolts/single")
def single(request: Request, number: int, form: CheckedForm) -> Response:
    """Tick a bolt that has no pattern: what it is, the maker's torque, where that stands."""
    sheet, frame = open_job(request, number)
    shop = shop_of(request)
    fields = {name: value.strip() for name, value in typed(form).items()}
    try:
        _require_source(fields)
        tick_bolt(
            shop,
            sheet.job.id,
            fields.get("single", ""),
            torque_nm=_number(fields, "single_nm"),
            angle_deg=_number(fields, "single_deg"),
            source=fields.get("single_source", ""),
        )
    except InputError as error:
        problems = {"single": str(error)}
        if isinstance(error, FieldProblemsError):
            problems = dict(error.by_field)
        patterns = bolt_patterns(sheet)
        page = _page(
            shop, sheet, frame, patterns[-1] if patterns else "", None, fields, problems, ()
        )
        return show(request, page, status=422)
    return go_to(f"/job/{number}/bolts", saved="1")


def _require_source(fields: Mapping[str, str]) -> None:
    """A torque is the maker's: it comes with where it stands."""
    if (fields.get("single_nm") or fields.get("single_deg")) and not fields.get("single_source"):
        raise FieldProblemsError(
            "torque-tick", fields, {"single_source": "says where the torque stands: sheet and page"}
        )


def _moved(request: Request, shop: Shop, number: int, fastener: str, as_json: bool) -> Response:
    if not as_json:
        return go_to(f"/job/{number}/bolts?fastener={quote(fastener)}", saved="1")
    bolting = _bolting(sheet_of(shop, str(number)), bolts_now(shop, str(number), fastener))
    html = bytes(show(request, BoltsMoving(number, bolting)).body).decode()
    t = translator(visitor_of(request).language)
    ahead = bolting.now.next
    spoken = (
        t(text_("All bolts are tightened."))
        if ahead is None
        else t(text_("Next: number {place}, {torque}"), place=ahead.place, torque=bolting.torque)
    )
    return JSONResponse({"said": html, "spoken": spoken, "left": _left(bolting)})


def _left(bolting: Bolting) -> int:
    return len(bolting.now.bolts) - bolting.done


def _whole(fields: Mapping[str, str], name: str) -> int | None:
    value = fields.get(name, "")
    return int(value) if value.isdecimal() and len(value) < 4 else None


def _number(fields: Mapping[str, str], name: str) -> float | None:
    value = fields.get(name, "")
    if not value:
        return None
    try:
        return float(value.replace(",", "."))
    except ValueError:
        problem = f'is "{value}"; it is a number, such as 25'
        raise FieldProblemsError("torque-tick", fields, {name: problem}) from None


def _kept(sheet: JobSheet, fastener: str) -> str:
    for one in sheet.of_kind("bolt-pattern"):
        if one.body["fastener"] == fastener:
            return str(one.body["toml"])
    return ""


def _typed(form: FormData) -> BoltForm:
    rows: list[Row] = []
    for number in range(MOST_ROWS):
        if f"{number}.x_mm" not in form:
            break
        rows.append({key: text(form, f"{number}.{key}") for key in ROW_FIELDS})
    return BoltForm({name: text(form, name) for name in HEAD_FIELDS}, rows)


def _changed(
    shop: Shop, sheet: JobSheet, form: BoltForm, do: str, fields: Mapping[str, str]
) -> BoltForm:
    """The form after its rows were added to, taken out, laid out or taken over."""
    verb, _, which = do.partition("-")
    rows = list(form.rows)
    if verb == "add" and len(rows) < MOST_ROWS:
        rows.append({**dict.fromkeys(ROW_FIELDS, ""), "kind": "bolt"})
    elif verb == "out" and which.isdecimal() and int(which) < len(rows):
        del rows[int(which)]
    elif verb == "circle":
        count, across = (_number(fields, name) for name in ("circle_count", "circle_mm"))
        if count is None or across is None:
            raise InputError("the number of bolts or their circle is missing", allowed="both")
        rows = circle_rows(count, across)
    elif verb == "part":
        rows = [hole_row(x, y) for x, y in matched_holes(shop, sheet)]
    return replace(form, rows=rows)


def _page(
    shop: Shop,
    sheet: JobSheet,
    frame: JobFrame,
    fastener: str,
    form: BoltForm | None = None,
    fields: Mapping[str, str] | None = None,
    problems: Mapping[str, str] | None = None,
    wrong: Sequence[str] = (),
) -> BoltsPage:
    bolting = _bolting(sheet, bolts_now(shop, sheet.job.id, fastener)) if fastener else None
    shown: Mapping[str, str] = fields or {}
    editing = form is not None
    if form is None:
        toml = _kept(sheet, fastener)
        form = bolt_form_of(toml) if toml else EMPTY
        for one in sheet.of_kind("bolt-pattern"):
            if one.body["fastener"] == fastener:
                kept = {name: str(one.body[name]) for name in ("torque", "torque_source")}
                shown = {"fastener": fastener, **kept, **shown}
    patterns = bolt_patterns(sheet)
    return BoltsPage(
        frame,
        frame.number,
        bolting,
        patterns,
        form,
        shown,
        problems or {},
        wrong,
        editing,
        [
            (
                str(one.body["fastener"]),
                _torque(one.body.get("torque_nm")),
                str(one.body.get("source") or ""),
                f"{one.created_at:%Y-%m-%d %H:%M}",
                one.id,
            )
            for one in sheet.of_kind("torque-tick")
            if one.body["fastener"] not in patterns
        ],
        sheet.newest("part-match") is not None,
        CAUTIONS,
        [(kind, KIND_WORDS.get(kind, kind)) for kind in KINDS],
        [("", text_("Not known")), *((kind, COVER_WORDS.get(kind, kind)) for kind in COVER_KINDS)],
        [
            ("", text_("Not known")),
            *((kind, GASKET_WORDS.get(kind, kind)) for kind in GASKET_KINDS),
        ],
    )


def _torque(torque_nm: object) -> str:
    return both_units(float(torque_nm)) if isinstance(torque_nm, int | float) else ""


def _bolting(sheet: JobSheet, now: BoltsNow) -> Bolting:
    times = {one.id: f"{one.created_at:%H:%M}" for one in sheet.of_kind("torque-tick")}
    shares = [float(stage["share"]) for stage in now.answer.data["stages"]]
    stages = []
    for number, share in enumerate(shares, start=1):
        bolts = [one for one in now.bolts if one.pass_number == number]
        stages.append(
            Stage(
                number,
                share,
                _torque(bolts[0].torque_nm),
                [(one, times.get(one.tick, "")) for one in bolts],
            )
        )
    ahead = now.next
    torque = "" if ahead is None else _torque(ahead.torque_nm)
    return Bolting(
        now,
        torque,
        None if ahead is None else ahead.torque_nm,
        stages,
        _drawing(now),
        sum(bool(one.tick) for one in now.bolts),
    )


def _drawing(now: BoltsNow) -> Drawing | None:
    picture = now.answer.pictures.get("bolt-order")
    if not isinstance(picture, OrderPicture):
        return None
    flange = picture.flange
    points = [*picture.gasket_mm, *((hole.x_mm, hole.y_mm) for hole in flange.holes)]
    left, right = min(x for x, _ in points), max(x for x, _ in points)
    low, high = min(y for _, y in points), max(y for _, y in points)
    scale = (WIDE - 2.0 * EDGE) / max(right - left, high - low, 1.0)
    aside = EDGE + 0.5 * (WIDE - 2.0 * EDGE - scale * (right - left))

    def at(x: float, y: float) -> tuple[float, float]:
        return round(aside + scale * (x - left), 1), round(EDGE + scale * (high - y), 1)

    ahead = now.next
    turn = ahead.pass_number if ahead is not None else max(one.pass_number for one in now.bolts)
    of_turn = {one.place: one for one in now.bolts if one.pass_number == turn}
    bolts = []
    for place, bolt in enumerate(picture.order, start=1):
        hole = flange.bolts[bolt]
        state = "done" if of_turn[place].tick else "next" if of_turn[place] is ahead else "open"
        bolts.append(DrawnBolt(*at(hole.x_mm, hole.y_mm), place, hole.name, state))
    line = [at(x, y) for x, y in picture.gasket_mm]
    return Drawing(
        round(2.0 * EDGE + scale * (high - low), 1),
        "M" + "L".join(f"{x} {y}" for x, y in line) + "Z",
        [at(hole.x_mm, hole.y_mm) for hole in flange.dowels],
        bolts,
    )
