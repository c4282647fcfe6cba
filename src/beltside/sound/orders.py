"""Power spectra over crank order and over frequency, and their maps over time.

Welch's method (The use of fast Fourier transform for the estimation of power spectra, IEEE
Transactions on Audio and Electroacoustics 15(2), 1967) with a Hann window. Everywhere in this
module power is scaled so that a sine of amplitude a standing on a bin shows a^2 / 2 in it; noise
then reads 1.5 bins' worth of its density (the Hann window's noise bandwidth, Harris 1978), and
the sum over bins is 1.5 times the mean square.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import numpy.typing as npt
from scipy import fft
from scipy.signal import get_window

from beltside.base.errors import InputError, OutOfRangeError
from beltside.sound.angle import AngleSignal
from beltside.sound.gate import (
    AnyFloat,
    Float32,
    Float64,
    require_positive,
    require_signal,
    steps_of,
)

HANN_NOISE_BINS: Final = 1.5
"""Noise bandwidth of the Hann window in bins (Harris, Proceedings of the IEEE 66(1), 1978)."""

_CHUNK_VALUES: Final = 1 << 20


@dataclass(frozen=True)
class OrderSpectrum:
    """Mean power over crank order.

    Attributes
    ----------
    order
        Events per crank turn, from 0 in equal steps, shape (k,).
    power
        Shape (..., k) [signal unit squared]; a sine of amplitude a reads a^2 / 2.
    averages
        How many independent segments' worth the mean is (overlap and all).
    turns
        Crank turns it is taken from.
    """

    order: Float64
    power: Float64
    averages: float
    turns: float

    @property
    def step(self) -> float:
        """Distance between bins [orders]."""
        return float(self.order[1] - self.order[0])


@dataclass(frozen=True)
class PowerSpectrum:
    """Mean power over frequency; `power` (..., k) as in OrderSpectrum, `frequency_hz` (k,)."""

    frequency_hz: Float64
    power: Float64
    averages: float


@dataclass(frozen=True)
class OrderMap:
    """Power over crank turn and order: `power` (c, k) at `turn` (c,) and `order` (k,)."""

    turn: Float64
    order: Float64
    power: Float32


@dataclass(frozen=True)
class Spectrogram:
    """Power over time and frequency: `power` (c, r) at `time_s` (c,) and `frequency_hz` (r,)."""

    time_s: Float64
    frequency_hz: Float64
    power: Float32


def effective_averages(window: npt.ArrayLike, hop: int, segments: int) -> float:
    """How many independent segments the mean over overlapping ones is worth.

    Welch 1967: the variance of the mean of K segments is that of one, times
    (1 + 2 sum_j (1 - j / K) rho_j) / K, with rho_j the squared correlation of the window with
    itself j hops on (Gaussian noise).

    >>> hann = get_window("hann", 256)
    >>> round(effective_averages(hann, 128, 1000) / 1000, 3)
    0.947
    """
    shape = np.asarray(require_signal("window", window), dtype=np.float64)
    energy = float(np.sum(shape**2))
    total = 1.0
    for lag in range(1, min(segments, -(-shape.size // hop))):
        overlap = float(np.sum(shape[lag * hop :] * shape[: shape.size - lag * hop])) / energy
        total += 2.0 * (1.0 - lag / segments) * overlap**2
    return segments / total


def frame_powers(values: AnyFloat, size: int, hop: int) -> Iterator[tuple[int, Float32]]:
    """Hann-windowed power of successive frames, in pieces of bounded memory.

    Parameters
    ----------
    values
        Shape (..., n), n >= size.
    size, hop
        Frame length and the step to the next [samples].

    Yields
    ------
    Number of the first frame in the piece, and its power, shape (..., frames, size // 2 + 1).
    """
    window = get_window("hann", size).astype(values.dtype)
    frames = np.lib.stride_tricks.sliding_window_view(values, size, axis=-1)[..., ::hop, :]
    gain = 2.0 / float(np.sum(window, dtype=np.float64)) ** 2
    other = int(np.prod(values.shape[:-1], dtype=np.int64))
    piece = max(1, _CHUNK_VALUES // (size * other))
    for first in range(0, frames.shape[-2], piece):
        spectrum = fft.rfft(frames[..., first : first + piece, :] * window, overwrite_x=True)
        power: AnyFloat = spectrum.real**2
        power += spectrum.imag**2
        power *= values.dtype.type(gain)
        power[..., 0] *= 0.5
        if size % 2 == 0:
            power[..., -1] *= 0.5
        yield first, power.astype(np.float32, copy=False)


def _mean_power(values: AnyFloat, size: int, hop: int, bins: int) -> tuple[Float64, float]:
    """Mean frame power, shape (..., bins), and the independent averages in it."""
    total = np.zeros((*values.shape[:-1], bins))
    for _, power in frame_powers(values, size, hop):
        total += power[..., :bins].sum(axis=-2, dtype=np.float64)
    segments = 1 + (values.shape[-1] - size) // hop
    return total / segments, effective_averages(get_window("hann", size), hop, segments)


def _check_overlap(overlap: float) -> None:
    if not 0.5 <= overlap <= 0.75:
        raise OutOfRangeError(
            f"an overlap of {overlap:g}",
            allowed="0.5 to 0.75",
            instead="0.5, or 0.67 for short takes",
        )


def order_spectrum(
    angle_signal: AngleSignal, segment_turns: float, max_order: float, overlap: float = 0.5
) -> OrderSpectrum:
    """Mean power over crank order of one block.

    The block's mean is taken off first, so a constant offset changes nothing; the lowest two
    bins hold what is left of slow drift.

    Parameters
    ----------
    angle_signal
        Values at equal steps of angle, shape (..., m).
    segment_turns
        Turns in one segment: bins are 1 / segment_turns apart. At most the block.
    max_order
        Highest order wanted, at most half the samples per turn.
    overlap
        Share of a segment shared with the next, 0.5 to 0.75.

    Raises
    ------
    OutOfRangeError
        When the block is shorter than one segment, or a figure is outside its range.
    InputError
        When the values are not finite.
    """
    values, size = _segments(angle_signal, segment_turns, max_order)
    _check_overlap(overlap)
    hop = max(1, round(size * (1.0 - overlap)))
    bins = min(int(max_order * size / angle_signal.samples_per_turn + 1e-9), size // 2) + 1
    power, averages = _mean_power(
        values - values.mean(axis=-1, keepdims=True, dtype=np.float64).astype(values.dtype),
        size, hop, bins,
    )  # fmt: skip
    order = steps_of(bins, angle_signal.samples_per_turn / size)
    return OrderSpectrum(order, power, averages, angle_signal.turns)


def _segments(
    angle_signal: AngleSignal, segment_turns: float, max_order: float
) -> tuple[AnyFloat, int]:
    """Checked values and the length of a segment [samples]."""
    values = require_signal("angle signal", angle_signal.values, shortest=16, dimensions=None)
    require_positive("segment length", segment_turns, "turns")
    steps = angle_signal.samples_per_turn
    size = round(segment_turns * steps)
    if not 16 <= size <= values.shape[-1]:
        raise OutOfRangeError(
            f"segments of {segment_turns:g} turns in {angle_signal.turns:.4g} turns",
            allowed=f"{16 / steps:g} turns to the whole block",
            instead=f"{max(16 / steps, angle_signal.turns / 8):.3g} turns",
        )
    if not 0.0 < max_order <= steps / 2:
        raise OutOfRangeError(
            f"orders up to {max_order:g} at {steps} samples per turn",
            allowed=f"above 0 to {steps / 2:g}",
            instead="more samples per turn",
        )
    return values, size


def combine(spectra: Sequence[OrderSpectrum]) -> OrderSpectrum:
    """One spectrum from those of several blocks, each weighted by its independent averages.

    Raises
    ------
    InputError
        When there is none, or their orders or shapes differ.
    """
    if not spectra or any(
        spectrum.power.shape != spectra[0].power.shape
        or not np.allclose(spectrum.order, spectra[0].order, rtol=1e-9, atol=1e-12)
        for spectrum in spectra
    ):
        raise InputError(
            f"{len(spectra)} spectra that do not share their orders",
            allowed="one or more with the same orders and shape",
            instead="the same segment length and samples per turn in every block",
        )
    averages = sum(spectrum.averages for spectrum in spectra)
    power = sum(spectrum.power * (spectrum.averages / averages) for spectrum in spectra)
    return OrderSpectrum(
        spectra[0].order,
        np.asarray(power, dtype=np.float64),
        averages,
        sum(spectrum.turns for spectrum in spectra),
    )


def order_map(
    angle_signal: AngleSignal,
    segment_turns: float,
    hop: float,
    max_order: float | None = None,
    most_columns: int = 400,
) -> OrderMap:
    """Power over crank turn and order, at a size fit for a picture.

    Parameters
    ----------
    angle_signal
        One channel, shape (m,).
    segment_turns, hop
        Turns in one segment, and from one to the next.
    max_order
        Highest order; half the samples per turn by default.
    most_columns
        Neighbouring segments are averaged until no more columns than this are left.
    """
    limit = angle_signal.samples_per_turn / 2 if max_order is None else max_order
    values, size = _segments(angle_signal, segment_turns, limit)
    require_signal("angle signal", values)
    steps = angle_signal.samples_per_turn
    jump = max(1, round(require_positive("hop", hop, "turns") * steps))
    bins = min(int(limit * size / steps + 1e-9), size // 2) + 1
    segments = 1 + (values.size - size) // jump
    centred = values - values.mean(dtype=np.float64).astype(values.dtype)
    power, group = _columns(centred, size, jump, segments, most_columns, lambda p: p[:, :bins])
    middle = steps_of(power.shape[0], group * jump) + (group - 1) / 2 * jump + size / 2
    return OrderMap(angle_signal.start_turn + middle / steps, steps_of(bins, steps / size), power)


def _columns(
    values: AnyFloat, size: int, hop: int, frames: int, most: int, rows: Any
) -> tuple[Float32, int]:
    """Frame powers reduced to `rows(power)` and averaged in groups; columns and group size."""
    group = max(1, -(-frames // max(1, most)))
    reduced = np.concatenate([rows(power) for _, power in frame_powers(values, size, hop)])
    whole = max(1, frames // group)
    return reduced[: whole * group].reshape(whole, -1, reduced.shape[1]).mean(axis=1), group


def power_spectrum(
    samples: npt.ArrayLike, sample_rate_hz: float, segment_samples: int = 8192, overlap: float = 0.5
) -> PowerSpectrum:
    """Mean power over frequency of a block.

    Parameters
    ----------
    samples
        Shape (..., n), n >= segment_samples.
    sample_rate_hz
        Their rate [Hz].
    segment_samples
        Samples in one segment, 16 or more.
    overlap
        Share of a segment shared with the next, 0.5 to 0.75.
    """
    rate_hz = require_positive("sample rate", sample_rate_hz, "Hz")
    size = max(16, int(segment_samples))
    values = require_signal("samples", samples, shortest=size, dimensions=None)
    _check_overlap(overlap)
    hop = max(1, round(size * (1.0 - overlap)))
    power, averages = _mean_power(values, size, hop, size // 2 + 1)
    return PowerSpectrum(steps_of(size // 2 + 1, rate_hz / size), power, averages)


def spectrogram(
    samples: npt.ArrayLike,
    sample_rate_hz: float,
    start_s: float = 0.0,
    *,
    rows: int = 300,
    most_columns: int = 600,
    frame_samples: int = 4096,
    logarithmic: bool = True,
    low_hz: float = 50.0,
) -> Spectrogram:
    """Power over time and frequency of one block, at a size fit for a picture.

    Each row is the mean power of the bins that fall in it; a row narrower than a bin shows the
    bin it lies in. For a take in blocks, see `join`.

    Parameters
    ----------
    samples
        One channel, shape (n,), n >= frame_samples.
    sample_rate_hz
        Their rate [Hz].
    start_s
        Moment of the first sample [s].
    rows
        Frequency rows, from `low_hz` (0 when not `logarithmic`) to half the rate.
    most_columns
        Neighbouring frames are averaged until no more columns than this are left.
    frame_samples
        Samples in one frame; frames overlap by half.
    """
    rate_hz = require_positive("sample rate", sample_rate_hz, "Hz")
    size = max(64, int(frame_samples))
    values = require_signal("samples", samples, shortest=size)
    if not 2 <= rows <= 4096 or not 0.0 < low_hz < rate_hz / 4:
        raise OutOfRangeError(
            f"{rows} rows from {low_hz:g} Hz",
            allowed=f"2 to 4096 rows from above 0 to {rate_hz / 4:g} Hz",
            instead="300 rows from 50 Hz",
        )
    hop = size // 2
    edges = (
        np.geomspace(low_hz, rate_hz / 2, rows + 1)
        if logarithmic
        else np.linspace(0.0, rate_hz / 2, rows + 1)
    )
    first = np.minimum(np.rint(edges[:-1] * size / rate_hz).astype(np.intp), size // 2)
    last = np.maximum(np.rint(edges[1:] * size / rate_hz).astype(np.intp), first + 1)
    width = (last - first).astype(np.float32)

    def to_rows(power: Float32) -> Float32:
        # Sums from each row's first bin to the next row's; a row without one shows its own bin.
        sums: Float32 = np.add.reduceat(power, first, axis=1)
        sums[:, -1] = power[:, first[-1] : last[-1]].sum(axis=1)
        sums /= width
        return sums

    frames = 1 + (values.size - size) // hop
    power, group = _columns(values, size, hop, frames, most_columns, to_rows)
    middle = steps_of(power.shape[0], group * hop) + (group - 1) / 2 * hop + size / 2
    centre_hz = np.sqrt(edges[:-1] * edges[1:]) if logarithmic else 0.5 * (edges[:-1] + edges[1:])
    return Spectrogram(start_s + middle / rate_hz, centre_hz, power)


def join(parts: Sequence[Spectrogram], most_columns: int = 600) -> Spectrogram:
    """Spectrograms of successive blocks as one, of at most `most_columns` columns.

    Raises
    ------
    InputError
        When there is none, or their frequency rows differ.
    """
    if not parts or any(
        not np.array_equal(part.frequency_hz, parts[0].frequency_hz) for part in parts
    ):
        raise InputError(
            f"{len(parts)} spectrograms that do not share their rows",
            allowed="one or more with the same rows",
            instead="the same settings for every block",
        )
    time_s = np.concatenate([part.time_s for part in parts])
    power = np.concatenate([part.power for part in parts])
    group = -(-time_s.size // max(1, most_columns))
    start = np.arange(0, time_s.size, group)
    size = np.diff(np.append(start, time_s.size))
    return Spectrogram(
        np.add.reduceat(time_s, start) / size,
        parts[0].frequency_hz,
        (np.add.reduceat(power, start, axis=0) / size[:, None]).astype(np.float32),
    )
