"""A second simulator of engine recordings, by other habits than the rig.

It shares nothing with the rig: the engine is a sum of
half-order partials and an exhaust waveguide, faults are textbook models, phones and rooms are
its own. Scripts in this folder import it as `import stranger`.

Weak points: every source goes to the phone by its own gain and one reflection, without the
body's own transfer paths; the belt passes the crank's swing on without softening it; a cold
start, a misfire, coded sound and people talking over the engine are not drawn.
`tensioner.rattle` and `alternator.decoupler` both follow firing and differ by how their blows
bounce; a steady hiss or roar is told only by its colour and by what changes between takes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import signal

from beltside.drive.sheet import DriveSheet
from stranger_accessories import accessory_sources
from stranger_engine import engine_sources
from stranger_engine_faults import fault_source
from stranger_motion import LEAD_IN_S, Motion, Scene, Source, draw_motion
from stranger_nothing import draw_nothing
from stranger_phone import FRONT, MAKING_HZ, Phone, Room, draw_phone, draw_room, gains_at, record
from stranger_tools import Array, NoisePool, gain_for
from stranger_world import FAULTS, World, draw_world, kind_of, measured_sheet

__all__ = [
    "FAULTS",
    "StrangerCase",
    "StrangerTake",
    "draw_case",
    "draw_nothing",
]

# A steady rush of air has no rhythm to give it away, so it starts a little higher.
STEADY_NOISES = ("vacuum-leak.hiss", "coolant-pump.impeller", "fan.clutch")
OTHER_PLACES = ("timing-chain", "valve-train", "engine", "exhaust-leak", "vacuum-leak")
LOADS = {"lights": "alternator", "steering": "steering-pump", "ac": "ac-compressor"}


@dataclass(frozen=True)
class StrangerTake:
    """One recording.

    Attributes
    ----------
    samples
        float32, shape=(channels, samples), within -1 to 1.
    belt
        "on" or "off".
    place
        "front of engine" or the name of the part the phone or probe is held on.
    load
        What is switched on: "lights", "steering" (held off centre), "ac".
    truth_time_s, truth_rpm
        The crank's true speed every 0.1 s, without its swing within a cycle.
    """

    name: str
    samples: Array
    sample_rate_hz: int
    belt: str
    place: str
    load: tuple[str, ...]
    truth_time_s: Array
    truth_rpm: Array


@dataclass(frozen=True)
class StrangerCase:
    """One engine with its drive sheet as measured, its takes and what is wrong with it.

    `severity_db` is the fault's level over all else in its own third octave on the first
    take (not a number when `truth` is "none").
    """

    sheet: DriveSheet
    takes: tuple[StrangerTake, ...]
    truth: str
    severity_db: float


@dataclass(frozen=True)
class _Plan:
    name: str
    belt_on: bool = True
    place: str = FRONT
    load: tuple[str, ...] = ()
    raised: bool = False


class _Bay:
    """One engine bay: sources with their gains, the phone and the room."""

    def __init__(
        self, rng: np.random.Generator, world: World, truth: str, severity_db: float
    ) -> None:
        self.world = world
        self.phone: Phone = draw_phone(rng)
        self.room: Room = draw_room(rng)
        self.pool = NoisePool(rng)
        self.sources: list[Source] = [
            *engine_sources(rng, world),
            *accessory_sources(rng, world),
        ]
        if truth != "none":
            self.sources.append(fault_source(rng, world, truth, severity_db))
        self.parts = (
            *(shaft.part for shaft in world.shafts),
            "crank",
            "timing-chain",
            "valve-train",
            "engine",
            "exhaust-leak",
            "vacuum-leak",
            "belt",
            "other",
            "surroundings",
        )
        self.sides = {part: float(rng.uniform(-1.0, 1.0)) for part in self.parts}
        self.spot_db = {part: float(rng.normal(0.0, 1.0)) for part in self.parts}
        self.gains: dict[str, float] = {}
        self.reference_rms = 1.0

    def _set_gains(self, sounds: dict[str, Array], rate_hz: float) -> None:
        """Bring every source to its level on the first take: engine, ordinary noises, fault."""
        top_hz = min(0.42 * self.phone.rate_hz, 8000.0)
        start = int(LEAD_IN_S * rate_hz)
        piece = slice(start, start + int(3.0 * rate_hz))
        total = np.zeros_like(sounds[self.sources[0].name])
        core = total[piece]
        for source in self.sources:
            sound = sounds[source.name]
            if source.target_db is None:
                spread = float(np.std(sound[piece], dtype="f8")) + 1e-12
                self.gains[source.name] = source.rms / spread
            elif source.is_fault:
                hiss = self.pool.white(np.random.default_rng(0), len(total) - start)
                around = total[start:] + np.float32(self._hiss_rms(total[piece])) * hiss
                self.gains[source.name] = gain_for(
                    source.target_db, sound[start:], around, rate_hz, top_hz
                )
            else:
                self.gains[source.name] = gain_for(
                    source.target_db, sound[piece], core, rate_hz, top_hz
                )
            total = total + np.float32(self.gains[source.name]) * sound
            if source.target_db is None:
                core = total[piece]
        self.reference_rms = float(np.std(total[piece], dtype="f8"))

    def _hiss_rms(self, total: Array) -> float:
        """The phone's own noise, as it were in the air: it hides a faint fault too."""
        section = signal.butter(2, self.phone.high_pass_hz, "highpass", fs=MAKING_HZ, output="sos")
        loud = float(np.std(signal.sosfilt(section, total.astype(float))))
        top = np.sqrt(MAKING_HZ / self.phone.rate_hz)  # white over the phone's band only
        return loud * float(top * 10.0 ** ((self.phone.noise_db - self.phone.target_db) / 20.0))

    def take(self, rng: np.random.Generator, plan: _Plan, duration_s: float) -> StrangerTake:
        """One recording made to plan; the first one made sets every source's level."""
        rate_hz = float(MAKING_HZ)
        drop = 0.01 * len(plan.load) * float(rng.uniform(0.3, 2.5))
        motion = draw_motion(rng, self.world, duration_s, rate_hz, plan.raised, drop)
        scene = Scene(self.world, motion, rng, self.pool, plan.belt_on, plan.load)
        sounds = {
            source.name: source.render(scene)
            for source in self.sources
            if plan.belt_on or not source.needs_belt
        }
        if not self.gains:
            self._set_gains(sounds, rate_hz)
        place_db = gains_at(rng, plan.place, self.parts, self.spot_db)
        heard = [
            (
                sounds[source.name],
                self.gains[source.name] * 10.0 ** (place_db[source.part] / 20.0),
                self.sides[source.part],
            )
            for source in self.sources
            if source.name in sounds
        ]
        samples = record(
            rng,
            self.pool,
            self.phone,
            self.room,
            heard,
            duration_s,
            plan.place,
            self.reference_rms * (3.0 if plan.raised or plan.place != FRONT else 1.0),
        )
        time_s, rpm = _truth(motion, duration_s)
        return StrangerTake(
            plan.name,
            samples,
            self.phone.rate_hz,
            "on" if plan.belt_on else "off",
            plan.place,
            plan.load,
            time_s,
            rpm,
        )


