"""Running checks on samples as they are read: level, silence, clipping, channels alike."""

from __future__ import annotations

import math
from typing import Final

import numpy as np
import numpy.typing as npt

Float32 = npt.NDArray[np.float32]

# -80 dB re full scale, three steps of a 16-bit converter: below this nothing was recorded.
# Own choice: the self-noise of a phone's microphone and converter lies above it.
SILENCE: Final = 1e-4
# Beyond this a float sample is no sound but a damaged number: +120 dB re full scale.
_LARGEST: Final = 1e6
# Shortest run of samples that counts as a flat top: a peak alone is no clipping.
CLIPPED_RUN: Final = 3
# After a lossy codec a flat top ripples by a few per cent, and some encoders turn a loud take
# down by 5 %.
_LOSSY_TOP: Final = 0.9
_LOSSY_MARGIN: Final = 0.02
_EXACT_MARGIN: Final = 0.002


def count_clipped(samples: Float32, *, lossy: bool, step: float = 1.0 / 32768.0) -> int:
    """How many samples of one channel lie on a flat top at full scale.

    A run of at least three samples at full scale counts when the signal would have gone on
    rising: a parabola through both ends of the run, with the lesser of the slopes met there,
    rises slope x length / 4 above it. That must be well over twice what the run itself shows,
    so that a tone that just reaches full scale, or goes smoothly beyond it in a float file, is
    not called clipped. Exact for lossless files; a lossy codec hides up to half of the share.

    Parameters
    ----------
    samples
        One channel, shape (n,), full scale +-1.
    lossy
        True for samples out of a lossy codec, whose flat tops are no longer exact.
    step
        Smallest step of the converter, re full scale.

    Source: own method, docs/methods/recordings.md.

    >>> tone = np.sin(np.arange(4800) * 0.05).astype(np.float32)
    >>> count_clipped(tone, lossy=False)
    0
    >>> count_clipped(np.clip(2 * tone, -1, 1), lossy=False) / 4800
    0.66...
    """
    top = _LOSSY_TOP if lossy else 1.0 - 1.5 * step
    magnitude = np.abs(samples)
    index = np.flatnonzero(magnitude >= top)
    if index.size < CLIPPED_RUN:
        return 0
    sign = np.signbit(samples[index])
    new_run = np.flatnonzero((np.diff(index) != 1) | (sign[1:] != sign[:-1])) + 1
    first = np.concatenate(([0], new_run))
    length = np.diff(np.concatenate((first, [index.size])))
    highest = np.maximum.reduceat(magnitude[index], first)
    long = length >= CLIPPED_RUN
    first, length, highest = first[long], length[long], highest[long]
    if not length.size:
        return 0
    start = index[first]
    end = start + length - 1
    upward = np.where(np.signbit(samples[start]), -1.0, 1.0)
    rise, fall = _slope(samples, start, upward, -1), _slope(samples, end, upward, 1)
    # A run cut by the border of a piece has one slope only.
    rise = np.where(start == 0, fall, rise)
    fall = np.where(end == samples.size - 1, rise, fall)
    slope = np.minimum(rise, fall)
    hidden = slope * length / 4.0
    margin = _LOSSY_MARGIN if lossy else _EXACT_MARGIN + 2.0 * step
    flat = hidden > 2.0 * (highest - top) + margin
    return int(length[flat].sum())


def _slope(
    samples: Float32, edge: npt.NDArray[np.intp], upward: npt.NDArray[np.float64], outward: int
) -> npt.NDArray[np.float64]:
    # Steepest of the two steps that lead into the run, in its direction.
    last = samples.size - 1
    at, before, earlier = (
        upward * samples[np.clip(edge + shift * outward, 0, last)] for shift in (0, 1, 2)
    )
    return np.maximum(at - before, before - earlier)


class SoundCheck:
    """Takes the samples piece by piece and keeps what the report needs.

    Parameters
    ----------
    channels
        Number of channels.
    lossy
        True when the samples come out of a lossy codec.
    step
        Smallest step of the converter, re full scale.
    """

    def __init__(self, channels: int, *, lossy: bool, step: float) -> None:
        self._lossy = lossy
        self._step = step
        self._low = np.full(channels, np.inf)
        self._high = np.full(channels, -np.inf)
        self._sum = np.zeros(channels)
        self._squares = np.zeros(channels)
        self._alike = channels == 2
        self.samples_read = 0
        self.clipped = 0
        self.not_finite = 0

    def take(self, samples: Float32) -> None:
        """Check the next piece, shape (channels, n).

        What is no number, infinite or beyond a million times full scale becomes 0, in place.
        """
        low, high = samples.min(axis=1), samples.max(axis=1)
        # Written so that NaN, which compares as false, counts as bad.
        if not ((low >= -_LARGEST).all() and (high <= _LARGEST).all()):
            bad = ~(np.abs(samples) <= _LARGEST)
            self.not_finite += int(np.count_nonzero(bad))
            samples[bad] = 0.0
            low, high = samples.min(axis=1), samples.max(axis=1)
        np.minimum(self._low, low, out=self._low)
        np.maximum(self._high, high, out=self._high)
        top = _LOSSY_TOP if self._lossy else 1.0 - 1.5 * self._step
        for number, channel in enumerate(samples):
            # float64 sums, for an hour adds up a hundred million squares
            self._sum[number] += float(channel.mean(dtype=np.float64)) * channel.size
            self._squares[number] += float(np.dot(channel, channel))
            if max(high[number], -low[number]) >= top:
                self.clipped += count_clipped(channel, lossy=self._lossy, step=self._step)
        if self._alike:
            self._alike = bool(np.array_equal(samples[0], samples[1]))
        self.samples_read += samples.shape[1]

    @property
    def peak(self) -> float:
        """Largest magnitude, re full scale."""
        return float(max(self._high.max(), -self._low.min())) if self.samples_read else 0.0

    @property
    def clipped_share(self) -> float:
        """Share of all samples that lie on a flat top at full scale."""
        total = self.samples_read * self._low.size
        return self.clipped / total if total else 0.0

    @property
    def level_db(self) -> float:
        """RMS level of the loudest channel without its constant part [dB re full scale RMS 1]."""
        if not self.samples_read:
            return -math.inf
        mean = self._sum / self.samples_read
        power = float(np.max(self._squares / self.samples_read - mean**2))
        return 10.0 * math.log10(power) if power > 0.0 else -math.inf

    @property
    def silent_channels(self) -> tuple[int, ...]:
        """Channels, counted from 1, that never swing by more than -80 dB re full scale."""
        if not self.samples_read:
            return tuple(range(1, self._low.size + 1))
        swing = (self._high - self._low) / 2.0
        return tuple(int(number) + 1 for number in np.flatnonzero(swing < SILENCE))

    @property
    def channels_alike(self) -> bool:
        """True when two channels hold the same samples throughout."""
        return self._alike and self.samples_read > 0
