"""The neighbour's engines: cylinders, drive, bearings, where things sit, and the sheet of it.

Sizes and shares are common practice, no source, but where one is named.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from beltside.drive.sheet import Bearing, Belt, DriveSheet, Engine, Pulley
from neighbour_tools import chance, log_uniform

# Balls, ball and pitch diameter by catalogue number (docs and facts: bearing catalogues; makers
# differ). Those without a number are made up after double rows of pumps and clutches.
BEARINGS = {
    "6203": Bearing(8, 6.747, 28.5, 0.0, "6203"),
    "6303": Bearing(7, 8.731, 32.0, 0.0, "6303"),
    "6003": Bearing(10, 4.762, 26.0, 0.0, "6003"),
    "pump": Bearing(9, 6.35, 24.2),
    "pump-small": Bearing(8, 5.556, 21.0),
    "clutch": Bearing(13, 6.35, 43.5, 25.0),
    "hub": Bearing(11, 7.144, 41.0, 20.0),
}
BEARINGS_OF = {
    "alternator": ("6303", "6203"),
    "coolant-pump": ("pump", "pump-small"),
    "ac-compressor": ("clutch",),
    "steering-pump": ("6203", "6303", "6003"),
    "idler": ("6203", "6303", "6003"),
    "idler-2": ("6203", "6303"),
    "tensioner": ("6203", "6303", "6003"),
    "fan": ("hub", "6203"),
}
DIAMETERS_MM = {
    "crank": (118.0, 170.0),
    "alternator": (48.0, 62.0),
    "coolant-pump": (88.0, 135.0),
    "ac-compressor": (98.0, 130.0),
    "steering-pump": (105.0, 145.0),
    "idler": (58.0, 82.0),
    "idler-2": (58.0, 82.0),
    "tensioner": (58.0, 82.0),
    "fan": (105.0, 160.0),
}
ON_THE_BELT = tuple(part for part in DIAMETERS_MM if part != "crank")
SHARE_WITH = {
    "alternator": 1.0,
    "coolant-pump": 0.75,
    "ac-compressor": 0.7,
    "steering-pump": 0.45,
    "idler": 0.6,
    "idler-2": 0.0,
    "tensioner": 0.85,
    "fan": 0.25,
}
BACK_SHARE = {"tensioner": 0.9, "idler": 0.7, "idler-2": 0.5, "coolant-pump": 0.35}
# The belt's cords run outside a ribbed pulley by the nominal 2 mm of ISO 9981, and outside a flat.
CORD_MM = {"ribbed": 2.0, "back": 1.5}
# Pulleys that turn on a standing shaft: the load stands still on the inner ring.
OUTER_TURNS = ("idler", "idler-2", "tensioner", "ac-compressor")
LOADS = {"lights": "alternator", "ac": "ac-compressor", "steering": "steering-pump"}


@dataclass(frozen=True)
class Wheel:
    """One pulley as it is: true diameter and place [mm], counts and bearing."""

    part: str
    diameter_mm: float
    face: str
    x_mm: float
    y_mm: float
    count: int | None
    bearing: Bearing | None

    @property
    def pitch_mm(self) -> float:
        """Diameter on which the belt's cords run [mm]."""
        return self.diameter_mm + 2.0 * CORD_MM[self.face]


