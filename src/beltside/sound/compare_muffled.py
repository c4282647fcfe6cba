"""Whether one of two takes was muffled: a hood shut, a cloth or a hand over the microphone.

What muffles lets low notes pass and takes the more the higher the note, by about 3 to 5 dB for
each octave. Another phone, or the phone held a little elsewhere, tilts the sound much less. The
engine's own lines and beats show the tilt where they are heard; the level of all sound shows it
everywhere, but a repair tilts that too. Both are weighed against each other (Bayes' rule).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy import linalg

from beltside.sound.compare_gain import COLOUR_PRIOR, HEAVY_TAILS, GainPoints
from beltside.sound.gate import Float64

LOWEST_HZ: Final = 100.0
"""Below it phones cut the low notes each in its own way [Hz]."""

LEVELS_FROM_HZ: Final = 200.0

MUFFLED_TILT_DB: Final = (4.0, 1.2)
"""Tilt of the engine's own sound when one take is muffled, mean and standard deviation [dB per
octave]: the mass law gives 6, leaks take some of it back. Own choice."""

OPEN_TILT_DB: Final = 1.0
"""Standard deviation of the tilt between two open takes [dB per octave]; simulated pairs show
0.5, most of them by the same phone."""

MUFFLED_LEVEL_DB: Final = (4.0, 1.5)
OPEN_LEVEL_DB: Final = 2.0
"""The same for the level of all sound, which a repair tilts too; own choice."""

MUFFLED_BEFOREHAND: Final = 0.1
"""How often one of two takes is muffled, before anything is heard; own choice."""

_COLOURS_DB: Final = (0.3, 1.0, 2.0, 4.0)
_SCATTERS_DB: Final = (0.4, 1.0, 2.2, 4.5)
_WIDE_DB: Final = 3.0
"""Tilts tried for lie within a few times this [dB per octave]."""

_FEWEST: Final = 3


@dataclass(frozen=True)
class Tilt:
    """How the gain of the second take rises with pitch, and its standard deviation
    [dB per octave]; `sd_db` is None when nothing tells."""

    db: float
    sd_db: float | None


def engine_tilt(lines: GainPoints, beats: GainPoints) -> Tilt:
    """Tilt that the engine's own lines and beats show above `LOWEST_HZ`.

    Generalised least squares of a straight line over log frequency, about which the gain bends
    smoothly over about an octave and single points scatter with heavy tails; sizes of bend and
    scatter averaged over what the points allow (marginal likelihood times a prior).
    """
    frequency_hz = np.concatenate((lines.frequency_hz, beats.frequency_hz))
    kept = frequency_hz >= LOWEST_HZ
    if kept.sum() < _FEWEST:
        return Tilt(0.0, None)
    octave = np.log2(frequency_hz[kept])
    gain = np.concatenate((lines.gain_db, beats.gain_db))[kept]
    own = np.concatenate((lines.sd_db, np.hypot(beats.sd_db, 1.5)))[kept]
    shape = np.column_stack((np.ones(octave.size), octave - octave.mean()))
    near = np.exp(-0.5 * (octave[:, None] - octave[None, :]) ** 2)
    fits = np.array(
        [
            (*_line(gain, own**2 + scatter**2, colour**2 * near, shape), np.log(likely))
            for colour, likely in zip(_COLOURS_DB, COLOUR_PRIOR, strict=False)
            for scatter in _SCATTERS_DB
        ]
    )
    score, slope, variance, prior = fits.T
    share = np.exp(score + prior - np.max(score + prior))
    share /= share.sum()
    mean = float(share @ slope)
    return Tilt(mean, float(np.sqrt(share @ (variance + (slope - mean) ** 2))))


def _line(
    gain: Float64, variance: Float64, bend: Float64, shape: Float64
) -> tuple[float, float, float]:
    """Log marginal likelihood, slope, and its variance of one straight line."""
    away = gain - np.median(gain)
    slope = float(away @ shape[:, 1]) / max(float(shape[:, 1] @ shape[:, 1]), 1e-9)
    away = away - slope * shape[:, 1]
    score = spread = 0.0
    for _ in range(2):
        tails = (HEAVY_TAILS + 1.0) / (HEAVY_TAILS + away**2 / variance)
        root = linalg.cholesky(bend + np.diag(variance / tails), lower=True)
        white = linalg.solve_triangular(root, np.column_stack((gain, shape)), lower=True)
        y, x = white[:, 0], white[:, 1:]
        known = x.T @ x + np.diag([0.0, _WIDE_DB**-2])
        found = np.linalg.solve(known, x.T @ y)
        rest = y - x @ found
        score = -0.5 * float(rest @ rest) - float(np.log(np.diag(root)).sum())
        score -= 0.5 * float(np.linalg.slogdet(known)[1])
        slope, spread = float(found[1]), float(np.linalg.inv(known)[1, 1])
        inner = linalg.solve_triangular(root, rest, lower=True, trans="T")
        away = gain - shape @ found - bend @ inner
    return score, slope, spread


def level_tilt(frequency_hz: Float64, change_db: Float64) -> float | None:
    """Tilt of the level of all sound, second take over first [dB per octave].

    Parameters
    ----------
    frequency_hz, change_db
        Midband frequencies of the bands and their level changes, shape (b,) each. Bands in which
        nothing but a recording's own noise is left don't belong here.
    """
    kept = frequency_hz >= LEVELS_FROM_HZ
    if kept.sum() < _FEWEST:
        return None
    return float(np.polyfit(np.log2(frequency_hz[kept]), change_db[kept], 1)[0])


def muffled_chance(engine: Tilt, level_db: float | None) -> float:
    """Probability that one of the two takes was muffled, 0 to 1.

    >>> muffled_chance(Tilt(0.2, 0.4), -0.5) < 0.01 < 0.99 < muffled_chance(Tilt(-4.0, 0.4), -4.0)
    True
    """
    muffled, still = [0.0, 0.0], 0.0
    for value, sd, shut, free in (
        (engine.db, engine.sd_db, MUFFLED_TILT_DB, OPEN_TILT_DB),
        (level_db, 0.0, MUFFLED_LEVEL_DB, OPEN_LEVEL_DB),
    ):
        if value is None or sd is None:
            continue
        # The second take may be the muffled one, or the first.
        for side, sign in enumerate((-1.0, 1.0)):
            muffled[side] += _log_normal(value, sign * shut[0], float(np.hypot(sd, shut[1])))
        still += _log_normal(value, 0.0, float(np.hypot(sd, free)))
    odds = np.log(MUFFLED_BEFOREHAND / (1.0 - MUFFLED_BEFOREHAND))
    odds += np.logaddexp(muffled[0], muffled[1]) - np.log(2.0) - still
    return float(1.0 / (1.0 + np.exp(-odds)))


def _log_normal(value: float, mean: float, sd: float) -> float:
    return float(-0.5 * ((value - mean) / sd) ** 2 - np.log(sd))
