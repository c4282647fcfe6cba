"""Faults of the belt itself: slip, misalignment, damage. Ranges are our own choice."""

from __future__ import annotations

import numpy as np
from numpy.random import Generator

from beltside.rig.drive_faults import series
from beltside.rig.layout import Drive
from beltside.rig.synthesis import coloured, random_modes
from beltside.rig.voices import (
    Envelope,
    Gate,
    Noise,
    Ticks,
    Voice,
    Whistle,
    bump_table,
    rough_table,
)


def slip(rng: Generator, drive: Drive) -> list[Voice]:
    """Stick-slip squeal: a harmonic series whose pitch belongs to the belt, not to the speed."""
    pitch = float(np.exp(rng.uniform(np.log(400), np.log(4000))))
    power = float(rng.uniform(0.0, 0.35))
    slipping = str(rng.choice([part for part in drive.parts if part != "crank"]))
    by_turn = Envelope(slipping, 1.0, rough_table(rng, float(rng.uniform(0.0, 0.6)), 1, 10))
    drivers = ["effort"]
    if "alternator" in drive.parts:
        drivers.append("electric")
    if "steering-pump" in drive.parts:
        drivers.append("steering")
    if "ac-compressor" in drive.parts:
        drivers.append("ac")
    gate = Gate(
        duty=float(rng.uniform(0.15, 0.9)),
        length_s=float(rng.uniform(0.3, 3.0)),
        opened_by=tuple(d for d in drivers if rng.random() < 0.7),
    )
    voices: list[Voice] = [
        Whistle(
            "belt",
            0.0,
            random_modes(rng, 300.0, 8000.0, 10, damping=(0.05, 0.4), length=1024),
            shaft=slipping,
            speed_power=float(rng.uniform(0.0, 0.6)),
            needs_belt=True,
            envelopes=(by_turn,),
            gate=gate,
            grain=(float(rng.uniform(1.0, 4.0)), float(rng.uniform(3.0, 25.0))),
            pitch_hz=pitch,
            pitch_power=power,
            wander=float(rng.uniform(0.003, 0.03)),
            wander_hz=float(rng.uniform(2.0, 25.0)),
            pull=float(rng.uniform(0.0, 0.02)),
            pull_by=by_turn,
            table=series(rng, int(rng.integers(3, 12)), float(rng.uniform(0.4, 0.85))),
        ),
        Noise(
            "belt",
            float(rng.uniform(-18.0, -6.0)),
            coloured(rng, pitch, min(4 * pitch, 11_000.0)),
            shaft=slipping,
            needs_belt=True,
            gate=gate,
            envelopes=(by_turn,),
        ),
    ]
    return voices


def misalignment(rng: Generator, drive: Drive) -> list[Voice]:
    """Chirps as ribs drag into a groove: once a belt pass, or once a turn of that pulley."""
    pulleys = [part for part in drive.parts if part != "crank"]
    shaft = "belt" if rng.random() < 0.65 else str(rng.choice(pulleys))
    chirps = int(rng.choice([1, 1, 2, 3])) if shaft == "belt" else 1
    rate_hz = 13.0 * drive.shafts()[shaft].ratio
    width = np.full(chirps, min(float(rng.uniform(0.015, 0.07)) * rate_hz, 0.25))
    at = np.sort(rng.random(chirps))
    burst = Envelope(
        shaft, 1.0, bump_table(at, width, rng.uniform(0.5, 1.0, chirps), rng.uniform(0, 0.05))
    )
    pitch = float(np.exp(rng.uniform(np.log(1800), np.log(6000))))
    gate = Gate(
        duty=float(rng.uniform(0.6, 1.0)),
        length_s=float(rng.uniform(1.0, 5.0)),
        floor=float(rng.uniform(0.0, 0.4)),
    )
    return [
        Whistle(
            "belt",
            0.0,
            random_modes(rng, 1000.0, 9000.0, 8, damping=(0.05, 0.3), length=1024),
            speed_power=float(rng.uniform(-0.3, 0.6)),
            needs_belt=True,
            envelopes=(burst,),
            gate=gate,
            grain=(float(rng.uniform(1.0, 4.0)), float(rng.uniform(2.0, 8.0))),
            pitch_hz=pitch,
            pitch_power=float(rng.uniform(0.0, 0.3)),
            wander=float(rng.uniform(0.005, 0.04)),
            wander_hz=float(rng.uniform(5.0, 40.0)),
            pull=float(rng.uniform(-0.03, 0.06)),
            pull_by=burst,
            table=series(rng, int(rng.integers(1, 5)), float(rng.uniform(0.2, 0.6))),
        ),
        Noise(
            "belt",
            float(rng.uniform(-14.0, -3.0)),
            coloured(rng, 1500.0, 8000.0, ripple_db=5.0),
            speed_power=0.5,
            needs_belt=True,
            envelopes=(burst,),
            gate=gate,
        ),
    ]


def damage(rng: Generator, drive: Drive) -> list[Voice]:
    """A missing rib or lump meets every pulley once a pass: thumps and slaps."""
    hits = len(drive.parts)
    at = np.sort(rng.random(hits))
    gains = np.exp(0.9 * rng.standard_normal(hits))
    gains[int(rng.integers(hits))] += 2.0
    slap = Envelope("belt", 1.0, bump_table(at, np.full(hits, rng.uniform(0.02, 0.1)), gains, 0.15))
    return [
        Ticks(
            "belt",
            0.0,
            random_modes(rng, 90.0, float(rng.uniform(600, 2500)), 8, damping=(0.03, 0.2)),
            shaft="belt",
            speed_power=float(rng.uniform(0.4, 1.2)),
            needs_belt=True,
            offsets=tuple(at),
            gains=tuple(gains),
            slip=0.001,
            jitter_turns=0.002,
            spread_db=float(rng.uniform(1.0, 4.0)),
        ),
        Noise(
            "belt",
            float(rng.uniform(-10.0, 2.0)),
            coloured(
                rng, float(rng.uniform(500, 1500)), float(rng.uniform(3000, 9000)), ripple_db=4.0
            ),
            shaft="belt",
            speed_power=float(rng.uniform(0.6, 1.4)),
            needs_belt=True,
            envelopes=(slap,),
            grain=(1.5, 5.0),
        ),
    ]
