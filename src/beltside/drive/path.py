"""The belt's path over a drive: tangent points, spans, wraps, ratios and effective length.

The belt runs at its cords. On a ribbed pulley they lie `pitch_line_mm` outside the effective
diameter, which is what a caliper reads over the ribs; on a back-side pulley they lie
`back_line_mm` outside the flat. The effective length of the belt is that of its cords less
2 pi `pitch_line_mm`, because it is taken on two ribbed pulleys at their effective diameter
(ISO 9981). Derivation: docs/methods/belt-path.md.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final

from beltside.base.constants import PK_PITCH_LINE
from beltside.base.errors import InputError, require_range
from beltside.base.words import count_of
from beltside.drive.clearance import Layout, run_belt
from beltside.drive.loop import Loop, NoTangentError, taut_loop
from beltside.drive.sheet import DriveSheet, Pulley

DEFAULT_BACK_LINE_MM: Final = 1.5
"""Cords outside the flat of a back-side pulley [mm]: common practice, no source. Makers' belts
run from 1 to 4 mm, so a drive with back-side pulleys knows its length less well."""

LINE_LIMITS_MM: Final = (0.0, 6.0)

CLOCKWISE: Final = "clockwise"
ANTICLOCKWISE: Final = "anticlockwise"


@dataclass(frozen=True)
class PathPulley:
    """One pulley of the path.

    Attributes
    ----------
    part, face
        As in the sheet.
    x_mm, y_mm, diameter_mm
        As in the sheet.
    running_diameter_mm
        Diameter at which the cords run [mm].
    ratio
        Turns for one turn of the crank, always positive.
    turns
        "clockwise" or "anticlockwise", seen from the front.
    wrap_deg
        How far the belt bends round it [degrees].
    arrives, leaves
        Where the cords touch first and last, (x, y) [mm], along the belt's travel.
    """

    part: str
    face: str
    x_mm: float
    y_mm: float
    diameter_mm: float
    running_diameter_mm: float
    ratio: float
    turns: str
    wrap_deg: float
    arrives: tuple[float, float]
    leaves: tuple[float, float]


@dataclass(frozen=True)
class Span:
    """A free piece of belt; `start` and `end` are its tangent points, along the belt's travel."""

    from_part: str
    to_part: str
    length_mm: float
    start: tuple[float, float]
    end: tuple[float, float]


@dataclass(frozen=True)
class BeltPath:
    """The whole path, pulleys and spans in the order a point of the belt meets them.

    Attributes
    ----------
    pulleys
        In the order of travel; the crank first.
    spans
        spans[i] leads from pulleys[i] to the next one.
    pitch_length_mm
        Length at the cords [mm].
    effective_length_mm
        Effective length by ISO 9981, as marked on the belt [mm].
    pitch_line_mm, back_line_mm
        The lines it was worked out with [mm].
    listed_clockwise
        Whether the sheet lists the pulleys clockwise.
    """

    pulleys: tuple[PathPulley, ...]
    spans: tuple[Span, ...]
    pitch_length_mm: float
    effective_length_mm: float
    pitch_line_mm: float
    back_line_mm: float
    listed_clockwise: bool

    def pulley(self, part: str) -> PathPulley:
        """The pulley of that part; KeyError when there is none."""
        for pulley in self.pulleys:
            if pulley.part == part:
                return pulley
        raise KeyError(part)


def belt_path(sheet: DriveSheet) -> BeltPath:
    """The path of the belt over a drive whose positions are known.

    Parameters
    ----------
    sheet
        A sheet that has passed `drive.check`, with x_mm and y_mm for every pulley. Pulleys may
        be listed either way round; when the sheet does not say how the crank turns, the belt
        runs in the order listed.

    Raises
    ------
    InputError
        When positions are missing (named), or there are fewer than two pulleys.
    LayoutError
        When a belt can't run this way; names the pulleys in each other's way.

    Examples
    --------
    >>> from beltside.drive.sheet import Belt, Engine
    >>> pulleys = (Pulley("crank", 138.0, x_mm=0, y_mm=0),
    ...     Pulley("alternator", 55.0, x_mm=175, y_mm=205))
    >>> path = belt_path(DriveSheet(Engine(4), Belt(), pulleys))
    >>> round(path.effective_length_mm, 1), round(path.pulley("alternator").wrap_deg, 1)
    (848.6, 162.3)
    """
    layout = layout_of(sheet)
    loop, sense = run_belt(layout)
    return _path(sheet, layout, loop, sense)


def effective_length_mm(layout: Layout, sense: int) -> float:
    """Effective length of the loop [mm], nothing checked; for solvers.

    Raises
    ------
    NoTangentError
        When two pulleys that follow each other leave no room for the belt.
    """
    loop = taut_loop(layout.centres, layout.running(sense))
    if loop.turns != sense:
        worst = max(range(len(loop.wraps)), key=loop.wraps.__getitem__)
        raise NoTangentError((worst, (worst + 1) % len(loop.wraps)), 0.0, 0.0)
    return loop.length - 2.0 * math.pi * layout.inner_mm


