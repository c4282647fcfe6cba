"""Gain between two recordings, from what a repair at the belt end cannot have changed.

The engine's own lines (multiples of its working cycle) and the part of each band's loudness that
beats with the cycle are the same engine before and after. How much stronger they are in one
recording than in the other is that recording's gain: setting, distance, phone. Rooms make single
lines stray by some dB when the speed differs a little; many lines together do not.

Low lines are the engine's for sure. High ones lie so near to each other that a fault's tones pass
for them, and a fault's noise may beat with the cycle too: both count as the engine's only as far as
they fit (`compare_doubt`).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy import linalg

from beltside.base.errors import OutOfRangeError
from beltside.sound.compare_doubt import Fit, fault_patterns, weigh
from beltside.sound.gate import Float64, require_signal

Ints = npt.NDArray[np.intp]

REACH_OCTAVES: Final = 1.0
"""Over how many octaves one phone's colour differs alike from another's; own choice."""

COLOUR_DB: Final = (0.3, 1.0, 2.0, 4.0, 8.0)
COLOUR_PRIOR: Final = (0.6, 0.22, 0.08, 0.06, 0.04)
"""How far the gain may change over frequency [dB], and how often it is taken to beforehand: the
same phone at about the same place most of the time. Own choice."""

LOW_NOTES_HZ: Final = 200.0
LOW_NOTES_DB: Final = 6.0
LOW_NOTES_PRIOR: Final = 0.15
"""Below this frequency each make of phone cuts low notes its own way: by how much two differ for
each octave [dB], and how often beforehand. Own choice."""

SCATTER_DB: Final = (0.3, 0.6, 1.0, 1.5, 2.2, 3.2, 4.5, 6.5)
"""Scatter of single lines that is tried [dB]."""

ROOM_HZ: Final = 30.0
ROOM_SHARE: Final = 0.5
"""Lines this near to each other stray alike, by this share of their scatter: a way round that is
8 m longer turns a room's response over within 43 Hz (speed of sound over the detour). So ten lines
below 100 Hz do not tell as much as ten spread over an octave. Share from simulated pairs."""

HEAVY_TAILS: Final = 4.0
"""Degrees of freedom of the scatter: a few lines may be far off."""

FEWEST: Final = 4

REGION_OCTAVES: Final = 0.4
"""Width of a region in which all doubtful points are the engine's or none is; as wide as the bands
whose beat is read."""

DOUBTFUL_DB: Final = 1.5
"""Least scatter of a point that may be a fault's [dB]; own choice."""

GROUPED_DB: Final = 3.0
"""Scatter of single lines within a group of them [dB]; own choice."""

MEAN_DB: Final = 60.0
"""Standard deviation of the gain beforehand: as good as nothing known [dB]."""

WORTH: Final = 8.0
"""Sizes of colour and scatter under which the sure lines are this far (natural logarithm) less
likely than under the best are left out."""


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


def line_groups(lines: GainPoints) -> GainPoints:
    """One point for the lines of each region of frequencies: their median."""
    region = regions(lines.frequency_hz)
    found = [region == one for one in np.unique(region)]
    return GainPoints(
        np.array([np.exp(np.mean(np.log(lines.frequency_hz[one]))) for one in found]),
        np.array([np.median(lines.gain_db[one]) for one in found]),
        np.array([GROUPED_DB / np.sqrt(one.sum()) for one in found]),
    )


def regions(frequency_hz: Float64) -> Ints:
    """Number of the region each frequency belongs to, `REGION_OCTAVES` wide, shape (n,)."""
    return np.rint(np.log2(frequency_hz / 1000.0) / REGION_OCTAVES).astype(np.intp)


