"""A tapped rim drawn onto its edge in the picture."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np

from beltside.photo.edges import Grey, sharpened
from beltside.photo.plane import Circle, PlaneFit

_SPOKES: Final = 120
_EDGE_SIGMA_PX: Final = 0.7
_INDEPENDENT: Final = 12.0


def sharpened_rim(
    channels: tuple[Grey, ...], fit: PlaneFit, number: int, taps: Circle
) -> Circle | None:
    """Circle `number` of the fit with points on its edge in the picture instead of taps.

    None when the picture shows no edge round most of it, or one that is at odds with the taps.
    """
    scale = fit.mm_per_unit or 1.0
    x, y, radius = fit.circles[number] / scale
    turn = 2.0 * np.pi * np.arange(_SPOKES) / _SPOKES
    rim = np.stack([x + radius * np.cos(turn), y + radius * np.sin(turn)], axis=1)
    curve = fit.view.to_pixels(rim, taps.forward_mm / scale)
    middle = fit.view.to_pixels(np.array([[x, y]]), taps.forward_mm / scale)[0]
    size_px = float(np.median(np.linalg.norm(curve - middle, axis=1)))
    reach = float(np.clip(3.0 * taps.sigma_px, 4.0, max(0.12 * size_px, 4.0)))
    found = sharpened(channels, curve, reach, middle=middle)
    if found is None or found[1] < 0.5:
        return None
    points = found[0]
    # The taps have the last word on which of several rings is meant.
    angle = np.arctan2(*(points - middle).T[::-1])
    order = np.argsort(angle)
    at = np.arctan2(*(taps.pixels - middle).T[::-1])
    reached = np.interp(
        at, angle[order], np.linalg.norm(points - middle, axis=1)[order], period=2.0 * np.pi
    )
    off = np.linalg.norm(taps.pixels - middle, axis=1) - reached
    if abs(float(np.median(off))) > 2.5 * taps.sigma_px / np.sqrt(len(off)) + 1.0:
        return None
    sigma = _EDGE_SIGMA_PX * max(np.sqrt(len(points) / _INDEPENDENT), 1.0)
    return replace(taps, pixels=points, sigma_px=float(sigma))
