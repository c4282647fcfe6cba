"""A simulated phone camera before a flat scene: each pixel looks up what it sees in the plane."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Shot:
    """How the picture is taken.

    Attributes
    ----------
    width_px, height_px
        Size [px].
    focal_px
        Focal length [px].
    yaw_deg, pitch_deg
        How far the camera has walked to the right and up round the scene, still looking at it
        and held level [degrees].
    distance_mm
        From the camera to the point it looks at [mm].
    target_mm
        That point in the plane [mm].
    bend
        Radius seen to true radius: true = seen (1 + bend (seen / corner)^2 + bend2 (...)^4) [1].
    bend2
        See `bend` [1].
    """

    width_px: int
    height_px: int
    focal_px: float
    yaw_deg: float
    pitch_deg: float
    distance_mm: float
    target_mm: tuple[float, float]
    bend: float = 0.0
    bend2: float = 0.0

    def rotation(self) -> Array:
        """Camera axes (right, down, forward) in plane axes (X right, Y up, Z to the camera)."""
        yaw, pitch = math.radians(self.yaw_deg), math.radians(self.pitch_deg)
        forward = -np.array(
            [math.sin(yaw) * math.cos(pitch), math.sin(pitch), math.cos(yaw) * math.cos(pitch)]
        )
        right = np.cross(forward, [0.0, 1.0, 0.0])
        right /= np.linalg.norm(right)
        return np.stack([right, np.cross(forward, right), forward])

    def seen_at(self, pixels: Array) -> Array:
        """Places in the plane behind pixels, both of shape (..., 2) [mm]."""
        corner = 0.5 * math.hypot(self.width_px, self.height_px)
        offset = pixels - np.array([(self.width_px - 1) / 2, (self.height_px - 1) / 2])
        square = np.sum(offset**2, axis=-1, keepdims=True) / corner**2
        true = offset * (1.0 + self.bend * square + self.bend2 * square**2) / self.focal_px
        turn = self.rotation()
        rays = true[..., :1] * turn[0] + true[..., 1:] * turn[1] + turn[2]
        eye = np.array([*self.target_mm, 0.0]) - self.distance_mm * turn[2]
        return np.asarray(eye[:2] - rays[..., :2] * (eye[2] / rays[..., 2:]))

    def seen_of(self, places: Array) -> Array:
        """Pixels of places in the plane, both of shape (n, 2); `seen_at` turned round."""
        turn = self.rotation()
        eye = np.array([*self.target_mm, 0.0]) - self.distance_mm * turn[2]
        rays = (np.column_stack([places, np.zeros(len(places))]) - eye) @ turn.T
        true = rays[:, :2] / rays[:, 2:] * self.focal_px
        corner = 0.5 * math.hypot(self.width_px, self.height_px)
        pixels = true.copy()
        for _ in range(30):
            square = np.sum(pixels**2, axis=1, keepdims=True) / corner**2
            pixels = true / (1.0 + self.bend * square + self.bend2 * square**2)
        return np.asarray(pixels + np.array([(self.width_px - 1) / 2, (self.height_px - 1) / 2]))

    def grid(self) -> Array:
        """Place in the plane behind every pixel, shape (height, width, 2) [mm]."""
        x, y = np.meshgrid(np.arange(self.width_px), np.arange(self.height_px))
        return self.seen_at(np.stack([x, y], axis=-1).astype(float))


def cover(distance_mm: Array, mm_per_px: float) -> Array:
    """Share of a pixel covered by a shape whose edge is so far away (inside negative)."""
    return np.clip(0.5 - distance_mm / mm_per_px, 0.0, 1.0)


def framed(shot: Shot, places: Array, margin_px: float) -> Shot:
    """The same shot from so far away that all places, shape (n, 2) [mm], are in the picture."""
    from dataclasses import replace

    for _ in range(200):
        pixels = shot.seen_of(places)
        size = np.array([shot.width_px, shot.height_px])
        if np.all(pixels > margin_px) and np.all(pixels < size - margin_px):
            return shot
        shot = replace(shot, distance_mm=shot.distance_mm * 1.03)
    return shot


def finished(colours: Array, rng: np.random.Generator, blur_px: float, noise: float) -> Array:
    """Lens blur and sensor noise, then 8 bits; colours of shape (height, width, 3), 0 to 255."""
    import cv2

    soft = cv2.GaussianBlur(colours.astype(np.float32), (0, 0), max(blur_px, 0.3))
    noisy = soft + rng.normal(0.0, noise, colours.shape)
    return np.clip(noisy, 0.0, 255.0).astype(np.uint8)


def texture(rng: np.random.Generator, shape: tuple[int, int], coarse_px: float) -> Array:
    """Uneven ground of about +-1, shape (height, width)."""
    import cv2

    small = rng.normal(size=(max(4, int(shape[0] / coarse_px)), max(4, int(shape[1] / coarse_px))))
    wide = cv2.resize(small, (shape[1], shape[0]), interpolation=cv2.INTER_CUBIC)
    return np.asarray(wide, dtype=np.float64)
