"""The same problem as an integer program, for those that branching alone is slow on.

For each step a variable "is taken", for each row of a clause one "is relied on". A taken step
relies on one row of each clause, a row relied on has all its steps taken. What this leaves out,
that the steps can be put in an order, comes as cuts where a solution breaks it (`circle_cuts`,
`landmark_cuts`). Branch and cut: in each branch the linear relaxation gives the bound and the step
to branch on, and what follows from a branch is settled first (`bound.allowed`).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from beltside.teardown.bound import Clauses, allowed
from beltside.teardown.circle_cuts import Cut, Relied, circle_cuts
from beltside.teardown.landmark_cuts import Landmark, Landmarks
from beltside.teardown.probing import Probed, implications, probed
from beltside.teardown.problem import Problem, free_of_done, is_solution, members
from beltside.teardown.relaxation import Relaxation, Row

MOST_NODES: Final = 20_000
_ROOT_ROUNDS: Final = 12
_LEAST_GAIN: Final = 0.002
_TAKEN_ENOUGH: Final = 0.6
_SETS_EACH: Final = 12
_CUTS_A_ROUND: Final = 80
_WHOLE: Final = 1e-6
_ROUNDING: Final = 0.5
"""Costs are whole numbers: a branch whose bound is above the best less this can't hold a better."""


@dataclass(frozen=True)
class Solved:
    """`steps` is None without a solution (below what was asked for); `at_least` is the proved lower
    bound of the cost."""

    steps: int | None
    at_least: float
    proved: bool


def solve(
    problem: Problem, clauses: Clauses, inside: int, out: int, below: float = float("inf")
) -> Solved:
    """The cheapest solution with all of `inside` and none of `out`, among those below `below`.

    Parameters
    ----------
    problem
        The problem; its costs are whole numbers.
    clauses
        Its clauses, without rows that can be spared.
    inside, out
        Masks of the steps that are settled.
    below
        Only what costs less is looked for.
    """
    found = probed(problem, clauses, inside, out)
    if found is None:
        return Solved(None, float("inf"), True)
    return _BranchAndCut(problem, clauses, found, below).run()


