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
# A single limit in a whole take may be chance, and so may flat tops of a few converter steps.
# Own choices, no source.
FEWEST_TOPS: Final = 10
LOWEST_CEILING: Final = 0.05
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
    margin = _LOSSY_MARGIN if lossy else _EXACT_MARGIN + 2.0 * step
    return int(_flat_tops(samples, top, margin).sum())


def count_flattened(samples: Float32, ceiling: float, *, step: float) -> tuple[int, int]:
    """Samples on flat tops at the sound's own ceiling, and the number of such tops.

    As `count_clipped`, below full scale and stricter: only the step next to the run counts as its
    slope, and the tone hidden above must rise by 1 % of the ceiling and 8 steps of the converter.
    For samples out of a lossless coding.

    Parameters
    ----------
    samples
        One channel, shape (n,), full scale +-1.
    ceiling
        The largest magnitude of the whole channel, over 0.
    step
        Smallest step of the converter, re full scale.

    Source: own method, docs/methods/recordings.md.

    >>> tone = np.sin(np.arange(4800) * 0.05).astype(np.float32)
    >>> count_flattened(0.5 * tone, 0.5, step=2**-15)
    (0, 0)
    >>> count_flattened(np.clip(tone, -0.5, 0.5), 0.5, step=2**-15)[0] / 4800
    0.64...
    """
    lengths = _flat_tops(
        samples, ceiling - 1.5 * step, 0.01 * ceiling + 8.0 * step, strict=True, step=step
    )
    return int(lengths.sum()), int(lengths.size)


def _flat_tops(
    samples: Float32, top: float, margin: float, *, strict: bool = False, step: float = 0.0
) -> npt.NDArray[np.intp]:
    """Lengths of the runs over `top` above which the signal would have risen by `margin`."""
    none = np.zeros(0, dtype=np.intp)
    magnitude = np.abs(samples)
    index = np.flatnonzero(magnitude >= top)
    if index.size < CLIPPED_RUN:
        return none
    sign = np.signbit(samples[index])
    new_run = np.flatnonzero((np.diff(index) != 1) | (sign[1:] != sign[:-1])) + 1
    first = np.concatenate(([0], new_run))
    length = np.diff(np.concatenate((first, [index.size])))
    highest = np.maximum.reduceat(magnitude[index], first)
    long = length >= CLIPPED_RUN
    first, length, highest = first[long], length[long], highest[long]
    if not length.size:
        return none
    start = index[first]
    end = start + length - 1
    upward = np.where(np.signbit(samples[start]), -1.0, 1.0)
    rise = _slope(samples, start, upward, -1, strict=strict)
    fall = _slope(samples, end, upward, 1, strict=strict)
    # A run cut by the border of a piece has one slope only.
    rise = np.where(start == 0, fall, rise)
    fall = np.where(end == samples.size - 1, rise, fall)
    # Rounding alone makes a step of up to one of the converter's.
    slope = np.minimum(rise, fall) - (step if strict else 0.0)
    hidden = slope * (length - 1 if strict else length) / 4.0
    flat = hidden > 2.0 * (highest - top) + margin
    counted: npt.NDArray[np.intp] = length[flat]
    return counted


def _slope(
    samples: Float32,
    edge: npt.NDArray[np.intp],
    upward: npt.NDArray[np.float64],
    outward: int,
    *,
    strict: bool,
) -> npt.NDArray[np.float64]:
    # Steepest of the two steps that lead into the run, in its direction; strict, the nearer one.
    last = samples.size - 1
    at, before, earlier = (
        upward * samples[np.clip(edge + shift * outward, 0, last)] for shift in (0, 1, 2)
    )
    return at - before if strict else np.maximum(at - before, before - earlier)


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
        self._ceiling = np.zeros(channels)
        self._flattened = np.zeros((channels, 2), dtype=np.int64)
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
            if not self._lossy:
                self._at_own_ceiling(number, channel, float(max(high[number], -low[number])))
        if self._alike:
            self._alike = bool(np.array_equal(samples[0], samples[1]))
        self.samples_read += samples.shape[1]

    def _at_own_ceiling(self, number: int, channel: Float32, peak: float) -> None:
        if peak > self._ceiling[number] + 1.5 * self._step:
            # What lay at a lower ceiling was not at the take's.
            self._ceiling[number] = peak
            self._flattened[number] = 0
        ceiling = float(self._ceiling[number])
        if ceiling >= LOWEST_CEILING and peak >= ceiling - 1.5 * self._step:
            self._flattened[number] += count_flattened(channel, ceiling, step=self._step)

    @property
    def own_ceiling(self) -> float | None:
        """Magnitude below full scale at which every channel that carries sound is flattened."""
        sounding = self._high - self._low >= 2.0 * SILENCE
        if not self.samples_read or not sounding.any():
            return None
        tops = self._flattened[sounding, 1]
        ceiling = float(self._ceiling[sounding].max())
        below = ceiling < 1.0 - 1.5 * self._step
        return ceiling if below and bool((tops >= FEWEST_TOPS).all()) else None

    @property
    def flattened_share(self) -> float:
        """Share of all samples that lie on flat tops at the take's own ceiling."""
        if self.own_ceiling is None:
            return 0.0
        return int(self._flattened[:, 0].sum()) / (self.samples_read * self._low.size)

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
