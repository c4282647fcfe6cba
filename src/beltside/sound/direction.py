"""Where a sound comes from, by the time it takes from one microphone to the other.

Generalised cross-correlation with the phase transform (Knapp & Carter, The generalized
correlation method for estimation of time delay, IEEE Transactions on Acoustics, Speech, and
Signal Processing 24(4), 1976): of the averaged cross-spectrum of two channels only the phase is
kept, and only inside the band asked for; its sum over frequency peaks at the delay.

A delay here is how much later the second channel hears a sound than the first: with the first
channel on the left, a delay below zero says that the sound comes from the right.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy import fft

from beltside.base.constants import SOUND_SPEED
from beltside.base.errors import InputError, OutOfRangeError, require_range
from beltside.sound.bands import Band
from beltside.sound.gate import (
    AnyFloat,
    Float32,
    Float64,
    require_positive,
    require_signal,
    steps_of,
)

SEGMENT_S: Final = 0.022
"""Length of one Fourier segment [s], rounded to a power of two samples."""

FRAME_S: Final = 0.5
"""Segments averaged for one moment of the path span so much time [s]; moments lie half apart."""

DELAY_STEPS_PER_SAMPLE: Final = 8
LEAST_BINS: Final = 8

SAME_CORRELATION: Final = 0.98
"""Channels alike to this degree, without a delay, are one microphone written twice: two
microphones a hand apart near an engine differ more (own measurement on simulated rooms, 0.9 at
most above 1 kHz). Own choice."""

SAME_DELAY_SAMPLES: Final = 0.25
SILENT_SHARE: Final = 1e-5
"""A channel with less than this share of the other's power (-50 dB) holds no sound of its own."""

TURN_DEG_S: Final = 60.0
"""How fast the direction may swing while the phone is moved by hand [degrees/s]; own choice."""

CLOSEST_MICS_MM: Final = 30.0
"""Below this distance a tenth of a millisecond decides nothing: the whole range of delays is
under 0.09 ms. Own choice."""


@dataclass(frozen=True)
class ChannelCheck:
    """Whether two channels can tell a direction.

    Attributes
    ----------
    state
        "apart" when they can; "same" for one microphone written twice (upside down or not);
        "one silent" when one channel holds no sound.
    correlation
        Highest normalised cross-correlation in the band near no delay, -1 to 1.
    level_difference_db
        First channel over the second [dB].
    """

    state: str
    correlation: float
    level_difference_db: float


@dataclass(frozen=True)
class DelayMap:
    """Phase-transform correlation over time and delay.

    Attributes
    ----------
    time_s
        Middles of the frames, shape (t,) [s].
    delay_s
        Delays looked at, rising, shape (d,) [s].
    correlation
        Shape (t, d), -1 to 1: 1 when every frequency in the band agrees on the delay.
    phase
        What it was made of: unit phasors, shape (t, bins), at `frequency_hz` (bins,).
    frequency_hz
        Bins inside the band [Hz].
    """

    time_s: Float64
    delay_s: Float64
    correlation: Float32
    phase: npt.NDArray[np.complex64]
    frequency_hz: Float64


@dataclass(frozen=True)
class DelayPath:
    """Delay over time.

    Attributes
    ----------
    time_s, delay_s
        Shape (t,) [s].
    strength
        Correlation at it, shape (t,).
    spread_s
        Robust standard deviation of the single moments' own peaks about the path [s].
    """

    time_s: Float64
    delay_s: Float64
    strength: Float64
    spread_s: float


