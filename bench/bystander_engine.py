"""The bystander's engines and healthy accessories: layers with characters of their own.

How loud each layer is and what colour it has are a listener's, not measured (common practice, no
source); how often things happen follows from the engine and its drive.
"""

from __future__ import annotations

import numpy as np

from bystander_car import Car
from bystander_tools import (
    Array,
    Colour,
    Motion,
    Voice,
    band,
    cloud,
    drift,
    hum,
    log_uniform,
    puff,
    ring,
    shaky,
    strew,
)

# A-weighted levels [dB] of the layers, by the engine's character.
_KINDS = ("clatter", "thump", "roar", "valves", "injectors", "breath")
_LAYERS = {
    "diesel": (0, -10, -5, -14, -9, -9),
    "smooth": (-17, -8, 0, -13, -13, -4),
    "rough": (-8, -3, 0, -5, -18, -3),
    "ticking": (-16, -13, -6, -8, 0, -9),
    "breathing": (-13, -5, -6, -14, -15, 0),
    "sewing-machine": (-12, -14, -5, 0, -8, -10),
}


def firing(rng: np.random.Generator, motion: Motion, car: Car) -> tuple[Array, Array]:
    """When each cylinder fires [s] and how strongly, cylinders and cycles each their own way."""
    times = [motion.every(0.5, turns) for turns in car.fires]
    levels = [
        share * rng.lognormal(0.0, car.cycle_scatter, when.size)
        for share, when in zip(car.strength, times, strict=True)
    ]
    return np.concatenate(times), np.concatenate(levels)


def pulse(rng: np.random.Generator, car: Car, motion: Motion, sharp: float) -> Array:
    """An envelope of unit mean that swells with each firing; `sharp` from 1 round to 6 peaked."""
    place = (np.arange(1024) / 512.0)[:, None] - np.array(car.fires)
    swell = np.exp(sharp * np.cos(np.pi * len(car.fires) * ((place + 1.0) % 2.0 - 1.0)))
    near = np.abs((place + 1.0) % 2.0 - 1.0) < 1.0 / len(car.fires)
    shape = (swell * near * np.array(car.strength)).sum(axis=1) + 0.1
    shape = (shape / shape.mean()).astype(np.float32)
    heard: Array = shape[(motion.turns * 512.0).astype(np.int64) & 1023]
    return heard


def _thump(rng: np.random.Generator, car: Car) -> Voice:
    """Combustion as lines of the cycle: firings, and the rest by the cylinders' unevenness."""
    orders = np.arange(1, 24 * len(car.fires))
    turn = np.exp(-1j * np.pi * orders[:, None] * np.array(car.fires))
    together = np.abs(turn @ np.array(car.strength)) / len(car.fires)
    fall = rng.uniform(0.8, 1.8)
    bumps = 1.0 + 1.5 * rng.random(orders.size)
    heights = together * bumps / (1.0 + orders / (2.0 * len(car.fires))) ** fall
    harmonics = dict(zip(orders.tolist(), heights.tolist(), strict=True))

    def make(rng: np.random.Generator, motion: Motion) -> Array:
        breath = 1.0 + car.cycle_scatter * drift(rng, motion, 6.0)
        return hum(rng, motion.turns / 2.0, harmonics) * breath

    return Voice("block", 0.0, make, rng.uniform(0.3, 1.0))


def _clatter(rng: np.random.Generator, car: Car) -> Voice:
    """A knock at each firing, nailing when the engine is a diesel."""
    low = log_uniform(rng, 600, 1600)
    modes, decay = (low, low * rng.uniform(2, 4)), rng.uniform(0.0015, 0.005)
    bite, seed = rng.uniform(0.2, 1.2), int(rng.integers(1 << 30))

    def make(rng: np.random.Generator, motion: Motion) -> Array:
        own = np.random.default_rng(seed)
        grains = ring(own, motion.rate_hz, modes, decay, 5, bite)
        times, levels = firing(rng, motion, car)
        times, scatter = shaky(rng, times, 0.0003, 0.25)
        return strew(rng, motion, times, levels * scatter, grains)

    return Voice("block", 0.0, make, rng.uniform(0.2, 0.8))


