"""What the form of an estimate starts from: options, parts to be priced, the shop's rates."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any, Final

from beltside.base.errors import BeltsideError, InputError
from beltside.casework.settings import settings
from beltside.casework.shop import Shop
from beltside.casework.shop_agree import OF_SETTINGS
from beltside.casework.shop_teardown import read_plan
from beltside.jobs.entries import JobSheet
from beltside.teardown.model import Job as WorkJob
from beltside.teardown.plan import plan
from beltside.teardown.shopping import to_buy

MOST_OPTIONS: Final = 12


@dataclass(frozen=True)
class OptionRow:
    """An option as the form shows it."""

    name: str
    repairs: tuple[str, ...]
    reuse: tuple[str, ...] = ()


@dataclass(frozen=True)
class PriceRow:
    """A part or consumable and its buying price as text; `only_if` is the trouble that needs it."""

    name: str
    price: str = ""
    source: str = ""
    quantity: str = ""
    only_if: str = ""


@dataclass(frozen=True)
class DisposalRow:
    """A fluid that is to be disposed of, the thing it comes out with, and the price as text."""

    name: str
    when: str
    price: str = ""


@dataclass(frozen=True)
class OfferForm:
    """The form of an estimate.

    Attributes
    ----------
    repairs
        Name and words of each repair the plan knows.
    fluids
        Names of fluids that may be caught and used again.
    options, prices, disposals
        Rows as they were given last; else what is usual for this plan.
    rates
        Each setting that an estimate needs: what holds now, as text.
    own
        Names of the rates that were overruled for this job.
    coolant_litres, coolant_source
        As given.
    """

    repairs: Sequence[tuple[str, str]]
    fluids: Sequence[str]
    options: Sequence[OptionRow]
    prices: Sequence[PriceRow]
    disposals: Sequence[DisposalRow]
    rates: Mapping[str, str]
    own: frozenset[str]
    coolant_litres: str
    coolant_source: str


def offer_form(shop: Shop, job: JobSheet, typed: Mapping[str, Any] | None = None) -> OfferForm:
    """The form of a job's estimate, with what was typed last where there is some.

    Raises
    ------
    InputError
        When there is no plan yet.
    """
    entry = job.newest("plan")
    if entry is None:
        raise InputError(
            "There is no plan on this job yet",
            allowed="an estimate of a plan",
            instead="making the plan first",
        )
    before = job.newest("estimate")
    given: Mapping[str, Any] = before.body["offer"].get("given", {}) if before else {}
    given = {**given, **(typed or {})}
    made = (str(entry.body["template"]), str(entry.body["toml"]))
    work = read_plan(*made).job
    target = tuple(entry.body["target"]) or work.wanted
    options = [
        OptionRow(str(one["name"]), tuple(one["repairs"]), tuple(one.get("reuse", ())))
        for one in given.get("option") or ()
    ] or _usual_options(made, target)
    kept = settings(shop)
    rates = {name: _text(given.get(name, kept[name].value)) for name in OF_SETTINGS}
    litres, source = _text(given.get("coolant_litres")), _text(given.get("coolant_source"))
    if not litres:
        litres, source = _litres(job)
    return OfferForm(
        [(one.name, one.title) for one in work.repairs],
        sorted({thing.fluid.name for thing in work.things if thing.fluid and thing.fluid.reusable}),
        options,
        _price_rows(made, options, given.get("price") or ()),
        _disposal_rows(work, given.get("disposal") or ()),
        rates,
        frozenset(name for name in OF_SETTINGS if given.get(name) not in (None, "")),
        litres,
        source,
    )


def _text(value: Any) -> str:
    return "" if value is None else str(value)


def _usual_options(made: tuple[str, str], target: tuple[str, ...]) -> list[OptionRow]:
    """What was planned, and the same with the repair that costs the fewest minutes more."""
    work = read_plan(*made).job
    fluids = tuple(
        dict.fromkeys(one.fluid.name for one in work.things if one.fluid and one.fluid.reusable)
    )
    rows = [OptionRow(_named(work, target), target)]
    more: dict[str, float] = {}
    for repair in work.repairs:
        if repair.name not in target:
            try:
                more[repair.name] = _minutes(made, (*target, repair.name))
            except BeltsideError:
                continue
    if more:
        both = (*target, min(more, key=lambda name: more[name]))
        rows.append(OptionRow(_named(work, both), both))
    if fluids and _names(made, target) & set(fluids):
        rows.append(OptionRow(f"{rows[0].name}, {', '.join(fluids)} used again", target, fluids))
    return rows


def _named(work: WorkJob, repairs: Sequence[str]) -> str:
    return " + ".join(work.repair(name).title for name in repairs)


@lru_cache(maxsize=64)
def _minutes(made: tuple[str, str], repairs: tuple[str, ...]) -> float:
    return plan(read_plan(*made).job, repairs, explain=False).way.expected_min


@lru_cache(maxsize=64)
def _bought(made: tuple[str, str], repairs: tuple[str, ...]) -> tuple[tuple[str, str], ...]:
    """What is bought for some repairs: name and quantity with unit."""
    work = read_plan(*made).job
    found = plan(work, repairs, explain=False)
    return tuple(
        (one.name, "" if one.quantity is None else f"{one.quantity:g} {one.unit}".strip())
        for one in to_buy(work, repairs, found.way.things)
    )


@lru_cache(maxsize=64)
def _if_it_happens(made: tuple[str, str], repairs: tuple[str, ...]) -> tuple[tuple[str, str], ...]:
    """Parts that only a trouble needs, and which."""
    work = read_plan(*made).job
    try:
        things = plan(work, repairs, explain=False).way.things
    except BeltsideError:
        return ()
    return tuple(
        (part.name, trouble.what)
        for name in things
        for trouble in work.thing(name).troubles
        for part in trouble.parts
    )


def _names(made: tuple[str, str], repairs: tuple[str, ...]) -> set[str]:
    return {name for name, _ in _bought(made, repairs)}


def _price_rows(
    made: tuple[str, str], options: Sequence[OptionRow], given: Sequence[Mapping[str, Any]]
) -> list[PriceRow]:
    """Every part of every option once, and what was priced before."""
    rows: dict[str, PriceRow] = {}
    for option in options:
        try:
            bought = _bought(made, option.repairs)
        except BeltsideError:
            continue
        for name, quantity in bought:
            rows.setdefault(name, PriceRow(name, quantity=quantity))
    for option in options:
        for name, what in _if_it_happens(made, option.repairs):
            rows.setdefault(name, PriceRow(name, only_if=what))
    for one in given:
        name = str(one["name"])
        held = rows.get(name, PriceRow(name))
        rows[name] = replace(held, price=_text(one.get("price")), source=_text(one.get("source")))
    return list(rows.values())


def _disposal_rows(work: WorkJob, given: Sequence[Mapping[str, Any]]) -> list[DisposalRow]:
    said = {str(one["when"]): _text(one.get("price")) for one in given}
    return [
        DisposalRow(thing.fluid.name, thing.name, said.get(thing.name, ""))
        for thing in work.things
        if thing.fluid is not None
    ]


def _litres(job: JobSheet) -> tuple[str, str]:
    """How much coolant goes in, where the coolant bench was told."""
    for entry in job.of_kind("coolant")[::-1]:
        capacity = entry.body["given"].get("capacity_l")
        if isinstance(capacity, int | float) and capacity > 0:
            return f"{capacity:g}", "capacity, as told on the coolant bench"
    return "", ""
