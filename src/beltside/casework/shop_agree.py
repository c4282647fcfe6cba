"""What it costs, and the owner's OK: offers on a job in versions, and to which one he agreed."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any, Final

from beltside.base.errors import ClashError, InputError
from beltside.casework.formats.problems import FileProblemsError
from beltside.casework.formats.teardown_prices import PricesKeys, prices_from
from beltside.casework.settings import settings
from beltside.casework.shop import FieldProblemsError, Shop, checked, sheet_of, write
from beltside.casework.shop_teardown import logged_times, read_plan
from beltside.casework.signature import read_strokes
from beltside.casework.teardown import job_of_technician, known_quantities
from beltside.casework.teardown_estimate import (
    EstimateResult,
    OfferAge,
    agree_to,
    estimate_of,
    offer_age,
)
from beltside.drive.check import key_path
from beltside.jobs.entries import Entry, JobSheet

OF_SETTINGS: Final = (
    "currency",
    "labour_per_hour",
    "tax_percent",
    "parts_margin_percent",
    "consumables",
    "travel",
    "deposit_percent",
    "offer_days",
)
_QUANTITIES: Final = ("coolant_litres", "coolant_source", "sealant_ml", "sealant_source")


@dataclass(frozen=True)
class EstimateMade:
    """An offer as kept: the entry, its result, and what it says in a sentence."""

    entry: Entry
    result: EstimateResult
    says: str

    def to_json(self) -> dict[str, Any]:
        """The offer's JSON with entry and version."""
        return {
            **self.result.to_json(),
            "entry": self.entry.id,
            "version": self.entry.version,
            "says": self.says,
        }


def make_estimate(
    shop: Shop, job_id: str, typed: Mapping[str, Any] | None = None, *, now: datetime | None = None
) -> EstimateMade:
    """Price the plan of a job; an earlier offer stays readable as an earlier version.

    Parameters
    ----------
    typed
        `price` and `option` as in a price file, lists of tables; the settings of the shop may be
        overruled (`labour_per_hour`, `tax_percent`, ...); `coolant_litres` with `coolant_source`.
        What is left out is as in the offer before, else as in the settings.

    Raises
    ------
    FieldProblemsError
        With what is wrong beside each field.
    InputError
        When there is no plan, or an option can't be done.
    """
    job = sheet_of(shop, job_id)
    plan = job.newest("plan")
    if plan is None:
        raise InputError(
            "There is no plan on this job yet",
            allowed="an estimate of a plan",
            instead="making the plan first",
        )
    before = job.newest("estimate")
    given = {**(before.body["offer"].get("given", {}) if before else {}), **(typed or {})}
    # What is left empty is no longer overruled: the settings hold.
    given = {name: one for name, one in given.items() if one not in (None, "")}
    now = now or datetime.now(UTC)
    prices = _price_table(shop, given, now)
    read = read_plan(str(plan.body["template"]), str(plan.body["toml"]))
    logs = logged_times(shop, shop.by, exclude=job.job.id)
    own, learned = job_of_technician(read.job, logs, shop.by) if logs else (read.job, None)
    try:
        rates, options = prices_from(prices, Path("prices"))
    except FileProblemsError as error:
        wrong = {key_path(one.where) or "price": str(one) for one in error.problems}
        raise FieldProblemsError("estimate", given, wrong) from None
    result = estimate_of(
        read,
        own,
        learned,
        rates,
        options,
        today=now.date(),
        repairs=() if options else tuple(plan.body["target"]),
        quantities=_quantities(given),
    )
    says = _says(result)
    body = checked("estimate", {"offer": {**result.to_json(), "given": given}, "says": says})
    if before is None:
        entry = write(shop, job.job.id, "estimate", body)
    else:
        entry = shop.record.change(before.id, body, by=shop.by).entry
    return EstimateMade(entry, result, says)


def _price_table(shop: Shop, given: Mapping[str, Any], now: datetime) -> dict[str, Any]:
    kept = settings(shop)
    table: dict[str, Any] = {}
    for name in OF_SETTINGS:
        value = given.get(name, kept[name].value)
        if name == "tax_percent" and value in (None, ""):
            # Left out, so that the estimate says that nobody set it.
            continue
        if value in (None, ""):
            raise FieldProblemsError(
                "estimate", given, {name: "is not set yet: set it here or in the settings"}
            )
        table[name] = value
    known = set(PricesKeys.model_fields)
    wrong = {name: "there is no such field" for name in given if name not in (*known, *_QUANTITIES)}
    if wrong:
        raise FieldProblemsError("estimate", given, wrong)
    table |= {name: given[name] for name in known if name in given}
    # A form gives numbers as text; money must not become a binary float on the way.
    if isinstance(table["offer_days"], str) and table["offer_days"].isdecimal():
        table["offer_days"] = int(table["offer_days"])
    table = {name: _exact(value) for name, value in table.items()}
    if table.get("price") and "priced_on" not in table:
        table["priced_on"] = now.date().isoformat()
    return table


