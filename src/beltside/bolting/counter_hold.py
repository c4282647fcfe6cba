"""Which side the holding bar goes when a pulley's bolts are loosened or tightened.

The bolt drags the pulley along in the direction the wrench turns. The bar lies across two other
bolt heads and has to push the other way; so it lies, at the head nearer the hand, on the side
that head wants to run to, and at the further head on the opposite side. Lever law; that the bar
goes on the side where loosening binds is common practice, no source. docs/methods/bolt-hold.md.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import combinations
from typing import Final

from beltside.base.errors import InputError, OutOfRangeError, nearest, require_range

Point = tuple[float, float]

TASKS: Final = ("loosen", "tighten")
HANDS: Final = ("right", "left")
FACINGS: Final = ("you", "away")
FEWEST_BOLTS: Final = 3
MOST_BOLTS: Final = 8

HEAD_RADIUS: Final = 0.16
"""Radius at which the bar's middle passes a head, over the radius of the bolt circle."""
_CLEAR_OF_HUB: Final = 0.45
_HANDLE: Final = 1.2


@dataclass(frozen=True)
class Hold:
    """How to hold the pulley, as the technician sees it.

    Attributes
    ----------
    task, thread_hand, facing
        As asked: "loosen" or "tighten"; "right" or "left"; whether the bolt heads face "you" or
        "away".
    wrench_turns
        "clockwise" or "anticlockwise", as seen. The pulley wants to run the same way.
    bar_pushes
        The other way.
    bar_side
        "left" or "right" of the wrench when its handle points up: bar and wrench are then
        squeezed together.
    bolts
        Heads on a circle of radius 1, right and up positive; the first is the one turned.
    near, far
        Which heads the bar lies at: nearer the hand, further from it.
    bar
        Its inner end and its handle end.
    pull_wrench, push_bar
        Directions of the two hands, unit vectors.
    """

    task: str
    thread_hand: str
    facing: str
    wrench_turns: str
    bar_pushes: str
    bar_side: str
    bolts: tuple[Point, ...]
    near: int
    far: int
    bar: tuple[Point, Point]
    pull_wrench: Point
    push_bar: Point


def counter_hold(
    task: str, thread_hand: str = "right", facing: str = "you", bolts: int = 4
) -> Hold:
    """Where the bar goes.

    Parameters
    ----------
    task
        "loosen" or "tighten".
    thread_hand
        "right" (nearly all) or "left".
    facing
        "you" when you look at the bolt heads, "away" when you look at the pulley's back.
    bolts
        Bolts of the pulley, 3 to 8.

    Raises
    ------
    InputError
        For an unknown word.
    OutOfRangeError
        For another number of bolts: with two there is nothing left to lay a bar across.

    >>> counter_hold("loosen").wrench_turns, counter_hold("loosen").bar_side
    ('anticlockwise', 'left')
    """
    for word, allowed, what in (
        (task, TASKS, "task"),
        (thread_hand, HANDS, "thread hand"),
        (facing, FACINGS, "facing"),
    ):
        if word not in allowed:
            raise InputError(
                f'{what} is "{word}"',
                allowed=" or ".join(allowed),
                instead=nearest(word, allowed) or "",
            )
    if bolts == 2:
        raise OutOfRangeError(
            "the pulley has 2 bolts",
            allowed=f"{FEWEST_BOLTS} to {MOST_BOLTS}",
            instead="a strap round the pulley, or the belt left on until the bolts are loose",
        )
    require_range("the pulley's number", bolts, FEWEST_BOLTS, MOST_BOLTS, "bolts")
    # +1 anticlockwise as seen. Loosening a right-hand thread is anticlockwise seen on its head.
    sense = 1 if task == "loosen" else -1
    sense *= 1 if thread_hand == "right" else -1
    sense *= 1 if facing == "you" else -1
    heads = tuple(
        (
            math.cos(math.radians(90.0 + 360.0 * place / bolts)),
            math.sin(math.radians(90.0 + 360.0 * place / bolts)),
        )
        for place in range(bolts)
    )
    near, far = _heads_for_bar(heads, side=-sense)
    bar = _bar(heads[near], heads[far], sense)
    along = _unit(bar[0], bar[1])
    return Hold(
        task=task,
        thread_hand=thread_hand,
        facing=facing,
        wrench_turns=_turn(sense),
        bar_pushes=_turn(-sense),
        bar_side="left" if sense > 0 else "right",
        bolts=heads,
        near=near,
        far=far,
        bar=bar,
        pull_wrench=(-float(sense), 0.0),
        push_bar=(sense * along[1], -sense * along[0]),
    )


def _turn(sense: int) -> str:
    return "anticlockwise" if sense > 0 else "clockwise"


def _heads_for_bar(heads: tuple[Point, ...], side: int) -> tuple[int, int]:
    """The two lowest heads a bar can lie across beside the hub; the outer one is the near one."""
    best: tuple[float, float, float] | None = None
    chosen = (0, 0)
    for one, other in combinations(range(1, len(heads)), 2):
        a, b = heads[one], heads[other]
        apart = math.dist(a, b)
        clear = abs(a[0] * b[1] - a[1] * b[0]) / apart
        if clear < _CLEAR_OF_HUB:
            continue
        rank = (round(a[1] + b[1], 6), -round(apart, 6), -round(side * (a[0] + b[0]), 6))
        if best is None or rank < best:
            best = rank
            chosen = (one, other) if side * a[0] > side * b[0] else (other, one)
    return chosen


def _bar(near: Point, far: Point, sense: int) -> tuple[Point, Point]:
    """The line past the near head on the side it runs to, past the far head on the other."""
    apart = math.dist(near, far)
    straight = math.atan2(near[1] - far[1], near[0] - far[0])
    angle = straight + sense * math.asin(2.0 * HEAD_RADIUS / apart)
    along = (math.cos(angle), math.sin(angle))
    across = (-along[1] * sense, along[0] * sense)
    through = (near[0] + HEAD_RADIUS * across[0], near[1] + HEAD_RADIUS * across[1])
    inner = 1.25 * math.sqrt(apart**2 - (2.0 * HEAD_RADIUS) ** 2)
    return (
        (through[0] - inner * along[0], through[1] - inner * along[1]),
        (through[0] + _HANDLE * along[0], through[1] + _HANDLE * along[1]),
    )


def _unit(start: Point, end: Point) -> Point:
    length = math.dist(start, end)
    return ((end[0] - start[0]) / length, (end[1] - start[1]) / length)
