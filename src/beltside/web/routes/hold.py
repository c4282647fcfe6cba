"""The hold test live: the gauge in two big buttons, the verdict moving, each reading kept."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Final

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, JSONResponse, Response

from beltside.base.errors import BeltsideError, InputError
from beltside.casework.coolant_answer import CoolantAnswer, Words
from beltside.casework.coolant_bench import (
    BigFigure,
    big_figures,
    suggestions,
    unit_of_field,
    with_unit,
)
from beltside.casework.hold_gauge import (
    GAUGE_STEPS,
    GAUGE_UNITS,
    Gauge,
    Target,
    clock_text,
    elapsed_s,
    gauge_of,
    target_of,
)
from beltside.casework.settings import setting
from beltside.casework.shop import Entry, FieldProblemsError, JobSheet, Shop, sheet_of
from beltside.casework.shop_coolant import (
    HoldNow,
    begin_hold,
    end_hold,
    hold_now,
    hold_reading,
    hold_readings_of_file,
    hold_seen,
)
from beltside.casework.shop_jobs import remove_entry
from beltside.web.forms import CheckedForm, text, texts, typed, uploads
from beltside.web.hold_form import SETUP_FIELDS, given_of
from beltside.web.job_frame import JobFrame, open_job
from beltside.web.pages import Page, go_to, shop_of, show
from beltside.web.routes.coolant import ABOVE_CAP, COLD, EYES, HOT, SERVICE_DATA
from beltside.web.svg_address import coolant_address
from beltside.web.texts import said, text_, translator
from beltside.web.visitors import visitor_of

router = APIRouter()

VERDICT_WORDS: Final[Mapping[str, str]] = {
    "tight": text_("Tight"),
    "leaking": text_("Leaking"),
    "not yet known": text_("Not yet known"),
}
SEEN_WORDS: Final = (
    ("drip", text_("It drips")),
    ("wet-hose", text_("A hose end is wet")),
    ("weep-hole", text_("Coolant at the pump's weep hole")),
    ("wet-carpet", text_("Wet carpet inside")),
    ("bubbles", text_("Bubbles in the filler, engine running")),
    ("milky-oil", text_("Milky oil")),
    ("white-smoke", text_("Sweet white smoke")),
    ("adaptor-hiss", text_("The adaptor hisses")),
    ("nothing", text_("Nothing to be seen")),
)
ROWS: Final = 6
MOST_FILE_BYTES: Final = 1_000_000
LATE: Final = timedelta(hours=24)


@dataclass(frozen=True)
class Look:
    """A look at the gauge as the list shows it."""

    entry: str
    clock: str
    pressure: str
    temperatures: str


@dataclass(frozen=True)
class Said:
    """The verdict so far: its words, odds, ranges, what is still to do, the curve, the readings.

    `matters` is the leak that matters, `matters_probability` that one as large is there.
    `above_cap` says that it was pumped above the mark; `picture` is empty while there is none.
    """

    verdict: str
    answer: CoolantAnswer | None
    above_cap: bool
    probability: float
    matters: BigFigure | None
    matters_probability: float
    leak: BigFigure | None
    more: float | None
    smallest: BigFigure | None
    picture: str
    looks: Sequence[Look]


@dataclass(frozen=True)
class HoldSaid(Page):
    """What moves with every reading."""

    template = "hold_said.html"
    number: int
    test: Entry
    so_far: Said
    unit: str
    verdict_words: Mapping[str, str]


@dataclass(frozen=True)
class HoldPage(Page):
    """The hold test: its setup, or its readings and verdict.

    `test` is None while none is begun or a new one is being set up. `elapsed` are the seconds since
    pumping ended, `since_last` those since the last reading, below 0 before the first. `start` is
    what the gauge's figure begins at. `setup` are (name, words, unit, hint).
    """

    template = "hold.html"
    frame: JobFrame
    number: int
    test: Entry | None
    so_far: Said | None
    gauge: Gauge
    unit: str
    target: Target | None
    elapsed: float
    since_last: float
    start: str
    degree: str
    seen: Sequence[str]
    seen_words: Sequence[tuple[str, str]]
    tests: Sequence[tuple[str, str, str]]
    fields: Mapping[str, str]
    problems: Mapping[str, str]
    wrong: str
    setup: Sequence[tuple[str, str, str, str]]
    units: Sequence[str]
    steps: Mapping[str, Sequence[float]]
    rows: Sequence[int]
    cautions: Sequence[str]
    service_data: str
    verdict_words: Mapping[str, str]


@router.get("/job/{number}/hold")
def hold_page(request: Request, number: int, test: str = "", new: bool = False) -> HTMLResponse:
    """The newest test, or `test`; with `new` how to begin another."""
    sheet, frame = open_job(request, number)
    shop = shop_of(request)
    now = None
    if not new and sheet.of_kind("hold-test"):
        now = hold_now(shop, sheet.job.id, test)
    return show(request, _page(request, sheet, frame, now))


@router.post("/job/{number}/hold/begin")
def begin(request: Request, number: int, form: CheckedForm) -> Response:
    """Begin a test: how it is pumped up and read."""
    sheet, frame = open_job(request, number)
    shop = shop_of(request)
    fields = {name: value.strip() for name, value in typed(form).items()}
    try:
        given = given_of(fields, us=setting(shop, "units") == "us")
        entry = begin_hold(
            shop,
            sheet.job.id,
            given,
            stage=fields.get("stage") or "after",
            unit=fields.get("unit", ""),
            entry_id=text(form, "entry_id") or None,
        )
    except FieldProblemsError as error:
        page = _page(request, sheet, frame, None, fields, error.by_field)
    except InputError as error:
        page = _page(request, sheet, frame, None, fields, {}, str(error))
    else:
        return go_to(f"/job/{number}/hold?test={entry.id}")
    return show(request, page, status=422)


@router.post("/job/{number}/hold/{test}/reading")
def reading(request: Request, number: int, test: str, form: CheckedForm) -> Response:
    """Keep one look at the gauge, its time taken from the clock; sent live or by a form."""
    as_json = "application/json" in request.headers.get("accept", "")
    shop = shop_of(request)
    sheet = sheet_of(shop, str(number))
    fields = {name: value.strip() for name, value in typed(form).items()}
    us = setting(shop, "units") == "us"
    try:
        gauge = gauge_of(hold_now(shop, sheet.job.id, test).test, us=us)
        now = hold_reading(
            shop,
            sheet.job.id,
            fields.get("minutes") or None,
            gauge.typed(fields.get("pressure", "")),
            engine_c=with_unit("engine_c", fields.get("engine_c", ""), us=us),
            air_c=with_unit("air_c", fields.get("air_c", ""), us=us),
            test=test,
            at=_read_at(fields),
            entry_id=fields.get("entry_id") or None,
        )
    except InputError as error:
        if as_json:
            problem = said(str(error), visitor_of(request).language)
            return JSONResponse({"problem": problem}, status_code=422)
        problems = {"pressure": str(error)}
        if isinstance(error, FieldProblemsError):
            names = {"pressure_kpa": "pressure"}
            problems = {names.get(name, name): what for name, what in error.by_field.items()}
        sheet, frame = open_job(request, number)
        before = hold_now(shop, sheet.job.id, test)
        return show(request, _page(request, sheet, frame, before, fields, problems), status=422)
    if as_json:
        return _live(request, shop, number, now)
    return go_to(f"/job/{number}/hold?test={test}", saved="1")


@router.post("/job/{number}/hold/{test}/rows")
def typed_rows(request: Request, number: int, test: str, form: CheckedForm) -> Response:
    """Readings typed by time and pressure; rows that can't be kept stay on the page."""
    sheet, frame = open_job(request, number)
    shop = shop_of(request)
    fields = {name: value.strip() for name, value in typed(form).items()}
    now = hold_now(shop, sheet.job.id, test)
    gauge = gauge_of(now.test, us=setting(shop, "units") == "us")
    left: dict[str, str] = {}
    problems: dict[str, str] = {}
    for row in range(ROWS):
        minutes, pressure = (fields.get(f"{row}.{name}", "") for name in ("minutes", "pressure"))
        if not minutes and not pressure:
            continue
        try:
            now = hold_reading(shop, sheet.job.id, minutes, gauge.typed(pressure), test=test)
        except FieldProblemsError as error:
            problems[f"{row}.pressure"] = "; ".join(error.by_field.values())
        except InputError as error:
            problems[f"{row}.pressure"] = str(error)
        if f"{row}.pressure" in problems:
            left |= {f"{row}.minutes": minutes, f"{row}.pressure": pressure}
    if problems:
        return show(request, _page(request, sheet, frame, now, left, problems), status=422)
    return go_to(f"/job/{number}/hold?test={test}", saved="1")


