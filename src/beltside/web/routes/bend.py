"""The plan bent to the car: its things as rows or as text, tried before it is kept."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response
from starlette.datastructures import FormData

from beltside.base.errors import InputError
from beltside.casework.plan_form import (
    MOST_ROWS,
    Need,
    PlanForm,
    PlanRow,
    PlanTried,
    plan_form,
    plan_toml,
    try_plan,
)
from beltside.casework.shop import JobSheet
from beltside.casework.shop_plans import bend_plan, plan_text
from beltside.web.forms import CheckedForm, text, texts
from beltside.web.job_frame import JobFrame, open_job
from beltside.web.pages import Page, go_to, shop_of, show
from beltside.web.plan_words import as_written, in_language
from beltside.web.visitors import visitor_of

router = APIRouter()

_TEXTS: Final = (
    "title",
    "tools",
    "torque_nm",
    "torque_source",
    "litres",
    "litres_source",
    "caution",
    "also_needs",
    "blocks",
)


@dataclass(frozen=True)
class BendPage(Page):
    """The plan's things as rows, or its text.

    `tried` is what the fields as they stand give; `things` name and words of every thing, to
    choose from; `version` is the plan's version the fields come from.
    """

    template = "bend.html"
    frame: JobFrame
    form: PlanForm
    toml: str
    as_text: bool
    tried: PlanTried
    things: Sequence[tuple[str, str]]
    version: int
    kept: bool


@router.get("/job/{number}/plan/bend")
def bend_page(request: Request, number: int, text: bool = False) -> HTMLResponse:
    """The plan as it is kept."""
    sheet, frame = open_job(request, number)
    toml, _ = _kept(sheet)
    try:
        form = plan_form(toml)
    except InputError:
        form, text = PlanForm("", []), True
    page = _page(frame, sheet, form, toml, text or len(form.rows) > MOST_ROWS)
    return _shown(request, page)


@router.post("/job/{number}/plan/bend")
def bend(request: Request, number: int, form: CheckedForm) -> Response:
    """Keep it, try it, add a step or take one out: nothing typed is lost."""
    sheet, frame = open_job(request, number)
    before, version = _kept(sheet)
    do = text(form, "do")
    given = PlanForm("", [])
    if "toml" in form:
        # Browsers send lines ended as in mail; the text is kept as it was typed otherwise.
        toml = str(form["toml"]).replace("\r\n", "\n")
    else:
        # Rows stand on the text they were made from, also when another kept his in between.
        base = str(form.get("base") or before).replace("\r\n", "\n")
        out = [do.removeprefix("out-")] if do.startswith("out-") else []
        typed = as_written(_typed(form), plan_form(base), visitor_of(request).language)
        toml = plan_toml(typed, base, out=out)
        given = plan_form(toml)
        if do == "add":
            given = replace(given, rows=[*given.rows, PlanRow()])
    if do == "keep":
        if text(form, "version") not in ("", str(version)):
            problem = (
                "The plan was changed elsewhere in the meantime; yours is shown here. Keep it once "
                "more to put it in the place of the other, which stays readable among all changes."
            )
            page = _page(frame, sheet, given, toml, "toml" in form, problem)
            return _shown(request, page, status=409)
        try:
            bend_plan(shop_of(request), sheet.job.id, toml)
        except InputError:
            # Said beside each field by the page.
            page = _page(frame, sheet, given, toml, "toml" in form)
            return _shown(request, page, status=422)
        return go_to(f"/job/{number}/plan", saved="1")
    return _shown(request, _page(frame, sheet, given, toml, "toml" in form))


def _shown(request: Request, page: BendPage, *, status: int = 200) -> HTMLResponse:
    form = in_language(page.form, visitor_of(request).language)
    return show(request, replace(page, form=form), status=status)


def _kept(sheet: JobSheet) -> tuple[str, int]:
    entry = sheet.newest("plan")
    if entry is None:
        raise InputError("There is no plan on this job yet", instead="choosing one first")
    return plan_text(entry), entry.version


def _typed(form: FormData) -> PlanForm:
    rows = []
    for number in range(MOST_ROWS + 1):
        if f"{number}.name" not in form:
            break
        said = {key: text(form, f"{number}.{key}") for key in _TEXTS}
        kept = set(texts(form, f"{number}.need"))
        row = PlanRow(
            name=text(form, f"{number}.name"),
            off=_three(form, f"{number}.off"),
            refit=_three(form, f"{number}.refit"),
            caution=said.pop("caution").replace("\r\n", "\n"),
            stays=bool(text(form, f"{number}.stays")),
            needs=tuple(Need(line, "", line in kept) for line in texts(form, f"{number}.line")),
        )
        rows.append(replace(row, **said))  # type: ignore[arg-type]
    return PlanForm(text(form, "title"), rows)


def _three(form: FormData, name: str) -> tuple[str, ...]:
    said = [one.strip() if isinstance(one, str) else "" for one in form.getlist(name)][:3]
    return (*said, *[""] * (3 - len(said)))


def _page(
    frame: JobFrame,
    sheet: JobSheet,
    form: PlanForm,
    toml: str,
    as_text: bool,
    problem: str = "",
) -> BendPage:
    entry = sheet.newest("plan")
    assert entry is not None
    tried = try_plan(toml, tuple(entry.body["target"]), str(entry.body["aim"]))
    if problem:
        tried = replace(tried, other=(problem, *tried.other))
    kept, version = _kept(sheet)
    things = [(row.name, row.title) for row in form.rows if row.name]
    return BendPage(frame, form, toml, as_text, tried, things, version, kept == toml)
