"""Give and cooling of a system, against gas laws by hand."""

from __future__ import annotations

import pytest

from beltside.base.errors import OutOfRangeError
from beltside.coolant.hold_readings import Reading
from beltside.coolant.hold_system import (
    HoldSetup,
    cooling,
    give_from_strokes,
    gives,
    require_setup,
)


def test_more_strokes_mean_more_air() -> None:
    few = give_from_strokes(5, 60.0, 0.0, 108.0, 101.325)
    many = give_from_strokes(20, 60.0, 0.0, 108.0, 101.325)
    assert many > 3.0 * few


def test_counting_narrows_what_the_system_may_be() -> None:
    def reach(setup: HoldSetup) -> float:
        found = [one.ml_per_kpa for one in gives(setup, 108.0)]
        return max(found) / min(found)

    assert reach(HoldSetup(strokes=12, stroke_ml=60.0)) < 3.0 < 20.0 < reach(HoldSetup())


def test_stated_air_gives_boyles_give() -> None:
    """0.8 L of room at 209.3 kPa absolute give V/p = 3.8 mL/kPa (Boyle 1662); hoses add 0.5, and
    their stretch of 54 mL makes room for a little more air."""
    found = gives(HoldSetup(air_l=0.8), 108.0)
    middle = found[len(found) // 2].ml_per_kpa
    assert middle == pytest.approx(800.0 / 209.325 + 54.0 / 209.325 + 0.5, rel=1e-6)


def test_a_kelvin_takes_coolant_and_air() -> None:
    """7 L at 4.7e-4 1/K are 3.3 mL/K; a gas at 293 K loses 1/293 of its volume each kelvin."""
    (lean, *_), (*_, rich) = gives(HoldSetup(), 108.0), gives(HoldSetup(), 108.0)
    assert 3.2 < lean.ml_per_k < rich.ml_per_k
    air_ml = (rich.ml_per_kpa - 0.5) * 209.325
    assert rich.ml_per_k == pytest.approx(3.29 + air_ml / 293.15, rel=1e-3)


def test_cooling_from_two_temperatures_and_from_a_row_of_them() -> None:
    """Newton: 60 °C in 20 °C with 120 min gives 0.33 K/min at first."""
    start = cooling([Reading(0, 108, engine_c=60.0, air_c=20.0), Reading(5, 100)])
    assert start.known
    assert start.mean_k_min == pytest.approx(0.333, abs=0.01)
    row = cooling([Reading(i, 108, engine_c=40.0 - 0.5 * i, air_c=20.0) for i in range(11)])
    assert row.mean_k_min == pytest.approx(0.4, abs=0.12)
    assert row.ways[0][2] < start.ways[0][2]


def test_nothing_read_is_mostly_cold() -> None:
    found = cooling([Reading(0, 108), Reading(5, 100)])
    assert not found.known
    assert 0.0 < found.mean_k_min < 0.1


@pytest.mark.parametrize(
    "setup",
    [
        HoldSetup(cap_kpa=500.0),
        HoldSetup(gauge_step_kpa=0.0),
        HoldSetup(capacity_l=0.0),
        HoldSetup(strokes=5.0),
        HoldSetup(stroke_ml=60.0),
        HoldSetup(strokes=-1.0, stroke_ml=60.0),
        HoldSetup(tester_kpa_min=-1.0),
        HoldSetup(matters_ml_min=0.0),
        HoldSetup(ambient_kpa=float("nan")),
    ],
)
def test_setups_of_no_test_are_refused(setup: HoldSetup) -> None:
    with pytest.raises(OutOfRangeError):
        require_setup(setup)


def test_strokes_that_raised_nothing_are_refused() -> None:
    with pytest.raises(OutOfRangeError, match="rise"):
        give_from_strokes(5, 60.0, 0.0, 2.0, 101.3)
