"""A taut loop round circles: tangent points, straight spans, wraps and length.

Plane geometry only. Centres are complex numbers, x right and y up. A radius carries the sense in
which the belt bends round it: positive where the belt turns clockwise (its centre lies to the
right of travel), negative where it turns anticlockwise. Derivation: docs/methods/belt-path.md.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from beltside.base.errors import InputError, require_range

_GRAZE: float = 1e-9
"""A bend this close under a full turn is one of nothing, off by rounding [rad]."""


class NoTangentError(InputError):
    """Two circles have no common tangent of the kind asked for; `pair` are their indices."""

    def __init__(self, pair: tuple[int, int], distance: float, needed: float) -> None:
        self.pair = pair
        self.distance = distance
        self.needed = needed
        super().__init__(
            f"circles {pair[0] + 1} and {pair[1] + 1} are {distance:.6g} apart",
            allowed=f"more than {needed:.6g} for a belt from one to the other",
        )


@dataclass(frozen=True)
class Loop:
    """A taut loop; everything in the unit of the input and in radians.

    Attributes
    ----------
    directions
        Direction of travel along the span that leaves circle i, unit complex numbers.
    leaves, arrives
        Where the belt leaves circle i, and where it arrives on it.
    spans
        Length of the span from circle i to the next.
    wraps
        How far it bends round circle i, 0 to below 2 pi.
    radii
        The signed radii given.
    """

    directions: tuple[complex, ...]
    leaves: tuple[complex, ...]
    arrives: tuple[complex, ...]
    spans: tuple[float, ...]
    wraps: tuple[float, ...]
    radii: tuple[float, ...]

    @property
    def length(self) -> float:
        """Length of the loop: spans and arcs."""
        arcs = math.fsum(abs(r) * w for r, w in zip(self.radii, self.wraps, strict=True))
        return math.fsum(self.spans) + arcs

    @property
    def turns(self) -> int:
        """How often the belt goes round: 1 for a plain loop met clockwise, -1 anticlockwise."""
        bends = (math.copysign(w, r) for r, w in zip(self.radii, self.wraps, strict=True))
        return round(math.fsum(bends) / (2.0 * math.pi))


def taut_loop(centres: Sequence[complex], radii: Sequence[float]) -> Loop:
    """The taut loop that meets the circles in their order.

    Parameters
    ----------
    centres
        Centres, 2 or more.
    radii
        Signed radii, as many, none of them 0; positive where the belt turns clockwise.

    Returns
    -------
    Loop
        Whether it crosses itself or runs into a circle is not looked at here.

    Raises
    ------
    NoTangentError
        When two circles that follow each other have no such tangent.
    InputError
        When there are fewer than two circles, or a radius is 0.

    Examples
    --------
    Two circles of radius 1, ten apart:

    >>> loop = taut_loop([0j, 10 + 0j], [1.0, 1.0])
    >>> round(loop.length, 6), loop.turns
    (26.283185, 1)
    """
    count = len(centres)
    if count < 2 or len(radii) != count or 0.0 in radii:
        raise InputError(
            f"{count} centres with {len(radii)} radii, {list(radii).count(0.0)} of them 0",
            allowed="two circles or more, each with a radius other than 0",
        )
    directions, spans, leaves, arrives = [], [], [], [0j] * count
    for i in range(count):
        j = (i + 1) % count
        across = centres[j] - centres[i]
        offset = radii[i] - radii[j]
        square = across.real * across.real + across.imag * across.imag
        rest = square - offset * offset
        if not rest > 0.0:
            raise NoTangentError((i, j), math.sqrt(square), abs(offset))
        span = math.sqrt(rest)
        # across = direction (span + i offset): the centres differ by the span along the belt
        # and by the difference of the radii across it.
        direction = across * complex(span, -offset) / square
        normal = complex(-direction.imag, direction.real)
        directions.append(direction)
        spans.append(span)
        leaves.append(centres[i] + radii[i] * normal)
        arrives[j] = centres[j] + radii[j] * normal
    wraps = []
    for i in range(count):
        turn = directions[i] / directions[i - 1]
        bend = -math.atan2(turn.imag, turn.real)
        wrap = math.copysign(bend, bend * radii[i]) % (2.0 * math.pi)
        wraps.append(0.0 if 2.0 * math.pi - wrap < _GRAZE else wrap)
    return Loop(
        tuple(directions),
        tuple(leaves),
        tuple(arrives),
        tuple(spans),
        tuple(wraps),
        tuple(float(radius) for radius in radii),
    )


def open_belt_length(distance: float, diameter: float, other_diameter: float) -> float:
    """Length of an open belt round two pulleys, all in one unit.

    >>> round(open_belt_length(96.0, 18.0, 6.0), 2)
    230.07
    """
    return _two(distance, diameter, other_diameter, 1.0)


def crossed_belt_length(distance: float, diameter: float, other_diameter: float) -> float:
    """Length of a crossed belt round two pulleys, all in one unit.

    >>> round(crossed_belt_length(96.0, 18.0, 6.0), 2)
    231.2
    """
    return _two(distance, diameter, other_diameter, -1.0)


def _two(distance: float, diameter: float, other: float, side: float) -> float:
    require_range("distance", distance, 1e-6, 1e6, "units")
    require_range("diameter", diameter, 1e-6, 1e6, "units")
    require_range("diameter", other, 1e-6, 1e6, "units")
    return taut_loop([0j, complex(distance, 0.0)], [0.5 * diameter, side * 0.5 * other]).length
