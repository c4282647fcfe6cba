"""From a job to the bare problem of `problem.py`, and the lines of the job that it is made of."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass

from beltside.teardown.model import Job, Thing
from beltside.teardown.problem import Problem, mask_of, members

UNITS_PER_MINUTE = 1000
"""Costs are whole thousandths of a minute, so that sums are exact."""


@dataclass(frozen=True)
class Line:
    """One line of a job that asks something of the order of work.

    Attributes
    ----------
    thing
        The thing it stands under; "" for the repairs wanted.
    key
        "reach", "after", "while_on", "refit_after", "refit_last", "stays" or "target".
    place
        Which of the thing's lines of that key, from 0.
    """

    thing: str
    key: str
    place: int = 0


def lines_of(job: Job, targets: Iterable[str]) -> list[Line]:
    """Every line that bears on the order of work."""
    lines = [Line(target, "target") for target in targets]
    for thing in job.things:
        lines += [Line(thing.name, "reach", place) for place in range(len(thing.reach))]
        for key, names in (
            ("after", thing.after),
            ("while_on", thing.while_on),
            ("refit_after", thing.refit_after),
        ):
            lines += [Line(thing.name, key, place) for place in range(len(names))]
        lines += [Line(thing.name, "refit_last")] * thing.refit_last
        lines += [Line(thing.name, "stays")] * thing.stays
    return lines


def expected_cost(thing: Thing) -> int:
    """Expected minutes in whole thousandths."""
    return round(thing.expected_min() * UNITS_PER_MINUTE)


def compiled(
    job: Job,
    targets: Sequence[str],
    *,
    done: Collection[str] = (),
    blocked: Collection[str] = (),
    keep: Collection[Line] | None = None,
    cost: Callable[[Thing], int] = expected_cost,
) -> Problem:
    """The problem of reaching `targets`.

    Parameters
    ----------
    job
        The job.
    targets
        Names of the things to reach.
    done
        Names of things that are off already.
    blocked
        Names of things that must not be used.
    keep
        The lines that count; all when None.
    cost
        Cost of a thing.
    """
    place = job.names
    kept = None if keep is None else set(keep)

    def counts(thing: str, key: str, number: int = 0) -> bool:
        return kept is None or Line(thing, key, number) in kept

    size = len(job.things)
    clauses: list[tuple[tuple[int, ...], ...]] = [()] * size
    apart, back = [0] * size, [0] * size
    out = mask_of([place[name] for name in blocked])
    for step, thing in enumerate(job.things):
        own = [
            tuple(mask_of([place[name] for name in row]) for row in rows)
            for number, rows in enumerate(thing.reach)
            if counts(thing.name, "reach", number)
        ]
        clauses[step] = (*clauses[step], *own)
        for number, name in enumerate(thing.after):
            if counts(thing.name, "after", number):
                apart[step] |= 1 << place[name]
                # On after this one: in the refit read backwards it comes before this one.
                back[step] |= 1 << place[name]
        for number, name in enumerate(thing.while_on):
            if counts(thing.name, "while_on", number):
                apart[place[name]] |= 1 << step
                back[place[name]] |= 1 << step
        for number, name in enumerate(thing.refit_after):
            if counts(thing.name, "refit_after", number):
                back[place[name]] |= 1 << step
        if thing.stays and counts(thing.name, "stays"):
            out |= 1 << step
        # A step done at the end because of another thing: it is "off" from the start, and goes "on"
        # after that thing.
        for name in thing.when:
            clauses[place[name]] = (*clauses[place[name]], (1 << step,))
    for step, thing in enumerate(job.things):
        if thing.refit_last and counts(thing.name, "refit_last"):
            before = _reaching(clauses, step)
            for other in range(size):
                if other not in before and not _at_the_end(job.things[other]):
                    back[other] |= 1 << step
    wanted = mask_of([place[name] for name in targets if counts(name, "target")])
    return Problem(
        costs=tuple(cost(thing) for thing in job.things),
        clauses=tuple(clauses),
        waits=(tuple(apart), tuple(back)),
        targets=wanted,
        out=out,
        done=mask_of([place[name] for name in done]),
    )


def _at_the_end(thing: Thing) -> bool:
    """Whether a thing need not be on before one that goes on last."""
    return thing.refit_last or thing.kind == "finish"


def _reaching(clauses: Sequence[Sequence[Sequence[int]]], step: int) -> set[int]:
    """The step itself and everything that some way to it may use."""
    seen = {step}
    stack = [step]
    while stack:
        for rows in clauses[stack.pop()]:
            for row in rows:
                for other in members(row):
                    if other not in seen:
                        seen.add(other)
                        stack.append(other)
    return seen
