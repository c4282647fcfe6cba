"""A healthy engine by the judge: firing pulses, slaps, valves, injectors, chain, breath."""

from __future__ import annotations

import numpy as np

from judge_drive import Car
from judge_motion import Source, Turning
from judge_tools import Array, Floats, band, bumps, crossings, cyclic, falling, train, uneven, white

# Cylinder housings: combustion acts on the block, valves and injectors on the head.
BLOCK_PLACE, HEAD, COVER = "block", "head", "front-cover"
INTAKE, EXHAUST, BAY = "intake", "exhaust", "bay"


def blows(
    turning: Turning,
    rng: np.random.Generator,
    phases: Floats,
    heights: Floats,
    *,
    scatter: float,
    jitter: float,
    speed_power: float,
    later_s: float = 0.0,
) -> Array:
    """One blow per engine cycle at each phase [cycles], with scatter and jitter [cycles]."""
    places, sizes = [], []
    for phase, height in zip(phases, heights, strict=True):
        at = crossings(turning.cycle, phase)
        cycle_samples = 120.0 * turning.rate_hz / turning.rpm[np.minimum(at.astype(int), 10**9)]
        sizes.append(height * rng.lognormal(0.0, scatter, at.size))
        places.append(at + rng.normal(0.0, jitter, at.size) * cycle_samples)
    at = np.concatenate(places)
    near = np.clip(at.astype(int), 0, turning.size - 1)
    strength = np.concatenate(sizes) * turning.pace[near] ** speed_power
    return train(turning.size, at + later_s * turning.rate_hz, strength)


def _combustion(rng: np.random.Generator, car: Car) -> Source:
    """Pressure rise of each firing, with scatter between cylinders and between cycles."""
    each = rng.lognormal(0.0, 0.1, car.cylinders)
    scatter = rng.uniform(0.05, 0.1) if car.diesel else rng.uniform(0.1, 0.28)

    def make(turning: Turning, rng: np.random.Generator) -> Array:
        force = blows(
            turning, rng, car.fires_at, each, scatter=scatter, jitter=0.0025, speed_power=0.6
        )
        return np.asarray(force * (1.0 + 0.5 * turning.onset + 0.4 * turning.cold))

    # A petrol engine's pressure rises over a millisecond or two, a diesel's several times faster.
    corner = rng.uniform(500.0, 1100.0) if car.diesel else rng.uniform(180.0, 420.0)
    level = rng.normal(-1.0, 2.0) + (3.0 if car.diesel else 0.0)
    return Source(BLOCK_PLACE, level, make, falling(corner, 1.6 if car.diesel else 2.0))


def _pistons(rng: np.random.Generator, car: Car) -> Source:
    """Pistons going over to the other wall shortly after each dead centre."""
    tops = [(at + 0.012) % 1.0 for at in car.fires_at]
    turns = [(at + 0.5) % 1.0 for at in car.fires_at]
    heights = np.concatenate([np.ones(car.cylinders), np.full(car.cylinders, 0.35)])
    heights = heights * rng.lognormal(0.0, 0.25, heights.size)

    def make(turning: Turning, rng: np.random.Generator) -> Array:
        return blows(
            turning, rng, tops + turns, heights, scatter=0.3, jitter=0.003, speed_power=1.2
        )

    return Source(BLOCK_PLACE, rng.normal(-8.0, 3.0), make, falling(rng.uniform(700, 1600), 1.5))


def _running(rng: np.random.Generator, car: Car) -> Source:
    """Rush and grind of everything that slides, louder around each firing and once a turn."""
    table = bumps(car.fires_at, rng.uniform(0.02, 0.06), np.ones(car.cylinders), 720)
    table = table / table.mean() * rng.uniform(0.2, 0.8) + 1.0
    table = table * uneven(rng, 0.2, (1, 2, 3, 4))

    def make(turning: Turning, rng: np.random.Generator) -> Array:
        noise = white(rng, turning.size) * turning.pace**1.3
        return np.asarray(noise * cyclic(table, turning.cycle))

    return Source(BLOCK_PLACE, rng.normal(-2.5, 2.5), make, falling(rng.uniform(400, 1100), 1.3))


def _valves(rng: np.random.Generator, car: Car) -> Source:
    """Valves set down on their seats, intake and exhaust of each cylinder."""
    lifts = [(at + lag) % 1.0 for at in car.fires_at for lag in (0.52, 0.80)]
    heights = rng.lognormal(0.0, 0.35, len(lifts))

    def make(turning: Turning, rng: np.random.Generator) -> Array:
        return blows(turning, rng, lifts, heights, scatter=0.2, jitter=0.002, speed_power=1.0)

    return Source(HEAD, rng.normal(-11.0, 3.0), make, band(rng.uniform(900, 2000), 8000.0, 1.0))


def _injectors(rng: np.random.Generator, car: Car) -> Source:
    """Needles opening and closing a fixed time apart; loud where fuel goes straight in."""
    ahead = [(at - rng.uniform(0.02, 0.3)) % 1.0 for at in car.fires_at[:1]]
    starts = [(at - car.fires_at[0] + ahead[0]) % 1.0 for at in car.fires_at]
    heights = rng.lognormal(0.0, 0.2, car.cylinders)
    opens_s = rng.uniform(0.0009, 0.0022)

    def make(turning: Turning, rng: np.random.Generator) -> Array:
        given = {"scatter": 0.12, "jitter": 0.0008, "speed_power": 0.1}
        opening = blows(turning, rng, starts, heights * 0.6, **given)
        return opening + blows(turning, rng, starts, heights, later_s=opens_s, **given)

    level = rng.normal(-9.0 if car.direct else -19.0, 3.0)
    return Source(HEAD, level, make, band(rng.uniform(2200, 4000), 11000.0, 1.5))


