"""One take: the motion, the conditions, the mix at the microphone, and what the phone keeps."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import scipy.signal
from numpy.random import Generator

from beltside.rig.engine import EngineSpec
from beltside.rig.layout import Drive
from beltside.rig.motion import CONTROL_HZ, Motion, make_motion, speed_program
from beltside.rig.phone import Phone, record
from beltside.rig.room import FRONT, Paths, Room, make_paths
from beltside.rig.surroundings import WORKSHOP
from beltside.rig.synthesis import (
    BLOCK,
    RATE_HZ,
    Float32,
    Float64,
    Mixer,
    chain,
    slow_noise,
    unit_energy,
)
from beltside.rig.voices import Conditions, Voice, sound

LOADS: Final = ("lights", "ac", "steering")


@dataclass(frozen=True)
class TakePlan:
    """How one take is to be made.

    Attributes
    ----------
    name
        Used for its file.
    belt
        "on" or "off".
    place
        "front of engine" or the part the probe is held on.
    speed
        "idle", "hold", "ramp", "steps" or "blips".
    load
        What is switched on: any of "lights", "ac", "steering".
    duration_s
        Length [s]; None draws one.
    """

    name: str
    belt: str = "on"
    place: str = FRONT
    speed: str = "idle"
    load: tuple[str, ...] = ()
    duration_s: float | None = None


@dataclass(frozen=True)
class RigTake:
    """One simulated recording.

    Attributes
    ----------
    samples
        Shape (channels, n), float32, peak at most 1.
    belt, place, load
        As in a case file.
    truth_time_s, truth_rpm
        Cycle-mean crank speed [1/min] 50 times a second.
    """

    name: str
    samples: Float32
    sample_rate_hz: int
    belt: str
    place: str
    load: tuple[str, ...]
    truth_time_s: Float64
    truth_rpm: Float64


@dataclass(frozen=True)
class Car:
    """Everything that stays the same between the takes of one case.

    Attributes
    ----------
    healthy, faulty
        Voices in good order, and those of the fault (its gain included).
    electric_base
        Usual load of the alternator, 0 to 1.
    top_rpm
        Speed of raised takes [1/min].
    background
        (kind, level against the engine) of what else is heard.
    gusts
        Strength of wind on the microphone against the engine.
    """

    engine: EngineSpec
    drive: Drive
    healthy: tuple[Voice, ...]
    faulty: tuple[Voice, ...]
    room: Room
    phone: Phone
    electric_base: float
    top_rpm: float
    background: tuple[tuple[str, float], ...]
    gusts: float


def make_conditions(
    rng: Generator, motion: Motion, plan: TakePlan, electric_base: float
) -> Conditions:
    """Signals of a take: torque asked, overrun, and what is switched on."""
    count = len(motion.rpm)
    rising = np.maximum(motion.acceleration, 0.0)
    effort = np.clip(0.12 * (motion.speed_ratio - 1.0) + 0.3 * rising, 0.0, 1.0)
    electric = electric_base + (0.45 if "lights" in plan.load else 0.0)
    steering = np.zeros(count)
    if "steering" in plan.load:
        steering = np.clip(0.6 + 0.8 * slow_noise(rng, count, CONTROL_HZ, 0.5), 0.0, 1.0)
    on = np.ones(count)
    belt_on = plan.belt == "on"
    signals = {
        "effort": effort,
        "coast": np.clip(-0.7 * motion.acceleration, 0.0, 1.0),
        "electric": np.clip(electric + 0.04 * slow_noise(rng, count, CONTROL_HZ, 0.5), 0, 1),
        "ac": on * float("ac" in plan.load),
        "steering": steering,
        "belt": on * float(belt_on),
    }
    return Conditions(
        belt_on, plan.load, {name: wave.astype(np.float32) for name, wave in signals.items()}
    )


def mix(
    rng: Generator,
    voices: tuple[Voice, ...],
    motion: Motion,
    conditions: Conditions,
    paths: Paths,
    *,
    ears: int = 1,
    gates_open: bool = False,
) -> Mixer:
    """All voices through their paths; those that need the belt are still when it is off."""
    mixer = Mixer(motion.count, ears)
    white = rng.standard_normal(motion.count + 2 * RATE_HZ, dtype=np.float32)
    bodies: dict[tuple[str, int], tuple[Float32, Float32]] = {}
    for voice in voices:
        if voice.needs_belt and not conditions.belt_on:
            continue
        dry = sound(voice, motion, conditions, rng, white, gates_open=gates_open)
        # What one part radiates through one body needs one transform only.
        key = (voice.part, id(voice.response))
        if key in bodies:
            dry += bodies[key][1]
        bodies[key] = (voice.response, dry)
    for (part, _), (response, dry) in bodies.items():
        own = unit_energy(response)
        mixer.add(dry, np.stack([chain(own, path) for path in paths.of(part)]))
    return mixer


def third_octaves(power: Float64) -> Float64:
    """Power of the mixer's frequencies summed in third octaves, 100 Hz to 12.5 kHz."""
    centres = 1000.0 * 2.0 ** (np.arange(-10, 12) / 3.0)
    frequency = np.arange(len(power)) * RATE_HZ / (2 * BLOCK)
    edges = np.append(centres * 2 ** (-1 / 6), centres[-1] * 2 ** (1 / 6))
    sums = np.concatenate(([0.0], np.cumsum(power)))
    return np.diff(sums[np.searchsorted(frequency, edges)])


