"""Draining and pouring: masses and volumes must add up, containers must be the cheapest."""

from __future__ import annotations

from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from beltside.base.errors import OutOfRangeError
from beltside.coolant import glycol
from beltside.coolant.adjust import Container, adjust, buy


@settings(max_examples=20, deadline=None)
@given(
    st.floats(4.0, 14.0),
    st.floats(0.0, 0.5),
    st.floats(0.0, 0.8),
    st.floats(0.1, 0.6),
    st.sampled_from([0.5, 1.0]),
)
def test_what_is_poured_gives_the_target(
    capacity: float, stays_share: float, now: float, target: float, product_volume: float
) -> None:
    """Check by mixing: glycol and water by mass, then the volume of the whole."""
    try:
        plans = adjust(
            "ethylene",
            capacity_l=capacity,
            stays_l=stays_share * capacity,
            now_volume=now,
            target_volume=target,
            product_volume=product_volume,
        )
    except OutOfRangeError:
        return
    for plan in plans:
        parts = [
            (capacity - plan.drain_l, now),
            (plan.product_l, product_volume),
            (plan.water_l, 0.0),
        ]
        kg = glycol_kg = 0.0
        for litres, volume in parts:
            mass = glycol.mass_from_volume("ethylene", volume)
            part = litres * glycol.density_20_kg_m3("ethylene", mass)
            kg, glycol_kg = kg + part, glycol_kg + part * mass
        reached = glycol_kg / kg
        assert glycol.volume_from_mass("ethylene", reached) == pytest.approx(target, abs=1e-4)
        assert kg / glycol.density_20_kg_m3("ethylene", reached) == pytest.approx(
            capacity, rel=1e-4
        )
        assert plan.drain_l <= capacity * (1 - stays_share) + 1e-6
        assert plan.shrinkage_l >= -0.01


def test_half_and_half_from_empty_by_hand() -> None:
    """8 L: half concentrate, half water, and about 0.09 L more for shrinkage (1.1 %)."""
    (plan,) = adjust("ethylene", capacity_l=8.0, stays_l=0.0, now_volume=0.0, target_volume=0.5)[
        -1:
    ]
    assert plan.product_l == pytest.approx(plan.water_l, rel=1e-4)
    assert plan.shrinkage_l == pytest.approx(0.09, abs=0.02)


def test_least_draining_needs_only_concentrate_to_strengthen() -> None:
    least, full = adjust("ethylene", capacity_l=8.0, stays_l=3.0, now_volume=0.4, target_volume=0.5)
    assert least.water_l == pytest.approx(0.0, abs=1e-3)
    assert least.drain_l < full.drain_l
    # By shares, without shrinkage: x = (0.5 - 0.4) * 8 / (1 - 0.4) = 1.33 L.
    assert least.drain_l == pytest.approx(1.33, abs=0.06)


def test_nothing_to_do_is_no_plan() -> None:
    assert (
        adjust("ethylene", capacity_l=8.0, stays_l=3.0, now_volume=0.5, target_volume=0.502) == ()
    )


def test_out_of_reach_says_what_can_be_reached() -> None:
    with pytest.raises(OutOfRangeError, match=r"up to 3\d % with this product"):
        adjust(
            "ethylene",
            capacity_l=8.0,
            stays_l=4.0,
            now_volume=0.2,
            target_volume=0.5,
            product_volume=0.5,
        )
    with pytest.raises(OutOfRangeError, match="down to"):
        adjust("ethylene", capacity_l=8.0, stays_l=6.0, now_volume=0.9, target_volume=0.3)


@pytest.mark.parametrize(
    "bad",
    [
        {"capacity_l": 0.0},
        {"stays_l": 9.0},
        {"now_volume": 1.4},
        {"target_volume": 0.95},
        {"product_volume": 0.0},
    ],
)
def test_figures_outside_are_refused(bad: dict[str, float]) -> None:
    given_: dict[str, float] = {
        "capacity_l": 8.0,
        "stays_l": 2.0,
        "now_volume": 0.3,
        "target_volume": 0.5,
        **bad,
    }
    with pytest.raises(OutOfRangeError):
        adjust("ethylene", **given_)


@settings(max_examples=30, deadline=None)
@given(
    st.floats(0.5, 12.0),
    st.lists(
        st.tuples(st.sampled_from([1.0, 1.5, 2.0, 5.0]), st.floats(2.0, 60.0)),
        min_size=1,
        max_size=3,
        unique_by=lambda row: row[0],
    ),
)
def test_containers_are_the_cheapest(litres: float, rows: list[tuple[float, float]]) -> None:
    """Against trying every count up to 13 of each."""
    bought = buy(litres, tuple(Container(size, price) for size, price in rows))
    cheapest = min(
        sum(n * price for n, (_, price) in zip(counts, rows, strict=True))
        for counts in product(range(14), repeat=len(rows))
        if sum(n * size for n, (size, _) in zip(counts, rows, strict=True)) >= litres - 1e-9
    )
    assert bought.cost == pytest.approx(cheapest)
    assert bought.litres >= litres - 1e-6


def test_without_prices_the_least_is_left_over() -> None:
    bought = buy(5.4, (Container(5.0), Container(1.0)))
    assert bought.containers == ((5.0, 1), (1.0, 1))
    assert bought.cost is None
    with pytest.raises(OutOfRangeError, match="containers"):
        buy(200.0, (Container(1.0),))
