"""The words of the trade that every room shares: parts, faults, suspects.

A suspect is `part.fault`. A drive with two idlers calls them `idler` and `idler-2`.
"""

from __future__ import annotations

import re
from typing import Final

PARTS: Final = (
    "crank",
    "coolant-pump",
    "alternator",
    "idler",
    "tensioner",
    "ac-compressor",
    "steering-pump",
    "fan",
    "belt",
    "timing-chain",
    "valve-train",
    "vacuum-leak",
    "exhaust-leak",
    "engine",
    "none",
)

PULLEY_PARTS: Final = (
    "crank",
    "coolant-pump",
    "alternator",
    "idler",
    "tensioner",
    "ac-compressor",
    "steering-pump",
    "fan",
)

FAULTS: Final = (
    "bearing",
    "electrical",
    "decoupler",
    "impeller",
    "seal",
    "whine",
    "rattle",
    "clutch",
    "slip",
    "misalignment",
    "damage",
    "damper",
    "tick",
    "hiss",
    "knock",
)

_NUMBERED = re.compile(r"^(?P<kind>[a-z-]+?)(?:-(?P<number>[2-9]))?$")


def part_kind(part: str) -> str:
    """The kind of part behind a name that may carry a number.

    >>> part_kind("idler-2"), part_kind("coolant-pump")
    ('idler', 'coolant-pump')
    """
    match = _NUMBERED.match(part)
    return match["kind"] if match else part
