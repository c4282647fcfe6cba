"""A healthy engine's own noise: combustion, gas, valves, chain, flow.

The picture is the common one of engine noise (Priede 1979; Heywood 1988, chapter 9; both from
memory): gas force and mechanical impacts excite the block's modes, the gas exchange pulses
leave through pipes, and everything repeats with the working cycle, cylinder by cylinder.
Ranges of levels are our own choice, checked against real recordings (docs/methods/rig.md).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.random import Generator

from beltside.rig.motion import Restlessness, draw_restlessness
from beltside.rig.synthesis import Float32, Float64, chain, coloured, random_modes, unit_energy
from beltside.rig.voices import (
    FLAT,
    Envelope,
    Noise,
    Ticks,
    Tones,
    Voice,
    Whistle,
    bump_table,
    line_table,
    swing_table,
)

SPARSE_SHARE = 0.15
CYLINDER_CHOICES = (1, 2, 3, 4, 5, 6, 8, 10, 12)
CYLINDER_SHARES = (0.01, 0.02, 0.17, 0.48, 0.06, 0.15, 0.08, 0.01, 0.02)


@dataclass(frozen=True)
class EngineSpec:
    """One engine, drawn once for a case.

    Attributes
    ----------
    cycle_turns
        Crank turns in a working cycle: 2, or 1 for a two-stroke.
    firing_turns
        Where in the cycle each cylinder fires [crank turns], shape (cylinders,).
    diesel, chain_teeth
        Harsh combustion; teeth of the crank sprocket, None with a toothed belt.
    """

    cylinders: int
    strokes: int
    idle_rpm: float
    cycle_turns: float
    firing_turns: Float64
    diesel: bool
    chain_teeth: int | None
    restlessness: Restlessness
    voices: tuple[Voice, ...]


def firing_angles(rng: Generator, cylinders: int, cycle_turns: float) -> Float64:
    """Firing angles [crank turns]: even, or uneven as V and flat-twin layouts give."""
    even = np.arange(cylinders) * cycle_turns / cylinders
    uneven = cycle_turns == 2.0 and cylinders in (2, 4, 6, 8) and rng.random() < 0.1
    if uneven:
        shift = rng.choice([30.0, 45.0, 60.0, 90.0]) / 360.0 / (cylinders / 2.0)
        even[1::2] += rng.choice([-1.0, 1.0]) * min(shift, 0.4 * cycle_turns / cylinders)
    return even % cycle_turns


def pipe_response(rng: Generator, low_hz: float, high_hz: float, width_s: float) -> Float32:
    """A gas pulse of some width that runs back and forth in a pipe with damping."""
    time = np.arange(int(0.02 * 48_000)) / 48_000
    pulse = (time / width_s) * np.exp(1.0 - time / width_s)
    pulse = np.diff(pulse, prepend=0.0) if rng.random() < 0.5 else pulse - pulse.mean()
    modes = random_modes(
        rng, low_hz, high_hz, int(rng.integers(3, 9)), damping=(0.02, 0.15), length=3072
    )
    return unit_energy(chain(unit_energy(pulse), modes + 0.5 * _delta(len(modes))))


def _delta(length: int) -> Float32:
    one = np.zeros(length, dtype=np.float32)
    one[0] = 1.0
    return one


def _order_lines(
    rng: Generator, spec: tuple[int, int, float, Float64], steepness: float
) -> Float32:
    """Lines at multiples of the cycle: firing multiples strong, half orders weaker."""
    cylinders, _, _, _ = spec
    multiples = np.arange(1, 40 * max(cylinders, 3) // 2)
    firing = multiples % cylinders == 0
    # Levels fall with frequency from the firing order on; cylinders differ by a few dB.
    level = -steepness * np.log2(np.maximum(multiples / cylinders, 0.5))
    level += rng.normal(0.0, 4.0, len(multiples))
    level -= np.where(firing, 0.0, rng.uniform(1.0, 26.0))
    return line_table(multiples.astype(np.float64), 10.0 ** (level / 20.0), rng)


def draw_engine(
    rng: Generator,
    *,
    cylinders: int | None = None,
    diesel: bool | None = None,
    idle_rpm: float | None = None,
    chain_teeth: int | None = None,
) -> EngineSpec:
    """A random healthy engine; what is given is kept."""
    count = cylinders or int(rng.choice(CYLINDER_CHOICES, p=CYLINDER_SHARES))
    strokes = 2 if cylinders is None and count <= 3 and rng.random() < 0.06 else 4
    cycle = 2.0 if strokes == 4 else 1.0
    idle = idle_rpm or float(rng.uniform(600.0, 1000.0))
    harsh = bool(rng.random() < 0.25) if diesel is None else diesel
    firing = firing_angles(rng, count, cycle)
    teeth = chain_teeth
    if teeth is None and rng.random() < 0.55:
        teeth = int(rng.integers(17, 30))
    restless = draw_restlessness(rng, count, strokes)
    # How much of the harsh, high part reaches outside differs most between engines.
    bright_db = float(rng.normal(-5.0, 5.0))
    voices = (
        _gas_voices(rng, count, strokes, cycle, firing)
        + _combustion_voices(rng, count, cycle, firing, harsh, bright_db)
        + _mechanical_voices(rng, count, cycle, firing, harsh, teeth, bright_db)
        + _steady_voices(rng, count, bright_db)
    )
    if rng.random() < SPARSE_SHARE:  # a plain engine: few things sound
        voices = [
            voice for voice in voices if voice.part in ("exhaust", "intake") or rng.random() < 0.5
        ] or voices
    return EngineSpec(count, strokes, idle, cycle, firing, harsh, teeth, restless, tuple(voices))


def _gains(rng: Generator, count: int) -> tuple[float, ...]:
    spread = float(np.exp(rng.uniform(np.log(0.05), np.log(0.7))))
    gains = np.exp(spread * rng.standard_normal(count))
    if rng.random() < 0.1:  # one weak cylinder
        gains[rng.integers(count)] *= rng.uniform(0.3, 0.8)
    return tuple(float(gain) for gain in gains)


def _gas_voices(
    rng: Generator, count: int, strokes: int, cycle: float, firing: Float64
) -> list[Voice]:
    voices: list[Voice] = []
    steady = float(np.exp(rng.uniform(np.log(0.4), np.log(4.5))))
    runner = rng.uniform(0.0, 0.02, count)
    voices.append(
        Ticks(
            "exhaust",
            float(rng.normal(-7.0, 6.0)),
            pipe_response(rng, 50.0, 700.0, float(rng.uniform(0.6e-3, 3e-3))),
            speed_power=float(rng.uniform(0.2, 0.9)),
            follows=(("effort", float(rng.uniform(2.0, 9.0))),),
            period_turns=cycle,
            offsets=tuple(firing + 0.36 + runner),
            gains=_gains(rng, count),
            jitter_turns=0.003 * steady,
            spread_db=steady,
        )
    )
    voices.append(
        Ticks(
            "intake",
            float(rng.normal(-9.0, 6.0)),
            pipe_response(rng, 70.0, 1200.0, float(rng.uniform(0.4e-3, 2.5e-3))),
            speed_power=float(rng.uniform(0.3, 1.0)),
            follows=(("effort", float(rng.uniform(2.0, 8.0))),),
            period_turns=cycle,
            offsets=tuple(firing + 1.05 * cycle / 2.0 + runner[::-1]),
            gains=_gains(rng, count),
            jitter_turns=0.003 * steady,
            spread_db=steady,
        )
    )
    low = rng.uniform(30.0, 60.0)
    high = rng.uniform(150.0, 1500.0)
    voices.append(
        Tones(
            "engine",
            float(rng.normal(-3.0, 5.0)) + (8.0 if rng.random() < 0.12 else 0.0),
            chain(
                random_modes(rng, low, 800.0, 8, damping=(0.05, 0.3), length=1536),
                coloured(rng, low, high, ripple_db=2.0, length=512),
            ),
            speed_power=float(rng.uniform(0.3, 1.2)),
            follows=(("effort", float(rng.uniform(0.0, 5.0))),),
            grain=(float(rng.uniform(0.3, 3.5)), float(rng.uniform(2.0, 15.0))),
            period_turns=cycle,
            table=_order_lines(rng, (count, strokes, cycle, firing), float(rng.uniform(3, 14))),
        )
    )
    return voices


def _combustion_voices(
    rng: Generator, count: int, cycle: float, firing: Float64, harsh: bool, bright_db: float
) -> list[Voice]:
    voices: list[Voice] = []
    level = 0.5 * bright_db + float(rng.normal(-7.0 if harsh else -10.0, 5.0))
    top = float(rng.uniform(3500.0, 7500.0) if harsh else rng.uniform(1800.0, 5000.0))
    tilt = float(rng.uniform(-6.0, -1.5) if harsh else rng.uniform(-9.0, -2.5))
    late = float(rng.uniform(0.005, 0.05))
    scatter = float(rng.uniform(0.5, 3.5))
    gains = np.array(_gains(rng, count))
    halves = [np.arange(count) % 2 == 0, np.arange(count) % 2 == 1]
    banks = [half for half in halves if half.any()] if rng.random() < 0.5 else [halves[0] | True]
    for bank in banks:
        modes = random_modes(
            rng,
            float(rng.uniform(250.0, 600.0)),
            top,
            int(rng.integers(7, 18)),
            tilt_db_per_octave=tilt,
            damping=(0.012, 0.07),
        )
        offsets = firing[bank] + late
        strength = gains[bank]
        if harsh and rng.random() < 0.7:  # a small injection before the main one
            offsets = np.concatenate((offsets, offsets - rng.uniform(0.015, 0.06)))
            strength = np.concatenate((strength, strength * rng.uniform(0.2, 0.8)))
        share_db = 10.0 * np.log10(bank.sum() / count)
        voices.append(
            Ticks(
                "engine",
                level + float(share_db),
                modes,
                speed_power=float(rng.uniform(0.6, 1.3)),
                follows=(("effort", float(rng.uniform(1.0, 6.0))), ("coast", -6.0)),
                period_turns=cycle,
                offsets=tuple(offsets),
                gains=tuple(strength),
                jitter_turns=float(rng.uniform(0.0005, 0.006)),
                spread_db=scatter,
            )
        )
    # Rattle of many small impacts after each firing: noise in a window of angle.
    width = rng.uniform(0.1, 0.45) / count
    voices.append(
        Noise(
            "engine",
            level + float(rng.normal(2.0, 4.0)),
            chain(
                coloured(rng, float(rng.uniform(200, 700)), top, slope_db_per_octave=tilt),
                random_modes(rng, 300.0, top, 12, damping=(0.02, 0.1), length=1024),
            ),
            speed_power=float(rng.uniform(0.7, 1.4)),
            follows=(("effort", float(rng.uniform(0.0, 4.0))),),
            envelopes=(
                Envelope(
                    "crank",
                    cycle,
                    bump_table(
                        (firing + late) / cycle,
                        np.full(count, width),
                        gains,
                        float(rng.uniform(0.1, 1.2)),
                    ),
                ),
            ),
            grain=(float(rng.uniform(0.5, 2.5)), float(rng.uniform(3.0, 20.0))),
        )
    )
    return voices


def _mechanical_voices(
    rng: Generator,
    count: int,
    cycle: float,
    firing: Float64,
    harsh: bool,
    teeth: int | None,
    bright_db: float,
) -> list[Voice]:
    voices: list[Voice] = []
    four_stroke = cycle == 2.0
    if four_stroke:  # valves sit down twice a cycle for each cylinder
        offsets = np.concatenate((firing + rng.uniform(0.6, 0.75), firing + rng.uniform(1.1, 1.3)))
        voices.append(
            Ticks(
                "valve-train",
                float(rng.normal(-20.0, 5.0)) + bright_db,
                random_modes(rng, 1800.0, 9000.0, int(rng.integers(4, 10)), damping=(0.01, 0.08)),
                speed_power=float(rng.uniform(0.6, 1.3)),
                period_turns=cycle,
                offsets=tuple(offsets),
                gains=_gains(rng, 2 * count),
                jitter_turns=float(rng.uniform(0.001, 0.01)),
                spread_db=float(rng.uniform(1.0, 5.0)),
            )
        )
    if rng.random() < 0.75:  # injectors open and close
        opened = rng.uniform(-0.3, 0.8)
        closed = opened + rng.uniform(0.02, 0.08)
        voices.append(
            Ticks(
                "valve-train",
                float(rng.normal(-23.5, 6.0)) + bright_db,
                random_modes(rng, 2500.0, 13_000.0, int(rng.integers(4, 10)), damping=(0.01, 0.1)),
                speed_power=float(rng.uniform(0.0, 0.3)),
                period_turns=cycle,
                offsets=tuple(np.concatenate((firing + opened, firing + closed)) % cycle),
                gains=_gains(rng, 2 * count),
                jitter_turns=0.001,
                spread_db=float(rng.uniform(0.3, 1.5)),
            )
        )
    if rng.random() < 0.6:  # pistons change sides
        voices.append(
            Ticks(
                "engine",
                float(rng.normal(-19.0 if not harsh else -15.0, 5.0)),
                random_modes(rng, 700.0, 3500.0, int(rng.integers(4, 9)), damping=(0.02, 0.1)),
                speed_power=float(rng.uniform(0.5, 1.2)),
                period_turns=cycle,
                offsets=tuple(firing + rng.uniform(0.0, 0.06)),
                gains=_gains(rng, count),
                jitter_turns=0.008,
                spread_db=float(rng.uniform(2.0, 5.0)),
            )
        )
    mesh = teeth if teeth is not None else int(rng.integers(18, 26))
    multiples = np.array([mesh * k + side for k in (1, 2, 3) for side in (-1, 0, 1)]) * 2
    strength = np.array([s for k in (1.0, 0.5, 0.25) for s in (0.25 * k, k, 0.25 * k)])
    voices.append(
        Tones(
            "timing-chain",
            float(rng.normal(-27.0 if teeth is not None else -31.0, 5.0)),
            random_modes(rng, 150.0, 4000.0, 12, damping=(0.03, 0.2), length=1024),
            speed_power=float(rng.uniform(0.8, 1.5)),
            grain=(2.0, 6.0),
            period_turns=2.0,
            table=line_table(multiples, strength * rng.uniform(0.4, 1.0, 9), rng),
        )
    )
    if rng.random() < 0.3:  # a gear pump or balance gears: an odd line that is no fault
        order = int(rng.integers(5, 40))
        voices.append(
            Tones(
                "engine",
                float(rng.normal(-29.0, 5.0)),
                random_modes(rng, 150.0, 3000.0, 10, damping=(0.03, 0.2), length=1024),
                speed_power=float(rng.uniform(0.6, 1.5)),
                grain=(2.0, 4.0),
                period_turns=1.0,
                table=line_table(np.array([order, 2 * order]), np.array([1.0, 0.4]), rng),
            )
        )
    if rng.random() < 0.3:  # high-pressure fuel pump: cam lobes
        lobes = int(rng.choice([3, 4]))
        voices.append(
            Ticks(
                "valve-train",
                float(rng.normal(-19.0, 5.0)) + bright_db,
                random_modes(rng, 900.0, 8000.0, 8, damping=(0.01, 0.08)),
                speed_power=0.3,
                period_turns=2.0 / lobes,
                offsets=(0.1, 0.1 + float(rng.uniform(0.05, 0.2))),
                gains=(1.0, float(rng.uniform(0.3, 1.0))),
                spread_db=1.0,
            )
        )
    return voices


def _steady_voices(rng: Generator, count: int, bright_db: float) -> list[Voice]:
    voices: list[Voice] = []
    firing = count / 2.0
    for low, high, level in ((60.0, 900.0, -11.0), (400.0, 9000.0, -14.0 + 0.6 * bright_db)):
        depth = float(np.exp(rng.uniform(np.log(0.05), np.log(0.7))))
        orders = np.array([2 * firing, 1.0, 2.0, 4 * firing])  # of the cycle of two turns
        depths = depth * np.array([1.0, *rng.uniform(0.0, 0.4, 2), 0.3])
        voices.append(
            Noise(
                "engine" if low < 100.0 else str(rng.choice(["engine", "intake"])),
                float(rng.normal(level, 5.0)),
                coloured(
                    rng,
                    low * float(rng.uniform(0.6, 1.6)),
                    high * float(rng.uniform(0.5, 1.4)),
                    slope_db_per_octave=float(rng.uniform(-7.0, -1.5)),
                    skirt_db_per_octave=float(rng.uniform(6.0, 18.0)),
                ),
                speed_power=float(rng.uniform(1.0, 1.6)),
                follows=(("effort", float(rng.uniform(0.0, 6.0))),),
                envelopes=(Envelope("crank", 2.0, swing_table(orders, depths, rng)),),
                grain=(float(rng.uniform(0.3, 1.5)), float(rng.uniform(1.0, 10.0))),
            )
        )
    if rng.random() < 0.25:  # electric radiator fan: its own speed, not the crank's
        blades = int(rng.integers(5, 12))
        pitch = blades * float(rng.uniform(18.0, 45.0))
        colour = coloured(rng, 120.0, 3500.0, slope_db_per_octave=-4.0)
        level = float(rng.normal(-14.0, 5.0))
        table = line_table(np.arange(1, 7), 0.6 ** np.arange(6) * rng.uniform(0.3, 1, 6), rng)
        voices.append(Noise("radiator-fan", level, colour, speed_power=0.0))
        voices.append(
            Whistle(
                "radiator-fan",
                level - float(rng.uniform(2.0, 12.0)),
                FLAT,
                speed_power=0.0,
                pitch_hz=pitch,
                wander=0.002,
                wander_hz=1.0,
                table=table,
            )
        )
    return voices
