"""Angle-domain resampling against closed forms and scipy's interpolation."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.interpolate import CubicSpline

from beltside.base.errors import InputError, OutOfRangeError
from beltside.sound.angle import (
    PASS_SHARE,
    angle_from_pulses,
    resample_to_angle,
    time_at_turns,
)
from beltside.sound.bands import block_spectrum
from beltside.sound.track import CrankTrack

RATE_HZ = 16_000.0
INSIDE = slice(64, -64)


def track(time_s: list[float], rpm: list[float]) -> CrankTrack:
    speed = np.array(rpm)
    return CrankTrack(np.array(time_s), speed, 0.99 * speed, 1.01 * speed)


BLIP = track([0.0, 1.0, 2.0, 3.0], [700.0, 2700.0, 900.0, 700.0])
EIGHTFOLD = track([0.0, 2.0, 4.0], [700.0, 5600.0, 700.0])


def away_from_corners(moment_s: np.ndarray, path: CrankTrack) -> np.ndarray:
    """Moments further than 50 ms from where the speed changes its slope."""
    return np.abs(moment_s[:, None] - path.time_s).min(axis=1) > 0.05


@settings(max_examples=25, deadline=None)
@given(
    rpm=st.lists(st.floats(300.0, 7000.0), min_size=1, max_size=6),
    start_s=st.floats(-2.0, 2.0),
)
def test_time_at_turns_undoes_turns_at(rpm: list[float], start_s: float) -> None:
    path = track([start_s + 0.7 * k for k in range(len(rpm))], rpm)
    time_s = np.linspace(start_s - 1.0, start_s + 5.0, 301)
    assert time_at_turns(path, path.turns_at(time_s)) == pytest.approx(time_s, abs=1e-9)


def test_constant_speed_is_plain_resampling() -> None:
    time_s = np.arange(64_000) / RATE_HZ
    tone = np.sin(2 * np.pi * 400.0 * time_s)
    found = resample_to_angle(
        tone.astype(np.float32), RATE_HZ, 0.0, CrankTrack.constant(900.0), 128
    )
    turn = found.start_turn + np.arange(found.values.size) / 128
    assert np.abs(found.values - np.sin(2 * np.pi * 400.0 * turn / 15.0))[INSIDE].max() < 1e-5


@pytest.mark.parametrize("path", [BLIP, EIGHTFOLD], ids=["blip", "eightfold"])
@pytest.mark.parametrize("frequency_hz", [150.0, 320.0])
def test_error_is_below_80_db_inside_the_stated_share(
    path: CrankTrack, frequency_hz: float
) -> None:
    time_s = np.arange(int(path.time_s[-1] * RATE_HZ)) / RATE_HZ
    tone = np.sin(2 * np.pi * frequency_hz * time_s).astype(np.float32)
    found = resample_to_angle(tone, RATE_HZ, 0.0, path, 64)
    turn = found.start_turn + np.arange(found.values.size) / 64
    moment = time_at_turns(path, turn)
    order = frequency_hz / (path.rpm_at(moment) / 60.0)
    # A corner in the speed spreads the tone's order for a moment: no filter is exact there. And
    # the order drifts, so a little is left between it and the edge of the flat part.
    inside = (order < 0.93 * PASS_SHARE * 32) & away_from_corners(moment, path)
    assert inside.sum() > 1000
    error = np.abs(found.values - np.sin(2 * np.pi * frequency_hz * moment))[inside]
    assert 20 * np.log10(error.max()) < -80.0


@pytest.mark.parametrize("frequency_hz", [1000.0, 2500.0, 6000.0])
def test_what_lies_above_half_the_angular_rate_leaves_less_than_60_db(frequency_hz: float) -> None:
    time_s = np.arange(64_000) / RATE_HZ
    tone = np.sin(2 * np.pi * frequency_hz * time_s).astype(np.float32)
    found = resample_to_angle(tone, RATE_HZ, 0.0, EIGHTFOLD, 32)
    turn = found.start_turn + np.arange(found.values.size) / 32
    order = frequency_hz / (EIGHTFOLD.rpm_at(time_at_turns(EIGHTFOLD, turn)) / 60.0)
    above = order > 1.1 * 16
    above[:32] = above[-32:] = False
    assert above.sum() > 500
    assert 20 * np.log10(np.abs(found.values[above]).max()) < -60.0


def test_nearly_steady_speed_folds_nothing_either() -> None:
    path = track([0.0, 2.0, 4.0], [760.0, 830.0, 760.0])
    time_s = np.arange(64_000) / RATE_HZ
    tone = np.sin(2 * np.pi * 450.0 * time_s).astype(np.float32)  # order 32.5 to 35.5
    found = resample_to_angle(tone, RATE_HZ, 0.0, path, 64)
    assert 20 * np.log10(np.abs(found.values[INSIDE]).max()) < -60.0
    flat = np.sin(2 * np.pi * 310.0 * time_s).astype(np.float32)  # up to order 24.5 of 25.6
    found = resample_to_angle(flat, RATE_HZ, 0.0, path, 64)
    moment = time_at_turns(path, found.start_turn + np.arange(found.values.size) / 64)
    assert np.abs(found.values - np.sin(2 * np.pi * 310.0 * moment))[INSIDE].max() < 1e-4


def test_agrees_with_a_slow_cubic_spline_at_high_oversampling() -> None:
    rng = np.random.default_rng(4)
    time_s = np.arange(48_000) / RATE_HZ
    tones = [(f, rng.uniform(0, 6)) for f in (40.0, 95.0, 230.0)]
    sound = sum(np.sin(2 * np.pi * f * time_s + p) for f, p in tones)
    found = resample_to_angle(sound, RATE_HZ, 0.0, BLIP, 64)
    moment = time_at_turns(BLIP, found.start_turn + np.arange(found.values.size) / 64)
    # 230 Hz at 16 kHz is 70 samples a cycle: a cubic spline errs by about 1e-6 there.
    wanted = CubicSpline(time_s, sound)(moment)
    inside = away_from_corners(moment, BLIP)
    inside &= 230.0 / (BLIP.rpm_at(moment) / 60.0) < 0.9 * PASS_SHARE * 32
    assert np.abs(found.values - wanted)[inside].max() < 1e-4


def test_several_rows_are_each_as_if_alone() -> None:
    rows = np.random.default_rng(5).standard_normal((3, 16_000)).astype(np.float32)
    both = resample_to_angle(rows, RATE_HZ, 0.5, BLIP, 64)
    alone = resample_to_angle(rows[1], RATE_HZ, 0.5, BLIP, 64)
    assert both.start_turn == alone.start_turn
    assert np.allclose(both.values[1], alone.values, atol=1e-6)


def test_blocks_share_one_grid_and_agree_where_they_overlap() -> None:
    sound = np.random.default_rng(6).standard_normal(48_000)
    sound = np.convolve(sound, np.ones(40) / 40, "same").astype(np.float32)
    first = resample_to_angle(sound[:32_000], RATE_HZ, 0.0, BLIP, 64)
    second = resample_to_angle(sound[16_000:], RATE_HZ, 1.0, BLIP, 64)
    shift = round((second.start_turn - first.start_turn) * 64)
    assert (second.start_turn - first.start_turn) * 64 == pytest.approx(shift, abs=1e-9)
    a, b = first.values[shift:], second.values
    size = min(a.size, b.size)
    assert np.abs(a[64 : size - 64] - b[64 : size - 64]).max() < 1e-3 * np.abs(sound).max()


def test_a_spectrum_at_hand_does_as_well_as_the_sound() -> None:
    sound = np.random.default_rng(8).standard_normal(16_000).astype(np.float32)
    block = block_spectrum(sound, RATE_HZ)
    plain = resample_to_angle(sound, RATE_HZ, 0.3, BLIP, 64)
    assert np.array_equal(resample_to_angle(block, RATE_HZ, 0.3, BLIP, 64).values, plain.values)
    with pytest.raises(InputError, match="one rate"):
        resample_to_angle(block, 8_000.0, 0.3, BLIP, 64)


def test_input_is_left_alone() -> None:
    sound = np.random.default_rng(7).standard_normal(16_000).astype(np.float32)
    kept = sound.copy()
    resample_to_angle(sound, RATE_HZ, 0.0, BLIP, 64)
    assert np.array_equal(sound, kept)


def test_pulses_at_constant_acceleration_are_exact() -> None:
    """theta = 5 t + 3 t^2 turns: a parabola through three pulses is the motion itself."""
    turn = np.arange(20.0)
    times = (-5.0 + np.sqrt(25.0 + 12.0 * turn)) / 6.0
    asked = np.linspace(times[0], times[-1], 200)
    assert angle_from_pulses(times, asked) == pytest.approx(5 * asked + 3 * asked**2, abs=1e-9)
    halves = angle_from_pulses(times, asked, turns_per_pulse=0.5)
    assert halves == pytest.approx(0.5 * (5 * asked + 3 * asked**2), abs=1e-9)


def test_refuses_what_it_cannot_do() -> None:
    sound = np.zeros(16_000, dtype=np.float32)
    with pytest.raises(InputError, match="not finite"):
        resample_to_angle(np.full(100, np.inf), RATE_HZ, 0.0, BLIP, 64)
    with pytest.raises(OutOfRangeError, match="factor"):
        resample_to_angle(sound, RATE_HZ, 0.0, track([0.0, 1.0], [300.0, 6000.0]), 64)
    with pytest.raises(OutOfRangeError, match="turns"):
        resample_to_angle(sound[:200], RATE_HZ, 0.0, BLIP, 64)
    with pytest.raises(OutOfRangeError, match="samples per turn"):
        resample_to_angle(sound, RATE_HZ, 0.0, BLIP, 4)
    with pytest.raises(OutOfRangeError, match="rpm"):
        resample_to_angle(sound, RATE_HZ, 0.0, track([0.0, 1.0], [0.0, 600.0]), 64)
    with pytest.raises(InputError, match="rise"):
        resample_to_angle(sound, RATE_HZ, 0.0, track([1.0, 0.0], [600.0, 600.0]), 64)
    with pytest.raises(InputError, match="go back"):
        time_at_turns(BLIP, [2.0, 1.0])
    with pytest.raises(OutOfRangeError, match="rise"):
        angle_from_pulses([0.0, 1.0, 1.0], [0.5])
    with pytest.raises(OutOfRangeError, match="beyond"):
        angle_from_pulses([0.0, 1.0, 2.0], [5.0])
