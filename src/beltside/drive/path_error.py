"""How sure a belt length from positions is."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Final

from beltside.drive.clearance import Layout, run_belt
from beltside.drive.loop import NoTangentError
from beltside.drive.path import effective_length_mm, layout_of
from beltside.drive.ratios import BACK_LINE_RANGE_MM, DIAMETER_ERROR, KNOWN_LINE_ERROR_MM
from beltside.drive.sheet import DriveSheet

POSITION_ERROR_MM: Final = 2.0
"""Error of one coordinate of a centre by rule and square, 90 % range (common practice, no
source)."""


def length_error_mm(sheet: DriveSheet, position_error_mm: float = POSITION_ERROR_MM) -> float:
    """90 % error of the effective length worked out from positions and diameters [mm].

    Every coordinate, every diameter (0.5 %) and the back line, when a pulley runs on the belt's
    back, are moved by their own error in turn; the moves add as squares.

    Raises
    ------
    InputError, LayoutError
        As `belt_path`.
    """
    layout = layout_of(sheet)
    _, sense = run_belt(layout)
    base = effective_length_mm(layout, sense)

    def moved(changed: Layout) -> float:
        try:
            return effective_length_mm(changed, sense) - base
        except NoTangentError:
            return 0.0

    moves = []
    for i, part in enumerate(layout.parts):
        for step in (complex(position_error_mm, 0.0), complex(0.0, position_error_mm)):
            if part == "crank":
                break  # every position is counted from the crank
            centres = list(layout.centres)
            centres[i] += step
            moves.append(moved(replace(layout, centres=tuple(centres))))
        bodies = list(layout.bodies)
        bodies[i] *= 1.0 + DIAMETER_ERROR
        moves.append(moved(replace(layout, bodies=tuple(bodies))))
    if -1 in layout.sides:
        low, high = BACK_LINE_RANGE_MM
        half = 0.5 * (high - low) if sheet.belt.back_line_mm is None else KNOWN_LINE_ERROR_MM
        moves.append(moved(replace(layout, outer_mm=layout.outer_mm + half)))
    return math.sqrt(math.fsum(move * move for move in moves))
