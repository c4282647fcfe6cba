"""How fast every pulley turns for one turn of the crank, and how sure that is.

The belt runs at the speed of its pitch line, which lies outside the surface the technician
measures: by `pitch_line_mm` on a ribbed pulley and by `back_line_mm` on a back-side pulley.
Derivation and sources: docs/methods/drive.md.
"""

from __future__ import annotations

import math
from itertools import product
from typing import Final

from beltside.base.constants import PK_PITCH_LINE
from beltside.base.errors import require_range
from beltside.drive.sheet import DriveSheet, Pulley

PITCH_LINE_RANGE_MM: Final = (0.0, PK_PITCH_LINE.value)
"""Pitch line outside the ribs of a PK pulley [mm]: from the ribs themselves to the nominal b_e."""

BACK_LINE_RANGE_MM: Final = (1.0, 4.0)
"""Pitch line outside a back-side pulley's flat [mm]; a PK belt is 4 to 6 mm high in all."""

DIAMETER_ERROR: Final = 0.005
"""Relative error of a diameter taken with a caliper or tape (common practice, no source)."""

LENGTH_ERROR: Final = 0.005
"""Relative error of a belt length from its marking, with stretch (common practice, no source)."""

KNOWN_LINE_ERROR_MM: Final = 0.3
"""Error of a pitch line or back line that the sheet gives (own choice)."""

CREEP: Final = 0.005
"""Elastic creep of a sound V-ribbed belt: a driven pulley lags by up to this part (from memory)."""

# Wider than the plausible ranges, so that a fit may look at either side of them.
_LINE_LIMITS_MM: Final = (-2.0, 8.0)


def shaft_ratios(
    sheet: DriveSheet, pitch_line_mm: float | None = None, back_line_mm: float | None = None
) -> dict[str, float]:
    """Turns of each pulley for one turn of the crank.

    Parameters
    ----------
    sheet
        The drive. Without pulleys only the crank is given.
    pitch_line_mm
        How far the pitch line lies outside the measured surface of the ribbed pulleys [mm],
        -2 to 8; 0 gives the plain quotient of the measured diameters. None takes the sheet's own,
        or 0 when it gives none.
    back_line_mm
        The same for back-side pulleys [mm], -2 to 8.

    Returns
    -------
    dict
        Part to ratio; "crank" is always there and is 1.

    Raises
    ------
    OutOfRangeError
        When a line lies outside -2 to 8 mm.

    Examples
    --------
    >>> from beltside.drive.sheet import Belt, Engine
    >>> sheet = DriveSheet(Engine(4), Belt(), (Pulley("crank", 138.0), Pulley("alternator", 55.0)))
    >>> round(shaft_ratios(sheet)["alternator"], 3)
    2.509
    >>> round(shaft_ratios(sheet, pitch_line_mm=2.0)["alternator"], 3)
    2.407
    """
    pitch_line_mm, back_line_mm = _given_lines_mm(sheet, pitch_line_mm, back_line_mm)
    require_range("pitch line", pitch_line_mm, *_LINE_LIMITS_MM, "mm")
    require_range("back-side pitch line", back_line_mm, *_LINE_LIMITS_MM, "mm")
    ratios = {"crank": 1.0}
    crank = crank_pulley(sheet)
    if crank is None:
        return ratios
    travel_mm = running_diameter_mm(crank, pitch_line_mm, back_line_mm)
    for pulley in sheet.pulleys:
        if pulley is not crank:
            ratios[pulley.part] = travel_mm / running_diameter_mm(
                pulley, pitch_line_mm, back_line_mm
            )
    return ratios


