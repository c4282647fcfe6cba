"""The tensioner: where it stands for a belt length, and how much belt it can still take up.

A tensioner pulley swings about its arm's pivot or slides along a line. Its way is counted from
where the sheet shows it, positive towards a longer path, which is the way a slack belt is taken
up: degrees of the arm or mm of the slide. Method: docs/methods/belt-path.md.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from scipy.optimize import brentq

from beltside.base.errors import InputError, OutOfRangeError, require_range
from beltside.drive.clearance import Layout, LayoutError, run_belt
from beltside.drive.loop import NoTangentError
from beltside.drive.path import effective_length_mm, layout_of
from beltside.drive.sheet import DriveSheet, Tensioner

MOST_SWING_DEG: Final = 60.0
MOST_SLIDE_MM: Final = 80.0
"""How far a way is looked at when its stops were not measured (own choice)."""

_STEPS: Final = 60
_PROBE: Final = 1e-3


@dataclass(frozen=True)
class Travel:
    """What the tensioner can do from where the sheet shows it.

    Attributes
    ----------
    part
        The pulley that moves.
    unit
        "degrees" or "mm".
    takes_up, lets_out
        Way to the tight and to the loose end [unit], both 0 or more.
    stops_known
        Whether both ends are measured stops; otherwise they are where the geometry ends or the
        path stops getting longer.
    length_mm
        Effective length where it stands [mm].
    longest_mm, shortest_mm
        Effective length at the tight and at the loose end [mm].
    per_step_mm
        Belt taken up per degree, or per mm, where it stands [mm].
    """

    part: str
    unit: str
    takes_up: float
    lets_out: float
    stops_known: bool
    length_mm: float
    longest_mm: float
    shortest_mm: float
    per_step_mm: float

    @property
    def reserve_mm(self) -> float:
        """How much longer the belt may become before the tensioner runs out [mm]."""
        return self.longest_mm - self.length_mm


@dataclass(frozen=True)
class Position:
    """Where the tensioner stands with a belt of some length.

    Attributes
    ----------
    length_mm
        The belt's effective length [mm].
    way
        From where the sheet shows it, positive for tighter [degrees or mm].
    x_mm, y_mm
        Centre of its pulley [mm].
    left
        Way left to the tight end [degrees or mm].
    reserve_mm
        Belt it can still take up [mm].
    """

    length_mm: float
    way: float
    x_mm: float
    y_mm: float
    left: float
    reserve_mm: float


def tensioner_of(sheet: DriveSheet) -> Tensioner:
    """The sheet's tensioner, checked.

    Raises
    ------
    InputError
        When the sheet says nothing of how it moves, or names a pulley that is not there.
    """
    tensioner = sheet.tensioner
    how = "pivot_x_mm and pivot_y_mm of its arm's bolt, or slide_deg of its slot"
    if tensioner is None:
        raise InputError(
            "the sheet does not say how the tensioner moves",
            allowed=f"[tensioner] with {how}",
            instead="measuring the arm's pivot from the centre of the crank",
        )
    if all(pulley.part != tensioner.part for pulley in sheet.pulleys):
        raise InputError(
            f"[tensioner] moves {tensioner.part}, which is not among the pulleys",
            allowed=", ".join(p.part for p in sheet.pulleys if p.part != "crank"),
        )
    if (tensioner.pivot_x_mm is None) != (tensioner.pivot_y_mm is None) or (
        (tensioner.pivot_x_mm is None) == (tensioner.slide_deg is None)
    ):
        raise InputError("[tensioner] does not say how it moves", allowed=how)
    if tensioner.pivot_x_mm is not None and _arm_mm(sheet, tensioner) < 1.0:
        raise InputError(
            "the tensioner's pivot lies in the centre of its pulley",
            allowed="the bolt the arm swings about, 1 mm or more away",
        )
    return tensioner


def travel(sheet: DriveSheet) -> Travel:
    """What the tensioner can do.

    Raises
    ------
    InputError, LayoutError
        When the sheet does not say how it moves, or the drive has no path as it stands.
    """
    tensioner = tensioner_of(sheet)
    mover = _Mover(sheet, tensioner)
    most = MOST_SWING_DEG if tensioner.slide_deg is None else MOST_SLIDE_MM
    up, up_short = mover.reach(most if tensioner.takes_up is None else tensioner.takes_up)
    out, out_short = mover.reach(-(most if tensioner.lets_out is None else tensioner.lets_out))
    return Travel(
        part=tensioner.part,
        unit="degrees" if tensioner.slide_deg is None else "mm",
        takes_up=up,
        lets_out=-out,
        stops_known=None not in (tensioner.takes_up, tensioner.lets_out)
        and not (up_short or out_short),
        length_mm=mover.length(0.0),
        longest_mm=mover.length(up),
        shortest_mm=mover.length(out),
        per_step_mm=mover.rate(0.0),
    )


def position_for_length(sheet: DriveSheet, length_mm: float) -> Position:
    """Where the tensioner stands with a belt of this effective length.

    Parameters
    ----------
    sheet
        A drive whose tensioner's way is known.
    length_mm
        Effective length of the belt [mm], 300 to 4000.

    Raises
    ------
    OutOfRangeError
        When the tensioner can't take up so long a belt, or so short a one does not go on.
    """
    require_range("belt length", length_mm, 300.0, 4000.0, "mm")
    tensioner = tensioner_of(sheet)
    ends = travel(sheet)
    if not ends.shortest_mm <= length_mm <= ends.longest_mm:
        raise OutOfRangeError(
            f"a belt of {length_mm:.1f} mm is too long: the tensioner runs out at "
            f"{ends.longest_mm:.1f} mm"
            if length_mm > ends.longest_mm
            else f"a belt of {length_mm:.1f} mm is too short: the tensioner lets out to "
            f"{ends.shortest_mm:.1f} mm and no further",
            allowed=f"{ends.shortest_mm:.1f} to {ends.longest_mm:.1f} mm with this tensioner",
        )
    mover = _Mover(sheet, tensioner)
    way = 0.0
    if ends.takes_up + ends.lets_out > 0.0:
        low, high = -ends.lets_out, ends.takes_up
        if length_mm >= ends.longest_mm:
            way = high
        elif length_mm <= ends.shortest_mm:
            way = low
        else:
            way = float(brentq(lambda at: mover.length(at) - length_mm, low, high, xtol=1e-10))
    centre = mover.centre(way)
    return Position(
        length_mm=length_mm,
        way=way,
        x_mm=centre.real,
        y_mm=centre.imag,
        left=ends.takes_up - way,
        reserve_mm=ends.longest_mm - length_mm,
    )


def gained_mm(sheet: DriveSheet, moved: float) -> float:
    """How much longer the belt has become when the tensioner has moved on since it was new.

    Parameters
    ----------
    sheet
        The drive as it stands now.
    moved
        How far the tensioner has moved on since the belt was new, positive for tighter [degrees
        or mm]; within its way.
    """
    tensioner = tensioner_of(sheet)
    ends = travel(sheet)
    require_range("tensioner's way since new", moved, -ends.takes_up, ends.lets_out, ends.unit)
    mover = _Mover(sheet, tensioner)
    return mover.length(0.0) - mover.length(-moved)


def that_fit(sheet: DriveSheet, lengths_mm: Sequence[float]) -> tuple[Position, ...]:
    """Those of some belt lengths [mm] that the tensioner can hold, in the order given."""
    ends = travel(sheet)
    return tuple(
        position_for_length(sheet, length)
        for length in lengths_mm
        if ends.shortest_mm <= length <= ends.longest_mm
    )


def tension_from_arm_n(sheet: DriveSheet) -> float | None:
    """Belt tension that the spring's torque on the arm keeps [N]; None when it is not known.

    Virtual work: turning the arm by an angle takes up so much belt against its tension, so
    torque = tension times belt taken up per radian of arm.

    Raises
    ------
    InputError
        When the belt barely moves with the arm, so that nothing follows from its torque.
    """
    if sheet.tensioner is None or sheet.tensioner.arm_torque_nm is None:
        return None
    tensioner = tensioner_of(sheet)
    if tensioner.slide_deg is not None:
        raise InputError(
            "arm_torque_nm on a tensioner that slides", allowed="only on one that swings"
        )
    per_radian_m = _Mover(sheet, tensioner).rate(0.0) * math.degrees(1.0) / 1000.0
    if per_radian_m < 1e-3:
        raise InputError(
            "the belt hardly moves when this tensioner arm turns",
            allowed="an arm that takes up 1 mm of belt or more per radian",
            instead="checking the arm's pivot",
        )
    assert tensioner.arm_torque_nm is not None
    return tensioner.arm_torque_nm / per_radian_m


def moved_sheet(sheet: DriveSheet, way: float) -> DriveSheet:
    """The drive with its tensioner moved on by `way`, positive for tighter [degrees or mm]."""
    tensioner = tensioner_of(sheet)
    centre = _Mover(sheet, tensioner).centre(way)
    return replace(
        sheet,
        pulleys=tuple(
            replace(p, x_mm=centre.real, y_mm=centre.imag) if p.part == tensioner.part else p
            for p in sheet.pulleys
        ),
    )


def _unit(degrees: float) -> complex:
    """The direction that lies so far from right, turning anticlockwise."""
    return complex(math.cos(math.radians(degrees)), math.sin(math.radians(degrees)))


def _arm_mm(sheet: DriveSheet, tensioner: Tensioner) -> float:
    pulley = sheet.pulley(tensioner.part)
    return math.hypot(
        (pulley.x_mm or 0.0) - (tensioner.pivot_x_mm or 0.0),
        (pulley.y_mm or 0.0) - (tensioner.pivot_y_mm or 0.0),
    )


class _Mover:
    """Lengths along the tensioner's way."""

    def __init__(self, sheet: DriveSheet, tensioner: Tensioner) -> None:
        self._layout = layout_of(sheet)
        _, self._sense = run_belt(self._layout)
        self._index = self._layout.parts.index(tensioner.part)
        self._home = self._layout.centres[self._index]
        self._pivot: complex | None = None
        self._slide = 0j
        if tensioner.slide_deg is None:
            self._pivot = complex(tensioner.pivot_x_mm or 0.0, tensioner.pivot_y_mm or 0.0)
        else:
            self._slide = _unit(tensioner.slide_deg)
        self._toward = 1.0
        if self.length(_PROBE) < self.length(-_PROBE):
            self._toward = -1.0

    def centre(self, way: float) -> complex:
        """Centre of the pulley, `way` on from home."""
        way *= self._toward
        if self._pivot is None:
            return self._home + way * self._slide
        return self._pivot + (self._home - self._pivot) * _unit(way)

    def length(self, way: float) -> float:
        """Effective length there [mm]."""
        return effective_length_mm(self._there(way), self._sense)

    def rate(self, way: float) -> float:
        """Belt taken up per unit of way [mm]."""
        return (self.length(way + _PROBE) - self.length(way - _PROBE)) / (2.0 * _PROBE)

    def reach(self, way: float) -> tuple[float, bool]:
        """How far of `way` the path keeps existing and keeps its trend, and whether less."""
        kept, length = 0.0, self.length(0.0)
        for step in range(1, _STEPS + 1):
            there = way * step / _STEPS
            try:
                run_belt(self._there(there))
                next_length = self.length(there)
            except (LayoutError, NoTangentError):
                return kept, True
            if (next_length - length) * way < 0.0:
                return kept, True
            kept, length = there, next_length
        return kept, False

    def _there(self, way: float) -> Layout:
        centres = list(self._layout.centres)
        centres[self._index] = self.centre(way)
        return replace(self._layout, centres=tuple(centres))
