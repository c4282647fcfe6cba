"""Cooling systems under a hold test, simulated from their physics and not from the product's model.

Trapped air as an ideal gas with its own temperature, hoses that stretch and creep, coolant that
shrinks as it cools, a leak of liquid or gas through a hole or a seep, a gauge read in steps with a
reader's error. Integrated in small steps. Nothing of beltside is imported.

Three populations, all invented. `ordinary` is what a careful test on a common car is taken to be;
`easy` has little settling, no creep, fine gauges; `hard` has much air, much creep, coarse gauges.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

AMBIENT_KPA = 101.325
CAPS_KPA = (88.0, 90.0, 108.0, 110.0, 120.0, 140.0)
STEP_MIN = 0.01


@dataclass(frozen=True)
class Population:
    """Ranges that systems are drawn from, uniformly."""

    name: str
    air_l: tuple[float, float]
    air_excess: tuple[float, float]
    creep_share: tuple[float, float]
    gauge_steps_kpa: tuple[float, ...]
    reader_of_step: tuple[float, float]
    reader_kpa: tuple[float, float]
    leaks_ml_min: tuple[float, float] = (1.0, 60.0)


ORDINARY = Population(
    "ordinary", (0.05, 1.0), (0.01, 0.06), (0.0, 0.04), (1.0, 2.0, 2.5), (0.1, 0.3), (0.0, 0.2)
)
EASY = Population("easy", (0.1, 0.8), (0.0, 0.03), (0.0, 0.0), (1.0, 2.0), (0.3, 0.3), (0.0, 0.0))
HARD = Population(
    "hard",
    (0.05, 1.3),
    (0.02, 0.10),
    (0.0, 0.08),
    (1.0, 2.0, 2.5, 3.447, 5.0),
    (0.1, 0.35),
    (0.0, 0.3),
)


@dataclass(frozen=True)
class Test:
    """One simulated hold test: what is true, and what the technician wrote down.

    `readings` are (minutes, gauge kPa, engine °C); `leak_ml_min` is 0 for a tight system.
    """

    leak_ml_min: float
    give_ml_kpa: float
    readings: tuple[tuple[float, float, float], ...]
    cap_kpa: float
    gauge_step_kpa: float
    capacity_l: float
    strokes: int
    stroke_ml: float
    air_c: float = 20.0


def draw(
    rng: np.random.Generator,
    population: Population,
    *,
    leak_ml_min: float | None = None,
    minutes: float = 5.0,
    every_min: float = 0.5,
) -> Test:
    """One test; half of the systems are tight unless `leak_ml_min` is given."""
    if leak_ml_min is None:
        low, high = (math.log(one) for one in population.leaks_ml_min)
        leak_ml_min = 0.0 if rng.random() < 0.5 else math.exp(rng.uniform(low, high))
    cap = float(rng.choice(CAPS_KPA))
    coolant_l, air_l = rng.uniform(4.5, 11.0), rng.uniform(*population.air_l)
    hoses = rng.uniform(0.15, 1.1) / 1000.0  # L/kPa
    step = float(rng.choice(population.gauge_steps_kpa))
    reader = rng.uniform(*population.reader_of_step) * step + rng.uniform(*population.reader_kpa)
    excess, cools_min = rng.uniform(*population.air_excess), rng.uniform(8.0, 60.0) / 60.0
    creep, creep_min = rng.uniform(*population.creep_share) * hoses, rng.uniform(1.0, 6.0)
    cooling = rng.choice((0.0, 0.0, 0.0, rng.uniform(0.0, 0.15), rng.uniform(0.0, 0.4)))
    shrink = 4.7e-4 * rng.uniform(0.85, 1.15)
    orifice, gas = rng.random() < 0.5, rng.random() < 0.3
    start = cap * rng.uniform(0.93, 1.0)
    room_l = air_l + hoses * start
    moles = (start + AMBIENT_KPA) * room_l / (1.0 + excess)  # kPa L at the start temperature
    added_l = (start + AMBIENT_KPA) * room_l / AMBIENT_KPA - air_l
    give = 1000.0 * (hoses + room_l / (start + AMBIENT_KPA))
    lost_l = crept_l = colder = moment = 0.0
    readings = []
    warm_c = 20.0 + cooling * 120.0 * rng.uniform(0.7, 1.4)
    for look in range(round(minutes / every_min) + 1):
        while True:
            warmth = (1.0 + excess * math.exp(-moment / cools_min)) * (1.0 - colder / 293.15)
            room = air_l + lost_l + coolant_l * shrink * colder + crept_l - hoses * AMBIENT_KPA
            absolute = (math.sqrt(room**2 + 4.0 * hoses * moles * warmth) - room) / (2.0 * hoses)
            gauge = max(absolute - AMBIENT_KPA, 0.0)
            if moment >= look * every_min - 1e-9:
                break
            share = math.sqrt(gauge / start) if orifice else gauge / start
            out_l = leak_ml_min / 1000.0 * share * STEP_MIN
            moles -= out_l * absolute if gas else 0.0
            lost_l += 0.0 if gas else out_l
            crept_l += (creep * gauge - crept_l) / creep_min * STEP_MIN
            colder += cooling * STEP_MIN
            moment += STEP_MIN
        read = step * round((gauge + rng.normal(0.0, reader)) / step)
        readings.append(
            (look * every_min, max(read, 0.0), round(warm_c - colder + rng.normal(0.0, 0.4)))
        )
    stroke_ml = float(rng.choice((40.0, 60.0, 100.0)))
    return Test(
        leak_ml_min,
        give,
        tuple(readings),
        cap,
        step,
        coolant_l,
        max(1, round(1000.0 * added_l / stroke_ml)),
        stroke_ml,
    )
