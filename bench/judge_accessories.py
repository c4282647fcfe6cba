"""Healthy accessories by the judge: what belt, pulleys, pumps and alternator always say."""

from __future__ import annotations

import numpy as np

from judge_drive import Car, kind_of
from judge_motion import Source, Turning
from judge_tools import Array, band, crossings, cyclic, flat, train, uneven, white

# Rotor slots of a claw-pole alternator's stator: three phases to each pole.
SLOTS_PER_POLE = 3


def _hum(turning: Turning, part: str, orders: dict[int, float], swing: float) -> Array:
    """Tones at orders of a shaft, breathing a little with its turn."""
    angle = 2.0 * np.pi * turning.shaft(part)
    total = np.zeros(turning.size)
    for order, share in orders.items():
        total += share * np.cos(order * angle + 0.7 * order)
    return np.asarray(total * (1.0 + swing * np.cos(angle)))


def _alternator(rng: np.random.Generator, car: Car) -> list[Source]:
    wheel = car.wheel("alternator")
    poles, blades = wheel.poles or 12, wheel.blades or 11
    slots = SLOTS_PER_POLE * poles
    magnetic = {poles: rng.uniform(0.2, 0.6), slots: 1.0, 2 * slots: rng.uniform(0.1, 0.4)}
    current = rng.uniform(0.2, 0.6)
    table = uneven(rng, 0.3, (1, 2, 3, blades, 2 * blades))

    def coils(turning: Turning, rng: np.random.Generator) -> Array:
        drawn = current + 0.8 * turning.load("lights") + 0.2 * turning.onset
        return np.asarray(_hum(turning, "alternator", magnetic, 0.15) * drawn)

    def fan(turning: Turning, rng: np.random.Generator) -> Array:
        air = white(rng, turning.size) * turning.pace**2.2
        return np.asarray(air * cyclic(table, turning.shaft("alternator")))

    return [
        Source("alternator", rng.normal(-21.0, 5.0), coils, flat, True),
        Source("alternator", rng.normal(-15.0, 4.0), fan, band(500, 4500, 1.0), True, True),
    ]


def _pump(rng: np.random.Generator, car: Car) -> list[Source]:
    vanes = car.wheel("coolant-pump").vanes or 6
    table = uneven(rng, 0.4, (1, vanes))

    def rush(turning: Turning, rng: np.random.Generator) -> Array:
        flow = white(rng, turning.size) * turning.pace**2
        return np.asarray(flow * cyclic(table, turning.shaft("coolant-pump")))

    return [Source("coolant-pump", rng.normal(-20.0, 4.0), rush, band(200, 2500, 1.0), True)]


def _steering(rng: np.random.Generator, car: Car) -> list[Source]:
    vanes = car.wheel("steering-pump").vanes or 10
    orders = {vanes: 1.0, 2 * vanes: 0.5, 3 * vanes: 0.25}

    def ripple(turning: Turning, rng: np.random.Generator) -> Array:
        strain = 0.5 + 1.5 * turning.load("steering")
        return np.asarray(_hum(turning, "steering-pump", orders, 0.2) * strain)

    return [Source("steering-pump", rng.normal(-18.0, 4.0), ripple, flat, True)]


def _compressor(rng: np.random.Generator, car: Car) -> list[Source]:
    pistons = int(rng.choice([5, 6, 7, 10]))
    orders = {1: 0.2, pistons: 1.0, 2 * pistons: 0.6, 3 * pistons: 0.3}

    def pulsing(turning: Turning, rng: np.random.Generator) -> Array:
        hum = _hum(turning, "ac-compressor", orders, 0.2)
        return np.asarray((hum + 0.5 * white(rng, turning.size)) * turning.load("ac"))

    return [Source("ac-compressor", rng.normal(-11.0, 4.0), pulsing, band(80, 2500, 1.0), True)]


def _fan(rng: np.random.Generator, car: Car) -> list[Source]:
    blades = car.wheel("fan").blades or 7
    table = uneven(rng, 0.35, (1, blades, 2 * blades))

    def air(turning: Turning, rng: np.random.Generator) -> Array:
        flow = white(rng, turning.size) * turning.pace**1.5
        return np.asarray(flow * cyclic(table, turning.shaft("fan")))

    return [Source("fan", rng.normal(-9.0, 3.0), air, band(120, 1200, 1.0), True, True)]


def _bearing(rng: np.random.Generator, car: Car, part: str) -> Source:
    """Every bearing hisses a little, more once it has run far."""
    table = uneven(rng, rng.uniform(0.05, 0.3), (1, 2, 3))

    def hiss(turning: Turning, rng: np.random.Generator) -> Array:
        grease = white(rng, turning.size) * turning.pace**1.5
        return np.asarray(grease * cyclic(table, turning.shaft(part)))

    return Source(part, rng.normal(-24.0, 4.0), hiss, band(600, 6000, 1.0), True)


def _belt(rng: np.random.Generator, car: Car) -> list[Source]:
    """Ribs going into grooves: a rustle with the belt's own unevenness, and its splice."""
    table = uneven(rng, rng.uniform(0.1, 0.4), range(1, 13))
    splice = rng.uniform(0.0, 0.25)
    wheels = len(car.wheels)
    spans = np.cumsum(np.array(car.span_mm) + np.array(car.wrap_mm)) / car.belt_mm

    def rustle(turning: Turning, rng: np.random.Generator) -> Array:
        return np.asarray(white(rng, turning.size) * turning.pace * cyclic(table, turning.belt))

    def ticks(turning: Turning, rng: np.random.Generator) -> Array:
        at = np.concatenate([crossings(turning.belt, float(place % 1.0)) for place in spans])
        return train(turning.size, at, splice * rng.lognormal(0.0, 0.5, at.size))

    place = "belt"
    return [
        Source(place, rng.normal(-19.0, 4.0), rustle, band(800, 5000, 1.0), True, True),
        Source(str(car.parts[wheels // 2]), rng.normal(-30.0, 4.0), ticks, flat, True),
    ]


def _electric_fan(rng: np.random.Generator) -> Source:
    """The radiator's electric fan, running by itself."""
    pass_hz = rng.uniform(120.0, 330.0)

    def air(turning: Turning, rng: np.random.Generator) -> Array:
        time = np.arange(turning.size) / turning.rate_hz
        tone = np.cos(2 * np.pi * pass_hz * time) + 0.4 * np.cos(4 * np.pi * pass_hz * time + 1.0)
        return np.asarray(white(rng, turning.size) + 0.2 * tone)

    return Source("bay", rng.normal(-5.0, 3.0), air, band(150, 1800, 1.0), airborne=True)


def accessory_sources(rng: np.random.Generator, car: Car) -> list[Source]:
    """Everything healthy that hangs on the belt, and now and then the radiator's fan."""
    given = {
        "alternator": _alternator,
        "coolant-pump": _pump,
        "steering-pump": _steering,
        "ac-compressor": _compressor,
        "fan": _fan,
    }
    found: list[Source] = _belt(rng, car)
    for part in car.parts[1:]:
        if kind_of(part) in given:
            found += given[kind_of(part)](rng, car)
        found.append(_bearing(rng, car, part))
    if rng.random() < 0.1:
        found.append(_electric_fan(rng))
    return found
