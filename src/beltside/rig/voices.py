"""The four kinds of noise an engine part makes: ticks, tones, noises and whistles.

A voice is drawn once for a case and sounded once for each take. Its level is stated in dB
against the whole engine at idle in front of it, and everything that makes it louder or softer
(speed, load, angle, gates) is one gain over time.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
from numpy.random import Generator

from beltside.rig.motion import CONTROL_HZ, Motion
from beltside.rig.synthesis import (
    RATE_HZ,
    Float32,
    Float64,
    look_up,
    place_pulses,
    slow_noise,
)


@dataclass(frozen=True)
class Envelope:
    """A gain that repeats with a shaft's angle: `table` covers `period_turns` of `shaft`."""

    shaft: str
    period_turns: float
    table: Float32
    start: float = 0.0


@dataclass(frozen=True)
class Gate:
    """When a voice is heard.

    Attributes
    ----------
    duty
        Share of the time it is on by itself.
    length_s
        Mean length of one spell [s].
    opened_by
        Names of condition signals (0 to 1) that open it as well.
    floor
        What is left while it is shut, 0 to 1.
    """

    duty: float = 1.0
    length_s: float = 1.0
    opened_by: tuple[str, ...] = ()
    floor: float = 0.0


@dataclass(frozen=True)
class Conditions:
    """What is switched on in a take, and its signals on the control grid, each 0 to 1.

    Signals: "effort" (torque asked), "coast" (overrun), "electric", "ac", "steering".
    """

    belt_on: bool
    load: tuple[str, ...]
    signals: dict[str, Float32]


@dataclass(frozen=True)
class Voice:
    """What all voices share.

    Attributes
    ----------
    part
        Where the noise comes from: a part, or "engine", "exhaust", "intake".
    level_db
        Root-mean-square level at idle against the whole engine in front of it [dB].
    response
        Impulse response of what radiates it, unit energy.
    shaft
        Whose angle it follows.
    speed_power
        Amplitude grows with (speed / idle) to this power.
    follows
        (signal, dB at full signal) pairs.
    needs_belt
        Silent with the belt off.
    envelopes, gate, grain
        Gains by angle, by spells, and irregular: grain is (spread [dB], bandwidth [Hz]).
    """

    part: str
    level_db: float
    response: Float32
    shaft: str = "crank"
    speed_power: float = 1.0
    follows: tuple[tuple[str, float], ...] = ()
    needs_belt: bool = False
    envelopes: tuple[Envelope, ...] = ()
    gate: Gate | None = None
    grain: tuple[float, float] | None = None


@dataclass(frozen=True)
class Ticks(Voice):
    """Impacts at angles of a shaft.

    `offsets` [turns] within every `period_turns`, each with its gain; `slip` is the relative
    random error of every interval (it adds up), `jitter_turns` one that does not add up;
    `spread_db` the scatter of strength; `missing` the share left out; `bounces` how many
    follow, `bounce_s` apart at first and `bounce_gain` each.
    """

    period_turns: float = 1.0
    offsets: tuple[float, ...] = (0.0,)
    gains: tuple[float, ...] = (1.0,)
    slip: float = 0.0
    jitter_turns: float = 0.0
    spread_db: float = 1.0
    missing: float = 0.0
    bounces: int = 0
    bounce_s: float = 0.004
    bounce_gain: float = 0.5


@dataclass(frozen=True)
class Tones(Voice):
    """Lines at whole multiples of 1 / `period_turns`; `table` is one period, unit power."""

    period_turns: float = 1.0
    table: Float32 = field(default_factory=lambda: np.zeros(1, dtype=np.float32))


@dataclass(frozen=True)
class Noise(Voice):
    """Noise shaped by the response."""


@dataclass(frozen=True)
class Whistle(Voice):
    """Tones whose pitch is not set by an angle: squeal, hum, whistle.

    Pitch is `pitch_hz` x (speed / idle) ** `pitch_power`, wandering by `wander` (relative,
    slower than `wander_hz`) and pulled by `pull` (relative) with each envelope `pull_by`.
    """

    pitch_hz: float = 1000.0
    pitch_power: float = 0.0
    wander: float = 0.01
    wander_hz: float = 5.0
    pull: float = 0.0
    pull_by: Envelope | None = None
    table: Float32 = field(default_factory=lambda: np.zeros(1, dtype=np.float32))


TABLE = 16_384


