"""Each fault but bearings by its one textbook formula.

Tones stand at vane, pole, tooth and blade counts; squeals are gliding tones with harmonics; ticks,
knocks and puffs are decaying pulses at half, whole or firing orders; hisses are filtered noise;
rattles are pulses that come or stay away; chirps and thumps come once per passing of the belt.
Frequencies, widths and shares are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from apprentice_bearings import bearing_sources
from apprentice_car import Car
from apprentice_healthy import Pulsing, Tones
from apprentice_signals import (
    CONTROL_HZ,
    GRID_HZ,
    Float,
    Modes,
    Sound,
    Source,
    Turning,
    band,
    bumps,
    draw_modes,
    harmonics,
    locked,
    looked_up,
    noise,
    per_turn,
    ringing,
)

ONE = np.array([1.0])


class Pulses:
    """Decaying pulses locked to a shaft.

    `order` a crank turn, each coming with probability `share`, `scatter` in its height, `jitter` of
    a period off, followed by up to `bounces` weaker ones.
    """

    def __init__(
        self,
        order: float,
        modes: Modes,
        share: float = 1.0,
        scatter: float = 0.2,
        jitter: float = 0.01,
        bounces: int = 0,
    ) -> None:
        self.order, self.modes, self.share = order, modes, share
        self.scatter, self.jitter, self.bounces = scatter, jitter, bounces

    def __call__(self, rng: np.random.Generator, turning: Turning) -> Sound:
        turns = locked(rng, turning, self.order, self.jitter)
        turns = turns[rng.random(turns.size) < self.share]
        heights = np.exp(self.scatter * rng.normal(size=turns.size))
        again = [(turns, heights)]
        for _ in range(self.bounces):
            turns = turns + rng.uniform(0.004, 0.04, turns.size)
            heights = heights * rng.uniform(0.2, 0.8, turns.size)
            again.append((turns, heights))
        late, tall = (np.concatenate(both) for both in zip(*again, strict=True))
        return ringing(turning, late, tall, self.modes)


class FreePulses(Pulses):
    """Pulses at a rate of their own [Hz], whatever the crank does."""

    def __call__(self, rng: np.random.Generator, turning: Turning) -> Sound:
        order = 60.0 * self.order / float(turning.rpm.mean())
        return Pulses(order, self.modes, self.share, self.scatter, self.jitter)(rng, turning)


class Puffs:
    """Noise and a decaying pulse each time a cylinder blows out past the joint."""

    def __init__(self, rng: np.random.Generator, count: int) -> None:
        self.centres = (np.arange(count) + 0.5) / count
        self.density = band(400.0, rng.uniform(1500.0, 5000.0), -2.0)
        self.gate = bumps(self.centres, rng.uniform(0.6, 1.0, count), rng.uniform(0.02, 0.08))
        self.modes = draw_modes(rng, 200.0, 1800.0, (0.001, 0.005))
        self.pulse_share = float(rng.uniform(0.1, 0.7))

    def __call__(self, rng: np.random.Generator, turning: Turning) -> Sound:
        start = rng.random()
        gate = looked_up(self.gate, 0.5 * turning.phase + start)
        gate /= np.sqrt(np.mean(self.gate**2)) * np.sqrt(np.trapezoid(self.density, GRID_HZ))
        cycles = np.arange(0.5 * turning.turns[-1] + 2.0)
        turns = 2.0 * (cycles[:, None] + self.centres - start).ravel()
        pulses = ringing(turning, turns, 1.0 + 0.2 * rng.normal(size=turns.size), self.modes)
        share = self.pulse_share / np.sqrt(pulses.power(turning))
        return Sound(
            time=noise(rng, turning, self.density) * gate,
            spectrum=np.asarray(share * np.asarray(pulses.spectrum), np.complex64),
        )


class Squeal:
    """A tone with harmonics that glides, in bouts, swelling once per turn of its shaft.

    `follows` is the power of the crank's speed its pitch goes with; `bouts_s` how long a bout lasts
    on average, None for one that never stops.
    """

    def __init__(
        self,
        rng: np.random.Generator,
        pitch_hz: float,
        follows: float,
        ratio: float,
        bouts_s: float | None,
        idle_rpm: float,
    ) -> None:
        self.pitch_hz, self.follows, self.ratio = pitch_hz, follows, ratio
        self.bouts_s, self.idle_rpm = bouts_s, idle_rpm
        slope = rng.uniform(0.8, 2.0)
        self.table = harmonics(rng, np.arange(1, int(rng.integers(3, 9))) ** -slope)
        self.swell = bumps(ONE * 0.5, ONE * rng.uniform(0.0, 2.0), 0.5, 1.0)
        self.glide = float(rng.uniform(0.003, 0.05))

    def __call__(self, rng: np.random.Generator, turning: Turning) -> Sound:
        walk = _slow(rng, turning, 0.4) + 0.15 * _slow(rng, turning, 0.02)
        pitch = self.pitch_hz * (turning.rpm / self.idle_rpm) ** self.follows
        wave = looked_up(self.table, turning.sweep(pitch * (1.0 + self.glide * walk)))
        wave = wave * looked_up(self.swell, self.ratio * turning.phase + rng.random())
        if self.bouts_s is not None:
            mood = _slow(rng, turning, 0.5 * self.bouts_s)
            # At least a fifth of every take, or its level would hang on an instant.
            loud = np.clip(4.0 * (mood - np.quantile(mood, rng.uniform(0.1, 0.8))), 0.0, 1.0)
            wave *= turning.spread(loud).astype(np.float32)
        return Sound(time=wave.astype(np.float32))


class Chirps:
    """Short gliding tones, once per turn of the belt or of a pulley, some left out."""

    def __init__(self, rng: np.random.Generator, order: float, share: float) -> None:
        self.order, self.share = order, share
        self.pitch_hz = float(rng.uniform(1300.0, 4500.0))
        self.glide = float(rng.uniform(-0.12, 0.12))
        self.table = harmonics(rng, np.arange(1, int(rng.integers(2, 6))) ** -1.3)
        width = float(rng.uniform(0.03, 0.14))
        self.gate = bumps(ONE * 0.5, ONE, width)

    def __call__(self, rng: np.random.Generator, turning: Turning) -> Sound:
        start = rng.random()
        passing = self.order * turning.phase + start
        count = int(passing[-1]) + 2
        heights = (rng.random(count) < self.share) * rng.uniform(0.4, 1.0, count)
        within = (self.order * turning.turns + start) % 1.0
        track = self.pitch_hz * (
            1.0 + self.glide * (within - 0.5) + 0.01 * _slow(rng, turning, 0.3)
        )
        wave = looked_up(self.table, turning.sweep(track))
        gate = looked_up(self.gate, passing) * per_turn(heights.astype(np.float32), passing)
        return Sound(time=wave * gate)


class Hiss:
    """Filtered noise, a narrow whistle in it or not, a little unsteady."""

    def __init__(self, density: Float, unsteady: float = 0.1) -> None:
        self.density, self.unsteady = density, unsteady

    def __call__(self, rng: np.random.Generator, turning: Turning) -> Sound:
        strength = np.clip(1.0 + self.unsteady * _slow(rng, turning, 0.1), 0.0, None)
        hiss = noise(rng, turning, self.density)
        return Sound(time=hiss * turning.spread(strength).astype(np.float32))


def _slow(rng: np.random.Generator, turning: Turning, seconds: float) -> Float:
    """Slow noise of unit spread at the track's times, smooth over so many seconds."""
    width = max(1, int(seconds * CONTROL_HZ))
    marks = rng.normal(size=turning.time_s.size // width + 3)
    return np.interp(np.arange(turning.time_s.size) / width, np.arange(marks.size), marks)


def _electrical(rng: np.random.Generator, car: Car) -> list[Source]:
    """A dead diode: ripple at the poles' period and its multiples, more under load."""
    wheel = car.wheel("alternator")
    pairs = (wheel.poles or 12) // 2
    counts = (pairs, 2 * pairs, int(rng.choice([3, 6])) * pairs)
    less_db = -float(rng.uniform(0.0, 12.0))
    whine = Tones(rng, wheel.ratio, counts, int(rng.integers(2, 5)))
    return [Source("alternator", whine, 0.0, 0.7, ("lights",), less_db)]


def _decoupler(rng: np.random.Generator, car: Car) -> list[Source]:
    """A spring clutch that strikes its stop with the firings."""
    order = 0.5 * car.cylinders * (1.0 if rng.random() < 0.8 else 0.5)
    modes = draw_modes(rng, 500.0, 3500.0, (0.001, 0.006))
    share = rng.uniform(0.4, 0.95)
    clatter = Pulses(order, modes, share, 0.5, 0.06, int(rng.integers(0, 3)))
    return [Source("alternator", clatter, 0.0, rng.uniform(-0.8, 0.3))]


def _tensioner(rng: np.random.Generator, car: Car) -> list[Source]:
    """An arm between its stops: pulses at the firings that come or stay away."""
    order = 0.5 * car.cylinders * float(rng.choice([1.0, 0.5, 2.0], p=[0.7, 0.15, 0.15]))
    modes = draw_modes(rng, 300.0, 2500.0, (0.001, 0.008))
    rattle = Pulses(order, modes, rng.uniform(0.2, 0.8), 0.7, 0.12, int(rng.integers(0, 4)))
    return [Source("tensioner", rattle, 0.0, rng.uniform(-0.8, 0.6))]


def _impeller(rng: np.random.Generator, car: Car) -> list[Source]:
    """Vane tones, with a scrape once a turn or the crackle of cavitation."""
    wheel = car.wheel("coolant-pump")
    vanes = wheel.vanes or 6
    sources = [
        Source("coolant-pump", Tones(rng, wheel.ratio, (vanes,), 6), rng.uniform(-8, 0), 1.0)
    ]
    if rng.random() < 0.5:
        scrape = bumps(ONE * 0.5, ONE, rng.uniform(0.15, 0.5), 0.1)
        rub = Pulsing(band(800.0, rng.uniform(2500.0, 6000.0)), wheel.ratio, scrape)
        sources.append(Source("coolant-pump", rub, rng.uniform(-4.0, 4.0), 0.8))
    else:
        modes = draw_modes(rng, 800.0, 6000.0, (0.0005, 0.002))
        crackle = Pulses(wheel.ratio * vanes * 3.0, modes, 0.3, 0.9, 0.4)
        sources.append(Source("coolant-pump", crackle, rng.uniform(-4.0, 4.0), 1.8))
    return sources


def _seal(rng: np.random.Generator, car: Car) -> list[Source]:
    """A dry face seal: a squeal whose pitch hardly follows the speed."""
    bouts = None if rng.random() < 0.4 else rng.uniform(0.4, 2.5)
    ratio = car.wheel("coolant-pump").ratio
    pitch_hz, follows = rng.uniform(700.0, 4000.0), rng.uniform(0.0, 0.3)
    squeal = Squeal(rng, pitch_hz, follows, ratio, bouts, car.idle_rpm)
    return [Source("coolant-pump", squeal, 0.0, 0.3)]


def _clutch(rng: np.random.Generator, car: Car) -> list[Source]:
    """A clutch that slips when switched on, or a loose plate once a turn."""
    ratio = car.wheel("ac-compressor").ratio
    if rng.random() < 0.5:
        pitch_hz = rng.uniform(500.0, 2500.0)
        squeal = Squeal(rng, pitch_hz, 0.3, ratio, rng.uniform(0.5, 2.0), car.idle_rpm)
        return [Source("ac-compressor", squeal, 0.0, 0.3, ("ac",), -60.0)]
    modes = draw_modes(rng, 800.0, 4000.0, (0.001, 0.005))
    plate = Pulses(ratio, modes, rng.uniform(0.6, 1.0), 0.4, 0.04, 1)
    return [Source("ac-compressor", plate, 0.0, 0.5, ("ac",), -float(rng.uniform(0.0, 20.0)))]


def _compressor(rng: np.random.Generator, car: Car) -> list[Source]:
    """Pistons with play: pulses at their count, under load."""
    wheel = car.wheel("ac-compressor")
    modes = draw_modes(rng, 400.0, 3000.0, (0.001, 0.005))
    order = wheel.ratio * (wheel.vanes or 6)
    knock = Pulses(order, modes, rng.uniform(0.4, 0.9), 0.5, 0.06)
    tones = Tones(rng, wheel.ratio, (1, wheel.vanes or 6), 5)
    less_db = -float(rng.uniform(15.0, 60.0))
    return [
        Source("ac-compressor", knock, 0.0, 0.7, ("ac",), less_db),
        Source("ac-compressor", tones, rng.uniform(-12.0, 0.0), 0.7, ("ac",), less_db),
    ]


def _steering(rng: np.random.Generator, car: Car) -> list[Source]:
    """Vane tones that rise with the pressure, and a groan of air in the oil."""
    wheel = car.wheel("steering-pump")
    less_db = -float(rng.uniform(3.0, 20.0))
    tones = Tones(rng, wheel.ratio, (wheel.vanes or 10,), 8)
    groan = band(250.0, rng.uniform(900.0, 3000.0), -3.0)
    swell = bumps(ONE * 0.5, ONE, 0.5, 0.5)
    loads = ("steering",)
    return [
        Source("steering-pump", tones, 0.0, 1.0, loads, less_db),
        Source(
            "steering-pump",
            Pulsing(groan, wheel.ratio, swell),
            rng.uniform(-18.0, -3.0),
            0.8,
            loads,
            less_db,
        ),
    ]


def _fan_clutch(rng: np.random.Generator, car: Car) -> list[Source]:
    """A fan that never lets go: roar and blade tones."""
    wheel = car.wheel("fan")
    roar = band(rng.uniform(80.0, 250.0), rng.uniform(700.0, 2500.0), rng.uniform(-4.0, -1.0))
    swell = bumps(ONE * 0.5, ONE * rng.uniform(0.0, 0.8), 0.5, 1.0)
    blades = Tones(rng, wheel.ratio, (wheel.blades or 7,), 5)
    return [
        Source("fan", Pulsing(roar, wheel.ratio, swell), 0.0, rng.uniform(1.5, 2.5)),
        Source("fan", blades, rng.uniform(-15.0, -2.0), rng.uniform(1.5, 2.5)),
    ]


def _damper(rng: np.random.Generator, car: Car) -> list[Source]:
    """A ring that has come loose: dull blows once a turn or with the firings."""
    order = 1.0 if rng.random() < 0.6 else 0.5 * car.cylinders
    modes = draw_modes(rng, 150.0, 1200.0, (0.003, 0.012))
    blows = Pulses(order, modes, rng.uniform(0.7, 1.0), 0.4, 0.03, int(rng.integers(0, 3)))
    return [Source("crank", blows, 0.0, rng.uniform(-0.3, 0.6))]


def _chain_rattle(rng: np.random.Generator, car: Car) -> list[Source]:
    """A slack chain: many small random blows, thickest where the camshafts pull."""
    modes = draw_modes(rng, 1200.0, 6000.0, (0.0006, 0.003))
    order = 0.5 * car.cylinders * int(rng.integers(2, 6))
    blows = Pulses(order, modes, rng.uniform(0.3, 0.8), 0.8, 0.3, 1)
    lobes = (np.arange(car.cylinders) + rng.random()) / car.cylinders
    cloud = bumps(lobes, rng.uniform(0.3, 1.0, lobes.size), 0.5 / car.cylinders, 0.1)
    hiss = Pulsing(band(1000.0, rng.uniform(3000.0, 7000.0)), 0.5, cloud)
    speed_power = float(rng.uniform(-0.5, 1.0))
    return [
        Source("timing-chain", blows, 0.0, speed_power),
        Source("timing-chain", hiss, rng.uniform(-15.0, -3.0), speed_power),
    ]


def _chain_whine(rng: np.random.Generator, car: Car) -> list[Source]:
    """Mesh of the crank's sprocket, its multiples, and sidebands a turn away."""
    mesh = Tones(rng, 1.0, (car.sprocket_teeth,), int(rng.integers(2, 6)))
    return [Source("timing-chain", mesh, 0.0, rng.uniform(0.5, 1.2))]


def _valve(rng: np.random.Generator, car: Car) -> list[Source]:
    """One valve with too much play: a tick each cycle; sometimes two or three valves."""
    modes = draw_modes(rng, 1500.0, 7000.0, (0.0006, 0.003))
    count = int(rng.choice([1, 2, 3], p=[0.7, 0.2, 0.1]))
    tick = Pulses(0.5, modes, rng.uniform(0.85, 1.0), 0.2, 0.004)
    speed_power = float(rng.uniform(-0.2, 0.6))
    return [Source("valve-train", tick, -float(3.0 * k), speed_power) for k in range(count)]


def _vacuum(rng: np.random.Generator, car: Car) -> list[Source]:
    """Air through a gap: filtered noise, strongest at idle, with or without a whistle."""
    low_hz = rng.uniform(900.0, 4000.0)
    hiss = Hiss(band(low_hz, low_hz * rng.uniform(1.5, 4.0)), rng.uniform(0.0, 0.15))
    speed_power = float(rng.uniform(-0.8, 0.1))
    sources = [Source("air", hiss, 0.0, speed_power)]
    if rng.random() < 0.3:
        pitch_hz = rng.uniform(900.0, 4000.0)
        whistle = Squeal(rng, pitch_hz, 0.1, 0.5, None, car.idle_rpm)
        sources.append(Source("air", whistle, rng.uniform(-8.0, 4.0), speed_power))
    return sources


def _exhaust(rng: np.random.Generator, car: Car) -> list[Source]:
    """Puffs of one cylinder, or of all at a common pipe: noise and a pulse at each."""
    count = 1 if rng.random() < 0.7 else car.cylinders
    return [Source("air", Puffs(rng, count), 0.0, rng.uniform(0.2, 1.0))]


def _knock(rng: np.random.Generator, car: Car) -> list[Source]:
    """A bearing of a rod or the crank with play: dull decaying blows each turn or each cycle."""
    modes = draw_modes(rng, 180.0, 1500.0, (0.003, 0.012))
    order = 1.0 if rng.random() < 0.5 else 0.5
    blows = Pulses(order, modes, rng.uniform(0.9, 1.0), 0.25, 0.006, int(rng.integers(0, 2)))
    return [Source("engine", blows, 0.0, rng.uniform(0.3, 1.2))]


def _slip(rng: np.random.Generator, car: Car) -> list[Source]:
    """Stick and slip: a loud gliding tone in bouts, mostly when something loads the belt."""
    pulley = car.wheels[int(rng.integers(len(car.wheels)))]
    pitch_hz, follows = rng.uniform(500.0, 2800.0), rng.uniform(0.0, 0.6)
    squeal = Squeal(rng, pitch_hz, follows, pulley.ratio, rng.uniform(0.5, 2.5), car.idle_rpm)
    squeal.glide = float(rng.uniform(0.01, 0.1))
    less_db = -60.0 if rng.random() < 0.4 else -float(rng.uniform(0.0, 15.0))
    return [Source("belt", squeal, 0.0, 0.4, car.loads, less_db)]


def _misaligned(rng: np.random.Generator, car: Car) -> list[Source]:
    """Ribs that climb into their grooves: a chirp once a belt or pulley turn."""
    if rng.random() < 0.75:
        chirps = Chirps(rng, car.belt_order, rng.uniform(0.7, 1.0))
    else:
        pulley = car.wheels[int(rng.integers(1, len(car.wheels)))]
        chirps = Chirps(rng, pulley.ratio, rng.uniform(0.5, 1.0))
    return [Source("belt", chirps, 0.0, rng.uniform(-0.5, 0.5))]


def _damaged(rng: np.random.Generator, car: Car) -> list[Source]:
    """A torn or swollen place: a thump each time it comes to a pulley."""
    modes = draw_modes(rng, 120.0, 1500.0, (0.002, 0.01))
    pulleys = int(rng.integers(1, len(car.wheels) + 1))
    heights = [0.0, *(-float(rng.uniform(1.0, 14.0)) for _ in range(pulleys - 1))]
    thump = Pulses(car.belt_order, modes, rng.uniform(0.9, 1.0), 0.25, 0.004)
    return [Source("belt", thump, height, rng.uniform(0.2, 1.0)) for height in heights]


def _other(rng: np.random.Generator, car: Car) -> list[Source]:
    """Something that is on no list."""
    kind = rng.choice(["shield", "bracket", "coin", "electric"])
    if kind == "shield":
        modes = draw_modes(rng, 1500.0, 6000.0, (0.001, 0.006))
        order = 0.5 * car.cylinders * int(rng.integers(1, 4))
        buzz = Pulses(order, modes, rng.uniform(0.4, 0.9), 0.6, 0.15, 2)
        return [Source("air", buzz, 0.0, rng.uniform(-1.0, 1.0))]
    if kind == "bracket":
        modes = draw_modes(rng, 150.0, 700.0, (0.02, 0.08))
        return [Source("engine", Pulses(0.5 * car.cylinders, modes, 1.0, 0.3, 0.02), 0.0, 0.5)]
    if kind == "coin":
        modes = draw_modes(rng, 2000.0, 9000.0, (0.002, 0.01))
        coin = FreePulses(rng.uniform(15.0, 45.0), modes, rng.uniform(0.3, 0.9), 0.8, 0.25)
        return [Source("air", coin, 0.0, 0.0)]
    hum = Squeal(rng, rng.uniform(150.0, 900.0), 0.0, 0.5, None, car.idle_rpm)
    hum.glide = 0.002
    return [Source("air", hum, 0.0, 0.0)]


FAULTS: dict[str, Callable[[np.random.Generator, Car], list[Source]]] = {
    "alternator.electrical": _electrical,
    "alternator.decoupler": _decoupler,
    "tensioner.rattle": _tensioner,
    "coolant-pump.impeller": _impeller,
    "coolant-pump.seal": _seal,
    "ac-compressor.clutch": _clutch,
    "ac-compressor.rattle": _compressor,
    "steering-pump.whine": _steering,
    "fan.clutch": _fan_clutch,
    "crank.damper": _damper,
    "timing-chain.rattle": _chain_rattle,
    "timing-chain.whine": _chain_whine,
    "valve-train.tick": _valve,
    "vacuum-leak.hiss": _vacuum,
    "exhaust-leak.tick": _exhaust,
    "engine.knock": _knock,
    "belt.slip": _slip,
    "belt.misalignment": _misaligned,
    "belt.damage": _damaged,
    "other": _other,
}
BEARINGS = (
    "alternator.bearing",
    "coolant-pump.bearing",
    "ac-compressor.bearing",
    "steering-pump.bearing",
    "tensioner.bearing",
    "fan.bearing",
    "idler.bearing",
)
SUSPECTS = ("none", *FAULTS, *BEARINGS)


def fault_sources(rng: np.random.Generator, car: Car, suspect: str) -> list[Source]:
    """What the suspect adds to a healthy engine; nothing for "none"."""
    if suspect == "none":
        return []
    if suspect.endswith(".bearing"):
        return bearing_sources(rng, car, suspect.removesuffix(".bearing"))
    return FAULTS[suspect](rng, car)
