"""Power of bands and lines of one take, each with how well it is known."""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from beltside.sound.background import local_background
from beltside.sound.compare_frames import TurnFrames
from beltside.sound.gate import Float64
from beltside.sound.level import third_octave_edges
from beltside.sound.orders import HANN_NOISE_BINS, OrderSpectrum

Ints = npt.NDArray[np.intp]

LOW_NOTES_HZ: Final = 150.0
"""Below it phones cut low notes off [Hz]."""

NOISE_DOUBT: Final = 0.25
"""Share by which a recording's own noise may differ from even density; own choice."""

_BATCH_S: Final = 0.7


def mean_and_sd(power: Float64, weight: Float64, frame_s: float) -> tuple[Float64, Float64]:
    """Weighted mean of frame powers and how far it may be off (one standard deviation).

    Frames are joined to batches of about 0.7 s, which are taken as independent (method of batch
    means; Law & Kelton, Simulation modeling and analysis, 1991, from memory).

    Parameters
    ----------
    power
        Shape (frames, b).
    weight
        Shape (frames,), adds up to 1.
    frame_s
        Time from frame to frame [s].

    Returns
    -------
    Mean and standard deviation, shape (b,).
    """
    mean = weight @ power
    size = max(round(_BATCH_S / frame_s), 1)
    starts = np.arange(0, len(weight), size)
    share = np.add.reduceat(weight, starts)
    batch = np.add.reduceat(power * weight[:, None], starts, axis=0)
    away = batch - share[:, None] * mean
    count = max(float(1.0 / np.sum(share**2)), 2.0)
    sd = np.sqrt(np.sum(away**2, axis=0) * count / (count - 1.0))
    return mean, np.asarray(sd, dtype=np.float64)


def window_power(
    frames: TurnFrames, order: Float64, half_width: Float64
) -> tuple[Float64, Float64, Float64]:
    """Power of lines above their background, its uncertainty, and the background beneath.

    Parameters
    ----------
    frames
        From `turn_frames`.
    order, half_width
        Middles and half widths of the windows, shape (k,) [orders].

    Returns
    -------
    Power (may come out below 0 where there is no line), its standard deviation, and the power of
    the background in the window, shape (k,) each [signal unit squared].
    """
    first = np.maximum(np.rint((order - half_width) / frames.step).astype(np.intp), 1)
    last = np.minimum(
        np.rint((order + half_width) / frames.step).astype(np.intp), frames.order.size - 1
    )
    first = np.minimum(first, last)
    ends = np.stack((first, last + 1))
    sums = np.concatenate(
        (np.zeros((len(frames.power), 1)), np.cumsum(frames.power, axis=1, dtype=np.float64)),
        axis=1,
    )
    segment = (sums[:, ends[1]] - sums[:, ends[0]]) / HANN_NOISE_BINS
    under = np.concatenate(([0.0], np.cumsum(frames.background)))
    beneath = (under[ends[1]] - under[ends[0]]) / HANN_NOISE_BINS
    power = segment.mean(axis=0) - beneath
    bins = (last - first + 1).astype(np.float64)
    # Noise alone, then what the segments themselves show; the background's own error with it.
    noise = beneath**2 / np.maximum(bins / HANN_NOISE_BINS, 1.0) * (1.0 + bins / 40.0)
    noise += 2.0 * beneath * np.maximum(power, 0.0) / np.maximum(bins, 1.0)
    shown = segment.var(axis=0, ddof=1) if len(segment) > 1 else noise
    sd = np.sqrt(np.maximum(noise, shown) / frames.averages)
    return power, np.asarray(sd, dtype=np.float64), beneath


def envelope_power(
    spectrum: OrderSpectrum, row: int, order: Float64, cycle_order: float, bins: int = 1
) -> tuple[Float64, Float64]:
    """How strongly one band's loudness beats at given orders.

    Parameters
    ----------
    spectrum
        Order spectra of squared envelopes over their means, power (bands, k).
    row
        Which band.
    order
        Shape (n,) [orders].
    cycle_order
        0.5 for a four-stroke engine, 1 for a two-stroke.
    bins
        How many to either side belong to a line.

    Returns
    -------
    Power above the background (half the squared depth) and its standard deviation, shape (n,).
    """
    power = spectrum.power[row]
    one = OrderSpectrum(spectrum.order, power, spectrum.averages, spectrum.turns)
    under = local_background(one, [cycle_order]).power
    place = np.rint(order / spectrum.step).astype(np.intp)
    beside = np.clip(place[:, None] + np.arange(-bins, bins + 1), 1, power.size - 1)
    beneath = under[beside].sum(axis=1) / HANN_NOISE_BINS
    found = power[beside].sum(axis=1) / HANN_NOISE_BINS - beneath
    count = 2 * bins + 1
    variance = beneath**2 / (count / HANN_NOISE_BINS)
    variance = variance + 2.0 * beneath / count * np.maximum(found, 0.0)
    return found, np.sqrt(variance / spectrum.averages)


def own_noise(band: Ints, power: Float64) -> Float64:
    """Power of the recording's own noise in each band, 0 where none can be told, shape (b,).

    A microphone's and converter's noise is about as dense at every frequency. Where the highest
    bands (three or more) agree in density within 2 dB and none is thinner, that density is taken
    for it. Else where the lowest do (two or more within 2.5 dB, up to 125 Hz): phones cut low
    notes off before the converter adds its noise.
    """
    low, _, high = third_octave_edges(band)
    density = power / (high - low)
    least = float(density.min())
    if least <= 0.0:
        return np.zeros(band.size)
    for row, fewest, apart_db in (
        (density[::-1], 3, 2.0),
        (density[: int(np.sum(high < LOW_NOTES_HZ))], 2, 2.5),
    ):
        near = row < least * 10.0 ** (0.1 * apart_db)
        run = int(np.argmin(near)) if not near.all() else near.size
        if run >= fewest:
            return float(np.exp(np.mean(np.log(row[:run])))) * (high - low)
    return np.zeros(band.size)


def without_noise(
    power: Float64, sd: Float64, noise: Float64
) -> tuple[Float64, Float64, npt.NDArray[np.bool_]]:
    """Powers with the recording's own noise taken off, their standard deviations, and bands in
    which little else is left (half the power or more is noise), shapes (b,)."""
    left = np.maximum(power - noise, 0.1 * noise)
    return left, np.hypot(sd, NOISE_DOUBT * noise), noise > 0.5 * power
