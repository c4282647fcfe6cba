"""Hands busy: one step fills the screen; a tap anywhere is done and on to the next."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response

from beltside.base.errors import InputError
from beltside.casework.shop import sheet_of
from beltside.casework.shop_steps import open_step, tick_step
from beltside.casework.shop_teardown import JobPlan, plan_of
from beltside.web.forms import CheckedForm, text
from beltside.web.job_frame import open_job
from beltside.web.pages import Page, go_to, shop_of, show
from beltside.web.plan_frame import STATE_WORDS, StepShown, at_hand, steps_shown
from beltside.web.texts import said, text_, translator
from beltside.web.visitors import visitor_of

router = APIRouter()

STEP_OF: Final = text_("Step {number} of {count}")
ABOUT: Final = text_("about {minutes} minutes")
ABOUT_ONE: Final = text_("about 1 minute")
ALL_DONE: Final = text_("All steps are done")
CAUTION: Final = text_("Caution")
WAITS_FOR: Final = text_("Waits for")
TOOLS: Final = text_("Tools")
NEW_PARTS: Final = text_("New parts")


@dataclass(frozen=True)
class HandsPage(Page):
    """One step, as large as the screen.

    Attributes
    ----------
    number, car
        The job's number and its car.
    shown
        The step; None when all are done.
    count
        How many steps there are.
    before, after
        Names of the steps before it and after it; "" for none.
    minutes_left
        Minutes still to be worked [min].
    problem
        Why the last tap did nothing.
    say
        What is read aloud.
    """

    template = "hands_busy.html"
    number: int
    car: str
    shown: StepShown | None
    count: int
    before: str
    after: str
    minutes_left: float
    problem: str
    say: str
    state_words: Mapping[str, str]


@router.get("/job/{number}/plan/step")
def hands_page(request: Request, number: int, step: str = "") -> HTMLResponse:
    """The step asked for; else the one whose clock runs, or the next."""
    sheet, frame = open_job(request, number)
    plan = plan_of(shop_of(request), sheet)
    return show(request, _page(request, number, frame.car, plan, step))


@router.post("/job/{number}/plan/step")
def hands(request: Request, number: int, form: CheckedForm) -> Response:
    """A tap: the clock started, or the step done and the next one's clock started; or back."""
    sheet, frame = open_job(request, number)
    shop, job_id = shop_of(request), sheet.job.id
    step, do = text(form, "step"), text(form, "do")
    try:
        if do == "start":
            tick_step(shop, job_id, step, state="started")
        elif do == "stop":
            tick_step(shop, job_id, step, state="stopped")
        elif do == "done":
            tick_step(shop, job_id, step)
            next_ = plan_of(shop, sheet_of(shop, job_id)).next
            step = ""
            if next_ is not None:
                tick_step(shop, job_id, next_.id, state="started")
                step = next_.id
        elif do == "back":
            plan = plan_of(shop, sheet)
            if any(one.step.id == step and one.state == "done" for one in plan.steps):
                open_step(shop, job_id, step)
            tick_step(shop, job_id, step, state="started")
        else:
            raise InputError(f'"{do}" is no button here', allowed="start, stop, done, back")
    except InputError as error:
        plan = plan_of(shop, sheet_of(shop, job_id))
        page = _page(request, number, frame.car, plan, text(form, "step"), str(error))
        return show(request, page, status=422)
    return go_to(f"/job/{number}/plan/step" + (f"?step={step}" if step else ""))


def _page(
    request: Request, number: int, car: str, plan: JobPlan, step: str, problem: str = ""
) -> HandsPage:
    language = visitor_of(request).language
    steps = steps_shown(plan)
    shown = at_hand(steps, step)
    names = [one.now.step.id for one in steps]
    at = names.index(shown.now.step.id) if shown is not None else len(names)
    return HandsPage(
        number,
        car,
        shown,
        len(steps),
        names[at - 1] if at > 0 and names else "",
        names[at + 1] if at + 1 < len(names) else "",
        plan.minutes_left,
        problem,
        _spoken(shown, len(steps), language),
        STATE_WORDS,
    )


def _spoken(shown: StepShown | None, count: int, language: str) -> str:
    """What is read aloud: where he is, what to do, and first of all what can hurt."""
    t = translator(language)
    if shown is None:
        return t(ALL_DONE)
    step = shown.now.step

    def all_of(words: Iterable[str]) -> str:
        return ", ".join(said(one, language) for one in words)

    told = [t(STEP_OF, number=shown.now.number, count=count), said(step.title, language)]
    told += [f"{t(CAUTION)}: {said(one, language)}" for one in step.hazards]
    if shown.open_waits:
        told.append(f"{t(WAITS_FOR)}: {all_of(one.title for one in shown.open_waits)}")
    minutes = max(1, round(step.expected_min))
    told.append(t(ABOUT_ONE) if minutes == 1 else t(ABOUT, minutes=minutes))
    told += [f"{t(TOOLS)}: {all_of(step.tools)}"] if step.tools else []
    told += [said(step.torque, language)] if step.torque else []
    told += [f"{t(NEW_PARTS)}: {all_of(step.new_parts)}"] if step.new_parts else []
    told += [said(one, language) for one in step.cautions]
    return ". ".join(one.rstrip(".") for one in told) + "."