def gain_over_frequency(lines: GainPoints, doubtful: GainPoints, at_hz: npt.ArrayLike) -> Gain:
    """Gain as a smooth curve over frequency through scattered points.

    Kriging (Rasmussen & Williams, Gaussian processes for machine learning, 2006, section 2.7): a
    constant of which nothing is known, a smooth deviation that keeps over about an octave, a fall
    of the low notes, and scatter of single lines with heavy tails, in part shared by lines near to
    each other. Sizes are averaged over what the points allow (marginal likelihood times a prior),
    and so is which of the doubtful points are the fault's.

    Parameters
    ----------
    lines
        Engine lines that are the engine's for sure.
    doubtful
        Points that may be the fault's in one or two runs of neighbouring regions: bands' share that
        beats with the cycle, groups of high lines. They carry a scatter of at least 1.5 dB.
    at_hz
        Where the gain is wanted, rising, shape (b,) [Hz].

    Raises
    ------
    OutOfRangeError
        When there are fewer than four points.
    """
    wanted = np.asarray(require_signal("frequencies", at_hz), dtype=np.float64)
    count, unsure = lines.gain_db.size, doubtful.gain_db.size
    if count + unsure < FEWEST:
        raise OutOfRangeError(
            f"{count + unsure} engine lines that stand out in both takes",
            allowed=f"{FEWEST} or more",
            instead="record closer to the engine, 15 s at a steady idle",
        )
    gain = np.concatenate((lines.gain_db, doubtful.gain_db))
    own = np.concatenate((lines.sd_db, np.hypot(doubtful.sd_db, DOUBTFUL_DB)))
    middle, tails = _middle_and_tails(gain, own)
    frequency_hz = np.concatenate((lines.frequency_hz, doubtful.frequency_hz, wanted))
    octave = np.log2(frequency_hz)
    near = _kin(octave, octave, REACH_OCTAVES)
    depth = np.maximum(np.log2(LOW_NOTES_HZ / frequency_hz), 0.0)
    cut = LOW_NOTES_DB**2 * np.outer(depth, depth) * (0.75 + 0.25 * near)
    room = _kin(lines.frequency_hz, lines.frequency_hz, ROOM_HZ)
    fits: list[Fit] = []
    for low, low_prior in ((0.0, 1.0 - LOW_NOTES_PRIOR), (1.0, LOW_NOTES_PRIOR)):
        for colour, prior in zip(COLOUR_DB, COLOUR_PRIOR, strict=True):
            known = MEAN_DB**2 + colour**2 * near + low * cut
            for scatter in SCATTER_DB:
                stray = ROOM_SHARE * scatter**2 * room + np.diag(
                    (lines.sd_db**2 + (1.0 - ROOM_SHARE) * scatter**2) / tails[:count]
                )
                score, mean, spread = _given_lines(lines.gain_db - middle, stray, known)
                score += float(np.log(prior * low_prior))
                fits.append(Fit(score, mean + middle, spread, scatter, colour))
    best = max(fit.score for fit in fits)
    patterns = fault_patterns(regions(doubtful.frequency_hz))
    found = weigh(
        [fit for fit in fits if fit.score > best - WORTH],
        (doubtful.gain_db, own[count:]),
        patterns,
    )
    return Gain(
        wanted,
        found.mean,
        found.covariance,
        found.scatter_db,
        found.colour_db,
        count + unsure,
    )


def _middle_and_tails(gain: Float64, own: Float64) -> tuple[float, Float64]:
    """Middle of all points, and how much less those far from it count (heavy tails)."""
    tails = np.ones(gain.size)
    middle = float(np.median(gain))
    for _ in range(3):
        spread = 1.4826 * float(np.median(np.abs(gain - middle))) + 0.1
        off = (gain - middle) ** 2 / (own**2 + spread**2)
        tails = (HEAVY_TAILS + 1.0) / (HEAVY_TAILS + off)
        middle = float(np.average(gain, weights=tails / (own**2 + spread**2)))
    return middle, tails


def _kin(one: Float64, other: Float64, reach: float) -> Float64:
    """Kinship of places: 1 at the same place, falling like a Gaussian."""
    result: Float64 = np.exp(-0.5 * ((one[:, None] - other[None, :]) / reach) ** 2)
    return result


def _given_lines(gain: Float64, stray: Float64, known: Float64) -> tuple[float, Float64, Float64]:
    """Log marginal likelihood of the sure lines, and mean and covariance at all other places.

    `known` is the covariance of the gain itself at the lines and then those places, `stray` what
    the lines scatter about it.
    """
    count = gain.size
    if count == 0:
        return 0.0, np.zeros(len(known)), known
    root = linalg.cholesky(known[:count, :count] + stray, lower=True)
    white = linalg.solve_triangular(
        root, np.column_stack((gain, known[:count, count:])), lower=True
    )
    y, lifted = white[:, 0], white[:, 1:]
    score = -0.5 * float(y @ y) - float(np.log(np.diag(root)).sum())
    return score, lifted.T @ y, known[count:, count:] - lifted.T @ lifted
