"""A bolted flange as plain values: its holes, its gasket line, cover and gasket stiffness.

Places are in mm, seen from the side the bolts go in, right and up positive. Method:
docs/methods/bolt-order.md.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np
import numpy.typing as npt

from beltside.base.errors import InputError, OutOfRangeError, nearest, require_range

Float64 = npt.NDArray[np.float64]
Point = tuple[float, float]

HOLE_KINDS: Final = ("bolt", "stud", "dowel")
"""A stud's nut is tightened like a bolt; a dowel only keeps the part in its place."""

FEWEST_BOLTS: Final = 2
MOST_BOLTS: Final = 32
LEAST_DISTANCE_MM: Final = 2.0
"""Two holes closer than this are one hole entered twice."""
FURTHEST_MM: Final = 2000.0

COVERS: Final[Mapping[str, tuple[float, float]]] = {
    "aluminium": (70_000.0, 0.33),
    "steel": (205_000.0, 0.29),
    "cast-iron": (110_000.0, 0.26),
    "plastic": (8_000.0, 0.35),
}
"""Young's modulus [MPa] and Poisson's ratio (handbook values, from memory)."""

GASKETS: Final[Mapping[str, float]] = {
    "paper": 1000.0,
    "rubber": 50.0,
    "metal": 4000.0,
    "sealant": 8000.0,
}
"""Stiffness per length of gasket line [N/mm per mm]: modulus times width over thickness. Own
assumption of the order of magnitude; a stiffer gasket asks for more care with the order."""

_NODES: Final = 96
_LEAST_NODES_OF_SPAN: Final = 4
_THIN: Final = 0.05
"""Holes whose spread across is less than this part of their spread along lie in one line."""


@dataclass(frozen=True)
class Hole:
    """One hole.

    Attributes
    ----------
    x_mm, y_mm
        Its centre [mm].
    name
        What the technician calls it.
    kind
        "bolt", "stud" or "dowel".
    turn
        Fixed place in the tightening order, counted from 1, where the maker's diagram gives one.
    """

    x_mm: float
    y_mm: float
    name: str
    kind: str = "bolt"
    turn: int | None = None


@dataclass(frozen=True)
class Flange:
    """Holes, gasket line and stiffness of one joint.

    Attributes
    ----------
    holes
        As entered, dowels among them.
    outline_mm
        Middle of the gasket's sealing face as a closed line of points, the last joined to the
        first; empty when it isn't known. The line through the bolts is then taken.
    cover, cover_thickness_mm
        What the cover is made of (a key of `COVERS`) and how thick [mm], ribs counted in.
    gasket
        A key of `GASKETS`.
    """

    holes: tuple[Hole, ...]
    outline_mm: tuple[Point, ...] = field(default=())
    cover: str = "aluminium"
    cover_thickness_mm: float = 12.0
    gasket: str = "paper"

    @property
    def bolts(self) -> tuple[Hole, ...]:
        """The holes that clamp: bolts and studs, in the order entered."""
        return tuple(hole for hole in self.holes if hole.kind != "dowel")

    @property
    def dowels(self) -> tuple[Hole, ...]:
        """The holes that only place the part."""
        return tuple(hole for hole in self.holes if hole.kind == "dowel")

    @property
    def plate_stiffness_nmm(self) -> float:
        """Bending stiffness of the cover per width, E t^3 / 12 (1 - nu^2) [N mm]."""
        young_mpa, poisson = COVERS[self.cover]
        return young_mpa * self.cover_thickness_mm**3 / (12.0 * (1.0 - poisson**2))

    @property
    def gasket_stiffness_mpa(self) -> float:
        """Stiffness of the gasket per length of its line [N/mm per mm]."""
        return GASKETS[self.gasket]


