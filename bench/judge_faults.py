"""Faults of the accessories beside bearings and belt, by the judge."""

from __future__ import annotations

import numpy as np

from judge_belt import stick_slip
from judge_drive import Car
from judge_motion import Source, Turning
from judge_rattle import rattle, swing_push
from judge_tools import (
    Array,
    band,
    bumps,
    crossings,
    cyclic,
    falling,
    flat,
    smoothed,
    train,
    uneven,
    wander,
    white,
)


def alternator_electrical(rng: np.random.Generator, car: Car) -> list[Source]:
    """A diode or winding gone: the pull on the rotor ripples once per pole pair, and with load."""
    poles = car.wheel("alternator").poles or 12
    pairs = poles // 2
    shares = {pairs: 1.0, 2 * pairs: 0.8, 3 * pairs: 0.5, 4 * pairs: 0.35, 6 * pairs: 0.6}
    if rng.random() < 0.4:
        # A shorted diode loads one phase alone; a worn stack sings at the slots instead.
        shares = {poles: 0.6, 3 * poles: 1.0, 6 * poles: 0.35}
    shares = {order: share * rng.lognormal(0.0, 0.5) for order, share in shares.items()}
    idle_current = rng.uniform(0.3, 0.7)
    regulator_hz = rng.uniform(1.0, 6.0)

    def whine(turning: Turning, rng: np.random.Generator) -> Array:
        angle = 2.0 * np.pi * turning.shaft("alternator")
        hunting = 1.0 + 0.2 * wander(rng, turning.size, turning.rate_hz, regulator_hz)
        current = idle_current + turning.load("lights") + 0.3 * turning.onset
        total = np.zeros(turning.size)
        for order, share in shares.items():
            total += share * np.cos(order * angle + order)
        # The rotor runs a little out of true: the gap, and the pull, swing once a turn.
        eccentric = 1.0 + 0.15 * np.cos(angle)
        return np.asarray(total * eccentric * current * np.clip(hunting, 0.2, None))

    return [Source("alternator", 0.0, whine, flat, True)]


def alternator_decoupler(rng: np.random.Generator, car: Car) -> list[Source]:
    """A one-way clutch with slack and a tired spring: the rotor overruns and is caught again."""
    given = {
        "natural_hz": float(rng.uniform(4.0, 14.0)),
        "damping": float(rng.uniform(0.03, 0.15)),
        "gap": float(rng.uniform(0.3, 1.0)),
        "bounce": float(rng.uniform(0.1, 0.5)),
    }
    grinds = float(rng.uniform(0.0, 0.5))

    def chatter(turning: Turning, rng: np.random.Generator) -> Array:
        push = swing_push(turning) * car.wheel("alternator").ratio
        drag = 1.0 + 0.7 * turning.load("lights")
        return np.asarray(rattle(turning, rng, push, **given) * drag)

    def rub(turning: Turning, rng: np.random.Generator) -> Array:
        # Rollers sliding while the rotor overruns: noise in the slowing half of each firing.
        peak = float(np.abs(turning.swing).max()) or 1.0
        overrun = np.clip(-turning.swing / peak, 0.0, None)
        return np.asarray(white(rng, turning.size) * overrun)

    return [
        Source("alternator", 0.0, chatter, band(500.0, rng.uniform(3000, 8000), 1.0), True),
        Source("alternator", 20.0 * np.log10(grinds + 0.03), rub, band(900.0, 5000.0, 1.0), True),
    ]


def tensioner_rattle(rng: np.random.Generator, car: Car) -> list[Source]:
    """An arm without damping, shaken by the belt between its stops."""
    given = {
        "natural_hz": float(rng.uniform(9.0, 26.0)),
        "damping": float(rng.uniform(0.01, 0.06)),
        "gap": float(rng.uniform(0.25, 0.8)),
        "bounce": float(rng.uniform(0.2, 0.65)),
    }

    def knock(turning: Turning, rng: np.random.Generator) -> Array:
        return rattle(turning, rng, swing_push(turning), **given)

    return [Source("tensioner", 0.0, knock, falling(rng.uniform(600.0, 2200.0), 1.3), True)]


