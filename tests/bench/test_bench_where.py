"""The bench of direction counts right."""

from __future__ import annotations

import numpy as np

import where


def test_the_truth_of_a_room_is_an_angle_to_the_side() -> None:
    samples, band, angle_deg = where.room_take(1)
    assert samples.shape == (2, 3 * where.RATE_HZ)
    assert 0.0 < band[0] < band[1] < 0.45 * where.RATE_HZ
    # 0.35 m to the side, 0.3 m away, at most: plane geometry.
    assert abs(angle_deg) < np.rad2deg(np.arctan(0.35 / 0.3))
