"""How long an engine may run with its coolant standing still: belt off, pump not turning.

Method and sources: docs/methods/coolant-clock.md.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from beltside.base.errors import OutOfRangeError, require_range

# Own choices unless a source is named; each as (likely, quick to heat up).
FUEL_W_PER_LITRE_RPM: Final = (5.0, 6.0)
"""Fuel heat at idle for each litre of displacement and 1/min [W]: about 0.7 L/h of petrol (32 MJ/L)
for 1.6 L at 800 rpm."""
HEAD_SHARE: Final = (0.45, 0.50)
"""Part of the fuel's heat that goes into head and upper block at idle."""
METAL_KG_PER_LITRE: Final = (9.0, 7.0)
"""Mass of head and upper cylinders for each litre of displacement, as aluminium [kg]."""
METAL_J_PER_KG_K: Final = 900.0
STILL_SHARE: Final = (0.20, 0.15)
"""Part of the coolant that stands in the head and takes part."""
COOLANT_J_PER_L_K: Final = 3700.0
"""Half and half ethylene glycol: about 1,060 kg/m³ at 3.5 kJ/(kg K) (Melinder, 2010)."""
WALL_W_PER_K_LITRE: Final = 90.0
"""Heat from the head's metal into coolant that doesn't flow, for each litre of displacement."""
TO_AIR_W_PER_K_LITRE: Final = 3.0
"""Heat lost to the air around, for each litre of displacement."""

METAL_LIMIT_C: Final = 110.0
COOLANT_LIMIT_C: Final = 95.0
"""Stop before the coolant at the hottest wall boils, and before standing coolant nears boiling at
ambient pressure."""

SHORTEST_USEFUL_S: Final = 20.0
LONGEST_S: Final = 480.0
"""Common practice, no source: three to eight minutes from cold, never more."""
_STEP_S: Final = 1.0


@dataclass(frozen=True)
class Clock:
    """How long the belt may stay off with the engine running.

    Attributes
    ----------
    limit_s
        Stop by then [s]: the short end. 0 when it must not be started.
    likely_s
        When the limit would be met with likely figures [s]; not a time to use.
    stop_now
        Whether a temperature read says to stop at once.
    because
        What sets the limit.
    course
        (moment [s], metal [°C], coolant [°C]) of the quick case, for a picture.
    warnings
        What to know.
    """

    limit_s: float
    likely_s: float
    stop_now: bool
    because: str
    course: tuple[tuple[float, float, float], ...]
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True)
class _Nodes:
    """Heat capacities [J/K], conductances [W/K] and the heat put in [W]."""

    heat_w: float
    metal: float
    coolant: float
    wall: float
    air: float


def _nodes(displacement_l: float, coolant_l: float, idle_rpm: float, quick: bool) -> _Nodes:
    i = 1 if quick else 0
    return _Nodes(
        FUEL_W_PER_LITRE_RPM[i] * displacement_l * idle_rpm * HEAD_SHARE[i],
        METAL_KG_PER_LITRE[i] * displacement_l * METAL_J_PER_KG_K,
        STILL_SHARE[i] * coolant_l * COOLANT_J_PER_L_K,
        WALL_W_PER_K_LITRE * displacement_l,
        TO_AIR_W_PER_K_LITRE * displacement_l,
    )


def heat_up(
    displacement_l: float,
    coolant_l: float,
    idle_rpm: float,
    start_c: float,
    air_c: float,
    seconds: float,
    *,
    quick: bool = True,
) -> tuple[tuple[float, float, float], ...]:
    """Course of (moment [s], metal [°C], coolant [°C]), in steps of 1 s.

    Two heat stores, C_m dT_m/dt = Q - G (T_m - T_c) - H (T_m - T_air), C_c dT_c/dt = G (T_m - T_c),
    by Heun's rule.
    """
    n = _nodes(displacement_l, coolant_l, idle_rpm, quick)

    def slope(metal_c: float, still_c: float) -> tuple[float, float]:
        over = n.wall * (metal_c - still_c)
        return (n.heat_w - over - n.air * (metal_c - air_c)) / n.metal, over / n.coolant

    metal_c = still_c = start_c
    course = [(0.0, metal_c, still_c)]
    for step in range(1, int(seconds / _STEP_S) + 1):
        a, b = slope(metal_c, still_c)
        c, d = slope(metal_c + _STEP_S * a, still_c + _STEP_S * b)
        metal_c += 0.5 * _STEP_S * (a + c)
        still_c += 0.5 * _STEP_S * (b + d)
        course.append((step * _STEP_S, metal_c, still_c))
    return tuple(course)


