"""Signal tools of the stranger simulator: noise, ringing modes, event trains, waves by angle."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy import fft, signal

Array = npt.NDArray[Any]
TABLE_SIZE = 16384
SUB_SAMPLE_STEPS = 4


def db(level_db: float) -> float:
    """Amplitude factor of a level [dB]."""
    return float(10.0 ** (level_db / 20.0))


def log_uniform(rng: np.random.Generator, low: float, high: float) -> float:
    """One draw, uniform in the logarithm, low <= value < high."""
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


class NoisePool:
    """A long stretch of white and of pink noise from which pieces are cut at random places."""

    def __init__(self, rng: np.random.Generator, size: int = 1 << 20) -> None:
        self.white_noise = rng.standard_normal(size, dtype=np.float32)
        spectrum = fft.rfft(self.white_noise)
        spectrum[1:] /= np.sqrt(np.arange(1, len(spectrum), dtype=np.float32))
        spectrum[:2] = 0.0
        pink = fft.irfft(spectrum, size)
        self.pink_noise = (pink / pink.std()).astype(np.float32)

    @staticmethod
    def _cut(pool: Array, rng: np.random.Generator, count: int) -> Array:
        start = int(rng.integers(len(pool)))
        piece = pool[start : start + count]
        while len(piece) < count:
            piece = np.concatenate((piece, pool[: count - len(piece)]))
        return piece

    def white(self, rng: np.random.Generator, count: int) -> Array:
        """White noise, unit variance, shape=(count,)."""
        return self._cut(self.white_noise, rng, count)

    def pink(self, rng: np.random.Generator, count: int) -> Array:
        """Noise falling 3 dB per octave, unit variance, shape=(count,)."""
        return self._cut(self.pink_noise, rng, count)

    def band(
        self, rng: np.random.Generator, count: int, rate_hz: float, low_hz: float, high_hz: float
    ) -> Array:
        """Band-passed white noise of about unit variance, shape=(count,)."""
        return band_pass(self.white(rng, count), rate_hz, low_hz, high_hz) * np.float32(
            np.sqrt(0.5 * rate_hz / (high_hz - low_hz))
        )


def band_pass(x: Array, rate_hz: float, low_hz: float, high_hz: float) -> Array:
    """First-order slopes on both sides of a band, shape as `x`."""
    high_hz = min(high_hz, 0.47 * rate_hz)
    b, a = signal.butter(1, [min(low_hz, 0.9 * high_hz), high_hz], "bandpass", fs=rate_hz)
    return signal.lfilter(b.astype(np.float32), a.astype(np.float32), x)


def low_pass(x: Array, rate_hz: float, corner_hz: float) -> Array:
    """One-pole low-pass, shape as `x`."""
    pole = np.float32(np.exp(-2.0 * np.pi * corner_hz / rate_hz))
    return signal.lfilter(np.array([1.0 - pole], np.float32), np.array([1.0, -pole], np.float32), x)


def peak_section(rate_hz: float, centre_hz: float, quality: float, gain_db: float) -> Array:
    """One second-order peak or dip as a row of `sosfilt` coefficients, shape=(6,)."""
    amplitude = 10.0 ** (gain_db / 40.0)
    w = 2.0 * np.pi * min(centre_hz, 0.45 * rate_hz) / rate_hz
    alpha = np.sin(w) / (2.0 * quality)
    b = np.array([1.0 + alpha * amplitude, -2.0 * np.cos(w), 1.0 - alpha * amplitude])
    a = np.array([1.0 + alpha / amplitude, -2.0 * np.cos(w), 1.0 - alpha / amplitude])
    return np.concatenate((b / a[0], a / a[0]))


@dataclass(frozen=True)
class Mode:
    """One ringing mode of a housing."""

    hz: float
    damping: float
    gain: float
    phase: float


def draw_modes(
    rng: np.random.Generator,
    count: int,
    low_hz: float,
    high_hz: float,
    damping: tuple[float, float] = (0.015, 0.08),
) -> tuple[Mode, ...]:
    """Random modes, log-uniform in frequency."""
    return tuple(
        Mode(
            log_uniform(rng, low_hz, high_hz),
            log_uniform(rng, *damping),
            float(rng.uniform(0.4, 1.0)),
            float(rng.uniform(0.0, 2.0 * np.pi)),
        )
        for _ in range(count)
    )


class Ring:
    """What a housing answers to one blow, ready at several sub-sample delays."""

    def __init__(self, modes: Sequence[Mode], rate_hz: float, attack_ms: float = 0.08) -> None:
        slowest = min(m.damping * m.hz for m in modes) * 2.0 * np.pi
        length = int(np.clip(5.0 / slowest, 0.004, 0.08) * rate_hz)
        fade = np.ones(length)
        fade[-length // 4 :] = np.linspace(1.0, 0.0, len(fade[-length // 4 :]))
        self.steps = []
        for step in range(SUB_SAMPLE_STEPS):
            t = np.maximum((np.arange(length) - step / SUB_SAMPLE_STEPS) / rate_hz, 0.0)
            total = np.zeros(length)
            for m in modes:
                w = 2.0 * np.pi * m.hz
                total += m.gain * np.exp(-m.damping * w * t) * np.sin(w * t + m.phase)
            self.steps.append((total * fade * (1.0 - np.exp(-t / (attack_ms / 1e3)))).astype("f4"))

    def train(self, count: int, rate_hz: float, times_s: Array, sizes: Array) -> Array:
        """The sound of blows of `sizes` at `times_s`, shape=(count,)."""
        out = np.zeros(count, np.float32)
        length = len(self.steps[0])
        place = np.asarray(times_s) * rate_hz
        whole = np.floor(place).astype(int)
        step = ((place - whole) * SUB_SAMPLE_STEPS).astype(int)
        sizes32 = np.broadcast_to(np.asarray(sizes, np.float32), whole.shape)
        inside = (whole >= 0) & (whole < count - length)
        for i, k, size in zip(whole[inside], step[inside], sizes32[inside], strict=True):
            out[i : i + length] += size * self.steps[k]
        return out


def bursts(
    count: int, rate_hz: float, times_s: Array, sizes: Array, pieces: Sequence[Array]
) -> Array:
    """Ready-made pieces laid down one after another in turn, shape=(count,)."""
    out = np.zeros(count, np.float32)
    for index, (time_s, size) in enumerate(zip(times_s, sizes, strict=True)):
        piece = pieces[index % len(pieces)]
        i = int(time_s * rate_hz)
        if i >= 0 and i + len(piece) <= count:
            out[i : i + len(piece)] += np.float32(size) * piece
    return out


def table(amplitudes: Array, phases: Array) -> Array:
    """One period of a wave from its harmonics 1, 2, ..., shape=(TABLE_SIZE,)."""
    spectrum = np.zeros(TABLE_SIZE // 2 + 1, complex)
    spectrum[1 : len(amplitudes) + 1] = amplitudes * np.exp(1j * phases)
    return (fft.irfft(spectrum, TABLE_SIZE) * TABLE_SIZE / 2.0).astype(np.float32)


def bump_table(centres: Array, width: float, sizes: Array) -> Array:
    """One period with Gaussian bumps at `centres` (parts of the period), shape=(TABLE_SIZE,)."""
    at = np.arange(TABLE_SIZE) / TABLE_SIZE
    total = np.zeros(TABLE_SIZE)
    for centre, size in zip(centres, sizes, strict=True):
        gap = (at - centre + 0.5) % 1.0 - 0.5
        total += size * np.exp(-0.5 * (gap / width) ** 2)
    return total.astype(np.float32)


def look_up(wave: Array, turns: Array) -> Array:
    """The wave read at an angle given in periods, shape as `turns`."""
    fits = turns[-1] < 2**31 / TABLE_SIZE
    index: npt.NDArray[Any] = (turns * TABLE_SIZE).astype(np.int32 if fits else np.int64)
    np.bitwise_and(index, TABLE_SIZE - 1, out=index)
    read: Array = wave[index]
    return read


def slow_curve(rng: np.random.Generator, count: int, step_s: float, time_scale_s: float) -> Array:
    """A smooth random curve of zero mean and about unit variance, shape=(count,)."""
    knots = max(4, int(count * step_s / time_scale_s) + 3)
    values = rng.standard_normal(knots)
    at = np.linspace(0.0, knots - 1.001, count)
    left = at.astype(int)
    part = at - left
    part = part * part * (3.0 - 2.0 * part)
    curve: Array = values[left] * (1.0 - part) + values[np.minimum(left + 1, knots - 1)] * part
    return curve * 1.2


def stretch(curve: Array, count: int) -> Array:
    """A coarse curve read at `count` evenly spaced points, shape=(count,)."""
    at = np.linspace(0.0, len(curve) - 1.0, count)
    return np.interp(at, np.arange(len(curve)), curve).astype(np.float32)


def third_octaves(x: Array, rate_hz: float, top_hz: float) -> Array:
    """Power per frame and third octave from 160 Hz up, shape=(frames, bands).

    Frames of 2048 samples (64 ms at 32 kHz) don't overlap.
    """
    size = 2048
    frames = len(x) // size
    window = np.hanning(size).astype(np.float32)
    power = np.abs(fft.rfft(x[: frames * size].reshape(frames, size) * window)) ** 2
    count = int(3.0 * np.log2(top_hz / 160.0))
    edges = 160.0 * 2.0 ** (np.arange(count + 1) / 3.0 - 1.0 / 6.0)
    starts = np.round(edges * size / rate_hz).astype(int)
    return np.add.reduceat(power, starts, axis=1)[:, :-1]


def gain_for(
    level_db: float, sound: Array, background: Array, rate_hz: float, top_hz: float
) -> float:
    """Factor that puts `sound` at `level_db` over `background` in the band where it shows most.

    Of the third octaves holding at least 5 % of the sound's own power, the one where it
    stands out most counts. Frames in which the sound is at rest don't count.
    """
    own = third_octaves(sound, rate_hz, top_hz)
    total = own.sum(axis=1)
    if total.max() <= 0.0:
        return 0.0
    own_mean = own[total > 0.05 * total.max()].mean(axis=0)
    other_mean = third_octaves(background, rate_hz, top_hz).mean(axis=0) + 1e-30
    counts = own_mean >= 0.05 * own_mean.sum()
    return db(level_db - 10.0 * float(np.log10((own_mean / other_mean)[counts].max())))
