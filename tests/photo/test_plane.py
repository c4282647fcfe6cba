"""One view for all circles: tilt, perspective and lens undone.

The pictures come from OpenCV's camera model (cv2.projectPoints, Brown 1971), which the code under
test does not use.
"""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from beltside.base.errors import InputError
from beltside.photo.camera import View
from beltside.photo.plane import Circle, Marks, fit_plane

CENTERS = np.array([[0.0, 0.0], [175.0, 205.0], [-60.0, 190.0], [150.0, 60.0], [-120.0, 70.0]])
SIZES = np.array([138.0, 55.0, 70.0, 110.0, 90.0])
WIDTH, HEIGHT, FOCAL = 4000, 3000, 3600.0


def seen(places: np.ndarray, tilt_deg: float, heading: float, k1: float = 0.0) -> np.ndarray:
    """Pixels of plane points [mm], right and up, in a tilted view 700 mm away."""
    axis = np.radians(tilt_deg) * np.array([np.cos(heading), np.sin(heading), 0.0])
    turn = cv2.Rodrigues(axis)[0] @ np.diag([1.0, -1.0, -1.0])
    middle = np.array([25.0, 90.0, 0.0])
    matrix = np.array([[FOCAL, 0, (WIDTH - 1) / 2], [0, FOCAL, (HEIGHT - 1) / 2], [0, 0, 1.0]])
    points = np.column_stack([places, np.zeros(len(places))])
    return cv2.projectPoints(
        points, turn, np.array([0, 0, 700.0]) - turn @ middle, matrix, np.array([k1, 0, 0, 0, 0.0])
    )[0].reshape(-1, 2)


def rim(number: int, n: int) -> np.ndarray:
    turn = 2.0 * np.pi * np.arange(n) / n + number
    return CENTERS[number] + SIZES[number] / 2 * np.stack([np.cos(turn), np.sin(turn)], axis=1)


@pytest.mark.parametrize(("tilt", "heading", "k1"), [(0, 0, 0), (20, 1.0, 0.06), (30, 4.0, -0.08)])
def test_exact_taps_give_exact_sizes(tilt: float, heading: float, k1: float) -> None:
    circles = [
        Circle(seen(rim(k, 8), tilt, heading, k1), 0.1, diameter_mm=138.0 if k == 0 else None)
        for k in range(5)
    ]
    fit = fit_plane(WIDTH, HEIGHT, circles)
    assert 2.0 * fit.circles[:, 2] == pytest.approx(SIZES, rel=0.003)
    assert fit.view.tilt_deg == pytest.approx(tilt, abs=1.0)
    apart = np.linalg.norm(fit.circles[:, None, :2] - fit.circles[None, :, :2], axis=2)
    true = np.linalg.norm(CENTERS[:, None] - CENTERS[None], axis=2)
    assert apart == pytest.approx(true, rel=0.004, abs=0.3)


def test_tap_errors_stay_within_the_range() -> None:
    rng = np.random.default_rng(4)
    scores = []
    for _ in range(8):
        tilt, heading = rng.uniform(5, 30), rng.uniform(0, 6.28)
        circles = []
        for k in range(5):
            taps = seen(rim(k, 8), tilt, heading, 0.03) + rng.normal(0, 3.0, (8, 2))
            circles.append(Circle(taps, 3.0, diameter_mm=138.0 if k == 0 else None))
        fit = fit_plane(WIDTH, HEIGHT, circles)
        sigma = np.sqrt(np.diag(fit.covariance))[2:15:3]
        scores.append((fit.circles[1:, 2] - SIZES[1:] / 2) / sigma[1:])
    # Errors over their standard deviation: 1 on average, give or take what 32 of them leave open.
    assert 0.5 < float(np.sqrt(np.mean(np.square(scores)))) < 1.6


def test_a_card_gives_scale_and_tilt() -> None:
    # ISO/IEC 7810 (2019), ID-1: 85.60 by 53.98 mm.
    card = np.array([[0.0, 0.0], [85.6, 0.0], [85.6, 53.98], [0.0, 53.98]])
    marks = Marks(seen(card, 25, 2.0), 0.3, card)
    points = Marks(seen(CENTERS, 25, 2.0), 0.3)
    fit = fit_plane(WIDTH, HEIGHT, [], [points, marks])
    apart = np.linalg.norm(fit.points[:, None] - fit.points[None], axis=2)
    true = np.linalg.norm(CENTERS[:, None] - CENTERS[None], axis=2)
    assert apart == pytest.approx(true, rel=0.03, abs=0.2)


def test_ratios_need_no_scale() -> None:
    fit = fit_plane(WIDTH, HEIGHT, [Circle(seen(rim(k, 8), 15, 1.0), 0.3) for k in range(5)])
    assert fit.mm_per_unit is None
    ratios = fit.circles[:, 2] / fit.circles[0, 2]
    assert ratios == pytest.approx(SIZES / SIZES[0], rel=0.005)


def test_one_wild_tap_is_outvoted() -> None:
    circles = [Circle(seen(rim(k, 8), 15, 1.0), 3.0) for k in range(5)]
    circles[1].pixels[2] += [60.0, -40.0]
    fit = fit_plane(WIDTH, HEIGHT, circles)
    assert fit.circles[1, 2] / fit.circles[0, 2] == pytest.approx(55 / 138, rel=0.03)
    assert int(np.argmax(np.abs(fit.residual_px[1]))) == 2


def test_the_view_goes_there_and_back() -> None:
    view = View(4000, 3000, 0.3, -0.2, 3300.0, 0.05)
    pixels = np.array([[100.0, 200.0], [2000.0, 1500.0], [3900.0, 2900.0]])
    assert view.to_pixels(view.to_plane(pixels)) == pytest.approx(pixels, abs=1e-6)
    ahead = view.to_pixels(view.to_plane(pixels, 0.02), 0.02)
    assert ahead == pytest.approx(pixels, abs=1e-6)


def test_the_division_model_follows_the_radial_model() -> None:
    # To first order 1 / (1 + b r^2) undoes 1 + k r^2 with b = k in the same unit of radius.
    view = View(4000, 3000, 0.0, 0.0, 3300.0, 0.04 * 2500.0**2 / 3300.0**2)
    rays = np.array([[0.3, 0.1], [-0.2, 0.3]])
    k1 = -0.04
    matrix = np.array([[3300.0, 0, 1999.5], [0, 3300.0, 1499.5], [0, 0, 1.0]])
    flat = np.column_stack([rays, np.ones(2)])
    zero = np.zeros(3)
    pixels = cv2.projectPoints(flat, zero, zero, matrix, np.array([-k1, 0, 0, 0.0]))[0].reshape(
        -1, 2
    )
    assert view.rays(pixels) == pytest.approx(rays, abs=1e-3)


def test_too_little_is_refused() -> None:
    with pytest.raises(InputError):
        fit_plane(4000, 3000, [])
    with pytest.raises(InputError):
        fit_plane(4000, 3000, [Circle(np.zeros((2, 2)))])
