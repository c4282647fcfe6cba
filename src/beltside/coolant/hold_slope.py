"""From gauge readings to how fast the pressure falls, once it has settled.

Expectation propagation for a straight line with settling, read on a gauge with steps.
Method and sources: docs/methods/coolant-hold-test.md.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from beltside.coolant.hold_readings import Point, Segment

SETTLE_MIN: Final = ((0.2, 0.3), (0.5, 0.4), (1.2, 0.3))
"""Time constants of the first settling [min] with their weights: air warmed by pumping gives its
heat away within some 10 s to 2 min (own choice)."""
SETTLE_KPA: Final = (3.0, 4.5)
"""How far the pressure settles: mean and standard deviation [kPa] (own choice)."""
CREEP_KPA: Final = (0.3, 0.4)
"""Hoses go on giving, with the logarithm of time: mean and standard deviation of the kPa for each
e-fold of (1 + t / 1 min); from none to a fiftieth of what hoses give at first (own choice)."""
READING_SCALES: Final = ((0.6, 0.3), (1.3, 0.45), (2.8, 0.25))
"""The reader's error against `usual_error_kpa`, with weights, when it is not given."""
MISREAD: Final = 0.01
"""Share of readings that are simply wrong."""
_MISREAD_WIDTH_KPA: Final = 60.0
_FLAT_KPA_MIN: Final = 200.0
_TIGHT_KPA_MIN: Final = 0.3
_START_KPA: Final = 25.0
_LEAK_LAW: Final = 0.3
"""Loss falls with pressure a little faster than in proportion: the hole passes less and the air
gives way more. P = P0 (1 + 0.3 k t)^(-1/0.3)."""
_ROUGH: Final = 0.12
"""Relative error of a fall told from when half of the pressure was gone (own choice)."""
_SWEEPS: Final = 3
_ROOT_2: Final = math.sqrt(2.0)
_ROOT_2_PI: Final = math.sqrt(2.0 * math.pi)


@dataclass(frozen=True)
class Slope:
    """One way to read the run: its weight, the fall [kPa/min], its standard deviation, and the
    mean of start, settling, creep and fall for drawing it."""

    weight: float
    fall: float
    deviation: float
    mean: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0)
    settle_min: float = 0.5


@dataclass(frozen=True)
class SlopeEvidence:
    """What a run says of the fall: a mixture, and the log probability of the readings."""

    slopes: tuple[Slope, ...]
    log_probability: float
    curve_rate: float


def usual_error_kpa(step_kpa: float) -> float:
    """How well a person reads a gauge with this step [kPa], one standard deviation (own choice)."""
    return 0.2 * step_kpa + 0.15


def curve_rate(points: Sequence[Point]) -> float:
    """Rate k [1/min] of the bend of a strong leak's course; 0 while little has gone."""
    first, last = points[0], points[-1]
    minutes = last.minutes - first.minutes
    if minutes <= 0.0 or first.gauge_kpa <= 0.0:
        return 0.0
    left = last.gauge_kpa / first.gauge_kpa
    if left > 0.9:
        return 0.0
    if left < 0.5:
        left, minutes = 0.5, _half_gone_min(points)
    return float(left**-_LEAK_LAW - 1.0) / (_LEAK_LAW * minutes)


def _half_gone_min(points: Sequence[Point]) -> float:
    """When half of the first pressure was gone, straight between the readings around it [min]."""
    first = points[0]
    half = 0.5 * first.gauge_kpa
    before = first
    for point in points[1:]:
        if point.gauge_kpa <= half:
            share = (before.gauge_kpa - half) / max(before.gauge_kpa - point.gauge_kpa, 1e-9)
            gone = before.minutes + share * (point.minutes - before.minutes) - first.minutes
            return max(gone, 1e-3)
        before = point
    return points[-1].minutes - first.minutes


def fallen_minutes(minutes: float, rate: float) -> float:
    """Minutes at the first rate of fall that give the fall of `minutes` on the bent course."""
    if rate <= 0.0:
        return minutes
    return float(1.0 - (1.0 + _LEAK_LAW * rate * minutes) ** (-1.0 / _LEAK_LAW)) / rate


