"""Edges of round things in a picture: sharpening a rough circle, and ellipses that suggest
themselves."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Final, cast

import cv2
import numpy as np
import numpy.typing as npt

from beltside.photo.camera import Array

Grey = npt.NDArray[np.float32]
Image = npt.NDArray[np.uint8]

_SPOKES: Final = 120
_LEAST_SHARE: Final = 0.4


@dataclass(frozen=True)
class Ellipse:
    """An ellipse in a picture: middle, half axes and the first axis' angle, y down.

    Attributes
    ----------
    x_px, y_px
        Middle [px].
    a_px, b_px
        Half axes [px].
    angle_rad
        From the x axis to the axis `a_px`, turning as from x to y.
    support
        Share of its edge that was seen, 0 to 1.
    """

    x_px: float
    y_px: float
    a_px: float
    b_px: float
    angle_rad: float
    support: float = 1.0

    def points(self, n: int = 24) -> Array:
        """Points round it, shape (n, 2) [px].

        >>> Ellipse(10.0, 20.0, 4.0, 2.0, 0.0).points(4).round(6).tolist()[0]
        [14.0, 20.0]
        """
        turn = 2.0 * np.pi * np.arange(n) / n
        x, y = self.a_px * np.cos(turn), self.b_px * np.sin(turn)
        cos, sin = math.cos(self.angle_rad), math.sin(self.angle_rad)
        return np.stack([self.x_px + cos * x - sin * y, self.y_px + sin * x + cos * y], axis=1)

    @property
    def aspect(self) -> float:
        """Short over long axis, 0 to 1."""
        return min(self.a_px, self.b_px) / max(self.a_px, self.b_px)

    @property
    def size_px(self) -> float:
        """Mean diameter [px]."""
        return 2.0 * math.sqrt(self.a_px * self.b_px)


def ellipse_through(points: Array, support: float = 1.0) -> Ellipse | None:
    """The ellipse nearest to points of shape (n, 2), n >= 5 (direct fit, Fitzgibbon 1999)."""
    if len(points) < 5:
        return None
    middle = points.mean(axis=0)
    # The library's routine works in float32: large coordinates would cost its last digits.
    (x, y), (width, height), degrees = cv2.fitEllipseDirect((points - middle).astype(np.float32))
    if not all(map(math.isfinite, (x, y, width, height, degrees))) or min(width, height) < 1.0:
        return None
    return Ellipse(
        x + middle[0], y + middle[1], width / 2.0, height / 2.0, math.radians(degrees), support
    )


def greys(image: Image, blur_px: float = 1.2) -> tuple[Grey, ...]:
    """Lightness and two colour differences of a picture, smoothed, float32."""
    lab = cv2.cvtColor(np.ascontiguousarray(image), cv2.COLOR_RGB2LAB)
    smooth = cast(Any, cv2.GaussianBlur(lab, (0, 0), blur_px))
    return tuple(np.ascontiguousarray(smooth[:, :, k], dtype=np.float32) for k in range(3))


def sharpened(
    channels: tuple[Grey, ...], rough: Array, reach_px: float, *, middle: Array | None = None
) -> tuple[Array, float] | None:
    """Points on the edge nearest to a rough closed curve.

    Along each of the curve's normals the steepest change of lightness or colour is looked up
    within `reach_px`. The edge has to keep one distance to the curve: the distance at which most
    of the curve shows one wins, and only points near it are kept.

    Parameters
    ----------
    channels
        From `greys`.
    rough
        Points of the curve in order, evenly spread, shape (n, 2) [px].
    reach_px
        How far to look to either side [px].

    Returns
    -------
    Points of the edge, shape (m, 2) [px], to fractions of a pixel, and the share of the curve
    that showed it; None when less than 40 % did.
    """
    ahead = np.roll(rough, -1, axis=0) - np.roll(rough, 1, axis=0)
    normal = np.stack([ahead[:, 1], -ahead[:, 0]], axis=1)
    normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-9)
    if middle is not None and np.sum(normal * (rough - middle)) < 0.0:
        normal = -normal
    step = 0.5
    offsets = np.arange(-reach_px, reach_px + step / 2, step)
    if len(offsets) < 5:
        return None
    map_x = (rough[:, :1] + normal[:, :1] * offsets).astype(np.float32)
    map_y = (rough[:, 1:] + normal[:, 1:] * offsets).astype(np.float32)
    slope = np.zeros(map_x.shape)
    for channel in channels:
        along = cv2.remap(channel, map_x, map_y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        slope += np.gradient(along.astype(float), step, axis=1) ** 2
    slope = np.sqrt(slope)
    strong = np.minimum(slope / (np.median(slope.max(axis=1)) + 1e-9), 1.0)
    # How much of the curve has an edge at each distance, nearer ones preferred.
    width = max(1, round(1.5 / step))
    kernel = np.ones(2 * width + 1)
    near = np.apply_along_axis(lambda row: np.convolve(row, kernel, "same"), 1, strong)
    score = near.mean(axis=0) * (1.0 - 0.35 * np.abs(offsets) / reach_px)
    centre = int(np.argmax(score))
    window = 2 * width + 1
    low, high = max(centre - window, 1), min(centre + window + 1, len(offsets) - 1)
    at = low + np.argmax(slope[:, low:high], axis=1)
    index = np.arange(len(rough))
    peak = slope[index, at]
    before, after = slope[index, at - 1], slope[index, at + 1]
    bend = before - 2.0 * peak + after
    shift = np.where(bend < -1e-9, 0.5 * (before - after) / np.minimum(bend, -1e-9), 0.0)
    good = (peak > 1.5) & (np.abs(shift) <= 1.0) & (peak >= before) & (peak >= after)
    share = float(good.mean())
    if share < _LEAST_SHARE:
        return None
    distance = offsets[at] + shift * step
    return (rough + normal * distance[:, None])[good], share


def sharpened_ellipse(
    channels: tuple[Grey, ...], rough: Ellipse, reach_px: float
) -> tuple[Ellipse, Array] | None:
    """An ellipse drawn onto the edge near it, twice, strays left out; with its edge points."""
    middle = np.array([rough.x_px, rough.y_px])
    current = rough
    points = np.zeros((0, 2))
    for reach in (reach_px, min(reach_px, 3.0)):
        found = sharpened(channels, current.points(_SPOKES), reach, middle=middle)
        if found is None:
            return None
        points, share = found
        for _ in range(3):
            fitted = ellipse_through(points, share)
            if fitted is None:
                return None
            off = np.abs(radial_error(fitted, points))
            keep = off <= max(3.0 * float(np.median(off)), 0.6)
            if keep.all():
                break
            points = points[keep]
        assert fitted is not None
        current = fitted
        if len(points) < _LEAST_SHARE * _SPOKES:
            return None
    return current, points


def radial_error(ellipse: Ellipse, points: Array) -> Array:
    """How far points, shape (n, 2), lie outside an ellipse, to first order [px]."""
    cos, sin = math.cos(ellipse.angle_rad), math.sin(ellipse.angle_rad)
    x, y = points[:, 0] - ellipse.x_px, points[:, 1] - ellipse.y_px
    u, v = (cos * x + sin * y) / ellipse.a_px, (cos * y - sin * x) / ellipse.b_px
    size = np.maximum(np.hypot(u, v), 1e-9)
    gradient = np.hypot(u / ellipse.a_px, v / ellipse.b_px) / size
    return np.asarray((size - 1.0) / np.maximum(gradient, 1e-9))
