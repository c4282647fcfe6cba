"""Is it leaking, how fast, and how sure is that: the verdict on a hold test.

Method and sources: docs/methods/coolant-hold-test.md.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal

from beltside.coolant.hold_readings import (
    Reading,
    Segment,
    gathered,
    gauge_step_kpa,
    require_readings,
    split_at_pumping,
)
from beltside.coolant.hold_slope import (
    Slope,
    SlopeEvidence,
    combined,
    log_probability_if_tight,
    slope_of,
)
from beltside.coolant.hold_system import (
    MATTERS_ML_MIN,
    Cooling,
    Give,
    HoldSetup,
    cooling,
    gives,
    require_setup,
)

Verdict = Literal["tight", "leaking", "not yet known"]

LEAK_BEFORE: Final = 0.5
"""Probability of a leak before the test: even (own choice)."""
LEAK_ML_MIN: Final = (6.0, 1.2)
"""Leaks a hold test of minutes is about [mL/min]: median, and standard deviation of the logarithm;
nine in ten between 0.8 and 43 (own choice)."""
SURE: Final = 0.72
"""Probability of a leak from which the verdict is "leaking": at most one false alarm in twenty on
hard systems, far fewer on ordinary ones (own choice)."""
SURE_TIGHT: Final = 0.05
"""Probability of a leak that matters up to which the verdict is "tight" (own choice)."""
TIGHT_AT_MOST: Final = 0.30
"""Probability of any leak, however small, above which nothing is called tight (own choice)."""
TIGHT_FROM_MIN: Final = 3.0
"""Nothing is called tight before: the first minutes are settling, and a leak may take its time to
open (own choice)."""
WANDER_KPA_MIN: Final = 0.03
"""Slow drifts that no part of the model stands for (own choice)."""
STUCK_BEFORE: Final = 0.02
"""Probability before the test that a gauge sticks (own choice)."""
STUCK_FROM: Final = 4
"""Equal readings needed before a stuck gauge is thought of."""
TESTER_ML_PER_KPA: Final = 0.6
"""Give of a hand tester alone, some 0.12 L of hose and pump at 200 kPa absolute (own choice)."""

_LEAK_REACH: Final = (-3.2, 4.8)
_LEAK_STEP: Final = 0.267
_CELL: Final = 0.12
"""Half the width of a cell of the grid of leaks and systems, as a share of the fall."""


@dataclass(frozen=True)
class LeakOdds:
    """What a fall of pressure says of a leak, all systems and coolings considered.

    Attributes
    ----------
    probability
        That there is a leak.
    matters
        That there is one of the size that matters, or more.
    ml_min, ml_min_low, ml_min_high
        Its rate at test pressure should there be one [mL/min]: median and 90 % range.
    give_ml_kpa
        Give of the system that is most likely, given all of it [mL/kPa].
    """

    probability: float
    matters: float
    ml_min: float
    ml_min_low: float
    ml_min_high: float
    give_ml_kpa: float


@dataclass(frozen=True)
class Hold:
    """The verdict on a hold test.

    Attributes
    ----------
    verdict
        "tight", "leaking" or "not yet known".
    odds
        Probability and rate of a leak.
    fall_kpa_min, fall_low, fall_high
        Fall of the settled pressure at its beginning [kPa/min], with its 90 % range; None with one
        reading.
    cooling_kpa_min
        The part of it that cooling explains [kPa/min].
    step_kpa
        Step of the gauge used [kPa].
    runs
        Runs between pumpings; more than one means that it was pumped again.
    stuck
        Probability that the gauge sticks.
    tester_ml_min
        What the tester loses by itself [mL/min]; None when not tried.
    test_kpa, minutes
        Pressure at the start of the last run [kPa gauge], and its length [min].
    matters_ml_min
        Size of leak that "tight" excludes [mL/min].
    slopes, curve_rate
        For the plan and the picture.
    segment
        The last run.
    cooling_known
        Whether temperatures were read.
    """

    verdict: Verdict
    odds: LeakOdds
    fall_kpa_min: float | None
    fall_low: float | None
    fall_high: float | None
    cooling_kpa_min: float
    step_kpa: float
    runs: int
    stuck: float
    tester_ml_min: float | None
    test_kpa: float
    minutes: float
    matters_ml_min: float
    slopes: tuple[Slope, ...]
    curve_rate: float
    segment: Segment
    systems: tuple[Give, ...]
    cooling: Cooling


def leak_grid() -> tuple[tuple[float, float], ...]:
    """Leak rates [mL/min] with their weights before the test."""
    median, spread = LEAK_ML_MIN
    rows = []
    for index in range(round((_LEAK_REACH[1] - _LEAK_REACH[0]) / _LEAK_STEP) + 1):
        z = _LEAK_REACH[0] + _LEAK_STEP * index
        rows.append((median * math.exp(spread * z), math.exp(-0.5 * z * z)))
    total = sum(weight for _, weight in rows)
    return tuple((rate, weight / total) for rate, weight in rows)


_GRID: Final = leak_grid()


def leak_odds(
    slopes: Sequence[Slope],
    systems: Sequence[Give],
    cools: Cooling,
    tester_ml_min: float = 0.0,
    matters_ml_min: float = MATTERS_ML_MIN,
) -> LeakOdds:
    """Probability and rate of a leak from how fast the pressure fell.

    For every system, cooling and leak of the grids the expected fall is (leak + tester + mL/K
    times K/min) / give, and the evidence says how well that fits; all of it is summed.
    """
    tight = 0.0
    by_leak = [0.0] * len(_GRID)
    by_system = [0.0] * len(systems)
    for number, system in enumerate(systems):
        give = system.ml_per_kpa
        here = 0.0
        for weight, mean_k, deviation_k in cools.ways:
            for slope in slopes:
                drift = system.ml_per_k * mean_k + tester_ml_min
                variance = (
                    slope.deviation**2
                    + (system.ml_per_k * deviation_k / give) ** 2
                    + WANDER_KPA_MIN**2
                )
                common = system.weight * weight * slope.weight
                offset = slope.fall - drift / give
                exponent = min(0.5 * offset * offset / variance, 700.0)
                likelihood = common * math.exp(-exponent) / math.sqrt(variance)
                tight += likelihood
                here += (1.0 - LEAK_BEFORE) * likelihood
                leaking = 0.0
                for index, (rate, rate_weight) in enumerate(_GRID):
                    off = offset - rate / give
                    wider = variance + (_CELL * rate / give) ** 2
                    exponent = 0.5 * off * off / wider
                    if exponent < 40.0:
                        value = rate_weight * common * math.exp(-exponent) / math.sqrt(wider)
                        by_leak[index] += value
                        leaking += value
                here += LEAK_BEFORE * leaking
        by_system[number] = here
    return _odds(tight, by_leak, by_system, systems, matters_ml_min)


def _odds(
    tight: float,
    by_leak: list[float],
    by_system: list[float],
    systems: Sequence[Give],
    matters_ml_min: float,
) -> LeakOdds:
    leaking = sum(by_leak)
    # A fall beyond every leak of the grid leaves both at nothing; it is then a leak all the same.
    whole = LEAK_BEFORE * leaking + (1.0 - LEAK_BEFORE) * tight
    probability = LEAK_BEFORE * leaking / whole if whole > 1e-250 else 1.0
    if leaking <= 0.0:
        by_leak = [0.0] * (len(_GRID) - 1) + [1.0]
    total_system = sum(by_system)
    give = (
        math.exp(
            sum(
                weight * math.log(system.ml_per_kpa)
                for weight, system in zip(by_system, systems, strict=True)
            )
            / total_system
        )
        if total_system > 0.0
        else systems[len(systems) // 2].ml_per_kpa
    )
    low, middle, high = (_quantile(by_leak, share) for share in (0.05, 0.5, 0.95))
    matters = probability * _share_from(by_leak, matters_ml_min)
    return LeakOdds(probability, matters, middle, low, high, give)


def _share_from(by_leak: Sequence[float], rate_ml_min: float) -> float:
    """The part of the weight at this rate or above, cells of the grid cut in their logarithm."""
    half_step = 0.5 * _LEAK_STEP * LEAK_ML_MIN[1]
    above = 0.0
    for (rate, _), weight in zip(_GRID, by_leak, strict=True):
        over = math.log(rate / rate_ml_min) / (2.0 * half_step) + 0.5
        above += weight * min(max(over, 0.0), 1.0)
    return above / sum(by_leak)


def _quantile(by_leak: Sequence[float], share: float) -> float:
    """The rate below which `share` of the weight lies, between grid points in their logarithm."""
    total = sum(by_leak)
    wanted = share * total
    run = 0.0
    half_step = 0.5 * math.log(_GRID[1][0] / _GRID[0][0])
    for (rate, _), weight in zip(_GRID, by_leak, strict=True):
        if run + weight >= wanted and weight > 0.0:
            inside = (wanted - run) / weight
            return rate * math.exp(half_step * (2.0 * inside - 1.0))
        run += weight
    return _GRID[-1][0]


def hold_test(readings: Sequence[Reading], setup: HoldSetup | None = None) -> Hold:
    """The verdict on a hold test from its readings.

    Raises
    ------
    OutOfRangeError
        When a reading or the setup is outside its range: see `require_readings`, `require_setup`.
    """
    setup = setup or HoldSetup()
    require_readings(readings)
    require_setup(setup)
    step_kpa = setup.gauge_step_kpa or gauge_step_kpa(readings)
    runs = split_at_pumping(readings, step_kpa)
    segments = [gathered(run) for run in runs]
    evidence: SlopeEvidence | None = None
    for number, segment in enumerate(segments):
        if len(segment.points) < 2:
            continue
        settled = number == 0 and runs[0][0].minutes > 3.0
        found = slope_of(segment, step_kpa, setup.reading_error_kpa, settled=settled)
        evidence = found if evidence is None else combined(evidence, found)
    last = segments[-1]
    test_kpa = max(last.points[0].gauge_kpa, 1.0)
    systems = gives(setup, max(test_kpa, setup.start_kpa + 5.0))
    cools = cooling(readings)
    tester = None if setup.tester_kpa_min is None else setup.tester_kpa_min * TESTER_ML_PER_KPA
    slopes = evidence.slopes if evidence else (Slope(1.0, 0.0, 200.0),)
    odds = leak_odds(slopes, systems, cools, tester or 0.0, setup.matters_ml_min)
    if evidence is None:
        odds = replace(odds, probability=LEAK_BEFORE)
    minutes = sum(segment.span_min for segment in segments)
    stuck = _stuck(segments, step_kpa, setup.reading_error_kpa)
    mean_give = odds.give_ml_kpa
    near = min(systems, key=lambda one: abs(math.log(one.ml_per_kpa / mean_give)))
    fall = deviation = None
    if evidence:
        fall = sum(one.weight * one.fall for one in slopes)
        deviation = math.sqrt(
            sum(one.weight * (one.deviation**2 + (one.fall - fall) ** 2) for one in slopes)
        )
    return Hold(
        verdict="not yet known" if evidence is None or stuck > 0.5 else verdict_of(odds, minutes),
        odds=odds,
        fall_kpa_min=fall,
        fall_low=None if fall is None or deviation is None else fall - 1.645 * deviation,
        fall_high=None if fall is None or deviation is None else fall + 1.645 * deviation,
        cooling_kpa_min=near.ml_per_k * cools.mean_k_min / near.ml_per_kpa,
        step_kpa=step_kpa,
        runs=len(runs),
        stuck=stuck,
        tester_ml_min=tester,
        test_kpa=test_kpa,
        minutes=last.span_min,
        matters_ml_min=setup.matters_ml_min,
        slopes=tuple(slopes),
        curve_rate=evidence.curve_rate if evidence else 0.0,
        segment=last,
        systems=systems,
        cooling=cools,
    )


def verdict_of(odds: LeakOdds, minutes: float) -> Verdict:
    """What these odds are called after so many minutes of readings.

    Tight is what has hardly room for a leak that matters, and where the readings spoke against any
    leak as well: no test of minutes excludes a leak of one drop in them.
    """
    if odds.probability >= SURE:
        return "leaking"
    tight = odds.matters <= SURE_TIGHT and odds.probability <= TIGHT_AT_MOST
    return "tight" if tight and minutes >= TIGHT_FROM_MIN else "not yet known"


def _stuck(segments: Sequence[Segment], step_kpa: float, reading_error_kpa: float | None) -> float:
    """Probability that the needle sticks: all readings equal, against what a free one would do."""
    values = {point.gauge_kpa for segment in segments for point in segment.points}
    count = sum(point.count for segment in segments for point in segment.points)
    if len(values) > 1 or count < STUCK_FROM or values == {0.0}:
        return 0.0
    log_free = sum(
        log_probability_if_tight(segment, step_kpa, reading_error_kpa) for segment in segments
    )
    free = (1.0 - STUCK_BEFORE) * math.exp(log_free)
    return STUCK_BEFORE / (STUCK_BEFORE + free)
