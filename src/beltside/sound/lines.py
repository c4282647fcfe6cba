"""Lines in a spectrum: single peaks, lines in given windows, families of harmonics.

Each test starts from `background.local_background`, which gives every bin a p-value against its
own surroundings, and corrects for how many bins or combs it looked at.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import ndimage, special

from beltside.base.errors import OutOfRangeError
from beltside.base.units import power_to_db
from beltside.sound.background import Background, Bools, local_background
from beltside.sound.gate import Float64, require_signal
from beltside.sound.orders import OrderSpectrum

Ints = npt.NDArray[np.intp]


@dataclass(frozen=True)
class Line:
    """One line: where, how strong [dB re signal unit squared], how far above its background
    [dB], and the probability that noise alone shows such a peak anywhere in the spectrum."""

    order: float
    level_db: float
    excess_db: float
    p_value: float


@dataclass(frozen=True)
class OrderTests:
    """Best bin in each window, all of shape (k,).

    `p_value` allows for the number of `bins` looked at; a window without a usable bin has
    `bins` 0, `p_value` 1 and `excess_db` 0. `level_db` is the bin's own power [dB].
    """

    best_order: Float64
    excess_db: Float64
    p_value: Float64
    level_db: Float64
    bins: Ints


@dataclass(frozen=True)
class CombTest:
    """Best fundamental of a family of lines.

    Attributes
    ----------
    fundamental
        Order of the best fundamental; the middle of the window when nothing could be tested.
    p_value
        Probability that noise alone does as well anywhere in the window.
    evidence
        Sum of -ln p over the members, each limited so that no single line can carry the family.
    members
        Orders looked at for this fundamental, shape (h,): harmonics, then sidebands.
    excess_db, member_p
        For each of them, shape (h,); 0 and 1 where not usable.
    seen
        How many of them stand out on their own (p < 0.01).
    """

    fundamental: float
    p_value: float
    evidence: float
    members: Float64
    excess_db: Float64
    member_p: Float64
    seen: int


def _window_p(p_value: Float64 | float, looked_at: Float64 | float) -> Float64:
    """Probability that the best of so many bins does this well by chance (Sidak 1967)."""
    return -np.expm1(looked_at * np.log1p(-np.minimum(p_value, 1.0 - 1e-16)))


def find_lines(
    spectrum: OrderSpectrum,
    false_alarm_rate: float = 0.01,
    exclude: Sequence[float] = (),
    background: Background | None = None,
) -> tuple[Line, ...]:
    """Peaks that noise would show in `false_alarm_rate` of spectra like this at most.

    A peak is the highest of its five bins, and not the window's own side lobe of a stronger one.
    Its place and level are refined by a parabola through the log power of three bins.

    Parameters
    ----------
    spectrum
        One channel.
    false_alarm_rate
        Probability of one or more false lines in the whole spectrum, above 0 to 0.5.
    exclude, background
        See `local_background`; a background already at hand is not worked out again.

    Returns
    -------
    Lines by rising order.
    """
    if not 0.0 < false_alarm_rate <= 0.5:
        raise OutOfRangeError(
            f"a false-alarm rate of {false_alarm_rate:g}", allowed="above 0 to 0.5", instead="0.01"
        )
    found = local_background(spectrum, exclude) if background is None else background
    whole_p = _window_p(found.p_value, float(np.count_nonzero(found.usable)))
    power = spectrum.power
    peak = (power == ndimage.maximum_filter1d(power, 5)) & found.usable
    place = np.flatnonzero(peak & (whole_p <= false_alarm_rate))
    place = place[~_side_lobe(power, place)]
    lines = []
    for bin_ in place.tolist():
        shift, gain_db = _parabola(power, bin_)
        lines.append(
            Line(
                float(spectrum.order[bin_] + shift * spectrum.step),
                float(power_to_db(power[bin_])) + gain_db,
                float(found.excess_db[bin_]),
                float(whole_p[bin_]),
            )
        )
    return tuple(lines)


def _side_lobe(power: Float64, place: Ints) -> Bools:
    """Which peaks may be no more than the Hann window's side lobes of a stronger peak.

    At d bins from a line the window's response is at most 1 / (pi d (d^2 - 1)) of its own peak
    (Harris 1978); half a bin is granted, and 3 dB.
    """
    if place.size < 2:
        return np.zeros(place.size, dtype=np.bool_)
    apart = np.maximum(np.abs(place[:, None] - place[None, :]) - 0.5, 1.5)
    leak = 2.0 / (np.pi * apart * (apart**2 - 1.0)) ** 2
    reach: Float64 = (power[place][None, :] * leak * (place[:, None] != place[None, :])).max(axis=1)
    result: Bools = power[place] < reach
    return result


def _parabola(power: Float64, bin_: int) -> tuple[float, float]:
    """Shift [bins] and gain [dB] of the top of a parabola through three bins in dB."""
    if not 0 < bin_ < power.size - 1:
        return 0.0, 0.0
    left, top, right = power_to_db(power[bin_ - 1 : bin_ + 2])
    bend = left - 2.0 * top + right
    if bend >= 0.0:
        return 0.0, 0.0
    shift = float(np.clip(0.5 * (left - right) / bend, -0.5, 0.5))
    return shift, float(-0.25 * (left - right) * shift)


def test_orders(
    spectrum: OrderSpectrum,
    low: npt.ArrayLike,
    high: npt.ArrayLike,
    exclude: Sequence[float] = (),  # noqa: PT028
    background: Background | None = None,  # noqa: PT028
) -> OrderTests:
    """Whether a line stands in each of several windows of order.

    Parameters
    ----------
    spectrum
        One channel.
    low, high
        Ends of the windows, shape (k,), low <= high [orders]. The bins nearest to the ends
        belong to a window, so it always holds one.
    exclude, background
        See `local_background`.
    """
    from_order = np.asarray(require_signal("low", low), dtype=np.float64)
    to_order = np.asarray(require_signal("high", high), dtype=np.float64)
    top = float(spectrum.order[-1]) + 0.5 * spectrum.step
    if (
        from_order.shape != to_order.shape
        or bool(np.any(from_order > to_order))
        or from_order.min() < 0.0
        or to_order.max() > top
    ):
        raise OutOfRangeError(
            f"windows from {from_order.min():g} to {to_order.max():g} orders",
            allowed=f"0 to {top:g}, low not above high, as many of one as of the other",
            instead="a spectrum that reaches higher, or leave those windows out",
        )
    found = local_background(spectrum, exclude) if background is None else background
    first = np.rint(from_order / spectrum.step).astype(np.intp)
    last = np.minimum(np.rint(to_order / spectrum.step).astype(np.intp), spectrum.order.size - 1)
    inside = first[:, None] + np.arange(int((last - first).max()) + 1)
    member = (inside <= last[:, None]) & found.usable[np.minimum(inside, last[:, None])]
    p_value = np.where(member, found.p_value[np.minimum(inside, last[:, None])], 2.0)
    row = np.arange(first.size)
    best = inside[row, np.argmin(p_value, axis=1)]
    bins = member.sum(axis=1)
    some = bins > 0
    best = np.where(some, best, (first + last) // 2)
    return OrderTests(
        spectrum.order[best],
        np.where(some, found.excess_db[best], 0.0),
        np.where(some, _window_p(found.p_value[best], bins.astype(np.float64)), 1.0),
        np.asarray(power_to_db(spectrum.power[best]), dtype=np.float64),
        bins.astype(np.intp),
    )


def comb_test(
    spectrum: OrderSpectrum,
    fundamental_low: float,
    fundamental_high: float,
    harmonics: int = 4,
    steps: int | None = None,
    exclude: Sequence[float] = (),
    *,
    sidebands: Sequence[float] = (),
    limit: float = 1e-4,
    background: Background | None = None,
) -> CombTest:
    """Whether a family of harmonics stands at a fundamental known to a few per cent.

    For each fundamental tried, -ln p is summed over its members (Fisher 1932: such a sum of m
    independent values is Gamma(m) under noise alone), each counted to -ln `limit` at most. The
    best sum is corrected for the number of different combs in the window: how many bins the
    highest member moves across it, plus one.

    Parameters
    ----------
    spectrum
        One channel.
    fundamental_low, fundamental_high
        Window of the fundamental [orders].
    harmonics
        How many, from the first; those beyond the spectrum are left out.
    steps
        Fundamentals tried; by default as many as move the highest member half a bin each.
    exclude
        See `local_background`: members on excluded bins do not count.
    sidebands
        Spacings of sidebands either side of every harmonic [orders]: the shaft for an inner
        race, the cage for a ball.
    limit
        Smallest p-value that counts for one member.
    background
        See `local_background`.

    Raises
    ------
    OutOfRangeError
        When the window is empty, or no harmonic lies inside the spectrum.
    """
    top = float(spectrum.order[-1])
    if not 0.0 < fundamental_low <= fundamental_high <= top or not 1 <= harmonics <= 64:
        raise OutOfRangeError(
            f"{harmonics} harmonics of {fundamental_low:g} to {fundamental_high:g} orders",
            allowed=f"1 to 64 harmonics, fundamentals above 0 to {top:g}, low not above high",
            instead="a spectrum that reaches higher",
        )
    if not 0.0 < limit < 1.0:
        raise OutOfRangeError(f"a limit of {limit:g}", allowed="between 0 and 1", instead="1e-4")
    found = local_background(spectrum, exclude) if background is None else background
    inside = np.arange(1, min(harmonics, int(top / fundamental_high)) + 1, dtype=np.float64)
    moved = inside[-1] * (fundamental_high - fundamental_low) / spectrum.step
    tries = 2 * int(np.ceil(moved)) + 1 if steps is None else max(1, int(steps))
    fundamental = np.linspace(fundamental_low, fundamental_high, tries)
    if tries == 1:
        fundamental = np.array([0.5 * (fundamental_low + fundamental_high)])
    offsets = np.array([0.0, *(sign * gap for gap in sidebands for sign in (-1.0, 1.0))])
    members = (fundamental[:, None, None] * inside + offsets[:, None]).reshape(tries, -1)
    bins = np.rint(members / spectrum.step).astype(np.intp)
    known = (bins >= 0) & (bins < spectrum.order.size)
    bins = np.where(known, bins, 0)
    known &= found.usable[bins]
    p_member = np.where(known, found.p_value[bins], 1.0)
    count = known.sum(axis=1)
    evidence = -np.log(np.maximum(p_member, limit)).sum(axis=1)
    p_try = special.gammaincc(np.maximum(count, 1), np.where(count > 0, evidence, 0.0))
    best = int(np.argmin(np.where(count > 0, p_try, 2.0)))
    if not count[best]:
        best = tries // 2
    p_value = _window_p(float(p_try[best]), 1.0 + float(min(moved, tries - 1)))
    return CombTest(
        float(fundamental[best]),
        float(p_value) if count[best] else 1.0,
        abs(float(evidence[best])),
        members[best],
        np.where(known[best], found.excess_db[bins[best]], 0.0),
        p_member[best],
        int(np.count_nonzero(p_member[best] < 0.01)),
    )
