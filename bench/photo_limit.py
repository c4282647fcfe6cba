"""How well taps alone can tell ratios of diameters at all: the Cramér-Rao bound, and what is met.

Views as in bench/photo.py. For each view the Fisher information of its taps: the derivative, by
everything unknown, of where the rim runs at each tap, across the rim in the picture, over the tap
error. Along the rim a tap says nothing: which point of the rim was meant is not known. Unknown are
the camera's turn and place, its focal length, the first term of its distortion, and each circle's
centre and radius. What the views are drawn from counts as known beforehand (tilt, focal length,
distortion); smaller terms of the lens are taken as known, so the bound is on the low side.

The inverse of the information bounds the variance of each ratio for an unbiased estimate; with
Gaussian errors of that size this share of ratios lies within 1.5 %. What would help more than more
taps: the same with something about the camera known beforehand, up to all of it.

usage: python bench/photo_limit.py [--views 200] [--seed 2026]
"""

from __future__ import annotations

import argparse
import math
import os
from collections.abc import Sequence
from dataclasses import replace

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import cv2
import numpy as np

import photo_stranger as stranger
from figures import Figure, table
from photo import draw_drive, draw_taps

TAP_PX = 3.0
SIZE = (3000, 2250)
TILT_SPREAD = math.radians(30.0) / math.sqrt(6.0)
"""Of each of the two parts of a tilt drawn evenly from 0 to 30 degrees, in any direction [rad]."""
FOCAL_SPREAD = 0.133
"""Of the logarithm of a focal length drawn evenly from 0.6 to 0.95 diagonals."""
BEND_SPREAD = 0.1 / math.sqrt(3.0)
GLOBALS = 8
"""Turn (3), place (3), logarithm of the focal length, distortion."""
KNOWN = {
    "focal length": (6,),
    "focal length and distortion": (6, 7),
    "tilt": (0, 1),
    "everything about the camera": tuple(range(GLOBALS)),
}


def moved(camera: stranger.Camera, step: np.ndarray) -> stranger.Camera:
    """The camera with its unknowns changed by `step`, shape (8,)."""
    matrix = camera.matrix.copy()
    matrix[[0, 1], [0, 1]] *= math.exp(step[6])
    distortion = camera.distortion.copy()
    distortion[0] += step[7]
    return replace(
        camera,
        matrix=matrix,
        distortion=distortion,
        rotation=cv2.Rodrigues(step[:3])[0] @ camera.rotation,
        shift=camera.shift + step[3:6] * np.linalg.norm(camera.shift),
    )


def ratio_bounds(
    camera: stranger.Camera,
    centers: np.ndarray,
    sizes: np.ndarray,
    turns: list[np.ndarray],
    *,
    known: Sequence[int] = (),
) -> np.ndarray:
    """Least relative standard deviation of each ratio to the first circle, shape (circles - 1,)."""
    count = GLOBALS + 3 * len(sizes)
    rows = []
    for number, (center, size, turn) in enumerate(zip(centers, sizes, turns, strict=True)):

        def rim(
            camera: stranger.Camera,
            shift: np.ndarray,
            center: np.ndarray = center,
            size: float = size,
            turn: np.ndarray = turn,
        ) -> np.ndarray:
            radius = 0.5 * size * math.exp(shift[2])
            around = np.column_stack([np.cos(turn), np.sin(turn)])
            return camera.project(center + shift[:2] + radius * around)

        none = np.zeros(3)
        at = rim(camera, none)
        along = rim(camera, none, turn=turn + 1e-5) - at
        across = np.column_stack([along[:, 1], -along[:, 0]])
        across /= np.linalg.norm(across, axis=1, keepdims=True)
        block = np.zeros((len(turn), count))
        for k in set(range(GLOBALS)) - set(known):
            step = 1e-6 * (np.arange(GLOBALS) == k)
            block[:, k] = np.sum((rim(moved(camera, step), none) - at) * across, axis=1) / 1e-6
        for k, size_of_step in enumerate((1e-3, 1e-3, 1e-6)):
            step = size_of_step * (np.arange(3) == k)
            changed = np.sum((rim(camera, step) - at) * across, axis=1) / size_of_step
            block[:, GLOBALS + 3 * number + k] = changed
        rows.append(block / TAP_PX)
    wide = np.concatenate(rows)
    information = wide.T @ wide
    for k, spread in ((0, TILT_SPREAD), (1, TILT_SPREAD), (6, FOCAL_SPREAD), (7, BEND_SPREAD)):
        information[k, k] += spread**-2
    # Shifting, turning and scaling the plane with the camera changes no tap and no ratio.
    scale = 1.0 / np.sqrt(np.maximum(np.diag(information), 1e-12))
    inverse = np.linalg.pinv(information * np.outer(scale, scale), rcond=1e-11, hermitian=True)
    inverse *= np.outer(scale, scale)
    found = []
    for number in range(1, len(sizes)):
        gradient = np.zeros(count)
        gradient[GLOBALS + 3 * number + 2], gradient[GLOBALS + 2] = 1.0, -1.0
        found.append(math.sqrt(gradient @ inverse @ gradient))
    return np.array(found)


