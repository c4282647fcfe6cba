"""Faults of belt-driven parts, as voices near 0 dB together.

Bearings and the belt have their own modules. What each fault does is common
trade knowledge put into angles and bands; the ranges are our own choice and wide on purpose.
"""

from __future__ import annotations

import numpy as np
from numpy.random import Generator

from beltside.rig.accessories import housing
from beltside.rig.engine import EngineSpec
from beltside.rig.layout import TruePulley
from beltside.rig.synthesis import Float32, chain, coloured, random_modes
from beltside.rig.voices import (
    FLAT,
    Envelope,
    Gate,
    Noise,
    Ticks,
    Tones,
    Voice,
    Whistle,
    bump_table,
    line_table,
    swing_table,
)


def series(rng: Generator, count: int, fall: float) -> Float32:
    """A tone with harmonics that fall by `fall` each, unevenly."""
    strength = fall ** np.arange(count) * rng.uniform(0.3, 1.0, count)
    return line_table(np.arange(1, count + 1), strength, rng)


def electrical(rng: Generator, pulley: TruePulley) -> list[Voice]:
    """Bad diode or winding: ripple at pole-pair orders instead of the smooth six-pulse one.

    A healthy rectifier gives six pulses per pole pair and turn; with a diode gone the
    pole-pair order itself stands out (three-phase bridge, textbook, from memory).
    """
    pairs = pulley.count // 2
    base = np.concatenate((pairs * np.arange(1, 7), 6 * pairs * np.arange(2, 5)))
    strength = np.concatenate((rng.uniform(0.1, 1.0, 6), rng.uniform(0.1, 0.8, 3)))
    strength[1] *= rng.uniform(0.5, 2.0)
    side = float(rng.uniform(0.02, 0.35))
    multiples = np.concatenate((base, base - 1, base + 1))
    lines = np.concatenate((strength, side * strength, side * strength))
    return [
        Tones(
            pulley.part,
            0.0,
            housing(rng, float(rng.uniform(150, 400)), float(rng.uniform(2500, 7000))),
            shaft=pulley.part,
            speed_power=float(rng.uniform(0.0, 1.0)),
            follows=(("electric", float(rng.uniform(4.0, 15.0))),),
            needs_belt=True,
            grain=(float(rng.uniform(0.3, 1.5)), 3.0),
            table=line_table(multiples, lines, rng),
        )
    ]


