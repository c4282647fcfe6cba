"""The plan on a job: chosen, ticked step by step, worked out anew when it fights back."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from functools import lru_cache
from pathlib import Path
from typing import Any, Final

from beltside.base.errors import BeltsideError, InputError
from beltside.casework.formats.teardown_job import ReadJob, job_from
from beltside.casework.shop import Shop, checked, sheet_of, write
from beltside.casework.teardown import job_of_technician, planned_minutes, teardown_of
from beltside.casework.teardown_results import StepView, TeardownResult
from beltside.casework.teardown_templates import template_job, template_names
from beltside.jobs.entries import Entry, JobSheet
from beltside.teardown.learning import SLOWEST, Learned, Logged
from beltside.teardown.model import Job as WorkJob
from beltside.teardown.model import Trouble
from beltside.teardown.times import Minutes

AIMS: Final = ("expected", "sure", "tools")
MOST_LOGGED_JOBS: Final = 200
"""Step times are learned from so many of the jobs changed last."""

_LOGGED: Final[dict[tuple[str, int], list[Logged]]] = {}
"""Logged times of a job, by its name and its count of changes."""

_WORKED_ON: Final[dict[Path, tuple[tuple[Any, ...], list[tuple[str, int]]]]] = {}
"""The jobs whose logged times count, by the shop's folder, as of what was written last."""

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

    Attributes
    ----------
    step
        As planned.
    number
        Its place among all steps, those done first; from 1.
    state
        "open", "started", "stopped", "done", "went wrong" or "stuck".
    tick
        The entry that says so.
    minutes
        What it took; what its clock has counted so far for one that is not done [min].
    note, says
        Where it fought back; which trouble it was.
    running_since
        When its clock was started, ISO 8601; "" while it stands still.
    """

    step: StepView
    number: int = 0
    state: str = "open"
    tick: str = ""
    minutes: float | None = None
    note: str = ""
    says: str = ""
    running_since: str = ""


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
    stuck
        Steps of the plan at first that can't be done and are gone round.
    """

    whole: TeardownResult
    left: TeardownResult | None
    steps: tuple[StepNow, ...]
    technician: str
    stuck: tuple[StepNow, ...] = ()

    @property
    def next(self) -> StepView | None:
        """The step to do now."""
        return self.left.steps[0] if self.left is not None and self.left.steps else None

    @property
    def minutes_left(self) -> float:
        """Expected minutes still to be worked."""
        return 0.0 if self.left is None else self.left.way.expected_min

    @property
    def minutes_in_all(self) -> float:
        """Minutes of the steps done, as ticked or else as planned, and those still to be worked."""
        done = (
            one.step.expected_min if one.minutes is None else one.minutes
            for one in self.steps
            if one.state == "done"
        )
        return sum(done) + self.minutes_left

    @property
    def detour(self) -> str:
        """How the way differs now from the one planned at first, in a sentence; "" when not."""
        if self.left is None:
            return ""
        titles = {one.thing: one.title for one in (*self.left.steps, *self.whole.steps)[::-1]}
        now = set(self.left.way.things) | set(self.left.done)
        before = self.whole.way.things
        new = [titles.get(one, one) for one in self.left.way.things if one not in before]
        gone = [titles.get(one, one) for one in before if one not in now]
        if not new and not gone:
            return ""
        said = [f"now also {_quoted(new)}"] if new else []
        said += [f"no longer {_quoted(gone)}"] if gone else []
        return f"The way has changed: {', '.join(said)}."

    def to_json(self) -> dict[str, Any]:
        """The JSON of `teardown` for what is left, with the ticks."""
        plain = (self.left or self.whole).to_json()
        return {
            **plain,
            "technician": self.technician,
            "minutes_left": round(self.minutes_left, 1),
            "minutes_in_all": round(self.minutes_in_all, 1),
            "detour": self.detour,
            "ticks": [
                {
                    "step": one.step.id,
                    "title": one.step.title,
                    "state": one.state,
                    "entry": one.tick,
                    "minutes": one.minutes,
                    "note": one.note,
                    "says": one.says,
                    "running_since": one.running_since,
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
    made = (body["template"], body["toml"], tuple(body["target"]), body["aim"])
    planned_from(made, Standing())
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
    ticks = ticks_of(job)
    who = shop.by if technician is None else technician
    made = (str(body["template"]), str(body["toml"]), tuple(body["target"]), str(body["aim"]))
    logs = logged_times(shop, who, exclude=job.job.id)
    whole = planned_from(made, Standing(), logs, who)
    left: TeardownResult | None
    try:
        left = planned_from(made, standing_of(ticks), logs, who)
    except InputError:
        # All is off and on again: nothing is left to plan.
        if any(step.id not in ticks for step in whole.steps):
            raise
        left = None
    if left is not None and not left.steps:
        left = None
    by_id = {step.id: step for step in (*whole.steps, *(left.steps if left else ()))}
    steps: list[tuple[StepView, Entry | None]] = [
        (by_id[name], tick)
        for name, tick in ticks.items()
        if name in by_id and tick.body["state"] == "done"
    ]
    steps += [(step, ticks.get(step.id)) for step in (left.steps if left else ())]
    numbered = tuple(
        _step_now(step, number, tick) for number, (step, tick) in enumerate(steps, start=1)
    )
    shown = {one.step.id for one in numbered}
    stuck = tuple(
        _step_now(by_id[name], 0, tick)
        for name, tick in ticks.items()
        if tick.body["state"] == "stuck" and name in by_id and name not in shown
    )
    return JobPlan(whole, left, numbered, who if logs else "", stuck)


def _step_now(step: StepView, number: int, tick: Entry | None) -> StepNow:
    if tick is None:
        return StepNow(step, number)
    body = tick.body
    started, stopped = body.get("started") or [], body.get("stopped") or []
    minutes = body.get("minutes")
    if body["state"] != "done":
        minutes = clock_minutes(started, stopped)
    return StepNow(
        step,
        number,
        body["state"],
        tick.id,
        minutes,
        body.get("note", ""),
        body.get("says", ""),
        started[-1] if len(started) > len(stopped) else "",
    )


def clock_minutes(started: Sequence[str], stopped: Sequence[str]) -> float | None:
    """Minutes a step's clock has counted; None when it was never stopped.

    >>> clock_minutes(["2026-05-04T09:00:00+00:00"], ["2026-05-04T09:12:30+00:00"])
    12.5
    """
    spans = [
        datetime.fromisoformat(end) - datetime.fromisoformat(start)
        for start, end in zip(started, stopped, strict=False)
    ]
    if not spans:
        return None
    return round(sum(max(one.total_seconds(), 0.0) for one in spans) / 60.0, 1)


def ticks_of(job: JobSheet) -> dict[str, Entry]:
    """The newest tick of each step, in the order the steps were first ticked."""
    found: dict[str, Entry] = {}
    for entry in job.of_kind("step-tick"):
        found[str(entry.body["step"])] = entry
    return found


def standing_of(ticks: Mapping[str, Entry]) -> Standing:
    """Where the work stands, by the ticks of the steps."""
    done, refitted, wrong, stuck, slower = [], [], [], [], []
    for name, tick in ticks.items():
        phase, _, thing = name.partition(":")
        state = tick.body["state"]
        if state == "done" and phase == "apart":
            done.append(thing)
        elif state == "done":
            refitted.append(thing)
        elif state == "went wrong":
            extra = tuple(float(one) for one in tick.body.get("extra_min") or ())
            if phase == "apart":
                wrong.append((thing, str(tick.body.get("says", "")), extra))
            elif extra:
                slower.append((thing, extra))
        elif state == "stuck" and phase == "apart":
            stuck.append(thing)
    # What is on again was off before, whether or not that was ticked.
    done += [thing for thing in refitted if thing not in done]
    return Standing(
        tuple(sorted(done)),
        tuple(sorted(refitted)),
        tuple(sorted(wrong)),
        tuple(sorted(stuck)),
        tuple(sorted(slower)),
    )


Made = tuple[str, str, tuple[str, ...], str]
"""Template, text, targets and aim of a plan."""


@dataclass(frozen=True)
class Standing:
    """Where the work stands: things off, on again, gone wrong, stuck, slower to refit.

    `wrong` has a thing, its trouble, and the minutes more of one that was not foreseen; `slower`
    a thing and the minutes more its refit takes.
    """

    done: tuple[str, ...] = ()
    refitted: tuple[str, ...] = ()
    wrong: tuple[tuple[str, str, tuple[float, ...]], ...] = ()
    stuck: tuple[str, ...] = ()
    slower: tuple[tuple[str, tuple[float, ...]], ...] = ()


@lru_cache(maxsize=64)
def planned_from(
    made: Made, standing: Standing, logs: tuple[Logged, ...] = (), who: str = ""
) -> TeardownResult:
    """The plan from where the work stands, by the minutes of `who` where some are logged.

    Raises
    ------
    InputError
        As `teardown_of`.
    """
    template, toml, target, aim = made
    read = read_plan(template, toml)
    own: WorkJob = read.job
    learned: Learned | None = None
    if logs:
        own, learned = job_of_technician(read.job, logs, who)
    # What was ticked under an earlier text of the plan is no longer in it.
    done = tuple(name for name in standing.done if name in own.names)
    wrong = {}
    for name, what, extra in standing.wrong:
        if name not in own.names or name in done:
            continue
        if extra:
            own = _with_trouble(own, name, what, extra)
        # A trouble the plan knows nothing of is kept as a tick and changes no minutes.
        if own.thing(name).troubles:
            wrong[name] = what
    for name, extra in standing.slower:
        if name in own.names:
            own = _slower(own, name, extra)
    return teardown_of(
        read,
        own,
        learned,
        repairs=target,
        aim=aim,
        done=done,
        refitted=tuple(name for name in standing.refitted if name in own.names),
        blocked=tuple(name for name in standing.stuck if name in own.names and name not in done),
        gone_wrong=wrong,
    )


def _with_trouble(job: WorkJob, name: str, what: str, extra: Sequence[float]) -> WorkJob:
    """The job with a trouble that was not foreseen on one of its things."""
    trouble = Trouble(what, 1.0, Minutes(*extra))
    things = [
        replace(thing, troubles=(*thing.troubles, trouble)) if thing.name == name else thing
        for thing in job.things
    ]
    return job.with_things(tuple(things))


def _slower(job: WorkJob, name: str, extra: Sequence[float]) -> WorkJob:
    """The job with a refit that takes longer."""
    thing = job.thing(name)
    refit = thing.refit
    low, likely, high = extra
    longer = Minutes(refit.low + low, refit.likely + likely, refit.high + high)
    things = list(job.things)
    things[job.names[name]] = replace(thing, refit=longer)
    return job.with_things(tuple(things))


def _quoted(titles: Sequence[str]) -> str:
    return ", ".join(f"\u201c{title}\u201d" for title in titles)


def read_plan(template: str, toml: str) -> ReadJob:
    """The teardown job behind a plan: its own text, or the template's.

    Raises
    ------
    InputError
        When there is no such template, or the text is off.
    """
    if not toml:
        return template_job(template)
    from beltside.casework.formats.toml_file import parse_toml

    return job_from(parse_toml(toml, Path("plan")), "plan", toml)


def logged_times(shop: Shop, technician: str, *, exclude: str = "") -> tuple[Logged, ...]:
    """Ticked minutes of the jobs changed last, of all technicians, against what was planned.

    Empty while `technician` has ticked no minutes.
    """
    rows: list[Logged] = []
    for job_id, change in _worked_on(shop):
        if job_id == exclude:
            continue
        key = (job_id, change)
        if key not in _LOGGED:
            if len(_LOGGED) > 20 * MOST_LOGGED_JOBS:
                _LOGGED.clear()
            _LOGGED[key] = _logged(shop.record.sheet(job_id))
        rows += _LOGGED[key]
    return tuple(rows) if any(row.technician == technician for row in rows) else ()


def _worked_on(shop: Shop) -> list[tuple[str, int]]:
    """Jobs changed last that work was begun on, with their counts of changes.

    Kept until anything is written on any job: every page of a job with a plan asks.
    """
    written = shop.record.last_written()
    kept = _WORKED_ON.get(shop.folder)
    if kept is not None and kept[0] == written:
        return kept[1]
    jobs = shop.record.jobs(stages=("work", "prove", "record", "closed"), limit=MOST_LOGGED_JOBS)
    found = [(job.id, job.change) for job in jobs]
    _WORKED_ON[shop.folder] = (written, found)
    return found


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
    for name, tick in ticks_of(job).items():
        phase, _, thing = name.partition(":")
        minutes, expected = tick.body.get("minutes"), planned.get((thing, phase), 0.0)
        if tick.body["state"] != "done" or not minutes or expected <= 0.0:
            continue
        if 1.0 / SLOWEST <= minutes / expected <= SLOWEST:
            found.append(Logged(tick.by, job.job.id, thing, phase, expected, float(minutes)))
    return found
