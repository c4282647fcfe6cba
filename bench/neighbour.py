"""A simulator of noises at the belt end as an acoustics engineer next door would build it.

Sources are forces on housings and air from openings; each housing has a few modes; air, bay and
probe are paths with distances to the phone; the phone is a chain of its own. Written without
reading how Beltside measures or how the other simulators of this folder draw.

Weak points: sources do not act back on the engine, levels and paths are drawn and not measured,
a part that is spoilt does not change how its housing rings, and one thing is wrong at a time.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import fft

from beltside.drive.sheet import DriveSheet
from neighbour_car import Car, draw_car, measured_sheet
from neighbour_engine import healthy_sources
from neighbour_motion import FRONT, Maker, Motion, Plan, Source, draw_motion
from neighbour_nothing import KINDS, background, draw_nothing
from neighbour_paths import Bay
from neighbour_phone import Phone, draw_phone, stored
from neighbour_suspects import (
    SECOND_IDLER,
    SUSPECTS,
    draw_plans,
    draw_suspect,
    needed_parts,
    shows,
    sources_of,
    whole_round,
)
from neighbour_tools import (
    COARSE,
    Array,
    a_weight,
    chance,
    gain,
    padded_length,
    refined,
    stands_out,
    third_octaves,
)

__all__ = ["SUSPECTS", "Case", "Take", "draw_case", "draw_nothing"]

# Another take from the front counts when the fault stands out this much more in it.
BETTER_DB = 8.0
# Length of the piece by which sources are set to their level, in coarse blocks.
PIECE = 4


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
class Case:
    """One engine with its drive sheet as measured, its takes and what is wrong with it.

    `severity_db` is the fault over all else in the third octave where it stands out most, the
    fault by its loudest quarter of frames of 2,048 samples, before gain and clean-up of the phone,
    in the first take, or in another from the front where it stands out 8 dB more. Not a number
    when `truth` is "none".
    """

    sheet: DriveSheet
    takes: tuple[Take, ...]
    truth: str
    severity_db: float


@dataclass
class _Heard:
    """What comes to the phone on one take, fault and rest apart."""

    plan: Plan
    motion: Motion
    rest: Array
    fault: Array | None


class _Scene:
    """One engine in one place, with what makes its sources as loud as drawn."""

    def __init__(self, rng: np.random.Generator, car: Car, longest_s: float, suspect: str) -> None:
        self.rng, self.car = rng, car
        self.phone: Phone = draw_phone(rng)
        rate = self.phone.rate_hz
        spare = padded_length(int(longest_s * rate)) + 3 * COARSE
        maker = Maker(rng, car, rate, rng.standard_normal(spare, np.float32))
        self.bay = Bay(rng, car, rate)
        self.healthy = healthy_sources(maker)
        self.fault = sources_of(maker, suspect)
        self.around_db = float(rng.uniform(-35.0, -10.0)) if chance(rng, 0.5) else None
        self.around = str(rng.choice(list(KINDS)))
        self.factor: dict[int, float] = {}

    def _level(self, force: Array, path: Array) -> float:
        """A-weighted rms of a force heard by a path, from the loudest piece of the take."""
        piece = COARSE * PIECE
        blocks = force[: len(force) // COARSE * COARSE].reshape(-1, COARSE)
        energy = np.convolve(np.mean(blocks**2, axis=1), np.ones(PIECE), "valid")
        start = int(np.argmax(energy)) * COARSE
        power = np.abs(fft.rfft(force[start : start + piece], piece)) ** 2
        coarse = power[: piece // 2].reshape(-1, PIECE).sum(axis=1)
        weight = np.abs(path[:-1]) ** 2 * a_weight(self.bay.freqs[:-1])
        return float(np.sqrt(np.sum(coarse * weight) * 2.0) / piece)

    def _sum(
        self, sources: list[Source], motion: Motion, paths: dict[str, Array], length: int
    ) -> Array | None:
        """Sources through their paths to the phone, one transform a place."""
        forces: dict[str, Array] = {}
        for source in sources:
            weight = source.weight(motion.plan)
            if weight <= 0.0:
                continue
            force = source.force(motion)
            if id(source) not in self.factor:
                level = self._level(force, self.front[source.at])
                self.factor[id(source)] = gain(source.level_db) / max(level, 1e-9)
            force = force * np.float32(weight * self.factor[id(source)])
            if source.at in forces:
                forces[source.at] += force
            else:
                forces[source.at] = force
        if not forces:
            return None
        total = np.zeros(length // 2 + 1, np.complex64)
        for place, force in forces.items():
            spectrum = fft.rfft(force, length)
            spectrum *= refined(paths[place] * self.phone.capsule, length)
            total += spectrum
        return np.asarray(fft.irfft(total, length))

    def heard(self, plan: Plan, seconds: float) -> _Heard:
        """One take at the phone's capsule."""
        rng, rate = self.rng, self.phone.rate_hz
        samples = int(seconds * rate)
        length = padded_length(samples)
        motion = draw_motion(rng, self.car, plan, rate, length)
        paths = self.bay.paths(self.bay.spot(plan.place))
        if plan.number == 0:
            self.front = paths
        rest = self._sum(self.healthy, motion, paths, length)
        assert rest is not None
        rest = rest[:samples]
        if plan.number == 0:
            self.loud = float(np.std(rest))
        if self.around_db is not None:
            kind = str(rng.choice(list(KINDS))) if chance(rng, 0.2) else self.around
            around = background(rng, kind, samples, rate)
            rest = rest + around * np.float32(self.loud * gain(self.around_db + rng.normal(0, 2)))
        own = self.loud * gain(self.phone.noise_db)
        rest = rest + np.float32(own) * rng.standard_normal(samples, np.float32)
        fault = self._sum(self.fault, motion, paths, length)
        return _Heard(plan, motion, rest, None if fault is None else fault[:samples])

    def set_severity(self, takes: list[_Heard], severity_db: float) -> None:
        """Brings the fault to its severity in the take that counts."""
        over = {
            i: stands_out(
                third_octaves(take.fault, self.phone.rate_hz),
                third_octaves(take.rest, self.phone.rate_hz),
            )
            for i, take in enumerate(takes)
            if take.fault is not None and take.plan.place == FRONT
        }
        best = max(over, key=lambda i: over[i])
        counts = 0 if 0 in over and over[0] > over[best] - BETTER_DB else best
        change = np.float32(gain(severity_db - over[counts]))
        for take in takes:
            if take.fault is not None:
                take.fault *= change


