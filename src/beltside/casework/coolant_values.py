"""Values as a technician writes them: "-30F", "8.5 qt", "5000 ft", "1:30"."""

from __future__ import annotations

import re
from typing import Final

from beltside.base.errors import InputError
from beltside.coolant.pressure import KPA_PER, read_pressure_kpa

_NUMBER = re.compile(r"^\s*([+-]?\d+(?:[.,]\d+)?)\s*(.*?)\s*$")
_BARE = re.compile(r"^\s*[+-]?\d+(?:[.,]\d+)?\s*$")
_CLOCK = re.compile(r"^\s*(\d+):([0-5]\d)(?::([0-5]\d))?\s*$")

_LITRES: Final = {
    "l": 1.0,
    "litre": 1.0,
    "litres": 1.0,
    "liter": 1.0,
    "liters": 1.0,
    "ml": 0.001,
    "qt": 0.946352946,
    "quart": 0.946352946,
    "quarts": 0.946352946,
    "gal": 3.785411784,
    "gallon": 3.785411784,
    "gallons": 3.785411784,
    "fl oz": 0.0295735295625,
}
"""US liquid measures, exact: NIST Handbook 44."""

_METRES: Final = {"m": 1.0, "km": 1000.0, "cm": 0.01, "mm": 0.001, "ft": 0.3048, "in": 0.0254}
_SECONDS: Final = {"s": 1.0, "sec": 1.0, "min": 60.0, "m": 60.0, "h": 3600.0}


def _split(text: str, what: str, allowed: str) -> tuple[float, str]:
    match = _NUMBER.match(text.replace("−", "-").replace("°", ""))
    if not match:
        raise InputError(f'{what} is "{text}"', allowed=allowed)
    return float(match[1].replace(",", ".")), match[2].lower()


def read_temperature_c(text: str, what: str = "the temperature", *, us: bool = False) -> float:
    """Degrees Celsius from "-30C", "-22 F" or a bare number, which is °C, or °F with `us`.

    Raises
    ------
    InputError
        When it is no temperature.

    >>> round(read_temperature_c("-34F"), 1)
    -36.7
    """
    value, unit = _split(text, what, "a number with C or F, such as -30C")
    if unit in ("f", "fahrenheit") or (not unit and us):
        return (value - 32.0) / 1.8
    if unit in ("c", "celsius", ""):
        return value
    raise InputError(
        f'{what} is "{text}"; its unit "{unit}" is not known', allowed="C or F, such as -30C"
    )


def _scaled(text: str, what: str, units: dict[str, float], bare: str, example: str) -> float:
    value, unit = _split(text, what, f"a number with its unit, such as {example}")
    one = units.get(unit or bare)
    if one is None:
        raise InputError(
            f'{what} is "{text}"; its unit "{unit}" is not known',
            allowed=", ".join(units),
            instead=example,
        )
    return value * one


def read_litres(text: str, what: str = "the amount", *, us: bool = False) -> float:
    """Litres from "8.5", "8.5 L", "9 qt" or "2 gal"; a bare number is litres, or quarts with `us`.

    >>> round(read_litres("1 gal"), 3)
    3.785
    """
    return _scaled(text, what, _LITRES, "qt" if us else "l", "8.5 L")


def read_metres(text: str, what: str = "the length", *, us: bool = False) -> float:
    """Metres from "1500", "1500 m" or "5000 ft"; a bare number is metres, or feet with `us`.

    >>> read_metres("1000 ft")
    304.8
    """
    return _scaled(text, what, _METRES, "ft" if us else "m", "1500 m")


def read_minutes(text: str, what: str = "the moment") -> float:
    """Minutes from "1:30", "90 s", "1.5 min" or a bare number of minutes.

    >>> read_minutes("1:30"), read_minutes("90s"), read_minutes("2")
    (1.5, 1.5, 2.0)
    """
    clock = _CLOCK.match(text)
    if clock:
        first, second, third = int(clock[1]), int(clock[2]), clock[3]
        if third is None:
            return first + second / 60.0
        return 60.0 * first + second + int(third) / 60.0
    return _scaled(text, what, _SECONDS, "min", "1:30, 90 s or 1.5 min") / 60.0


def read_gauge_kpa(text: str, *, us: bool = False) -> float:
    """A gauge pressure in kPa from "108", "1.08 bar" or "15.7 psi"; bare: kPa, or psi with `us`.

    Raises
    ------
    InputError
        When it is no pressure.

    >>> round(read_gauge_kpa("15.7", us=True), 1)
    108.2
    """
    value = read_pressure_kpa(text)
    bare = _BARE.match(text) is not None
    return value * KPA_PER["psi"] if us and bare else value


def read_flow_ml_min(text: str, what: str = "the leak that matters") -> float:
    """Millilitres a minute from "1 mL/min", "0.1 l/h", or a bare number, which is mL/min.

    Raises
    ------
    InputError
        When it is no flow.

    >>> round(read_flow_ml_min("0.12 l/h"), 3)
    2.0
    """
    allowed = "a number with mL/min, mL/h, l/h or fl oz/min, such as 1 mL/min"
    value, unit = _split(text, what, allowed)
    amount, _, time = (unit or "ml/min").partition("/")
    if amount.strip() not in _LITRES or time.strip() not in ("min", "h"):
        raise InputError(f'{what} is "{text}"; its unit "{unit}" is not known', allowed=allowed)
    hours = 60.0 if time.strip() == "h" else 1.0
    return 1000.0 * value * _LITRES[amount.strip()] / hours
