"""Setting the wrench: adapters and their angle, torque and angle, the impact driver."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from beltside.base.errors import OutOfRangeError, require_range

FLAT_DEG: Final = 60.0
LEAST_ARM_SHARE: Final = 0.5

IMPACT_MAY: Final = (
    "break loose bolts whose threads are sound, turned the right way",
    "run a bolt down by hand-started thread until it just touches, at its lowest setting",
)
IMPACT_MAY_NOT: Final = (
    "give the final torque: its figure is what it can do, not what it does",
    "start a thread: the first three turns are done by fingers",
    "run bolts into aluminium or plastic, or onto a gasket, beyond first touch",
    "drive crow-feet, universal joints or chrome sockets that are not made for it",
    "loosen a rounded, seized or left-hand thread on suspicion: find out first",
)
"""Common practice, no source."""


def wrench_setting(
    wanted: float, arm_mm: float, adapter_mm: float, angle_deg: float = 0.0
) -> float:
    """What to set a torque wrench to when an adapter moves its head: T L / (L + E cos a).

    US Army TM 9-254 (adapter formula). An extension in line with the bolt changes nothing; only
    what lies across it (crow-foot, offset adapter) does.

    Parameters
    ----------
    wanted
        Torque wanted at the bolt, any unit.
    arm_mm
        From the middle of the grip to the middle of the wrench's square [mm], 50 to 2000.
    adapter_mm
        From the square to the middle of the bolt [mm], 0 to 1000.
    angle_deg
        0 when the adapter points straight on, 90 square to the wrench, 180 back to the grip;
        -180 to 180.

    Returns
    -------
    float
        Setting, in the unit of `wanted`.

    Raises
    ------
    OutOfRangeError
        When a length or the angle lies outside, or when the adapter reaches back so far that
        less than half of the arm is left.

    >>> round(wrench_setting(135.0, 254.0, 38.1), 2)
    117.39
    """
    return wanted * arm_mm / _arm_at_bolt_mm(arm_mm, adapter_mm, angle_deg)


def torque_at_bolt(
    setting: float, arm_mm: float, adapter_mm: float, angle_deg: float = 0.0
) -> float:
    """What reaches the bolt at a given setting; `wrench_setting` turned round."""
    return setting * _arm_at_bolt_mm(arm_mm, adapter_mm, angle_deg) / arm_mm


def _arm_at_bolt_mm(arm_mm: float, adapter_mm: float, angle_deg: float) -> float:
    require_range("length of the wrench", arm_mm, 50.0, 2000.0, "mm")
    require_range("length of the adapter", adapter_mm, 0.0, 1000.0, "mm")
    require_range("angle of the adapter", angle_deg, -180.0, 180.0, "degrees")
    reach_mm = arm_mm + adapter_mm * math.cos(math.radians(angle_deg))
    if reach_mm < LEAST_ARM_SHARE * arm_mm:
        raise OutOfRangeError(
            f"the adapter ({adapter_mm:g} mm at {angle_deg:g} degrees) leaves {reach_mm:.0f} mm "
            f"of the {arm_mm:g} mm arm",
            allowed=f"at least half of the arm, {LEAST_ARM_SHARE * arm_mm:g} mm",
            instead="the adapter square to the wrench (90 degrees), which needs no correction",
        )
    return reach_mm


@dataclass(frozen=True)
class Turn:
    """A turn after the torque.

    Attributes
    ----------
    angle_deg
        As given [degrees].
    flats
        The same in flats of a hexagon.
    slide_mm
        How far the thread moves, P angle/360 [mm].
    added_low_n, added_n
        Clamp force added while all is elastic [N]: a rough low, and the estimate.
    past_yield
        Whether bolt and turn together pass the yield load, so that the estimate ends there.
    """

    angle_deg: float
    flats: float
    slide_mm: float
    added_low_n: float
    added_n: float
    past_yield: bool


def turn_of_angle(
    angle_deg: float,
    pitch_mm: float,
    bolt_n_mm: float,
    parts_n_mm: float,
    clamp_before_n: float,
    yield_n: float,
) -> Turn:
    """What a turn adds: the thread's slide, shared by the springs of bolt and parts.

    Parameters
    ----------
    angle_deg
        Turn after the torque [degrees], 1 to 360.
    pitch_mm
        Pitch [mm].
    bolt_n_mm, parts_n_mm
        Stiffness of the bolt and of what it clamps [N/mm].
    clamp_before_n, yield_n
        Clamp force before the turn, and at which the bolt yields [N].

    Raises
    ------
    OutOfRangeError
        When the angle lies outside.
    """
    require_range("angle", angle_deg, 1.0, 360.0, "degrees")
    slide_mm = pitch_mm * angle_deg / 360.0
    both_n_mm = bolt_n_mm * parts_n_mm / (bolt_n_mm + parts_n_mm)
    added_n = slide_mm * both_n_mm
    return Turn(
        angle_deg=angle_deg,
        flats=angle_deg / FLAT_DEG,
        slide_mm=slide_mm,
        # Faces, threads and gaskets bed in: a third to a half is lost on short bolts.
        added_low_n=0.5 * added_n,
        added_n=added_n,
        past_yield=clamp_before_n + added_n > yield_n,
    )
