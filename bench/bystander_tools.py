"""Grains, clouds and wavetables: the stuff the bystander's noises are made of."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy import fft

Array = npt.NDArray[Any]
# (frequency [Hz], level [dB]) from low to high: a tone colour.
Colour = Sequence[tuple[float, float]]

GRID_S = 0.001
_LOOP = 1 << 16
_TABLE = 1 << 14
# Third-octave centres, 125 Hz to 8 kHz (base-ten series of IEC 61260, from memory).
THIRDS_HZ = 10.0 ** (np.arange(21, 40) / 10.0)


@dataclass(frozen=True)
class Motion:
    """How the crank turns during one take, and what is on meanwhile.

    Attributes
    ----------
    grid_turns
        Crank turns since the take began [turns], every `GRID_S`, ending after the take's end.
    turns
        The same at each sample.
    speed
        Crank speed at each sample over the idle speed [1].
    """

    rate_hz: int
    samples: int
    grid_turns: Array
    turns: Array
    speed: Array
    belt_on: bool = True
    loads: tuple[str, ...] = ()
    cold: bool = False

    def at(self, crank_turns: Array) -> Array:
        """When the crank has turned so far [s]."""
        ticks = np.arange(self.grid_turns.size) * GRID_S
        times: Array = np.interp(crank_turns, self.grid_turns, ticks)
        return times

    def every(self, per_turn: float, offset: float = 0.0) -> Array:
        """Times of what happens `per_turn` times per crank turn [s]; offset [crank turns]."""
        last = self.grid_turns[-1]
        return self.at(offset + np.arange(int((last - offset) * per_turn) + 1) / per_turn)

    def then(self, course: Array, times: Array) -> Array:
        """What a course over the samples is at some times [s]."""
        at = np.clip((times * self.rate_hz).astype(np.int64), 0, self.samples - 1)
        values: Array = course[at]
        return values

    @property
    def fastest_hz(self) -> float:
        """The crank's greatest speed [turns per second]."""
        return float(np.diff(self.grid_turns).max() / GRID_S)

    def silence(self) -> Array:
        return np.zeros(self.samples, np.float32)


@dataclass(frozen=True)
class Voice:
    """One noise and where it sits.

    Attributes
    ----------
    seat
        A part, or "block", "intake", "exhaust", "belt", "bay".
    level_db
        A-weighted, against the engine's loudest layer at idle, where it sounds first.
    make
        The noise of one take, at no particular level but the same one in all takes.
    growth
        Amplitude goes as this power of the speed, on top of more events per second.
    """

    seat: str
    level_db: float
    make: Callable[[np.random.Generator, Motion], Array]
    growth: float = 1.0


def gain_at(colour: Colour, freqs_hz: Array) -> Array:
    """Amplitude gain of a colour, straight in dB over the logarithm of frequency."""
    log_hz = np.log([hz for hz, _ in colour])
    steps = np.geomspace(20.0, 24_000.0, 400)
    gain = 10.0 ** (np.interp(np.log(steps), log_hz, [db for _, db in colour]) / 20.0)
    return np.interp(freqs_hz, steps, gain).astype(np.float32)


def a_weight(freqs_hz: Array) -> Array:
    """A-weighting as amplitude gain (formula of IEC 61672-1, from memory)."""
    square = np.square(np.maximum(freqs_hz, 1.0))
    low = np.sqrt((square + 107.7**2) * (square + 737.9**2))
    return 1.2589 * 12194.0**2 * square**2 / ((square + 20.6**2) * low * (square + 12194.0**2))


def cloud(rng: np.random.Generator, samples: int, rate_hz: int, colour: Colour) -> Array:
    """Noise of one colour, unit RMS: short pieces of a loop, laid over each other at random."""
    size = _LOOP // 2 + 1
    spectrum = rng.standard_normal(2 * size, np.float32).view(np.complex64)
    gain = gain_at(colour, fft.rfftfreq(_LOOP, 1.0 / rate_hz))
    loop = fft.irfft(spectrum * gain, _LOOP)
    loop /= np.sqrt(np.mean(np.square(loop)))
    hop = 4096
    count = samples // hop + 2
    pieces = loop[rng.integers(0, _LOOP - 2 * hop, count)[:, None] + np.arange(2 * hop)]
    pieces *= np.sin(np.pi * (np.arange(2 * hop) + 0.5) / (2 * hop)).astype(np.float32)
    noise: Array = (pieces[1:, :hop] + pieces[:-1, hop:]).ravel()[:samples]
    return noise


def band(low_hz: float, high_hz: float, slope_db: float = 18.0) -> Colour:
    """Colour that is flat between two frequencies and falls off on both sides [dB per octave]."""
    return (
        (low_hz / 8, -3 * slope_db),
        (low_hz, 0.0),
        (high_hz, 0.0),
        (8 * high_hz, -3 * slope_db),
    )


def ring(
    rng: np.random.Generator,
    rate_hz: int,
    modes_hz: tuple[float, float],
    decay_s: float,
    modes: int = 3,
    noise: float = 0.3,
    variants: int = 5,
) -> Array:
    """Grains of something struck: dying tones and a breath of noise, shape=(variants, length).

    The modes are the thing's own, drawn between the two frequencies; each variant is struck at
    another spot. Peaks are about 1.
    """
    time = np.arange(int(min(7.0 * decay_s, 0.25) * rate_hz)) / rate_hz
    hz = np.exp(rng.uniform(np.log(modes_hz[0]), np.log(modes_hz[1]), modes))
    own = decay_s * rng.uniform(0.5, 1.4, modes) * (hz.min() / hz) ** 0.3
    tones = np.exp(-time / own[:, None]) * np.sin(
        2 * np.pi * hz[:, None] * time + rng.uniform(0, 0.6, (modes, 1))
    )
    struck = rng.lognormal(0.0, 0.5, (variants, modes)) * rng.choice([-1, 1], (variants, modes))
    grains = struck @ tones / np.sqrt(modes)
    if noise:
        hiss = rng.standard_normal((variants, time.size)) * np.exp(-3.0 * time / decay_s)
        grains += noise * np.diff(hiss, prepend=0.0, axis=1)
    small: Array = grains.astype(np.float32)
    return small


