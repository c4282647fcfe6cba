"""The bench of direction and fingerprint counts right."""

from __future__ import annotations

import numpy as np

import where
from beltside.sound.fingerprint import ZONES_HZ, Fingerprint, rhythm_orders, tone_orders


def printed(car: int, cause: str, order: float, seed: int) -> where.Printed:
    """A take that beats at one order."""
    rng = np.random.default_rng(seed)
    rhythm = 0.05 * rng.random((len(ZONES_HZ), rhythm_orders().size))
    rhythm[:, np.argmin(np.abs(rhythm_orders() - order))] += 2.0
    one = Fingerprint(rhythm, 0.05 * rng.random(tone_orders().size), np.zeros(7))
    return where.Printed(car, cause, 6.0, one, one)


def test_right_is_the_same_cause_first_and_healthy_takes_are_not_asked() -> None:
    prints = [
        printed(1, "idler.bearing", 5.0, 1),
        printed(1, "idler.bearing", 5.0, 2),
        printed(2, "fan.bearing", 9.0, 3),
        printed(3, "belt.damage", 9.0, 4),
        printed(4, "none", 2.0, 5),
    ]
    right, causes = where.nearest_right(prints, lambda one: one.by_ear)
    assert right == [True, True, False, False]
    assert causes == ["idler.bearing", "idler.bearing", "fan.bearing", "belt.damage"]


def test_the_truth_of_a_room_is_an_angle_to_the_side() -> None:
    samples, band, angle_deg = where.room_take(1)
    assert samples.shape == (2, 3 * where.RATE_HZ)
    assert 0.0 < band[0] < band[1] < 0.45 * where.RATE_HZ
    # 0.35 m to the side, 0.3 m away, at most: plane geometry.
    assert abs(angle_deg) < np.rad2deg(np.arctan(0.35 / 0.3))