def check_flange(flange: Flange) -> Flange:
    """Give back `flange` when an order can be worked out for it.

    Raises
    ------
    InputError
        For an unknown kind, cover or gasket, a hole entered twice, a place taken twice in the
        order, or a line of fewer than three points.
    OutOfRangeError
        For fewer than 2 or more than 32 bolts, a place beyond 2 m, a thickness outside
        1 to 100 mm.
    """
    for word, allowed, what in (
        (flange.cover, COVERS, "cover"),
        (flange.gasket, GASKETS, "gasket"),
        *((hole.kind, HOLE_KINDS, f"hole {hole.name}: kind") for hole in flange.holes),
    ):
        if word not in allowed:
            raise InputError(
                f'{what} is "{word}"',
                allowed=", ".join(allowed),
                instead=nearest(word, allowed) or "",
            )
    require_range("cover thickness", flange.cover_thickness_mm, 1.0, 100.0, "mm")
    for x_mm, y_mm in (*((hole.x_mm, hole.y_mm) for hole in flange.holes), *flange.outline_mm):
        require_range("a place", x_mm, -FURTHEST_MM, FURTHEST_MM, "mm")
        require_range("a place", y_mm, -FURTHEST_MM, FURTHEST_MM, "mm")
    _check_number(len(flange.bolts))
    _check_apart(flange.holes)
    _check_turns(flange.bolts)
    if flange.outline_mm and (
        len(set(flange.outline_mm)) < 3 or _is_one_line(np.array(flange.outline_mm))
    ):
        raise InputError(
            "the gasket outline is no closed line round an area",
            allowed="three points or more that do not lie in one line",
            instead="leaving it out; the line through the holes is then taken",
        )
    return flange


def _check_number(bolts: int) -> None:
    if FEWEST_BOLTS <= bolts <= MOST_BOLTS:
        return
    said = "1 bolt or stud" if bolts == 1 else f"{bolts} bolts and studs"
    raise OutOfRangeError(
        f"the pattern has {said}",
        allowed=f"{FEWEST_BOLTS} to {MOST_BOLTS}",
        instead="tightening a single bolt in one go"
        if bolts < FEWEST_BOLTS
        else "the maker's own diagram; so many bolts are tightened in groups",
    )


def _check_apart(holes: Sequence[Hole]) -> None:
    for index, one in enumerate(holes):
        for other in holes[:index]:
            apart_mm = math.hypot(one.x_mm - other.x_mm, one.y_mm - other.y_mm)
            if apart_mm < LEAST_DISTANCE_MM:
                raise InputError(
                    f"holes {other.name} and {one.name} are {apart_mm:.1f} mm apart",
                    allowed=f"{LEAST_DISTANCE_MM:g} mm or more between centres",
                    instead="entering each hole once",
                )
            if one.name == other.name:
                raise InputError(
                    f'two holes are called "{one.name}"', allowed="a name of its own for each hole"
                )


def _check_turns(bolts: Sequence[Hole]) -> None:
    taken: dict[int, str] = {}
    for hole in bolts:
        if hole.turn is None:
            continue
        if not 1 <= hole.turn <= len(bolts):
            raise OutOfRangeError(
                f"hole {hole.name} is to be tightened as number {hole.turn}",
                allowed=f"1 to {len(bolts)}",
            )
        if hole.turn in taken:
            raise InputError(
                f"holes {taken[hole.turn]} and {hole.name} are both number {hole.turn}",
                allowed="each number once",
            )
        taken[hole.turn] = hole.name


def places(holes: Sequence[Hole]) -> Float64:
    """Centres as an array, shape (holes, 2) [mm]."""
    return np.array([(hole.x_mm, hole.y_mm) for hole in holes], dtype=np.float64).reshape(-1, 2)


def tour(flange: Flange) -> tuple[int, ...]:
    """The bolts in the order met going round the flange, as indices into `flange.bolts`.

    The shortest closed tour found from the order by angle by undoing crossings (2-opt, Croes
    1958). It starts with the first bolt entered and runs the way the entries run.
    """
    at = places(flange.bolts)
    count = len(at)
    middle = at.mean(axis=0)
    angle = np.arctan2(at[:, 1] - middle[1], at[:, 0] - middle[0])
    order = [int(index) for index in np.argsort(-angle, kind="stable")]
    apart = np.hypot(*(at[:, None, :] - at[None, :, :]).transpose(2, 0, 1))
    improved = True
    while improved:
        improved = False
        for first in range(count - 1):
            for last in range(first + 2, count):
                a, b = order[first], order[first + 1]
                c, d = order[last], order[(last + 1) % count]
                if apart[a, c] + apart[b, d] < apart[a, b] + apart[c, d] - 1e-9:
                    order[first + 1 : last + 1] = reversed(order[first + 1 : last + 1])
                    improved = True
    start = order.index(0)
    order = order[start:] + order[:start]
    if count > 2 and order.index(1) > count / 2:
        order = order[:1] + order[:0:-1]
    return tuple(order)


