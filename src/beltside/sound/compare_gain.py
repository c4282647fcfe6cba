"""Gain between two recordings, from what a repair at the belt end cannot have changed.

The engine's own lines (multiples of its working cycle) and the part of each band's loudness that
beats with the cycle are the same engine before and after. How much stronger they are in one
recording than in the other is that recording's gain: setting, distance, phone. Rooms make single
lines stray by some dB when the speed differs a little; many lines together do not.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy import linalg

from beltside.base.errors import OutOfRangeError
from beltside.sound.gate import Float64, require_signal

REACH_OCTAVES: Final = 1.0
"""Over how many octaves one phone's colour differs alike from another's; own choice."""

COLOUR_DB: Final = (0.3, 1.0, 2.0, 4.0, 8.0)
COLOUR_PRIOR: Final = (0.55, 0.25, 0.10, 0.06, 0.04)
"""How far the gain may change over frequency [dB], and how often it is taken to beforehand: the
same phone at about the same place most of the time. Own choice."""

SCATTER_DB: Final = (0.3, 0.6, 1.0, 1.5, 2.2, 3.2, 4.5, 6.5)
"""Scatter of single lines that is tried [dB]."""

HEAVY_TAILS: Final = 4.0
"""Degrees of freedom of the scatter: a few lines may be far off."""

FEWEST: Final = 4

WIDTH: Final = 1.1
"""Uncertainties are stretched by this, as measured on simulated pairs (docs/methods/compare.md).
"""


COLOUR_DOUBT: Final = 0.7
"""Where the gain seems another than where it is known best, this share of the difference is one
standard deviation: a fault's noise may beat with the engine's cycle too, and its change then
passes for gain. From simulated pairs."""


@dataclass(frozen=True)
class GainPoints:
    """Gain as single lines or bands show it.

    Attributes
    ----------
    frequency_hz
        Where, shape (n,) [Hz].
    gain_db
        Second recording over first, shape (n,) [dB].
    sd_db
        Its own uncertainty, scatter between lines not included, shape (n,) [dB].
    """

    frequency_hz: Float64
    gain_db: Float64
    sd_db: Float64


@dataclass(frozen=True)
class Gain:
    """Gain of the second recording over the first, over frequency.

    Attributes
    ----------
    at_hz
        Frequencies, shape (b,) [Hz].
    db
        Gain at them, shape (b,) [dB].
    covariance
        Its uncertainty, shape (b, b) [dB^2].
    reading_sd_db
        The part of it that comes from reading the lines and bands alone, shape (b,) [dB].
    scatter_db
        How far single lines stray about it [dB].
    colour_db
        How far it changes over frequency [dB].
    points
        How many lines and bands it rests on.
    """

    at_hz: Float64
    db: Float64
    covariance: Float64
    reading_sd_db: Float64
    scatter_db: float
    colour_db: float
    points: int

    def weighted(self, weight: npt.ArrayLike) -> tuple[float, float]:
        """Gain averaged with `weight`, shape (b,), and its standard deviation [dB]."""
        share = np.asarray(weight, dtype=np.float64)
        share = share / share.sum()
        return float(share @ self.db), float(np.sqrt(max(share @ self.covariance @ share, 0.0)))

    def at(self, frequency_hz: float) -> tuple[float, float]:
        """Gain and its standard deviation at any frequency [dB]; constant beyond the ends."""
        place = float(np.interp(np.log(frequency_hz), np.log(self.at_hz), np.arange(self.db.size)))
        share = np.maximum(1.0 - np.abs(np.arange(self.db.size) - place), 0.0)
        return self.weighted(share)


def line_gains(
    before: tuple[Float64, Float64],
    after: tuple[Float64, Float64],
    frequency_hz: Float64,
    clear: float = 4.0,
) -> GainPoints:
    """Gain that each engine line shows.

    Parameters
    ----------
    before, after
        Power of the lines and its standard deviation, shapes (k,); see `window_power`.
    frequency_hz
        Of the lines, shape (k,) [Hz].
    clear
        Only lines this many standard deviations above nothing in both recordings count.
    """
    (one, one_sd), (other, other_sd) = before, after
    good = (one > clear * one_sd) & (other > clear * other_sd) & (one > 0.0) & (other > 0.0)
    ratio = other[good] / one[good]
    spread = np.hypot(one_sd[good] / one[good], other_sd[good] / other[good])
    db = 10.0 / np.log(10.0)
    return GainPoints(frequency_hz[good], db * np.log(ratio), db * spread)


def gain_over_frequency(lines: GainPoints, bands: GainPoints, at_hz: npt.ArrayLike) -> Gain:
    """Gain as a smooth curve over frequency through scattered points.

    Kriging with an unknown mean (Rasmussen & Williams, Gaussian processes for machine learning,
    2006, section 2.7): a constant, plus a smooth deviation that keeps over about an octave, plus
    scatter of single lines with heavy tails. Size of deviation and of scatter are averaged over
    what the points allow (marginal likelihood times a prior).

    Parameters
    ----------
    lines
        Engine lines.
    bands
        Bands' share that beats with the cycle; they carry a scatter of at least 1.5 dB, for a
        fault's own noise may beat with the cycle too.
    at_hz
        Where the gain is wanted, rising, shape (b,) [Hz].

    Raises
    ------
    OutOfRangeError
        When there are fewer than four points.
    """
    wanted = np.asarray(require_signal("frequencies", at_hz), dtype=np.float64)
    frequency_hz = np.concatenate((lines.frequency_hz, bands.frequency_hz))
    if frequency_hz.size < FEWEST:
        raise OutOfRangeError(
            f"{frequency_hz.size} engine lines that stand out in both takes",
            allowed=f"{FEWEST} or more",
            instead="record closer to the engine, 15 s at a steady idle",
        )
    gain = np.concatenate((lines.gain_db, bands.gain_db))
    own = np.concatenate((lines.sd_db, np.hypot(bands.sd_db, 1.5)))
    octave, asked = np.log2(frequency_hz), np.log2(wanted)
    near = _kin(octave, octave)
    tails = np.ones(gain.size)
    middle = float(np.median(gain))
    for _ in range(3):
        spread = 1.4826 * float(np.median(np.abs(gain - middle))) + 0.1
        off = (gain - middle) ** 2 / (own**2 + spread**2)
        tails = (HEAVY_TAILS + 1.0) / (HEAVY_TAILS + off)
        middle = float(np.average(gain, weights=tails / (own**2 + spread**2)))
    fits = [
        _fit(gain, (own**2 + scatter**2) / tails, near, colour, (octave, asked))
        for colour in COLOUR_DB
        for scatter in SCATTER_DB
    ]
    prior = np.repeat(np.log(COLOUR_PRIOR), len(SCATTER_DB))
    score = np.array([fit[0] for fit in fits]) + prior
    share = np.exp(score - score.max())
    share /= share.sum()
    means = np.array([fit[1] for fit in fits])
    mean = share @ means
    away = means - mean
    covariance = np.tensordot(share, np.array([fit[2] for fit in fits]), axes=1)
    covariance += (away * share[:, None]).T @ away
    covariance *= WIDTH**2
    reading = np.sqrt(np.diag(covariance))
    doubt = COLOUR_DOUBT * (mean - mean[np.argmin(reading)])
    table = share.reshape(len(COLOUR_DB), len(SCATTER_DB))
    return Gain(
        wanted,
        mean,
        covariance + np.outer(doubt, doubt),
        reading,
        float(table.sum(axis=0) @ np.array(SCATTER_DB)),
        float(table.sum(axis=1) @ np.array(COLOUR_DB)),
        int(gain.size),
    )


def _kin(one: Float64, other: Float64) -> Float64:
    """Kinship of places on the octave scale: 1 at the same place, falling like a Gaussian."""
    result: Float64 = np.exp(-0.5 * ((one[:, None] - other[None, :]) / REACH_OCTAVES) ** 2)
    return result


def _fit(
    gain: Float64, variance: Float64, near: Float64, colour: float, places: tuple[Float64, Float64]
) -> tuple[float, Float64, Float64]:
    """Log marginal likelihood with the mean left open, and mean and covariance where asked."""
    octave, asked = places
    root = linalg.cholesky(colour**2 * near + np.diag(variance), lower=True)
    ones = np.ones((gain.size, 1))
    white = linalg.solve_triangular(root, np.column_stack((gain, ones)), lower=True)
    y, h = white[:, 0], white[:, 1]
    known = float(h @ h)
    level = float(h @ y) / known
    rest = y - level * h
    score = -0.5 * float(rest @ rest) - float(np.log(np.diag(root)).sum()) - 0.5 * np.log(known)
    cross = colour**2 * _kin(octave, asked)
    lifted = linalg.solve_triangular(root, cross, lower=True)
    mean = level + lifted.T @ rest
    open_mean = 1.0 - lifted.T @ h
    covariance = colour**2 * _kin(asked, asked) - lifted.T @ lifted
    covariance += np.outer(open_mean, open_mean) / known
    return float(score), mean, covariance
