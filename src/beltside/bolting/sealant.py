"""How much sealant a flange takes, and the clock that runs once it is out of the tube.

The bead runs along the gasket's line and once round every bolt hole. All times come off the
tube's label. docs/methods/bolt-sealant.md.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from beltside.base.errors import OutOfRangeError, require_range

HOLE_GAP_MM: Final = 1.5
"""Bare metal between the edge of a hole and the bead (common practice, no source)."""
LOST: Final = 0.15
"""Sealant left in nozzle and tube, and for the start (common practice, no source)."""
MINUTES_OF_DAY: Final = 24 * 60


@dataclass(frozen=True)
class Bead:
    """One bead of sealant.

    Attributes
    ----------
    line_mm, holes_mm
        Length along the flange and round the holes [mm].
    bead_mm
        Diameter of the bead [mm].
    volume_ml
        Volume of the bead [ml].
    tubes
        Tubes needed, with 15 % lost.
    tube_ml
        Content of one tube [ml].
    """

    line_mm: float
    holes_mm: float
    bead_mm: float
    volume_ml: float
    tubes: int
    tube_ml: float

    @property
    def length_mm(self) -> float:
        """Whole length [mm]."""
        return self.line_mm + self.holes_mm


def bead_of(
    line_mm: float, hole_diameters_mm: Sequence[float], bead_mm: float, tube_ml: float
) -> Bead:
    """Length, volume and tubes.

    Parameters
    ----------
    line_mm
        Length of the closed line along the flange [mm], 20 to 10000.
    hole_diameters_mm
        Diameters of the holes the bead goes round [mm], each 2 to 50.
    bead_mm
        Diameter of the bead [mm], 0.5 to 10.
    tube_ml
        Content of a tube [ml], 5 to 1000.

    Raises
    ------
    OutOfRangeError
        When a figure lies outside.

    >>> bead = bead_of(1000.0, [], 2.0, 80.0)
    >>> round(bead.volume_ml, 3), bead.tubes
    (3.142, 1)
    """
    require_range("length along the flange", line_mm, 20.0, 10_000.0, "mm")
    require_range("bead", bead_mm, 0.5, 10.0, "mm")
    require_range("tube", tube_ml, 5.0, 1000.0, "ml")
    for diameter_mm in hole_diameters_mm:
        require_range("diameter of a hole", diameter_mm, 2.0, 50.0, "mm")
    holes_mm = sum(
        math.pi * (diameter_mm + 2.0 * HOLE_GAP_MM + bead_mm) for diameter_mm in hole_diameters_mm
    )
    volume_ml = math.pi / 4.0 * bead_mm**2 * (line_mm + holes_mm) / 1000.0
    return Bead(
        line_mm=line_mm,
        holes_mm=holes_mm,
        bead_mm=bead_mm,
        volume_ml=volume_ml,
        tubes=math.ceil(volume_ml * (1.0 + LOST) / tube_ml),
        tube_ml=tube_ml,
    )


@dataclass(frozen=True)
class CureClock:
    """When what has to be done, in minutes from the first bead.

    Attributes
    ----------
    joined_by_min
        The part must be on and hand-tight before a skin forms [min].
    full_torque_min
        When the label asks to wait before the final torque [min after the first bead]; equal to 0
        when it does not.
    cured_min
        Fit for coolant and pressure [min].
    """

    joined_by_min: float
    full_torque_min: float
    cured_min: float


def cure_clock(skin_min: float, cure_h: float, wait_min: float = 0.0) -> CureClock:
    """The clock from the label's figures.

    Parameters
    ----------
    skin_min
        Skin-over or open time [min], 1 to 120.
    cure_h
        Full cure [h], 0.1 to 168.
    wait_min
        Wait before the final torque, where the label asks for one [min], 0 to 1440.

    Raises
    ------
    OutOfRangeError
        When a figure lies outside, or the cure is shorter than skin or wait.
    """
    require_range("skin-over time", skin_min, 1.0, 120.0, "min")
    require_range("cure time", cure_h, 0.1, 168.0, "h")
    require_range("wait before the final torque", wait_min, 0.0, 1440.0, "min")
    if cure_h * 60.0 < max(skin_min, wait_min):
        raise OutOfRangeError(
            f"the cure ({cure_h:g} h) is shorter than skin-over or wait "
            f"({max(skin_min, wait_min):g} min)",
            allowed="a cure longer than both",
            instead="reading the label again: skin-over in minutes, cure in hours",
        )
    return CureClock(skin_min, wait_min, cure_h * 60.0)


def time_of_day(start_min: float, later_min: float) -> tuple[int, int, int]:
    """Days on, hour and minute of a moment `later_min` after `start_min` of the day [min].

    >>> time_of_day(14 * 60 + 20, 24 * 60)
    (1, 14, 20)
    """
    whole = int(start_min + later_min + 1e-9)
    days, minutes = divmod(whole, MINUTES_OF_DAY)
    return days, minutes // 60, minutes % 60
