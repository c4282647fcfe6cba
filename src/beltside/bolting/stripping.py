"""Whether the thread in the part holds: stripping in aluminium, iron and steel.

Alexander, Analysis and Design of Threaded Assemblies, SAE 770420 (1977), as taken up by VDI 2230:
shear areas of inside and outside thread, length less 0.8 P for the run-out, factors for how the
threads bend. Bosses are taken as thick (no widening). Method: docs/methods/bolt-torque.md.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from beltside.base.errors import InputError, OutOfRangeError, nearest
from beltside.bolting.threads import PropertyClass, Thread, breaking_load_n

_TAN_30: Final = math.tan(math.radians(30.0))
BOLT_SHEAR: Final = 0.65
"""Shear over tensile strength of bolt steel (VDI 2230, from memory)."""
BOLT_SPREAD: Final = 1.2
"""The strongest bolt of a class over the weakest (VDI 2230)."""
STRIP_MARGIN: Final = 1.5
"""Least strength of the part's thread over the clamp force aimed at (own choice)."""
RUN_OUT: Final = 0.8
"""Pitches of the engagement that carry nothing (VDI 2230)."""
MOST_DIAMETERS: Final = 6.0


@dataclass(frozen=True)
class PartMaterial:
    """What the bolt screws into.

    Attributes
    ----------
    name
        Our word.
    low_mpa, typical_mpa
        Tensile strength of a weak and a usual alloy [MPa].
    shear
        Shear over tensile strength.
    says
        In words.
    source
        Where the figures are from.
    """

    name: str
    low_mpa: float
    typical_mpa: float
    shear: float
    says: str
    source: str


MATERIALS: Final[Mapping[str, PartMaterial]] = {
    row.name: row
    for row in (
        PartMaterial(
            "cast-aluminium",
            150.0,
            200.0,
            0.7,
            "cast aluminium",
            "EN 1706 sand and die castings; shear by VDI 2230 (both from memory)",
        ),
        PartMaterial(
            "cast-iron",
            200.0,
            250.0,
            0.8,
            "grey cast iron",
            "EN 1561 GJL-200 and GJL-250; shear set low (from memory)",
        ),
        PartMaterial(
            "steel",
            400.0,
            500.0,
            0.65,
            "mild steel or a nut",
            "EN 10025, shear by VDI 2230 (both from memory)",
        ),
    )
}
_OTHER_NAMES: Final = {
    "aluminium": "cast-aluminium",
    "aluminum": "cast-aluminium",
    "cast-aluminum": "cast-aluminium",
    "alloy": "cast-aluminium",
    "iron": "cast-iron",
    "nut": "steel",
}


def part_material(given: str) -> PartMaterial:
    """The material behind a word.

    Raises
    ------
    InputError
        For an unknown word.

    >>> part_material("aluminum").name
    'cast-aluminium'
    """
    word = given.strip().lower().replace(" ", "-").replace("_", "-")
    found = MATERIALS.get(_OTHER_NAMES.get(word, word))
    if found is None:
        near = nearest(word, [*MATERIALS, *_OTHER_NAMES])
        raise InputError(
            f'it screws into "{given}"',
            allowed=", ".join(MATERIALS),
            instead=_OTHER_NAMES.get(near, near) if near else "",
        )
    return found


def inside_shear_area_mm2(thread: Thread, carrying_mm: float) -> float:
    """Area that shears in the part's thread: pi d m/P (P/2 + (d - D2) tan 30) [mm^2]."""
    d, pitch = thread.diameter_mm, thread.pitch_mm
    return (
        math.pi * d * carrying_mm / pitch * (pitch / 2.0 + (d - thread.pitch_diameter_mm) * _TAN_30)
    )


def outside_shear_area_mm2(thread: Thread, carrying_mm: float) -> float:
    """Area that shears in the bolt's thread: pi D1 m/P (P/2 + (d2 - D1) tan 30) [mm^2]."""
    hole, pitch = thread.hole_diameter_mm, thread.pitch_mm
    return (
        math.pi
        * hole
        * carrying_mm
        / pitch
        * (pitch / 2.0 + (thread.pitch_diameter_mm - hole) * _TAN_30)
    )


