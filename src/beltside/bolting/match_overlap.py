"""How far two outlines cover each other: the second opinion beside the holes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from beltside.base.errors import InputError
from beltside.bolting.match_assign import Array

_LINES: Final = 400


@dataclass(frozen=True)
class Overlap:
    """Two outlines laid on each other.

    Attributes
    ----------
    old_mm2, new_mm2, common_mm2
        Areas of each and of what both cover [mm^2].
    """

    old_mm2: float
    new_mm2: float
    common_mm2: float

    @property
    def share(self) -> float:
        """What both cover over what either covers, 0 to 1."""
        together = self.old_mm2 + self.new_mm2 - self.common_mm2
        return self.common_mm2 / together if together > 0.0 else 0.0

    @property
    def of_old(self) -> float:
        """How much of the old one the new one covers, 0 to 1."""
        return self.common_mm2 / self.old_mm2 if self.old_mm2 > 0.0 else 0.0


def overlap(old_mm: Array, new_mm: Array) -> Overlap:
    """Areas of two outlines, each a closed line of corners, shapes (n, 2) and (m, 2) [mm].

    Sampled on 400 by 400 places: shares are within about 0.002 for simple shapes.

    Raises
    ------
    InputError
        When an outline has fewer than 3 corners.
    """
    for name, outline in (("old", old_mm), ("new", new_mm)):
        if outline.ndim != 2 or outline.shape[0] < 3 or outline.shape[1] != 2:
            raise InputError(f"the {name} outline has too few corners", allowed="3 or more")
    both = np.concatenate([old_mm, new_mm])
    low, high = both.min(axis=0), both.max(axis=0)
    step = np.maximum((high - low) / _LINES, 1e-9)
    x = low[0] + step[0] * (np.arange(_LINES) + 0.5)
    y = low[1] + step[1] * (np.arange(_LINES) + 0.5)
    one, other = inside(old_mm, x, y), inside(new_mm, x, y)
    cell = float(step[0] * step[1])
    return Overlap(cell * int(one.sum()), cell * int(other.sum()), cell * int((one & other).sum()))


def inside(outline_mm: Array, x_mm: Array, y_mm: Array) -> npt.NDArray[np.bool_]:
    """Which places of a grid lie in an outline (even-odd rule), shape (len(y), len(x))."""
    start, end = outline_mm, np.roll(outline_mm, -1, axis=0)
    result = np.zeros((len(y_mm), len(x_mm)), dtype=bool)
    for row, y in enumerate(y_mm):
        crosses = (start[:, 1] <= y) != (end[:, 1] <= y)
        one, other = start[crosses], end[crosses]
        at = one[:, 0] + (y - one[:, 1]) * (other[:, 0] - one[:, 0]) / (other[:, 1] - one[:, 1])
        result[row] = np.searchsorted(np.sort(at), x_mm) % 2 == 1
    return result
