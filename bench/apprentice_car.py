"""The apprentice's cars: engine, belt and pulleys by chance, and the sheet somebody measured.

Sizes and counts are common practice, no source; ball bearings are 6003, 6203, 6205 and 6303 as in
catalogues, or near them. Pulleys have no places: only what sets speeds is drawn.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from beltside.drive.sheet import Bearing, Belt, DriveSheet, Engine, Pulley

# The cords lie this far outside the effective diameter of a ribbed pulley (ISO 9981, nominal) and
# outside the flat of one on the belt's back (common practice, no source) [mm].
CORD_RIBBED_MM = 2.0
CORD_BACK_MM = 1.2
# Smallest and largest diameter [mm], and how often a car has the part.
PARTS = {
    "alternator": (48.0, 64.0, 0.95),
    "coolant-pump": (90.0, 145.0, 0.75),
    "idler": (58.0, 85.0, 0.60),
    "idler-2": (58.0, 85.0, 0.25),
    "tensioner": (60.0, 85.0, 0.75),
    "ac-compressor": (98.0, 128.0, 0.65),
    "steering-pump": (100.0, 145.0, 0.45),
    "fan": (105.0, 150.0, 0.15),
}
# Their bearings' outer rings turn with the pulley; in the others the shaft turns.
OUTER_RING_TURNS = ("idler", "idler-2", "tensioner", "ac-compressor")
LOADS = {"lights": "alternator", "ac": "ac-compressor", "steering": "steering-pump"}
BEARINGS = ((10, 4.762, 26.0), (8, 6.747, 28.5), (9, 7.94, 39.04), (7, 8.731, 32.0))


@dataclass(frozen=True)
class Wheel:
    """One pulley as it is.

    Attributes
    ----------
    ratio
        Its turns per turn of the crank, belt creep included.
    """

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
    """One engine with its belt drive.

    Attributes
    ----------
    wheels
        In the order the belt meets them, the crank first.
    belt_mm
        Length of the belt at its cords [mm].
    belt_order
        Passings of the belt per turn of the crank.
    roughness
        Differences between cylinders and cycles, 0.02 very even to 0.35.
    """

    cylinders: int
    idle_rpm: float
    wander: float
    roughness: float
    wheels: tuple[Wheel, ...]
    belt_mm: float
    belt_order: float
    ribs: int
    chain: bool
    sprocket_teeth: int

    @property
    def parts(self) -> tuple[str, ...]:
        """Pulley parts but the crank."""
        return tuple(wheel.part for wheel in self.wheels[1:])

    def wheel(self, part: str) -> Wheel:
        """The pulley of that part; KeyError when there is none."""
        for wheel in self.wheels:
            if wheel.part == part:
                return wheel
        raise KeyError(part)

    @property
    def loads(self) -> tuple[str, ...]:
        """What can be switched on to load the belt."""
        return tuple(load for load, part in LOADS.items() if part in self.parts)


def draw_car(rng: np.random.Generator, suspect: str = "none") -> Car:
    """A car that can have the suspect."""
    wanted = suspect.split(".")[0]
    must = {"alternator", wanted} | ({"idler"} if wanted == "idler-2" else set())
    if suspect == "belt.slip":
        must.add(str(rng.choice(["steering-pump", "ac-compressor"])))
    parts = [part for part, (_, _, share) in PARTS.items() if part in must or rng.random() < share]
    if "idler" not in parts and "idler-2" in parts:
        parts.remove("idler-2")
    rng.shuffle(parts)
    crank_mm = float(rng.uniform(118.0, 172.0))
    crank = Wheel("crank", crank_mm, "ribbed", 1.0, _bearing(rng))
    wheels = (crank, *(_wheel(rng, part, crank_mm) for part in parts))
    wrapped = 0.5 * np.pi * sum(wheel.diameter_mm for wheel in wheels)
    belt_mm = float(wrapped + rng.uniform(90.0, 190.0) * len(wheels))
    return Car(
        cylinders=int(rng.choice([2, 3, 4, 5, 6, 8], p=[0.03, 0.2, 0.5, 0.04, 0.18, 0.05])),
        idle_rpm=float(rng.uniform(600.0, 1000.0)),
        wander=float(rng.choice([0.003, 0.008, 0.02], p=[0.5, 0.4, 0.1]) * rng.uniform(0.6, 1.6)),
        roughness=float(np.exp(rng.uniform(np.log(0.02), np.log(0.35)))),
        wheels=wheels,
        belt_mm=belt_mm,
        belt_order=np.pi * (crank_mm + 2.0 * CORD_RIBBED_MM) / belt_mm,
        ribs=int(rng.integers(4, 8)),
        chain=wanted == "timing-chain" or rng.random() < 0.6,
        sprocket_teeth=int(rng.integers(17, 29)),
    )


def _wheel(rng: np.random.Generator, part: str, crank_mm: float) -> Wheel:
    low_mm, high_mm, _ = PARTS[part]
    diameter_mm = float(rng.uniform(low_mm, high_mm))
    on_back = {"idler": 0.7, "idler-2": 0.7, "tensioner": 0.8, "coolant-pump": 0.3}
    face = "back" if rng.random() < on_back.get(part, 0.0) else "ribbed"
    cord_mm = CORD_BACK_MM if face == "back" else CORD_RIBBED_MM
    creep = rng.uniform(0.0, 0.008)
    ratio = (crank_mm + 2.0 * CORD_RIBBED_MM) / (diameter_mm + 2.0 * cord_mm) * (1.0 - creep)
    vanes = {"coolant-pump": (5, 9), "steering-pump": (8, 12), "ac-compressor": (5, 8)}.get(part)
    return Wheel(
        part,
        diameter_mm,
        face,
        float(ratio),
        _bearing(rng),
        poles=int(rng.choice([12, 14, 16], p=[0.6, 0.1, 0.3])) if part == "alternator" else None,
        vanes=int(rng.integers(vanes[0], vanes[1] + 1)) if vanes else None,
        blades=int(rng.integers(5, 12)) if part == "fan" else None,
    )


def _bearing(rng: np.random.Generator) -> Bearing:
    balls, ball_mm, pitch_mm = BEARINGS[int(rng.integers(len(BEARINGS)))]
    if rng.random() < 0.5:
        return Bearing(balls, ball_mm, pitch_mm)
    size = round(ball_mm * rng.uniform(0.9, 1.08), 2)
    return Bearing(balls, size, round(pitch_mm * rng.uniform(0.97, 1.05), 1))


def measured_sheet(rng: np.random.Generator, car: Car) -> DriveSheet:
    """The car's drive sheet: diameters up to 3 % off, mostly about 1 %, and gaps."""
    spread = rng.uniform(0.004, 0.014)
    counted, looked_up = rng.random() < 0.6, rng.random() < 0.5
    pulleys = []
    for wheel in car.wheels:
        off = float(np.clip(rng.normal(0.0, spread), -0.03, 0.03))
        known = counted and rng.random() < 0.85
        has_ball_bearing = wheel.part != "crank" and looked_up and rng.random() < 0.8
        pulleys.append(
            Pulley(
                wheel.part,
                round(wheel.diameter_mm * (1.0 + off), 1),
                wheel.face,
                poles=wheel.poles if known else None,
                # A compressor has pistons, which nobody counts.
                vanes=wheel.vanes if known and wheel.part != "ac-compressor" else None,
                fan_blades=wheel.blades if known else None,
                bearing=wheel.bearing if has_ball_bearing else None,
            )
        )
    idle_rpm = 10.0 * round(car.idle_rpm * (1.0 + rng.normal(0.0, 0.02)) / 10.0)
    # Printed on the belt to 5 mm, at the effective diameter.
    length_mm = 5.0 * round((car.belt_mm - 2.0 * np.pi * CORD_RIBBED_MM) / 5.0)
    teeth = car.sprocket_teeth if car.chain and rng.random() < 0.3 else None
    return DriveSheet(
        Engine(
            car.cylinders,
            idle_rpm=idle_rpm if rng.random() < 0.5 else None,
            crank_sprocket_teeth=teeth,
        ),
        Belt(
            ribs=car.ribs if rng.random() < 0.7 else None,
            length_mm=length_mm if rng.random() < 0.6 else None,
        ),
        tuple(pulleys),
        "apprentice's engine",
    )
