"""Which of the points that a gain is read from are the fault's, and what the others say.

A fault beats with the engine's cycle or puts its tones where the engine's high lines lie, in one or
two runs of neighbouring regions of frequency. There the points show the gain and the repair
together, shifted all alike by what the repair took. Every such pattern is tried, and the curves
they leave are averaged, each as likely as it makes the points (Bayes' rule over a finite number of
patterns; Rasmussen & Williams, Gaussian processes for machine learning, 2006, section 5.2).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from beltside.sound.gate import Float64

NO_FAULT: Final = 0.3
ONE_RUN: Final = 0.4
"""How often, beforehand, no region is the fault's, and how often one run of them is; two runs in
the other cases. Own choice."""

SHIFT_DB: Final = 8.0
"""How far a repair shifts the fault's points, standard deviation [dB]; own choice."""

FAULT_SCATTER_DB: Final = 2.5
"""How far they scatter about that shift [dB]: engine and fault sound together; own choice."""

MOST_REGIONS: Final = 16
"""More regions than this are joined from the top: patterns grow with the fourth power."""

_WORTH: Final = 6.0


@dataclass(frozen=True)
class Fit:
    """A gain before the doubtful points are read.

    Attributes
    ----------
    score
        Log likelihood of the sure lines, times the prior.
    mean, covariance
        Gain at the n doubtful points and then at the b places wanted, shapes (n + b,) and
        (n + b, n + b) [dB, dB^2].
    scatter_db, colour_db
        Sizes it was made with.
    """

    score: float
    mean: Float64
    covariance: Float64
    scatter_db: float
    colour_db: float


@dataclass(frozen=True)
class Patterns:
    """Ways in which doubtful points may be the fault's.

    Attributes
    ----------
    fault
        1 where a point is the fault's, shape (patterns, n).
    log_prior
        Natural logarithm of how likely beforehand, shape (patterns,).
    """

    fault: Float64
    log_prior: Float64


@dataclass(frozen=True)
class Weighed:
    """The average gain at the places wanted, shapes (b,) and (b, b), and the sizes it rests on."""

    mean: Float64
    covariance: Float64
    scatter_db: float
    colour_db: float


def fault_patterns(region: npt.NDArray[np.intp]) -> Patterns:
    """All patterns of up to two runs of regions.

    Parameters
    ----------
    region
        Region of each doubtful point, shape (n,).

    >>> fault_patterns(np.array([0, 1])).fault.tolist()
    [[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]]
    """
    place = np.unique(region, return_inverse=True)[1]
    count = min(int(place.max(initial=-1)) + 1, MOST_REGIONS)
    place = np.minimum(place, max(count - 1, 0))
    runs = [(first, last) for first in range(count) for last in range(first + 1, count + 1)]
    rows: list[list[tuple[int, int]]] = [[], *([one] for one in runs)]
    rows += [[one, other] for one in runs for other in runs if other[0] > one[1]]
    regions = np.zeros((len(rows), max(count, 1)))
    for row, held in zip(regions, rows, strict=True):
        for first, last in held:
            row[first:last] = 1.0
    kind = np.array([len(held) for held in rows])
    often = np.bincount(kind, minlength=3)
    share = np.where(often > 0, [NO_FAULT, ONE_RUN, 1.0 - NO_FAULT - ONE_RUN], 0.0)
    share /= share.sum()
    return Patterns(regions[:, place], np.log(share[kind] / often[kind]))


def weigh(fits: Sequence[Fit], points: tuple[Float64, Float64], patterns: Patterns) -> Weighed:
    """Average over sizes and patterns, each as likely as it makes the doubtful points.

    Parameters
    ----------
    fits
        At least one.
    points
        Gain the doubtful points show and its standard deviation, shapes (n,) each [dB].
    patterns
        From `fault_patterns`.
    """
    gain, sd = points
    count = gain.size
    score: list[Float64] = []
    mean: list[Float64] = []
    spread: list[Float64] = []
    sizes: list[tuple[float, float]] = []
    best = -np.inf
    diagonal = np.arange(count)
    shift = SHIFT_DB**2 * patterns.fault[:, :, None] * patterns.fault[:, None, :]
    shift[:, diagonal, diagonal] += sd**2 + FAULT_SCATTER_DB**2 * patterns.fault
    for fit in fits:
        whole = fit.covariance[:count, :count] + shift
        away = np.broadcast_to((gain - fit.mean[:count])[:, None], (len(whole), count, 1))
        solved = np.linalg.solve(whole, away)[:, :, 0]
        size = np.log(np.diagonal(np.linalg.cholesky(whole), axis1=1, axis2=2)).sum(axis=1)
        likely = fit.score + patterns.log_prior - size - 0.5 * solved @ away[0, :, 0]
        best = max(best, float(likely.max()))
        kept = likely > best - _WORTH
        if not kept.any():
            continue
        cross = fit.covariance[count:, :count]
        lifted = np.linalg.solve(
            whole[kept], np.broadcast_to(cross.T, (int(kept.sum()), *cross.T.shape))
        )
        score.append(likely[kept])
        mean.append(fit.mean[count:] + solved[kept] @ cross.T)
        spread.append(fit.covariance[count:, count:] - cross @ lifted)
        sizes += [(fit.scatter_db, fit.colour_db)] * int(kept.sum())
    log_share = np.concatenate(score)
    share = np.exp(log_share - log_share.max())
    share /= share.sum()
    means = np.concatenate(mean)
    middle = share @ means
    around = means - middle
    covariance = np.tensordot(share, np.concatenate(spread), axes=1)
    covariance += (around * share[:, None]).T @ around
    scatter_db, colour_db = share @ np.array(sizes)
    return Weighed(middle, covariance, float(scatter_db), float(colour_db))
