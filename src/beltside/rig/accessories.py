"""What belt-driven parts and the belt sound like in good order.

Every part makes some noise: a fault must be told from these, not from silence. Levels are our
own choice; the wide scatter and the heavy tail stand for worn parts that are not the complaint.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.random import Generator

from beltside.base.words import part_kind
from beltside.rig.bearings import cage_order
from beltside.rig.engine import SPARSE_SHARE
from beltside.rig.layout import Drive, TruePulley
from beltside.rig.synthesis import Float32, chain, coloured, random_modes
from beltside.rig.voices import Envelope, Noise, Tones, Voice, line_table, rough_table, swing_table


def worn(rng: Generator, mean_db: float, spread_db: float = 6.0) -> float:
    """A level [dB], now and then well above the usual."""
    extra = float(rng.uniform(3.0, 10.0)) if rng.random() < 0.1 else 0.0
    return float(rng.normal(mean_db, spread_db)) + extra


def housing(rng: Generator, low_hz: float, high_hz: float) -> Float32:
    """How a part's housing colours what it radiates."""
    return chain(
        random_modes(
            rng, low_hz, high_hz, int(rng.integers(6, 14)), damping=(0.02, 0.2), length=1536
        ),
        coloured(
            rng, low_hz, high_hz, slope_db_per_octave=float(rng.uniform(-4.0, 0.0)), length=512
        ),
    )


def healthy_drive(rng: Generator, drive: Drive) -> tuple[Voice, ...]:
    """Voices of all belt-driven parts and the belt of a drive without a fault."""
    voices: list[Voice] = []
    for pulley in drive.pulleys:
        if pulley.part == "crank":
            continue
        body = housing(rng, float(rng.uniform(60, 200)), float(rng.uniform(3000, 8000)))
        voices.append(_running_noise(rng, pulley))
        voices.append(_run_out(rng, pulley, body))
        kind = part_kind(pulley.part)
        if kind == "alternator":
            voices += _alternator(rng, pulley, body)
        elif kind in ("coolant-pump", "steering-pump", "ac-compressor"):
            voices += _pump(rng, pulley, kind, body)
        elif kind == "fan":
            voices += _fan(rng, pulley, body)
    voices += _belt(rng)
    if rng.random() < SPARSE_SHARE:  # in some drives only the bearings and the belt are heard
        voices = [voice for voice in voices if isinstance(voice, Noise) or rng.random() < 0.4]
    # A well shielded front is quieter as a whole than a bare one.
    common_db = float(rng.normal(-4.0, 4.0))
    return tuple(replace(voice, level_db=voice.level_db + common_db) for voice in voices)


def _running_noise(rng: Generator, pulley: TruePulley) -> Voice:
    """Bearing in good order: low broadband noise, weakly tied to shaft and cage."""
    cage = cage_order(pulley.bearing, outer_ring_turns=pulley.outer_ring_turns)
    return Noise(
        pulley.part,
        worn(rng, -29.0),
        housing(rng, float(rng.uniform(300, 900)), float(rng.uniform(3000, 9000))),
        shaft=pulley.part,
        speed_power=float(rng.uniform(0.8, 1.6)),
        needs_belt=True,
        envelopes=(
            Envelope(pulley.part, 1.0, rough_table(rng, float(rng.uniform(0.0, 0.4)), 1)),
            Envelope(
                pulley.part,
                1.0 / cage,
                swing_table(np.array([1.0]), np.array([rng.uniform(0.0, 0.25)]), rng),
            ),
        ),
        grain=(float(rng.uniform(0.5, 2.0)), float(rng.uniform(2.0, 15.0))),
    )


def _run_out(rng: Generator, pulley: TruePulley, body: Float32) -> Voice:
    return Tones(
        pulley.part,
        worn(rng, -30.0),
        body,
        shaft=pulley.part,
        speed_power=float(rng.uniform(0.8, 1.6)),
        needs_belt=True,
        table=line_table(np.arange(1, 9), 0.65 ** np.arange(8) * rng.uniform(0.2, 1.0, 8), rng),
    )


