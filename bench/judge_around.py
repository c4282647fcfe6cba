"""What else is heard where the judge records: road, shop, radio, voices, wind, dropped tools."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy import signal

from judge_phone import draw_phone, record
from judge_tools import (
    Array,
    Colour,
    a_weight,
    band,
    crossings,
    draw_modes,
    grid_hz,
    joined,
    lead_phase,
    spectra,
    train,
    wander,
    white,
)

Around = Callable[[np.random.Generator, int, int], Array]


def coloured(sound: Array, rate_hz: int, colour: Colour) -> Array:
    """A sound through a colour."""
    freqs = grid_hz(rate_hz)
    shape = colour(freqs) * lead_phase(freqs, rate_hz)
    return joined(spectra(sound) * shape.astype(np.complex64), sound.size)


def loudness_power(sound: Array, rate_hz: int) -> float:
    """A-weighted mean power."""
    weight = a_weight(grid_hz(rate_hz)).astype(np.float32)
    return float(np.mean(np.abs(spectra(sound) * weight) ** 2))


def traffic(rng: np.random.Generator, size: int, rate_hz: int) -> Array:
    """Cars passing by, a rush below a kilohertz that comes and goes."""
    passing = np.exp(0.9 * wander(rng, size, rate_hz, 0.25))
    return coloured(white(rng, size) * passing, rate_hz, band(50.0, rng.uniform(500, 1200), 1.0))


def wind(rng: np.random.Generator, size: int, rate_hz: int) -> Array:
    """Gusts over the microphone's hole."""
    gusts = np.exp(1.0 * wander(rng, size, rate_hz, 1.0))
    return coloured(white(rng, size) * gusts, rate_hz, band(15.0, rng.uniform(60, 200), 1.5))


def shop_compressor(rng: np.random.Generator, size: int, rate_hz: int) -> Array:
    """A piston compressor across the shop, its motor humming at twice the mains."""
    strokes = crossings(np.arange(size) / rate_hz * rng.uniform(9.0, 22.0))
    thump = train(size, strokes, rng.lognormal(0.0, 0.15, strokes.size))
    mains = float(rng.choice([50.0, 60.0]))
    hum = np.cos(4.0 * np.pi * mains * np.arange(size) / rate_hz)
    modes = draw_modes(rng, 150.0, 2500.0, 8, (0.03, 0.08))
    body = coloured(thump, rate_hz, lambda freqs: modes.response(freqs) / (1 + freqs / 800.0))
    body /= np.sqrt(np.mean(body**2)) + 1e-12
    air = coloured(white(rng, size), rate_hz, band(200.0, 1500.0, 1.0))
    return np.asarray(body + 0.5 * hum + 0.6 * air / np.sqrt(np.mean(air**2)))


def radio(rng: np.random.Generator, size: int, rate_hz: int) -> Array:
    """Music from a small loudspeaker: a few notes at a time over a beat."""
    total = np.zeros(size)
    beat = int(rate_hz * 60.0 / rng.uniform(80.0, 135.0))
    root = rng.uniform(110.0, 220.0)
    time = np.arange(beat) / rate_hz
    fade = np.exp(-time / 0.35)
    for start in range(0, size, beat):
        note = np.zeros(beat)
        for step in rng.choice([0, 2, 4, 5, 7, 9, 12, 16], 2, replace=False):
            pitch = 2.0 * np.pi * root * 2.0 ** (step / 12.0) * time
            note += sum(np.cos(k * pitch + k) / k for k in (1, 2, 3, 5))
        length = min(beat, size - start)
        total[start : start + length] += (note * fade)[:length]
        if rng.random() < 0.7:
            drum = rng.standard_normal(beat) * np.exp(-time / 0.03) * 2.0
            total[start : start + length] += drum[:length]
    return coloured(total, rate_hz, band(300.0, 4500.0, 1.5))


