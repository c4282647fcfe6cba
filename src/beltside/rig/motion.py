"""How the crank turns in one take, and with it everything that hangs on it.

All sounds read their angle here, so that they are locked to the crank by construction.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import Final

import numpy as np
import scipy.signal
from numpy.random import Generator

from beltside.rig.synthesis import RATE_HZ, Float32, Float64, slow_noise

CONTROL_HZ: Final = 6000
HOLD: Final = RATE_HZ // CONTROL_HZ
TRUTH_HZ: Final = 50.0
CLOCK: Final = "clock"
SPEED_KINDS: Final = ("hold", "ramp", "steps", "blips")


@dataclass(frozen=True)
class Restlessness:
    """How unevenly this engine turns; fixed for a case.

    Attributes
    ----------
    hunting
        Relative size of the slow swing of idle speed.
    hunting_hz
        Its rate [Hz].
    wander
        Relative standard deviation of the speed from cycle to cycle.
    memory
        Share of a cycle's deviation that the next keeps (first-order autoregression).
    torsion
        Relative speed swing within a cycle at idle, per order of `torsion_orders`.
    torsion_orders, torsion_phases
        Orders [per crank turn] and phases [turns] of the swing.
    """

    hunting: float
    hunting_hz: float
    wander: float
    memory: float
    torsion: tuple[float, ...]
    torsion_orders: tuple[float, ...]
    torsion_phases: tuple[float, ...]


@dataclass(frozen=True)
class Shaft:
    """A turning part: its turns per crank turn, and how much of the torsion reaches it."""

    ratio: float
    torsion_share: float


@dataclass(frozen=True)
class Motion:
    """Crank motion of one take on a grid of CONTROL_HZ.

    Attributes
    ----------
    count
        Samples at RATE_HZ; CONTROL_HZ divides it.
    idle_rpm
        Speed at which the levels of all sounds are stated [1/min].
    rpm
        Cycle-mean speed, shape (count // HOLD,) [1/min].
    mean_turns, torsion_turns
        Angle without torsion, and what torsion adds [crank turns], same shape.
    shafts
        Every turning part by name, "crank" among them.
    """

    count: int
    idle_rpm: float
    rpm: Float64
    mean_turns: Float64
    torsion_turns: Float64
    shafts: dict[str, Shaft] = field(default_factory=dict)

    @cached_property
    def time_s(self) -> Float64:
        """Moments of the control grid [s]."""
        return np.arange(len(self.rpm)) / CONTROL_HZ

    @cached_property
    def speed_ratio(self) -> Float64:
        """Speed against idle, on the control grid."""
        return self.rpm / self.idle_rpm

    @cached_property
    def log_speed(self) -> Float32:
        """Natural logarithm of speed_ratio."""
        return np.log(self.speed_ratio).astype(np.float32)

    @cached_property
    def acceleration(self) -> Float64:
        """Rate of speed change [idle speeds per second], smoothed over 0.1 s, control grid."""
        width = CONTROL_HZ // 10
        slope = np.gradient(self.speed_ratio) * CONTROL_HZ
        if len(slope) <= width:
            return np.full_like(slope, slope.mean())
        total = np.concatenate(([0.0], np.cumsum(slope)))
        middle = (total[width:] - total[:-width]) / width
        return np.interp(np.arange(len(slope)), np.arange(len(middle)) + width / 2, middle)

    def turns(self, shaft: str) -> Float64:
        """Angle of a shaft on the control grid [its turns].

        "clock" turns steadily, once for each crank turn at idle: for what has its own motor.
        """
        if shaft == CLOCK:
            return self.time_s * (self.idle_rpm / 60.0)
        kind = self.shafts[shaft]
        return kind.ratio * (self.mean_turns + kind.torsion_share * self.torsion_turns)

    def turns_by_sample(self, shaft: str) -> Float64:
        """Angle of a shaft at every sample [its turns], shape (count,)."""
        if shaft not in self._by_sample:
            turns = self.turns(shaft)
            step = np.append(np.diff(turns), turns[-1] - turns[-2])
            between = np.arange(HOLD) / HOLD
            self._by_sample[shaft] = (turns[:, None] + step[:, None] * between).reshape(-1)
        return self._by_sample[shaft]

    @cached_property
    def _by_sample(self) -> dict[str, Float64]:
        return {}

    def ratio(self, shaft: str) -> float:
        """Turns of a shaft per crank turn (at idle for the clock)."""
        return 1.0 if shaft == CLOCK else self.shafts[shaft].ratio

    def times_of(self, shaft: str, turns: Float64) -> Float64:
        """Moments at which a shaft passes the given angles [s]; NaN outside the take."""
        own = self.turns(shaft)
        return np.interp(turns, own, self.time_s, left=np.nan, right=np.nan)

    def truth(self) -> tuple[Float64, Float64]:
        """Moments [s] and cycle-mean crank speed at them [1/min], 50 per second."""
        step = int(CONTROL_HZ / TRUTH_HZ)
        return self.time_s[::step].copy(), self.rpm[::step].copy()


def draw_restlessness(rng: Generator, cylinders: int, strokes: int) -> Restlessness:
    """Random unevenness; more for few cylinders. Ranges: common practice, no source."""
    firing = cylinders * 2.0 / strokes
    main = float(np.exp(rng.uniform(np.log(0.005), np.log(0.04)))) * min(4.0 / cylinders, 2.5)
    orders = [firing, 2.0 * firing]
    sizes = [main, main * rng.uniform(0.05, 0.4)]
    for order in (0.5, 1.0, 1.5):
        if strokes == 4 and order < firing:
            orders.append(order)
            sizes.append(main * rng.uniform(0.02, 0.5) * rng.random())
    return Restlessness(
        hunting=float(rng.uniform(0.003, 0.02)),
        hunting_hz=float(np.exp(rng.uniform(np.log(0.08), np.log(1.2)))),
        wander=float(np.exp(rng.uniform(np.log(0.0008), np.log(0.006)))),
        memory=float(rng.uniform(0.5, 0.95)),
        torsion=tuple(sizes),
        torsion_orders=tuple(orders),
        torsion_phases=tuple(rng.random(len(orders))),
    )


def speed_program(
    rng: Generator, kind: str, duration_s: float, idle_rpm: float, top_rpm: float
) -> tuple[Float64, Float64]:
    """Moments [s] and wished speed [1/min] of a take: straight lines in between.

    `kind` is "idle" or one of SPEED_KINDS. Blips rise at up to 2000 rpm/s and fall slower.
    """
    if kind == "idle":
        return np.array([0.0, duration_s]), np.array([idle_rpm, idle_rpm])
    if kind == "hold":
        if rng.random() < 0.5:
            return np.array([0.0, duration_s]), np.array([top_rpm, top_rpm])
        start, rise = rng.uniform(0.1, 0.35) * duration_s, rng.uniform(0.6, 2.5)
        return (
            np.array([0.0, start, start + rise, duration_s]),
            np.array([idle_rpm, idle_rpm, top_rpm, top_rpm * rng.uniform(0.97, 1.03)]),
        )
    if kind == "ramp":
        peak = duration_s * rng.uniform(0.4, 0.6)
        edge = duration_s * rng.uniform(0.03, 0.12)
        return (
            np.array([0.0, edge, peak, duration_s - edge, duration_s]),
            np.array([idle_rpm, idle_rpm, top_rpm, idle_rpm, idle_rpm]),
        )
    if kind == "steps":
        levels = np.linspace(idle_rpm, top_rpm, int(rng.integers(3, 5)))
        edges = np.linspace(0.0, duration_s, len(levels) + 1)[1:-1]
        times = np.concatenate(([0.0], np.repeat(edges, 2), [duration_s]))
        times[2:-1:2] += 0.5
        return times, np.repeat(levels, 2)
    moments, speeds, now = [0.0], [idle_rpm], rng.uniform(0.8, 2.0)
    while now < duration_s - 1.0:
        peak_rpm = idle_rpm + (top_rpm - idle_rpm) * rng.uniform(0.6, 1.0)
        rise = (peak_rpm - idle_rpm) / rng.uniform(900.0, 2000.0)
        fall = (peak_rpm - idle_rpm) / rng.uniform(500.0, 1400.0)
        moments += [now, now + rise, now + rise + rng.uniform(0.05, 0.4)]
        speeds += [idle_rpm, peak_rpm, peak_rpm * 0.98]
        now = moments[-1] + fall
        moments.append(now)
        speeds.append(idle_rpm)
        now += rng.uniform(0.5, 2.5)
    moments.append(max(duration_s, now))
    speeds.append(idle_rpm)
    return np.array(moments), np.array(speeds)


def make_motion(
    rng: Generator,
    restlessness: Restlessness,
    program: tuple[Float64, Float64],
    duration_s: float,
    idle_rpm: float,
    shafts: dict[str, Shaft],
) -> Motion:
    """Turn a wished speed into a motion with hunting, wander and torsion."""
    points = round(duration_s * CONTROL_HZ)
    time = np.arange(points) / CONTROL_HZ
    wished = np.interp(time, *program)
    if len(program[0]) > 2:  # a foot on the pedal does not draw corners
        smooth = int(0.15 * CONTROL_HZ)
        window = scipy.signal.windows.hann(2 * smooth + 1)
        wished = np.convolve(np.pad(wished, smooth, mode="edge"), window / window.sum(), "valid")
    calm = (idle_rpm / wished) ** 0.5
    swing = np.sin(2 * np.pi * (restlessness.hunting_hz * time + rng.random()))
    swing = 0.6 * swing + 0.5 * slow_noise(rng, points, CONTROL_HZ, 2 * restlessness.hunting_hz)
    cycles = int(duration_s * wished.max() / 60.0) + 8
    kick = rng.standard_normal(cycles) * np.sqrt(1.0 - restlessness.memory**2)
    wander = scipy.signal.lfilter([1.0], [1.0, -restlessness.memory], kick)
    angle = np.cumsum(wished) / (60.0 * CONTROL_HZ)
    per_cycle = np.interp(angle / 2.0, np.arange(cycles), wander)
    deviation = restlessness.hunting * swing + restlessness.wander * per_cycle
    rpm = wished * (1.0 + calm * deviation)
    mean_turns = rng.random() * 2.0 + np.concatenate(([0.0], np.cumsum(rpm[:-1])))[:points] / (
        60.0 * CONTROL_HZ
    )
    torsion = np.zeros(points)
    # The swing of speed falls with speed squared: the same gas torque acts for a shorter time.
    softer = (idle_rpm / rpm) ** 2
    cycle_strength = 1.0 + 0.15 * slow_noise(rng, points, CONTROL_HZ, idle_rpm / 240.0)
    for size, order, phase in zip(
        restlessness.torsion,
        restlessness.torsion_orders,
        restlessness.torsion_phases,
        strict=True,
    ):
        wave = np.sin(2 * np.pi * (order * mean_turns + phase))
        torsion += size / (2 * np.pi * order) * softer * cycle_strength * wave
    return Motion(points * HOLD, idle_rpm, rpm, mean_turns, torsion, dict(shafts))
