"""Faults of the belt, the crank's damper, chain, valves, leaks, knock, and things not listed."""

from __future__ import annotations

import numpy as np

from stranger_accessories import Render, draw_band, modulated_noise
from stranger_engine import firing_places, mesh
from stranger_faults import saw, shaft_fault
from stranger_motion import Scene, Source
from stranger_tools import (
    Array,
    Ring,
    bump_table,
    bursts,
    draw_modes,
    log_uniform,
    look_up,
    slow_curve,
    stretch,
    table,
)
from stranger_world import PULLEY_FAULTS, World, kind_of

OTHER_KINDS = ("shield buzz", "electric pump", "gear whine", "loose bracket")


def belt_slip(rng: np.random.Generator, world: World) -> Render:
    """Squeal: a friction oscillator's saw-tooth tone that catches, grows, glides and lets go."""
    base_hz = log_uniform(rng, 550.0, 2800.0)
    wave = saw(rng, int(rng.integers(4, 12)))
    tension_swing = rng.uniform(0.1, 0.8)
    follow = rng.uniform(0.0, 0.5)
    wobble = rng.uniform(0.005, 0.04)
    duty = rng.uniform(0.2, 1.2)
    firing = bump_table(np.array([0.3]), 0.15, np.array([1.0]))

    def render(scene: Scene) -> Array:
        span_s = scene.count / scene.rate_hz
        motion = scene.motion
        will = slow_curve(scene.rng, 1000, span_s / 1000, 0.9) + duty
        will = will + (0.8 if scene.load else 0.0)
        rpm = np.interp(np.linspace(0.0, span_s, 1000), motion.coarse_s, motion.coarse_rpm)
        will = will + 2.0 * np.clip(np.gradient(rpm, span_s / 1000) / 800.0, -1.0, 1.0)
        # Growth of an unstable oscillator: exponential rise, held by its limit cycle.
        state = np.empty(1000)
        value = 1e-3
        for i, drive in enumerate(will):
            value = float(np.clip(value * np.exp(0.9 * np.clip(drive, -1.5, 1.5)), 1e-3, 1.0))
            state[i] = value
        state[state < 2e-3] = 0.0
        pitch = (rpm / motion.idle_rpm) ** follow
        pitch = pitch * (1.0 + wobble * slow_curve(scene.rng, 1000, span_s / 1000, 0.1))
        pitch = pitch * (0.94 + 0.06 * state)
        phase = np.cumsum(stretch(base_hz * pitch, scene.count), dtype="f8") / scene.rate_hz
        swing = look_up(firing, motion.turns * (world.cylinders / 2.0))
        hull = stretch(state, scene.count) * (1.0 - tension_swing * swing)
        return look_up(wave, phase) * hull

    return render


def belt_chirp(rng: np.random.Generator, world: World) -> Render:
    """Misaligned belt: short swept tones at each passing of the belt, some left out."""
    pieces_hz = log_uniform(rng, 1400.0, 5500.0)
    glide = rng.uniform(0.75, 1.25)
    length_s = rng.uniform(0.025, 0.11)
    harmonics = 10.0 ** (-rng.uniform(6.0, 25.0, 3) / 20.0)
    per_pass = int(rng.choice([1, 1, 2, 3]))
    places = np.sort(rng.random(per_pass))
    chance = rng.uniform(0.7, 1.0)

    def piece(scene: Scene) -> Array:
        count = int(length_s * scene.rate_hz * scene.rng.uniform(0.85, 1.15))
        part = np.arange(count) / count
        start_hz = pieces_hz * scene.rng.uniform(0.97, 1.03)
        phase = 2 * np.pi * start_hz * length_s * (part + 0.5 * (glide - 1.0) * part**2)
        tone = np.sin(phase)
        for n, size in enumerate(harmonics, start=2):
            if n * start_hz * max(1.0, glide) < 0.45 * scene.rate_hz:
                tone += size * np.sin(n * phase)
        return (tone * np.sin(np.pi * part) ** 0.7).astype(np.float32)

    def render(scene: Scene) -> Array:
        pieces = [piece(scene) for _ in range(7)]
        out = np.zeros(scene.count, np.float32)
        for place in places:
            times, _ = scene.motion.events(world.belt_ratio, place)
            times = times[scene.rng.random(len(times)) < chance]
            times = times + scene.rng.normal(0.0, 0.002, len(times))
            sizes = np.exp(0.3 * scene.rng.standard_normal(len(times)))
            out += bursts(scene.count, scene.rate_hz, times, sizes, pieces)
        return out

    return render


