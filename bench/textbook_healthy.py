"""What a healthy engine and its accessories sound like. Levels: common practice, no source."""

from __future__ import annotations

import numpy as np

from textbook_car import Car
from textbook_signals import Run, Sound, Wave, falling, harmonics, modulation, pulse, uneven


def healthy_sounds(rng: np.random.Generator, car: Car) -> list[Sound]:
    """All sources of the engine without a fault."""
    makers = {
        "alternator": _alternator,
        "coolant-pump": _coolant_pump,
        "ac-compressor": _compressor,
        "steering-pump": _steering_pump,
        "fan": _fan,
    }
    sounds = [
        _combustion_pulses(rng, car),
        _combustion_noise(rng, car),
        _breathing(rng, car),
        _valve_train(rng, car),
        _chain(rng, car),
        _belt(rng, car),
    ]
    for part in car.parts[1:]:
        maker = makers.get(part)
        sounds.append(maker(rng, car) if maker else _roller(rng, car, part))
    return sounds


def _cylinders(car: Car) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    return np.array(car.strengths)


def _combustion_pulses(rng: np.random.Generator, car: Car) -> Sound:
    """Blows of the cylinders in turn through the first modes of block and mounts."""
    firing, start = 0.5 * car.cylinders, rng.random()

    def make(run: Run) -> Wave:
        at, number = run.events(firing, 0.004, start)
        heights = _cylinders(car)[number.astype(int) % car.cylinders]
        return run.blows(at, heights * uneven(run.rng, len(at), car.cycle_spread))

    low, high = rng.uniform(30.0, 90.0), rng.uniform(350.0, 1400.0)
    return Sound("engine", make, rng.uniform(-9.0, -2.0), low, high, 0.75, grows=0.8)


def _combustion_noise(rng: np.random.Generator, car: Car) -> Sound:
    """Noise that swells with each firing, the cylinders not alike."""
    width = rng.uniform(0.1, 0.6) / car.cylinders
    table = pulse(width, car.strengths) + np.float32(rng.uniform(0.05, 0.8))

    def make(run: Run) -> Wave:
        return run.noise() * run.locked(0.5, table)

    low, high = rng.uniform(250.0, 900.0), rng.uniform(1500.0, 5500.0)
    return Sound("engine", make, rng.uniform(-7.0, -1.0), low, high, 0.6, grows=1.2)


def _breathing(rng: np.random.Generator, car: Car) -> Sound:
    """Intake and exhaust: orders of the firing and half orders, and the rush of the flow."""
    heights = np.zeros(car.cylinders * 10)
    heights[car.cylinders - 1 :: car.cylinders] = falling(rng, 10, rng.uniform(3.0, 8.0))
    others = 10.0 ** (rng.uniform(-36.0, -14.0) / 20.0)
    heights += others * falling(rng, len(heights), 0.8)
    table, rush = harmonics(rng, heights), rng.uniform(0.05, 0.8)
    swell = modulation(rng, rng.uniform(0.2, 0.9))

    def make(run: Run) -> Wave:
        flow = run.noise() * run.locked(0.5 * car.cylinders, swell)
        return run.locked(0.5, table) + np.float32(rush) * flow

    low, high = rng.uniform(30.0, 80.0), rng.uniform(250.0, 1600.0)
    return Sound("engine", make, rng.uniform(-14.0, -2.0), low, high, 0.0, grows=1.0)


def _valve_train(rng: np.random.Generator, car: Car) -> Sound:
    """Valves that seat and injectors that click, two to five blows of each cylinder a cycle."""
    count, spread = int(rng.integers(2, 6)), rng.uniform(0.1, 0.6)
    places = rng.random(count)
    loud = uneven(rng, count * car.cylinders, 0.4).reshape(count, -1)

    def make(run: Run) -> Wave:
        total = np.zeros(run.size, np.float32)
        for place, heights in zip(places, loud, strict=True):
            at, number = run.events(0.5 * car.cylinders, 0.01, place)
            each = heights[number.astype(int) % car.cylinders]
            total += run.blows(at, each * uneven(run.rng, len(at), spread))
        return total

    low, high = rng.uniform(800.0, 2500.0), rng.uniform(5000.0, 11000.0)
    return Sound("valve-train", make, rng.uniform(-16.0, -3.0), low, high, 0.85, grows=0.9)


def _chain(rng: np.random.Generator, car: Car) -> Sound:
    """The mesh of the cam drive, and its rustle."""
    table = harmonics(rng, falling(rng, 4, 6.0))
    teeth, rustle = car.chain_teeth, rng.uniform(0.5, 3.0)
    swell = modulation(rng, 0.5)

    def make(run: Run) -> Wave:
        return run.wave(teeth, table) + np.float32(rustle) * run.noise() * run.wave(1.0, swell)

    level = rng.uniform(-26.0, -10.0) - (0.0 if car.has_chain else 12.0)
    low, high = rng.uniform(200.0, 700.0), rng.uniform(2000.0, 6000.0)
    return Sound("timing-chain", make, level, low, high, 0.7, grows=1.4)