def row_at(minutes: float, settle_min: float, rate: float) -> tuple[float, float, float, float]:
    """How start, settling, creep and fall make up the pressure at a moment [min]."""
    return (
        1.0,
        math.exp(-minutes / settle_min) - 1.0,
        -math.log1p(minutes),
        -fallen_minutes(minutes, rate),
    )


def slope_of(
    segment: Segment,
    step_kpa: float,
    reading_error_kpa: float | None = None,
    *,
    settled: bool = False,
) -> SlopeEvidence:
    """How fast the pressure fell at the beginning of a run [kPa/min], settling taken out.

    `settled` says that the run began minutes after pumping.
    """
    points = segment.points
    rate = curve_rate(points)
    if points[-1].gauge_kpa < 0.5 * points[0].gauge_kpa:
        # So strong that settling does not matter; the course of it is what limits the answer.
        start, fall = points[0].gauge_kpa, rate * points[0].gauge_kpa
        slope = Slope(1.0, fall, _ROUGH * fall, (start, 0.0, 0.0, fall), 0.5)
        return SlopeEvidence((slope,), 0.0, rate)
    errors = _errors(step_kpa, reading_error_kpa)
    found: list[tuple[float, Slope]] = []
    settling = ((1.2, 1.0),) if settled else SETTLE_MIN
    for settle_min, settle_weight in settling:
        rows = [row_at(point.minutes, settle_min, rate) for point in points]
        for error_kpa, error_weight in errors:
            log_z, mean, variance = _propagate(
                rows, points, step_kpa, error_kpa, 0.3 if settled else 1.0
            )
            # The flat prior of the fall is taken out again, so that only the data speak.
            precision = max(1.0 / variance - 1.0 / _FLAT_KPA_MIN**2, 1e-9)
            fall = mean[3] / variance / precision
            slope = Slope(1.0, fall, precision**-0.5, mean, settle_min)
            found.append((math.log(settle_weight * error_weight) + log_z, slope))
    return _mixture(found, rate)


def _errors(step_kpa: float, reading_error_kpa: float | None) -> list[tuple[float, float]]:
    """Standard errors of the reader [kPa] with their weights."""
    if reading_error_kpa is not None:
        return [(max(reading_error_kpa, 0.02), 1.0)]
    usual = usual_error_kpa(step_kpa)
    return [(scale * usual, weight) for scale, weight in READING_SCALES]


def log_probability_if_tight(
    segment: Segment, step_kpa: float, reading_error_kpa: float | None = None
) -> float:
    """Log probability of a run's readings after its first, on a tight system with a free needle."""
    points = segment.points
    logs = []
    for settle_min, settle_weight in SETTLE_MIN:
        rows = [row_at(point.minutes, settle_min, 0.0) for point in points]
        for error_kpa, error_weight in _errors(step_kpa, reading_error_kpa):
            log_z, _, _ = _propagate(rows, points, step_kpa, error_kpa, 1.0, _TIGHT_KPA_MIN)
            first, _, _ = _propagate(rows[:1], points[:1], step_kpa, error_kpa, 1.0)
            logs.append(math.log(settle_weight * error_weight) + log_z - first)
    best = max(logs)
    return best + math.log(sum(math.exp(one - best) for one in logs))


def _mixture(found: list[tuple[float, Slope]], rate: float) -> SlopeEvidence:
    best = max(log_weight for log_weight, _ in found)
    total = sum(math.exp(log_weight - best) for log_weight, _ in found)
    kept = [
        Slope(weight, one.fall, one.deviation, one.mean, one.settle_min)
        for log_weight, one in found
        if (weight := math.exp(log_weight - best) / total) > 0.004
    ]
    kept.sort(key=lambda one: -one.weight)
    return SlopeEvidence(tuple(kept), best + math.log(total), rate)


def combined(first: SlopeEvidence, second: SlopeEvidence) -> SlopeEvidence:
    """Two runs of the same system: their mixtures multiplied, the weak products dropped."""
    found: list[tuple[float, Slope]] = []
    for one in first.slopes:
        for other in second.slopes:
            variance = one.deviation**2 + other.deviation**2
            log_weight = (
                math.log(one.weight * other.weight)
                - 0.5 * (one.fall - other.fall) ** 2 / variance
                - 0.5 * math.log(variance)
            )
            share = other.deviation**2 / variance
            fall = share * one.fall + (1.0 - share) * other.fall
            deviation = one.deviation * other.deviation / math.sqrt(variance)
            found.append((log_weight, Slope(1.0, fall, deviation, other.mean, other.settle_min)))
    mixed = _mixture(found, second.curve_rate)
    slopes = mixed.slopes[:8]
    total = sum(one.weight for one in slopes)
    return SlopeEvidence(
        tuple(
            Slope(one.weight / total, one.fall, one.deviation, one.mean, one.settle_min)
            for one in slopes
        ),
        first.log_probability + second.log_probability,
        second.curve_rate,
    )


