"""`bolts hold` and `bolts stuck`: holding a pulley, and fasteners that will not move."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, Final

from beltside.base.provenance import Provenance
from beltside.bolting.counter_hold import TASKS, Hold, counter_hold
from beltside.bolting.stripping import part_material
from beltside.bolting.stuck import EYES, SOURCE, Minutes, stuck_plan
from beltside.casework.bolts_answer import (
    MAKER_STANDS_ABOVE,
    BoltsAnswer,
    Group,
    HoldPicture,
)

_SIZES: Final = (
    ("10 mm", "pump and pump pulley bolts (M6)"),
    ("12 mm", "adjuster bolt"),
    ("14 mm", "pivot bolt"),
)
"""Common practice, no source: every car is its own."""


def hold(
    task: str | None = None,
    *,
    thread_hand: str = "right",
    facing: str = "you",
    bolts: int = 4,
) -> BoltsAnswer:
    """Which side the bar goes, for loosening, tightening or (None) both.

    Raises
    ------
    InputError, OutOfRangeError
        As `counter_hold`.
    """
    tasks = TASKS if task is None else (task,)
    holds = [counter_hold(one, thread_hand, facing, bolts) for one in tasks]
    first = holds[0]
    groups = [
        Group(
            f"To {one.task}",
            (
                ("wrench turns", f"{one.wrench_turns} as you see it; the pulley wants to follow"),
                ("bar pushes", f"{one.bar_pushes}"),
                (
                    "bar lies",
                    f"across two other bolt heads, handle on the {one.bar_side} of the wrench: at "
                    "the head nearer your hand on the side that head wants to run to, at the "
                    "other head on the opposite side",
                ),
                ("hands", "squeeze wrench and bar together, or let the bar meet a solid stop"),
            ),
        )
        for one in holds
    ]
    groups.append(
        Group(
            "Good to know",
            (
                ("belt", "loosen the pulley's bolts while the belt is still on and tight"),
                *((size, f"{what} as a rule; measure") for size, what in _SIZES),
            ),
        )
    )
    return BoltsAnswer(
        answer=f"To {first.task} a {thread_hand}-hand bolt {_seen(facing)}: wrench "
        f"{first.wrench_turns}, bar on its {first.bar_side}, pushed {first.bar_pushes}.",
        groups=tuple(groups),
        data={"holds": [_hold_json(one) for one in holds]},
        provenance=Provenance(
            method="bolt-hold",
            version=1,
            inputs={
                "task": task,
                "thread_hand": thread_hand,
                "facing": facing,
                "bolts": bolts,
            },
            valid_range="pulleys with 3 to 8 bolts on a circle",
            source="lever law; that the bar goes where loosening binds: common practice, no source",
        ),
        cautions=(
            MAKER_STANDS_ABOVE,
            "Engine off, key out. Bar on steel heads, never on fins, sensor rings or plastic.",
            "Pull, don't push; keep fingers out from between bar and wrench.",
        ),
        pictures={
            f"hold-{one.task}": HoldPicture(f"To {one.task}: {one.wrench_turns}", one)
            for one in holds
        },
    )


def _seen(facing: str) -> str:
    return "with its head facing you" if facing == "you" else "seen from behind the pulley"


def _hold_json(one: Hold) -> dict[str, Any]:
    return {
        "task": one.task,
        "thread_hand": one.thread_hand,
        "facing": one.facing,
        "wrench_turns": one.wrench_turns,
        "bar_pushes": one.bar_pushes,
        "bar_side": one.bar_side,
    }


def stuck(state: str, *, near: Iterable[str] = (), into: str | None = None) -> BoltsAnswer:
    """What to try on a seized, rounded or snapped fastener, and the minutes for the plan.

    Raises
    ------
    InputError
        For an unknown word.
    """
    material = None if into is None else part_material(into)
    plan = stuck_plan(
        state.strip().lower(),
        [word.strip().lower() for word in near],
        aluminium=material is not None and material.name == "cast-aluminium",
    )
    steps = [
        (
            f"{number}. {step.name}",
            f"{step.do} {_minutes(step.minutes)}."
            + (f" Go on when {step.stop_when}." if step.stop_when else "")
            + "".join(f" {caution}" for caution in step.cautions if caution != EYES),
        )
        for number, step in enumerate(plan.steps, start=1)
    ]
    groups = [Group("Try in this order", tuple(steps))]
    if plan.left_out:
        groups.append(Group("Not here", plan.left_out))
    groups.append(Group("Once it is out", tuple(("", text) for text in plan.afterwards)))
    total = plan.minutes
    return BoltsAnswer(
        answer=f"{plan.state.capitalize()}: plan {total.expected:.0f} minutes, {total.low:g} if "
        f"an early step frees it, up to {total.high:g}.",
        groups=tuple(groups),
        data={
            "state": plan.state,
            "steps": [
                {
                    "name": step.name,
                    "do": step.do,
                    "stop_when": step.stop_when,
                    "minutes": _minutes_json(step.minutes),
                    "cautions": list(step.cautions),
                    "heat": step.heat,
                }
                for step in plan.steps
            ],
            "left_out": [{"name": name, "why": why} for name, why in plan.left_out],
            "afterwards": list(plan.afterwards),
            "minutes": _minutes_json(total),
        },
        provenance=Provenance(
            method="bolt-stuck",
            version=1,
            inputs={"state": plan.state, "into": None if material is None else material.name},
            valid_range="steel fasteners up to M12",
            source=SOURCE,
        ),
        cautions=(*plan.cautions, MAKER_STANDS_ABOVE),
    )


def _minutes(one: Minutes) -> str:
    return f"{one.low:g} to {one.high:g} minutes"


def _minutes_json(one: Minutes) -> dict[str, float]:
    return {
        "low": one.low,
        "likely": one.likely,
        "high": one.high,
        "expected": round(one.expected, 1),
    }
