"""Faults of belt, accessories and engine as textbooks draw them; bearings: textbook_bearings.py.

What comes back and how often is common practice, no source.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from textbook_bearings import bearing_sounds
from textbook_car import Car
from textbook_signals import (
    Array,
    Run,
    Sound,
    Wave,
    falling,
    harmonics,
    modulation,
    pulse,
    tone,
    uneven,
)

Maker = Callable[[np.random.Generator, Car], list[Sound]]
# Which take shows a fault that comes with a load only.
LOAD_OF = {
    "alternator": "lights",
    "ac-compressor": "ac",
    "steering-pump": "steering",
}


def _loaded(rng: np.random.Generator, load: str, always: float) -> Callable[[Run], np.float32]:
    """Strength by load: `always` is the chance that it is heard without it too."""
    without = 10.0 ** (rng.uniform(-12.0, 0.0) / 20.0) if rng.random() < always else 0.0
    return lambda run: np.float32(1.0 if load in run.loads else without)


def _bursts(run: Run, share: float, low_hz: float = 0.3, high_hz: float = 3.0) -> Wave:
    """1 about `share` of the time and 0 else, as chance has it."""
    course = run.slow(low_hz, high_hz)
    return (course >= np.quantile(course[::64], 1.0 - share)).astype(np.float32)


def _sing(run: Run, hz: float, stray: float, table: Wave) -> Wave:
    """A tone that is not tied to any shaft and strays by a share of its frequency."""
    course = hz * (1.0 + stray * run.slow(0.2, 6.0).astype(float))
    return tone(np.cumsum(course) / run.rate_hz, table)


def _belt_slip(rng: np.random.Generator, car: Car) -> list[Sound]:
    """Squeal: a stick-slip tone, cut up by the firing; with a load, or in spells while cold."""
    hz, stray = rng.uniform(500.0, 2600.0), rng.uniform(0.003, 0.04)
    table = harmonics(rng, falling(rng, 7, rng.uniform(2.0, 7.0)))
    share, cut = rng.uniform(0.15, 0.9), modulation(rng, rng.uniform(0.0, 1.0))
    load = _loaded(rng, str(rng.choice([LOAD_OF[p] for p in car.parts if p in LOAD_OF])), 0.65)

    def make(run: Run) -> Wave:
        spells = _bursts(run, share) * run.locked(0.5 * car.cylinders, cut)
        return load(run) * spells * _sing(run, hz * run.speed**0.15, stray, table)

    return [Sound("belt", make, 0.0, 300.0, 12000.0, 0.2, True, 0.3)]


def _belt_misalignment(rng: np.random.Generator, car: Car) -> list[Sound]:
    """A chirp once a turn of the belt or of a pulley, in some damp spells gone."""
    part = str(rng.choice(car.parts[1:]))
    order = car.belt_turns if rng.random() < 0.6 else car.wheel(part).ratio
    hz, rise = rng.uniform(1500.0, 6000.0), rng.uniform(-0.1, 0.1)
    table, width = harmonics(rng, falling(rng, 4, 6.0)), rng.uniform(0.05, 0.35)
    share, count = rng.uniform(0.5, 1.0), int(rng.choice([1, 1, 2]))
    chirp = pulse(width, uneven(rng, count, 0.4))

    def make(run: Run) -> Wave:
        shape = run.wave(order, chirp)
        note = hz * (1.0 + rise * shape.astype(float) + 0.01 * run.slow(0.5, 8.0))
        return tone(np.cumsum(note) / run.rate_hz, table) * shape * _bursts(run, share)

    return [Sound("belt", make, 0.0, 800.0, 12000.0, 0.3, True, -0.5)]


def _belt_damage(rng: np.random.Generator, car: Car) -> list[Sound]:
    """The bad spot strikes each pulley on its way round: some loud, most hardly."""
    places = np.sort(rng.random(len(car.wheels)))
    loud = uneven(rng, len(places), 0.9)
    flap = rng.uniform(0.0, 0.5)
    slap = pulse(0.04)

    def make(run: Run) -> Wave:
        total = np.float32(flap) * run.noise() * run.wave(car.belt_turns, slap)
        start = run.rng.random()
        for place, height in zip(places, loud, strict=True):
            at, _ = run.events(car.belt_turns, 0.002, start + place)
            total += run.blows(at, 20.0 * height * uneven(run.rng, len(at), 0.25))
        return total

    return [Sound("belt", make, 0.0, rng.uniform(60.0, 300.0), 5000.0, 0.8, True, 1.0)]


def _tensioner_rattle(rng: np.random.Generator, car: Car) -> list[Sound]:
    """The arm strikes its stop as the crank jerks, now and then; less when revved."""
    order = 0.5 * car.cylinders * float(rng.choice([1.0, 1.0, 0.5]))
    share, jitter = rng.uniform(0.3, 1.0), rng.uniform(0.01, 0.1)

    def make(run: Run) -> Wave:
        at, _ = run.events(order, jitter)
        heights = uneven(run.rng, len(at), 0.7) * (run.rng.random(len(at)) < share)
        again = at + run.rate_hz * run.rng.uniform(0.004, 0.02, len(at))
        return run.blows(at, heights) + run.blows(again, 0.5 * heights)

    return [Sound("tensioner", make, 0.0, 250.0, 8000.0, 0.95, True, -0.7)]


def _alternator_electrical(rng: np.random.Generator, car: Car) -> list[Sound]:
    """A bad diode or winding: orders of the pole pairs stand up, with the load."""
    wheel = car.wheel("alternator")
    pairs = (wheel.poles or 12) // 2
    heights = np.zeros(pairs * 20)
    heights[pairs - 1 :: pairs] = falling(rng, 20, 1.0, 6.0)
    heights[pairs * int(rng.choice([1, 2, 3, 6])) - 1] *= 4.0
    heights[1:-1] += rng.uniform(0.0, 0.3) * (heights[:-2] + heights[2:])
    table, load = harmonics(rng, heights), _loaded(rng, "lights", 0.7)

    def make(run: Run) -> Wave:
        return load(run) * run.wave(wheel.ratio, table)

    return [Sound("alternator", make, 0.0, 250.0, 9000.0, 0.5, True, 0.8)]


def _alternator_decoupler(rng: np.random.Generator, car: Car) -> list[Sound]:
    """The one-way clutch clatters between its ends with the firing, worst at idle."""
    spread, jitter, double = rng.uniform(0.3, 0.9), rng.uniform(0.01, 0.06), rng.random()
    growl, swell = rng.uniform(0.0, 0.3), pulse(0.2)

    def make(run: Run) -> Wave:
        at, _ = run.events(0.5 * car.cylinders, jitter)
        spells = _bursts(run, 0.6)[np.clip(at, 0, run.size - 1).astype(int)]
        heights = uneven(run.rng, len(at), spread) * (0.4 + spells)
        blows = run.blows(at, heights)
        blows += run.blows(at + double * 0.4 * run.rate_hz / 30.0, 0.7 * heights)
        rough = run.noise() * run.locked(0.5 * car.cylinders, swell)
        return blows + np.float32(0.05 * growl) * rough

    return [Sound("alternator", make, 0.0, 500.0, 9000.0, 0.95, True, -0.8)]


def _pump_impeller(rng: np.random.Generator, car: Car) -> list[Sound]:
    """Cavitation (a crackle that grows steeply with speed) or an impeller that scrapes."""
    wheel = car.wheel("coolant-pump")
    vanes = wheel.vanes or 6
    swell = modulation(rng, rng.uniform(0.3, 0.9))
    scrape = pulse(rng.uniform(0.1, 0.5), uneven(rng, int(rng.choice([1, vanes])), 0.7))
    rate, rubs, steep = rng.uniform(80.0, 600.0), rng.random() < 0.5, rng.uniform(1.5, 3.0)

    def make(run: Run) -> Wave:
        if rubs:
            return run.noise() * run.wave(wheel.ratio, scrape)
        count = run.rng.poisson(rate * run.size / run.rate_hz)
        at = run.rng.uniform(0.0, run.size, count)
        crackle = run.blows(at, uneven(run.rng, count, 0.8) * 10.0)
        return (crackle + 0.2 * run.noise()) * run.wave(wheel.ratio * vanes, swell)

    low, high = (300.0, 6000.0) if rubs else (rng.uniform(200.0, 1000.0), 8000.0)
    return [Sound("coolant-pump", make, 0.0, low, high, 0.7, True, 1.0 if rubs else steep)]


def _pump_seal(rng: np.random.Generator, car: Car) -> list[Sound]:
    """A dry face seal squeals, in spells, and with its shaft's turns."""
    wheel, hz = car.wheel("coolant-pump"), rng.uniform(1200.0, 5500.0)
    table, stray = harmonics(rng, falling(rng, 4, 7.0)), rng.uniform(0.001, 0.02)
    swell, share = modulation(rng, rng.uniform(0.2, 1.0)), rng.uniform(0.3, 1.0)

    def make(run: Run) -> Wave:
        squeal = _sing(run, hz, stray, table) + np.float32(0.3) * run.noise()
        return squeal * run.wave(wheel.ratio, swell) * _bursts(run, share)

    low, high = 0.6 * hz, 2.5 * hz
    return [Sound("coolant-pump", make, 0.0, low, high, 0.4, True, 0.4)]


