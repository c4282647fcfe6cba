"""The bare problem behind a plan: which steps to take at the least cost, and in what order.

Steps are numbers from 0; sets of steps are bit masks (bit i is step i), because a set of 150 steps
is then one whole number and "is contained in" is one operation.

A set of steps S is a solution when its steps can be done one after another such that, for every
step at its turn, each of its clauses has a row whose steps are all done, and every step of S that
it has to wait for is done. This is asked twice: for taking apart, and for refitting read backwards
(what goes on last comes off first), each with its own waits.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

Clause = tuple[int, ...]
"""Rows, each a mask: one of them has to be done in full."""


@dataclass(frozen=True)
class Problem:
    """Steps, what they cost, what they need.

    Attributes
    ----------
    costs
        Cost of each step, whole numbers >= 0 of any unit.
    clauses
        For each step its clauses: every clause must be met, by any one of its rows.
    waits
        One entry for each direction of work. For each step the mask of steps that come before it
        when they are done at all.
    targets
        Mask of the steps wanted.
    out
        Mask of the steps that must not be taken.
    done
        Mask of the steps done already; they cost nothing more and wait for nothing.
    """

    costs: tuple[int, ...]
    clauses: tuple[tuple[Clause, ...], ...]
    waits: tuple[tuple[int, ...], ...]
    targets: int
    out: int = 0
    done: int = 0

    @property
    def size(self) -> int:
        """Number of steps."""
        return len(self.costs)

    def cost(self, steps: int) -> int:
        """Cost of a set of steps, without what is done already."""
        return sum(self.costs[step] for step in members(steps & ~self.done))


def members(mask: int) -> Iterator[int]:
    """The steps of a mask, rising.

    >>> list(members(0b1101))
    [0, 2, 3]
    """
    while mask:
        low = mask & -mask
        yield low.bit_length() - 1
        mask ^= low


def mask_of(steps: Sequence[int]) -> int:
    """The mask of some steps.

    >>> bin(mask_of([0, 2, 3]))
    '0b1101'
    """
    mask = 0
    for step in steps:
        mask |= 1 << step
    return mask


def met(clauses: Sequence[Clause], done: int) -> bool:
    """Whether every clause has a row that is done in full."""
    for rows in clauses:
        for row in rows:
            if not row & ~done:
                break
        else:
            return False
    return True


def chained(
    clauses: Sequence[Sequence[Clause]], waits: Sequence[int], steps: int, done: int, surely: int
) -> int:
    """The steps of `steps` that can be done, in some order, on top of `done`.

    Each waits for those of `surely` that it has to come after. Gives the mask of all that can be
    done, `done` included.
    """
    pending = list(members(steps & ~done))
    while pending:
        left = []
        for step in pending:
            if waits[step] & surely & ~done or not met(clauses[step], done):
                left.append(step)
            else:
                done |= 1 << step
        if len(left) == len(pending):
            break
        pending = left
    return done


def is_solution(problem: Problem, steps: int) -> bool:
    """Whether `steps` holds the targets, nothing forbidden, and can be done in both directions.

    For refitting, read backwards, what was done already has no head start: it goes on again with
    everything else, so it may have to come after steps that are still to be done. A step done
    without what the model says it needs is taken as a fact: only its waits count then.
    """
    if problem.targets & ~steps or steps & problem.out & ~problem.done or problem.done & ~steps:
        return False
    apart = chained(problem.clauses, problem.waits[0], steps, problem.done, steps)
    if steps & ~apart:
        return False
    return all(
        not steps & ~chained(free_of_done(problem), waits, steps, 0, steps)
        for waits in problem.waits[1:]
    )


def free_of_done(problem: Problem) -> tuple[tuple[Clause, ...], ...]:
    """The clauses for refitting: steps done already have none left to meet."""
    if not problem.done:
        return problem.clauses
    return tuple(
        () if problem.done >> step & 1 else clauses for step, clauses in enumerate(problem.clauses)
    )
