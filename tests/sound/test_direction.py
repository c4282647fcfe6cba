"""Delays between two channels: known ones come back, and channels that can't tell say so."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.signal
from hypothesis import given, settings
from hypothesis import strategies as st

from beltside.base.errors import InputError, OutOfRangeError
from beltside.sound.bands import Band
from beltside.sound.direction import (
    check_channels,
    correlation_at,
    delay_from,
    delay_map,
    delay_path,
    join,
    side_angle_deg,
)

RATE_HZ = 48_000
BAND = Band(1500.0, 6000.0)
LONGEST_S = 0.45e-3


def noise(seed: int, seconds: float = 2.0) -> np.ndarray:
    return np.random.default_rng(seed).normal(size=round(seconds * RATE_HZ))


def delayed(wave: np.ndarray, delay_s: float) -> np.ndarray:
    """The wave on a ring, later by any fraction of a sample: a turn of its phases."""
    turn = np.exp(-2j * np.pi * np.fft.rfftfreq(wave.size, 1 / RATE_HZ) * delay_s)
    return np.fft.irfft(np.fft.rfft(wave) * turn, wave.size)


def pair(delay_s: float, seed: int = 1, background: float = 0.0) -> np.ndarray:
    wave = noise(seed)
    own = np.random.default_rng(seed + 100).normal(size=(2, wave.size))
    return np.stack((wave, delayed(wave, delay_s))) + background * own


@settings(max_examples=12, deadline=None)
@given(st.floats(-0.4e-3, 0.4e-3))
def test_a_delay_comes_back_to_a_hundredth_of_a_sample(delay_s: float) -> None:
    path = delay_path(delay_map(pair(delay_s), RATE_HZ, BAND, LONGEST_S))
    assert path.delay_s == pytest.approx(np.full(path.delay_s.size, delay_s), abs=0.02 / RATE_HZ)
    assert path.strength.min() > 0.99


def test_the_second_channel_later_is_a_delay_above_zero_and_a_sound_from_the_left() -> None:
    path = delay_path(delay_map(pair(0.2e-3), RATE_HZ, BAND, LONGEST_S))
    assert np.median(path.delay_s) == pytest.approx(0.2e-3, abs=1e-6)
    assert side_angle_deg(path.delay_s, 140.0).max() < -20.0


def test_noise_as_loud_as_the_sound_leaves_the_delay() -> None:
    path = delay_path(delay_map(pair(-0.13e-3, background=1.0), RATE_HZ, BAND, LONGEST_S))
    assert np.median(path.delay_s) == pytest.approx(-0.13e-3, abs=3e-6)


def test_only_the_band_asked_for_counts() -> None:
    low = scipy.signal.butter(6, (300.0, 1000.0), "band", fs=RATE_HZ, output="sos")
    high = scipy.signal.butter(6, (2500.0, 6000.0), "band", fs=RATE_HZ, output="sos")
    engine = scipy.signal.sosfilt(low, noise(2))
    suspect = 0.05 * scipy.signal.sosfilt(high, noise(3))
    both = np.stack((engine + suspect, delayed(engine, 0.3e-3) + delayed(suspect, -0.1e-3)))
    for band, expected_s in ((Band(350.0, 900.0), 0.3e-3), (Band(2800.0, 5500.0), -0.1e-3)):
        path = delay_path(delay_map(both, RATE_HZ, band, LONGEST_S))
        assert np.median(path.delay_s) == pytest.approx(expected_s, abs=5e-6)


def test_the_path_follows_a_sound_that_moves() -> None:
    wave = noise(5, seconds=4.0)
    time_s = np.arange(wave.size) / RATE_HZ
    moving_s = 0.3e-3 * np.sin(2 * np.pi * time_s / 4.0)
    second = np.interp(time_s - moving_s, time_s, wave)
    path = delay_path(delay_map(np.stack((wave, second)), RATE_HZ, Band(1000, 4000), LONGEST_S))
    expected = 0.3e-3 * np.sin(2 * np.pi * path.time_s / 4.0)
    assert np.abs(path.delay_s - expected).max() < 25e-6


def test_blocks_join_into_one_path() -> None:
    whole = pair(0.1e-3)
    first = delay_map(whole[:, :RATE_HZ], RATE_HZ, BAND, LONGEST_S)
    second = delay_map(whole[:, RATE_HZ:], RATE_HZ, BAND, LONGEST_S, start_s=1.0)
    joined = join((first, second))
    assert joined.time_s.size == first.time_s.size + second.time_s.size
    assert np.all(np.diff(joined.time_s) > 0.0)
    with pytest.raises(InputError, match="share their grid"):
        join((first, delay_map(whole, RATE_HZ, BAND, 0.3e-3)))
    with pytest.raises(InputError):
        join(())


def test_correlation_beyond_the_delays_looked_at_is_zero() -> None:
    heard = delay_map(pair(0.0), RATE_HZ, BAND, LONGEST_S)
    assert np.all(correlation_at(heard, np.full(heard.time_s.size, 1e-3)) == 0.0)


@pytest.mark.parametrize("gain", [1.0, 0.5, -1.0])
def test_one_microphone_written_twice_is_told(gain: float) -> None:
    wave = noise(7)
    coded = 0.01 * np.random.default_rng(8).normal(size=wave.size)
    assert check_channels(np.stack((wave, gain * wave)), RATE_HZ, BAND).state == "same"
    assert check_channels(np.stack((wave, gain * wave + coded)), RATE_HZ, BAND).state == "same"


def test_a_sound_straight_ahead_in_a_room_is_not_one_microphone() -> None:
    """Reflections and the engine around it reach each microphone at its own time."""
    wave, around = noise(9), np.random.default_rng(10).normal(size=(2, 2 * RATE_HZ))
    check = check_channels(np.stack((wave, wave)) + 0.4 * around, RATE_HZ, BAND)
    assert check.state == "apart"
    assert 0.7 < check.correlation < 0.95


def test_a_silent_channel_is_told_even_with_an_offset() -> None:
    wave = noise(11)
    check = check_channels(np.stack((wave, np.full(wave.size, 0.3))), RATE_HZ, BAND)
    assert check.state == "one silent"


@pytest.mark.parametrize("shape", [(1, 20_000), (3, 20_000), (20_000,)])
def test_other_than_two_channels_are_refused(shape: tuple[int, ...]) -> None:
    with pytest.raises(InputError, match="two channels"):
        delay_map(np.ones(shape), RATE_HZ, BAND, LONGEST_S)


@pytest.mark.parametrize(
    ("band", "longest_s", "frame_s"),
    [
        (Band(1500.0, 30_000.0), LONGEST_S, 0.5),
        (Band(3000.0, 3050.0), LONGEST_S, 0.5),
        (BAND, 0.0, 0.5),
        (BAND, 0.1, 0.5),
        (BAND, LONGEST_S, 10.0),
    ],
)
def test_figures_out_of_range_are_refused(band: Band, longest_s: float, frame_s: float) -> None:
    with pytest.raises(OutOfRangeError):
        delay_map(pair(0.0), RATE_HZ, band, longest_s, frame_s=frame_s)


def test_silence_is_refused() -> None:
    with pytest.raises(OutOfRangeError, match="silence"):
        delay_map(np.zeros((2, RATE_HZ)), RATE_HZ, BAND, LONGEST_S)


@settings(max_examples=25, deadline=None)
@given(st.floats(-80.0, 80.0), st.floats(40.0, 300.0))
def test_far_away_the_exact_delay_gives_the_angle(angle_deg: float, spacing_mm: float) -> None:
    far = 100.0
    angle = np.deg2rad(angle_deg)
    delay = delay_from(far * np.sin(angle), 0.0, far * np.cos(angle), spacing_mm)
    assert float(side_angle_deg(delay, spacing_mm)) == pytest.approx(angle_deg, abs=0.01)


def test_a_spacing_out_of_range_is_refused() -> None:
    with pytest.raises(OutOfRangeError, match="microphone spacing"):
        side_angle_deg(0.0, 2.0)
