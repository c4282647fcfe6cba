"""Every order at which a drive can make a line, each with the part it belongs to.

One table of what turns and what passes by; the method and its sources: docs/methods/drive.md.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from beltside.base.errors import require_range
from beltside.base.words import part_kind
from beltside.drive.bearings import bearing_orders, bearing_sidebands, turning_ring
from beltside.drive.ratios import (
    belt_passing_order,
    belt_passing_range,
    ratio_ranges,
    shaft_ratios,
)
from beltside.drive.sheet import Bearing, DriveSheet, Pulley

MOST_HARMONICS: Final = 6
"""Multiples listed of one source; further ones are weak and fall among everyone else's."""

SLIP: Final = 0.01
"""A loaded bearing's true rates stray 1 to 2 % from rolling without slip (Randall & Antoni,
MSSP 25, 2011, section 2.1); 1 % is allowed to either side."""

MEASURED_GEOMETRY_ERROR: Final = 0.01
"""Relative error of ball over pitch diameter when given by the technician (own choice)."""

TABLE_GEOMETRY_ERROR: Final = 0.04
"""The same when looked up by number: makers fill one number with different balls (own choice)."""

RECTIFIER_PULSES_PER_POLE_PAIR: Final = 6
"""A three-phase bridge gives six pulses per electrical turn; from physics."""


@dataclass(frozen=True)
class ExpectedOrder:
    """One line to look for.

    Attributes
    ----------
    part
        The part it belongs to, numbered when there are several; "belt", "engine" or
        "timing-chain" for what is no pulley.
    source
        What makes it, in plain words: "shaft", "belt passing", "poles", "pole pairs",
        "rectifier", "vanes", "fan blades", "sprocket mesh", "outer race", "inner race", "ball",
        "cage", "firing" or "cycle".
    order
        Events per crank turn from the plain diameters, times `harmonic`.
    order_low, order_high
        The plausible range of `order`; both equal to it where the engine fixes it.
    harmonic
        1 for the source itself, 2 for twice its rate and so on.
    spectrum
        Where it shows: "sound", "envelope" or "both".
    sidebands
        Spacing of the sidebands to expect beside it, in events per crank turn.
    """

    part: str
    source: str
    order: float
    order_low: float
    order_high: float
    harmonic: int
    spectrum: str
    sidebands: tuple[float, ...] = ()


@dataclass(frozen=True)
class _Source:
    """One source before its multiples are written out; orders per crank turn."""

    part: str
    name: str
    order: float
    low: float
    high: float
    spectrum: str
    sidebands: tuple[float, ...] = ()


def expected_orders(sheet: DriveSheet, max_order: float) -> tuple[ExpectedOrder, ...]:
    """All orders up to `max_order` at which this drive can make a line.

    Parameters
    ----------
    sheet
        A sheet that has passed `drive.check`.
    max_order
        Highest order wanted [events per crank turn], above 0 to 2000.

    Returns
    -------
    tuple of ExpectedOrder
        By part in the order of the sheet, harmonics 1 to 6 of each source as far as `max_order`.
        Without a belt length there is no belt passing; without a bearing no bearing lines.

    Raises
    ------
    OutOfRangeError
        When `max_order` is outside its range.

    Examples
    --------
    >>> from beltside.drive.sheet import Belt, Engine
    >>> sheet = DriveSheet(Engine(cylinders=4), Belt(), (Pulley("crank", 138.0),))
    >>> [(e.source, e.order) for e in expected_orders(sheet, 2.0)]
    [('firing', 2.0), ('cycle', 0.5), ('cycle', 1.0), ('cycle', 1.5), ('cycle', 2.0),
     ('shaft', 1.0), ('shaft', 2.0)]
    """
    require_range("highest order", max_order, 1e-3, 2000.0, "events per crank turn")
    return tuple(
        ExpectedOrder(
            part=source.part,
            source=source.name,
            order=harmonic * source.order,
            order_low=harmonic * source.low,
            order_high=harmonic * source.high,
            harmonic=harmonic,
            spectrum=source.spectrum,
            sidebands=source.sidebands,
        )
        for source in _sources(sheet)
        for harmonic in range(1, MOST_HARMONICS + 1)
        if harmonic * source.order <= max_order
    )


