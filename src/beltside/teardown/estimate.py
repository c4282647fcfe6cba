"""Options side by side: time and price with their ranges, and what a snapped bolt changes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from beltside.base.errors import InputError, nearest
from beltside.teardown.distribution import Distribution, distribution
from beltside.teardown.model import Job
from beltside.teardown.money import Line, Prices, Sum, line, summed
from beltside.teardown.plan import SURE, Plan, plan
from beltside.teardown.shopping import Quantity, ToBuy, to_buy
from beltside.teardown.times import Minutes, Piece

LOW, LIKELY, HIGH = 0.1, 0.5, 0.9
"""Shares of cases in which the low, likely and high figures hold."""


@dataclass(frozen=True)
class Option:
    """What the owner can choose: a name, the repairs, and fluids that are used again."""

    name: str
    repairs: tuple[str, ...]
    reuse: tuple[str, ...] = ()


@dataclass(frozen=True)
class Range:
    """Figures that hold in 10, 50, 80 and 90 % of cases."""

    low: float
    likely: float
    sure: float
    high: float


@dataclass(frozen=True)
class Money4:
    """Totals with tax that hold in 10, 50, 80 and 90 % of cases."""

    low: Decimal
    likely: Decimal
    sure: Decimal
    high: Decimal


@dataclass(frozen=True)
class IfItHappens:
    """What one trouble changes, told before the owner says yes."""

    thing: str
    what: str
    chance: float
    extra_minutes: Minutes
    extra_low: Decimal
    extra_likely: Decimal
    extra_high: Decimal
    then: str
    unpriced: tuple[str, ...]


@dataclass(frozen=True)
class OptionEstimate:
    """One option, worked out."""

    option: Option
    plan: Plan
    minutes: Range
    lines: tuple[Line, ...]
    sum: Sum
    total: Money4
    unpriced: tuple[str, ...]
    troubles: tuple[IfItHappens, ...]
    to_buy: tuple[ToBuy, ...]


def estimate(
    job: Job,
    prices: Prices,
    option: Option,
    *,
    quantities: Mapping[str, Quantity] | None = None,
) -> OptionEstimate:
    """One option of `job` at `prices`.

    Lines are worked out at the likely (median) time. The 80 % total is the one that holds in 80 %
    of cases, what may go wrong counted in with its minutes and parts. What has no price is named
    in `unpriced` and is not in the totals.

    Raises
    ------
    InputError
        When a repair or fluid is unknown, or as `ConflictError` when the job can't be done.
    """
    own = plan(job, option.repairs, explain=False)
    _fluids_known(job, option)
    total_min = distribution(own.pieces, spread=prices.day_spread)
    minutes = _range(total_min)
    bought = to_buy(job, option.repairs, own.way.things, reuse=option.reuse, quantities=quantities)
    lines: list[Line] = [
        Line(
            "labour",
            "labour",
            Decimal(str(minutes.likely)).quantize(Decimal(1)) / 60,
            "h",
            prices.labour_per_hour,
            prices.labour(minutes.likely),
        )
    ]
    unpriced = []
    for one in bought:
        price = prices.parts.get(one.name)
        if one.sort == "consumable" and price is None and prices.consumables > 0:
            continue
        if price is None or one.quantity is None:
            unpriced.append(one.name)
            continue
        quantity = Decimal(str(one.quantity))
        lines.append(
            line(prices, "parts", one.name, quantity, one.unit, prices.with_margin(price.price))
        )
    if prices.consumables > 0:
        lines.append(_flat(prices, "consumables", "small material", prices.consumables))
    for disposal in prices.disposals:
        fluid = job.thing(disposal.when).fluid if disposal.when in job.names else None
        kept = fluid is not None and fluid.reusable and fluid.name in option.reuse
        if disposal.when in own.way.things and not kept:
            lines.append(_flat(prices, "disposal", f"disposal of {disposal.name}", disposal.price))
    if prices.travel > 0:
        lines.append(_flat(prices, "travel", "travel", prices.travel))
    fixed = tuple(one for one in lines if one.group != "labour")
    return OptionEstimate(
        option=option,
        plan=own,
        minutes=minutes,
        lines=tuple(lines),
        sum=summed(prices, lines),
        total=_totals(prices, own, minutes, fixed),
        unpriced=tuple(unpriced),
        troubles=_troubles(prices, own),
        to_buy=bought,
    )


def _flat(prices: Prices, group: str, text: str, amount: Decimal) -> Line:
    return line(prices, group, text, Decimal(1), "", prices.rounded(amount))


def _range(total: Distribution) -> Range:
    return Range(
        total.quantile(LOW), total.quantile(LIKELY), total.quantile(SURE), total.quantile(HIGH)
    )


def _fluids_known(job: Job, option: Option) -> None:
    fluids = {thing.fluid.name: thing.fluid for thing in job.things if thing.fluid}
    for name in option.reuse:
        if name not in fluids:
            close = nearest(name, fluids)
            raise InputError(
                f'option "{option.name}": there is no fluid "{name}"',
                allowed=", ".join(fluids) or "none in this job",
                instead=close or "",
            )
        if not fluids[name].reusable:
            raise InputError(
                f'option "{option.name}": {name} is not to be used again',
                allowed="a fluid with reusable = true in the job",
            )


def _parts_amount(prices: Prices, plan_: Plan, thing: str, place: int) -> tuple[Decimal, list[str]]:
    """Price without tax of a trouble's parts, and those without a price."""
    amount, unpriced = Decimal(0), []
    for part in plan_.job.thing(thing).troubles[place].parts:
        price = prices.parts.get(part.name)
        if price is None:
            unpriced.append(part.name)
        else:
            each = prices.with_margin(price.price)
            amount += prices.rounded(each * Decimal(str(part.quantity)))
    return amount, unpriced


