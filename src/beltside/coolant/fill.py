"""A ledger of what came out and what went in, and the air that is still inside.

Method and sources: docs/methods/coolant-fill.md.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from beltside.base.errors import OutOfRangeError, require_range

MEASURING_ERROR: Final = 0.02
"""Error of a measured amount, as a share of it, on top of `MEASURING_ERROR_L` (own choice)."""
MEASURING_ERROR_L: Final = 0.05
SPILL_ERROR: Final = 0.5
"""What was spilled is a guess: half of it either way (own choice)."""

BLEED_STEPS: Final = (
    "Park level or nose up, so that the filler is the highest point. Engine cold, heater at full "
    "heat.",
    "Open the bleed screws there are. Fill slowly until what comes out of them is free of bubbles, "
    "close them from the lowest to the highest.",
    "Squeeze the top hose slowly a few times; top up until the level stands still.",
    "Cap on, or a funnel that stands full. Run at idle until the thermostat opens (both radiator "
    "hoses hot), then 2,000 rpm for a minute; watch the temperature and stop if it climbs.",
    "The heater must blow hot and stay hot at idle; cold air from it means air in its core.",
    "Let it cool fully, overnight if it can be, and look at the level again before opening.",
)
"""Generic and vehicle-neutral: common practice, no source."""

MOST_OUT: Final = 1.5
"""More than so many times the capacity can't come out; own choice, for a capacity badly known."""


@dataclass(frozen=True)
class Ledger:
    """Where the coolant went.

    Attributes
    ----------
    out_l, in_l
        Came out (drained, spilled, lost before), and went in [L].
    missing_l, missing_low_l, missing_high_l
        Air still inside, or what is still to go in, with its 90 % range [L]; negative means more
        went in than came out.
    settled
        Whether the range reaches to nothing missing.
    recheck_l
        By how much the level may sink after the first heat cycle [L].
    warnings
        What to know.
    """

    out_l: float
    in_l: float
    missing_l: float
    missing_low_l: float
    missing_high_l: float
    settled: bool
    recheck_l: float
    warnings: tuple[str, ...]


def ledger(
    drained_l: Sequence[float],
    poured_l: Sequence[float],
    *,
    spilled_l: float = 0.0,
    lost_before_l: float = 0.0,
    capacity_l: float | None = None,
    dry: bool = False,
) -> Ledger:
    """Balance of amounts [L], each a measured one.

    `lost_before_l` was missing when the car came. With `dry` (a new or blown-out system) all of
    `capacity_l` counts as out.

    Raises
    ------
    OutOfRangeError
        Amounts outside 0 to 60 L, more out than the capacity, or nothing at all.
    """
    for name, amounts in (("drained", drained_l), ("poured", poured_l)):
        for amount in amounts:
            require_range(f"amount {name}", amount, 0.0, 60.0, "L")
    require_range("amount spilled", spilled_l, 0.0, 60.0, "L")
    require_range("amount lost before", lost_before_l, 0.0, 60.0, "L")
    if capacity_l is not None:
        require_range("capacity", capacity_l, 0.5, 60.0, "L")
    if dry and capacity_l is None:
        raise OutOfRangeError(
            "a dry system without its capacity", allowed="the capacity in litres with it"
        )
    out_l = sum(drained_l) + spilled_l + lost_before_l
    if dry and capacity_l is not None:
        out_l = capacity_l
    in_l = sum(poured_l)
    if out_l + in_l <= 0.0:
        raise OutOfRangeError(
            "nothing came out and nothing went in", allowed="at least one measured amount"
        )
    if capacity_l is not None and out_l > MOST_OUT * capacity_l:
        raise OutOfRangeError(
            f"{out_l:g} L came out of a system said to hold {capacity_l:g} L",
            allowed=f"up to {MOST_OUT * capacity_l:g} L",
            instead="check the decimal point, the unit and the capacity",
        )
    variance = sum(_variance(amount) for amount in (*drained_l, *poured_l))
    variance += (SPILL_ERROR * spilled_l / 1.645) ** 2 + (SPILL_ERROR * lost_before_l / 1.645) ** 2
    if dry:
        variance = sum(_variance(amount) for amount in poured_l) + (0.05 * out_l / 1.645) ** 2
    missing = out_l - in_l
    half = 1.645 * math.sqrt(variance)
    warnings = []
    if capacity_l is not None and out_l > 1.1 * capacity_l:
        warnings.append(
            f"{out_l:.1f} L came out of a system said to hold {capacity_l:g} L: check the figures"
        )
    if missing < -half:
        warnings.append(
            "more went in than came out: it was low before, an amount was missed, or it is overfull"
        )
    if missing - half > 0.5:
        warnings.append(
            "more than half a litre is still missing: don't run the engine up to heat before the "
            "level stands; air at the head boils the rest"
        )
    return Ledger(
        out_l,
        in_l,
        missing,
        missing - half,
        missing + half,
        missing - half <= 0.0 <= missing + half,
        max(missing + half, 0.0),
        tuple(warnings),
    )


def _variance(amount_l: float) -> float:
    return (MEASURING_ERROR * amount_l) ** 2 + (MEASURING_ERROR_L if amount_l > 0.0 else 0.0) ** 2
