"""Can a belt run this way? The first thing in its way, naming the pulleys.

All lengths in mm. A span's left side is looked at with the belt's travel pointing up.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from beltside.base.errors import InputError
from beltside.drive.loop import Loop, NoTangentError, taut_loop

Float64 = npt.NDArray[np.float64]

_TOUCH_MM = 1e-6
"""Closer than this is touching; far below what anyone measures."""

_NAMED_WRAP_RAD = math.pi


class LayoutError(InputError):
    """A belt can't run round these pulleys; `parts` are the ones in each other's way."""

    def __init__(self, parts: tuple[str, ...], given: str, *, allowed: str, instead: str) -> None:
        self.parts = parts
        super().__init__(given, allowed=allowed, instead=instead)


@dataclass(frozen=True)
class Layout:
    """Pulleys as the belt meets them.

    Attributes
    ----------
    parts
        Their names.
    centres
        Their centres, x + iy, the engine seen from the front [mm].
    bodies
        Their radii as measured [mm].
    sides
        1 for a ribbed pulley, -1 for one the belt's back runs on.
    inner_mm, outer_mm
        How far the belt reaches from its cords to the ribs' side and to its back [mm].
    """

    parts: tuple[str, ...]
    centres: tuple[complex, ...]
    bodies: tuple[float, ...]
    sides: tuple[int, ...]
    inner_mm: float
    outer_mm: float

    def running(self, sense: int) -> tuple[float, ...]:
        """Signed radii of the cords, the loop met clockwise (1) or anticlockwise (-1)."""
        return tuple(
            sense * side * (body + (self.inner_mm if side > 0 else self.outer_mm))
            for body, side in zip(self.bodies, self.sides, strict=True)
        )


def run_belt(layout: Layout) -> tuple[Loop, int]:
    """The belt's loop and its sense: 1 when the pulleys are listed clockwise, else -1.

    Raises
    ------
    LayoutError
        When pulleys overlap or touch, when the belt would run into a pulley or cross itself, or
        when it would not touch one of them.
    """
    _require_apart(layout)
    faults: list[LayoutError] = []
    for sense in (1, -1):
        try:
            loop = taut_loop(layout.centres, layout.running(sense))
        except NoTangentError as error:
            raise _no_room(layout, error.pair) from None
        if loop.turns == sense:
            fault = _in_the_way(layout, loop, sense)
            if fault is None:
                return loop, sense
            faults.append(fault)
    raise faults[0] if faults else _missed(layout)


def gaps_mm(layout: Layout) -> Float64:
    """Room between every two pulleys as measured, shape (n, n) [mm]; infinite on the diagonal."""
    centre = np.array(layout.centres)
    body = np.array(layout.bodies)
    gap: Float64 = np.abs(centre[:, None] - centre[None, :]) - body[:, None] - body[None, :]
    np.fill_diagonal(gap, np.inf)
    return gap


def _require_apart(layout: Layout) -> None:
    gap = gaps_mm(layout)
    if float(gap.min()) > _TOUCH_MM:
        return
    first, second = sorted(divmod(int(np.argmin(gap)), gap.shape[0]))
    one, other = layout.parts[first], layout.parts[second]
    distance = abs(layout.centres[first] - layout.centres[second])
    over = -float(gap[first, second])
    said = f"overlap by {over:.1f} mm" if over > 0.05 else "touch"
    raise LayoutError(
        (one, other),
        f"{one} and {other} {said}: their centres are {distance:.1f} mm apart and their radii "
        f"add up to {layout.bodies[first] + layout.bodies[second]:.1f} mm",
        allowed="pulleys that stand clear of each other",
        instead="measuring x_mm, y_mm and diameter_mm of these two again (a diameter, not a "
        "radius or a circumference)",
    )


def _no_room(layout: Layout, pair: tuple[int, int]) -> LayoutError:
    first, second = pair
    one, other = layout.parts[first], layout.parts[second]
    gap = float(gaps_mm(layout)[first, second])
    return LayoutError(
        (one, other),
        f"the belt can't pass between {one} and {other}: they stand {gap:.1f} mm apart",
        allowed=f"more than {layout.inner_mm + layout.outer_mm:.1f} mm where one is ribbed and "
        "the other runs on the belt's back",
        instead="measuring their positions and diameters again, or checking which face runs on "
        "each",
    )


def _in_the_way(layout: Layout, loop: Loop, sense: int) -> LayoutError | None:
    return _run_into(layout, loop, sense) or _crossed(layout, loop) or _squeezed(layout, loop)


def _run_into(layout: Layout, loop: Loop, sense: int) -> LayoutError | None:
    """A span that a third pulley stands in the way of."""
    count = len(layout.parts)
    centre = np.array(layout.centres)
    start, direction = np.array(loop.leaves), np.array(loop.directions)
    span = np.array(loop.spans)
    # In each span's own frame: along it, and to its left.
    local = (centre[None, :] - start[:, None]) * np.conj(direction)[:, None]
    along = np.clip(local.real, 0.0, span[:, None])
    distance = np.abs(local - along)
    ribs_face = (local.imag < 0.0) if sense > 0 else (local.imag > 0.0)
    reach = np.where(ribs_face, layout.inner_mm, layout.outer_mm)
    room = distance - np.array(layout.bodies)[None, :] - reach
    own = np.arange(count)
    room[own, own] = np.inf
    room[own, (own + 1) % count] = np.inf
    if float(room.min()) > _TOUCH_MM:
        return None
    spans, third = divmod(int(np.argmin(room)), count)
    start_part, end_part = layout.parts[spans], layout.parts[(spans + 1) % count]
    other = layout.parts[third]
    return LayoutError(
        (start_part, end_part, other),
        f"the belt from {start_part} to {end_part} runs into {other} "
        f"({-float(room[spans, third]):.1f} mm too close)",
        allowed="a span that clears every other pulley",
        instead=f"checking the order of the pulleys, the position of {other} and which face "
        "runs on it",
    )


def _crossed(layout: Layout, loop: Loop) -> LayoutError | None:
    """Two spans that cross."""
    count = len(layout.parts)
    if count < 3:
        return None
    start = np.array(loop.leaves)
    way = np.array(loop.directions) * np.array(loop.spans)
    between = start[None, :] - start[:, None]
    cross = (np.conj(way)[:, None] * way[None, :]).imag
    with np.errstate(divide="ignore", invalid="ignore"):
        first = (np.conj(between) * way[None, :]).imag / cross
        second = (np.conj(between) * way[:, None]).imag / cross
    meet = (first > 0.0) & (first < 1.0) & (second > 0.0) & (second < 1.0) & (cross != 0.0)
    if not meet.any():
        return None
    one, other = sorted(divmod(int(np.argmax(meet)), count))
    names = [f"{layout.parts[i]} to {layout.parts[(i + 1) % count]}" for i in (one, other)]
    parts = tuple(dict.fromkeys(name for text in names for name in text.split(" to ")))
    return LayoutError(
        parts,
        f"the belt crosses itself: {names[0]} over {names[1]}",
        allowed="spans that do not cross",
        instead="listing the pulleys in the order the belt meets them, and checking the face of "
        "each",
    )


def _squeezed(layout: Layout, loop: Loop) -> LayoutError | None:
    """A pulley so close to another that the belt lying on one rubs on the other."""
    gap = gaps_mm(layout)
    thick = layout.inner_mm + layout.outer_mm
    for here, there in zip(*np.nonzero(gap <= thick), strict=True):
        toward = layout.centres[there] - layout.centres[here]
        arrive = loop.arrives[here] - layout.centres[here]
        swept = toward / arrive
        angle = math.atan2(swept.imag, swept.real)
        clockwise = loop.radii[here] > 0.0
        after = (-angle if clockwise else angle) % (2.0 * math.pi)
        if after <= loop.wraps[here]:
            one, other = layout.parts[int(here)], layout.parts[int(there)]
            return LayoutError(
                (one, other),
                f"the belt on {one} rubs on {other}: they stand {gap[here, there]:.1f} mm apart",
                allowed=f"more than {thick:.1f} mm for the belt between them",
                instead="measuring their positions and diameters again",
            )
    return None


def _missed(layout: Layout) -> LayoutError:
    """The pulley without which the belt would run: it does not touch it, or on the other face."""
    count = len(layout.parts)
    for sense in (1, -1):
        loop = taut_loop(layout.centres, layout.running(sense))
        order = sorted(range(count), key=lambda i: -loop.wraps[i])
        for index in order:
            if loop.wraps[index] < _NAMED_WRAP_RAD or count < 3:
                break
            rest = [i for i in range(count) if i != index]
            radii = layout.running(sense)
            try:
                without = taut_loop([layout.centres[i] for i in rest], [radii[i] for i in rest])
            except NoTangentError:
                continue
            if without.turns == sense:
                before = layout.parts[index - 1]
                after = layout.parts[(index + 1) % count]
                part = layout.parts[index]
                face = "ribbed" if layout.sides[index] > 0 else "back"
                return LayoutError(
                    (part, before, after),
                    f"the belt from {before} to {after} does not bend round {part} with its face "
                    f'"{face}"',
                    allowed="a belt that bends round every pulley",
                    instead=f"checking the position of {part}, its place in the order, and "
                    "whether ribs or back run on it",
                )
    loop = taut_loop(layout.centres, layout.running(1))
    worst = max(range(count), key=lambda i: loop.wraps[i])
    one, other = layout.parts[worst], layout.parts[(worst + 1) % count]
    return LayoutError(
        (one, other),
        f"the belt makes no plain loop in this order: it goes wrong around {one} and {other}",
        allowed="pulleys in the order the belt meets them, ribbed ones inside the loop",
        instead="walking along the belt once more and writing down each pulley and its face",
    )
