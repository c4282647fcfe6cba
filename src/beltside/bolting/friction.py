"""Friction of threads and heads, by the state they are in.

Ranges: friction classes of VDI 2230 (2003/2015), Table A5; K: Shigley, Mechanical Engineering
Design, 9th ed., Table 8-15. Which state falls into which class is our reading.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from beltside.base.errors import InputError, OutOfRangeError, nearest

LOWEST: Final = 0.03
HIGHEST: Final = 0.5

GIVEN_SPREAD: Final = 0.2
"""A coefficient typed in is taken to hold within this part (own assumption)."""


@dataclass(frozen=True)
class Friction:
    """One state of thread and head.

    Attributes
    ----------
    name
        "oiled", "dry", ...
    low, typical, high
        Coefficient of friction in the thread and under the head.
    nut_factor
        K of T = K d F for this state where Shigley gives one.
    says
        The state in words.
    source
        Where the range is from.
    """

    name: str
    low: float
    typical: float
    high: float
    nut_factor: float | None
    says: str
    source: str


_B = "VDI 2230, friction class B"
_C = "VDI 2230, friction class C"

FRICTIONS: Final[Mapping[str, Friction]] = {
    row.name: row
    for row in (
        Friction(
            "unknown",
            0.08,
            0.14,
            0.24,
            None,
            "not said: anything from oiled to dry",
            "VDI 2230, friction classes B and C",
        ),
        Friction("dry", 0.14, 0.18, 0.24, 0.30, "clean, black or bare, no oil", _C),
        Friction("oiled", 0.08, 0.12, 0.16, 0.18, "engine oil on thread and under the head", _B),
        Friction("zinc", 0.14, 0.17, 0.24, 0.20, "bright zinc plating, no oil", _C),
        Friction("zinc-flake", 0.08, 0.12, 0.16, None, "grey zinc flake with its own wax", _B),
        Friction("cadmium", 0.08, 0.11, 0.16, 0.16, "cadmium plating", _B),
        Friction(
            "threadlock",
            0.10,
            0.16,
            0.24,
            None,
            "liquid threadlock, wet, or a dry patch of it",
            "VDI 2230, friction classes B and C: wet it greases, dry it drags",
        ),
        Friction(
            "anti-seize",
            0.04,
            0.08,
            0.10,
            0.12,
            "anti-seize or molybdenum paste",
            "VDI 2230, friction class A",
        ),
    )
}

_OTHER_NAMES: Final = {
    "plated": "zinc",
    "galvanised": "zinc",
    "galvanized": "zinc",
    "lubricated": "oiled",
    "oil": "oiled",
    "lube": "oiled",
    "black": "dry",
    "clean": "dry",
    "locking": "threadlock",
    "grease": "anti-seize",
    "moly": "anti-seize",
    "antiseize": "anti-seize",
}


def friction(given: str) -> Friction:
    """The state behind a word ("oiled") or a coefficient ("0.14").

    Raises
    ------
    InputError
        For an unknown word.
    OutOfRangeError
        For a coefficient outside 0.03 to 0.5.

    >>> friction("oiled").typical, friction("0.14").typical
    (0.12, 0.14)
    """
    word = given.strip().lower().replace(" ", "-").replace("_", "-")
    try:
        value = float(word.replace(",", "."))
    except ValueError:
        found = FRICTIONS.get(_OTHER_NAMES.get(word, word))
        if found is None:
            near = nearest(word, [*FRICTIONS, *_OTHER_NAMES])
            raise InputError(
                f'friction is "{given}"',
                allowed=", ".join(FRICTIONS) + f", or a coefficient from {LOWEST} to {HIGHEST}",
                instead=_OTHER_NAMES.get(near, near) if near else "unknown",
            ) from None
        return found
    if not LOWEST <= value <= HIGHEST:
        raise OutOfRangeError(
            f"the coefficient of friction is {given}",
            allowed=f"{LOWEST} to {HIGHEST}",
            instead="0.12 for oiled threads, or a word: " + ", ".join(FRICTIONS),
        )
    return Friction(
        f"{value:g}",
        max(LOWEST, value * (1.0 - GIVEN_SPREAD)),
        value,
        min(HIGHEST, value * (1.0 + GIVEN_SPREAD)),
        None,
        f"coefficient {value:g} as given, taken to hold within {100 * GIVEN_SPREAD:g} %",
        "as given",
    )
