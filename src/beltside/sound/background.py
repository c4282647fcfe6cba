"""What a spectrum would be without its lines, and how surprising each of its bins is.

The mean of `a` independent segments' power of Gaussian noise is distributed as its expectation
times Gamma(a) / a (Welch 1967; Percival & Walden 1993). Real engine noise is not quite so kind.
So the background is a running median of the log power, and the spread of the data about it, taken
from quantiles that lines hardly touch, lowers `a` wherever it is wider than that law allows. The
background is itself an estimate: power over background then follows an F distribution, whose
second number of degrees of freedom says how well the background is known.

A small p-value says that a line is there, not that it is strong or whose it is: in a sound full
of lines the feet of strong ones count as lines too. Weigh `excess_db` beside it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy import ndimage, special

from beltside.base.errors import InputError, OutOfRangeError
from beltside.base.units import power_to_db
from beltside.sound.gate import Float64, require_positive, require_signal
from beltside.sound.orders import OrderSpectrum

Bools = npt.NDArray[np.bool_]

GUARD_BINS: Final = 2.0
"""Bins on either side of an excluded order that belong to it (a Hann line is 4 bins wide)."""

FEWEST_BINS: Final = 64
LOWEST_BIN: Final = 2
"""Bins below this hold what is left of the mean and of slow drift."""

# Odd sizes of the running median, smallest to largest [bins].
_SIZES: Final = (13, 31, 61, 101, 151)
# Variance of a mean of Hann-windowed neighbours against independent ones: 1 + 2 (4/9 + 1/36).
_HANN_KIN: Final = 1.944
_REGION_BINS: Final = 400
_FEWEST_KEPT: Final = 16
# Overlapping segments leave a longer tail than Gamma of the averages that fit their variance
# (for Hann at half overlap the third cumulant asks for 0.91 of them): this share is counted.
_TAIL_SHARE: Final = 0.95
_LOW, _MIDDLE, _HIGH = 0.16, 0.5, 0.80


@dataclass(frozen=True)
class Background:
    """What a spectrum would be without its lines.

    Attributes
    ----------
    power
        Expected noise power in each bin, shape (k,) [signal unit squared].
    averages
        Independent averages the data's own spread allows, shape (k,), at most the stated.
    knowledge
        Second degrees of freedom of the F distribution, shape (k,).
    excess_db
        Power over background, shape (k,) [dB].
    p_value
        Probability that noise alone reaches this in that one bin, shape (k,).
    usable
        False for the lowest bins and near excluded orders, shape (k,).
    """

    power: Float64
    averages: Float64
    knowledge: Float64
    excess_db: Float64
    p_value: Float64
    usable: Bools


@dataclass(frozen=True)
class Backgrounds:
    """`Background` of several spectra at once, without its p-values.

    `power`, `averages` and `knowledge` have the shape (rows, k), `usable` (k,).
    """

    power: Float64
    averages: Float64
    knowledge: Float64
    usable: Bools


def local_background(spectrum: OrderSpectrum, exclude: Sequence[float] = ()) -> Background:
    """Background of a spectrum, and each bin's excess and p-value against it.

    Parameters
    ----------
    spectrum
        One channel, k >= 64 bins of power not below zero, averages >= 1.
    exclude
        Orders whose multiples are known lines (0.5 for the half orders of a four-stroke engine):
        bins within `GUARD_BINS` of a multiple take no part.

    Raises
    ------
    InputError, OutOfRangeError
        When the spectrum is not finite, too short, empty of power, or nothing is left of it.
    """
    power = np.asarray(
        require_signal("spectrum power", spectrum.power, shortest=FEWEST_BINS), dtype=np.float64
    )
    if spectrum.order.shape != power.shape or bool(np.any(power < 0.0)):
        raise InputError(
            "a spectrum with orders of another shape, or negative power",
            allowed="one order for each power, power not below zero",
            instead="order_spectrum",
        )
    found = backgrounds(
        OrderSpectrum(spectrum.order, power[None, :], spectrum.averages, spectrum.turns), exclude
    )
    level, averages, knowledge = found.power[0], found.averages[0], found.knowledge[0]
    ratio = np.minimum(power / level, np.exp(200.0))
    return Background(
        level,
        averages,
        knowledge,
        np.asarray(power_to_db(np.maximum(ratio, 1e-14)), dtype=np.float64),
        np.asarray(special.fdtrc(2.0 * averages, knowledge, ratio), dtype=np.float64),
        found.usable,
    )


def backgrounds(spectra: OrderSpectrum, exclude: Sequence[float] = ()) -> Backgrounds:
    """Backgrounds of several spectra over the same orders, power of shape (rows, k).

    As `local_background`, for all rows in one go.

    Raises
    ------
    OutOfRangeError
        When a row is empty of power, too short, or nothing is left of it.
    """
    power = np.asarray(spectra.power, dtype=np.float64)
    if not spectra.averages >= 1.0:
        raise OutOfRangeError(
            f"{spectra.averages:g} averages", allowed="1 or more", instead="shorter segments"
        )
    usable = _usable(spectra.order, exclude)
    floor = power[:, usable].max(axis=1, initial=0.0) * 1e-14
    if not floor.all() or np.count_nonzero(usable) < FEWEST_BINS // 2:
        raise OutOfRangeError(
            f"a spectrum with {np.count_nonzero(usable)} bins left to judge by, or silent",
            allowed=f"{FEWEST_BINS // 2} bins or more, with sound in them",
            instead="longer segments, or fewer excluded orders",
        )
    place = np.flatnonzero(usable)
    log_power = np.log(np.maximum(power, floor[:, None]))
    inside = log_power[:, place]
    stated = _TAIL_SHARE * spectra.averages
    keep = np.ones(inside.shape, dtype=np.bool_)
    middle, size = _running_median(inside, place, usable.size)
    averages = _spread_averages(
        inside - middle[:, place], keep, place, usable.size, stated, lower_only=True
    )
    for last in (False, True):
        # Bins that stand out, with their neighbours, are left out of the next estimate. Until the
        # last the spread is taken below the middle only, where lines do not reach.
        stands = (log_power - middle > _of_averages(_TABLE_STANDS, averages)) & usable
        lines = ndimage.binary_dilation(stands, np.ones((1, 3), dtype=np.bool_), iterations=2)
        keep = ~lines[:, place]
        keep[keep.sum(axis=1) < FEWEST_BINS // 2] = True
        # In the median a bin left out counts as one in the middle.
        middle, size = _running_median(np.where(keep, inside, middle[:, place]), place, usable.size)
        averages = _spread_averages(
            inside - middle[:, place], keep, place, usable.size, stated, lower_only=not last
        )
    mean_ratio = np.exp(-_of_averages(_TABLE_QUANTILES[:, 1], averages))
    return Backgrounds(np.exp(middle) * mean_ratio, averages, _knowledge(averages, size), usable)


def _usable(order: Float64, exclude: Sequence[float]) -> Bools:
    """Bins that are neither at the very bottom nor near a multiple of an excluded order."""
    usable = np.ones(order.size, dtype=np.bool_)
    usable[:LOWEST_BIN] = False
    step = float(order[1] - order[0])
    for base in exclude:
        require_positive("excluded order", base, "orders")
        usable &= np.abs(order - base * np.rint(order / base)) > (GUARD_BINS - 1e-6) * step
    return usable


def _running_median(
    inside: Float64, place: npt.NDArray[np.intp], bins: int
) -> tuple[Float64, Float64]:
    """Running median along each row, carried over all bins, and the window's size [bins].

    The window grows with the bin number, 13 to 151 usable bins, since engine noise is steep at
    low orders. A trend (medians of groups that grow the same way) is taken off first, so that a
    slope does not bend the ends.
    """
    count = place.size
    every = np.arange(bins, dtype=np.float64)
    groups_wanted = max(4, min(11, count // 12))
    edges = np.rint(np.geomspace(16, count + 16, groups_wanted)).astype(np.intp) - 16
    groups = np.split(np.arange(count), edges[1:-1])
    log_place = np.log(place + 16.0)
    knots = np.array([float(log_place[group].mean()) for group in groups])
    heights = np.stack([np.median(inside[:, group], axis=1) for group in groups], axis=1)
    trend = _interpolated(np.log(every + 16.0), knots, heights)
    rest = inside - trend[:, place]
    sizes = [size for size in _SIZES if size <= max(_SIZES[1], count // 2)]
    size = np.clip(0.5 * np.arange(count) + 8.0, sizes[0], sizes[-1])
    level = np.interp(np.log(size), np.log(sizes), np.arange(len(sizes)))
    mixed = np.zeros(rest.shape)
    for number, width in enumerate(sizes):
        # Each size only where it has a share, and half a window further.
        share = np.maximum(1.0 - np.abs(level - number), 0.0)
        first, last = np.flatnonzero(share)[[0, -1]]
        begin, end = max(0, first - width), min(count, last + width + 1)
        mixed[:, begin:end] += share[begin:end] * _median_along(rest[:, begin:end], width)
    middle = _interpolated(every, place.astype(np.float64), mixed) + trend
    return middle, np.interp(every, place, size)


def _median_along(rows: Float64, width: int) -> Float64:
    """Median of `width` neighbours along each row, the ends mirrored. All rows are laid end to
    end, each with its mirrored ends, since a filter in one dimension is much the quickest."""
    half = min(width // 2, rows.shape[1])
    padded = np.pad(rows, ((0, 0), (half, half)), mode="symmetric")
    smooth = ndimage.median_filter(padded.ravel(), 2 * half + 1, mode="nearest")
    result: Float64 = smooth.reshape(padded.shape)[:, half : half + rows.shape[1]]
    return result


def _interpolated(at: Float64, knots: Float64, rows: Float64) -> Float64:
    """np.interp of every row, level beyond the ends."""
    if knots.size == 1:
        return np.repeat(rows, at.size, axis=1)
    left = np.clip(np.searchsorted(knots, at, side="right") - 1, 0, knots.size - 2)
    share = np.clip((at - knots[left]) / (knots[left + 1] - knots[left]), 0.0, 1.0)
    return np.asarray(rows[:, left] * (1.0 - share) + rows[:, left + 1] * share)


def _knowledge(averages: Float64, size: Float64) -> Float64:
    """How well the background is known, as the F distribution's second degrees of freedom.

    The median of `size` Hann-correlated values of log Gamma(a) has variance
    (pi / 2) 1.944 trigamma(a) / size; a denominator of that relative variance has 2 / variance
    degrees of freedom.
    """
    spread = np.exp(_of_averages(_TABLE_TRIGAMMA, averages))
    return np.maximum(2.0 / (0.5 * np.pi * _HANN_KIN * spread / size), 1.0)


_TABLE_AVERAGES: Final = np.geomspace(0.2, 1e5, 400)
_LOG_AVERAGES: Final = np.log(_TABLE_AVERAGES)
# Logarithm of Gamma(a) / a at the quantiles used, and at the one a bin must pass to stand out.
_TABLE_QUANTILES: Final = np.log(
    special.gammaincinv(_TABLE_AVERAGES[:, None], np.array([_LOW, _MIDDLE, _HIGH]))
    / _TABLE_AVERAGES[:, None]
)
_TABLE_STANDS: Final = (
    np.log(special.gammainccinv(_TABLE_AVERAGES, 0.002) / _TABLE_AVERAGES) - _TABLE_QUANTILES[:, 1]
)
_TABLE_TRIGAMMA: Final = np.log(special.polygamma(1, _TABLE_AVERAGES))
_TABLE_LOWER: Final = _TABLE_QUANTILES[:, 1] - _TABLE_QUANTILES[:, 0]
_TABLE_UPPER: Final = _TABLE_QUANTILES[:, 2] - _TABLE_QUANTILES[:, 1]


def _spread_averages(
    residual: Float64,
    keep: Bools,
    place: npt.NDArray[np.intp],
    bins: int,
    stated: float,
    *,
    lower_only: bool,
) -> Float64:
    """Averages that explain the residual's spread, region by region, at most those stated.

    Spread is taken from the middle down to the 16 % quantile and up to the 80 % quantile; the
    wider of the two counts. One standard error of such a spread (about 2.1 / sqrt(bins), normal
    distribution, Hann-correlated neighbours) is granted before it counts as wider than stated.
    """
    regions = np.array_split(np.arange(place.size), max(1, place.size // _REGION_BINS))
    centres, found = [], []
    for region in regions:
        kept = keep[:, region]
        kept = np.where(kept.sum(axis=1, keepdims=True) < _FEWEST_KEPT, True, kept)
        low, middle, high = _quantiles(residual[:, region], kept, (_LOW, _MIDDLE, _HIGH))
        grant = 1.0 - np.minimum(0.5, 2.1 / np.sqrt(kept.sum(axis=1)))
        least = np.minimum(stated, _from_table(_TABLE_LOWER, (middle - low) * grant))
        if not lower_only:
            least = np.minimum(least, _from_table(_TABLE_UPPER, (high - middle) * grant))
        centres.append(float(place[region].mean()))
        found.append(np.log(least))
    logs = _interpolated(
        np.arange(bins, dtype=np.float64), np.array(centres), np.stack(found, axis=1)
    )
    return np.asarray(np.exp(logs))


def _quantiles(values: Float64, kept: Bools, shares: Sequence[float]) -> list[Float64]:
    """Quantiles of the kept values of each row, linear between neighbours."""
    ordered = np.sort(np.where(kept, values, np.inf), axis=1)
    last = kept.sum(axis=1) - 1
    row = np.arange(len(values))
    result = []
    for share in shares:
        at = share * last
        below = np.floor(at).astype(np.intp)
        above = np.minimum(below + 1, last)
        part = at - below
        result.append(ordered[row, below] * (1.0 - part) + ordered[row, above] * part)
    return result


def _of_averages(table: Float64, averages: Float64) -> Float64:
    """Table value at these averages."""
    return np.asarray(np.interp(np.log(averages), _LOG_AVERAGES, table))


def _from_table(table: Float64, spread: Float64) -> Float64:
    """Averages at which the table shows this spread (the table falls)."""
    logs = np.log(np.maximum(table[::-1], 1e-12))
    wanted = np.log(np.maximum(spread, 1e-9))
    return np.asarray(np.exp(np.interp(wanted, logs, _LOG_AVERAGES[::-1])))
