"""Frequency bands and the squared envelope of the sound in each of them.

One large Fourier transform serves every band: a band is a slice of the spectrum, and a small
inverse transform of that slice gives the band's analytic signal at a reduced rate (Bendat &
Piersol 2010, section 13.1: the analytic signal has no negative frequencies and its magnitude is
the envelope). Shifting the slice down to zero frequency does not change the magnitude.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy import fft

from beltside.base.errors import OutOfRangeError
from beltside.sound.gate import Complex64, Float32, require_positive, require_signal

EDGE_TAPER: Final = 0.04
"""Half width of the Hann-shaped rise and fall at a band edge, as a share of the edge."""

ENVELOPE_PASS_SHARE: Final = 0.8
"""Share of half the envelope rate up to which a reduced envelope is flat."""

PAD_S: Final = 0.05
"""Shortest crossfaded stretch between the end and the start of a block [s]."""

MOST_BANDS: Final = 64


@dataclass(frozen=True)
class Band:
    """Pass band with half-amplitude edges `low_hz` and `high_hz` [Hz]."""

    low_hz: float
    high_hz: float

    @property
    def width_hz(self) -> float:
        """Distance between the half-amplitude edges [Hz]."""
        return self.high_hz - self.low_hz

    @property
    def centre_hz(self) -> float:
        """Geometric mean of the edges [Hz]."""
        return float(np.sqrt(self.low_hz * self.high_hz))


@dataclass(frozen=True)
class BlockSpectrum:
    """One block's spectrum, shared by everything that needs it.

    Attributes
    ----------
    spectrum
        `rfft` of the block and its closing stretch, shape (..., fft_size // 2 + 1), not scaled.
    fft_size
        Length of the block and its closing stretch [samples].
    samples
        Length of the block alone [samples].
    sample_rate_hz
        Its rate [Hz].
    """

    spectrum: Complex64 | npt.NDArray[np.complex128]
    fft_size: int
    samples: int
    sample_rate_hz: float

    @property
    def step_hz(self) -> float:
        """Distance between bins [Hz]."""
        return self.sample_rate_hz / self.fft_size


@dataclass(frozen=True)
class BandEnvelope:
    """Squared envelope of one band.

    Attributes
    ----------
    band
        Which band.
    squared
        Squared magnitude of the band's analytic signal, shape (m,) [signal unit squared]: a
        sine of amplitude a inside the band reads a^2. The first value is at the block's first
        sample. Where it was low-passed it can dip slightly below zero next to a sharp burst.
    rate_hz
        Its rate [Hz].
    """

    band: Band
    squared: Float32
    rate_hz: float


def plan_bands(
    sample_rate_hz: float,
    low_hz: float = 400.0,
    high_hz: float | None = None,
    bands_per_octave: float = 2.5,
) -> tuple[Band, ...]:
    """Bands of equal width in octaves that touch each other.

    Parameters
    ----------
    sample_rate_hz
        Rate of the recording [Hz].
    low_hz, high_hz
        Outer edges [Hz]; `high_hz` is at most 0.45 x rate, and by default that or 18 kHz,
        whichever is lower.
    bands_per_octave
        About how many, 1 to 12; the nearest that fits a whole number of bands is used.

    Raises
    ------
    OutOfRangeError
        When an edge is outside, or less than half an octave is left between the edges.

    >>> [round(band.centre_hz) for band in plan_bands(48000.0)][:3]
    [458, 601, 789]
    """
    rate_hz = require_positive("sample rate", sample_rate_hz, "Hz")
    top_hz = 0.45 * rate_hz
    if high_hz is None:
        high_hz = min(top_hz, 18_000.0)
    if not 0.0 < low_hz * 2.0**0.5 <= high_hz <= top_hz * (1.0 + 1e-9):
        raise OutOfRangeError(
            f"bands from {low_hz:g} to {high_hz:g} Hz at {rate_hz:g} samples/s",
            allowed=f"above 0 to {top_hz:g} Hz, half an octave or more apart",
            instead=f"400 to {top_hz:g} Hz" if top_hz > 600.0 else "a recording at 8 kHz or more",
        )
    if not 1.0 <= bands_per_octave <= 12.0:
        raise OutOfRangeError(
            f"{bands_per_octave:g} bands per octave", allowed="1 to 12", instead="2.5"
        )
    count = max(1, round(float(np.log2(high_hz / low_hz)) * bands_per_octave))
    edges = np.geomspace(low_hz, high_hz, count + 1)
    return tuple(Band(float(low), float(high)) for low, high in itertools.pairwise(edges))


def block_spectrum(
    samples: npt.ArrayLike,
    sample_rate_hz: float,
    *,
    pad_samples: int | None = None,
    factor: int = 1,
) -> BlockSpectrum:
    """Fourier transform of a block, closed into a ring without a jump.

    A discrete Fourier transform takes the block as one turn of a ring, so its end would leak
    into its start. A short stretch is put in between that mirrors the end, fading into a mirror
    image of the start; its length also brings the whole to a size with small prime factors.

    Parameters
    ----------
    samples
        Shape (..., n), finite, n >= 64.
    sample_rate_hz
        Their rate [Hz].
    pad_samples
        Shortest closing stretch; `PAD_S` by default, at most n // 2.
    factor
        The transform's length is a multiple of this.

    Raises
    ------
    InputError, OutOfRangeError
        When the samples are not finite, or too few.
    """
    values = require_signal("samples", samples, shortest=64, dimensions=None)
    rate_hz = require_positive("sample rate", sample_rate_hz, "Hz")
    count = values.shape[-1]
    pad = round(PAD_S * rate_hz) if pad_samples is None else pad_samples
    pad = min(pad, count // 2)
    size = factor * int(fft.next_fast_len(-(-(count + pad) // factor), real=True))
    gap = size - count
    ring = np.empty((*values.shape[:-1], size), dtype=values.dtype)
    ring[..., :count] = values
    if gap:
        reach = min(gap, count - 1)
        blend = np.sin(0.5 * np.pi * np.arange(1, gap + 1) / (gap + 1)) ** 2
        rise = blend.astype(values.dtype)
        after_end = np.pad(values[..., -2 : -2 - reach : -1], _last(values, 0, gap - reach), "edge")
        before_start = np.pad(values[..., reach:0:-1], _last(values, gap - reach, 0), "edge")
        ring[..., count:] = after_end * (1 - rise) + before_start * rise
    return BlockSpectrum(fft.rfft(ring), size, count, rate_hz)


def _last(values: npt.NDArray[np.floating], before: int, after: int) -> list[tuple[int, int]]:
    """Padding widths that touch the last axis only."""
    return [(0, 0)] * (values.ndim - 1) + [(before, after)]


def band_envelopes(
    samples: npt.ArrayLike, sample_rate_hz: float, bands: Sequence[Band], max_rate_hz: float
) -> list[BandEnvelope]:
    """Squared envelope of each band of a mono block. See `envelopes_of`.

    Parameters
    ----------
    samples
        Shape (n,), finite, n >= 64.
    sample_rate_hz
        Their rate [Hz].
    bands
        Bands, each with its tapered edges inside 0 to half the rate.
    max_rate_hz
        Highest envelope rate wanted [Hz].
    """
    values = require_signal("samples", samples, shortest=64)
    return envelopes_of(block_spectrum(values, sample_rate_hz), bands, max_rate_hz)


def envelopes_of(
    block: BlockSpectrum, bands: Sequence[Band], max_rate_hz: float
) -> list[BandEnvelope]:
    """Squared envelope of each band from the block's spectrum.

    The analytic signal of a band of width W (tapers included) holds frequencies 0 to W once it
    is shifted down, so its squared magnitude holds -W to W: it needs a rate of 2 W. A band with
    2 W <= `max_rate_hz` is given at that rate, complete. For a wider band only modulation up to
    M = max_rate_hz / 2 is wanted: it is squared at a rate of W + M, where what folds comes down
    no lower than (W + M) - W = M, and is then low-passed (flat up to 0.8 M, zero from M) and
    given at about `max_rate_hz`. So nothing folds into what is given. All bands that were
    low-passed share one rate.

    Parameters
    ----------
    block
        From `block_spectrum`, of one channel.
    bands
        Bands, each with its tapered edges inside 0 to half the rate.
    max_rate_hz
        Highest envelope rate wanted [Hz].

    Raises
    ------
    OutOfRangeError
        When a band reaches outside, is too narrow for the block, or the rate leaves no samples.
    """
    require_positive("highest envelope rate", max_rate_hz, "Hz")
    if not 1 <= len(bands) <= MOST_BANDS:
        raise OutOfRangeError(
            f"{len(bands)} bands", allowed=f"1 to {MOST_BANDS}", instead="plan_bands"
        )
    shared = int(fft.prev_fast_len(int(max_rate_hz / block.step_hz), real=True))
    if shared < 16:
        raise OutOfRangeError(
            f"an envelope rate of {max_rate_hz:g} Hz for {block.samples} samples",
            allowed=f"{16 * block.step_hz:g} Hz or more",
            instead="a longer block",
        )
    return [_envelope(block, band, shared) for band in bands]


def _envelope(block: BlockSpectrum, band: Band, shared: int) -> BandEnvelope:
    """Envelope of one band; `shared` is the number of values a low-passed envelope has."""
    low, high = band.low_hz * (1.0 - EDGE_TAPER), band.high_hz * (1.0 + EDGE_TAPER)
    first, last = int(np.ceil(low / block.step_hz)), int(np.floor(high / block.step_hz))
    parted = 0.0 < band.low_hz * (1.0 + EDGE_TAPER) < band.high_hz * (1.0 - EDGE_TAPER)
    if not parted or last > block.fft_size // 2 or last - first < 8:
        raise OutOfRangeError(
            f"a band from {band.low_hz:g} to {band.high_hz:g} Hz",
            allowed=f"edges (with {EDGE_TAPER:.0%} taper) inside 0 to "
            f"{block.sample_rate_hz / 2:g} Hz, 9 % and "
            f"8 steps of {block.step_hz:g} Hz apart or more",
            instead="plan_bands for this sample rate, or a longer block",
        )
    width = last - first + 1
    frequency_hz = np.arange(first, last + 1, dtype=np.float32) * np.float32(block.step_hz)
    weights = _hann_step(frequency_hz, band.low_hz) * (1 - _hann_step(frequency_hz, band.high_hz))
    narrow = 2 * width <= shared
    size = int(fft.next_fast_len(2 * width if narrow else width + shared // 2 + 1, real=False))
    piece = np.zeros(size, dtype=np.complex64)
    piece[:width] = block.spectrum[first : last + 1] * weights
    piece *= np.float32(2.0 * size / block.fft_size)
    analytic = fft.ifft(piece, overwrite_x=True)
    squared = analytic.real**2 + analytic.imag**2
    if not narrow:
        size, squared = shared, _reduced(squared, shared)
    rate_hz = size * block.step_hz
    kept = 1 + int((block.samples - 1) * size / block.fft_size)
    return BandEnvelope(band, np.ascontiguousarray(squared[:kept], dtype=np.float32), rate_hz)


def _hann_step(frequency_hz: Float32, edge_hz: float) -> Float32:
    """Rise from 0 to 1 over `EDGE_TAPER` on either side of an edge, as half a Hann window."""
    place = np.clip(
        (frequency_hz / np.float32(edge_hz) - 1) / np.float32(2 * EDGE_TAPER), -0.5, 0.5
    )
    rise: Float32 = (0.5 + 0.5 * np.sin(np.pi * place)).astype(np.float32)
    return rise


def _reduced(values: Float32, size: int) -> Float32:
    """A ring of values low-passed and given as `size` values (fewer than it has)."""
    spectrum = fft.rfft(values)[: size // 2 + 1]
    place = np.arange(size // 2 + 1) / (size / 2)
    fall = np.clip((place - ENVELOPE_PASS_SHARE) / (1.0 - ENVELOPE_PASS_SHARE), 0.0, 1.0)
    spectrum *= ((0.5 + 0.5 * np.cos(np.pi * fall)) * (size / values.size)).astype(np.float32)
    result: Float32 = fft.irfft(spectrum, size, overwrite_x=True)
    return result
