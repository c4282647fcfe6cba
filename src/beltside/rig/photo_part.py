"""Simulated pictures of a flat metal part with holes on a bench, a disc of known size beside it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from beltside.rig.photo_camera import Array, Shot, cover, finished, framed, texture


@dataclass(frozen=True)
class PartPlan:
    """A part as made.

    Attributes
    ----------
    holes_mm
        Centres, shape (n, 2) [mm].
    diameter_mm
        Hole sizes, shape (n,) [mm].
    outline_mm
        Corners, shape (m, 2) [mm].
    bore_mm
        Diameter of the bore in the middle, 0 for none [mm].
    """

    holes_mm: Array
    diameter_mm: Array
    outline_mm: Array
    bore_mm: float = 0.0


@dataclass(frozen=True)
class PartPicture:
    """A picture and what is in it.

    Attributes
    ----------
    image
        Shape (height, width, 3), red, green, blue, uint8.
    shot
        How it was taken.
    disc_mm
        Place of the known disc and its diameter: x, y, d [mm].
    """

    image: npt.NDArray[np.uint8]
    shot: Shot
    disc_mm: tuple[float, float, float]


def draw_part(rng: np.random.Generator, n_holes: int) -> PartPlan:
    """A random flange with so many holes near its rim."""
    while True:
        angle = np.sort(rng.uniform(0.0, 2.0 * np.pi, n_holes))
        gaps = np.diff(np.append(angle, angle[0] + 2.0 * np.pi))
        if gaps.min() > 0.45 and gaps.max() < 2.6:
            break
    radius = rng.uniform(34.0, 56.0, n_holes)
    wide = rng.uniform(0.75, 1.0)
    holes = np.stack([radius * np.cos(angle), wide * radius * np.sin(angle)], axis=1)
    diameter = np.where(rng.random(n_holes) < 0.8, 8.6, 6.6)
    turn = np.linspace(0.0, 2.0 * np.pi, 240, endpoint=False)
    reach = np.full(turn.shape, 30.0)
    out = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    for place in holes:
        along = out @ place
        across = np.abs(out[:, 0] * place[1] - out[:, 1] * place[0])
        lobe = np.where(across < 12.0, along + np.sqrt(np.maximum(144.0 - across**2, 0.0)), 0.0)
        reach = np.maximum(reach, lobe)
    kernel = np.ones(9) / 9.0
    smooth = np.convolve(np.concatenate([reach[-4:], reach, reach[:4]]), kernel, "valid")
    reach = np.maximum(smooth, reach)
    return PartPlan(holes, diameter, out * reach[:, None], float(rng.uniform(14.0, 24.0)))


def photograph_part(
    plan: PartPlan,
    rng: np.random.Generator,
    *,
    tilt_deg: float = 25.0,
    width_px: int = 1600,
    height_px: int = 1200,
    disc_mm: float = 24.0,
) -> PartPicture:
    """Take a picture of the part, tilted by up to `tilt_deg`, with clutter and uneven light."""
    far = plan.outline_mm.max(axis=0)
    disc = (float(far[0] + disc_mm), float(rng.uniform(-20.0, 20.0)), disc_mm)
    tilt, heading = rng.uniform(0.0, tilt_deg), rng.uniform(0.0, 2.0 * np.pi)
    diagonal = float(np.hypot(width_px, height_px))
    rim = np.array([[disc[0] + disc_mm / 2, disc[1]]])
    middle = np.concatenate([plan.outline_mm, rim])
    target = 0.5 * (middle.min(axis=0) + middle.max(axis=0))
    shot = framed(
        Shot(
            width_px,
            height_px,
            rng.uniform(0.58, 0.9) * diagonal,
            tilt * np.cos(heading),
            tilt * np.sin(heading),
            150.0,
            (float(target[0]), float(target[1])),
            rng.uniform(-0.05, 0.05),
        ),
        middle,
        0.04 * width_px,
    )
    return PartPicture(_render(plan, shot, disc, rng), shot, disc)


def _render(
    plan: PartPlan, shot: Shot, disc: tuple[float, float, float], rng: np.random.Generator
) -> npt.NDArray[np.uint8]:
    import cv2

    place = shot.grid()
    step = float(np.median(np.linalg.norm(np.diff(place, axis=1), axis=2)))
    shape = (shot.height_px, shot.width_px)
    bench = rng.uniform(60.0, 150.0) * np.array([1.0, rng.uniform(0.7, 1.0), rng.uniform(0.5, 1.0)])
    ground = (
        bench
        + 10.0 * texture(rng, shape, 60.0)[..., None]
        + 5.0 * texture(rng, shape, 5.0)[..., None]
    )
    grey = rng.uniform(150.0, 215.0)
    metal = grey + 6.0 * texture(rng, shape, 80.0) + 3.0 * texture(rng, shape, 3.0)
    light = 1.0 + 0.12 * texture(rng, shape, 500.0)
    edge = _outline_distance(plan.outline_mm, place)
    colours = ground * (1.0 - 0.35 * cover(edge - 3.0, 8.0))[..., None]  # shadow round the part
    on = cover(edge, step)[..., None]
    colours = colours * (1.0 - on) + metal[..., None] * on
    dark = ground * rng.uniform(0.15, 0.45)
    rounds = [(*p, d) for p, d in zip(plan.holes_mm, plan.diameter_mm, strict=True)]
    if plan.bore_mm:
        rounds.append((0.0, 0.0, plan.bore_mm))
    for x, y, d in rounds:
        away = np.hypot(place[..., 0] - x, place[..., 1] - y) - d / 2
        rim = cover(away - 0.4, step)[..., None]  # the broken edge catches the light
        colours = colours * (1.0 - 0.25 * rim) + 0.25 * 245.0 * rim
        deep = cover(away, step)[..., None]
        colours = colours * (1.0 - deep) + dark * deep
    away = np.hypot(place[..., 0] - disc[0], place[..., 1] - disc[1]) - disc[2] / 2
    coin = cover(away, step)[..., None]
    colours = colours * (1.0 - coin) + np.array([205.0, 180.0, 110.0]) * coin
    for _ in range(rng.integers(0, 6)):  # smudges and swarf
        at = rng.integers([0, 0], [shot.width_px, shot.height_px])
        end = at + rng.integers(-60, 60, 2)
        one, other = (int(at[0]), int(at[1])), (int(end[0]), int(end[1]))
        tone = float(rng.uniform(40.0, 230.0))
        colours = np.asarray(
            cv2.line(np.ascontiguousarray(colours), one, other, (tone, tone, tone), 2, cv2.LINE_AA)
        )
    return finished(colours * light[..., None], rng, rng.uniform(0.6, 1.2), 3.0).astype(np.uint8)


def _outline_distance(outline: Array, place: Array) -> Array:
    """About how far outside a star-shaped outline each place lies [mm]."""
    angle = np.arctan2(place[..., 1], place[..., 0])
    radius = np.hypot(place[..., 0], place[..., 1])
    corners = np.arctan2(outline[:, 1], outline[:, 0])
    order = np.argsort(corners)
    reach = np.interp(
        angle, corners[order], np.hypot(outline[:, 0], outline[:, 1])[order], period=2.0 * np.pi
    )
    return np.asarray(radius - reach)
