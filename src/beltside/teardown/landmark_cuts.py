"""Cuts from sets of steps of which every plan holds one.

Walk back from a step that is wanted: at each step take one of its clauses, of each row of the
clause one step, until every walk ends in a step that counts for something. A plan that has the
wanted step holds one of those it ended in, so the values of these sum up to at least that of the
wanted one. In a linear relaxation they may sum up to less, because steps that rest on each other in
circles, or one step under many rows, are counted more often than they are taken.

A wait "this one after that one, if that one is taken at all" is a clause with two rows: that one,
or that one left out. What is left out counts for 1 - its value.

Which sets are tried: those of the dual ascent in `bound`, with the values for costs (Wong 1984;
Helmert and Domshlak 2009; from memory). Each set is correct however it was found.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
import numpy.typing as npt

from beltside.teardown.bound import Clauses, cut_before, far_heights
from beltside.teardown.problem import Problem, free_of_done, members, met

_UNIT: Final = 1000
_SURE: Final = 950
_LEAST_BREACH: Final = 0.02

Landmark = tuple[tuple[int, ...], int]
"""Steps (from the number of steps on: left out) of which one is in the plan, if the last one is."""


class Landmarks:
    """Looks for sets whose values sum up to too little.

    Parameters
    ----------
    problem, clauses
        The problem, and its clauses without rows that can be spared.
    out
        Mask of the steps that are out for certain.
    """

    def __init__(self, problem: Problem, clauses: Clauses, out: int) -> None:
        self._size = problem.size
        self._out = out
        self._systems: list[tuple[Clauses, int]] = []
        for direction, waits in enumerate(problem.waits):
            own = clauses if direction == 0 else free_of_done(problem)
            done = problem.done if direction == 0 else 0
            self._systems.append((self._with_waits(own, waits, done), done))

    def _with_waits(self, clauses: Clauses, waits: Sequence[int], done: int) -> Clauses:
        grown = []
        for step in range(self._size):
            own = []
            if not done >> step & 1:
                for rows in clauses[step]:
                    own.append(tuple(r for r in rows if not r & self._out and not r >> step & 1))
                for other in members(waits[step] & ~self._out & ~done & ~(1 << step)):
                    own.append((1 << other, 1 << self._size + other))
            grown.append(tuple(own))
        return (*grown, *((),) * self._size)

    def broken(
        self, values: npt.NDArray[np.float64], wanted: Sequence[tuple[int, float]], most_sets: int
    ) -> list[Landmark]:
        """Sets that these values break, the worst first.

        Parameters
        ----------
        values
            For each step how much of it is taken, 0 to 1, shape (steps,).
        wanted
            Steps with their values (1 for those that are in for certain).
        most_sets
            How many sets to look at for each wanted step and direction.
        """
        both = np.concatenate([values, 1.0 - values])
        whole = [round(_UNIT * float(value)) for value in both]
        if np.all((values == 0.0) | (values == 1.0)):
            # Of whole values: what is taken can be walked through, what is not is where walks end.
            # A step that can't be had with what is taken then has a set that is broken in full.
            costs = [0 if one == _UNIT else 1 for one in whole]
            most_sets = 1
        else:
            # What is as good as taken is walked through: a set that holds it is broken by nothing.
            costs = [0 if one > _SURE and k < self._size else one for k, one in enumerate(whole)]
        found: dict[Landmark, float] = {}
        for clauses, done in self._systems:
            height = far_heights(clauses, costs, self._out, done)
            for step, value in wanted:
                if done >> step & 1:
                    continue
                for cut in self._cuts(clauses, done, step, costs, height, most_sets):
                    short = value - float(both[list(cut)].sum())
                    if short > _LEAST_BREACH:
                        found[cut, step] = short
        return sorted(found, key=lambda one: -found[one])

    def _cuts(
        self,
        clauses: Clauses,
        done: int,
        wanted: int,
        costs: list[int],
        height: list[int],
        most_sets: int,
    ) -> list[tuple[int, ...]]:
        left = list(costs)
        left[wanted] = 0
        free = done
        pending = [s for s in range(2 * self._size) if not (free | self._out) >> s & 1]
        found = []
        for _ in range(most_sets):
            moved = True
            while moved:
                waiting = []
                for step in pending:
                    if not left[step] and met(clauses[step], free):
                        free |= 1 << step
                    else:
                        waiting.append(step)
                moved = len(waiting) < len(pending)
                pending = waiting
            if free >> wanted & 1:
                break
            cut = cut_before(clauses, 1 << wanted, free, self._out, left, height)
            found.append(tuple(sorted(cut)))
            if not cut:
                break
            pay = min(left[step] for step in cut)
            for step in cut:
                left[step] -= pay
        return found
