"""What goes wrong with the belt: slip that squeals, chirps of pulleys out of line, a torn belt.

A rubber rib on metal sticks and slips: a vibration that excites itself, at a mode of the span,
grows within a few periods once the pull passes a threshold, and stops as fast.
"""

from __future__ import annotations

import numpy as np

from judge_drive import Car, Wheel
from judge_motion import Source, Turning
from judge_tools import (
    Array,
    band,
    bumps,
    crossings,
    cyclic,
    flat,
    smoothed,
    train,
    wander,
    white,
)


def stick_slip(
    turning: Turning,
    rng: np.random.Generator,
    pitch_hz: float | Array,
    drive: Array,
    *,
    grows_s: float,
    harmonics: int,
    rough: float,
    bends: float = 0.004,
) -> Array:
    """A self-excited squeal while `drive` is above 0; its pitch sags as it swings wider."""
    size, rate = turning.size, turning.rate_hz
    alive = np.tanh(np.clip(smoothed(np.clip(drive, 0.0, 1.0), rate, grows_s), 0.0, None) * 2.0)
    loose = 1.0 + bends * wander(rng, size, rate, 25.0) + 2.0 * bends * wander(rng, size, rate, 2.0)
    pitch = pitch_hz * loose * (1.0 - 0.02 * alive)
    angle = 2.0 * np.pi * np.cumsum(np.broadcast_to(pitch, (size,))) / rate
    wave = np.zeros(size)
    for number in range(1, harmonics + 1):
        # A saw tooth whose corners are rounded off: harmonics fall a bit faster than 1/n.
        wave += np.cos(number * angle + 0.6 * number) / number**1.3
    scrape = rough * white(rng, size)
    return np.asarray(alive * (wave + scrape))


def _pull(turning: Turning) -> Array:
    """How hard the belt is pulled against its usual self: swing of the crank and loads."""
    peak = float(np.abs(turning.swing).max()) or 1.0
    return np.asarray(0.5 * turning.swing / peak + 1.1 * turning.onset + 0.9 * turning.cold)


def slip_sources(rng: np.random.Generator, car: Car, wheel: Wheel) -> list[Source]:
    """Long squeal of a belt slipping on one pulley: cold, on a rev, or as a load comes on."""
    pitch = float(rng.uniform(600.0, 3200.0))
    second = pitch * rng.uniform(1.15, 1.9)
    threshold = float(rng.uniform(-0.3, 0.6))
    slippery = float(rng.uniform(0.2, 0.6))
    harmonics = int(rng.integers(2, 7))

    def squeal(turning: Turning, rng: np.random.Generator) -> Array:
        rising = np.clip(np.gradient(smoothed(turning.pace, turning.rate_hz, 0.2)), 0.0, None)
        rising = rising * turning.rate_hz
        state = slippery * wander(rng, turning.size, turning.rate_hz, 1.5)
        drive = 3.0 * (_pull(turning) + 2.0 * rising + state - threshold)
        sound = stick_slip(
            turning, rng, pitch, drive, grows_s=0.012, harmonics=harmonics, rough=0.15
        )
        # At times the vibration jumps to another mode of the span.
        other = 3.0 * (wander(rng, turning.size, turning.rate_hz, 1.0) - 1.0)
        jump = np.minimum(drive, other)
        more = stick_slip(turning, rng, second, jump, grows_s=0.02, harmonics=2, rough=0.1)
        return sound + more

    return [Source(wheel.part, 0.0, squeal, band(400.0, 9000.0, 1.0), True, True)]


def misalignment_sources(rng: np.random.Generator, car: Car, wheel: Wheel) -> list[Source]:
    """Ribs climbing a groove's flank and letting go: chirps at the same places of the belt."""
    places = rng.random(int(rng.choice([1, 1, 2, 3])))
    strengths = rng.lognormal(0.0, 0.4, places.size)
    lasts = float(rng.uniform(0.02, 0.08))
    pitch = float(rng.uniform(1600.0, 4800.0))
    glide = float(rng.uniform(-0.2, 0.15))
    misses = float(rng.uniform(0.0, 0.35))

    def chirp(turning: Turning, rng: np.random.Generator) -> Array:
        rate = turning.rate_hz
        drive, bend = np.full(turning.size, -1.0), np.zeros(turning.size)
        for place, strength in zip(places, strengths, strict=True):
            for at in crossings(turning.belt, float(place)):
                if rng.random() < misses:
                    continue
                start = int(max(at + rng.normal(0.0, 0.006) * rate, 0))
                end = min(start + int(lasts * rate * rng.lognormal(0.0, 0.25)), turning.size)
                drive[start:end] = strength * rng.lognormal(0.0, 0.3)
                bend[start:end] = np.linspace(0.0, glide, max(end - start, 0))
        return stick_slip(
            turning,
            rng,
            pitch * (1.0 + bend),
            drive,
            grows_s=0.004,
            harmonics=3,
            rough=0.2,
            bends=0.006,
        )

    return [Source(wheel.part, 0.0, chirp, band(800.0, 10000.0, 1.0), True, True)]


def damage_sources(rng: np.random.Generator, car: Car, wheel: Wheel) -> list[Source]:
    """A torn or lumpy place: a blow on each pulley it passes, a slap, or a fluttering strip."""
    steps = np.array(car.span_mm) + np.array(car.wrap_mm)
    starts = (np.cumsum(steps) - steps) / car.belt_mm
    ribs_hurt = rng.random() < 0.6
    tears = rng.random(int(rng.choice([1, 1, 1, 2])))
    weights = np.array(
        [
            rng.lognormal(0.0, 0.5) * (1.0 if (one.face == "ribbed") == ribs_hurt else 0.15)
            for one in car.wheels
        ]
    )

    def knocks(number: int) -> Source:
        def make(turning: Turning, rng: np.random.Generator) -> Array:
            total = np.zeros(turning.size)
            for tear in tears:
                at = crossings(turning.belt, float((starts[number] + tear) % 1.0))
                near = np.clip(at.astype(int), 0, turning.size - 1)
                heights = rng.lognormal(0.0, 0.25, at.size) * turning.pace[near]
                for echo in range(int(echoes)):
                    late = at + echo * rng.normal(0.004, 0.001, at.size) * turning.rate_hz
                    total += train(turning.size, late, heights * 0.5**echo)
            return total

        loud = float(20.0 * np.log10(weights[number] / weights.max()))
        return Source(car.wheels[number].part, loud, make, dull, True)

    echoes = rng.choice([1, 1, 2, 3])
    dull = band(100.0, rng.uniform(1200.0, 6000.0), 1.0)
    found = [knocks(number) for number in range(len(car.wheels)) if weights[number] > 0.1]
    if rng.random() < 0.45:
        # A loose strip beats the air and whatever it can reach, once each round.
        table = bumps(tears, float(rng.uniform(0.02, 0.08)), np.ones(tears.size), 720)

        def strip(turning: Turning, rng: np.random.Generator) -> Array:
            beats = crossings(turning.belt * rng.uniform(25.0, 60.0))
            slaps = train(turning.size, beats, rng.lognormal(0.0, 0.5, beats.size))
            air = 0.2 * white(rng, turning.size)
            return np.asarray((slaps + air) * cyclic(table, turning.belt) * turning.pace)

        found.append(Source(wheel.part, rng.uniform(-4.0, 6.0), strip, flat, True))
    return found
