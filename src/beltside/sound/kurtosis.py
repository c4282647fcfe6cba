"""Spectral kurtosis: where in frequency the sound comes in bursts, and so which band to listen to.

Antoni, The spectral kurtosis: a useful tool for characterising non-stationary signals, Mechanical
Systems and Signal Processing 20(2), 2006: SK(f) = <|X|^4> / <|X|^2>^2 - 2 of the short-time
Fourier transform. It is 0 for stationary Gaussian noise, -1 for a steady tone and above 0 where
the power comes in bursts.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy.signal import get_window

from beltside.base.errors import OutOfRangeError
from beltside.sound.bands import Band
from beltside.sound.gate import AnyFloat, Float64, require_positive, require_signal, steps_of
from beltside.sound.orders import effective_averages, frame_powers

FRAME_LENGTHS_S: Final = (0.0027, 0.0107, 0.0427)
"""Frame lengths searched [s]: short enough to part the impacts of a fast bearing at the one end,
long enough to part close resonances at the other."""

FEWEST_FRAMES: Final = 16


@dataclass(frozen=True)
class SpectralKurtosis:
    """Spectral kurtosis at one frame length.

    Attributes
    ----------
    frequency_hz
        Shape (k,), without zero and half the rate, where the transform is real [Hz].
    kurtosis
        Shape (k,). Never below -1 by more than rounding.
    power
        Mean power in each bin, shape (k,).
    averages
        Independent frames it rests on; for Gaussian noise its standard deviation is about
        2 / sqrt(averages).
    frame_s
        Frame length [s].
    """

    frequency_hz: Float64
    kurtosis: Float64
    power: Float64
    averages: float
    frame_s: float


@dataclass(frozen=True)
class BandChoice:
    """How burst-like one band is.

    `kurtosis` is the band's mean at the frame length `frame_s` [s] where it stands out most;
    `deviations` says by how many standard deviations of stationary Gaussian noise.
    """

    band: Band
    kurtosis: float
    frame_s: float
    deviations: float


def spectral_kurtosis(
    samples: npt.ArrayLike, sample_rate_hz: float, frame_samples: int, hop: int | None = None
) -> SpectralKurtosis:
    """Spectral kurtosis of a block from its short-time Fourier transform.

    With M frames the plain ratio reads too low, by about 2 / M for Gaussian noise. The form used,
    M / (M - 1) [(M + 1) sum |X|^4 / (sum |X|^2)^2 - 2], has no bias for Gaussian noise and
    independent frames and is exactly -1 for a steady tone (Vrabie, Granjon & Serviere, IEEE-
    EURASIP NSIP workshop 2003, from memory; both follow from E[|X|^4] = 2 E[|X|^2]^2). With Hann
    frames overlapping by half the frames are nearly independent, and M counts them at their
    effective number only in `averages`; the bias left is below 0.12 / M.

    Parameters
    ----------
    samples
        Shape (n,), at least 16 frames; or (r, n), r stretches of one take counted together.
    sample_rate_hz
        Their rate [Hz].
    frame_samples
        Frame length, 16 or more [samples]. Bursts must be shorter than it, or of its order, and
        further apart.
    hop
        Step between frames [samples], half a frame by default.

    Raises
    ------
    OutOfRangeError
        When the block is too short, or silent.
    """
    rate_hz = require_positive("sample rate", sample_rate_hz, "Hz")
    size = int(frame_samples)
    step = size // 2 if hop is None else int(hop)
    if size < 16 or not 1 <= step <= size:
        raise OutOfRangeError(
            f"frames of {size} samples, {step} apart",
            allowed="frames of 16 samples or more, at most one frame apart",
            instead="256 samples, 128 apart",
        )
    shortest = size + (FEWEST_FRAMES - 1) * step
    values = require_signal("samples", samples, shortest=shortest, dimensions=None)
    values = values.reshape(-1, values.shape[-1])
    first = second = np.zeros(size // 2 + 1)
    count = 0
    # Scaled to a mean square of 1, so that the fourth power keeps within float32.
    scale = float(np.sqrt(np.mean(np.square(values, dtype=np.float64))))
    if scale == 0.0:
        raise OutOfRangeError("silence", allowed="sound", instead="another stretch of the take")
    for _, power in frame_powers(values / values.dtype.type(scale), size, step):
        first = first + power.sum(axis=(0, 1), dtype=np.float64)
        second = second + np.einsum("rfk,rfk->k", power, power, dtype=np.float64)
        count += power.shape[0] * power.shape[1]
    middle = slice(1, -1) if size % 2 == 0 else slice(1, None)
    ratio = second[middle] / np.maximum(first[middle] ** 2, 1e-300)
    kurtosis = count / (count - 1.0) * ((count + 1.0) * ratio - 2.0)
    frequency_hz = steps_of(size // 2 + 1, rate_hz / size)
    return SpectralKurtosis(
        frequency_hz[middle],
        np.where(first[middle] > 0.0, kurtosis, 0.0),
        first[middle] / count * scale**2,
        effective_averages(get_window("hann", size), step, count),
        size / rate_hz,
    )


def choose_bands(
    samples: npt.ArrayLike,
    sample_rate_hz: float,
    bands: Sequence[Band],
    frame_lengths_s: Sequence[float] = FRAME_LENGTHS_S,
    most_s: float = 8.0,
) -> tuple[BandChoice, ...]:
    """All bands, the most burst-like first.

    For each frame length the spectral kurtosis is averaged over the bins of each band, and
    divided by its standard deviation under Gaussian noise, 2 / sqrt(averages x bins / 1.94)
    (neighbouring Hann bins are correlated); the frame length that makes a band stand out most
    counts for it. A band narrower than a bin at some length is not judged at that length. This
    is a plain search over band and frame length, not a bank of nested filters.

    Parameters
    ----------
    samples
        Shape (n,), at least 16 frames of the longest length.
    sample_rate_hz
        Their rate [Hz].
    bands
        From `plan_bands`.
    frame_lengths_s
        Frame lengths to try [s].
    most_s
        Of a longer block four stretches, evenly spread, of this length together are looked at
        [s].
    """
    rate_hz = require_positive("sample rate", sample_rate_hz, "Hz")
    if not bands or not frame_lengths_s:
        raise OutOfRangeError(
            f"{len(bands)} bands and {len(frame_lengths_s)} frame lengths",
            allowed="one or more of each",
            instead="plan_bands and the lengths given by default",
        )
    longest = round(max(require_positive("frame", s, "s") for s in frame_lengths_s) * rate_hz)
    values = _stretches(
        require_signal("samples", samples),
        max(round(most_s * rate_hz), 4 * FEWEST_FRAMES * longest),
    )
    best = [BandChoice(band, 0.0, 0.0, -np.inf) for band in bands]
    for length_s in frame_lengths_s:
        size = max(16, 2 * round(0.5 * length_s * rate_hz))
        found = spectral_kurtosis(values, rate_hz, size)
        for place, band in enumerate(bands):
            inside = (found.frequency_hz >= band.low_hz) & (found.frequency_hz < band.high_hz)
            bins = int(np.count_nonzero(inside))
            if not bins:
                continue
            mean = float(found.kurtosis[inside].mean())
            spread = 2.0 / np.sqrt(found.averages * max(1.0, bins / 1.94))
            if mean / spread > best[place].deviations:
                best[place] = BandChoice(band, mean, found.frame_s, float(mean / spread))
    return tuple(sorted(best, key=lambda choice: -choice.deviations))


def _stretches(values: AnyFloat, most: int) -> AnyFloat:
    """The whole, shape (1, n); when longer than `most`, four stretches, shape (4, most // 4)."""
    if values.size <= most:
        return values[None, :]
    size = most // 4
    start = np.linspace(0, values.size - size, 4).astype(np.intp)
    return np.stack([values[first : first + size] for first in start])
