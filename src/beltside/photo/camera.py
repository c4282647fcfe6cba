"""A phone camera looking at a flat scene: from pixels to the plane and back.

Camera axes: x right, y down, z forward, as pixels run. The scene's plane is
p x + q y + z = 1: it meets the optical axis at distance 1, which is the unit of length until
something of known size sets the scale. In the plane X runs right and Y up, with Y square to the
picture's rows, as seen by somebody who holds the phone level.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]

HALF_PIXEL: Final = 0.5


@dataclass(frozen=True)
class View:
    """One camera before one plane.

    Attributes
    ----------
    width_px, height_px
        Size of the picture [px].
    p, q
        Slope of the plane to the right and downwards [1]: tilt = atan(hypot(p, q)).
    focal_px
        Focal length [px].
    bend
        Lens distortion of the division model (Fitzgibbon 2001), at the picture's corner [1]:
        undistorted radius = radius / (1 + bend (radius / corner radius)^2). Positive for barrel
        distortion reversed, as most phones leave it, within some 0.1.
    """

    width_px: float
    height_px: float
    p: float
    q: float
    focal_px: float
    bend: float = 0.0

    @property
    def tilt_deg(self) -> float:
        """Angle between the optical axis and the plane's normal [degrees]."""
        return math.degrees(math.atan(math.hypot(self.p, self.q)))

    @property
    def corner_px(self) -> float:
        """Distance from the middle of the picture to its corner [px]."""
        return 0.5 * math.hypot(self.width_px, self.height_px)

    @property
    def middle_px(self) -> Array:
        """Principal point, taken to be the middle of the picture [px], shape (2,)."""
        return np.array([self.width_px / 2 - HALF_PIXEL, self.height_px / 2 - HALF_PIXEL])

    def axes(self) -> tuple[Array, Array, Array]:
        """Unit vectors of the plane in camera axes: X, Y and the normal away from the camera."""
        normal = np.array([self.p, self.q, 1.0]) / math.sqrt(self.p**2 + self.q**2 + 1.0)
        up = np.array([0.0, -normal[2], normal[1]]) / math.hypot(normal[1], normal[2])
        right = np.array(
            [
                normal[1] * up[2] - normal[2] * up[1],
                normal[2] * up[0] - normal[0] * up[2],
                normal[0] * up[1] - normal[1] * up[0],
            ]
        )
        return right, up, normal

    def rays(self, pixels: Array) -> Array:
        """Directions (x/z, y/z) behind pixels of shape (n, 2), lens distortion undone."""
        offset = pixels - self.middle_px
        squared = np.sum(offset**2, axis=-1, keepdims=True) / self.corner_px**2
        return np.asarray(offset / (1.0 + self.bend * squared) / self.focal_px)

    def to_plane(self, pixels: Array, forward: Array | float = 0.0) -> Array:
        """Places in the plane behind pixels, both of shape (n, 2).

        `forward` is how far before the plane, towards the camera, each lies [units].
        """
        rays = self.rays(pixels)
        steep = math.sqrt(self.p**2 + self.q**2 + 1.0)
        depth = (1.0 - np.asarray(forward) * steep) / (
            1.0 + self.p * rays[..., 0] + self.q * rays[..., 1]
        )
        right, up, _ = self.axes()
        x, y = depth * rays[..., 0], depth * rays[..., 1]
        z = depth - 1.0
        return np.stack(
            [x * right[0] + y * right[1] + z * right[2], x * up[0] + y * up[1] + z * up[2]], axis=-1
        )

    def to_pixels(self, places: Array, forward: float = 0.0) -> Array:
        """Pixels of places in the plane, both of shape (n, 2); the reverse of `to_plane`."""
        right, up, normal = self.axes()
        points = (
            np.array([0.0, 0.0, 1.0])
            + places[..., :1] * right
            + places[..., 1:] * up
            - forward * normal
        )
        undistorted = points[..., :2] / points[..., 2:] * self.focal_px
        radius = np.sqrt(np.sum(undistorted**2, axis=-1, keepdims=True)) / self.corner_px
        # radius = r / (1 + bend r^2) solved for r; the root that goes to radius as bend goes to 0.
        inside = np.maximum(1.0 - 4.0 * self.bend * radius**2, 0.0)
        return np.asarray(self.middle_px + undistorted * 2.0 / (1.0 + np.sqrt(inside)))