def belt_damage(rng: np.random.Generator, world: World) -> Render:
    """A torn rib slaps as it meets each pulley: a fixed pattern once per passing of the belt."""
    pulleys = int(rng.integers(1, min(6, len(world.shafts) + 1) + 1))
    places = np.sort(rng.random(pulleys))
    sizes = np.exp(rng.normal(0.0, 0.5, pulleys))
    modes = draw_modes(rng, 3, 250.0, 2500.0, (0.04, 0.2))
    flap_band = draw_band(rng, 600.0, 3500.0)
    flap = bump_table(places, 0.012, sizes)
    flap_share = rng.uniform(0.0, 0.6)

    def render(scene: Scene) -> Array:
        ring = Ring(modes, scene.rate_hz, attack_ms=0.4)
        out = np.zeros(scene.count, np.float32)
        for place, size in zip(places, sizes, strict=True):
            times, _ = scene.motion.events(world.belt_ratio, place)
            blows = size * np.exp(0.25 * scene.rng.standard_normal(len(times)))
            out += ring.train(scene.count, scene.rate_hz, times, blows)
        rough = scene.band(*flap_band) * look_up(flap, scene.motion.turns * world.belt_ratio)
        return (out + np.float32(flap_share) * rough) * scene.motion.speed_power(1.0)

    return render


def damper(rng: np.random.Generator, world: World) -> Render:
    """A loose damper ring: thump once a turn, rubbing noise swelling with it, odd firing blows."""
    modes = draw_modes(rng, 3, 160.0, 1600.0, (0.03, 0.15))
    rub = modulated_noise(rng, 1.0, 1, 0.9, draw_band(rng, 400.0, 2500.0), 1.0)
    rub_share = rng.uniform(0.05, 0.5)
    second = rng.uniform(0.0, 0.7)
    belt_off_gain = rng.uniform(0.5, 1.0)

    def render(scene: Scene) -> Array:
        ring = Ring(modes, scene.rate_hz, attack_ms=0.5)
        out = np.zeros(scene.count, np.float32)
        for place, size in ((0.0, 1.0), (0.43, second)):
            times, _ = scene.motion.events(1.0, place)
            times = times + scene.rng.normal(0.0, 6e-4, len(times))
            blows = size * np.exp(0.35 * scene.rng.standard_normal(len(times)))
            out += ring.train(scene.count, scene.rate_hz, times, blows)
        gain = np.float32(1.0 if scene.belt_on else belt_off_gain)
        return gain * (out + np.float32(rub_share) * rub(scene))

    return render