def _ticks(rng: np.random.Generator, car: Car, kind: str) -> Voice:
    """Valves that close, or injectors: one or more ticks of each cylinder in each cycle."""
    valves = kind == "valves"
    low = log_uniform(rng, 1200, 2800) if valves else log_uniform(rng, 2500, 5000)
    decay = rng.uniform(0.001, 0.004) if valves else rng.uniform(0.0004, 0.0015)
    ticks = [
        (turns + late, rng.lognormal(0.0, 0.35))
        for late in rng.uniform(0.0, 2.0, 2 if valves else rng.integers(1, 4))
        for turns in car.fires
    ]
    seed, breath = int(rng.integers(1 << 30)), rng.uniform(0.2, 1.0)

    def make(rng: np.random.Generator, motion: Motion) -> Array:
        grains = ring(
            np.random.default_rng(seed), motion.rate_hz, (low, 2.5 * low), decay, 4, breath
        )
        whens = [motion.every(0.5, turns % 2.0) for turns, _ in ticks]
        heights = np.repeat([height for _, height in ticks], [when.size for when in whens])
        times, scatter = shaky(rng, np.concatenate(whens), 0.0002, 0.2)
        return strew(rng, motion, times, heights * scatter, grains)

    return Voice("valve-train" if valves else "intake", 0.0, make, 1.0 if valves else 0.1)


def _roar(rng: np.random.Generator, car: Car) -> Voice:
    """The mechanical rush of it all, breathing with the firings."""
    fall, knee = rng.uniform(4, 10), rng.uniform(300, 1200)
    bump = log_uniform(rng, 500, 3500)
    colour: Colour = sorted(
        [
            (60, -6),
            (knee, 0),
            (bump, rng.uniform(-6, 6)),
            (2 * bump, -8),
            (12e3, -8 - 2 * fall),
        ]
    )
    depth, sharp = rng.uniform(0.1, 0.7), rng.uniform(1, 4)

    def make(rng: np.random.Generator, motion: Motion) -> Array:
        noise = cloud(rng, motion.samples, motion.rate_hz, colour)
        return noise * (1.0 - depth + depth * pulse(rng, car, motion, sharp))

    return Voice("block", 0.0, make, rng.uniform(0.8, 1.6))


def _breath(rng: np.random.Generator, car: Car) -> Voice:
    """Intake or exhaust: pulsed noise through a throat, with a growl of the firing order."""
    throat = log_uniform(rng, 120, 900)
    colour = ((40, -15), (throat / 2, -8), (throat, 6), (2 * throat, -8), (4e3, -22), (16e3, -45))
    sharp, depth, growl = rng.uniform(1.5, 6), rng.uniform(0.5, 1.0), rng.uniform(0.2, 1.2)
    seat = str(rng.choice(["intake", "exhaust"]))

    def make(rng: np.random.Generator, motion: Motion) -> Array:
        swell = pulse(rng, car, motion, sharp)
        noise = cloud(rng, motion.samples, motion.rate_hz, colour)
        wave = hum(rng, motion.turns * len(car.fires) / 2, {k: k**-1.2 for k in range(1, 9)})
        return noise * (1.0 - depth + depth * swell) + growl * wave

    return Voice(seat, 0.0, make, rng.uniform(0.8, 1.8))


def engine_voices(rng: np.random.Generator, car: Car) -> list[Voice]:
    """The engine's layers, without a fault."""
    makers = {
        "clatter": _clatter,
        "thump": _thump,
        "roar": _roar,
        "valves": lambda rng, car: _ticks(rng, car, "valves"),
        "injectors": lambda rng, car: _ticks(rng, car, "injectors"),
        "breath": _breath,
    }
    voices = []
    for layer, level in zip(_KINDS, _LAYERS[car.character], strict=True):
        voice = makers[layer](rng, car)
        voices.append(Voice(voice.seat, level + rng.normal(0.0, 3.0), voice.make, voice.growth))
    if car.sprocket_teeth and rng.random() < 0.5:
        voices.append(tonal(rng, "timing-chain", float(car.sprocket_teeth), rng.normal(-24, 4)))
    if rng.random() < 0.2:  # an oil pump or a gear that sings a little
        voices.append(tonal(rng, "block", float(rng.integers(7, 30)), rng.normal(-22, 4)))
    return voices


