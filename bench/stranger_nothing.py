"""Recordings in which no engine runs: motors, weather, people, tools."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy import signal

from stranger_phone import draw_phone, gusts, hear
from stranger_tools import (
    Array,
    NoisePool,
    Ring,
    band_pass,
    draw_modes,
    log_uniform,
    look_up,
    low_pass,
    slow_curve,
    stretch,
    table,
)

Maker = Callable[[np.random.Generator, NoisePool, int, float], Array]


def _phase(rng: np.random.Generator, hz: Array | float, count: int, rate_hz: float) -> Array:
    curve = np.broadcast_to(np.asarray(hz, float), (count,))
    return np.cumsum(curve) / rate_hz + rng.random()


def _steady(rng: np.random.Generator, count: int, rate_hz: float, size: float) -> Array:
    """A slowly wandering factor around one, shape=(count,)."""
    span_s = count / rate_hz
    return stretch(1.0 + size * slow_curve(rng, 500, span_s / 500, 0.8), count)


def _motor(
    rng: np.random.Generator,
    pool: NoisePool,
    count: int,
    rate_hz: float,
    turn_hz: Array,
    bars: int,
) -> Array:
    """A brushed motor: shaft, commutator and cooling fan tones over brush noise."""
    size = np.zeros(bars * 4 + 2)
    size[:3] = rng.uniform(0.0, 0.6, 3)
    for h in range(1, 5):
        size[bars * h - 1] = rng.uniform(0.1, 1.0) / h
    wave = table(size, rng.uniform(0.0, 6.0, len(size)))
    tone = look_up(wave, _phase(rng, turn_hz, count, rate_hz))
    noise = pool.band(rng, count, rate_hz, log_uniform(rng, 500, 2000), 6000.0)
    out: Array = tone / tone.std() + np.float32(rng.uniform(0.2, 2.0)) * noise
    return out


def dc_motor(rng: np.random.Generator, pool: NoisePool, count: int, rate_hz: float) -> Array:
    """A small brushed motor at a steady speed."""
    turn_hz = log_uniform(rng, 20.0, 250.0) * _steady(rng, count, rate_hz, 0.01)
    return _motor(rng, pool, count, rate_hz, turn_hz, int(rng.choice([3, 5, 7, 12, 24])))


def hand_drill(rng: np.random.Generator, pool: NoisePool, count: int, rate_hz: float) -> Array:
    """A drill squeezed and let go, with gear mesh."""
    squeeze = np.clip(1.0 + slow_curve(rng, 500, count / rate_hz / 500, 1.5), 0.05, 1.6)
    turn_hz = rng.uniform(80.0, 300.0) * stretch(squeeze, count)
    out = _motor(rng, pool, count, rate_hz, turn_hz, int(rng.choice([12, 24])))
    gear = _phase(rng, turn_hz * float(rng.integers(5, 9)), count, rate_hz)
    return (out + np.sin(2 * np.pi * gear)) * stretch(squeeze, count)


def induction_motor(rng: np.random.Generator, pool: NoisePool, count: int, rate_hz: float) -> Array:
    """A mains motor: twice mains hum, slip-modulated, rotor bars, fan."""
    mains = float(rng.choice([50.0, 60.0]))
    pairs = int(rng.choice([1, 2, 3]))
    turn_hz = mains / pairs * (1.0 - rng.uniform(0.005, 0.06))
    bars = int(rng.integers(18, 40))
    out = np.zeros(count)
    t = np.arange(count) / rate_hz
    for hz, size in (
        (2 * mains, 1.0),
        (4 * mains, rng.uniform(0.0, 0.4)),
        (turn_hz, rng.uniform(0.0, 0.5)),
        (bars * turn_hz, rng.uniform(0.0, 0.6)),
        (bars * turn_hz + 2 * mains, rng.uniform(0.0, 0.4)),
    ):
        out += size * np.sin(2 * np.pi * (hz * t + rng.random()))
    out *= 1.0 + 0.2 * np.sin(2 * np.pi * 2 * (mains / pairs - turn_hz) * pairs * t)
    return out.astype("f4") + rng.uniform(0.1, 1.0) * pool.band(rng, count, rate_hz, 300.0, 3000.0)


def inverter_motor(rng: np.random.Generator, pool: NoisePool, count: int, rate_hz: float) -> Array:
    """An electric car moving off: slot whine rising in steps with switching tones."""
    climb = np.cumsum(np.abs(slow_curve(rng, 500, count / rate_hz / 500, 1.5)))
    turn_hz = 5.0 + 120.0 * stretch(climb / climb[-1], count)
    whine = sum(
        rng.uniform(0.1, 1.0) * np.sin(2 * np.pi * order * _phase(rng, turn_hz, count, rate_hz))
        for order in (8, 24, 48)
    )
    switch = np.sin(2 * np.pi * _phase(rng, rng.uniform(3000.0, 7000.0), count, rate_hz))
    return whine + 0.2 * switch + pool.pink(rng, count)


def hum(rng: np.random.Generator, pool: NoisePool, count: int, rate_hz: float) -> Array:
    """Mains hum and its multiples."""
    mains = float(rng.choice([50.0, 60.0]))
    wave = table(rng.uniform(0.0, 1.0, 24) ** 2, rng.uniform(0.0, 6.0, 24))
    tone = look_up(wave, _phase(rng, mains, count, rate_hz))
    out: Array = tone / tone.std() + np.float32(rng.uniform(0.02, 0.6)) * pool.pink(rng, count)
    return out


def fan(rng: np.random.Generator, pool: NoisePool, count: int, rate_hz: float) -> Array:
    """A room or radiator fan driven by electricity: blade passing in rushing air."""
    turn_hz = rng.uniform(8.0, 45.0) * _steady(rng, count, rate_hz, 0.003)
    blades = int(rng.integers(3, 12))
    phase = _phase(rng, turn_hz, count, rate_hz)
    tone = np.sin(2 * np.pi * blades * phase) + 0.5 * np.sin(4 * np.pi * blades * phase + 1.0)
    rush = pool.band(rng, count, rate_hz, 150.0, log_uniform(rng, 800.0, 4000.0))
    return rng.uniform(0.0, 0.7) * tone + rush * (1.0 + 0.1 * np.sin(2 * np.pi * phase))


def wind(rng: np.random.Generator, pool: NoisePool, count: int, rate_hz: float) -> Array:
    """Gusts on the microphone."""
    return gusts(rng, pool, count, rate_hz) + 0.02 * pool.white(rng, count)


def _voice(rng: np.random.Generator, pool: NoisePool, count: int, rate_hz: float) -> Array:
    """Voiced and unvoiced syllables through moving formants (overlapping bands)."""
    span_s = count / rate_hz
    knots = int(span_s * rng.uniform(3.0, 6.0)) + 2
    open_mouth = np.repeat(rng.random(knots) ** 0.5 * (rng.random(knots) > 0.22), 24)
    hull = stretch(np.convolve(open_mouth, np.hanning(15) / 7.0, "same"), count)
    pitch = log_uniform(rng, 85.0, 260.0) * np.exp(0.18 * slow_curve(rng, 500, span_s / 500, 0.4))
    n = np.arange(1, 30)
    glottis = look_up(table(1.0 / n, 0.1 * n), _phase(rng, stretch(pitch, count), count, rate_hz))
    out = np.zeros(count, np.float32)
    for low, high in ((300.0, 850.0), (900.0, 2300.0), (2300.0, 3200.0)):
        f = log_uniform(rng, low, high)
        mix = stretch(rng.random(knots), count)
        voiced = band_pass(glottis, rate_hz, f * 0.85, f * 1.15)
        out += voiced * mix / (1.0 + low / 600.0)
    hush = pool.band(rng, count, rate_hz, 3000.0, 7000.0)
    gate = stretch(np.repeat(rng.random(knots) > 0.75, 24).astype(float), count)
    spoken: Array = out / (out.std() + 1e-9) * hull + 0.15 * hush * gate
    return spoken


def speech(rng: np.random.Generator, pool: NoisePool, count: int, rate_hz: float) -> Array:
    """One person speaking in a quiet place."""
    return _voice(rng, pool, count, rate_hz) + 0.01 * pool.pink(rng, count)


def crowd(rng: np.random.Generator, pool: NoisePool, count: int, rate_hz: float) -> Array:
    """Many people at once."""
    voices = sum(_voice(rng, pool, count, rate_hz) for _ in range(6))
    return voices + 0.3 * pool.pink(rng, count)


def music(rng: np.random.Generator, pool: NoisePool, count: int, rate_hz: float) -> Array:
    """Chords and a drum at a steady beat."""
    beat_s = 60.0 / rng.uniform(70.0, 170.0) / 2.0
    out = np.zeros(count, np.float32)
    root = log_uniform(rng, 55.0, 220.0)
    scale = np.array([0, 2, 3, 5, 7, 9, 10, 12, 15, 19])
    for k in range(int(count / rate_hz / beat_s)):
        start = int(k * beat_s * rate_hz)
        length = min(int(rng.choice([1, 2, 4]) * beat_s * rate_hz), count - start)
        t = np.arange(length) / rate_hz
        for _ in range(int(rng.integers(1, 4))):
            hz = root * 2.0 ** (rng.choice(scale) / 12.0)
            note = sum(np.sin(2 * np.pi * hz * h * t) / h for h in range(1, 5))
            out[start : start + length] += note * np.exp(-t / 0.35) * np.minimum(t / 0.01, 1.0)
    drum = Ring(draw_modes(rng, 2, 60.0, 250.0, (0.05, 0.2)), rate_hz)
    beats = np.arange(0.0, count / rate_hz, 2 * beat_s)
    return out + drum.train(count, rate_hz, beats, np.full(len(beats), 3.0))


def traffic(rng: np.random.Generator, pool: NoisePool, count: int, rate_hz: float) -> Array:
    """Tyre noise of passing cars, swelling and fading."""
    span_s = count / rate_hz
    t = np.linspace(0.0, span_s, 600)
    out = 0.2 * pool.pink(rng, count)
    for _ in range(int(rng.integers(2, 6))):
        near, at = rng.uniform(0.6, 2.5), rng.uniform(0.0, span_s)
        hull = 1.0 / (1.0 + ((t - at) / near) ** 2)
        noise = pool.band(rng, count, rate_hz, 300.0, log_uniform(rng, 1200.0, 3000.0))
        out = out + noise * stretch(hull, count)
    return out


def rain(rng: np.random.Generator, pool: NoisePool, count: int, rate_hz: float) -> Array:
    """Drops on sheet metal."""
    drops = int(rng.uniform(30.0, 250.0) * count / rate_hz)
    ring = Ring(draw_modes(rng, 3, 600.0, 6000.0, (0.03, 0.2)), rate_hz)
    times = rng.uniform(0.0, count / rate_hz, drops)
    return ring.train(count, rate_hz, times, np.exp(rng.normal(0.0, 0.8, drops))) + (
        0.1 * pool.band(rng, count, rate_hz, 1000.0, 7000.0)
    )


def vacuum_cleaner(rng: np.random.Generator, pool: NoisePool, count: int, rate_hz: float) -> Array:
    """A fast universal motor in a loud rush of air."""
    turn_hz = rng.uniform(280.0, 650.0) * _steady(rng, count, rate_hz, 0.004)
    motor = _motor(rng, pool, count, rate_hz, turn_hz, int(rng.integers(7, 13)))
    rush = pool.band(rng, count, rate_hz, 300.0, log_uniform(rng, 1500.0, 6000.0))
    return motor * rng.uniform(0.2, 1.0) + rush


def bumps(rng: np.random.Generator, pool: NoisePool, count: int, rate_hz: float) -> Array:
    """A quiet room with a few knocks and handling noises."""
    ring = Ring(draw_modes(rng, 3, 80.0, 900.0, (0.05, 0.3)), rate_hz)
    knocks = int(rng.integers(2, 12))
    times = rng.uniform(0.0, count / rate_hz, knocks)
    quiet = low_pass(pool.pink(rng, count), rate_hz, 2000.0)
    return ring.train(count, rate_hz, times, np.exp(rng.normal(0, 1, knocks))) + 0.01 * quiet


def compressor_pump(rng: np.random.Generator, pool: NoisePool, count: int, rate_hz: float) -> Array:
    """A cistern or fridge pump: rubbing at mains-locked speed, no firing."""
    turn_hz = float(rng.choice([48.7, 58.3, 24.3, 29.1])) * _steady(rng, count, rate_hz, 0.001)
    phase = _phase(rng, turn_hz, count, rate_hz)
    tone = sum(rng.uniform(0.1, 1.0) / h * np.sin(2 * np.pi * h * phase + h) for h in range(1, 7))
    return tone + rng.uniform(0.1, 1.0) * pool.band(rng, count, rate_hz, 400.0, 2500.0)


KINDS: dict[str, Maker] = {
    "brushed motor": dc_motor,
    "induction motor": induction_motor,
    "inverter motor": inverter_motor,
    "hand drill": hand_drill,
    "vacuum cleaner": vacuum_cleaner,
    "pump": compressor_pump,
    "hum": hum,
    "fan": fan,
    "wind": wind,
    "speech": speech,
    "music": music,
    "traffic": traffic,
    "rain": rain,
    "crowd": crowd,
    "bumps": bumps,
}


def draw_nothing(rng: np.random.Generator) -> tuple[Array, int, str]:
    """A recording with no engine in it: (samples (channels, n) float32, rate [Hz], what)."""
    phone = draw_phone(rng)
    pool = NoisePool(rng, 1 << 19)
    what = str(rng.choice(list(KINDS)))
    count = round(float(rng.uniform(6.0, 12.0)) * phone.rate_hz)
    sound = np.asarray(KINDS[what](rng, pool, count, float(phone.rate_hz)), np.float32)
    sound = sound / np.float32(sound.std() + 1e-9)
    if rng.random() < 0.4:  # a room
        size = int(0.3 * phone.rate_hz)
        tail = rng.standard_normal(size) * 10.0 ** (-3.0 * np.arange(size) / size)
        tail[0] = rng.uniform(5.0, 60.0)
        sound = signal.oaconvolve(sound, tail.astype("f4"))[:count]
    both = np.stack([sound * rng.uniform(0.6, 1.0) for _ in range(phone.channels)])
    return hear(rng, pool, phone, both.astype(np.float32), False), phone.rate_hz, what
