"""Simulated pictures of the front of an engine: pulleys of one plane among clutter."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from beltside.rig.photo_camera import Array, Shot, cover, finished, framed, texture


@dataclass(frozen=True)
class FrontPicture:
    """A picture and how it was taken; image of shape (height, width, 3), uint8."""

    image: npt.NDArray[np.uint8]
    shot: Shot

    def taps(
        self,
        center_mm: Array,
        diameter_mm: float,
        n: int,
        error_px: float,
        rng: np.random.Generator,
    ) -> Array:
        """Taps spread round a rim, each coordinate off by `error_px` (one standard deviation)."""
        turn = rng.uniform(0.0, 2.0 * np.pi) + 2.0 * np.pi * np.arange(n) / n
        turn = turn + rng.normal(0.0, 0.6 / n, n)
        rim = center_mm + diameter_mm / 2.0 * np.stack([np.cos(turn), np.sin(turn)], axis=1)
        return np.asarray(self.shot.seen_of(rim) + rng.normal(0.0, error_px, (n, 2)))


def draw_front(rng: np.random.Generator, n: int) -> tuple[Array, Array]:
    """Centres, shape (n, 2), and diameters, shape (n,), of pulleys that do not touch [mm]."""
    while True:
        diameter = np.concatenate([[rng.uniform(120.0, 170.0)], rng.uniform(52.0, 140.0, n - 1)])
        center = np.concatenate(
            [np.zeros((1, 2)), rng.uniform([-220, -60], [220, 330], (n - 1, 2))]
        )
        apart = np.linalg.norm(center[:, None] - center[None], axis=2)
        room = apart - 0.5 * (diameter[:, None] + diameter[None]) - 10.0
        if np.all(room[~np.eye(n, dtype=bool)] > 0.0):
            return center, diameter


def photograph_front(
    center_mm: Array,
    diameter_mm: Sequence[float] | Array,
    rng: np.random.Generator,
    *,
    tilt_deg: float = 30.0,
    width_px: int = 2000,
    height_px: int = 1500,
) -> FrontPicture:
    """Take a picture of the pulleys, tilted by up to `tilt_deg`, the lens bent moderately."""
    sizes = np.asarray(diameter_mm, dtype=float)
    corners = np.concatenate(
        [
            center_mm + sizes[:, None] / 2.0 * np.array(sign)
            for sign in ((1, 1), (-1, -1), (1, -1), (-1, 1))
        ]
    )
    target = 0.5 * (corners.min(axis=0) + corners.max(axis=0))
    tilt, heading = rng.uniform(0.0, tilt_deg), rng.uniform(0.0, 2.0 * np.pi)
    shot = framed(
        Shot(
            width_px,
            height_px,
            rng.uniform(0.56, 0.85) * float(np.hypot(width_px, height_px)),
            tilt * np.cos(heading),
            tilt * np.sin(heading),
            350.0,
            (float(target[0]), float(target[1])),
            rng.uniform(-0.08, 0.08),
            rng.uniform(-0.01, 0.01),
        ),
        corners,
        0.02 * width_px,
    )
    return FrontPicture(_render(center_mm, sizes, shot, rng), shot)


def _render(
    center: Array, diameter: Array, shot: Shot, rng: np.random.Generator
) -> npt.NDArray[np.uint8]:
    place = shot.grid()
    step = float(np.median(np.linalg.norm(np.diff(place, axis=1), axis=2)))
    shape = (shot.height_px, shot.width_px)
    base = rng.uniform(55.0, 100.0)
    tone: Array = base + 18.0 * texture(rng, shape, 90.0) + 7.0 * texture(rng, shape, 8.0)
    for _ in range(14):  # castings, hoses: boxes of another tone
        low = np.array([rng.uniform(-350.0, 350.0), rng.uniform(-200.0, 450.0)])
        size = rng.uniform(20.0, 160.0, 2)
        away = np.max(np.abs(place - low) - size / 2.0, axis=2)
        tone = tone + rng.uniform(-25.0, 30.0) * cover(away, step)
    for one, across in zip(center, diameter, strict=True):
        away = np.hypot(place[..., 0] - one[0], place[..., 1] - one[1])
        light = rng.uniform(120.0, 190.0)
        ring = cover(away - across / 2.0, step)
        tone = tone * (1.0 - ring) + (light + 5.0 * texture(rng, shape, 40.0)) * ring
        for share, factor in ((0.86, 0.55), (0.8, 1.0), (0.35, 0.7), (0.15, 0.4)):  # web and hub
            ring = cover(away - share * across / 2.0, step)
            tone = tone * (1.0 - ring) + light * factor * ring
    lit = tone * (1.0 + 0.15 * texture(rng, shape, 700.0))
    tint = np.array([1.0, rng.uniform(0.93, 1.0), rng.uniform(0.85, 1.0)])
    return finished(lit[..., None] * tint, rng, rng.uniform(0.7, 1.5), 3.0).astype(np.uint8)