def _fuel_pump(rng: np.random.Generator, car: Car) -> Source:
    """A high-pressure pump's plunger, three or four lobes to a camshaft turn."""
    lobes = int(rng.choice([3, 4, 4]))
    phases = [(number / lobes + 0.03) % 1.0 for number in range(lobes)]

    def make(turning: Turning, rng: np.random.Generator) -> Array:
        return blows(
            turning, rng, phases, [1.0] * lobes, scatter=0.1, jitter=0.001, speed_power=0.3
        )

    return Source(HEAD, rng.normal(-11.0, 3.0), make, band(1200.0, 8000.0, 1.0))


def _chain(rng: np.random.Generator, car: Car) -> Source:
    """Rollers meeting the sprocket one by one, harder where the camshaft pulls."""
    pull = uneven(rng, 0.4, (car.cylinders // 2 or 1, car.cylinders))
    hard = rng.lognormal(0.0, 0.15, car.sprocket_teeth)

    def make(turning: Turning, rng: np.random.Generator) -> Array:
        at = crossings(turning.crank * car.sprocket_teeth)
        near = np.clip(at.astype(int), 0, turning.size - 1)
        heights = np.resize(hard, at.size) * rng.lognormal(0.0, 0.25, at.size)
        heights = heights * cyclic(pull, turning.cycle[near]) * turning.pace[near] ** 1.2
        return train(turning.size, at + rng.normal(0.0, 6.0, at.size), heights)

    level = rng.normal(-12.0 if car.chain else -24.0, 4.0)
    return Source(COVER, level, make, band(500.0, 6000.0, 1.0))


def _oil_pump(rng: np.random.Generator, car: Car) -> Source:
    """Teeth of the oil pump's rotor squeezing oil, a soft tone with the turn in it."""
    teeth = int(rng.integers(6, 12))
    ratio = float(rng.choice([1.0, 1.0, rng.uniform(0.6, 1.2)]))

    def make(turning: Turning, rng: np.random.Generator) -> Array:
        angle = 2.0 * np.pi * ratio * turning.crank
        depth = 1.0 + 0.3 * np.cos(angle)
        tone = np.cos(teeth * angle) + 0.4 * np.cos(2 * teeth * angle + 1.0)
        return np.asarray(depth * tone * turning.pace)

    return Source(COVER, rng.normal(-20.0, 4.0), make)


def _intake(rng: np.random.Generator, car: Car) -> Source:
    """Air drawn past the throttle in gulps."""
    opens = [(at + 0.5) % 1.0 for at in car.fires_at]
    table = 0.4 + bumps(opens, rng.uniform(0.04, 0.12), rng.lognormal(0, 0.1, car.cylinders), 720)

    def make(turning: Turning, rng: np.random.Generator) -> Array:
        noise = white(rng, turning.size) * turning.pace**1.5
        return np.asarray(noise * cyclic(table, turning.cycle))

    level = rng.normal(-12.0, 4.0)
    return Source(INTAKE, level, make, band(250.0, rng.uniform(1500, 4000), 1.2), airborne=True)


def _exhaust(rng: np.random.Generator, car: Car) -> Source:
    """Blow-down pulses far down the pipe, mostly felt below 300 Hz."""
    opens = [(at + 0.2) % 1.0 for at in car.fires_at]
    heights = rng.lognormal(0.0, 0.12, car.cylinders)

    def make(turning: Turning, rng: np.random.Generator) -> Array:
        pulses = blows(turning, rng, opens, heights, scatter=0.12, jitter=0.004, speed_power=0.8)
        flow = white(rng, turning.size) * turning.pace**2 * 0.03
        return np.asarray(pulses + flow)

    top = rng.uniform(120.0, 320.0)
    return Source(EXHAUST, rng.normal(-4.0, 3.5), make, band(35.0, top, 2.0), airborne=True)


def _boom(rng: np.random.Generator, car: Car) -> Source:
    """The engine shaking on its mounts: low orders that reach the air off large panels."""
    size = rng.lognormal(0.0, 0.7, 7)
    phase = rng.uniform(0.0, 2.0 * np.pi, 7)

    def make(turning: Turning, rng: np.random.Generator) -> Array:
        angle = 2.0 * np.pi * turning.crank
        firing = car.cylinders / 2.0
        orders = (0.5, 1.0, 2.0, firing, 1.5 * firing, 2.0 * firing, 3.0 * firing)
        total = np.zeros(turning.size)
        for order, share, start in zip(orders, size, phase, strict=True):
            total += share * np.cos(order * angle + start)
        return total

    return Source(BAY, rng.normal(-10.0, 3.0), make, band(30.0, 200.0, 1.0), airborne=True)


def engine_sources(rng: np.random.Generator, car: Car) -> list[Source]:
    """Everything a healthy engine says with the belt off."""
    parts = [_combustion, _pistons, _running, _valves, _injectors, _chain]
    parts += [_oil_pump, _intake, _exhaust, _boom]
    if car.direct:
        parts.append(_fuel_pump)
    return [part(rng, car) for part in parts]