def gasket_line(flange: Flange) -> Float64:
    """The gasket's line as a closed polygon, shape (points, 2) [mm].

    The outline where one is given; else the line through the bolts; for bolts in one line an
    oval through the outermost two, half as wide as it is long.
    """
    if flange.outline_mm:
        return np.array(flange.outline_mm, dtype=np.float64)
    at = places(flange.bolts)
    if not _is_one_line(at):
        return at[list(tour(flange))]
    middle = at.mean(axis=0)
    along = np.linalg.svd(at - middle)[2][0]
    reach = (at - middle) @ along
    half_mm = (reach.max() - reach.min()) / 2.0
    middle = middle + along * (reach.max() + reach.min()) / 2.0
    angle = np.arange(24) * 2.0 * np.pi / 24
    across = np.array([-along[1], along[0]])
    return np.asarray(
        middle
        + half_mm * np.cos(angle)[:, None] * along
        + half_mm / 2.0 * np.sin(angle)[:, None] * across,
        dtype=np.float64,
    )


def gasket_nodes(flange: Flange) -> tuple[Float64, Float64]:
    """The gasket's line cut into short pieces.

    Returns
    -------
    tuple
        Middle of each piece, shape (nodes, 2) [mm], and its length, shape (nodes,) [mm].
    """
    line = gasket_line(flange)
    ahead = np.roll(line, -1, axis=0)
    length_mm = np.hypot(*(ahead - line).T)
    if flange.outline_mm or len(line) > 2 * len(flange.bolts):
        step_mm = length_mm.sum() / _NODES
        parts = np.maximum(1, np.round(length_mm / step_mm).astype(int))
    else:
        # The same number on every span, so that a regular pattern stays exactly regular.
        parts = np.full(len(line), max(_LEAST_NODES_OF_SPAN, _NODES // len(line)))
    nodes, lengths = [], []
    for start, end, whole_mm, count in zip(line, ahead, length_mm, parts, strict=True):
        share = np.arange(count)[:, None] / count
        nodes.append(start + (end - start) * share)
        lengths.append(np.full(count, whole_mm / count))
    piece_mm = np.concatenate(lengths)
    return np.concatenate(nodes), (piece_mm + np.roll(piece_mm, 1)) / 2.0


def line_length_mm(flange: Flange) -> float:
    """Length of the closed gasket line [mm]."""
    line = gasket_line(flange)
    return float(np.hypot(*(np.roll(line, -1, axis=0) - line).T).sum())


def is_even_circle(flange: Flange) -> bool:
    """Whether the bolts stand evenly on one circle, within 2 % of its radius."""
    at = places(flange.bolts)
    if len(at) < 3:
        return False
    around = at[list(tour(flange))] - at.mean(axis=0)
    radius_mm = float(np.hypot(*around.T).mean())
    angle = math.atan2(around[0][1], around[0][0])
    turn = 2.0 * math.pi / len(at) * (1 if _area(around) > 0 else -1)
    ideal = radius_mm * np.array(
        [(math.cos(angle + k * turn), math.sin(angle + k * turn)) for k in range(len(at))]
    )
    return bool(np.hypot(*(around - ideal).T).max() <= 0.02 * radius_mm)


def _area(polygon: Float64) -> float:
    x, y = polygon.T
    return float(0.5 * np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))


def _is_one_line(at: Float64) -> bool:
    if len(at) < 3:
        return True
    spread = np.linalg.svd(at - at.mean(axis=0), compute_uv=False)
    return bool(spread[1] <= _THIN * spread[0])