def check_channels(samples: npt.ArrayLike, sample_rate_hz: float, band: Band) -> ChannelCheck:
    """Look whether two channels hold two microphones.

    Parameters
    ----------
    samples
        Shape (2, n), n >= 4096.
    sample_rate_hz
        Their rate [Hz].
    band
        Where to look [Hz].

    Raises
    ------
    InputError
        When there are not two channels.
    """
    values = _two(samples)
    rate_hz = require_positive("sample rate", sample_rate_hz, "Hz")
    # The mean is no sound: a silent channel with an offset is silent.
    values = values - values.mean(axis=-1, keepdims=True, dtype=np.float64)
    power: Float64 = np.mean(np.square(values, dtype=np.float64), axis=-1)
    difference_db = float(10.0 * np.log10(max(power[0], 1e-30) / max(power[1], 1e-30)))
    if float(power.min()) <= SILENT_SHARE * float(power.max()):
        return ChannelCheck("one silent", 0.0, difference_db)
    segments, frequency_hz = _segments(values, rate_hz, band)
    own: Float64 = np.mean(np.abs(segments) ** 2, axis=1, dtype=np.float64)
    cross = np.mean(segments[1] * np.conj(segments[0]), axis=0, dtype=np.complex128)
    lag_s = np.linspace(-2.0, 2.0, 65) / rate_hz
    turn = np.exp(2j * np.pi * frequency_hz[:, None] * lag_s)
    scale = np.sqrt(max(float(own[0].sum() * own[1].sum()), 1e-300))
    correlation = np.real(cross @ turn) / scale
    best = int(np.argmax(np.abs(correlation)))
    near = abs(float(lag_s[best])) * rate_hz <= SAME_DELAY_SAMPLES
    same = near and abs(float(correlation[best])) >= SAME_CORRELATION
    return ChannelCheck("same" if same else "apart", float(correlation[best]), difference_db)


