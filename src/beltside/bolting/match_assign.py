"""Every way of laying one set of holes on another, none left out, the impossible ones cut early.

A partial assignment never costs more than any whole one that holds it: the squares left over
after the best turn and shift of a subset are at most those of the subset within the whole. So a
branch whose part alone costs more than the bound can be dropped without losing a solution.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
Indices = npt.NDArray[np.intp]

_FIRST_BOUND_MM: Final = 1.0
_WIDER: Final = 4.0
_MOST_BRANCHES: Final = 400_000
_SURELY_NOT_MM: Final = 8.0
_KEPT_TIMES: Final = 4.0


@dataclass(frozen=True)
class Assignment:
    """Hole `i` of the one set lies on hole `partner[i]` of the other.

    Attributes
    ----------
    partner
        For each hole of the first set the hole of the second, -1 for none.
    flipped
        Whether the second set is turned over (mirrored left to right) first.
    angle_rad
        Turn of the first set onto the second.
    rms_mm
        Root mean square distance left over [mm].
    """

    partner: tuple[int, ...]
    flipped: bool
    angle_rad: float
    rms_mm: float


@dataclass(frozen=True)
class Assignments:
    """All assignments up to a bound.

    Attributes
    ----------
    best
        Cheapest first.
    all_within_mm
        Every assignment with a smaller root mean square distance is in `best`, unless it was cut
        by the number asked for [mm].
    """

    best: tuple[Assignment, ...]
    all_within_mm: float


def assignments(old: Array, new: Array, *, most: int = 96, least_mm: float = 1.0) -> Assignments:
    """The cheapest assignments of the smaller set into the larger, both sides up.

    Parameters
    ----------
    old, new
        Hole centres [mm], shapes (n, 2) and (m, 2), n and m at least 2.
    most
        At most so many are given back.
    least_mm
        All with a root mean square distance up to this are searched for [mm].

    Notes
    -----
    Up to 8 holes a side every assignment is considered whatever it costs. Beyond, the bound is
    widened by 2 from `least_mm` until one is found; when none exists up to 8 mm the list is empty.
    """
    swapped = len(old) > len(new)
    small, large = (new, old) if swapped else (old, new)
    z = small[:, 0] + 1j * small[:, 1]
    w = large[:, 0] + 1j * large[:, 1]
    z, w = z - z.mean(), w - w.mean()
    order = _far_first(z)
    n = len(z)
    everything = math.perm(len(w), n) * 2 <= _MOST_BRANCHES
    bound_mm = max(least_mm, _FIRST_BOUND_MM)
    found: list[tuple[float, bool, complex, Indices]] = []
    while True:
        found, finished = _search(z, w, order, n * bound_mm**2)
        if found or not finished:
            break
        if not everything and bound_mm >= _SURELY_NOT_MM:
            break
        if bound_mm > 1e6:
            break
        bound_mm *= math.sqrt(_WIDER)
    found.sort(key=lambda one: one[0])
    kept = []
    for cost, flipped, product, columns in found[:most]:
        rms = math.sqrt(max(cost, 0.0) / n)
        if rms > max(_KEPT_TIMES * math.sqrt(max(found[0][0], 0.0) / n), least_mm):
            break
        kept.append(_assignment(order, columns, flipped, product, rms, swapped, len(old)))
    return Assignments(tuple(kept), bound_mm if not kept else max(bound_mm, kept[-1].rms_mm))


def _far_first(z: npt.NDArray[np.complex128]) -> Indices:
    """The order in which holes are laid: each as far as can be from those before it."""
    order = [int(np.argmax(np.abs(z)))]
    nearest = np.abs(z - z[order[0]])
    while len(order) < len(z):
        order.append(int(np.argmax(nearest)))
        nearest = np.minimum(nearest, np.abs(z - z[order[-1]]))
    return np.array(order, dtype=np.intp)


def _search(
    z: npt.NDArray[np.complex128],
    w: npt.NDArray[np.complex128],
    order: Indices,
    bound: float,
) -> tuple[list[tuple[float, bool, complex, Indices]], bool]:
    """All whole assignments costing at most `bound` [mm^2]; False when there were too many."""
    found: list[tuple[float, bool, complex, Indices]] = []
    for flipped in (False, True):
        target = -np.conj(w) if flipped else w
        columns = np.arange(len(w), dtype=np.intp)[:, None]
        sum_w = target.copy()
        square_w = np.abs(target) ** 2
        product = np.conj(z[order[0]]) * target
        sum_z, square_z = z[order[0]], abs(z[order[0]]) ** 2
        cost = np.zeros(len(w))
        turned = product
        for level in range(1, len(order)):
            here = z[order[level]]
            sum_z, square_z = sum_z + here, square_z + abs(here) ** 2
            free = np.ones((len(columns), len(w)), dtype=bool)
            np.put_along_axis(free, columns, values=False, axis=1)
            row, new = np.nonzero(free)
            sum_w = sum_w[row] + target[new]
            square_w = square_w[row] + np.abs(target[new]) ** 2
            product = product[row] + np.conj(here) * target[new]
            count = level + 1
            turned = product - np.conj(sum_z) * sum_w / count
            cost = (
                square_z
                - abs(sum_z) ** 2 / count
                + square_w
                - np.abs(sum_w) ** 2 / count
                - 2.0 * np.abs(turned)
            )
            keep = cost <= bound + 1e-9
            columns = np.concatenate([columns[row[keep]], new[keep, None]], axis=1)
            sum_w, square_w, product = sum_w[keep], square_w[keep], product[keep]
            cost, turned = cost[keep], turned[keep]
            if len(columns) > _MOST_BRANCHES:
                return [], False
        found += [
            (float(c), flipped, complex(t), one)
            for c, t, one in zip(cost, turned, columns, strict=True)
        ]
    return found, True


def _assignment(
    order: Indices,
    columns: Indices,
    flipped: bool,
    product: complex,
    rms: float,
    swapped: bool,
    n_old: int,
) -> Assignment:
    angle = math.atan2(product.imag, product.real)
    partner = [-1] * n_old
    for small, large in zip(order, columns, strict=True):
        if swapped:
            partner[int(large)] = int(small)
        else:
            partner[int(small)] = int(large)
    if swapped:
        # The turn found carries new (as it lies) onto flipped old; wanted: old onto flipped new.
        # Mirroring both sides reverses a turn, and so does reading it the other way round.
        angle = angle if flipped else -angle
    return Assignment(tuple(partner), flipped, angle, rms)
