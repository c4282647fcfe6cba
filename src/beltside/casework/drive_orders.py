"""What the belt's path tells the listening: belt passing, and which diameter does not fit."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Final

from beltside.base.errors import InputError
from beltside.casework.results import Crank, ExplainedLine
from beltside.drive.clearance import LayoutError
from beltside.drive.diameters import DiameterDoubt, HeardShaft, doubted_diameter
from beltside.drive.path import belt_path, has_positions
from beltside.drive.path_error import length_error_mm
from beltside.drive.sheet import DriveSheet

LEAST_SIGNIFICANCE: Final = 6.0
"""-log10 of the chance that noise made the line: only strong ones are used."""

LEAST_LINES: Final = 2
"""Lines of one shaft that must agree with each other before its speed is believed."""

AGREE: Final = 0.002
"""Within this share lines of one shaft agree."""

LEAST_CONFIDENCE: Final = 0.95
MODEL_ERROR: Final = 0.0007
"""What a measured order is off by besides its resolution, as a share (own choice)."""

MOST_LENGTH_ERROR: Final = 0.02


@dataclass(frozen=True)
class SheetWithPath:
    """A sheet completed by its path; `notes` say what was done, or why it could not be."""

    sheet: DriveSheet
    notes: tuple[str, ...] = ()


def with_path(sheet: DriveSheet) -> SheetWithPath:
    """The sheet with the belt length of its path, where it gives positions but no length.

    A length read off the belt stands above one from positions. Positions a belt can't run round
    are no error here: listening needs none of them; a note says so.
    """
    if not has_positions(sheet) or sheet.belt.length_mm is not None:
        return SheetWithPath(sheet)
    try:
        length_mm = belt_path(sheet).effective_length_mm
        error = length_error_mm(sheet) / length_mm
    except LayoutError as refused:
        return SheetWithPath(
            sheet, (f"The positions give no belt path: {refused.given}. They are not used.",)
        )
    except InputError:
        return SheetWithPath(sheet)
    if error > MOST_LENGTH_ERROR or not 300.0 <= length_mm <= 4000.0:
        return SheetWithPath(sheet)
    return SheetWithPath(
        replace(sheet, belt=replace(sheet.belt, length_mm=length_mm, length_error=error)),
        (f"Belt length {length_mm:.0f} mm worked out from the positions, for the belt passing.",),
    )


def doubted_diameters(
    sheet: DriveSheet,
    lines: Mapping[str, Iterable[ExplainedLine]],
    crank: Mapping[str, Crank | None],
) -> tuple[str, ...]:
    """Sentences naming a measured diameter that the sound contradicts; none on a sound sheet.

    Parameters
    ----------
    sheet
        The drive as measured.
    lines
        Explained lines of each take.
    crank
        Crank speed of each take; a take counts when its speed is sure (confidence 0.95).
    """
    doubt = diameter_doubt(sheet, lines, crank)
    if doubt is None:
        return ()
    return (
        f"Your {doubt.part.replace('-', ' ')} pulley is nearer {doubt.nearer_mm:.1f} mm "
        f"({doubt.low_mm:.1f} to {doubt.high_mm:.1f}) than the {doubt.measured_mm:.1f} mm "
        "measured, by the speed it was heard to turn at. Measure it again.",
    )


def diameter_doubt(
    sheet: DriveSheet,
    lines: Mapping[str, Iterable[ExplainedLine]],
    crank: Mapping[str, Crank | None],
) -> DiameterDoubt | None:
    """As `doubted_diameters`, the doubt itself."""
    seen: dict[str, list[float]] = {}
    for take, found in lines.items():
        speed = crank.get(take)
        if speed is None or speed.confidence < LEAST_CONFIDENCE:
            continue
        for line in found:
            turns = _turns(sheet, line)
            if turns is not None and line.significance >= LEAST_SIGNIFICANCE:
                seen.setdefault(line.part, []).append(turns)
    heard = []
    for part, turns_of in seen.items():
        turns_of.sort()
        middle = turns_of[len(turns_of) // 2]
        agreeing = [one for one in turns_of if abs(one / middle - 1.0) < AGREE]
        if len(agreeing) >= LEAST_LINES and 2 * len(agreeing) > len(turns_of):
            spread = (agreeing[-1] / agreeing[0] - 1.0) / 2.0
            heard.append(
                HeardShaft(part, sum(agreeing) / len(agreeing), math.hypot(spread, MODEL_ERROR))
            )
    return doubted_diameter(sheet, heard)


def _turns(sheet: DriveSheet, line: ExplainedLine) -> float | None:
    """Turns of the line's shaft for one of the crank, None when it is no sure sign of them."""
    pulley = next((one for one in sheet.pulleys if one.part == line.part), None)
    if pulley is None or pulley.part == "crank":
        return None
    counts: dict[str, float | None] = {
        "shaft": 1.0,
        "poles": pulley.poles,
        "pole pairs": pulley.poles / 2.0 if pulley.poles else None,
        "rectifier": 3.0 * pulley.poles if pulley.poles else None,
        "vanes": pulley.vanes,
        "fan blades": pulley.fan_blades,
    }
    count = counts.get(line.source)
    return line.order / (count * line.harmonic) if count else None