def within(bounds: np.ndarray, limit: float = 0.015) -> float:
    """Share of Gaussian errors of these standard deviations within the limit."""
    return float(np.mean([math.erf(limit / (bound * math.sqrt(2.0))) for bound in bounds]))


def met(views: int, seed: int, taps_each: int) -> np.ndarray:
    """Errors of the ratios that the product finds from taps alone."""
    from beltside.photo.plane import Circle, fit_plane

    rng = np.random.default_rng(seed)
    found = []
    for _ in range(views):
        centers, sizes = draw_drive(rng)
        camera = _camera(rng, centers, sizes)
        taps, _ = draw_taps(rng, camera, centers, sizes, taps_each)
        fit = fit_plane(*SIZE, [Circle(one, TAP_PX) for one in taps])
        radii = fit.circles[:, 2]
        found.append((radii / radii[0] * sizes[0] / sizes - 1.0)[1:])
    return np.asarray(np.abs(np.concatenate(found)))


def _camera(rng: np.random.Generator, centers: np.ndarray, sizes: np.ndarray) -> stranger.Camera:
    rings = [stranger.ring(x, y, d) for (x, y), d in zip(centers, sizes, strict=True)]
    return stranger.camera(rng, SIZE, np.concatenate(rings), 30.0)


def limit(views: int, seed: int, taps_each: int, known: Sequence[int] = ()) -> np.ndarray:
    """Bounds of all ratios of these views."""
    rng = np.random.default_rng(seed)
    found = []
    for _ in range(views):
        centers, sizes = draw_drive(rng)
        camera = _camera(rng, centers, sizes)
        _, turns = draw_taps(rng, camera, centers, sizes, taps_each)
        found.append(ratio_bounds(camera, centers, sizes, turns, known=known))
    return np.concatenate(found)


def measure(views: int, seed: int) -> list[Figure]:
    """Met and possible for 6, 12 and 24 taps on each rim."""
    figures = []
    for taps_each in (6, 12, 24):
        bound = limit(views, seed, taps_each)
        errors = met(views, seed, taps_each)
        name = f"{taps_each} taps a rim, 3 px"
        figures += [
            Figure(f"{name}: ratios within 1.5 %", float(np.mean(errors <= 0.015)), "%"),
            Figure(f"{name}: most that is possible", within(bound), "%", note="Cramér-Rao"),
            Figure(
                f"{name}: error of a ratio (root mean square)",
                float(np.sqrt(np.mean(errors**2))),
                "%",
                note=f"bound {100.0 * float(np.sqrt(np.mean(bound**2))):.2f} %",
            ),
        ]
    for name, known in KNOWN.items():
        bound = limit(views, seed, 6, known)
        figures.append(Figure(f"6 taps, {name} known: most possible", within(bound), "%"))
    return figures


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--views", type=int, default=200)
    parser.add_argument("--seed", type=int, default=2026)
    arguments = parser.parse_args()
    print(table(measure(arguments.views, arguments.seed)))


if __name__ == "__main__":
    main()