class _BranchAndCut:
    def __init__(self, problem: Problem, clauses: Clauses, found: Probed, below: float) -> None:
        self.problem, self.clauses, self.found = problem, clauses, found
        self.best: int | None = None
        self.best_cost = below
        self.program = _Program(problem, clauses, found)
        self.steps = np.array(list(self.program.column), dtype=np.int64)
        self.columns = np.array(list(self.program.column.values()), dtype=np.int32)
        self.relaxation = Relaxation(self.program.costs())
        self.relaxation.add(self.program.rows)
        self.landmarks = Landmarks(problem, clauses, found.out)
        self.cuts: set[Cut] = set()
        self.known: set[Landmark] = set()

    def run(self) -> Solved:
        """The whole search."""
        lowest = self.root()
        if lowest is None:
            return Solved(None, float("inf"), True)
        stack = [(self.found.inside, self.found.out, lowest)]
        nodes = 0
        while stack:
            inside, out, bound = stack.pop()
            if self.hopeless(bound):
                continue
            if nodes == MOST_NODES:
                least = min([bound, *(one for _, _, one in stack)])
                return Solved(self.best, least, False)
            nodes += 1
            stack.extend(self.branch(inside, out))
        cost = float("inf") if self.best is None else self.best_cost
        return Solved(self.best, cost, True)

    def hopeless(self, bound: float) -> bool:
        """Whether nothing better than the best can have this bound."""
        return bound > self.best_cost - _ROUNDING

    def root(self) -> float | None:
        """The bound of everything, with cuts as long as they gain something."""
        bound = float("-inf")
        for number in range(_ROOT_ROUNDS):
            answer = self.least(self.found.inside, self.found.out)
            if answer is None:
                return None
            gain, bound = answer[0] - bound, answer[0]
            # Landmarks are dear to look for: first what the cheap cuts give.
            rounds_left = number < 4 or gain > _LEAST_GAIN * bound
            values = self.taken(answer[1])
            added = self.circles(answer[1])
            if rounds_left:
                added |= self.broken_landmarks(values, self.found.inside)
            if not added or not rounds_left:
                break
        return bound

    def least(self, inside: int, out: int) -> tuple[float, npt.NDArray[np.float64]] | None:
        """The relaxation of one branch."""
        low = np.array([float(inside >> step & 1) for step in self.steps.tolist()])
        high = np.array([1.0 - (out >> step & 1) for step in self.steps.tolist()])
        return self.relaxation.least(self.columns, low, high)

    def taken(self, values: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        """How much of each step of the problem is taken, shape (steps,)."""
        found = np.zeros(self.problem.size)
        found[self.steps] = np.clip(values[self.columns], 0.0, 1.0)
        return found

    def branch(self, inside: int, out: int) -> list[tuple[int, int, float]]:
        """What is left to look at of one branch, the most promising last."""
        while True:
            answer = self.least(inside, out)
            if answer is None or self.hopeless(answer[0]):
                return []
            bound, values = answer
            taken = self.taken(values)
            open_steps = np.flatnonzero((taken > _WHOLE) & (taken < 1.0 - _WHOLE))
            if open_steps.size:
                break
            steps = sum(1 << int(step) for step in np.flatnonzero(taken > 0.5))
            if is_solution(self.problem, steps):
                self.keep(steps)
                return []
            self.cut_whole(values, taken, steps)
        costs = np.array(self.problem.costs, dtype=np.float64)
        share = taken[open_steps]
        rank = (np.minimum(share, 1.0 - share) + 0.3 * share) * (
            costs[open_steps] + costs.mean() / 6.0
        )
        step = int(open_steps[np.argmax(rank)])
        found = []
        for more_in, more_out in ((0, 1 << step), (1 << step, 0)):
            state = allowed(self.problem, self.clauses, inside | more_in, out | more_out)
            if state is not None:
                found.append((*state, bound))
        return found if taken[step] > 0.4 else found[::-1]

    def keep(self, steps: int) -> None:
        """A solution, without the steps it can spare: what was branched on may not be needed."""
        spare = steps & ~self.problem.targets & ~self.problem.done
        for step in sorted(members(spare), key=lambda s: -self.problem.costs[s]):
            if is_solution(self.problem, steps & ~(1 << step)):
                steps &= ~(1 << step)
        self.best, self.best_cost = steps, self.problem.cost(steps)

    def cut_whole(
        self, values: npt.NDArray[np.float64], taken: npt.NDArray[np.float64], steps: int
    ) -> None:
        """Cuts off whole values whose steps can't be put in an order."""
        if self.circles(np.round(values)):
            return
        if self.broken_landmarks(np.round(taken), steps):
            return
        # Neither of them, for a reason of rounding: then exactly these steps are none.
        column = self.program.column
        signs = {column[step]: -1.0 if steps >> step & 1 else 1.0 for step in column}
        low = 1.0 - sum(sign < 0.0 for sign in signs.values())
        self.relaxation.add([Row(tuple(signs.items()), low, float("inf"))])

    def circles(self, values: npt.NDArray[np.float64]) -> bool:
        """Adds the cuts of circles that `values` breaks; whether there were any new ones."""
        fresh = {
            cut
            for pairs in self.program.pairs
            for cut in circle_cuts(values, self.program.column, pairs)
        } - self.cuts
        self.cuts |= fresh
        ordered = sorted(fresh, key=lambda cut: (cut.terms, cut.low))
        self.relaxation.add([Row(cut.terms, cut.low, float("inf")) for cut in ordered])
        return bool(fresh)

    def broken_landmarks(self, taken: npt.NDArray[np.float64], inside: int) -> bool:
        """Adds the landmarks that `taken` breaks; whether there were any new ones."""
        sure = inside & ~self.problem.done
        wanted = [(step, 1.0) for step in members(sure)]
        wanted += [
            (step, float(taken[step]))
            for step in self.program.column
            if taken[step] > _TAKEN_ENOUGH and not inside >> step & 1
        ]
        fresh = [
            one for one in self.landmarks.broken(taken, wanted, _SETS_EACH) if one not in self.known
        ][:_CUTS_A_ROUND]
        self.known.update(fresh)
        self.relaxation.add([self.program.landmark_row(one) for one in fresh])
        return bool(fresh)


class _Program:
    """The variables and rows of the program; `column` has the variable of each step."""

    def __init__(self, problem: Problem, clauses: Clauses, found: Probed) -> None:
        self.problem = problem
        self.inside = found.inside
        self.rows: list[Row] = []
        steps = [step for step in range(problem.size) if not found.out >> step & 1]
        self.column = {step: place for place, step in enumerate(steps)}
        self.count = len(steps)
        self.pairs: list[dict[tuple[int, int], list[Relied | None]]] = []
        refit = free_of_done(problem)
        for direction, waits in enumerate(problem.waits):
            own_clauses = clauses if direction == 0 else refit
            done = problem.done if direction == 0 else 0
            group = _circles(_ahead(steps, own_clauses, waits, done))
            if direction and len(set(group.values())) == len(group):
                # Without circles the rows relied on in taking apart will do for refitting as well.
                for step in steps:
                    if waits[step] >> step & 1:
                        self.add([(self.column[step], 1.0)], -np.inf, 0.0)
                continue
            # A step may rest on one row in taking apart and on another in refitting.
            self._direction(steps, own_clauses, waits, done, group)
        for step, other in implications(found):
            self.add([(self.column[step], 1.0), (self.column[other], -1.0)], -np.inf, 0.0)

    def add(self, terms: list[tuple[int, float]], low: float, high: float) -> None:
        """One more row."""
        self.rows.append(Row(tuple(terms), low, high))

    def costs(self) -> npt.NDArray[np.float64]:
        """Cost of each variable, shape (variables,)."""
        found = np.zeros(self.count)
        for step, place in self.column.items():
            if not self.problem.done >> step & 1:
                found[place] = self.problem.costs[step]
        return found

    def landmark_row(self, landmark: Landmark) -> Row:
        """The row that says: if the wanted step is taken, so is one of the set."""
        cut, wanted = landmark
        size = self.problem.size
        terms: dict[int, float] = {}
        low = 0.0
        for step in cut:
            left_out = step >= size
            place = self.column[step - size if left_out else step]
            terms[place] = terms.get(place, 0.0) + (-1.0 if left_out else 1.0)
            low -= left_out
        if self.inside >> wanted & 1:
            low += 1.0
        else:
            place = self.column[wanted]
            terms[place] = terms.get(place, 0.0) - 1.0
        return Row(tuple(sorted(terms.items())), low, float("inf"))

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
                    self.add([(column[step], 1.0)], -np.inf, 0.0)
                elif group[other] == group[step]:
                    pairs.setdefault((step, other), []).append(None)
            for own in clauses[step]:
                living = [row for row in own if not row & ~alive and not row >> step & 1]
                relied = tuple((self.count + place, row) for place, row in enumerate(living))
                self.count += len(relied)
                one_each = [(variable, 1.0) for variable, _ in relied]
                self.add([*one_each, (column[step], -1.0)], 0.0, 0.0)
                named = 0
                for row in living:
                    named |= row
                for other in members(named):
                    with_it = [(variable, 1.0) for variable, row in relied if row >> other & 1]
                    self.add([*with_it, (column[other], -1.0)], -np.inf, 0.0)
                    if group[other] == group[step] and not done >> other & 1:
                        pairs.setdefault((step, other), []).append(relied)
        self.pairs.append(pairs)


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
