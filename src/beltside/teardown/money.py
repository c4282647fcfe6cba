"""Money in decimal: lines, tax, deposit. No binary floating point touches an amount."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_EVEN, ROUND_HALF_UP, Decimal
from typing import Final

from beltside.base.errors import InputError

ROUNDINGS: Final = {
    "half-up": ROUND_HALF_UP,
    "half-even": ROUND_HALF_EVEN,
    "up": ROUND_CEILING,
    "down": ROUND_FLOOR,
}
GROUPS: Final = ("labour", "parts", "consumables", "disposal", "travel")


@dataclass(frozen=True)
class PartPrice:
    """Buying price of one unit without tax, and who quoted it."""

    price: Decimal
    source: str = ""


@dataclass(frozen=True)
class Disposal:
    """What disposing of something costs, due when the thing `when` comes off."""

    name: str
    price: Decimal
    when: str


@dataclass(frozen=True)
class Prices:
    """Rates and rules; amounts without tax, in the currency's unit.

    `tax_set` is whether anybody said what the tax is; a tax nobody set is counted as 0 %.
    """

    currency: str
    labour_per_hour: Decimal
    decimals: int = 2
    parts_margin_percent: Decimal = Decimal(0)
    consumables: Decimal = Decimal(0)
    travel: Decimal = Decimal(0)
    tax_percent: Decimal = Decimal(0)
    tax_on: tuple[str, ...] = GROUPS
    tax_by: str = "total"
    rounding: str = "half-up"
    deposit_percent: Decimal = Decimal(0)
    deposit_of: str = "parts"
    offer_days: int = 14
    priced_on: str = ""
    parts: Mapping[str, PartPrice] = field(default_factory=dict)
    disposals: tuple[Disposal, ...] = ()
    day_spread: float = 0.0
    tax_set: bool = True

    def __post_init__(self) -> None:
        if self.rounding not in ROUNDINGS:
            raise InputError(f'rounding "{self.rounding}"', allowed=", ".join(ROUNDINGS))
        for group in self.tax_on:
            if group not in GROUPS:
                raise InputError(f'tax on "{group}"', allowed=", ".join(GROUPS))

    def rounded(self, amount: Decimal) -> Decimal:
        """`amount` to the currency's decimals, by its rule."""
        return amount.quantize(Decimal(1).scaleb(-self.decimals), ROUNDINGS[self.rounding])

    def labour(self, minutes: float) -> Decimal:
        """Labour for `minutes`, counted to the whole minute.

        >>> Prices("EUR", Decimal("72.00")).labour(94.6)
        Decimal('114.00')
        """
        whole = Decimal(str(minutes)).quantize(Decimal(1), ROUND_HALF_UP)
        return self.rounded(self.labour_per_hour * whole / 60)

    def with_margin(self, price: Decimal) -> Decimal:
        """Selling price of one unit of a part.

        >>> quarter = Prices("EUR", Decimal(72), parts_margin_percent=Decimal(25))
        >>> quarter.with_margin(Decimal("89.50"))
        Decimal('111.88')
        """
        return self.rounded(price * (100 + self.parts_margin_percent) / 100)


@dataclass(frozen=True)
class Line:
    """One line of an estimate; `amount` without tax."""

    group: str
    text: str
    quantity: Decimal
    unit: str
    each: Decimal
    amount: Decimal


@dataclass(frozen=True)
class Sum:
    """What the lines come to."""

    net: Decimal
    tax: Decimal
    total: Decimal
    deposit: Decimal


def line(
    prices: Prices, group: str, text: str, quantity: Decimal, unit: str, each: Decimal
) -> Line:
    """A line whose amount is quantity times price, rounded."""
    return Line(group, text, quantity, unit, each, prices.rounded(quantity * each))


def summed(prices: Prices, lines: Sequence[Line]) -> Sum:
    """Net, tax, total and deposit of `lines`.

    Tax is rounded once on the sum of what is taxed, or line by line, as `tax_by` says.

    >>> prices = Prices("EUR", Decimal(60), tax_percent=Decimal(19))
    >>> summed(prices, [line(prices, "parts", "belt", Decimal(1), "", Decimal("24.90"))]).total
    Decimal('29.63')
    """
    zero = prices.rounded(Decimal(0))
    net = sum((one.amount for one in lines), zero)
    taxed = [one.amount for one in lines if one.group in prices.tax_on]
    if prices.tax_by == "line":
        tax = sum((prices.rounded(one * prices.tax_percent / 100) for one in taxed), zero)
    else:
        tax = prices.rounded(sum(taxed, zero) * prices.tax_percent / 100)
    total = net + tax
    base = total
    if prices.deposit_of == "parts":
        parts = [one for one in lines if one.group == "parts"]
        base = sum((one.amount for one in parts), zero)
        if "parts" in prices.tax_on:
            base += prices.rounded(base * prices.tax_percent / 100)
    return Sum(net, tax, total, prices.rounded(base * prices.deposit_percent / 100))
