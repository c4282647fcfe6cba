"""Pictures drawn another way than the rig's: outlines projected by the Brown lens model and filled.

Nothing here is shared with `beltside.rig`: polygons are projected point by point (radial and
tangential distortion), drawn larger and shrunk; the bench is planks, the light falls off to one
side and glares, holes show their walls, and the file is JPEG.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

TURN = np.linspace(0.0, 2.0 * np.pi, 181)[:-1]


@dataclass
class Camera:
    """Brown model: matrix, distortion, pose."""

    matrix: np.ndarray
    distortion: np.ndarray
    rotation: np.ndarray
    shift: np.ndarray
    size: tuple[int, int]

    def project(self, points: np.ndarray, z: float = 0.0) -> np.ndarray:
        """Pixels of plane points (n, 2) at height z towards the camera [mm]."""
        high = np.column_stack([points, np.full(len(points), z)])
        return cv2.projectPoints(high, self.rotation, self.shift, self.matrix, self.distortion)[
            0
        ].reshape(-1, 2)


def camera(
    rng: np.random.Generator, size: tuple[int, int], around: np.ndarray, most_deg: float
) -> Camera:
    """A camera that sees all points of `around` (n, 2), tilted about a random line."""
    width, height = size
    focal = rng.uniform(0.6, 0.95) * np.hypot(width, height)
    matrix = np.array([[focal, 0, (width - 1) / 2], [0, focal, (height - 1) / 2], [0, 0, 1.0]])
    distortion = np.array(
        [rng.uniform(-0.1, 0.1), rng.uniform(-0.03, 0.03), *rng.uniform(-5e-4, 5e-4, 2), 0.0]
    )
    heading, tilt = rng.uniform(0, 2 * np.pi), np.radians(rng.uniform(0.0, most_deg))
    axis = np.array([np.cos(heading), np.sin(heading), 0.0]) * tilt
    roll = np.array([0.0, 0.0, rng.uniform(-0.1, 0.1)])
    turn = cv2.Rodrigues(roll)[0] @ cv2.Rodrigues(axis)[0] @ np.diag([1.0, -1.0, -1.0])
    middle = np.append(0.5 * (around.min(axis=0) + around.max(axis=0)), 0.0)
    away = 120.0
    while True:
        one = Camera(matrix, distortion, turn, np.array([0, 0, away]) - turn @ middle, size)
        seen = one.project(around)
        if (seen > 25).all() and (seen < np.array(size) - 25).all():
            return one
        away *= 1.04


def ring(x: float, y: float, d: float) -> np.ndarray:
    return np.column_stack([x + d / 2 * np.cos(TURN), y + d / 2 * np.sin(TURN)])


class Canvas:
    """Polygons filled at twice the size, then shrunk."""

    ZOOM = 2

    def __init__(self, size: tuple[int, int], colour: tuple[float, float, float]) -> None:
        self.image = np.full((size[1] * 2, size[0] * 2, 3), colour, np.uint8)

    def fill(self, pixels: np.ndarray, colour: tuple[float, ...]) -> None:
        near = np.clip(np.nan_to_num(pixels), -1e5, 1e5)  # far outside the lens model runs wild
        fixed = np.round(((near + 0.5) * self.ZOOM - 0.5) * 16).astype(np.int32)
        cv2.fillPoly(self.image, [fixed], [float(c) for c in colour], cv2.LINE_AA, shift=4)

    def done(self, rng: np.random.Generator) -> np.ndarray:
        """Shrunk, lit from one side, noisy, through JPEG."""
        h, w = self.image.shape[0] // 2, self.image.shape[1] // 2
        small = cv2.resize(self.image, (w, h), interpolation=cv2.INTER_AREA)
        lit = cv2.GaussianBlur(small, (0, 0), 0.8).astype(np.float32)
        # Light and glare are made of a row and a column: whole pictures of either cost seconds.
        x = np.linspace(0.0, 1.0, w, endpoint=False, dtype=np.float32)
        y = np.linspace(0.0, 1.0, h, endpoint=False, dtype=np.float32)[:, None]
        a = rng.uniform(0, 2 * np.pi)
        lit *= (1.0 + 0.25 * (np.cos(a) * (x - 0.5) + np.sin(a) * (y - 0.5)))[..., None]
        at = rng.uniform([0, 0], [1.0, 1.0])
        across = np.exp(-(((x - at[0]) / 0.15) ** 2))
        lit += (35.0 * across * np.exp(-(((y - at[1]) * h / (0.15 * w)) ** 2)))[..., None]
        noise = rng.standard_normal(lit.shape, dtype=np.float32)
        noise *= 2.5
        lit += noise
        coded = cv2.imencode(
            ".jpg",
            np.clip(lit, 0, 255, out=lit).astype(np.uint8),
            [cv2.IMWRITE_JPEG_QUALITY, 85],
        )[1]
        return np.asarray(cv2.imdecode(coded, cv2.IMREAD_COLOR))


def part_picture(
    rng: np.random.Generator, holes: np.ndarray, sizes: np.ndarray, disc: tuple[float, float, float]
) -> tuple[np.ndarray, Camera]:
    """A cast plate round its holes on planks, a disc level with its face beside it."""
    hull = (
        cv2.convexHull(
            np.concatenate(
                [ring(x, y, d + 18.0) for (x, y), d in zip(holes, sizes, strict=True)]
            ).astype(np.float32)
        )
        .reshape(-1, 2)
        .astype(float)
    )
    one = camera(rng, (1600, 1200), np.concatenate([hull, ring(*disc)]), 25.0)
    wood = np.array([rng.uniform(50, 90), rng.uniform(80, 120), rng.uniform(120, 165)])
    canvas = Canvas(one.size, tuple(wood))
    for k in range(-12, 13):
        tone = wood * rng.uniform(0.8, 1.1)
        strip = np.array([[-400, 34 * k], [400, 34 * k], [400, 34 * k + 32], [-400, 34 * k + 32.0]])
        canvas.fill(one.project(strip, -8.0), tuple(tone))
        for _ in range(10):
            x, y = rng.uniform(-200, 200), 34 * k + rng.uniform(2, 30)
            grain = np.array(
                [[x, y], [x + rng.uniform(10, 60), y + rng.uniform(-1, 1)], [x, y + 0.8]]
            )
            canvas.fill(one.project(grain, -8.0), tuple(tone * 0.85))
    canvas.fill(one.project(hull + np.array([2.0, -2.0]), -8.0), tuple(wood * 0.45))
    grey = rng.uniform(150, 210)
    canvas.fill(one.project(hull), (grey, grey * 1.0, grey * 0.98))
    for (x, y), d in zip(holes, sizes, strict=True):
        canvas.fill(one.project(ring(x, y, d + rng.uniform(0.0, 1.0))), (grey * 0.9,) * 3)
        top = one.project(ring(x, y, d))
        canvas.fill(top, (grey * 0.3,) * 3)
        # What shows of the bench through the hole, inside both its rims.
        low = one.project(ring(x, y, d), -8.0)
        both = cv2.intersectConvexConvex(top.astype(np.float32), low.astype(np.float32))[1]
        if both is not None and len(both) > 2:
            canvas.fill(both.reshape(-1, 2), tuple(wood * 0.4))
    canvas.fill(one.project(ring(*disc)), (90.0, 170.0, 205.0))
    canvas.fill(one.project(ring(disc[0], disc[1], 0.7 * disc[2])), (185.0, 190.0, 190.0))
    return canvas.done(rng), one


def front_picture(
    rng: np.random.Generator, centers: np.ndarray, sizes: np.ndarray, size: tuple[int, int]
) -> tuple[np.ndarray, Camera]:
    """Pulleys with grooves at their rim before castings."""
    around = np.concatenate([ring(x, y, d) for (x, y), d in zip(centers, sizes, strict=True)])
    one = camera(rng, size, around, 30.0)
    canvas = Canvas(size, (60.0, 62.0, 66.0))
    for _ in range(60):
        corner = rng.uniform([-350, -250], [350, 450])
        sides = rng.integers(3, 8)
        shape = corner + ring(0, 0, rng.uniform(20, 160))[:: 180 // sides] * rng.uniform(
            0.4, 1.0, 2
        )
        canvas.fill(one.project(shape, -40.0), (rng.uniform(35, 120),) * 3)
    for (x, y), d in zip(centers, sizes, strict=True):
        tone = rng.uniform(125, 200)
        for share, factor in ((1.0, 1.0), (0.9, 0.6), (0.84, 0.95), (0.4, 0.7), (0.18, 0.3)):
            canvas.fill(one.project(ring(x, y, share * d)), (tone * factor,) * 3)
    return canvas.done(rng), one
