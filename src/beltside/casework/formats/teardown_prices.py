"""Price files: labour rate, parts, tax and the other settings of an estimate."""

from __future__ import annotations

from datetime import date
from decimal import Decimal, InvalidOperation
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, ValidationError, WithJsonSchema

from beltside.casework.formats.fields import Count, Keys, Number, OneOrMore, Text, Word
from beltside.casework.formats.problems import FileProblemsError, Problem, from_pydantic
from beltside.casework.formats.toml_file import read_toml
from beltside.teardown.estimate import Option
from beltside.teardown.money import Disposal, PartPrice, Prices


def _money(value: Any) -> Any:
    """An amount written as text, "89.50", or as a whole number: money is never a binary float."""
    if isinstance(value, bool | float):
        raise ValueError('money is written in quotes, such as "89.50"')
    try:
        amount = Decimal(str(value).strip())
    except InvalidOperation:
        raise ValueError("this text is no amount") from None
    if not amount.is_finite() or not 0 <= amount <= 10**9:
        raise ValueError("an amount runs from 0 to 1,000,000,000")
    return amount


Money = Annotated[Decimal, BeforeValidator(_money), WithJsonSchema({"type": ["string", "integer"]})]


class PriceKeys(Keys):
    """What one part or consumable costs."""

    name: Text = Field(description="as it is called in the job")
    price: Money = Field(description='buying price of one unit, without tax, "89.50"')
    source: Text = Field(default="", description="who quoted it, when")


class DisposalKeys(Keys):
    """What getting rid of something costs."""

    name: Text = Field(description="what is disposed of")
    price: Money = Field(description='price without tax, "8.00"')
    when: Word = Field(description="the thing of the job whose taking off makes it due")


class OptionKeys(Keys):
    """One of the options shown side by side."""

    name: Text = Field(description="what the owner reads")
    repairs: Annotated[list[Word], OneOrMore] = Field(
        description="names of the job's repairs", min_length=1
    )
    reuse: Annotated[list[Text], OneOrMore] = Field(
        default_factory=list, description="fluids caught and used again"
    )


Group = Literal["labour", "parts", "consumables", "disposal", "travel"]


def _all_groups() -> list[Group]:
    return ["labour", "parts", "consumables", "disposal", "travel"]


class PricesKeys(Keys):
    """The settings of an estimate."""

    currency: Text = Field(description='"EUR"')
    decimals: Count = Field(default=2, description="decimals of the currency, 0 to 4", ge=0, le=4)
    labour_per_hour: Money = Field(description='without tax, "72.00"')
    parts_margin_percent: Money = Field(default=Decimal(0), description="added to buying prices")
    consumables: Money = Field(default=Decimal(0), description="flat charge for small material")
    travel: Money = Field(default=Decimal(0), description="flat charge for the way")
    tax_percent: Money = Field(default=Decimal(0), description='"19"')
    tax_on: Annotated[list[Group], OneOrMore] = Field(
        default_factory=_all_groups,
        description="what is taxed",
    )
    tax_by: Literal["total", "line"] = Field(
        default="total", description="whether tax is rounded once or on each line"
    )
    rounding: Literal["half-up", "half-even", "up", "down"] = Field(
        default="half-up", description="how amounts are rounded to the currency's decimals"
    )
    deposit_percent: Money = Field(default=Decimal(0), description="of the sum named in deposit_of")
    deposit_of: Literal["parts", "total"] = Field(default="parts", description="what it is part of")
    offer_days: Count = Field(
        default=14, description="how long the offer holds, 1 to 365", ge=1, le=365
    )
    priced_on: date | None = Field(default=None, description="day the part prices were asked")
    price: Annotated[list[PriceKeys], OneOrMore] = Field(
        default_factory=list, description="[[price]]"
    )
    disposal: Annotated[list[DisposalKeys], OneOrMore] = Field(
        default_factory=list, description="[[disposal]]"
    )
    option: Annotated[list[OptionKeys], OneOrMore] = Field(
        default_factory=list, description="[[option]] for each option shown", max_length=12
    )
    day_spread: Number = Field(
        default=0.0,
        description="how much whole jobs vary together, as the deviation of a logarithm, 0 to 1",
        ge=0.0,
        le=1.0,
    )


def load_prices(path: Path) -> tuple[Prices, tuple[Option, ...]]:
    """Prices and options of a price file.

    Raises
    ------
    InputError
        When the file is not there or is not TOML, or as `FileProblemsError` naming everything
        wrong with it.
    """
    return prices_from(read_toml(path), path)


def prices_from(data: dict[str, Any], path: Path) -> tuple[Prices, tuple[Option, ...]]:
    """As `load_prices`, from plain values; `path` is what messages call them.

    Raises
    ------
    InputError
        As `load_prices`.
    """
    try:
        keys = PricesKeys.model_validate(data)
    except ValidationError as error:
        raise FileProblemsError(from_pydantic(path.name, PricesKeys, error)) from None
    problems = [
        Problem(
            path.name,
            ("price", number, "name"),
            f'"{one.name}" stands here a second time',
            "each once",
        )
        for number, one in enumerate(keys.price, start=1)
        if one.name in [other.name for other in keys.price[: number - 1]]
    ]
    if keys.deposit_percent > 100:
        problems.append(
            Problem(path.name, ("deposit_percent",), str(keys.deposit_percent), "0 to 100")
        )
    if problems:
        raise FileProblemsError(problems)
    prices = Prices(
        currency=keys.currency,
        decimals=keys.decimals,
        labour_per_hour=keys.labour_per_hour,
        parts_margin_percent=keys.parts_margin_percent,
        consumables=keys.consumables,
        travel=keys.travel,
        tax_percent=keys.tax_percent,
        tax_on=tuple(keys.tax_on),
        tax_by=keys.tax_by,
        rounding=keys.rounding,
        deposit_percent=keys.deposit_percent,
        deposit_of=keys.deposit_of,
        offer_days=keys.offer_days,
        priced_on=keys.priced_on.isoformat() if keys.priced_on else "",
        parts={one.name: PartPrice(one.price, one.source) for one in keys.price},
        disposals=tuple(Disposal(one.name, one.price, one.when) for one in keys.disposal),
        day_spread=keys.day_spread,
        tax_set="tax_percent" in keys.model_fields_set,
    )
    options = tuple(Option(one.name, tuple(one.repairs), tuple(one.reuse)) for one in keys.option)
    return prices, options
