"""One car with one noise, recorded twice: by each of the three simulators.

The first take is made at idle, the second with the speed raised, on another phone, at another
spot, in another place. The car and its fault stay the same.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import numpy.typing as npt

from beltside.drive.sheet import DriveSheet
from beltside.rig import draws
from beltside.rig.layout import measured_sheet
from beltside.rig.phone import draw_phone
from beltside.rig.room import draw_room
from beltside.rig.takes import TakePlan, make_take

# Script folders are no packages: scripts/ finds the simulators through this file.
sys.path.insert(0, str(Path(__file__).parent))
import judge
import judge_accessories
import judge_drive
import judge_engine
import judge_phone
import judge_place
import judge_sheet
import judge_suspects
import judge_tools
import stranger
import stranger_phone
import stranger_world

SECONDS = 8.0
LONGEST_SEARCH = 8
"""A belt that slips on none of its takes is run again so many times at the most."""


@dataclass(frozen=True)
class Recorded:
    """One take: samples of shape (channels, n), and the true speed over time."""

    samples: npt.NDArray[np.float32]
    sample_rate_hz: int
    truth_time_s: npt.NDArray[np.float64]
    truth_rpm: npt.NDArray[np.float64]


@dataclass(frozen=True)
class SameNoise:
    """A car's sheet as measured, what is wrong with it, and its two takes."""

    sheet: DriveSheet
    cause: str
    severity_db: float
    takes: tuple[Recorded, Recorded]


def _recorded(take: object) -> Recorded:
    return Recorded(
        take.samples,  # type: ignore[attr-defined]
        take.sample_rate_hz,  # type: ignore[attr-defined]
        take.truth_time_s,  # type: ignore[attr-defined]
        take.truth_rpm,  # type: ignore[attr-defined]
    )


def of_rig(seed: int) -> SameNoise:
    """By the rig; the raised speed is held, ramped or in steps."""
    rng = np.random.default_rng(seed)
    car, cause, severity_db = draws.draw_car(rng, coded_share=0.1)
    sheet = measured_sheet(rng, car.drive, car.engine, "")
    elsewhere = replace(draw_room(rng, car.drive), spots_m=car.room.spots_m)
    other = replace(car, phone=draw_phone(rng, coded_share=0.1), room=elsewhere)
    raised = TakePlan("raised", speed=str(rng.choice(["hold", "ramp", "steps"])))
    first = make_take(rng, car, TakePlan("idle"), SECONDS, None)[0]
    second = make_take(rng, other, raised, SECONDS, None)[0]
    return SameNoise(sheet, cause, severity_db, (_recorded(first), _recorded(second)))


def of_stranger(seed: int) -> SameNoise:
    """By the stranger; the raised speed is held, ramped, in steps or in blips."""
    rng = np.random.default_rng(seed)
    world = stranger_world.draw_world(rng, None)
    cause = stranger._draw_truth(rng, world)
    severity_db = float("nan")
    if cause != "none":
        steady = cause in stranger.STEADY_NOISES
        severity_db = float(rng.uniform(0.0 if steady else -3.0, 18.0))
    bay = stranger._Bay(rng, world, cause, severity_db)

    def take(plan: stranger._Plan) -> Recorded:
        own = np.random.default_rng(int(rng.integers(2**62)))
        return _recorded(bay.take(own, plan, SECONDS))

    first = take(stranger._Plan("idle"))
    bay.phone, bay.room = stranger_phone.draw_phone(rng), stranger_phone.draw_room(rng)
    bay.sides = {part: float(rng.uniform(-1.0, 1.0)) for part in bay.parts}
    bay.spot_db = {part: float(rng.normal(0.0, 1.0)) for part in bay.parts}
    second = take(stranger._Plan("raised", raised=True))
    return SameNoise(stranger_world.measured_sheet(world, rng), cause, severity_db, (first, second))


def of_judge(seed: int) -> SameNoise:
    """By the judge; the raised speed is held, at times come up to."""
    rng = np.random.default_rng(seed)
    cause = judge_suspects.draw_suspect(rng)
    car = judge_drive.draw_car(rng, cause)
    if cause == "idler.bearing" and "idler-2" in car.parts:
        cause = str(rng.choice(["idler.bearing", "idler-2.bearing"]))
    metal = int(rng.integers(2**62))

    def bay(phone: judge_phone.Phone) -> judge_place.Bay:
        """The same metal before another phone."""
        freqs_hz = judge_tools.grid_hz(phone.rate_hz)
        return judge_place.Bay(np.random.default_rng(metal), car, freqs_hz, phone.rate_hz)

    phone = judge_phone.draw_phone(rng)
    shop = judge._Shop(
        rng,
        car,
        phone,
        judge_place.draw_room(rng),
        bay(phone),
        [*judge_engine.engine_sources(rng, car), *judge_accessories.accessory_sources(rng, car)],
        judge_suspects.fault_sources(rng, car, cause),
        judge._draw_around(rng),
    )
    severity_db = float("nan") if cause == "none" else judge._draw_severity(rng)
    other = judge_phone.draw_phone(rng)
    elsewhere = bay(other)
    elsewhere.phone = np.array(
        [rng.normal(0.0, 150.0), rng.uniform(150.0, 600.0), rng.uniform(250.0, 800.0)]
    )
    elsewhere.walls = rng.uniform(-0.6, 0.6, len(judge_place.WALLS))
    home, room = shop.bay, judge_place.draw_room(rng)
    first_room = shop.room
    for _ in range(LONGEST_SEARCH):
        shop.phone, shop.bay, shop.room = phone, home, first_room
        idle = shop.hear(judge_suspects.Plan("idle"), SECONDS)
        shop.phone, shop.bay, shop.room = other, elsewhere, room
        raise_to = float(rng.uniform(1.5, 3.2))
        raised = shop.hear(judge_suspects.Plan("raised", raised=raise_to), SECONDS)
        gain = 0.0
        if cause == "none":
            break
        shows = [
            judge_tools.stands_out_db(one.fault, one.rest, rate)
            for one, rate in ((idle, phone.rate_hz), (raised, other.rate_hz))
        ]
        counts = shows[0] if shows[0] >= max(shows) - judge.SHY_DB else max(shows)
        gain = float(10.0 ** ((severity_db - counts) / 20.0))
        if counts > judge.SILENT_DB:
            break
    shop.phone = phone
    first = shop.take(idle, gain)
    shop.phone, shop.first_level = other, 0.0
    second = shop.take(raised, gain)
    sheet = judge_sheet.measured_sheet(rng, car)
    return SameNoise(sheet, cause, severity_db, (_recorded(first), _recorded(second)))


SIMULATORS: dict[str, Callable[[int], SameNoise]] = {
    "rig": of_rig,
    "stranger": of_stranger,
    "judge": of_judge,
}
"""By name: one car of a seed, recorded twice."""
