"""Faults of the engine itself, which stay when the belt is off, and oddities off the list."""

from __future__ import annotations

import numpy as np
from numpy.random import Generator

from beltside.rig.drive_faults import series
from beltside.rig.engine import EngineSpec, pipe_response
from beltside.rig.synthesis import chain, coloured, random_modes
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
    rough_table,
    swing_table,
)


def damper(rng: Generator, engine: EngineSpec) -> list[Voice]:
    """Crank pulley with torn rubber: knock and rub once a turn, stirred by torsion."""
    hits = int(rng.integers(1, 3))
    cycle = engine.cycle_turns
    turns = int(cycle)
    offsets = np.concatenate([np.sort(rng.random(hits)) + k for k in range(turns)])
    gains = np.tile(rng.uniform(0.4, 1.0, hits), turns)
    gains[hits:] *= float(rng.uniform(0.4, 1.0))  # the second turn of a cycle differs
    rub = Envelope(
        "crank",
        cycle,
        bump_table(offsets / cycle, np.full(len(offsets), rng.uniform(0.03, 0.2)), gains, 0.1),
    )
    voices: list[Voice] = [
        Ticks(
            "crank",
            0.0,
            random_modes(
                rng,
                180.0,
                float(rng.uniform(1500, 4000)),
                int(rng.integers(4, 10)),
                damping=(0.02, 0.15),
            ),
            speed_power=float(rng.uniform(-0.3, 0.8)),
            follows=(("coast", float(rng.uniform(0.0, 5.0))), ("belt", float(rng.uniform(0, 6)))),
            grain=(float(rng.uniform(0.5, 3.0)), float(rng.uniform(1.0, 6.0))),
            period_turns=cycle,
            offsets=tuple(offsets),
            gains=tuple(gains),
            jitter_turns=float(rng.uniform(0.002, 0.03)),
            spread_db=float(rng.uniform(1.0, 5.0)),
            missing=float(rng.uniform(0.0, 0.2)),
            bounces=int(rng.integers(0, 3)),
        ),
        Noise(
            "crank",
            float(rng.uniform(-14.0, 0.0)),
            coloured(
                rng, float(rng.uniform(300, 1000)), float(rng.uniform(2500, 7000)), ripple_db=5.0
            ),
            speed_power=1.0,
            follows=(("belt", 3.0),),
            envelopes=(rub,),
            grain=(2.0, 6.0),
        ),
    ]
    if rng.random() < 0.25:
        voices.append(
            Whistle(
                "crank",
                float(rng.uniform(-10.0, 0.0)),
                FLAT,
                speed_power=0.3,
                envelopes=(rub,),
                pitch_hz=float(rng.uniform(700, 3500)),
                wander=0.02,
                wander_hz=10.0,
                table=series(rng, 4, 0.5),
            )
        )
    return voices


def chain_rattle(rng: Generator, engine: EngineSpec) -> list[Voice]:
    """A slack chain slaps its guides in bursts, most on speed changes."""
    cycle = engine.cycle_turns
    bursts = int(rng.choice([1, 2, max(2, engine.cylinders)]))
    at = (np.arange(bursts) / bursts + rng.random()) % 1.0
    width = float(rng.uniform(0.03, 0.2)) / bursts
    burst = Envelope(
        "crank", cycle, bump_table(at, np.full(bursts, width), rng.uniform(0.4, 1, bursts), 0.1)
    )
    gate = Gate(
        duty=float(rng.uniform(0.15, 1.0)),
        length_s=float(rng.uniform(0.3, 2.0)),
        opened_by=("coast", "effort"),
        floor=float(rng.uniform(0.1, 0.5)),
    )
    teeth = engine.chain_teeth or 20
    hits = int(teeth * cycle)
    return [
        Ticks(
            "timing-chain",
            0.0,
            random_modes(rng, 500.0, 6000.0, int(rng.integers(5, 12)), damping=(0.02, 0.12)),
            speed_power=float(rng.uniform(0.0, 0.8)),
            envelopes=(burst,),
            gate=gate,
            grain=(float(rng.uniform(1.0, 4.0)), float(rng.uniform(2.0, 10.0))),
            period_turns=cycle,
            offsets=tuple(np.arange(hits) / hits * cycle),
            gains=tuple(rng.uniform(0.3, 1.0, hits)),
            jitter_turns=float(rng.uniform(0.005, 0.03)),
            spread_db=float(rng.uniform(3.0, 7.0)),
            missing=float(rng.uniform(0.2, 0.6)),
        ),
        Noise(
            "timing-chain",
            float(rng.uniform(-12.0, -2.0)),
            coloured(rng, 600.0, float(rng.uniform(4000, 9000)), ripple_db=4.0),
            speed_power=0.8,
            envelopes=(burst,),
            gate=gate,
        ),
    ]


