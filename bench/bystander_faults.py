"""What is wrong with the bystander's belt end: bearings, accessories and the belt itself."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from beltside.drive.sheet import Bearing
from bystander_car import OUTER_TURNS, Car
from bystander_engine import firing, tonal
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

Make = Callable[[np.random.Generator, Motion], Array]


def defect_orders(bearing: Bearing) -> dict[str, float]:
    """Blows per turn of one ring against the other, by the usual kinematics (facts K1 to K5).

    "ball" counts both races, so it is twice the ball's spin.
    """
    share = bearing.ball_mm / bearing.pitch_mm * np.cos(np.radians(bearing.contact_deg))
    return {
        "outer": bearing.balls / 2 * (1 - share),
        "inner": bearing.balls / 2 * (1 + share),
        "ball": bearing.pitch_mm / bearing.ball_mm * (1 - share**2),
        "cage": (1 - share) / 2,
    }


def defect_times(
    rng: np.random.Generator, motion: Motion, ratio: float, order: float, slip: float = 0.01
) -> Array:
    """Times of a defect's blows [s]: its order of the shaft, each interval off by `slip`."""
    count = int(motion.grid_turns[-1] * ratio * order)
    steps = rng.normal(1.0, slip, count)
    return motion.at(np.cumsum(steps) / (order * ratio) - rng.random() / (order * ratio))


def bearing_fault(rng: np.random.Generator, car: Car, part: str) -> list[Voice]:
    """One of four ears' bearings: a tick, a growl of several defects, a rumble, a dry whine."""
    bearing, ratio = car.wheel(part).bearing, car.ratio(part)
    orders, outer_turns = defect_orders(bearing), part in OUTER_TURNS
    kind = str(rng.choice(["tick", "growl", "rumble", "whine"], p=[0.3, 0.35, 0.2, 0.15]))
    hit = [str(rng.choice(["outer", "inner", "ball"], p=[0.5, 0.32, 0.18]))]
    if kind != "tick":
        hit += [
            name for name in ("outer", "inner", "ball") if name not in hit and rng.random() < 0.5
        ]
    # Where the load stands still, a defect on the ring that turns passes through it once a turn.
    cage = 1.0 - orders["cage"] if outer_turns else orders["cage"]
    passing = {"outer": float(outer_turns), "inner": float(not outer_turns), "ball": cage}
    depth, low = (
        rng.uniform(0.4, 1.0),
        log_uniform(rng, *((1200, 4500) if kind == "tick" else (350, 2200))),
    )
    decay = log_uniform(rng, 0.0008, 0.004) * (1.0 if kind == "tick" else 2.0)
    scatter, seed = rng.uniform(0.1, 0.5), int(rng.integers(1 << 30))

    def blows(rng: np.random.Generator, motion: Motion) -> Array:
        own, out = np.random.default_rng(seed), motion.silence()
        for name in hit:
            grains = ring(own, motion.rate_hz, (low, 3 * low), decay, 4, own.uniform(0.1, 0.8))
            times = defect_times(rng, motion, ratio, orders[name], own.uniform(0.003, 0.014))
            turned = motion.then(motion.turns, times)
            load = 1 - depth + depth * np.cos(2 * np.pi * passing[name] * ratio * turned)
            levels = np.maximum(load, 0.0) if passing[name] else np.ones(times.size)
            times, scattered = shaky(rng, times, 0.00003, scatter)
            out += own.uniform(0.4, 1.0) * strew(rng, motion, times, levels * scattered, grains)
        return out

    rough = log_uniform(rng, 150, 1500)
    colour, waver = band(rough, rough * rng.uniform(2, 5), 9.0), rng.uniform(0.1, 0.6)

    def grumble(rng: np.random.Generator, motion: Motion) -> Array:
        shaft = motion.turns * ratio
        swell = 1.0 + waver * (hum(rng, shaft, {1: 0.8, 2: 0.3}) + hum(rng, shaft * cage, {1: 0.8}))
        noise = cloud(rng, motion.samples, motion.rate_hz, colour)
        return noise * np.maximum(swell + 0.4 * drift(rng, motion, 7.0), 0.05)

    pitch = log_uniform(rng, 700, 3500)

    def dry(rng: np.random.Generator, motion: Motion) -> Array:
        warble = 0.01 * drift(rng, motion, 5.0) + 0.01 * hum(
            rng, motion.turns * ratio * cage, {1: 1}
        )
        phase = np.cumsum(pitch * motion.speed**0.3 * (1.0 + warble)) / motion.rate_hz
        swell = np.maximum(0.6 + 0.5 * drift(rng, motion, 1.5), 0.0)
        return hum(rng, phase, {1: 1.0, 2: 0.4, 3: 0.2}) * swell

    growth = rng.uniform(0.6, 1.6)
    layers: dict[str, list[tuple[float, Make]]] = {
        "tick": [(0, blows)],
        "growl": [(0, blows), (rng.uniform(-10, 0), grumble)],
        "rumble": [(rng.uniform(-14, -4), blows), (0, grumble)],
        "whine": [(rng.uniform(-10, 0), blows), (-6, grumble), (0, dry)],
    }
    return [Voice(part, float(level), make, growth) for level, make in layers[kind]]


