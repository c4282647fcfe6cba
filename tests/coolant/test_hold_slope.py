"""The fall of the settled pressure against brute force over the same model."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.special import ndtr

from beltside.coolant import hold_slope
from beltside.coolant.hold_readings import Point, Segment
from beltside.coolant.hold_slope import combined, curve_rate, fallen_minutes, row_at, slope_of


def run(step: float, error: float, fall: float, seed: int, minutes: float = 5.0) -> list[Point]:
    rng = np.random.default_rng(seed)
    points = []
    for t in np.arange(0.0, minutes + 1e-9, 0.5):
        true = 107.0 - 3.0 * (1 - math.exp(-t / 0.5)) - fall * t
        points.append(Point(float(t), float(step * np.round((true + rng.normal(0, error)) / step))))
    return points


@pytest.mark.parametrize(
    ("step", "error", "fall"), [(5.0, 0.5, 0.0), (5.0, 1.2, 1.0), (1.0, 0.4, 0.5), (2.0, 0.4, 2.0)]
)
def test_expectation_propagation_against_importance_sampling(
    step: float, error: float, fall: float
) -> None:
    """Mean and spread of the fall from 200,000 weighted draws of the same prior and likelihood."""
    points = run(step, error, fall, seed=3)
    rows = [row_at(point.minutes, 0.5, 0.0) for point in points]
    _, mean, variance = hold_slope._propagate(rows, points, step, error, 1.0)
    rng = np.random.default_rng(4)
    spread = 2.0
    draws = np.column_stack(
        [
            rng.normal(points[0].gauge_kpa, 3.0, 200_000),
            rng.normal(*hold_slope.SETTLE_KPA, 200_000),
            rng.normal(*hold_slope.CREEP_KPA, 200_000),
            rng.normal(fall, spread, 200_000),
        ]
    )
    start = draws[:, 0] - points[0].gauge_kpa
    log_w = 0.5 * (start / 3.0) ** 2 - 0.5 * (start / 25.0) ** 2
    log_w += 0.5 * ((draws[:, 3] - fall) / spread) ** 2
    for row, point in zip(rows, points, strict=True):
        off = point.gauge_kpa - draws @ np.array(row)
        inside = ndtr((off + step / 2) / error) - ndtr((off - step / 2) / error)
        log_w += np.log((1 - hold_slope.MISREAD) * inside + hold_slope.MISREAD * step / 60.0)
    weights = np.exp(log_w - log_w.max())
    weights /= weights.sum()
    expected = float(weights @ draws[:, 3])
    deviation = float(np.sqrt(weights @ (draws[:, 3] - expected) ** 2))
    assert 1.0 / float((weights**2).sum()) > 150.0
    assert mean[3] == pytest.approx(expected, abs=0.25 * deviation)
    assert math.sqrt(variance) == pytest.approx(deviation, rel=0.2)


@pytest.mark.parametrize("fall", [0.0, 0.5, 2.0])
def test_the_true_fall_lies_in_the_range_as_often_as_said(fall: float) -> None:
    """68 % within one standard deviation; 60 runs leave about 6 points of chance."""
    hits = 0
    for seed in range(60):
        found = slope_of(Segment(tuple(run(1.0, 0.35, fall, seed))), 1.0)
        mean = sum(one.weight * one.fall for one in found.slopes)
        deviation = math.sqrt(
            sum(one.weight * (one.deviation**2 + (one.fall - mean) ** 2) for one in found.slopes)
        )
        hits += abs(mean - fall) < deviation
    assert 0.5 < hits / 60 <= 1.0


def test_longer_reading_narrows_it() -> None:
    short = slope_of(Segment(tuple(run(1.0, 0.3, 0.3, 1, minutes=3.0))), 1.0, 0.3)
    long = slope_of(Segment(tuple(run(1.0, 0.3, 0.3, 1, minutes=10.0))), 1.0, 0.3)
    assert min(one.deviation for one in long.slopes) < min(one.deviation for one in short.slopes)


def test_two_runs_are_sharper_than_one() -> None:
    first = slope_of(Segment(tuple(run(1.0, 0.3, 0.5, 5))), 1.0, 0.3)
    second = slope_of(Segment(tuple(run(1.0, 0.3, 0.5, 6))), 1.0, 0.3)
    both = combined(first, second)
    assert both.slopes[0].deviation < first.slopes[0].deviation
    assert sum(one.weight for one in both.slopes) == pytest.approx(1.0)


def test_one_misread_gauge_does_not_carry_the_day() -> None:
    points = run(1.0, 0.3, 0.2, 7)
    wrong = [*points]
    wrong[6] = Point(points[6].minutes, points[6].gauge_kpa - 30.0)
    clean = slope_of(Segment(tuple(points)), 1.0, 0.3).slopes[0]
    spoilt = slope_of(Segment(tuple(wrong)), 1.0, 0.3).slopes[0]
    assert spoilt.fall == pytest.approx(clean.fall, abs=3.0 * clean.deviation)


def test_a_strong_leak_bends_and_its_first_fall_is_found() -> None:
    """P = P0 (1 + 0.3 k t)^(-1/0.3), k = 0.4/min on 100 kPa: 40 kPa/min at first."""
    points = [
        Point(0.25 * i, round(100.0 * (1 + 0.3 * 0.4 * 0.25 * i) ** (-1 / 0.3))) for i in range(16)
    ]
    assert curve_rate(points) == pytest.approx(0.4, rel=0.03)
    found = slope_of(Segment(tuple(points)), 1.0, 0.3)
    assert found.slopes[0].fall == pytest.approx(40.0, rel=0.1)


def test_bent_minutes_start_straight() -> None:
    assert fallen_minutes(2.0, 0.0) == 2.0
    assert fallen_minutes(0.01, 0.5) == pytest.approx(0.01, rel=0.01)
    assert fallen_minutes(10.0, 0.5) < 10.0
