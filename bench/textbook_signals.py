"""Textbook signals: turning shafts, impulse trains, harmonic series, modulated noise, resonances.

Levels are decibels with the A-weighting of IEC 61672-1:2013, annex E.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft

Array = NDArray[np.float64]
Wave = NDArray[np.float32]
Spectrum = NDArray[np.complex64]

# Points of a stored period, a power of two so that the phase wraps by masking bits.
TABLE = 4096
# Speed and phase are worked out this often and joined by straight lines.
COARSE_HZ = 4000.0
# Responses are worked out this often and joined by straight lines; modes are wider than this.
GRID_HZ = 2.0


@dataclass(frozen=True)
class Mode:
    """One resonance: natural frequency [Hz], damping ratio, height at resonance."""

    hz: float
    damping: float
    height: float


@dataclass
class Run:
    """An engine running for one take.

    Attributes
    ----------
    turns
        Turns of the crank at every sample, with the swing within a cycle; one cycle is two turns.
    coarse_s, coarse_turns
        The same, `COARSE_HZ` times a second.
    rpm
        Speed every `coarse_s`, without the swing within a cycle.
    speed
        Mean speed over the idle speed.
    loads
        What is switched on.
    """

    rng: np.random.Generator
    rate_hz: int
    turns: Array
    coarse_s: Array
    coarse_turns: Array
    rpm: Array
    speed: float
    loads: frozenset[str]
    white: Wave

    @property
    def size(self) -> int:
        """Samples."""
        return len(self.turns)

    def noise(self) -> Wave:
        """White noise of unit power; the same one shifted, so that ten sources cost little."""
        return np.roll(self.white, int(self.rng.integers(self.size)))

    def wave(self, per_turn: float, table: Wave) -> Wave:
        """A stored period, `per_turn` of them each turn of the crank, started anywhere."""
        phase = (self.turns * (per_turn * TABLE) + self.rng.uniform(0.0, TABLE)).astype(np.int64)
        return np.asarray(table[phase & (TABLE - 1)], np.float32)

    def locked(self, per_turn: float, table: Wave, start: float = 0.0) -> Wave:
        """As `wave`, started at a fixed place of the engine's cycle."""
        phase = ((self.turns * per_turn + start) * TABLE).astype(np.int64)
        return np.asarray(table[phase & (TABLE - 1)], np.float32)

    def events(
        self, per_turn: float, jitter: float = 0.0, start: float = 0.0
    ) -> tuple[Array, Array]:
        """Sample positions of events `per_turn` times a turn, and their running numbers.

        `jitter` is the standard deviation of each as a share of their distance; `start` shifts
        all by a share of it.
        """
        first = int(np.ceil(self.coarse_turns[0] * per_turn - start))
        last = int(np.floor(self.coarse_turns[-1] * per_turn - start))
        number = np.arange(first, last + 1, dtype=float)
        at = number + start + jitter * self.rng.standard_normal(len(number))
        seconds = np.interp(at / per_turn, self.coarse_turns, self.coarse_s)
        return seconds * self.rate_hz, number

    def blows(self, positions: Array, heights: Array) -> Wave:
        """Impulses at sample positions, shared between the two samples next to each."""
        whole = np.clip(np.floor(positions), 0, self.size - 2).astype(np.int64)
        part = np.clip(positions - whole, 0.0, 1.0)
        wave = np.bincount(whole, heights * (1.0 - part), self.size)
        wave[1:] += np.bincount(whole, heights * part, self.size)[:-1]
        return wave.astype(np.float32)

    def train(self, per_turn: float, jitter: float, spread: float, start: float = 0.0) -> Wave:
        """An impulse train; heights differ by `spread` of their mean."""
        at, number = self.events(per_turn, jitter, start)
        return self.blows(at, uneven(self.rng, len(number), spread))

    def slow(self, low_hz: float, high_hz: float) -> Wave:
        """A smooth random course of unit power with frequencies from `low_hz` to `high_hz`."""
        return slow_course(self.rng, self.size, self.rate_hz, low_hz, high_hz)


@dataclass(frozen=True)
class Sound:
    """One source of sound.

    Attributes
    ----------
    part
        Where it sits: a housing with its modes.
    make
        Gives its force or flow for a run.
    level_db
        A-weighted level at idle with all loads on, re the whole bare engine at idle.
    low_hz, high_hz
        Band it is radiated in.
    ring
        Share that goes through the modes of the housing, the rest goes straight out.
    belt
        Whether it stops with the belt off.
    grows
        Its amplitude goes with speed to this power.
    """

    part: str
    make: Callable[[Run], Wave]
    level_db: float
    low_hz: float
    high_hz: float
    ring: float = 1.0
    belt: bool = False
    grows: float = 1.0


def uneven(rng: np.random.Generator, count: int, spread: float) -> Array:
    """Heights around 1, log-normal with `spread` nepers."""
    return np.exp(rng.normal(0.0, spread, count) - 0.5 * spread**2)


def slow_course(
    rng: np.random.Generator, size: int, rate_hz: float, low_hz: float, high_hz: float
) -> Wave:
    """A smooth random course of unit power: eight sines of random frequency and phase."""
    seconds = np.linspace(0.0, size / rate_hz, int(size / rate_hz * 20.0 * high_hz) + 20)
    hz = np.exp(rng.uniform(np.log(low_hz), np.log(high_hz), (8, 1)))
    course = 0.5 * np.sin(2.0 * np.pi * (hz * seconds + rng.random((8, 1)))).sum(axis=0)
    fine = np.interp(np.linspace(0.0, seconds[-1], size), seconds, course)
    return np.asarray(fine, np.float32)


