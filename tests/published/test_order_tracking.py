"""Computed order tracking: a constant-acceleration chirp must collapse to one order.

Fyfe & Munck, Analysis of computed order tracking, Mechanical Systems and Signal Processing 11(2),
1997, 187-205: under constant acceleration the angle is theta(t) = b0 + b1 t + b2 t^2, and sampling
at equal steps of it turns a sound at order n into a plain sine of n cycles a turn.
"""

import numpy as np
import pytest
from scipy.interpolate import CubicSpline

from beltside.sound.angle import angle_from_pulses, resample_to_angle, time_at_turns
from beltside.sound.orders import order_spectrum
from beltside.sound.track import CrankTrack

RATE_HZ = 16_000.0
LENGTH_S = 12.0
TIME_S = np.arange(int(LENGTH_S * RATE_HZ)) / RATE_HZ
START_HZ, ACCELERATION = 12.0, 5.0  # turns/s and turns/s^2: 720 to 4320 rpm in 12 s
TURNS = START_HZ * TIME_S + 0.5 * ACCELERATION * TIME_S**2
TRACK = CrankTrack(
    np.array([0.0, LENGTH_S]),
    60.0 * np.array([START_HZ, START_HZ + ACCELERATION * LENGTH_S]),
    np.zeros(2),
    np.zeros(2),
)


@pytest.mark.parametrize("order", [2.0, 5.4, 17.25])
def test_chirp_collapses_to_one_line(order: float) -> None:
    chirp = np.sin(2 * np.pi * order * TURNS).astype(np.float32)
    found = resample_to_angle(chirp, RATE_HZ, 0.0, TRACK, 128)
    spectrum = order_spectrum(found, 20, 60)
    near = np.abs(spectrum.order - order) < 0.11
    assert spectrum.power[near].sum() / 1.5 == pytest.approx(0.5, rel=0.01)
    # All else, beyond the Hann window's own side lobes, lies 80 dB and more below; the lowest two
    # bins hold what is left of the mean.
    far = (np.abs(spectrum.order - order) > 1.0) & (spectrum.order > 0.08)
    assert 10 * np.log10(spectrum.power[far].max() / 0.5) < -80.0


def test_in_time_the_same_chirp_is_no_line_at_all() -> None:
    chirp = np.sin(2 * np.pi * 5.4 * TURNS)
    power = np.abs(np.fft.rfft(chirp * np.hanning(chirp.size))) ** 2
    assert power.max() / power.sum() < 0.01


def test_closed_form_sample_by_sample() -> None:
    chirp = np.sin(2 * np.pi * 5.4 * TURNS).astype(np.float32)
    found = resample_to_angle(chirp, RATE_HZ, 0.0, TRACK, 128)
    turn = found.start_turn + np.arange(found.values.size) / 128
    error = np.abs(found.values - np.sin(2 * np.pi * 5.4 * turn))
    assert 20 * np.log10(error[64:-64].max()) < -80.0


def test_time_of_an_angle_is_the_root_of_the_quadratic() -> None:
    """t = (-b1 + sqrt(b1^2 + 4 b2 (theta - b0))) / (2 b2), Fyfe & Munck equation from memory."""
    b1, b2 = START_HZ, 0.5 * ACCELERATION
    theta = np.linspace(0.0, TURNS[-1], 999)
    wanted = (-b1 + np.sqrt(b1**2 + 4 * b2 * theta)) / (2 * b2)
    assert time_at_turns(TRACK, theta) == pytest.approx(wanted, abs=1e-10)


def test_pulses_once_a_turn_give_the_same_angle() -> None:
    pulse_s = time_at_turns(TRACK, np.arange(int(TURNS[-1])))
    inside = TIME_S[pulse_s[-1] > TIME_S]
    angle = angle_from_pulses(pulse_s, inside)
    assert angle == pytest.approx(TURNS[: inside.size], abs=1e-8)


def test_slow_second_way_gives_the_same_spectrum() -> None:
    """scipy's cubic spline through eight times oversampled sound, read at the closed-form times."""
    rng = np.random.default_rng(0)
    chirp = sum(
        a * np.sin(2 * np.pi * o * TURNS + p)
        for o, a, p in zip((2.0, 5.4, 9.1), (1.0, 0.1, 0.01), rng.uniform(0, 6, 3), strict=True)
    )
    found = resample_to_angle(chirp, RATE_HZ, 0.0, TRACK, 128)
    turn = found.start_turn + np.arange(found.values.size) / 128
    moment = (-START_HZ + np.sqrt(START_HZ**2 + 2 * ACCELERATION * turn)) / ACCELERATION
    slow = CubicSpline(TIME_S, chirp)(moment)
    assert np.abs(found.values - slow)[64:-64].max() < 1e-4
