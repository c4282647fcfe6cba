"""What is wrong with the bystander's engine itself, and what is neither it nor the belt end."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from bystander_car import Car
from bystander_engine import firing, pulse, tonal
from bystander_faults import rattling
from bystander_tools import (
    Array,
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


def half_order(
    rng: np.random.Generator,
    seat: str,
    grain: Callable[[np.random.Generator, int], Array],
    *,
    scatter: float,
    growth: float,
    echoes: dict[float, float],
) -> Voice:
    """Something of one cylinder: once in two turns, with echoes (later by [turns]: level)."""
    offset, seed = rng.uniform(0.0, 2.0), int(rng.integers(1 << 30))

    def make(rng: np.random.Generator, motion: Motion) -> Array:
        grains, out = grain(np.random.default_rng(seed), motion.rate_hz), motion.silence()
        for later, level in {0.0: 1.0, **echoes}.items():
            times, levels = shaky(rng, motion.every(0.5, (offset + later) % 2.0), 0.0006, scatter)
            out += strew(rng, motion, times, level * levels, grains)
        return out

    return Voice(seat, 0.0, make, growth)


def _damper(rng: np.random.Generator, car: Car) -> list[Voice]:
    """The damper's ring is loose on its rubber: knocks of the crank's turn, some with a creak."""
    knock = rattling(
        rng, car, "crank", (120, 700), 0.012, often=rng.uniform(0.6, 1.0), growth=0.2, per_turn=1.0
    )
    buzz = rattling(rng, car, "crank", (300, 1500), 0.005, often=0.6, growth=0.2, swarm=1.5)
    pitch, seed = log_uniform(rng, 600, 1800), int(rng.integers(1 << 30))

    def creak(rng: np.random.Generator, motion: Motion) -> Array:
        grains = puff(
            np.random.default_rng(seed), motion.rate_hz, band(pitch, 1.15 * pitch, 40.0), 0.01, 0.02
        )
        times, levels = shaky(rng, motion.every(1.0, 0.4), 0.002, 0.5)
        return strew(rng, motion, times, levels, grains)

    voices = [knock, Voice("crank", rng.uniform(-12, 0), buzz.make, 0.2)]
    return (
        [*voices, Voice("crank", rng.uniform(-8, 0), creak, 0.0)] if rng.random() < 0.3 else voices
    )


def _chain_rattle(rng: np.random.Generator, car: Car) -> list[Voice]:
    """A slack chain: a swarm of metal that follows the firings, loudest when cold or slow."""
    swarm = rattling(
        rng, car, "timing-chain", (900, 3500), 0.002,
        often=0.9, growth=rng.uniform(-0.6, 0.5), swarm=rng.uniform(2, 6),
    )  # fmt: skip
    fade, left = rng.uniform(1.0, 5.0), rng.uniform(0.15, 0.9)

    def make(rng: np.random.Generator, motion: Motion) -> Array:
        noise = swarm.make(rng, motion)
        if not motion.cold:
            return noise
        return noise * (left + np.exp(-np.arange(motion.samples) / (fade * motion.rate_hz)))

    slap = rattling(rng, car, "timing-chain", (250, 900), 0.005, often=0.5, per_turn=0.5)
    return [
        Voice("timing-chain", 0.0, make, swarm.growth),
        Voice("timing-chain", rng.uniform(-16, -4), slap.make, 0.3),
    ]


def _chain_whine(rng: np.random.Generator, car: Car) -> list[Voice]:
    """The mesh of the crank's sprocket, swelling with each turn of crank and cam."""
    mesh = tonal(rng, "timing-chain", float(car.sprocket_teeth or 20), 0.0)
    crank, cam = rng.uniform(0.0, 0.5), rng.uniform(0.0, 0.4)

    def make(rng: np.random.Generator, motion: Motion) -> Array:
        swell = 1.0 + hum(rng, motion.turns / 2.0, {1: cam, 2: crank})
        return mesh.make(rng, motion) * swell

    return [Voice("timing-chain", 0.0, make, mesh.growth)]


def _valve_tick(rng: np.random.Generator, car: Car) -> list[Voice]:
    low, decay = log_uniform(rng, 1300, 4500), log_uniform(rng, 0.001, 0.005)
    voices = []
    for _ in range(int(rng.choice([1, 1, 2]))):
        bounce = {rng.uniform(0.03, 0.2): rng.uniform(0.1, 0.6)} if rng.random() < 0.5 else {}
        voices.append(
            half_order(
                rng,
                "valve-train",
                lambda own, rate: ring(own, rate, (low, 2.5 * low), decay, 4, 0.4),
                scatter=0.2,
                growth=rng.uniform(0.2, 1.2),
                echoes=bounce,
            )
        )
    return voices