def chain_whine(rng: Generator, engine: EngineSpec) -> list[Voice]:
    """Sprocket mesh: a tone at the tooth order with sidebands of the crank and the cam."""
    teeth = engine.chain_teeth or 20
    side = float(rng.uniform(0.05, 0.5))
    multiples, strength = [], []
    for harmonic, fall in enumerate(float(rng.uniform(0.3, 0.8)) ** np.arange(4), start=1):
        centre = 2 * teeth * harmonic
        multiples += [centre, centre - 2, centre + 2, centre - 1, centre + 1]
        strength += [fall, fall * side, fall * side, fall * side * 0.5, fall * side * 0.5]
    return [
        Tones(
            "timing-chain",
            0.0,
            random_modes(rng, 200.0, 5000.0, 14, damping=(0.04, 0.25), length=1024),
            speed_power=float(rng.uniform(0.4, 1.4)),
            follows=(("effort", float(rng.uniform(0.0, 4.0))),),
            grain=(float(rng.uniform(0.5, 2.5)), 4.0),
            period_turns=2.0,
            table=line_table(
                np.array(multiples), np.array(strength) * rng.uniform(0.4, 1, len(strength)), rng
            ),
        )
    ]


def valve_tick(rng: Generator, engine: EngineSpec) -> list[Voice]:
    """One valve with too much clearance: a tick once a working cycle."""
    hits = int(rng.choice([1, 1, 2]))
    return [
        Ticks(
            "valve-train",
            0.0,
            random_modes(rng, 1200.0, 9000.0, int(rng.integers(3, 9)), damping=(0.01, 0.08)),
            speed_power=float(rng.uniform(0.2, 1.0)),
            grain=(float(rng.uniform(0.3, 2.5)), float(rng.uniform(0.5, 4.0))),
            period_turns=engine.cycle_turns,
            offsets=tuple(np.sort(rng.uniform(0.0, engine.cycle_turns, hits))),
            gains=tuple(rng.uniform(0.5, 1.0, hits)),
            jitter_turns=float(rng.uniform(0.0005, 0.006)),
            spread_db=float(rng.uniform(0.5, 3.5)),
            bounces=int(rng.integers(0, 3)),
            bounce_s=float(rng.uniform(0.001, 0.004)),
        )
    ]


