"""Level, silence and clipping of samples with known answers."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from beltside.media import read_recording, write_recording
from beltside.media.sound_check import SoundCheck, count_clipped

TIME_S = np.arange(48_000) / 48_000


def sine(amplitude: float, frequency_hz: float = 200.0) -> np.ndarray:
    return (amplitude * np.sin(2 * np.pi * frequency_hz * TIME_S)).astype(np.float32)


@settings(max_examples=40, deadline=None)
@given(drive=st.floats(1.02, 10.0), frequency_hz=st.floats(40.0, 900.0))
def test_share_of_a_clipped_sine_follows_the_arcsine_law(drive: float, frequency_hz: float) -> None:
    # Time a sine of amplitude A spends beyond 1: 1 - 2/pi arcsin(1/A).
    expected = 1.0 - 2.0 / math.pi * math.asin(1.0 / drive)
    clipped = np.clip(sine(drive, frequency_hz), -1.0, 1.0)
    share = count_clipped(clipped, lossy=False) / clipped.size
    # Of each run up to one sample at either end is a matter of sampling; two runs per period.
    slack = 4.0 * frequency_hz / 48_000
    if expected * 48_000 / (2.0 * frequency_hz) > 4.0:  # runs of four samples and more
        assert share == pytest.approx(expected, abs=slack)


@settings(max_examples=40, deadline=None)
@given(amplitude=st.floats(0.01, 1.0), frequency_hz=st.floats(1.0, 20_000.0))
def test_a_sine_within_full_scale_is_never_clipped(amplitude: float, frequency_hz: float) -> None:
    steps = np.rint(sine(amplitude, frequency_hz) * 32767) / 32768
    assert count_clipped(steps.astype(np.float32), lossy=False) == 0


def test_two_samples_at_full_scale_are_no_clipping_and_three_are() -> None:
    samples = np.zeros(100, dtype=np.float32)
    samples[10:12] = 1.0
    assert count_clipped(samples, lossy=False) == 0
    samples[50:53] = -1.0
    assert count_clipped(samples, lossy=False) == 3


def flattened(samples: np.ndarray, step: float = 2**-15) -> SoundCheck:
    """Mono or stereo as a decoder gives it, in pieces, at the steps of a converter."""
    check = SoundCheck(np.atleast_2d(samples).shape[0], lossy=False, step=step)
    stepped = (np.rint(np.atleast_2d(samples) / step) * step).astype(np.float32)
    for piece in np.array_split(stepped, 12, axis=1):
        check.take(piece)
    return check


def engine_like(seed: int, level: float) -> np.ndarray:
    rng = np.random.default_rng(seed)
    noise = rng.normal(0.0, 0.3, TIME_S.size)
    return level * (0.5 * sine(1.0, 27.0) + 0.4 * sine(1.0, 810.0) + noise)


@pytest.mark.parametrize("ceiling", [0.1, 0.5, 0.9])
def test_tops_flattened_at_any_level_are_told_with_their_share(ceiling: float) -> None:
    # Twice its ceiling: 1 - 2/pi arcsin(1/2) is two thirds.
    check = flattened(np.clip(sine(2.0 * ceiling), -ceiling, ceiling))
    assert check.own_ceiling == pytest.approx(ceiling, abs=1e-4)
    assert check.flattened_share == pytest.approx(2.0 / 3.0, abs=0.04)
    sound = engine_like(1, ceiling)
    check = flattened(np.clip(np.stack([sound, sound]), -ceiling, ceiling))
    assert check.own_ceiling == pytest.approx(ceiling, abs=1e-4)
    assert check.flattened_share > 5e-4


@settings(max_examples=60, deadline=None)
@given(
    amplitude=st.floats(0.001, 0.99),
    frequency_hz=st.floats(20.0, 20_000.0),
    bits=st.sampled_from([8, 12, 16, 24]),
)
def test_a_clean_tone_is_flattened_nowhere(
    amplitude: float, frequency_hz: float, bits: int
) -> None:
    assert flattened(sine(amplitude, frequency_hz), 2.0 ** (1 - bits)).own_ceiling is None


@settings(max_examples=30, deadline=None)
@given(seed=st.integers(0, 10_000), level=st.floats(0.003, 0.3), bits=st.sampled_from([8, 16]))
def test_clean_sound_is_flattened_nowhere(seed: int, level: float, bits: int) -> None:
    assert flattened(engine_like(seed, level), 2.0 ** (1 - bits)).own_ceiling is None


def test_one_channel_alone_at_a_ceiling_is_not_the_takes() -> None:
    both = np.stack([np.clip(sine(1.0), -0.5, 0.5), sine(0.6)])
    assert flattened(both).own_ceiling is None


def test_opposite_tops_are_two_runs() -> None:
    samples = np.zeros(100, dtype=np.float32)
    samples[10:12], samples[12:14] = 1.0, -1.0
    assert count_clipped(samples, lossy=False) == 0


def test_a_smooth_way_beyond_full_scale_is_no_clipping() -> None:
    assert count_clipped(sine(1.8), lossy=False) == 0


def test_level_of_a_sine_and_of_a_constant() -> None:
    # A sine of amplitude 0.5 has RMS 0.5 / sqrt 2: -9.03 dB; a constant part does not count.
    check = SoundCheck(1, lossy=False, step=2**-15)
    check.take(sine(0.5)[np.newaxis] + np.float32(0.25))
    assert check.level_db == pytest.approx(-9.031, abs=0.01)
    assert check.peak == pytest.approx(0.75, abs=1e-4)


def test_piecewise_and_whole_agree() -> None:
    samples = np.stack([np.clip(sine(1.5), -1, 1), sine(0.2, 3000.0)])
    whole = SoundCheck(2, lossy=False, step=2**-15)
    whole.take(samples.copy())
    parts = SoundCheck(2, lossy=False, step=2**-15)
    for piece in np.array_split(samples, 7, axis=1):
        parts.take(piece.copy())
    assert parts.level_db == pytest.approx(whole.level_db, abs=1e-6)
    assert parts.peak == whole.peak
    # Runs that lie across a border may be missed: two runs at most for each of six borders.
    assert abs(parts.clipped - whole.clipped) <= 6 * 130


@pytest.mark.parametrize(("swing", "silent"), [(0.9e-4, True), (1.1e-4, False)])
def test_silence_ends_at_minus_80_db(swing: float, silent: bool) -> None:
    check = SoundCheck(1, lossy=False, step=2**-15)
    check.take(sine(swing)[np.newaxis])
    assert (check.silent_channels == (1,)) is silent


def test_nothing_read_is_silent_and_has_no_level() -> None:
    check = SoundCheck(2, lossy=False, step=2**-15)
    assert check.silent_channels == (1, 2)
    assert check.level_db == -math.inf
    assert check.peak == 0.0
    assert check.clipped_share == 0.0
    assert not check.channels_alike


@pytest.mark.parametrize(("suffix", "told"), [(".wav", True), (".flac", True), (".m4a", False)])
def test_a_file_flattened_at_half_of_full_scale(tmp_path: Path, suffix: str, told: bool) -> None:
    """Not found after a lossy codec, as docs/methods/recordings.md says."""
    path = tmp_path / f"take{suffix}"
    long = np.tile(engine_like(3, 0.5), 3)
    write_recording(path, np.clip(long, -0.5, 0.5)[np.newaxis].astype(np.float32), 48_000)
    warnings = read_recording(path)[2].warnings
    assert any("flattened at 50 % of full scale" in one for one in warnings) is told


@pytest.mark.parametrize("suffix", [".wav", ".flac", ".m4a", ".webm"])
def test_a_clean_file_is_not_called_clipped(tmp_path: Path, suffix: str) -> None:
    path = tmp_path / f"take{suffix}"
    sound = np.tile(engine_like(4, 0.2), 3)[np.newaxis].astype(np.float32)
    write_recording(path, sound, 48_000)
    assert not any("clipped" in one for one in read_recording(path)[2].warnings)
