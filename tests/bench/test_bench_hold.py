"""The simulated cooling systems obey the gas laws, and the bench counts right."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import hold_simulator
import hold_test
from hold_simulator import AMBIENT_KPA, EASY, ORDINARY, Population

# Nothing but a leak: no warmth of pumping, no creep, a fine gauge and a perfect reader.
BARE = Population("bare", (0.3, 0.3), (0.0, 0.0), (0.0, 0.0), (0.01,), (0.0, 0.0), (0.0, 0.0))


def without_cooling(leak: float) -> hold_simulator.Test:
    """The first drawn system that neither cools nor warms."""
    for seed in range(50):
        found = hold_simulator.draw(np.random.default_rng(seed), BARE, leak_ml_min=leak)
        engine = [one for _, _, one in found.readings]
        if max(engine) <= 22:
            return found
    raise AssertionError("no cold system in fifty")


def test_a_bare_tight_system_holds() -> None:
    pressures = [p for _, p, _ in without_cooling(0.0).readings]
    assert max(pressures) - min(pressures) < 0.02


def test_a_bare_leak_falls_by_leak_over_give() -> None:
    """dP/dt = -q / C (Boyle 1662 for the air in C), for the small fall of the first half minute."""
    found = without_cooling(2.0)
    (_, first, _), (minutes, second, _) = found.readings[:2]
    assert (first - second) / minutes == pytest.approx(2.0 / found.give_ml_kpa, rel=0.05)


def test_strokes_put_in_the_air_that_boyle_asks_for() -> None:
    """p_a n V_s = D p C less what the hoses stretch: within a stroke's rounding and the hoses."""
    found = without_cooling(0.0)
    start = found.readings[0][1]
    air_ml = found.strokes * found.stroke_ml
    most = start * (start + AMBIENT_KPA) * found.give_ml_kpa / AMBIENT_KPA
    assert 0.4 * most < air_ml <= most + found.stroke_ml


def test_populations_differ_in_what_they_say() -> None:
    rng = np.random.default_rng(1)
    easy = [hold_simulator.draw(rng, EASY, leak_ml_min=0.0) for _ in range(15)]
    hard = [hold_simulator.draw(rng, hold_simulator.HARD, leak_ml_min=0.0) for _ in range(15)]

    def fall(tests: list[hold_simulator.Test]) -> float:
        return float(np.mean([one.readings[0][1] - one.readings[-1][1] for one in tests]))

    assert fall(hard) > fall(easy)


def test_calibration_error_by_hand() -> None:
    """Two bins of two: stated 0.2 and 0.9, met 0.5 and 1.0: (0.3 + 0.1) / 2."""
    found = hold_test.calibration_error([0.2, 0.2, 0.9, 0.9], [True, False, True, True])
    assert found == pytest.approx(0.2)


def test_a_threshold_at_no_false_alarms_misses_small_leaks() -> None:
    rng = np.random.default_rng(2)
    systems = [hold_simulator.draw(rng, ORDINARY) for _ in range(40)]
    assert hold_test.rule_of_thumb(systems, 0.001) <= hold_test.rule_of_thumb(systems, 0.5)


def test_the_product_on_a_handful() -> None:
    """Large leaks are called and tight systems are not: 12 of each, easy ones."""
    rng = np.random.default_rng(3)
    large = replace(EASY, leaks_ml_min=(20.0, 60.0))
    leaks = [hold_simulator.draw(rng, large, leak_ml_min=30.0) for _ in range(12)]
    tight = [hold_simulator.draw(rng, EASY, leak_ml_min=0.0) for _ in range(12)]
    assert [verdict for _, verdict, _, _ in hold_test.judged(leaks, rng)].count("leaking") == 12
    assert [verdict for _, verdict, _, _ in hold_test.judged(tight, rng)].count("leaking") <= 1
