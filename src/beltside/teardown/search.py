"""The cheapest solution of a `Problem`, proved: branch and bound on which steps are in.

Depth first; each branch carries on the bound of the branch above it, drops steps that would cost
too much by themselves, and turns what the bound has paid for into a plan. The search ends when no
branch can hold anything cheaper, so that the answer is the cheapest there is. Real jobs take a
handful of branches. When it takes more, what is left of the problem (steps that are in or out for
certain are settled by then) goes to a solver of mixed-integer programs.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from beltside.teardown.bound import Bound, Clauses, allowed, ascend, heights
from beltside.teardown.integer_program import solve
from beltside.teardown.problem import Problem, chained, is_solution, members, met

MOST_BRANCHES = 50
"""After so many branches the rest goes to the solver of mixed-integer programs."""

MOST_BRANCHES_BY_VALUE = 3_000
"""A search by value stops after so many branches, and says that nothing is proved."""


@dataclass(frozen=True)
class Found:
    """What a search found.

    Attributes
    ----------
    steps
        Mask of the steps; None when there is no solution (below the limit given).
    cost
        Their cost, in the unit of the problem; for a search by `value`, that value.
    at_least
        No solution costs less than this; equal to `cost` when proved.
    proved
        Whether the search went to its end.
    branches
        How many branches were looked at.
    """

    steps: int | None
    cost: float
    at_least: float
    proved: bool
    branches: int


def cheapest(
    problem: Problem,
    *,
    below: float = float("inf"),
    value: Callable[[int], float] | None = None,
    known: int | None = None,
    most_branches: int | None = None,
) -> Found:
    """The solution of least cost among those that cost less than `below`.

    With `value`, the solution of least value instead: a function of the mask of steps that does
    not fall when steps are added and is never less than their cost. `known` is a solution known
    beforehand.
    """
    if most_branches is None:
        most_branches = MOST_BRANCHES if value is None else MOST_BRANCHES_BY_VALUE
    return _Search(problem, below, value, known, most_branches).run()


def reduced(problem: Problem) -> Clauses:
    """The clauses without rows that hold another row of the same clause."""
    return tuple(
        tuple(
            tuple(
                row
                for place, row in enumerate(rows)
                if not any(
                    other & ~row == 0 and (other != row or earlier < place)
                    for earlier, other in enumerate(rows)
                    if earlier != place
                )
            )
            for rows in own
        )
        for own in problem.clauses
    )


class _Search:
    def __init__(
        self,
        problem: Problem,
        below: float,
        value: Callable[[int], float] | None,
        known: int | None,
        most_branches: int,
    ) -> None:
        self.problem = problem
        self.clauses = reduced(problem)
        self.value = value
        self.best: int | None = None
        self.best_cost = below
        self.branches = 0
        self.most_branches = most_branches
        self.needed = _relevant(self.clauses, problem.targets | problem.done)
        self.tried: set[int] = set()
        self.settled: tuple[int, int, Bound] | None = None
        if known is not None:
            self.offer(known)

    def run(self) -> Found:
        problem = self.problem
        unneeded = (1 << problem.size) - 1 & ~self.needed
        inside = problem.targets | problem.done
        state = allowed(problem, self.clauses, inside, (problem.out | unneeded) & ~problem.done)
        if state is None:
            return Found(self.best, self.best_cost, self.best_cost, True, 0)
        costs = [0 if problem.done >> step & 1 else cost for step, cost in enumerate(problem.costs)]
        # A stack of our own: deep branches must not run into Python's limit on nesting.
        stack = [(state[0], state[1], Bound(0, costs))]
        lowest_open = float("inf")
        while stack:
            if self.branches >= self.most_branches:
                if self.value is None:
                    return self.handed_over()
                lowest_open = min(bound.paid for _, _, bound in stack)
                break
            inside, out, bound = stack.pop()
            if bound.paid >= self.best_cost:
                continue
            self.branches += 1
            stack.extend(self.branch(inside, out, bound))
        proved = lowest_open >= self.best_cost or lowest_open == float("inf")
        return Found(
            self.best,
            self.best_cost,
            self.best_cost if proved else lowest_open,
            proved,
            self.branches,
        )

    def branch(self, inside: int, out: int, bound: Bound) -> list[tuple[int, int, Bound]]:
        """What is left to look at of one branch, the most promising last."""
        problem, clauses = self.problem, self.clauses
        while True:
            if self.leaf(inside):
                return []
            height = heights(problem, clauses, bound.left, out)
            free = ascend(bound, problem, clauses, inside, out, height)
            if free is None or bound.paid >= self.best_cost:
                return []
            plan = self.extract(inside, free)
            self.offer(plan)
            if bound.paid >= self.best_cost:
                return []
            # A step whose own remaining cost lifts the bound over the best can't be in.
            dear = 0
            for step in range(problem.size):
                if bound.paid + bound.left[step] >= self.best_cost:
                    dear |= 1 << step
            dear &= ~(out | inside)
            if not dear:
                break
            state = allowed(problem, clauses, inside, out | dear)
            if state is None:
                return []
            if state[0] == inside and state[1] == out | dear:
                out |= dear
                break
            inside, out = state
        if self.settled is None:
            self.settled = (inside, out, bound.copy())
        step = self.choose(inside, out, plan)
        if step < 0:
            return []
        rest = []
        for more_in, more_out in ((0, 1 << step), (1 << step, 0)):
            state = allowed(problem, clauses, inside | more_in, out | more_out)
            if state is not None:
                rest.append((*state, bound.copy()))
        return rest

    def handed_over(self) -> Found:
        """The answer of the solver of mixed-integer programs, from what the first look settled."""
        assert self.settled is not None
        inside, out, bound = self.settled
        for step in members(~(inside | out) & (1 << self.problem.size) - 1):
            if bound.paid + bound.left[step] >= self.best_cost:
                out |= 1 << step
        state = allowed(self.problem, self.clauses, inside, out)
        if state is None:
            return Found(self.best, self.best_cost, self.best_cost, True, self.branches)
        solved = solve(self.problem, self.clauses, *state, self.best_cost)
        if solved.steps is not None:
            self.offer(solved.steps)
        proved = solved.proved and (
            solved.steps is None or self.problem.cost(solved.steps) >= self.best_cost
        )
        at_least = self.best_cost if proved else min(solved.at_least, self.best_cost)
        return Found(self.best, self.best_cost, at_least, proved, self.branches)

    def leaf(self, inside: int) -> bool:
        """Whether the steps that are in are a solution already: nothing below is cheaper."""
        problem = self.problem
        done = chained(self.clauses, problem.waits[0], inside, problem.done, inside)
        if inside & ~done or not is_solution(problem, inside):
            return False
        self.offer(inside)
        return True

    def offer(self, steps: int) -> None:
        """Keep `steps` when it is a solution and better than the best one."""
        if steps in self.tried:
            return
        self.tried.add(steps)
        cost: float = self.problem.cost(steps)
        if cost >= self.best_cost or not is_solution(self.problem, steps):
            return
        if self.value is not None:
            cost = self.value(steps)
        if cost < self.best_cost:
            self.best, self.best_cost = steps, cost

    def extract(self, inside: int, free: int) -> int:
        """A lean set of steps within `free` that has all of `inside`."""
        clauses, costs = self.clauses, self.problem.costs
        # In the order in which they can be had, so that no row rests on what comes later.
        order: list[int] = []
        have = self.problem.done
        pending = list(members(free & ~have))
        while pending:
            waiting = []
            for step in pending:
                if met(clauses[step], have):
                    have |= 1 << step
                    order.append(step)
                else:
                    waiting.append(step)
            if len(waiting) == len(pending):
                break
            pending = waiting
        position = {step: place for place, step in enumerate(order)}
        before = {}
        have = self.problem.done
        for step in order:
            before[step] = have
            have |= 1 << step
        plan = inside | self.problem.done
        todo = sorted((position[s] for s in members(plan) if s in position), reverse=True)
        queue = [order[place] for place in todo]
        seen = set(queue)
        while queue:
            step = queue.pop(0)
            for rows in clauses[step]:
                ready = [row for row in rows if not row & ~before[step]]
                if any(not row & ~plan for row in ready):
                    continue
                row = min(ready, key=lambda row: sum(costs[s] for s in members(row & ~plan)))
                plan |= row
                for other in members(row):
                    if other in position and other not in seen:
                        seen.add(other)
                        queue.append(other)
        return self.pruned(plan, inside)

    def pruned(self, plan: int, inside: int) -> int:
        """`plan` without steps that can be spared, the dearest first."""
        clauses, waits, done = self.clauses, self.problem.waits[0], self.problem.done
        spare = plan & ~inside & ~done
        for step in sorted(members(spare), key=lambda s: -self.problem.costs[s]):
            fewer = plan & ~(1 << step)
            have = chained(clauses, waits, fewer, done, 0)
            if not inside & ~have:
                plan = have & fewer
        return plan

    def choose(self, inside: int, out: int, plan: int) -> int:
        """The step to branch on: the dearest open one of a clause that is not met yet."""
        best, best_rank = -1, (-1, -1, -1)
        for step in members(inside & ~self.problem.done):
            for rows in self.clauses[step]:
                if any(not row & ~inside for row in rows):
                    continue
                alive = [row for row in rows if not row & out]
                for row in alive:
                    for other in members(row & ~inside):
                        rank = (plan >> other & 1, self.problem.costs[other], -len(alive))
                        if rank > best_rank:
                            best, best_rank = other, rank
        if best >= 0:
            return best
        # Every clause has a row that is in, but in a circle: some other row has to break it.
        open_steps = [
            other
            for step in members(inside & ~self.problem.done)
            for rows in self.clauses[step]
            for row in rows
            if not row & out
            for other in members(row & ~inside)
        ]
        return max(open_steps, key=lambda s: (plan >> s & 1, self.problem.costs[s]), default=-1)


def _relevant(clauses: Clauses, wanted: int) -> int:
    """Everything that some way to `wanted` may use."""
    seen = wanted
    stack = list(members(wanted))
    while stack:
        for rows in clauses[stack.pop()]:
            for row in rows:
                fresh = row & ~seen
                seen |= fresh
                stack.extend(members(fresh))
    return seen
