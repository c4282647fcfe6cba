"""Noises of the engine itself and of loose parts that are taken for the belt end.

Figures: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from neighbour_engine import cylinder_strikes
from neighbour_motion import Maker, Motion, Plan, Source, gate, shaft_table, slower_less
from neighbour_tools import (
    Array,
    bump_table,
    chance,
    log_uniform,
    looked_up,
    slow_random,
    strikes,
)


def crank_damper(maker: Maker) -> list[Source]:
    """Rubber let go: the ring knocks with the firings and once a turn, and rumbles."""
    rng = maker.rng
    width, share = log_uniform(rng, 0.5e-3, 3e-3), rng.uniform(0.3, 1.0)
    once, uneven = rng.uniform(0.3, 1.5), rng.uniform(0.1, 0.5)
    bed = maker.bed(log_uniform(rng, 200, 1_200))
    swell = bump_table(rng.random(2), np.ones(2), rng.uniform(0.05, 0.2))
    unbelted = rng.uniform(0.4, 1.0)

    def knock(motion: Motion) -> Array:
        fired, heights = cylinder_strikes(motion, 0.06, uneven)
        heights = heights * (motion.rng.random(len(fired)) < share)
        turned = motion.times(1.0, 0.3, slip=0.01)
        tall = once * np.exp(uneven * motion.rng.normal(size=len(turned)))
        times, every = np.concatenate([fired, turned]), np.concatenate([heights, tall])
        every = every * motion.grown_at(times, 0.5)
        return strikes(motion.samples, motion.rate_hz, times, every, width)

    def rumble(motion: Motion) -> Array:
        return bed.cut(motion) * looked_up(swell, motion.turns) * motion.grow(0.7)

    def when(plan: Plan) -> float:
        return 1.0 if plan.belt else unbelted

    return [
        Source("crank", knock, when=when),
        Source("crank", rumble, rng.uniform(-14.0, -3.0), when=when),
    ]


def chain_rattle(maker: Maker) -> list[Source]:
    """A slack chain strikes its rail: clusters of blows as the cam's torque swings; worst cold."""
    rng, car = maker.rng, maker.car
    order = float(rng.choice([0.5, 1.0, car.cylinders / 2.0], p=[0.2, 0.2, 0.6]))
    width, cluster = log_uniform(rng, 0.06e-3, 0.5e-3), int(rng.integers(2, 7))
    spread, uneven = rng.uniform(0.03, 0.15), rng.uniform(0.3, 0.9)
    cold, lasts = chance(rng, 0.35), rng.uniform(1.5, 6.0)
    bed = maker.bed(log_uniform(rng, 1_200, 4_500))
    swell = bump_table(np.array([0.2]), np.ones(1), spread)

    def force(motion: Motion) -> Array:
        times = np.concatenate([motion.times(order, 0.2, slip=spread) for _ in range(cluster)])
        heights = motion.rng.lognormal(0.0, uneven, len(times))
        heights = heights * motion.grown_at(times, 0.5)
        blows = 30.0 * strikes(motion.samples, motion.rate_hz, times, heights, width)
        out = blows + 0.6 * bed.cut(motion) * looked_up(swell, motion.turns * order)
        if cold and motion.plan.number == 0:
            fades = np.exp(-motion.grid_s / lasts)
            out = out * motion.on_samples(fades).astype(np.float32)
        return out

    less = rng.uniform(0.0, 0.7)

    def when(plan: Plan) -> float:
        warm = 0.3 if cold and plan.number > 0 else 1.0
        return float(warm * plan.raised**-less)

    return [Source("timing", force, when=when)]


def chain_whine(maker: Maker) -> list[Source]:
    """Mesh of the crank's sprocket: its teeth a turn, with harmonics and side lines."""
    rng, teeth = maker.rng, maker.car.sprocket_teeth
    lines = {teeth: 1.0, 2 * teeth: rng.uniform(0.1, 0.9), 3 * teeth: rng.uniform(0.0, 0.5)}
    table, grows = shaft_table(rng, lines, rng.uniform(0.0, 0.5)), rng.uniform(0.3, 1.0)
    beat = 1.0 + rng.uniform(0.0, 0.4) * shaft_table(rng, {maker.car.cylinders: 1.0})

    def force(motion: Motion) -> Array:
        tone = looked_up(table, motion.turns) * looked_up(beat, motion.turns / 2.0)
        return tone * motion.grow(grows)

    return [Source("timing", force)]