def decoupler(rng: Generator, pulley: TruePulley, engine: EngineSpec) -> list[Voice]:
    """A seized or broken one-way pulley: clacks as torsion throws it to and fro."""
    firing = engine.firing_turns + float(rng.uniform(0.0, engine.cycle_turns))
    every = rng.random() < 0.6
    offsets = firing if every else firing[:: max(1, engine.cylinders // 2)]
    gate = Gate(
        duty=float(rng.uniform(0.4, 1.0)),
        length_s=float(rng.uniform(0.3, 2.0)),
        opened_by=("coast",),
        floor=float(rng.uniform(0.05, 0.4)),
    )
    return [
        Ticks(
            pulley.part,
            0.0,
            random_modes(rng, 500.0, 5000.0, int(rng.integers(4, 10)), damping=(0.02, 0.12)),
            speed_power=float(rng.uniform(-1.0, 0.2)),
            follows=(("coast", float(rng.uniform(0.0, 8.0))),),
            needs_belt=True,
            gate=gate,
            period_turns=engine.cycle_turns,
            offsets=tuple(offsets),
            gains=tuple(np.exp(0.3 * rng.standard_normal(len(offsets)))),
            jitter_turns=float(rng.uniform(0.005, 0.04)),
            spread_db=float(rng.uniform(2.0, 6.0)),
            missing=float(rng.uniform(0.0, 0.4)),
            bounces=int(rng.integers(1, 5)),
            bounce_s=float(rng.uniform(0.002, 0.009)),
        ),
        Ticks(
            pulley.part,
            float(rng.uniform(-14.0, -3.0)),
            random_modes(rng, 400.0, 4000.0, 5, damping=(0.02, 0.12)),
            shaft=pulley.part,
            speed_power=0.3,
            needs_belt=True,
            slip=0.002,
            spread_db=3.0,
        ),
    ]


def scrape(rng: Generator, pulley: TruePulley) -> list[Voice]:
    """An impeller that rubs its housing: scraping once a turn, vane by vane."""
    vanes = max(pulley.count, 5)
    touch = Envelope(
        pulley.part,
        1.0,
        bump_table(
            np.sort(rng.random(2)),
            rng.uniform(0.05, 0.25, 2),
            np.array([1.0, rng.uniform(0.0, 0.8)]),
            float(rng.uniform(0.05, 0.4)),
        ),
    )
    vane = Envelope(
        pulley.part,
        1.0,
        swing_table(np.array([vanes]), np.array([rng.uniform(0.3, 1.0)]), rng),
    )
    return [
        Noise(
            pulley.part,
            0.0,
            chain(
                coloured(rng, float(rng.uniform(250, 900)), float(rng.uniform(2500, 7000))),
                random_modes(rng, 400.0, 5000.0, 8, damping=(0.01, 0.1), length=1024),
            ),
            shaft=pulley.part,
            speed_power=float(rng.uniform(0.8, 1.6)),
            needs_belt=True,
            envelopes=(touch, vane),
            grain=(float(rng.uniform(1.0, 4.0)), float(rng.uniform(2.0, 10.0))),
        ),
        Ticks(
            pulley.part,
            float(rng.uniform(-12.0, 0.0)),
            random_modes(rng, 300.0, 4000.0, 6, damping=(0.02, 0.1)),
            shaft=pulley.part,
            speed_power=1.0,
            needs_belt=True,
            envelopes=(touch,),
            offsets=tuple(np.arange(vanes) / vanes + rng.normal(0.0, 0.01, vanes)),
            gains=tuple(rng.uniform(0.3, 1.0, vanes)),
            slip=0.001,
            spread_db=3.0,
        ),
    ]


def seal(rng: Generator, pulley: TruePulley) -> list[Voice]:
    """A dry face seal: stick-slip squeal that warbles with the pump shaft."""
    wobble = Envelope(
        pulley.part,
        1.0,
        swing_table(
            np.array([1.0, 2.0]), np.array([rng.uniform(0.3, 1.0), rng.uniform(0, 0.4)]), rng
        ),
    )
    gate = Gate(
        duty=float(rng.uniform(0.4, 1.0)),
        length_s=float(rng.uniform(0.5, 4.0)),
        floor=float(rng.uniform(0.0, 0.3)),
    )
    pitch = float(np.exp(rng.uniform(np.log(900), np.log(4200))))
    return [
        Whistle(
            pulley.part,
            0.0,
            FLAT,
            shaft=pulley.part,
            speed_power=0.3,
            needs_belt=True,
            envelopes=(wobble,),
            gate=gate,
            grain=(float(rng.uniform(1.0, 4.0)), float(rng.uniform(2.0, 12.0))),
            pitch_hz=pitch,
            pitch_power=float(rng.uniform(0.0, 0.4)),
            wander=float(rng.uniform(0.002, 0.02)),
            wander_hz=float(rng.uniform(2.0, 20.0)),
            pull=float(rng.uniform(0.0, 0.03)),
            pull_by=wobble,
            table=series(rng, int(rng.integers(1, 6)), float(rng.uniform(0.2, 0.7))),
        ),
        Noise(
            pulley.part,
            float(rng.uniform(-16.0, -5.0)),
            coloured(rng, 0.7 * pitch, min(2.5 * pitch, 10_000.0)),
            shaft=pulley.part,
            needs_belt=True,
            envelopes=(wobble,),
        ),
    ]


def tensioner_rattle(rng: Generator, part: str, engine: EngineSpec) -> list[Voice]:
    """A worn arm knocks its stops when firing torsion swings the belt."""
    offsets = engine.firing_turns + float(rng.uniform(0.0, 1.0))
    return [
        Ticks(
            part,
            0.0,
            random_modes(rng, 250.0, 3500.0, int(rng.integers(4, 10)), damping=(0.02, 0.12)),
            speed_power=float(rng.uniform(-0.8, 0.3)),
            follows=(("effort", float(rng.uniform(0, 4))), ("ac", float(rng.uniform(0, 4)))),
            needs_belt=True,
            gate=Gate(
                duty=float(rng.uniform(0.4, 1.0)),
                length_s=float(rng.uniform(0.2, 1.5)),
                opened_by=("coast",) if rng.random() < 0.5 else (),
                floor=float(rng.uniform(0.05, 0.5)),
            ),
            grain=(float(rng.uniform(1.0, 4.0)), float(rng.uniform(2.0, 8.0))),
            period_turns=engine.cycle_turns,
            offsets=tuple(offsets),
            gains=tuple(np.exp(0.5 * rng.standard_normal(len(offsets)))),
            jitter_turns=float(rng.uniform(0.01, 0.08)),
            spread_db=float(rng.uniform(3.0, 7.0)),
            missing=float(rng.uniform(0.1, 0.6)),
            bounces=int(rng.integers(0, 4)),
            bounce_s=float(rng.uniform(0.003, 0.012)),
        )
    ]


def clatter(rng: Generator, pulley: TruePulley, *, engaged: bool) -> list[Voice]:
    """Compressor clutch or inside: `engaged` decides when it is loudest."""
    signal_db = float(rng.uniform(6.0, 16.0)) if engaged else -float(rng.uniform(6.0, 18.0))
    hits = int(rng.integers(1, 4)) if not engaged else max(pulley.count, 1)
    offsets = np.sort(rng.random(hits)) if not engaged else np.arange(hits) / hits
    by_turn = Envelope(
        pulley.part,
        1.0,
        swing_table(np.array([1.0]), np.array([rng.uniform(0.2, 0.9)]), rng),
    )
    return [
        Ticks(
            pulley.part,
            0.0,
            random_modes(rng, 300.0, 4500.0, int(rng.integers(4, 10)), damping=(0.015, 0.1)),
            shaft=pulley.part,
            speed_power=float(rng.uniform(0.3, 1.2)),
            follows=(("ac", signal_db),),
            needs_belt=True,
            grain=(float(rng.uniform(1.0, 4.0)), float(rng.uniform(1.0, 8.0))),
            offsets=tuple(offsets),
            gains=tuple(rng.uniform(0.3, 1.0, hits)),
            slip=0.002,
            jitter_turns=float(rng.uniform(0.01, 0.06)),
            spread_db=float(rng.uniform(2.0, 5.0)),
            missing=float(rng.uniform(0.0, 0.3)),
            bounces=int(rng.integers(0, 3)),
        ),
        Noise(
            pulley.part,
            float(rng.uniform(-14.0, -2.0)),
            coloured(rng, 400.0, float(rng.uniform(3000, 8000)), ripple_db=5.0),
            shaft=pulley.part,
            speed_power=1.2,
            follows=(("ac", signal_db),),
            needs_belt=True,
            envelopes=(by_turn,),
            grain=(2.0, 6.0),
        ),
    ]


def pump_whine(rng: Generator, pulley: TruePulley) -> list[Voice]:
    """Vane ripple of a pump that draws air or is worn: strong harmonics, worse when steering."""
    vanes = pulley.count
    harmonics = np.arange(1, 9)
    strength = float(rng.uniform(0.5, 0.95)) ** harmonics * rng.uniform(0.2, 1.0, 8)
    multiples = np.concatenate((vanes * harmonics, vanes * harmonics - 1, vanes * harmonics + 1))
    side = float(rng.uniform(0.02, 0.3))
    steering = (("steering", float(rng.uniform(3.0, 14.0))),)
    return [
        Tones(
            pulley.part,
            0.0,
            housing(rng, 150.0, float(rng.uniform(2500, 6000))),
            shaft=pulley.part,
            speed_power=float(rng.uniform(0.5, 1.6)),
            follows=steering,
            needs_belt=True,
            grain=(float(rng.uniform(0.5, 3.0)), 4.0),
            table=line_table(
                multiples, np.concatenate((strength, side * strength, side * strength)), rng
            ),
        ),
        Noise(
            pulley.part,
            float(rng.uniform(-20.0, -6.0)),
            coloured(rng, 300.0, 4000.0),
            shaft=pulley.part,
            speed_power=1.2,
            follows=steering,
            needs_belt=True,
            grain=(3.0, 8.0),
        ),
    ]


def fan_clutch(rng: Generator, pulley: TruePulley) -> list[Voice]:
    """A viscous clutch stuck on: roar and blade tone; or loose: rumble once a turn."""
    blades = pulley.count
    multiples = np.concatenate((blades * np.arange(1, 7), np.arange(1, blades)))
    strength = np.concatenate(
        (0.7 ** np.arange(6) * rng.uniform(0.3, 1, 6), rng.uniform(0.02, 0.2, blades - 1))
    )
    voices: list[Voice] = [
        Noise(
            pulley.part,
            0.0,
            coloured(
                rng,
                float(rng.uniform(100, 300)),
                float(rng.uniform(1200, 4000)),
                slope_db_per_octave=float(rng.uniform(-5.0, -1.0)),
            ),
            shaft=pulley.part,
            speed_power=float(rng.uniform(1.8, 2.8)),
            needs_belt=True,
            envelopes=(
                Envelope(
                    pulley.part,
                    1.0,
                    swing_table(
                        np.array([blades, 1]),
                        np.array([rng.uniform(0.0, 0.6), rng.uniform(0.0, 0.4)]),
                        rng,
                    ),
                ),
            ),
        ),
        Tones(
            pulley.part,
            float(rng.uniform(-8.0, 2.0)),
            coloured(rng, 60.0, 2000.0),
            shaft=pulley.part,
            speed_power=float(rng.uniform(1.8, 2.8)),
            needs_belt=True,
            table=line_table(multiples, strength, rng),
        ),
    ]
    if rng.random() < 0.4:
        voices.append(
            Ticks(
                pulley.part,
                float(rng.uniform(-10.0, 0.0)),
                random_modes(rng, 150.0, 1500.0, 6, damping=(0.03, 0.15)),
                shaft=pulley.part,
                speed_power=1.0,
                needs_belt=True,
                slip=0.003,
                jitter_turns=0.03,
                spread_db=3.0,
            )
        )
    return voices
