"""A muffled take told from another phone and from a repair.

Truths are made here; the mass law (sound insulation of a thin sheet rises by 6 dB for each octave)
is from textbooks of building acoustics, from memory.
"""

from __future__ import annotations

import numpy as np
import pytest

from beltside.sound.compare_gain import GainPoints
from beltside.sound.compare_muffled import Tilt, engine_tilt, level_tilt, muffled_chance

LINES_HZ = np.arange(40.0, 700.0, 13.0)
BEATS_HZ = np.array([600.0, 1050.0, 1800.0, 3100.0, 5400.0])


def points(frequency_hz: np.ndarray, gain_db: np.ndarray, sd_db: float = 0.3) -> GainPoints:
    return GainPoints(frequency_hz, gain_db, np.full(frequency_hz.size, sd_db))


NO_BEATS = points(np.zeros(0), np.zeros(0))


@pytest.mark.parametrize("tilt", [-6.0, -3.0, 0.0, 4.0])
def test_tilt_of_scattered_points_with_a_few_far_off(tilt: float) -> None:
    rng = np.random.default_rng(8)
    missed = []
    for _ in range(20):
        lines = -12.0 + tilt * np.log2(LINES_HZ / 400.0) + rng.normal(0.0, 1.5, LINES_HZ.size)
        lines[rng.integers(0, LINES_HZ.size, 3)] += rng.normal(0.0, 15.0, 3)
        beats = -12.0 + tilt * np.log2(BEATS_HZ / 400.0) + rng.normal(0.0, 1.5, BEATS_HZ.size)
        found = engine_tilt(points(LINES_HZ, lines), points(BEATS_HZ, beats))
        assert found.sd_db is not None
        missed.append((found.db - tilt) / found.sd_db)
    assert abs(float(np.mean(missed))) < 0.6
    assert float(np.sqrt(np.mean(np.square(missed)))) < 1.5


def test_straight_line_agrees_with_least_squares_of_numpy() -> None:
    hz = np.geomspace(110.0, 6000.0, 30)
    gain = 3.0 - 2.0 * np.log2(hz / 400.0) + np.random.default_rng(2).normal(0.0, 0.5, hz.size)
    found = engine_tilt(points(hz, gain, 0.1), NO_BEATS)
    assert found.db == pytest.approx(float(np.polyfit(np.log2(hz), gain, 1)[0]), abs=0.15)


def test_low_notes_that_each_phone_cuts_its_own_way_do_not_count() -> None:
    cut = np.where(LINES_HZ < 100.0, -20.0, 0.0)
    assert abs(engine_tilt(points(LINES_HZ, cut), NO_BEATS).db) < 0.3


def test_too_little_heard_tells_nothing() -> None:
    few = points(np.array([150.0, 210.0]), np.zeros(2))
    assert engine_tilt(few, NO_BEATS).sd_db is None
    assert level_tilt(np.array([50.0, 250.0]), np.zeros(2)) is None


def test_tilt_of_the_whole_sound_leaves_out_the_low_notes() -> None:
    hz = 1000.0 * 10.0 ** (0.1 * np.arange(-16, 10))
    change = np.where(hz >= 200.0, -4.0 * np.log2(hz / 1000.0), 50.0)
    assert level_tilt(hz, change) == pytest.approx(-4.0)


def test_either_take_may_be_the_muffled_one() -> None:
    for sign in (-1.0, 1.0):
        assert muffled_chance(Tilt(4.0 * sign, 0.5), 4.0 * sign) > 0.95
    assert muffled_chance(Tilt(4.0, 0.5), -4.0) < muffled_chance(Tilt(4.0, 0.5), 4.0)


def test_a_repair_that_tilts_the_whole_sound_is_not_muffling() -> None:
    """A loud bearing gone: the high notes fall, but not the engine's own."""
    assert muffled_chance(Tilt(0.2, 0.5), -3.0) < 0.05


def test_a_sheet_by_the_mass_law_is_muffling() -> None:
    assert muffled_chance(Tilt(-6.0, 0.6), -6.0) > 0.95


def test_what_is_not_known_leaves_the_rest_to_decide() -> None:
    assert muffled_chance(Tilt(0.0, None), None) == pytest.approx(0.1)
    assert muffled_chance(Tilt(0.0, None), -5.0) > 0.3
