"""A further simulator of noises at the belt end, as vibration and acoustics textbooks draw them.

Impulse trains through decaying resonances, harmonic series with random phases, amplitude-modulated
noise, plain filters, all added at stated levels; much of everything is left to chance. Written
without reading how Beltside measures. Scripts in this folder import it as `import textbook`.

Weak points: no forces are solved for, paths are filters drawn by chance, one fault at a time.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from scipy import fft

from beltside.drive.sheet import DriveSheet
from textbook_car import Car, draw_car, measured_sheet
from textbook_faults import FAULTS, fault_sounds
from textbook_healthy import healthy_sounds
from textbook_room import WORKSHOP, Phone, draw_nothing, draw_phone, record, room_response
from textbook_signals import (
    COARSE_HZ,
    Array,
    Run,
    Sound,
    Spectrum,
    Wave,
    a_weight,
    band,
    grid,
    on_bins,
    power_of,
    ringing,
    slow_course,
    third_octaves,
)

__all__ = ["SUSPECTS", "Case", "Mixture", "Take", "draw_case", "draw_nothing", "draw_parts"]

FRONT = "front of engine"
BEARINGS = (
    "coolant-pump",
    "alternator",
    "idler",
    "tensioner",
    "ac-compressor",
    "steering-pump",
    "fan",
)
SUSPECTS = ("none", *FAULTS, *(f"{part}.bearing" for part in BEARINGS))
LOADS = {"lights": "alternator", "ac": "ac-compressor", "steering": "steering-pump"}
# Left off the start of each take: the filters are circular, what rings on wraps round to it.
LEAD_S = 0.2
# Draws of the takes' randomness before every load is switched on.
TRIES = 6


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
        What is switched on: "lights", "ac", "steering".
    truth_time_s, truth_rpm
        The crank's true speed every 0.1 s, without its swing within a cycle.
    """

    name: str
    samples: Wave
    sample_rate_hz: int
    belt: str
    place: str
    load: tuple[str, ...]
    truth_time_s: Array
    truth_rpm: Array


@dataclass(frozen=True)
class Case:
    """One engine with its sheet as measured, its takes and what is wrong with it.

    `severity_db` is the fault's mean power over that of all else (workshop included, phone left
    out) in the third octave, 100 Hz to 8 kHz, where it stands out most, on the take from the front
    with the belt on where that is most. Not a number when `truth` is "none".
    """

    sheet: DriveSheet
    takes: tuple[Take, ...]
    truth: str
    severity_db: float


@dataclass(frozen=True)
class Plan:
    """How one take is made; `factor`: its speed over idle; `ramps`: it is reached slowly."""

    name: str
    belt: str = "on"
    place: str = FRONT
    load: tuple[str, ...] = ()
    factor: float = 1.0
    ramps: bool = False


@dataclass(frozen=True)
class Mixture:
    """What comes to the phone on one take, fault and rest apart, as real transforms."""

    plan: Plan
    run: Run
    seconds: float
    rest: Spectrum
    fault: Spectrum


