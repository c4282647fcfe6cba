"""Conversions used at the edge and between speed, frequency and level."""

from __future__ import annotations

from typing import Any, Final, TypeVar, overload

import numpy as np
import numpy.typing as npt

SECONDS_PER_MINUTE: Final = 60.0

FloatArray = npt.NDArray[np.floating]
Floating = TypeVar("Floating", bound=np.floating[Any])


def rpm_to_hz(rpm: float) -> float:
    """Turns per minute [1/min] to turns per second [Hz].

    >>> rpm_to_hz(760.0)
    12.666666666666666
    """
    return rpm / SECONDS_PER_MINUTE


def hz_to_rpm(frequency_hz: float) -> float:
    """Turns per second [Hz] to turns per minute [1/min]."""
    return frequency_hz * SECONDS_PER_MINUTE


@overload
def power_to_db(power: npt.NDArray[Floating], floor: float = ...) -> npt.NDArray[Floating]: ...
@overload
def power_to_db(power: float, floor: float = ...) -> np.float64: ...
def power_to_db(power: npt.NDArray[Any] | float, floor: float = 1e-30) -> Any:
    """Power ratio to decibels: 10 log10(power), with `floor` [same unit] against log of zero.

    >>> float(power_to_db(100.0))
    20.0
    """
    return 10.0 * np.log10(np.maximum(power, floor))


def db_to_power(level_db: FloatArray | float) -> FloatArray:
    """Decibels to power ratio."""
    return np.power(10.0, np.asarray(level_db) / 10.0)


def db_to_bits(level_db: float) -> float:
    """Decibels of a likelihood ratio (10 log10) to bits (log2).

    >>> round(db_to_bits(10.0), 3)
    3.322
    """
    return level_db / (10.0 * float(np.log10(2.0)))