def _compressor_clutch(rng: np.random.Generator, car: Car) -> list[Sound]:
    """The plate drags once a turn while off, or slips and squeals while on."""
    wheel, slips = car.wheel("ac-compressor"), bool(rng.random() < 0.45)
    scrape = pulse(rng.uniform(0.05, 0.4), uneven(rng, int(rng.choice([1, 1, 3])), 0.5))
    hz, table = rng.uniform(600.0, 3000.0), harmonics(rng, falling(rng, 5, 4.0))
    rest = rng.uniform(0.0, 0.3)

    def make(run: Run) -> Wave:
        if slips:
            squeal = _sing(run, hz, 0.02, table) + 0.5 * run.noise()
            return np.float32("ac" in run.loads) * squeal * run.wave(wheel.ratio, scrape)
        gone = rest if "ac" in run.loads else 1.0
        return np.float32(gone) * run.noise() * run.wave(wheel.ratio, scrape)

    return [Sound("ac-compressor", make, 0.0, 500.0, 8000.0, 0.6, True, 0.5)]


def _compressor_rattle(rng: np.random.Generator, car: Car) -> list[Sound]:
    """Worn pistons or valves knock when it pumps."""
    wheel = car.wheel("ac-compressor")
    order = wheel.ratio * float(rng.choice([1.0, 1.0, 5.0, 6.0, 7.0]))
    load, spread = _loaded(rng, "ac", 0.2), rng.uniform(0.2, 0.8)

    def make(run: Run) -> Wave:
        return load(run) * run.train(order, 0.02, spread)

    return [Sound("ac-compressor", make, 0.0, 200.0, 6000.0, 0.95, True, 0.8)]