def _truth(motion: Motion, duration_s: float) -> tuple[Array, Array]:
    time_s = np.arange(0.0, duration_s - 0.05, 0.1) + 0.05
    rpm = np.interp(time_s + LEAD_IN_S, motion.coarse_s, motion.coarse_rpm)
    return time_s, rpm


def _draw_truth(rng: np.random.Generator, world: World) -> str:
    chance = rng.random()
    if chance < 0.15:
        return "none"
    if chance < 0.18:
        return "other"
    truth = str(rng.choice(world.possible()))
    idlers = [shaft.part for shaft in world.shafts if kind_of(shaft.part) == "idler"]
    if truth == "idler.bearing":
        return f"{rng.choice(idlers)}.bearing"
    return truth


def _whole_round(world: World) -> list[_Plan]:
    """Belt on and off, speed raised, each load, and the probe on each housing at the belt end."""
    parts = [shaft.part for shaft in world.shafts]
    loads = [load for load, part in LOADS.items() if part in parts]
    return [
        _Plan("belt-on"),
        _Plan("belt-off", belt_on=False),
        _Plan("speed-raised", raised=True),
        *(_Plan(f"load-{load}", load=(load,)) for load in loads),
        *(_Plan(f"probe-{part}", place=part) for part in (*parts, "timing-chain", "valve-train")),
    ]


def _plans(rng: np.random.Generator, world: World, truth: str) -> list[_Plan]:
    parts = [shaft.part for shaft in world.shafts]
    plans = [_Plan("belt-on")]
    if rng.random() < 0.7:
        plans.append(_Plan("belt-off", belt_on=False))
    if rng.random() < 0.5:
        plans.append(_Plan("speed-raised", raised=True))
    if rng.random() < 0.55:
        guilty = truth.split(".")[0]
        probed = list(rng.permutation(parts)[: int(rng.integers(1, 5))])
        if rng.random() < 0.4:
            probed[-1] = str(rng.choice(OTHER_PLACES))
        has_housing = guilty in parts or guilty in OTHER_PLACES
        if has_housing and guilty not in probed and rng.random() < 0.7:
            probed[0] = guilty
        plans.extend(_Plan(f"probe-{part}", place=str(part)) for part in probed)
    consumers = [load for load, part in LOADS.items() if part in parts]
    if rng.random() < 0.3:
        load = str(rng.choice(consumers))
        plans.append(_Plan(f"load-{load}", load=(load,)))
    return plans


def draw_case(
    rng: np.random.Generator,
    truth: str | None = None,
    duration_s: tuple[float, float] = (6.0, 12.0),
    every_take: bool = False,
) -> StrangerCase:
    """A random engine with its takes.

    Parameters
    ----------
    truth
        The fault; drawn when None: 15 % "none", 3 % "other", the rest even over the faults
        possible on the drawn drive. "idler-2.bearing" is allowed.
    duration_s
        Shortest and longest take [s], at least 4.
    every_take
        Belt on and off, speed raised, each load and a probe on each housing, instead of takes by
        chance.

    Raises
    ------
    ValueError
        When `truth` is not one of `FAULTS` or the takes would be shorter than 4 s.
    """
    if truth is not None and truth not in (*FAULTS, "idler-2.bearing"):
        raise ValueError(f"{truth!r} is no fault of the stranger's engines; allowed: {FAULTS}")
    if not 4.0 <= duration_s[0] <= duration_s[1]:
        raise ValueError(f"takes of {duration_s} s; allowed: 4 s or more, shortest first")
    world = draw_world(rng, truth)
    chosen = _draw_truth(rng, world) if truth is None else truth
    severity_db = float("nan")
    if chosen != "none":
        severity_db = float(rng.uniform(0.0 if chosen in STEADY_NOISES else -3.0, 18.0))
    bay = _Bay(rng, world, chosen, severity_db)
    takes = tuple(
        bay.take(
            np.random.default_rng(int(rng.integers(2**62))),
            plan,
            round(float(rng.uniform(*duration_s)), 1),
        )
        for plan in (_whole_round(world) if every_take else _plans(rng, world, chosen))
    )
    return StrangerCase(measured_sheet(world, rng), takes, chosen, severity_db)
