"""Sharpening: known errors of a track are found from the phases of lines."""

import numpy as np
import pytest
from scipy.interpolate import CubicHermiteSpline

from beltside.sound.crank_feed import LOW_RATE_HZ
from beltside.sound.crank_refine import angle_samples, cubic_at, sharpen
from beltside.sound.track import CrankTrack

TIME_S = np.arange(12 * LOW_RATE_HZ) / LOW_RATE_HZ


def track(time_s: np.ndarray, rpm: np.ndarray) -> CrankTrack:
    return CrankTrack(time_s, rpm, 0.99 * rpm, 1.01 * rpm)


def lines(path: CrankTrack, orders: tuple[float, ...], noise: float = 0.1) -> np.ndarray:
    """Sines at fixed orders of the path, in a little noise."""
    turns = path.turns_at(TIME_S)
    tones = sum(np.sin(2 * np.pi * order * turns + order) for order in orders)
    rng = np.random.default_rng(5)
    return (tones + noise * rng.normal(size=TIME_S.size)).astype(np.float32)


def test_cubic_is_hermite_with_central_slopes() -> None:
    """scipy's CubicHermiteSpline with slopes of (next - previous) / 2."""
    values = np.random.default_rng(6).normal(size=50).astype(np.float32)
    at = np.random.default_rng(7).uniform(1.0, 47.9, size=200)
    inner = np.arange(1, 49)
    spline = CubicHermiteSpline(inner, values[1:-1], 0.5 * (values[2:] - values[:-2]))
    assert cubic_at(values, at) == pytest.approx(spline(at), abs=1e-5)


def test_a_line_of_the_track_becomes_one_pure_order() -> None:
    path = track(np.array([0.0, 4.0, 8.0, 12.0]), np.array([700.0, 2000.0, 900.0, 900.0]))
    values, per_turn = angle_samples(lines(path, (3.0,), 0.0), LOW_RATE_HZ, path, 1000.0)
    whole = values[: values.size // per_turn * per_turn]
    power = np.abs(np.fft.rfft(whole)) ** 2
    place = 3 * (whole.size // per_turn)
    assert power[place - 2 : place + 3].sum() > 0.9999 * power.sum()


def test_a_speed_that_wanders_around_the_track_is_found() -> None:
    true = track(TIME_S[::48], 900.0 * (1.0 + 0.006 * np.sin(2 * np.pi * TIME_S[::48] / 4.0)))
    sound = lines(true, (0.5, 1.0, 2.0, 4.0, 6.0))
    found = sharpen(sound, LOW_RATE_HZ, CrankTrack.constant(900.0), highest_order=6.0)
    inside = (found.time_s > 1.0) & (found.time_s < 11.0)
    error = found.rpm[inside] / true.rpm_at(found.time_s[inside]) - 1.0
    assert np.abs(error).max() < 0.0015
    assert np.abs(CrankTrack.constant(900.0).rpm / true.rpm - 1.0).max() > 0.005


def test_the_range_holds_the_speed() -> None:
    true = track(TIME_S[::48], 900.0 * (1.0 + 0.004 * np.sin(2 * np.pi * TIME_S[::48] / 5.0)))
    sound = lines(true, (0.5, 1.0, 2.0, 4.0), noise=1.0)
    found = sharpen(sound, LOW_RATE_HZ, CrankTrack.constant(900.0), highest_order=6.0)
    speed = true.rpm_at(found.time_s)
    inside = (found.rpm_low <= speed) & (speed <= found.rpm_high)
    assert inside.mean() >= 0.9


def test_too_few_turns_leave_the_track_as_it_is() -> None:
    path = CrankTrack.constant(600.0)
    assert sharpen(lines(path, (2.0,))[:LOW_RATE_HZ], LOW_RATE_HZ, path, highest_order=6.0) is path


def test_silence_leaves_the_track_as_it_is() -> None:
    path = CrankTrack.constant(900.0)
    silence = np.zeros(6 * LOW_RATE_HZ, dtype=np.float32)
    assert sharpen(silence, LOW_RATE_HZ, path, highest_order=6.0) is path
