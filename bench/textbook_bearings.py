"""Bad rolling bearings: rates of the geometry, load zone, slip, early, several and late stages.

Rates and modulation: Randall and Antoni, Mechanical Systems and Signal Processing 25 (2011),
485-520 (from memory). Levels and shares: common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from beltside.drive.sheet import Bearing
from textbook_car import Car
from textbook_signals import Run, Sound, Wave, falling, harmonics, modulation, pulse, uneven

# The housing carries their outer ring on a fixed pin: the outer ring turns, the inner stands.
OUTER_TURNS = ("idler", "idler-2", "tensioner", "fan")


@dataclass(frozen=True)
class Rates:
    """Events for each turn of one ring against the other."""

    cage: float
    outer: float
    inner: float
    ball: float


def rates(bearing: Bearing) -> Rates:
    """Cage turns, ball passes of outer and inner race, turns of a ball about itself."""
    lean = bearing.ball_mm / bearing.pitch_mm * float(np.cos(np.radians(bearing.contact_deg)))
    return Rates(
        0.5 * (1.0 - lean),
        0.5 * bearing.balls * (1.0 - lean),
        0.5 * bearing.balls * (1.0 + lean),
        0.5 * bearing.pitch_mm / bearing.ball_mm * (1.0 - lean**2),
    )


@dataclass(frozen=True)
class Defect:
    """Blows `per_turn` of the shaft that swell `swells` times a turn (0: evenly)."""

    per_turn: float
    swells: float


def defects(bearing: Bearing, outer_turns: bool) -> dict[str, Defect]:
    """The defects a bearing can have, per turn of its pulley.

    A flaw on the ring that turns passes the load zone once a turn; one on a ball with the cage,
    striking both races. With the outer ring turning, the cage goes with it the faster way.
    """
    own = rates(bearing)
    cage = 1.0 - own.cage if outer_turns else own.cage
    return {
        "outer": Defect(own.outer, 1.0 if outer_turns else 0.0),
        "inner": Defect(own.inner, 0.0 if outer_turns else 1.0),
        "ball": Defect(2.0 * own.ball, cage),
        "cage": Defect(cage, 0.0),
    }


def bearing_sounds(rng: np.random.Generator, car: Car, part: str) -> list[Sound]:
    """Early: one defect rings the housing; later several; late: a broad growl."""
    wheel = car.wheel(part)
    known = defects(wheel.bearing, part in OUTER_TURNS)
    stage = str(rng.choice(["early", "several", "late"], p=[0.4, 0.3, 0.3]))
    chance = np.array([0.4, 0.35, 0.2, 0.05])
    count = 1 if stage == "early" else int(rng.integers(2, 4))
    chosen = [str(one) for one in rng.choice(list(known), count, replace=False, p=chance)]
    low, high = rng.uniform(250.0, 1500.0), rng.uniform(4500.0, 12000.0)
    grows = rng.uniform(0.8, 1.6)
    sounds = [
        Sound(part, _Blows(rng, wheel.ratio, known[name]), level, low, high, 0.95, True, grows)
        for name, level in zip(chosen, rng.uniform(-8.0, 0.0, count).tolist(), strict=True)
    ]
    if stage == "late":
        growl = _Growl(rng, wheel.ratio, known["cage"].per_turn)
        low = rng.uniform(150.0, 900.0)
        level = rng.uniform(0.0, 12.0)
        sounds.append(Sound(part, growl, level, low, 0.7 * high, 0.8, True, grows))
    if rng.random() < 0.25:
        table = harmonics(rng, falling(rng, 6, 3.0))
        level = rng.uniform(-14.0, -3.0)
        sounds.append(Sound(part, _Wobble(wheel.ratio, table), level, 40.0, 900.0, 0.3, True, 1.5))
    return sounds


class _Blows:
    """One defect's impulse train with slip, swelling with the load zone."""

    def __init__(self, rng: np.random.Generator, ratio: float, defect: Defect) -> None:
        self.order = ratio * defect.per_turn * (1.0 - rng.uniform(0.0, 0.01))
        self.swells = ratio * defect.swells
        self.zone = pulse(rng.uniform(0.1, 0.4)) + np.float32(rng.uniform(0.0, 0.3))
        self.jitter, self.spread = rng.uniform(0.002, 0.02), rng.uniform(0.05, 0.4)

    def __call__(self, run: Run) -> Wave:
        blows = run.train(self.order, self.jitter, self.spread)
        return blows * run.wave(self.swells, self.zone) if self.swells else blows


class _Growl:
    """Worn races: noise and chance blows that swell with shaft and cage."""

    def __init__(self, rng: np.random.Generator, ratio: float, cage: float) -> None:
        self.ratio, self.cage = ratio, ratio * cage
        self.by_turn = modulation(rng, rng.uniform(0.2, 0.9))
        self.by_cage = modulation(rng, rng.uniform(0.1, 0.7))
        self.blows_per_s, self.share = rng.uniform(50.0, 500.0), rng.uniform(0.0, 8.0)

    def __call__(self, run: Run) -> Wave:
        count = run.rng.poisson(self.blows_per_s * run.size / run.rate_hz)
        at = run.rng.uniform(0.0, run.size, count)
        blows = run.blows(at, self.share * uneven(run.rng, count, 0.6))
        swell = run.wave(self.ratio, self.by_turn) * run.wave(self.cage, self.by_cage)
        return (run.noise() + blows) * swell


class _Wobble:
    """A shaft that runs out: its turns and harmonics."""

    def __init__(self, ratio: float, table: Wave) -> None:
        self.ratio, self.table = ratio, table

    def __call__(self, run: Run) -> Wave:
        return run.wave(self.ratio, self.table)
