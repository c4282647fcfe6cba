"""Cuts for steps that rest on each other in a circle, found one by one where they are needed.

Among the steps of a circle that are taken, the first one in the order rests on nothing in the
circle: the clause by which it stands in the circle is met by a row outside the circle, or the step
it waits for there is not taken. So for a circle U, with c(u) the clause and w(u) the step waited
for by which u stands in it, and for any step h of U,

    sum over u of (rows relied on of c(u) without steps of U) + sum over u of (1 - taken w(u))
        >= taken h, or >= 1 when some step stands in the circle by waiting.

Circles that break this are short paths when each pair of steps is as long as its part of the sum
(loop formulas: Lin and Zhao 2004, Artificial Intelligence 157, 115-137; separation by shortest
paths: Groetschel, Juenger and Reinelt 1985, Mathematical Programming 33, 28-42; both from memory).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.sparse import csr_array
from scipy.sparse.csgraph import dijkstra

Relied = tuple[tuple[int, int], ...]
"""The rows of one clause: variable and mask of each."""

_EACH_PAIR = 1e-3
"""Added to the length of each pair, so that of equal circles the shorter one is taken."""

_LEAST_BREACH = 0.05


@dataclass(frozen=True)
class Cut:
    """Sum of factor x variable >= low, for the pairs (variable, factor) of `terms`."""

    terms: tuple[tuple[int, float], ...]
    low: float


def circle_cuts(
    values: npt.NDArray[np.float64],
    column: dict[int, int],
    pairs: Mapping[tuple[int, int], Sequence[Relied | None]],
) -> list[Cut]:
    """Cuts that `values` breaks; none when the values, if whole, put the steps in an order.

    Parameters
    ----------
    values
        Shape (variables,), each from 0 to 1: a solution of the program so far.
    column
        The variable of each step.
    pairs
        For each pair "the first step may have to come after the second" why: the rows of a clause,
        or None for waiting. Both are steps of `column` and differ.
    """
    if not pairs:
        return []
    shortest: dict[tuple[int, int], tuple[float, Relied | None]] = {}
    for (step, other), reasons in pairs.items():
        lengths = [_length(values, column, other, reason) for reason in reasons]
        least = min(range(len(lengths)), key=lengths.__getitem__)
        shortest[step, other] = (max(lengths[least], 0.0), reasons[least])
    number = {step: place for place, step in enumerate(column)}
    steps = list(column)
    ends = np.array([[number[step], number[other]] for step, other in shortest])
    length = np.array([length + _EACH_PAIR for length, _ in shortest.values()])
    graph = csr_array((length, (ends[:, 0], ends[:, 1])), shape=(len(steps), len(steps)))
    distance, previous = dijkstra(graph, return_predecessors=True)
    round_trip = length + distance[ends[:, 1], ends[:, 0]]
    cuts = []
    used: set[int] = set()
    for place in np.argsort(round_trip, kind="stable"):
        if round_trip[place] >= 1.0:
            break
        start, end = int(ends[place, 0]), int(ends[place, 1])
        if start in used:
            continue
        circle = [start]
        while circle[-1] != end:
            circle.append(int(previous[end, circle[-1]]))
        circle.reverse()
        cut = _cut(values, column, [steps[one] for one in circle], shortest)
        if sum(factor * values[one] for one, factor in cut.terms) < cut.low - _LEAST_BREACH:
            cuts.append(cut)
            used.update(circle)
    return cuts


def _length(
    values: npt.NDArray[np.float64], column: dict[int, int], other: int, reason: Relied | None
) -> float:
    if reason is None:
        return 1.0 - float(values[column[other]])
    return sum(float(values[variable]) for variable, row in reason if not row >> other & 1)


def _cut(
    values: npt.NDArray[np.float64],
    column: dict[int, int],
    circle: list[int],
    shortest: dict[tuple[int, int], tuple[float, Relied | None]],
) -> Cut:
    """The cut of one circle: each step comes after the next one, the last after the first."""
    inside = sum(1 << step for step in circle)
    terms: dict[int, float] = {}
    low, waiting = 0.0, False
    for step, other in zip(circle, [*circle[1:], circle[0]], strict=True):
        reason = shortest[step, other][1]
        if reason is None:
            waiting = True
            low -= 1.0
            terms[column[other]] = terms.get(column[other], 0.0) - 1.0
            continue
        for variable, row in reason:
            if not row & inside:
                terms[variable] = terms.get(variable, 0.0) + 1.0
    if waiting:
        low += 1.0
    else:
        head = max((column[step] for step in circle), key=values.__getitem__)
        terms[head] = terms.get(head, 0.0) - 1.0
    return Cut(tuple(sorted(terms.items())), low)
