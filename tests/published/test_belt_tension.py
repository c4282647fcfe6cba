"""Tension from the note of a span, against the string's formula and a beam solved by brute force.

Sources: T = 4 m L^2 f^2 of the ideal string as belt makers print it (from memory); the stiff
belt's own equation of motion, solved here by finite differences on its bent-round ends.
"""

import math

import numpy as np
import pytest
import scipy.linalg

from beltside.drive.tension import BeltBody, strum_hz, strum_tension


def test_the_ideal_string():
    """T = 4 m L^2 f^2 (from memory): 0.126 kg/m, 0.2 m, 120 Hz; half the note, a quarter."""
    belt = BeltBody(0.126)
    assert strum_tension(120.0, 200.0, belt).value_n == pytest.approx(290.3, abs=0.05)
    assert strum_tension(60.0, 200.0, belt).value_n == pytest.approx(290.3 / 4.0, abs=0.02)


def hinged_note(tension: float, stiffness: float, mass: float, length: float) -> float:
    """Lowest frequency [Hz] of T y'' - EI y'''' = m y.. with hinged ends, finite differences;
    equation of the stiff string (Fletcher and Rossing, 1998, from memory)."""
    count = 600
    step = length / (count + 1)
    second = (
        np.diag(np.full(count, -2.0))
        + np.diag(np.ones(count - 1), 1)
        + np.diag(np.ones(count - 1), -1)
    ) / step**2
    pull = -tension * second + stiffness * second @ second
    lowest = scipy.linalg.eigh(pull / mass, eigvals_only=True, subset_by_index=[0, 0])[0]
    return math.sqrt(lowest) / (2.0 * math.pi)


@pytest.mark.parametrize("length", [0.08, 0.15, 0.4])
def test_stiffness_on_short_spans(length):
    """The stiff string hinged at its ends (Fletcher and Rossing, 1998, from memory)."""
    note = hinged_note(320.0, 0.015, 0.12, length)
    belt = BeltBody(0.12, stiffness_nm2=0.015)
    assert strum_tension(note, 1000.0 * length, belt).value_n == pytest.approx(320.0, rel=2e-3)
    assert strum_hz(320.0, 1000.0 * length, belt) == pytest.approx(note, rel=1e-3)


def wrapped_note(tension: float, stiffness: float, mass: float, length: float) -> float:
    """Lowest frequency [Hz] of a belt that bends round pulleys at both ends.

    The belt leaves its pulley sqrt(EI/T) before the geometric tangent point, and there it is held
    in place and slope: a clamped stiff string on a longer span. Its characteristic equation is
    that of a clamped beam under tension (from memory), solved by bisection.
    """
    free = length + 2.0 * math.sqrt(stiffness / tension)

    def left_over(frequency: float) -> float:
        omega2 = mass * (2.0 * math.pi * frequency) ** 2
        root = math.sqrt(tension**2 + 4.0 * stiffness * omega2)
        hyper = math.sqrt((root + tension) / (2.0 * stiffness))
        wave = math.sqrt((root - tension) / (2.0 * stiffness))
        return 2.0 * hyper * wave * (1.0 / math.cosh(hyper * free) - math.cos(wave * free)) + (
            hyper**2 - wave**2
        ) * math.tanh(hyper * free) * math.sin(wave * free)

    ideal = math.sqrt(tension / mass) / (2.0 * length)
    low, high = 0.5 * ideal, 1.6 * ideal
    assert left_over(low) * left_over(high) < 0.0
    for _ in range(80):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if left_over(low) * left_over(middle) > 0.0 else (low, middle)
    return 0.5 * (low + high)


@pytest.mark.parametrize("length", [0.12, 0.2, 0.4])
def test_a_belt_round_pulleys_is_as_good_as_hinged(length):
    """Clamped beam under tension (from memory) on the span lengthened by the belt's lift-off."""
    note = wrapped_note(320.0, 0.015, 0.12, length)
    belt = BeltBody(0.12, stiffness_nm2=0.015)
    found = strum_tension(note, 1000.0 * length, belt)
    assert found.value_n == pytest.approx(320.0, rel=0.01)
    # Without the correction the tension reads higher than it is.
    assert found.string_n > 1.001 * found.value_n
