"""Jobs for the tests: small ones by hand, and brute force over all sets of steps."""

from __future__ import annotations

import itertools
from collections.abc import Iterator

from beltside.teardown.model import Job, Repair, Thing
from beltside.teardown.problem import Problem, is_solution, mask_of, members
from beltside.teardown.times import Minutes


def thing(name, reach="", minutes=1.0, **more):
    """A thing; `reach` as in job files: lines separated by ";", "a or b and c"."""
    clauses = tuple(
        tuple(tuple(row.split(" and ")) for row in line.strip().split(" or "))
        for line in reach.split(";")
        if line.strip()
    )
    return Thing(name, title=name, off=Minutes(minutes, minutes, minutes), reach=clauses, **more)


def job(*things, targets=("goal",), repairs=None):
    """A job with one repair "it", or the `repairs` given as name to targets."""
    wanted = repairs or {"it": targets}
    return Job(
        title="a job",
        things=tuple(things),
        repairs=tuple(Repair(name, name, tuple(own)) for name, own in wanted.items()),
        wanted=(next(iter(wanted)),),
    )


def every_solution(problem: Problem) -> Iterator[tuple[int, int]]:
    """Cost and mask of every solution, by trying all sets of steps."""
    free = [s for s in range(problem.size) if not (problem.targets | problem.done) >> s & 1]
    base = problem.targets | problem.done
    for count in range(len(free) + 1):
        for more in itertools.combinations(free, count):
            steps = base | mask_of(more)
            if is_solution(problem, steps):
                yield problem.cost(steps), steps


def in_some_order(problem: Problem, steps: int) -> bool:
    """Whether some order of `steps` keeps every rule, by trying all orders (few steps only)."""
    own = list(members(steps))
    for direction in problem.waits:
        for order in itertools.permutations(own):
            done = 0
            for step in order:
                ready = all(any(not row & ~done for row in rows) for rows in problem.clauses[step])
                if not ready or direction[step] & steps & ~done:
                    break
                done |= 1 << step
            else:
                break
        else:
            return False
    return True
