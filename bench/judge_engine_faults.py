"""Faults of the engine itself by the judge: damper, chain, valves, leaks, deep knock."""

from __future__ import annotations

import numpy as np

from judge_drive import Car
from judge_engine import blows
from judge_motion import Source, Turning
from judge_rattle import rattle, swing_push
from judge_tools import (
    Array,
    band,
    bumps,
    crossings,
    cyclic,
    draw_modes,
    falling,
    train,
    uneven,
    wander,
    white,
)


def crank_damper(rng: np.random.Generator, car: Car) -> list[Source]:
    """Rubber let go: the ring swings against the hub between what is left of it, and wobbles."""
    given = {
        "natural_hz": float(rng.uniform(6.0, 20.0)),
        "damping": float(rng.uniform(0.02, 0.1)),
        "gap": float(rng.uniform(0.3, 0.9)),
        "bounce": float(rng.uniform(0.15, 0.5)),
    }
    side = float(rng.random())
    wobble = float(rng.uniform(0.3, 0.9))
    arc = bumps([side], float(rng.uniform(0.1, 0.3)), [1.0], 720)
    grates = rng.uniform(-22.0, -6.0)

    def knock(turning: Turning, rng: np.random.Generator) -> Array:
        struck = rattle(turning, rng, swing_push(turning), **given)
        # The ring hangs to one side: that side is struck harder, once a turn.
        return np.asarray(struck * (1.0 + wobble * np.cos(2 * np.pi * (turning.crank - side))))

    def grate(turning: Turning, rng: np.random.Generator) -> Array:
        return np.asarray(white(rng, turning.size) * cyclic(arc, turning.crank) * turning.pace)

    return [
        Source("crank", 0.0, knock, falling(rng.uniform(400.0, 1600.0), 1.4)),
        Source("crank", grates, grate, band(500.0, 4000.0, 1.0)),
    ]


def chain_rattle(rng: np.random.Generator, car: Car) -> list[Source]:
    """A slack chain thrown on its guide where the camshaft lets go, a flurry of links each time."""
    lobes = [(at + 0.6) % 1.0 for at in car.fires_at]
    heights = rng.lognormal(0.0, 0.5, len(lobes))
    links = int(rng.integers(3, 8))
    apart_s = float(rng.uniform(0.0015, 0.005))
    steady = float(rng.uniform(0.2, 0.6))
    misses = float(rng.uniform(0.1, 0.5))

    def slap(turning: Turning, rng: np.random.Generator) -> Array:
        total = np.zeros(turning.size)
        # Oil pressure takes the slack out: worst cold, calmer as speed rises.
        slack = (steady + turning.cold) / turning.pace**0.8
        for phase, height in zip(lobes, heights, strict=True):
            at = crossings(turning.cycle, phase)
            at = at[rng.random(at.size) > misses]
            at = at + rng.normal(0.0, 0.002, at.size) * turning.rate_hz
            near = np.clip(at.astype(int), 0, turning.size - 1)
            first = height * rng.lognormal(0.0, 0.5, at.size) * slack[near]
            for link in range(links):
                late = at + np.abs(rng.normal(link, 0.3, at.size)) * apart_s * turning.rate_hz
                total += train(
                    turning.size, late, first * rng.lognormal(0, 0.5, at.size) * 0.7**link
                )
        return total

    return [Source("front-cover", 0.0, slap, band(500.0, rng.uniform(3500.0, 9000.0), 1.0))]


def chain_whine(rng: np.random.Generator, car: Car) -> list[Source]:
    """Worn sprockets: a tone at their teeth's rate, its height swinging with the turn."""
    teeth = car.sprocket_teeth
    depth = uneven(rng, float(rng.uniform(0.1, 0.4)), (1, 2))
    half = float(rng.uniform(0.0, 0.3))
    over = rng.lognormal(0.0, 0.4, 3) * np.array([1.0, 0.45, 0.2])

    def whine(turning: Turning, rng: np.random.Generator) -> Array:
        angle = 2.0 * np.pi * turning.crank
        tone = np.zeros(turning.size)
        for number, height in enumerate(over, start=1):
            tone += height * np.cos(number * teeth * angle + number)
        tone *= cyclic(depth, turning.crank) * (1.0 + half * np.cos(angle / 2.0))
        rough = np.exp(0.15 * wander(rng, turning.size, turning.rate_hz, 10.0))
        return np.asarray(tone * rough * turning.pace**0.8)

    return [Source("front-cover", 0.0, whine)]


def valve_tick(rng: np.random.Generator, car: Car) -> list[Source]:
    """One valve's lash, or a few, taken up with a blow each camshaft turn."""
    count = int(rng.choice([1, 1, 1, 2, 3]))
    which = rng.choice(car.cylinders, min(count, car.cylinders), replace=False)
    phases = [(car.fires_at[int(one)] + rng.choice([0.3, 0.62])) % 1.0 for one in which]
    heights = rng.lognormal(0.0, 0.3, len(phases))
    scatter = float(rng.uniform(0.08, 0.35))
    lands_s, lands = float(rng.uniform(0.008, 0.016)), float(rng.uniform(0.0, 0.6))
    pumps_up = float(rng.uniform(0.0, 0.4))

    def tick(turning: Turning, rng: np.random.Generator) -> Array:
        given = {"scatter": scatter, "jitter": 0.0015, "speed_power": 0.6}
        opening = blows(turning, rng, phases, heights, **given)
        closing = blows(turning, rng, phases, heights * lands, later_s=lands_s, **given)
        # A lifter that bleeds down comes and goes.
        bleeds = np.exp(pumps_up * wander(rng, turning.size, turning.rate_hz, 0.6))
        return np.asarray((opening + closing) * bleeds)

    low = rng.uniform(1200.0, 2600.0)
    return [Source("head", 0.0, tick, band(low, rng.uniform(6000.0, 11000.0), 1.0))]


