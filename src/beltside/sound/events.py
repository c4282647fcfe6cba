"""Events: squeal that comes and goes, short bursts, and the order they repeat at."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy import ndimage, signal

from beltside.base.errors import OutOfRangeError
from beltside.base.units import db_to_power, power_to_db
from beltside.sound.bands import BandEnvelope
from beltside.sound.gate import Float64, require_positive, require_signal, require_track
from beltside.sound.orders import frame_powers
from beltside.sound.track import CrankTrack

SQUEAL_LOW_HZ: Final = 400.0
SQUEAL_HIGH_HZ: Final = 8000.0
FOLLOWS_FROM: Final = 0.8
"""Correlation with crank speed from which a ridge counts as locked to it."""

STEADY_SHARE: Final = 0.9
"""Share of the block from which a ridge counts as always there."""

FEWEST_CYCLES: Final = 5.0
FEWEST_EVENTS: Final = 8


@dataclass(frozen=True)
class Squeal:
    """One stretch of a narrow tone that comes and goes.

    Attributes
    ----------
    start_s, end_s
        From when to when [s].
    frequency_hz
        Its median frequency [Hz].
    prominence_db
        Median height above the spectrum around it [dB].
    follows
        Correlation of its frequency with crank speed, -1 to 1; 0 when the speed hardly changed
        or is not known.
    """

    start_s: float
    end_s: float
    frequency_hz: float
    prominence_db: float
    follows: float


@dataclass(frozen=True)
class Impulses:
    """Short bursts: moments [s], height above what is usual around them [dB], shape (k,); and the
    length of sound they were looked for in [s]."""

    time_s: Float64
    strength_db: Float64
    length_s: float


@dataclass(frozen=True)
class Repeats:
    """Which orders events repeat at.

    Attributes
    ----------
    order
        Orders tried, shape (c,).
    strength
        Mean resultant length of the phases at each, 0 (evenly spread) to 1 (always the same).
    p_value
        Rayleigh test at each, 1 where too few events or cycles were seen, shape (c,).
    events
        How many events.
    fundamental
        The lowest order that repeats (p below the stated rate shared over all tried) with at
        least 0.7 of the highest strength, or None. Events at order o also cluster at 2 o, 3 o...
    """

    order: Float64
    strength: Float64
    p_value: Float64
    events: int
    fundamental: float | None


def squeals(
    samples: npt.ArrayLike,
    sample_rate_hz: float,
    start_s: float = 0.0,
    track: CrankTrack | None = None,
    *,
    prominence_db: float = 15.0,
    shortest_s: float = 0.08,
) -> tuple[Squeal, ...]:
    """Narrow tones between 0.4 and 8 kHz that come and go and are not locked to the crank.

    In frames of about 43 ms each bin is compared with the spectrum within about half a
    kilohertz. Bins that stand out join into ridges over time. A ridge is left out
    when its frequency follows the crank speed (correlation 0.8 or more, and in step, while the
    speed changes by more than 1 %), when it lies at the order of such a ridge, or when a tone at
    its frequency, or at its order, is there in 90 % of the block: that is a whine, which the order
    spectrum shows. At a steady speed a whine in stretches cannot be told from a squeal.
    Prominence 15 dB: common practice, no source; a bin of Gaussian noise hardly ever reaches it,
    and a ridge takes several in a row.

    Parameters
    ----------
    samples
        One channel, shape (n,), 0.5 s or more.
    sample_rate_hz
        Their rate, 2 kHz or more [Hz].
    start_s
        Moment of the first sample on the track's clock [s].
    track
        Crank track, if known.
    prominence_db
        Least height above the spectrum around, 6 or more [dB].
    shortest_s
        Shortest ridge [s].

    Returns
    -------
    Squeals by rising start.
    """
    rate_hz = require_positive("sample rate", sample_rate_hz, "Hz")
    values = require_signal("samples", samples, shortest=int(0.5 * rate_hz))
    if rate_hz < 2000.0 or prominence_db < 6.0 or not np.isfinite(start_s):
        raise OutOfRangeError(
            f"{rate_hz:g} samples/s, prominence {prominence_db:g} dB, start {start_s:g} s",
            allowed="2000 samples/s and 6 dB or more, finite start",
            instead="15 dB",
        )
    if track is not None:
        require_track(track)
    size = 2 * round(0.0213 * rate_hz)
    hop = size // 2
    step_hz = rate_hz / size
    first = round(SQUEAL_LOW_HZ / step_hz)
    last = min(round(SQUEAL_HIGH_HZ / step_hz), size // 2 - 2)
    power = np.concatenate([p[:, first - 2 : last + 3] for _, p in frame_powers(values, size, hop)])
    ratio = power / _around(power)
    found, frames, bins, ridges = _ridges(ratio >= db_to_power(prominence_db))
    if not ridges:
        return ()
    weight = power[frames, bins].astype(np.float64)
    cell = found * power.shape[0] + frames
    used, of = np.unique(cell, return_inverse=True)
    total = np.bincount(of, weight)
    centre_hz = (np.bincount(of, weight * bins) / total + first - 2) * step_hz
    height = np.full(used.size, -np.inf)
    np.maximum.at(height, of, power_to_db(ratio[frames, bins]))
    ridge, frame = used // power.shape[0], used % power.shape[0]
    time_s = start_s + (frame * hop + 0.5 * size) / rate_hz
    rpm = np.full(time_s.size, 60.0) if track is None else track.rpm_at(time_s)
    tones = np.column_stack((frame, centre_hz, rpm))
    found_squeals: list[tuple[Squeal, float]] = []
    locked_orders: list[float] = []
    for number in np.flatnonzero(
        np.bincount(ridge, minlength=ridges) * hop >= shortest_s * rate_hz
    ):
        own = ridge == number
        order = float(np.median(centre_hz[own] / rpm[own]))
        follows, locked = _follows(centre_hz[own], rpm[own])
        if locked:
            locked_orders.append(order)
        elif not _always(tones, own, power.shape[0]):
            squeal = Squeal(
                float(time_s[own][0] - 0.5 * hop / rate_hz),
                float(time_s[own][-1] + 0.5 * hop / rate_hz),
                float(np.median(centre_hz[own])),
                float(np.median(height[own])),
                follows,
            )
            found_squeals.append((squeal, order))
    # A short piece of a whine that elsewhere follows the crank at the same order is that whine.
    kept = [
        squeal
        for squeal, order in found_squeals
        if not any(abs(order - known) < 0.03 * known for known in locked_orders)
    ]
    return tuple(sorted(kept, key=lambda squeal: squeal.start_s))


def _around(power: npt.NDArray[np.float32]) -> npt.NDArray[np.floating]:
    """Power around each bin: median of seven neighbouring groups' mean power, six bins each."""
    groups = power.shape[1] // 6
    coarse = power[:, : 6 * groups].reshape(power.shape[0], groups, 6).mean(axis=2)
    smooth = ndimage.median_filter(coarse, size=(1, 7), mode="nearest")
    smooth = np.repeat(np.maximum(smooth, 1e-20), 6, axis=1)
    return np.pad(smooth, ((0, 0), (0, power.shape[1] - 6 * groups)), "edge")


