"""Taking a take apart: common speeds, stretches, power of known lines, how well a mean is known."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.signal

from beltside.base.errors import OutOfRangeError
from beltside.sound.compare_frames import (
    common_speeds,
    longest_stretch,
    speed_range,
    speed_weights,
    time_frames,
    turn_frames,
)
from beltside.sound.compare_power import mean_and_sd, own_noise, window_power, without_noise
from beltside.sound.level import third_octave_edges
from beltside.sound.third_octave import whole_bands
from beltside.sound.track import CrankTrack

RATE_HZ = 16_000


def test_steady_takes_five_per_cent_apart_are_bridged() -> None:
    common = common_speeds([(795.0, 805.0), (835.0, 845.0)])
    assert common is not None
    assert common[0] <= 795.0
    assert common[1] >= 845.0


def test_idle_and_raised_speed_do_not_meet() -> None:
    assert common_speeds([(795.0, 805.0), (1600.0, 2400.0)]) is None


def test_the_idle_part_of_a_take_with_the_speed_raised_later() -> None:
    track = CrankTrack(
        np.array([0.0, 6.0, 8.0, 12.0]),
        np.array([800.0, 800.0, 2400.0, 2400.0]),
        np.full(4, 790.0),
        np.full(4, 2410.0),
    )
    assert speed_range(track, 12.0)[1] > 2300.0
    stretch = longest_stretch(track, 12.0, (760.0, 840.0))
    assert stretch.start_s == 0.0
    assert stretch.end_s == pytest.approx(6.0, abs=0.3)


def test_frames_are_weighted_to_the_same_spread_of_speeds() -> None:
    one = np.concatenate((np.full(30, 800.0), np.full(10, 1600.0)))
    other = np.concatenate((np.full(10, 800.0), np.full(30, 1600.0)))
    weights = speed_weights(one, other)
    assert weights[0] @ one == pytest.approx(weights[1] @ other)
    assert weights[0].sum() == pytest.approx(1.0)


def test_band_power_of_a_tone_is_half_its_amplitude_squared() -> None:
    time_s = np.arange(4 * RATE_HZ) / RATE_HZ
    frames = time_frames(0.2 * np.sin(2 * np.pi * 1000.0 * time_s), RATE_HZ, None, 8000.0)
    mean = frames.power.mean(axis=0)
    assert mean[frames.band == 0] == pytest.approx([0.02], rel=0.01)
    assert mean.sum() == pytest.approx(0.02, rel=0.01)


def test_line_power_follows_a_changing_speed() -> None:
    """A line of order 7.3 in noise, while the speed rises by 20 %: a^2 / 2 above the noise."""
    rng = np.random.default_rng(2)
    time_s = np.arange(10 * RATE_HZ) / RATE_HZ
    track = CrankTrack(
        np.array([0.0, 10.0]), np.array([780.0, 940.0]), np.full(2, 770.0), np.full(2, 950.0)
    )
    sound = 0.1 * np.sin(2 * np.pi * 7.3 * track.turns_at(time_s))
    frames = turn_frames(sound + 0.05 * rng.normal(size=time_s.size), RATE_HZ, track, 0.5)
    power, sd, _ = window_power(frames, np.array([7.3, 9.2]), np.array([0.15, 0.15]))
    assert power[0] == pytest.approx(0.005, rel=0.05)
    assert abs(power[1]) < 3.0 * sd[1]


def test_too_few_turns_are_refused() -> None:
    sound = np.random.default_rng(0).normal(size=2 * RATE_HZ)
    with pytest.raises(OutOfRangeError, match="crank turns"):
        turn_frames(sound, RATE_HZ, CrankTrack.constant(600.0), 0.5)


def test_a_mean_is_known_as_well_as_its_batches_agree() -> None:
    """Standard error of independent values: s / sqrt(n), within its own chance (textbook)."""
    rng = np.random.default_rng(4)
    power = 1.0 + 0.3 * rng.normal(size=(400, 1))
    mean, sd = mean_and_sd(power, np.full(400, 1.0 / 400), 0.7)
    assert mean == pytest.approx([1.0], abs=0.06)
    assert sd == pytest.approx([0.3 / 20.0], rel=0.15)


def test_the_recordings_own_noise_is_told_from_sound() -> None:
    rng = np.random.default_rng(5)
    time_s = np.arange(4 * RATE_HZ) / RATE_HZ
    noise = 1e-3 * rng.normal(size=time_s.size)
    tone = 0.1 * np.sin(2 * np.pi * 200.0 * time_s)
    frames = time_frames(noise + tone, RATE_HZ, None, 8000.0)
    power = frames.power.mean(axis=0)
    own = own_noise(frames.band, power)
    left, _, marked = without_noise(power, 0.0 * power, own)
    band = whole_bands(8000.0)
    assert not marked[band == -7].any()
    assert marked[-4:].all()
    assert left[band == -7] == pytest.approx(0.5 * 0.1**2, rel=0.02)
    # White noise of variance s^2 has s^2 / (half the rate) in each hertz.
    low_hz, _, high_hz = third_octave_edges(frames.band)
    wanted = (high_hz - low_hz) * 1e-6 / (RATE_HZ / 2.0)
    assert own == pytest.approx(wanted, rel=0.1)
    falling = np.cumsum(rng.normal(size=time_s.size)) * 1e-3
    frames = time_frames(falling, RATE_HZ, None, 8000.0)
    assert not own_noise(frames.band, frames.power.mean(axis=0)).any()


def test_the_recordings_own_noise_is_heard_where_the_phone_cut_the_low_notes() -> None:
    """Sound cut off below 120 Hz and strong up to the top: the lowest bands hold white noise."""
    rng = np.random.default_rng(6)
    cut = scipy.signal.butter(8, 120.0, "high", fs=RATE_HZ, output="sos")
    sound = scipy.signal.sosfilt(cut, 0.03 * rng.normal(size=12 * RATE_HZ))
    frames = time_frames(sound + 1e-4 * rng.normal(size=sound.size), RATE_HZ, None, 8000.0)
    power = frames.power.mean(axis=0)
    own = own_noise(frames.band, power)
    low_hz, centre_hz, high_hz = third_octave_edges(frames.band)
    wanted = (high_hz - low_hz) * 1e-8 / (RATE_HZ / 2.0)
    assert np.abs(10.0 * np.log10(own / wanted)).max() < 2.5
    marked = without_noise(power, 0.0 * power, own)[2]
    assert not marked[centre_hz > 200.0].any()
