"""A third simulator of noises at the belt end, by someone who has not read how they are measured.

It serves the fits beside the other two, and is left out in turn (scripts/calibrate.py) to see what
their weights say of engines they have not met. Blows and noise act as forces on housings with
modes of their own, reach the phone through air, walls, joints and a room, and are stored as a
phone would store them. Scripts in this folder import it as `import judge`.

Weak points: paths are drawn, not measured; the belt's tension is not solved for, so its squeal
follows a threshold on a made-up pull; two faults at once, misfires and cold oil are not drawn.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from scipy import signal

from beltside.drive.sheet import DriveSheet
from judge_accessories import accessory_sources
from judge_around import BACKGROUNDS, draw_nothing, loudness_power
from judge_drive import Car, draw_car
from judge_engine import engine_sources
from judge_motion import Source, Turning, draw_turning
from judge_phone import Phone, draw_phone, record
from judge_place import FRONT, Bay, Room, draw_room
from judge_sheet import measured_sheet
from judge_suspects import SUSPECTS, Plan, draw_plans, draw_suspect, fault_sources, whole_round
from judge_tools import Array, a_weight, blocks_in, grid_hz, joined, spectra, stands_out_db

__all__ = ["SUSPECTS", "JudgeCase", "JudgeTake", "draw_case", "draw_nothing"]

# When a noise stands out this much more on another take, that one is what the owner hears.
SHY_DB = 10.0
# Nothing of the fault was in any take.
SILENT_DB = -90.0


@dataclass(frozen=True)
class JudgeTake:
    """One recording.

    Attributes
    ----------
    samples
        float32, shape=(1, samples), within -1 to 1.
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
class JudgeCase:
    """One engine with its drive sheet as measured, its takes and what is wrong with it.

    `severity_db` is how far the fault stands out before the phone's own doing: the energy of the
    fault's loudest tenth of 21 ms frames over the mean energy of all else (room and background
    with it), in the critical band where this is most. It is taken on the first take, or on the
    take from the front where the fault stands out most when that is 10 dB more (a noise that only
    comes with a load). Not a number when `truth` is "none".
    """

    sheet: DriveSheet
    takes: tuple[JudgeTake, ...]
    truth: str
    severity_db: float


@dataclass
class _Heard:
    """What comes to the phone on one take, fault and rest apart."""

    plan: Plan
    turning: Turning
    rest: Array
    fault: Array


@dataclass
class _Shop:
    """One engine in one place, and the gains that make its sources as loud as drawn."""

    rng: np.random.Generator
    car: Car
    phone: Phone
    room: Room
    bay: Bay
    healthy: list[Source]
    faulty: list[Source]
    around: dict[str, float]
    gains: dict[int, float] = field(default_factory=dict)
    loudness: float = 0.0
    first_level: float = 0.0

    def _sum(
        self, turning: Turning, sources: list[Source], paths: dict[str, Array], weight: Array
    ) -> Array:
        total = np.zeros((blocks_in(turning.size), weight.size), dtype=np.complex64)
        for source in sources:
            if source.belt_driven and not turning.belt_on:
                continue
            made = spectra(source.make(turning, self.rng))
            made = made * self.bay.response(source, paths[source.place])
            if id(source) not in self.gains:
                power = float(np.mean(np.abs(made * weight) ** 2))
                if power <= 0.0:
                    continue
                self.gains[id(source)] = float(10.0 ** (source.level_db / 20.0) / np.sqrt(power))
            total += made * np.float32(self.gains[id(source)])
        return joined(total, turning.size)

    def hear(self, plan: Plan, seconds: float) -> _Heard:
        """Run the engine once and listen."""
        turning = draw_turning(
            self.rng,
            self.car,
            seconds,
            self.phone.rate_hz,
            belt_on=plan.belt == "on",
            raised=plan.raised,
            loads=plan.load,
            cold=plan.cold,
        )
        weight = a_weight(self.bay.freqs_hz).astype(np.float32)
        stand = self.rng.normal(0.0, 50.0, 3)
        grip_db = float(self.rng.uniform(10.0, 25.0))
        paths = {
            place: self.bay.path(place, plan.place, stand, grip_db) for place in self.bay.spots
        }
        rest = self._sum(turning, self.healthy, paths, weight)
        fault = self._sum(turning, self.faulty, paths, weight)
        if plan.place == FRONT:
            impulse = self.room.impulse(self.rng, self.phone.rate_hz)
            if impulse.size > 1:
                both = signal.oaconvolve(rest + 1j * fault, impulse)[: turning.size]
                rest, fault = both.real, both.imag
        self.loudness = self.loudness or loudness_power(rest, self.phone.rate_hz)
        for name, level_db in self.around.items():
            noise = BACKGROUNDS[name](self.rng, turning.size, self.phone.rate_hz)
            power = loudness_power(noise, self.phone.rate_hz) + 1e-20
            held_off_db = 0.0 if plan.place == FRONT else -12.0
            gain = self.loudness / power * 10.0 ** ((level_db + held_off_db) / 10.0)
            rest = rest + np.sqrt(gain) * noise
        return _Heard(plan, turning, rest, fault)

    def take(self, heard: _Heard, fault_gain: float) -> JudgeTake:
        """What the phone made of it; its gain is set once for all takes from the front."""
        sound = heard.rest + fault_gain * heard.fault
        level = float(np.sqrt(np.mean(sound**2)))
        if heard.plan.place == FRONT:
            self.first_level = self.first_level or level
            level = self.first_level
        samples = record(self.phone, self.rng, sound, level)
        rate = self.phone.rate_hz
        at = np.arange(0.0, heard.turning.size / rate, 0.1)
        rpm = np.interp(at * rate, np.arange(heard.turning.size), heard.turning.rpm)
        plan = heard.plan
        return JudgeTake(plan.name, samples, rate, plan.belt, plan.place, plan.load, at, rpm)


