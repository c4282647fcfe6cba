"""The same problem as a mixed-integer linear program, for those that branching alone is slow on.

For each step a variable "is taken", for each row of a clause one "is relied on". A taken step
relies on one row of each clause, a row relied on has all its steps taken. Where steps could rest on
each other in a circle, the circles that do come up are cut off (`circle_cuts`), first in the linear
relaxation, then in the whole-number solutions until one can be put in an order. Solved by HiGHS
(Huangfu and Hall 2018, Mathematical Programming Computation 10, 119-142) as it comes with scipy.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
from scipy.optimize import Bounds, LinearConstraint, OptimizeResult, milp
from scipy.sparse import csr_array

from beltside.teardown.bound import Clauses
from beltside.teardown.circle_cuts import Cut, Relied, circle_cuts
from beltside.teardown.probing import implications, probed
from beltside.teardown.problem import Problem, free_of_done, is_solution, members

MOST_NODES = 200_000
MOST_LINEAR_ROUNDS = 30
MOST_WHOLE_ROUNDS = 200
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

    def add(self, terms: Sequence[tuple[int, float]], low: float, high: float) -> None:
        """One more row."""
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
    found = probed(problem, clauses, inside, out)
    if found is None:
        return Solved(None, float("inf"), True)
    program = _Program(problem, clauses, found.inside, found.out)
    for step, other in implications(found):
        program.rows.add([(program.column[step], 1.0), (program.column[other], -1.0)], -np.inf, 0.0)
    for _ in range(MOST_LINEAR_ROUNDS):
        answer = program.solved(whole=False)
        if answer.status == _INFEASIBLE:
            return Solved(None, float("inf"), True)
        if answer.x is None or not program.cut_off(answer.x):
            break
    at_least = 0.0
    for _ in range(MOST_WHOLE_ROUNDS):
        answer = program.solved(whole=True)
        if answer.status == _INFEASIBLE:
            return Solved(None, float("inf"), True)
        # Each round has all rows of the one before, so its bound holds for the full problem too.
        at_least = max(at_least, float(getattr(answer, "mip_dual_bound", None) or 0.0))
        if answer.x is None:
            break
        values = np.round(answer.x)
        taken = sum(1 << step for step, one in program.column.items() if values[one])
        if is_solution(problem, taken):
            return Solved(taken, at_least, answer.status == 0)
        if not program.cut_off(values):
            break
    return Solved(None, at_least, False)


class _Program:
    """The variables and rows of the program; `column` has the variable of each step."""

    def __init__(self, problem: Problem, clauses: Clauses, inside: int, out: int) -> None:
        self.rows = _Rows()
        steps = [step for step in range(problem.size) if not out >> step & 1]
        self.column = {step: place for place, step in enumerate(steps)}
        self.count = len(steps)
        self.pairs: list[dict[tuple[int, int], list[Relied | None]]] = []
        self.cuts: set[Cut] = set()
        refit = free_of_done(problem)
        for direction, waits in enumerate(problem.waits):
            own_clauses = clauses if direction == 0 else refit
            done = problem.done if direction == 0 else 0
            group = _circles(_ahead(steps, own_clauses, waits, done))
            if direction and len(set(group.values())) == len(group):
                # Without circles the rows relied on in taking apart will do for refitting as well.
                selves = [step for step in steps if waits[step] >> step & 1]
                for step in selves:
                    self.rows.add([(self.column[step], 1.0)], -np.inf, 0.0)
                continue
            # A step may rest on one row in taking apart and on another in refitting.
            self._direction(steps, own_clauses, waits, done, group)
        self.low, self.high = np.zeros(self.count), np.ones(self.count)
        self.cost = np.zeros(self.count)
        for step in steps:
            if inside >> step & 1:
                self.low[self.column[step]] = 1.0
            if not problem.done >> step & 1:
                self.cost[self.column[step]] = problem.costs[step]

    def _direction(
        self,
        steps: list[int],
        clauses: Clauses,
        waits: tuple[int, ...],
        done: int,
        group: dict[int, int],
    ) -> None:
        """Variables and rows of one direction of work, and the pairs circles can be made of."""
        column = self.column
        alive = sum(1 << step for step in steps)
        pairs: dict[tuple[int, int], list[Relied | None]] = {}
        for step in steps:
            if done >> step & 1:
                continue
            for other in members(waits[step] & alive & ~done):
                if other == step:
                    self.rows.add([(column[step], 1.0)], -np.inf, 0.0)
                elif group[other] == group[step]:
                    pairs.setdefault((step, other), []).append(None)
            for own in clauses[step]:
                living = [row for row in own if not row & ~alive and not row >> step & 1]
                relied = tuple((self.count + place, row) for place, row in enumerate(living))
                self.count += len(relied)
                one_each = [(variable, 1.0) for variable, _ in relied]
                self.rows.add([*one_each, (column[step], -1.0)], 0.0, 0.0)
                named = 0
                for row in living:
                    named |= row
                for other in members(named):
                    with_it = [(variable, 1.0) for variable, row in relied if row >> other & 1]
                    self.rows.add([*with_it, (column[other], -1.0)], -np.inf, 0.0)
                    if group[other] == group[step] and not done >> other & 1:
                        pairs.setdefault((step, other), []).append(relied)
        self.pairs.append(pairs)

    def solved(self, *, whole: bool) -> OptimizeResult:
        """The answer of HiGHS to the program so far, or to its linear relaxation."""
        rows = self.rows
        matrix = csr_array(
            (rows.factor, (rows.row, rows.column)), shape=(len(rows.low), self.count)
        )
        return milp(
            self.cost,
            constraints=LinearConstraint(matrix, rows.low, rows.high) if rows.low else None,
            integrality=np.full(self.count, int(whole)),
            bounds=Bounds(self.low, self.high),
            options={"mip_rel_gap": 0.0, "node_limit": MOST_NODES},
        )

    def cut_off(self, values: npt.NDArray[np.float64]) -> bool:
        """Adds the cuts that `values` breaks; whether there were any new ones."""
        before = len(self.cuts)
        for pairs in self.pairs:
            for cut in circle_cuts(values, self.column, pairs):
                if cut not in self.cuts:
                    self.cuts.add(cut)
                    self.rows.add(cut.terms, cut.low, np.inf)
        return len(self.cuts) > before


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
