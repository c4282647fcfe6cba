"""A lower bound on the cost of any plan, from sets of steps of which each plan holds one.

Dual ascent as for shortest paths in AND/OR graphs: as long as some wanted step can't be had with
steps that are already paid for, collect a set of steps of which every solution must hold at least
one, and pay for all of the set together until one of it is paid in full. What was paid adds up to
a bound (a feasible solution of the dual of the covering problem over these sets).

Sources: Wong 1984, Mathematical Programming 28, 271-287, dual ascent for Steiner trees in directed
graphs; Helmert and Domshlak 2009, ICAPS, landmarks as cuts for planning; Wolsey 1998, Integer
Programming, section 7.4 on fixing by reduced cost (all from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

from beltside.teardown.problem import Clause, Problem, chained, members, met

Clauses = tuple[tuple[Clause, ...], ...]


@dataclass
class Bound:
    """State of the ascent: `paid` of the bound, and what is left to pay for each step.

    The cost of a solution S that holds all of a mask I is at least
    `paid` + the sum of `left` over I; `free` is what can be had with nothing left to pay.
    """

    paid: int
    left: list[int]

    def copy(self) -> Bound:
        """The same state, to be changed on its own."""
        return Bound(self.paid, list(self.left))


def allowed(problem: Problem, clauses: Clauses, inside: int, out: int) -> tuple[int, int] | None:
    """What follows from "these steps are in, those are out", or None when nothing can follow.

    Gives the masks of steps in and out, grown by what they force: a row that is the only one left
    of a clause, what all rows left have in common, and steps that can no longer be reached.
    """
    everything = (1 << problem.size) - 1
    back = None if problem.done == 0 else _without(clauses, problem.done)
    while True:
        grown = _forced(clauses, inside, out, problem.done)
        if grown is None:
            return None
        reach = chained(clauses, problem.waits[0], everything & ~out, problem.done, grown)
        for waits in problem.waits[1:]:
            reach &= chained(back or clauses, waits, everything & ~out, 0, grown)
        if grown & ~reach:
            return None
        unreachable = everything & ~reach
        if grown == inside and not unreachable & ~out:
            return inside, out
        inside, out = grown, out | unreachable


def _without(clauses: Clauses, done: int) -> Clauses:
    return tuple(() if done >> step & 1 else own for step, own in enumerate(clauses))


def _forced(clauses: Clauses, inside: int, out: int, done: int) -> int | None:
    fresh = inside & ~done
    while fresh:
        added = 0
        for step in members(fresh):
            for rows in clauses[step]:
                common = -1
                for row in rows:
                    if not row & out:
                        common &= row
                if common == -1:
                    return None
                added |= common
        fresh = added & ~inside
        inside |= fresh
    return None if inside & out & ~done else inside


def ascend(
    bound: Bound, problem: Problem, clauses: Clauses, inside: int, out: int, height: list[int]
) -> int | None:
    """Raises `bound` until all of `inside` can be had with steps paid in full.

    Gives the mask of what can be had so, or None when no solution is left. `height` says for each
    step how dear it is to reach; it steers which sets are looked at, and any heights are correct.
    """
    left = bound.left
    for step in members(inside):
        bound.paid += left[step]
        left[step] = 0
    free = problem.done
    pending = [step for step in range(problem.size) if not (out | free) >> step & 1]
    while True:
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
        missing = inside & ~free
        if not missing:
            return free
        cut = cut_before(clauses, missing, free, out, left, height)
        if not cut:
            return None
        raise_by = min(left[step] for step in cut)
        bound.paid += raise_by
        for step in cut:
            left[step] -= raise_by


def cut_before(
    clauses: Clauses, missing: int, free: int, out: int, left: list[int], height: list[int]
) -> list[int]:
    """Steps of which every solution holds one: walk back from a missing step to what costs.

    `free` is what can be had with steps of which nothing is `left` to pay, and none of `missing`.
    """
    start = max(members(missing), key=height.__getitem__)
    seen = 1 << start
    stack = [start]
    cut = []
    while stack:
        step = stack.pop()
        if left[step]:
            cut.append(step)
            continue
        best_rows: list[int] = []
        best_height = -1
        for rows in clauses[step]:
            lowest = -1
            wanted = []
            for row in rows:
                if row & out:
                    continue
                lacking = row & ~free
                if not lacking:
                    break
                tallest, pick = -1, -1
                while lacking:
                    low = lacking & -lacking
                    lacking ^= low
                    other = low.bit_length() - 1
                    # A step that is in the walk already keeps the set small.
                    if seen & low:
                        pick, tallest = other, height[other]
                        break
                    if height[other] > tallest:
                        pick, tallest = other, height[other]
                wanted.append(pick)
                if lowest < 0 or tallest < lowest:
                    lowest = tallest
            else:
                if lowest > best_height:
                    best_rows, best_height = wanted, lowest
        for other in best_rows:
            if not seen >> other & 1:
                seen |= 1 << other
                stack.append(other)
    return cut


def heights(problem: Problem, clauses: Clauses, costs: list[int], out: int) -> list[int]:
    """For each step the cost of the dearest chain of steps that no way to it can avoid.

    h(step) = cost + max over clauses of min over rows of max over the row's steps of h. Steps out
    of reach get a height above all others. (h-max of Bonet and Geffner 2001, Artificial
    Intelligence 129, 5-33, from memory.)
    """
    return far_heights(clauses, costs, out, problem.done)


def far_heights(clauses: Clauses, costs: list[int], out: int, done: int) -> list[int]:
    """`heights`, of clauses and costs alone."""
    far = sum(costs) + 1
    height = [0 if done >> step & 1 else far for step in range(len(costs))]
    changed = True
    while changed:
        changed = False
        for step in range(len(costs)):
            if (out | done) >> step & 1:
                continue
            most = 0
            for rows in clauses[step]:
                least = far
                for row in rows:
                    if row & out:
                        continue
                    tallest = 0
                    for other in members(row):
                        if height[other] > tallest:
                            tallest = height[other]
                    if tallest < least:
                        least = tallest
                if least > most:
                    most = least
            value = min(far, costs[step] + most)
            if value < height[step]:
                height[step] = value
                changed = True
    return height
