"""Signal tools of the judge: filtering in long blocks, trains of blows, modes, audibility."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy import fft, signal

Array = npt.NDArray[Any]
Colour = Callable[[Array], Array]
Floats = Sequence[float] | Array

# Filtering is done in blocks: responses last REACH samples at most, of which LEAD come before the
# blow (a smooth response without phase reaches both ways).
BLOCK = 32768
REACH = 8192
LEAD = 1024
HOP = BLOCK - REACH

# Edges of the critical bands [Hz] (Zwicker's Bark scale).
BARK_EDGES_HZ = np.array(
    (
        *(20, 100, 200, 300, 400, 510, 630, 770, 920, 1080, 1270, 1480, 1720),
        *(2000, 2320, 2700, 3150, 3700, 4400, 5300, 6400, 7700, 9500, 12000, 15500),
    ),
    dtype=float,
)
# Bands a technician's ear and a phone share: from 100 Hz to 9.5 kHz.
HEARD_BANDS = slice(1, 22)
FRAME = 1024
LOUD_SHARE = 0.1


def grid_hz(rate_hz: int) -> Array:
    """Frequencies of the block spectra [Hz], shape=(BLOCK // 2 + 1,)."""
    return np.asarray(np.fft.rfftfreq(BLOCK, 1.0 / rate_hz))


def blocks_in(size: int) -> int:
    """How many blocks a sound of `size` samples takes."""
    return -(-size // HOP)


def spectra(sound: Array) -> Array:
    """Block spectra of a sound, complex64, shape=(blocks, BLOCK // 2 + 1)."""
    count = blocks_in(sound.size)
    padded = np.zeros((count, BLOCK), dtype=np.float32)
    flat = np.zeros(count * HOP, dtype=np.float32)
    flat[: sound.size] = sound
    padded[:, :HOP] = flat.reshape(count, HOP)
    return np.asarray(fft.rfft(padded, axis=1))


def joined(blocks: Array, size: int) -> Array:
    """The sound back from filtered block spectra, `size` samples, blocks overlapping."""
    parts = fft.irfft(blocks, BLOCK, axis=1)
    whole = np.zeros(parts.shape[0] * HOP + REACH)
    for number, part in enumerate(parts):
        whole[number * HOP : number * HOP + BLOCK] += part
    return whole[LEAD : LEAD + size]


def lead_phase(freqs_hz: Array, rate_hz: int) -> Array:
    """The delay of LEAD samples that keeps smooth responses from wrapping round."""
    return np.asarray(np.exp(-2j * np.pi * freqs_hz * LEAD / rate_hz))


def train(size: int, at: Array, heights: Array | float) -> Array:
    """Blows at fractional sample positions, shared between the two nearest samples."""
    at = np.asarray(at, dtype=float)
    heights = np.broadcast_to(np.asarray(heights, dtype=float), at.shape)
    inside = (at >= 0) & (at < size - 1)
    at, heights = at[inside], heights[inside]
    first = at.astype(int)
    rest = at - first
    blows = np.bincount(first, heights * (1.0 - rest), minlength=size)
    blows += np.bincount(first + 1, heights * rest, minlength=size)
    return np.asarray(blows[:size])


def crossings(turns: Array, phase: float = 0.0) -> Array:
    """Sample positions at which a rising angle passes whole turns plus `phase`."""
    low, high = np.ceil(turns[0] - phase), np.floor(turns[-1] - phase)
    targets = np.arange(low, high + 1.0) + phase
    return np.asarray(np.interp(targets, turns, np.arange(turns.size)))


def white(rng: np.random.Generator, size: int) -> Array:
    """White noise of unit power, float32."""
    return rng.standard_normal(size, dtype=np.float32)


def wander(rng: np.random.Generator, size: int, rate_hz: int, up_to_hz: float) -> Array:
    """Smooth random swing of about unit variance, up to `up_to_hz`."""
    knots = max(int(size / rate_hz * 2.0 * up_to_hz) + 4, 4)
    values = rng.standard_normal(knots)
    at = np.linspace(0.0, size, knots)
    return np.asarray(np.interp(np.arange(size), at, values)) * 1.22


def smoothed(values: Array, rate_hz: int, time_s: float) -> Array:
    """One-pole smoothing with the time constant given [s]."""
    keep = float(np.exp(-1.0 / (time_s * rate_hz)))
    return np.asarray(signal.lfilter([1.0 - keep], [1.0, -keep], values))


def cyclic(table: Array, turns: Array) -> Array:
    """A table read round and round: `table` spans one turn."""
    where = (turns % 1.0 * table.size).astype(np.int64)
    return np.asarray(table[np.minimum(where, table.size - 1)])


def uneven(
    rng: np.random.Generator, depth: float, harmonics: Sequence[int], points: int = 720
) -> Array:
    """A positive random pattern over one turn with mean 1 and about `depth` rms."""
    angle = 2.0 * np.pi * np.arange(points) / points
    pattern = np.zeros(points)
    for number in harmonics:
        swing = rng.rayleigh(1.0) / np.sqrt(len(harmonics))
        pattern += swing * np.cos(number * angle + rng.uniform(0.0, 2.0 * np.pi))
    table = np.exp(depth * pattern)
    return np.asarray(table / table.mean())


def bumps(phases: Floats, width: float, heights: Floats, points: int) -> Array:
    """A table over one turn with a one-sided bump that dies away after each phase."""
    at = np.arange(points) / points
    table = np.zeros(points)
    for phase, height in zip(phases, heights, strict=True):
        table += height * np.exp(-((at - phase) % 1.0) / width)
    return table


def flat(freqs_hz: Array) -> Array:
    """No colour at all."""
    return np.ones_like(freqs_hz)


def band(low_hz: float, high_hz: float, steep: float = 2.0) -> Colour:
    """A band with soft edges of 6 dB per octave times `steep`."""

    def colour(freqs_hz: Array) -> Array:
        safe = np.maximum(freqs_hz, 1.0)
        up = 1.0 / np.sqrt(1.0 + (low_hz / safe) ** (2 * steep))
        down = 1.0 / np.sqrt(1.0 + (safe / high_hz) ** (2 * steep))
        return np.asarray(up * down)

    return colour


def falling(corner_hz: float, steep: float) -> Colour:
    """A pulse's spectrum: even up to the corner, then falling by 6 dB per octave x `steep`."""

    def colour(freqs_hz: Array) -> Array:
        return np.asarray((1.0 + (freqs_hz / corner_hz) ** 2) ** (-steep / 2.0))

    return colour


@dataclass(frozen=True)
class Modes:
    """Modes of a housing: frequency [Hz], damping ratio and signed share of each."""

    freqs_hz: Array
    damping: Array
    shares: Array

    def response(self, freqs_hz: Array) -> Array:
        """Acceleration for a force: each mode rises to its resonance and stays level above."""
        total = np.zeros(freqs_hz.size, dtype=complex)
        square = freqs_hz**2
        for one, damping, part in zip(self.freqs_hz, self.damping, self.shares, strict=True):
            total += part * -square / (one**2 - square + 2j * damping * one * freqs_hz)
        return total

    def rung(self, seconds: float, rate_hz: int) -> Array:
        """How a blow rings: displacement's second derivative without the blow itself."""
        time = np.arange(int(seconds * rate_hz)) / rate_hz
        ring = np.zeros(time.size)
        for one, damping, part in zip(self.freqs_hz, self.damping, self.shares, strict=True):
            pulse = 2.0 * np.pi * one
            ring += part * np.exp(-damping * pulse * time) * np.sin(pulse * time)
        return ring


def draw_modes(
    rng: np.random.Generator,
    low_hz: float,
    high_hz: float,
    count: int,
    damping: tuple[float, float],
) -> Modes:
    """Random modes spread evenly over the logarithm of frequency."""
    edges = np.geomspace(low_hz, high_hz, count + 1)
    freqs = np.exp(rng.uniform(np.log(edges[:-1]), np.log(edges[1:])))
    shares = rng.choice([-1.0, 1.0], count) * rng.lognormal(0.0, 0.6, count)
    return Modes(freqs, np.exp(rng.uniform(np.log(damping[0]), np.log(damping[1]), count)), shares)


def a_weight(freqs_hz: Array) -> Array:
    """A-weighting as an amplitude factor (IEC 61672-1), 1 at 1 kHz."""
    square = freqs_hz**2
    top = 12194.0**2 * square**2
    low = (square + 20.6**2) * (square + 12194.0**2)
    mid = np.sqrt((square + 107.7**2) * (square + 737.9**2))
    return np.asarray(top / (low * mid) * 10.0**0.1)


def band_energies(sound: Array, rate_hz: int) -> Array:
    """Energy in each critical band, frame by frame of 1024 samples, shape=(frames, 24)."""
    count = sound.size // FRAME
    frames = sound[: count * FRAME].reshape(count, FRAME) * np.hanning(FRAME)
    power = np.abs(fft.rfft(frames.astype(np.float32), axis=1)) ** 2
    edges = np.searchsorted(np.fft.rfftfreq(FRAME, 1.0 / rate_hz), BARK_EDGES_HZ)
    summed = np.concatenate([np.zeros((count, 1)), np.cumsum(power, axis=1, dtype=float)], axis=1)
    return np.asarray(summed[:, edges[1:]] - summed[:, edges[:-1]])


def stands_out_db(fault: Array, rest: Array, rate_hz: int) -> float:
    """How far a fault stands out where the ear would pick it up [dB].

    In each critical band: mean energy of the fault's loudest tenth of frames (21 ms) over the
    mean energy of all else; the highest of these, two neighbouring bands taken together. Around
    -4 dB is the threshold of hearing a sound in noise of its own band (Zwicker & Fastl,
    Psychoacoustics, from memory).
    """
    loud = np.sort(band_energies(fault, rate_hz), axis=0)
    top = loud[-max(int(LOUD_SHARE * len(loud)), 1) :].mean(axis=0)
    other = band_energies(rest, rate_hz).mean(axis=0)
    pair = (top[:-1] + top[1:]) / np.maximum(other[:-1] + other[1:], 1e-30)
    return float(10.0 * np.log10(max(pair[HEARD_BANDS].max(), 1e-12)))
