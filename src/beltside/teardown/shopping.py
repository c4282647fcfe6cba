"""Lists: tools in the order needed, what to buy, and the steps with all that belongs to them."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass

from beltside.teardown.model import Job, Supply, Thing
from beltside.teardown.order import Step
from beltside.teardown.plan import Plan


@dataclass(frozen=True)
class Quantity:
    """A quantity worked out elsewhere (coolant, sealant), with where it comes from."""

    amount: float
    unit: str
    source: str


@dataclass(frozen=True)
class ToBuy:
    """Something to buy or have: how much, what for, where the quantity comes from.

    `quantity` is None where it has to be read from the maker's data or measured.
    """

    name: str
    quantity: float | None
    unit: str
    for_: str
    source: str = ""
    sort: str = "part"


@dataclass(frozen=True)
class Tool:
    """A tool and the first step that needs it; `only_if` when only a trouble does."""

    name: str
    first_step: str
    only_if: str = ""


def tools_in_order(plan: Plan) -> tuple[Tool, ...]:
    """Tools in the order the steps need them, then those that only troubles need."""
    found: dict[str, Tool] = {}
    for step in plan.steps:
        thing = plan.job.thing(step.thing)
        for name in tools_of(thing, step):
            found.setdefault(name, Tool(name, step.id))
    spare: dict[str, Tool] = {}
    for step in plan.steps:
        if step.phase == "apart":
            for trouble in plan.job.thing(step.thing).troubles:
                for name in trouble.tools:
                    if name not in found:
                        spare.setdefault(name, Tool(name, step.id, trouble.what))
    return (*found.values(), *spare.values())


def tools_of(thing: Thing, step: Step) -> tuple[str, ...]:
    """Tools of one step."""
    if step.phase == "apart":
        return thing.tools
    torque = ("torque wrench",) if thing.fastener and thing.kind != "connection" else ()
    return tuple(dict.fromkeys((*(thing.refit_tools or thing.tools), *torque)))


def to_buy(
    job: Job,
    repairs: Collection[str],
    things: Collection[str],
    *,
    reuse: Collection[str] = (),
    quantities: Mapping[str, Quantity] | None = None,
) -> tuple[ToBuy, ...]:
    """Parts, single-use parts, fluids and consumables for the things that come off.

    Parameters
    ----------
    job, repairs, things
        The job, the repairs wanted and the things that come off.
    reuse
        Names of fluids that are caught and used again: only topping up is listed.
    quantities
        Name to a quantity worked out elsewhere; it wins over the job's own, but does not count for
        a fluid that is used again.
    """
    known = dict(quantities or {})
    found: dict[tuple[str, str, str], ToBuy] = {}

    def add(supply: Supply, for_: str, sort: str) -> None:
        key = (supply.name, supply.unit, sort)
        before = found.get(key)
        amount = supply.quantity + (before.quantity or 0.0 if before else 0.0)
        told = for_ if before is None else f"{before.for_}, {for_}"
        found[key] = ToBuy(supply.name, amount, supply.unit, told, "as listed in the job", sort)

    for name in repairs:
        for part in job.repair(name).parts:
            add(part, job.repair(name).title, "part")
    for name in things:
        thing = job.thing(name)
        for part in thing.renew:
            add(part, thing.title, "single-use part")
        for part in thing.consumables:
            add(part, thing.title, "consumable")
        if thing.fluid is not None:
            fluid = thing.fluid
            key = (fluid.name, "l", "fluid")
            if fluid.name in reuse and fluid.reusable:
                known.pop(fluid.name, None)
                found[key] = ToBuy(
                    fluid.name,
                    None,
                    "l",
                    "topping up what is lost; the rest is used again",
                    "measure what came out",
                    "fluid",
                )
            else:
                found[key] = ToBuy(
                    fluid.name,
                    fluid.litres,
                    "l",
                    thing.title,
                    fluid.litres_source or "to be read from the maker's data",
                    "fluid",
                )
    listed = []
    for one in found.values():
        if one.name in known:
            given = known.pop(one.name)
            one = ToBuy(one.name, given.amount, given.unit, one.for_, given.source, one.sort)
        listed.append(one)
    listed += [
        ToBuy(name, given.amount, given.unit, "", given.source, "consumable")
        for name, given in known.items()
    ]
    return tuple(listed)
