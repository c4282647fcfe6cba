"""The words of the trade that every room shares: parts, faults, suspects.

A suspect is `part.fault`. A drive with two idlers calls them `idler` and `idler-2`.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Final

from beltside.base.errors import nearest

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

OTHER_NAMES: Final = {
    "water-pump": "coolant-pump",
    "crankshaft": "crank",
    "crank-pulley": "crank",
    "generator": "alternator",
    "idler-pulley": "idler",
    "roller": "idler",
    "tensioner-pulley": "tensioner",
    "belt-tensioner": "tensioner",
    "ac": "ac-compressor",
    "a/c-compressor": "ac-compressor",
    "compressor": "ac-compressor",
    "power-steering": "steering-pump",
    "power-steering-pump": "steering-pump",
    "cooling-fan": "fan",
    "fan-clutch": "fan",
    "serpentine-belt": "belt",
    "drive-belt": "belt",
    "chain": "timing-chain",
    "tappets": "valve-train",
    "exhaust": "exhaust-leak",
}
"""What else the parts are called; used to suggest our word, never instead of it."""

_NUMBERED = re.compile(r"^(?P<kind>[a-z-]+?)(?:-(?P<number>[2-9]))?$")


def part_kind(part: str) -> str:
    """The kind of part behind a name that may carry a number.

    >>> part_kind("idler-2"), part_kind("coolant-pump")
    ('idler', 'coolant-pump')
    """
    match = _NUMBERED.match(part)
    return match["kind"] if match else part


def suggest_part(word: str, allowed: Iterable[str]) -> str | None:
    """The allowed part name that was probably meant, or None.

    >>> suggest_part("water-pump", PULLEY_PARTS), suggest_part("alternater", PULLEY_PARTS)
    ('coolant-pump', 'alternator')
    """
    names = list(allowed)
    other = OTHER_NAMES.get(word)
    return other if other in names else nearest(word, names)


def count_of(count: int, one: str, many: str = "") -> str:
    """A count with its noun; `many` where an "s" behind the noun is not enough.

    >>> count_of(1, "closed job"), count_of(2, "closed job"), count_of(0, "branch", "branches")
    ('1 closed job', '2 closed jobs', '0 branches')
    """
    return f"{count} {one if count == 1 else many or one + 's'}"
