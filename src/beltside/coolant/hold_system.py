"""What a fall of pressure means in millilitres: how springy the system is, and how it cools.

Method and sources: docs/methods/coolant-hold-test.md.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from beltside.base.errors import OutOfRangeError, require_range
from beltside.coolant.hold_readings import Reading

USUAL_GIVE_ML_KPA: Final = (2.5, 0.75)
"""Give of a whole system with its trapped air [mL/kPa]: median, and standard deviation of its
logarithm. About 0.6 (filled to the brim) to 11 (a large bottle): own choice."""
HOSE_GIVE_ML_KPA: Final = (0.5, 0.6)
"""The same of hoses and bottle without the air (own choice)."""
COUNTED_SPREAD: Final = 0.22
"""Standard deviation of the logarithm when the give comes from counted strokes or stated air."""
MATTERS_ML_MIN: Final = 3.0
"""Leak from which on a system is not called tight [mL/min], when nothing else is asked: 60 drops of
0.05 mL a minute, one a second, 0.18 L in an hour under pressure (own choice)."""
USUAL_CAPACITY_L: Final = 7.0
LIQUID_PER_K: Final = 4.7e-4
"""Shrinkage of half and half coolant near 20 °C, 5.3e-4 1/K (Melinder, 2010), less that of the
metal around it."""
COOLING_SPREAD: Final = 0.25
"""How far what cools can differ from where the temperature was read, as a share (own choice)."""

COOLS_MIN: Final = 120.0
"""Time constant of an engine cooling with the hood open [min], within a factor of about 1.6."""
COLD_K_MIN: Final = ((0.70, 0.005, 0.03), (0.30, 0.08, 0.12))
"""Cooling of an engine of which nothing was read [K/min]: weight, mean, standard deviation. Most
hold tests are done cold (own choice)."""
TEMPERATURE_ERROR_K: Final = 0.7

_NODES: Final = 9
_REACH: Final = 2.2


@dataclass(frozen=True)
class HoldSetup:
    """How the test was set up; what is None is not known and left wide.

    Attributes
    ----------
    cap_kpa
        The cap's mark [kPa gauge], 27 to 180.
    ambient_kpa
        Air pressure here [kPa].
    gauge_step_kpa
        Step in which the gauge is read [kPa], 0.05 to 20.
    reading_error_kpa
        Standard deviation of the reader's error [kPa], 0 to 10.
    capacity_l
        Coolant in the system [L], 1 to 60.
    air_l
        Air in the system at atmospheric pressure, before pumping [L], 0 to 20.
    strokes, stroke_ml
        Pump strokes needed, and the volume of one [mL].
    start_kpa
        Gauge pressure before the first stroke [kPa].
    tester_kpa_min
        Fall of the tester alone, on a plugged adaptor [kPa/min], 0 or more.
    matters_ml_min
        "Tight" is to mean that no leak of this size or more is left [mL/min], 0.2 to 100.
    """

    cap_kpa: float | None = None
    ambient_kpa: float = 101.325
    gauge_step_kpa: float | None = None
    reading_error_kpa: float | None = None
    capacity_l: float | None = None
    air_l: float | None = None
    strokes: float | None = None
    stroke_ml: float | None = None
    start_kpa: float = 0.0
    tester_kpa_min: float | None = None
    matters_ml_min: float = MATTERS_ML_MIN


def require_setup(setup: HoldSetup) -> None:
    """Refuse a setup no test has.

    Raises
    ------
    OutOfRangeError
        When a value is outside the range `HoldSetup` names, or strokes come without their volume.
    """
    limits: tuple[tuple[str, float | None, float, float, str], ...] = (
        ("cap pressure", setup.cap_kpa, 27.0, 180.0, "kPa"),
        ("air pressure", setup.ambient_kpa, 45.0, 110.0, "kPa"),
        ("gauge step", setup.gauge_step_kpa, 0.05, 20.0, "kPa"),
        ("reading error", setup.reading_error_kpa, 0.0, 10.0, "kPa"),
        ("capacity", setup.capacity_l, 1.0, 60.0, "L"),
        ("air in the system", setup.air_l, 0.0, 20.0, "L"),
        ("pump strokes", setup.strokes, 1.0, 500.0, "strokes"),
        ("volume of a stroke", setup.stroke_ml, 2.0, 1000.0, "mL"),
        ("pressure before pumping", setup.start_kpa, 0.0, 150.0, "kPa"),
        ("fall of the tester alone", setup.tester_kpa_min, 0.0, 200.0, "kPa/min"),
        ("leak that matters", setup.matters_ml_min, 0.2, 100.0, "mL/min"),
    )
    for name, value, low, high, unit in limits:
        if value is not None:
            require_range(name, value, low, high, unit)
    if (setup.strokes is None) != (setup.stroke_ml is None):
        raise OutOfRangeError(
            "only one of pump strokes and the volume of a stroke was given",
            allowed="both or neither",
            instead="measuring one stroke: area of the piston times its travel",
        )


@dataclass(frozen=True)
class Give:
    """One possible system: weight, give [mL/kPa], and the volume a kelvin takes [mL/K]."""

    weight: float
    ml_per_kpa: float
    ml_per_k: float


def give_from_strokes(
    strokes: float, stroke_ml: float, from_kpa: float, to_kpa: float, ambient_kpa: float
) -> float:
    """Give of a system at its test pressure [mL/kPa] from the strokes it took.

    Ideal gas, back at its temperature: the strokes' air and the air inside are squeezed into what
    was there plus what the hoses give. With n V_s of air at ambient pressure p_a and a rise D to
    the absolute pressure p: give = p_a n V_s / (D p) + hose give * D / p. Pressures are gauge
    pressures [kPa].

    Raises
    ------
    OutOfRangeError
        When the pressure did not rise by 5 kPa or more.

    >>> round(give_from_strokes(12, 60, 0, 108, 101.325), 1)
    3.5
    """
    rise = to_kpa - from_kpa
    if rise < 5.0:
        raise OutOfRangeError(
            f"pumping from {from_kpa:g} to {to_kpa:g} kPa",
            allowed="a rise of 5 kPa or more",
            instead="leaving the strokes out",
        )
    absolute = to_kpa + ambient_kpa
    air = ambient_kpa * strokes * stroke_ml / (rise * absolute)
    return air + HOSE_GIVE_ML_KPA[0] * rise / absolute


def gives(setup: HoldSetup, test_kpa: float) -> tuple[Give, ...]:
    """Systems this one may be, at a test pressure of `test_kpa` [kPa gauge], with their weights."""
    median, spread = USUAL_GIVE_ML_KPA
    absolute = test_kpa + setup.ambient_kpa
    if setup.strokes is not None and setup.stroke_ml is not None:
        median = give_from_strokes(
            setup.strokes, setup.stroke_ml, setup.start_kpa, test_kpa, setup.ambient_kpa
        )
        spread = COUNTED_SPREAD
    elif setup.air_l is not None:
        # The air inside is squeezed, and the pump's own air fills the room it and the hoses leave.
        room_ml = 1000.0 * setup.air_l + HOSE_GIVE_ML_KPA[0] * test_kpa
        median = room_ml / absolute + HOSE_GIVE_ML_KPA[0]
        spread = math.hypot(COUNTED_SPREAD, HOSE_GIVE_ML_KPA[1] * HOSE_GIVE_ML_KPA[0] / median)
    capacity_ml = 1000.0 * (setup.capacity_l or USUAL_CAPACITY_L)
    found = []
    total = 0.0
    for index in range(_NODES):
        z = _REACH * (2.0 * index / (_NODES - 1) - 1.0)
        weight = math.exp(-0.5 * z * z)
        total += weight
        give = median * math.exp(spread * z)
        hoses = min(HOSE_GIVE_ML_KPA[0], 0.5 * give)
        air_ml_per_k = (give - hoses) * absolute / 293.15
        found.append((weight, give, capacity_ml * LIQUID_PER_K + air_ml_per_k))
    return tuple(Give(weight / total, give, per_k) for weight, give, per_k in found)


@dataclass(frozen=True)
class Cooling:
    """How fast it cools [K/min]: weight, mean, standard deviation of each possibility."""

    ways: tuple[tuple[float, float, float], ...]
    known: bool

    @property
    def mean_k_min(self) -> float:
        """Mean over all possibilities [K/min]."""
        return sum(weight * mean for weight, mean, _ in self.ways)


def cooling(readings: Sequence[Reading]) -> Cooling:
    """How fast the system cools, from what temperatures were read.

    Two or more engine temperatures give a straight line; engine and air together give Newton's
    cooling with a time constant of 120 min; with neither, most engines are cold (COLD_K_MIN).
    """
    engine = [(one.minutes, one.engine_c) for one in readings if one.engine_c is not None]
    air = [one.air_c for one in readings if one.air_c is not None]
    ways: tuple[tuple[float, float, float], ...] = COLD_K_MIN
    known = False
    if engine and air:
        over = sum(value for _, value in engine) / len(engine) - sum(air) / len(air)
        expected = over / COOLS_MIN
        ways = ((1.0, expected, 0.05 + 0.7 * abs(expected)),)
        known = True
    elif engine:
        # An engine of which only its own temperature is known is taken to stand in 20 °C.
        over = engine[0][1] - 20.0
        ways = ((1.0, over / COOLS_MIN, 0.05 + 0.5 * abs(over) / COOLS_MIN),)
    if len(engine) < 2:
        return Cooling(ways, known)
    middle = sum(t for t, _ in engine) / len(engine)
    spread = sum((t - middle) ** 2 for t, _ in engine)
    if spread <= 0.0:
        return Cooling(ways, known)
    measured = -sum((t - middle) * value for t, value in engine) / spread
    error = TEMPERATURE_ERROR_K / math.sqrt(spread)
    error = math.hypot(error, COOLING_SPREAD * abs(measured))
    narrowed = []
    for weight, mean, deviation in ways:
        variance = deviation**2 + error**2
        share = deviation**2 / variance
        log_weight = -0.5 * (measured - mean) ** 2 / variance - 0.5 * math.log(variance)
        narrowed.append(
            (
                weight * math.exp(log_weight),
                mean + share * (measured - mean),
                deviation * error / math.sqrt(variance),
            )
        )
    total = sum(weight for weight, _, _ in narrowed)
    if total <= 0.0:
        return Cooling(((1.0, measured, error),), True)
    return Cooling(
        tuple((weight / total, mean, deviation) for weight, mean, deviation in narrowed), True
    )
