"""Gain between takes from scattered lines: constants, slopes, outliers, and whether ranges hold."""

from __future__ import annotations

import numpy as np
import pytest

from beltside.base.errors import OutOfRangeError
from beltside.sound.compare_gain import GainPoints, gain_over_frequency, line_gains

AT_HZ = np.array([100.0, 200.0, 400.0, 800.0, 1600.0, 3200.0])
NONE = GainPoints(np.zeros(0), np.zeros(0), np.zeros(0))


def points(rng: np.random.Generator, gain_db: float, scatter_db: float, count: int) -> GainPoints:
    frequency_hz = np.geomspace(60.0, 900.0, count)
    own = np.full(count, 0.5)
    return GainPoints(
        frequency_hz, gain_db + rng.normal(0.0, np.hypot(scatter_db, 0.5), count), own
    )


def test_lines_that_agree_give_their_gain() -> None:
    lines = GainPoints(np.geomspace(60.0, 900.0, 12), np.full(12, -17.0), np.full(12, 0.1))
    found = gain_over_frequency(lines, NONE, AT_HZ)
    assert found.db == pytest.approx(np.full(6, -17.0), abs=0.05)
    assert found.weighted(np.ones(6))[0] == pytest.approx(-17.0, abs=0.05)


def test_one_line_alone_in_the_mean_of_equal_lines() -> None:
    """With one scatter for all, kriging of a constant is the plain mean (textbook)."""
    rng = np.random.default_rng(3)
    lines = points(rng, 5.0, 2.0, 60)
    found = gain_over_frequency(lines, NONE, AT_HZ)
    value, sd = found.weighted(np.ones(6))
    assert value == pytest.approx(float(np.mean(lines.gain_db)), abs=0.35)
    assert sd >= 2.0 / np.sqrt(60.0)


def test_a_few_lines_far_off_do_not_carry_the_rest() -> None:
    rng = np.random.default_rng(5)
    lines = points(rng, 5.0, 1.0, 40)
    spoilt = lines.gain_db.copy()
    spoilt[[4, 17, 30, 31]] -= 12.0
    found = gain_over_frequency(GainPoints(lines.frequency_hz, spoilt, lines.sd_db), NONE, AT_HZ)
    # The plain mean would be off by 1.2 dB.
    assert found.weighted(np.array([1.0, 1.0, 1.0, 0.5, 0.0, 0.0]))[0] == pytest.approx(
        5.0, abs=0.7
    )


def test_another_phone_is_followed_over_frequency() -> None:
    frequency_hz = np.geomspace(60.0, 900.0, 60)
    rng = np.random.default_rng(6)
    slope = 4.0 * np.log2(frequency_hz / 250.0)
    lines = GainPoints(frequency_hz, slope + rng.normal(0.0, 0.7, 60), np.full(60, 0.3))
    found = gain_over_frequency(lines, NONE, np.array([125.0, 250.0, 500.0]))
    assert found.db == pytest.approx([-4.0, 0.0, 4.0], abs=1.0)
    assert found.colour_db > 2.0


def test_far_from_any_line_it_is_less_sure() -> None:
    found = gain_over_frequency(points(np.random.default_rng(8), 0.0, 1.5, 30), NONE, AT_HZ)
    sd = np.sqrt(np.diag(found.covariance))
    assert sd[-1] > sd[2]


@pytest.mark.parametrize("scatter_db", [0.5, 2.0])
def test_ranges_hold(scatter_db: float) -> None:
    """90 % ranges of 120 draws: at least 85 % hold (they are stretched on purpose)."""
    rng = np.random.default_rng(9)
    held = 0
    for _ in range(120):
        found = gain_over_frequency(points(rng, 8.0, scatter_db, 24), NONE, AT_HZ[:4])
        value, sd = found.weighted(np.ones(4))
        held += abs(value - 8.0) <= 1.645 * sd
    assert held >= 102


def test_too_few_lines_are_refused() -> None:
    with pytest.raises(OutOfRangeError, match="3 engine lines"):
        gain_over_frequency(points(np.random.default_rng(1), 0.0, 1.0, 3), NONE, AT_HZ)


def test_only_lines_that_stand_out_in_both_count() -> None:
    power = np.array([10.0, 10.0, 0.1, -1.0])
    sd = np.ones(4)
    found = line_gains((power, sd), (10.0 * power, 10.0 * sd), np.arange(1.0, 5.0))
    assert found.frequency_hz.tolist() == [1.0, 2.0]
    assert found.gain_db == pytest.approx([10.0, 10.0])
