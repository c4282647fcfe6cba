"""How the judge's engines turn: slow wander, hunting, swing within the cycle, loads."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from judge_drive import Car
from judge_tools import Array, Colour, flat, smoothed, wander


@dataclass(frozen=True)
class Turning:
    """The motion of one take, sample by sample.

    Attributes
    ----------
    rpm
        Crank speed without the swing within the cycle [1/min].
    crank
        Crank angle with its swing [turns].
    steady
        Crank angle without its swing [turns].
    swing
        Deviation of the crank's speed from `rpm`, as a share.
    pace
        Speed over the engine's idle speed.
    loads
        What is switched on.
    onset
        Share of the load that is there, 0 to 1; it comes in within the take.
    cold
        1 just after a cold start, dying away; 0 for a warm engine.
    """

    car: Car
    rate_hz: int
    belt_on: bool
    loads: tuple[str, ...]
    rpm: Array
    crank: Array
    steady: Array
    swing: Array
    pace: Array
    onset: Array
    cold: Array

    @property
    def size(self) -> int:
        """Number of samples."""
        return int(self.rpm.size)

    @property
    def cycle(self) -> Array:
        """Engine cycles: half the crank's turns."""
        return self.crank / 2.0

    def load(self, name: str) -> Array:
        """Share of a load that is there, sample by sample."""
        return self.onset if name in self.loads else np.zeros_like(self.onset)

    def shaft(self, part: str) -> Array:
        """Angle of a pulley [turns]; heavy ones follow the crank's swing less."""
        wheel = self.car.wheel(part)
        follows = 0.15 if part == "alternator" and self.car.decoupler else 0.6
        return wheel.ratio * (self.steady + follows * (self.crank - self.steady))

    @property
    def belt(self) -> Array:
        """Rounds of the belt."""
        return self.crank * self.car.rounds_per_turn


@dataclass(frozen=True)
class Source:
    """One noise: where it sits, how loud, and how its force or pressure is made.

    Attributes
    ----------
    place
        Housing on which it acts.
    level_db
        A-weighted level at the front of the idling engine, against other sources.
    make
        Force on the housing, or sound pressure when `airborne`, shape=(samples,).
    colour
        Its spectrum beside what `make` gives.
    belt_driven
        Whether it stops with the belt off.
    """

    place: str
    level_db: float
    make: Callable[[Turning, np.random.Generator], Array]
    colour: Colour = flat
    belt_driven: bool = False
    airborne: bool = False


def firing_pulse_share(car: Car) -> Array:
    """Torque over the cycle from each firing, 720 points, mean 0 and peak about 1."""
    angle = np.arange(720) / 720.0
    torque = np.zeros(720)
    for at in car.fires_at:
        after = (angle - at) % 1.0
        # Gas torque rises within some 15 degrees and is gone after some 140.
        torque += np.where(after < 0.2, np.sin(np.pi * (after / 0.2) ** 0.6), 0.0)
        before = (at - angle) % 1.0
        torque -= 0.7 * np.where(before < 0.12, np.sin(np.pi * before / 0.12), 0.0)
    torque -= torque.mean()
    return np.asarray(torque / np.abs(torque).max())


def draw_turning(
    rng: np.random.Generator,
    car: Car,
    seconds: float,
    rate_hz: int,
    *,
    belt_on: bool,
    raised: float,
    loads: tuple[str, ...],
    cold: bool,
) -> Turning:
    """Draw the motion of one take; `raised` is the speed over idle, 1 for idle."""
    size = int(seconds * rate_hz)
    slow = 1.0 + 0.006 * wander(rng, size, rate_hz, 0.4) * rng.uniform(0.5, 1.6)
    time = np.arange(size) / rate_hz
    if raised == 1.0 and rng.random() < 0.35:
        hunts = rng.uniform(0.003, 0.015)
        slow += hunts * np.sin(2 * np.pi * rng.uniform(0.3, 1.2) * time + rng.uniform(0, 6.3))
    if raised > 1.0:
        # A foot holds the speed less well than the governor does, and often comes up late.
        slow += 0.02 * wander(rng, size, rate_hz, 0.5)
        if rng.random() < 0.4:
            rise = rng.uniform(0.3, 1.2)
            slow *= 1.0 / raised + (1.0 - 1.0 / raised) / (1.0 + np.exp(-(time - 1.2) / rise * 4.0))
    starts = rng.uniform(-1.0, 0.35 * seconds) if loads else 2.0 * seconds
    onset = 1.0 / (1.0 + np.exp(-np.clip((time - starts) / 0.08, -60.0, 60.0)))
    # The idle dips as the load comes in and is caught again.
    dip = np.where(time > starts, np.exp(-np.maximum(time - starts, 0.0) / 0.6), 0.0)
    slow -= rng.uniform(0.02, 0.06) * dip * onset / raised
    fade = rng.uniform(3.0, 12.0)
    chill = np.exp(-time / fade) if cold else np.zeros(size)
    rpm = car.idle_rpm * raised * slow * (1.0 + (0.25 if cold else 0.0) / raised)
    steady = np.cumsum(rpm / 60.0) / rate_hz + rng.uniform(0.0, 2.0)
    pace = rpm / car.idle_rpm
    torque = firing_pulse_share(car)
    each = rng.lognormal(0.0, 0.06, car.cylinders)
    cycles = int(steady[-1]) + 4
    strength = np.tile(each, cycles) * rng.lognormal(0.0, 0.12, car.cylinders * cycles)
    which = (steady / 2.0 * car.cylinders).astype(np.int64)
    where = (steady / 2.0 % 1.0 * 720.0).astype(np.int64) % 720
    # Speed is the torque summed up over the crank's inertia: the swing falls as speed squared.
    gain = np.sqrt(1.0 + 0.8 * onset)
    push = torque[where] * strength[np.minimum(which, strength.size - 1)] * gain
    slope = np.cumsum(push * rpm / 60.0) / rate_hz
    slope -= smoothed(slope, rate_hz, 0.3)
    scale = np.percentile(np.abs(slope), 95) or 1.0
    swing = car.swing * slope / scale / pace**2
    leads = np.cumsum(swing * rpm / 60.0) / rate_hz
    crank = steady + leads - smoothed(leads, rate_hz, 0.5)
    return Turning(
        car,
        rate_hz,
        belt_on,
        loads,
        rpm,
        np.maximum.accumulate(crank),
        steady,
        swing,
        pace,
        onset,
        chill,
    )
