"""What the pages of a plan show of a step: its words, what it waits for, its clock."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from beltside.casework.shop_teardown import JobPlan, StepNow
from beltside.web.texts import text_

STATE_WORDS: Final[Mapping[str, str]] = {
    "open": text_("open"),
    "started": text_("clock runs"),
    "stopped": text_("begun"),
    "done": text_("done"),
    "went wrong": text_("fights back"),
    "stuck": text_("can't come off"),
}


@dataclass(frozen=True)
class Waited:
    """A step that another waits for."""

    number: int
    title: str
    done: bool


@dataclass(frozen=True)
class StepShown:
    """A step on a page.

    Attributes
    ----------
    now
        The step with its tick.
    waits, open_waits
        What it waits for; and those of it that are still open.
    frees
        Numbers and words of the steps that wait for it.
    since
        When its clock was started, as hours and minutes here; "" while it stands still.
    """

    now: StepNow
    waits: Sequence[Waited]
    open_waits: Sequence[Waited]
    frees: Sequence[Waited]
    since: str


def steps_shown(plan: JobPlan) -> list[StepShown]:
    """All steps of a plan, those done first."""
    by_id = {one.step.id: one for one in plan.steps}
    frees: dict[str, list[Waited]] = {}
    for one in plan.steps:
        for other in one.step.waits_for:
            frees.setdefault(other, []).append(_waited(one))
    shown = []
    for one in plan.steps:
        waits = [_waited(by_id[name]) for name in one.step.waits_for if name in by_id]
        shown.append(
            StepShown(
                one,
                waits,
                [other for other in waits if not other.done],
                frees.get(one.step.id, []),
                hours(one.running_since),
            )
        )
    return shown


def _waited(one: StepNow) -> Waited:
    return Waited(one.number, one.step.title, one.state == "done")


def at_hand(steps: Sequence[StepShown], wanted: str = "") -> StepShown | None:
    """The step to show large: the one asked for, the one whose clock runs, or the next."""
    left = [one for one in steps if one.now.state != "done"]
    for one in steps:
        if one.now.step.id == wanted:
            return one
    running = [one for one in left if one.now.running_since]
    first = running or left
    return first[0] if first else None


def hours(moment: str) -> str:
    """A moment as hours and minutes on this computer's clock; "" for none.

    >>> hours("")
    ''
    """
    return datetime.fromisoformat(moment).astimezone().strftime("%H:%M") if moment else ""
