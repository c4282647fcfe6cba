"""How much to drain and what to pour to reach a strength.

Method and sources: docs/methods/coolant-adjust.md.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from beltside.base.errors import OutOfRangeError, require_range
from beltside.coolant import glycol
from beltside.coolant.glycol import Glycol

POURING_ERROR_L: Final = 0.1
_NEAR: Final = 0.005
MOST_CONTAINERS: Final = 60


@dataclass(frozen=True)
class Container:
    """A container on the shelf: its size [L] and its price, None when not known."""

    size_l: float
    price: float | None = None


@dataclass(frozen=True)
class Bought:
    """What is opened to have at least the litres needed.

    Attributes
    ----------
    containers
        (size [L], how many).
    litres, left_over_l
        Bought in all, and what stays for the shelf [L].
    cost
        What the containers cost; None when a price is missing.
    cost_used
        The part of it that went in.
    """

    containers: tuple[tuple[float, int], ...]
    litres: float
    left_over_l: float
    cost: float | None
    cost_used: float | None


@dataclass(frozen=True)
class Plan:
    """One way to the target.

    Attributes
    ----------
    name
        "drain least" or "drain all that comes".
    drain_l
        To let out first [L].
    product_l, water_l
        To pour in: concentrate or premix, and distilled water [L]; at 20 °C.
    shrinkage_l
        By how much less the whole is than what was put together [L].
    final_volume
        Volume fraction of glycol reached.
    bought
        Containers of the product, None when none is needed.
    """

    name: str
    drain_l: float
    product_l: float
    water_l: float
    shrinkage_l: float
    final_volume: float
    bought: Bought | None


def _amounts(
    kind: Glycol, capacity_l: float, drained_l: float, now: float, target: float, product: float
) -> tuple[float, float]:
    """Litres of product and water after draining; mass fractions in. Negative where it can't be.

    Masses of glycol and of everything add up, and the volume at the end is the capacity.
    """
    stays_kg = (capacity_l - drained_l) * glycol.density_20_kg_m3(kind, now)
    whole_kg = capacity_l * glycol.density_20_kg_m3(kind, target)
    product_kg = (target * whole_kg - now * stays_kg) / product
    water_kg = whole_kg - stays_kg - product_kg
    return (
        product_kg / glycol.density_20_kg_m3(kind, product),
        water_kg / glycol.density_20_kg_m3(kind, 0.0),
    )


def adjust(
    kind: Glycol,
    *,
    capacity_l: float,
    stays_l: float,
    now_volume: float,
    target_volume: float,
    product_volume: float = 1.0,
    shelf: Sequence[Container] = (),
) -> tuple[Plan, ...]:
    """Ways from one strength to another, the least draining first.

    Strengths are volume fractions of glycol (of what was poured together, 20 °C); `stays_l` is
    what block and heater keep after a full drain [L]; `product_volume` is 1 for concentrate, 0.5
    for a half and half premix. No plan when the target is met already.

    Raises
    ------
    OutOfRangeError
        Capacity 0.5 to 60 L, strengths outside 0 to 1, a target above 0.6; or when the target
        can't be reached with this product after one drain: the message says what can.
    """
    require_range("capacity", capacity_l, 0.5, 60.0, "L")
    require_range("what stays in", stays_l, 0.0, 60.0, "L")
    if stays_l >= capacity_l:
        raise OutOfRangeError(
            f"{stays_l:g} L stay in, of a capacity of {capacity_l:g} L",
            allowed="less than the capacity",
        )
    require_range("strength now", now_volume, 0.0, 1.0, "of 1")
    require_range("strength wanted", target_volume, 0.0, 0.6, "of 1")
    require_range("strength of the product", product_volume, 0.2, 1.0, "of 1")
    if abs(now_volume - target_volume) < _NEAR:
        return ()
    now, target, product = (
        glycol.mass_from_volume(kind, value)
        for value in (now_volume, target_volume, product_volume)
    )
    most_l = capacity_l - stays_l
    full = _amounts(kind, capacity_l, most_l, now, target, product)
    if min(full) < -1e-9:
        raise _out_of_reach(kind, capacity_l, stays_l, now, now_volume, target_volume, product)
    plans = []
    least_l = _least_drain(kind, capacity_l, most_l, now, target, product)
    for name, drain_l in (("drain least", least_l), ("drain all that comes", most_l)):
        product_l, water_l = (
            max(value, 0.0) for value in _amounts(kind, capacity_l, drain_l, now, target, product)
        )
        put_together = capacity_l - drain_l + product_l + water_l
        plans.append(
            Plan(
                name,
                drain_l,
                product_l,
                water_l,
                put_together - capacity_l,
                target_volume,
                buy(product_l, shelf) if shelf and product_l > 0.01 else None,
            )
        )
        if most_l - least_l < 0.02:
            break
    return tuple(plans)


def _least_drain(
    kind: Glycol, capacity_l: float, most_l: float, now: float, target: float, product: float
) -> float:
    """The least that must come out so that neither amount is negative [L].

    Both amounts run straight with what is drained, so the crossing of zero is exact.
    """
    least_l = 0.0
    none = _amounts(kind, capacity_l, 0.0, now, target, product)
    full = _amounts(kind, capacity_l, most_l, now, target, product)
    for at_none, at_full in zip(none, full, strict=True):
        if at_none < 0.0 <= at_full:
            least_l = max(least_l, most_l * at_none / (at_none - at_full))
    return min(least_l, most_l)


def _out_of_reach(
    kind: Glycol,
    capacity_l: float,
    stays_l: float,
    now: float,
    now_volume: float,
    target_volume: float,
    product: float,
) -> OutOfRangeError:
    """What one drain and this product can do, when the target is beyond it."""
    stays_kg = stays_l * glycol.density_20_kg_m3(kind, now)
    stronger = target_volume > now_volume
    added = product if stronger else 0.0
    added_kg = (capacity_l - stays_l) * glycol.density_20_kg_m3(kind, added)
    mass = (now * stays_kg + added * added_kg) / (stays_kg + added_kg)
    reached = glycol.volume_from_mass(kind, mass)
    other = "with concentrate, or by draining twice" if stronger else "draining and filling twice"
    return OutOfRangeError(
        f"one drain that leaves {stays_l:g} L in can't bring {100 * now_volume:.0f} % to "
        f"{100 * target_volume:.0f} %",
        allowed=f"up to {100 * reached:.0f} % with this product"
        if stronger
        else f"down to {100 * reached:.0f} %",
        instead=other,
    )


def buy(litres: float, shelf: Sequence[Container]) -> Bought:
    """Containers that hold at least `litres` [L]: the cheapest, or the least left over.

    Exact search over counts in steps of the smallest container.

    Raises
    ------
    OutOfRangeError
        Sizes outside 0.1 to 220 L, prices below 0, or more than 60 containers needed.
    """
    for one in shelf:
        require_range("container", one.size_l, 0.1, 220.0, "L")
        if one.price is not None:
            require_range("price of a container", one.price, 0.0, 100000.0, "")
    priced = all(one.price is not None for one in shelf)
    largest = max(one.size_l for one in shelf)
    if litres / largest > MOST_CONTAINERS:
        raise OutOfRangeError(
            f"{litres:.1f} L from containers of up to {largest:g} L",
            allowed=f"at most {MOST_CONTAINERS} containers",
        )
    best: tuple[float, float, int, tuple[int, ...]] | None = None
    sizes = sorted(shelf, key=lambda one: -one.size_l)

    def search(index: int, missing: float, cost: float, bought: float, counts: list[int]) -> None:
        nonlocal best
        if best is not None and priced and cost > best[0] + 1e-9:
            return
        if index == len(sizes) - 1 or missing <= 1e-9:
            last = sizes[index]
            more = max(-(-(missing - 1e-9) // last.size_l), 0.0)
            total = bought + more * last.size_l
            whole = [*counts, int(more), *[0] * (len(sizes) - index - 1)]
            money = cost + more * (last.price or 0.0)
            key = (money if priced else 0.0, round(total - litres, 6), sum(whole), tuple(whole))
            if best is None or key < best:
                best = key
            return
        one = sizes[index]
        for count in range(int(-(-missing // one.size_l)), -1, -1):
            search(
                index + 1,
                missing - count * one.size_l,
                cost + count * (one.price or 0.0),
                bought + count * one.size_l,
                [*counts, count],
            )

    search(0, litres, 0.0, 0.0, [])
    assert best is not None
    counts = best[3]
    total = sum(count * one.size_l for count, one in zip(counts, sizes, strict=True))
    cost = best[0] if priced else None
    return Bought(
        tuple((one.size_l, count) for one, count in zip(sizes, counts, strict=True) if count),
        total,
        total - litres,
        cost,
        None if cost is None else cost * litres / total,
    )