def _severity(rng: np.random.Generator) -> float:
    """Mostly 3 to 22 dB, a tenth from -3 to 3."""
    return float(rng.uniform(-3.0, 3.0) if chance(rng, 0.1) else rng.uniform(3.0, 22.0))


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
    if suspect is not None and suspect not in (*SUSPECTS, SECOND_IDLER):
        raise ValueError(f"{suspect!r} is no suspect of the neighbour; allowed: {SUSPECTS}")
    if not 4.0 <= duration_s[0] <= duration_s[1]:
        raise ValueError(f"takes of {duration_s} s; allowed: 4 s or more, shortest first")
    chosen = draw_suspect(rng) if suspect is None else suspect
    car = draw_car(rng, needed_parts(chosen))
    if (
        suspect is None
        and chosen == "idler.bearing"
        and "idler-2" in car.parts
        and chance(rng, 0.5)
    ):
        chosen = SECOND_IDLER
    scene = _Scene(rng, car, duration_s[1], chosen)
    plans = whole_round(rng, car) if every_take else draw_plans(rng, car, chosen)
    while not shows(scene.fault, plans):
        plans = draw_plans(rng, car, chosen)
    heard = [scene.heard(plan, float(rng.uniform(*duration_s))) for plan in plans]
    severity = float("nan")
    if chosen != "none":
        severity = _severity(rng)
        scene.set_severity(heard, severity)
    return Case(measured_sheet(rng, car), _takes(rng, scene.phone, heard), chosen, severity)


def _takes(rng: np.random.Generator, phone: Phone, heard: list[_Heard]) -> tuple[Take, ...]:
    """Through the phone's chain into files."""
    out, first = [], 0.0
    for take in heard:
        samples = take.rest if take.fault is None else take.rest + take.fault
        first = first or float(np.std(samples))
        times = np.arange(0.0, len(samples) / phone.rate_hz, 0.1)
        out.append(
            Take(
                take.plan.name,
                stored(rng, phone, samples, first)[None, :],
                phone.rate_hz,
                "on" if take.plan.belt else "off",
                take.plan.place,
                take.plan.load,
                times,
                np.interp(times, take.motion.grid_s, take.motion.rpm),
            )
        )
    return tuple(out)
