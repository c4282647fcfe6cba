"""The same problem as a mixed-integer linear program, for those that branching alone is slow on.

For each step a variable "is taken", for each row of a clause one "is relied on". A taken step
relies on a row of each clause, a row relied on has all its steps taken. Where steps could rest on
each other in a circle, each has a place in the order (Miller, Tucker and Zemlin 1960, Journal of
the ACM 7, 326-329). Solved by HiGHS (Huangfu and Hall 2018, Mathematical Programming Computation
10, 119-142) as it comes with scipy.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csr_array

from beltside.teardown.bound import Clauses
from beltside.teardown.problem import Problem, free_of_done, members

MOST_NODES = 200_000
_INFEASIBLE = 2


@dataclass(frozen=True)
class Solved:
    """`steps` is None without a solution; `at_least` is the proved lower bound of the cost."""

    steps: int | None
    at_least: float
    proved: bool


@dataclass
class _Rows:
    """Rows of the constraint matrix: low <= sum of factor x variable <= high."""

    row: list[int] = field(default_factory=list)
    column: list[int] = field(default_factory=list)
    factor: list[float] = field(default_factory=list)
    low: list[float] = field(default_factory=list)
    high: list[float] = field(default_factory=list)

    def add(self, terms: list[tuple[int, float]], low: float, high: float) -> None:
        for column, factor in terms:
            self.row.append(len(self.low))
            self.column.append(column)
            self.factor.append(factor)
        self.low.append(low)
        self.high.append(high)


def solve(problem: Problem, clauses: Clauses, inside: int, out: int) -> Solved:
    """The cheapest solution with all of `inside` and none of `out`.

    Parameters
    ----------
    problem
        The problem; its costs are whole numbers.
    clauses
        Its clauses, without rows that can be spared.
    inside, out
        Masks of the steps that are settled.
    """
    size = problem.size
    steps = [step for step in range(size) if not out >> step & 1]
    column = {step: place for place, step in enumerate(steps)}
    rows = _Rows()
    count = len(steps)
    places: list[int] = []
    refit = free_of_done(problem)
    for direction, waits in enumerate(problem.waits):
        own_clauses = clauses if direction == 0 else refit
        done = problem.done if direction == 0 else 0
        group = _circles(_ahead(steps, own_clauses, waits, done))
        if direction and len(set(group.values())) == len(group):
            # Without circles the rows relied on in taking apart will do for refitting as well.
            continue
        # A step may rest on one row in taking apart and on another in refitting.
        relied: list[tuple[int, int, int]] = []
        for step in steps:
            if done >> step & 1:
                continue
            for own in own_clauses[step]:
                variables = []
                for row in own:
                    if row & out:
                        continue
                    relied.append((step, row, count))
                    variables.append((count, 1.0))
                    for other in members(row):
                        rows.add([(count, 1.0), (column[other], -1.0)], -np.inf, 0.0)
                    count += 1
                rows.add([*variables, (column[step], -1.0)], 0.0, np.inf)
        first = count
        count = _places(rows, steps, column, relied, group, waits, done, count)
        places += range(first, count)
    low, high = np.zeros(count), np.ones(count)
    for step in members(inside):
        low[column[step]] = 1.0
    high[places] = size
    cost = np.zeros(count)
    for step in steps:
        if not problem.done >> step & 1:
            cost[column[step]] = problem.costs[step]
    integral = np.ones(count, dtype=np.int64)
    integral[places] = 0
    matrix = csr_array((rows.factor, (rows.row, rows.column)), shape=(len(rows.low), count))
    answer = milp(
        cost,
        constraints=LinearConstraint(matrix, rows.low, rows.high) if rows.low else None,
        integrality=integral,
        bounds=Bounds(low, high),
        options={"mip_rel_gap": 0.0, "node_limit": MOST_NODES},
    )
    if answer.status == _INFEASIBLE:
        return Solved(None, float("inf"), True)
    floor = getattr(answer, "mip_dual_bound", None)
    at_least = float(floor) if floor is not None else 0.0
    if answer.x is None:
        return Solved(None, at_least, False)
    taken = 0
    for step in steps:
        if answer.x[column[step]] > 0.5:
            taken |= 1 << step
    return Solved(taken, at_least, answer.status == 0)


def _places(
    rows: _Rows,
    steps: list[int],
    column: dict[int, int],
    relied: list[tuple[int, int, int]],
    group: dict[int, int],
    waits: tuple[int, ...],
    done: int,
    count: int,
) -> int:
    """Places in the order for steps that could stand in a circle; gives the new variable count."""
    alive = sum(1 << step for step in steps)
    place: dict[int, int] = {}
    sizes: dict[int, int] = {}
    for step in steps:
        sizes[group[step]] = sizes.get(group[step], 0) + 1
    for step in steps:
        if sizes[group[step]] > 1:
            place[step] = count
            count += 1
    for step, row, variable in relied:
        if step not in place:
            continue
        gap = float(sizes[group[step]])
        for other in members(row):
            if group[other] == group[step]:
                terms = [(place[step], 1.0), (place[other], -1.0), (variable, -gap)]
                rows.add(terms, 1.0 - gap, np.inf)
    for step in steps:
        if done >> step & 1:
            continue
        for other in members(waits[step] & alive & ~done):
            if group[other] != group[step]:
                continue
            if other == step:
                rows.add([(column[step], 1.0)], -np.inf, 0.0)
                continue
            gap = float(sizes[group[step]])
            terms = [(place[step], 1.0), (place[other], -1.0)]
            terms += [(column[step], -gap), (column[other], -gap)]
            rows.add(terms, 1.0 - 2.0 * gap, np.inf)
    return count


def _ahead(steps: list[int], clauses: Clauses, waits: tuple[int, ...], done: int) -> dict[int, int]:
    """For each step the mask of those that may have to come before it."""
    alive = sum(1 << step for step in steps)
    ahead = dict.fromkeys(steps, 0)
    for step in steps:
        if not done >> step & 1:
            ahead[step] = waits[step] & alive
            for own in clauses[step]:
                for row in own:
                    if not row & ~alive:
                        ahead[step] |= row
    return ahead


def _circles(ahead: dict[int, int]) -> dict[int, int]:
    """Which steps can reach each other: strongly connected components by number (Tarjan 1972)."""
    number: dict[int, int] = {}
    low: dict[int, int] = {}
    group: dict[int, int] = {}
    open_steps: list[int] = []
    for start in ahead:
        if start in number:
            continue
        work = [(start, members(ahead[start]))]
        number[start] = low[start] = len(number)
        open_steps.append(start)
        while work:
            step, others = work[-1]
            for other in others:
                if other not in number:
                    number[other] = low[other] = len(number)
                    open_steps.append(other)
                    work.append((other, members(ahead[other])))
                    break
                if other not in group:
                    low[step] = min(low[step], number[other])
            else:
                work.pop()
                if work:
                    low[work[-1][0]] = min(low[work[-1][0]], low[step])
                if low[step] == number[step]:
                    while True:
                        member = open_steps.pop()
                        group[member] = step
                        if member == step:
                            break
    return group
