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
    if not spectrum.averages >= 1.0:
        raise OutOfRangeError(
            f"{spectrum.averages:g} averages", allowed="1 or more", instead="shorter segments"
        )
    usable = _usable(spectrum.order, exclude)
    floor = float(power[usable].max(initial=0.0)) * 1e-14
    if floor == 0.0 or np.count_nonzero(usable) < FEWEST_BINS // 2:
        raise OutOfRangeError(
            f"a spectrum with {np.count_nonzero(usable)} bins left to judge by, or silent",
            allowed=f"{FEWEST_BINS // 2} bins or more, with sound in them",
            instead="longer segments, or fewer excluded orders",
        )
    log_power = np.log(np.maximum(power, floor))
    stated = _TAIL_SHARE * spectrum.averages
    keep = usable.copy()
    middle, size = _running_median(log_power, keep)
    averages = _spread_averages(log_power - middle, keep, stated, lower_only=True)
    for last in (False, True):
        # Bins that stand out, with their neighbours, are left out of the next estimate. Until the
        # last the spread is taken below the middle only, where lines do not reach.
        stands = (log_power - middle > _of_averages(_TABLE_STANDS, averages)) & usable
        lines = ndimage.binary_dilation(stands, iterations=2)
        keep = usable & ~lines
        if np.count_nonzero(keep) < FEWEST_BINS // 2:
            keep = usable
        middle, size = _running_median(log_power, keep)
        averages = _spread_averages(log_power - middle, keep, stated, lower_only=not last)
    p_value, mean_ratio, knowledge = _p_value(log_power - middle, averages, size)
    background = np.exp(middle) * mean_ratio
    return Background(
        background,
        averages,
        knowledge,
        np.asarray(power_to_db(np.maximum(power, floor) / background), dtype=np.float64),
        p_value,
        usable,
    )


def _usable(order: Float64, exclude: Sequence[float]) -> Bools:
    """Bins that are neither at the very bottom nor near a multiple of an excluded order."""
    usable = np.ones(order.size, dtype=np.bool_)
    usable[:LOWEST_BIN] = False
    step = float(order[1] - order[0])
    for base in exclude:
        require_positive("excluded order", base, "orders")
        usable &= np.abs(order - base * np.rint(order / base)) > (GUARD_BINS - 1e-6) * step
    return usable


def _running_median(log_power: Float64, keep: Bools) -> tuple[Float64, Float64]:
    """Running median of the kept bins, carried over all bins, and the window's size [bins].

    The window grows with the bin number, 13 to 151 kept bins, since engine noise is steep at low
    orders. A trend (medians of groups that grow the same way) is taken off first, so that a slope
    does not bend the ends.
    """
    place = np.flatnonzero(keep)
    every = np.arange(log_power.size)
    count = max(4, min(11, place.size // 12))
    edges = np.rint(np.geomspace(16, place.size + 16, count)).astype(np.intp) - 16
    groups = np.split(np.arange(place.size), edges[1:-1])
    log_place = np.log(place + 16.0)
    knots = [float(log_place[group].mean()) for group in groups]
    heights = [float(np.median(log_power[place[group]])) for group in groups]
    trend = np.interp(np.log(every + 16.0), knots, heights)
    rest = (log_power - trend)[place]
    sizes = [size for size in _SIZES if size <= max(_SIZES[1], place.size // 2)]
    size = np.clip(0.5 * np.arange(place.size) + 8.0, sizes[0], sizes[-1])
    level = np.interp(np.log(size), np.log(sizes), np.arange(len(sizes)))
    mixed = np.zeros(place.size)
    for number, width in enumerate(sizes):
        # Each size only where it has a share, and half a window further.
        share = np.maximum(1.0 - np.abs(level - number), 0.0)
        first, last = np.flatnonzero(share)[[0, -1]]
        begin, end = max(0, first - width), min(place.size, last + width + 1)
        smooth = ndimage.median_filter(rest[begin:end], width, mode="reflect")
        mixed[begin:end] += share[begin:end] * smooth
    return np.interp(every, place, mixed) + trend, np.interp(every, place, size)


def _p_value(
    residual: Float64, averages: Float64, size: Float64
) -> tuple[Float64, Float64, Float64]:
    """p-value of log power over log median; mean over median of the noise; knowledge.

    The median of `size` Hann-correlated values of log Gamma(a) has variance
    (pi / 2) 1.944 trigamma(a) / size; a denominator of that relative variance has 2 / variance
    degrees of freedom.
    """
    mean_ratio = np.exp(-_of_averages(_TABLE_QUANTILES[:, 1], averages))
    spread = np.exp(_of_averages(_TABLE_TRIGAMMA, averages))
    knowledge = np.maximum(2.0 / (0.5 * np.pi * _HANN_KIN * spread / size), 1.0)
    ratio = np.exp(np.minimum(residual, 200.0)) / mean_ratio
    p_value = np.asarray(special.fdtrc(2.0 * averages, knowledge, ratio), dtype=np.float64)
    return p_value, mean_ratio, knowledge


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


def _spread_averages(residual: Float64, keep: Bools, stated: float, *, lower_only: bool) -> Float64:
    """Averages that explain the residual's spread, region by region, at most those stated.

    Spread is taken from the middle down to the 16 % quantile and up to the 80 % quantile; the
    wider of the two counts. One standard error of such a spread (about 2.1 / sqrt(bins), normal
    distribution, Hann-correlated neighbours) is granted before it counts as wider than stated.
    """
    place = np.flatnonzero(keep)
    regions = np.array_split(place, max(1, place.size // _REGION_BINS))
    centres, found = [], []
    for region in regions:
        low, middle, high = np.quantile(residual[region], (_LOW, _MIDDLE, _HIGH))
        grant = 1.0 - min(0.5, 2.1 / np.sqrt(region.size))
        a_lower = _from_table(_TABLE_LOWER, (middle - low) * grant)
        a_upper = stated if lower_only else _from_table(_TABLE_UPPER, (high - middle) * grant)
        centres.append(float(region.mean()))
        found.append(min(stated, a_lower, a_upper))
    result: Float64 = np.exp(np.interp(np.arange(residual.size), centres, np.log(found)))
    return result


def _of_averages(table: Float64, averages: Float64) -> Float64:
    """Table value at these averages."""
    return np.interp(np.log(averages), _LOG_AVERAGES, table)


def _from_table(table: Float64, spread: float) -> float:
    """Averages at which the table shows this spread (the table falls)."""
    logs = np.log(np.maximum(table[::-1], 1e-12))
    return float(np.exp(np.interp(np.log(max(spread, 1e-9)), logs, np.log(_TABLE_AVERAGES[::-1]))))
