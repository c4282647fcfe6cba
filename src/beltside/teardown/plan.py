"""The plan: which steps, why each, the second-best way, and from where the work stands."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal

from beltside.base.errors import InputError, nearest
from beltside.base.provenance import Provenance
from beltside.teardown.compiled import UNITS_PER_MINUTE, Line, compiled, expected_cost
from beltside.teardown.conflict import smallest_conflict
from beltside.teardown.distribution import distribution
from beltside.teardown.model import Job, Thing
from beltside.teardown.network import Network, critical_chain
from beltside.teardown.order import Step, steps_in_order
from beltside.teardown.problem import Problem, members
from beltside.teardown.search import Found, cheapest
from beltside.teardown.times import Piece

Aim = Literal["expected", "sure", "tools"]
AIMS: Final = ("expected", "sure", "tools")
"""Least expected minutes; least minutes that hold in 80 % of cases; fewest tools."""

SURE: Final = 0.8


class ConflictError(InputError):
    """No plan exists; `lines` is the smallest set of lines that conflict."""

    def __init__(self, lines: tuple[Line, ...], said: Sequence[str]) -> None:
        self.lines = lines
        listed = "; ".join(said)
        super().__init__(
            f"no order of work is possible: these lines conflict: {listed}"
            if len(said) > 1
            else f"no order of work is possible, because of this line: {listed}",
            allowed="lines that can all be kept",
            instead="changing one of these lines",
        )


@dataclass(frozen=True)
class Reason:
    """Why a step is in the plan.

    Attributes
    ----------
    thing
        The thing it is about.
    why
        In words.
    for_
        The things it makes way for.
    dearer_by_min
        How many minutes more the best plan without it takes; None when there is none.
    """

    thing: str
    why: str
    for_: tuple[str, ...]
    dearer_by_min: float | None


@dataclass(frozen=True)
class Way:
    """A set of steps and what it costs."""

    things: tuple[str, ...]
    expected_min: float
    sure_min: float
    tools: int


@dataclass(frozen=True)
class Plan:
    """The whole plan; minutes are those still to be worked."""

    job: Job
    repairs: tuple[str, ...]
    targets: tuple[str, ...]
    aim: Aim
    way: Way
    second: Way | None
    steps: tuple[Step, ...]
    reasons: tuple[Reason, ...]
    pieces: tuple[Piece, ...]
    network: Network
    done: tuple[str, ...]
    refitted: tuple[str, ...]
    proved: bool
    branches: int
    provenance: Provenance


def plan(
    job: Job,
    repairs: Sequence[str] = (),
    *,
    aim: Aim = "expected",
    done: Collection[str] = (),
    refitted: Collection[str] = (),
    blocked: Collection[str] = (),
    gone_wrong: Mapping[str, str] | None = None,
    explain: bool = True,
) -> Plan:
    """The best plan for `repairs` of `job`.

    Parameters
    ----------
    job
        The job, as checked by `check.job_faults`.
    repairs
        Names of the repairs; those the job asks for when left out.
    aim
        What to make least.
    done
        Things that are off already; only their refit is still to be worked.
    refitted
        Things that are on again.
    blocked
        Things that turned out impossible to take off.
    gone_wrong
        Thing to the trouble ("what") that has happened with it and is still to be put right.
    explain
        Whether to look for the second-best way and for what each step saves.

    Raises
    ------
    InputError
        When a name is unknown; as `ConflictError`, naming the lines, when no plan exists.
    """
    wanted = tuple(dict.fromkeys(repairs or job.wanted))
    _known(wanted, [repair.name for repair in job.repairs], "repair")
    for names in (done, refitted, blocked, gone_wrong or ()):
        _known(names, list(job.names), "thing")
    if aim not in AIMS:
        raise InputError(f'aim "{aim}"', allowed=", ".join(AIMS))
    _consistent(done, refitted, blocked)
    for name in gone_wrong or {}:
        if name in done:
            raise InputError(
                f"{name} is said to be off and to have gone wrong",
                instead="naming it as off only once the trouble is put right",
            )
    job = _as_gone_wrong(job, gone_wrong or {})
    targets = tuple(dict.fromkeys(name for repair in wanted for name in job.repair(repair).targets))
    if not targets:
        raise InputError("nothing is to be done", allowed="at least one repair")
    # What is off already still asks for what ends the job because of it: bleeding after draining.
    ends = [one.name for one in job.things if one.name not in targets and set(one.when) & {*done}]
    needed = (*targets, *ends)
    finder = _Finder(job, needed, aim, frozenset(done), frozenset(refitted), frozenset(blocked))
    found = finder.best()
    if found.steps is None:
        raise conflict_error(job, needed, done=done, blocked=blocked)
    chosen = finder.names(found.steps)
    steps = steps_in_order(job, chosen, needed, done=done, refitted=refitted)
    second, without = (None, {}) if not explain else finder.others(found.steps)
    own = finder.way(found.steps)
    minutes = {
        step.id: step.minutes(job.thing(step.thing)).mean + step.wait(job.thing(step.thing)).mean
        for step in steps
    }
    return Plan(
        job=job,
        repairs=wanted,
        targets=targets,
        aim=aim,
        way=own,
        second=second,
        steps=tuple(steps),
        reasons=_reasons(job, chosen, targets, steps, own, without, explain, done),
        pieces=finder.pieces(found.steps),
        network=critical_chain(minutes, {step.id: step.waits_for for step in steps}),
        done=tuple(done),
        refitted=tuple(refitted),
        proved=found.proved,
        branches=found.branches,
        provenance=Provenance(
            method="teardown plan",
            version=1,
            inputs={"things": len(job.things), "aim": aim, "repairs": ", ".join(wanted)},
            valid_range="steps independent of each other; one technician",
            source="own method, docs/methods/teardown.md",
            warnings=() if found.proved else ("the search stopped early: a better plan may exist",),
        ),
    )


def conflict_error(
    job: Job,
    targets: Sequence[str],
    *,
    done: Collection[str] = (),
    blocked: Collection[str] = (),
) -> ConflictError:
    """The error that names the smallest set of lines in conflict."""
    lines = smallest_conflict(job, targets, done=done, blocked=blocked)
    said = [line_words(job, line) for line in lines]
    if blocked:
        said += [f"{name} can't come off (as told)" for name in blocked]
    return ConflictError(lines, said)


def line_words(job: Job, line: Line) -> str:
    """A line of the job in words, as written."""
    if line.key == "target":
        return f"{line.thing} is to be reached"
    thing = job.thing(line.thing)
    if line.key == "reach":
        rows = thing.reach[line.place]
        return f'{line.thing}: reach "{" or ".join(" and ".join(row) for row in rows)}"'
    if line.key == "refit_last":
        return f"{line.thing}: refit_last = true"
    if line.key == "stays":
        return f"{line.thing}: stays = true"
    names: tuple[str, ...] = getattr(thing, line.key)
    return f'{line.thing}: {line.key} "{names[line.place]}"'


def _known(names: Collection[str], allowed: list[str], what: str) -> None:
    for name in names:
        if name not in allowed:
            close = nearest(name, allowed)
            raise InputError(
                f'there is no {what} called "{name}"',
                allowed=", ".join(allowed),
                instead=f'"{close}"' if close else "",
            )


def _consistent(done: Collection[str], refitted: Collection[str], blocked: Collection[str]) -> None:
    for name in refitted:
        if name not in done:
            raise InputError(
                f"{name} is said to be on again, but not to have been off",
                allowed="things on again that are among those done",
            )
    for name in blocked:
        if name in done:
            raise InputError(f"{name} is said to be off and impossible to take off")


def _as_gone_wrong(job: Job, gone_wrong: Mapping[str, str]) -> Job:
    """The job with a trouble that has happened: its minutes are certain now."""
    things = list(job.things)
    for name, what in gone_wrong.items():
        thing = job.thing(name)
        kinds = [trouble.what for trouble in thing.troubles]
        if what and what not in kinds:
            raise InputError(
                f'"{what}" is no trouble of {name}',
                allowed="; ".join(kinds) or "none is listed for it",
                instead="adding it to the job as [[thing.trouble]]",
            )
        if not kinds:
            raise InputError(
                f"{name} has no trouble listed", instead="adding it as [[thing.trouble]]"
            )
        things[job.names[name]] = replace(
            thing,
            troubles=tuple(
                replace(trouble, chance=1.0) if trouble.what == (what or kinds[0]) else trouble
                for trouble in thing.troubles
            ),
        )
    return job.with_things(tuple(things))


class _Finder:
    """Looks for ways through one job, from where the work stands."""

    def __init__(
        self,
        job: Job,
        targets: tuple[str, ...],
        aim: Aim,
        done: frozenset[str],
        refitted: frozenset[str],
        blocked: frozenset[str],
    ) -> None:
        self.job, self.targets, self.aim = job, targets, aim
        self.done, self.refitted = done, refitted
        things = job.things
        self.problem = compiled(job, targets, done=done, blocked=blocked)
        if aim == "sure":
            base = [
                int(UNITS_PER_MINUTE * sum(p.surely for p in thing.pieces())) for thing in things
            ]
            self.problem = replace(self.problem, costs=tuple(base))
        if aim == "tools":
            self.problem = _with_tools(self.problem, things)
        self.kept: dict[int, float] = {}

    def names(self, steps: int) -> tuple[str, ...]:
        """Names of the things of a mask, tools left out."""
        size = len(self.job.things)
        return tuple(self.job.things[step].name for step in members(steps & (1 << size) - 1))

    def best(self, out: int = 0, below: float = float("inf")) -> Found:
        """The best way that uses none of `out`."""
        problem = replace(self.problem, out=self.problem.out | out)
        if self.aim != "sure":
            return cheapest(problem, below=below)
        # The cheapest by expected minutes is a good plan to start from.
        start = cheapest(
            replace(problem, costs=tuple(expected_cost(thing) for thing in self.job.things))
        )
        if start.steps is None:
            return start
        return cheapest(problem, value=self.sure, known=start.steps, below=below)

    def pieces(self, steps: int) -> tuple[Piece, ...]:
        """Pieces of the time still to be worked."""
        return tuple(
            piece
            for name in self.names(steps)
            for piece in self.job.thing(name).pieces(
                apart=name not in self.done, back=name not in self.refitted
            )
        )

    def sure(self, steps: int) -> float:
        """What the steps still to be taken cost in 80 % of cases, in the problem's unit."""
        if steps not in self.kept:
            total = distribution(self.pieces(steps), cells=1024)
            self.kept[steps] = UNITS_PER_MINUTE * total.quantile(SURE)
        return self.kept[steps]

    def way(self, steps: int) -> Way:
        """The way with its figures."""
        pieces = self.pieces(steps)
        names = self.names(steps)
        tools = {tool for name in names for tool in self.job.thing(name).all_tools()}
        total = distribution(pieces)
        return Way(
            things=names,
            expected_min=total.mean,
            sure_min=total.quantile(SURE),
            tools=len(tools),
        )

    def others(self, best: int) -> tuple[Way | None, dict[str, float | None]]:
        """The second-best way, and for each step the expected minutes of the best without it.

        Any other way that holds no needless step lacks a step of the best one, so the second best
        is the best of those that lack one.
        """
        without: dict[str, float | None] = {}
        second: Found | None = None
        for name in self.names(best & ~self.problem.done):
            step = self.job.names[name]
            if self.problem.targets >> step & 1:
                continue
            found = self.best(out=1 << step)
            if found.steps is None:
                without[name] = None
                continue
            without[name] = self.way(found.steps).expected_min
            if second is None or found.cost < second.cost:
                second = found
        way = None if second is None or second.steps is None else self.way(second.steps)
        return way, without


