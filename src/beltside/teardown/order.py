"""From the steps chosen to an order of work, and what each step waits for."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Literal

from beltside.teardown.compiled import compiled
from beltside.teardown.model import Job, Thing
from beltside.teardown.problem import Clause, Problem, free_of_done, members, met
from beltside.teardown.times import Minutes

Phase = Literal["apart", "refit"]


@dataclass(frozen=True)
class Step:
    """One step of the work.

    Attributes
    ----------
    id
        "apart:belt" or "refit:belt".
    thing, phase
        Which thing, and whether it comes off or goes on.
    waits_for
        Ids of the steps that must have been done before.
    """

    id: str
    thing: str
    phase: Phase
    waits_for: tuple[str, ...]

    def minutes(self, thing: Thing) -> Minutes:
        """Hands-on minutes of this step of `thing`."""
        return thing.off if self.phase == "apart" else thing.refit

    def wait(self, thing: Thing) -> Minutes:
        """Minutes of waiting after it."""
        return thing.wait if self.phase == "apart" else thing.refit_wait


def steps_in_order(
    job: Job,
    chosen: Collection[str],
    targets: Sequence[str],
    *,
    done: Collection[str] = (),
    refitted: Collection[str] = (),
) -> list[Step]:
    """The steps of a plan in an order that can be worked, `done` and `refitted` ones left out.

    `chosen` must be a solution (see `problem.is_solution`). Among steps that can be done next, one
    that makes the work wait (draining) comes first, then one with the tool in hand, then the one
    written first.
    """
    problem = compiled(job, targets, done=done)
    steps = sum(1 << job.names[name] for name in chosen)
    apart, held_apart = _walk(job, problem, steps, 0, problem.clauses, problem.done)
    try:
        turned, held_back = _walk(job, problem, steps, 1, _met_within(problem, steps), 0)
    except ValueError:
        # Something came off against the model's order; only its waits can be kept on refitting.
        turned, held_back = _walk(job, problem, steps, 1, free_of_done(problem), 0)
    back = list(reversed(turned))
    waits: dict[str, set[str]] = {}
    for step in apart:
        waits[f"apart:{_name(job, step)}"] = {
            f"apart:{_name(job, other)}" for other in members(held_apart[step] & ~problem.done)
        }
    ends = {f"apart:{_name(job, step)}" for step in apart}
    for before in waits.values():
        ends -= before
    above: dict[int, int] = dict.fromkeys(back, 0)
    for step in back:
        for other in members(held_back[step]):
            above[other] |= 1 << step
    for step in back:
        own = {f"refit:{_name(job, other)}" for other in members(above[step])}
        # What nothing was behind goes on again once all that had to be reached has been reached.
        if not own:
            own = set(ends)
        waits[f"refit:{_name(job, step)}"] = own
    ids = [f"apart:{_name(job, step)}" for step in apart]
    ids += [f"refit:{_name(job, step)}" for step in _refit_order(job, back, above)]
    gone = {f"refit:{name}" for name in refitted}
    shown = [name for name in ids if name not in gone and _is_step(job, name)]
    direct = _direct(ids, waits, set(shown))
    return [Step(name, name[6:], _phase(name), direct[name]) for name in shown]


def _met_within(problem: Problem, steps: int) -> list[tuple[Clause, ...]]:
    """The clauses for refitting: of what is off already, those that what came off can have met.

    What lay behind a thing goes on before it, whether it came off before this plan or by it.
    """
    return [
        tuple(rows for rows in clauses if any(not row & ~steps for row in rows))
        if problem.done >> step & 1
        else clauses
        for step, clauses in enumerate(problem.clauses)
    ]


def _phase(name: str) -> Phase:
    return "apart" if name.startswith("apart:") else "refit"


def _name(job: Job, step: int) -> str:
    return job.things[step].name


def _is_step(job: Job, name: str) -> bool:
    thing = job.thing(name[6:])
    if name.startswith("apart:"):
        return thing.kind != "finish"
    return thing.has_refit


def _walk(
    job: Job,
    problem: Problem,
    steps: int,
    direction: int,
    clauses: Sequence[Sequence[Clause]],
    done: int,
) -> tuple[list[int], dict[int, int]]:
    """An order of `steps` not `done` yet, and for each the mask of those it rested on."""
    waits = problem.waits[direction]
    have = done
    order: list[int] = []
    held: dict[int, int] = {}
    pending = list(members(steps & ~done))
    hand: set[str] = set()
    while pending:
        ready = [
            step for step in pending if not waits[step] & steps & ~have and met(clauses[step], have)
        ]
        if not ready:
            raise ValueError("these steps are no solution")

        def rank(step: int, hand: set[str] = hand) -> tuple[bool, int, int]:
            thing = job.things[step]
            return thing.wait.high <= 0.0, -len(hand & set(thing.tools)), step

        step = min(ready, key=rank)
        held[step] = waits[step] & steps
        for rows in clauses[step]:
            held[step] |= min((row for row in rows if not row & ~have), key=int.bit_count)
        have |= 1 << step
        order.append(step)
        pending.remove(step)
        hand = set(job.things[step].tools) or hand
    return order, held


def _refit_order(job: Job, back: list[int], above: dict[int, int]) -> list[int]:
    """Refit steps after those they wait for; waiting (curing) early, what ends the job late."""

    def rank(step: int) -> tuple[bool, bool, int]:
        thing = job.things[step]
        return thing.kind == "finish", thing.refit_wait.high <= 0.0, back.index(step)

    order: list[int] = []
    have = 0
    pending = list(back)
    while pending:
        ready = [step for step in pending if not above[step] & ~have]
        step = min(ready, key=rank)
        order.append(step)
        have |= 1 << step
        pending.remove(step)
    return order


def _direct(
    ids: Sequence[str], waits: dict[str, set[str]], shown: set[str]
) -> dict[str, tuple[str, ...]]:
    """What each step shown waits for, through steps that are not shown, none said twice."""
    through: dict[str, set[str]] = {}
    for name in ids:
        own: set[str] = set()
        for before in waits[name]:
            own |= {before} if before in shown else through[before]
        through[name] = own
    far: dict[str, set[str]] = {}
    direct: dict[str, tuple[str, ...]] = {}
    for name in (name for name in ids if name in shown):
        own = through[name]
        indirect = set().union(*(far[before] for before in own)) if own else set()
        far[name] = own | indirect
        direct[name] = tuple(other for other in ids if other in own - indirect)
    return direct