def vacuum_hiss(rng: Generator, engine: EngineSpec) -> list[Voice]:
    """Air drawn in through a leak: steady hiss, weakly pulsed, sometimes whistling."""
    depth = float(rng.uniform(0.0, 0.35))
    pulse = Envelope(
        "crank",
        engine.cycle_turns,
        swing_table(np.array([engine.cylinders]), np.array([depth]), rng),
    )
    low = float(rng.uniform(1500, 4500))
    voices: list[Voice] = [
        Noise(
            "vacuum-leak",
            0.0,
            coloured(
                rng,
                low,
                float(rng.uniform(max(6000, low), 15_000)),
                slope_db_per_octave=float(rng.uniform(-3, 2)),
                ripple_db=4.0,
            ),
            speed_power=float(rng.uniform(-0.3, 0.2)),
            # Opening the throttle takes the vacuum away; overrun makes the most of it.
            follows=(("effort", -float(rng.uniform(3, 15))), ("coast", float(rng.uniform(0, 4)))),
            envelopes=(pulse,),
            grain=(float(rng.uniform(0.1, 1.0)), float(rng.uniform(1.0, 5.0))),
        )
    ]
    if rng.random() < 0.3:
        voices.append(
            Whistle(
                "vacuum-leak",
                float(rng.uniform(-10.0, 2.0)),
                FLAT,
                speed_power=0.0,
                follows=(("effort", -10.0),),
                envelopes=(pulse,),
                grain=(2.0, 5.0),
                pitch_hz=float(rng.uniform(1500, 7000)),
                wander=0.01,
                wander_hz=6.0,
                table=series(rng, 3, 0.3),
            )
        )
    return voices


def exhaust_tick(rng: Generator, engine: EngineSpec) -> list[Voice]:
    """Gas puffing out at the manifold, of one cylinder or all."""
    one = rng.random() < 0.65
    firing = engine.firing_turns + 0.36
    chosen = firing[[int(rng.integers(engine.cylinders))]] if one else firing
    puff = Envelope(
        "crank",
        engine.cycle_turns,
        bump_table(
            chosen / engine.cycle_turns % 1.0,
            np.full(len(chosen), float(rng.uniform(0.01, 0.06))),
            np.ones(len(chosen)),
            0.03,
        ),
    )
    effort = (("effort", float(rng.uniform(4.0, 12.0))), ("coast", -8.0))
    return [
        Ticks(
            "exhaust-leak",
            0.0,
            pipe_response(rng, 300.0, 3000.0, float(rng.uniform(0.15e-3, 0.8e-3))),
            speed_power=float(rng.uniform(0.0, 0.8)),
            follows=effort,
            period_turns=engine.cycle_turns,
            offsets=tuple(chosen),
            gains=tuple(np.exp(0.2 * rng.standard_normal(len(chosen)))),
            jitter_turns=float(rng.uniform(0.002, 0.012)),
            spread_db=float(rng.uniform(0.8, 3.0)),
        ),
        Noise(
            "exhaust-leak",
            float(rng.uniform(-10.0, 2.0)),
            coloured(
                rng,
                float(rng.uniform(300, 900)),
                float(rng.uniform(2500, 6000)),
                slope_db_per_octave=float(rng.uniform(-4, 0)),
            ),
            speed_power=float(rng.uniform(0.2, 1.0)),
            follows=effort,
            envelopes=(puff,),
        ),
    ]


def deep_knock(rng: Generator, engine: EngineSpec) -> list[Voice]:
    """A heavy knock of a rod, piston or main bearing: once a turn or once a cycle."""
    cycle = engine.cycle_turns
    per_turn = rng.random() < 0.5
    first = float(rng.uniform(0.0, 1.0))
    offsets = (first,) if not per_turn or cycle == 1.0 else (first, first + 1.0)
    gains = (1.0,) if len(offsets) == 1 else (1.0, float(rng.uniform(0.4, 1.0)))
    return [
        Ticks(
            "engine",
            0.0,
            random_modes(
                rng,
                float(rng.uniform(250, 600)),
                float(rng.uniform(1200, 2600)),
                int(rng.integers(4, 10)),
                tilt_db_per_octave=-4.0,
                damping=(0.02, 0.1),
            ),
            speed_power=float(rng.uniform(0.3, 1.4)),
            follows=(("effort", float(rng.uniform(2.0, 8.0))),),
            grain=(float(rng.uniform(0.5, 2.5)), float(rng.uniform(1.0, 5.0))),
            period_turns=cycle,
            offsets=offsets,
            gains=gains,
            jitter_turns=float(rng.uniform(0.002, 0.015)),
            spread_db=float(rng.uniform(1.0, 4.0)),
            bounces=int(rng.integers(0, 2)),
        )
    ]


