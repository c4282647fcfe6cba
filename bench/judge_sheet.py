"""The drive sheet of the judge's engines, with the gaps and slips of life."""

from __future__ import annotations

import numpy as np

from beltside.drive.sheet import Belt, DriveSheet, Engine, Pulley
from judge_drive import Car


def measured_sheet(rng: np.random.Generator, car: Car) -> DriveSheet:
    """The drive sheet as a technician filled it in: rounded, a little off, with gaps."""
    bearings, counts, places = (bool(rng.random() < 0.5) for _ in range(3))
    pulleys = []
    for wheel in car.wheels:
        read = 0.5 * round(2.0 * (wheel.diameter_mm + rng.normal(0.0, 0.4)))
        pulleys.append(
            Pulley(
                wheel.part,
                read,
                wheel.face,
                x_mm=round(wheel.x_mm + rng.normal(0.0, 1.5)) if places else None,
                y_mm=round(wheel.y_mm + rng.normal(0.0, 1.5)) if places else None,
                poles=wheel.poles if counts else None,
                vanes=wheel.vanes if counts else None,
                fan_blades=wheel.blades if counts else None,
                bearing=wheel.bearing if bearings else None,
            )
        )
    length = car.belt_mm - 2.0 * np.pi * car.cord_mm + rng.normal(0.0, 2.0)
    idle = 10.0 * round((car.idle_rpm + rng.normal(0.0, 15.0)) / 10.0)
    teeth = car.sprocket_teeth if car.chain and counts and rng.random() < 0.5 else None
    return DriveSheet(
        Engine(
            car.cylinders,
            idle_rpm=idle if rng.random() < 0.5 else None,
            crank_sprocket_teeth=teeth,
        ),
        Belt(
            ribs=car.ribs if rng.random() < 0.6 else None,
            length_mm=float(round(length)) if rng.random() < 0.5 else None,
        ),
        tuple(pulleys),
        "judge's engine",
    )