def chain_rattle(rng: np.random.Generator, world: World) -> Render:
    """A slack chain: bursts of link blows at mesh rate when the cams let go (half orders)."""
    teeth = world.chain_teeth or 20
    modes = draw_modes(rng, 4, 700.0, 5000.0, (0.03, 0.12))
    slaps = int(rng.choice([1, 2, world.cylinders // 2 or 1, world.cylinders]))
    hull = bump_table(
        np.arange(slaps) / slaps, 0.12 / slaps + 0.02, np.exp(rng.normal(0.0, 0.3, slaps))
    )
    floor = rng.uniform(0.02, 0.25)

    def render(scene: Scene) -> Array:
        times, turns = scene.motion.events(float(teeth))
        sizes = floor + hull[((turns * 0.5 % 1.0) * len(hull)).astype(int)]
        sizes = sizes * np.exp(0.7 * scene.rng.standard_normal(len(times)))
        times = times + scene.rng.normal(0.0, 5e-4, len(times))
        out = Ring(modes, scene.rate_hz).train(scene.count, scene.rate_hz, times, sizes)
        return out * scene.motion.speed_power(0.4)

    return render


def cycle_ticks(
    rng: np.random.Generator,
    world: World,
    band_hz: tuple[float, float],
    swell: float,
) -> Render:
    """One or two valves with too much play: a clean tick once per two turns each."""
    modes = draw_modes(rng, 3, *band_hz, (0.02, 0.07))
    which = rng.permutation(world.cylinders)[: int(rng.choice([1, 1, 2]))]
    places = firing_places(rng, world.cylinders)[which] + rng.random()
    sizes = np.exp(rng.normal(0.0, 0.25, len(places)))
    scatter = rng.uniform(0.08, 0.3)

    def render(scene: Scene) -> Array:
        ring = Ring(modes, scene.rate_hz)
        out = np.zeros(scene.count, np.float32)
        for place, size in zip(places, sizes, strict=True):
            times, _ = scene.motion.events(0.5, place)
            blows = size * np.exp(scatter * scene.rng.standard_normal(len(times)))
            times = times + scene.rng.normal(0.0, 1.5e-4, len(times))
            out += ring.train(scene.count, scene.rate_hz, times, blows)
        return out * scene.motion.speed_power(swell)

    return render


def vacuum_hiss(rng: np.random.Generator, world: World) -> Render:
    """Jet noise: a broad hump, steady, choked away as the throttle opens."""
    peak_hz = log_uniform(rng, 1800.0, 6500.0)
    whistle = rng.uniform(0.0, 0.5) if rng.random() < 0.3 else 0.0
    pulse = table(np.array([1.0]), np.array([rng.uniform(0.0, 6.0)]))
    depth = rng.uniform(0.0, 0.3)

    def render(scene: Scene) -> Array:
        noise = scene.band(peak_hz / 1.8, peak_hz * 1.8)
        if whistle:
            noise = noise + np.float32(whistle) * scene.band(peak_hz * 0.97, peak_hz * 1.03)
        hull = 1.0 + depth * look_up(pulse, scene.motion.turns * (world.cylinders / 2.0))
        return noise * hull * scene.motion.speed_power(-1.5)

    return render


def exhaust_puff(rng: np.random.Generator, world: World) -> Render:
    """A blowing gasket: puffs of noise with a soft thud, at one or two cylinders' firings."""
    which = rng.permutation(world.cylinders)[: int(rng.choice([1, 1, 2]))]
    places = firing_places(rng, world.cylinders)[which] + rng.random()
    width = rng.uniform(0.006, 0.02)
    gate = bump_table(places, width, np.exp(rng.normal(0.0, 0.2, len(places))))
    hiss_band = draw_band(rng, 900.0, 4000.0)
    thud = draw_modes(rng, 2, 120.0, 600.0, (0.1, 0.3))
    thud_share = rng.uniform(0.1, 1.0)
    swell = rng.uniform(1.0, 2.0)

    def render(scene: Scene) -> Array:
        out = scene.band(*hiss_band) * look_up(gate, scene.motion.turns * 0.5)
        ring = Ring(thud, scene.rate_hz, attack_ms=1.0)
        for place in places:
            times, _ = scene.motion.events(0.5, place)
            blows = thud_share * np.exp(0.2 * scene.rng.standard_normal(len(times)))
            out = out + ring.train(scene.count, scene.rate_hz, times, blows)
        return out * scene.motion.speed_power(swell)

    return render


def deep_knock(rng: np.random.Generator, world: World) -> Render:
    """Rod or main bearing: Gaussian pressure pulses into low block modes, once or twice a cycle."""
    modes = draw_modes(rng, 3, 170.0, 1300.0, (0.03, 0.12))
    order = float(rng.choice([0.5, 1.0, 1.0]))
    double = rng.uniform(0.0, 0.6)
    scatter = rng.uniform(0.15, 0.45)
    swell = rng.uniform(0.8, 1.8)
    offset = rng.random()
    attack = rng.uniform(0.3, 0.9)

    def render(scene: Scene) -> Array:
        ring = Ring(modes, scene.rate_hz, attack_ms=attack)
        out = np.zeros(scene.count, np.float32)
        for place, size in ((offset, 1.0), (offset + 0.12 * order, double)):
            times, _ = scene.motion.events(order, place)
            blows = size * np.exp(scatter * scene.rng.standard_normal(len(times)))
            out += ring.train(scene.count, scene.rate_hz, times, blows)
        return out * scene.motion.speed_power(swell)

    return render


def something_else(rng: np.random.Generator, world: World) -> Render:
    """A noise whose part is not among the suspects."""
    kind = str(rng.choice(OTHER_KINDS))
    modes = draw_modes(rng, 3, 500.0, 4000.0)
    own_hz = log_uniform(rng, 90.0, 1200.0)
    odd_order = float(rng.uniform(0.6, 9.0))
    wave = saw(rng, 8)

    def render(scene: Scene) -> Array:
        span_s = scene.count / scene.rate_hz
        swing = slow_curve(scene.rng, 400, span_s / 400, 0.8)
        if kind == "electric pump":  # has its own motor: no order at all
            pitch = stretch(own_hz * (1.0 + 0.004 * swing), scene.count)
            return look_up(wave, np.cumsum(pitch, dtype="f8") / scene.rate_hz)
        if kind == "gear whine":  # an order that no pulley on the sheet has
            return look_up(wave, scene.motion.turns * odd_order * 7.0)
        rate = 30.0 if kind == "loose bracket" else 70.0
        times = np.sort(scene.rng.uniform(0.0, span_s, int(rate * span_s)))
        sizes = np.exp(np.interp(times, np.linspace(0.0, span_s, 400), 1.2 * swing))
        return Ring(modes, scene.rate_hz).train(scene.count, scene.rate_hz, times, sizes)

    return render


def fault_source(rng: np.random.Generator, world: World, truth: str, severity_db: float) -> Source:
    """The fault `truth` as a source standing `severity_db` over everything else."""
    part, _, fault = truth.partition(".")
    simple = {
        "belt.slip": belt_slip,
        "belt.misalignment": belt_chirp,
        "belt.damage": belt_damage,
        "crank.damper": damper,
        "timing-chain.rattle": chain_rattle,
        "vacuum-leak.hiss": vacuum_hiss,
        "exhaust-leak.tick": exhaust_puff,
        "engine.knock": deep_knock,
        "other": something_else,
    }
    if kind_of(part) in PULLEY_FAULTS:
        render = shaft_fault(rng, world, part, fault)
    elif truth == "valve-train.tick":
        render = cycle_ticks(rng, world, (1500.0, 6500.0), float(rng.uniform(0.2, 1.0)))
    elif truth == "timing-chain.whine":
        render = mesh(rng, world.chain_teeth or 20, 3, float(rng.uniform(0.1, 0.5)))
    else:
        render = simple[truth](rng, world)
    needs_belt = kind_of(part) in PULLEY_FAULTS or part == "belt"
    return Source(truth, part, render, needs_belt, severity_db, is_fault=True)
