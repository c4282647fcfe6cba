"""A hold test as it was read, and what the reader should have noticed on the way.

Method and sources: docs/methods/coolant-hold-test.md.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from beltside.base.errors import OutOfRangeError, require_range

HIGHEST_GAUGE_KPA: Final = 250.0
LONGEST_MIN: Final = 24.0 * 60.0
MOST_READINGS: Final = 5000
MOST_POINTS: Final = 24
"""A denser log is gathered into so many points: readings a second apart tell little new."""

_USUAL_STEPS: Final = (0.1, 0.2, 0.5, 1.0, 2.0, 2.5, 5.0, 10.0)
FINEST_STEP_KPA: Final = 0.1
COARSEST_STEP_KPA: Final = 20.0


@dataclass(frozen=True)
class Reading:
    """One look at the gauge.

    Attributes
    ----------
    minutes
        Since pumping ended [min].
    gauge_kpa
        What the gauge said [kPa].
    engine_c, air_c
        Temperatures read beside it [°C], if any.
    """

    minutes: float
    gauge_kpa: float
    engine_c: float | None = None
    air_c: float | None = None


@dataclass(frozen=True)
class Point:
    """A reading, or several gathered: moment [min], gauge [kPa], how many."""

    minutes: float
    gauge_kpa: float
    count: int = 1


@dataclass(frozen=True)
class Segment:
    """Readings between two pumpings: points, and the last moment [min]."""

    points: tuple[Point, ...]

    @property
    def span_min(self) -> float:
        """From the first to the last point [min]."""
        return self.points[-1].minutes - self.points[0].minutes


def require_readings(readings: Sequence[Reading]) -> None:
    """Refuse readings no hold test gives.

    Raises
    ------
    OutOfRangeError
        None or more than 5,000; moments that don't rise, are negative or beyond a day; a pressure
        below 0 or above 250 kPa; temperatures outside -40 to 130 °C (engine) or -40 to 60 °C (air).
    """
    if not readings:
        raise OutOfRangeError(
            "no readings were given", allowed="the moment and the pressure, two readings or more"
        )
    if len(readings) > MOST_READINGS:
        raise OutOfRangeError(
            f"{len(readings)} readings were given", allowed=f"up to {MOST_READINGS}"
        )
    for number, one in enumerate(readings, start=1):
        require_range(f"moment of reading {number}", one.minutes, 0.0, LONGEST_MIN, "min")
        require_range(f"pressure of reading {number}", one.gauge_kpa, 0.0, HIGHEST_GAUGE_KPA, "kPa")
        if one.engine_c is not None:
            require_range(f"engine temperature {number}", one.engine_c, -40.0, 130.0, "°C")
        if one.air_c is not None:
            require_range(f"air temperature {number}", one.air_c, -40.0, 60.0, "°C")
    for number, (before, after) in enumerate(pairwise(readings), start=2):
        if after.minutes <= before.minutes:
            raise OutOfRangeError(
                f"reading {number} is at {after.minutes:g} min, the one before it at "
                f"{before.minutes:g} min",
                allowed="moments that rise",
                instead="putting the readings in order, or checking minutes against seconds",
            )


def gauge_step_kpa(readings: Sequence[Reading]) -> float:
    """The step in which the gauge was read [kPa], told from the readings themselves.

    The largest usual step, in kPa or in psi, that all readings are multiples of; 0.1 kPa when none
    fits. Equal or few readings say little: give the gauge's step where it is known.

    >>> gauge_step_kpa([Reading(0, 108), Reading(1, 106), Reading(2, 104), Reading(3, 103)])
    1.0
    """
    psi = 6.894757293
    steps = [*_USUAL_STEPS, 0.1 * psi, 0.5 * psi, psi]
    values = [one.gauge_kpa for one in readings]
    fitting = [
        step
        for step in sorted(steps)
        if all(abs(value / step - round(value / step)) * step < 0.03 for value in values)
    ]
    return fitting[-1] if fitting else FINEST_STEP_KPA


def split_at_pumping(readings: Sequence[Reading], step_kpa: float) -> list[list[Reading]]:
    """The readings in runs between which somebody pumped again.

    A rise of more than two and a half steps and 3 kPa, against the reading before, is no warming
    within one interval of up to 3 minutes.
    """
    runs = [[readings[0]]]
    for before, after in pairwise(readings):
        minutes = after.minutes - before.minutes
        allowed = max(2.5 * step_kpa, 3.0) + 1.0 * max(minutes - 3.0, 0.0)
        if after.gauge_kpa - before.gauge_kpa > allowed:
            runs.append([])
        runs[-1].append(after)
    return runs


def gathered(readings: Sequence[Reading]) -> Segment:
    """The readings of one run as at most 24 points, counted from its own start.

    What follows the first reading of nearly nothing left is dropped: an empty system can't fall.
    """
    start = readings[0].minutes
    empty = 0.02 * readings[0].gauge_kpa
    kept = list(readings)
    for index, one in enumerate(readings):
        if one.gauge_kpa <= empty and index:
            kept = kept[: index + 1]
            break
    if len(kept) <= MOST_POINTS:
        return Segment(tuple(Point(one.minutes - start, one.gauge_kpa) for one in kept))
    # Finer at the beginning, where the pressure settles.
    span = kept[-1].minutes - start
    bins: list[list[Reading]] = [[] for _ in range(MOST_POINTS)]
    for one in kept:
        share = math.sqrt((one.minutes - start) / span)
        bins[min(int(share * MOST_POINTS), MOST_POINTS - 1)].append(one)
    points = [
        Point(
            sum(one.minutes for one in group) / len(group) - start,
            sum(one.gauge_kpa for one in group) / len(group),
            len(group),
        )
        for group in bins
        if group
    ]
    return Segment(tuple(points))