def _taxed(prices: Prices, group: str, amount: Decimal) -> Decimal:
    rate = prices.tax_percent if group in prices.tax_on else Decimal(0)
    return amount * (100 + rate) / 100


def _totals(prices: Prices, own: Plan, minutes: Range, fixed: Sequence[Line]) -> Money4:
    """Totals with tax by the distribution of labour and trouble parts together.

    Money is written as minutes of labour: parts of a trouble are so many minutes more when it
    comes. With no parts to pay for this is the distribution of time, and the totals are exact to
    the whole minute.
    """
    rate = float(_taxed(prices, "labour", prices.labour_per_hour)) / 60.0
    pieces = list(own.pieces)
    moved = False
    for name in own.way.things:
        if name in own.done:
            continue
        for place, trouble in enumerate(own.job.thing(name).troubles):
            amount, _ = _parts_amount(prices, own, name, place)
            if amount > 0 and rate > 0.0:
                extra = float(_taxed(prices, "parts", amount)) / rate
                plain = Piece(trouble.minutes, trouble.chance)
                if plain in pieces:
                    pieces.remove(plain)
                longer = Minutes(
                    trouble.minutes.low + extra,
                    trouble.minutes.likely + extra,
                    trouble.minutes.high + extra,
                )
                pieces.append(Piece(longer, trouble.chance))
                moved = True
    at = _range(distribution(pieces, spread=prices.day_spread)) if moved else minutes

    def total(labour_minutes: float) -> Decimal:
        hours = Decimal(str(labour_minutes)).quantize(Decimal(1)) / 60
        labour = Line(
            "labour", "labour", hours, "h", prices.labour_per_hour, prices.labour(labour_minutes)
        )
        return summed(prices, [labour, *fixed]).total

    return Money4(total(at.low), total(at.likely), total(at.sure), total(at.high))


def _troubles(prices: Prices, own: Plan) -> tuple[IfItHappens, ...]:
    """What each trouble changes when it comes, the one that weighs most first."""
    found = []
    for name in own.way.things:
        if name in own.done:
            continue
        for place, trouble in enumerate(own.job.thing(name).troubles):
            amount, unpriced = _parts_amount(prices, own, name, place)
            parts = _taxed(prices, "parts", amount)

            def extra(minutes: float, parts: Decimal = parts) -> Decimal:
                return prices.rounded(_taxed(prices, "labour", prices.labour(minutes)) + parts)

            three = trouble.minutes
            found.append(
                IfItHappens(
                    name,
                    trouble.what,
                    trouble.chance,
                    three,
                    extra(three.low),
                    extra(three.likely),
                    extra(three.high),
                    trouble.then,
                    tuple(unpriced),
                )
            )
    return tuple(sorted(found, key=lambda one: -one.chance * float(one.extra_likely)))


def with_factors(job: Job, factors: Mapping[tuple[str, str], float]) -> Job:
    """The job with learned factors: (thing, "apart" or "refit") to actual over planned minutes."""
    things = []
    for thing in job.things:
        apart = factors.get((thing.name, "apart"), 1.0)
        refit = factors.get((thing.name, "refit"), 1.0)
        things.append(replace(thing, off=thing.off.scaled(apart), refit=thing.refit.scaled(refit)))
    return job.with_things(tuple(things))