@dataclass(frozen=True)
class Car:
    """One engine.

    Attributes
    ----------
    fires
        When each cylinder fires, in cycles of two turns, 0 to 1.
    strengths
        How hard each cylinder pushes, about 1.
    scatter
        Cycle-to-cycle scatter of the push (share).
    swing
        Half the swing of speed within a firing at idle (share).
    creep
        How much slower than geometry the driven pulleys turn (share).
    diesel, chain
        Kind of engine; timing by chain.
    sprocket_teeth
        Teeth of the crank's sprocket.
    belt_mm
        Length of the cords [mm].
    """

    cylinders: int
    fires: tuple[float, ...]
    strengths: tuple[float, ...]
    scatter: float
    swing: float
    idle_rpm: float
    creep: float
    diesel: bool
    chain: bool
    sprocket_teeth: int
    ribs: int
    belt_mm: float
    wheels: tuple[Wheel, ...]

    @property
    def parts(self) -> tuple[str, ...]:
        """The pulleys' parts in the order the belt meets them."""
        return tuple(wheel.part for wheel in self.wheels)

    def wheel(self, part: str) -> Wheel:
        """The pulley of that part; KeyError when there is none."""
        for wheel in self.wheels:
            if wheel.part == part:
                return wheel
        raise KeyError(part)

    def ratio(self, part: str) -> float:
        """Turns of that part for one turn of the crank."""
        if part == "crank":
            return 1.0
        return self.wheel("crank").pitch_mm / self.wheel(part).pitch_mm * (1.0 - self.creep)

    @property
    def belt_order(self) -> float:
        """Rounds of the belt for one turn of the crank."""
        return float(np.pi * self.wheel("crank").pitch_mm / self.belt_mm * (1.0 - self.creep))

    @property
    def loads(self) -> tuple[str, ...]:
        """Loads the drive has."""
        return tuple(load for load, part in LOADS.items() if part in self.parts)


def belt_length(circles: list[tuple[float, float, float]]) -> float | None:
    """Length of a belt round circles (x, y, radius), met clockwise; negative radius for its back.

    None when circles overlap so that no straight run fits between two of them, or when the belt
    would go round one of them almost wholly or not touch it.
    """
    count = len(circles)
    straight, headings = [], []
    for here, there in zip(circles, [*circles[1:], circles[0]], strict=True):
        dx, dy = there[0] - here[0], there[1] - here[1]
        apart = float(np.hypot(dx, dy))
        if apart <= abs(here[2]) + abs(there[2]):
            return None
        lean = (here[2] - there[2]) / apart
        straight.append(apart * float(np.sqrt(1.0 - lean**2)))
        headings.append(float(np.arctan2(dy, dx) - np.arcsin(lean)))
    total = sum(straight)
    for i in range(count):
        wrap = float(np.sign(circles[i][2])) * (headings[i - 1] - headings[i]) % (2.0 * np.pi)
        if count > 2 and not 0.05 < wrap < 4.6:
            return None
        total += wrap * abs(circles[i][2])
    return total


def _placed(rng: np.random.Generator, parts: list[str]) -> tuple[list[Wheel], float]:
    """Pulleys round an oval above the crank, clockwise from it; back-side ones pushed inward."""
    while True:
        order = list(rng.permutation(np.array(parts)))
        wide, high = rng.uniform(170, 270), rng.uniform(170, 250)
        turns = np.arange(1, len(order) + 1) / (len(order) + 1) + rng.normal(0.0, 0.02, len(order))
        wheels = [
            Wheel("crank", float(rng.uniform(*DIAMETERS_MM["crank"])), "ribbed", 0, 0, None, None)
        ]
        for part, turn in zip(order, turns, strict=True):
            back = chance(rng, BACK_SHARE.get(part, 0.0))
            near = rng.uniform(0.55, 0.85) if back else rng.uniform(0.9, 1.1)
            angle = -np.pi / 2 - 2 * np.pi * turn
            numbers = BEARINGS_OF[part]
            wheels.append(
                Wheel(
                    part,
                    float(rng.uniform(*DIAMETERS_MM[part])),
                    "back" if back else "ribbed",
                    float(near * wide * np.cos(angle)),
                    float(high + near * high * np.sin(angle)),
                    _count(rng, part),
                    BEARINGS[str(rng.choice(numbers))],
                )
            )
        circles = [
            (w.x_mm, w.y_mm, (0.5 if w.face == "ribbed" else -0.5) * w.pitch_mm) for w in wheels
        ]
        length = belt_length(circles)
        if length is not None:
            return wheels, length


