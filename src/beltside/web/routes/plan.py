"""The plan: chosen, its steps in order to tick with their clock, replanned where it fights back."""

from __future__ import annotations

import base64
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response

from beltside.base.errors import BeltsideError, InputError
from beltside.casework.shop import FieldProblemsError, JobSheet
from beltside.casework.shop_plans import PlanChoice, bend_plan, choose_plan, plan_choices, plan_text
from beltside.casework.shop_steps import open_step, tick_step, untick_step
from beltside.casework.shop_teardown import JobPlan, plan_of, read_plan
from beltside.casework.teardown_results import TeardownResult
from beltside.web.forms import CheckedForm, number_typed, text, texts
from beltside.web.job_frame import JobFrame, open_job
from beltside.web.pages import Page, go_to, shop_of, show
from beltside.web.plan_frame import STATE_WORDS, StepShown, at_hand, steps_shown
from beltside.web.texts import said, text_, translator
from beltside.web.visitors import visitor_of

router = APIRouter()

AIMS: Final = (
    ("expected", text_("Least minutes")),
    ("sure", text_("Least minutes that hold in 8 of 10 cases")),
    ("tools", text_("Fewest tools")),
)


@dataclass(frozen=True)
class PlanPage(Page):
    """The plan of a job, or what to choose from while there is none.

    Attributes
    ----------
    choices
        Plans to start from.
    plan
        None while there is none, or it can't be worked out: `problem` says why.
    result
        What is left of it; the whole when nothing is.
    now
        The step at hand.
    left, done
        The other steps.
    repairs
        Name and words of each repair the plan knows.
    target, aim
        What was chosen.
    together
        Repairs not asked for that lie on the way: name, words, minutes more.
    typed, problems
        What was typed into the form last sent, and what is wrong beside each field.
    """

    template = "plan.html"
    frame: JobFrame
    choices: Sequence[PlanChoice]
    plan: JobPlan | None
    result: TeardownResult | None
    problem: str
    now: StepShown | None
    left: Sequence[StepShown]
    done: Sequence[StepShown]
    repairs: Sequence[tuple[str, str]]
    target: Sequence[str]
    aim: str
    aims: Sequence[tuple[str, str]]
    together: Sequence[tuple[str, str, float]]
    state_words: Mapping[str, str]
    typed: Mapping[str, str]
    problems: Mapping[str, str]


@dataclass(frozen=True)
class PlanListsPage(Page):
    """Tools, what to buy, the step sheet, and the plan as a picture.

    `first` has the number of the step that needs a tool first, by the step's id.
    """

    template = "plan_lists.html"
    frame: JobFrame
    result: TeardownResult
    steps: Sequence[StepShown]
    first: Mapping[str, int]
    picture: str


@router.get("/job/{number}/plan")
def plan_page(request: Request, number: int, step: str = "", choose: bool = False) -> HTMLResponse:
    """The steps; what to choose from while there is no plan, or when asked for."""
    sheet, frame = open_job(request, number)
    return show(request, _page(request, frame, sheet, step=step, choose=choose))


@router.post("/job/{number}/plan")
def chosen(request: Request, number: int, form: CheckedForm) -> Response:
    """Choose the plan, or other repairs or another aim for the one there is."""
    sheet, frame = open_job(request, number)
    shop = shop_of(request)
    target, aim = texts(form, "target"), text(form, "aim") or "expected"
    try:
        if text(form, "template") or text(form, "from_job"):
            from_job = text(form, "from_job")
            choose_plan(
                shop,
                sheet.job.id,
                text(form, "template"),
                target,
                aim,
                from_job=int(from_job) if from_job.isdecimal() else 0,
            )
        else:
            entry = sheet.newest("plan")
            toml = plan_text(entry) if entry is not None else ""
            bend_plan(shop, sheet.job.id, toml, target=target, aim=aim)
    except InputError as error:
        page = _page(request, frame, sheet, problems={"plan": str(error)}, choose=True)
        return show(request, page, status=422)
    return go_to(f"/job/{number}/plan", saved="1")


