"""How an engine of the neighbour turns during a take, and what a source of noise is."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from neighbour_car import Car
from neighbour_tools import Array, chance, coloured, harmonic_table, log_uniform, slow_random

GRID_S = 0.001
# A noise that comes and goes is there for this share of a take.
LEAST_ON = 0.25
FRONT = "front of engine"


@dataclass(frozen=True)
class Plan:
    """What is done on one take; `raised` is the speed over idle, `number` counts takes from 0."""

    name: str
    number: int = 0
    belt: bool = True
    place: str = FRONT
    load: tuple[str, ...] = ()
    raised: float = 1.0


@dataclass
class Motion:
    """The turning of the crank on a grid of 1 ms.

    Attributes
    ----------
    rpm
        Speed without the swing within a cycle.
    crank
        Turns of the crank since the start, with the swing.
    """

    rng: np.random.Generator
    car: Car
    plan: Plan
    rate_hz: int
    samples: int
    grid_s: Array
    rpm: Array
    crank: Array
    _turns: dict[str, Array] = field(default_factory=dict)
    _grown: dict[float, Array | float] = field(default_factory=dict)

    def on_samples(self, values: Array) -> Array:
        """Values on the grid as float64 on every sample."""
        times = np.arange(self.samples) / self.rate_hz
        return np.asarray(np.interp(times, self.grid_s, values))

    @property
    def turns(self) -> Array:
        """Turns of the crank at every sample."""
        if "crank" not in self._turns:
            self._turns["crank"] = self.on_samples(self.crank)
        return self._turns["crank"]

    def times(self, per_turn: float, phase: float = 0.0, slip: float = 0.0) -> Array:
        """When something that comes `per_turn` times a crank turn does [s]; `slip` scatters it."""
        first, last = self.crank[0] * per_turn, self.crank[-1] * per_turn
        events = np.arange(np.floor(first) - 1.0, last + 1.0) + phase
        if slip:
            events = events + slip * self.rng.normal(size=len(events))
        events = events[(events >= first) & (events <= last)]
        return np.asarray(np.interp(events / per_turn, self.crank, self.grid_s))

    def grow(self, power: float) -> Array | float:
        """Speed over idle to that power, a number when the speed is held."""
        if power not in self._grown:
            share = self.rpm / self.car.idle_rpm
            steady = float(np.std(share) / np.mean(share)) < 0.04
            self._grown[power] = (
                float(np.mean(share) ** power)
                if steady
                else self.on_samples(share**power).astype(np.float32)
            )
        return self._grown[power]

    def grown_at(self, times_s: Array, power: float) -> Array:
        """Speed over idle to that power at some times."""
        share = self.rpm / self.car.idle_rpm
        return np.asarray(np.interp(times_s, self.grid_s, share) ** power)


@dataclass(frozen=True)
class Source:
    """Something that makes a noise.

    Attributes
    ----------
    at
        The housing or opening it acts on.
    force
        The force during a take, any scale, shape=(samples,).
    level_db
        How loud it is at the front at idle (A-weighted, against other sources).
    belt
        It stops with the belt off.
    when
        Factor on its amplitude by what is done on the take.
    """

    at: str
    force: Callable[[Motion], Array]
    level_db: float = 0.0
    belt: bool = False
    when: Callable[[Plan], float] = lambda plan: 1.0

    def weight(self, plan: Plan) -> float:
        """Factor on the amplitude on that take, 0 when it does not sound."""
        return 0.0 if self.belt and not plan.belt else self.when(plan)


@dataclass
class Maker:
    """What sources are drawn with: the engine, and white noise they take their beds from."""

    rng: np.random.Generator
    car: Car
    rate_hz: int
    white: Array

    def bed(self, centre_hz: float, sharpness: float = 0.5) -> Bed:
        """A bed of noise around `centre_hz`, to be cut anew for each take."""
        return Bed(coloured(self.white, self.rate_hz, centre_hz, sharpness))

    def has(self, part: str) -> bool:
        """Whether the drive has that pulley."""
        return part in self.car.parts


@dataclass(frozen=True)
class Bed:
    """A long stretch of noise."""

    samples: Array

    def cut(self, motion: Motion) -> Array:
        """A stretch as long as the take, from another place each time."""
        spare = len(self.samples) - motion.samples
        start = int(motion.rng.integers(0, spare + 1))
        return self.samples[start : start + motion.samples]


def loaded(load: str, factor: float, without: float = 1.0) -> Callable[[Plan], float]:
    """`factor` on takes with that load switched on, `without` on the others."""
    return lambda plan: factor if load in plan.load else without


def slower_less(power: float) -> Callable[[Plan], float]:
    """A noise of idling that goes with speed raised to minus `power`."""
    return lambda plan: plan.raised**-power


def gate(motion: Motion, on_s: float, off_s: float, edge_s: float = 0.03) -> Array:
    """Comes and goes by chance: 1 for about `on_s`, 0 for about `off_s`, on every sample.

    It is there for a quarter of the take at least.
    """
    state: Array = np.zeros(len(motion.grid_s))
    while np.mean(state) < LEAST_ON:
        lengths = motion.rng.exponential(1.0, 2 * int(motion.grid_s[-1] / (on_s + off_s) * 3 + 8))
        lengths[0::2] = np.maximum(lengths[0::2] * on_s, 3 * edge_s)
        lengths[1::2] *= off_s
        ends = np.cumsum(lengths) - lengths[0] * motion.rng.random()
        state = (np.searchsorted(ends, motion.grid_s) + 1.0) % 2.0
    window = np.hanning(max(int(edge_s / GRID_S), 1) + 2)
    smooth = np.convolve(state, window / window.sum(), "same")
    return motion.on_samples(smooth).astype(np.float32)


def shaft_table(
    rng: np.random.Generator, lines: dict[int, float], sides: float = 0.0, once: float = 0.0
) -> Array:
    """One turn of a shaft: `lines` gives amplitudes of harmonics, `sides` their side lines' share.

    `once` is the amplitude of once a turn (imbalance).
    """
    amplitudes = np.zeros(max(lines, default=1) + 2)
    for harmonic, amplitude in lines.items():
        amplitudes[harmonic - 1] += amplitude
        amplitudes[harmonic] += amplitude * sides
        if harmonic > 1:
            amplitudes[harmonic - 2] += amplitude * sides
    amplitudes[0] += once
    return harmonic_table(rng, amplitudes)


def draw_motion(
    rng: np.random.Generator, car: Car, plan: Plan, rate_hz: int, samples: int
) -> Motion:
    """Idle with wander, a raised speed held or reached, a load that pulls the speed."""
    grid = np.arange(0.0, samples / rate_hz + 2 * GRID_S, GRID_S)
    share = np.ones(len(grid))
    if plan.raised > 1.0:
        kind = rng.choice(["held", "climbed", "blipped"], p=[0.65, 0.25, 0.1])
        if kind == "climbed":
            start, lasts = rng.uniform(0.3, 1.5), rng.uniform(0.6, 2.5)
            share = np.clip((grid - start) / lasts, 0.0, 1.0)
            share = share**2 * (3.0 - 2.0 * share)
        elif kind == "blipped":
            share = np.sin(np.pi * np.clip(grid / grid[-1] * 1.3 - 0.15, 0, 1)) ** 2
        share = 1.0 + (plan.raised - 1.0) * share
        share *= 1.0 + rng.uniform(0.003, 0.02) * slow_random(rng, grid, rng.uniform(0.4, 1.0))
    for load in plan.load:
        step = rng.uniform(-0.05, 0.08) if load == "ac" else rng.uniform(-0.04, 0.01)
        share = share + step
    wander = log_uniform(rng, 0.002, 0.012)
    share = share * (1.0 + wander * slow_random(rng, grid, rng.uniform(0.15, 0.6)))
    if chance(rng, 0.25):
        hunting = np.sin(2 * np.pi * rng.uniform(0.2, 1.2) * grid + rng.uniform(0, 6))
        share = share * (1.0 + rng.uniform(0.003, 0.02) * hunting)
    rpm = car.idle_rpm * share * (1.0 + rng.normal(0.0, 0.01))
    turns = rng.uniform(0, 2) + np.concatenate([[0.0], np.cumsum(rpm[:-1])]) * GRID_S / 60.0
    order = car.cylinders / 2.0
    depth = car.swing * (car.idle_rpm / rpm) ** 1.5
    swing = depth * np.sin(2 * np.pi * order * turns) / (2 * np.pi * order)
    return Motion(rng, car, plan, rate_hz, samples, grid, rpm, turns + swing)