def _count(rng: np.random.Generator, part: str) -> int | None:
    """Poles, vanes, pistons or blades of a part."""
    choices = {
        "alternator": (12, 12, 14, 16),
        "coolant-pump": (5, 6, 6, 7, 8),
        "steering-pump": (8, 10, 10, 11),
        "ac-compressor": (5, 6, 7, 10),
        "fan": (5, 7, 8, 9, 11),
    }.get(part)
    return None if choices is None else int(rng.choice(choices))


def draw_car(rng: np.random.Generator, needed: tuple[str, ...] = ()) -> Car:
    """An engine by chance, with the pulley parts `needed` among its own."""
    cylinders = int(rng.choice([2, 3, 4, 5, 6, 8], p=[0.02, 0.2, 0.52, 0.04, 0.17, 0.05]))
    fires = np.arange(cylinders) / cylinders
    if cylinders in (2, 6) and chance(rng, 0.15):
        fires[1::2] += 0.04
    strengths = 1.0 + log_uniform(rng, 0.01, 0.3) * rng.normal(size=cylinders)
    if chance(rng, 0.08):
        strengths[rng.integers(cylinders)] *= rng.uniform(0.2, 0.6)
    parts = [part for part, share in SHARE_WITH.items() if part in needed or chance(rng, share)]
    if "idler" in parts and "idler-2" not in parts and chance(rng, 0.3):
        parts.append("idler-2")
    if "idler-2" in parts and "idler" not in parts:
        parts.append("idler")
    if len(parts) < 2:
        parts.append("tensioner" if "tensioner" not in parts else "idler")
    wheels, length = _placed(rng, parts)
    return Car(
        cylinders,
        tuple(float(x) for x in fires),
        tuple(float(x) for x in np.maximum(strengths, 0.1)),
        log_uniform(rng, 0.02, 0.25),
        log_uniform(rng, 0.004, 0.03) * (4.0 / cylinders) ** 0.5,
        float(rng.uniform(600, 1000) if chance(rng, 0.9) else rng.uniform(1000, 1250)),
        float(rng.uniform(0.0, 0.01)),
        chance(rng, 0.25),
        chance(rng, 0.65),
        int(rng.integers(17, 27)),
        int(rng.choice([4, 5, 6, 6, 7, 8])),
        length,
        tuple(wheels),
    )


def measured_sheet(rng: np.random.Generator, car: Car) -> DriveSheet:
    """The drive sheet as read off with a caliper or a tape: off by up to 3 %, and with gaps."""
    off = rng.uniform(0.003, 0.015)
    places, bearings, counts = rng.random(3) < (0.35, 0.55, 0.5)
    pulleys = []
    for wheel in car.wheels:
        error = float(np.clip(rng.normal(0.0, off), -0.03, 0.03))
        count = wheel.count if counts and chance(rng, 0.85) else None
        pulleys.append(
            Pulley(
                wheel.part,
                round(wheel.diameter_mm * (1.0 + error), 0 if off > 0.008 else 1),
                wheel.face,
                x_mm=round(wheel.x_mm + rng.normal(0.0, 3.0)) if places else None,
                y_mm=round(wheel.y_mm + rng.normal(0.0, 3.0)) if places else None,
                poles=count if wheel.part == "alternator" else None,
                vanes=count if wheel.part in ("coolant-pump", "steering-pump") else None,
                fan_blades=count if wheel.part == "fan" else None,
                bearing=wheel.bearing if bearings and chance(rng, 0.8) else None,
            )
        )
    length = car.belt_mm - 2.0 * np.pi * CORD_MM["ribbed"] + rng.normal(0.0, 3.0)
    idle = float(10.0 * round((car.idle_rpm + rng.normal(0.0, 20.0)) / 10.0))
    known = car.chain and counts and chance(rng, 0.4)
    return DriveSheet(
        Engine(
            car.cylinders,
            idle_rpm=idle if chance(rng, 0.5) else None,
            crank_sprocket_teeth=car.sprocket_teeth if known else None,
        ),
        Belt(
            ribs=car.ribs if chance(rng, 0.7) else None,
            length_mm=float(round(length)) if chance(rng, 0.5) else None,
        ),
        tuple(pulleys),
        "neighbour's engine",
    )