@router.post("/job/{number}/plan/tick")
def tick(request: Request, number: int, form: CheckedForm) -> Response:
    """Tick a step: clock started or stopped, done, fought back, taken back."""
    sheet, frame = open_job(request, number)
    step = text(form, "step")
    typed = {name: text(form, name) for name in ("minutes", "note", "what", "says", "extra")}
    try:
        do_tick(request, sheet, text(form, "do"), step, typed)
    except FieldProblemsError as error:
        problems: Mapping[str, str] = {"plan": "", **error.by_field}
    except InputError as error:
        problems = {"plan": str(error)}
    else:
        kept = text(form, "do") not in ("done", "undo")
        return go_to(f"/job/{number}/plan" + (f"?step={step}" if kept else "") + "#now")
    page = _page(request, frame, sheet, step=step, typed=typed, problems=problems)
    return show(request, page, status=422)


def do_tick(
    request: Request, sheet: JobSheet, do: str, step: str, typed: Mapping[str, str]
) -> None:
    """One button of a step.

    Raises
    ------
    InputError
        When the step or the button is none, or a field is off.
    """
    shop, job_id = shop_of(request), sheet.job.id
    note = typed.get("note", "")
    if do == "start":
        tick_step(shop, job_id, step, state="started")
    elif do == "stop":
        tick_step(shop, job_id, step, state="stopped")
    elif do == "done":
        minutes = number_typed("step-tick", typed, "minutes")
        tick_step(shop, job_id, step, minutes=minutes, note=note)
    elif do == "undo":
        untick_step(shop, job_id, step)
    elif do == "open":
        open_step(shop, job_id, step)
    elif do == "stuck":
        tick_step(shop, job_id, step, state="stuck", note=note)
    elif do == "wrong":
        says, extra = typed.get("says", ""), number_typed("step-tick", typed, "extra")
        if typed.get("what"):
            tick_step(shop, job_id, step, state="went wrong", says=typed["what"], note=note)
            return
        if not says or extra is None:
            missing = {} if says else {"says": "say what fights back, or choose it above"}
            missing |= {} if extra is not None else {"extra": "say about how many minutes more"}
            raise FieldProblemsError("step-tick", typed, missing)
        # Half as long to twice as long: how far such a guess is out, by experience, no source.
        three = (extra / 2, extra, extra * 2)
        tick_step(shop, job_id, step, state="went wrong", says=says, note=note, extra_min=three)
    else:
        raise InputError(f'"{do}" is no button of a step', allowed="start, stop, done, wrong")


@router.get("/job/{number}/plan/lists")
def lists(request: Request, number: int) -> HTMLResponse:
    """Tools, what to buy, the sheet to print."""
    from beltside.proof.plan_picture import plan_svg

    sheet, frame = open_job(request, number)
    plan = plan_of(shop_of(request), sheet)
    steps = steps_shown(plan)
    language = visitor_of(request).language
    result = plan.left or plan.whole
    t = translator(language)
    told = [one.now for one in steps if one.now.state != "open"]
    states = {one.step.id: t(STATE_WORDS[one.state]) for one in told}
    svg = base64.b64encode(
        plan_svg(result, states, lambda one: said(one, language)).encode()
    ).decode()
    page = PlanListsPage(
        frame,
        result,
        steps,
        {one.now.step.id: one.now.number for one in steps},
        f"data:image/svg+xml;base64,{svg}",
    )
    return show(request, page)


def _page(
    request: Request,
    frame: JobFrame,
    sheet: JobSheet,
    *,
    step: str = "",
    choose: bool = False,
    typed: Mapping[str, str] | None = None,
    problems: Mapping[str, str] | None = None,
) -> PlanPage:
    shop = shop_of(request)
    entry = sheet.newest("plan")
    plan, problem = None, ""
    repairs: Sequence[tuple[str, str]] = ()
    if entry is not None:
        try:
            plan = plan_of(shop, sheet)
            read = read_plan(str(entry.body["template"]), str(entry.body["toml"]))
            repairs = [(one.name, one.title) for one in read.job.repairs]
        except BeltsideError as error:
            problem = str(error)
    words = dict(repairs)
    steps = steps_shown(plan) if plan is not None else []
    now = at_hand(steps, step)
    return PlanPage(
        frame,
        plan_choices(shop, sheet) if entry is None or choose else (),
        plan,
        (plan.left or plan.whole) if plan is not None else None,
        problem,
        now,
        [one for one in steps if one.now.state != "done" and one is not now],
        [one for one in steps if one.now.state == "done" and one is not now],
        repairs,
        plan.whole.repairs if plan is not None else (),
        str(entry.body["aim"]) if entry is not None else "expected",
        AIMS,
        [
            (name, words.get(name, name), minutes)
            for name, minutes in (plan.left.shared.items() if plan and plan.left else ())
        ],
        STATE_WORDS,
        typed or {},
        problems or {},
    )
