"""Pairs of simulated takes whose change is known: the same car before and after a repair.

The fault's voices are turned down by a known amount in the second take; everything else of that
take is drawn anew: speed, paths, what the phone's place adds, irregularity, other noise. What the
repair changed is read off the second take itself, once with the fault at full strength and once
with it turned down, as a phone with a fixed gain and no noise of its own would hear both.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import numpy.typing as npt
from numpy.random import Generator

from beltside.drive.sheet import DriveSheet
from beltside.rig.draws import draw_car
from beltside.rig.layout import measured_sheet
from beltside.rig.motion import CONTROL_HZ, make_motion
from beltside.rig.phone import Phone, draw_phone, record
from beltside.rig.room import FRONT, Paths, make_paths
from beltside.rig.surroundings import WORKSHOP
from beltside.rig.synthesis import db_to_gain
from beltside.rig.takes import Car, TakePlan, make_conditions, mix

Float32 = npt.NDArray[np.float32]
Float64 = npt.NDArray[np.float64]

SAMPLE_RATE_HZ: Final = 24_000
REMOVED_DB: Final = (3.0, 6.0, 12.0)
LOUD_GAIN_DB: Final = -20.0
TURNS_HZ: Final = CONTROL_HZ / 10
BELT_FAULTS: Final = (
    "coolant-pump.bearing",
    "alternator.bearing",
    "idler.bearing",
    "tensioner.bearing",
    "steering-pump.whine",
    "alternator.electrical",
    "coolant-pump.impeller",
    "fan.bearing",
)


@dataclass(frozen=True)
class Pair:
    """One pair with its truth.

    Attributes
    ----------
    before, after
        What the phones wrote, mono, shape (n,), at `SAMPLE_RATE_HZ`.
    wanted_before, wanted_after
        The second take with the fault at full strength and turned down, through the first
        take's phone with a fixed gain, no noise and no coding.
    fault
        Suspect id.
    removed_db
        How far the fault was turned down [dB].
    gain_db
        Gain of the second recording over the first [dB].
    speed_ratio
        Speed of the second over the first.
    turns
        True crank angle of the second take, `TURNS_HZ` times a second, shape (m,) [turns].
    """

    sheet: DriveSheet
    before: Float32
    after: Float32
    wanted_before: Float32
    wanted_after: Float32
    fault: str
    removed_db: float
    gain_db: float
    speed_ratio: float
    turns: Float64

    @property
    def quieter_db(self) -> float:
        """By how much the whole sound became quieter [dB]."""
        return _level_db(self.wanted_before) - _level_db(self.wanted_after)


def _level_db(samples: Float32) -> float:
    return 10.0 * float(np.log10(np.mean(np.square(samples, dtype=np.float64)) + 1e-20))


def draw_pairs(
    rng: Generator, count: int = 1, *, duration_s: float = 8.0, other_phone: float = 0.15
) -> list[Pair]:
    """`count` pairs of one car, each with its own change, gain and second phone setting."""
    fault = str(rng.choice(BELT_FAULTS))
    severity_db = float(rng.uniform(3.0, 20.0))
    car, _, _ = draw_car(rng, truth=fault, severity_db=severity_db, coded_share=0.0)
    car = replace(car, phone=_plain(car.phone), gusts=0.0)
    sheet = measured_sheet(rng, car.drive, car.engine, "simulated drive")
    speeds = car.engine.idle_rpm * np.array([1.0, 1.0 + float(rng.uniform(-0.05, 0.05))])
    healthy, faulty, turns = zip(
        *(_sounds(rng, car, rpm, duration_s) for rpm in speeds), strict=True
    )
    reference = float(np.sqrt(np.mean(np.square(healthy[0] + faulty[0], dtype=np.float64))))
    pairs = []
    for _ in range(count):
        removed_db = float(rng.choice(REMOVED_DB))
        apart_db = float(rng.uniform(0.0, 30.0))
        gains_db = [LOUD_GAIN_DB, LOUD_GAIN_DB - apart_db]
        if rng.random() < 0.5:
            gains_db.reverse()
        phones = [replace(car.phone, gain_db=gain) for gain in gains_db]
        if rng.random() < other_phone:
            phones[1] = replace(_plain(draw_phone(rng, coded_share=0.0)), gain_db=gains_db[1])
        left = np.float32(db_to_gain(-removed_db))
        sounds = [healthy[0] + faulty[0], healthy[1] + left * faulty[1]]
        before, after = (
            record(rng, phone, _with_background(rng, car, sound, reference), reference)[0]
            for phone, sound in zip(phones, sounds, strict=True)
        )
        ideal = ideal_phone(phones[0])
        wanted = [
            record(rng, ideal, sound, reference)[0] for sound in (healthy[1] + faulty[1], sounds[1])
        ]
        pairs.append(
            Pair(
                sheet,
                before,
                after,
                wanted[0],
                wanted[1],
                fault,
                removed_db,
                gains_db[1] - gains_db[0],
                float(speeds[1] / speeds[0]),
                turns[1],
            )
        )
    return pairs


@dataclass(frozen=True)
class Parts:
    """What one take is made of, through a phone with a fixed gain and no noise of its own.

    Attributes
    ----------
    engine, drive, fault
        The engine, the healthy parts of the belt drive, and the fault, shape (n,) each.
    """

    engine: Float32
    drive: Float32
    fault: Float32


@dataclass(frozen=True)
class PartsOfPair:
    """Parts of two takes as `draw_pairs` draws them, and of three takes besides.

    Attributes
    ----------
    before, after
        The first take, and the second at its own speed with its own paths.
    after_there
        At the second speed, the phone just where it was in the first take.
    after_same
        At the first speed, the phone a hand's breadth away.
    after_both
        At the first speed, the phone just where it was.
    """

    fault: str
    speed_ratio: float
    before: Parts
    after: Parts
    after_there: Parts
    after_same: Parts
    after_both: Parts


def draw_parts(rng: Generator, *, duration_s: float = 8.0) -> PartsOfPair:
    """One car as in `draw_pairs`, its takes in parts."""
    fault = str(rng.choice(BELT_FAULTS))
    severity_db = float(rng.uniform(3.0, 20.0))
    car, _, _ = draw_car(rng, truth=fault, severity_db=severity_db, coded_share=0.0)
    car = replace(car, phone=ideal_phone(_plain(car.phone)), gusts=0.0)
    slow = car.engine.idle_rpm
    fast = slow * (1.0 + float(rng.uniform(-0.05, 0.05)))
    there, moved = (make_paths(rng, car.room, FRONT) for _ in range(2))
    takes = [
        _parts(rng, car, rpm, duration_s, paths)
        for rpm, paths in (
            (slow, there),
            (fast, moved),
            (fast, there),
            (slow, moved),
            (slow, there),
        )
    ]
    return PartsOfPair(fault, fast / slow, *takes)


def _parts(rng: Generator, car: Car, rpm: float, duration_s: float, paths: Paths) -> Parts:
    program = (np.array([0.0, duration_s]), np.array([rpm, rpm]))
    motion = make_motion(
        rng, car.engine.restlessness, program, duration_s, car.engine.idle_rpm, car.drive.shafts()
    )
    conditions = make_conditions(rng, motion, TakePlan("take"), car.electric_base)
    whose = (car.engine.voices, car.healthy[len(car.engine.voices) :], car.faulty)
    return Parts(
        *(
            record(rng, car.phone, mix(rng, voices, motion, conditions, paths).samples(), 1.0)[0]
            for voices in whose
        )
    )


def ideal_phone(phone: Phone) -> Phone:
    """The same phone with a fixed gain and no noise of its own."""
    return replace(
        phone,
        control=None,
        suppression_db=0.0,
        soft_clip=False,
        noise_dbfs=-200.0,
        bits=24,
        gain_db=-30.0,
    )


def _plain(phone: Phone) -> Phone:
    """One channel, without noise suppression, which turns down what is to be measured."""
    return replace(phone, sample_rate_hz=SAMPLE_RATE_HZ, channels=1, suppression_db=0.0, aac_kbps=0)


def _sounds(
    rng: Generator, car: Car, rpm: float, duration_s: float
) -> tuple[Float32, Float32, Float64]:
    """What the healthy car and its fault each bring to the microphone in one take at idle, and
    the crank's angle."""
    program = (np.array([0.0, duration_s]), np.array([rpm, rpm]))
    motion = make_motion(
        rng, car.engine.restlessness, program, duration_s, car.engine.idle_rpm, car.drive.shafts()
    )
    conditions = make_conditions(rng, motion, TakePlan("take"), car.electric_base)
    paths = make_paths(rng, car.room, FRONT)
    return (
        mix(rng, car.healthy, motion, conditions, paths).samples(),
        mix(rng, car.faulty, motion, conditions, paths).samples(),
        (motion.mean_turns + motion.torsion_turns)[::10],
    )


def _with_background(rng: Generator, car: Car, sound: Float32, reference: float) -> Float32:
    """The sound with what else is heard where the car stands."""
    heard = sound
    for kind, level in car.background:
        heard = heard + np.float32(level * reference) * WORKSHOP[kind](rng, sound.shape[1])
    return heard
