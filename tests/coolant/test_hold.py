"""Verdicts on hold tests with known truth, on odd ones, and how sure they may be."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from beltside.base.errors import OutOfRangeError
from beltside.coolant.hold import LEAK_ML_MIN, WANDER_KPA_MIN, hold_test, leak_odds
from beltside.coolant.hold_plan import minutes_more, smallest_leak_ml_min, what_would_help
from beltside.coolant.hold_readings import Reading
from beltside.coolant.hold_slope import Slope
from beltside.coolant.hold_system import HoldSetup, cooling, gives


def readings(
    leak_ml_min: float,
    *,
    give: float = 2.5,
    step: float = 1.0,
    minutes: float = 5.0,
    start: float = 107.0,
    noise: float = 0.2,
    seed: int = 1,
    at: float = 0.0,
) -> list[Reading]:
    """A plain system: settles by 2 kPa within half a minute, then falls by leak over give."""
    rng = np.random.default_rng(seed)
    found = []
    for t in np.arange(0.0, minutes + 1e-9, 0.5):
        kpa = start - 2.0 * (1.0 - math.exp(-t / 0.3)) - leak_ml_min / give * t
        kpa = step * np.round((kpa + rng.normal(0.0, noise)) / step)
        found.append(Reading(float(at + t), max(float(kpa), 0.0)))
    return found


COUNTED = HoldSetup(cap_kpa=108.0, gauge_step_kpa=1.0, strokes=8.0, stroke_ml=60.0)


@pytest.mark.parametrize("leak", [8.0, 15.0, 60.0, 200.0])
def test_a_leak_is_called_and_its_rate_is_in_the_range(leak: float) -> None:
    found = hold_test(readings(leak), COUNTED)
    assert found.verdict == "leaking"
    assert found.odds.probability > 0.9
    assert found.odds.ml_min_low <= leak <= found.odds.ml_min_high


@pytest.mark.parametrize("seed", range(6))
def test_a_tight_system_is_not_called(seed: int) -> None:
    found = hold_test(readings(0.0, seed=seed), COUNTED)
    assert found.verdict == "tight"
    assert found.odds.probability < 0.1


def test_a_burst_system_leaks() -> None:
    kpa = (108, 30, 5, 0, 0, 0)
    found = hold_test([Reading(0.5 * i, value) for i, value in enumerate(kpa)])
    assert found.verdict == "leaking"
    assert found.odds.probability > 0.99


def test_one_reading_says_nothing() -> None:
    found = hold_test([Reading(0.0, 108.0)])
    assert found.verdict == "not yet known"
    assert found.odds.probability == 0.5
    assert found.fall_kpa_min is None
    assert smallest_leak_ml_min(found) is None
    assert minutes_more(found) is None


def test_two_readings_are_not_enough() -> None:
    found = hold_test([Reading(0.0, 108.0), Reading(0.5, 107.0)], COUNTED)
    assert found.verdict == "not yet known"


def test_more_minutes_make_it_surer() -> None:
    chances = [
        hold_test(readings(4.0, minutes=minutes, noise=0.0), COUNTED).odds.probability
        for minutes in (1.0, 3.0, 6.0, 12.0)
    ]
    assert chances[-1] > 0.95
    assert chances == sorted(chances)


def test_a_cooling_engine_is_no_leak() -> None:
    """0.6 K/min on about 5 mL/K take 3 mL/min: a fall that temperatures explain."""
    fall = [
        Reading(one.minutes, one.gauge_kpa, 60.0 - 0.6 * one.minutes, 15.0)
        for one in readings(3.0, minutes=8.0)
    ]
    bare = [Reading(one.minutes, one.gauge_kpa) for one in fall]
    told = hold_test(fall, COUNTED)
    assert told.odds.probability < hold_test(bare, COUNTED).odds.probability
    assert told.verdict != "leaking"
    assert told.cooling_kpa_min > 0.5


def test_counted_strokes_set_the_scale() -> None:
    """The same fall on a system twice as springy is twice the leak."""
    fall = readings(12.0)
    small = hold_test(fall, HoldSetup(gauge_step_kpa=1.0, strokes=6.0, stroke_ml=60.0))
    large = hold_test(fall, HoldSetup(gauge_step_kpa=1.0, strokes=14.0, stroke_ml=60.0))
    assert large.odds.ml_min / small.odds.ml_min == pytest.approx(14 / 6, rel=0.3)


def test_pumped_again_is_seen_and_both_runs_count() -> None:
    first = readings(10.0, minutes=2.5)
    again = [*first, *readings(10.0, minutes=3.0, seed=2, at=3.0)]
    found = hold_test(again, COUNTED)
    assert found.runs == 2
    assert found.verdict == "leaking"
    assert found.odds.ml_min_low <= 10.0 <= found.odds.ml_min_high


def test_a_needle_that_never_moves_on_a_fine_gauge_sticks() -> None:
    still = [Reading(0.5 * i, 108.3) for i in range(11)]
    found = hold_test(still, HoldSetup(gauge_step_kpa=0.1))
    assert found.stuck > 0.5
    assert found.verdict == "not yet known"
    assert "tap" in what_would_help(found, strokes_counted=True, temperatures=True)[0]


def test_equal_readings_on_a_coarse_gauge_are_a_tight_system() -> None:
    still = [Reading(0.5 * i, 105.0) for i in range(11)]
    found = hold_test(still, HoldSetup(gauge_step_kpa=5.0))
    assert found.stuck < 0.5
    assert found.verdict != "leaking"


def test_a_leaking_tester_is_taken_off() -> None:
    """A tester that loses 3 kPa/min alone on 0.6 mL/kPa explains 1.8 mL/min of the fall."""
    fall = readings(4.0, minutes=8.0)
    plain = hold_test(fall, COUNTED)
    tester = hold_test(
        fall,
        HoldSetup(gauge_step_kpa=1.0, strokes=8.0, stroke_ml=60.0, tester_kpa_min=3.0),
    )
    assert tester.tester_ml_min == pytest.approx(1.8)
    assert tester.odds.probability < plain.odds.probability


def test_smallest_leak_seen_shrinks_with_time_and_grows_with_the_step() -> None:
    def smallest(step: float, minutes: float) -> float:
        setup = HoldSetup(gauge_step_kpa=step, strokes=8.0, stroke_ml=60.0)
        found = smallest_leak_ml_min(hold_test(readings(0.0, step=step, minutes=minutes), setup))
        assert found is not None
        return found

    assert smallest(1.0, 10.0) < smallest(1.0, 4.0)
    assert smallest(1.0, 5.0) < smallest(5.0, 5.0)


def test_minutes_more_are_about_what_it_takes() -> None:
    """Read on for what is said and a while longer; the question is then settled."""
    short = hold_test(readings(0.0, minutes=1.5, noise=0.0), COUNTED)
    assert short.verdict == "not yet known"
    more = minutes_more(short)
    assert more is not None
    later = hold_test(readings(0.0, minutes=1.5 + 2.0 * more, noise=0.0), COUNTED)
    assert later.verdict == "tight"


def test_odds_against_numerical_integration() -> None:
    """Leak, give and cooling integrated on a fine mesh with numpy for one slope."""
    setup = HoldSetup(strokes=8.0, stroke_ml=60.0)
    systems = gives(setup, 107.0)
    cools = cooling([Reading(0, 107), Reading(5, 100)])
    slope = Slope(1.0, 1.6, 0.4)
    ours = leak_odds((slope,), systems, cools, matters_ml_min=3.0)
    z = np.linspace(-3.2, 4.8, 1500)
    rates = LEAK_ML_MIN[0] * np.exp(LEAK_ML_MIN[1] * z)
    weights = np.exp(-0.5 * z**2) / np.exp(-0.5 * z**2).sum()
    tight = leaking = matters = 0.0
    for system in systems:
        for way, mean, deviation in cools.ways:
            var = (
                0.4**2 + (system.ml_per_k * deviation / system.ml_per_kpa) ** 2 + WANDER_KPA_MIN**2
            )
            off = 1.6 - system.ml_per_k * mean / system.ml_per_kpa

            def density(x: np.ndarray, var: float = var) -> np.ndarray:
                return np.exp(-0.5 * x**2 / var) / np.sqrt(var)

            share = system.weight * way
            tight += share * float(density(np.array([off]))[0])
            give = system.ml_per_kpa
            leaking += share * float(weights @ density(off - rates / give))
            matters += share * float((weights * (rates >= 3.0)) @ density(off - rates / give))
    assert ours.probability == pytest.approx(leaking / (leaking + tight), abs=0.02)
    assert ours.matters == pytest.approx(matters / (leaking + tight), abs=0.02)


def test_what_matters_decides_what_is_tight() -> None:
    """A fall of 1 mL/min on a gauge with steps of 1 kPa: no leak of 3, perhaps one of 0.3."""
    assert hold_test(readings(1.0), COUNTED).verdict == "tight"
    asked = replace(COUNTED, matters_ml_min=0.3)
    assert hold_test(readings(1.0), asked).verdict == "not yet known"


def test_no_test_is_so_short_that_all_is_tight() -> None:
    """Under three minutes nothing is called tight, however still the needle stands."""
    still = [Reading(0.25 * i, 108.0) for i in range(9)]
    assert hold_test(still, COUNTED).verdict != "tight"


@pytest.mark.parametrize("bad", [[], [Reading(1.0, 108.0), Reading(0.0, 107.0)]])
def test_nonsense_is_refused(bad: Sequence[Reading]) -> None:
    with pytest.raises(OutOfRangeError):
        hold_test(bad)
