"""Crank angle against numerical integration of the speed."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import cumulative_trapezoid

from beltside.sound.track import CrankTrack


def track(time_s: np.ndarray, rpm: np.ndarray) -> CrankTrack:
    return CrankTrack(time_s, rpm, 0.99 * rpm, 1.01 * rpm)


@settings(max_examples=30, deadline=None)
@given(
    start_s=st.floats(-3.0, 3.0),
    steps=st.lists(st.tuples(st.floats(0.05, 2.0), st.floats(300.0, 7000.0)), max_size=6),
    rpm=st.floats(300.0, 7000.0),
)
def test_turns_are_the_integral_of_speed(
    start_s: float, steps: list[tuple[float, float]], rpm: float
) -> None:
    """The trapezoid rule (scipy) is exact for a speed that is linear between its moments."""
    moments = np.cumsum([start_s, *(width for width, _ in steps)])
    path = track(moments, np.array([rpm, *(speed for _, speed in steps)]))
    fine_s = np.unique(np.concatenate((moments, [0.0], np.linspace(start_s - 1.0, 16.0, 101))))
    turns = cumulative_trapezoid(path.rpm_at(fine_s) / 60.0, x=fine_s, initial=0.0)
    turns -= turns[np.searchsorted(fine_s, 0.0)]
    assert path.turns_at(fine_s) == pytest.approx(turns, abs=1e-6)


@pytest.mark.parametrize("start_s", [-2.0, 0.0, 2.0])
def test_counting_starts_at_time_zero(start_s: float) -> None:
    path = track(np.array([start_s, start_s + 4.0]), np.array([600.0, 3000.0]))
    assert path.turns_at(np.zeros(1)) == pytest.approx([0.0])


def test_a_steady_crank_turns_as_its_speed_says() -> None:
    path = CrankTrack.constant(900.0)
    assert path.turns_at(np.array([-1.0, 0.0, 60.0])) == pytest.approx([-15.0, 0.0, 900.0])
    assert path.rpm_median == 900.0
    assert float(path.rpm_low[0]) < 900.0 < float(path.rpm_high[0])


def test_the_shape_asked_for_comes_back() -> None:
    asked = np.arange(6.0).reshape(2, 3)
    assert CrankTrack.constant(60.0).turns_at(asked) == pytest.approx(asked)


def test_median_is_over_time_and_not_over_moments() -> None:
    """Nine tenths of the time at 800, most moments elsewhere."""
    moments = np.concatenate(([0.0, 9.0], np.linspace(9.01, 10.0, 50)))
    rpm = np.concatenate(([800.0, 800.0], np.full(50, 2500.0)))
    assert track(moments, rpm).rpm_median == pytest.approx(800.0, rel=1e-3)
