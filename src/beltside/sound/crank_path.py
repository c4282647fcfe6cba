"""A first path of crank speed over time: combs of engine lines, and the smoothest way through.

Every frame is heard at several assumed accelerations (the frame's time is warped so that a
speed changing at that rate becomes steady; a "fan chirp" view, after Weruaga and Kepesi, Signal
Processing 87, 2007, idea only). Each view's spectrum is whitened and matched with combs of
engine lines, one comb per candidate speed; dynamic programming then takes the path that
gathers most match for least change.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
import numpy.typing as npt
import scipy.fft
import scipy.ndimage

from beltside.sound.crank_feed import LOW_RATE_HZ, PULSE_RATE_HZ, CrankSound

Float32 = npt.NDArray[np.float32]
Float64 = npt.NDArray[np.float64]

RPM_LOW: Final = 500.0
RPM_HIGH: Final = 7000.0
GRID_STEP: Final = 0.006
"""Candidate speeds lie this far apart, as a share of themselves."""

HOP_S: Final = 0.25
FRAME_S: Final = 0.8
"""Long enough that half-order lines at 500 rpm (4.2 Hz apart) still show."""

ACCELERATIONS: Final = (
    0.0, -0.06, 0.06, -0.15, 0.15, -0.3, 0.3, -0.5, 0.5, -0.8, 0.8, -1.2, 1.2, -1.7, 1.7,
)  # fmt: skip
"""Assumed relative accelerations [1/s]; 2000 rpm/s is 1.7 /s at 1200 rpm."""

FRAMES_AT_ONCE: Final = 256
"""Frames matched together, so that a long take's spectra do not all lie in memory."""

CHANGE_COST: Final = 0.03
"""Cost of each rpm away from where the acceleration leads [match]: an engine gains and loses
speed by so many rpm per second, whatever its speed; own choice."""

MOST_STEPS: Final = 40
"""A path strays at most this many grid steps (27 %) in one hop from where its acceleration
leads, so that it cannot leap to double or four times the speed; own choice."""

SCOUT_STEP: Final = 5
"""Every so many frames one is heard at all accelerations."""

LOW_LINES_HZ: Final = (20.0, 1000.0)
PULSE_LINES_HZ: Final = (5.0, 320.0)


@dataclass(frozen=True)
class SpeedPath:
    """A path of speed through the frames.

    Attributes
    ----------
    time_s
        Frame centres, shape (n,) [s].
    rpm
        Speed there, shape (n,) [1/min].
    match
        Comb match along the path, in units of the match that noise gives (1 sigma), shape (n,).
    """

    time_s: Float64
    rpm: Float64
    match: Float64


def speed_grid() -> Float64:
    """Candidate crank speeds [1/min], evenly spaced in their logarithm."""
    count = int(np.ceil(np.log(RPM_HIGH / RPM_LOW) / GRID_STEP)) + 1
    grid: Float64 = RPM_LOW * np.exp(GRID_STEP * np.arange(count))
    return grid


def _frames(signal: Float32, rate_hz: int, acceleration: float, centres_s: Float64) -> Float32:
    """Frames of the signal with time warped for one relative acceleration, shape (frames, n)."""
    count = round(FRAME_S * rate_hz)
    phase = (np.arange(count) - 0.5 * (count - 1)) / rate_hz
    if acceleration == 0.0:
        warped = phase
    else:
        # Angle so far = t + a t^2 / 2 for a speed (1 + a t); solved for t.
        warped = (np.sqrt(np.maximum(1.0 + 2.0 * acceleration * phase, 0.05)) - 1.0) / acceleration
    window = np.hanning(count + 2)[1:-1].astype(np.float32)
    start = np.round(centres_s * rate_hz).astype(np.int64)
    at = warped * rate_hz
    whole = np.floor(at).astype(np.int64)
    part = (at - whole).astype(np.float32)
    margin = int(max(-whole.min(), whole.max() + 2)) + 1
    padded = np.pad(signal, margin)
    first = padded[start[:, None] + (whole + margin)[None, :]]
    second = padded[start[:, None] + (whole + margin + 1)[None, :]]
    frames: Float32 = (first + (second - first) * part) * window
    return frames


def _whitened(frames: Float32, rate_hz: int, lines_hz: tuple[float, float]) -> Float32:
    """Log spectrum over its own local mean, limited, between the two frequencies."""
    size = _padded_size(rate_hz)
    spectrum = scipy.fft.rfft(frames, size, axis=-1, workers=2)
    first, last = _bins(rate_hz, lines_hz)
    power = spectrum[:, first:last].real ** 2 + spectrum[:, first:last].imag ** 2
    level = np.log(power + 1e-20 + 1e-9 * power.mean(axis=-1, keepdims=True))
    width = max(9, round(40.0 * size / rate_hz) | 1)
    level -= scipy.ndimage.uniform_filter1d(level, width, axis=-1, mode="nearest")
    # A line far above the rest counts no more than a clear one: many lines beat one loud whine.
    result: Float32 = np.clip(level, -1.5, 3.0).astype(np.float32)
    return result