def pump_impeller(rng: np.random.Generator, car: Car) -> list[Source]:
    """A loose or worn impeller: it scrapes as it turns, or the water boils behind it."""
    vanes = car.wheel("coolant-pump").vanes or 6
    if rng.random() < 0.55:
        arc = bumps([rng.random()], rng.uniform(0.08, 0.25), [1.0], 720)
        arc = arc + 0.4 * bumps(np.arange(vanes) / vanes, 0.03, rng.lognormal(0, 0.4, vanes), 720)

        def scrape(turning: Turning, rng: np.random.Generator) -> Array:
            touch = np.exp(0.5 * wander(rng, turning.size, turning.rate_hz, 2.0))
            noise = white(rng, turning.size) * turning.pace
            return np.asarray(noise * touch * cyclic(arc, turning.shaft("coolant-pump")))

        colour = band(rng.uniform(500.0, 1500.0), rng.uniform(3000.0, 7000.0), 1.0)
        return [Source("coolant-pump", 0.0, scrape, colour, True)]

    each = uneven(rng, 0.5, (1, vanes))

    def boiling(turning: Turning, rng: np.random.Generator) -> Array:
        # Bubbles caving in at random, the more the faster the vanes run.
        often = 900.0 * turning.pace**2
        count = int(np.mean(often) * turning.size / turning.rate_hz)
        at = rng.uniform(0.0, turning.size, count)
        near = np.clip(at.astype(int), 0, turning.size - 1)
        sizes = rng.pareto(2.5, count) + 0.2
        gate = cyclic(each, turning.shaft("coolant-pump")[near]) * turning.pace[near]
        rush = 0.05 * white(rng, turning.size) * turning.pace**2
        return np.asarray(train(turning.size, at, sizes * gate) + rush)

    return [Source("coolant-pump", 0.0, boiling, band(700.0, 9000.0, 1.0), True)]


def pump_seal(rng: np.random.Generator, car: Car) -> list[Source]:
    """Dry seal faces sticking and slipping, at one part of the turn or on and on."""
    pitch = float(rng.uniform(1500.0, 5500.0))
    steady = rng.random() < 0.4
    turn = np.roll(np.cos(2.0 * np.pi * np.arange(360) / 360.0), int(rng.integers(360)))
    threshold = -0.8 if steady else rng.uniform(0.2, 0.7)

    def squeak(turning: Turning, rng: np.random.Generator) -> Array:
        wet = 0.5 * wander(rng, turning.size, turning.rate_hz, 0.7)
        drive = cyclic(turn, turning.shaft("coolant-pump")) * (0.3 if steady else 1.0)
        drive = 3.0 * (drive + wet - threshold + 0.4 * turning.cold)
        return stick_slip(
            turning, rng, pitch, drive, grows_s=0.005, harmonics=2, rough=0.05, bends=0.003
        )

    return [Source("coolant-pump", 0.0, squeak, band(900.0, 9000.0, 1.0), True, True)]


def compressor_clutch(rng: np.random.Generator, car: Car) -> list[Source]:
    """The clutch plate: rubbing while it is out, squealing or chattering as it comes in."""
    rubs = rng.random() < 0.45
    arc = bumps([rng.random()], rng.uniform(0.1, 0.4), [1.0], 720) + rng.uniform(0.0, 0.15)
    pitch, slips_s = float(rng.uniform(700.0, 2800.0)), float(rng.uniform(0.25, 1.2))
    chatters = rng.random() < 0.4
    beats_hz = float(rng.uniform(14.0, 40.0))

    def rub(turning: Turning, rng: np.random.Generator) -> Array:
        out = 1.0 - turning.load("ac")
        noise = white(rng, turning.size) * turning.pace
        return np.asarray(noise * cyclic(arc, turning.shaft("ac-compressor")) * out)

    def engage(turning: Turning, rng: np.random.Generator) -> Array:
        time = np.arange(turning.size) / turning.rate_hz
        total = np.zeros(turning.size)
        if "ac" not in turning.loads:
            return total
        # It cuts in with the load, then cycles as the pressures come and go.
        first = float(np.interp(0.5, turning.onset, time)) if turning.onset[0] < 0.5 else 0.3
        starts = np.arange(first, time[-1], rng.uniform(2.0, 3.5))
        for start in starts:
            late = time - start
            slipping = np.where((late > 0) & (late < slips_s), 1.0 - late / slips_s, -1.0)
            if chatters:
                blows_at = (start + np.arange(0.0, slips_s, 1.0 / beats_hz)) * turning.rate_hz
                total += 12.0 * train(turning.size, blows_at, rng.lognormal(0, 0.4, blows_at.size))
            else:
                total += 0.5 * stick_slip(
                    turning,
                    rng,
                    pitch * (0.85 + 0.15 * np.clip(slipping, 0.0, 1.0)),
                    slipping * 2.0,
                    grows_s=0.01,
                    harmonics=5,
                    rough=0.3,
                )
            total += 25.0 * train(turning.size, np.array([start * turning.rate_hz]), 1.0)
        return total

    if rubs:
        return [
            Source("ac-compressor", 0.0, rub, band(900.0, 6000.0, 1.0), True),
            Source("ac-compressor", 0.0, engage, flat, True),
        ]
    return [Source("ac-compressor", 0.0, engage, flat, True)]


