"""What a belt does wrong: squeal of a slipping one, chirp out of line, thump of a damaged one.

A slipping belt is stick and slip: a saw-tooth whose note belongs to the belt and its pulley more
than to the speed. Figures are common practice, no source.
"""

from __future__ import annotations

import numpy as np

from neighbour_motion import Maker, Motion, Plan, Source, gate, shaft_table
from neighbour_tools import Array, bump_table, chance, log_uniform, looked_up, strikes


def slip_sources(maker: Maker) -> list[Source]:
    """Squeal: a note with many harmonics, at loads or cold, sometimes always."""
    rng, car = maker.rng, maker.car
    hertz, follows = log_uniform(rng, 350, 1_800), rng.uniform(0.0, 0.4)
    slope = rng.uniform(0.5, 1.6)
    voice = shaft_table(rng, {k: float(k**-slope * rng.uniform(0.4, 1.4)) for k in range(1, 13)})
    breath = maker.bed(2.2 * hertz, 0.8)
    on, off = rng.uniform(0.4, 3.0), rng.choice([0.05, 0.3, 1.2])
    rough = rng.uniform(0.002, 0.015)
    order = car.belt_order
    pulse = 1.0 + rng.uniform(0.0, 0.5) * bump_table(rng.random(2), np.ones(2), 0.1)
    always, fading = chance(rng, 0.45), chance(rng, 0.25)
    load = str(rng.choice([*car.loads, "lights"]))
    speeds = chance(rng, 0.6)

    def force(motion: Motion) -> Array:
        share = motion.rpm / motion.car.idle_rpm
        drift = np.tanh(np.cumsum(motion.rng.normal(size=len(share))) * 0.02)
        jitter = np.convolve(motion.rng.normal(size=len(share)), np.ones(8) / 8, "same")
        pitch = hertz * share**follows * (1.0 + 0.03 * drift + rough * jitter)
        tone = looked_up(voice, motion.on_samples(np.cumsum(pitch) * 0.001))
        out = (tone + 0.25 * breath.cut(motion)) * looked_up(pulse, motion.turns * order)
        out *= gate(motion, on, off)
        if fading and motion.plan.number == 0:
            out *= motion.on_samples(np.exp(-motion.grid_s / 4.0)).astype(np.float32)
        return out

    def when(plan: Plan) -> float:
        asked = load in plan.load
        if always:
            return 1.6 if asked else 1.0 if plan.raised == 1.0 or speeds else 0.4
        return 1.0 if asked else 0.05

    return [Source("belt", force, belt=True, when=when)]


def misalignment_sources(maker: Maker) -> list[Source]:
    """Chirp: short notes once a turn of a pulley or of the belt, uneven."""
    rng, car = maker.rng, maker.car
    slow = [car.ratio(part) for part in car.parts if car.ratio(part) < 2.1]
    order = car.belt_order if chance(rng, 0.5) else float(rng.choice(slow))
    hertz = log_uniform(rng, 1_600, 6_000)
    voice = shaft_table(rng, {1: 1.0, 2: rng.uniform(0, 0.6), 3: rng.uniform(0, 0.3)})
    breath = maker.bed(hertz, rng.uniform(1.5, 6.0))
    noisy, lasts = rng.uniform(0.1, 1.0), rng.uniform(0.012, 0.06)
    missing, uneven = rng.uniform(0.0, 0.3), rng.uniform(0.1, 0.6)
    bends = rng.uniform(-0.15, 0.15)
    fade = rng.uniform(0.0, 0.8)

    def force(motion: Motion) -> Array:
        times = motion.times(order, 0.2, slip=0.01)
        heights = np.exp(uneven * motion.rng.normal(size=len(times)))
        heights[motion.rng.random(len(times)) < missing] = 0.0
        wide = strikes(motion.samples, motion.rate_hz, times, heights, lasts)
        envelope = wide * np.float32(lasts * motion.rate_hz)
        pitch = hertz * (1.0 + bends * np.sin(2 * np.pi * order * motion.crank))
        tone = looked_up(voice, motion.on_samples(np.cumsum(pitch) * 0.001))
        return envelope * (tone + noisy * breath.cut(motion))

    return [Source("belt", force, belt=True, when=lambda plan: plan.raised**-fade)]


def damage_sources(maker: Maker) -> list[Source]:
    """A missing rib or a lump: a thump at each pulley it runs over, once a round of the belt."""
    rng, car = maker.rng, maker.car
    order = car.belt_order
    spots = rng.random(int(rng.choice([1, 1, 2, 3])))
    width, uneven = log_uniform(rng, 0.4e-3, 3e-3), rng.uniform(0.05, 0.3)
    grows = rng.uniform(0.3, 1.2)
    way = np.sort(rng.random(len(car.parts)))
    out = []
    for part, place in zip(car.parts, way, strict=True):
        if part != "crank" and chance(rng, 0.35):
            continue

        def force(motion: Motion, place: float = float(place)) -> Array:
            times = np.concatenate([motion.times(order, (s + place) % 1.0, 0.002) for s in spots])
            heights = np.exp(uneven * motion.rng.normal(size=len(times)))
            heights = heights * motion.grown_at(times, grows)
            return strikes(motion.samples, motion.rate_hz, times, heights, width)

        out.append(Source(part, force, rng.uniform(-10.0, 0.0), belt=True))
    flap = maker.bed(log_uniform(rng, 400, 1_500))
    table = bump_table(spots, np.ones(len(spots)), rng.uniform(0.01, 0.05))

    def slap(motion: Motion) -> Array:
        return flap.cut(motion) * looked_up(table, motion.turns * order) * motion.grow(grows)

    return [*out, Source("belt", slap, rng.uniform(-10.0, 3.0), belt=True)]
