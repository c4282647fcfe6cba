"""Worn bearings by the judge: pits, flaked stretches and plain dry roughness.

Rates are the classical ones for rolling without slip, then taken with one or two percent of slip
and a random walk. Most worn bearings in the trade are dry or flaked along a stretch: they growl
rather than tick, and the growl swells with the turn of the shaft and of the cage.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from beltside.drive.sheet import Bearing
from judge_drive import Car, kind_of
from judge_motion import Source, Turning
from judge_tools import Array, band, cyclic, train, uneven, wander, white

KINDS = {"dry": 0.45, "flaked": 0.35, "pitted": 0.2}


@dataclass(frozen=True)
class Rates:
    """Events per shaft turn: cage turns, passes over an outer and an inner pit, ball blows."""

    cage: float
    outer: float
    inner: float
    ball: float


def rates(bearing: Bearing, outer_turns: bool) -> Rates:
    """The classical rates per turn of the ring that turns, the other one standing.

    Source: kinematics of rolling, as in Randall & Antoni, MSSP 25 (2011); a ball's pit strikes
    both rings, twice per spin.
    """
    share = bearing.ball_mm / bearing.pitch_mm * np.cos(np.radians(bearing.contact_deg))
    cage = 0.5 * (1.0 + share) if outer_turns else 0.5 * (1.0 - share)
    return Rates(
        cage=float(cage),
        outer=float(bearing.balls / 2.0 * (1.0 - share)),
        inner=float(bearing.balls / 2.0 * (1.0 + share)),
        ball=float(bearing.pitch_mm / bearing.ball_mm * (1.0 - share**2)),
    )


def load_share(turns_from_load: Array, zone: float) -> Array:
    """Load on a ball at an angle from where the belt pulls, 1 at the middle (Stribeck).

    `zone` is half the zone's width as a share of the ring's diameter, 0.5 for half the ring.
    """
    lean = 1.0 - (1.0 - np.cos(2.0 * np.pi * turns_from_load)) / (2.0 * zone)
    return np.asarray(np.clip(lean, 0.0, None) ** 1.5)


def _walked(rng: np.random.Generator, turning: Turning, shaft: Array, rate: float) -> Array:
    """Passes of one pit: at the rate less slip, each interval a percent or two off."""
    count = int((shaft[-1] - shaft[0]) * rate) + 2
    slip = rng.uniform(0.0, 0.02)
    steps = 1.0 + rng.normal(0.0, rng.uniform(0.008, 0.02), count)
    passes = shaft[0] + (rng.random() + np.cumsum(steps)) / (rate * (1.0 - slip))
    return np.asarray(np.interp(passes, shaft, np.arange(turning.size), right=-1.0))


@dataclass(frozen=True)
class Worn:
    """One worn bearing of a part."""

    part: str
    bearing: Bearing
    outer_turns: bool
    where: str
    pits: Array
    flaked: Array
    swells: tuple[Array, Array]
    zone: float
    speed_power: float
    minds_load: float

    def strain(self, turning: Turning) -> Array:
        """How hard it is worked, sample by sample."""
        pull = 1.0 + self.minds_load * turning.onset
        # Cold grease is stiff and the balls skid.
        return np.asarray(turning.pace**self.speed_power * pull * (1.0 + 0.4 * turning.cold))

    def _rate(self) -> float:
        return float(getattr(rates(self.bearing, self.outer_turns), self.where))

    def _zone_turns(self, shaft: Array) -> Array:
        """Where the damage is with respect to the load, in turns."""
        if self.where == "ball":
            return np.asarray(shaft * rates(self.bearing, self.outer_turns).cage)
        turns = (self.where == "outer") == self.outer_turns
        return shaft if turns else np.full_like(shaft, 0.08)

    def blows(self, turning: Turning, rng: np.random.Generator) -> Array:
        """Balls rolling over pits."""
        shaft = turning.shaft(self.part)
        strain = self.strain(turning)
        total = np.zeros(turning.size)
        for depth in self.pits:
            at = _walked(rng, turning, shaft, self._rate())
            near = np.clip(at.astype(int), 0, turning.size - 1)
            load = load_share(self._zone_turns(shaft)[near], self.zone)
            heights = depth * rng.lognormal(0.0, 0.45, at.size) * (0.05 + load) * strain[near]
            total += train(turning.size, at, heights)
        return total

    def grinding(self, turning: Turning, rng: np.random.Generator) -> Array:
        """Balls running along a flaked stretch: a burst of rolling noise each time."""
        shaft = turning.shaft(self.part)
        loose = 0.05 * wander(rng, turning.size, turning.rate_hz, 8.0)
        passes = shaft * self._rate() * (1.0 - rng.uniform(0.0, 0.02)) + loose
        load = 0.15 + load_share(self._zone_turns(shaft), self.zone)
        noise = white(rng, turning.size) * cyclic(self.flaked, passes)
        return np.asarray(noise * load * self.strain(turning))

    def dry(self, turning: Turning, rng: np.random.Generator) -> Array:
        """Dry races and a dragging cage: rumble that swells with the turn, and crackles."""
        shaft = turning.shaft(self.part)
        cage = rates(self.bearing, self.outer_turns).cage
        swell = cyclic(self.swells[0], shaft) * cyclic(self.swells[1], shaft * cage)
        swell = swell * np.exp(0.25 * wander(rng, turning.size, turning.rate_hz, 3.0))
        swell = swell * self.strain(turning)
        crackles = rng.uniform(0, turning.size, int((shaft[-1] - shaft[0]) * rng.uniform(5, 40)))
        near = np.clip(crackles.astype(int), 0, turning.size - 1)
        heights = rng.lognormal(0.0, 0.8, crackles.size) * swell[near]
        crackle = train(turning.size, crackles, heights)
        return np.asarray(white(rng, turning.size) * swell + 6.0 * crackle)


def bearing_sources(rng: np.random.Generator, car: Car, part: str) -> list[Source]:
    """A worn bearing: one kind leads, and some dryness goes with the others."""
    wheel = car.wheel(part)
    if wheel.bearing is None:
        raise ValueError(f"{part!r} has no bearing")
    kind = str(rng.choice(list(KINDS), p=list(KINDS.values())))
    pits = rng.lognormal(0.0, 0.4, int(rng.integers(1, 4)))
    where = str(rng.choice(["outer", "inner", "ball"], p=[0.5, 0.33, 0.17]))
    around = np.arange(360) / 360.0
    flaked = np.zeros(360)
    for depth in pits:
        off = (around - rng.random() + 0.5) % 1.0 - 0.5
        flaked += depth * np.exp(-((off / rng.uniform(0.1, 0.3)) ** 2))
    worn = Worn(
        part,
        wheel.bearing,
        wheel.outer_turns,
        where,
        pits,
        flaked,
        swells=(
            uneven(rng, float(rng.uniform(0.25, 0.7)), (1, 2, 3, 4, 5, 6)),
            uneven(rng, float(rng.uniform(0.1, 0.45)), (1, 2, 3)),
        ),
        zone=float(rng.uniform(0.25, 0.6)),
        speed_power=float(rng.uniform(0.8, 1.8)),
        minds_load=float(rng.uniform(-0.3, 0.5) if kind_of(part) == "ac-compressor" else 0.1),
    )
    low = rng.uniform(150.0, 500.0) if kind_of(part) in ("fan", "coolant-pump") else 400.0
    growl = band(low, rng.uniform(1800.0, 6500.0), 1.0)
    dry = Source(part, 0.0 if kind == "dry" else rng.uniform(-16, -6), worn.dry, growl, True)
    if kind == "dry":
        return [dry]
    make = worn.grinding if kind == "flaked" else worn.blows
    colour = growl if kind == "flaked" else band(500.0, rng.uniform(5000, 12000), 1.0)
    return [Source(part, 0.0, make, colour, True), dry]
