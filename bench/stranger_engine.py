"""The engine itself: half-order partials, exhaust waveguide, block noise, ticks, air, chain."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy import fft, signal

from stranger_motion import Scene, Source
from stranger_phone import MAKING_HZ
from stranger_tools import (
    Array,
    Ring,
    bump_table,
    db,
    draw_modes,
    log_uniform,
    look_up,
    low_pass,
    peak_section,
    slow_curve,
    stretch,
    table,
)
from stranger_world import World

PARTIALS = 150


def firing_places(rng: np.random.Generator, cylinders: int) -> Array:
    """Firing places in the two-turn cycle, 0 to 1, shape=(cylinders,). Some engines are uneven."""
    places = np.arange(cylinders) / cylinders
    if cylinders == 6 and rng.random() < 0.25:
        places[1::2] += rng.uniform(0.02, 0.05)
    return places + rng.normal(0.0, 0.001, cylinders)


def _partials(rng: np.random.Generator, world: World) -> Callable[[Scene], Array]:
    half_order = np.arange(1, PARTIALS + 1)
    fires = half_order % world.cylinders == 0
    slope = rng.uniform(0.5, 1.3)
    level_db = np.where(fires, rng.normal(0.0, 4.0, PARTIALS), rng.normal(-16.0, 6.0, PARTIALS))
    level_db[1] += rng.uniform(0.0, 12.0)  # first order: imbalance of the rotating parts
    size = 10.0 ** (level_db / 20.0) * (half_order / world.cylinders) ** -slope
    phase = rng.uniform(0.0, 2.0 * np.pi, PARTIALS)
    first = table(size, phase)
    second = table(
        size * 10.0 ** (rng.normal(0.0, 4.0, PARTIALS) / 20.0),
        phase + rng.normal(0.0, 0.7, PARTIALS),
    )
    shape = [
        peak_section(MAKING_HZ, log_uniform(rng, 150.0, 2500.0), rng.uniform(1.0, 6.0), gain)
        for gain in rng.uniform(-9.0, 12.0, 4)
    ]
    shake = rng.uniform(0.05, 0.3)
    swell = rng.uniform(0.8, 2.2)

    def render(scene: Scene) -> Array:
        cycle = scene.motion.turns * 0.5
        span_s = scene.count / scene.rate_hz
        mix_fine = 0.5 + 0.35 * stretch(slow_curve(scene.rng, 500, span_s / 500, 0.25), scene.count)
        steps = int(scene.motion.turns[-1]) + 2
        gain = 1.0 + shake * scene.rng.standard_normal(steps)
        gain_fine = stretch(
            np.interp(scene.motion.turns[::32], np.arange(steps), gain), scene.count
        )
        wave = look_up(first, cycle) * (1.0 - mix_fine) + look_up(second, cycle) * mix_fine
        wave *= gain_fine * scene.motion.speed_power(swell)
        return signal.sosfilt(np.array(shape, np.float32), wave)

    return render


def _exhaust(rng: np.random.Generator, world: World, places: Array) -> Callable[[Scene], Array]:
    strength = 1.0 + rng.normal(0.0, 0.15, world.cylinders)
    width = rng.uniform(0.008, 0.03)
    pulses = bump_table(places + rng.random(), width, strength)
    pulses = pulses - pulses.mean()
    # Two pipes in a row, each an open waveguide: y(t) = x(t) - g y(t - 2 L / c), g low-passed.
    pipes = [
        (rng.uniform(0.002, 0.02), rng.uniform(0.3, 0.85), rng.uniform(200.0, 1500.0))
        for _ in range(2)
    ]
    tail_hz = log_uniform(rng, 300.0, 1500.0)
    roar = rng.uniform(0.02, 0.3)
    swell = rng.uniform(0.8, 1.8)

    def render(scene: Scene) -> Array:
        wave = look_up(pulses, scene.motion.turns * 0.5)
        wave = wave * (1.0 + roar * scene.pool.white(scene.rng, scene.count))
        size = fft.next_fast_len(scene.count, real=True)
        f = np.arange(size // 2 + 1, dtype=np.float32) * np.float32(scene.rate_hz / size)
        top = int(np.searchsorted(f, 6.0 * tail_hz))
        response = (1.0 / (1.0 + 1j * f[:top] / np.float32(tail_hz))).astype(np.complex64)
        for delay_s, back, corner_hz in pipes:
            turn = np.exp(np.complex64(-2j * np.pi * delay_s) * f[:top])
            response /= 1.0 + np.float32(back) * turn / (1.0 + 1j * f[:top] / np.float32(corner_hz))
        spectrum = fft.rfft(wave, size)
        spectrum[:top] *= response
        spectrum[top:] = 0.0
        return fft.irfft(spectrum, size)[: scene.count] * scene.motion.speed_power(swell)

    return render


def _block_noise(rng: np.random.Generator, world: World, places: Array) -> Callable[[Scene], Array]:
    depth = rng.uniform(0.2, 0.95) if world.diesel else rng.uniform(0.0, 0.6)
    bumps = bump_table(
        places + rng.random(), rng.uniform(0.01, 0.05), 1.0 + rng.normal(0.0, 0.12, len(places))
    )
    corner_hz = log_uniform(rng, 300.0, 2000.0)
    body = [
        peak_section(MAKING_HZ, log_uniform(rng, 500.0, 5000.0), rng.uniform(1.0, 7.0), gain)
        for gain in rng.uniform(0.0, 13.0, 4)
    ]
    swell = rng.uniform(1.0, 2.2)

    def render(scene: Scene) -> Array:
        noise = low_pass(scene.pool.pink(scene.rng, scene.count), scene.rate_hz, 4 * corner_hz)
        noise = signal.sosfilt(np.array(body, np.float32), noise)
        hull = (1.0 - depth) + depth * look_up(bumps, scene.motion.turns * 0.5)
        return noise * hull * scene.motion.speed_power(swell)

    return render


def _ticks(
    rng: np.random.Generator, places: Array, low_hz: float, high_hz: float, per_place: int
) -> Callable[[Scene], Array]:
    modes = draw_modes(rng, 3, low_hz, high_hz)
    at = np.concatenate([places + rng.random() + rng.normal(0, 0.003) for _ in range(per_place)])
    sizes = np.exp(rng.normal(0.0, 0.3, len(at)))
    scatter = rng.uniform(0.1, 0.4)
    swell = rng.uniform(0.0, 1.2)

    def render(scene: Scene) -> Array:
        ring = Ring(modes, scene.rate_hz)
        all_times, all_sizes = [], []
        for place, size in zip(at, sizes, strict=True):
            times, _ = scene.motion.events(0.5, place)
            times = times + scene.rng.normal(0.0, 1e-4, len(times))
            all_times.append(times)
            all_sizes.append(size * np.exp(scatter * scene.rng.standard_normal(len(times))))
        out = ring.train(
            scene.count, scene.rate_hz, np.concatenate(all_times), np.concatenate(all_sizes)
        )
        return out * scene.motion.speed_power(swell)

    return render


def _intake(rng: np.random.Generator, world: World) -> Callable[[Scene], Array]:
    low_hz = log_uniform(rng, 300.0, 900.0)
    high_hz = low_hz * rng.uniform(3.0, 10.0)
    depth = rng.uniform(0.1, 0.6)
    wave = table(np.array([1.0, 0.3]), rng.uniform(0.0, 6.0, 2))

    def render(scene: Scene) -> Array:
        pulse = 1.0 + depth * look_up(wave, scene.motion.turns * (world.cylinders / 2.0))
        return scene.band(low_hz, high_hz) * pulse * scene.motion.speed_power(1.3)

    return render


def mesh(
    rng: np.random.Generator, teeth: int, harmonics: int, sideband: float
) -> Callable[[Scene], Array]:
    """Tooth-mesh tones of a chain drive, uneven at cam speed (half order)."""
    orders = 2 * teeth * harmonics + 8
    size = np.zeros(orders)
    for h in range(1, harmonics + 1):
        peak = 10.0 ** (rng.normal(0.0, 5.0) / 20.0) / h
        size[2 * teeth * h - 1] = peak
        for gap in (1, 2, 4):
            size[2 * teeth * h - 1 - gap] += sideband * peak * rng.uniform(0.1, 0.7)
            size[2 * teeth * h - 1 + gap] += sideband * peak * rng.uniform(0.1, 0.7)
    wave = table(size, rng.uniform(0.0, 2.0 * np.pi, orders))
    swell = rng.uniform(0.5, 1.5)

    def render(scene: Scene) -> Array:
        return look_up(wave, scene.motion.turns * 0.5) * scene.motion.speed_power(swell)

    return render


def _surroundings(rng: np.random.Generator) -> Callable[[Scene], Array]:
    corner_hz = log_uniform(rng, 200.0, 4000.0)
    restless = rng.uniform(0.0, 0.6)

    def render(scene: Scene) -> Array:
        noise = low_pass(scene.pool.pink(scene.rng, scene.count), scene.rate_hz, corner_hz)
        swing = restless * slow_curve(scene.rng, 400, scene.count / scene.rate_hz / 400, 0.8)
        return noise * stretch(np.exp(swing), scene.count)

    return render


def _radiator_fan(rng: np.random.Generator) -> Callable[[Scene], Array]:
    """An electric fan, tied to nothing that the crank turns."""
    turn_hz, blades = rng.uniform(18.0, 50.0), int(rng.integers(5, 10))
    wave = table(rng.uniform(0.1, 1.0, 4), rng.uniform(0.0, 6.0, 4))

    def render(scene: Scene) -> Array:
        t = np.arange(scene.count) / scene.rate_hz
        return np.add(look_up(wave, t * (turn_hz * blades)), scene.band(250.0, 1500.0))

    return render


def engine_sources(rng: np.random.Generator, world: World) -> list[Source]:
    """The engine's own sources and the surroundings, all heard with the belt off as well."""
    places = firing_places(rng, world.cylinders)
    harsh = 5.0 if world.diesel else 0.0
    exhaust_db, block_db = rng.uniform(-15.0, 3.0), rng.uniform(-20.0, -6.0) + harsh
    intake_db, ambient_db = rng.uniform(-32.0, -16.0), rng.uniform(-40.0, -18.0)
    core = [
        Source("partials", "engine", _partials(rng, world)),
        Source("exhaust", "exhaust-leak", _exhaust(rng, world, places), rms=db(exhaust_db)),
        Source("block", "engine", _block_noise(rng, world, places), rms=db(block_db)),
        Source("intake", "vacuum-leak", _intake(rng, world), rms=db(intake_db)),
        Source("surroundings", "surroundings", _surroundings(rng), rms=db(ambient_db)),
    ]

    def ordinary(mean_db: float) -> float:
        return float(np.clip(rng.normal(mean_db, 4.0), -20.0, 3.0))

    core.append(
        Source(
            "valves",
            "valve-train",
            _ticks(rng, places, 1200.0, 5000.0, 2),
            target_db=ordinary(-7.0),
        )
    )
    if world.diesel or rng.random() < 0.8:
        core.append(
            Source(
                "injectors",
                "valve-train",
                _ticks(rng, places, 3000.0, 8000.0, 1),
                target_db=ordinary(-3.0),
            )
        )
    if rng.random() < 0.1:
        fan = _radiator_fan(rng)
        core.append(Source("electric fan", "surroundings", fan, target_db=ordinary(-5.0)))
    if world.chain_teeth is not None:
        core.append(
            Source(
                "chain",
                "timing-chain",
                mesh(rng, world.chain_teeth, 3, 1.0),
                target_db=ordinary(-12.0),
            )
        )
    return core
