"""Worn rolling bearings as blows on a housing and growl, by the textbook rates.

Rates: R. B. Randall and J. Antoni, Rolling element bearing diagnostics, a tutorial, MSSP 25 (2011),
with slip of about 1 % and load zones.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from beltside.drive.sheet import Bearing
from neighbour_car import OUTER_TURNS
from neighbour_motion import Maker, Motion, Plan, Source, gate, loaded, shaft_table
from neighbour_tools import Array, bump_table, chance, log_uniform, looked_up, strikes


@dataclass(frozen=True)
class Rates:
    """Events for one turn of one ring against the other."""

    outer: float
    inner: float
    ball: float
    cage: float


def rates(bearing: Bearing, outer_turns: bool = False) -> Rates:
    """Passings of a defect on a ring, touches of a ball's defect, turns of the cage.

    A spoilt ball touches both rings in each of its turns: twice its spin. The cage turns with the
    inner ring at (1 - r) / 2, with a turning outer ring at (1 + r) / 2.
    """
    r = bearing.ball_mm / bearing.pitch_mm * float(np.cos(np.radians(bearing.contact_deg)))
    return Rates(
        bearing.balls / 2.0 * (1.0 - r),
        bearing.balls / 2.0 * (1.0 + r),
        bearing.pitch_mm / bearing.ball_mm * (1.0 - r**2),
        0.5 * (1.0 + r if outer_turns else 1.0 - r),
    )


def zone(turns: Array, narrow: float) -> Array:
    """How hard a spot that turns is pressed: most at the bottom, hardly outside the load zone."""
    return np.asarray(0.15 + np.maximum(np.cos(2 * np.pi * turns), 0.0) ** narrow)


def _blows(maker: Maker, part: str, kind: str) -> Source:
    """Blows of one defect: on the "outer" or "inner" ring or a "ball"."""
    rng, car = maker.rng, maker.car
    bearing = car.wheel(part).bearing
    assert bearing is not None
    outer_turns = part in OUTER_TURNS
    rate = rates(bearing, outer_turns)
    ratio = car.ratio(part) * (1.0 + rng.normal(0.0, 0.004))
    per_turn = {"outer": rate.outer, "inner": rate.inner, "ball": rate.ball}[kind]
    turning = kind == ("outer" if outer_turns else "inner")
    pressed_by = car.ratio(part) * (rate.cage if kind == "ball" else 1.0)
    width, narrow = log_uniform(rng, 0.04e-3, 0.25e-3), rng.uniform(0.7, 2.5)
    spread, grows = rng.uniform(0.1, 0.5), rng.uniform(0.5, 1.3)

    def force(motion: Motion) -> Array:
        times = motion.times(ratio * per_turn, 0.0, slip=0.01)
        heights = np.exp(spread * motion.rng.normal(size=len(times)))
        if turning or kind == "ball":
            turns = np.interp(times, motion.grid_s, motion.crank) * pressed_by
            heights = heights * zone(turns, narrow)
        heights = heights * motion.grown_at(times, grows)
        return strikes(motion.samples, motion.rate_hz, times, heights, width)

    return Source(part, force, rng.uniform(-6.0, 0.0), belt=True)


def _growl(maker: Maker, part: str) -> Source:
    """Rough all round: noise that swells with the shaft and the cage."""
    rng, car = maker.rng, maker.car
    bearing = car.wheel(part).bearing
    assert bearing is not None
    rate = rates(bearing, part in OUTER_TURNS)
    bed = maker.bed(log_uniform(rng, 400, 4_000), rng.uniform(0.3, 0.9))
    rough = 1.0 + rng.uniform(0.1, 0.8) * bump_table(
        rng.random(3), rng.uniform(0.3, 1.0, 3), rng.uniform(0.04, 0.15)
    )
    cage = 1.0 + rng.uniform(0.0, 0.5) * shaft_table(rng, {1: 1.0})
    ratio, ball_pass = car.ratio(part), rate.outer
    passing = 1.0 + rng.uniform(0.0, 0.6) * shaft_table(rng, {1: 1.0, 2: 0.4})
    grows = rng.uniform(0.8, 1.8)

    def force(motion: Motion) -> Array:
        shaft = motion.turns * ratio
        swell = looked_up(rough, shaft) * looked_up(cage, shaft * rate.cage)
        rough_noise = bed.cut(motion) * swell * looked_up(passing, shaft * ball_pass)
        return np.asarray(rough_noise * motion.grow(grows))

    return Source(part, force, rng.uniform(-8.0, 0.0), belt=True)


def _dry(maker: Maker, part: str) -> Source:
    """Dry and howling: the cage sings at a note of the housing and comes and goes."""
    rng, car = maker.rng, maker.car
    hertz, wander = log_uniform(rng, 900, 4_500), rng.uniform(0.003, 0.02)
    ratio = car.ratio(part)
    voice = shaft_table(rng, {1: 1.0, 2: rng.uniform(0.1, 0.7), 3: rng.uniform(0.0, 0.5)})
    swell = 1.0 + rng.uniform(0.2, 0.9) * shaft_table(rng, {1: 1.0})
    on, off = rng.uniform(0.3, 2.0), rng.uniform(0.1, 1.0)

    def force(motion: Motion) -> Array:
        drift = np.cumsum(motion.rng.normal(size=len(motion.grid_s))) * 0.03
        pitch = hertz * (1.0 + wander * np.tanh(drift))
        turns = motion.on_samples(np.cumsum(pitch) * 0.001)
        tone = looked_up(voice, turns) * looked_up(swell, motion.turns * ratio)
        return np.asarray(tone * gate(motion, on, off))

    return Source(part, force, rng.uniform(-6.0, 2.0), belt=True)


def bearing_sources(maker: Maker, part: str) -> list[Source]:
    """A worn bearing of that part at one stage of its wear."""
    rng = maker.rng
    stage = rng.choice(["one", "several", "growl", "dry"], p=[0.35, 0.25, 0.3, 0.1])
    kinds = ["outer", "inner", "ball"]
    if stage == "one":
        out = [_blows(maker, part, str(rng.choice(kinds, p=[0.5, 0.35, 0.15])))]
    elif stage == "several":
        picked = rng.choice(kinds, size=int(rng.integers(2, 4)), replace=False)
        out = [*(_blows(maker, part, str(kind)) for kind in picked), _growl(maker, part)]
    elif stage == "growl":
        out = [_growl(maker, part)]
        if chance(rng, 0.5):
            out.append(_blows(maker, part, str(rng.choice(kinds))))
    else:
        out = [_dry(maker, part), _growl(maker, part)]
    when = _when(maker, part)
    return [Source(s.at, s.force, s.level_db, belt=True, when=when) for s in out]


def _when(maker: Maker, part: str) -> Callable[[Plan], float]:
    """A clutch's bearing stands still within itself while the compressor is driven."""
    if part == "ac-compressor" and chance(maker.rng, 0.7):
        return loaded("ac", 0.1)
    load = {"alternator": "lights", "steering-pump": "steering"}.get(part, "ac")
    return loaded(load, maker.rng.uniform(1.0, 1.6))