def harmonics(rng: np.random.Generator, heights: Sequence[float] | Array) -> Wave:
    """One period of a harmonic series with these amplitudes and random phases."""
    series = np.zeros(TABLE // 2 + 1, np.complex128)
    turned = np.exp(2j * np.pi * rng.random(len(heights)))
    series[1 : len(heights) + 1] = np.asarray(heights) * turned
    return np.asarray(np.fft.irfft(series, TABLE) * (TABLE / 2.0), np.float32)


def falling(rng: np.random.Generator, count: int, db_each: float, spread_db: float = 4.0) -> Array:
    """Amplitudes that fall by `db_each` from one harmonic to the next, give or take."""
    levels = -db_each * np.arange(count) + rng.normal(0.0, spread_db, count)
    return np.asarray(10.0 ** (levels / 20.0))


def pulse(width: float, heights: Sequence[float] | Array = (1.0,)) -> Wave:
    """One period with a pulse for each height, rising fast and decaying over `width` of it."""
    place = np.arange(TABLE) / TABLE
    table = np.zeros(TABLE)
    for number, height in enumerate(heights):
        since = (place - number / len(heights)) % 1.0
        table += height * (1.0 - np.exp(-8.0 * since / width)) * np.exp(-since / width)
    return table.astype(np.float32)


def modulation(rng: np.random.Generator, depth: float, count: int = 3) -> Wave:
    """One period of an envelope around 1 that swings by about `depth` (0 to 1), never below 0."""
    swing = harmonics(rng, falling(rng, count, 5.0))
    swing = np.maximum(1.0 + depth * swing / np.abs(swing).max(), 0.0)
    return np.asarray(swing, np.float32)


def tone(phase_turns: Array, table: Wave) -> Wave:
    """A stored period along a phase [turns]."""
    return np.asarray(table[(phase_turns * TABLE).astype(np.int64) & (TABLE - 1)], np.float32)


def grid(rate_hz: float) -> Array:
    """Frequencies at which responses are worked out [Hz]."""
    return np.arange(0.0, rate_hz / 2.0 + GRID_HZ, GRID_HZ)


def band(hz: Array, low_hz: float, high_hz: float, order: float = 2.0) -> Array:
    """Magnitude of a Butterworth band [-]."""
    low = (low_hz / np.maximum(hz, 1e-3)) ** (2.0 * order)
    return np.asarray(1.0 / np.sqrt((1.0 + low) * (1.0 + (hz / high_hz) ** (2.0 * order))))


def ringing(hz: Array, modes: Sequence[Mode]) -> NDArray[np.complex128]:
    """Mobility of decaying resonances side by side, `height` at each natural frequency.

    Source: single degree of freedom under force, any vibration textbook (from memory).
    """
    total = np.zeros(len(hz), np.complex128)
    for mode in modes:
        damped = 2j * mode.damping * hz * mode.hz
        total += mode.height * damped / (mode.hz**2 - hz**2 + damped)
    return total


def on_bins(response: NDArray[np.complex128] | Array, size: int, rate_hz: float) -> Spectrum:
    """A response given on `grid`, at the bins of a real transform of `size` samples."""
    place = np.arange(size // 2 + 1, dtype=np.float32) * np.float32(rate_hz / size / GRID_HZ)
    whole = place.astype(np.int32)
    part = place - whole
    known = np.append(response, response[-1]).astype(np.complex64)
    return np.asarray(known[whole] * (1.0 - part) + known[whole + 1] * part, np.complex64)


def a_weight(hz: Array) -> Array:
    """Amplitude of the A-weighting, IEC 61672-1:2013 equation E.6 (from memory)."""
    square = hz**2
    poles = (square + 20.6**2) * (square + 12194.0**2)
    poles *= np.sqrt((square + 107.7**2) * (square + 737.9**2))
    return np.asarray(1.2589 * 12194.0**2 * square**2 / np.maximum(poles, 1e-9))


def power_of(spectrum: Spectrum, size: int, rate_hz: float, weighted: bool = True) -> float:
    """Mean square of a signal from its real transform, A-weighted when asked."""
    power = spectrum.real**2 + spectrum.imag**2
    if weighted:
        hz = np.arange(len(power)) * (rate_hz / size)
        power = power * np.interp(hz, grid(rate_hz), a_weight(grid(rate_hz)) ** 2)
    return float(2.0 * power.sum(dtype=np.float64) / size**2)


def third_octaves(spectrum: Spectrum, size: int, rate_hz: float) -> Array:
    """Mean square in the third-octave bands 100 Hz to 8 kHz (base ten, IEC 61260-1:2014)."""
    edges = 1000.0 * 10.0 ** (np.arange(-10.5, 10.5) / 10.0)
    bins = np.round(edges * size / rate_hz).astype(np.int64)
    power = spectrum.real[: bins[-1]] ** 2 + spectrum.imag[: bins[-1]] ** 2
    summed = np.add.reduceat(power.astype(np.float64), bins[:-1])
    return np.asarray(2.0 * summed / size**2)


def coloured(
    rng: np.random.Generator, size: int, rate_hz: float, low_hz: float, high_hz: float
) -> Wave:
    """Noise in a band, of unit power."""
    white = rng.standard_normal(size, dtype=np.float32)
    hz = grid(rate_hz)
    shaped = fft.rfft(white) * on_bins(band(hz, low_hz, high_hz), size, rate_hz)
    wave = np.asarray(fft.irfft(shaped, size), np.float32)
    return wave / np.float32(np.sqrt(np.mean(wave**2)) + 1e-12)
