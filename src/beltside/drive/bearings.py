"""How often the parts of a ball bearing meet, per turn of the ring that turns.

Rolling without slip. Derivation for either ring turning: docs/methods/bearings.md.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final, Literal

from beltside.base.errors import InputError
from beltside.base.words import part_kind
from beltside.drive.sheet import Bearing

Ring = Literal["inner", "outer"]

TURNING_RING: Final[Mapping[str, Ring]] = MappingProxyType(
    {
        # An idler or tensioner pulley is pressed on the outer ring; its bolt holds the inner.
        "idler": "outer",
        "tensioner": "outer",
        # A shaft in a fixed housing turns the inner ring.
        "crank": "inner",
        "coolant-pump": "inner",
        "alternator": "inner",
        "ac-compressor": "inner",
        "steering-pump": "inner",
        "fan": "inner",
    }
)
"""Which ring turns, by kind of part."""


@dataclass(frozen=True)
class BearingOrders:
    """Events per turn of the turning ring relative to the fixed one.

    Attributes
    ----------
    cage
        Turns of the cage (and so of every ball's centre) relative to the fixed ring.
    outer_race
        Balls over one point of the outer race.
    inner_race
        Balls over one point of the inner race.
    ball
        Turns of a ball about its own axis, seen from the cage. A flaw on the ball meets one race
        or the other twice per such turn, so 2 x `ball` is usually the strong line; some published
        lists print that as the "rolling element" value.
    """

    cage: float
    outer_race: float
    inner_race: float
    ball: float


def bearing_orders(bearing: Bearing, *, turning_ring: Ring = "inner") -> BearingOrders:
    """Defect orders of a ball bearing.

    Parameters
    ----------
    bearing
        Geometry; the balls must fit on the pitch circle (`drive.check`).
    turning_ring
        "inner" when the shaft turns in a fixed housing, "outer" when the pulley turns about a
        fixed bolt. Only the cage differs; which flaw sweeps through the load differs too, see
        `bearing_sidebands`.

    Raises
    ------
    InputError
        When `turning_ring` is neither word.

    Notes
    -----
    With r = (d / D) cos(contact angle), n balls: outer race n/2 (1 - r), inner race n/2 (1 + r),
    ball D/2d (1 - r^2), cage 1/2 (1 - r) with the inner ring turning and 1/2 (1 + r) with the
    outer (Randall & Antoni, 2011, equations 1 to 4, for the inner ring).

    Examples
    --------
    >>> orders = bearing_orders(Bearing(balls=8, ball_mm=6.75, pitch_mm=28.5))
    >>> round(orders.outer_race, 3), round(orders.cage, 3)
    (3.053, 0.382)
    >>> round(bearing_orders(Bearing(8, 6.75, 28.5), turning_ring="outer").cage, 3)
    0.618
    """
    _require_ring(turning_ring)
    r = bearing.ball_mm / bearing.pitch_mm * math.cos(math.radians(bearing.contact_deg))
    toward_fixed_outer = 1.0 - r if turning_ring == "inner" else 1.0 + r
    return BearingOrders(
        cage=0.5 * toward_fixed_outer,
        outer_race=0.5 * bearing.balls * (1.0 - r),
        inner_race=0.5 * bearing.balls * (1.0 + r),
        ball=0.5 * bearing.pitch_mm / bearing.ball_mm * (1.0 - r * r),
    )


def bearing_sidebands(
    bearing: Bearing, *, turning_ring: Ring = "inner"
) -> dict[str, tuple[float, ...]]:
    """Spacing of the sidebands about each defect's lines, per turn of the turning ring.

    The belt pulls one way, so the load zone stands still. A flaw on the turning ring passes it
    once per turn; a flaw on a ball once per turn of the cage; a flaw on the fixed ring stays
    where it is and has no sidebands.

    Returns
    -------
    dict
        Keys "outer race", "inner race", "ball", "cage".
    """
    _require_ring(turning_ring)
    turn: tuple[float, ...] = (1.0,)
    return {
        "outer race": turn if turning_ring == "outer" else (),
        "inner race": turn if turning_ring == "inner" else (),
        "ball": (bearing_orders(bearing, turning_ring=turning_ring).cage,),
        "cage": (),
    }


def turning_ring(part: str) -> Ring:
    """Which ring of this part's bearing turns; numbered parts are looked up by their kind.

    >>> turning_ring("idler-2"), turning_ring("alternator")
    ('outer', 'inner')
    """
    return TURNING_RING[part_kind(part)]


def _require_ring(ring: str) -> None:
    if ring not in ("inner", "outer"):
        raise InputError(
            f"the turning ring is {ring!r}",
            allowed='"inner" or "outer"',
            instead='"outer" for an idler or tensioner pulley, "inner" for a driven shaft',
        )