def bending_factors(ratio: float) -> tuple[float, float]:
    """What thread bending leaves of the bolt's and the part's thread (Alexander's C2 and C3).

    Parameters
    ----------
    ratio
        Strength of the part's thread over the bolt's, above 0. The part's factor is not taken
        above 1.

    >>> bending_factors(1.0)
    (0.897, 0.897)
    """
    if ratio <= 1.0:
        bolt = 0.897
    else:
        r = min(ratio, 2.2)
        bolt = 5.594 - 13.682 * r + 14.107 * r**2 - 6.057 * r**3 + 0.9353 * r**4
    if ratio >= 1.0:
        part = 0.897
    else:
        r = max(ratio, 0.4)
        part = min(1.0, 0.728 + 1.769 * r - 2.896 * r**2 + 1.296 * r**3)
    return bolt, part


def strip_load_n(
    thread: Thread,
    strength: PropertyClass,
    tensile_mpa: float,
    shear: float,
    engagement_mm: float,
) -> float:
    """Pull at which the weaker of the two threads strips [N].

    Parameters
    ----------
    thread, strength
        The bolt.
    tensile_mpa, shear
        Tensile strength of the part [MPa], and its shear over tensile strength.
    engagement_mm
        Length over which the threads meet [mm].
    """
    carrying_mm = max(0.0, engagement_mm - RUN_OUT * thread.pitch_mm)
    part_n = shear * tensile_mpa * inside_shear_area_mm2(thread, carrying_mm)
    bolt_n = BOLT_SHEAR * strength.tensile_mpa * outside_shear_area_mm2(thread, carrying_mm)
    if bolt_n <= 0.0:
        return 0.0
    of_bolt, of_part = bending_factors(part_n / bolt_n)
    return min(of_bolt * bolt_n, of_part * part_n)


@dataclass(frozen=True)
class ThreadHold:
    """How well the thread in the part holds.

    Attributes
    ----------
    material
        What it screws into.
    engagement_mm
        Length over which the threads meet [mm], None when not given.
    strip_low_n, strip_typical_n
        Pull that strips it in a weak and a usual alloy [N], None without a length.
    needed_low_mm, needed_high_mm
        Length from which on the bolt breaks before the thread strips, in a usual and in a weak
        alloy [mm].
    most_clamp_n
        Clamp force the part's thread allows with a margin of 1.5 in a weak alloy [N], None
        without a length.
    bolt_breaks_first
        Whether the length reaches that of a weak alloy ("yes"), only of a usual one ("in a usual
        alloy"), or neither ("no"); None without a length.
    """

    material: PartMaterial
    engagement_mm: float | None
    strip_low_n: float | None
    strip_typical_n: float | None
    needed_low_mm: float
    needed_high_mm: float
    most_clamp_n: float | None
    bolt_breaks_first: str | None


def thread_hold(
    thread: Thread,
    strength: PropertyClass,
    material: PartMaterial,
    engagement_mm: float | None = None,
) -> ThreadHold:
    """Check the thread in the part.

    Raises
    ------
    OutOfRangeError
        When the length is under two pitches or over six diameters.
    """
    needed = [
        needed_engagement_mm(thread, strength, tensile, material.shear)
        for tensile in (material.typical_mpa, material.low_mpa)
    ]
    if engagement_mm is None:
        return ThreadHold(material, None, None, None, needed[0], needed[1], None, None)
    least_mm = 2.0 * thread.pitch_mm
    most_mm = MOST_DIAMETERS * thread.diameter_mm
    if not least_mm <= engagement_mm <= most_mm:
        raise OutOfRangeError(
            f"the threads meet over {engagement_mm:g} mm",
            allowed=f"{least_mm:g} to {most_mm:g} mm for {thread.name}",
            instead="length of the bolt under its head, less the thickness of what it clamps",
        )
    low_n, typical_n = (
        strip_load_n(thread, strength, tensile, material.shear, engagement_mm)
        for tensile in (material.low_mpa, material.typical_mpa)
    )
    if engagement_mm >= needed[1]:
        first = "yes"
    else:
        first = "in a usual alloy" if engagement_mm >= needed[0] else "no"
    return ThreadHold(
        material,
        engagement_mm,
        low_n,
        typical_n,
        needed[0],
        needed[1],
        low_n / STRIP_MARGIN,
        first,
    )


def needed_engagement_mm(
    thread: Thread, strength: PropertyClass, tensile_mpa: float, shear: float
) -> float:
    """Length from which on even a strong bolt of its class breaks before a thread strips [mm]."""
    per_mm_n = strip_load_n(thread, strength, tensile_mpa, shear, 1.0 + RUN_OUT * thread.pitch_mm)
    return BOLT_SPREAD * breaking_load_n(thread, strength) / per_mm_n + RUN_OUT * thread.pitch_mm