def squeal(
    rng: np.random.Generator, motion: Motion, pitch_hz: float, bend: float, strong: Array
) -> Array:
    """A stick-slip cry: a saw-like tone that slides, as loud as `strong` says."""
    phase = np.cumsum(pitch_hz * (1.0 + bend * drift(rng, motion, 3.0))) / motion.rate_hz
    harmonics = {k: float(k ** -rng.uniform(0.6, 1.4)) for k in range(1, int(14e3 / pitch_hz) + 1)}
    hiss = cloud(rng, motion.samples, motion.rate_hz, band(pitch_hz, 4 * pitch_hz, 12.0))
    return (hum(rng, phase, harmonics) + 0.1 * hiss) * strong


def bouts(rng: np.random.Generator, motion: Motion, share: float, length_s: float) -> Array:
    """0 to 1: on for about a share of the time, in bouts of about this length."""
    wander = drift(rng, motion, 0.7 / length_s)
    level = np.quantile(wander[::97], 1.0 - share)
    on: Array = np.clip((wander - level) * 6.0, 0.0, 1.0)
    return on


def rattling(
    rng: np.random.Generator,
    car: Car,
    seat: str,
    hz: tuple[float, float],
    decay_s: float,
    *,
    often: float,
    growth: float = 0.5,
    load: str | None = None,
    per_turn: float | None = None,
    swarm: float = 1.0,
) -> Voice:
    """A loose thing that is hit with the firings, or `per_turn` times a crank turn.

    `often` is the share of blows that come through, `swarm` how many hits each makes on average
    as it bounces.
    """
    modes = (log_uniform(rng, *hz), hz[1] * rng.uniform(1.0, 2.0))
    decay, breath = decay_s * rng.uniform(0.5, 2.0), rng.uniform(0.1, 0.9)
    bounce, seed = rng.uniform(0.006, 0.02), int(rng.integers(1 << 30))

    def make(rng: np.random.Generator, motion: Motion) -> Array:
        if load is not None and load not in motion.loads:
            return motion.silence()
        if per_turn is None:
            times, levels = firing(rng, motion, car)
        else:
            times = motion.every(per_turn)
            levels = np.ones(times.size)
        wander = motion.then(drift(rng, motion, 2.0), times)
        through = rng.random(times.size) < often * np.clip(1.0 + 0.5 * wander, 0.1, 1.5)
        hits = through * (1 + rng.poisson(max(swarm - 1.0, 0.0), times.size))
        late = rng.exponential(bounce, hits.sum()) * (rng.random(hits.sum()) < 1 - 1 / swarm)
        times, scatter = shaky(rng, np.repeat(times, hits) + late, 0.001, 0.5)
        grains = ring(np.random.default_rng(seed), motion.rate_hz, modes, decay, 5, breath)
        weaker = np.exp(-late / bounce / 2)
        return strew(rng, motion, times, np.repeat(levels, hits) * scatter * weaker, grains)

    return Voice(seat, 0.0, make, growth)


