"""Recordings without an engine, and what is heard around one in a place of work.

Figures: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy import fft

from neighbour_tools import Array, chance, harmonic_table, log_uniform, looked_up, strikes


def hush(rng: np.random.Generator, samples: int, rate_hz: int, slope: float) -> Array:
    """Noise that falls by `slope` dB an octave above 60 Hz, rms 1."""
    length = int(fft.next_fast_len(samples, real=True))
    count = length // 2 + 1
    spectrum = rng.standard_normal(2 * count, np.float32).view(np.complex64)
    freqs = np.arange(count) * rate_hz / length
    spectrum *= (np.maximum(freqs, 60.0) ** (-slope / 6.02)).astype(np.float32)
    spectrum[freqs < 15.0] = 0.0
    out = fft.irfft(spectrum, length)[:samples]
    return np.asarray(out / np.std(out), np.float32)


def swell(rng: np.random.Generator, samples: int, rate_hz: int, step_s: float) -> Array:
    """A positive envelope with a new height each `step_s`."""
    count = int(samples / rate_hz / step_s) + 3
    heights = rng.lognormal(0.0, 0.7, count)
    places = np.arange(count) * step_s * rate_hz
    return np.interp(np.arange(samples), places, heights).astype(np.float32)


def _wind(rng: np.random.Generator, samples: int, rate_hz: int) -> Array:
    gusts = swell(rng, samples, rate_hz, 0.4)
    return np.asarray(hush(rng, samples, rate_hz, rng.uniform(6, 10)) * gusts**2)


def _traffic(rng: np.random.Generator, samples: int, rate_hz: int) -> Array:
    time = np.arange(samples) / rate_hz
    near = 1.0 / (1.0 + ((time - rng.uniform(0, time[-1])) / rng.uniform(0.6, 3.0)) ** 2) + 0.2
    return np.asarray(hush(rng, samples, rate_hz, rng.uniform(3, 6)) * near.astype(np.float32))


def _speech(rng: np.random.Generator, samples: int, rate_hz: int) -> Array:
    """Voiced syllables: a buzz with two formants that move, and hiss between."""
    grid = np.arange(samples) / rate_hz
    pitch = rng.uniform(90, 240) * swell(rng, samples, rate_hz, 0.25) ** 0.15
    voice = np.zeros(samples, np.float32)
    for _ in range(2):
        formant = log_uniform(rng, 350, 2_600)
        base = float(pitch.mean())
        harmonic = np.arange(1, int(4_500 / base))
        shape = 1.0 / (1.0 + ((harmonic * base - formant) / 180.0) ** 2) / harmonic**0.3
        table = harmonic_table(rng, shape)
        voice += looked_up(table, np.cumsum(pitch) / rate_hz) * swell(rng, samples, rate_hz, 0.2)
    open_s = rng.uniform(2.5, 5.0)
    talk = np.maximum(np.sin(2 * np.pi * open_s * grid / 2 + 2 * np.sin(1.3 * grid)), 0.0)
    hiss = hush(rng, samples, rate_hz, 0.0) * (1.0 - talk) * 0.03
    return np.asarray(voice * talk + hiss, np.float32)


def _motor(rng: np.random.Generator, samples: int, rate_hz: int) -> Array:
    """An electric motor: harmonics of its turns, slots and mains, some brush noise."""
    hertz = log_uniform(rng, 15, 330)
    time = np.arange(samples) / rate_hz
    run = 1.0 + 0.003 * np.sin(2 * np.pi * rng.uniform(0.1, 1.0) * time)
    if chance(rng, 0.3):
        run *= np.minimum(1.0, 0.4 + time / rng.uniform(1, 5))
    slots = int(rng.integers(8, 40))
    amplitudes = rng.uniform(0, 1, 3 * slots) / np.arange(1, 3 * slots + 1) ** 0.8
    amplitudes[slots - 1] += rng.uniform(0.1, 0.6)
    tone = looked_up(harmonic_table(rng, amplitudes), np.cumsum(run * hertz) / rate_hz)
    return tone + rng.uniform(0.05, 0.5) * hush(rng, samples, rate_hz, rng.uniform(0, 3))


def _fan(rng: np.random.Generator, samples: int, rate_hz: int) -> Array:
    blade = rng.uniform(40, 300)
    table = harmonic_table(rng, np.array([1.0, 0.4, 0.2]))
    tone = looked_up(table, np.arange(samples) * blade / rate_hz)
    return rng.uniform(0.05, 0.6) * tone + hush(rng, samples, rate_hz, rng.uniform(3, 6))


def _music(rng: np.random.Generator, samples: int, rate_hz: int) -> Array:
    """Chords that change on the beat, and a drum."""
    beat = rng.uniform(0.35, 0.8)
    out = np.zeros(samples, np.float32)
    scale = 110.0 * 2.0 ** (np.array([0, 3, 5, 7, 10, 12, 15, 17, 19, 24]) / 12.0)
    for start in np.arange(0.0, samples / rate_hz - 0.1, beat):
        first = int(start * rate_hz)
        time = np.arange(min(int(beat * rate_hz), samples - first)) / rate_hz
        for note in rng.choice(scale, 3):
            fades = np.exp(-time / rng.uniform(0.1, 0.6))
            tones = sum(np.sin(2 * np.pi * note * k * time) / k**1.3 for k in (1, 2, 3, 4))
            out[first : first + len(time)] += (fades * tones).astype(np.float32)
    drum = np.arange(0.0, samples / rate_hz, beat / 2)
    hits = strikes(samples, rate_hz, drum, rng.uniform(0.2, 1.0, len(drum)), 0.05, sharp=True)
    return out + hits * np.float32(0.05 * rate_hz) * hush(rng, samples, rate_hz, 0.0)


def _hum(rng: np.random.Generator, samples: int, rate_hz: int) -> Array:
    """A silent room: mains hum and the phone's own noise."""
    mains = float(rng.choice([50.0, 60.0]))
    table = harmonic_table(
        rng, rng.uniform(0, 1, 8) * np.array([0.3, 1, 0.3, 0.7, 0.2, 0.5, 0.2, 0.3])
    )
    tone = looked_up(table, np.arange(samples) * mains / rate_hz)
    return rng.uniform(0.1, 1.0) * tone + hush(rng, samples, rate_hz, 2.0)