def _with_tools(problem: Problem, things: Sequence[Thing]) -> Problem:
    """The problem with a step "have this tool at hand" for each tool, dearer than all minutes."""
    tools = list(dict.fromkeys(tool for thing in things for tool in thing.all_tools()))
    size = len(things)
    dear = sum(problem.costs) + 1
    number = {tool: size + place for place, tool in enumerate(tools)}
    clauses = tuple(
        own + tuple((1 << number[tool],) for tool in thing.all_tools())
        for own, thing in zip(problem.clauses, things, strict=True)
    )
    # Tools in use already cost nothing more.
    held = {tool for step in members(problem.done) for tool in things[step].all_tools()}
    return replace(
        problem,
        costs=(*problem.costs, *(0 if tool in held else dear for tool in tools)),
        clauses=(*clauses, *((),) * len(tools)),
        waits=tuple((*waits, *(0,) * len(tools)) for waits in problem.waits),
    )


def _reasons(
    job: Job,
    chosen: Collection[str],
    targets: Collection[str],
    steps: Sequence[Step],
    way: Way,
    without: Mapping[str, float | None],
    explained: bool,
    done: Collection[str],
) -> tuple[Reason, ...]:
    opens: dict[str, list[str]] = {}
    for name in chosen:
        thing = job.thing(name)
        for rows in thing.reach:
            ready = [row for row in rows if all(other in chosen for other in row)]
            for other in min(ready, key=len, default=()):
                opens.setdefault(other, []).append(name)
        for other in thing.when:
            if other in chosen:
                opens.setdefault(name, []).append(other)
    reasons = []
    for name in dict.fromkeys(step.thing for step in steps):
        for_ = tuple(opens.get(name, ()))
        more = without.get(name)
        dearer = None if more is None else more - way.expected_min
        reasons.append(
            Reason(
                name,
                _why(job, name, for_, name in targets, name in done, explained, dearer),
                for_,
                dearer,
            )
        )
    return tuple(reasons)


def _why(
    job: Job,
    name: str,
    for_: tuple[str, ...],
    is_target: bool,
    is_done: bool,
    explained: bool,
    dearer_min: float | None,
) -> str:
    thing = job.thing(name)
    if is_target:
        return "this is what the repair is about"
    if is_done:
        return "it is off already and has to go on again"
    others = "; ".join(job.thing(other).title for other in for_)
    why = f"done because of: {others}" if thing.kind == "finish" else f"needed for: {others}"
    if not explained:
        return why
    if dearer_min is None:
        return f"{why}. There is no way without it"
    return f"{why}. The best way without it takes {dearer_min:.0f} min more"


def shared_minutes(job: Job, repairs: Sequence[str], extra: str) -> float:
    """How many more minutes `extra` takes when it is done together with `repairs`."""
    alone = plan(job, repairs, explain=False).way.expected_min
    both = plan(job, [*repairs, extra], explain=False).way.expected_min
    return both - alone
