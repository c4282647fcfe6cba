"""Alignment: from straight-edge readings to the angle at which the belt enters each pulley.

A ribbed pulley guides the belt, so from one to the next it runs askew by the difference of their
offsets over the belt between them. A back-side pulley does not guide it: unless its own offset
was read, the belt is taken to run straight past it. Method: docs/methods/belt-alignment.md.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from beltside.base.errors import InputError, require_range
from beltside.drive.path import BeltPath

IN_LINE_DEG: Final = 0.3
"""1/16 inch per foot: what installation guides allow a V-ribbed drive (common practice)."""

NOISE_DEG: Final = 1.0
"""From here on a chirp is to be expected (common practice, no source)."""

READING_ERROR_MM: Final = 0.35
"""Error of one reading: half a millimetre of rule with the 0.25 mm of axial run-out that
ISO 9981:2020, 5.3.3 leaves a pulley, 90 % range."""

OFFSET_RANGE_MM: Final = (-50.0, 50.0)


@dataclass(frozen=True)
class EntryAngle:
    """How the belt enters one pulley.

    Attributes
    ----------
    from_part, to_part
        The guiding pulley it comes from and the pulley it enters.
    past
        Back-side pulleys it passes in between without being guided.
    run_mm
        Belt between them [mm].
    offset_mm
        How far `to_part` stands forward of `from_part` [mm].
    angle_deg, error_deg
        Entry angle and its 90 % error from the readings [degrees].
    verdict
        "in line", "out of line" (above the limit) or "chirp likely" (above the noise limit).
    sure
        Whether the verdict stands wherever in its error the angle lies.
    """

    from_part: str
    to_part: str
    past: tuple[str, ...]
    run_mm: float
    offset_mm: float
    angle_deg: float
    error_deg: float
    verdict: str
    sure: bool


def entry_angles(
    path: BeltPath,
    offsets_mm: Mapping[str, float],
    *,
    limit_deg: float = IN_LINE_DEG,
    noise_deg: float = NOISE_DEG,
    reading_error_mm: float = READING_ERROR_MM,
) -> tuple[EntryAngle, ...]:
    """Entry angle at each pulley whose offset was read.

    Parameters
    ----------
    path
        From `belt_path`.
    offsets_mm
        How far each pulley stands forward of the straight-edge's plane [mm], -50 to 50. Two or
        more; a ribbed pulley without a reading ends what can be said of the spans beside it.
    limit_deg, noise_deg
        Limits [degrees], 0 < limit_deg <= noise_deg.
    reading_error_mm
        90 % error of one reading [mm].

    Raises
    ------
    InputError
        When a pulley is not of the drive, or a figure is out of range.

    Examples
    --------
    >>> from beltside.drive.path import belt_path
    >>> from beltside.drive.sheet import Belt, DriveSheet, Engine, Pulley
    >>> pulleys = (Pulley("crank", 100.0, x_mm=0, y_mm=0), Pulley("fan", 100.0, x_mm=0, y_mm=200))
    >>> path = belt_path(DriveSheet(Engine(4), Belt(), pulleys))
    >>> [round(one.angle_deg, 3) for one in entry_angles(path, {"crank": 0.0, "fan": 2.0})]
    [0.573, 0.573]
    """
    parts = [pulley.part for pulley in path.pulleys]
    for part, offset in offsets_mm.items():
        if part not in parts:
            raise InputError(f"an offset for {part}", allowed=", ".join(parts))
        require_range(f"offset of {part}", offset, *OFFSET_RANGE_MM, "mm")
    if not 0.0 < limit_deg <= noise_deg <= 45.0:
        raise InputError(
            f"limits of {limit_deg:g} and {noise_deg:g} degrees",
            allowed="0 < limit <= noise limit <= 45 degrees",
        )
    count = len(parts)
    found = []
    for place, pulley in enumerate(path.pulleys):
        if pulley.part not in offsets_mm:
            continue
        run = path.spans[place].length_mm
        past: list[str] = []
        step = place + 1
        while (
            path.pulleys[step % count].face == "back"
            and parts[step % count] not in offsets_mm
            and step - place < count
        ):
            between = path.pulleys[step % count]
            past.append(between.part)
            run += math.radians(between.wrap_deg) * 0.5 * between.running_diameter_mm
            run += path.spans[step % count].length_mm
            step += 1
        other = parts[step % count]
        if other not in offsets_mm or other == pulley.part:
            continue
        offset = offsets_mm[other] - offsets_mm[pulley.part]
        angle = math.degrees(math.atan2(abs(offset), run))
        error = math.degrees(math.atan2(math.sqrt(2.0) * reading_error_mm, run))
        found.append(
            EntryAngle(
                pulley.part,
                other,
                tuple(past),
                run,
                offset,
                angle,
                error,
                _verdict(angle, limit_deg, noise_deg),
                _verdict(max(angle - error, 0.0), limit_deg, noise_deg)
                == _verdict(angle + error, limit_deg, noise_deg),
            )
        )
    return tuple(found)


def _verdict(angle: float, limit: float, noise: float) -> str:
    if angle > noise:
        return "chirp likely"
    return "out of line" if angle > limit else "in line"
