"""The plan on a job: chosen, ticked step by step, worked out anew when it fights back."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Final

from beltside.base.errors import BeltsideError, InputError, nearest
from beltside.casework.formats.teardown_job import ReadJob, job_from
from beltside.casework.shop import Shop, checked, sheet_of, write
from beltside.casework.teardown import job_of_technician, planned_minutes, teardown_of
from beltside.casework.teardown_results import StepView, TeardownResult
from beltside.casework.teardown_templates import template_job, template_names
from beltside.jobs.entries import Entry, JobSheet
from beltside.teardown.learning import SLOWEST, Learned, Logged
from beltside.teardown.model import Job as WorkJob

AIMS: Final = ("expected", "sure", "tools")
MOST_LOGGED_JOBS: Final = 200
"""Step times are learned from so many of the jobs changed last."""

_LOGGED: Final[dict[tuple[str, int], list[Logged]]] = {}
"""Logged times of a job, by its name and its count of changes."""

_NO_PLAN: Final = "There is no plan on this job yet"

TEMPLATE_OF: Final[Mapping[str, str]] = {
    "coolant-pump": "coolant-pump",
    "alternator": "alternator",
    "idler": "idler",
    "tensioner": "tensioner",
    "belt": "belt",
    "steering-pump": "steering-pump",
    "ac-clutch": "ac-clutch-bearing",
    "crank-pulley": "crank-damper",
}
"""Which shipped template goes with which repair of the table of costs."""


@dataclass(frozen=True)
class StepNow:
    """A step of the plan with its tick.

    `state` is "open", "started", "done" or "went wrong"; `tick` the entry that says so; `minutes`
    what it took.
    """

    step: StepView
    state: str = "open"
    tick: str = ""
    minutes: float | None = None
    note: str = ""


@dataclass(frozen=True)
class JobPlan:
    """The plan of a job.

    Attributes
    ----------
    whole
        The plan from the start.
    left
        The plan from where the work stands; None when all is done.
    steps
        All steps with their ticks: those done in the order they were done, then those left.
    technician
        Whose minutes these are; "" for the plan's own.
    """

    whole: TeardownResult
    left: TeardownResult | None
    steps: tuple[StepNow, ...]
    technician: str

    @property
    def next(self) -> StepView | None:
        """The step to do now."""
        return self.left.steps[0] if self.left is not None and self.left.steps else None

    @property
    def minutes_left(self) -> float:
        """Expected minutes still to be worked."""
        return 0.0 if self.left is None else self.left.way.expected_min

    def to_json(self) -> dict[str, Any]:
        """The JSON of `teardown` for what is left, with the ticks."""
        plain = (self.left or self.whole).to_json()
        return {
            **plain,
            "technician": self.technician,
            "minutes_left": round(self.minutes_left, 1),
            "ticks": [
                {
                    "step": one.step.id,
                    "title": one.step.title,
                    "state": one.state,
                    "entry": one.tick,
                    "minutes": one.minutes,
                    "note": one.note,
                }
                for one in self.steps
            ],
        }


def make_plan(shop: Shop, job_id: str, typed: Mapping[str, Any]) -> Entry:
    """Choose the plan: a template, or a job file as text, its targets and its aim.

    Parameters
    ----------
    typed
        `template` or `toml`; `target`, names of its repairs, may be left out; `aim` "expected",
        "sure" or "tools".

    Raises
    ------
    InputError
        When there is no such template, the text is none, or no plan exists; nothing is kept.
    """
    job = sheet_of(shop, job_id)
    body = checked("plan", {"aim": "expected", **typed})
    if body["aim"] not in AIMS:
        raise InputError(f'aim "{body["aim"]}"', allowed=", ".join(AIMS))
    if not body["template"] and not body["toml"]:
        raise InputError(
            "neither a template nor a job file is named",
            allowed=", ".join(template_names()),
            instead=suggested_template(shop, job) or "a template that is near, bent to this car",
        )
    _planned(body["template"], body["toml"], tuple(body["target"]), body["aim"], (), (), (), (), "")
    # All fields are given, so that a template chosen anew does not keep the old one's text.
    return write(shop, job.job.id, "plan", body)


def suggested_template(shop: Shop, job: JobSheet) -> str:
    """The shipped template for the likeliest repair, "" when there is none."""
    from beltside.casework.shop_find import find_now

    step = find_now(shop, job).result.next_step
    return TEMPLATE_OF.get(step.what, "") if step is not None and step.do == "replace" else ""


def plan_on_job(shop: Shop, job_id: str, *, technician: str | None = None) -> JobPlan:
    """The plan of a job with its ticks, and what is left of it.

    `technician` is whose logged times count; the one who is writing when left out.

    Raises
    ------
    InputError
        When there is no plan yet, or what is left can't be done.
    """
    return plan_of(shop, sheet_of(shop, job_id), technician=technician)


def plan_of(shop: Shop, job: JobSheet, *, technician: str | None = None) -> JobPlan:
    """As `plan_on_job`."""
    entry = job.newest("plan")
    if entry is None:
        raise InputError(_NO_PLAN, allowed="a template or a job file", instead="making the plan")
    body = entry.body
    ticks = _ticks(job)
    who = shop.by if technician is None else technician
    made = (str(body["template"]), str(body["toml"]), tuple(body["target"]), str(body["aim"]))
    logs = logged_times(shop, who, exclude=job.job.id)
    whole = _planned(*made, (), (), (), logs, who)
    done, refitted, wrong = _where_it_stands(ticks)
    left: TeardownResult | None
    try:
        left = _planned(*made, done, refitted, wrong, logs, who)
    except InputError:
        # All is off and on again: nothing is left to plan.
        if any(step.id not in ticks for step in whole.steps):
            raise
        left = None
    if left is not None and not left.steps:
        left = None
    by_id = {step.id: step for step in (*whole.steps, *(left.steps if left else ()))}
    steps = [
        _step_now(by_id[name], tick)
        for name, tick in ticks.items()
        if name in by_id and tick.body["state"] == "done"
    ]
    for step in left.steps if left else ():
        steps.append(_step_now(step, ticks.get(step.id)))
    return JobPlan(whole, left, tuple(steps), who if logs else "")


def _step_now(step: StepView, tick: Entry | None) -> StepNow:
    if tick is None:
        return StepNow(step)
    body = tick.body
    return StepNow(step, body["state"], tick.id, body.get("minutes"), body.get("note", ""))


def _ticks(job: JobSheet) -> dict[str, Entry]:
    """The newest tick of each step, in the order the steps were first ticked."""
    found: dict[str, Entry] = {}
    for entry in job.of_kind("step-tick"):
        found[str(entry.body["step"])] = entry
    return found


def _where_it_stands(
    ticks: Mapping[str, Entry],
) -> tuple[tuple[str, ...], tuple[str, ...], tuple[tuple[str, str], ...]]:
    done, refitted, wrong = [], [], []
    for name, tick in ticks.items():
        phase, _, thing = name.partition(":")
        state = tick.body["state"]
        if state == "done" and phase == "apart":
            done.append(thing)
        elif state == "done":
            refitted.append(thing)
        elif state == "went wrong":
            wrong.append((thing, str(tick.body.get("says", ""))))
    # What is on again was off before, whether or not that was ticked.
    done += [thing for thing in refitted if thing not in done]
    return tuple(sorted(done)), tuple(sorted(refitted)), tuple(sorted(wrong))


@lru_cache(maxsize=64)
def _planned(
    template: str,
    toml: str,
    target: tuple[str, ...],
    aim: str,
    done: tuple[str, ...],
    refitted: tuple[str, ...],
    wrong: tuple[tuple[str, str], ...],
    logs: tuple[Logged, ...],
    who: str,
) -> TeardownResult:
    read = read_plan(template, toml)
    own: WorkJob = read.job
    learned: Learned | None = None
    if logs:
        own, learned = job_of_technician(read.job, logs, who)
    return teardown_of(
        read,
        own,
        learned,
        repairs=target,
        aim=aim,
        done=done,
        refitted=refitted,
        # A trouble the plan knows nothing of is kept as a tick and changes no minutes.
        gone_wrong={
            name: what
            for name, what in wrong
            if name not in done and name in own.names and own.thing(name).troubles
        },
    )


def read_plan(template: str, toml: str) -> ReadJob:
    """The teardown job behind a plan: its own text, or the template's.

    Raises
    ------
    InputError
        When there is no such template, or the text is off.
    """
    if not toml:
        return template_job(template)
    from pathlib import Path

    from beltside.casework.formats.toml_file import parse_toml

    return job_from(parse_toml(toml, Path("plan")), "plan", toml)


# Ticks -------------------------------------------------------------------------------------------


def tick_step(
    shop: Shop,
    job_id: str,
    step: str,
    *,
    state: str = "done",
    minutes: float | None = None,
    says: str = "",
    note: str = "",
    entry_id: str | None = None,
) -> Entry:
    """Tick a step of the plan: done, started or went wrong.

    Parameters
    ----------
    step
        The step's name in the plan ("apart:belt"), or the thing of the next step ("belt").
    says
        For a step that went wrong, which of its troubles it was; the first without.

    Raises
    ------
    InputError
        When the plan has no such step or trouble; names the nearest.
    FieldProblemsError
        When a field is off.
    """
    job = sheet_of(shop, job_id)
    plan = plan_of(shop, job)
    view = step_of(plan, step)
    typed = {
        "step": view.id,
        "state": state,
        "minutes": minutes,
        "says": says or ("" if state == "went wrong" else view.title),
        "note": note,
    }
    body = checked("step-tick", typed)
    if state == "went wrong":
        # Refuses a trouble that the step doesn't have before anything is kept.
        entry = job.newest("plan")
        assert entry is not None
        done, refitted, wrong = _where_it_stands(_ticks(job))
        _planned(
            str(entry.body["template"]),
            str(entry.body["toml"]),
            tuple(entry.body["target"]),
            str(entry.body["aim"]),
            done,
            refitted,
            (*wrong, (view.thing, says)),
            (),
            "",
        )
    there = _ticks(job).get(view.id)
    if there is not None and there.id != entry_id:
        return shop.record.change(there.id, body, by=shop.by).entry
    return write(shop, job.job.id, "step-tick", body, entry_id=entry_id)


def step_of(plan: JobPlan, step: str) -> StepView:
    """A step of a plan by its name, or by its thing: the first that is still open.

    Raises
    ------
    InputError
        When there is none such; names the nearest.
    """
    for one in plan.steps:
        if one.step.id == step:
            return one.step
    for one in plan.steps:
        if one.step.thing == step and one.state != "done":
            return one.step
    known = [one.step.id for one in plan.steps]
    raise InputError(
        f'the plan has no step "{step}"',
        allowed=", ".join(known),
        instead=nearest(step, known) or "",
    )


def untick_step(shop: Shop, job_id: str, step: str) -> Entry:
    """Take back the tick of a step; it stays readable.

    Raises
    ------
    InputError
        When the step is not ticked.
    """
    ticks = _ticks(sheet_of(shop, job_id))
    wanted = [name for name in ticks if step in (name, name.partition(":")[2], ticks[name].id)]
    if not wanted:
        raise InputError(f'"{step}" is not ticked', allowed=", ".join(ticks) or "a ticked step")
    return shop.record.remove(ticks[wanted[-1]].id, by=shop.by)


def logged_times(shop: Shop, technician: str, *, exclude: str = "") -> tuple[Logged, ...]:
    """Ticked minutes of the jobs changed last, of all technicians, against what was planned.

    Empty while `technician` has ticked no minutes.
    """
    jobs = shop.record.jobs(stages=("work", "prove", "record", "closed"), limit=MOST_LOGGED_JOBS)
    rows: list[Logged] = []
    for job in jobs:
        if job.id == exclude:
            continue
        key = (job.id, job.change)
        if key not in _LOGGED:
            if len(_LOGGED) > 20 * MOST_LOGGED_JOBS:
                _LOGGED.clear()
            _LOGGED[key] = _logged(shop.record.sheet(job.id))
        rows += _LOGGED[key]
    return tuple(rows) if any(row.technician == technician for row in rows) else ()


def _logged(job: JobSheet) -> list[Logged]:
    entry = job.newest("plan")
    if entry is None:
        return []
    try:
        planned = planned_minutes(
            read_plan(str(entry.body["template"]), str(entry.body["toml"])).job
        )
    except BeltsideError:
        return []
    found = []
    for name, tick in _ticks(job).items():
        phase, _, thing = name.partition(":")
        minutes, expected = tick.body.get("minutes"), planned.get((thing, phase), 0.0)
        if tick.body["state"] != "done" or not minutes or expected <= 0.0:
            continue
        if 1.0 / SLOWEST <= minutes / expected <= SLOWEST:
            found.append(Logged(tick.by, job.job.id, thing, phase, expected, float(minutes)))
    return found
