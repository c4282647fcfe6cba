"""Made-up drives with positions for the belt tests."""

from __future__ import annotations

from dataclasses import replace

from beltside.drive.sheet import Belt, DriveSheet, Engine, Pulley, Tensioner

TARN = DriveSheet(
    Engine(4, idle_rpm=760.0),
    Belt(ribs=6),
    (
        Pulley("crank", 138.0, x_mm=0, y_mm=0),
        Pulley("ac-compressor", 112.0, x_mm=-195, y_mm=60),
        Pulley("tensioner", 70.0, "back", x_mm=-75, y_mm=125),
        Pulley("alternator", 55.0, x_mm=-150, y_mm=265),
        Pulley("idler", 66.0, "back", x_mm=10, y_mm=255),
        Pulley("steering-pump", 120.0, x_mm=150, y_mm=275),
        Pulley("coolant-pump", 104.0, "back", x_mm=60, y_mm=140),
    ),
    name="Tarn 1.4 front drive",
    tensioner=Tensioner(pivot_x_mm=-110, pivot_y_mm=180, takes_up=14.0, lets_out=22.0),
)
"""Seven pulleys, three of them on the belt's back, a tensioner on an arm."""


def moved(sheet: DriveSheet, part: str, **changes: object) -> DriveSheet:
    """The drive with one pulley changed."""
    return replace(
        sheet,
        pulleys=tuple(
            replace(p, **changes) if p.part == part else p  # type: ignore[arg-type]
            for p in sheet.pulleys
        ),
    )