def _limit(course: Sequence[tuple[float, float, float]]) -> tuple[float, str]:
    for moment_s, metal_c, still_c in course:
        if metal_c >= METAL_LIMIT_C:
            return moment_s, f"the head's metal nears {METAL_LIMIT_C:.0f} °C"
        if still_c >= COOLANT_LIMIT_C:
            return moment_s, f"the standing coolant nears {COOLANT_LIMIT_C:.0f} °C"
    return course[-1][0], f"never more than {LONGEST_S / 60.0:.0f} minutes without the pump"


def belt_off_clock(
    displacement_l: float,
    *,
    coolant_l: float,
    start_c: float,
    idle_rpm: float = 800.0,
    air_c: float = 20.0,
    readings: Sequence[tuple[float, float]] = (),
) -> Clock:
    """How long an engine may idle with the pump standing still.

    `readings` are (moment since the start [s], temperature [°C]) from the dash, a scan tool or an
    infrared thermometer at the head; they can only shorten the time, as a sensor in coolant that
    doesn't flow reads late and low.

    Raises
    ------
    OutOfRangeError
        Displacement 0.4 to 9 L, coolant 1 to 40 L, start -40 to 130 °C, idle 400 to 1,500 rpm, air
        -40 to 55 °C; readings that go back in time.
    """
    require_range("displacement", displacement_l, 0.4, 9.0, "L")
    require_range("coolant", coolant_l, 1.0, 40.0, "L")
    require_range("start temperature", start_c, -40.0, 130.0, "°C")
    require_range("idle speed", idle_rpm, 400.0, 1500.0, "rpm")
    require_range("air temperature", air_c, -40.0, 55.0, "°C")
    _require_forward(readings)
    if start_c >= COOLANT_LIMIT_C - 10.0:
        return Clock(
            0.0, 0.0, True, f"it starts at {start_c:.0f} °C, too hot to run without the pump", ()
        )
    course = heat_up(displacement_l, coolant_l, idle_rpm, start_c, air_c, LONGEST_S)
    limit_s, because = _limit(course)
    likely_s, _ = _limit(
        heat_up(displacement_l, coolant_l, idle_rpm, start_c, air_c, LONGEST_S, quick=False)
    )
    warnings = []
    stop_now = False
    reckoned_s = limit_s
    for moment_s, read_c in readings:
        if read_c >= COOLANT_LIMIT_C - 5.0:
            stop_now = True
            limit_s, because = min(limit_s, moment_s), f"{read_c:.0f} °C was read"
            break
        ahead = next((t for t, metal_c, _ in course if metal_c >= read_c), reckoned_s)
        if ahead > moment_s + 1.0:
            # It heats up quicker than reckoned, and goes on doing so.
            quicker = max(moment_s, 1.0) / ahead
            sooner_s = moment_s + max(reckoned_s - ahead, 0.0) * quicker
            if sooner_s < limit_s:
                limit_s = sooner_s
                because = f"{read_c:.0f} °C at {moment_s:.0f} s is hotter than reckoned"
                stop_now = sooner_s <= moment_s
    if not stop_now and readings and readings[-1][0] >= limit_s:
        stop_now = True
    if 0.0 < limit_s < SHORTEST_USEFUL_S:
        warnings.append("too short to hear anything by: let it cool down first")
    return Clock(limit_s, max(likely_s, limit_s), stop_now, because, course, tuple(warnings))


def _require_forward(readings: Sequence[tuple[float, float]]) -> None:
    last_s = -1.0
    for moment_s, read_c in readings:
        require_range("moment of a reading", moment_s, 0.0, 7200.0, "s")
        require_range("temperature read", read_c, -40.0, 200.0, "°C")
        if moment_s <= last_s:
            raise OutOfRangeError(
                f"a reading at {moment_s:g} s follows one at {last_s:g} s",
                allowed="moments that rise",
                instead="putting the readings in order",
            )
        last_s = moment_s
