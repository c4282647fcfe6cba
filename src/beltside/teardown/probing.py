"""What follows from trying each open step in and out (probing: Savelsbergh 1994, ORSA Journal on
Computing 6, 445-454, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

from beltside.teardown.bound import Clauses, allowed
from beltside.teardown.problem import Problem, members

_MOST_PASSES = 4


@dataclass(frozen=True)
class Probed:
    """Steps in and out for certain; `implied` has for open steps what else is in when they are."""

    inside: int
    out: int
    implied: dict[int, int]


def probed(problem: Problem, clauses: Clauses, inside: int, out: int) -> Probed | None:
    """What is certain beyond `inside` and `out` (masks), or None when there is no solution."""
    implied: dict[int, int] = {}
    for _ in range(_MOST_PASSES):
        before = (inside, out)
        for step in range(problem.size):
            one = 1 << step
            if (inside | out) & one:
                continue
            taken = allowed(problem, clauses, inside | one, out)
            left = allowed(problem, clauses, inside, out | one)
            if taken is None and left is None:
                return None
            if taken is None or left is None:
                inside, out = taken or left or (inside, out)
                continue
            inside |= taken[0] & left[0]
            out |= taken[1] & left[1]
            implied[step] = taken[0]
        if (inside, out) == before:
            break
    settled = inside | out
    return Probed(
        inside,
        out,
        {
            step: mask & ~settled & ~(1 << step)
            for step, mask in implied.items()
            if not settled >> step & 1
        },
    )


def implications(found: Probed) -> list[tuple[int, int]]:
    """Pairs of open steps: whoever takes the first has to take the second."""
    return [(step, other) for step, mask in found.implied.items() for other in members(mask)]
