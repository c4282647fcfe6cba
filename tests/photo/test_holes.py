"""Round edges found in drawn pictures: places known, since they were drawn there."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from beltside.photo.edges import (
    Ellipse,
    ellipse_through,
    greys,
    radial_error,
    sharpened_ellipse,
)
from beltside.photo.holes import find_part, round_shapes

# Middle, half axes, angle in degrees.
HOLES = (
    (300.4, 220.7, 22.0, 19.0, 30.0),
    (520.3, 410.2, 15.0, 15.0, 0.0),
    (250.0, 430.0, 30, 26, 80),
)


def drawn(noise: float = 2.0) -> np.ndarray:
    """A light plate with dark holes on a brown bench, a brass disc beside it; drawn 4 times as
    large and shrunk."""
    big = np.full((2400, 3200, 3), (120, 85, 60), np.uint8)
    plate = np.array([[150, 120], [640, 100], [660, 500], [160, 540]]) * 4
    cv2.fillPoly(big, [plate], (190, 190, 185))
    for x, y, a, b, degrees in (*HOLES, (725.0, 300.0, 45.0, 40.0, 0.0)):
        colour = (30, 28, 26) if x < 700 else (205, 180, 110)
        middle, axes = ((x + 0.5) * 4 - 0.5, (y + 0.5) * 4 - 0.5), (a * 4, b * 4)
        turn = np.linspace(0, 2 * np.pi, 400)
        cos, sin = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
        u, v = axes[0] * np.cos(turn), axes[1] * np.sin(turn)
        points = np.stack([middle[0] + cos * u - sin * v, middle[1] + sin * u + cos * v], axis=1)
        cv2.fillPoly(big, [np.round(points * 16).astype(np.int32)], colour, cv2.LINE_AA, 4)
    small = cv2.resize(big, (800, 600), interpolation=cv2.INTER_AREA).astype(float)
    small += np.random.default_rng(1).normal(0, noise, small.shape)
    return np.clip(small, 0, 255).astype(np.uint8)


def test_holes_disc_and_outline() -> None:
    part = find_part(drawn())
    got = sorted((one.x_px, one.y_px) for one in part.holes)
    want = sorted((x, y) for x, y, *_ in HOLES)
    assert np.array(got) == pytest.approx(np.array(want), abs=0.4)
    assert len(part.discs) == 1
    assert part.discs[0].size_px == pytest.approx(2 * np.sqrt(45.0 * 40.0), rel=0.02)
    low, high = part.outline_px.min(axis=0), part.outline_px.max(axis=0)
    assert low == pytest.approx([150, 100], abs=5)
    assert high == pytest.approx([660, 540], abs=5)


def test_an_empty_picture_shows_nothing() -> None:
    plain = np.full((300, 400, 3), 128, np.uint8)
    assert round_shapes(plain) == ()
    part = find_part(plain)
    assert part.holes == ()
    assert len(part.outline_px) == 0


def test_a_square_is_no_hole() -> None:
    image = np.full((300, 400, 3), 180, np.uint8)
    image[100:160, 100:160] = 30
    assert round_shapes(image) == ()


def test_a_rough_ellipse_finds_its_edge() -> None:
    x, y, a, b, degrees = HOLES[0]
    rough = Ellipse(x + 2.0, y - 1.5, a * 1.1, b * 1.05, np.radians(degrees))
    found = sharpened_ellipse(greys(drawn()), rough, 6.0)
    assert found is not None
    one = found[0]
    assert (one.x_px, one.y_px) == pytest.approx((x, y), abs=0.3)
    assert one.size_px == pytest.approx(2 * np.sqrt(a * b), rel=0.03)


def test_the_ellipse_through_its_own_points() -> None:
    # Fitzgibbon 1999: exact points give the exact conic.
    given = Ellipse(400.0, 300.0, 80.0, 50.0, 0.4)
    found = ellipse_through(given.points(40))
    assert found is not None
    assert (found.x_px, found.y_px) == pytest.approx((400.0, 300.0), abs=0.02)
    assert found.aspect == pytest.approx(50 / 80, abs=1e-3)
    outside = Ellipse(400.0, 300.0, 82.0, 52.0, 0.4).points(16)
    assert radial_error(given, outside) == pytest.approx(2.0, abs=0.1)
    assert ellipse_through(given.points(4)) is None