def vacuum_hiss(rng: np.random.Generator, car: Car) -> list[Source]:
    """Air drawn through a split at near the speed of sound; some splits whistle."""
    opens = [(at + 0.5) % 1.0 for at in car.fires_at]
    table = 1.0 + rng.uniform(0.0, 0.35) * bumps(opens, 0.06, np.ones(len(opens)), 720)
    eases = float(rng.uniform(0.5, 1.5))
    low = rng.uniform(800.0, 3000.0)

    def flow(turning: Turning) -> Array:
        # Opening the throttle to hold a higher speed eats the vacuum.
        pull = turning.pace**-eases * (1.0 - 0.2 * turning.onset)
        return np.asarray(pull * cyclic(table, turning.cycle))

    def hiss(turning: Turning, rng: np.random.Generator) -> Array:
        flutter = np.exp(0.08 * wander(rng, turning.size, turning.rate_hz, 6.0))
        return np.asarray(white(rng, turning.size) * flow(turning) * flutter)

    colour = band(low, rng.uniform(6000.0, 14000.0), 1.0)
    found = [Source("intake", 0.0, hiss, colour, airborne=True)]
    if rng.random() < 0.35:
        pitch = float(rng.uniform(700.0, 4000.0))

        def whistle(turning: Turning, rng: np.random.Generator) -> Array:
            strength = flow(turning)
            bend = 1.0 + 0.02 * (strength - 1.0)
            bend = bend + 0.006 * wander(rng, turning.size, turning.rate_hz, 15.0)
            angle = 2.0 * np.pi * pitch * np.cumsum(bend) / turning.rate_hz
            return np.asarray(strength * (np.cos(angle) + 0.3 * np.cos(2.0 * angle)))

        found.append(Source("intake", rng.uniform(-8.0, 6.0), whistle, airborne=True))
    return found


def exhaust_tick(rng: np.random.Generator, car: Car) -> list[Source]:
    """Gas puffing out at a gasket: a sharp front and a breath of jet noise per blow-down."""
    one = rng.random() < 0.6
    ports = car.fires_at[:1] if one else car.fires_at
    shift = float(rng.uniform(0.18, 0.24))
    phases = [(at + shift) % 1.0 for at in ports]
    heights = rng.lognormal(0.0, 0.1 if one else 0.6, len(phases))
    breath = float(rng.uniform(0.004, 0.012))
    jet = bumps(phases, breath, heights, 1440)

    def harder(turning: Turning) -> Array:
        return np.asarray(turning.pace**0.7 * (1.0 + 0.7 * turning.onset + 0.8 * turning.cold))

    def puff(turning: Turning, rng: np.random.Generator) -> Array:
        fronts = blows(turning, rng, phases, heights, scatter=0.15, jitter=0.002, speed_power=0.0)
        return np.asarray(fronts * harder(turning))

    def gas(turning: Turning, rng: np.random.Generator) -> Array:
        return np.asarray(white(rng, turning.size) * cyclic(jet, turning.cycle) * harder(turning))

    front = band(rng.uniform(250.0, 700.0), rng.uniform(1500.0, 4000.0), 1.0)
    return [
        Source("exhaust", 0.0, puff, front, airborne=True),
        Source("exhaust", rng.uniform(-6.0, 6.0), gas, band(600.0, 6000.0, 1.0), airborne=True),
    ]


def deep_knock(rng: np.random.Generator, car: Car) -> list[Source]:
    """A slack rod bearing, pin or main: heavy blows low in the block about the dead centres."""
    at = car.fires_at[int(rng.integers(car.cylinders))]
    kind = int(rng.integers(3))
    if kind == 0:
        # Rod bearing: after firing, and lighter a turn later as the piston is thrown over.
        phases, heights = [(at + 0.015) % 1.0, (at + 0.515) % 1.0], [1.0, rng.uniform(0.1, 0.6)]
    elif kind == 1:
        # Pin: the double blow on either side of dead centre.
        phases, heights = [(at - 0.02) % 1.0, (at + 0.02) % 1.0], [0.6, 1.0]
    else:
        # Main bearing: every second firing or so, spread over its neighbours.
        phases, heights = [at, (at + 0.5) % 1.0], [1.0, 0.9]
    scatter = float(rng.uniform(0.12, 0.4))

    def knock(turning: Turning, rng: np.random.Generator) -> Array:
        struck = blows(
            turning, rng, phases, heights, scatter=scatter, jitter=0.002, speed_power=1.0
        )
        return np.asarray(struck * (1.0 + 0.9 * turning.onset))

    # Low modes of the block's skirt and sump answer most.
    skirt = draw_modes(rng, 160.0, 900.0, 4, (0.04, 0.1))

    dull = falling(float(rng.uniform(500.0, 1500.0)), 1.6)

    def low(freqs_hz: Array) -> Array:
        return np.asarray((0.4 + np.abs(skirt.response(freqs_hz))) * dull(freqs_hz))

    return [Source("block", 0.0, knock, low)]
