"""The listening pair: same level, same length, no clicks; filters that keep what they should."""

from __future__ import annotations

import numpy as np
import pytest

from beltside.base.errors import OutOfRangeError
from beltside.sound.level_match import (
    PEAK,
    level_matched,
    nearest_window,
    only_band,
    only_lines,
)
from beltside.sound.track import CrankTrack

RATE_HZ = 16_000


def tone(frequency_hz: float, seconds: float, rate_hz: int = RATE_HZ) -> np.ndarray:
    return np.cos(2.0 * np.pi * frequency_hz * np.arange(round(seconds * rate_hz)) / rate_hz)


def test_gain_is_taken_back_and_lengths_agree() -> None:
    before, after, rate_hz = level_matched(
        0.01 * tone(300.0, 5.0, 48_000), 0.1 * tone(300.0, 3.0, 44_100), (48_000, 44_100), 20.0
    )
    assert rate_hz == 32_000
    assert before.shape == after.shape == (3 * 32_000,)
    assert np.std(before) == pytest.approx(np.std(after), rel=0.01)
    assert np.abs(before).max() <= PEAK + 1e-6


def test_no_clicks_at_the_ends() -> None:
    before, after, _ = level_matched(
        tone(300.0, 2.0) + 0.3, tone(210.0, 2.0), (RATE_HZ, RATE_HZ), 0.0
    )
    for sound in (before, after):
        inside = float(np.abs(np.diff(sound)).max())
        for end in (sound[:64], sound[-64:]):
            assert abs(end[0]) < 0.02 or abs(end[-1]) < 0.02
            assert float(np.abs(np.diff(end)).max()) <= inside
        assert abs(sound[0]) < 1e-3
        assert abs(sound[-1]) < 1e-3


def test_a_band_keeps_what_is_in_it() -> None:
    kept = only_band(tone(1000.0, 2.0) + tone(4000.0, 2.0), RATE_HZ, 2500.0, 6000.0)
    inner = slice(RATE_HZ // 4, -RATE_HZ // 4)
    assert kept[inner] == pytest.approx(tone(4000.0, 2.0)[inner], abs=0.01)


def test_lines_are_kept_while_the_speed_rises() -> None:
    time_s = np.arange(6 * RATE_HZ) / RATE_HZ
    track = CrankTrack(
        np.array([0.0, 6.0]), np.array([800.0, 1000.0]), np.full(2, 790.0), np.full(2, 1010.0)
    )
    turns = track.turns_at(time_s)
    wanted = np.sin(2 * np.pi * 7.3 * turns)
    kept = only_lines(wanted + np.sin(2 * np.pi * 8.5 * turns), RATE_HZ, track, [7.3])
    inner = slice(RATE_HZ // 2, -RATE_HZ // 2)
    assert np.std(kept[inner] - wanted[inner]) < 0.05


def test_the_window_nearest_in_speed() -> None:
    track = CrankTrack(
        np.array([0.0, 10.0]), np.array([800.0, 1200.0]), np.full(2, 790.0), np.full(2, 1210.0)
    )
    assert nearest_window(track, 0.0, 10.0, 2.0, 1000.0) == pytest.approx(4.0, abs=0.26)


def test_silence_and_nonsense_are_refused() -> None:
    with pytest.raises(OutOfRangeError, match="silent"):
        level_matched(np.zeros(RATE_HZ), np.zeros(RATE_HZ), (RATE_HZ, RATE_HZ), 0.0)
    with pytest.raises(OutOfRangeError):
        only_band(tone(300.0, 1.0), RATE_HZ, 6000.0, 2000.0)
    with pytest.raises(OutOfRangeError):
        only_lines(tone(300.0, 1.0), RATE_HZ, CrankTrack.constant(800.0), [])
