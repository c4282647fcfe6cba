"""Screw threads: ISO metric and unified inch, their geometry, classes and wrench heads.

Basic profile: ISO 68-1; diameters and pitches: ISO 261, ISO 724; stress area: ISO 898-1. Unified
threads: ASME B1.1, whose flat root gives a slightly smaller stress area. Method:
docs/methods/bolt-torque.md.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from beltside.base.errors import InputError, nearest

MM_PER_INCH: Final = 25.4
MPA_PER_KSI: Final = 6.894757

PITCHES_MM: Final[Mapping[float, tuple[float, ...]]] = {
    3: (0.5, 0.35),
    4: (0.7, 0.5),
    5: (0.8, 0.5),
    6: (1.0, 0.75),
    7: (1.0, 0.75),
    8: (1.25, 1.0, 0.75),
    10: (1.5, 1.25, 1.0, 0.75),
    12: (1.75, 1.5, 1.25, 1.0),
    14: (2.0, 1.5, 1.25, 1.0),
    16: (2.0, 1.5, 1.0),
    18: (2.5, 2.0, 1.5, 1.0),
    20: (2.5, 2.0, 1.5, 1.0),
    22: (2.5, 2.0, 1.5, 1.0),
    24: (3.0, 2.0, 1.5, 1.0),
}
"""Pitches [mm] of each metric size [mm], the coarse one first (ISO 261)."""

THREADS_PER_INCH: Final[Mapping[str, tuple[int, ...]]] = {
    "1/4": (20, 28),
    "5/16": (18, 24),
    "3/8": (16, 24),
    "7/16": (14, 20),
    "1/2": (13, 20),
    "9/16": (12, 18),
    "5/8": (11, 18),
    "3/4": (10, 16),
}
"""Threads per inch of each unified size, coarse (UNC) and fine (UNF) (ASME B1.1)."""


@dataclass(frozen=True)
class Thread:
    """One thread.

    Attributes
    ----------
    name
        As written: "M8 x 1.25", "3/8-16".
    diameter_mm, pitch_mm
        Nominal diameter and pitch [mm].
    inch
        Whether it is a unified thread.
    coarse
        Whether it has the coarse pitch of its size.
    """

    name: str
    diameter_mm: float
    pitch_mm: float
    inch: bool = False
    coarse: bool = True

    @property
    def pitch_diameter_mm(self) -> float:
        """d2 = d - 0.649519 P [mm] (ISO 724)."""
        return self.diameter_mm - 0.649519 * self.pitch_mm

    @property
    def root_diameter_mm(self) -> float:
        """d3 = d - 1.226869 P [mm], the bolt's root (ISO 724, ISO 898-1)."""
        return self.diameter_mm - 1.226869 * self.pitch_mm

    @property
    def hole_diameter_mm(self) -> float:
        """D1 = d - 1.082532 P [mm], the crest of the inside thread (ISO 724)."""
        return self.diameter_mm - 1.082532 * self.pitch_mm

    @property
    def stress_area_mm2(self) -> float:
        """Area that carries the pull [mm^2].

        Metric: pi/4 ((d2 + d3)/2)^2 (ISO 898-1). Unified: pi/4 (d - 0.9743 P)^2 (ASME B1.1).
        """
        if self.inch:
            across_mm = self.diameter_mm - 0.9743 * self.pitch_mm
        else:
            across_mm = (self.pitch_diameter_mm + self.root_diameter_mm) / 2.0
        return math.pi / 4.0 * across_mm**2


_METRIC = re.compile(r"^M\s*(\d+(?:[.,]\d+)?)(?:\s*[X×*]\s*(\d+(?:[.,]\d+)?))?$")
_INCH = re.compile(r'^(\d+/\d+)"?\s*[-\s]\s*(\d+)\s*(UNC|UNF|UN)?$')


def parse_thread(text: str) -> Thread:
    """The thread behind "M8", "M8x1.25", "M10 x 1,25", "3/8-16" or "3/4-16 UNF".

    Raises
    ------
    InputError
        For a size or pitch that the standards don't have; names those they have.

    >>> parse_thread("M8").pitch_mm, parse_thread("m10x1,25").name
    (1.25, 'M10 x 1.25')
    """
    plain = " ".join(text.upper().split())
    metric = _METRIC.match(plain)
    if metric:
        return _metric(text, float(metric[1].replace(",", ".")), metric[2])
    inch = _INCH.match(plain)
    if inch:
        return _unified(text, inch[1], int(inch[2]))
    raise InputError(
        f'"{text}" is no thread',
        allowed='metric such as "M8" or "M10x1.25", inch such as "3/8-16"',
        instead=f'"M{plain}"' if re.fullmatch(r"\d+", plain) else "",
    )


def _metric(text: str, diameter_mm: float, pitch: str | None) -> Thread:
    pitches = PITCHES_MM.get(diameter_mm)
    if pitches is None:
        sizes = min(PITCHES_MM, key=lambda size: abs(size - diameter_mm))
        raise InputError(
            f'there is no metric thread "{text}"',
            allowed=", ".join(f"M{size:g}" for size in PITCHES_MM),
            instead=f'"M{sizes:g}", after measuring across the threads with a caliper',
        )
    pitch_mm = pitches[0] if pitch is None else float(pitch.replace(",", "."))
    if pitch_mm not in pitches:
        raise InputError(
            f'there is no standard thread "{text}": M{diameter_mm:g} has no {pitch_mm:g} mm pitch',
            allowed=", ".join(f"M{diameter_mm:g}x{each:g}" for each in pitches),
            instead="a thread gauge, or measuring ten turns and dividing by ten",
        )
    return Thread(
        f"M{diameter_mm:g} x {pitch_mm:g}", diameter_mm, pitch_mm, coarse=pitch_mm == pitches[0]
    )


