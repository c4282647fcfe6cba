"""Families of lines, looked for in one spectrum or in the envelopes of many bands at once.

A shaft, a bearing race or a set of poles shows as a family: harmonics of one order that is known
to a few per cent, perhaps with sidebands. `lines.comb_test` judges one family in one spectrum;
here the same test (Fisher 1932) runs over many bands and says in which band the family stands
out most, corrected for the bands and the places looked at.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import numpy.typing as npt
import scipy.ndimage
from scipy import special

from beltside.base.errors import OutOfRangeError
from beltside.base.units import power_to_db
from beltside.sound.background import LOWEST_BIN, backgrounds
from beltside.sound.gate import Float64
from beltside.sound.orders import OrderSpectrum

MEMBER_LIMIT: Final = 1e-5
"""Smallest p-value one member may bring, so that one loud line cannot pass for a family."""

SMEAR: Final = 0.004
"""Half width of a line at high orders, as a share of the order; own choice."""

OWN_BINS: Final = 1.5
OWN_SMEAR: Final = 0.001
"""A bin this near a multiple of an excluded order is the engine's: bins, and a share of the
order; own choice."""

SKIRT_FROM: Final = 3.0
SKIRT_REACH: Final = 2.0
"""A mirrored bin counts as spill beyond so many times the background, and then so many times
over; own choice, against the scatter of single bins."""

MOST_SIGNIFICANT: Final = 40.0
"""Significance is given up to here (-log10 of the false-alarm probability)."""


@dataclass(frozen=True)
class Surprise:
    """How surprising every bin of one or more spectra is.

    Attributes
    ----------
    step
        Distance between bins [orders].
    minus_log_p
        -ln of each bin's p-value against its own surroundings, limited, shape (rows, bins).
    excess
        Power over background, shape (rows, bins).
    background
        Background power, shape (rows, bins).
    usable
        Bins that may be used, shape (bins,).
    averages, knowledge
        Averages the power stands on, and how well its background is known, as in
        `background.Background`, shape (rows, bins).
    """

    step: float
    minus_log_p: Float64
    excess: Float64
    background: Float64
    usable: npt.NDArray[np.bool_]
    averages: Float64
    knowledge: Float64


@dataclass(frozen=True)
class Member:
    """One line of a family: its order as found, level and excess [dB], and -log10 p."""

    order: float
    harmonic: int
    level_db: float
    excess_db: float
    significance: float


@dataclass(frozen=True)
class Family:
    """A family of lines as found.

    Attributes
    ----------
    fundamental
        Order of its first harmonic.
    row
        Spectrum (band) it stands out most in.
    significance
        -log10 of the probability that noise does as well in any row at any place looked at.
    power
        Sum over harmonics of power above background in that row, not below 0 [power units]. In
        an envelope spectrum this is half the squared modulation depth.
    members
        Its harmonics.
    sidebands
        Spacings of the sidebands it was looked for with [orders].
    """

    fundamental: float
    row: int
    significance: float
    power: float
    members: tuple[Member, ...]
    sidebands: tuple[float, ...] = ()

    @property
    def weight(self) -> float:
        """Power of its harmonics above background, each over its number [power units]."""
        total = 0.0
        for member in self.members:
            if member.excess_db > 0.0:
                above = 1.0 - 10.0 ** (-member.excess_db / 10.0)
                total += 10.0 ** (member.level_db / 10.0) * above / member.harmonic
        return total


def surprise(
    spectrum: OrderSpectrum,
    exclude: Sequence[float] = (),
    reach: npt.ArrayLike | None = None,
) -> Surprise:
    """Judge every bin of a spectrum with one row (k,) or many (rows, k) against its background.

    A bin counts only when it is the top of its surroundings: the skirt of a strong line beside
    it is no line. Where a row says nothing (`reach`), its bins count for nothing.

    Parameters
    ----------
    spectrum
        Power of shape (k,) or (rows, k).
    exclude
        As in `background.local_background`: orders whose multiples belong to the engine.
    reach
        Up to which order each row can hold anything, shape (rows,): the envelope of a band of
        width W holds nothing faster than W.
    """
    power = np.atleast_2d(np.asarray(spectrum.power, dtype=np.float64))
    found = backgrounds(
        OrderSpectrum(spectrum.order, power, spectrum.averages, spectrum.turns), exclude
    )
    background = found.power + _skirts(power, found.power, spectrum.order, exclude)
    excess = power / background
    if reach is not None:
        excess[spectrum.order[None, :] > np.asarray(reach)[:, None]] = 1.0
    return _judged(
        spectrum.step,
        excess,
        background,
        _far_from(spectrum.order, exclude),
        found.averages,
        found.knowledge,
    )


def _judged(
    step: float,
    excess: Float64,
    background: Float64,
    usable: npt.NDArray[np.bool_],
    averages: Float64,
    knowledge: Float64,
) -> Surprise:
    """How surprising each excess is; only the top of its surroundings counts."""
    p_value = special.fdtrc(2.0 * averages, knowledge, excess)
    minus_log_p = -np.log(np.clip(p_value, MEMBER_LIMIT, 1.0))
    power = excess * background
    minus_log_p[power < scipy.ndimage.maximum_filter1d(power, 3, axis=-1)] = 0.0
    minus_log_p[excess == 1.0] = 0.0
    minus_log_p[:, ~usable] = 0.0
    return Surprise(step, minus_log_p, excess, background, usable, averages, knowledge)


def pooled(takes: Sequence[Surprise]) -> Surprise:
    """Several takes of one engine as one: the mean of their excesses, each counted by its
    averages. A shaft's lines stand at the same orders in all of them, noise does not.

    Takes whose spectra have other rows than the first's are left out; bins are cut to the
    shortest.

    Raises
    ------
    OutOfRangeError
        Without any take.
    """
    if not takes:
        raise OutOfRangeError("no spectra to pool", allowed="one or more")
    alike = [one for one in takes if len(one.excess) == len(takes[0].excess)]
    if len(alike) == 1:
        return takes[0]
    bins = min(one.usable.size for one in alike)
    averages = np.array([one.averages[:, :bins] for one in alike])
    weight = averages / averages.sum(axis=0)
    # One take's loud line alone cannot carry all of them.
    excess = (weight * np.array([np.minimum(one.excess[:, :bins], 1e3) for one in alike])).sum(0)
    return _judged(
        alike[0].step,
        excess,
        (weight * np.array([one.background[:, :bins] for one in alike])).sum(axis=0),
        np.all([one.usable[:bins] for one in alike], axis=0),
        averages.sum(axis=0),
        np.sum([one.knowledge[:, :bins] for one in alike], axis=0),
    )


def surprise_of_bands(
    spectrum: OrderSpectrum, exclude: Sequence[float], reach: npt.ArrayLike
) -> Surprise:
    """`surprise` of every band's envelope, and one row more: all bands together.

    An impact rings in many bands at once: a line too faint in each shows in the mean of their
    excesses, taken over the bands that reach so far. The row carries the bands' mean
    background, so that its excess still reads as a modulation. Bands are not independent: n of
    them are granted the averages of the root of n, and the row's own spread may lower that.
    """
    heard = surprise(spectrum, exclude, reach)
    inside = spectrum.order[None, :] <= np.asarray(reach)[:, None]
    count = inside.sum(axis=0)
    total = (np.minimum(heard.excess, 1e3) * inside).sum(axis=0)
    together = np.where(count > 0, total / np.maximum(count, 1), 1.0)
    averages = spectrum.averages * float(np.sqrt(len(heard.excess)))
    row = surprise(OrderSpectrum(spectrum.order, together, averages, spectrum.turns), exclude)
    level = heard.background.mean(axis=0)
    return replace(
        heard,
        minus_log_p=np.vstack((heard.minus_log_p, row.minus_log_p)),
        excess=np.vstack((heard.excess, row.excess)),
        background=np.vstack((heard.background, row.background * level)),
        averages=np.vstack((heard.averages, row.averages)),
        knowledge=np.vstack((heard.knowledge, row.knowledge)),
    )


def _far_from(order: Float64, exclude: Sequence[float]) -> npt.NDArray[np.bool_]:
    """Bins clear of the multiples of excluded orders, and of the very bottom."""
    far = np.ones(order.size, dtype=np.bool_)
    far[:LOWEST_BIN] = False
    step = float(order[1] - order[0])
    for base in exclude:
        away = np.abs(order - base * np.rint(order / base))
        far &= away > np.minimum(OWN_BINS * step + OWN_SMEAR * order, 0.4 * base)
    return far


def _skirts(
    power: Float64, background: Float64, order: Float64, exclude: Sequence[float]
) -> Float64:
    """What the engine's own lines spill into the bins beside them, shape of `power`.

    A line smears to both sides alike, with what the track misses of the speed's unrest; another
    shaft's line stands on one side only. So a bin's spill is read at its mirror image about the
    nearest multiple of an excluded order.
    """
    spill = np.zeros_like(power)
    step = float(order[1] - order[0])
    above = scipy.ndimage.maximum_filter1d(
        np.maximum(power - SKIRT_FROM * background, 0.0), 3, axis=-1
    )
    for base in exclude:
        line = base * np.rint(order / base)
        mirror = np.rint((2.0 * line - order) / step).astype(np.intp)
        inside = (mirror > 0) & (mirror < order.size) & (line > 0.0)
        spill = np.maximum(spill, SKIRT_REACH * above[:, np.where(inside, mirror, 0)] * inside)
    return spill


def find_family(
    heard: Surprise,
    low: float,
    high: float,
    *,
    harmonics: int = 4,
    sidebands: Sequence[float] = (),
) -> Family | None:
    """Best family with a fundamental between `low` and `high`.

    Parameters
    ----------
    heard
        From `surprise`.
    low, high
        Window of the fundamental, above 0, low <= high [orders].
    harmonics
        How many, those beyond the spectrum are left out.
    sidebands
        Spacings of sidebands beside each harmonic [orders].

    Returns
    -------
    Family or None
        None when no member falls on a usable bin.

    Raises
    ------
    OutOfRangeError
        When the window is empty or not above zero.
    """
    if not 0.0 < low <= high:
        raise OutOfRangeError(
            f"a family between orders {low:g} and {high:g}",
            allowed="orders above 0, low not above high",
            instead="the range the drive sheet allows",
        )
    rows, bins = heard.minus_log_p.shape
    top = (bins - 1) * heard.step
    number = np.arange(1, min(harmonics, int(top / high)) + 1, dtype=np.float64)
    if number.size == 0:
        return None
    moved = number[-1] * (high - low) / heard.step
    tries = max(int(np.ceil(2.0 * moved)), 1)
    fundamental = np.linspace(low, high, tries) if tries > 1 else np.array([0.5 * (low + high)])
    offset = np.array([0.0, *(sign * gap for gap in sidebands for sign in (-1.0, 1.0))])
    order = fundamental[:, None, None] * number[None, :, None] + offset[None, None, :]
    place = np.rint(order / heard.step).astype(np.intp).reshape(tries, -1)
    known = (place > 0) & (place < bins)
    place = np.where(known, place, 0)
    known &= heard.usable[place]
    count = known.sum(axis=1)
    if not count.any():
        return None
    # A member may sit in a neighbouring bin: the best of three, which noise reaches three times
    # as often.
    near = scipy.ndimage.maximum_filter1d(heard.minus_log_p, 3, axis=1)
    near = np.maximum(near - np.log(3.0), 0.0)
    evidence = (near[:, place] * known).sum(axis=-1)
    with np.errstate(divide="ignore"):
        log_p = np.log(special.gammaincc(np.maximum(count, 1), evidence))
    log_p = np.where(count > 0, np.maximum(log_p, -MOST_SIGNIFICANT * np.log(10.0)), 0.0)
    row, best = np.unravel_index(int(np.argmin(log_p)), log_p.shape)
    looked_at = rows * (1.0 + min(moved, tries - 1.0))
    significance = -(float(log_p[row, best]) + np.log(looked_at)) / np.log(10.0)
    members, power = _members(heard, int(row), float(fundamental[best]), number)
    return Family(
        fundamental=float(fundamental[best]),
        row=int(row),
        significance=max(float(significance), 0.0),
        power=power,
        members=members,
        sidebands=tuple(sidebands),
    )


def without(heard: Surprise, family: Family) -> Surprise:
    """The spectra with the lines of a family, and the sidebands beside them, taken out: they
    surprise no more, in any row."""
    minus_log_p = heard.minus_log_p.copy()
    beside = [0.0, *(sign * times * gap for gap in family.sidebands
                     for times in (1, 2, 3) for sign in (-1, 1))]  # fmt: skip
    for member in family.members:
        if member.significance < 1.5:
            continue
        for offset in beside:
            place = round((member.order + offset) / heard.step)
            width = 2 + round(SMEAR * abs(place))
            minus_log_p[:, max(place - width, 0) : max(place + width + 1, 0)] = 0.0
    return replace(heard, minus_log_p=minus_log_p)


def _members(
    heard: Surprise, row: int, fundamental: float, number: Float64
) -> tuple[tuple[Member, ...], float]:
    members = []
    total = 0.0
    for harmonic in number.astype(int).tolist():
        place = round(harmonic * fundamental / heard.step)
        if not 0 < place < heard.usable.size - 1 or not heard.usable[place]:
            continue
        place += int(np.argmax(heard.minus_log_p[row, place - 1 : place + 2])) - 1
        if not heard.usable[place]:
            continue
        excess = float(heard.excess[row, place])
        background = float(heard.background[row, place])
        total += max(excess - 1.0, 0.0) * background
        members.append(
            Member(
                order=place * heard.step,
                harmonic=harmonic,
                level_db=float(power_to_db(excess * background)),
                excess_db=float(power_to_db(excess)),
                significance=float(heard.minus_log_p[row, place]) / float(np.log(10.0)),
            )
        )
    return tuple(members), total


def row_strength(heard: Surprise, order: Float64) -> Float64:
    """Mean -ln p at the given orders in each row, shape (rows,); 0 where none is usable."""
    place = np.rint(order / heard.step).astype(np.intp)
    place = place[(place > 0) & (place < heard.usable.size)]
    place = place[heard.usable[place]]
    if place.size == 0:
        return np.zeros(heard.minus_log_p.shape[0])
    result: Float64 = heard.minus_log_p[:, place].mean(axis=1)
    return result