def _exact(value: Any) -> Any:
    """Numbers with decimals as text, also inside lists and tables."""
    if isinstance(value, float):
        return f"{Decimal(str(value)):f}"
    if isinstance(value, list | tuple):
        return [_exact(one) for one in value]
    if isinstance(value, Mapping):
        return {name: _exact(one) for name, one in value.items()}
    return value


def _quantities(given: Mapping[str, Any]) -> Any:
    wanted = {name: given[name] for name in _QUANTITIES if given.get(name) not in (None, "")}
    for name in ("coolant_litres", "sealant_ml"):
        if name in wanted:
            try:
                wanted[name] = float(str(wanted[name]).replace(",", "."))
            except ValueError:
                raise FieldProblemsError(
                    "estimate", given, {name: "is a number, such as 6.5"}
                ) from None
    return known_quantities(**wanted)


def _says(result: EstimateResult) -> str:
    best = result.options[0]
    low, sure = best.total.low, best.total.sure
    says = (
        f"{best.option.name}: {best.sum.total} {result.prices.currency} "
        f"(hardly under {low}, not above {sure} in 8 of 10 cases)"
    )
    if len(result.options) > 1:
        says = f"{says}; {len(result.options)} options"
    return says if result.prices.tax_set else f"{says}; no tax set"


@dataclass(frozen=True)
class OfferNow:
    """The newest offer of a job: its entry, how old it is, and the OK to it, if there is one."""

    entry: Entry
    age: OfferAge
    approval: Entry | None

    @property
    def offer(self) -> Mapping[str, Any]:
        """The offer as saved."""
        offer: Mapping[str, Any] = self.entry.body["offer"]
        return offer

    def to_json(self) -> dict[str, Any]:
        """Plain dict."""
        return {
            "entry": self.entry.id,
            "version": self.entry.version,
            "offer": dict(self.offer),
            "age": self.age.words(),
            "holds": self.age.holds,
            "approval": None if self.approval is None else dict(self.approval.body),
        }


def offer_now(job: JobSheet, *, now: datetime | None = None) -> OfferNow | None:
    """The newest offer of a job; None while there is none."""
    entry = job.newest("estimate")
    if entry is None:
        return None
    today = (now or datetime.now(UTC)).date()
    approvals = [
        one
        for one in job.of_kind("approval")
        if one.body["estimate"] == entry.id and one.body["estimate_version"] == entry.version
    ]
    return OfferNow(
        entry, offer_age(entry.body["offer"], today), approvals[-1] if approvals else None
    )


def owner_agrees(
    shop: Shop,
    job_id: str,
    option: str,
    name: str,
    *,
    signature: str = "",
    version: int | None = None,
    at: datetime | None = None,
    entry_id: str | None = None,
) -> Entry:
    """Keep the owner's OK to one option of the newest offer, word for word with its digest.

    Parameters
    ----------
    option
        The option by name or number.
    signature
        Strokes drawn on the screen, as text of lists of points; see `signature.read_strokes`.
    version
        The version of the offer he was shown; refused when it is not the newest.

    Raises
    ------
    InputError
        When there is no offer, it has run out, the option is none or the name is empty.
    ClashError
        When the offer has changed since.
    """
    job = sheet_of(shop, job_id)
    found = offer_now(job, now=at)
    if found is None:
        raise InputError("There is no estimate to agree to", instead="making the estimate first")
    if version is not None and version != found.entry.version:
        raise ClashError(
            f"The estimate has changed: version {version} was shown, it is at "
            f"{found.entry.version} now",
            instead="showing the owner the new one",
        )
    if signature:
        read_strokes(signature)
    at = at or datetime.now(UTC)
    agreement = agree_to(found.offer, option, name, at)
    return write(
        shop,
        job.job.id,
        "approval",
        {
            "estimate": found.entry.id,
            "estimate_version": found.entry.version,
            "option": agreement.option,
            "name": agreement.name,
            "agreed_at": agreement.at.isoformat(timespec="seconds"),
            "agreement": agreement.to_json(),
            "signature": signature,
        },
        entry_id=entry_id,
    )


def agreement_holds(shop: Shop, approval: Entry) -> bool:
    """Whether the offer that was agreed to still reads as it did: its digest is the same."""
    for old in shop.record.history(str(approval.body["estimate"])):
        if old.version == approval.body["estimate_version"]:
            text = json.dumps(old.body["offer"], indent=2, ensure_ascii=False) + "\n"
            digest = hashlib.sha256(text.encode()).hexdigest()
            return bool(digest == approval.body["agreement"].get("offer_sha256"))
    return False


def part_used(
    shop: Shop, job_id: str, typed: Mapping[str, Any], *, entry_id: str | None = None
) -> Entry:
    """Write down a part or material that went in.

    Raises
    ------
    FieldProblemsError
        With what is wrong beside each field.
    """
    return write(shop, sheet_of(shop, job_id).job.id, "part-used", typed, entry_id=entry_id)