def _alternator(rng: Generator, pulley: TruePulley, body: Float32) -> list[Voice]:
    """Magnetic whine at pole and slot orders, air noise of the two uneven cooling fans."""
    pairs = pulley.count // 2
    orders = np.array([pulley.count, 3 * pulley.count, 6 * pulley.count, pairs, 6 * pairs + 1])
    strength = np.array([0.5, 1.0, 0.5, 0.1, 0.15]) * rng.uniform(0.1, 1.0, 5)
    blades = int(rng.integers(8, 15))
    fan = np.arange(4, 2 * blades)
    uneven = rng.uniform(0.05, 1.0, len(fan)) * np.where(fan == blades, 2.0, 0.5)
    return [
        Tones(
            pulley.part,
            worn(rng, -29.0, 7.0),
            body,
            shaft=pulley.part,
            speed_power=float(rng.uniform(0.3, 1.2)),
            follows=(("electric", float(rng.uniform(2.0, 14.0))),),
            needs_belt=True,
            table=line_table(orders, strength, rng),
        ),
        Tones(
            pulley.part,
            worn(rng, -33.0),
            body,
            shaft=pulley.part,
            speed_power=float(rng.uniform(1.5, 2.5)),
            needs_belt=True,
            grain=(2.0, 10.0),
            table=line_table(fan, uneven, rng),
        ),
        Noise(
            pulley.part,
            worn(rng, -31.0),
            coloured(rng, 400.0, 9000.0, slope_db_per_octave=-3.0),
            shaft=pulley.part,
            speed_power=float(rng.uniform(1.5, 2.5)),
            needs_belt=True,
        ),
    ]


def _pump(rng: Generator, pulley: TruePulley, kind: str, body: Float32) -> list[Voice]:
    """Flow noise and vane (piston) ripple with its shaft sidebands."""
    signal, full_db = {
        "coolant-pump": ("effort", 0.0),
        "steering-pump": ("steering", float(rng.uniform(4.0, 14.0))),
        "ac-compressor": ("ac", float(rng.uniform(10.0, 25.0))),
    }[kind]
    base = {"coolant-pump": -31.0, "steering-pump": -31.0, "ac-compressor": -45.0}[kind]
    vanes = pulley.count
    multiples = np.array([vanes * k + side for k in (1, 2, 3, 4) for side in (-1, 0, 1)])
    strength = np.array([s * 0.6**k for k in range(4) for s in (0.15, 1.0, 0.15)])
    return [
        Noise(
            pulley.part,
            worn(rng, base + 1.0),
            coloured(
                rng,
                float(rng.uniform(150, 500)),
                float(rng.uniform(1500, 6000)),
                slope_db_per_octave=float(rng.uniform(-5.0, 0.0)),
            ),
            shaft=pulley.part,
            speed_power=float(rng.uniform(1.2, 2.4)),
            follows=((signal, full_db),),
            needs_belt=True,
            envelopes=(
                Envelope(
                    pulley.part,
                    1.0,
                    swing_table(np.array([1.0, vanes]), rng.uniform(0.0, 0.3, 2), rng),
                ),
            ),
            grain=(float(rng.uniform(0.5, 3.0)), 8.0),
        ),
        Tones(
            pulley.part,
            worn(rng, base),
            body,
            shaft=pulley.part,
            speed_power=float(rng.uniform(0.8, 2.0)),
            follows=((signal, full_db),),
            needs_belt=True,
            grain=(float(rng.uniform(0.5, 3.0)), 5.0),
            table=line_table(multiples, strength * rng.uniform(0.2, 1.0, 12), rng),
        ),
    ]


def _fan(rng: Generator, pulley: TruePulley, body: Float32) -> list[Voice]:
    blades = pulley.count
    multiples = np.concatenate((blades * np.arange(1, 5), np.arange(1, blades)))
    strength = np.concatenate((0.5 ** np.arange(4), np.full(blades - 1, 0.1)))
    level = worn(rng, -18.0)
    return [
        Noise(
            pulley.part,
            level,
            coloured(rng, 100.0, 3000.0, slope_db_per_octave=-4.0),
            shaft=pulley.part,
            speed_power=float(rng.uniform(1.5, 2.5)),
            needs_belt=True,
        ),
        Tones(
            pulley.part,
            level - float(rng.uniform(0.0, 10.0)),
            body,
            shaft=pulley.part,
            speed_power=float(rng.uniform(1.5, 2.5)),
            needs_belt=True,
            table=line_table(multiples, strength * rng.uniform(0.2, 1.0, len(strength)), rng),
        ),
    ]


def _belt(rng: Generator) -> list[Voice]:
    """Ribs running in and out: noise that repeats, weakly, with each pass of the belt."""
    return [
        Noise(
            "belt",
            worn(rng, -28.0),
            coloured(
                rng,
                float(rng.uniform(500, 1500)),
                float(rng.uniform(4000, 11_000)),
                slope_db_per_octave=float(rng.uniform(-4.0, 1.0)),
            ),
            shaft="belt",
            speed_power=float(rng.uniform(1.0, 2.0)),
            needs_belt=True,
            envelopes=(Envelope("belt", 1.0, rough_table(rng, float(rng.uniform(0.0, 0.35)), 1)),),
            grain=(1.0, 6.0),
        )
    ]
