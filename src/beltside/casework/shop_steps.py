"""Ticks on the steps of a plan: clock started and stopped, done, gone wrong, stuck, taken back."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any, Final

from beltside.base.errors import InputError, nearest
from beltside.casework.shop import Shop, checked, sheet_of, write
from beltside.casework.shop_teardown import (
    JobPlan,
    Made,
    clock_minutes,
    plan_of,
    planned_from,
    standing_of,
    ticks_of,
)
from beltside.casework.teardown_results import StepView
from beltside.jobs.entries import Entry, JobSheet
from beltside.teardown.times import Minutes

_IN_TROUBLE: Final = ("went wrong", "stuck")


def tick_step(
    shop: Shop,
    job_id: str,
    step: str,
    *,
    state: str = "done",
    minutes: float | None = None,
    says: str = "",
    note: str = "",
    extra_min: Sequence[float] = (),
    at: datetime | None = None,
    entry_id: str | None = None,
) -> Entry:
    """Tick a step of the plan.

    Parameters
    ----------
    step
        The step's name in the plan ("apart:belt"), or the thing of the next step ("belt").
    state
        "started" starts its clock and stops that of any other step: there is one pair of hands.
        "stopped" stops it. "done" stops it and ends the step. "went wrong" lets the clock run;
        "stuck" (can't come off) stops it. Both have the rest planned anew.
    minutes
        What it took; what the clock counted, without.
    says
        For a step that went wrong, which of its troubles it was; the first without.
    extra_min
        For a trouble the plan does not know: minutes more, low, likely, high.
    at
        The moment of it; now, without.

    Raises
    ------
    InputError
        When the plan has no such step or trouble; names the nearest. When there is no way round a
        stuck step.
    FieldProblemsError
        When a field is off.
    """
    job = sheet_of(shop, job_id)
    plan = plan_of(shop, job)
    view = step_of(plan, step)
    ticks = ticks_of(job)
    there = ticks.get(view.id)
    moment = (at or datetime.now(UTC)).isoformat(timespec="seconds")
    body = checked(
        "step-tick",
        {
            **_clock(there.body if there is not None else {}, state, moment),
            "step": view.id,
            "state": state,
            "minutes": minutes,
            "says": says or ("" if state in _IN_TROUBLE else view.title),
            "note": note,
            "extra_min": list(extra_min),
        },
    )
    if there is not None:
        body = _after(there.body, body, view.title)
    if state == "done" and body["minutes"] is None:
        body["minutes"] = clock_minutes(body["started"], body["stopped"])
    if state in _IN_TROUBLE:
        if extra_min:
            Minutes(*_three(extra_min))
        _try_it(job, ticks, view, body)
    if state == "started":
        _stop_others(shop, ticks, view.id, moment)
    if there is not None and there.id != entry_id:
        return shop.record.change(there.id, body, by=shop.by, based_on=there.version).entry
    return write(shop, job.job.id, "step-tick", body, entry_id=entry_id)


def _three(extra_min: Sequence[float]) -> Sequence[float]:
    if len(extra_min) != 3:
        raise InputError(
            f"{len(extra_min)} figures for the minutes more", allowed="low, likely and high"
        )
    return extra_min


def _clock(before: Mapping[str, Any], state: str, moment: str) -> dict[str, list[str]]:
    """When the clock was started and stopped, with this tick."""
    started, stopped = list(before.get("started") or []), list(before.get("stopped") or [])
    runs = len(started) > len(stopped)
    if state == "started" and not runs:
        started.append(moment)
    elif state in ("stopped", "done", "stuck") and runs:
        stopped.append(moment)
    return {"started": started, "stopped": stopped}


def _after(before: Mapping[str, Any], body: dict[str, Any], title: str) -> dict[str, Any]:
    """The tick with what the one before it said: a trouble lasts until the step is done."""
    trouble = str(before.get("says") or "") if before["state"] in _IN_TROUBLE else ""
    if body["state"] in ("started", "stopped") and before["state"] in _IN_TROUBLE:
        kept = {name: before.get(name) for name in ("state", "says", "extra_min")}
        body = {**body, **{name: one for name, one in kept.items() if one is not None}}
    said = [str(before.get("note") or "")]
    if body["state"] == "done" and trouble and trouble != title:
        said.append(trouble)
    said.append(str(body["note"]))
    # A note sent a second time, as by a form sent twice, stands once.
    body["note"] = "\n".join(dict.fromkeys(line for one in said for line in one.splitlines()))
    return body


def _try_it(
    job: JobSheet, ticks: Mapping[str, Entry], view: StepView, body: Mapping[str, Any]
) -> None:
    """Refuse a trouble that the step does not have, or a step there is no way round."""
    entry = job.newest("plan")
    assert entry is not None
    plan = entry.body
    made: Made = (
        str(plan["template"]),
        str(plan["toml"]),
        tuple(plan["target"]),
        str(plan["aim"]),
    )
    phase, _, thing = view.id.partition(":")
    others = {name: tick for name, tick in ticks.items() if name != view.id}
    now = standing_of(others)
    if body["state"] == "stuck":
        if phase != "apart":
            raise InputError(
                f"\u201c{view.title}\u201d is a step of refitting",
                allowed="a step of taking apart, for finding a way round it",
                instead="saying what fights back and how many minutes more it takes",
            )
        try:
            planned_from(made, replace(now, stuck=(*now.stuck, thing)))
        except InputError:
            raise InputError(
                f"There is no way round \u201c{view.title}\u201d in this plan",
                instead="saying what fights back and how many minutes more it takes, or bending "
                "the plan so that there is another way",
            ) from None
        return
    extra = tuple(float(one) for one in body["extra_min"])
    if phase == "apart":
        planned_from(made, replace(now, wrong=(*now.wrong, (thing, str(body["says"]), extra))))


def _stop_others(shop: Shop, ticks: Mapping[str, Entry], step: str, moment: str) -> None:
    for name, tick in ticks.items():
        body = tick.body
        started, stopped = body.get("started") or [], body.get("stopped") or []
        if name == step or len(started) <= len(stopped):
            continue
        state = "stopped" if body["state"] == "started" else body["state"]
        changed = {**body, "stopped": [*stopped, moment], "state": state}
        shop.record.change(tick.id, changed, by=shop.by, based_on=tick.version)


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
    ticks = ticks_of(sheet_of(shop, job_id))
    wanted = [name for name in ticks if step in (name, name.partition(":")[2], ticks[name].id)]
    if not wanted:
        raise InputError(f'"{step}" is not ticked', allowed=", ".join(ticks) or "a ticked step")
    return shop.record.remove(ticks[wanted[-1]].id, by=shop.by)


def open_step(shop: Shop, job_id: str, step: str) -> Entry:
    """Make a step that was done open again, its clock as it stood: it was ticked by mistake.

    Raises
    ------
    InputError
        When the step is not ticked.
    """
    ticks = ticks_of(sheet_of(shop, job_id))
    tick = ticks.get(step)
    if tick is None or not tick.body.get("started"):
        return untick_step(shop, job_id, step)
    body = {**tick.body, "state": "stopped", "minutes": None}
    return shop.record.change(tick.id, body, by=shop.by, based_on=tick.version).entry