def _padded_size(rate_hz: int) -> int:
    return int(scipy.fft.next_fast_len(2 * round(FRAME_S * rate_hz), real=True))


def _bins(rate_hz: int, lines_hz: tuple[float, float]) -> tuple[int, int]:
    per_hz = _padded_size(rate_hz) / rate_hz
    return round(lines_hz[0] * per_hz), round(lines_hz[1] * per_hz)


@lru_cache(maxsize=16)
def _combs(rate_hz: int, lines_hz: tuple[float, float], cylinders: int, strokes: int) -> Float32:
    """One comb per candidate speed, zero mean and unit length, shape (bins, candidates)."""
    first, last = _bins(rate_hz, lines_hz)
    per_hz = _padded_size(rate_hz) / rate_hz
    frequency = np.arange(first, last) / per_hz
    cycle_hz = (speed_grid() / 60.0 * (0.5 if strokes == 4 else 1.0)).astype(np.float32)
    at_hz = frequency.astype(np.float32)[:, None]
    nearest = np.round(at_hz / cycle_hz)
    # Lines of high order smear with the speed's own unrest (0.4 %).
    width_hz = np.hypot(np.float32(2.0 / FRAME_S), np.float32(0.004) * at_hz)
    combs = np.maximum(1.0 - np.abs(at_hz - nearest * cycle_hz) / width_hz, 0.0)
    combs *= np.where(nearest % cylinders == 0, np.float32(1.0), np.float32(0.4))
    combs /= np.sqrt(1.0 + nearest / np.float32(2.0 * cylinders))
    combs[(nearest < 1) | (nearest > 16 * cylinders)] = 0.0
    combs -= combs.mean(axis=0)
    combs /= np.maximum(np.linalg.norm(combs, axis=0), 1e-9)
    result: Float32 = combs.astype(np.float32)
    return result


@dataclass(frozen=True)
class CombMatch:
    """Match of every frame with every candidate speed.

    Attributes
    ----------
    time_s
        Frame centres, shape (n,) [s].
    match
        Best match over accelerations, shape (n, candidates), in noise sigmas.
    acceleration
        The acceleration that gave it, shape (n, candidates) [1/s].
    """

    time_s: Float64
    match: Float32
    acceleration: Float32


def comb_match(sound: CrankSound, cylinders: int, strokes: int) -> CombMatch:
    """Match every frame of the take with the combs of all candidate speeds.

    Every frame is heard as if its speed were steady. Every fifth frame, and every frame that
    then fits markedly worse than the take's usual, is heard at all accelerations; where one of
    them fits better, so are the frames around it. A steady take costs a fraction of a blip.
    """
    centres_s = np.arange(0.5 * HOP_S, max(sound.duration_s, HOP_S), HOP_S)
    match, acceleration = _match_at(sound, centres_s, ACCELERATIONS[:1], cylinders, strokes)
    steady = match.max(axis=1)
    scouts = np.zeros(centres_s.size, dtype=np.bool_)
    scouts[::SCOUT_STEP] = True
    scouts |= steady < 0.75 * np.median(steady)
    _improve(sound, centres_s, np.flatnonzero(scouts), match, acceleration, cylinders, strokes)
    moving = scouts & (match.max(axis=1) > 1.05 * steady)
    around = scipy.ndimage.binary_dilation(moving, iterations=SCOUT_STEP) & ~scouts
    _improve(sound, centres_s, np.flatnonzero(around), match, acceleration, cylinders, strokes)
    return CombMatch(centres_s, match, acceleration)


def _improve(
    sound: CrankSound,
    centres_s: Float64,
    frames: npt.NDArray[np.intp],
    match: Float32,
    acceleration: Float32,
    cylinders: int,
    strokes: int,
) -> None:
    """Hear some frames at all other accelerations, and keep what fits better, in place."""
    if frames.size == 0:
        return
    found, at = _match_at(sound, centres_s[frames], ACCELERATIONS[1:], cylinders, strokes)
    better = found > match[frames]
    match[frames] = np.where(better, found, match[frames])
    acceleration[frames] = np.where(better, at, acceleration[frames])


def _match_at(
    sound: CrankSound,
    centres_s: Float64,
    accelerations: Sequence[float],
    cylinders: int,
    strokes: int,
) -> tuple[Float32, Float32]:
    """Best match and its acceleration for frames at `centres_s`, a bounded number at a time."""
    # Filled in place: parts joined at the end would take twice the memory of a long take.
    match = np.empty((centres_s.size, speed_grid().size), dtype=np.float32)
    acceleration = np.empty_like(match)
    for first in range(0, centres_s.size, FRAMES_AT_ONCE):
        some = slice(first, first + FRAMES_AT_ONCE)
        match[some], acceleration[some] = _match_frames(
            sound, centres_s[some], accelerations, cylinders, strokes
        )
    return match, acceleration