@router.post("/job/{number}/hold/{test}/file")
def from_file(request: Request, number: int, test: str, form: CheckedForm) -> Response:
    """Readings out of a CSV file, all of them or none."""
    sheet, frame = open_job(request, number)
    shop = shop_of(request)
    files = uploads(form, "file")
    try:
        if not files:
            raise InputError("no file came with it", instead="a CSV file of readings")
        data = files[0].file.read(MOST_FILE_BYTES + 1)
        if len(data) > MOST_FILE_BYTES:
            raise InputError("the file is larger than 1 MB", allowed="up to 1 MB")
        readings = data.decode("utf-8-sig", errors="replace")
        hold_readings_of_file(shop, sheet.job.id, readings, test=test)
    except BeltsideError as error:
        now = hold_now(shop, sheet.job.id, test)
        page = _page(request, sheet, frame, now, {}, {"file": str(error)})
        return show(request, page, status=422)
    return go_to(f"/job/{number}/hold?test={test}", saved="1")


@router.post("/job/{number}/hold/{test}/undo")
def undo(request: Request, number: int, test: str, form: CheckedForm) -> Response:
    """Take a reading back; the list of all changes brings it back."""
    shop = shop_of(request)
    sheet = sheet_of(shop, str(number))
    remove_entry(shop, sheet.job.id, text(form, "reading"))
    if "application/json" in request.headers.get("accept", ""):
        return _live(request, shop, number, hold_now(shop, sheet.job.id, test))
    return go_to(f"/job/{number}/hold?test={test}", saved="1")


