"""How the crank turns during one take, and the scene in which sources sound."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from stranger_tools import Array, NoisePool, log_uniform, slow_curve, stretch
from stranger_world import World

COARSE_HZ = 1000.0
LEAD_IN_S = 0.4


@dataclass(frozen=True)
class Motion:
    """The crank's speed and angle, at 1 kHz and at the sample rate."""

    rate_hz: float
    count: int
    coarse_s: Array
    coarse_turns: Array
    coarse_rpm: Array
    turns: Array
    idle_rpm: float
    steady: bool

    def times_at(self, turns: Array) -> Array:
        """When the crank has turned that far [s], shape as `turns`."""
        return np.interp(turns, self.coarse_turns, self.coarse_s, left=-1.0, right=-1.0)

    def events(self, order: float, offset: float = 0.0) -> tuple[Array, Array]:
        """Times [s] and crank turns of events at `order` per turn, both shape=(events,)."""
        last = self.coarse_turns[-1] * order
        turns = (np.arange(int(last) + 1) + offset % 1.0) / order
        turns = turns[turns < self.coarse_turns[-1]]
        return self.times_at(turns), turns

    def speed_power(self, power: float) -> Array | np.float32:
        """(rpm / idle)**power along the take; one number when the speed hardly moves."""
        relative = self.coarse_rpm / self.idle_rpm
        if self.steady:
            return np.float32(relative.mean() ** power)
        return stretch(relative[::20] ** power, self.count)


@dataclass
class Scene:
    """Everything a source needs to sound in one take."""

    world: World
    motion: Motion
    rng: np.random.Generator
    pool: NoisePool
    belt_on: bool
    load: tuple[str, ...] = ()

    @property
    def count(self) -> int:
        """Samples to make."""
        return self.motion.count

    @property
    def rate_hz(self) -> float:
        """Sample rate of the making [Hz]."""
        return self.motion.rate_hz

    def loaded(self, what: str) -> bool:
        """Whether that consumer is switched on."""
        return what in self.load

    def band(self, low_hz: float, high_hz: float) -> Array:
        """Band noise of about unit variance, shape=(count,)."""
        return self.pool.band(self.rng, self.count, self.rate_hz, low_hz, high_hz)


@dataclass(frozen=True)
class Source:
    """One thing that sounds.

    `target_db` is its level over the engine alone (ordinary sounds) or over everything else
    (the fault) in its own band on the first take; None for the engine's own sources, whose
    root mean square there is `rms`.
    """

    name: str
    part: str
    render: Callable[[Scene], Array]
    needs_belt: bool = False
    target_db: float | None = None
    rms: float = 1.0
    is_fault: bool = field(default=False)


def _speed_plan(rng: np.random.Generator, base: float, count: int, raised: bool) -> Array:
    """Speed without its small wander [1/min], shape=(count,) at 1 kHz."""
    plan = np.full(count, base)
    if not raised:
        return plan
    t = np.arange(count) / COARSE_HZ
    span = t[-1]
    high = float(rng.uniform(1.6, 4.2)) * base
    style = rng.choice(["held", "blip", "blips", "ramp", "steps"])
    rate = float(rng.uniform(500.0, 1900.0))
    target = plan.copy()
    if style == "held":
        start = rng.uniform(-0.1, 0.3) * span
        target[(t > start) & (t < start + rng.uniform(0.5, 1.0) * span)] = high
    elif style in ("blip", "blips"):
        for _ in range(1 if style == "blip" else int(rng.integers(2, 4))):
            start = rng.uniform(0.1, 0.75) * span
            target[(t > start) & (t < start + rng.uniform(0.6, 2.0))] = high * rng.uniform(0.7, 1.0)
    elif style == "ramp":
        knots = np.sort(rng.uniform(0.1, 0.9, 2)) * span
        target = np.interp(t, [0.0, *knots, span], [base, high, high * 0.9, base])
        rate = 4000.0
    else:
        for level in (0.5, 1.0):
            target[t > (0.15 + 0.4 * level) * span] = base + level * (high - base)
    # A throttle never jumps: the rate is limited, falling slower than rising, then smoothed.
    step_s = 0.02
    coarse = target[::20]
    followed = np.empty_like(coarse)
    value = coarse[0]
    for i, aim in enumerate(coarse):
        value += np.clip(aim - value, -0.6 * rate * step_s, rate * step_s)
        followed[i] = value
    kernel = np.hanning(17)
    padded = np.pad(followed, 8, mode="edge")
    smooth = np.convolve(padded, kernel / kernel.sum(), "valid")
    return np.interp(t, np.arange(len(smooth)) * step_s, smooth)


def draw_motion(
    rng: np.random.Generator,
    world: World,
    duration_s: float,
    rate_hz: float,
    raised: bool,
    load_drop: float = 0.0,
) -> Motion:
    """A take's crank motion, lead-in included."""
    whole_s = duration_s + LEAD_IN_S
    count = round(whole_s * rate_hz)
    coarse_count = int(whole_s * COARSE_HZ) + 2
    base = world.idle_rpm * (1.0 + float(rng.normal(0.0, 0.02)) - load_drop)
    plan = _speed_plan(rng, base, coarse_count, raised)
    wander = log_uniform(rng, 0.0015, 0.012) * slow_curve(
        rng, coarse_count, 1e-3, float(rng.uniform(0.3, 2.5))
    )
    t = np.arange(coarse_count) / COARSE_HZ
    if rng.random() < 0.2:  # a hunting idle
        hunt_hz = rng.uniform(0.4, 1.3)
        wander += rng.uniform(0.005, 0.025) * np.sin(2 * np.pi * hunt_hz * t + rng.uniform(0, 6))
    rpm = plan * (1.0 + wander)
    turns = np.cumsum(rpm) / 60.0 / COARSE_HZ
    # The crank speeds up at every firing; the swing fades as speed rises.
    for order, size in (
        (world.cylinders / 2.0, log_uniform(rng, 0.003, 0.02)),
        (0.5, log_uniform(rng, 0.0005, 0.004)),
    ):
        swing = size * (world.idle_rpm / rpm) ** 1.5 / (2.0 * np.pi * order)
        turns = turns + swing * np.sin(2.0 * np.pi * (order * turns + rng.random()))
    turns -= turns[0]
    fine = np.interp(np.arange(count) / rate_hz, t, turns)
    return Motion(rate_hz, count, t, turns, rpm, fine, world.idle_rpm, not raised)
