"""A further simulator of noises at the belt end, by one who designs sounds and listens to machines.

Noises are put together of clouds of noise, grains laid in time and wavetables, each with jitter,
and sorted by ear into kinds that differ strongly. Rates are physical: orders of each shaft, bearing
multipliers, belt passing, firing. Written without reading how Beltside measures or how the other
simulators sound. Scripts in this folder import it as `import bystander`.

Weak points: levels and colours are a listener's guess; pulleys are placed to give a belt that can
be laid, not to fit an engine bay; forces do not travel, each noise is only coloured by its way to
the phone; two faults at once are not drawn.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import fft

from beltside.drive.sheet import DriveSheet
from bystander_car import Car, draw_car, draw_motion, measured_sheet
from bystander_engine import accessory_voices, engine_voices
from bystander_engine_faults import ENGINE_FAULTS
from bystander_faults import BELT_END_FAULTS, bearing_fault
from bystander_place import (
    FRONT,
    Bay,
    Phone,
    background,
    draw_background,
    draw_nothing,
    draw_phone,
    phone_gain,
    stored,
)
from bystander_tools import Array, Motion, Voice, a_weighted_rms, stands_out_db

__all__ = ["SUSPECTS", "Case", "Take", "draw_case", "draw_nothing"]

_ON_THE_BELT = (
    "alternator",
    "coolant-pump",
    "ac-compressor",
    "steering-pump",
    "tensioner",
    "fan",
    "idler",
)
SUSPECTS = (
    "none",
    *BELT_END_FAULTS,
    *ENGINE_FAULTS,
    *(f"{part}.bearing" for part in _ON_THE_BELT),
)
_LOADS = {"lights": "alternator", "ac": "ac-compressor", "steering": "steering-pump"}
# The load that brings it out.
_SHOWN_BY = {
    "alternator.electrical": "lights",
    "ac-compressor.clutch": "ac",
    "ac-compressor.rattle": "ac",
    "steering-pump.whine": "steering",
}
# When the fault stands out this much more in another take from the front, that one counts.
_SHY_DB = 10.0
_ENGINE_HOUSINGS = ("timing-chain", "valve-train")


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
        "front of engine" or the part the probe is held on.
    load
        What is switched on: "lights", "ac", "steering" (held off centre).
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
    """One engine, its sheet as measured, its takes and what is wrong with it.

    `severity_db`: the fault's loudest tenth of frames of 43 to 64 ms over the mean of all else
    (room and background with it, the phone's own doing without), in the third octave where that is
    most; of the first take, or of the take from the front where it is most when that is 10 dB
    more, or when the first has nothing of it. Not a number when `truth` is "none".
    """

    sheet: DriveSheet
    takes: tuple[Take, ...]
    truth: str
    severity_db: float


@dataclass(frozen=True)
class _Plan:
    name: str
    belt: str = "on"
    place: str = FRONT
    load: tuple[str, ...] = ()
    raised: float = 1.0
    cold: bool = False


@dataclass
class _Heard:
    """A take before the phone: spectra of fault and rest on the grid of `size`."""

    plan: _Plan
    motion: Motion
    truth: tuple[Array, Array]
    size: int
    rest: Array
    fault: Array
    severity_db: float


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
        Not by chance: belt off, speed raised, each possible load, and a probe on every housing.

    Raises
    ------
    ValueError
        When `suspect` is not one of `SUSPECTS` or the takes would be shorter than 4 s.
    """
    if suspect is not None and suspect not in (*SUSPECTS, "idler-2.bearing"):
        raise ValueError(f"{suspect!r} is no suspect of the bystander; allowed: {SUSPECTS}")
    if not 4.0 <= duration_s[0] <= duration_s[1]:
        raise ValueError(f"takes of {duration_s} s; allowed: 4 s or more, shortest first")
    truth = _draw_suspect(rng) if suspect is None else suspect
    car = draw_car(rng, truth)
    if truth == "idler.bearing" and "idler-2" in car.parts and suspect is None:
        truth = str(rng.choice(["idler.bearing", "idler-2.bearing"]))
    scene = _Scene(rng, car, truth)
    while True:
        plans = _draw_plans(rng, car, truth, every_take)
        heard = [scene.listen(plan, rng.uniform(*duration_s)) for plan in plans]
        counts = _counts(heard)
        if truth == "none" or np.isfinite(counts):
            break
    severity, gain = float("nan"), 0.0
    if truth != "none":
        severity = _draw_severity_db(rng)
        gain = 10.0 ** ((severity - counts) / 20.0)
    return Case(measured_sheet(rng, car), tuple(scene.keep(heard, gain)), truth, severity)


def _draw_suspect(rng: np.random.Generator) -> str:
    luck = rng.random()
    if luck < 0.19:
        return "none" if luck < 0.15 else "other"
    return str(rng.choice([name for name in SUSPECTS if name not in ("none", "other")]))


def _draw_severity_db(rng: np.random.Generator) -> float:
    return float(rng.triangular(-3.0, 9.0, 22.0))


def _draw_plans(rng: np.random.Generator, car: Car, truth: str, every_take: bool) -> list[_Plan]:
    """What the technician records."""

    def chance(odds: float) -> bool:
        return every_take or bool(rng.random() < odds)

    cold = bool(rng.random() < (0.5 if truth in ("belt.slip", "timing-chain.rattle") else 0.08))
    plans = [_Plan("belt on", cold=cold)]
    if chance(0.6):
        plans.append(_Plan("belt off", belt="off"))
    if chance(0.5):
        plans.append(_Plan("raised", raised=rng.uniform(1.5, 3.0)))
    loads = [load for load, part in _LOADS.items() if part in car.parts]
    shown = _SHOWN_BY.get(truth) or (str(rng.choice(loads)) if truth == "belt.slip" else None)
    if every_take:
        chosen = loads
    elif shown and rng.random() < 0.93:
        chosen = [shown]
    else:
        chosen = [str(rng.choice(loads))] if rng.random() < 0.3 else []
    plans += [_Plan(load, load=(load,)) for load in chosen]
    housings = [part for part in car.parts if part != "crank"] + list(_ENGINE_HOUSINGS)
    guilty = truth.rpartition(".")[0]
    if every_take:
        held = housings
    elif rng.random() < 0.5:
        held = [str(part) for part in rng.permutation(housings)[: rng.integers(1, 5)]]
        if guilty in housings:
            held = [part for part in held if part != guilty]
            if rng.random() < 0.65 or not held:
                held = [*held[:3], guilty]
    else:
        held = []
    return plans + [_Plan(f"probe {part}", place=part) for part in held]


def _counts(heard: list[_Heard]) -> float:
    """How far the fault stands out in the take that counts [dB]."""
    first = heard[0].severity_db
    best = max(take.severity_db for take in heard if take.plan.place == FRONT)
    return best if best > first + _SHY_DB else first


class _Scene:
    """One car in one place, recorded with one phone."""

    def __init__(self, rng: np.random.Generator, car: Car, truth: str) -> None:
        self.rng, self.car = rng, car
        self.phone: Phone = draw_phone(rng)
        self.bay = Bay(rng, self.phone.rate_hz)
        self.voices = [*engine_voices(rng, car), *accessory_voices(rng, car)]
        self.faults: list[Voice] = []
        part, _, fault = truth.rpartition(".")
        if fault == "bearing":
            self.faults = bearing_fault(rng, car, part)
        elif truth != "none":
            self.faults = {**BELT_END_FAULTS, **ENGINE_FAULTS}[truth](rng, car)
        self.around = draw_background(rng) if rng.random() < 0.5 else None
        self.around_db = rng.uniform(-35, -10)
        self._gains: dict[int, float] = {}

    def _is_still(self, voice: Voice, motion: Motion) -> bool:
        on_the_belt = voice.seat == "belt" or voice.seat in self.car.parts
        return on_the_belt and voice.seat != "crank" and not motion.belt_on

    def _sounded(self, voice: Voice, motion: Motion) -> Array | None:
        """A voice at its level; None when it is silent."""
        if self._is_still(voice, motion):
            return None
        sound = voice.make(self.rng, motion)
        if not sound.any():
            return None
        sound = sound * motion.speed**voice.growth
        if id(voice) not in self._gains:
            level = a_weighted_rms(sound, motion.rate_hz)
            self._gains[id(voice)] = 10.0 ** (voice.level_db / 20.0) / (level + 1e-12)
        return sound * np.float32(self._gains[id(voice)])

    def _sum(self, voices: list[Voice], motion: Motion, place: str, size: int) -> Array:
        """Spectrum of what comes to the phone of some voices, without the room."""
        seats: dict[str, Array] = {}
        for voice in voices:
            sound = self._sounded(voice, motion)
            if sound is not None:
                seats[voice.seat] = seats[voice.seat] + sound if voice.seat in seats else sound
        freqs = fft.rfftfreq(size, 1.0 / motion.rate_hz)
        total = np.zeros(size // 2 + 1, np.complex64)
        for seat, sound in seats.items():
            total += fft.rfft(sound.astype(np.float32), size) * self.bay.response(
                seat, place, freqs
            )
        return total

    def listen(self, plan: _Plan, seconds: float) -> _Heard:
        """What comes to the phone on one take."""
        rate = self.phone.rate_hz
        motion, *truth = draw_motion(
            self.rng, self.car, seconds, rate, plan.raised, plan.belt == "on", plan.load, plan.cold
        )
        size = fft.next_fast_len(motion.samples + rate // 4, real=True)
        rest = self._sum(self.voices, motion, plan.place, size)
        room = self.bay.around(plan.place, size).astype(np.complex64)
        rest *= room
        if self.around is not None:
            # Against the engine's loudest layer, whose A-weighted level is near 1.
            level = self.around_db - (0.0 if plan.place == FRONT else 10.0)
            noise = background(self.rng, self.around, motion.samples, rate)
            noise *= 10.0 ** (level / 20.0) / (a_weighted_rms(noise, rate) + 1e-6)
            rest += fft.rfft(noise.astype(np.float32), size)
        fault = self._sum(self.faults, motion, plan.place, size) * room
        severity = -np.inf
        if fault.any():
            both = [fft.irfft(part, size)[: motion.samples] for part in (fault, rest)]
            severity = stands_out_db(both[0], both[1], rate)
        return _Heard(plan, motion, (truth[0], truth[1]), size, rest, fault, severity)

    def keep(self, heard: list[_Heard], gain: float) -> list[Take]:
        """The takes as the phone keeps them, the fault at its gain."""
        takes, usual, rate = [], 0.0, self.phone.rate_hz
        for one in heard:
            spectrum = one.rest + np.float32(gain) * one.fault
            spectrum *= phone_gain(self.phone, fft.rfftfreq(one.size, 1.0 / rate)).astype(
                np.float32
            )
            sound = fft.irfft(spectrum, one.size)[: one.motion.samples]
            usual = usual or float(np.sqrt(np.mean(np.square(sound))))
            takes.append(
                Take(
                    one.plan.name,
                    stored(self.rng, self.phone, sound, usual)[None, :],
                    rate,
                    one.plan.belt,
                    one.plan.place,
                    one.plan.load,
                    *one.truth,
                )
            )
        return takes