def _match_frames(
    sound: CrankSound,
    centres_s: Float64,
    accelerations: Sequence[float],
    cylinders: int,
    strokes: int,
) -> tuple[Float32, Float32]:
    """Best match and its acceleration for frames at `centres_s`."""
    best = np.full((centres_s.size, speed_grid().size), -np.inf, dtype=np.float32)
    acceleration = np.zeros_like(best)
    use_pulse = sound.pulse.size > PULSE_RATE_HZ
    pulse = sound.pulse - np.float32(1.0) if use_pulse else sound.pulse
    for assumed in accelerations:
        low = _whitened(
            _frames(sound.low, LOW_RATE_HZ, assumed, centres_s), LOW_RATE_HZ, LOW_LINES_HZ
        )
        match = low @ _combs(LOW_RATE_HZ, LOW_LINES_HZ, cylinders, strokes)
        if use_pulse:
            high = _whitened(
                _frames(pulse, PULSE_RATE_HZ, assumed, centres_s), PULSE_RATE_HZ, PULSE_LINES_HZ
            )
            match = match + high @ _combs(PULSE_RATE_HZ, PULSE_LINES_HZ, cylinders, strokes)
        match = match - np.float32(0.3 * abs(assumed) ** 0.5)
        np.copyto(acceleration, np.float32(assumed), where=match > best)
        np.maximum(best, match, out=best)
    return best, acceleration


def best_path(
    combs: CombMatch,
    banned: npt.NDArray[np.bool_] | None = None,
    bonus: Float64 | None = None,
    change_cost: float = CHANGE_COST,
) -> SpeedPath:
    """The path through the frames with the most match for the least change of speed.

    Parameters
    ----------
    combs
        From `comb_match`.
    banned
        Candidates not to be used, shape (n, candidates).
    bonus
        Added to the match of each candidate in every frame, shape (candidates,) [sigmas].
    change_cost
        Cost of each rpm away from where the acceleration leads [sigmas].
    """
    frames, candidates = combs.match.shape

    def scored(frame: int) -> Float64:
        # Row by row: of a long take all of them at once are the largest array there is.
        score: Float64 = combs.match[frame].astype(np.float64)
        if bonus is not None:
            score += bonus
        return score if banned is None else np.where(banned[frame], score - 50.0, score)

    index = np.arange(candidates)
    cost = change_cost * speed_grid()
    total = scored(0)
    led = np.full((frames, candidates), -np.inf)
    source = np.zeros((frames, candidates), dtype=np.int16)
    for frame in range(1, frames):
        # Where each candidate would be now, by its own acceleration over the hop.
        lead = np.clip(
            index + np.round(combs.acceleration[frame - 1] * HOP_S / GRID_STEP).astype(np.int64),
            0,
            candidates - 1,
        )
        row, origin = led[frame], index.copy()
        order = np.argsort(total, kind="stable")
        row[lead[order]] = total[order]
        origin[lead[order]] = order
        stay = total > row
        row[stay] = total[stay] - 0.5 * (lead[stay] != index[stay])
        origin[stay] = index[stay]
        source[frame] = origin
        # The best within reach below and above, at a cost for each step away.
        below = _best_within(row + cost, MOST_STEPS // 2) - cost
        above = _best_within(row - cost, -MOST_STEPS // 2) + cost
        total = np.maximum(below, above) + scored(frame)
    path = np.zeros(frames, dtype=np.int64)
    path[-1] = int(np.argmax(total))
    for frame in range(frames - 1, 0, -1):
        here = path[frame]
        first = max(here - MOST_STEPS, 0)
        reach = np.arange(first, min(here + MOST_STEPS + 1, candidates))
        gain = led[frame, reach] - np.abs(cost[reach] - cost[here])
        path[frame - 1] = source[frame, reach[int(np.argmax(gain))]]
    rows = np.arange(frames)
    return SpeedPath(
        combs.time_s, _between_grid(combs.match, path), combs.match[rows, path].astype(np.float64)
    )


def _best_within(values: Float64, shift: int) -> Float64:
    """Largest of each value and its `MOST_STEPS` neighbours before it (after it, for a negative
    shift)."""
    result: Float64 = scipy.ndimage.maximum_filter1d(
        values, MOST_STEPS + 1, origin=shift, mode="constant", cval=-np.inf
    )
    return result


def _between_grid(match: Float32, path: npt.NDArray[np.int64]) -> Float64:
    """Speeds at the tops of parabolas through the path's grid points [1/min]."""
    rows = np.arange(path.size)
    inner = np.clip(path, 1, match.shape[1] - 2)
    left, top, right = (match[rows, inner + shift].astype(np.float64) for shift in (-1, 0, 1))
    bend = left - 2.0 * top + right
    shift = np.where(bend < -1e-9, 0.5 * (left - right) / np.minimum(bend, -1e-9), 0.0)
    result: Float64 = RPM_LOW * np.exp(GRID_STEP * (inner + np.clip(shift, -0.5, 0.5)))
    return result
