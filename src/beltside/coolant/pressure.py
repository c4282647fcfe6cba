"""Pressure: units, the air around, and what a radiator cap's mark means.

Method and sources: docs/methods/coolant-pressure.md.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final

from beltside.base.errors import InputError, OutOfRangeError, require_range

KPA_PER: Final = {
    "kPa": 1.0,
    "bar": 100.0,
    "atm": 101.325,
    "kgf/cm2": 98.0665,
    "psi": 0.45359237 * 9.80665 / 0.0254**2 / 1000.0,
}
"""Kilopascals in one unit: exact by definition (NIST SP 811, 2008, appendix B.8)."""

_NAMES: Final = {
    "kpa": "kPa",
    "bar": "bar",
    "bars": "bar",
    "atm": "atm",
    "kgf/cm2": "kgf/cm2",
    "kgf/cm²": "kgf/cm2",
    "kgf/cm^2": "kgf/cm2",
    "kg/cm2": "kgf/cm2",
    "kg/cm²": "kgf/cm2",
    "kgf": "kgf/cm2",
    "kg": "kgf/cm2",
    "at": "kgf/cm2",
    "psi": "psi",
    "psig": "psi",
    "lb": "psi",
    "lbs": "psi",
    "lb/in2": "psi",
    "#": "psi",
}
_MARK = re.compile(r"^\s*(\d+(?:[.,]\d+)?)\s*([^\d\s].*?)?\s*$")

SEA_LEVEL_KPA: Final = 101.325
LOWEST_CAP_KPA: Final = 27.0
HIGHEST_CAP_KPA: Final = 180.0
"""Caps of cars, from old ones to sealed high-pressure ones: common practice, no source."""

HIGHEST_ALTITUDE_M: Final = 5500.0
LOWEST_ALTITUDE_M: Final = -450.0
"""From the lowest shore to about the highest road; the formula itself holds to 11,000 m."""

PUMP_TOLERANCE: Final = 0.05
"""How far below the mark a hand pump may stop, as a share: own choice. Above is never allowed."""

CAP_OPENING: Final = 0.10
"""How far from its mark a sound cap may open, as a share: common practice, no source."""


def from_kpa(pressure_kpa: float) -> dict[str, float]:
    """The same pressure in every unit a gauge or cap may carry.

    >>> round(from_kpa(108.0)["psi"], 2)
    15.66
    """
    return {unit: pressure_kpa / one for unit, one in KPA_PER.items()}


def ambient_kpa(altitude_m: float) -> float:
    """Air pressure at a height above sea level [kPa], standard atmosphere.

    ISO 2533:1975 with the geometric height turned into the geopotential one; -450 to 5,500 m.
    Weather moves the true value by about 3 % either way.

    Raises
    ------
    OutOfRangeError
        Outside that range; the message gives the height in metres should feet have been meant.

    >>> round(ambient_kpa(1500.0), 2)
    84.56
    """
    if not LOWEST_ALTITUDE_M <= altitude_m <= HIGHEST_ALTITUDE_M:
        raise OutOfRangeError(
            f"altitude is {altitude_m:g} m",
            allowed=f"{LOWEST_ALTITUDE_M:g} to {HIGHEST_ALTITUDE_M:g} m, where cars are driven",
            instead=f"{0.3048 * altitude_m:.0f} m, if that was in feet",
        )
    geopotential_m = 6356766.0 * altitude_m / (6356766.0 + altitude_m)
    power: float = (1.0 - 0.0065 * geopotential_m / 288.15) ** (9.80665 / (287.05287 * 0.0065))
    return SEA_LEVEL_KPA * power


@dataclass(frozen=True)
class CapMark:
    """What is stamped on a cap.

    Attributes
    ----------
    text
        As given.
    gauge_kpa
        Pressure above the air around [kPa].
    unit
        Unit it was read in.
    assumed
        What had to be assumed, "" when the unit was given.
    others_kpa
        What else a bare number could have meant, unit to gauge pressure [kPa].
    """

    text: str
    gauge_kpa: float
    unit: str
    assumed: str = ""
    others_kpa: tuple[tuple[str, float], ...] = ()


def read_cap_mark(text: str) -> CapMark:
    """A cap's mark, such as "108 kPa", "1.1 bar", "16 psi" or a bare "1.1".

    A bare number is read in whichever units make a pressure that caps have (27 to 180 kPa):
    0.3 to 1.8 in kgf/cm², bar or atm, 4 to 26 in psi, 27 to 180 in kPa. Where several fit, the
    lowest pressure counts, so that a wrong guess never pumps too high.

    Raises
    ------
    InputError
        When it is no number with a unit of pressure, or a pressure no cap has.

    >>> round(read_cap_mark("1.1").gauge_kpa, 2), read_cap_mark("16").unit
    (107.87, 'psi')
    """
    match = _MARK.match(text)
    if not match:
        raise InputError(
            f'the cap\'s mark is "{text}"',
            allowed="a number, best with its unit: kPa, bar, atm, kgf/cm2 or psi",
            instead="108 kPa, 1.1 bar or 16 psi",
        )
    number = float(match[1].replace(",", "."))
    if match[2]:
        unit = _unit_named(match[2], text)
        gauge_kpa = number * KPA_PER[unit]
        if not LOWEST_CAP_KPA <= gauge_kpa <= HIGHEST_CAP_KPA:
            raise OutOfRangeError(
                f"a cap of {number:g} {unit} would be {gauge_kpa:.0f} kPa",
                allowed=_allowed_marks(),
                instead=_other_unit(number),
            )
        return CapMark(text, gauge_kpa, unit)
    fits = sorted(
        (number * one, unit)
        for unit, one in KPA_PER.items()
        if LOWEST_CAP_KPA <= number * one <= HIGHEST_CAP_KPA
    )
    if not fits:
        raise OutOfRangeError(
            f"a cap marked {number:g} fits no unit",
            allowed=_allowed_marks(),
            instead="reading the mark again, with its unit",
        )
    gauge_kpa, unit = fits[0]
    others = tuple((name, value) for value, name in fits[1:])
    could = ", ".join(f"{name} ({value:.1f} kPa)" for name, value in others)
    assumed = (
        f"{number:g} was given without a unit and is taken as {unit}, {gauge_kpa:.1f} kPa; it "
        f"could also be {could}; the lowest is taken, so nothing is pumped too high"
        if others
        else f"{number:g} was given without a unit and is taken as {unit}, {gauge_kpa:.1f} kPa"
    )
    return CapMark(text, gauge_kpa, unit, assumed, others)


def _unit_named(word: str, text: str) -> str:
    unit = _NAMES.get(word.lower().replace(" ", "").rstrip("."))
    if unit is None:
        raise InputError(
            f'"{word}" in "{text}" is no unit of pressure known here',
            allowed="kPa, bar, atm, kgf/cm2, psi",
            instead="the bare number, if the cap carries none",
        )
    return unit


def _allowed_marks() -> str:
    return (
        f"{LOWEST_CAP_KPA:.0f} to {HIGHEST_CAP_KPA:.0f} kPa, that is 0.27 to 1.8 bar, "
        "0.28 to 1.83 kgf/cm2 or 4 to 26 psi"
    )


def _other_unit(number: float) -> str:
    for unit, one in KPA_PER.items():
        if LOWEST_CAP_KPA <= number * one <= HIGHEST_CAP_KPA:
            return f"{number:g} {unit}, if that was meant"
    return "reading the mark again"


def read_pressure_kpa(text: str) -> float:
    """A pressure with its unit in kPa; a bare number is taken as kPa. May be negative.

    Raises
    ------
    InputError
        When it is no number with a unit of pressure.

    >>> round(read_pressure_kpa("15.66 psi"), 1)
    108.0
    """
    stripped = text.strip()
    sign = -1.0 if stripped.startswith(("-", "−")) else 1.0
    match = _MARK.match(stripped.lstrip("+-−"))
    if not match:
        raise InputError(
            f'"{text}" is no pressure', allowed="a number with kPa, bar, atm, kgf/cm2 or psi"
        )
    one = KPA_PER[_unit_named(match[2], text)] if match[2] else 1.0
    return sign * float(match[1].replace(",", ".")) * one


@dataclass(frozen=True)
class CapTarget:
    """To what a system with this cap is pumped.

    Attributes
    ----------
    mark
        The cap's mark.
    lowest_kpa, target_kpa
        Gauge pressure to stop between [kPa]; `target_kpa` is also the most.
    opens_low_kpa, opens_high_kpa
        Where a sound cap may open [kPa gauge].
    ambient_kpa, absolute_kpa
        Air pressure here, and the absolute pressure at the target [kPa].
    """

    mark: CapMark
    lowest_kpa: float
    target_kpa: float
    opens_low_kpa: float
    opens_high_kpa: float
    ambient_kpa: float
    absolute_kpa: float


def cap_target(mark: CapMark, ambient_pressure_kpa: float) -> CapTarget:
    """The pressures that go with a cap's mark where the air has `ambient_pressure_kpa` [kPa].

    Raises
    ------
    OutOfRangeError
        When the air pressure is outside 45 to 110 kPa.
    """
    require_range("air pressure", ambient_pressure_kpa, 45.0, 110.0, "kPa")
    gauge = mark.gauge_kpa
    return CapTarget(
        mark,
        (1.0 - PUMP_TOLERANCE) * gauge,
        gauge,
        (1.0 - CAP_OPENING) * gauge,
        (1.0 + CAP_OPENING) * gauge,
        ambient_pressure_kpa,
        gauge + ambient_pressure_kpa,
    )