def layout_of(sheet: DriveSheet) -> Layout:
    """The pulleys as circles; InputError when positions are missing or pulleys too few."""
    if len(sheet.pulleys) < 2:
        raise InputError(
            f"a drive sheet with {count_of(len(sheet.pulleys), 'pulley')}",
            allowed="two pulleys or more for a belt",
            instead="adding [[pulley]] for each pulley the belt runs on",
        )
    missing = [pulley.part for pulley in sheet.pulleys if pulley.x_mm is None]
    if missing:
        raise InputError(
            f"no position for {', '.join(missing)}",
            allowed="x_mm and y_mm for every pulley",
            instead="measuring from the centre of the crank: right and up positive",
        )
    pitch_mm, back_mm = lines_mm(sheet)
    return Layout(
        parts=tuple(pulley.part for pulley in sheet.pulleys),
        centres=tuple(complex(p.x_mm or 0.0, p.y_mm or 0.0) for p in sheet.pulleys),
        bodies=tuple(0.5 * pulley.diameter_mm for pulley in sheet.pulleys),
        sides=tuple(-1 if pulley.face == "back" else 1 for pulley in sheet.pulleys),
        inner_mm=pitch_mm,
        outer_mm=back_mm,
    )


def lines_mm(sheet: DriveSheet) -> tuple[float, float]:
    """Pitch line and back line of this drive's belt [mm]: the sheet's, or nominal ones."""
    pitch = sheet.belt.pitch_line_mm
    back = sheet.belt.back_line_mm
    return (
        PK_PITCH_LINE.value
        if pitch is None
        else require_range("pitch_line_mm", pitch, *LINE_LIMITS_MM, "mm"),
        DEFAULT_BACK_LINE_MM
        if back is None
        else require_range("back_line_mm", back, *LINE_LIMITS_MM, "mm"),
    )


def has_positions(sheet: DriveSheet) -> bool:
    """Whether a path can be asked for: two pulleys or more, all with positions."""
    return len(sheet.pulleys) > 1 and all(pulley.x_mm is not None for pulley in sheet.pulleys)


def _path(sheet: DriveSheet, layout: Layout, loop: Loop, sense: int) -> BeltPath:
    count = len(layout.parts)
    # The ribs lie inside the loop, so the belt goes round as its ribbed pulleys turn.
    crank = next((i for i, part in enumerate(layout.parts) if part == "crank"), 0)
    crank_side = layout.sides[crank]
    listed = 1 if sheet.engine.crank_turns is None else 0
    if not listed:
        wanted = 1 if sheet.engine.crank_turns == CLOCKWISE else -1
        listed = 1 if wanted == sense * crank_side else -1
    order = [(crank + listed * step) % count for step in range(count)]
    travel = sense * listed
    starts = loop.leaves if listed > 0 else loop.arrives
    ends = loop.arrives if listed > 0 else loop.leaves
    pulleys, spans = [], []
    crank_running = abs(loop.radii[crank])
    for place, i in enumerate(order):
        pulley = sheet.pulleys[i]
        clockwise = travel * layout.sides[i] > 0
        running = abs(loop.radii[i])
        pulleys.append(
            PathPulley(
                part=pulley.part,
                face=pulley.face,
                x_mm=layout.centres[i].real,
                y_mm=layout.centres[i].imag,
                diameter_mm=pulley.diameter_mm,
                running_diameter_mm=2.0 * running,
                ratio=crank_running / running,
                turns=CLOCKWISE if clockwise else ANTICLOCKWISE,
                wrap_deg=math.degrees(loop.wraps[i]),
                arrives=_point(ends[i]),
                leaves=_point(starts[i]),
            )
        )
        j = order[(place + 1) % count]
        spans.append(
            Span(
                from_part=pulley.part,
                to_part=layout.parts[j],
                length_mm=loop.spans[i] if listed > 0 else loop.spans[j],
                start=_point(starts[i]),
                end=_point(ends[j]),
            )
        )
    length = loop.length
    return BeltPath(
        tuple(pulleys),
        tuple(spans),
        pitch_length_mm=length,
        effective_length_mm=length - 2.0 * math.pi * layout.inner_mm,
        pitch_line_mm=layout.inner_mm,
        back_line_mm=layout.outer_mm,
        listed_clockwise=sense > 0,
    )


def _point(place: complex) -> tuple[float, float]:
    return place.real, place.imag


def without_part(sheet: DriveSheet, part: str) -> DriveSheet:
    """The drive with one pulley bypassed.

    Raises
    ------
    InputError
        When the drive has no such pulley, or it is the crank.
    """
    _require_part(sheet, part)
    if part == "crank":
        raise InputError(
            "the crank can't be bypassed",
            allowed=", ".join(p.part for p in sheet.pulleys if p.part != "crank"),
        )
    return replace(sheet, pulleys=tuple(p for p in sheet.pulleys if p.part != part))


def with_diameters(sheet: DriveSheet, diameters_mm: Mapping[str, float]) -> DriveSheet:
    """The drive with other pulleys in the places of some, by diameter [mm], 20 to 400.

    Raises
    ------
    InputError
        When the drive has no such pulley, or a diameter is out of range.
    """
    for part, diameter_mm in diameters_mm.items():
        _require_part(sheet, part)
        require_range(f"diameter of {part}", diameter_mm, 20.0, 400.0, "mm")
    return replace(
        sheet,
        pulleys=tuple(
            replace(p, diameter_mm=diameters_mm.get(p.part, p.diameter_mm)) for p in sheet.pulleys
        ),
    )


def _require_part(sheet: DriveSheet, part: str) -> Pulley:
    for pulley in sheet.pulleys:
        if pulley.part == part:
            return pulley
    raise InputError(f"this drive has no {part}", allowed=", ".join(p.part for p in sheet.pulleys))