def _draw_severity(rng: np.random.Generator) -> float:
    """Mostly plain to hear; one in five on the border of what the ear picks out."""
    return float(rng.uniform(-6.0, 4.0) if rng.random() < 0.2 else rng.uniform(4.0, 20.0))


def _draw_around(rng: np.random.Generator) -> dict[str, float]:
    """Backgrounds with their level against the idling engine [dB]."""
    chosen = rng.choice(list(BACKGROUNDS), int(rng.choice([0, 1, 1, 2])), replace=False)
    return {str(name): float(rng.uniform(-32.0, -8.0)) for name in chosen}


def _shows_db(heard: list[_Heard], rate_hz: int) -> float:
    """How far the fault stands out before any gain, on the take that counts."""
    apart = [
        stands_out_db(one.fault, one.rest, rate_hz)
        for one in heard
        if one.plan.place == FRONT and one.plan.belt == "on"
    ]
    return apart[0] if apart[0] >= max(apart) - SHY_DB else max(apart)


def draw_case(
    rng: np.random.Generator,
    suspect: str | None = None,
    duration_s: tuple[float, float] = (5.0, 10.0),
    every_take: bool = False,
) -> JudgeCase:
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
    if suspect is not None and suspect not in (*SUSPECTS, "idler-2.bearing"):
        raise ValueError(f"{suspect!r} is no suspect of the judge; allowed: {SUSPECTS}")
    if not 4.0 <= duration_s[0] <= duration_s[1]:
        raise ValueError(f"takes of {duration_s} s; allowed: 4 s or more, shortest first")
    chosen = draw_suspect(rng) if suspect is None else suspect
    car = draw_car(rng, chosen)
    if chosen == "idler.bearing" and "idler-2" in car.parts and suspect is None:
        chosen = str(rng.choice(["idler.bearing", "idler-2.bearing"]))
    phone = draw_phone(rng)
    freqs = grid_hz(phone.rate_hz)
    shop = _Shop(
        rng,
        car,
        phone,
        draw_room(rng),
        Bay(rng, car, freqs, phone.rate_hz),
        [*engine_sources(rng, car), *accessory_sources(rng, car)],
        fault_sources(rng, car, chosen),
        _draw_around(rng),
    )
    severity_db, gain = float("nan"), 0.0
    heard: list[_Heard] = []
    while not heard:
        draw = whole_round if every_take else draw_plans
        plans = draw(rng, car, chosen)
        heard = [shop.hear(plan, float(rng.uniform(*duration_s))) for plan in plans]
        if chosen != "none":
            severity_db = _draw_severity(rng)
            shows = _shows_db(heard, phone.rate_hz)
            gain = float(10.0 ** ((severity_db - shows) / 20.0))
            # A belt that happened to slip on none of the takes: the owner heard it, so again.
            heard = heard if shows > SILENT_DB else []
    takes = tuple(shop.take(one, gain) for one in heard)
    return JudgeCase(measured_sheet(rng, car), takes, chosen, severity_db)