Vector4 = tuple[float, float, float, float]


def _propagate(
    rows: Sequence[Vector4],
    points: Sequence[Point],
    step_kpa: float,
    error_kpa: float,
    settle_share: float,
    fall_kpa_min: float = _FLAT_KPA_MIN,
) -> tuple[float, Vector4, float]:
    """Log probability of the readings, posterior mean, and variance of the fall.

    Each reading says that the pressure plus a reader's error lay within half a step of what was
    read; that likelihood is replaced by the Gaussian with the same moments (Minka, UAI 2001).
    """
    half = 0.5 * step_kpa
    mean = [points[0].gauge_kpa, settle_share * SETTLE_KPA[0], CREEP_KPA[0], 0.0]
    diagonal = (
        _START_KPA**2,
        (settle_share * SETTLE_KPA[1]) ** 2,
        CREEP_KPA[1] ** 2,
        fall_kpa_min**2,
    )
    spread = [[diagonal[i] if i == j else 0.0 for j in range(4)] for i in range(4)]
    sites = [(0.0, 0.0)] * len(points)
    log_probability = 0.0
    floor = MISREAD * step_kpa / _MISREAD_WIDTH_KPA
    for sweep in range(_SWEEPS):
        for index, (row, point) in enumerate(zip(rows, points, strict=True)):
            _, a, b, c = row
            v0, v1, v2, v3 = (s[0] + a * s[1] + b * s[2] + c * s[3] for s in spread)
            variance = v0 + a * v1 + b * v2 + c * v3
            middle = mean[0] + a * mean[1] + b * mean[2] + c * mean[3]
            old_precision, old_shift = sites[index]
            rest = 1.0 / variance - old_precision
            if rest <= 1e-12:
                continue
            rest_variance = 1.0 / rest
            rest_middle = rest_variance * (middle / variance - old_shift)
            error_2 = error_kpa**2 / (point.count if point.count > 1 else 1)
            wide = math.sqrt(rest_variance + error_2)
            low = (point.gauge_kpa - half - rest_middle) / wide
            high = (point.gauge_kpa + half - rest_middle) / wide
            mass = 0.5 * (math.erf(high / _ROOT_2) - math.erf(low / _ROOT_2))
            if mass < 1e-12:
                mass = 0.5 * abs(
                    math.erfc(min(abs(low), abs(high)) / _ROOT_2)
                    - math.erfc(max(abs(low), abs(high)) / _ROOT_2)
                )
            probability = (1.0 - MISREAD) * mass + floor
            if sweep == 0:
                log_probability += math.log(probability)
            precision = shift = 0.0
            if mass > 1e-200:
                at_low = math.exp(-0.5 * low * low) / _ROOT_2_PI
                at_high = math.exp(-0.5 * high * high) / _ROOT_2_PI
                first = (at_low - at_high) / (mass * wide)
                second = (high * at_high - low * at_low) / (mass * wide * wide) + first * first
                sound = (1.0 - MISREAD) * mass / probability
                second = sound * second - sound * (1.0 - sound) * first * first
                first *= sound
                if second > 1e-12:
                    second = min(second, 0.999999 / rest_variance)
                    precision = second / (1.0 - second * rest_variance)
                    shift = precision * (rest_middle + first / second)
            change = precision - old_precision
            gain = 1.0 + change * variance
            if gain <= 1e-9:
                continue
            sites[index] = (precision, shift)
            factor = change / gain
            push = (shift - old_shift) - change * middle
            push /= gain
            column = (v0, v1, v2, v3)
            for i in range(4):
                mean[i] += column[i] * push
                line, part = spread[i], factor * column[i]
                line[0] -= part * v0
                line[1] -= part * v1
                line[2] -= part * v2
                line[3] -= part * v3
    return log_probability, (mean[0], mean[1], mean[2], mean[3]), spread[3][3]
