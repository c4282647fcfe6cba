"""The gauge of a hold test: its unit, its step, and figures as its face shows them."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any, Final

from beltside.base.errors import BeltsideError, InputError
from beltside.casework.coolant_cap import cap_answer
from beltside.casework.coolant_values import read_gauge_kpa
from beltside.casework.shop_coolant import minutes_at
from beltside.coolant.pressure import KPA_PER
from beltside.jobs.entries import Entry

GAUGE_UNITS: Final = ("kPa", "bar", "psi")
GAUGE_STEPS: Final[Mapping[str, tuple[float, ...]]] = {
    "kPa": (0.5, 1.0, 2.0, 5.0),
    "bar": (0.005, 0.01, 0.02, 0.05),
    "psi": (0.1, 0.2, 0.5, 1.0),
}
"""Steps in which gauges are read, in their own unit: common practice, no source."""
USUAL_STEP: Final[Mapping[str, float]] = {"kPa": 1.0, "bar": 0.01, "psi": 0.2}
"""By how much a tap moves the figure while nothing says how fine the gauge is."""


@dataclass(frozen=True)
class Gauge:
    """A gauge: its unit, and the step it is read in [that unit]."""

    unit: str
    step: float

    @property
    def digits(self) -> int:
        """Digits behind the point that its step needs.

        >>> Gauge("bar", 0.005).digits, Gauge("kPa", 1.0).digits
        (3, 0)
        """
        exponent = Decimal(f"{self.step:g}").normalize().as_tuple().exponent
        return max(0, -int(exponent))

    def shown(self, kpa: float) -> str:
        """A pressure as the gauge would show it, without its unit; one read finer keeps a digit.

        >>> Gauge("bar", 0.01).shown(107.0), Gauge("kPa", 1.0).shown(106.5)
        ('1.07', '106.5')
        """
        value = kpa / KPA_PER[self.unit]
        between = abs(value - round(value, self.digits)) > 0.1 * self.step
        return f"{value:.{self.digits + between}f}"

    def typed(self, text: str) -> str:
        """A pressure as typed, with the gauge's unit behind a bare figure.

        >>> Gauge("bar", 0.02).typed("1,07"), Gauge("bar", 0.02).typed("15.5 psi")
        ('1,07 bar', '15.5 psi')
        """
        bare = text.strip().replace(",", ".").replace(".", "", 1).isdecimal()
        return f"{text} {self.unit}" if bare else text


def gauge_of(test: Entry | None, *, us: bool = False) -> Gauge:
    """The gauge of a test; the shop's usual one without a test."""
    body: Mapping[str, Any] = test.body if test is not None else {}
    unit = str(body.get("unit") or ("psi" if us else "kPa"))
    step_kpa = body.get("given", {}).get("gauge_step_kpa")
    if step_kpa is None:
        return Gauge(unit, USUAL_STEP[unit])
    return Gauge(unit, float(f"{float(step_kpa) / KPA_PER[unit]:.4g}"))


def step_kpa(text: str, unit: str) -> float:
    """A gauge's step as typed, bare figures in the gauge's unit [kPa].

    Raises
    ------
    InputError
        When it is no pressure.

    >>> step_kpa("0.02", "bar")
    2.0
    """
    if unit not in GAUGE_UNITS:
        raise InputError(f'the gauge\'s unit is "{unit}"', allowed=", ".join(GAUGE_UNITS))
    return round(read_gauge_kpa(Gauge(unit, 1.0).typed(text)), 6)


@dataclass(frozen=True)
class Target:
    """How far to pump: the most and the least, as the gauge shows it, and the most [kPa]."""

    most: str
    least: str
    most_kpa: float
    assumed: str


def target_of(cap: str, gauge: Gauge) -> Target | None:
    """How far to pump under a cap by its mark; None when the mark says nothing."""
    if not cap.strip():
        return None
    try:
        data = cap_answer(cap).data
    except BeltsideError:
        return None
    # Rounded down to what the gauge shows, so that the most is never above the mark.
    one = KPA_PER[gauge.unit]
    most = math.floor(data["target_kpa"] / one / gauge.step + 1e-6) * gauge.step * one
    least = math.floor(data["lowest_kpa"] / one / gauge.step + 1e-6) * gauge.step * one
    return Target(
        gauge.shown(most),
        gauge.shown(least),
        float(data["target_kpa"]),
        str(data["assumed"] or ""),
    )


def elapsed_s(test: Entry, now: datetime) -> float:
    """Seconds since pumping ended, by the test's own start."""
    return 60.0 * minutes_at(test, now)


def clock_text(minutes: float) -> str:
    """A moment of a test as a clock shows it.

    >>> clock_text(1.5), clock_text(0.0)
    ('1:30', '0:00')
    """
    whole, seconds = divmod(round(60.0 * minutes), 60)
    return f"{whole}:{seconds:02d}"
