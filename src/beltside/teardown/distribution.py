"""How long the whole job takes: by simulation, and by the product of the steps' transforms.

Pieces are independent, so the characteristic function of the sum is the product of those of the
pieces, and one inverse Fourier transform gives the whole distribution: no chance is involved.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import betainc

from beltside.base.errors import require_range
from beltside.teardown.times import Minutes, Piece

FloatArray = npt.NDArray[np.float64]

CELLS = 2048
"""Cells of the grid on which the distribution is worked out."""


@dataclass(frozen=True)
class Distribution:
    """The distribution of a sum of pieces.

    Attributes
    ----------
    mean, deviation
        Expected value and standard deviation, from the formulas, not the grid.
    edges
        Upper ends of the grid's cells, rising, shape (cells,).
    below
        Chance to stay at or below each edge, shape (cells,), rising to 1.
    """

    mean: float
    deviation: float
    edges: FloatArray
    below: FloatArray

    def quantile(self, chance: float) -> float:
        """The value that holds in a share `chance` of cases, 0 < chance < 1."""
        require_range("chance", chance, 1e-6, 1.0 - 1e-6, "")
        if self.deviation <= 0.0:
            return self.mean
        return float(np.interp(chance, self.below, self.edges))

    def chance_within(self, value: float) -> float:
        """Chance that the sum is at most `value`."""
        if self.deviation <= 0.0:
            return 1.0 if value >= self.mean else 0.0
        return float(np.interp(value, self.edges, self.below, left=0.0, right=1.0))


def distribution(
    pieces: Sequence[Piece], *, spread: float = 0.0, cells: int = CELLS
) -> Distribution:
    """The distribution of the sum of independent `pieces`.

    Parameters
    ----------
    pieces
        What adds up; minutes, or money written as minutes.
    spread
        Standard deviation of the natural logarithm of a factor common to all pieces of one job (a
        rusty car, a bad day), 0 to 1; its mean is 1.
    cells
        Size of the grid.
    """
    require_range("spread", spread, 0.0, 1.0, "")
    mean = math.fsum(piece.mean for piece in pieces)
    variance = math.fsum(piece.variance for piece in pieces)
    fixed = math.fsum(p.minutes.low for p in pieces if p.chance >= 1.0)
    moving = [p for p in pieces if p.chance < 1.0 or p.minutes.high > p.minutes.low]
    top = math.fsum(p.minutes.high - (p.minutes.low if p.chance >= 1.0 else 0.0) for p in moving)
    if not moving or top <= 0.0:
        edges = np.array([fixed, fixed + 1e-9])
        narrow = Distribution(fixed, 0.0, edges, np.array([0.5, 1.0]))
        return narrow if spread == 0.0 else _spread(narrow, spread)
    # Far beyond any chance worth a cell the sum is cut off (Cantelli: 10 deviations, under 1 %
    # of 1 %; the pieces' sum of highs where that is less).
    reach = min(top, mean - fixed + 12.0 * math.sqrt(variance))
    cell = reach / (cells - 2)
    edge: FloatArray = np.arange(cells + 1, dtype=np.float64) * cell
    transform = np.ones(cells + 1, dtype=np.complex128)
    alike: dict[tuple[Minutes, float], int] = {}
    for piece in moving:
        key = (piece.minutes, piece.chance)
        alike[key] = alike.get(key, 0) + 1
    for (minutes, chance), count in alike.items():
        base = minutes.low if chance >= 1.0 else 0.0
        mass = _masses(minutes, base, edge, cell)
        mass *= chance
        if chance < 1.0:
            mass[0] += 1.0 - chance
        transform *= np.fft.rfft(mass, 2 * cells) ** count
    density = np.fft.irfft(transform, 2 * cells)[:cells]
    below = np.clip(np.cumsum(density), 0.0, None)
    below = np.maximum.accumulate(below) / below[-1]
    # A mass stands for the cell around its place, so its upper end is half a cell further.
    upper: FloatArray = fixed + (np.arange(cells, dtype=np.float64) + 0.5) * cell
    result = Distribution(mean, math.sqrt(variance), upper, below)
    return result if spread == 0.0 else _spread(result, spread)


def _masses(minutes: Minutes, base: float, edge: FloatArray, cell: float) -> FloatArray:
    """Masses at 0, cell, 2 cell, ... of minutes - base that keep its mean.

    The mass of each cell is shared between the two grid points beside it in proportion to where
    the middle of that part of the distribution lies.
    """
    low, high = minutes.low - base, minutes.high - base
    cells = edge.shape[0] - 1
    mass = np.zeros(cells)
    if high - low < 1e-12:
        place = min(low / cell, cells - 1.001)
        first = int(place)
        mass[first] += 1.0 - (place - first)
        mass[first + 1] += place - first
        return mass
    alpha, beta = minutes.shapes
    share = np.clip((edge - low) / (high - low), 0.0, 1.0)
    chance = betainc(alpha, beta, share)
    # E[X; X <= t] of a beta is its mean times the distribution function with alpha + 1.
    part = low * chance + (high - low) * alpha / (alpha + beta) * betainc(alpha + 1, beta, share)
    weight, moment = np.diff(chance), np.diff(part)
    upper = moment / cell - weight * np.arange(cells)
    mass += weight - upper
    mass[1:] += upper[:-1]
    return mass


def _spread(base: Distribution, spread: float) -> Distribution:
    """The same times a lognormal factor of mean 1, by Gauss-Hermite quadrature over it."""
    nodes, weights = np.polynomial.hermite_e.hermegauss(31)
    weights = weights / weights.sum()
    factors = np.exp(spread * nodes - spread**2 / 2.0)
    second = math.exp(spread**2) * (base.deviation**2 + base.mean**2)
    deviation = math.sqrt(second - base.mean**2)
    edges = np.linspace(
        max(0.0, base.mean - 8.0 * deviation), base.mean + 12.0 * deviation, 2 * base.edges.size
    )
    below = np.zeros_like(edges)
    for factor, weight in zip(factors, weights, strict=True):
        below += weight * np.interp(edges / factor, base.edges, base.below, left=0.0, right=1.0)
    return Distribution(base.mean, deviation, edges, below)


def simulate(
    pieces: Sequence[Piece], runs: int, rng: np.random.Generator, *, spread: float = 0.0
) -> FloatArray:
    """Sums of `pieces` drawn `runs` times, shape (runs,)."""
    total = np.zeros(runs)
    for piece in pieces:
        low, high = piece.minutes.low, piece.minutes.high
        if piece.chance >= 1.0:
            come: npt.NDArray[np.intp] | slice = slice(None)
            count = runs
        else:
            come = np.flatnonzero(rng.random(runs) < piece.chance)
            count = come.size
        if high <= low:
            total[come] += low
        else:
            alpha, beta = piece.minutes.shapes
            total[come] += low + (high - low) * rng.beta(alpha, beta, count)
    if spread > 0.0:
        total *= np.exp(spread * rng.standard_normal(runs) - spread**2 / 2.0)
    return total
