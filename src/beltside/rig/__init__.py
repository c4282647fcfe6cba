"""Simulated recordings of the belt end of an engine: for the demo, calibration and benchmarks."""

from beltside.rig.demo import demo_case
from beltside.rig.draws import (
    SUSPECTS,
    RigCase,
    draw_case,
    draw_no_engine,
    fault_voices,
    suspects_for,
)
from beltside.rig.takes import RigTake, TakePlan
from beltside.rig.writing import write_case

__all__ = [
    "SUSPECTS",
    "RigCase",
    "RigTake",
    "TakePlan",
    "demo_case",
    "draw_case",
    "draw_no_engine",
    "fault_voices",
    "suspects_for",
    "write_case",
]
