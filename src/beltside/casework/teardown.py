"""Plans for taking apart and refitting: from a job file to order of work, time and lists."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from pathlib import Path
from typing import Final, cast

import numpy as np

from beltside.base.errors import InputError, require_range
from beltside.casework.formats.teardown_job import ReadJob, line_number, load_job
from beltside.casework.formats.teardown_log import load_log
from beltside.casework.teardown_results import StepView, TeardownResult, Times
from beltside.casework.teardown_templates import template_job, template_names
from beltside.teardown.compiled import Line
from beltside.teardown.distribution import distribution, simulate
from beltside.teardown.estimate import with_factors
from beltside.teardown.learning import Learned, Logged, learn
from beltside.teardown.model import Job, Thing, Trouble
from beltside.teardown.order import Step
from beltside.teardown.plan import AIMS, Aim, ConflictError, Plan, line_words, plan
from beltside.teardown.shopping import (
    Quantity,
    ToBuy,
    to_buy,
    tools_in_order,
    tools_of,
)

RUNS: Final = 10_000
SHARES: Final = (0.1, 0.5, 0.8, 0.9)


def known_quantities(
    coolant_litres: float | None = None,
    coolant_source: str = "",
    sealant_ml: float | None = None,
    sealant_source: str = "",
) -> dict[str, Quantity]:
    """Coolant and sealant worked out elsewhere, as quantities with their source.

    Raises
    ------
    InputError
        When one is out of range or has no source.
    """
    found = {}
    for name, amount, unit, high, source in (
        ("coolant", coolant_litres, "l", 60.0, coolant_source),
        ("sealant", sealant_ml, "ml", 1000.0, sealant_source),
    ):
        if amount is None:
            continue
        require_range(name, amount, 0.1, high, unit)
        if not source.strip():
            raise InputError(
                f"{amount:g} {unit} of {name} without their source",
                allowed="a quantity with where it comes from",
                instead=f'--{name}-source "maker\'s data", or that it was measured',
            )
        found[name] = Quantity(amount, unit, source.strip())
    return found


def open_job(name: Path | str) -> ReadJob:
    """The job of a file, or of a template when there is no such file.

    Raises
    ------
    InputError
        When it is neither (naming the nearest), or something is wrong with the file.
    """
    path = Path(name)
    if not path.exists() and str(name) in template_names():
        return template_job(str(name))
    if not path.exists() and path.suffix != ".toml" and path.parent == Path("."):
        template_job(str(name))
    return load_job(path)


def teardown(
    job: Path | str,
    *,
    repairs: Sequence[str] = (),
    aim: str = "expected",
    done: Collection[str] = (),
    refitted: Collection[str] = (),
    blocked: Collection[str] = (),
    gone_wrong: Mapping[str, str] | None = None,
    log: Path | None = None,
    technician: str = "",
    reuse: Collection[str] = (),
    quantities: Mapping[str, Quantity] | None = None,
    runs: int = RUNS,
    seed: int = 1,
) -> TeardownResult:
    """The plan of a job file or template.

    Parameters
    ----------
    job
        Path of a job file, or the name of a template.
    repairs
        Names of the repairs; the job's own when left out.
    aim
        "expected", "sure" (80 %) or "tools".
    done, refitted, blocked, gone_wrong
        Where the work stands, as in `beltside.teardown.plan.plan`.
    log, technician
        Logged step times (CSV) to learn from, and whose factors to use.
    reuse
        Fluids caught and used again.
    quantities
        Quantities worked out elsewhere, such as litres of coolant.
    runs, seed
        Of the simulation.

    Raises
    ------
    InputError
        When the file or a name is off, or no plan exists; the lines in conflict are named with
        their numbers.
    """
    read = open_job(job)
    return teardown_of(
        read,
        *learned_job(read.job, log, technician),
        repairs=repairs,
        aim=aim,
        done=done,
        refitted=refitted,
        blocked=blocked,
        gone_wrong=gone_wrong,
        reuse=reuse,
        quantities=quantities,
        runs=runs,
        seed=seed,
    )


def teardown_of(
    read: ReadJob,
    own: Job,
    learned: Learned | None = None,
    *,
    repairs: Sequence[str] = (),
    aim: str = "expected",
    done: Collection[str] = (),
    refitted: Collection[str] = (),
    blocked: Collection[str] = (),
    gone_wrong: Mapping[str, str] | None = None,
    reuse: Collection[str] = (),
    quantities: Mapping[str, Quantity] | None = None,
    runs: int = RUNS,
    seed: int = 1,
) -> TeardownResult:
    """As `teardown`, for a job that has been read; `own` is it with the technician's minutes.

    Raises
    ------
    InputError
        As `teardown`.
    """
    if aim not in AIMS:
        raise InputError(f'aim "{aim}"', allowed=", ".join(f'"{one}"' for one in AIMS))
    found = planned(
        read,
        own,
        repairs,
        aim=cast(Aim, aim),
        done=done,
        refitted=refitted,
        blocked=blocked,
        gone_wrong=gone_wrong,
    )
    spread = learned.day_spread if learned is not None and learned.rows else 0.0
    return _result(found, reuse, quantities, spread, runs, seed)


def planned(
    read: ReadJob,
    job: Job,
    repairs: Sequence[str] = (),
    *,
    aim: Aim = "expected",
    done: Collection[str] = (),
    refitted: Collection[str] = (),
    blocked: Collection[str] = (),
    gone_wrong: Mapping[str, str] | None = None,
) -> Plan:
    """The plan; a conflict names lines of the file it was read from."""
    try:
        return plan(
            job,
            repairs,
            aim=aim,
            done=done,
            refitted=refitted,
            blocked=blocked,
            gone_wrong=gone_wrong,
        )
    except ConflictError as error:
        said = [located(read, line) for line in error.lines]
        said += [f"{name} can't come off (as told)" for name in blocked]
        raise ConflictError(error.lines, said) from None


def located(read: ReadJob, line: Line) -> str:
    """A line of the job in words, with its number in the file."""
    words = line_words(read.job, line)
    if line.key == "target" or not read.text:
        return words
    number = line_number(read.text, line.thing, line.key, line.place)
    return f"{read.file} line {number}, {words}" if number else words


def learned_job(job: Job, log: Path | None, technician: str) -> tuple[Job, Learned | None]:
    """The job with the minutes this technician is expected to take."""
    if log is None:
        return job, None
    rows = load_log(log, planned_minutes(job))
    people = dict.fromkeys(row.technician for row in rows)
    who = technician or (next(iter(people)) if len(people) == 1 else "")
    if not who:
        raise InputError(
            f"{log.name} holds logs of {len(people)} technicians",
            allowed=", ".join(people),
            instead="saying whose times count, with --technician NAME",
        )
    return job_of_technician(job, rows, who)


def planned_minutes(job: Job) -> dict[tuple[str, str], float]:
    """Planned minutes by thing and phase ("apart" or "refit")."""
    return {
        (thing.name, phase): minutes.mean
        for thing in job.things
        for phase, minutes in (("apart", thing.off), ("refit", thing.refit))
    }


def job_of_technician(job: Job, rows: Sequence[Logged], who: str) -> tuple[Job, Learned]:
    """The job with the minutes `who` is expected to take, by these logs."""
    learned = learn(rows)
    factors = {
        (thing.name, phase): learned.factor(who, thing.name, phase)
        for thing in job.things
        for phase in ("apart", "refit")
    }
    return with_factors(job, factors), learned


def _times(plan_: Plan, spread: float, runs: int, seed: int) -> Times:
    total = distribution(plan_.pieces, spread=spread)
    drawn = simulate(plan_.pieces, runs, np.random.default_rng(seed), spread=spread)
    return Times(
        mean_min=total.mean,
        deviation_min=total.deviation,
        quantiles={share: total.quantile(share) for share in SHARES},
        simulated={share: float(np.quantile(drawn, share)) for share in SHARES},
        runs=runs,
        spread=spread,
    )


def _result(
    plan_: Plan,
    reuse: Collection[str],
    quantities: Mapping[str, Quantity] | None,
    spread: float,
    runs: int,
    seed: int,
) -> TeardownResult:
    job = plan_.job
    why = {reason.thing: reason.why for reason in plan_.reasons}
    views = tuple(
        _view(plan_, step, number, why.get(step.thing, ""))
        for number, step in enumerate(plan_.steps, start=1)
    )
    bought = to_buy(job, plan_.repairs, plan_.way.things, reuse=reuse, quantities=quantities)
    return TeardownResult(
        title=job.title,
        about=job.about,
        cautions=job.cautions,
        repairs=plan_.repairs,
        aim=plan_.aim,
        steps=views,
        way=plan_.way,
        second=plan_.second,
        second_says=_second_says(plan_),
        times=_times(plan_, spread, runs, seed),
        chain=plan_.network.chain,
        chain_min=plan_.network.length,
        shared=_shared(plan_),
        tools=tools_in_order(plan_),
        to_buy=bought,
        done=plan_.done,
        refitted=plan_.refitted,
        proved=plan_.proved,
        warnings=tuple(_warnings(plan_, views, bought, reuse)),
        provenance=plan_.provenance,
    )


def _view(plan_: Plan, step: Step, number: int, why: str) -> StepView:
    thing = plan_.job.thing(step.thing)
    minutes = step.minutes(thing)
    timing = plan_.network.timings[step.id]
    apart = step.phase == "apart"
    return StepView(
        id=step.id,
        number=number,
        phase=step.phase,
        thing=thing.name,
        title=thing.title if apart or thing.kind == "finish" else thing.refit_title,
        minutes=(minutes.low, minutes.likely, minutes.high),
        wait_min=step.wait(thing).mean,
        waits_for=step.waits_for,
        why=why,
        tools=tools_of(thing, step),
        fastener=_fastener(thing),
        torque="" if apart else _torque(thing),
        new_parts=() if apart else tuple(part.name for part in thing.renew),
        hazards=thing.hazards,
        cautions=thing.cautions,
        troubles=tuple(_trouble(one) for one in thing.troubles) if apart else (),
        trouble_names=tuple(one.what for one in thing.troubles) if apart else (),
        critical=step.id in plan_.network.chain,
        slack_min=timing.slack,
        earliest_min=timing.early_start,
        expected_min=timing.early_finish - timing.early_start,
    )


def _trouble(one: Trouble) -> str:
    share, low, high = one.chance * 100, one.minutes.low, one.minutes.high
    if not one.then:
        return f"{one.what}: in {share:.0f} of 100 cases, {low:g} to {high:g} min more"
    return f"{one.what}: in {share:.0f} of 100 cases, {low:g} to {high:g} min more; {one.then}"


def _fastener(thing: Thing) -> str:
    own = thing.fastener
    if own is None:
        return ""
    if own.head_mm is None:
        kind = own.thread
    elif own.thread:
        kind = f"{own.thread}, {own.head_mm:g} mm head"
    else:
        kind = f"{own.head_mm:g} mm head"
    if own.count == 1:
        return kind
    return f"{own.count} x {kind}" if kind else f"{own.count} x"


def _torque(thing: Thing) -> str:
    own = thing.fastener
    if own is None or thing.kind == "connection":
        return ""
    if own.torque_nm is None:
        return "torque: not entered; read it from the maker's service data"
    return f"{own.torque_nm:g} N m ({own.torque_source})"


def _second_says(plan_: Plan) -> str:
    second = plan_.second
    if second is None:
        return "There is no second way: every step is needed."
    job = plan_.job
    fewer = [job.thing(name).title for name in plan_.way.things if name not in second.things]
    more = [job.thing(name).title for name in second.things if name not in plan_.way.things]
    dearer = second.expected_min - plan_.way.expected_min
    moved = [f"{dearer:.0f} min more" if dearer >= 0 else f"{-dearer:.0f} min less"]
    tools = second.tools - plan_.way.tools
    if tools:
        moved.append(_tools_more(tools) if tools > 0 else _tools_fewer(-tools))
    told = ", ".join(moved)
    if more:
        return f"Second-best way, {told}: {_quoted(more)} instead of {_quoted(fewer)}."
    return f"Second-best way, {told}: without {_quoted(fewer)}."


def _tools_more(count: int) -> str:
    return "1 tool more" if count == 1 else f"{count} tools more"


def _tools_fewer(count: int) -> str:
    return "1 tool fewer" if count == 1 else f"{count} tools fewer"


def _quoted(titles: Sequence[str]) -> str:
    return ", ".join(f"\u201c{title}\u201d" for title in titles)


def _shared(plan_: Plan) -> dict[str, float]:
    """Repairs not asked for that lie on the way: minutes more when done together."""
    if plan_.done:
        return {}
    found = {}
    for repair in plan_.job.repairs:
        if repair.name in plan_.repairs:
            continue
        try:
            both = plan(plan_.job, [*plan_.repairs, repair.name], explain=False)
        except ConflictError:
            continue
        base = plan(plan_.job, plan_.repairs, explain=False)
        found[repair.name] = both.way.expected_min - base.way.expected_min
    return dict(sorted(found.items(), key=lambda item: item[1]))


def _warnings(
    plan_: Plan, views: Sequence[StepView], bought: Sequence[ToBuy], reuse: Collection[str]
) -> list[str]:
    said = list(plan_.provenance.warnings)
    bare = [view.title for view in views if view.torque.startswith("torque: not entered")]
    if bare:
        said.append(f"no torque entered for {_quoted(bare)}: read it from the maker's service data")
    fluids = [
        one.name
        for one in bought
        if one.sort == "fluid" and one.quantity is None and one.name not in reuse
    ]
    if fluids:
        said.append(f"no litres entered for {', '.join(fluids)}")
    return said
