"""A healthy engine and healthy accessories as the apprentice draws them.

The engine is a harmonic series at half orders with firing emphasised, noise that pulses with the
firing, and the small ticks of valves and injectors; accessories are tones at their own counts and
steady noise. Levels are counted from the engine's low notes at idle; common practice, no source.
"""

from __future__ import annotations

import numpy as np

from apprentice_car import Car, Wheel
from apprentice_signals import (
    Array,
    Float,
    Modes,
    Sound,
    Source,
    Turning,
    band,
    bumps,
    draw_modes,
    harmonics,
    locked,
    looked_up,
    noise,
    ringing,
)

HALF_ORDERS = 160


def engine_sources(rng: np.random.Generator, car: Car) -> list[Source]:
    """What the engine itself makes, belt or no belt."""
    sources = [
        Source("engine", _Notes(rng, car), speed_power=rng.uniform(0.3, 1.0)),
        Source("engine", _Combustion(rng, car), rng.uniform(-18.0, -4.0), rng.uniform(0.5, 1.2)),
        Source("air", _Steady(_flow(rng)), rng.uniform(-26.0, -8.0), rng.uniform(0.6, 1.3)),
        Source("valve-train", _Ticks(rng, car, 2, (1500.0, 7000.0)), rng.uniform(-38.0, -16.0)),
    ]
    if rng.random() < 0.5:
        direct = rng.random() < 0.4
        level_db = rng.uniform(-30.0, -18.0) if direct else rng.uniform(-46.0, -30.0)
        injectors = _Ticks(rng, car, 1, (3500.0, 11_000.0))
        sources.append(Source("valve-train", injectors, level_db, 0.2))
    if car.chain:
        mesh = Tones(rng, 1.0, (car.sprocket_teeth,), 3)
        rustle = Pulsing(band(1200.0, 5000.0), 0.5, _even(rng, car.cylinders, 0.4, 0.5))
        sources.append(Source("timing-chain", mesh, rng.uniform(-55.0, -34.0), 1.0))
        sources.append(Source("timing-chain", rustle, rng.uniform(-42.0, -24.0), 0.8))
    return sources


def accessory_sources(rng: np.random.Generator, car: Car) -> list[Source]:
    """What the belt and the parts it drives make in a healthy car; some are loud all the same."""
    sources = []
    for wheel in car.wheels[1:]:
        loud_db = rng.uniform(8.0, 20.0) if rng.random() < 0.12 else 0.0
        load = {"alternator": "lights", "ac-compressor": "ac", "steering-pump": "steering"}
        loads = (load[wheel.part],) if wheel.part in load else ()
        without_db = -float(rng.uniform(2.0, 10.0)) if loads else 0.0
        counts = _counts(rng, wheel)
        if counts:
            tones = Tones(rng, wheel.ratio, counts, 4)
            level_db = rng.uniform(-50.0, -28.0) + loud_db
            sources.append(Source(wheel.part, tones, level_db, 1.0, loads, without_db))
        rush = Pulsing(_rush(rng, wheel), wheel.ratio, _even(rng, 1, rng.uniform(0.0, 0.3), 1.0))
        level_db = rng.uniform(-52.0, -30.0) + 0.7 * loud_db + (8.0 if wheel.part == "fan" else 0.0)
        sources.append(Source(wheel.part, rush, level_db, rng.uniform(0.8, 1.8)))
    hum = Tones(rng, car.belt_order, tuple(int(k) for k in rng.integers(1, 60, 3)), 1)
    sources.append(Source("belt", hum, rng.uniform(-55.0, -35.0), 0.8))
    return sources