def _unified(text: str, size: str, per_inch: int) -> Thread:
    counts = THREADS_PER_INCH.get(size)
    if counts is None or per_inch not in counts:
        near = counts or THREADS_PER_INCH.get(nearest(size, THREADS_PER_INCH) or "", ())
        name = size if counts else nearest(size, THREADS_PER_INCH)
        raise InputError(
            f'there is no standard inch thread "{text}"',
            allowed=", ".join(f"{size}-{n}" for size, ns in THREADS_PER_INCH.items() for n in ns),
            instead=f'"{name}-{near[0]}"' if near else "",
        )
    top, bottom = (int(part) for part in size.split("/"))
    return Thread(
        f"{size}-{per_inch}",
        top / bottom * MM_PER_INCH,
        MM_PER_INCH / per_inch,
        inch=True,
        coarse=per_inch == counts[0],
    )


@dataclass(frozen=True)
class PropertyClass:
    """Strength of a bolt's steel.

    Attributes
    ----------
    name
        As marked on the head.
    proof_mpa, yield_mpa, tensile_mpa
        Proof stress, least yield (or 0.2 % proof) stress, least tensile strength [MPa].
    source
        Standard.
    """

    name: str
    proof_mpa: float
    yield_mpa: float
    tensile_mpa: float
    source: str


_ISO = "ISO 898-1:2013, Table 3"
_ISO_STAINLESS = "ISO 3506-1 (from memory); yield taken as proof"
_SAE = "SAE J429 (from memory)"

_CLASSES: Final[Mapping[str, PropertyClass]] = {
    row.name: row
    for row in (
        PropertyClass("4.6", 225.0, 240.0, 400.0, _ISO),
        PropertyClass("4.8", 310.0, 340.0, 420.0, _ISO),
        PropertyClass("5.6", 280.0, 300.0, 500.0, _ISO),
        PropertyClass("5.8", 380.0, 420.0, 520.0, _ISO),
        PropertyClass("6.8", 440.0, 480.0, 600.0, _ISO),
        PropertyClass("8.8", 580.0, 640.0, 800.0, _ISO),
        PropertyClass("9.8", 650.0, 720.0, 900.0, _ISO),
        PropertyClass("10.9", 830.0, 940.0, 1040.0, _ISO),
        PropertyClass("12.9", 970.0, 1100.0, 1220.0, _ISO),
        PropertyClass("A2-50", 210.0, 210.0, 500.0, _ISO_STAINLESS),
        PropertyClass("A2-70", 450.0, 450.0, 700.0, _ISO_STAINLESS),
        PropertyClass("A2-80", 600.0, 600.0, 800.0, _ISO_STAINLESS),
        *(
            PropertyClass(
                f"grade {grade}",
                proof * MPA_PER_KSI,
                least_yield * MPA_PER_KSI,
                tensile * MPA_PER_KSI,
                _SAE,
            )
            for grade, proof, least_yield, tensile in (
                (2, 55.0, 57.0, 74.0),
                (5, 85.0, 92.0, 120.0),
                (8, 120.0, 130.0, 150.0),
            )
        ),
    )
}
_CLASS_8_8_LARGE: Final = PropertyClass("8.8", 600.0, 660.0, 830.0, _ISO)

CLASS_NAMES: Final = tuple(_CLASSES)


def property_class(name: str, thread: Thread) -> PropertyClass:
    """Strength of a class in one thread; 8.8 is stronger above 16 mm, 9.8 ends there.

    Raises
    ------
    InputError
        For an unknown class, or one that is not made in this thread.
    """
    plain = name.strip().lower().replace(",", ".")
    known = {each.lower(): row for each, row in _CLASSES.items()}
    found = known.get(plain) or known.get(f"grade {plain}") or known.get(plain.replace("a4", "a2"))
    if found is None:
        near = nearest(plain, known)
        raise InputError(
            f'there is no property class "{name}"',
            allowed=", ".join(CLASS_NAMES) + "; it is marked on the head",
            instead=known[near].name if near else "8.8, after looking at the head",
        )
    if found.name == "9.8" and thread.diameter_mm > 16.0:
        raise InputError(
            f"class 9.8 is not made in {thread.name}", allowed="9.8 up to M16 (ISO 898-1)"
        )
    if found.name == "8.8" and thread.diameter_mm > 16.0:
        return _CLASS_8_8_LARGE
    return found


def proof_load_n(thread: Thread, strength: PropertyClass) -> float:
    """Pull that a bolt must stand without staying longer, proof stress times area [N]."""
    return strength.proof_mpa * thread.stress_area_mm2


def breaking_load_n(thread: Thread, strength: PropertyClass) -> float:
    """Least pull at which it breaks, tensile strength times area [N]."""
    return strength.tensile_mpa * thread.stress_area_mm2