def valve_tick(maker: Maker) -> list[Source]:
    """Too much clearance at one valve or two: a tick once in two turns each."""
    rng = maker.rng
    count = int(rng.choice([1, 2, 4], p=[0.65, 0.2, 0.15]))
    places, sizes = rng.random(count), rng.uniform(0.4, 1.0, count)
    width, uneven = log_uniform(rng, 0.06e-3, 0.3e-3), rng.uniform(0.05, 0.5)
    skipped, grows = rng.uniform(0.0, 0.15), rng.uniform(0.2, 1.0)

    def force(motion: Motion) -> Array:
        times = [motion.times(0.5, place, slip=0.0015) for place in places]
        tall = [size * np.ones(len(t)) for size, t in zip(sizes, times, strict=True)]
        when, heights = np.concatenate(times), np.concatenate(tall)
        heights = heights * np.exp(uneven * motion.rng.normal(size=len(when)))
        heights = heights * (motion.rng.random(len(when)) > skipped)
        heights = heights * motion.grown_at(when, grows)
        return strikes(motion.samples, motion.rate_hz, when, heights, width)

    return [Source("head", force)]


def vacuum_hiss(maker: Maker) -> list[Source]:
    """Air drawn through a crack: steady hiss, sometimes a whistle, less with the throttle open."""
    rng = maker.rng
    bed = maker.bed(log_uniform(rng, 1_800, 7_500), rng.uniform(0.5, 2.5))
    breathes = 1.0 + rng.uniform(0.0, 0.35) * shaft_table(rng, {maker.car.cylinders: 1.0, 1: 0.2})
    hertz, whistles = log_uniform(rng, 800, 4_000), chance(rng, 0.3)

    def force(motion: Motion) -> Array:
        out = bed.cut(motion) * looked_up(breathes, motion.turns / 2.0)
        if whistles:
            pitch = hertz * (1.0 + 0.02 * slow_random(motion.rng, motion.grid_s, 0.15))
            turns = motion.on_samples(np.cumsum(pitch) * 0.001)
            out = 0.5 * out + np.sin(2 * np.pi * turns).astype(np.float32)
        return out

    return [Source("intake", force, when=slower_less(rng.uniform(0.0, 0.8)))]


def exhaust_tick(maker: Maker) -> list[Source]:
    """Gas past a gasket: a puff when one cylinder fires, or two that share the leak."""
    rng, car = maker.rng, maker.car
    count = min(int(rng.choice([1, 2], p=[0.75, 0.25])), car.cylinders)
    fires = rng.choice(np.array(car.fires), size=count, replace=False) + rng.uniform(0.1, 0.2)
    sizes = rng.uniform(0.4, 1.0, count)
    bed = maker.bed(log_uniform(rng, 800, 5_000), 0.4)
    lasts, sharp = log_uniform(rng, 2e-3, 9e-3), rng.uniform(0.0, 1.5)
    grows, uneven = rng.uniform(0.6, 1.6), rng.uniform(0.05, 0.4)

    def force(motion: Motion) -> Array:
        times = [motion.times(0.5, fire % 1.0, slip=0.002) for fire in fires]
        tall = [size * np.ones(len(t)) for size, t in zip(sizes, times, strict=True)]
        when, heights = np.concatenate(times), np.concatenate(tall)
        heights = heights * np.exp(uneven * motion.rng.normal(size=len(when)))
        heights = heights * motion.grown_at(when, grows)
        puffs = strikes(motion.samples, motion.rate_hz, when, heights, lasts, sharp=True)
        puffs *= np.float32(lasts * motion.rate_hz)
        return puffs * (bed.cut(motion) + np.float32(sharp))

    return [Source("exhaust", force)]


def deep_knock(maker: Maker) -> list[Source]:
    """A worn big end: a deep blow each turn, hardest when its cylinder fires, more with speed."""
    rng, car = maker.rng, maker.car
    fire = float(rng.choice(np.array(car.fires)))
    width, light = log_uniform(rng, 0.5e-3, 3e-3), rng.uniform(0.1, 0.7)
    grows, uneven = rng.uniform(0.8, 1.8), rng.uniform(0.1, 0.4)

    def force(motion: Motion) -> Array:
        hard = motion.times(0.5, (fire + 0.01) % 1.0, slip=0.002)
        soft = motion.times(0.5, (fire + 0.51) % 1.0, slip=0.003)
        times = np.concatenate([hard, soft])
        heights = np.concatenate([np.ones(len(hard)), light * np.ones(len(soft))])
        heights = heights * np.exp(uneven * motion.rng.normal(size=len(times)))
        heights = heights * motion.grown_at(times, grows)
        return strikes(motion.samples, motion.rate_hz, times, heights, width)

    return [Source("block", force)]


