"""What the distances left over say: one pattern, or one hole in the wrong place?

Gaussian errors of measuring, known; the makers' scatter about known: a few values about the usual
one are weighed by how well they explain what is left over. Turn and shift are integrated out
(restricted likelihood, Patterson and Thompson 1971).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy import stats

from beltside.bolting.match_assign import Array

SCATTERS: Final = ((1.0 / 3.0, 0.2), (2.0 / 3.0, 0.3), (1.0, 0.3), (4.0 / 3.0, 0.2))
"""Scatter over the usual scatter, and its weight before the look."""
_SHIFTS: Final = (1.0, 1.5, 2.3, 3.5, 5.0, 8.0, 14.0)
_DIRECTIONS: Final = 16


@dataclass(frozen=True)
class WrongHoleOdds:
    """Chances, each with even odds before the look.

    Attributes
    ----------
    just_wrong
        That one hole is off by just the limit, against all holes right, 0 to 1.
    any_wrong
        That one hole is off by the limit or more, against all holes right, 0 to 1.
    chance
        How often two parts of one pattern leave at least so much over, 0 to 1 (with the largest
        scatter considered).
    """

    just_wrong: float
    any_wrong: float
    chance: float


def wrong_hole_odds(
    gap_mm: Array, measured_mm2: Array, design: Array, scatter_mm: float, wrong_mm: float
) -> WrongHoleOdds:
    """Weigh "one hole is off" against "all holes are right".

    Parameters
    ----------
    gap_mm
        What is left over, x and y by turns, shape (2n,) [mm].
    measured_mm2
        Covariance of measuring, shape (2n, 2n) [mm^2].
    design
        How turn and shift change what is left over, shape (2n, 3).
    scatter_mm
        Usual scatter of the parts, one standard deviation a coordinate [mm].
    wrong_mm
        How far a wrong hole is off at least [mm].
    """
    n = len(gap_mm) // 2
    angles = 2.0 * math.pi * np.arange(_DIRECTIONS) / _DIRECTIONS
    heading = np.stack([np.cos(angles), np.sin(angles)])
    right, just, far = [], [], []
    chance = 0.0
    for factor, weight in SCATTERS:
        spread = measured_mm2 + (factor * scatter_mm) ** 2 * np.eye(2 * n)
        inverse = np.linalg.inv(spread)
        reduced = inverse @ design
        inner = design.T @ reduced
        precision = inverse - reduced @ np.linalg.solve(inner, reduced.T)
        pulled = precision @ gap_mm
        left = float(gap_mm @ pulled)
        log_here = (
            math.log(weight)
            - 0.5 * float(np.linalg.slogdet(spread)[1] + np.linalg.slogdet(inner)[1])
            - 0.5 * left
        )
        chance = max(chance, float(stats.chi2.sf(left, 2 * n - 3)))
        blocks = np.stack([precision[2 * k : 2 * k + 2, 2 * k : 2 * k + 2] for k in range(n)])
        pull = pulled.reshape(n, 2) @ heading
        hold = np.einsum("id,nij,jd->nd", heading, blocks, heading)
        shifts = wrong_mm * np.array(_SHIFTS)[:, None, None]
        gain = shifts * pull - 0.5 * shifts**2 * hold
        right.append(log_here)
        just.append(log_here + _log_mean(gain[0]))
        far.append(log_here + _log_mean(gain))
    of_right = float(np.logaddexp.reduce(right))
    return WrongHoleOdds(
        _chance(float(np.logaddexp.reduce(just)) - of_right),
        _chance(float(np.logaddexp.reduce(far)) - of_right),
        chance,
    )


def _log_mean(values: Array) -> float:
    return float(np.logaddexp.reduce(values, axis=None)) - math.log(values.size)


def _chance(log_odds: float) -> float:
    return 1.0 / (1.0 + math.exp(-min(max(log_odds, -700.0), 700.0)))
