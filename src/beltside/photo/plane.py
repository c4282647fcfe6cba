"""Circles, points and things of known size in one plane: tilt, perspective and scale undone.

Everything seen shares one view: the slope of the plane, the focal length and the lens
distortion. A circle adds its centre and radius, a point its place. The taps decide all of it
together by least squares (Gauss-Newton with Levenberg's damping), each tap weighed in pixels;
weak priors stand for what phones and hands are like. docs/methods/photo.md has the derivation.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from beltside.base.errors import InputError
from beltside.photo.camera import Array
from beltside.photo.plane_parts import TAP_ERROR_PX, Circle, Marks, PlaneFit
from beltside.photo.plane_problem import PlaneProblem, far

__all__ = ["TAP_ERROR_PX", "Circle", "Marks", "PlaneFit", "fit_plane"]

_RIVAL: Final = 6.0
_SMALL_SLOPE: Final = 0.1


def fit_plane(
    width_px: float,
    height_px: float,
    circles: Sequence[Circle],
    marks: Sequence[Marks] = (),
    *,
    focal_px: float | None = None,
    flat_lens: bool = False,
) -> PlaneFit:
    """The view that explains all points best, and places and sizes in it.

    Parameters
    ----------
    width_px, height_px
        Size of the picture [px].
    circles, marks
        What was seen, all in one plane.
    focal_px
        Focal length when the picture tells it [px].
    flat_lens
        True when the lens distortion is known to be undone already.

    Raises
    ------
    InputError
        When there is nothing to fit, or a circle has fewer than 3 points.
    """
    if not circles and not marks:
        raise InputError("nothing was marked in the picture", allowed="circles or points")
    for circle in circles:
        if circle.pixels.shape[0] < 3:
            raise InputError(
                f"a circle with {circle.pixels.shape[0]} points",
                allowed="3 or more points on each edge",
                instead="tap 5 or more, spread round the edge",
            )
    problem = PlaneProblem(width_px, height_px, circles, marks, focal_px, flat_lens)
    found: list[tuple[float, Array]] = []
    # A tilted circle looks nearly alike when tilted the other way: that is tried as well.
    starts = [(0.0, 0.0), (0.45, 0.0), (0.0, 0.45)] if not problem.known else [(0.0, 0.0)]
    while starts:
        cost, values = problem.solve(starts.pop(0), found)
        if all(far(values, one) for _, one in found):
            found.append((cost, values))
            if len(found) == 1 and np.hypot(*values[:2]) > _SMALL_SLOPE:
                starts = [(-float(values[0]), -float(values[1]))]
    found.sort(key=lambda one: one[0])
    best = problem.result(found[0][1])
    others = [
        values
        for cost, values in found[1:]
        if cost - found[0][0] < _RIVAL and far(values, found[0][1])
    ]
    return replace(best, rival=problem.result(others[0])) if others else best