def _steering_whine(rng: np.random.Generator, car: Car) -> list[Sound]:
    """Vane tones stand up with the pressure; with air in the oil a moan and a hiss too."""
    wheel, air = car.wheel("steering-pump"), rng.uniform(0.0, 0.8)
    table = harmonics(rng, falling(rng, 10, rng.uniform(0.5, 4.0)))
    swell, load = modulation(rng, rng.uniform(0.0, 0.5)), _loaded(rng, "steering", 0.7)

    def make(run: Run) -> Wave:
        whine = run.wave(wheel.ratio * (wheel.vanes or 10), table)
        return load(run) * (whine + np.float32(air) * run.noise()) * run.wave(wheel.ratio, swell)

    return [Sound("steering-pump", make, 0.0, 150.0, 6000.0, 0.5, True, 1.0)]


def _fan_clutch(rng: np.random.Generator, car: Car) -> list[Sound]:
    """A viscous clutch that is locked: the fan roars with the speed."""
    wheel = car.wheel("fan")
    blades, share = wheel.blades or 7, rng.uniform(0.1, 1.0)
    table, swell = harmonics(rng, falling(rng, 6, 4.0)), modulation(rng, rng.uniform(0.1, 0.7))

    def make(run: Run) -> Wave:
        roar = run.noise() * run.wave(wheel.ratio * blades, swell)
        return roar + np.float32(share) * run.wave(wheel.ratio * blades, table)

    return [Sound("fan", make, 0.0, 60.0, rng.uniform(800.0, 4000.0), 0.1, True, 2.6)]