def line_table(multiples: npt.ArrayLike, amplitudes: Float64, rng: Generator) -> Float32:
    """One period of a sum of sines at whole multiples with random phases, unit power."""
    spectrum = np.zeros(TABLE // 2 + 1, dtype=np.complex128)
    phases = np.exp(2j * np.pi * rng.random(len(amplitudes)))
    np.add.at(spectrum, np.asarray(multiples, dtype=np.int64), amplitudes * phases)
    spectrum[0] = 0.0
    return _unit_power(np.fft.irfft(spectrum, TABLE))


def swing_table(orders: Float64, depths: Float64, rng: Generator) -> Float32:
    """Gain table 1 + sum of depth cos(order angle), never negative, unit power."""
    angle = np.arange(1024) / 1024.0
    wave = np.ones(1024)
    for order, depth in zip(np.atleast_1d(orders), np.atleast_1d(depths), strict=True):
        wave += depth * np.cos(2 * np.pi * (order * angle + rng.random()))
    return _unit_power(np.maximum(wave, 0.0))


def bump_table(centres: Float64, widths: Float64, gains: Float64, floor: float) -> Float32:
    """Gain table with one rounded bump for each centre (all in periods), unit power."""
    angle = np.arange(1024) / 1024.0
    wave = np.full(1024, floor)
    for centre, width, gain in zip(centres, widths, gains, strict=True):
        after = (angle - centre) % 1.0
        rise = width * 0.3
        late = np.exp(-np.maximum(after - rise, 0.0) / width)
        wave += gain * np.where(after < rise, after / rise, late)
    return _unit_power(wave)


def rough_table(rng: Generator, spread: float, sharpness: int, smooth: int = 3) -> Float32:
    """A surface that is rough in its own way, once round; unit power."""
    surface = np.abs(rng.standard_normal(1024)) ** sharpness
    window = np.hanning(2 * smooth * 8 + 1)
    spectrum = np.fft.rfft(surface) * np.fft.rfft(window / window.sum(), 1024)
    around = np.fft.irfft(spectrum, 1024)
    around = around / around.mean() - 1.0
    return _unit_power(np.maximum(1.0 + spread * around, 0.02))


def _unit_power(wave: Float64) -> Float32:
    power = float(np.sqrt(np.mean(wave**2)))
    return np.asarray(wave / max(power, 1e-12), dtype=np.float32)


def _gate_gain(gate: Gate, motion: Motion, conditions: Conditions, rng: Generator) -> Float64:
    count = len(motion.rpm)
    opened = np.zeros(count)
    if gate.duty >= 1.0:
        return np.ones(count)
    if gate.duty > 0.0:
        noise = slow_noise(rng, count, CONTROL_HZ, 0.5 / gate.length_s)
        edge = np.quantile(rng.standard_normal(512), 1.0 - gate.duty)
        opened = np.clip(0.5 + (noise - edge) * 4.0, 0.0, 1.0)
    for name in gate.opened_by:
        opened = np.maximum(opened, conditions.signals[name])
    return gate.floor + (1.0 - gate.floor) * opened


def gain_over_time(
    voice: Voice, motion: Motion, conditions: Conditions, rng: Generator, *, gates_open: bool
) -> Float32:
    """Gain of a voice on the control grid."""
    neper = 0.05 * np.log(10.0)
    exponent = voice.speed_power * motion.log_speed + np.float32(neper * voice.level_db)
    for signal, full_db in voice.follows:
        exponent += np.float32(neper * full_db) * conditions.signals[signal]
    if voice.grain is not None:
        spread_db, bandwidth_hz = voice.grain
        swing = slow_noise(rng, len(exponent), CONTROL_HZ, bandwidth_hz)
        exponent += np.float32(neper * spread_db) * swing.astype(np.float32)
    gain: Float32 = np.exp(exponent)
    for envelope in voice.envelopes:
        angle = motion.turns(envelope.shaft) / envelope.period_turns + envelope.start
        gain *= look_up(envelope.table, angle)
    if voice.gate is not None and not gates_open:
        gain *= _gate_gain(voice.gate, motion, conditions, rng).astype(np.float32)
    return gain


def interpolated(control: Float32) -> Float32:
    """A control signal at every sample, straight lines in between."""
    hold = RATE_HZ // CONTROL_HZ
    step = np.append(np.diff(control), np.float32(0.0))
    between = (np.arange(hold) / hold).astype(np.float32)
    joined: Float32 = control[:, None] + step[:, None] * between
    return joined.reshape(-1)


def _tick_train(voice: Ticks, motion: Motion, gain: Float32, rng: Generator) -> Float32:
    shaft = motion.turns(voice.shaft)
    periods = int((shaft[-1] - shaft[0]) / voice.period_turns) + 4
    steps = voice.period_turns * (1.0 + voice.slip * rng.standard_normal(periods))
    start = shaft[0] - voice.period_turns * (1.0 + rng.random() * (voice.slip > 0))
    if voice.slip == 0:  # locked to the crank: keep the phase the offsets were stated for
        start = np.floor(shaft[0] / voice.period_turns - 1.0) * voice.period_turns
    begin = start + np.cumsum(steps)
    turns = begin[:, None] + np.asarray(voice.offsets)[None, :]
    turns = turns + voice.jitter_turns * rng.standard_normal(turns.shape)
    strength = np.asarray(voice.gains) / np.sqrt(np.mean(np.square(voice.gains)))
    amplitude = strength * 10.0 ** (voice.spread_db / 20.0 * rng.standard_normal(turns.shape))
    if voice.missing > 0.0:
        amplitude = amplitude * (rng.random(turns.shape) >= voice.missing)
    order = np.argsort(turns, axis=None)
    when = motion.times_of(voice.shaft, turns.reshape(-1)[order])
    amplitude = amplitude.reshape(-1)[order]
    inside = np.isfinite(when)
    when, amplitude = when[inside], amplitude[inside]
    amplitude = amplitude * gain[(when * CONTROL_HZ).astype(np.int64)]
    ratio = motion.ratio(voice.shaft)
    rate = motion.idle_rpm / 60.0 * ratio * len(voice.offsets) / voice.period_turns
    amplitude *= np.sqrt(RATE_HZ / rate)
    if voice.bounces:
        count = np.arange(voice.bounces + 1)
        gap = voice.bounce_s * 10.0 ** (0.15 * rng.standard_normal(len(when)))
        lag = (1.0 - voice.bounce_gain**count) / (1.0 - voice.bounce_gain)
        when = (when[:, None] + gap[:, None] * lag).reshape(-1)
        weaker = voice.bounce_gain**count / np.sqrt(np.sum(voice.bounce_gain ** (2 * count)))
        amplitude = (amplitude[:, None] * weaker).reshape(-1)
    return place_pulses(when, amplitude, motion.count)


def sound(
    voice: Voice,
    motion: Motion,
    conditions: Conditions,
    rng: Generator,
    white: Float32,
    *,
    gates_open: bool = False,
) -> Float32:
    """Excitation of a voice in one take, shape (motion.count,), before its response.

    `white` is unit noise at least 2 s longer than the take; every noise takes its own cut.
    """
    gain = gain_over_time(voice, motion, conditions, rng, gates_open=gates_open)
    if isinstance(voice, Ticks):
        return _tick_train(voice, motion, gain, rng)
    if isinstance(voice, Tones):
        wave = look_up(voice.table, motion.turns_by_sample(voice.shaft) / voice.period_turns)
        return wave * interpolated(gain)
    if isinstance(voice, Whistle):
        pitch = voice.pitch_hz * motion.speed_ratio**voice.pitch_power
        pitch = pitch * (
            1.0 + voice.wander * slow_noise(rng, len(pitch), CONTROL_HZ, voice.wander_hz)
        )
        if voice.pull_by is not None:
            angle = motion.turns(voice.pull_by.shaft) / voice.pull_by.period_turns
            pitch = pitch * (1.0 + voice.pull * (look_up(voice.pull_by.table, angle) - 1.0))
        phase = np.cumsum(pitch) / CONTROL_HZ + rng.random()
        step = np.append(np.diff(phase), pitch[-1] / CONTROL_HZ)
        hold = RATE_HZ // CONTROL_HZ
        at_sample = (phase[:, None] + step[:, None] * (np.arange(hold) / hold)).reshape(-1)
        return look_up(voice.table, at_sample) * interpolated(gain)
    start = int(rng.integers(0, len(white) - motion.count + 1))
    # Held, not interpolated: the steps drown in the noise they scale.
    cut = white[start : start + motion.count].reshape(len(gain), -1)
    return (cut * gain[:, None]).reshape(-1)


FLAT = np.array([1.0], dtype=np.float32)