def compressor_rattle(rng: np.random.Generator, car: Car) -> list[Source]:
    """Worn pistons or a slack swash plate: blows within the turn, only while it pumps."""
    pistons = int(rng.choice([5, 6, 7, 10]))
    phases = np.arange(pistons) / pistons
    loose = rng.lognormal(0.0, 0.9, pistons)
    scatter = float(rng.uniform(0.3, 0.7))

    def knock(turning: Turning, rng: np.random.Generator) -> Array:
        shaft = turning.shaft("ac-compressor")
        on = turning.load("ac")
        total = np.zeros(turning.size)
        for phase, height in zip(phases, loose, strict=True):
            at = crossings(shaft, float(phase))
            at = at + rng.normal(0.0, 0.0006, at.size) * turning.rate_hz
            near = np.clip(at.astype(int), 0, turning.size - 1)
            total += train(turning.size, at, height * rng.lognormal(0, scatter, at.size) * on[near])
        return total

    return [Source("ac-compressor", 0.0, knock, falling(rng.uniform(1200, 3500), 1.2), True)]


def steering_whine(rng: np.random.Generator, car: Car) -> list[Source]:
    """Vanes pressing air with the oil: their passing tone, and a groan that bursts with it."""
    vanes = car.wheel("steering-pump").vanes or 10
    heights = rng.lognormal(0.0, 0.5, 5) / np.arange(1, 6) ** 0.7
    straight = float(rng.uniform(0.25, 0.7))
    groans = float(rng.uniform(0.2, 1.5))
    sideband = float(rng.uniform(0.1, 0.5))

    def strain(turning: Turning) -> Array:
        return np.asarray(straight + turning.load("steering"))

    def whine(turning: Turning, rng: np.random.Generator) -> Array:
        angle = 2.0 * np.pi * turning.shaft("steering-pump")
        bubbles = np.exp(0.3 * wander(rng, turning.size, turning.rate_hz, 6.0))
        tone = np.zeros(turning.size)
        for number, height in enumerate(heights, start=1):
            tone += height * np.cos(number * vanes * angle + number)
        return np.asarray(tone * (1.0 + sideband * np.cos(angle)) * bubbles * strain(turning))

    def groan(turning: Turning, rng: np.random.Generator) -> Array:
        passing = np.clip(np.cos(2.0 * np.pi * vanes * turning.shaft("steering-pump")), 0.0, None)
        rough = smoothed(np.abs(white(rng, turning.size)), turning.rate_hz, 0.02)
        noise = white(rng, turning.size) * passing**2 * rough
        return np.asarray(noise * strain(turning) ** 1.5)

    return [
        Source("steering-pump", 0.0, whine, flat, True),
        Source("steering-pump", 20 * np.log10(groans), groan, band(150.0, 1800.0, 1.0), True),
    ]


def fan_clutch(rng: np.random.Generator, car: Car) -> list[Source]:
    """A clutch that stays locked: the blades' full roar, rising as the fifth power of speed."""
    blades = car.wheel("fan").blades or 7
    table = uneven(rng, 0.35, (1, blades, 2 * blades))

    def roar(turning: Turning, rng: np.random.Generator) -> Array:
        air = white(rng, turning.size) * turning.pace**2.7
        return np.asarray(air * cyclic(table, turning.shaft("fan")))

    def passing(turning: Turning, rng: np.random.Generator) -> Array:
        angle = 2.0 * np.pi * turning.shaft("fan")
        tone = np.cos(blades * angle) + 0.5 * np.cos(2 * blades * angle + 1.0)
        return np.asarray(tone * turning.pace**2.7)

    return [
        Source("fan", 0.0, roar, band(100.0, rng.uniform(800.0, 2000.0), 1.0), True, True),
        Source("fan", rng.uniform(-14.0, -3.0), passing, flat, True, True),
    ]
