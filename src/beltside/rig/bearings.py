"""Ball bearings: how fast their parts pass each other, and what a damaged one sounds like.

Kinematics for any two ring speeds. With pure rolling, the ball centres move at the mean of the
two contact speeds (Randall & Antoni, MSSP 25, 2011; derivation from memory). With
r = ball cos(contact) / pitch:

    cage  = 1/2 inner (1 - r) + 1/2 outer (1 + r)
    balls over the outer ring  = balls |cage - outer|
    balls over the inner ring  = balls |inner - cage|
    ball spin  = pitch / (2 ball) (1 - r^2) |inner - outer|

So an idler, whose outer ring turns, has the same passing rates per turn as a shaft bearing, but
its cage turns at 1/2 (1 + r), and it is the outer ring's damage that moves through the load.
Impact timing and its random slip follow the same paper; ring frequencies are our own choice.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.random import Generator

from beltside.drive.sheet import Bearing
from beltside.rig.layout import TruePulley
from beltside.rig.synthesis import Float32, coloured, random_modes
from beltside.rig.voices import (
    Envelope,
    Gate,
    Noise,
    Ticks,
    Voice,
    Whistle,
    line_table,
    rough_table,
)


@dataclass(frozen=True)
class Rates:
    """Events per turn of the ring that turns; `cage` is turns of the cage."""

    outer: float
    inner: float
    ball: float
    cage: float


def rates(bearing: Bearing, *, outer_ring_turns: bool) -> Rates:
    """Passing rates per turn; `ball` is the ball's own spin, it strikes twice in each."""
    share = bearing.ball_mm / bearing.pitch_mm * np.cos(np.radians(bearing.contact_deg))
    inner, outer = (0.0, 1.0) if outer_ring_turns else (1.0, 0.0)
    cage = 0.5 * inner * (1.0 - share) + 0.5 * outer * (1.0 + share)
    return Rates(
        outer=float(bearing.balls * abs(cage - outer)),
        inner=float(bearing.balls * abs(inner - cage)),
        ball=float(bearing.pitch_mm / (2 * bearing.ball_mm) * (1 - share**2) * abs(inner - outer)),
        cage=float(cage),
    )


def cage_order(bearing: Bearing, *, outer_ring_turns: bool) -> float:
    """Turns of the cage per turn of the ring that turns."""
    return rates(bearing, outer_ring_turns=outer_ring_turns).cage


def load_zone(rng: Generator, depth: float, exponent: float) -> Float32:
    """Gain of an impact by where in the load zone it falls (Stribeck's form, from memory)."""
    angle = np.arange(1024) / 1024.0
    extent = rng.uniform(0.35, 0.6)
    zone = np.maximum(1.0 - (1.0 - np.cos(2 * np.pi * angle)) / (2.0 * extent), 0.0) ** exponent
    gain = (1.0 - depth) + depth * zone
    return np.asarray(gain / np.sqrt(np.mean(gain**2)), dtype=np.float32)


def ring_response(rng: Generator) -> Float32:
    """What an impact sets ringing: a few modes between 1 and 9 kHz over a low pedestal."""
    main = random_modes(
        rng, 1000.0, 9000.0, int(rng.integers(2, 7)), damping=(0.008, 0.08), length=1536
    )
    low = random_modes(
        rng, 300.0, 1500.0, int(rng.integers(1, 5)), damping=(0.03, 0.15), length=1536
    )
    mixed: Float32 = main + np.float32(rng.uniform(0.0, 0.7)) * low
    return mixed


def bearing_fault(rng: Generator, pulley: TruePulley) -> tuple[Voice, ...]:
    """A bad bearing: struck spots, dry or rough running, or (most often) both. 0 dB overall."""
    stage = rng.random()
    spots_db, rough_db = (
        (0.0, float(rng.uniform(-16, -6)))
        if stage < 0.3
        else (float(rng.uniform(-18, -8)), 0.0)
        if stage < 0.6
        else (float(rng.uniform(-6, 0)), float(rng.uniform(-6, 0)))
    )
    voices: list[Voice] = []
    voices += damaged_spots(rng, pulley, spots_db)
    voices += rough_running(rng, pulley, rough_db)
    return tuple(voices)