def delay_map(
    samples: npt.ArrayLike,
    sample_rate_hz: float,
    band: Band,
    longest_delay_s: float,
    *,
    start_s: float = 0.0,
    frame_s: float = FRAME_S,
) -> DelayMap:
    """Phase-transform correlation of two channels inside a band, moment by moment.

    The cross-spectrum is averaged over the segments of a frame before its magnitude is taken off,
    so that what only one moment or one frequency says is outvoted.

    Parameters
    ----------
    samples
        Shape (2, n), the first channel the left one, at least one frame long.
    sample_rate_hz
        Their rate [Hz].
    band
        Band whose sound is to be found; inside 0 to half the rate, 8 bins wide or more.
    longest_delay_s
        Largest delay looked at either way [s], above 0 to 5 ms.
    start_s
        Moment of the first sample [s].
    frame_s
        Time averaged for one moment [s], 0.1 to 60.

    Raises
    ------
    InputError, OutOfRangeError
        For other than two channels, silence, or a figure outside its range.
    """
    values = _two(samples)
    rate_hz = require_positive("sample rate", sample_rate_hz, "Hz")
    require_range("longest delay", longest_delay_s, 1e-6, 5e-3, "s")
    require_range("frame", frame_s, 0.1, 60.0, "s")
    segments, frequency_hz = _segments(values, rate_hz, band)
    hop_s = _size(rate_hz) / 2 / rate_hz
    per_frame = max(1, round(frame_s / hop_s))
    step = max(1, per_frame // 2)
    if segments.shape[1] < per_frame:
        raise OutOfRangeError(
            f"{values.shape[-1] / rate_hz:.2f} s of sound",
            allowed=f"{frame_s + 0.05:.2f} s or more",
            instead="a longer take",
        )
    product = segments[1] * np.conj(segments[0])
    summed = np.concatenate(
        (np.zeros((1, product.shape[1]), dtype=np.complex128), np.cumsum(product, axis=0))
    )
    first = np.arange(0, product.shape[0] - per_frame + 1, step)
    cross = summed[first + per_frame] - summed[first]
    size = np.abs(cross)
    if float(size.max()) <= 0.0:
        raise OutOfRangeError("silence in the band", allowed="sound", instead="another band")
    phase = (cross / np.maximum(size, 1e-12 * float(size.max()))).astype(np.complex64)
    count = int(np.ceil(longest_delay_s * rate_hz * DELAY_STEPS_PER_SAMPLE))
    delay_s = np.arange(-count, count + 1) / (rate_hz * DELAY_STEPS_PER_SAMPLE)
    turn = np.exp(2j * np.pi * frequency_hz[:, None] * delay_s).astype(np.complex64)
    correlation = np.real(phase @ turn) / np.float32(frequency_hz.size)
    middle_s = start_s + (first + 0.5 * (per_frame + 1)) * hop_s
    return DelayMap(middle_s, delay_s, correlation.astype(np.float32), phase, frequency_hz)


def join(maps: Sequence[DelayMap]) -> DelayMap:
    """Maps of successive blocks as one.

    Raises
    ------
    InputError
        When there is none, or their grids differ.
    """
    if not maps or any(
        not np.array_equal(one.delay_s, maps[0].delay_s)
        or not np.array_equal(one.frequency_hz, maps[0].frequency_hz)
        for one in maps
    ):
        raise InputError(
            f"{len(maps)} delay maps that do not share their grid",
            allowed="one or more of one band, spacing and rate",
        )
    return DelayMap(
        np.concatenate([one.time_s for one in maps]),
        maps[0].delay_s,
        np.concatenate([one.correlation for one in maps]),
        np.concatenate([one.phase for one in maps]),
        maps[0].frequency_hz,
    )


def delay_path(heard: DelayMap, *, swing_s: float | None = None) -> DelayPath:
    """The delay over time: the strongest path through the map that swings no faster than allowed.

    Dynamic programming over the map (Bellman 1957): the sum of correlations along the path less a
    penalty that grows with the square of each step. Each moment's delay is then refined below the
    grid by Newton's method on the trigonometric sum itself, which has no error of interpolation.

    Parameters
    ----------
    heard
        From `delay_map`.
    swing_s
        Usual change of the delay from one moment to the next [s]; by default that of
        `TURN_DEG_S` for the longest delay of the map.
    """
    grid = heard.delay_s
    step_s = float(np.median(np.diff(heard.time_s))) if heard.time_s.size > 1 else FRAME_S / 2
    usual = swing_s or float(grid[-1]) * np.deg2rad(TURN_DEG_S) * step_s
    cost = (0.5 * ((grid[:, None] - grid[None, :]) / usual) ** 2).astype(np.float32) * np.float32(
        0.1
    )
    score = heard.correlation[0].copy()
    back = np.zeros((heard.time_s.size, grid.size), dtype=np.intp)
    for moment in range(1, heard.time_s.size):
        reached = score[:, None] - cost
        back[moment] = np.argmax(reached, axis=0)
        score = reached[back[moment], np.arange(grid.size)] + heard.correlation[moment]
    place = np.zeros(heard.time_s.size, dtype=np.intp)
    place[-1] = int(np.argmax(score))
    for moment in range(heard.time_s.size - 1, 0, -1):
        place[moment - 1] = back[moment, place[moment]]
    path = refined(heard, grid[place])
    alone = grid[np.argmax(heard.correlation, axis=1)]
    spread = 1.4826 * float(np.median(np.abs(alone - path)))
    return DelayPath(heard.time_s, path, correlation_at(heard, path), spread)


def refined(heard: DelayMap, delay_s: Float64, rounds: int = 3) -> Float64:
    """Delays (t,) moved to the top of the peak they stand on, at most one grid step away [s]."""
    step = float(heard.delay_s[1] - heard.delay_s[0])
    turn = 2.0 * np.pi * heard.frequency_hz
    now = delay_s.astype(np.float64).copy()
    for _ in range(rounds):
        each = heard.phase * np.exp(1j * turn * now[:, None])
        slope = np.real((1j * turn * each).sum(axis=1))
        bend = np.real(-(turn**2 * each).sum(axis=1))
        move = np.where(bend < 0.0, -slope / np.minimum(bend, -1e-30), 0.0)
        now = np.clip(now + move, delay_s - step, delay_s + step)
    return now


def correlation_at(heard: DelayMap, delay_s: Float64) -> Float64:
    """Correlation at one delay for every moment, shape (t,); beyond the grid it is 0."""
    turn = np.exp(2j * np.pi * heard.frequency_hz * delay_s[:, None])
    result: Float64 = np.real((heard.phase * turn).sum(axis=1)) / heard.frequency_hz.size
    return np.where(np.abs(delay_s) <= 1.05 * heard.delay_s[-1], result, 0.0)


def side_angle_deg(delay_s: npt.ArrayLike, spacing_mm: float) -> Float64:
    """Angle to the right of straight ahead from a delay, for a source far away against the spacing.

    sin(angle) = -c delay / spacing. A delay longer than the spacing allows gives 90 degrees.

    Parameters
    ----------
    delay_s
        How much later the second (right) channel hears it [s].
    spacing_mm
        Distance of the microphones, 5 to 1000 [mm].

    >>> round(float(side_angle_deg(-0.2e-3, 200.0)), 1)
    20.1
    """
    require_range("microphone spacing", spacing_mm, 5.0, 1000.0, "mm")
    sine = -SOUND_SPEED.value * np.asarray(delay_s, dtype=np.float64) / (spacing_mm / 1000.0)
    result: Float64 = np.rad2deg(np.arcsin(np.clip(sine, -1.0, 1.0)))
    return result


def delay_from(
    along_m: npt.ArrayLike, across_m: npt.ArrayLike, away_m: npt.ArrayLike, spacing_mm: float
) -> Float64:
    """Exact delay from a small source: difference of the two distances over the speed of sound.

    Parameters
    ----------
    along_m
        Source from the middle of the phone along the line of its microphones, towards the second
        channel [m].
    across_m, away_m
        Along the other side of the phone, and straight out of it [m]. All broadcast.
    spacing_mm
        Distance of the microphones [mm].

    >>> bool(abs(delay_from(0.0, 0.3, 0.5, 140.0)) < 1e-12)
    True
    """
    half = spacing_mm / 2000.0
    along = np.asarray(along_m, dtype=np.float64)
    rest = np.asarray(across_m, dtype=np.float64) ** 2 + np.asarray(away_m, dtype=np.float64) ** 2
    second = np.sqrt((along - half) ** 2 + rest)
    first = np.sqrt((along + half) ** 2 + rest)
    result: Float64 = (second - first) / SOUND_SPEED.value
    return result


def _two(samples: npt.ArrayLike) -> AnyFloat:
    values = require_signal("samples", samples, shortest=4096, dimensions=None)
    if values.ndim != 2 or values.shape[0] != 2:
        raise InputError(
            f"sound of shape {values.shape}",
            allowed="two channels, shape (2, n)",
            instead="a stereo recording",
        )
    return values


def _size(rate_hz: float) -> int:
    return int(2 ** round(np.log2(rate_hz * SEGMENT_S)))


def _segments(
    values: AnyFloat, rate_hz: float, band: Band
) -> tuple[npt.NDArray[np.complex64], Float64]:
    """Spectra of half-overlapping Hann segments inside the band, (2, segments, bins), and bins."""
    size = _size(rate_hz)
    frequency_hz = steps_of(size // 2 + 1, rate_hz / size)
    inside = np.nonzero((frequency_hz >= band.low_hz) & (frequency_hz <= band.high_hz))[0]
    if inside.size < LEAST_BINS or band.high_hz > 0.5 * rate_hz or band.low_hz <= 0.0:
        raise OutOfRangeError(
            f"a band from {band.low_hz:g} to {band.high_hz:g} Hz at {rate_hz:g} samples/s",
            allowed=f"above 0 to {rate_hz / 2:g} Hz, {LEAST_BINS * rate_hz / size:.0f} Hz wide "
            "or more",
            instead=f"1000 to {min(8000.0, 0.45 * rate_hz):.0f} Hz",
        )
    window = np.hanning(size + 1)[:-1].astype(np.float32)
    frames = np.lib.stride_tricks.sliding_window_view(values.astype(np.float32), size, axis=-1)
    frames = frames[:, :: size // 2]
    pieces = [
        fft.rfft(frames[:, begin : begin + 512] * window)[..., inside]
        for begin in range(0, frames.shape[1], 512)
    ]
    return np.concatenate(pieces, axis=1).astype(np.complex64), frequency_hz[inside]