def firing_order(sheet: DriveSheet) -> float:
    """Cylinders that fire per crank turn, evenly spaced or not.

    >>> from beltside.drive.sheet import Belt, Engine
    >>> firing_order(DriveSheet(Engine(cylinders=3), Belt(), ()))
    1.5
    """
    return sheet.engine.cylinders * 2.0 / sheet.engine.strokes


def _sources(sheet: DriveSheet) -> Iterator[_Source]:
    yield from _engine_sources(sheet)
    ratios = shaft_ratios(sheet)
    ranges = ratio_ranges(sheet)
    if not any(pulley.part == "crank" for pulley in sheet.pulleys):
        yield _Source("crank", "shaft", 1.0, 1.0, 1.0, "both")
    for pulley in sheet.pulleys:
        yield from _pulley_sources(pulley, ratios[pulley.part], *ranges[pulley.part])
    passing, passing_range = belt_passing_order(sheet), belt_passing_range(sheet)
    if passing is not None and passing_range is not None:
        yield _Source("belt", "belt passing", passing, *passing_range, "both")


def _engine_sources(sheet: DriveSheet) -> Iterator[_Source]:
    def exact(part: str, name: str, order: float, spectrum: str) -> _Source:
        return _Source(part, name, order, order, order, spectrum)

    yield exact("engine", "firing", firing_order(sheet), "both")
    if sheet.engine.strokes == 4:
        # Camshaft, valves and the differences between cylinders repeat every second turn.
        yield exact("engine", "cycle", 0.5, "both")
    if sheet.engine.crank_sprocket_teeth is not None:
        teeth = float(sheet.engine.crank_sprocket_teeth)
        yield exact("timing-chain", "sprocket mesh", teeth, "sound")


def _pulley_sources(pulley: Pulley, ratio: float, low: float, high: float) -> Iterator[_Source]:
    part = pulley.part

    def passing(name: str, count: float) -> _Source:
        # Uneven vanes, blades or poles repeat once per turn of their shaft.
        return _Source(part, name, count * ratio, count * low, count * high, "sound", (ratio,))

    yield _Source(part, "shaft", ratio, low, high, "both")
    if pulley.poles is not None:
        yield passing("poles", pulley.poles)
        yield passing("pole pairs", pulley.poles / 2.0)
        if part_kind(part) == "alternator":
            yield passing("rectifier", RECTIFIER_PULSES_PER_POLE_PAIR * pulley.poles / 2.0)
    if pulley.vanes is not None:
        yield passing("vanes", pulley.vanes)
    if pulley.fan_blades is not None:
        yield passing("fan blades", pulley.fan_blades)
    if pulley.bearing is not None:
        yield from _bearing_sources(part, pulley.bearing, ratio, low, high)


def _bearing_sources(
    part: str, bearing: Bearing, ratio: float, low: float, high: float
) -> Iterator[_Source]:
    ring = turning_ring(part)
    sidebands = bearing_sidebands(bearing, turning_ring=ring)
    error = MEASURED_GEOMETRY_ERROR if bearing.number is None else TABLE_GEOMETRY_ERROR
    nominal = bearing_orders(bearing, turning_ring=ring)
    # A wrong quotient of ball to pitch diameter moves every order one way or the other.
    off = [
        bearing_orders(
            Bearing(bearing.balls, bearing.ball_mm * scale, bearing.pitch_mm, bearing.contact_deg),
            turning_ring=ring,
        )
        for scale in (1.0 - error, 1.0 + error)
    ]
    for name, field in (
        ("outer race", "outer_race"),
        ("inner race", "inner_race"),
        ("ball", "ball"),
        ("cage", "cage"),
    ):
        orders = [getattr(each, field) for each in off]
        yield _Source(
            part,
            name,
            getattr(nominal, field) * ratio,
            min(orders) * low * (1.0 - SLIP),
            max(orders) * high * (1.0 + SLIP),
            "envelope",
            tuple(spacing * ratio for spacing in sidebands[name]),
        )