def _clanks(rng: np.random.Generator, samples: int, rate_hz: int) -> Array:
    """Tools put down, an air line, steps."""
    count = int(rng.integers(3, 14))
    times = rng.uniform(0, samples / rate_hz, count)
    hits = strikes(samples, rate_hz, times, rng.lognormal(0, 1, count), 0.08, sharp=True)
    ring = np.sin(2 * np.pi * log_uniform(rng, 800, 5_000) * np.arange(samples) / rate_hz)
    noise = hush(rng, samples, rate_hz, 3.0)
    out = hits * np.float32(0.08 * rate_hz) * (noise + ring.astype(np.float32)) + 0.05 * noise
    return np.asarray(out, np.float32)


KINDS: dict[str, Callable[[np.random.Generator, int, int], Array]] = {
    "wind": _wind,
    "traffic": _traffic,
    "speech": _speech,
    "electric motor": _motor,
    "fan": _fan,
    "music": _music,
    "silence with hum": _hum,
    "clanks": _clanks,
}


def background(rng: np.random.Generator, kind: str, samples: int, rate_hz: int) -> Array:
    """What goes on around, one of `KINDS`, rms 1."""
    out = KINDS[kind](rng, samples, rate_hz)
    return np.asarray(out / (np.std(out) + 1e-9), np.float32)


def draw_nothing(rng: np.random.Generator) -> tuple[Array, int, str]:
    """A recording of 5 to 10 s without an engine.

    Returns samples float32 of shape (1, samples) within -1 to 1, their rate [Hz] and what it is.
    """
    rate = int(rng.choice([32_000, 44_100, 48_000]))
    samples = int(rng.uniform(5.0, 10.0) * rate)
    what = str(rng.choice(list(KINDS)))
    out = background(rng, what, samples, rate)
    if chance(rng, 0.4):
        other = background(rng, str(rng.choice(list(KINDS))), samples, rate)
        out = out + 10.0 ** (rng.uniform(-20, -3) / 20.0) * other
    out = out + 10.0 ** (rng.uniform(-50, -25) / 20.0) * rng.standard_normal(samples, np.float32)
    out = out * 10.0 ** (rng.uniform(-36, -14) / 20.0)
    return np.clip(out, -1.0, 1.0).astype(np.float32)[None, :], rate, what
