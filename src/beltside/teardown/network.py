"""The critical chain: which steps wait for which, and where there is no slack.

Critical path method (Kelley and Walker 1959, Proceedings of the Eastern Joint Computer Conference,
160-173): a forward pass gives the earliest starts, a backward pass the latest.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from beltside.base.errors import InputError


@dataclass(frozen=True)
class Timing:
    """When a step can start and end, in the unit of the durations given."""

    early_start: float
    early_finish: float
    late_start: float
    late_finish: float

    @property
    def slack(self) -> float:
        """How long the step may be put off without the whole taking longer."""
        return self.late_start - self.early_start


@dataclass(frozen=True)
class Network:
    """Timings of all steps, the length of the longest chain, and that chain in order."""

    timings: Mapping[str, Timing]
    length: float
    chain: tuple[str, ...]


def critical_chain(
    durations: Mapping[str, float], waits_for: Mapping[str, Sequence[str]]
) -> Network:
    """Earliest and latest times of every step, as if there were hands enough.

    Parameters
    ----------
    durations
        Duration of each step, >= 0.
    waits_for
        For each step those that must have ended before; none when left out.

    Raises
    ------
    InputError
        When a name is unknown, a duration negative, or steps wait for each other in a circle.
    """
    for step, duration in durations.items():
        if not duration >= 0.0:
            raise InputError(f"{step} takes {duration:g}", allowed="0 or more")
    for step, others in waits_for.items():
        for name in (step, *others):
            if name not in durations:
                raise InputError(f"{name} has no duration", allowed=", ".join(durations))
    order = in_order(list(durations), waits_for)
    finish: dict[str, float] = {}
    held_by: dict[str, str | None] = {}
    for step in order:
        before = waits_for.get(step, ())
        held_by[step] = max(before, key=lambda name: finish[name], default=None)
        held = held_by[step]
        finish[step] = (finish[held] if held is not None else 0.0) + durations[step]
    length = max(finish.values(), default=0.0)
    late = dict.fromkeys(durations, length)
    for step in reversed(order):
        for before in waits_for.get(step, ()):
            late[before] = min(late[before], late[step] - durations[step])
    timings = {
        step: Timing(
            finish[step] - durations[step], finish[step], late[step] - durations[step], late[step]
        )
        for step in durations
    }
    chain: list[str] = []
    last = next((step for step in reversed(order) if finish[step] >= length), None)
    while last is not None:
        chain.append(last)
        last = held_by[last]
    return Network(timings, length, tuple(reversed(chain)))


def in_order(steps: Sequence[str], waits_for: Mapping[str, Sequence[str]]) -> list[str]:
    """`steps` so that each comes after those it waits for, else as given.

    Raises
    ------
    InputError
        When they wait for each other in a circle; the circle is named.
    """
    order: list[str] = []
    state: dict[str, int] = {}
    for start in steps:
        path = [start]
        while path:
            step = path[-1]
            if state.get(step) == 2:
                path.pop()
                continue
            state[step] = 1
            for before in waits_for.get(step, ()):
                if state.get(before) == 1:
                    circle = [*path[path.index(before) :], before]
                    raise InputError(
                        "steps wait for each other in a circle: " + " waits for ".join(circle),
                        allowed="steps that can be put in an order",
                    )
                if before not in state:
                    path.append(before)
                    break
            else:
                state[step] = 2
                order.append(path.pop())
    return order