@dataclass
class _Bench:
    """One engine in one workshop: its sources with the gains that make them as loud as stated."""

    rng: np.random.Generator
    car: Car
    phone: Phone
    sounds: list[Sound]
    faults: list[Sound]
    size: int
    contact_db: float
    tilt_hz: float
    decay_s: float
    gains: list[float] = field(default_factory=list)
    responses: list[Spectrum] = field(default_factory=list)

    def __post_init__(self) -> None:
        """Sound by sound: a second and a half at idle with all loads on sets its gain."""
        rate, size = self.phone.rate_hz, 3 * self.phone.rate_hz // 2
        still = _run(self.rng, self.car, Plan("", load=tuple(LOADS)), rate, size, steady=True)
        hz = grid(rate)
        weight = on_bins(a_weight(hz), size, rate).real ** 2
        for sound in (*self.sounds, *self.faults):
            shape = np.asarray(band(hz, sound.low_hz, sound.high_hz), np.complex128)
            if sound.ring:
                modes = ringing(hz, self.car.modes[sound.part])
                shape = shape * (sound.ring * modes + (1.0 - sound.ring) * 0.3)
            heard = fft.rfft(sound.make(still)) * on_bins(shape, size, rate)
            power = float(2.0 * ((heard.real**2 + heard.imag**2) * weight).sum() / size**2)
            self.gains.append(10.0 ** (sound.level_db / 20.0) / np.sqrt(max(power, 1e-12)))
            self.responses.append(on_bins(shape, self.size, rate))

    def place_gain(self, plan: Plan, part: str) -> float:
        """How much louder a part comes to a probe than to the front."""
        if plan.place == FRONT:
            level_db = self.rng.normal(0.0, 1.0)
        elif plan.place == part:
            level_db = self.contact_db + self.rng.normal(0.0, 1.0)
        else:
            level_db = self.rng.uniform(-10.0, 0.0)
        return float(10.0 ** (level_db / 20.0))

    def hear(self, plan: Plan, seconds: float, background: Spectrum | None) -> Mixture:
        """One take before the phone."""
        rate = self.phone.rate_hz
        run = _run(self.rng, self.car, plan, rate, self.size)
        both = [np.zeros(self.size // 2 + 1, np.complex64) for _ in range(2)]
        for number, sound in enumerate((*self.sounds, *self.faults)):
            gain = self.gains[number] * self.place_gain(plan, sound.part) * run.speed**sound.grows
            if sound.belt and plan.belt == "off":
                continue
            heard = fft.rfft(sound.make(run)) * self.responses[number]
            both[number >= len(self.sounds)] += heard * np.float32(gain)
        response = room_response(self.rng, rate, self.decay_s)
        if plan.place != FRONT:
            response = band(grid(rate), 20.0, self.tilt_hz, 1.0) * (0.3 + 0.7 * response)
        path = on_bins(response, self.size, rate)
        rest = both[0] * path
        if background is not None:
            rest = rest + background
        return Mixture(plan, run, seconds, rest, both[1] * path)


def _run(
    rng: np.random.Generator, car: Car, plan: Plan, rate_hz: int, size: int, steady: bool = False
) -> Run:
    """The engine's speed through one take."""
    seconds = np.arange(int(size / rate_hz * COARSE_HZ) + 2) / COARSE_HZ
    rpm = np.full(len(seconds), car.idle_rpm)
    if not steady:
        pull = rng.uniform(-0.03, 0.02) * len(plan.load) if plan.factor == 1.0 else 0.0
        factor = np.full(len(seconds), plan.factor * (1.0 + pull))
        if plan.ramps:
            start, lasts = rng.uniform(0.1, 0.4), rng.uniform(0.1, 0.5)
            rise = np.clip((seconds / seconds[-1] - start) / lasts, 0.0, 1.0)
            factor = 1.0 + (plan.factor - 1.0) * (0.5 - 0.5 * np.cos(np.pi * rise))
        course = slow_course(rng, len(seconds), COARSE_HZ, 0.08, 1.5).astype(float)
        quick = slow_course(rng, len(seconds), COARSE_HZ, 1.5, 6.0).astype(float)
        rpm = rpm * factor * (1.0 + car.wander * (course + 0.3 * quick))
    turns = np.cumsum(rpm / 60.0) / COARSE_HZ + rng.uniform(0.0, 2.0)
    firing = np.pi * car.cylinders
    swing = car.swing * (car.idle_rpm / rpm) ** 2 / firing
    turns = turns + swing * np.sin(firing * turns)
    speed = float(rpm.mean() / car.idle_rpm)
    fine = np.interp(np.arange(size) / rate_hz, seconds, turns)
    white = rng.standard_normal(size, dtype=np.float32)
    loads = frozenset(plan.load)
    return Run(rng, rate_hz, fine, seconds, turns, rpm, speed, loads, white)


def _possible_loads(car: Car) -> list[str]:
    return [load for load, part in LOADS.items() if part in car.parts]


def _draw_plans(rng: np.random.Generator, car: Car, suspect: str, every: bool) -> list[Plan]:
    """The takes of one case: the front with the belt on first, the others by chance."""
    loads, part = _possible_loads(car), suspect.partition(".")[0]
    asked = [load for load in loads if LOADS[load] == part and not suspect.endswith(".bearing")]
    if suspect == "belt.slip":
        asked = loads
    plans = [Plan("belt-on")]
    if every or rng.random() < 0.6:
        plans.append(Plan("belt-off", belt="off"))
    if every or rng.random() < 0.5:
        ramps = bool(rng.random() < 0.25)
        plans.append(Plan("raised", factor=float(rng.uniform(1.5, 3.0)), ramps=ramps))
    for load in loads:
        if every or rng.random() < (0.93 if load in asked else 0.3 / len(loads)):
            plans.append(Plan(load, load=(load,)))
    housings = [*car.parts[1:], "timing-chain", "valve-train"]
    if every:
        probed = housings
    elif rng.random() < 0.5:
        count = int(rng.integers(1, 5))
        others = [str(one) for one in rng.permutation([one for one in housings if one != part])]
        guilty = part in housings and rng.random() < 0.65
        probed = [part, *others[: count - 1]] if guilty else others[:count]
    else:
        probed = []
    with_load = tuple(asked[:1]) if rng.random() < 0.4 else ()
    return plans + [Plan(f"probe-{one}", place=one, load=with_load) for one in probed]


def _draw_suspect(rng: np.random.Generator) -> str:
    """15 % "none", 4 % "other", the rest even."""
    chance = rng.random()
    if chance < 0.19:
        return "none" if chance < 0.15 else "other"
    return str(rng.choice([one for one in SUSPECTS if one not in ("none", "other")]))


def _standing_out_db(mixture: Mixture, rate_hz: int, size: int) -> float:
    """Fault over rest in the third octave where it is most [dB]."""
    fault = third_octaves(mixture.fault, size, rate_hz)
    rest = third_octaves(mixture.rest, size, rate_hz)
    return float(10.0 * np.log10(np.max(fault / (rest + 1e-15)) + 1e-15))


def draw_parts(
    rng: np.random.Generator,
    suspect: str | None = None,
    duration_s: tuple[float, float] = (5.0, 10.0),
    every_take: bool = False,
) -> tuple[str, float, Car, Phone, list[Mixture]]:
    """What `draw_case` records: truth, severity [dB], engine, phone, takes before the phone.

    Parameters and errors as for `draw_case`.
    """
    if suspect is not None and suspect not in (*SUSPECTS, "idler-2.bearing"):
        raise ValueError(f"{suspect!r} is no suspect of the textbook; allowed: {SUSPECTS}")
    if not 2.0 <= duration_s[0] <= duration_s[1]:
        raise ValueError(f"takes of {duration_s} s; allowed: 2 s or more, shortest first")
    truth = _draw_suspect(rng) if suspect is None else suspect
    car = draw_car(rng, truth)
    if suspect is None and truth == "idler.bearing" and "idler-2" in car.parts:
        truth = str(rng.choice(["idler.bearing", "idler-2.bearing"]))
    phone = draw_phone(rng)
    longest = float(rng.uniform(*duration_s))
    size = fft.next_fast_len(int((longest + LEAD_S) * phone.rate_hz) + 1, True)
    contact_db, tilt_hz = rng.uniform(8.0, 20.0), rng.uniform(1500.0, 6000.0)
    sounds, faults = healthy_sounds(rng, car), fault_sounds(rng, car, truth)
    decay_s = float(rng.uniform(0.15, 0.9))
    bench = _Bench(rng, car, phone, sounds, faults, size, contact_db, tilt_hz, decay_s)
    noise = WORKSHOP[int(rng.integers(len(WORKSHOP)))] if rng.random() < 0.5 else None
    noise_db = rng.uniform(-35.0, -10.0)
    wanted_db = float(np.clip(rng.normal(9.0, 5.0), -3.0, 20.0))
    heard: list[Mixture] = []
    found_db = -np.inf
    for attempt in range(50):
        plans = _draw_plans(rng, car, truth, every_take)
        if attempt >= TRIES:
            plans.insert(1, Plan("loads", load=tuple(_possible_loads(car))))
        heard = []
        for plan in plans:
            lasts = float(rng.uniform(max(duration_s[0], 0.8 * longest), longest))
            background = None
            if noise is not None:
                background = fft.rfft(noise(rng, size, phone.rate_hz))
                power = power_of(background, size, phone.rate_hz)
                background *= np.float32(10.0 ** (noise_db / 20.0) / np.sqrt(power + 1e-12))
            heard.append(bench.hear(plan, lasts, background))
        if truth == "none":
            return truth, float("nan"), car, phone, heard
        fronts = [one for one in heard if one.plan.place == FRONT and one.plan.belt == "on"]
        found_db = max(_standing_out_db(one, phone.rate_hz, size) for one in fronts)
        if found_db > -60.0:
            break
    else:
        raise RuntimeError(f"{truth} was silent on every take of 50 draws")
    gain = np.float32(10.0 ** ((wanted_db - found_db) / 20.0))
    for one in heard:
        one.fault[:] *= gain
    return truth, wanted_db, car, phone, heard


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
        Shortest and longest take [s], at least 2.
    every_take
        Make every take there is: belt off, raised, each load, a probe on each housing.

    Raises
    ------
    ValueError
        When `suspect` is not one of `SUSPECTS` or the takes would be shorter than 2 s.
    """
    truth, severity_db, car, phone, heard = draw_parts(rng, suspect, duration_s, every_take)
    rate, size = phone.rate_hz, heard[0].run.size
    first = heard[0].rest + heard[0].fault
    level = power_of(first, size, rate, weighted=False)
    takes = []
    for one in heard:
        wave = record(rng, phone, one.rest + one.fault, size, level)
        start, count = int(LEAD_S * rate), int(one.seconds * rate)
        times = np.arange(0.0, one.seconds, 0.1)
        rpm = np.interp(times + LEAD_S, one.run.coarse_s, one.run.rpm)
        takes.append(
            Take(
                one.plan.name,
                wave[np.newaxis, start : start + count],
                rate,
                one.plan.belt,
                one.plan.place,
                one.plan.load,
                times,
                rpm,
            )
        )
    return Case(measured_sheet(rng, car), tuple(takes), truth, severity_db)