@router.post("/job/{number}/hold/{test}/seen")
def seen(request: Request, number: int, test: str, form: CheckedForm) -> Response:
    """Keep what was seen on the car."""
    sheet, _ = open_job(request, number)
    hold_seen(shop_of(request), sheet.job.id, texts(form, "seen"), test)
    return go_to(f"/job/{number}/hold?test={test}", saved="1")


@router.post("/job/{number}/hold/{test}/end")
def end(request: Request, number: int, test: str, form: CheckedForm) -> Response:
    """Write the verdict on the job; reading on and ending again renews it."""
    sheet, _ = open_job(request, number)
    end_hold(shop_of(request), sheet.job.id, test)
    return go_to(f"/job/{number}/hold?test={test}", saved="1")


def _live(request: Request, shop: Shop, number: int, now: HoldNow) -> Response:
    """The verdict so far for the page that is open: ready to show, and as figures."""
    us = setting(shop, "units") == "us"
    gauge = gauge_of(now.test, us=us)
    language = visitor_of(request).language
    so_far = _said(now, gauge, language, us=us)
    html = show(request, HoldSaid(number, now.test, so_far, gauge.unit, VERDICT_WORDS)).body
    return JSONResponse(
        {
            "said": bytes(html).decode(),
            "verdict": so_far.verdict,
            "spoken": translator(language)(VERDICT_WORDS[so_far.verdict]),
            "probability_leaking": so_far.probability,
            "readings": len(so_far.looks),
            "elapsed_s": elapsed_s(now.test, datetime.now(UTC)) if so_far.looks else None,
        }
    )