def ratio_ranges(sheet: DriveSheet) -> dict[str, tuple[float, float]]:
    """Lowest and highest plausible turns of each pulley for one turn of the crank.

    Covers the unknown pitch line (0 to 2 mm outside the ribs, 1 to 4 mm outside a flat; 0.3 mm
    either side of what the sheet gives), an error of 0.5 % in each measured diameter, and up to
    0.5 % of belt creep. The nominal ratio is covered too. The same pitch line holds for every
    ribbed pulley of one drive, so the ranges move together: fit `shaft_ratios` when the true
    lines are known.

    Returns
    -------
    dict
        Part to (low, high); the crank is exactly (1, 1).
    """
    ranges = {"crank": (1.0, 1.0)}
    crank = crank_pulley(sheet)
    if crank is None:
        return ranges
    nominal = shaft_ratios(sheet)
    for pulley in sheet.pulleys:
        if pulley is crank:
            continue
        # Every term is monotonic, so the extremes lie at the corners.
        corners = [
            (
                crank.diameter_mm * (1.0 + sign_crank * DIAMETER_ERROR)
                + 2.0 * (back if crank.face == "back" else line)
            )
            / (
                pulley.diameter_mm * (1.0 + sign_pulley * DIAMETER_ERROR)
                + 2.0 * (back if pulley.face == "back" else line)
            )
            for sign_crank, sign_pulley, line, back in product(
                (-1, 1), (-1, 1), *plausible_lines_mm(sheet)
            )
        ]
        ranges[pulley.part] = (
            min(*corners, nominal[pulley.part]) * (1.0 - CREEP),
            max(*corners, nominal[pulley.part]),
        )
    return ranges


def belt_passing_order(
    sheet: DriveSheet, pitch_line_mm: float | None = None, back_line_mm: float | None = None
) -> float | None:
    """Rounds of the belt for one turn of the crank; None without a crank pulley or belt length.

    One crank turn moves pi (D + 2 b) of belt along its pitch line, whose length is the
    effective length plus 2 pi b (the effective length is taken on two pulleys, at their
    effective diameter).

    >>> from beltside.drive.sheet import Belt, Engine
    >>> sheet = DriveSheet(Engine(4), Belt(length_mm=1230.0), (Pulley("crank", 138.0),))
    >>> round(belt_passing_order(sheet), 4)
    0.3525
    """
    pitch_line_mm, back_line_mm = _given_lines_mm(sheet, pitch_line_mm, back_line_mm)
    crank = crank_pulley(sheet)
    if crank is None or sheet.belt.length_mm is None:
        return None
    travel_mm = math.pi * running_diameter_mm(crank, pitch_line_mm, back_line_mm)
    return travel_mm / (sheet.belt.length_mm + 2.0 * math.pi * pitch_line_mm)


def belt_passing_range(sheet: DriveSheet) -> tuple[float, float] | None:
    """Lowest and highest plausible belt passing order; None as for `belt_passing_order`."""
    crank = crank_pulley(sheet)
    length_mm = sheet.belt.length_mm
    if crank is None or length_mm is None:
        return None
    error = LENGTH_ERROR if sheet.belt.length_error is None else sheet.belt.length_error
    corners = [
        math.pi
        * (
            crank.diameter_mm * (1.0 + sign_crank * DIAMETER_ERROR)
            + 2.0 * (back if crank.face == "back" else line)
        )
        / (length_mm * (1.0 + sign_length * error) + 2.0 * math.pi * line)
        for sign_crank, sign_length, line, back in product(
            (-1, 1), (-1, 1), *plausible_lines_mm(sheet)
        )
    ]
    return min(corners) * (1.0 - CREEP), max(corners)


def _given_lines_mm(
    sheet: DriveSheet, pitch_mm: float | None, back_mm: float | None
) -> tuple[float, float]:
    return (
        (sheet.belt.pitch_line_mm or 0.0) if pitch_mm is None else pitch_mm,
        (sheet.belt.back_line_mm or 0.0) if back_mm is None else back_mm,
    )


def plausible_lines_mm(sheet: DriveSheet) -> tuple[tuple[float, float], tuple[float, float]]:
    """Plausible pitch lines and back lines of this drive's belt [mm]."""

    def around(given_mm: float | None, plausible: tuple[float, float]) -> tuple[float, float]:
        if given_mm is None:
            return plausible
        return max(given_mm - KNOWN_LINE_ERROR_MM, 0.0), given_mm + KNOWN_LINE_ERROR_MM

    return (
        around(sheet.belt.pitch_line_mm, PITCH_LINE_RANGE_MM),
        around(sheet.belt.back_line_mm, BACK_LINE_RANGE_MM),
    )


def crank_pulley(sheet: DriveSheet) -> Pulley | None:
    """The crank's pulley, or None when the sheet has none."""
    return next((pulley for pulley in sheet.pulleys if pulley.part == "crank"), None)


def running_diameter_mm(pulley: Pulley, pitch_line_mm: float, back_line_mm: float) -> float:
    """Diameter at which the belt's pitch line runs round this pulley [mm]."""
    return pulley.diameter_mm + 2.0 * (back_line_mm if pulley.face == "back" else pitch_line_mm)
