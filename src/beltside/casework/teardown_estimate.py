"""Estimates: options side by side, the offer that the owner gets, and the owner's OK."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any, Final

from beltside.base.errors import InputError, nearest
from beltside.casework.formats.teardown_job import ReadJob
from beltside.casework.formats.teardown_prices import load_prices
from beltside.casework.teardown import learned_job, located, open_job
from beltside.casework.teardown_results import to_buy_json
from beltside.teardown.estimate import Option, OptionEstimate, estimate
from beltside.teardown.learning import Learned
from beltside.teardown.model import Job
from beltside.teardown.money import Prices
from beltside.teardown.plan import ConflictError
from beltside.teardown.shopping import Quantity, ToBuy

OFFER_FORMAT: Final = "beltside offer 1"
OLD_PRICES_DAYS: Final = 30
"""Part prices asked longer ago than this are named as old: own choice."""
NO_TAX: Final = (
    "no tax set: these prices are without tax; set the tax in per cent, 0 where none is due"
)


@dataclass(frozen=True)
class EstimateResult:
    """Options side by side, at the prices of one file."""

    title: str
    prices: Prices
    options: tuple[OptionEstimate, ...]
    made_on: date
    warnings: tuple[str, ...]

    @property
    def valid_until(self) -> date:
        """The last day on which the offer holds."""
        return self.made_on + timedelta(days=self.prices.offer_days)

    def to_json(self) -> dict[str, Any]:
        """Plain dict; amounts as text, so that no digit is lost."""
        return {
            "format": OFFER_FORMAT,
            "title": self.title,
            "currency": self.prices.currency,
            "made_on": self.made_on.isoformat(),
            "valid_until": self.valid_until.isoformat(),
            "labour_per_hour": str(self.prices.labour_per_hour),
            "tax_percent": str(self.prices.tax_percent),
            "tax_set": self.prices.tax_set,
            "options": [_option_json(one) for one in self.options],
            "warnings": list(self.warnings),
        }


def _option_json(one: OptionEstimate) -> dict[str, Any]:
    return {
        "name": one.option.name,
        "repairs": list(one.option.repairs),
        "reuse": list(one.option.reuse),
        "minutes": {
            "low": round(one.minutes.low),
            "likely": round(one.minutes.likely),
            "sure": round(one.minutes.sure),
            "high": round(one.minutes.high),
        },
        "lines": [
            {
                "group": line.group,
                "text": line.text,
                "quantity": f"{line.quantity.normalize():f}"
                if line.group != "labour"
                else f"{line.quantity:.2f}",
                "unit": line.unit,
                "each": str(line.each),
                "amount": str(line.amount),
            }
            for line in one.lines
        ],
        "net": str(one.sum.net),
        "tax": str(one.sum.tax),
        "total": str(one.sum.total),
        "deposit": str(one.sum.deposit),
        "totals": {
            "low": str(one.total.low),
            "likely": str(one.total.likely),
            "sure": str(one.total.sure),
            "high": str(one.total.high),
        },
        "without_price": list(one.unpriced),
        "if_it_happens": [
            {
                "thing": trouble.thing,
                "what": trouble.what,
                "chance": trouble.chance,
                "extra_minutes": [
                    trouble.extra_minutes.low,
                    trouble.extra_minutes.likely,
                    trouble.extra_minutes.high,
                ],
                "extra_cost": [
                    str(trouble.extra_low),
                    str(trouble.extra_likely),
                    str(trouble.extra_high),
                ],
                "then": trouble.then,
                "without_price": list(trouble.unpriced),
            }
            for trouble in one.troubles
        ],
        "to_buy": [to_buy_json(buy) for buy in one.to_buy],
    }


def estimate_job(
    job: Path | str,
    prices: Path,
    *,
    today: date,
    repairs: Sequence[str] = (),
    log: Path | None = None,
    technician: str = "",
    quantities: Mapping[str, Quantity] | None = None,
) -> EstimateResult:
    """Options of a job at the prices of a price file.

    Without `[[option]]` in the price file, the repairs given (or the job's own) are one option.

    Raises
    ------
    InputError
        When a file or a name is off, or the job can't be done.
    """
    read = open_job(job)
    own, learned = learned_job(read.job, log, technician)
    rates, options = load_prices(prices)
    return estimate_of(
        read, own, learned, rates, options, today=today, repairs=repairs, quantities=quantities
    )


def estimate_of(
    read: ReadJob,
    own: Job,
    learned: Learned | None,
    rates: Prices,
    options: Sequence[Option] = (),
    *,
    today: date,
    repairs: Sequence[str] = (),
    quantities: Mapping[str, Quantity] | None = None,
) -> EstimateResult:
    """As `estimate_job`, for a job and prices that have been read.

    Raises
    ------
    InputError
        When a name is off, or the job can't be done.
    """
    if learned is not None and learned.rows:
        rates = replace(rates, day_spread=learned.day_spread)
    if repairs or not options:
        names = tuple(repairs) or own.wanted
        titles = {repair.name: repair.title for repair in read.job.repairs}
        options = (Option(" + ".join(titles.get(name, name) for name in names), names),)
    worked = []
    for option in options:
        try:
            worked.append(estimate(own, rates, option, quantities=quantities))
        except ConflictError as error:
            said = [located(read, line) for line in error.lines]
            raise ConflictError(error.lines, said) from None
        except InputError as error:
            raise InputError(
                f'option "{option.name}": {error.given}',
                allowed=error.allowed,
                instead=error.instead,
            ) from None
    warnings = [
        f"no price or no quantity for {', '.join(dict.fromkeys(one.unpriced))} in option "
        f'"{one.option.name}": not in its totals'
        for one in worked
        if one.unpriced
    ]
    if not rates.tax_set:
        warnings.append(NO_TAX)
    if rates.priced_on:
        age = (today - date.fromisoformat(rates.priced_on)).days
        if age > OLD_PRICES_DAYS:
            warnings.append(f"part prices are {age} days old: ask again before ordering")
    return EstimateResult(read.job.title, rates, tuple(worked), today, tuple(warnings))


def save_offer(result: EstimateResult, path: Path) -> None:
    """Write an offer; it is never written over.

    Raises
    ------
    InputError
        When the file is there already.
    """
    if path.exists():
        raise InputError(f"{path} is there already", allowed="a new file for the offer")
    path.write_text(_text(result.to_json()), encoding="utf-8")


@dataclass(frozen=True)
class Agreement:
    """What the owner agreed to: who, when, exactly what; `digest` is that of the offer."""

    name: str
    at: datetime
    option: str
    offer: Mapping[str, Any]
    digest: str

    def to_json(self) -> dict[str, Any]:
        """Plain dict; holds the option as offered, word for word."""
        (agreed,) = [one for one in self.offer["options"] if one["name"] == self.option]
        return {
            "format": "beltside agreement 1",
            "agreed_by": self.name,
            "agreed_at": self.at.isoformat(timespec="seconds"),
            "title": self.offer["title"],
            "offer_made_on": self.offer["made_on"],
            "offer_valid_until": self.offer["valid_until"],
            "currency": self.offer["currency"],
            "tax_percent": self.offer.get("tax_percent", ""),
            "tax_set": self.offer.get("tax_set", True),
            "option": agreed,
            "offer_sha256": self.digest,
        }


@dataclass(frozen=True)
class OfferAge:
    """How an offer stands on a day."""

    days_old: int
    days_left: int

    @property
    def holds(self) -> bool:
        """Whether it still holds."""
        return self.days_left >= 0

    def words(self) -> str:
        """In a sentence.

        >>> OfferAge(3, 11).words()
        'The offer is 3 days old and holds for 11 more days.'
        >>> OfferAge(20, -6).words()
        'The offer is 20 days old and ran out 6 days ago.'
        """
        old = _days(self.days_old)
        if not self.holds:
            return f"The offer is {old} old and ran out {_days(-self.days_left)} ago."
        if not self.days_left:
            return f"The offer is {old} old and holds until tonight."
        if self.days_left == 1:
            return f"The offer is {old} old and holds for 1 more day."
        return f"The offer is {old} old and holds for {self.days_left} more days."


def _days(count: int) -> str:
    return "1 day" if count == 1 else f"{count} days"


def load_offer(path: Path) -> dict[str, Any]:
    """A saved offer.

    Raises
    ------
    InputError
        When the file is not there or is no offer.
    """
    if not path.is_file():
        raise InputError(f"{path} is not there", allowed="an offer, saved by the estimate")
    try:
        offer = json.loads(path.read_text(encoding="utf-8"))
    except (ValueError, UnicodeDecodeError):
        offer = None
    needed = {"format", "title", "currency", "made_on", "valid_until", "options"}
    if (
        not isinstance(offer, dict)
        or not needed <= offer.keys()
        or offer["format"] != OFFER_FORMAT
        or not isinstance(offer["options"], list)
    ):
        raise InputError(f"{path.name} is no offer", allowed="an offer, saved by the estimate")
    try:
        date.fromisoformat(offer["made_on"])
        date.fromisoformat(offer["valid_until"])
        for one in offer["options"]:
            Decimal(one["total"])
            str(one["name"])
    except (ValueError, TypeError, KeyError, ArithmeticError):
        raise InputError(
            f"{path.name} has been changed by hand and can't be read as an offer",
            allowed="an offer as the estimate saved it",
        ) from None
    return offer


def offer_age(offer: Mapping[str, Any], today: date) -> OfferAge:
    """How old an offer is, and how long it still holds."""
    made = date.fromisoformat(offer["made_on"])
    until = date.fromisoformat(offer["valid_until"])
    return OfferAge((today - made).days, (until - today).days)


def agree(offer_path: Path, option: str, name: str, at: datetime) -> Agreement:
    """The owner's OK to one option of an offer.

    Raises
    ------
    InputError
        When the name is empty, the option is not in the offer, or the offer has run out.
    """
    return agree_to(load_offer(offer_path), option, name, at)


def agree_to(offer: Mapping[str, Any], option: str, name: str, at: datetime) -> Agreement:
    """As `agree`, for an offer that has been read.

    Raises
    ------
    InputError
        As `agree`.
    """
    if not name.strip():
        raise InputError("nobody's name was given", allowed="the name of who agrees")
    names = [one["name"] for one in offer["options"]]
    if option not in names and option.isdigit() and 1 <= int(option) <= len(names):
        option = names[int(option) - 1]
    if option not in names:
        close = nearest(option, names)
        raise InputError(
            f'the offer has no option "{option}"',
            allowed=", ".join(f'{number}: "{one}"' for number, one in enumerate(names, start=1)),
            instead=f'"{close}"' if close else "",
        )
    age = offer_age(offer, at.date())
    if not age.holds:
        raise InputError(age.words().rstrip("."), instead="making the estimate anew")
    if age.days_old < 0:
        raise InputError(
            f"the offer was made on {offer['made_on']}, after {at.date().isoformat()}",
            instead="checking the clock of this machine",
        )
    digest = hashlib.sha256(_text(offer).encode()).hexdigest()
    return Agreement(name.strip(), at, option, offer, digest)


def save_agreement(agreement: Agreement, path: Path) -> None:
    """Write an agreement; it is never written over.

    Raises
    ------
    InputError
        When the file is there already.
    """
    if path.exists():
        raise InputError(f"{path} is there already", allowed="a new file for the agreement")
    path.write_text(_text(agreement.to_json()), encoding="utf-8")


def _text(value: Mapping[str, Any]) -> str:
    return json.dumps(value, indent=2, ensure_ascii=False) + "\n"


__all__ = [
    "Agreement",
    "EstimateResult",
    "OfferAge",
    "OptionEstimate",
    "ToBuy",
    "agree",
    "estimate_job",
    "load_offer",
    "offer_age",
    "save_agreement",
    "save_offer",
]