def _heat_shield(maker: Maker) -> list[Source]:
    rng = maker.rng
    hertz = rng.uniform(0.9, 2.2) * maker.car.idle_rpm / 60.0 * maker.car.cylinders / 2.0
    bed = maker.bed(log_uniform(rng, 1_500, 6_000), rng.uniform(0.8, 3.0))
    narrow = rng.uniform(0.08, 0.4)

    def force(motion: Motion) -> Array:
        order = maker.car.cylinders / 2.0
        rings = np.exp(-0.5 * (np.log(motion.rpm / 60.0 * order / hertz) / narrow) ** 2) + 0.05
        times = motion.times(order, 0.1, slip=0.03)
        heights = np.interp(times, motion.grid_s, rings) * motion.rng.lognormal(0, 0.6, len(times))
        buzz = strikes(motion.samples, motion.rate_hz, times, heights, 0.012, sharp=True)
        return bed.cut(motion) * buzz * np.float32(0.012 * motion.rate_hz)

    return [Source("exhaust", force)]


def _bracket(maker: Maker) -> list[Source]:
    rng = maker.rng
    width, share = log_uniform(rng, 0.1e-3, 1e-3), rng.uniform(0.1, 0.9)
    order = float(rng.choice([1.0, maker.car.cylinders / 2.0]))
    at = str(rng.choice(["block", "head", "bay"]))

    def force(motion: Motion) -> Array:
        times = motion.times(order, 0.0, slip=0.1)
        heights = motion.rng.lognormal(0.0, 0.9, len(times))
        heights = heights * (motion.rng.random(len(times)) < share)
        return strikes(motion.samples, motion.rate_hz, times, heights, width)

    return [Source(at, force)]


def _coin(maker: Maker) -> list[Source]:
    rng = maker.rng
    hertz, rate = log_uniform(rng, 2_500, 8_000), rng.uniform(4, 25)
    ring = maker.bed(hertz, rng.uniform(3.0, 12.0))

    def force(motion: Motion) -> Array:
        count = max(3, int(rate * motion.grid_s[-1]))
        times = np.sort(motion.rng.uniform(0, motion.grid_s[-1], count))
        heights = motion.rng.lognormal(0.0, 0.8, count)
        clinks = strikes(motion.samples, motion.rate_hz, times, heights, 0.02, sharp=True)
        return ring.cut(motion) * clinks * np.float32(0.02 * motion.rate_hz)

    return [Source("bay", force)]


def _electric(maker: Maker) -> list[Source]:
    """An electric pump or fan: its note does not know the engine's speed."""
    rng = maker.rng
    hertz = log_uniform(rng, 30, 400)
    voice = shaft_table(rng, {k: float(rng.uniform(0, 1) / k**0.3) for k in range(1, 15)})
    on, off = (100.0, 0.01) if chance(rng, 0.7) else (3.0, 2.0)

    def force(motion: Motion) -> Array:
        drift = 1.0 + 0.004 * slow_random(motion.rng, motion.grid_s, 1.0)
        turns = motion.on_samples(np.cumsum(hertz * drift) * 0.001)
        return looked_up(voice, turns) * gate(motion, on, off, 0.2)

    return [Source("bay", force)]


def _flap(maker: Maker) -> list[Source]:
    rng = maker.rng
    hertz, bed = rng.uniform(3, 14), maker.bed(log_uniform(rng, 200, 1_500))
    width = rng.uniform(0.01, 0.04)

    def force(motion: Motion) -> Array:
        ticks = np.arange(0.05, motion.grid_s[-1], 1.0 / hertz)
        times = ticks + 0.3 / hertz * motion.rng.random(len(ticks))
        heights = motion.rng.lognormal(0.0, 0.6, len(times))
        flaps = strikes(motion.samples, motion.rate_hz, times, heights, width, sharp=True)
        return flaps * np.float32(width * motion.rate_hz) * bed.cut(motion)

    return [Source("bay", force)]


def _turbo(maker: Maker) -> list[Source]:
    rng = maker.rng
    order, grows = rng.uniform(30, 70), rng.uniform(0.5, 1.5)

    def force(motion: Motion) -> Array:
        lag = np.cumsum(motion.rpm / 60.0 * order) * 0.001
        lag *= 1.0 + 0.0002 * slow_random(motion.rng, motion.grid_s, 0.5)
        turns = motion.on_samples(lag)
        return np.sin(2 * np.pi * turns).astype(np.float32) * motion.grow(grows)

    return [Source("intake", force)]


OTHERS: tuple[Callable[[Maker], list[Source]], ...] = (
    _heat_shield,
    _bracket,
    _coin,
    _electric,
    _flap,
    _turbo,
)


def other_noise(maker: Maker) -> list[Source]:
    """Something that is on nobody's list: loose sheet, bracket, coin, electric motor, turbo."""
    return OTHERS[int(maker.rng.integers(len(OTHERS)))](maker)
