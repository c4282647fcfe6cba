"""The demo: an invented car, the Tarn 1.4, whose coolant pump bearing runs dry.

Heron Lane Garage and the Tarn are invented; so is every figure of the drive.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.random import Generator

from beltside.drive.sheet import Bearing
from beltside.rig.accessories import healthy_drive
from beltside.rig.bearings import damaged_spots, rough_running
from beltside.rig.draws import RigCase, run_takes
from beltside.rig.engine import draw_engine
from beltside.rig.layout import belt_length, build_drive, measured_sheet
from beltside.rig.phone import Phone
from beltside.rig.room import draw_room
from beltside.rig.synthesis import minimum_phase
from beltside.rig.takes import Car, TakePlan, scale_fault

DEMO_SEED = 14
CAR_NAME = "Tarn 1.4 front drive"
SHOP_NAME = "Heron Lane Garage"
SEVERITY_DB = 12.0
PULLEYS = [
    ("crank", 138.0, "ribbed", 0.0, 0.0),
    ("coolant-pump", 112.0, "ribbed", -149.0, 187.0),
    ("idler", 70.0, "back", 30.0, 190.0),
    ("alternator", 55.0, "ribbed", 175.0, 205.0),
    ("tensioner", 65.0, "back", 95.0, 95.0),
]
BEARINGS = {
    "coolant-pump": Bearing(9, 6.35, 26.0),
    "alternator": Bearing(8, 6.75, 28.5, number="6203"),
    "idler": Bearing(8, 6.75, 28.5, number="6203"),
    "tensioner": Bearing(8, 5.953, 25.0),
}
PLANS = (
    TakePlan("belt-on", duration_s=18.0),
    TakePlan("belt-off", belt="off", duration_s=15.0),
    TakePlan("speed-raised", speed="ramp", duration_s=20.0),
    TakePlan("probe-coolant-pump", place="coolant-pump", duration_s=15.0),
    TakePlan("probe-alternator", place="alternator", duration_s=15.0),
    TakePlan("probe-idler", place="idler", duration_s=15.0),
)


def demo_length_mm() -> float:
    """Length of the demo's belt over the ribs' pitch line, before rounding [mm]."""
    return belt_length([(x, y, diameter / 2 + 1.0, face) for _, diameter, face, x, y in PULLEYS])


def demo_case(rng: Generator | None = None, *, plans: tuple[TakePlan, ...] = PLANS) -> RigCase:
    """Six takes of the Tarn 1.4: belt on, off, speed raised, probe on three housings."""
    rng = rng or np.random.default_rng(DEMO_SEED)
    engine = draw_engine(rng, cylinders=4, diesel=False, idle_rpm=760.0, chain_teeth=20)
    drive = build_drive(
        rng,
        PULLEYS,
        bearings=BEARINGS,
        counts={"alternator": 12, "coolant-pump": 6},
    )
    # The belt as long as its path: no error of the drawing.
    length_mm = demo_length_mm()
    drive = replace(
        drive,
        ribs=6,
        belt_length_mm=length_mm,
        belt_order=drive.belt_order * drive.belt_length_mm / length_mm,
    )
    pump = drive.pulley("coolant-pump")
    faulty = (*rough_running(rng, pump, 0.0), *damaged_spots(rng, pump, -2.0, "outer"))
    phone = Phone(
        sample_rate_hz=48_000,
        channels=1,
        same_ears=False,
        high_pass_hz=90.0,
        high_pass_order=2,
        colour=minimum_phase(
            [80.0, 300.0, 1500.0, 4000.0, 9000.0, 18_000.0], [-2.0, 0.0, 1.0, 3.0, -2.0, -8.0]
        ),
        gain_db=-30.0,
        control=None,
        suppression_db=0.0,
        soft_clip=True,
        noise_dbfs=-80.0,
        bits=16,
        aac_kbps=0,
    )
    car = Car(
        engine,
        drive,
        engine.voices + healthy_drive(rng, drive),
        faulty,
        draw_room(rng, drive),
        phone,
        electric_base=0.25,
        top_rpm=2600.0,
        background=(("speech", 0.03),),
        gusts=0.0,
    )
    car = replace(car, faulty=scale_fault(rng, car, SEVERITY_DB))
    sheet = measured_sheet(rng, drive, engine, CAR_NAME, full=True)
    return RigCase(
        sheet, run_takes(rng, car, plans, (15.0, 20.0)), "coolant-pump.bearing", SEVERITY_DB
    )
