"""Small tools of the neighbour's simulator: grids, strikes, wave tables, noise, third octaves.

Signals are float32. Responses live on a coarse grid of `COARSE // 2 + 1` frequencies, and every
take is a whole number of coarse blocks long, so that a response is refined by straight lines.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import fft, signal

Array = NDArray[Any]

COARSE = 16_384
TABLE = 16_384
FRAME = 2_048
# The loudest share of frames counts for how far a noise stands out: ticks are heard by their peaks.
LOUDEST = 0.25


def log_uniform(rng: np.random.Generator, low: float, high: float) -> float:
    """A value between `low` and `high`, even on a logarithmic scale."""
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def chance(rng: np.random.Generator, share: float) -> bool:
    """True in that share of all draws."""
    return bool(rng.random() < share)


def gain(level_db: float) -> float:
    """Factor on amplitudes of a level in dB."""
    return float(10.0 ** (level_db / 20.0))


def coarse_hz(rate_hz: int) -> Array:
    """Frequencies of the coarse grid [Hz], shape=(COARSE // 2 + 1,)."""
    return np.fft.rfftfreq(COARSE, 1.0 / rate_hz)


def padded_length(samples: int) -> int:
    """The next length that is a whole number of coarse blocks and quick to transform."""
    return COARSE * int(fft.next_fast_len(-(-samples // COARSE)))


def refined(response: Array, length: int) -> Array:
    """A coarse response on the grid of `rfft` of `length` samples, by straight lines.

    A straight line between points of the grid fades what rings for longer than COARSE samples.
    """
    steps = length // COARSE
    low, rise = response[:-1].astype(np.complex64), np.diff(response).astype(np.complex64)
    fine = rise[:, None] * (np.arange(steps, dtype=np.float32) / np.float32(steps))
    fine += low[:, None]
    return np.append(fine.ravel(), response[-1].astype(np.complex64))


def strikes(
    samples: int, rate_hz: int, times_s: Array, heights: Array, width_s: float, sharp: bool = False
) -> Array:
    """Half sines of force `width_s` long at `times_s`, placed between samples.

    Equal heights give equal impulse (area) whatever the width, as a hammer with a softer tip does.
    `sharp` gives a sudden start that dies away instead: puffs and slaps.
    """
    width = max(width_s * rate_hz, 2.0)
    starts = times_s * rate_hz
    inside = (starts >= 0) & (starts < samples - width - 2)
    starts, heights = starts[inside], np.broadcast_to(heights, times_s.shape)[inside]
    first = starts.astype(np.int64)
    x = (np.arange(int(width) + 2)[None, :] - (starts - first)[:, None]) / width
    shape = np.exp(-4.0 * x) if sharp else np.sin(np.pi * x)
    shape = np.where((x >= 0) & (x <= 1), shape, 0.0) * heights[:, None] / width
    where = (first[:, None] + np.arange(x.shape[1])).ravel()
    out = np.bincount(where, weights=shape.ravel(), minlength=samples)[:samples]
    return out.astype(np.float32)


def looked_up(table: Array, turns: Array) -> Array:
    """The value of a table of TABLE points around one turn at each of `turns`."""
    return np.asarray(table[(turns * TABLE).astype(np.int64) & (TABLE - 1)])


def harmonic_table(rng: np.random.Generator, amplitudes: Array) -> Array:
    """One period with harmonics 1, 2, ... of these amplitudes and phases by chance."""
    spectrum = np.zeros(TABLE // 2 + 1, complex)
    phases = np.exp(2j * np.pi * rng.random(len(amplitudes)))
    spectrum[1 : len(amplitudes) + 1] = amplitudes * phases
    return np.asarray(np.fft.irfft(spectrum) * TABLE / 2).astype(np.float32)


def bump_table(centres: Array, heights: Array, width: float) -> Array:
    """Smooth bumps at `centres` (turns) around one turn, each `width` turns wide."""
    turn = np.arange(TABLE) / TABLE
    away = np.abs((turn[:, None] - centres[None, :] + 0.5) % 1.0 - 0.5) / width
    return np.asarray((np.exp(-0.5 * away**2) * heights).sum(axis=1)).astype(np.float32)


def coloured(noise: Array, rate_hz: int, centre_hz: float, sharpness: float) -> Array:
    """White noise through one resonance: `sharpness` is centre over width of the band."""
    centre = min(centre_hz, 0.4 * rate_hz)
    b, a = signal.iirpeak(centre, max(sharpness, 0.3), fs=rate_hz)
    out = signal.lfilter(b.astype(np.float32), a.astype(np.float32), noise)
    return np.asarray(out / (np.std(out) + 1e-12)).astype(np.float32)


def slow_random(rng: np.random.Generator, grid_s: Array, step_s: float) -> Array:
    """Smooth wander of about unit size with a new value each `step_s`, on `grid_s`."""
    count = int(grid_s[-1] / step_s) + 3
    points = rng.normal(size=count)
    place = grid_s / step_s
    left = place.astype(np.int64)
    share = 0.5 - 0.5 * np.cos(np.pi * (place - left))
    return np.asarray(points[left] * (1 - share) + points[left + 1] * share)


def a_weight(freqs_hz: Array) -> Array:
    """Power weight of curve A (IEC 61672-1, from memory), 1 at 1 kHz."""
    f2 = np.asarray(freqs_hz, float) ** 2
    amplitude = 12194.0**2 * f2**2
    amplitude /= (f2 + 20.6**2) * (f2 + 12194.0**2)
    amplitude /= np.sqrt((f2 + 107.7**2) * (f2 + 737.9**2))
    return np.asarray((amplitude * 1.2589) ** 2)


def third_octaves(samples: Array, rate_hz: int) -> Array:
    """Energy of each frame in third octaves from 160 Hz to 10 kHz, shape=(frames, bands)."""
    frames = samples[: len(samples) // FRAME * FRAME].reshape(-1, FRAME)
    # Flat for the most part: a tick counts alike wherever it falls within its frame.
    window = signal.windows.tukey(FRAME, 0.25).astype(np.float32)
    power = np.abs(fft.rfft(frames * window, axis=1)) ** 2
    freqs = np.fft.rfftfreq(FRAME, 1.0 / rate_hz)
    centres = 1000.0 * 2.0 ** (np.arange(-8, 11) / 3.0)
    inside = np.abs(np.log2(np.maximum(freqs, 1.0)[:, None] / centres)) <= 1.0 / 6.0
    return np.asarray(power @ inside.astype(np.float32))


def stands_out(fault: Array, rest: Array) -> float:
    """Fault over rest [dB] in the third octave where it stands out most.

    `fault` and `rest` are results of `third_octaves`; the fault's loudest quarter of frames is set
    against the mean of the rest.
    """
    count = max(1, int(LOUDEST * len(fault)))
    loud = np.sort(fault, axis=0)[-count:].mean(axis=0)
    return float(10.0 * np.log10(np.max(loud / (rest.mean(axis=0) + 1e-20)) + 1e-20))
