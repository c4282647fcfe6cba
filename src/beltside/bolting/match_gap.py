"""The widest gap between neighbouring holes: the cue to lay a part the right way by hand."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from beltside.bolting.match_assign import Array

_CLEAR_MM: Final = 1.5
_CLEAR_SHARE: Final = 0.03
_MIDDLE_SHARE: Final = 0.4


@dataclass(frozen=True)
class Gap:
    """Two neighbouring holes.

    Attributes
    ----------
    first, second
        The holes, counted from 0, in left-handed order round the middle.
    length_mm
        Distance between their centres [mm].
    next_mm
        The next widest gap of the pattern [mm].
    """

    first: int
    second: int
    length_mm: float
    next_mm: float

    @property
    def clear(self) -> bool:
        """Whether the eye can tell it from the next widest one."""
        return self.length_mm - self.next_mm >= max(_CLEAR_MM, _CLEAR_SHARE * self.length_mm)


def round_order(places_mm: Array) -> tuple[int, ...]:
    """Holes in left-handed order round the middle of the pattern; places of shape (n, 2).

    What lies near the middle (a bore) is nobody's neighbour and left out.
    """
    middle = 0.5 * (places_mm.min(axis=0) + places_mm.max(axis=0))
    arm = places_mm - middle
    away = np.linalg.norm(arm, axis=1)
    outer = np.flatnonzero(away > _MIDDLE_SHARE * float(np.median(away)))
    kept = outer if len(outer) >= 3 else np.arange(len(arm))
    order = np.argsort(np.arctan2(arm[kept, 1], arm[kept, 0]), kind="stable")
    return tuple(int(kept[k]) for k in order)


def widest_gap(places_mm: Array) -> Gap:
    """The widest gap between neighbours round the pattern; places of shape (n, 2), n >= 3 [mm].

    >>> gap = widest_gap(np.array([[0.0, 0.0], [60.0, 0.0], [60.0, 30.0], [0.0, 30.0]]))
    >>> gap.length_mm, gap.clear
    (60.0, False)
    """
    order = round_order(places_mm)
    gaps = [
        (math.dist(places_mm[one], places_mm[other]), one, other)
        for one, other in zip(order, (*order[1:], order[0]), strict=True)
    ]
    gaps.sort(key=lambda one: (-one[0], one[1]))
    return Gap(gaps[0][1], gaps[0][2], float(gaps[0][0]), float(gaps[1][0]))
