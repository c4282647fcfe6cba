"""Random cases: an engine, its drive, a fault or none, a phone, a place, and the takes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np
from numpy.random import Generator

from beltside.base.errors import InputError, nearest
from beltside.base.words import part_kind
from beltside.drive.sheet import DriveSheet
from beltside.rig import belt_faults, drive_faults, engine_faults
from beltside.rig.accessories import healthy_drive
from beltside.rig.bearings import bearing_fault
from beltside.rig.engine import EngineSpec, draw_engine
from beltside.rig.layout import Drive, draw_drive, measured_sheet
from beltside.rig.motion import SPEED_KINDS
from beltside.rig.phone import draw_phone, record
from beltside.rig.room import draw_room
from beltside.rig.surroundings import NO_ENGINE, WORKSHOP
from beltside.rig.synthesis import RATE_HZ, Float32
from beltside.rig.takes import Car, RigTake, TakePlan, make_take, scale_fault
from beltside.rig.voices import Voice

NONE: Final = "none"
OTHER: Final = "other"
# How often each is drawn, relative; common practice, no source. A numbered part counts again.
SUSPECTS: Final = {
    "coolant-pump.bearing": 3.0,
    "alternator.bearing": 3.0,
    "idler.bearing": 3.0,
    "tensioner.bearing": 3.0,
    "ac-compressor.bearing": 1.5,
    "steering-pump.bearing": 1.0,
    "fan.bearing": 1.0,
    "alternator.electrical": 1.0,
    "alternator.decoupler": 1.2,
    "coolant-pump.impeller": 0.8,
    "coolant-pump.seal": 1.0,
    "tensioner.rattle": 1.5,
    "ac-compressor.clutch": 1.0,
    "ac-compressor.rattle": 0.8,
    "steering-pump.whine": 1.5,
    "fan.clutch": 1.0,
    "belt.slip": 2.5,
    "belt.misalignment": 2.0,
    "belt.damage": 1.2,
    "crank.damper": 1.2,
    "timing-chain.rattle": 1.5,
    "timing-chain.whine": 0.8,
    "valve-train.tick": 1.5,
    "vacuum-leak.hiss": 1.2,
    "exhaust-leak.tick": 1.5,
    "engine.knock": 1.2,
}
NONE_SHARE: Final = 0.2
OTHER_SHARE: Final = 0.06


@dataclass(frozen=True)
class Shares:
    """How often each truth is drawn: the shares of "none" and "other", and how often each suspect
    is drawn relative to the others."""

    none: float = NONE_SHARE
    other: float = OTHER_SHARE
    suspects: Mapping[str, float] = field(default_factory=lambda: SUSPECTS)


USUAL_SHARES: Final = Shares()
SEVERITY_DB: Final = (-6.0, 8.0, 20.0)  # least, usual, most


@dataclass(frozen=True)
class RigCase:
    """One simulated case.

    Attributes
    ----------
    sheet
        The drive as measured: errors and gaps included.
    takes
        Its recordings.
    truth
        Suspect id, "none" or "other".
    severity_db
        Fault over the engine in its own band at idle [dB]; -inf for "none".
    """

    sheet: DriveSheet
    takes: tuple[RigTake, ...]
    truth: str
    severity_db: float


def suspects_for(sheet: DriveSheet) -> tuple[str, ...]:
    """Ids of all suspects that can be drawn for a sheet, "none" and "other" among them.

    A timing chain is left out only when the rig knows there is none; a sheet cannot say so.
    """
    return _suspects_of(tuple(pulley.part for pulley in sheet.pulleys))


def _suspects_of(parts: tuple[str, ...]) -> tuple[str, ...]:
    ids: list[str] = []
    for suspect in SUSPECTS:
        kind, fault = suspect.split(".")
        if kind in _PULLEY_KINDS:
            ids += [f"{part}.{fault}" for part in parts if part_kind(part) == kind]
        else:
            ids.append(suspect)
    return (*ids, OTHER, NONE)


_PULLEY_KINDS: Final = (
    "coolant-pump",
    "alternator",
    "idler",
    "tensioner",
    "ac-compressor",
    "steering-pump",
    "fan",
    "crank",
)


def draw_truth(
    rng: Generator, drive: Drive, engine: EngineSpec, shares: Shares = USUAL_SHARES
) -> str:
    """A random suspect of this drive, "none" or "other"."""
    chance = rng.random()
    if chance < shares.none:
        return NONE
    if chance < shares.none + shares.other:
        return OTHER
    ids = [
        suspect
        for suspect in _suspects_of(drive.parts)[:-2]
        if engine.chain_teeth is not None or not suspect.startswith("timing-chain")
    ]
    weight = np.array([shares.suspects[_plain(suspect)] for suspect in ids])
    return str(rng.choice(ids, p=weight / weight.sum()))


def _plain(suspect: str) -> str:
    part, _, fault = suspect.partition(".")
    return f"{part_kind(part)}.{fault}"


def fault_voices(rng: Generator, truth: str, drive: Drive, engine: EngineSpec) -> tuple[Voice, ...]:
    """Voices of a fault, before they are scaled to a severity."""
    if truth == NONE:
        return ()
    if truth == OTHER:
        return tuple(engine_faults.oddity(rng, engine))
    part, fault = truth.split(".")
    whole = {
        "belt.slip": lambda: belt_faults.slip(rng, drive),
        "belt.misalignment": lambda: belt_faults.misalignment(rng, drive),
        "belt.damage": lambda: belt_faults.damage(rng, drive),
        "crank.damper": lambda: engine_faults.damper(rng, engine),
        "timing-chain.rattle": lambda: engine_faults.chain_rattle(rng, engine),
        "timing-chain.whine": lambda: engine_faults.chain_whine(rng, engine),
        "valve-train.tick": lambda: engine_faults.valve_tick(rng, engine),
        "vacuum-leak.hiss": lambda: engine_faults.vacuum_hiss(rng, engine),
        "exhaust-leak.tick": lambda: engine_faults.exhaust_tick(rng, engine),
        "engine.knock": lambda: engine_faults.deep_knock(rng, engine),
    }
    if truth in whole:
        return tuple(whole[truth]())
    pulley = drive.pulley(part)
    at_pulley = {
        "bearing": lambda: list(bearing_fault(rng, pulley)),
        "electrical": lambda: drive_faults.electrical(rng, pulley),
        "decoupler": lambda: drive_faults.decoupler(rng, pulley, engine),
        "impeller": lambda: drive_faults.scrape(rng, pulley),
        "seal": lambda: drive_faults.seal(rng, pulley),
        "whine": lambda: drive_faults.pump_whine(rng, pulley),
    }
    if fault in at_pulley:
        return tuple(at_pulley[fault]())
    if fault == "rattle" and part_kind(part) == "tensioner":
        return tuple(drive_faults.tensioner_rattle(rng, part, engine))
    if fault == "clutch" and part_kind(part) == "fan":
        return tuple(drive_faults.fan_clutch(rng, pulley))
    return tuple(drive_faults.clatter(rng, pulley, engaged=fault == "rattle"))


def whole_round(rng: Generator, drive: Drive) -> tuple[TakePlan, ...]:
    """Every take of a thorough technician: belt on and off, speed raised, each load switched on,
    and the probe on each housing at the belt end, whatever the truth."""
    housings = [*(part for part in drive.parts if part != "crank"), "timing-chain", "valve-train"]
    return (
        TakePlan("belt-on"),
        TakePlan("belt-off", belt="off"),
        TakePlan("speed-raised", speed=str(rng.choice(SPEED_KINDS))),
        *(TakePlan(f"load-{load}", load=(load,)) for load in _loads(drive)),
        *(TakePlan(f"probe-{part}", place=part) for part in housings),
    )


def _loads(drive: Drive) -> list[str]:
    loads = ["lights"]
    loads += ["ac"] if "ac-compressor" in drive.parts else []
    loads += ["steering"] if "steering-pump" in drive.parts else []
    return loads


def draw_plans(rng: Generator, drive: Drive, truth: str) -> tuple[TakePlan, ...]:
    """Which takes a technician makes: belt on at idle always, the rest by chance."""
    plans = [TakePlan("belt-on")]
    if rng.random() < 0.6:
        plans.append(TakePlan("belt-off", belt="off"))
    if rng.random() < 0.5:
        plans.append(TakePlan("speed-raised", speed=str(rng.choice(SPEED_KINDS))))
    if rng.random() < 0.4:
        parts = [part for part in drive.parts if part != "crank"]
        guilty = truth.split(".")[0]
        touchable = [*parts, "timing-chain", "valve-train"]
        wished = int(rng.integers(1, 5))
        chosen = [guilty] if guilty in touchable and rng.random() < 0.8 else []
        others = [part for part in parts if part not in chosen]
        if rng.random() < 0.15:
            others.append(str(rng.choice(["timing-chain", "valve-train"])))
        rng.shuffle(others)
        chosen += [part for part in others if part not in chosen][: wished - len(chosen)]
        plans += [TakePlan(f"probe-{part}", place=part) for part in chosen]
    if rng.random() < 0.2:
        load = str(rng.choice(_loads(drive)))
        plans.append(TakePlan(f"load-{load}", load=(load,)))
    return tuple(plans)


def draw_case(
    rng: Generator,
    *,
    truth: str | None = None,
    duration_s: tuple[float, float] = (6.0, 14.0),
    takes: tuple[TakePlan, ...] | None = None,
    every_take: bool = False,
    severity_db: float | None = None,
    coded_share: float = 0.2,
    shares: Shares = USUAL_SHARES,
) -> RigCase:
    """A random case.

    Parameters
    ----------
    truth
        Suspect id, "none" or "other"; drawn when None.
    duration_s
        Shortest and longest take [s], 2 to 120.
    takes
        The takes wanted; drawn when None.
    every_take
        When none are given: `whole_round` instead of takes by chance.
    severity_db
        Fault over the engine in its own band [dB]; drawn from -6 to 20 when None.
    coded_share
        Share of phones that code to AAC in memory.
    shares
        How often each truth is drawn when it is not given.

    Raises
    ------
    InputError
        When the truth is no known suspect, or the lengths are out of range.
    """
    low, high = duration_s
    if not 2.0 <= low <= high <= 120.0:
        raise InputError(
            f"take length {low:g} to {high:g} s",
            allowed="2 to 120 s, the shorter first",
            instead="(6, 14)",
        )
    car, truth, severity = draw_car(
        rng, truth=truth, severity_db=severity_db, coded_share=coded_share, shares=shares
    )
    sheet = measured_sheet(rng, car.drive, car.engine, "")
    if takes is None:
        takes = whole_round(rng, car.drive) if every_take else draw_plans(rng, car.drive, truth)
    return RigCase(sheet, run_takes(rng, car, takes, duration_s), truth, severity)


def draw_car(
    rng: Generator,
    *,
    truth: str | None = None,
    severity_db: float | None = None,
    coded_share: float = 0.2,
    shares: Shares = USUAL_SHARES,
) -> tuple[Car, str, float]:
    """A random car with a fault of a random size; gives it, the truth and the size [dB]."""
    needed: tuple[str, ...] = ()
    if truth is not None and truth not in (NONE, OTHER):
        if _plain(truth) not in SUSPECTS:
            close = nearest(truth, SUSPECTS)
            raise InputError(
                f"suspect {truth!r}",
                allowed=", ".join((*SUSPECTS, OTHER, NONE)),
                instead=close or "coolant-pump.bearing",
            )
        needed = (truth.split(".")[0],)
    teeth = None
    if truth is not None and truth.startswith("timing-chain"):
        teeth = int(rng.integers(17, 30))
    engine = draw_engine(rng, chain_teeth=teeth)
    drive = draw_drive(rng, needed=needed)
    chosen = truth or draw_truth(rng, drive, engine, shares)
    severity = float(rng.triangular(*SEVERITY_DB)) if severity_db is None else severity_db
    background = tuple(
        (kind, float(10.0 ** (rng.uniform(-40.0, -12.0) / 20.0)))
        for kind in rng.choice(
            list(WORKSHOP), int(rng.choice([0, 1, 2], p=[0.5, 0.4, 0.1])), replace=False
        )
    )
    car = Car(
        engine,
        drive,
        engine.voices + healthy_drive(rng, drive),
        fault_voices(rng, chosen, drive, engine),
        draw_room(rng, drive),
        draw_phone(rng, coded_share=coded_share),
        electric_base=float(rng.uniform(0.1, 0.45)),
        top_rpm=float(max(rng.uniform(1500.0, 3500.0), 1.6 * engine.idle_rpm)),
        background=background,
        gusts=float(rng.uniform(0.05, 0.8)) if rng.random() < 0.12 else 0.0,
    )
    car = replace(car, faulty=scale_fault(rng, car, severity))
    return car, chosen, severity if chosen != NONE else float("-inf")


def run_takes(
    rng: Generator, car: Car, plans: tuple[TakePlan, ...], duration_s: tuple[float, float]
) -> tuple[RigTake, ...]:
    """All takes of a car with one phone, whose fixed gain was set for the first."""
    takes = []
    reference: float | None = None
    for plan in plans:
        length = plan.duration_s or float(rng.uniform(*duration_s))
        take, reference = make_take(rng, car, plan, length, reference)
        takes.append(take)
    return tuple(takes)


def draw_no_engine(
    rng: Generator, kind: str | None = None, *, duration_s: tuple[float, float] = (6.0, 14.0)
) -> tuple[Float32, int, str]:
    """A recording without an engine: samples (channels, n), rate [Hz] and kind.

    Raises
    ------
    InputError
        When `kind` is not one of surroundings.NO_ENGINE.
    """
    chosen = kind or str(rng.choice(list(NO_ENGINE)))
    if chosen not in NO_ENGINE:
        close = nearest(chosen, NO_ENGINE)
        raise InputError(f"kind {chosen!r}", allowed=", ".join(NO_ENGINE), instead=close or "wind")
    count = int(rng.uniform(*duration_s) * RATE_HZ)
    wave = NO_ENGINE[chosen](rng, count)
    if rng.random() < 0.3:
        behind = NO_ENGINE[str(rng.choice(list(NO_ENGINE)))](rng, count)
        wave = wave + np.float32(10.0 ** (rng.uniform(-25.0, -6.0) / 20.0)) * behind
    phone = draw_phone(rng)
    samples = record(rng, phone, wave[None, :], 1.0)
    return samples, phone.sample_rate_hz, chosen