def _electrical(rng: np.random.Generator, car: Car) -> list[Voice]:
    """A lost diode or phase: the ripple's sixth comes up, and a whine that loads make louder."""
    ratio, pairs = car.ratio("alternator"), (car.wheel("alternator").poles or 12) / 2
    rest = 10.0 ** (-rng.uniform(8, 20) / 20)
    tones = [(pairs, 0.0), (2 * pairs, rng.normal(-3, 4)), (6 * pairs, rng.normal(-3, 5))]
    voices = []
    for order, level in tones:
        voice = tonal(rng, "alternator", order * ratio, level, 0.4)

        def make(rng: np.random.Generator, motion: Motion, inner: Make = voice.make) -> Array:
            return inner(rng, motion) * (1.0 if "lights" in motion.loads else rest)

        voices.append(Voice("alternator", level, make, 0.4))
    return voices


def _decoupler(rng: np.random.Generator, car: Car) -> list[Voice]:
    """A freewheel that no longer gives: zing and clatter with the firings, worst at idle."""
    buzz = rattling(
        rng, car, "alternator", (1500, 4500), 0.002, often=0.8, growth=-1.0, swarm=rng.uniform(1, 4)
    )
    knock = rattling(rng, car, "alternator", (400, 1200), 0.006, often=0.5, growth=-0.7)
    return [buzz, Voice("alternator", rng.uniform(-12, 2), knock.make, knock.growth)]


def _impeller(rng: np.random.Generator, car: Car) -> list[Voice]:
    """Vapour that crackles, or an impeller that scrapes once a turn."""
    ratio, vanes = car.ratio("coolant-pump"), car.wheel("coolant-pump").vanes or 6
    seed, crackles = int(rng.integers(1 << 30)), log_uniform(rng, 80, 700)
    scrape = bool(rng.random() < 0.5)
    low = log_uniform(rng, 400, 2500)

    def make(rng: np.random.Generator, motion: Motion) -> Array:
        own = np.random.default_rng(seed)
        if scrape:
            grains = puff(own, motion.rate_hz, band(low, 3 * low), 0.004, own.uniform(0.005, 0.03))
            times, levels = shaky(rng, motion.every(ratio), 0.001, 0.3)
            levels *= 1.0 + 0.5 * np.cos(2 * np.pi * own.uniform(0.02, 0.1) * np.arange(times.size))
            return strew(rng, motion, times, levels, grains)
        seconds = motion.samples / motion.rate_hz
        times = rng.uniform(0.0, seconds, rng.poisson(crackles * seconds))
        shaft = ratio * motion.then(motion.turns, times)
        swell = 1.0 + 0.6 * np.cos(2 * np.pi * vanes * shaft) + 0.4 * np.cos(2 * np.pi * shaft)
        grains = ring(own, motion.rate_hz, (low, 4 * low), 0.0012, 4, 0.8)
        levels = np.maximum(swell, 0.0) * rng.lognormal(0.0, 0.9, times.size)
        return strew(rng, motion, times, levels, grains)

    wash = tonal(rng, "coolant-pump", ratio * vanes, rng.uniform(-16, -6), 1.5)
    return [Voice("coolant-pump", 0.0, make, rng.uniform(0.8, 2.0)), wash]


def _seal(rng: np.random.Generator, car: Car) -> list[Voice]:
    """A dry face seal: a cry that comes and goes, swelling once a turn of the pump."""
    ratio, pitch = car.ratio("coolant-pump"), log_uniform(rng, 900, 4500)
    share, length, depth = rng.uniform(0.3, 1.0), rng.uniform(0.3, 2.0), rng.uniform(0.3, 1.0)

    def make(rng: np.random.Generator, motion: Motion) -> Array:
        swell = 1 - depth / 2 + depth / 2 * hum(rng, motion.turns * ratio, {1: 1.0, 2: 0.3})
        swell = np.maximum(swell, 0.0) * bouts(rng, motion, share, length)
        return squeal(rng, motion, pitch, 0.012, swell)

    return [Voice("coolant-pump", 0.0, make, 0.2)]


