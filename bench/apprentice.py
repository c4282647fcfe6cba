"""A simulator of belt-end noises as a signal engineer writes one in an afternoon.

It knows textbook formulas and file formats, and nothing of how Beltside measures. A take is a
weighted sum of sources: a harmonic series and pulsing noise for the engine, quiet tones and noise
for the accessories, one formula for each fault, a little reverberation, pink noise, a phone.
Scripts in this folder import it as `import apprentice`.

Weak points: no paths but one level for each source and take; parts do not strike each other;
pulleys have no places; two faults at once, misfires and cold starts are not drawn.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

import numpy as np

from apprentice_car import Car, draw_car, measured_sheet
from apprentice_faults import SUSPECTS, fault_sources
from apprentice_healthy import accessory_sources, engine_sources
from apprentice_room import (
    Phone,
    background,
    draw_nothing,
    draw_phone,
    recorded,
    reverberation,
    stored,
)
from apprentice_signals import (
    Array,
    Float,
    Mix,
    Sound,
    Source,
    Spectrum,
    Turning,
    draw_turning,
)
from beltside.drive.sheet import DriveSheet

__all__ = ["SUSPECTS", "Case", "Take", "draw_case", "draw_nothing"]

FRONT: Final = "front of engine"
ALSO_PROBED: Final = ("timing-chain", "valve-train")
# Third octaves that a phone still hears [Hz], centres by powers of 2 from 1 kHz.
THIRDS_HZ: Float = 1000.0 * 2.0 ** (np.arange(-8, 10) / 3.0)
# A source this much quieter without its load is heard with the load only.
NEEDS_LOAD_DB: Final = -12.0


@dataclass(frozen=True)
class Take:
    """One recording.

    Attributes
    ----------
    samples
        float32, shape=(1, samples), within -1 to 1.
    belt
        "on" or "off".
    place
        "front of engine" or the part the phone or probe is held on.
    load
        What is switched on: "lights", "ac", "steering".
    truth_time_s, truth_rpm
        The crank's true speed every 0.1 s.
    """

    name: str
    samples: Array
    sample_rate_hz: int
    belt: str
    place: str
    load: tuple[str, ...]
    truth_time_s: Float
    truth_rpm: Float


@dataclass(frozen=True)
class Case:
    """One engine with its drive sheet as measured, its takes and what is wrong with it.

    `severity_db` is the mean power of the fault over that of all else, background and reverberation
    with it and before the phone, in the third octave from 160 Hz to 8 kHz where this is most;
    on the first take, or on the one with its load where only a load brings it. Not a number when
    `truth` is "none".
    """

    sheet: DriveSheet
    takes: tuple[Take, ...]
    truth: str
    severity_db: float


@dataclass(frozen=True)
class Plan:
    """How a take is made; `speed` in times idle."""

    name: str
    belt: str = "on"
    place: str = FRONT
    load: tuple[str, ...] = ()
    speed: float = 1.0


@dataclass(frozen=True)
class Heard:
    """What reaches the phone on one take, fault and all else apart."""

    plan: Plan
    turning: Turning
    rest: Spectrum
    fault: Spectrum


@dataclass
class Scene:
    """One car in one place with one phone; remembers how loud each source plays of itself."""

    car: Car
    phone: Phone
    healthy: list[Source]
    faulty: list[Source]
    room_db: float
    behind: Sound | None = None
    _own_rms: dict[int, float] = field(default_factory=dict)

    def play(
        self,
        rng: np.random.Generator,
        plan: Plan,
        turning: Turning,
        sources: list[Source],
        places_db: dict[str, float],
    ) -> Mix:
        """Those sources on one take, weighted."""
        mix = Mix(turning)
        speed = float(turning.rpm.mean()) / self.car.idle_rpm
        for source in sources:
            if plan.belt == "off" and source.stops_without_belt:
                continue
            level_db = source.level_db + places_db.get(source.housing, places_db[""])
            if source.loads and not set(source.loads) & set(plan.load):
                level_db += source.unloaded_db
            sound = source.play(rng, turning)
            own = self._own_rms.get(id(source)) or np.sqrt(sound.power(turning))
            if own > 0.0:
                self._own_rms[id(source)] = own
                mix.add(sound, 10.0 ** (level_db / 20.0) * speed**source.speed_power / own)
        return mix


def draw_case(
    rng: np.random.Generator,
    suspect: str | None = None,
    duration_s: tuple[float, float] = (5.0, 10.0),
    every_take: bool = False,
) -> Case:
    """A random engine with its takes.

    Parameters
    ----------
    suspect
        What is wrong; drawn when None: 15 % "none", 4 % "other", the rest even over the single
        suspects, with a drive on which the one drawn can be. "idler-2.bearing" is allowed.
    duration_s
        Shortest and longest take [s], at least 4.
    every_take
        Belt on and off, speed raised, each load and a probe on each housing, instead of takes by
        chance.

    Raises
    ------
    ValueError
        When `suspect` is not one of `SUSPECTS` or the takes would be shorter than 4 s.
    """
    car, phone, truth, severity_db, heard = hear_case(rng, suspect, duration_s, every_take)
    first = heard[0]
    bins = (first.rest + first.fault) * phone.response(first.turning.freqs_hz)
    first_rms = np.sqrt(2.0 * float(np.vdot(bins, bins).real)) / first.turning.samples
    waves = [recorded(rng, phone, one.turning, one.rest + one.fault, first_rms) for one in heard]
    takes = []
    for one, samples in zip(heard, stored(rng, phone, waves), strict=True):
        plan, turning = one.plan, one.turning
        marks = np.arange(0.0, turning.samples / turning.rate_hz, 0.1)
        rpm = np.interp(marks, turning.time_s, turning.rpm)
        takes.append(
            Take(plan.name, samples, phone.rate_hz, plan.belt, plan.place, plan.load, marks, rpm)
        )
    return Case(measured_sheet(rng, car), tuple(takes), truth, severity_db)


def hear_case(
    rng: np.random.Generator,
    suspect: str | None = None,
    duration_s: tuple[float, float] = (5.0, 10.0),
    every_take: bool = False,
) -> tuple[Car, Phone, str, float, list[Heard]]:
    """The same before the phone: car, phone, truth, severity [dB], what is heard on each take."""
    if suspect is not None and suspect not in (*SUSPECTS, "idler-2.bearing"):
        raise ValueError(f"{suspect!r} is no suspect of the apprentice; allowed: {SUSPECTS}")
    if not 4.0 <= duration_s[0] <= duration_s[1]:
        raise ValueError(f"takes of {duration_s} s; allowed: 4 s or more, shortest first")
    truth = draw_suspect(rng) if suspect is None else suspect
    car = draw_car(rng, truth)
    if suspect is None and truth == "idler.bearing" and "idler-2" in car.parts:
        truth = str(rng.choice(["idler.bearing", "idler-2.bearing"]))
    phone = draw_phone(rng)
    healthy = [*engine_sources(rng, car), *accessory_sources(rng, car)]
    faulty = fault_sources(rng, car, truth)
    scene = Scene(car, phone, healthy, faulty, rng.uniform(-20.0, -3.0))
    behind = background(rng)
    behind_db = rng.uniform(-35.0, -10.0) if rng.random() < 0.5 else rng.uniform(-60.0, -40.0)
    mild = rng.random() < 0.1
    severity_db = float(rng.uniform(-3.0, 3.0) if mild else rng.uniform(3.0, 25.0))
    while True:
        plans = draw_plans(rng, car, truth, faulty, every_take)
        heard: list[Heard] = []
        behind_gain = 0.0
        for plan in plans:
            lasts_s = rng.uniform(*duration_s)
            turning = _turning(rng, car, phone, plan, lasts_s)
            places_db = _places_db(rng, plan, scene)
            rest = scene.play(rng, plan, turning, healthy, places_db)
            fault = scene.play(rng, plan, turning, faulty, places_db).spectrum(rng)
            if behind_gain == 0.0:
                # Measured by what a phone hears of the engine, not by its lowest notes.
                engine = rest.spectrum(rng) * phone.response(turning.freqs_hz)
                rms = np.sqrt(2.0 * float(np.vdot(engine, engine).real)) / turning.samples
                behind_gain = rms * 10.0 ** (behind_db / 20.0)
            for sound in behind(rng, turning):
                rest.add(sound, behind_gain * 10.0 ** (places_db["behind"] / 20.0))
            room = reverberation(
                rng, turning, scene.room_db + (0.0 if plan.place == FRONT else -15.0)
            )
            heard.append(Heard(plan, turning, rest.spectrum(rng) * room, fault * room))
        if truth == "none":
            return car, phone, truth, float("nan"), heard
        counts = heard[_take_that_counts(plans, faulty)]
        stands_out = stands_out_db(counts.turning, counts.fault, counts.rest)
        if np.isfinite(stands_out):
            gain = np.float32(10.0 ** ((severity_db - stands_out) / 20.0))
            scaled = [Heard(one.plan, one.turning, one.rest, one.fault * gain) for one in heard]
            return car, phone, truth, severity_db, scaled


def draw_suspect(rng: np.random.Generator) -> str:
    """15 % "none", 4 % "other", the rest even."""
    chance = rng.random()
    if chance < 0.15:
        return "none"
    if chance < 0.19:
        return "other"
    return str(rng.choice([suspect for suspect in SUSPECTS if suspect not in ("none", "other")]))


def draw_plans(
    rng: np.random.Generator, car: Car, truth: str, faulty: list[Source], every_take: bool
) -> list[Plan]:
    """Which takes are made: in front with the belt on first, then by chance or all of them."""
    raised = float(rng.uniform(1.5, 3.0))
    probes = [*car.parts, *ALSO_PROBED]
    loads = list(car.loads)
    plans = [Plan("belt on")]
    if every_take or rng.random() < 0.6:
        plans.append(Plan("belt off", belt="off"))
    if every_take or rng.random() < 0.5:
        plans.append(Plan("raised", speed=raised))
    if not every_take:
        asked = next((s.loads for s in faulty if s.loads and s.unloaded_db < NEEDS_LOAD_DB), ())
        if asked:
            loads = [str(rng.choice(asked))]
        elif rng.random() < 0.3:
            loads = [str(rng.choice(loads))]
        else:
            loads = []
        probes = _probed(rng, probes, truth.split(".")[0]) if rng.random() < 0.5 else []
    plans += [Plan(f"with {load}", load=(load,)) for load in loads]
    return plans + [Plan(f"probe on {part}", place=part) for part in probes]


def _probed(rng: np.random.Generator, housings: list[str], guilty: str) -> list[str]:
    chosen = [str(part) for part in rng.permutation([h for h in housings if h != guilty])]
    chosen = chosen[: int(rng.integers(1, 5))]
    if guilty in housings and rng.random() < 0.65:
        chosen[int(rng.integers(len(chosen)))] = guilty
    return chosen


def _turning(
    rng: np.random.Generator, car: Car, phone: Phone, plan: Plan, lasts_s: float
) -> Turning:
    rpm = car.idle_rpm * plan.speed * rng.uniform(0.985, 1.015)
    if plan.load:
        rpm *= rng.uniform(0.95, 1.03)
    start_rpm = car.idle_rpm if plan.speed > 1.0 and rng.random() < 0.3 else None
    return draw_turning(rng, phone.rate_hz, lasts_s, rpm, car.wander, start_rpm)


def _places_db(rng: np.random.Generator, plan: Plan, scene: Scene) -> dict[str, float]:
    """How much louder each housing comes from this place, "" for those not named."""
    housings = {source.housing for source in (*scene.healthy, *scene.faulty)}
    places_db = {housing: float(rng.normal(0.0, 1.5)) for housing in sorted(housings)}
    places_db |= {"": 0.0, "behind": 0.0}
    if plan.place == FRONT:
        return places_db
    raised_db, lowered_db = float(rng.uniform(10.0, 20.0)), float(rng.uniform(2.0, 10.0))
    places_db = {housing: level_db - lowered_db for housing, level_db in places_db.items()}
    places_db["air"] -= 4.0
    if plan.place in ALSO_PROBED:
        # Both are bolted to the block, whose blows come along.
        places_db["engine"] += 0.5 * raised_db
    places_db[plan.place] = raised_db
    return places_db


def _take_that_counts(plans: list[Plan], faulty: list[Source]) -> int:
    if all(source.loads and source.unloaded_db < NEEDS_LOAD_DB for source in faulty):
        wanted = set(faulty[0].loads)
        return next((k for k, plan in enumerate(plans) if wanted & set(plan.load)), 0)
    return 0


def stands_out_db(turning: Turning, fault: Spectrum, rest: Spectrum) -> float:
    """Power of the fault over the rest in the third octave where this is most [dB]."""
    edges_hz = np.append(THIRDS_HZ * 2.0 ** (-1.0 / 6.0), THIRDS_HZ[-1] * 2.0 ** (1.0 / 6.0))
    edges = np.searchsorted(turning.freqs_hz, edges_hz)
    powers = [
        np.add.reduceat(part.real**2 + part.imag**2, edges)[:-1].astype(float)
        for part in (fault, rest)
    ]
    with np.errstate(divide="ignore"):
        return float(np.max(10.0 * np.log10(powers[0] / powers[1])))