def voices(rng: np.random.Generator, size: int, rate_hz: int) -> Array:
    """Someone talking: vocal folds through changing formants, with pauses."""
    pitch = rng.uniform(95.0, 210.0) * np.exp(0.12 * wander(rng, size, rate_hz, 2.0))
    pulses = crossings(np.cumsum(pitch) / rate_hz)
    folds = train(size, pulses, 1.0) + 0.02 * white(rng, size)
    speaking = np.clip(wander(rng, size, rate_hz, 4.0) + 0.3, 0.0, None)
    speaking = speaking * (wander(rng, size, rate_hz, 0.4) > -0.4)
    vowel = np.floor(3.0 * (0.5 + 0.5 * np.tanh(wander(rng, size, rate_hz, 3.0))))
    total = np.zeros(size)
    for number in range(3):
        first, second = rng.uniform(280.0, 750.0), rng.uniform(900.0, 2300.0)

        def formants(freqs: Array, one: float = first, two: float = second) -> Array:
            tops = sum(1.0 / (1.0 + ((freqs - at) / 90.0) ** 2) for at in (one, two, 2700.0))
            return np.asarray(tops * band(120.0, 1000.0, 1.0)(freqs))

        total += coloured(folds * speaking * (vowel == number), rate_hz, formants)
    return total


def dropped_tools(rng: np.random.Generator, size: int, rate_hz: int) -> Array:
    """A spanner put down, a drawer shut."""
    at = rng.uniform(0.0, size, int(rng.integers(1, 5)))
    modes = draw_modes(rng, 600.0, 7000.0, 9, (0.012, 0.02))
    ring = modes.rung(0.15, rate_hz)
    blows = train(size, at, rng.lognormal(0.0, 0.6, at.size))
    return np.asarray(signal.oaconvolve(blows, ring)[:size])


def electric_tool(rng: np.random.Generator, size: int, rate_hz: int) -> Array:
    """A drill or grinder: gear whine and air over a speed that sags under load."""
    speed = rng.uniform(120.0, 420.0) * (1.0 + 0.08 * wander(rng, size, rate_hz, 1.0))
    angle = 2.0 * np.pi * np.cumsum(speed) / rate_hz
    teeth = int(rng.integers(5, 12))
    tones = np.cos(angle) + 0.7 * np.cos(teeth * angle + 1.0) + 0.3 * np.cos(2 * teeth * angle)
    return coloured(tones + 1.5 * white(rng, size), rate_hz, band(300.0, 7000.0, 1.0))


def pump_hum(rng: np.random.Generator, size: int, rate_hz: int) -> Array:
    """A mains motor standing by: its hum and its bearings' hiss."""
    mains = float(rng.choice([50.0, 60.0]))
    slip = rng.uniform(0.95, 0.995)
    time = np.arange(size) / rate_hz
    tones = sum(np.cos(2 * np.pi * mains * k * time + k) / k for k in (2, 4, 6, 8))
    turn = np.cos(np.pi * mains * slip * time)
    air = coloured(white(rng, size), rate_hz, band(200.0, 3000.0, 1.0))
    return np.asarray(tones + 0.3 * turn + 3.0 * air * (1.0 + 0.2 * turn))


BACKGROUNDS: dict[str, Around] = {
    "traffic": traffic,
    "wind": wind,
    "shop compressor": shop_compressor,
    "radio": radio,
    "voices": voices,
    "dropped tools": dropped_tools,
}
WITHOUT_ENGINE: dict[str, Around] = {
    **BACKGROUNDS,
    "electric tool": electric_tool,
    "pump": pump_hum,
}


def draw_nothing(rng: np.random.Generator) -> tuple[Array, int, str]:
    """A recording without an engine: samples, shape=(1, samples), rate [Hz], and what it is."""
    phone = draw_phone(rng)
    size = int(rng.uniform(5.0, 10.0) * phone.rate_hz)
    chosen = rng.choice(list(WITHOUT_ENGINE), int(rng.integers(1, 4)), replace=False)
    total = 0.02 * white(rng, size).astype(float)
    for name in chosen:
        sound = WITHOUT_ENGINE[str(name)](rng, size, phone.rate_hz)
        total += sound / (np.sqrt(np.mean(sound**2)) + 1e-12) * rng.lognormal(0.0, 0.6)
    level = float(np.sqrt(np.mean(total**2)))
    return record(phone, rng, total, level), phone.rate_hz, ", ".join(map(str, chosen))
