"""What closing a job starts from: suspects by odds, agreed against charged, minutes by step."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from typing import Any

from beltside.base.errors import BeltsideError
from beltside.casework.settings import setting
from beltside.casework.shop import Shop
from beltside.casework.shop_agree import part_used
from beltside.casework.shop_comeback import judged
from beltside.casework.shop_find import find_now
from beltside.casework.shop_learning import not_learned, suspects_of, taught
from beltside.casework.shop_teardown import plan_of
from beltside.jobs.entries import Entry, JobSheet


@dataclass(frozen=True)
class StepTook:
    """A step that was done: what was planned and what it took [min], and where it fought back."""

    title: str
    planned: float
    took: float | None
    note: str


@dataclass(frozen=True)
class PartLine:
    """A part or material of the agreed option that is not among those used yet."""

    name: str
    quantity: str
    unit: str
    price: str


@dataclass(frozen=True)
class CloseForm:
    """What closing a job starts from.

    Attributes
    ----------
    suspects
        Name in the catalogue and words, the likeliest first.
    body
        The outcome as written so far; empty values while there is none.
    closed
        Whether the job is closed.
    agreed, sure, currency
        What was agreed to and what it was not to go above in 8 of 10 cases, as text; "" when
        nothing was agreed.
    difference
        Charged less agreed; None while either is missing.
    steps
        Steps done, in the order they were done.
    planned, took
        Sums over the steps that were timed [min].
    parts
        Parts and material used.
    to_take_over
        Lines of the agreed option that are not among them.
    learned, taught
        How many closed jobs the odds rest on; whether this one is among them.
    not_learned
        Why nothing can be learned from it; "" when it can.
    settled
        What a closed comeback says of its earlier job; "" for nothing.
    """

    suspects: Sequence[tuple[str, str]]
    body: Mapping[str, Any]
    closed: bool
    agreed: str
    sure: str
    currency: str
    difference: Decimal | None
    steps: Sequence[StepTook]
    planned: float
    took: float
    parts: Sequence[Entry]
    to_take_over: Sequence[PartLine]
    learned: int
    taught: bool
    not_learned: str
    settled: str


def close_form(shop: Shop, job: JobSheet) -> CloseForm:
    """What is known of how a job ends."""
    outcome = job.newest("outcome")
    body: Mapping[str, Any] = outcome.body if outcome is not None else {}
    approval = job.newest("approval")
    agreement: Mapping[str, Any] = approval.body.get("agreement") or {} if approval else {}
    option: Mapping[str, Any] = agreement.get("option") or {}
    agreed = str(option.get("total") or "")
    steps = _steps(shop, job)
    timed = [one for one in steps if one.took is not None]
    parts = job.of_kind("part-used")
    learned, is_taught = taught(shop, job)
    return CloseForm(
        _by_odds(shop, job),
        body,
        body.get("closed") is True,
        agreed,
        str((option.get("totals") or {}).get("sure") or ""),
        str(body.get("currency") or agreement.get("currency") or setting(shop, "currency") or ""),
        _difference(body.get("charged"), agreed),
        steps,
        sum(one.planned for one in timed),
        sum(one.took or 0.0 for one in timed),
        parts,
        _not_used_yet(option, parts),
        learned,
        is_taught,
        not_learned(shop, job),
        judged(shop, job)[0],
    )


def _by_odds(shop: Shop, job: JobSheet) -> list[tuple[str, str]]:
    known = suspects_of(shop, job)
    first = [one.id for one in find_now(shop, job).result.suspects if one.id in known]
    return [(name, known[name]) for name in dict.fromkeys((*first, *known))]


def _steps(shop: Shop, job: JobSheet) -> list[StepTook]:
    try:
        plan = plan_of(shop, job)
    except BeltsideError:
        return []
    return [
        StepTook(one.step.title, one.step.expected_min, one.minutes, one.note)
        for one in plan.steps
        if one.state == "done"
    ]


def _difference(charged: Any, agreed: str) -> Decimal | None:
    try:
        return Decimal(str(charged)) - Decimal(agreed)
    except InvalidOperation:
        return None


def _not_used_yet(option: Mapping[str, Any], parts: Sequence[Entry]) -> list[PartLine]:
    used = {str(one.body["name"]).casefold() for one in parts}
    lines = {
        str(line["text"]): line for line in option.get("lines") or () if line["group"] == "parts"
    }
    found = []
    for one in option.get("to_buy") or ():
        name = str(one["name"])
        if name.casefold() in used:
            continue
        line = lines.get(name, {})
        quantity = one.get("quantity")
        found.append(
            PartLine(
                name,
                f"{quantity:g}" if isinstance(quantity, int | float) else "",
                str(one.get("unit") or ""),
                str(line.get("amount") or ""),
            )
        )
    return found


def take_over_parts(shop: Shop, job: JobSheet, names: Sequence[str]) -> list[Entry]:
    """Write parts of the agreed option down as used, with what was agreed for them."""
    approval = job.newest("approval")
    agreement: Mapping[str, Any] = approval.body.get("agreement") or {} if approval else {}
    lines = _not_used_yet(agreement.get("option") or {}, job.of_kind("part-used"))
    return [
        part_used(
            shop,
            job.job.id,
            {
                "name": one.name,
                "quantity": float(one.quantity) if one.quantity else 1.0,
                "unit": one.unit,
                **({"price": one.price} if one.price else {}),
            },
        )
        for one in lines
        if one.name in names
    ]
