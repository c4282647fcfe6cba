"""Torque in the units of the trade: N m, lbf ft, lbf in, kgf m, kgf cm.

Factors: NIST SP 811 (2008), Appendix B.8: lbf ft 1.355 818 N m, kgf m 9.806 65 N m.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Final

from beltside.base.errors import InputError, OutOfRangeError, nearest

_LBF_N: Final = 0.45359237 * 9.80665

NM_OF: Final[Mapping[str, float]] = {
    "N m": 1.0,
    "lbf ft": _LBF_N * 0.3048,
    "lbf in": _LBF_N * 0.0254,
    "kgf m": 9.80665,
    "kgf cm": 0.0980665,
}
"""Newton metres in one of each."""

LEAST_NM: Final = 0.1
MOST_NM: Final = 1500.0

_SPELLINGS: Final[Mapping[str, str]] = {
    **dict.fromkeys(("nm", "newtonmetre", "newtonmetres", "newtonmeter", "newtonmeters"), "N m"),
    **dict.fromkeys(
        ("lbfft", "lbft", "ftlb", "ftlbs", "ftlbf", "lbsft", "footpound", "footpounds"), "lbf ft"
    ),
    **dict.fromkeys(
        ("lbfin", "lbin", "inlb", "inlbs", "inlbf", "lbsin", "inchpound", "inchpounds"), "lbf in"
    ),
    **dict.fromkeys(("kgfm", "kgm", "mkg", "mkgf", "mkp", "kpm"), "kgf m"),
    **dict.fromkeys(("kgfcm", "kgcm", "cmkg", "cmkgf"), "kgf cm"),
}
_TORQUE = re.compile(r"^\s*([+-]?\d+(?:[.,]\d+)?)\s*(.*?)\s*$")
_THOUSANDS = re.compile(r"^\d{1,3},\d{3}$")


def unit_of(text: str) -> str:
    """Our name of a unit, however it is written: "ft-lb", "Nm", "kgm".

    Raises
    ------
    InputError
        For an unknown unit; names those that are known.

    >>> unit_of("ft-lbs"), unit_of("Nm"), unit_of("in.lb")
    ('lbf ft', 'N m', 'lbf in')
    """
    plain = re.sub(r"[\s.·*/_⋅-]+", "", text.lower())
    if plain in _SPELLINGS:
        return _SPELLINGS[plain]
    near = nearest(plain, _SPELLINGS) if plain else None
    raise InputError(
        f'"{text}" is no unit of torque' if plain else "the torque has no unit",
        allowed=", ".join(NM_OF),
        instead=_SPELLINGS[near] if near else "the unit that stands in the service data",
    )


def parse_torque_nm(text: str) -> tuple[float, str]:
    """Torque [N m] and the unit it was written in, from "24 N m" or "18 ft-lb".

    Raises
    ------
    InputError
        Without a number or a known unit.
    OutOfRangeError
        Outside 0.1 to 1500 N m.

    >>> parse_torque_nm("24,5 Nm")
    (24.5, 'N m')
    """
    match = _TORQUE.match(text)
    if not match:
        raise InputError(f'"{text}" is no torque', allowed='a number and its unit: "24 N m"')
    if _THOUSANDS.match(match[1]):
        raise InputError(
            f'"{text}": the comma may stand for thousands or for decimals',
            allowed='a number and its unit: "24.5 N m"',
        )
    unit = unit_of(match[2])
    torque_nm = float(match[1].replace(",", ".")) * NM_OF[unit]
    if not LEAST_NM <= torque_nm <= MOST_NM:
        raise OutOfRangeError(
            f"{text} is {torque_nm:.4g} N m",
            allowed=f"{LEAST_NM:g} to {MOST_NM:g} N m",
            instead="checking the unit",
        )
    return torque_nm, unit


def in_unit(torque_nm: float, unit: str) -> float:
    """A torque [N m] in one of our units.

    >>> round(in_unit(100.0, "lbf ft"), 2)
    73.76
    """
    return torque_nm / NM_OF[unit]


def torque_words(torque_nm: float, unit: str = "N m") -> str:
    """A torque with as many digits as a wrench can be set to.

    >>> torque_words(24.4), torque_words(7.48), torque_words(100.0, "lbf ft")
    ('24 N m', '7.5 N m', '74 lbf ft')
    """
    value = in_unit(torque_nm, unit)
    return f"{value:.1f} {unit}" if value < 10.0 else f"{value:.0f} {unit}"
