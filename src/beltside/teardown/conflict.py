"""When no plan exists: the smallest set of lines that conflict.

A set of lines conflicts when nothing can be done even if all other lines did not count. A smallest
one is found by implicit hitting sets (Ignatiev, Previti, Liffiton and Marques-Silva 2015,
Principles and Practice of Constraint Programming, 173-182, from memory): any conflict must hold a
line of each set of lines whose leaving out makes the job possible.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Sequence

from beltside.teardown.compiled import Line, compiled, lines_of
from beltside.teardown.model import Job
from beltside.teardown.problem import chained, is_solution
from beltside.teardown.search import cheapest

MOST_ROUNDS = 400


def smallest_conflict(
    job: Job,
    targets: Sequence[str],
    *,
    done: Collection[str] = (),
    blocked: Collection[str] = (),
) -> tuple[Line, ...]:
    """The fewest lines that can't be kept together; () when there is a plan.

    Should the search for the fewest go on too long, a set of which no line can be spared.
    """

    def possible(keep: Collection[Line]) -> bool:
        problem = compiled(
            job, targets, done=done, blocked=blocked, keep=keep, cost=lambda thing: 1
        )
        everything = (1 << problem.size) - 1 & ~problem.out | problem.done
        reach = chained(problem.clauses, problem.waits[0], everything, problem.done, 0)
        if problem.targets & ~reach:
            return False
        if is_solution(problem, reach):
            return True
        return cheapest(problem).steps is not None

    lines = lines_of(job, targets)
    if possible(lines):
        return ()
    spared = _thinned(lines, possible)
    if len(spared) <= 2:
        return tuple(spared)
    corrections: list[frozenset[Line]] = []
    for _ in range(MOST_ROUNDS):
        hit = smallest_hitting_set(corrections)
        if len(hit) >= len(spared):
            return tuple(spared)
        if not possible(hit):
            return tuple(line for line in lines if line in hit)
        kept = list(hit)
        left = [line for line in lines if line not in hit]
        # Lines outside the conflict known so far first: they are the least likely to matter.
        left.sort(key=lambda line: line in spared)
        kept = _grown(kept, left, possible)
        corrections.append(frozenset(lines) - frozenset(kept))
    return tuple(spared)


def _grown(
    kept: list[Line], left: list[Line], possible: Callable[[Collection[Line]], bool]
) -> list[Line]:
    """`kept` with as many of `left` as can be kept with it, tried in blocks that halve."""
    if not left:
        return kept
    if possible([*kept, *left]):
        return [*kept, *left]
    if len(left) == 1:
        return kept
    half = len(left) // 2
    return _grown(_grown(kept, left[:half], possible), left[half:], possible)


def _thinned(lines: list[Line], possible: Callable[[Collection[Line]], bool]) -> list[Line]:
    """A conflicting set of which no line can be spared, blocks dropped first."""
    size = max(1, len(lines) // 2)
    while True:
        start = 0
        while start < len(lines):
            fewer = lines[:start] + lines[start + size :]
            if possible(fewer):
                start += size
            else:
                lines = fewer
        if size == 1:
            return lines
        size = max(1, size // 2)


def smallest_hitting_set(sets: Iterable[frozenset[Line]]) -> frozenset[Line]:
    """The fewest lines that hold one of each set, by branching on the smallest set not hit."""
    wanted = sorted(sets, key=len)
    best: list[frozenset[Line]] = [frozenset(line for one in wanted for line in one)]

    def walk(chosen: frozenset[Line]) -> None:
        open_sets = [one for one in wanted if not one & chosen]
        if not open_sets:
            if len(chosen) < len(best[0]):
                best[0] = chosen
            return
        apart = 0
        used: set[Line] = set()
        for one in open_sets:
            if not one & used:
                apart += 1
                used |= one
        if len(chosen) + apart >= len(best[0]):
            return
        for line in sorted(open_sets[0], key=lambda line: (line.thing, line.key, line.place)):
            walk(chosen | {line})

    walk(frozenset())
    return best[0]