def _belt(rng: np.random.Generator, car: Car) -> Sound:
    """Ribs and cords that run on and off: noise with the belt's turns in it, a hum of them."""
    swell = modulation(rng, rng.uniform(0.1, 0.5), 5)
    hum = harmonics(rng, falling(rng, 30, 0.6))
    share = rng.uniform(0.05, 1.0)

    def make(run: Run) -> Wave:
        rush = run.noise() * run.wave(car.belt_turns, swell)
        return rush + np.float32(share) * run.wave(car.belt_turns, hum)

    low, high = rng.uniform(100.0, 500.0), rng.uniform(1000.0, 4500.0)
    return Sound("belt", make, rng.uniform(-34.0, -11.0), low, high, 0.3, True, 1.5)


def _roller(rng: np.random.Generator, car: Car, part: str) -> Sound:
    """Idler or tensioner: a soft rush with a little of its own turns."""
    ratio = car.wheel(part).ratio
    swell = modulation(rng, rng.uniform(0.05, 0.4))

    def make(run: Run) -> Wave:
        return run.noise() * run.wave(ratio, swell)

    low, high = rng.uniform(300.0, 1200.0), rng.uniform(2500.0, 8000.0)
    return Sound(part, make, rng.uniform(-38.0, -17.0), low, high, 0.8, True, 1.5)


def _alternator(rng: np.random.Generator, car: Car) -> Sound:
    """Magnetic hum of the poles and slots, and its fans."""
    wheel = car.wheel("alternator")
    poles, blades = wheel.poles or 12, wheel.blades or 10
    heights = np.zeros(poles * 9)
    heights[poles // 2 - 1 :: poles // 2] = falling(rng, 18, 1.5, 6.0)
    heights[poles * 3 - 1] *= rng.uniform(1.0, 6.0)
    hum, swell = harmonics(rng, heights), modulation(rng, 0.5, 2)
    rush, rise = rng.uniform(0.3, 3.0), 10.0 ** (rng.uniform(-8.0, -2.0) / 20.0)

    def make(run: Run) -> Wave:
        load = 1.0 if "lights" in run.loads else rise
        fan = run.noise() * run.wave(wheel.ratio * blades, swell)
        return np.float32(load) * run.wave(wheel.ratio, hum) + np.float32(rush) * fan

    low, high = rng.uniform(200.0, 600.0), rng.uniform(3000.0, 8000.0)
    return Sound("alternator", make, rng.uniform(-28.0, -8.0), low, high, 0.6, True, 1.6)


def _coolant_pump(rng: np.random.Generator, car: Car) -> Sound:
    """Vane passing and the rush of the water."""
    wheel = car.wheel("coolant-pump")
    vanes, rush = wheel.vanes or 6, rng.uniform(0.5, 3.0)
    table = harmonics(rng, falling(rng, 4, 5.0))

    def make(run: Run) -> Wave:
        return run.wave(wheel.ratio * vanes, table) + np.float32(rush) * run.noise()

    low, high = rng.uniform(60.0, 300.0), rng.uniform(700.0, 3000.0)
    return Sound("coolant-pump", make, rng.uniform(-36.0, -16.0), low, high, 0.6, True, 1.5)


def _compressor(rng: np.random.Generator, car: Car) -> Sound:
    """Piston strokes when it pumps, only its pulley's rush when not."""
    ratio, pistons = car.wheel("ac-compressor").ratio, int(rng.integers(5, 11))
    table, swell = harmonics(rng, falling(rng, 10, 2.0)), modulation(rng, 0.4)

    def make(run: Run) -> Wave:
        rush = np.float32(0.3) * run.noise() * run.wave(ratio, swell)
        return rush + run.wave(ratio * pistons, table) if "ac" in run.loads else rush

    low, high = rng.uniform(60.0, 300.0), rng.uniform(800.0, 3500.0)
    return Sound("ac-compressor", make, rng.uniform(-24.0, -9.0), low, high, 0.6, True, 1.2)


def _steering_pump(rng: np.random.Generator, car: Car) -> Sound:
    """Vane tones that rise, and oil that rushes, when the wheel is held off centre."""
    wheel = car.wheel("steering-pump")
    vanes, rush = wheel.vanes or 10, rng.uniform(0.3, 2.0)
    table = harmonics(rng, falling(rng, 8, 3.0))
    quiet = 10.0 ** (rng.uniform(-14.0, -5.0) / 20.0)

    def make(run: Run) -> Wave:
        load = 1.0 if "steering" in run.loads else quiet
        whole = run.wave(wheel.ratio * vanes, table) + np.float32(rush) * run.noise()
        return np.float32(load) * whole

    low, high = rng.uniform(100.0, 300.0), rng.uniform(1500.0, 5000.0)
    return Sound("steering-pump", make, rng.uniform(-24.0, -8.0), low, high, 0.6, True, 1.2)


def _fan(rng: np.random.Generator, car: Car) -> Sound:
    """Blade tones and rush of a fan on the belt."""
    wheel = car.wheel("fan")
    blades, rush = wheel.blades or 7, rng.uniform(0.5, 2.0)
    table, swell = harmonics(rng, falling(rng, 6, 5.0)), modulation(rng, 0.4)

    def make(run: Run) -> Wave:
        whole = np.float32(rush) * run.noise() * run.wave(wheel.ratio, swell)
        return whole + run.wave(wheel.ratio * blades, table)

    low, high = rng.uniform(50.0, 150.0), rng.uniform(500.0, 2500.0)
    return Sound("fan", make, rng.uniform(-22.0, -7.0), low, high, 0.2, True, 2.2)