def _clutch(rng: np.random.Generator, car: Car) -> list[Voice]:
    """Plates that slip and cry, a hub that knocks, both engaged; or a plate rubbing when off."""
    ratio, kind = car.ratio("ac-compressor"), str(rng.choice(["slip", "hub", "rub"]))
    pitch, seed = log_uniform(rng, 500, 2200), int(rng.integers(1 << 30))
    if kind == "hub":
        knock = rattling(
            rng, car, "ac-compressor", (500, 1800), 0.005, often=0.8, load="ac", per_turn=ratio
        )
        return [knock]

    def slip(rng: np.random.Generator, motion: Motion) -> Array:
        if "ac" not in motion.loads:
            return motion.silence()
        return squeal(rng, motion, pitch, 0.03, bouts(rng, motion, 0.6, 0.8))

    def rub(rng: np.random.Generator, motion: Motion) -> Array:
        if "ac" in motion.loads:
            return motion.silence()
        own = np.random.default_rng(seed)
        grains = puff(own, motion.rate_hz, band(pitch, 5 * pitch), 0.006, 0.012)
        times, levels = shaky(rng, motion.every(ratio), 0.0015, 0.4)
        return strew(rng, motion, times, levels, grains)

    return [Voice("ac-compressor", 0.0, slip if kind == "slip" else rub, 0.4)]


def _steering(rng: np.random.Generator, car: Car) -> list[Voice]:
    """Vanes that moan under pressure, with a hiss of foam."""
    ratio, vanes = car.ratio("steering-pump"), car.wheel("steering-pump").vanes or 10
    rest, foam = 10.0 ** (-rng.uniform(6, 25) / 20), log_uniform(rng, 700, 4000)
    moan = tonal(rng, "steering-pump", ratio * vanes, 0.0)

    def with_load(motion: Motion) -> float:
        return 1.0 if "steering" in motion.loads else rest

    def make(rng: np.random.Generator, motion: Motion) -> Array:
        beat = 1.0 + 0.4 * hum(rng, motion.turns * ratio, {1: 1.0, 2: 0.5})
        return moan.make(rng, motion) * beat * with_load(motion)

    def hiss(rng: np.random.Generator, motion: Motion) -> Array:
        noise = cloud(rng, motion.samples, motion.rate_hz, band(foam, 3 * foam, 9.0))
        return noise * with_load(motion)

    level = rng.uniform(-20, -4)
    return [Voice("steering-pump", 0, make, 0.8), Voice("steering-pump", level, hiss, 0.8)]


def _fan_clutch(rng: np.random.Generator, car: Car) -> list[Voice]:
    """Locked up: the roar of all that air, with the blades in it."""
    ratio, blades = car.ratio("fan"), car.wheel("fan").blades or 7
    low = log_uniform(rng, 120, 400)

    def roar(rng: np.random.Generator, motion: Motion) -> Array:
        beat = 1.0 + 0.3 * hum(rng, motion.turns * ratio * blades, {1: 1.0, 2: 0.5})
        return cloud(rng, motion.samples, motion.rate_hz, band(low, 6 * low, 7.0)) * beat

    return [Voice("fan", 0, roar, 2.5), tonal(rng, "fan", ratio * blades, rng.uniform(-12, 0), 2.5)]


def _slip(rng: np.random.Generator, car: Car) -> list[Voice]:
    """A belt that cries when a pulley asks too much of it: cold, or with one load or any."""
    pitch, bend = log_uniform(rng, 450, 2600), rng.uniform(0.01, 0.06)
    wet, always = rng.uniform(0.0, 0.8), bool(rng.random() < 0.35)

    def make(rng: np.random.Generator, motion: Motion) -> Array:
        if not (motion.loads or motion.cold or always):
            return motion.silence()
        gate = bouts(rng, motion, rng.uniform(0.35, 0.95), rng.uniform(0.4, 2.5))
        if motion.cold and not motion.loads:
            seconds = np.arange(motion.samples) / motion.rate_hz
            gate = np.maximum(gate, np.exp(-seconds)) * np.exp(-seconds / rng.uniform(2, 12))
        patch = 1.0 + wet * hum(rng, motion.turns * car.belt_order, {1: 0.7, 2: 0.3})
        return squeal(rng, motion, pitch, bend, gate * np.maximum(patch, 0.0))

    return [Voice("belt", 0.0, make, 0.3)]


