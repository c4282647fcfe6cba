"""What the accessories take from the belt, as defaults to be replaced by better figures.

All figures here are common practice without a source: they say how hard a pulley is to turn, give
or take a factor of two. A torque in the drive sheet takes their place.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final, Literal

from beltside.base.errors import InputError, require_range
from beltside.base.units import rpm_to_hz
from beltside.base.words import part_kind
from beltside.drive.path import BeltPath
from beltside.drive.sheet import DriveSheet

Load = Literal["light", "heavy"]
LOADS: Final = ("light", "heavy")

SOURCE: Final = "common practice, no source"

ALTERNATOR_W: Final[Mapping[str, float]] = MappingProxyType({"light": 600.0, "heavy": 2000.0})
"""Shaft power of an alternator: some 25 A at light load, 80 A with everything switched on [W]."""

ALTERNATOR_MOST_NM: Final = 15.0
"""No alternator of a car asks for more, however slowly it turns [N m]."""

PUMP_NM_AT_2000: Final[Mapping[str, float]] = MappingProxyType({"light": 1.0, "heavy": 1.5})
FAN_NM_AT_2000: Final[Mapping[str, float]] = MappingProxyType({"light": 3.0, "heavy": 8.0})
"""Coolant pump and fan: torque at 2000 turns per minute of their own, rising as the square."""

STEADY_NM: Final[Mapping[str, Mapping[str, float]]] = MappingProxyType(
    {
        "ac-compressor": MappingProxyType({"light": 0.5, "heavy": 18.0}),
        "steering-pump": MappingProxyType({"light": 2.0, "heavy": 14.0}),
        "idler": MappingProxyType({"light": 0.1, "heavy": 0.1}),
        "tensioner": MappingProxyType({"light": 0.1, "heavy": 0.1}),
    }
)
"""The others, whatever their speed: compressor clutch open or pulling, steering straight or at
full lock, the drag of a sound bearing [N m]."""


@dataclass(frozen=True)
class Torque:
    """Torque one pulley takes from the belt [N m] and where the figure comes from."""

    part: str
    value_nm: float
    source: str


def torques(
    sheet: DriveSheet, path: BeltPath, crank_rpm: float, load: Load = "light"
) -> tuple[Torque, ...]:
    """Torque of every pulley but the crank at a crank speed and load.

    Parameters
    ----------
    sheet
        Its `torque_nm` count before any default, at whatever speed and load they were given for.
    path
        The path of the same drive.
    crank_rpm
        300 to 8000 [1/min].
    load
        "light": idle, nothing switched on; "heavy": lights, blower, air conditioning, full lock.

    Raises
    ------
    InputError
        For another load or a speed out of range.
    """
    require_range("crank speed", crank_rpm, 300.0, 8000.0, "rpm")
    if load not in LOADS:
        raise InputError(f'load "{load}"', allowed=", ".join(LOADS))
    found = []
    for pulley in path.pulleys:
        if pulley.part == "crank":
            continue
        given = sheet.pulley(pulley.part).torque_nm
        if given is not None:
            found.append(Torque(pulley.part, given, "drive sheet"))
            continue
        value = _default_nm(part_kind(pulley.part), crank_rpm * pulley.ratio, load)
        found.append(Torque(pulley.part, value, f"{load} load, {SOURCE}"))
    return tuple(found)


def _default_nm(kind: str, rpm: float, load: Load) -> float:
    if kind == "alternator":
        return min(ALTERNATOR_W[load] / (2.0 * math.pi * rpm_to_hz(rpm)), ALTERNATOR_MOST_NM)
    if kind == "coolant-pump":
        return float(PUMP_NM_AT_2000[load] * (rpm / 2000.0) ** 2)
    if kind == "fan":
        return float(FAN_NM_AT_2000[load] * (rpm / 2000.0) ** 2)
    return STEADY_NM.get(kind, STEADY_NM["idler"])[load]
