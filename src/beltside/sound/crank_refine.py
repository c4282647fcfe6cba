"""Sharpening a crank track: the phases of its strongest lines say how far off it runs.

With the sound resampled to equal angles, a line the track follows exactly keeps its phase from
one stretch of turns to the next; a phase that advances by p over h turns on order o means the
speed is off by p / (2 pi o h) of itself.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt
import scipy.fft
import scipy.ndimage

from beltside.sound.track import CrankTrack

Float32 = npt.NDArray[np.float32]
Float64 = npt.NDArray[np.float64]

STRETCH_TURNS: Final = 8.0
HOP_TURNS: Final = 2.0

PIECE: Final = 1 << 16
"""Samples read at a time."""


def angle_samples(
    signal: Float32, rate_hz: float, track: CrankTrack, top_hz: float
) -> tuple[Float32, int]:
    """The signal at equal angles from time 0 on, and how many samples a turn has.

    Sampled finely enough that nothing below `top_hz` folds even at the slowest moment; cubic
    interpolation, so the signal should hold nothing above a quarter of its rate.
    """
    duration_s = signal.size / rate_hz
    slowest_hz = float(track.rpm.min()) / 60.0
    per_turn = int(2 ** np.ceil(np.log2(max(2.2 * top_hz / slowest_hz, 32.0))))
    # Time against angle, exact at a fine set of moments and smooth in between.
    moments = np.linspace(0.0, duration_s, max(int(duration_s * 100.0), 2))
    turns = track.turns_at(moments)
    count = max(int(turns[-1] * per_turn), 1)
    values = np.empty(count, dtype=np.float32)
    padded = np.pad(signal, 2)
    # In pieces that stay in the processor's cache, whatever the length of the take.
    for first in range(0, count, PIECE):
        angle = np.arange(first, min(first + PIECE, count)) / per_turn
        at = np.interp(angle, turns, moments) * rate_hz
        values[first : first + PIECE] = _cubic(padded, at, signal.size)
    return values, per_turn


def cubic_at(signal: Float32, at: Float64) -> Float32:
    """Values between samples by a four-point cubic, at positions `at` [samples]."""
    return _cubic(np.pad(signal, 2), at, signal.size)


def _cubic(padded: Float32, at: Float64, size: int) -> Float32:
    """`cubic_at` of a signal of that size that has two zeros before and behind it."""
    whole = np.clip(np.floor(at).astype(np.intp), 0, size - 1)
    part = (at - whole).astype(np.float32)
    before, here, after, later = (padded[whole + shift] for shift in (1, 2, 3, 4))
    slope_here = 0.5 * (after - before)
    slope_after = 0.5 * (later - here)
    rise = after - here
    third = slope_here + slope_after - 2.0 * rise
    second = 3.0 * rise - 2.0 * slope_here - slope_after
    result: Float32 = here + part * (slope_here + part * (second + part * third))
    return result


def sharpen(
    signal: Float32,
    rate_hz: float,
    track: CrankTrack,
    *,
    highest_order: float,
    lines: int = 12,
    top_hz: float = 1000.0,
) -> CrankTrack:
    """A track corrected by the phases of the strongest lines up to `highest_order`.

    Parameters
    ----------
    signal
        Low sound, shape (n,).
    rate_hz
        Its sampling rate [Hz].
    track
        Right to about 0.5 / (`highest_order` * 2) of itself, else the phases cannot say which
        way it is off.
    highest_order
        Highest order whose phase is used [per turn].

    Returns
    -------
    CrankTrack
        One moment per two turns. The given track when there is too little to go on.
    """
    values, per_turn = angle_samples(signal, rate_hz, track, top_hz)
    size, hop = round(STRETCH_TURNS * per_turn), round(HOP_TURNS * per_turn)
    count = (values.size - size) // hop + 1
    if count < 3:
        return track
    stretches = np.lib.stride_tricks.sliding_window_view(values, size)[::hop]
    window = np.hanning(size + 2)[1:-1].astype(np.float32)
    highest = min(round(highest_order * STRETCH_TURNS), size // 2 - 1)
    spectra = np.empty((count, highest + 2), dtype=np.complex64)
    for first in range(0, count, 256):
        part = stretches[first : first + 256] * window
        spectra[first : first + 256] = scipy.fft.rfft(part, axis=-1)[:, : highest + 2]
    power = (np.abs(spectra) ** 2).mean(axis=0)
    level = np.log(power + 1e-30)
    excess = level - scipy.ndimage.median_filter(level, 25, mode="nearest")
    peak = (power[1:-1] >= power[:-2]) & (power[1:-1] >= power[2:])
    place = np.nonzero(peak)[0] + 1
    place = place[(place >= 0.4 * STRETCH_TURNS) & (excess[place] > 1.0)]
    if place.size == 0:
        return track
    place = place[np.argsort(-excess[place])][:lines]
    order = place / STRETCH_TURNS
    # The line's own place between bins does not matter: only the change of its phase does,
    # and its mean over the take is removed (a lock to the mean speed is already there).
    step = spectra[1:, place] * np.conj(spectra[:-1, place])
    step *= np.exp(-2j * np.pi * order * HOP_TURNS)
    steady = step.sum(axis=0)
    step *= np.exp(-1j * np.angle(steady))
    noise = power[place] / np.exp(excess[place])
    weight = np.abs(step) / noise
    weight = np.minimum(weight, 10.0 * np.median(weight, axis=0) + 1e-12)
    # Averaging neighbours as complex numbers first keeps the phase from wrapping on noise.
    smooth = scipy.ndimage.uniform_filter1d(step.real, 3, axis=0) + 1j * (
        scipy.ndimage.uniform_filter1d(step.imag, 3, axis=0)
    )
    off = np.angle(smooth) / (2.0 * np.pi * order * HOP_TURNS)
    pull = weight * order**2
    error = (off * pull).sum(axis=1) / np.maximum(pull.sum(axis=1), 1e-30)
    bound = 0.5 / (HOP_TURNS * highest_order)
    error = np.clip(error, -bound, bound)
    middle_turns = (np.arange(count - 1) * hop + 0.5 * (size + hop)) / per_turn
    moments = np.linspace(0.0, signal.size / rate_hz, max(int(signal.size / rate_hz * 100.0), 2))
    time_s = np.interp(middle_turns, track.turns_at(moments), moments)
    rpm = track.rpm_at(time_s) * (1.0 + error)
    scatter = np.abs(off - error[:, None])
    spread = (scatter * pull).sum(axis=1) / np.maximum(pull.sum(axis=1), 1e-30)
    half_range = np.maximum(0.002, 1.645 * spread)
    return CrankTrack(time_s, rpm, rpm * (1.0 - half_range), rpm * (1.0 + half_range))
