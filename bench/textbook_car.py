"""The textbook's engines: pulleys, bearings, habits, housings, and the sheet a technician fills in.

Sizes and shares are common practice, no source, unless said.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from beltside.drive.sheet import Bearing, Belt, DriveSheet, Engine, Pulley
from textbook_signals import Mode

# Balls, ball and pitch diameter [mm], number: catalogues and case studies (facts K1 to K6: the
# 6205 and 6203 of the CWRU bearing data; the others from memory), then double rows of pump shafts.
CATALOGUE: tuple[tuple[int, float, float, str | None], ...] = (
    (9, 7.94, 39.04, "6205"),
    (8, 6.746, 28.5, "6203"),
    (7, 8.731, 32.0, "6303"),
    (10, 4.762, 26.0, "6003"),
    (8, 7.938, 33.5, "6204"),
    (9, 5.556, 22.0, None),
    (10, 6.35, 24.5, None),
    (8, 5.0, 19.0, None),
)
# Smallest and largest diameter [mm], chance to be there, chance to run on the belt's back.
WHEELS: dict[str, tuple[float, float, float, float]] = {
    "alternator": (46.0, 66.0, 1.0, 0.0),
    "coolant-pump": (85.0, 150.0, 1.0, 0.45),
    "tensioner": (58.0, 82.0, 0.93, 0.8),
    "idler": (55.0, 90.0, 0.6, 0.5),
    "idler-2": (55.0, 90.0, 0.2, 0.5),
    "ac-compressor": (95.0, 135.0, 0.75, 0.0),
    "steering-pump": (100.0, 160.0, 0.4, 0.0),
    "fan": (105.0, 160.0, 0.18, 0.0),
}
# Lowest and highest natural frequency of a housing's first modes [Hz].
HOUSINGS: dict[str, tuple[float, float]] = {
    "alternator": (900.0, 6500.0),
    "coolant-pump": (700.0, 5500.0),
    "tensioner": (500.0, 5000.0),
    "idler": (900.0, 7500.0),
    "idler-2": (900.0, 7500.0),
    "ac-compressor": (500.0, 4500.0),
    "steering-pump": (600.0, 5000.0),
    "fan": (250.0, 2500.0),
    "crank": (200.0, 2500.0),
    "belt": (150.0, 3000.0),
    "engine": (250.0, 3000.0),
    "timing-chain": (700.0, 6000.0),
    "valve-train": (1200.0, 7000.0),
    "vacuum-leak": (1500.0, 9000.0),
    "exhaust-leak": (300.0, 4000.0),
    "other": (300.0, 4500.0),
}


@dataclass(frozen=True)
class Wheel:
    """A pulley as it is: its `ratio` is turns for each turn of the crank, belt creep included."""

    part: str
    diameter_mm: float
    face: str
    ratio: float
    bearing: Bearing
    poles: int | None = None
    vanes: int | None = None
    blades: int | None = None


@dataclass(frozen=True)
class Car:
    """One engine: what turns how fast, how even it runs, how its housings ring.

    `strengths` are the cylinders' blows in firing order; `wander` is the share by which its speed
    strays, `swing` that within a cycle, `cycle_spread` how much a cylinder's blows differ.
    """

    cylinders: int
    idle_rpm: float
    wheels: tuple[Wheel, ...]
    belt_mm: float
    belt_turns: float
    chain_teeth: int
    has_chain: bool
    strengths: tuple[float, ...]
    cycle_spread: float
    wander: float
    swing: float
    modes: dict[str, tuple[Mode, ...]]

    @property
    def parts(self) -> tuple[str, ...]:
        """Parts of the pulleys, in the order the belt meets them."""
        return tuple(wheel.part for wheel in self.wheels)

    def wheel(self, part: str) -> Wheel:
        """The pulley of that part; KeyError when there is none."""
        for wheel in self.wheels:
            if wheel.part == part:
                return wheel
        raise KeyError(part)


def _bearing(rng: np.random.Generator) -> Bearing:
    """A bearing of the catalogue as one maker or another builds it."""
    balls, ball, pitch, number = CATALOGUE[int(rng.integers(len(CATALOGUE)))]
    ball, pitch = ball * rng.normal(1.0, 0.012), pitch * rng.normal(1.0, 0.008)
    return Bearing(balls, round(float(ball), 3), round(float(pitch), 2), number=number)


def _modes(rng: np.random.Generator, low_hz: float, high_hz: float) -> tuple[Mode, ...]:
    """Three to seven resonances, log-even, with 1 to 6 % damping."""
    count = int(rng.integers(3, 8))
    hz = np.exp(rng.uniform(np.log(low_hz), np.log(high_hz), count))
    damping = np.exp(rng.uniform(np.log(0.01), np.log(0.06), count))
    height = 10.0 ** (rng.uniform(-14.0, 0.0, count) / 20.0)
    return tuple(map(Mode, hz.tolist(), damping.tolist(), height.tolist()))


def draw_car(rng: np.random.Generator, suspect: str = "none") -> Car:
    """A random engine on which that suspect can be."""
    cylinders = int(rng.choice([2, 3, 4, 5, 6, 8], p=[0.03, 0.19, 0.48, 0.05, 0.19, 0.06]))
    needed = {suspect.partition(".")[0]}
    if "idler-2" in needed:
        needed.add("idler")
    crank_mm, cord_mm = rng.uniform(115.0, 195.0), rng.uniform(0.6, 2.0)
    back_mm = rng.uniform(3.0, 4.5)
    crank_pitch_mm = float(crank_mm + 2.0 * cord_mm)
    there = [part for part, (_, _, often, _) in WHEELS.items() if rng.random() < often]
    there = [part for part in WHEELS if part in needed or part in there]
    if "idler-2" in there and "idler" not in there:
        there[there.index("idler-2")] = "idler"
    wheels = [Wheel("crank", float(crank_mm), "ribbed", 1.0, _bearing(rng))]
    for part in rng.permutation(there):
        low, high, _, backs = WHEELS[part]
        face = "back" if rng.random() < backs else "ribbed"
        size = float(rng.uniform(low, high))
        pitch = size + 2.0 * (cord_mm if face == "ribbed" else back_mm)
        poles = int(rng.choice([12, 12, 14, 16])) if part == "alternator" else None
        vanes = {
            "coolant-pump": int(rng.integers(5, 10)),
            "steering-pump": int(rng.choice([8, 9, 10, 10, 11])),
        }.get(part)
        blades = {"fan": int(rng.integers(5, 12)), "alternator": int(rng.integers(7, 14))}.get(part)
        turns = float(crank_pitch_mm / pitch * (1.0 - rng.uniform(0.0, 0.01)))
        wheels.append(Wheel(str(part), size, face, turns, _bearing(rng), poles, vanes, blades))
    belt_mm = float((500.0 + 170.0 * len(wheels)) * rng.uniform(0.85, 1.25))
    rough = np.exp(rng.uniform(np.log(0.02), np.log(0.3)))
    return Car(
        cylinders,
        float(rng.uniform(600.0, 1000.0)),
        tuple(wheels),
        belt_mm,
        float(np.pi * crank_pitch_mm / belt_mm),
        int(rng.integers(18, 27)),
        bool(rng.random() < 0.7),
        tuple(np.exp(rng.normal(0.0, rough, cylinders)).tolist()),
        float(rng.uniform(0.03, 0.3)),
        float(np.exp(rng.uniform(np.log(0.001), np.log(0.015)))),
        float(rng.uniform(0.003, 0.03) * 3.0 / cylinders),
        {part: _modes(rng, *span) for part, span in HOUSINGS.items()},
    )


def measured_sheet(rng: np.random.Generator, car: Car) -> DriveSheet:
    """The sheet as filled in: diameters 1 to 3 % off at worst, counts and bearings with gaps."""
    worst, known = rng.uniform(0.01, 0.03), rng.uniform(0.0, 1.0)
    pulleys = []
    for wheel in car.wheels:
        off = 1.0 + np.clip(rng.normal(0.0, worst / 2.0), -worst, worst)
        pulleys.append(
            Pulley(
                wheel.part,
                0.5 * round(2.0 * float(wheel.diameter_mm * off)),
                wheel.face,
                poles=wheel.poles if rng.random() < known else None,
                vanes=wheel.vanes if rng.random() < known else None,
                fan_blades=wheel.blades if rng.random() < known else None,
                bearing=wheel.bearing if wheel.part != "crank" and rng.random() < known else None,
            )
        )
    idle = 10.0 * round((car.idle_rpm + rng.normal(0.0, 15.0)) / 10.0)
    length = float(round(car.belt_mm + rng.normal(0.0, 4.0)))
    teeth = car.chain_teeth if car.has_chain and rng.random() < 0.25 else None
    return DriveSheet(
        Engine(
            car.cylinders,
            idle_rpm=idle if rng.random() < 0.5 else None,
            crank_sprocket_teeth=teeth,
        ),
        Belt(
            ribs=int(rng.integers(4, 8)) if rng.random() < 0.5 else None,
            length_mm=length if rng.random() < 0.6 else None,
        ),
        tuple(pulleys),
        "textbook engine",
    )