def damaged_spots(
    rng: Generator, pulley: TruePulley, level_db: float, place: str | None = None
) -> list[Voice]:
    """Impacts of spalled spots on "outer", "inner" or "ball"; drawn when not given."""
    turns_outer = pulley.outer_ring_turns
    per_turn = rates(pulley.bearing, outer_ring_turns=turns_outer)
    chosen = place or str(rng.choice(["outer", "inner", "ball"], p=[0.5, 0.35, 0.15]))
    rate = {"outer": per_turn.outer, "inner": per_turn.inner, "ball": 2 * per_turn.ball}[chosen]
    # The damage rides through the fixed load zone with whatever carries it round.
    standing = chosen == ("inner" if turns_outer else "outer")
    carried = (
        ()
        if standing
        else (
            Envelope(
                pulley.part,
                1.0 / per_turn.cage if chosen == "ball" else 1.0,
                load_zone(rng, float(rng.uniform(0.3, 1.0)), float(rng.uniform(1.0, 2.0))),
            ),
        )
    )
    # Run-out and belt pull change the load a little once a turn in any case.
    once = Envelope(pulley.part, 1.0, rough_table(rng, float(rng.uniform(0.0, 0.35)), 1, 8))
    spots = int(rng.choice([1, 1, 1, 2, 3]))
    offsets = np.sort(np.concatenate(([0.0], rng.uniform(0.05, 0.95, spots - 1)))) / rate
    return [
        Ticks(
            pulley.part,
            level_db,
            ring_response(rng),
            shaft=pulley.part,
            speed_power=float(rng.uniform(0.7, 1.4)),
            needs_belt=True,
            envelopes=(*carried, once),
            grain=(float(rng.uniform(0.5, 3.0)), float(rng.uniform(1.0, 8.0))),
            period_turns=1.0 / rate,
            offsets=tuple(offsets),
            gains=tuple(rng.uniform(0.3, 1.0, spots)),
            slip=float(rng.uniform(0.005, 0.02)),
            spread_db=float(rng.uniform(1.0, 4.0)),
        )
    ]


def rough_running(rng: Generator, pulley: TruePulley, level_db: float) -> list[Voice]:
    """Dry or rough running: grinding noise, growl, sometimes a dry squeal."""
    per_turn = rates(pulley.bearing, outer_ring_turns=pulley.outer_ring_turns)
    by_turn = Envelope(
        pulley.part,
        1.0,
        rough_table(
            rng, float(rng.uniform(0.15, 0.9)), int(rng.integers(1, 3)), int(rng.integers(3, 12))
        ),
    )
    by_cage = Envelope(
        pulley.part,
        1.0 / per_turn.cage,
        rough_table(rng, float(rng.uniform(0.05, 0.7)), 1, 8),
    )
    growl_db = float(rng.uniform(-10.0, 2.0))
    voices: list[Voice] = [
        Noise(
            pulley.part,
            level_db,
            coloured(
                rng,
                float(rng.uniform(700, 2500)),
                float(rng.uniform(4000, 11_000)),
                slope_db_per_octave=float(rng.uniform(-4.0, 2.0)),
                ripple_db=5.0,
            ),
            shaft=pulley.part,
            speed_power=float(rng.uniform(0.8, 1.8)),
            needs_belt=True,
            envelopes=(by_turn, by_cage),
            grain=(float(rng.uniform(1.0, 4.5)), float(rng.uniform(2.0, 15.0))),
        ),
        Noise(
            pulley.part,
            level_db + growl_db,
            random_modes(rng, 200.0, 1500.0, int(rng.integers(3, 9)), damping=(0.02, 0.15)),
            shaft=pulley.part,
            speed_power=float(rng.uniform(0.6, 1.6)),
            needs_belt=True,
            envelopes=(by_turn, by_cage),
            grain=(float(rng.uniform(1.0, 4.0)), float(rng.uniform(2.0, 12.0))),
        ),
    ]
    if rng.random() < 0.15:  # a dry bearing sings now and then
        voices.append(
            Whistle(
                pulley.part,
                level_db + float(rng.uniform(-12.0, -2.0)),
                random_modes(rng, 600.0, 6000.0, 6, damping=(0.05, 0.3)),
                shaft=pulley.part,
                speed_power=0.3,
                needs_belt=True,
                envelopes=(by_turn,),
                gate=Gate(duty=float(rng.uniform(0.1, 0.6)), length_s=float(rng.uniform(0.2, 2))),
                pitch_hz=float(np.exp(rng.uniform(np.log(700), np.log(5000)))),
                pitch_power=float(rng.uniform(0.0, 0.5)),
                wander=0.01,
                pull=0.01,
                pull_by=by_turn,
                table=line_table(np.arange(1, 4), np.array([1.0, 0.4, 0.2]), rng),
            )
        )
    return voices
