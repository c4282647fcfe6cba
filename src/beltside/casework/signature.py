"""A signature drawn on a screen: strokes as text, checked, and as the path of a small picture."""

from __future__ import annotations

import json
from typing import Final

from beltside.base.errors import InputError

WIDTH: Final = 1000
HEIGHT: Final = 400
"""The ground it is drawn on, in its own units, x to the right and y down."""
MOST_POINTS: Final = 5000
FEWEST_POINTS: Final = 5
"""Fewer are a slip of the finger."""

Stroke = tuple[tuple[int, int], ...]


def read_strokes(text: str) -> tuple[Stroke, ...]:
    """Strokes of a signature: `[[[x, y], [x, y], ...], ...]`, 0 to 1000 by 0 to 400.

    Raises
    ------
    InputError
        When the text is none, or hardly anything was drawn.

    >>> len(read_strokes("[[[0,0],[10,5],[20,9],[30,2],[40,8]]]")[0])
    5
    """
    allowed = f"lists of points, 0 to {WIDTH} by 0 to {HEIGHT}, at most {MOST_POINTS}"
    wrong = InputError("The signature can't be read", allowed=allowed, instead="drawing it again")
    try:
        drawn = json.loads(text)
    except (ValueError, RecursionError):
        raise wrong from None
    if not isinstance(drawn, list):
        raise wrong
    strokes = []
    for stroke in drawn:
        if not isinstance(stroke, list):
            raise wrong
        points = []
        for point in stroke:
            if (
                not isinstance(point, list)
                or len(point) != 2
                or any(type(value) is not int for value in point)
                or not (0 <= point[0] <= WIDTH and 0 <= point[1] <= HEIGHT)
            ):
                raise wrong
            points.append((point[0], point[1]))
        strokes.append(tuple(points))
    count = sum(len(stroke) for stroke in strokes)
    if count > MOST_POINTS:
        raise wrong
    if count < FEWEST_POINTS:
        raise InputError("The signature is hardly a stroke", instead="drawing it again")
    return tuple(strokes)


def path_of(strokes: tuple[Stroke, ...]) -> str:
    """The strokes as the path of an SVG picture.

    >>> path_of((((0, 0), (10, 5)), ((7, 7),)))
    'M0 0L10 5M7 7h1'
    """
    parts = []
    for stroke in strokes:
        if not stroke:
            continue
        first, *rest = stroke
        line = "".join(f"L{x} {y}" for x, y in rest) or "h1"
        parts.append(f"M{first[0]} {first[1]}{line}")
    return "".join(parts)
