"""Noises of the judge's engines that no suspect of the list explains."""

from __future__ import annotations

import numpy as np

from judge_drive import Car
from judge_engine import blows
from judge_motion import Source, Turning
from judge_rattle import rattle, swing_push
from judge_tools import Array, band, crossings, flat, smoothed, train, wander, white


def other_noise(rng: np.random.Generator, car: Car) -> list[Source]:
    """Something the list does not hold: a buzzing shield, a gearbox, a turbocharger, a flap."""
    kind = int(rng.integers(4))
    if kind == 0:
        given = {
            "natural_hz": float(rng.uniform(20.0, 70.0)),
            "damping": 0.02,
            "gap": float(rng.uniform(0.2, 0.6)),
            "bounce": 0.6,
        }

        def buzz(turning: Turning, rng: np.random.Generator) -> Array:
            return rattle(turning, rng, swing_push(turning), **given)

        return [Source("shield", 0.0, buzz, band(800.0, 9000.0, 1.0))]
    if kind == 1:
        teeth = float(rng.uniform(17.0, 41.0))

        def gears(turning: Turning, rng: np.random.Generator) -> Array:
            angle = 2.0 * np.pi * turning.crank
            tone = np.cos(teeth * angle) + 0.4 * np.cos(2 * teeth * angle)
            return np.asarray(tone * (1.0 + 0.4 * np.cos(angle)))

        rumble = band(150.0, 900.0, 1.0)
        return [
            Source("block", 0.0, gears),
            Source("block", -3.0, lambda turn, rng: white(rng, turn.size) * turn.pace, rumble),
        ]
    if kind == 2:
        pitch = float(rng.uniform(2500.0, 7000.0))

        def whistle(turning: Turning, rng: np.random.Generator) -> Array:
            spun = smoothed(turning.pace, turning.rate_hz, 0.8)
            spun = pitch * spun**0.8 * (1.0 + 0.004 * wander(rng, turning.size, turning.rate_hz, 3))
            return np.asarray(np.cos(2.0 * np.pi * np.cumsum(spun) / turning.rate_hz))

        return [Source("exhaust", 0.0, whistle, flat, airborne=True)]
    beats_hz = float(rng.uniform(3.0, 20.0))

    def flap(turning: Turning, rng: np.random.Generator) -> Array:
        often = beats_hz * (1.0 + 0.2 * wander(rng, turning.size, turning.rate_hz, 1.0))
        at = crossings(np.cumsum(np.clip(often, 0.5, None)) / turning.rate_hz)
        once = blows(turning, rng, [0.3], [0.2], scatter=0.5, jitter=0.01, speed_power=0.0)
        return train(turning.size, at, rng.lognormal(0.0, 0.4, at.size)) + once

    return [Source("head", 0.0, flap, band(300.0, 4000.0, 1.0))]