def _crank_damper(rng: np.random.Generator, car: Car) -> list[Sound]:
    """The ring has come loose from its rubber: it thuds and rubs with the crank's turns."""
    count, spread, rub = int(rng.choice([1, 1, 2])), rng.uniform(0.1, 0.6), rng.uniform(0.0, 0.04)
    shape = pulse(0.3)

    def make(run: Run) -> Wave:
        return run.train(count, 0.02, spread) + np.float32(rub) * run.noise() * run.wave(1.0, shape)

    return [Sound("crank", make, 0.0, 80.0, 3500.0, 0.9, False, 0.6)]


def _chain_rattle(rng: np.random.Generator, car: Car) -> list[Sound]:
    """A slack chain slaps its guide: many small blows that swell with the cam's jerks."""
    per_tooth = float(rng.choice([0.25, 0.5, 1.0]))
    order = per_tooth * car.chain_teeth
    swell = pulse(rng.uniform(0.2, 0.8), uneven(rng, car.cylinders, 0.5))
    cold, share = rng.random() < 0.35, rng.uniform(0.4, 1.0)

    def make(run: Run) -> Wave:
        blows = run.train(order, 0.25, 0.8) * run.locked(0.5, swell)
        fades = np.exp(-run.coarse_s / 3.0) if cold else np.ones(len(run.coarse_s))
        seconds = np.arange(run.size) / run.rate_hz
        fade = np.interp(seconds, run.coarse_s, fades).astype(np.float32)
        return blows * fade * (0.3 + _bursts(run, share))

    return [Sound("timing-chain", make, 0.0, 600.0, 9000.0, 0.9, False, 0.4)]


def _chain_whine(rng: np.random.Generator, car: Car) -> list[Sound]:
    """The mesh of the crank sprocket's teeth, with a little of its turns."""
    table = harmonics(rng, falling(rng, 5, rng.uniform(2.0, 6.0)))
    swell = modulation(rng, rng.uniform(0.05, 0.6))

    def make(run: Run) -> Wave:
        return run.wave(car.chain_teeth, table) * run.wave(1.0, swell)

    return [Sound("timing-chain", make, 0.0, 150.0, 6000.0, 0.4, False, 1.2)]


def _valve_tick(rng: np.random.Generator, car: Car) -> list[Sound]:
    """One or two tappets with play: a tick every second turn of the crank each."""
    starts = rng.random(int(rng.choice([1, 1, 1, 2, 3])))
    spread = rng.uniform(0.05, 0.5)

    def make(run: Run) -> Wave:
        total = run.train(0.5, 0.004, spread, starts[0])
        for start in starts[1:]:
            total += run.train(0.5, 0.004, spread, start)
        return total

    return [Sound("valve-train", make, 0.0, 900.0, 9000.0, 0.95, False, 0.5)]


def _vacuum_hiss(rng: np.random.Generator, car: Car) -> list[Sound]:
    """Air through a crack: a hiss that breathes with the intake strokes, at times a whistle."""
    swell = modulation(rng, rng.uniform(0.05, 0.6))
    hz, pipe = rng.uniform(1200.0, 5000.0), rng.uniform(0.1, 1.5) * float(rng.random() < 0.35)
    table = harmonics(rng, falling(rng, 3, 10.0))

    def make(run: Run) -> Wave:
        whole = run.noise()
        if pipe:
            whole = whole + np.float32(pipe * 3.0) * _sing(run, hz, 0.006, table)
        return whole * run.locked(0.5 * car.cylinders, swell)

    low = rng.uniform(1200.0, 4500.0)
    return [Sound("vacuum-leak", make, 0.0, low, rng.uniform(7000.0, 14000.0), 0.25, False, -0.4)]


def _exhaust_tick(rng: np.random.Generator, car: Car) -> list[Sound]:
    """Puffs of one cylinder (of two, when the crack is where their pipes meet)."""
    width, start = rng.uniform(0.01, 0.06), rng.random()
    heights = np.zeros(car.cylinders)
    heights[: int(rng.choice([1, 1, 1, 2]))] = 1.0
    table, thud = pulse(width, rng.permutation(heights)), rng.uniform(0.0, 1.0)

    def make(run: Run) -> Wave:
        puffs = run.locked(0.5, table, start) * (run.noise() + np.float32(thud))
        strays = 1.2 + np.clip(run.slow(0.5, 8.0), -0.8, 0.8)
        return np.asarray(puffs * strays, np.float32)

    return [Sound("exhaust-leak", make, 0.0, 150.0, rng.uniform(1500.0, 7000.0), 0.4, False, 1.0)]