def _counts(rng: np.random.Generator, wheel: Wheel) -> tuple[int, ...]:
    if wheel.poles:
        # Ripple of a rectifier on three phases: six a period, half as many periods as poles.
        return (wheel.poles // 2, wheel.poles, 3 * wheel.poles, int(rng.choice([36, 48])))
    return tuple(count for count in (wheel.vanes, wheel.blades) if count)


def _rush(rng: np.random.Generator, wheel: Wheel) -> Float:
    if wheel.part == "fan":
        return band(150.0, rng.uniform(900.0, 2500.0), -2.0)
    low_hz = rng.uniform(300.0, 2500.0)
    return band(low_hz, low_hz * rng.uniform(2.0, 5.0), rng.uniform(-4.0, 0.0))


def _flow(rng: np.random.Generator) -> Float:
    return band(60.0, rng.uniform(500.0, 3000.0), rng.uniform(-6.0, -2.0))


def _even(rng: np.random.Generator, count: int, depth: float, width: float) -> Array:
    """A curve that swells `count` times a turn."""
    centres = (np.arange(count) + rng.random()) / count
    return bumps(centres, np.full(count, depth), width / count, 1.0 - 0.5 * depth)


class Tones:
    """Tones at counts per turn of a shaft and their harmonics."""

    def __init__(
        self, rng: np.random.Generator, ratio: float, counts: tuple[int, ...], overtones: int
    ) -> None:
        self.ratio = ratio
        weights = np.zeros(max(counts) * overtones)
        for count in counts:
            for k in range(1, overtones + 1):
                weights[count * k - 1] += rng.uniform(0.3, 1.0) * rng.uniform(0.2, 1.0) ** (k - 1)
        # A little once a turn: nothing is quite round.
        self.table = harmonics(rng, weights)
        self.swing = 1.0 + rng.uniform(0.0, 0.25) * harmonics(rng, [1.0])

    def __call__(self, rng: np.random.Generator, turning: Turning) -> Sound:
        return Sound(time=looked_up(self.table * self.swing, self.ratio * turning.phase))


class Pulsing:
    """Noise that swells with a curve, `rate` turns of the curve per crank turn."""

    def __init__(self, density: Float, rate: float, curve: Array) -> None:
        self.density, self.rate, self.curve = density, rate, curve

    def __call__(self, rng: np.random.Generator, turning: Turning) -> Sound:
        if np.ptp(self.curve) < 0.05:
            return Sound(density=self.density)
        swell = looked_up(self.curve, self.rate * turning.phase + rng.random())
        return Sound(time=noise(rng, turning, self.density) * swell)


class _Steady:
    """Steady noise."""

    def __init__(self, density: Float) -> None:
        self.density = density

    def __call__(self, rng: np.random.Generator, turning: Turning) -> Sound:
        return Sound(density=self.density)


class _Notes:
    """Half orders falling with frequency, firing and its multiples raised, no cycle like another.

    A half order is one per cycle of two turns, so the wave is read at half the crank's turns.
    """

    def __init__(self, rng: np.random.Generator, car: Car) -> None:
        k = np.arange(1, HALF_ORDERS + 1)
        weights = k ** -rng.uniform(0.5, 1.2) * np.exp(rng.normal(0.0, 0.35, k.size))
        weights *= 0.03 + 1.2 * car.roughness
        firing = k % car.cylinders == 0
        multiple = k[firing] / car.cylinders
        uneven = np.exp(rng.normal(0.0, 0.35, multiple.size))
        weights[firing] = multiple ** -rng.uniform(0.5, 1.1) * uneven
        # Whole orders of what turns and shakes, on even engines too.
        weights[k == 2] += rng.uniform(0.0, 0.1)
        self.table = harmonics(rng, weights)
        self.roughness = car.roughness

    def __call__(self, rng: np.random.Generator, turning: Turning) -> Sound:
        cycle = 0.5 * turning.phase + rng.random()
        strengths = 1.0 + 0.5 * self.roughness * rng.normal(size=int(turning.turns[-1]) + 2)
        strength = np.interp(turning.turns, np.arange(strengths.size), strengths)
        wave = looked_up(self.table, cycle)
        return Sound(time=wave * turning.spread(strength).astype(np.float32))


class _Combustion:
    """Coloured noise that swells with each firing, each cylinder a little differently."""

    def __init__(self, rng: np.random.Generator, car: Car) -> None:
        self.density = band(
            rng.uniform(150.0, 600.0), rng.uniform(1500.0, 5000.0), rng.uniform(-6.0, -2.0)
        )
        count = car.cylinders
        heights = np.clip(1.0 + car.roughness * rng.normal(size=count), 0.1, 3.0)
        self.curve = bumps(
            np.arange(count) / count, heights, rng.uniform(0.2, 0.6) / count, rng.uniform(0.1, 0.5)
        )

    def __call__(self, rng: np.random.Generator, turning: Turning) -> Sound:
        swell = looked_up(self.curve, 0.5 * turning.phase + rng.random())
        return Sound(time=noise(rng, turning, self.density) * swell)


class _Ticks:
    """Small blows `per_cylinder` times a cycle for each cylinder, each with heights of its own."""

    def __init__(
        self, rng: np.random.Generator, car: Car, per_cylinder: int, range_hz: tuple[float, float]
    ) -> None:
        self.count = per_cylinder * car.cylinders
        self.heights = np.exp(rng.normal(0.0, 0.15 + car.roughness, self.count))
        self.modes: Modes = draw_modes(rng, *range_hz, decay_s=(0.0004, 0.002))

    def __call__(self, rng: np.random.Generator, turning: Turning) -> Sound:
        turns = locked(rng, turning, 0.5 * self.count, jitter=0.04)
        heights = self.heights[np.arange(turns.size) % self.count]
        return ringing(turning, turns, heights * rng.uniform(0.7, 1.3, turns.size), self.modes)
