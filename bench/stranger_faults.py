"""Faults of turning parts: bearings after McFadden & Smith, pumps, alternator, clutches."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from stranger_accessories import Render, draw_band, modulated_noise, tones
from stranger_motion import Scene
from stranger_tools import (
    Array,
    Ring,
    bump_table,
    draw_modes,
    log_uniform,
    look_up,
    slow_curve,
    stretch,
    table,
)
from stranger_world import Shaft, World, bearing_orders, draw_bearing, kind_of


def load_share(angle_turns: Array, epsilon: float) -> Array:
    """Stribeck's load on a ball at an angle from the load's direction, 0 to 1.

    q = (1 - (1 - cos angle) / (2 epsilon))**1.5, nought outside the load zone (from memory,
    as used by McFadden & Smith 1984, J. Sound Vib. 96(1)).
    """
    inner = 1.0 - (1.0 - np.cos(2.0 * np.pi * np.asarray(angle_turns))) / (2.0 * epsilon)
    return np.maximum(inner, 0.0) ** 1.5


def bearing(rng: np.random.Generator, shaft: Shaft, kind: str | None = None) -> Render:
    """A defect on a ring or a ball, or general wear, as trains of ringing blows."""
    orders = bearing_orders(shaft.bearing, shaft.outer_turns)
    kind = kind or str(rng.choice(["outer", "inner", "ball", "worn"], p=[0.35, 0.3, 0.13, 0.22]))
    modes = draw_modes(rng, int(rng.integers(2, 5)), 1300.0, 7500.0, (0.02, 0.1))
    epsilon = rng.uniform(0.35, 0.9)
    floor = rng.uniform(0.03, 0.25)
    slip = rng.uniform(0.0, 0.008)
    jitter = log_uniform(rng, 0.003, 0.02)
    scatter = rng.uniform(0.1, 0.45)
    swell = rng.uniform(0.7, 1.7)
    place = rng.random()
    unbalance = rng.uniform(0.0, 0.35)
    noise_band = draw_band(rng, 1500.0, 5000.0)
    wear = [("outer", rng.uniform(0.4, 1.0)), ("inner", rng.uniform(0.4, 1.0))]
    growl_share = rng.uniform(0.3, 1.2) if kind == "worn" else rng.uniform(0.0, 0.25)
    growl = modulated_noise(rng, shaft.ratio, 1, rng.uniform(0.3, 0.9), noise_band, swell)
    defects = wear if kind == "worn" else [(kind, 1.0)]
    spots = int(rng.integers(2, 5)) if kind == "worn" else 1

    def blows(scene: Scene, defect: str, spot: float) -> tuple[Array, Array]:
        order = orders[defect] * shaft.ratio * (1.0 - slip)
        count = int(scene.motion.coarse_turns[-1] * order) + 1
        gaps = 1.0 + jitter * scene.rng.standard_normal(count)
        turns = (np.cumsum(gaps) + spot) / order
        times = scene.motion.times_at(turns)
        shaft_turns = turns * shaft.ratio
        if defect == "ball":
            angle = shaft_turns * orders["cage"]
        elif (defect == "inner") != shaft.outer_turns:
            angle = shaft_turns  # the spot is carried round through the load zone
        else:
            angle = np.zeros(count)  # the spot stands in it
        if angle.any():
            size = floor + load_share(angle + place, epsilon)
        else:  # an unbalanced rotor still loads the spot a little more once a turn
            size = 1.0 + unbalance * np.cos(2.0 * np.pi * shaft_turns)
        if defect == "ball":
            size[::2] *= 0.6  # one ring answers less than the other
        return times, size * np.exp(scatter * scene.rng.standard_normal(count))

    def render(scene: Scene) -> Array:
        ring = Ring(modes, scene.rate_hz)
        out = np.zeros(scene.count, np.float32)
        for defect, weight in defects:
            for spot in range(spots):
                times, sizes = blows(scene, defect, spot * 0.31 + place)
                out += ring.train(
                    scene.count, scene.rate_hz, times, weight / np.sqrt(spots) * sizes
                )
        out *= scene.motion.speed_power(swell)
        return out + np.float32(growl_share * 0.2) * growl(scene)

    return render


def impeller(rng: np.random.Generator, shaft: Shaft) -> Render:
    """Vane passing tones, rubbing once a turn, and cavitation noise swelling with the vanes."""
    orders = {1: rng.uniform(0.0, 0.4)}
    for h in range(1, 4):
        for gap in (-1, 0, 1):
            orders[shaft.vanes * h + gap] = rng.uniform(0.1, 0.4 if gap else 1.0) / h
    vane_tones = tones(rng, shaft.ratio, orders, 1.4)
    rush = modulated_noise(
        rng, shaft.ratio, shaft.vanes, rng.uniform(0.4, 0.9), draw_band(rng, 500.0, 3000.0), 2.0
    )
    rub = modulated_noise(rng, shaft.ratio, 1, 0.9, draw_band(rng, 800.0, 3000.0), 0.8)
    shares = rng.uniform(0.1, 1.0, 3)

    def render(scene: Scene) -> Array:
        return sum_of(shares, [vane_tones(scene), rush(scene), rub(scene)])

    return render


def sum_of(shares: Array, sounds: list[Array]) -> Array:
    """Weighted sum, shape as each sound."""
    total = np.float32(shares[0]) * sounds[0]
    for share, sound in zip(shares[1:], sounds[1:], strict=True):
        total += np.float32(share) * sound
    return total


def squeaking_seal(rng: np.random.Generator, shaft: Shaft) -> Render:
    """A saw-tooth stick-slip tone let through over a part of each turn, coming and going."""
    base_hz = log_uniform(rng, 900.0, 3800.0)
    wave = saw(rng, int(rng.integers(2, 5)))
    gate = bump_table(np.array([rng.random()]), rng.uniform(0.1, 0.3), np.array([1.0]))
    base_gate = rng.uniform(0.0, 0.35)
    wobble = rng.uniform(0.005, 0.03)
    breath = rng.uniform(0.3, 1.2)

    def render(scene: Scene) -> Array:
        turns = scene.motion.turns * shaft.ratio
        span_s = scene.count / scene.rate_hz
        pitch = 1.0 + wobble * slow_curve(scene.rng, 2000, span_s / 2000, 0.15)
        hull = base_gate + look_up(gate, turns)
        phase = np.cumsum(stretch(base_hz * pitch, scene.count) * (0.96 + 0.06 * hull), dtype="f8")
        swing = np.exp(breath * slow_curve(scene.rng, 400, span_s / 400, 1.0))
        return look_up(wave, phase / scene.rate_hz) * hull * stretch(swing, scene.count)

    return render


def saw(rng: np.random.Generator, harmonics: int) -> Array:
    """A rounded saw-tooth of few harmonics, one period."""
    n = np.arange(1, harmonics + 1)
    return table(n ** -rng.uniform(0.8, 2.0), np.pi * (n % 2) + rng.normal(0.0, 0.2, harmonics))


def alternator_electrical(rng: np.random.Generator, shaft: Shaft) -> Render:
    """Slot harmonics; with a dead diode or phase also the electrical frequency and multiples."""
    slots, electrical = 3 * shaft.poles, shaft.poles // 2
    orders = {slots * h: 10.0 ** (rng.normal(0.0, 4.0) / 20.0) / h for h in (1, 2, 3)}
    for h in (1, 2, 3, 4, 5, 7, 8):
        orders[electrical * h] = orders.get(electrical * h, 0.0) + rng.uniform(0.1, 1.0) / h**0.5
    for gap in (1, 2):
        orders[slots - gap] = rng.uniform(0.05, 0.3)
        orders[slots + gap] = rng.uniform(0.05, 0.3)
    return tones(rng, shaft.ratio, orders, rng.uniform(0.0, 0.8), "lights", rng.uniform(1.6, 3.0))


def decoupler(rng: np.random.Generator, shaft: Shaft, world: World) -> Render:
    """A worn overrunning pulley: a short grind of blows after most firings, less at speed."""
    modes = draw_modes(rng, 3, 900.0, 5500.0)
    order = world.cylinders / 2.0
    chance = rng.uniform(0.45, 0.95)
    teeth = int(rng.integers(2, 6))
    gap_s = rng.uniform(0.0012, 0.004)

    def render(scene: Scene) -> Array:
        ring = Ring(modes, scene.rate_hz)
        times, _ = scene.motion.events(order, 0.37)
        kept = times[scene.rng.random(len(times)) < chance]
        kept = kept + scene.rng.normal(0.0, 8e-4, len(kept))
        strength = np.exp(0.5 * scene.rng.standard_normal(len(kept)))
        all_times = (kept[:, None] + gap_s * np.arange(teeth)).ravel()
        fall = 0.7 ** np.arange(teeth) * np.exp(0.3 * scene.rng.standard_normal((len(kept), teeth)))
        out = ring.train(scene.count, scene.rate_hz, all_times, (strength[:, None] * fall).ravel())
        # The grind follows the shaft a little: the clutch's worn side comes round.
        out *= 1.0 + 0.5 * np.sin(2 * np.pi * (scene.motion.turns * shaft.ratio % 1.0)).astype("f4")
        return out * scene.motion.speed_power(-0.8)

    return render


def pump_whine(rng: np.random.Generator, shaft: Shaft) -> Render:
    """Vane ripple of a steering pump short of oil: a rich harmonic row and aerated groan."""
    orders: dict[int, float] = {1: 0.2, 2: 0.1}
    slope = rng.uniform(0.3, 1.2)
    for h in range(1, 9):
        size = 10.0 ** (rng.normal(0.0, 4.0) / 20.0) / h**slope
        orders[shaft.vanes * h] = size
        for gap in (-2, -1, 1, 2):
            orders[shaft.vanes * h + gap] = size * rng.uniform(0.0, 0.35)
    row = tones(rng, shaft.ratio, orders, 0.8, "steering", rng.uniform(2.0, 4.0))
    groan = modulated_noise(
        rng, shaft.ratio, shaft.vanes, rng.uniform(0.3, 0.9), draw_band(rng, 400.0, 2000.0), 1.0
    )
    share = rng.uniform(0.05, 0.5)
    unrest = rng.uniform(0.0, 0.3)

    def render(scene: Scene) -> Array:
        span_s = scene.count / scene.rate_hz
        swing = np.exp(unrest * slow_curve(scene.rng, 400, span_s / 400, 0.5))
        return row(scene) * stretch(swing, scene.count) + np.float32(share) * groan(scene)

    return render


def compressor_clutch(rng: np.random.Generator, shaft: Shaft) -> Render:
    """A dragging clutch: metal scraping over part of each turn, with a tinny ring and chatter."""
    scrape_band = draw_band(rng, 1200.0, 5000.0)
    gate = bump_table(
        np.array([0.0, rng.uniform(0.2, 0.5)]), rng.uniform(0.05, 0.12), np.array([1.0, 0.5])
    )
    modes = draw_modes(rng, 2, 900.0, 3500.0, (0.01, 0.04))
    bite = rng.uniform(0.2, 1.0)
    chatter = int(rng.integers(1, 4))

    def render(scene: Scene) -> Array:
        turns = scene.motion.turns * shaft.ratio
        scrape = scene.band(*scrape_band) * look_up(gate, turns)
        times, _ = scene.motion.events(shaft.ratio * chatter)
        sizes = np.exp(0.4 * scene.rng.standard_normal(len(times)))
        clack = Ring(modes, scene.rate_hz).train(scene.count, scene.rate_hz, times, sizes)
        engaged = np.float32(0.35 if scene.loaded("ac") else 1.0)
        return engaged * (scrape + np.float32(2.0 * bite) * clack) * scene.motion.speed_power(0.8)

    return render


def compressor_rattle(rng: np.random.Generator, shaft: Shaft) -> Render:
    """Worn pistons or loose mount: one blow a piston a turn, ragged, louder when pumping."""
    pistons = int(rng.choice([5, 6, 7, 10]))
    uneven = np.exp(rng.normal(0.0, 0.6, pistons))
    modes = draw_modes(rng, 3, 350.0, 2800.0, (0.03, 0.12))
    raggedness = rng.uniform(0.3, 0.8)
    gain_on = rng.uniform(1.5, 3.0)

    def render(scene: Scene) -> Array:
        times, _ = scene.motion.events(shaft.ratio * pistons)
        sizes = uneven[np.arange(len(times)) % pistons]
        sizes = sizes * np.exp(raggedness * scene.rng.standard_normal(len(times)))
        times = times + scene.rng.normal(0.0, 4e-4, len(times))
        out = Ring(modes, scene.rate_hz).train(scene.count, scene.rate_hz, times, sizes)
        gain = np.float32(gain_on if scene.loaded("ac") else 1.0)
        return out * gain * scene.motion.speed_power(0.8)

    return render


def tensioner_rattle(rng: np.random.Generator, world: World) -> Render:
    """The arm hammers its stop: bouncing blows tied loosely to firing, in fits."""
    modes = draw_modes(rng, 3, 450.0, 2600.0, (0.03, 0.12))
    order = world.cylinders / 2.0 / float(rng.choice([1.0, 1.0, 2.0]))
    chance = rng.uniform(0.4, 0.9)
    fits = rng.uniform(0.3, 1.3)
    bounce_s = rng.uniform(0.004, 0.012)

    def render(scene: Scene) -> Array:
        times, _ = scene.motion.events(order, 0.21)
        times = times[scene.rng.random(len(times)) < chance]
        times = times + scene.rng.normal(0.0, 0.003, len(times))
        span_s = scene.count / scene.rate_hz
        fit = np.exp(fits * slow_curve(scene.rng, 400, span_s / 400, 0.7))
        sizes = np.interp(times, np.linspace(0.0, span_s, 400), fit)
        sizes = sizes * np.exp(0.4 * scene.rng.standard_normal(len(times)))
        later = bounce_s * np.array([0.0, 1.0, 1.6, 1.95])
        rising = times[:, None] + later * scene.rng.uniform(0.8, 1.2, (len(times), 1))
        each = sizes[:, None] * np.array([1.0, 0.55, 0.3, 0.15])
        out = Ring(modes, scene.rate_hz).train(
            scene.count, scene.rate_hz, rising.ravel(), each.ravel()
        )
        return out * scene.motion.speed_power(-0.7)

    return render


def fan_clutch(rng: np.random.Generator, shaft: Shaft) -> Render:
    """A seized fan clutch: blade-passing roar at nearly full pulley speed, growing steeply."""
    grip = rng.uniform(0.93, 1.0)
    orders = {1: rng.uniform(0.1, 0.5)}
    for h in range(1, 6):
        orders[shaft.blades * h] = orders.get(shaft.blades * h, 0.0) + rng.uniform(0.3, 1.0) / h
    blades = tones(rng, shaft.ratio * grip, orders, 2.3)
    rush = modulated_noise(
        rng,
        shaft.ratio * grip,
        shaft.blades,
        rng.uniform(0.3, 0.8),
        draw_band(rng, 300.0, 1500.0),
        2.5,
    )
    share = rng.uniform(0.3, 1.2)

    def render(scene: Scene) -> Array:
        return blades(scene) + np.float32(share) * rush(scene)

    return render


def shaft_fault(rng: np.random.Generator, world: World, part: str, fault: str) -> Render:
    """The sound of a fault of a pulley's part."""
    shaft, kind = world.shaft(part), kind_of(part)
    makers: dict[str, Callable[[], Render]] = {
        "coolant-pump.impeller": lambda: impeller(rng, shaft),
        "coolant-pump.seal": lambda: squeaking_seal(rng, shaft),
        "alternator.electrical": lambda: alternator_electrical(rng, shaft),
        "alternator.decoupler": lambda: decoupler(rng, shaft, world),
        "tensioner.rattle": lambda: tensioner_rattle(rng, world),
        "ac-compressor.clutch": lambda: compressor_clutch(rng, shaft),
        "ac-compressor.rattle": lambda: compressor_rattle(rng, shaft),
        "steering-pump.whine": lambda: pump_whine(rng, shaft),
        "fan.clutch": lambda: fan_clutch(rng, shaft),
    }
    if fault == "bearing":
        if kind in ("alternator", "coolant-pump") and rng.random() < 0.15:
            # The far bearing, of another size than the one on the sheet.
            shaft = replace(shaft, bearing=draw_bearing(rng))
        return bearing(rng, shaft)
    return makers[f"{kind}.{fault}"]()