def _vacuum_hiss(rng: np.random.Generator, car: Car) -> list[Voice]:
    """Air drawn through a crack, weaker with the throttle open; some whistle."""
    low, depth = log_uniform(rng, 1500, 5500), rng.uniform(0.05, 0.5)
    pitch, sharp = log_uniform(rng, 900, 4000), rng.uniform(1.0, 3.0)

    def hiss(rng: np.random.Generator, motion: Motion) -> Array:
        noise = cloud(rng, motion.samples, motion.rate_hz, band(low, 2.5 * low, 9.0))
        return noise * (1 - depth + depth * pulse(rng, car, motion, sharp))

    def whistle(rng: np.random.Generator, motion: Motion) -> Array:
        bend = 0.01 * drift(rng, motion, 4.0) + 0.1 * (pulse(rng, car, motion, 1.0) - 1.0) * depth
        return hum(rng, np.cumsum(pitch * (1 + bend)) / motion.rate_hz, {1: 1.0, 2: 0.2})

    voices = [Voice("intake", 0.0, hiss, -0.8)]
    return (
        [*voices, Voice("intake", rng.uniform(-8, 8), whistle, -0.8)]
        if rng.random() < 0.35
        else voices
    )


def _exhaust_tick(rng: np.random.Generator, car: Car) -> list[Voice]:
    """A gasket that spits with one cylinder, its neighbours faintly."""
    low, decay = log_uniform(rng, 250, 1800), log_uniform(rng, 0.003, 0.015)
    others = {turns: rng.uniform(0.0, 0.3) for turns in car.fires[1:]}
    return [
        half_order(
            rng,
            "exhaust",
            lambda own, rate: puff(own, rate, band(low, 6 * low, 7.0), 0.0007, decay),
            scatter=0.25,
            growth=rng.uniform(0.5, 1.3),
            echoes=others,
        )
    ]


def _knock(rng: np.random.Generator, car: Car) -> list[Voice]:
    """A big-end or a piston: a deep blow at one cylinder's firing, weaker half a cycle later."""
    low, decay = log_uniform(rng, 130, 650), rng.uniform(0.006, 0.02)
    return [
        half_order(
            rng,
            "block",
            lambda own, rate: ring(own, rate, (low, 5 * low), decay, 5, 0.3),
            scatter=0.3,
            growth=rng.uniform(0.4, 1.5),
            echoes={1.0: rng.uniform(0.0, 0.6)},
        )
    ]


def _other(rng: np.random.Generator, car: Car) -> list[Voice]:
    """Anything else: a heat shield, a bracket, a coin in a shroud, a blower, a relay, a gear."""
    kind = str(rng.choice(["shield", "bracket", "coin", "blower", "relay", "gear"]))
    seed, pitch = int(rng.integers(1 << 30)), log_uniform(rng, 300, 3000)
    if kind == "gear":
        return [tonal(rng, "block", float(rng.uniform(9, 60)), 0.0)]
    if kind == "bracket":
        return [
            rattling(rng, car, "bay", (250, 2000), 0.006, often=rng.uniform(0.2, 0.8), swarm=2.0)
        ]

    def shield(rng: np.random.Generator, motion: Motion) -> Array:
        grains = ring(np.random.default_rng(seed), motion.rate_hz, (pitch, 5 * pitch), 0.01, 6, 0.5)
        times, levels = firing(rng, motion, car)
        times = np.concatenate([times, times + rng.exponential(0.008, times.size)])
        # It buzzes while the engine's speed meets it.
        met = 0.3 + np.clip(1.0 + drift(rng, motion, 1.0), 0.0, 2.0)
        return strew(rng, motion, times, np.tile(levels, 2) * motion.then(met, times), grains)

    def coin(rng: np.random.Generator, motion: Motion) -> Array:
        grains = ring(
            np.random.default_rng(seed), motion.rate_hz, (pitch, 8 * pitch), 0.004, 4, 0.2
        )
        seconds = motion.samples / motion.rate_hz
        times = np.cumsum(rng.exponential(0.07, int(12 * seconds)))
        return strew(rng, motion, times, rng.lognormal(0.0, 0.7, times.size), grains)

    def blower(rng: np.random.Generator, motion: Motion) -> Array:
        turning = 25.0 + pitch / 100.0
        phase = turning * np.arange(motion.samples) / motion.rate_hz
        noise = cloud(rng, motion.samples, motion.rate_hz, band(pitch, 3 * pitch, 8.0))
        return noise * 0.5 + hum(rng, phase, {1: 0.5, 2: 0.3, 7: 1.0, 14: 0.4})

    def relay(rng: np.random.Generator, motion: Motion) -> Array:
        grains = ring(np.random.default_rng(seed), motion.rate_hz, (2 * pitch, 9e3), 0.002, 4, 0.5)
        times = np.arange(0.1, motion.samples / motion.rate_hz, 8.0 / (60 + pitch / 10))
        times, levels = shaky(rng, times, 0.004, 0.2)
        return strew(rng, motion, times, levels, grains)

    make = {"shield": shield, "coin": coin, "blower": blower, "relay": relay}[kind]
    return [Voice("exhaust" if kind == "shield" else "bay", 0.0, make, 0.2)]


ENGINE_FAULTS: dict[str, Callable[[np.random.Generator, Car], list[Voice]]] = {
    "crank.damper": _damper,
    "timing-chain.rattle": _chain_rattle,
    "timing-chain.whine": _chain_whine,
    "valve-train.tick": _valve_tick,
    "vacuum-leak.hiss": _vacuum_hiss,
    "exhaust-leak.tick": _exhaust_tick,
    "engine.knock": _knock,
    "other": _other,
}
