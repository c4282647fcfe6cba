"""What the crank speed estimate listens to: the low sound, and how loud the high sound pulses.

A take is fed block by block, so that its length costs little memory: 1 hour keeps about
100 MB here.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import scipy.fft
import soxr

from beltside.base.errors import InputError, OutOfRangeError

Float32 = npt.NDArray[np.float32]

LOW_RATE_HZ: Final = 4800
"""Sampling rate of the low sound [Hz]; it is used up to `LOW_TOP_HZ`."""

PULSE_RATE_HZ: Final = 1200
"""Sampling rate of the pulsation of the high sound [Hz]."""

PULSE_BANDS_HZ: Final = ((900.0, 1900.0), (1900.0, 3800.0), (3800.0, 7600.0))
"""Bands whose loudness pulses with the firing [Hz]; each counts by its own mean, so that one
loud band does not drown the others. Own choice: above the firing lines, below what a phone's
voice mode cuts."""


@dataclass(frozen=True)
class CrankSound:
    """The two signals the crank speed is read from.

    Attributes
    ----------
    low
        Sound below about 2 kHz at `LOW_RATE_HZ`, shape (n,).
    pulse
        Squared envelope of the high sound at `PULSE_RATE_HZ`, each band divided by its own
        running mean, averaged over bands, mean about 1, shape (m,); empty when the sampling
        rate is too low to have one.
    duration_s
        Length of the take [s].
    """

    low: Float32
    pulse: Float32
    duration_s: float


class CrankFeed:
    """Takes blocks of mono sound and gives the `CrankSound` of them all.

    Parameters
    ----------
    sample_rate_hz
        Sampling rate of the blocks, at least 4000 [Hz].

    Raises
    ------
    OutOfRangeError
        For a sampling rate below 4000 Hz.
    """

    def __init__(self, sample_rate_hz: float) -> None:
        if sample_rate_hz < 4000.0:
            raise OutOfRangeError(
                f"sampling rate is {sample_rate_hz:g} Hz",
                allowed="4000 Hz or more",
                instead="record with the phone's ordinary recorder (44100 or 48000 Hz)",
            )
        self._rate_hz = float(sample_rate_hz)
        self._count = 0
        self._low_stream = soxr.ResampleStream(
            self._rate_hz, LOW_RATE_HZ, 1, dtype="float32", quality="HQ"
        )
        self._low: list[Float32] = []
        self._pulse: list[Float32] = []
        self._bands = [band for band in PULSE_BANDS_HZ if band[1] <= 0.5 * self._rate_hz * 0.98]
        # One block of whole pulse samples, with an overlap that hides the circular edges.
        self._step = round(self._rate_hz * 4.0)
        self._edge = round(self._rate_hz * 0.05)
        self._wait = np.zeros(self._edge, dtype=np.float32)

    def add(self, block: npt.NDArray[np.floating]) -> None:
        """Take the next block, shape (n,), any length; refuses anything not finite."""
        samples = np.ascontiguousarray(block, dtype=np.float32)
        if samples.ndim != 1:
            raise InputError(
                f"block has shape {samples.shape}", allowed="one row of samples, shape (n,)"
            )
        if not np.isfinite(samples).all():
            raise InputError("block holds values that are not finite", allowed="finite samples")
        self._count += samples.size
        self._low.append(self._low_stream.resample_chunk(samples))
        if self._bands:
            self._wait = np.concatenate((self._wait, samples))
            while self._wait.size >= self._step + 2 * self._edge:
                self._pulse.append(self._pulsation(self._wait[: self._step + 2 * self._edge]))
                self._wait = self._wait[self._step :]

    def finish(self) -> CrankSound:
        """The signals of all blocks so far; the feed cannot be used afterwards."""
        empty = np.zeros(0, dtype=np.float32)
        self._low.append(self._low_stream.resample_chunk(empty, last=True))
        if self._bands and self._wait.size > self._edge:
            left = self._wait.size - self._edge
            padded = np.zeros(self._step + 2 * self._edge, dtype=np.float32)
            padded[: self._wait.size] = self._wait
            keep = round(left / self._rate_hz * PULSE_RATE_HZ)
            if keep > 0:
                self._pulse.append(self._pulsation(padded, keep))
        pulse = np.concatenate(self._pulse) if self._pulse else empty
        return CrankSound(
            low=np.concatenate(self._low),
            pulse=pulse,
            duration_s=self._count / self._rate_hz,
        )

    def _pulsation(self, stretch: Float32, most: int | None = None) -> Float32:
        """Mean of the bands' normalised squared envelopes over the middle of `stretch`, or over
        the first `most` values of it where the rest is padding."""
        padded = scipy.fft.next_fast_len(stretch.size, real=True)
        spectrum = scipy.fft.rfft(stretch, padded)
        per_hz = padded / self._rate_hz
        edge = round(self._edge / self._rate_hz * PULSE_RATE_HZ)
        wanted = round(self._step / self._rate_hz * PULSE_RATE_HZ)
        wanted = wanted if most is None else min(wanted, most)
        total = np.zeros(wanted, dtype=np.float32)
        for low_hz, high_hz in self._bands:
            first, last = round(low_hz * per_hz), round(high_hz * per_hz)
            width = last - first
            taper = np.sqrt(np.hanning(width + 2)[1:-1]).astype(np.float32)
            # Twice the band's width holds the squared envelope without folding.
            size = scipy.fft.next_fast_len(2 * width)
            analytic = scipy.fft.ifft(spectrum[first:last] * taper, size)
            squared = analytic.real**2 + analytic.imag**2
            half = scipy.fft.rfft(squared)
            points = scipy.fft.next_fast_len(round(padded / self._rate_hz * PULSE_RATE_HZ))
            reduced = scipy.fft.irfft(half[: points // 2 + 1], points)
            # `points` samples span the padded stretch; read off at the pulse rate.
            at = (edge + np.arange(wanted)) / PULSE_RATE_HZ * (points * self._rate_hz / padded)
            row = np.interp(at, np.arange(points), reduced).astype(np.float32)
            mean = float(row.mean())
            if mean > 0.0:
                total += np.clip(row / mean, 0.0, 12.0)
        return total / np.float32(len(self._bands))
