"""The apprentice's tools: a turning crank, tones by orders, pulses that ring, and noise.

Everything is counted in turns of the crank, so one track of its turns serves all sources of a
take. Filters are products in the frequency domain; takes wrap around there, which nobody hears.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import fft

Array = NDArray[np.float32]
Spectrum = NDArray[np.complex64]
Float = NDArray[np.float64]

# One turn of a wavetable, and the frequencies at which the power of steady noise is kept.
TABLE = 32_768
GRID_HZ: Float = np.geomspace(20.0, 24_000.0, 300)
CONTROL_HZ = 200.0
# What goes on without the belt.
ENGINE_HOUSINGS = ("engine", "timing-chain", "valve-train", "crank", "air")


@dataclass(frozen=True)
class Turning:
    """The crank during one take.

    `rpm` and `turns` stand at `time_s`, `phase` is the turns at each sample.
    """

    rate_hz: int
    time_s: Float
    rpm: Float
    turns: Float
    phase: Float

    @property
    def samples(self) -> int:
        """Samples of the take; a length with small factors."""
        return int(self.phase.size)

    @cached_property
    def freqs_hz(self) -> Array:
        """Frequency of each bin of a real spectrum [Hz]."""
        return fft.rfftfreq(self.samples, 1.0 / self.rate_hz).astype(np.float32)

    def at(self, turns: Float) -> Float:
        """When the crank has made so many turns [s]."""
        return np.interp(turns, self.turns, self.time_s)

    def spread(self, values: Float) -> Float:
        """Values given at `time_s`, at each sample."""
        return np.interp(np.arange(self.samples) / self.rate_hz, self.time_s, values)

    def sweep(self, frequency_hz: Float) -> Float:
        """Turns at each sample of something with this frequency [Hz] at `time_s`."""
        return self.spread(np.cumsum(frequency_hz) / CONTROL_HZ)


@dataclass(frozen=True)
class Sound:
    """One source as samples, as a spectrum, or as the power density of steady noise on GRID_HZ."""

    time: Array | None = None
    spectrum: Spectrum | None = None
    density: Float | None = None

    def power(self, turning: Turning) -> float:
        """Mean square."""
        total = 0.0
        if self.time is not None:
            total += float(np.vdot(self.time, self.time)) / turning.samples
        if self.spectrum is not None:
            total += 2.0 * float(np.vdot(self.spectrum, self.spectrum).real) / turning.samples**2
        if self.density is not None:
            total += float(np.trapezoid(self.density * (turning.rate_hz / 2 > GRID_HZ), GRID_HZ))
        return total


@dataclass(frozen=True)
class Source:
    """Something that sounds.

    Attributes
    ----------
    housing
        Where a probe hears it best: a pulley part, "timing-chain", "valve-train", "engine",
        "crank", "belt" or "air".
    play
        One take of it; any gain, the same on every take.
    level_db
        How loud at idle [dB], with its load on if it has one.
    speed_power
        Amplitude grows as this power of the speed.
    loads, unloaded_db
        Loads of which one makes it loud, and how much quieter it is without.
    """

    housing: str
    play: Callable[[np.random.Generator, Turning], Sound]
    level_db: float = 0.0
    speed_power: float = 0.5
    loads: tuple[str, ...] = ()
    unloaded_db: float = 0.0

    @property
    def stops_without_belt(self) -> bool:
        """Whether the belt drives it."""
        return self.housing not in ENGINE_HOUSINGS


class Mix:
    """A weighted sum of sounds of one take."""

    def __init__(self, turning: Turning) -> None:
        self.turning = turning
        self._time = np.zeros(turning.samples, np.float32)
        self._spectrum = np.zeros(turning.freqs_hz.size, np.complex64)
        self._density = np.zeros(GRID_HZ.size)

    def add(self, sound: Sound, gain: float) -> None:
        """One more sound, its samples times `gain`."""
        if sound.time is not None:
            self._time += np.float32(gain) * sound.time
        if sound.spectrum is not None:
            self._spectrum += np.float32(gain) * sound.spectrum
        if sound.density is not None:
            self._density += gain**2 * sound.density

    def spectrum(self, rng: np.random.Generator) -> Spectrum:
        """All of it; steady noise is drawn here, once for all its sources."""
        total = self._spectrum + fft.rfft(self._time)
        if self._density.any():
            total += noise_spectrum(rng, self.turning, self._density)
        return np.asarray(total, np.complex64)


def draw_turning(
    rng: np.random.Generator,
    rate_hz: int,
    duration_s: float,
    rpm: float,
    wander: float,
    start_rpm: float | None = None,
) -> Turning:
    """A crank held at `rpm`, wandering by the share `wander`; run up from `start_rpm` if given."""
    samples = fft.next_fast_len(round(duration_s * rate_hz), real=True)
    time_s = np.arange(int(samples / rate_hz * CONTROL_HZ) + 2) / CONTROL_HZ
    swings = [
        rng.normal() * np.sin(2.0 * np.pi * (rng.uniform(0.08, 1.6) * time_s + rng.random()))
        for _ in range(4)
    ]
    track = rpm * (1.0 + 0.7 * wander * np.sum(swings, axis=0))
    if start_rpm is not None:
        begin, lasts = rng.uniform(0.3, 1.5), rng.uniform(0.7, 2.0)
        rise = np.clip((time_s - begin) / lasts, 0.0, 1.0)
        track *= start_rpm / rpm + (1.0 - start_rpm / rpm) * rise**2 * (3.0 - 2.0 * rise)
    turns = np.concatenate([[0.0], np.cumsum(track[:-1]) / 60.0 / CONTROL_HZ])
    phase = np.interp(np.arange(samples) / rate_hz, time_s, turns)
    return Turning(rate_hz, time_s, track, turns, phase)


def harmonics(rng: np.random.Generator, amplitudes: ArrayLike) -> Array:
    """One turn of a wave of harmonics 1, 2, ... with these amplitudes, their phases by chance."""
    bins = np.zeros(TABLE // 2 + 1, complex)
    heights = np.asarray(amplitudes, float)
    angles = np.exp(2j * np.pi * rng.random(heights.size))
    bins[1 : heights.size + 1] = TABLE / 2 * heights * angles
    return np.asarray(fft.irfft(bins, TABLE), np.float32)


def bumps(centres: Float, heights: Float, width: float, floor: float = 0.0) -> Array:
    """One turn of a curve with round bumps at `centres`, `width` wide (all in turns)."""
    turn = np.arange(TABLE) / TABLE
    away = np.abs((turn[None, :] - np.asarray(centres)[:, None] + 0.5) % 1.0 - 0.5)
    curve = np.asarray(heights)[:, None] * np.exp(-0.5 * (away / (0.4 * width)) ** 2)
    return np.asarray(floor + curve.sum(axis=0), np.float32)


def looked_up(table: Array, phase: Float) -> Array:
    """A wavetable read at `phase` [turns, 0 or more]."""
    return np.asarray(table[(phase * TABLE).astype(np.int64) & (TABLE - 1)], np.float32)


def per_turn(values: Array, phase: Float) -> Array:
    """One value for each whole turn of `phase`, the list begun anew when it ends."""
    return np.asarray(values[phase.astype(np.int32) % values.size], np.float32)


def locked(rng: np.random.Generator, turning: Turning, order: float, jitter: float = 0.0) -> Float:
    """Crank turns at which something happens `order` times a turn, `jitter` of a period off."""
    count = int(turning.turns[-1] * order) + 1
    steps = np.arange(count) + rng.random() + jitter * rng.normal(size=count)
    return np.asarray(steps / order, float)


def slipping(rng: np.random.Generator, turning: Turning, order: float, slip: float) -> Float:
    """Crank turns of blows `order` times a turn on average, each period off by the share `slip`."""
    count = int(1.2 * turning.turns[-1] * order) + 5
    steps = rng.random() + np.cumsum(1.0 + slip * rng.normal(size=count))
    return np.asarray(steps / order, float)


def ringing(turning: Turning, turns: Float, heights: Float, modes: Modes) -> Sound:
    """Pulses at these crank turns, each of which sets all modes ringing."""
    inside = (turns >= 0.0) & (turns < turning.turns[-1])
    place = turning.at(turns[inside]) * turning.rate_hz
    first = place.astype(np.int64) % turning.samples
    late = place % 1.0
    train = np.bincount(first, heights[inside] * (1.0 - late), turning.samples)
    train += np.bincount((first + 1) % turning.samples, heights[inside] * late, turning.samples)
    blows = fft.rfft(train.astype(np.float32)) * modes.response(turning.freqs_hz)
    return Sound(spectrum=np.asarray(blows, np.complex64))


@dataclass(frozen=True)
class Modes:
    """Decaying resonances.

    Attributes
    ----------
    mode_hz, decay_s, weights
        Frequency [Hz], time to 1/e [s] and share of each; a mode has unit energy at weight 1.
    """

    mode_hz: Float
    decay_s: Float
    weights: Float

    def response(self, freqs_hz: Array) -> Spectrum:
        """Fourier transform of a decaying sine each, added up."""
        total = np.zeros(freqs_hz.size, np.complex64)
        omega = (2j * np.pi * freqs_hz).astype(np.complex64)
        for mode_hz, decay_s, weight in zip(self.mode_hz, self.decay_s, self.weights, strict=True):
            angular, rate = 2.0 * np.pi * mode_hz, 1.0 / decay_s
            scale = np.float32(weight * angular * np.sqrt(rate))
            total += scale / ((omega + np.float32(rate)) ** 2 + np.float32(angular**2))
        return total


def draw_modes(
    rng: np.random.Generator,
    low_hz: float,
    high_hz: float,
    decay_s: tuple[float, float] = (0.001, 0.005),
) -> Modes:
    """One or two resonances in a range; a simple housing."""
    count = int(rng.integers(1, 3))
    mode_hz = np.exp(rng.uniform(np.log(low_hz), np.log(high_hz), count))
    decays = np.exp(rng.uniform(np.log(decay_s[0]), np.log(decay_s[1]), count))
    return Modes(mode_hz, decays, np.array([1.0, rng.uniform(0.2, 0.9)])[:count])


def band(low_hz: float, high_hz: float, tilt_db: float = 0.0) -> Float:
    """Power density of noise between two frequencies, falling by 12 dB an octave outside.

    `tilt_db` is added per octave inside, counted from `low_hz`.
    """
    octave = np.log2(GRID_HZ / low_hz)
    edge = 1.0 / (1.0 + (low_hz / GRID_HZ) ** 4) / (1.0 + (GRID_HZ / high_hz) ** 4)
    return np.asarray(edge * 10.0 ** (tilt_db * np.clip(octave, -2.0, 8.0) / 10.0), float)


def noise_spectrum(rng: np.random.Generator, turning: Turning, density: Float) -> Spectrum:
    """Spectrum of Gaussian noise of that power density."""
    bins = turning.freqs_hz.size
    white = rng.standard_normal(2 * bins, np.float32).view(np.complex64)
    scale = 0.5 * np.sqrt(float(turning.samples) * turning.rate_hz)
    root = scale * np.interp(turning.freqs_hz, GRID_HZ, np.sqrt(density), 0.0, 0.0)
    return np.asarray(white * root.astype(np.float32), np.complex64)


def noise(rng: np.random.Generator, turning: Turning, density: Float) -> Array:
    """Gaussian noise of that power density."""
    return np.asarray(fft.irfft(noise_spectrum(rng, turning, density), turning.samples), np.float32)