def _read_at(fields: Mapping[str, str]) -> datetime:
    """When the gauge was read: now, or as long ago as the sender's own clock says."""
    now = datetime.now(UTC)
    try:
        read, sent = (datetime.fromisoformat(fields[name]) for name in ("read_at", "sent_at"))
        ago = sent - read
    except (KeyError, ValueError, TypeError):
        return now
    return now - ago if timedelta(0) <= ago <= LATE else now


def _page(
    request: Request,
    sheet: JobSheet,
    frame: JobFrame,
    now: HoldNow | None,
    fields: Mapping[str, str] | None = None,
    problems: Mapping[str, str] | None = None,
    wrong: str = "",
) -> HoldPage:
    us = setting(shop_of(request), "units") == "us"
    test = now.test if now is not None else None
    gauge = gauge_of(test, us=us)
    tests = sheet.of_kind("hold-test")
    if fields is None:
        known = suggestions(sheet, "mix")
        fields = {
            name: known[name] for name in ("cap", "capacity_l", "altitude_m") if name in known
        }
        fields["stage"] = "after" if _work_begun(sheet) else "before"
        fields["unit"] = gauge_of(tests[-1] if tests else None, us=us).unit
    cap = str(test.body["given"].get("cap") or "") if test is not None else fields.get("cap", "")
    target = target_of(cap, gauge)
    language = visitor_of(request).language
    so_far = _said(now, gauge, language, us=us) if now is not None else None
    start = fields.get("pressure") or (
        gauge.shown(float(now.readings[-1].body["pressure_kpa"]))
        if now is not None and now.readings
        else target.most
        if target is not None
        else ""
    )
    last = now.readings[-1] if now is not None and now.readings else None
    elapsed = elapsed_s(now.test, datetime.now(UTC)) if now is not None and last else -1.0
    return HoldPage(
        frame,
        frame.number,
        test,
        so_far,
        gauge,
        gauge.unit,
        target,
        elapsed,
        -1.0 if last is None else elapsed - 60.0 * float(last.body["minutes"]),
        start,
        Words(us).degree,
        list(test.body.get("seen", ())) if test is not None else [],
        SEEN_WORDS,
        [
            (one.id, str(one.body["stage"]), str(one.body["result"].get("verdict", "")))
            for one in tests
        ],
        fields,
        problems or {},
        wrong,
        [
            (
                name,
                words,
                unit_of_field(name, us=us) if unit != "gauge" and not unit else unit,
                hint,
            )
            for name, words, unit, hint in SETUP_FIELDS
        ],
        GAUGE_UNITS,
        GAUGE_STEPS,
        range(ROWS),
        (HOT, ABOVE_CAP, EYES, COLD) if test is None else (ABOVE_CAP, EYES),
        SERVICE_DATA,
        VERDICT_WORDS,
    )


def _work_begun(sheet: JobSheet) -> bool:
    return bool(sheet.of_kind("step-tick") or sheet.of_kind("part-used"))


def _said(now: HoldNow, gauge: Gauge, language: str, *, us: bool) -> Said:
    words = Words(us)
    looks = [
        Look(
            one.id,
            clock_text(float(one.body["minutes"])),
            gauge.shown(float(one.body["pressure_kpa"])),
            " / ".join(
                words.temperature(float(one.body[name]))
                for name in ("engine_c", "air_c")
                if one.body.get(name) is not None
            ),
        )
        for one in now.readings
    ]
    answer = now.answer
    if answer is None:
        return Said("not yet known", None, False, 0.5, None, 0.5, None, None, None, "", looks)
    data = answer.data
    figures = {one.name: one for one in big_figures(answer, us=us)}
    return Said(
        str(data["verdict"]),
        answer,
        bool(data["above_cap"]),
        float(data["probability_leaking"]),
        figures["matters"],
        float(data["probability_matters"]),
        figures["leak"] if len(looks) > 1 else None,
        data["minutes_more"],
        figures.get("smallest"),
        coolant_address(answer, language),
        looks,
    )