def _ridges(
    stands: npt.NDArray[np.bool_],
) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp], npt.NDArray[np.intp], int]:
    """Ridge number, frame and bin of every cell that stands out, and the number of ridges.

    Cells belong together when they touch, corners included, or with one frame between.
    """
    bridged = stands.copy()
    bridged[1:-1] |= stands[:-2] & stands[2:]
    label, count = ndimage.label(bridged, structure=np.ones((3, 3)))
    frames, bins = np.nonzero(stands)
    return label[frames, bins].astype(np.intp) - 1, frames, bins, int(count)


def _follows(frequency_hz: Float64, rpm: Float64) -> tuple[float, bool]:
    """Correlation of log frequency with log speed, and whether the tone is locked to it.

    Locked means correlated and in step: frequency goes about as the speed to the power 1. Both
    are 0 and False when the speed hardly changes.
    """
    if frequency_hz.size < 4 or np.ptp(rpm) < 0.01 * rpm.mean() or np.ptp(frequency_hz) == 0.0:
        return 0.0, False
    tone, speed = np.log(frequency_hz), np.log(rpm)
    correlation = float(np.corrcoef(tone, speed)[0, 1])
    exponent = correlation * float(np.std(tone) / np.std(speed))
    return correlation, correlation >= FOLLOWS_FROM and 0.5 <= exponent <= 2.0


def _always(tones: Float64, own: npt.NDArray[np.bool_], frames: int) -> bool:
    """Whether a tone at this ridge's frequency, or at its order, is there nearly all the time."""
    frequency = tones[:, 1]
    order = frequency / tones[:, 2]
    for quantity in (frequency, order):
        middle = float(np.median(quantity[own]))
        near = np.abs(quantity - middle) < 0.02 * middle
        if np.unique(tones[near, 0]).size >= STEADY_SHARE * frames:
            return True
    return False


