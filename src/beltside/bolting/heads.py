"""Wrench heads: from the width across the flats to the thread, and to the head's bearing face.

ISO 4014/4017 bolts and ISO 4032 nuts share their widths. Japanese practice (JIS B 1180, its
smaller series, and automotive bolts) has smaller heads on the same threads, older German ones
(DIN 931/934) larger heads. Flange heads: EN 1662, ISO 4162 (small hexagon), DIN 6921.
Widths of ISO 4014 are certain; the others are from memory. A head only suggests a thread: the
thread itself is measured.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from beltside.base.errors import InputError, OutOfRangeError, nearest
from beltside.bolting.threads import Thread

ISO_HEX_MM: Final[Mapping[float, float]] = {
    3: 5.5,
    4: 7,
    5: 8,
    6: 10,
    7: 11,
    8: 13,
    10: 16,
    12: 18,
    14: 21,
    16: 24,
    18: 27,
    20: 30,
    22: 34,
    24: 36,
}
HEX_FACE_MM: Final[Mapping[float, float]] = {
    3: 4.57,
    4: 5.88,
    5: 6.88,
    6: 8.88,
    7: 9.63,
    8: 11.63,
    10: 14.63,
    12: 16.63,
    14: 19.64,
    16: 22.49,
    18: 25.34,
    20: 28.19,
    22: 31.71,
    24: 33.61,
}
"""Bearing face d_w of an ISO 4014 head, least value [mm] (from memory)."""

JIS_SMALL_HEX_MM: Final[Mapping[float, float]] = {8: 12, 10: 14, 12: 17, 14: 19, 16: 22}
OLD_HEX_MM: Final[Mapping[float, float]] = {10: 17, 12: 19, 14: 22, 22: 32}
FLANGE_MM: Final[Mapping[float, float]] = {5: 7, 6: 8, 8: 10, 10: 13, 12: 15, 14: 18, 16: 21}
LARGE_FLANGE_MM: Final[Mapping[float, float]] = {8: 13, 10: 15}
"""Diameter [mm] to width across flats [mm]."""

FLANGE_FACE_MM: Final[Mapping[float, float]] = {
    5: 11.4,
    6: 13.6,
    8: 17.0,
    10: 20.8,
    12: 24.7,
    14: 28.6,
    16: 32.8,
}
"""Flange diameter [mm], greatest (ISO 4162, from memory)."""

CLEARANCE_MM: Final[Mapping[float, float]] = {
    3: 3.4,
    4: 4.5,
    5: 5.5,
    6: 6.6,
    7: 7.6,
    8: 9.0,
    10: 11.0,
    12: 13.5,
    14: 15.5,
    16: 17.5,
    18: 20.0,
    20: 22.0,
    22: 24.0,
    24: 26.0,
}
"""Through holes of the medium series [mm] (ISO 273)."""

HEAD_KINDS: Final = ("hex", "small-hex", "old-hex", "large-flange", "flange", "socket")

_SOCKET_FACE_MM: Final[Mapping[float, float]] = {
    3: 5.5,
    4: 7.0,
    5: 8.5,
    6: 10.0,
    8: 13.0,
    10: 16.0,
    12: 18.0,
    14: 21.0,
    16: 24.0,
    20: 30.0,
    24: 36.0,
}
_WIDTHS: Final[Mapping[str, Mapping[float, float]]] = {
    "hex": ISO_HEX_MM,
    "small-hex": JIS_SMALL_HEX_MM,
    "old-hex": OLD_HEX_MM,
    "large-flange": LARGE_FLANGE_MM,
    "flange": FLANGE_MM,
}
_WORDS: Final = {
    "hex": ("standard head (ISO 4014, 4017) or nut (ISO 4032)", "ISO 4014, 4017, 4032"),
    "small-hex": ("smaller head, Japanese practice", "JIS B 1180 small series, from memory"),
    "old-hex": ("larger head of older German bolts", "DIN 931, 934, from memory"),
    "large-flange": ("flange head with a full hexagon", "DIN 6921, from memory"),
    "flange": ("flange head with a small hexagon", "EN 1662, ISO 4162, from memory"),
}


@dataclass(frozen=True)
class ThreadOfHead:
    """A thread that a head suggests.

    Attributes
    ----------
    diameter_mm
        Nominal diameter [mm].
    kind
        One of `HEAD_KINDS`.
    says
        What kind of head that is, in words.
    source
        Standard.
    """

    diameter_mm: float
    kind: str
    says: str
    source: str

    @property
    def name(self) -> str:
        """ "M8"."""
        return f"M{self.diameter_mm:g}"


def threads_of_head(across_flats_mm: float) -> tuple[ThreadOfHead, ...]:
    """Threads a wrench size suggests, the most usual on a car first.

    Raises
    ------
    OutOfRangeError
        For a size no table here has; names the sizes beside it.

    >>> [(each.name, each.kind) for each in threads_of_head(12)]
    [('M8', 'small-hex')]
    """
    found = [
        ThreadOfHead(diameter, kind, *_WORDS[kind])
        for kind, widths in _WIDTHS.items()
        for diameter, width in widths.items()
        if abs(width - across_flats_mm) < 0.2
    ]
    if not found:
        known = sorted({width for widths in _WIDTHS.values() for width in widths.values()})
        beside = [width for width in known if abs(width - across_flats_mm) <= 2.0]
        raise OutOfRangeError(
            f"no metric head is {across_flats_mm:g} mm across the flats",
            allowed=", ".join(f"{width:g}" for width in known) + " mm",
            instead="measuring again"
            + (f"; beside it: {', '.join(f'{w:g}' for w in beside)} mm" if beside else ""),
        )
    return tuple(found)


def bearing_diameter_mm(thread: Thread, head: str = "hex") -> float:
    """Mean diameter of the ring on which the head or nut rubs, (d_w + d_h)/2 [mm].

    d_w is the bearing face (of a smaller or larger hexagon as much smaller or larger as its
    flats), d_h the through hole. Inch threads take 1.25 d (Shigley). VDI 2230: D_Km.

    Raises
    ------
    InputError
        For an unknown kind of head or one not made in this size.
    """
    if head not in HEAD_KINDS:
        raise InputError(
            f'the head is "{head}"',
            allowed=", ".join(HEAD_KINDS),
            instead=nearest(head, HEAD_KINDS) or "",
        )
    if thread.inch:
        return 1.25 * thread.diameter_mm
    faces: Mapping[float, float]
    if head == "socket":
        faces = _SOCKET_FACE_MM
    elif head in ("flange", "large-flange"):
        faces = FLANGE_FACE_MM
    else:
        faces = {
            diameter: HEX_FACE_MM[diameter] + width - ISO_HEX_MM[diameter]
            for diameter, width in _WIDTHS[head].items()
        }
    face_mm = faces.get(thread.diameter_mm)
    if face_mm is None:
        raise InputError(
            f"a {head} head is not known for M{thread.diameter_mm:g}",
            allowed=", ".join(f"M{size:g}" for size in faces),
            instead="hex",
        )
    return (face_mm + CLEARANCE_MM[thread.diameter_mm]) / 2.0
