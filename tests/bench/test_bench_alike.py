"""The bench of the fingerprint counts right, and its cars are recorded twice."""

from __future__ import annotations

import numpy as np
import pytest

import alike
import same_noise
from beltside.casework.shipped import fingerprint_nuisance
from beltside.sound.fingerprint import (
    ZONES_HZ,
    AtSpeed,
    Fingerprint,
    rhythm_orders,
    ringing_hz,
    tone_orders,
)


def printed(car: int, cause: str, order: float, seed: int) -> alike.Printed:
    """A take that beats at one order."""
    rng = np.random.default_rng(seed)
    rhythm = 0.05 * rng.random((len(ZONES_HZ), rhythm_orders().size))
    rhythm[:, np.argmin(np.abs(rhythm_orders() - order))] += 2.0
    at = AtSpeed(1.0, rhythm, 0.05 * rng.random(tone_orders().size))
    one = Fingerprint((at,), np.full(ringing_hz().size, 0.01))
    return alike.Printed("rig", car, cause, 6.0, one, one)


PRINTS = [
    printed(1, "idler.bearing", 5.0, 1),
    printed(1, "idler.bearing", 5.0, 2),
    printed(2, "fan.bearing", 9.0, 3),
    printed(3, "belt.damage", 9.0, 4),
    printed(4, "none", 2.0, 5),
]


def test_right_is_the_same_cause_first_and_healthy_takes_are_not_asked() -> None:
    found = alike.nearest_of(PRINTS, lambda one: one.by_ear, fingerprint_nuisance())
    assert [one.right for one in found] == [True, True, False, False]
    assert [one.cause for one in found] == [
        "idler.bearing", "idler.bearing", "fan.bearing", "belt.damage"
    ]  # fmt: skip
    assert all(one.lead >= 0.0 for one in found)


def test_without_its_own_car_a_take_has_only_others_to_be_like() -> None:
    found = alike.nearest_of(PRINTS, lambda one: one.by_ear, fingerprint_nuisance(), own_car=False)
    assert [one.right for one in found] == [False] * 4


def test_the_chance_said_stands_beside_the_share_right() -> None:
    near = [alike.Nearest("x.y", place < 9, 0.2, 0.5) for place in range(10)]
    ((_, _, count, said, right),) = alike.chance_rows(near)
    assert count == 10
    assert right == pytest.approx(0.9)
    assert said == pytest.approx(alike.chance_right(0.2, 0.5))


@pytest.mark.parametrize("source", sorted(same_noise.SIMULATORS))
def test_a_car_is_recorded_at_idle_and_faster_and_the_same_again(source: str) -> None:
    one, again = (same_noise.SIMULATORS[source](5) for _ in range(2))
    slow, fast = (float(np.median(take.truth_rpm)) for take in one.takes)
    assert fast > slow
    assert max(one.takes[1].truth_rpm) > 1.3 * slow
    for take, other in zip(one.takes, again.takes, strict=True):
        assert np.array_equal(take.samples, other.samples)
        assert take.samples.shape[1] == pytest.approx(8 * take.sample_rate_hz, rel=0.02)
        assert take.samples.any()
