"""What more minutes would tell, and what this test could have seen at all.

Method and sources: docs/methods/coolant-hold-test.md.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

from beltside.coolant.hold import SURE, Hold, leak_odds, verdict_of
from beltside.coolant.hold_slope import (
    CREEP_KPA,
    SETTLE_KPA,
    Slope,
    row_at,
    usual_error_kpa,
)

HORIZONS_MIN: Final = (1.0, 2.0, 4.0, 7.0, 12.0, 20.0, 30.0)
SEEN: Final = 0.95
"""Share of tests in which the smallest leak named is to be called (own choice)."""
_Z_SEEN: Final = 1.645
_LARGEST_ML_MIN: Final = 400.0
_START_VARIANCE: Final = 25.0**2
_FLAT_VARIANCE: Final = 200.0**2


def smallest_leak_ml_min(hold: Hold) -> float | None:
    """The smallest leak that this test, as it stands, calls in 95 of 100 cases [mL/min].

    None when not even 400 mL/min would be: one reading, or nearly no time.
    """
    if hold.fall_kpa_min is None:
        return None
    deviation = _deviation(hold.slopes)
    drift = hold.cooling_kpa_min

    def called(rate: float) -> bool:
        fall = rate / hold.odds.give_ml_kpa + drift - _Z_SEEN * deviation
        slope = (Slope(1.0, fall, deviation),)
        odds = leak_odds(slope, hold.systems, hold.cooling, hold.tester_ml_min or 0.0)
        return odds.probability >= SURE

    low, high = math.log(0.05), math.log(_LARGEST_ML_MIN)
    if not called(_LARGEST_ML_MIN):
        return None
    while high - low > 0.08:
        middle = 0.5 * (low + high)
        if called(math.exp(middle)):
            high = middle
        else:
            low = middle
    return math.exp(high)


def minutes_more(hold: Hold, reading_error_kpa: float | None = None) -> float | None:
    """How many more minutes, read on as before, would settle the question [min].

    Reckoned for the likelier answer: at each horizon the fall that it predicts is put in with the
    precision the readings would then have. None when half an hour would not do.
    """
    if hold.verdict != "not yet known" or hold.fall_kpa_min is None:
        return None
    points = hold.segment.points
    every = max(hold.segment.span_min / max(len(points) - 1, 1), 0.25)
    leaking = hold.odds.probability >= 0.5
    rate = hold.odds.ml_min if leaking else 0.0
    fall = rate / hold.odds.give_ml_kpa + hold.cooling_kpa_min
    error = usual_error_kpa(hold.step_kpa) if reading_error_kpa is None else reading_error_kpa
    noise = error**2 + hold.step_kpa**2 / 12.0
    state = _Line(noise)
    for point in points:
        state.add(point.minutes)
    # The data may be worse than planned; scale the plan to what they gave so far.
    scale = max(_deviation(hold.slopes) / state.deviation, 1.0)
    now = points[-1].minutes
    moment = now
    for horizon in HORIZONS_MIN:
        while moment + every <= now + horizon + 1e-9:
            moment += every
            state.add(moment)
        slope = (Slope(1.0, fall, scale * state.deviation),)
        odds = leak_odds(
            slope, hold.systems, hold.cooling, hold.tester_ml_min or 0.0, hold.matters_ml_min
        )
        if verdict_of(odds, hold.segment.span_min + horizon) == ("leaking" if leaking else "tight"):
            return horizon
    return None


def what_would_help(hold: Hold, *, strokes_counted: bool, temperatures: bool) -> tuple[str, ...]:
    """What makes the next test sharper, the most useful first."""
    found = []
    if hold.stuck > 0.5:
        found.append("tap the gauge and pump one stroke: a free needle moves")
    if hold.segment.span_min < 3.0:
        found.append("read on: the first two minutes are mostly settling")
    if not strokes_counted:
        found.append(
            "count the pump strokes and measure one (area times travel): they tell how much air is "
            "inside, and so how much a fall means"
        )
    if not temperatures:
        found.append("read engine and air temperature: cooling alone makes the pressure fall")
    if hold.step_kpa >= 2.0:
        found.append("a gauge with finer steps, or reading between the marks")
    if hold.odds.give_ml_kpa > 4.0:
        found.append("fill the bottle higher: less air makes the gauge quicker")
    return tuple(found)


def _deviation(slopes: Sequence[Slope]) -> float:
    mean = sum(one.weight * one.fall for one in slopes)
    return math.sqrt(
        sum(one.weight * (one.deviation**2 + (one.fall - mean) ** 2) for one in slopes)
    )


class _Line:
    """Precision of the fall as readings come in: the same line, Gaussian errors."""

    def __init__(self, noise: float) -> None:
        self._noise = noise
        diagonal = (_START_VARIANCE, SETTLE_KPA[1] ** 2, CREEP_KPA[1] ** 2, _FLAT_VARIANCE)
        self._spread = [[diagonal[i] if i == j else 0.0 for j in range(4)] for i in range(4)]

    def add(self, minutes: float) -> None:
        """One more reading at a moment [min]."""
        row = row_at(minutes, 0.5, 0.0)
        column = [sum(r * s for r, s in zip(row, line, strict=True)) for line in self._spread]
        variance = sum(r * c for r, c in zip(row, column, strict=True)) + self._noise
        for i in range(4):
            for j in range(4):
                self._spread[i][j] -= column[i] * column[j] / variance

    @property
    def deviation(self) -> float:
        """Standard deviation of the fall [kPa/min]."""
        return math.sqrt(max(self._spread[3][3], 1e-9))