def tonal(
    rng: np.random.Generator, seat: str, order: float, level_db: float, growth: float | None = None
) -> Voice:
    """Lines of one order of the crank and its harmonics, a little unsteady."""
    harmonics = {k: float(rng.lognormal(0.0, 0.7)) / k for k in range(1, 6)}
    waver = rng.uniform(0.05, 0.4)

    def make(rng: np.random.Generator, motion: Motion) -> Array:
        heard = {k: a for k, a in harmonics.items() if k * order * motion.fastest_hz < 15e3}
        return hum(rng, motion.turns * order, heard) * (1 + waver * drift(rng, motion, 4.0))

    return Voice(seat, level_db, make, rng.uniform(0.5, 1.8) if growth is None else growth)


def _rush(
    rng: np.random.Generator, seat: str, order: float, level_db: float, hz: tuple[float, float]
) -> Voice:
    """Air or water moved around: noise that beats faintly with what turns."""
    low = log_uniform(rng, *hz)
    colour, depth = band(low, low * rng.uniform(2, 6), 8.0), rng.uniform(0.02, 0.25)

    def make(rng: np.random.Generator, motion: Motion) -> Array:
        beat = 1.0 + depth * hum(rng, motion.turns * order, {1: 1.0, 2: 0.4})
        return cloud(rng, motion.samples, motion.rate_hz, colour) * beat

    return Voice(seat, level_db, make, rng.uniform(1.5, 2.5))


def accessory_voices(rng: np.random.Generator, car: Car) -> list[Voice]:
    """What healthy accessories do on their own; one in eight is loud without being broken."""
    voices = [
        _rush(rng, "belt", car.belt_order, rng.normal(-20, 4), (400, 2000)),
        tonal(rng, "belt", car.belt_order, rng.normal(-30, 5)),
    ]
    for wheel in car.wheels:
        part, ratio = wheel.part, car.ratio(wheel.part)
        level = rng.normal(-20, 5) + (rng.uniform(6, 12) if rng.random() < 0.12 else 0.0)
        if part == "alternator":
            pairs = (wheel.poles or 12) / 2
            voices.append(_by_load(tonal(rng, part, pairs * 6 * ratio, level, 0.6), "lights", 6.0))
            blades = float(rng.integers(8, 14)) + rng.choice([0.0, 0.5])
            voices.append(tonal(rng, part, ratio * blades, level - 6))
            voices.append(_rush(rng, part, ratio, level - 2, (900, 3000)))
        elif part == "steering-pump":
            vane = tonal(rng, part, ratio * (wheel.vanes or 10), level - 4)
            voices.append(_by_load(vane, "steering", rng.uniform(6, 14)))
        elif part == "coolant-pump" and rng.random() < 0.6:
            voices.append(tonal(rng, part, ratio * (wheel.vanes or 6), level - 6))
        elif part == "ac-compressor":
            pistons = float(rng.integers(5, 8))
            hammer = tonal(rng, part, ratio * pistons, level + 3, 0.5)
            voices.append(_by_load(hammer, "ac", np.inf))
        elif part == "fan":
            voices.append(_rush(rng, part, ratio * (wheel.blades or 7), level + 8, (150, 700)))
            voices.append(tonal(rng, part, ratio * (wheel.blades or 7), level + 2, 2.0))
        elif part.startswith(("idler", "tensioner")) and rng.random() < 0.6:
            voices.append(_rush(rng, part, ratio, level - 5, (1000, 3500)))
    if rng.random() < 0.25:  # a belt end that taps a little: the pulley of the crank runs out
        seed = int(rng.integers(1 << 30))

        def tap(rng: np.random.Generator, motion: Motion) -> Array:
            grains = puff(np.random.default_rng(seed), motion.rate_hz, band(200, 900), 0.002, 0.01)
            times, levels = shaky(rng, motion.every(1.0), 0.002, 0.4)
            return strew(rng, motion, times, levels, grains)

        voices.append(Voice("belt", rng.normal(-24, 3), tap))
    return voices


def _by_load(voice: Voice, load: str, more_db: float) -> Voice:
    """A voice that is louder with a load on; infinitely: only then."""
    less = 10.0 ** (-more_db / 20.0)

    def make(rng: np.random.Generator, motion: Motion) -> Array:
        if load in motion.loads:
            return voice.make(rng, motion)
        return less * voice.make(rng, motion) if less else motion.silence()

    return Voice(voice.seat, voice.level_db, make, voice.growth)