def _misalignment(rng: np.random.Generator, car: Car) -> list[Voice]:
    """A chirp once a belt passing or once a turn of the pulley that stands wrong."""
    wrong = str(rng.choice([part for part in car.parts if part != "crank"]))
    order = car.belt_order if rng.random() < 0.45 else car.ratio(wrong)
    pitch, glide = log_uniform(rng, 1300, 5000), rng.uniform(-0.25, 0.25)
    length, missing, seed = (
        rng.uniform(0.015, 0.07),
        rng.uniform(0.0, 0.25),
        int(rng.integers(1 << 30)),
    )

    def make(rng: np.random.Generator, motion: Motion) -> Array:
        own = np.random.default_rng(seed)
        time = np.arange(int(length * motion.rate_hz)) / motion.rate_hz
        bell = np.sin(np.pi * time / length) ** own.uniform(0.5, 2.0)
        stretch = own.normal(1.0, 0.03, 5)[:, None]
        phase = 2 * np.pi * pitch * stretch * (time + glide * time**2 / 2 / length)
        grains = bell * (np.sin(phase) + 0.4 * np.sin(2 * phase) + 0.2 * np.sin(3 * phase))
        times, levels = shaky(rng, motion.every(order), 0.003, 0.3)
        swell = np.maximum(1.0 + 0.4 * motion.then(drift(rng, motion, 0.6), times), 0.2)
        levels *= (rng.random(times.size) > missing) * swell
        return strew(rng, motion, times, levels, grains.astype(np.float32))

    return [Voice("belt", 0.0, make, 0.3)]


def _damage(rng: np.random.Generator, car: Car) -> list[Voice]:
    """Torn or missing ribs: thumps and slaps as the spot meets one pulley after the other."""
    spots = rng.random(int(rng.choice([1, 1, 2, 3])))
    meets = [(0.0, 1.0), *((rng.random(), rng.uniform(0.0, 0.7)) for _ in car.wheels[1:])]
    low, seed = log_uniform(rng, 90, 900), int(rng.integers(1 << 30))
    slap, decay = bool(rng.random() < 0.5), rng.uniform(0.004, 0.02)

    def make(rng: np.random.Generator, motion: Motion) -> Array:
        own, out = np.random.default_rng(seed), motion.silence()
        if slap:
            grains = puff(own, motion.rate_hz, band(low, 8 * low, 9.0), 0.001, decay)
        else:
            grains = ring(own, motion.rate_hz, (low, 3 * low), decay, 4, 0.4)
        for spot in spots:
            for place, level in meets:
                passing = motion.every(car.belt_order, (spot + place) % 1.0 / car.belt_order)
                times, scatter = shaky(rng, passing, 0.0015, 0.3)
                out += strew(rng, motion, times, level * scatter, grains)
        return out

    return [Voice("belt", 0.0, make, 0.7)]


BELT_END_FAULTS: dict[str, Callable[[np.random.Generator, Car], list[Voice]]] = {
    "alternator.electrical": _electrical,
    "alternator.decoupler": _decoupler,
    "tensioner.rattle": lambda rng, car: [
        rattling(rng, car, "tensioner", (250, 1500), 0.006, often=rng.uniform(0.3, 0.9), swarm=2.0)
    ],
    "coolant-pump.impeller": _impeller,
    "coolant-pump.seal": _seal,
    "ac-compressor.clutch": _clutch,
    "ac-compressor.rattle": lambda rng, car: [
        rattling(
            rng, car, "ac-compressor", (500, 2500), 0.004, often=0.75, load="ac", swarm=1.6,
            per_turn=car.ratio("ac-compressor") * float(rng.integers(5, 8)),
        )
    ],
    "steering-pump.whine": _steering,
    "fan.clutch": _fan_clutch,
    "belt.slip": _slip,
    "belt.misalignment": _misalignment,
    "belt.damage": _damage,
}  # fmt: skip
