"""Sounds that are not the engine: workshop, street, voices, motors, wind.

Each gives unit root-mean-square noise at RATE_HZ. They lie under engine takes, and alone they
are the takes in which no crank speed may be found.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import numpy as np
import scipy.signal
from numpy.random import Generator

from beltside.rig.synthesis import (
    RATE_HZ,
    Float32,
    Float64,
    coloured,
    look_up,
    place_pulses,
    random_modes,
    ringing,
    slow_noise,
)

Sounds = Callable[[Generator, int], Float32]


def unit_rms(wave: Float64 | Float32) -> Float32:
    """The wave at root-mean-square 1."""
    size = float(np.sqrt(np.mean(np.square(wave, dtype=np.float64))))
    return np.asarray(wave / max(size, 1e-12), dtype=np.float32)


def _through(excitation: Float32, response: Float32) -> Float32:
    filtered = scipy.signal.oaconvolve(excitation, response)[: len(excitation)]
    return np.asarray(filtered, dtype=np.float32)


def _slowly(rng: Generator, count: int, bandwidth_hz: float) -> Float64:
    """Unit-variance slow noise at RATE_HZ."""
    coarse = slow_noise(rng, count // 48 + 2, RATE_HZ / 48, bandwidth_hz)
    return np.interp(np.arange(count) / 48, np.arange(len(coarse)), coarse)


def wind(rng: Generator, count: int, *, gusty: bool = True) -> Float32:
    """Wind on the microphone: strong below a few hundred hertz, in gusts."""
    colour = coloured(rng, 20.0, float(rng.uniform(80, 400)), skirt_db_per_octave=9.0, length=2048)
    blow = _through(rng.standard_normal(count, dtype=np.float32), colour)
    gusts = np.exp((1.2 if gusty else 0.4) * _slowly(rng, count, float(rng.uniform(0.3, 3.0))))
    return unit_rms(blow * gusts)


def speech(rng: Generator, count: int) -> Float32:
    """Speech-like: voiced and unvoiced syllables with moving pitch, formants and pauses."""
    wave = np.zeros(count + RATE_HZ, dtype=np.float32)
    now, pitch = int(rng.uniform(0.0, 0.5) * RATE_HZ), float(rng.uniform(85.0, 240.0))
    while now < count:
        size = int(rng.uniform(0.09, 0.34) * RATE_HZ)
        formants = [rng.uniform(250, 850), rng.uniform(850, 2400), rng.uniform(2300, 3300)]
        mouth = ringing(formants, [0.09, 0.05, 0.04], [1.0, 0.6, 0.3], length=1024)
        if rng.random() < 0.75:
            glide = pitch * np.exp(np.linspace(0, rng.normal(0, 0.15), size) + rng.normal(0, 0.12))
            phase = np.cumsum(glide) / RATE_HZ
            beats = np.interp(np.arange(1, int(phase[-1]) + 1), phase, np.arange(size)) / RATE_HZ
            source = place_pulses(beats, np.full(len(beats), 15.0), size)
            source = scipy.signal.lfilter([1.0], [1.0, -0.93], source).astype(np.float32)
        else:
            mouth = ringing(rng.uniform(2500, 7500, 3), [0.1] * 3, [1.0] * 3, length=512)
            source = 0.3 * rng.standard_normal(size, dtype=np.float32)
        source *= np.hanning(size).astype(np.float32) * np.float32(rng.uniform(0.4, 1.0))
        voiced = scipy.signal.oaconvolve(source, mouth)[: size + 1023]
        end = min(now + len(voiced), len(wave))
        wave[now:end] += voiced[: end - now]
        now += int(size * rng.uniform(0.7, 1.05))
        if rng.random() < 0.12:
            now += int(rng.uniform(0.2, 0.9) * RATE_HZ)
    return unit_rms(wave[:count] + 1e-4 * rng.standard_normal(count))


def music(rng: Generator, count: int) -> Float32:
    """Music-like: chords that change with a beat, and drums."""
    beat = 60.0 / float(rng.uniform(70.0, 150.0))
    beats = int(count / RATE_HZ / beat) + 1
    size = int(beat * RATE_HZ)
    time = np.arange(size) / RATE_HZ
    root = float(rng.uniform(90.0, 220.0))
    wave = np.zeros(beats * size)
    ramp = 2 * np.pi * np.arange(4096) / 4096
    voice = np.sum([0.6**k * np.sin(k * ramp + rng.uniform(0, 6)) for k in range(1, 6)], axis=0)
    voice = voice.astype(np.float32)
    drum = random_modes(rng, 60.0, 300.0, 4, damping=(0.02, 0.1))
    hat = coloured(rng, 4000.0, 12_000.0)
    for step in range(beats):
        note = np.zeros(size, dtype=np.float32)
        for semitone in rng.choice([0, 3, 4, 5, 7, 9, 12, 16], 3, replace=False):
            note += look_up(voice, root * 2.0 ** (float(semitone) / 12.0) * time + rng.random())
        wave[step * size : (step + 1) * size] += note * np.exp(-time * rng.uniform(0.5, 5.0))
    hits = np.arange(0, beats * 2) * beat / 2
    kicks = place_pulses(hits[::2], np.full(len(hits[::2]), 40.0), len(wave))
    hats = place_pulses(hits, np.full(len(hits), 5.0), len(wave))
    wave = wave + _through(kicks, drum) + _through(hats, hat)
    return unit_rms(wave[:count])


def electric_motor(rng: Generator, count: int) -> Float32:
    """A small motor: shaft, slot and gear lines over brush noise; speed drifts or changes."""
    speed = float(np.exp(rng.uniform(np.log(15.0), np.log(250.0))))
    drift = 1.0 + float(rng.uniform(0.001, 0.02)) * _slowly(rng, count, 1.0)
    if rng.random() < 0.4:
        drift *= np.interp(np.arange(count), np.linspace(0, count, 5), rng.uniform(0.6, 1.4, 5))
    phase = 2 * np.pi * np.cumsum(speed * drift) / RATE_HZ
    slots = int(rng.integers(5, 28))
    orders = [1, 2, slots, 2 * slots, 3 * slots, slots - 1, slots + 1, float(rng.uniform(1.5, 9))]
    wave = np.zeros(count)
    for order in orders:
        if order * speed * 1.5 < 18_000:
            level = 10 ** (rng.normal(0, 7) / 20)
            wave += level * np.sin(order * phase + rng.uniform(0, 6.28))
    brush = _through(
        rng.standard_normal(count, dtype=np.float32), coloured(rng, 200.0, 6000.0, ripple_db=5.0)
    )
    depth = float(rng.uniform(0.0, 0.5))
    brush = brush * (1.0 + depth * np.sin(phase)).astype(np.float32)
    return unit_rms(unit_rms(wave) * 10 ** (rng.uniform(-14, 6) / 20) + brush)


def mains_hum(rng: Generator, count: int) -> Float32:
    """Hum at twice the mains frequency and its multiples, over faint noise."""
    mains = float(rng.choice([50.0, 60.0])) * (1.0 + rng.normal(0, 2e-4))
    time = np.arange(count) / RATE_HZ
    ramp = 2 * np.pi * np.arange(4096) / 4096
    table = np.zeros(4096, dtype=np.float32)
    for harmonic in range(1, 13):
        level = rng.uniform(0.1, 1.0) * 0.75**harmonic * (1.0 if harmonic % 2 == 0 else 0.3)
        table += np.float32(level) * np.sin(harmonic * ramp + rng.uniform(0, 6.28))
    wave = look_up(table, mains * time) + 0.02 * rng.standard_normal(count, dtype=np.float32)
    return unit_rms(wave)


def fan(rng: Generator, count: int) -> Float32:
    """A ventilator: broadband with blade tones of a speed that hardly moves."""
    air = _through(
        rng.standard_normal(count, dtype=np.float32),
        coloured(
            rng,
            float(rng.uniform(60, 200)),
            float(rng.uniform(1000, 4000)),
            slope_db_per_octave=-3.0,
        ),
    )
    blade = float(rng.uniform(40.0, 400.0))
    phase = blade * (np.arange(count) / RATE_HZ)
    phase += 0.3 * np.cumsum(_slowly(rng, count, 0.5)) / RATE_HZ
    wave = np.zeros(count)
    for harmonic in range(1, 5):
        wave += 0.5**harmonic * np.sin(2 * np.pi * (harmonic * phase + rng.random()))
    return unit_rms(air + 10 ** (rng.uniform(-12, 6) / 20) * unit_rms(wave))


def road(rng: Generator, count: int) -> Float32:
    """Road and traffic: broadband that swells, with joints hit at odd moments."""
    noise = _through(
        rng.standard_normal(count, dtype=np.float32),
        coloured(rng, 50.0, float(rng.uniform(700, 1800)), slope_db_per_octave=-3.0),
    )
    swell = np.exp(0.5 * _slowly(rng, count, float(rng.uniform(0.1, 1.0))))
    hits = np.sort(rng.uniform(0, count / RATE_HZ, int(rng.integers(0, 12))))
    bumps = place_pulses(hits, rng.uniform(20, 90, len(hits)), count)
    return unit_rms(noise * swell + _through(bumps, random_modes(rng, 40.0, 400.0, 5)))


def silence(rng: Generator, count: int) -> Float32:
    """Hardly anything, and a hand on the phone now and then."""
    hits = rng.uniform(0, count / RATE_HZ, int(rng.integers(2, 9)))
    bumps = place_pulses(hits, rng.uniform(2, 60, len(hits)), count)
    thump = random_modes(rng, 60.0, 2500.0, 8, tilt_db_per_octave=-4.0, damping=(0.05, 0.3))
    hush = 0.05 * rng.standard_normal(count, dtype=np.float32)
    return unit_rms(_through(hush, coloured(rng, 40.0, 4000.0)) + _through(bumps, thump))


def air_compressor(rng: Generator, count: int) -> Float32:
    """A workshop compressor: strokes at a fixed rate, and its motor."""
    rate = float(rng.uniform(8.0, 25.0))
    beats = np.arange(int(count / RATE_HZ * rate)) / rate
    beats = beats + 0.001 * rng.standard_normal(len(beats))
    strokes = place_pulses(beats, 60.0 * np.exp(0.1 * rng.standard_normal(len(beats))), count)
    wave = _through(strokes, random_modes(rng, 60.0, 1800.0, 10, damping=(0.03, 0.2)))
    return unit_rms(unit_rms(wave) + 0.7 * electric_motor(rng, count))


NO_ENGINE: Final[dict[str, Sounds]] = {
    "electric motor": electric_motor,
    "wind": wind,
    "speech": speech,
    "mains hum": mains_hum,
    "fan": fan,
    "road": road,
    "music": music,
    "silence": silence,
}
WORKSHOP: Final[dict[str, Sounds]] = {
    "speech": speech,
    "music": music,
    "air compressor": air_compressor,
    "fan": fan,
    "road": road,
    "mains hum": mains_hum,
    "handling": silence,
}