def puff(
    rng: np.random.Generator, rate_hz: int, colour: Colour, rise_s: float, decay_s: float
) -> Array:
    """Grains of coloured noise that swell and die, shape=(5, length)."""
    time = np.arange(int(min(rise_s + 5.0 * decay_s, 0.3) * rate_hz)) / rate_hz
    size = fft.next_fast_len(time.size, real=True)
    gain = gain_at(colour, fft.rfftfreq(size, 1.0 / rate_hz))
    noise = fft.irfft(fft.rfft(rng.standard_normal((5, size))) * gain, size)[:, : time.size]
    shape = np.minimum(time / rise_s, 1.0) * np.exp(-np.maximum(time - rise_s, 0.0) / decay_s)
    grains = noise / np.std(noise) * shape
    small: Array = grains.astype(np.float32)
    return small


def strew(
    rng: np.random.Generator, motion: Motion, times: Array, levels: Array | float, grains: Array
) -> Array:
    """Grains laid at the times [s], each of a variant drawn by chance."""
    length = grains.shape[1]
    out = np.zeros(motion.samples + length, np.float32)
    starts = np.rint(times * motion.rate_hz).astype(np.int64)
    heights = np.broadcast_to(np.asarray(levels, np.float32), starts.shape)
    keep = (starts >= 0) & (starts < motion.samples) & (heights != 0)
    kinds = rng.integers(0, grains.shape[0], starts.size)
    for start, height, kind in zip(starts[keep], heights[keep], kinds[keep], strict=True):
        out[start : start + length] += height * grains[kind]
    return out[: motion.samples]


def hum(rng: np.random.Generator, phase: Array, harmonics: Mapping[int, float]) -> Array:
    """Harmonics (number: amplitude) of a phase [turns], each begun anywhere."""
    spectrum = np.zeros(_TABLE // 2 + 1, complex)
    for number, height in harmonics.items():
        spectrum[number] = height * np.exp(2j * np.pi * rng.random()) * _TABLE / 2
    table = fft.irfft(spectrum, _TABLE).astype(np.float32)
    heard: Array = table[(phase * _TABLE).astype(np.int64) & (_TABLE - 1)]
    return heard


def drift(rng: np.random.Generator, motion: Motion, hz: float) -> Array:
    """A slow random wander, about normal with unit spread, changing some `hz` times a second."""
    knots = rng.standard_normal(int(motion.samples / motion.rate_hz * hz) + 3) * 1.2
    where = np.arange(motion.samples) * (hz / motion.rate_hz)
    wander: Array = np.interp(where, np.arange(knots.size), knots).astype(np.float32)
    return wander


def shaky(
    rng: np.random.Generator, times: Array, time_s: float, level: float
) -> tuple[Array, Array]:
    """Times with jitter [s] and levels that scatter (spread of the natural logarithm)."""
    jittered = times + rng.normal(0.0, time_s, times.size)
    return jittered, rng.lognormal(0.0, level, times.size)


def log_uniform(rng: np.random.Generator, low: float, high: float) -> float:
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def a_weighted_rms(noise: Array, rate_hz: int) -> float:
    """A-weighted RMS of the middle second or two; of all when there is nothing."""
    middle = noise[max(0, (noise.size - _LOOP) // 2) :][:_LOOP]
    middle = middle if middle.any() else noise
    spectrum = np.abs(fft.rfft(middle)) * a_weight(fft.rfftfreq(middle.size, 1.0 / rate_hz))
    return float(np.sqrt(2.0 * np.sum(np.square(spectrum))) / middle.size)


def third_octaves(noise: Array, rate_hz: int) -> Array:
    """Power of each frame of 43 to 64 ms in each third octave of `THIRDS_HZ`."""
    frames = noise[: noise.size // 2048 * 2048].reshape(-1, 2048) * np.hanning(2048)
    power = np.square(np.abs(fft.rfft(frames.astype(np.float32))))
    edges = np.searchsorted(
        fft.rfftfreq(2048, 1.0 / rate_hz), [*(THIRDS_HZ / 10**0.05), THIRDS_HZ[-1] * 10**0.05]
    )
    summed = np.concatenate([np.zeros((power.shape[0], 1)), np.cumsum(power, axis=1)], axis=1)
    # The lowest bands are narrower than a line of so short a frame: at least one line each.
    bands: Array = summed[:, np.maximum(edges[1:], edges[:-1] + 1)] - summed[:, edges[:-1]]
    return bands


def stands_out_db(fault: Array, rest: Array, rate_hz: int) -> float:
    """The fault's loudest tenth of frames over the mean of all else, in its best third octave.

    All else counts as no less than 40 dB under its loudest band: what lies deeper drowns in the
    phone's own noise. -inf when there is no fault at all.
    """
    bands = third_octaves(fault, rate_hz)
    tenth = np.sort(bands, axis=0)[-max(1, bands.shape[0] // 10) :].mean(axis=0)
    others = third_octaves(rest, rate_hz).mean(axis=0)
    ratio = tenth / np.maximum(others, 1e-4 * others.max() + 1e-20)
    return float(10.0 * np.log10(ratio.max())) if ratio.max() > 0 else -np.inf