def oddity(rng: Generator, engine: EngineSpec) -> list[Voice]:
    """Something that is on no list: loose shield, gear whine, pump hum, rubbing, buzzing."""
    kind = int(rng.integers(6))
    if kind == 0:  # a loose heat shield buzzes with the firing, at some speeds
        firing = engine.firing_turns
        return [
            Ticks(
                str(rng.choice(["exhaust", "engine"])),
                0.0,
                random_modes(rng, 800.0, 8000.0, 10, damping=(0.004, 0.04)),
                speed_power=float(rng.uniform(-0.5, 0.5)),
                gate=Gate(duty=0.6, length_s=0.4, opened_by=("coast",), floor=0.1),
                period_turns=engine.cycle_turns,
                offsets=tuple(firing),
                gains=tuple(np.ones(len(firing))),
                jitter_turns=0.03,
                spread_db=5.0,
                missing=0.3,
                bounces=5,
                bounce_s=float(rng.uniform(0.001, 0.005)),
                bounce_gain=0.75,
            )
        ]
    if kind == 1:  # gears at an order that belongs to nothing at the front
        ratio = float(rng.uniform(0.4, 3.0))
        teeth = int(rng.integers(11, 40))
        return [
            Tones(
                "engine",
                0.0,
                random_modes(rng, 150.0, 4000.0, 12, damping=(0.04, 0.25), length=1024),
                speed_power=float(rng.uniform(0.3, 1.2)),
                grain=(1.5, 4.0),
                period_turns=1.0 / ratio,
                table=line_table(
                    np.array([teeth, teeth - 1, teeth + 1, 2 * teeth, 3 * teeth]),
                    np.array([1.0, 0.2, 0.2, 0.5, 0.2]),
                    rng,
                ),
            )
        ]
    if kind == 2:  # an electric pump or relay hums at its own pitch
        return [
            Whistle(
                "engine",
                0.0,
                FLAT,
                speed_power=0.0,
                pitch_hz=float(np.exp(rng.uniform(np.log(100), np.log(1200)))),
                wander=0.002,
                wander_hz=0.5,
                grain=(0.8, 2.0),
                table=series(rng, 10, 0.75),
            )
        ]
    if kind == 3:  # rubbing at a rate of its own: a wheel, a drive shaft, a cooling fan
        own = float(rng.uniform(0.13, 0.47))
        touch = Envelope(
            str(rng.choice(["crank", "clock"])), 1.0 / own, rough_table(rng, 0.9, 2, 10)
        )
        return [
            Noise(
                "engine",
                0.0,
                coloured(rng, 400.0, 5000.0, ripple_db=5.0),
                speed_power=0.8,
                envelopes=(touch,),
                grain=(3.0, 6.0),
            )
        ]
    if kind == 4:  # a trim panel or bracket resonates with an engine order
        order = int(rng.choice([engine.cylinders, 2 * engine.cylinders, 2, 3]))
        return [
            Tones(
                "engine",
                0.0,
                chain(random_modes(rng, 150.0, 900.0, 4, damping=(0.01, 0.06))),
                speed_power=0.0,
                gate=Gate(duty=0.5, length_s=0.7, floor=0.1),
                grain=(3.0, 6.0),
                period_turns=engine.cycle_turns,
                table=line_table(
                    order * np.arange(1, 25), 0.9 ** np.arange(24) * rng.uniform(0.2, 1, 24), rng
                ),
            )
        ]
    return [  # an electric cooling fan that hits something
        Ticks(
            "radiator-fan",
            0.0,
            random_modes(rng, 400.0, 5000.0, 8, damping=(0.02, 0.1)),
            shaft="clock",
            speed_power=0.0,
            period_turns=float(rng.uniform(0.15, 0.6)),
            slip=0.004,
            spread_db=3.0,
            grain=(2.0, 3.0),
        )
    ]