def scale_fault(
    rng: Generator, car: Car, severity_db: float, *, duration_s: float = 1.5
) -> tuple[Voice, ...]:
    """The fault's voices, shifted so that at idle in front of the engine they stand
    `severity_db` over the healthy noise, in the three third octaves where they stand out most.
    """
    if not car.faulty:
        return ()
    idle = car.engine.idle_rpm
    program = speed_program(rng, "idle", duration_s, idle, idle)
    shafts = car.drive.shafts()
    motion = make_motion(rng, car.engine.restlessness, program, duration_s, idle, shafts)
    plan = TakePlan("reference")
    conditions = make_conditions(rng, motion, plan, car.electric_base)
    paths = make_paths(rng, car.room, FRONT)
    healthy = third_octaves(mix(rng, car.healthy, motion, conditions, paths).power())
    faulty = third_octaves(mix(rng, car.faulty, motion, conditions, paths, gates_open=True).power())
    own = faulty > 0.01 * faulty.max()  # its own bands, not the last of its skirts
    over = np.sort(faulty[own] / np.maximum(healthy[own], 1e-20))[-3:]
    shift = severity_db - 10.0 * float(np.log10(max(over.mean(), 1e-20)))
    return tuple(replace(voice, level_db=voice.level_db + shift) for voice in car.faulty)


def make_take(
    rng: Generator, car: Car, plan: TakePlan, duration_s: float, reference_rms: float | None
) -> tuple[RigTake, float]:
    """Simulate one take; gives it and its level before the phone (the reference of the next)."""
    base = car.engine.idle_rpm * float(1.0 + rng.normal(0.0, 0.008))
    if plan.belt == "off":
        base *= float(1.0 + rng.normal(0.01, 0.02))
    if plan.load:
        base *= float(1.0 + rng.uniform(-0.04, 0.06))
    program = speed_program(rng, plan.speed, duration_s, base, car.top_rpm)
    motion = make_motion(
        rng,
        car.engine.restlessness,
        program,
        duration_s,
        car.engine.idle_rpm,
        car.drive.shafts(),
    )
    conditions = make_conditions(rng, motion, plan, car.electric_base)
    ears = car.phone.ears
    paths = make_paths(rng, car.room, plan.place, ears=ears)
    voices = car.healthy + car.faulty
    heard = mix(rng, voices, motion, conditions, paths, ears=ears).samples()
    if len(paths.tail):
        heard = heard + _late(heard, paths.tail)
    level = float(np.sqrt(np.mean(np.square(heard, dtype=np.float64))))
    reference = reference_rms or level
    quieter = 1.0 if plan.place == FRONT else 0.2
    for kind, gain in car.background:
        noise = WORKSHOP[kind](rng, heard.shape[1])
        heard = heard + np.float32(gain * reference * quieter) * noise
    samples = record(
        rng, car.phone, heard, reference, gusts=car.gusts if plan.place == FRONT else 0.0
    )
    time_s, rpm = motion.truth()
    take = RigTake(
        plan.name,
        samples,
        car.phone.sample_rate_hz,
        plan.belt,
        plan.place,
        plan.load,
        time_s,
        rpm,
    )
    return take, reference


def _late(heard: Float32, tail: Float32) -> Float32:
    """Late reverberation of the mix, same shape."""
    wet = scipy.signal.oaconvolve(heard, tail[None, :], axes=1)[:, : heard.shape[1]]
    return np.asarray(wet, dtype=np.float32)