def _knock(rng: np.random.Generator, car: Car) -> list[Sound]:
    """A rod bearing with play: a dull knock each turn, every second one softer."""
    softer, spread = rng.uniform(0.0, 1.0), rng.uniform(0.1, 0.4)

    def make(run: Run) -> Wave:
        at, number = run.events(1.0, 0.006)
        heights = np.where(number.astype(int) % 2 == 0, 1.0, softer)
        return run.blows(at, heights * uneven(run.rng, len(at), spread))

    return [Sound("engine", make, 0.0, 120.0, rng.uniform(1000.0, 2500.0), 0.95, False, 1.2)]


def _shield(rng: np.random.Generator, car: Car) -> list[Sound]:
    """A loose sheet buzzes with the firing."""
    order, swell = 0.5 * car.cylinders, pulse(rng.uniform(0.1, 0.6))
    share, buzz = rng.uniform(0.3, 1.0), rng.uniform(0.0, 0.2)

    def make(run: Run) -> Wave:
        blows = run.train(order, 0.12, 0.8) + np.float32(buzz) * run.noise() * run.wave(
            order, swell
        )
        return np.asarray(blows * (0.1 + _bursts(run, share)), np.float32)

    return [Sound("other", make, 0.0, 500.0, 7000.0, 0.9, False, 0.5)]


def _coin(rng: np.random.Generator, car: Car) -> list[Sound]:
    """A coin, a nut or a loose clip: blows as chance has it, in spells."""
    rate, share = rng.uniform(4.0, 40.0), rng.uniform(0.3, 1.0)

    def make(run: Run) -> Wave:
        count = 1 + run.rng.poisson(rate * run.size / run.rate_hz)
        at: Array = run.rng.uniform(0.0, run.size, count)
        return run.blows(at, uneven(run.rng, count, 0.9)) * (0.1 + _bursts(run, share))

    return [Sound("other", make, 0.0, 800.0, 11000.0, 0.9, False, 0.3)]


def _motor(rng: np.random.Generator, car: Car) -> list[Sound]:
    """An electric fan or pump of the car whines at a speed of its own."""
    hz, table = rng.uniform(30.0, 250.0), harmonics(rng, falling(rng, 20, 1.0, 7.0))
    rush = rng.uniform(0.0, 2.0)

    def make(run: Run) -> Wave:
        return _sing(run, hz, 0.002, table) + np.float32(rush) * run.noise()

    return [Sound("other", make, 0.0, 150.0, 5000.0, 0.3, False, 0.0)]


def _other(rng: np.random.Generator, car: Car) -> list[Sound]:
    """Something that is no suspect by name."""
    makers: tuple[Maker, ...] = (_shield, _coin, _motor)
    return makers[int(rng.integers(len(makers)))](rng, car)


FAULTS: dict[str, Maker] = {
    "belt.slip": _belt_slip,
    "belt.misalignment": _belt_misalignment,
    "belt.damage": _belt_damage,
    "tensioner.rattle": _tensioner_rattle,
    "alternator.electrical": _alternator_electrical,
    "alternator.decoupler": _alternator_decoupler,
    "coolant-pump.impeller": _pump_impeller,
    "coolant-pump.seal": _pump_seal,
    "ac-compressor.clutch": _compressor_clutch,
    "ac-compressor.rattle": _compressor_rattle,
    "steering-pump.whine": _steering_whine,
    "fan.clutch": _fan_clutch,
    "crank.damper": _crank_damper,
    "timing-chain.rattle": _chain_rattle,
    "timing-chain.whine": _chain_whine,
    "valve-train.tick": _valve_tick,
    "vacuum-leak.hiss": _vacuum_hiss,
    "exhaust-leak.tick": _exhaust_tick,
    "engine.knock": _knock,
    "other": _other,
}


def fault_sounds(rng: np.random.Generator, car: Car, suspect: str) -> list[Sound]:
    """The sources that a suspect adds, levels re each other; none for "none"."""
    part, _, fault = suspect.partition(".")
    if suspect == "none":
        return []
    return bearing_sounds(rng, car, part) if fault == "bearing" else FAULTS[suspect](rng, car)