def impulses(
    envelopes: Sequence[BandEnvelope],
    start_s: float = 0.0,
    *,
    threshold_db: float = 10.0,
    apart_s: float = 0.006,
) -> Impulses:
    """Short bursts: chirps, knocks, ticks.

    The envelopes with the highest rate are each divided by their running median (over 0.25 s)
    and averaged, so that a burst in any band counts by how far it stands above that band's own
    noise. Peaks of the result count.

    Parameters
    ----------
    envelopes
        From `band_envelopes`, one or more, of one block.
    start_s
        Moment of their first value [s].
    threshold_db
        Least height over the running median, 3 or more [dB]. 10 dB: common practice, no source.
    apart_s
        Of two peaks closer than this the higher counts [s].
    """
    if not envelopes or threshold_db < 3.0 or not np.isfinite(start_s):
        raise OutOfRangeError(
            f"{len(envelopes)} envelopes, threshold {threshold_db:g} dB, start {start_s:g} s",
            allowed="one or more envelopes, 3 dB or more, finite start",
            instead="band_envelopes and 10 dB",
        )
    require_positive("distance", apart_s, "s")
    rate_hz = max(envelope.rate_hz for envelope in envelopes)
    fast = [e for e in envelopes if np.isclose(e.rate_hz, rate_hz, rtol=1e-9)]
    total = np.zeros(fast[0].squared.size)
    for envelope in fast:
        squared = require_signal("envelope", envelope.squared, shortest=32)
        usual = _running_level(squared, rate_hz)
        total += np.maximum(squared, 0.0) / usual
    ratio = total / len(fast)
    # Over its own median too: the mean of several bands' ratios lies above 1.
    height_db = np.asarray(power_to_db(ratio / max(float(np.median(ratio)), 1e-30)), np.float64)
    place, _ = signal.find_peaks(
        height_db, height=threshold_db, distance=max(1, round(apart_s * rate_hz))
    )
    return Impulses(start_s + place / rate_hz, height_db[place], squared.size / rate_hz)


def _running_level(squared: npt.NDArray[np.floating], rate_hz: float) -> Float64:
    """Median over stretches of 0.25 s, joined by straight lines, never zero."""
    size = min(squared.size, max(16, round(0.25 * rate_hz)))
    whole = squared.size // size
    level = np.median(squared[: whole * size].reshape(whole, size), axis=1)
    middle = (np.arange(whole) + 0.5) * size
    floor = max(1e-3 * float(squared.mean(dtype=np.float64)), 1e-30)
    usual: Float64 = np.maximum(np.interp(np.arange(squared.size), middle, level), floor)
    return usual


def repeats_at(
    turns: npt.ArrayLike, orders: npt.ArrayLike, false_alarm_rate: float = 0.01
) -> Repeats:
    """At which orders events repeat, by the Rayleigh test on their phases.

    Phase is the fraction of order x turns. For n events with mean resultant length r, and
    R = n r, the probability under even spread is about
    exp(sqrt(1 + 4 n + 4 (n^2 - R^2)) - (1 + 2 n)) (Zar 2010, Biostatistical Analysis, section
    27.1). Events that come in one short stretch have no even spread at low orders: an order is
    tested only when the events span 5 of its cycles.

    Parameters
    ----------
    turns
        Crank turns at the events, any order, shape (k,); fewer than 8 events test nothing.
    orders
        Orders to try, above 0, shape (c,).
    false_alarm_rate
        For all orders tried together, above 0 to 0.5.
    """
    tried = np.asarray(require_signal("orders", orders), dtype=np.float64)
    if not 0.0 < false_alarm_rate <= 0.5 or bool(np.any(tried <= 0.0)):
        raise OutOfRangeError(
            f"orders from {tried.min():g}, false-alarm rate {false_alarm_rate:g}",
            allowed="orders above 0, rate above 0 to 0.5",
            instead="0.5, 1, 2 and 0.01",
        )
    events = np.asarray(turns, dtype=np.float64)
    if events.size < FEWEST_EVENTS:
        if events.size:
            require_signal("turns", events)
        return Repeats(tried, np.zeros(tried.size), np.ones(tried.size), events.size, None)
    require_signal("turns", events)
    angle = np.exp(2j * np.pi * tried[:, None] * events[None, :])
    strength = np.abs(angle.mean(axis=1))
    p_value = np.where(
        np.ptp(events) * tried >= FEWEST_CYCLES, rayleigh_p(events.size, strength), 1.0
    )
    sure = (p_value <= false_alarm_rate / tried.size) & (
        strength >= 0.7 * strength[p_value < 1.0].max(initial=0.0)
    )
    fundamental = float(tried[sure].min()) if bool(sure.any()) else None
    return Repeats(tried, strength, p_value, events.size, fundamental)


def rayleigh_p(events: int, strength: npt.ArrayLike) -> Float64:
    """p-value of the Rayleigh test for `events` phases of mean resultant length `strength`."""
    count = float(events)
    resultant = count * np.asarray(strength, dtype=np.float64)
    p: Float64 = np.exp(
        np.sqrt(1.0 + 4.0 * count + 4.0 * np.maximum(count**2 - resultant**2, 0.0))
        - (1.0 + 2.0 * count)
    )
    return np.minimum(p, 1.0)
