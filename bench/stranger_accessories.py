"""Ordinary noises of a healthy belt drive: whine, ripple, hum, whirr, rush of air."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from stranger_motion import Scene, Source
from stranger_tools import Array, bump_table, log_uniform, look_up, table
from stranger_world import Shaft, World, kind_of

Render = Callable[[Scene], Array]


def tones(
    rng: np.random.Generator,
    ratio: float,
    orders: dict[int, float],
    swell: float,
    load: str = "",
    load_gain: float = 1.0,
) -> Render:
    """Order-locked tones of one shaft: amplitudes by whole order of the shaft."""
    size = np.zeros(max(orders))
    for order, amplitude in orders.items():
        size[order - 1] = amplitude
    wave = table(size, rng.uniform(0.0, 2.0 * np.pi, len(size)))

    def render(scene: Scene) -> Array:
        gain = np.float32(load_gain if load and scene.loaded(load) else 1.0)
        return look_up(wave, scene.motion.turns * ratio) * (gain * scene.motion.speed_power(swell))

    return render


def modulated_noise(
    rng: np.random.Generator,
    ratio: float,
    bumps_per_turn: int,
    depth: float,
    band_hz: tuple[float, float],
    swell: float,
) -> Render:
    """Band noise swelling a number of times a turn of one shaft."""
    places = np.arange(bumps_per_turn) / bumps_per_turn
    sizes = 1.0 + rng.normal(0.0, 0.15, bumps_per_turn)
    wave = bump_table(places, 0.18 / bumps_per_turn, sizes)

    def render(scene: Scene) -> Array:
        hull = (1.0 - depth) + depth * look_up(wave, scene.motion.turns * ratio)
        return scene.band(*band_hz) * hull * scene.motion.speed_power(swell)

    return render


def together(*parts: tuple[float, Render]) -> Render:
    """A weighted sum of sounds."""

    def render(scene: Scene) -> Array:
        total = np.zeros(scene.count, np.float32)
        for weight, part in parts:
            total += np.float32(weight) * part(scene)
        return total

    return render


def draw_band(rng: np.random.Generator, low_hz: float, high_hz: float) -> tuple[float, float]:
    """A random band whose middle lies between the two."""
    middle = log_uniform(rng, low_hz, high_hz)
    spread = rng.uniform(1.3, 2.5)
    return middle / spread, middle * spread


def _whine_orders(
    rng: np.random.Generator, base: int, harmonics: int, side: float
) -> dict[int, float]:
    """A rotor's passing order, its multiples, and a little once-per-turn unevenness."""
    out = {1: 0.3 * float(rng.uniform(0.0, 1.0))}
    for h in range(1, harmonics + 1):
        size = float(10.0 ** (rng.normal(0.0, 5.0) / 20.0)) / h
        out[base * h] = size
        out[base * h - 1] = out.get(base * h - 1, 0.0) + side * size * float(rng.uniform(0, 1))
        out[base * h + 1] = side * size * float(rng.uniform(0, 1))
    return out


def _ordinary(rng: np.random.Generator, mean_db: float) -> float:
    return float(np.clip(rng.normal(mean_db, 4.0), -22.0, 2.0))


def _of_shaft(rng: np.random.Generator, shaft: Shaft) -> list[Source]:
    kind, part, ratio = kind_of(shaft.part), shaft.part, shaft.ratio

    def source(name: str, render: Render, mean_db: float) -> Source:
        return Source(f"{part} {name}", part, render, True, _ordinary(rng, mean_db))

    hum = modulated_noise(rng, ratio, 1, rng.uniform(0.0, 0.3), draw_band(rng, 900.0, 4500.0), 1.2)
    if kind == "alternator":
        slots = 3 * shaft.poles
        whine = tones(rng, ratio, _whine_orders(rng, slots, 2, 0.15), 0.8, "lights", 1.8)
        fan = modulated_noise(rng, ratio, 1, 0.1, draw_band(rng, 1200.0, 5000.0), 2.2)
        return [source("whine", whine, -8.0), source("fan", fan, -12.0)]
    if kind == "steering-pump":
        ripple = tones(rng, ratio, _whine_orders(rng, shaft.vanes, 4, 0.2), 0.9, "steering", 2.5)
        return [source("ripple", ripple, -9.0)]
    if kind == "coolant-pump":
        passing = tones(rng, ratio, _whine_orders(rng, shaft.vanes, 2, 0.3), 1.3)
        return [source("vanes", passing, -14.0), source("hum", hum, -14.0)]
    if kind == "ac-compressor":
        pistons = int(rng.choice([5, 6, 7, 10]))
        beat = tones(rng, ratio, _whine_orders(rng, pistons, 4, 0.3), 1.0)

        def compressor(scene: Scene) -> Array:
            pulley = hum(scene)
            return pulley + np.float32(1.5) * beat(scene) if scene.loaded("ac") else pulley

        return [source("running", compressor, -12.0)]
    if kind == "fan":
        blades = tones(rng, ratio * 0.8, _whine_orders(rng, shaft.blades, 3, 0.5), 2.0)
        rush = modulated_noise(
            rng, ratio * 0.8, shaft.blades, 0.4, draw_band(rng, 300.0, 1200.0), 2.2
        )
        return [source("blades", blades, -10.0), source("rush", rush, -9.0)]
    return [source("hum", hum, -14.0)]


def accessory_sources(rng: np.random.Generator, world: World) -> list[Source]:
    """What a sound drive sounds like; all of it stands still with the belt off."""
    out = [source for shaft in world.shafts for source in _of_shaft(rng, shaft)]
    whirr = modulated_noise(
        rng, world.belt_ratio, 1, rng.uniform(0.0, 0.25), draw_band(rng, 1000.0, 5000.0), 1.3
    )
    out.append(Source("belt whirr", "belt", whirr, True, _ordinary(rng, -12.0)))
    return out
