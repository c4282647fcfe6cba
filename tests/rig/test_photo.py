"""The rig's camera and pictures against OpenCV's own camera."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from beltside.rig.photo_camera import Shot
from beltside.rig.photo_front import draw_front, photograph_front
from beltside.rig.photo_part import draw_part, photograph_part

SHOT = Shot(800, 600, 900.0, 20.0, -12.0, 500.0, (10.0, 30.0))


def test_the_camera_is_a_pinhole() -> None:
    # cv2.projectPoints with the same pose and no distortion.
    places = np.array([[0.0, 0.0], [100.0, 50.0], [-80.0, 120.0]])
    turn = SHOT.rotation()
    eye = np.array([10.0, 30.0, 0.0]) - 500.0 * turn[2]
    matrix = np.array([[900.0, 0, 399.5], [0, 900.0, 299.5], [0, 0, 1.0]])
    points = np.column_stack([places, np.zeros(3)])
    want = cv2.projectPoints(points, turn, -turn @ eye, matrix, np.zeros(5))[0].reshape(-1, 2)
    assert SHOT.seen_of(places) == pytest.approx(want, abs=1e-6)


def test_there_and_back_through_a_bent_lens() -> None:
    bent = Shot(800, 600, 900.0, 20.0, -12.0, 500.0, (10.0, 30.0), 0.06, -0.01)
    places = np.array([[0.0, 0.0], [100.0, 50.0], [-80.0, 120.0]])
    assert bent.seen_at(bent.seen_of(places)) == pytest.approx(places, abs=1e-6)


def test_holes_are_dark_where_they_are_said_to_be() -> None:
    rng = np.random.default_rng(2)
    plan = draw_part(rng, 5)
    picture = photograph_part(plan, rng, width_px=640, height_px=480)
    x, y = np.round(picture.shot.seen_of(plan.holes_mm)).astype(int).T
    beside = np.round(picture.shot.seen_of(plan.holes_mm * 0.8)).astype(int).T
    assert (
        picture.image[y, x].mean(axis=1) < picture.image[beside[1], beside[0]].mean(axis=1)
    ).all()


def test_pulleys_do_not_touch_and_are_in_the_picture() -> None:
    rng = np.random.default_rng(3)
    center, size = draw_front(rng, 6)
    picture = photograph_front(center, size, rng, width_px=640, height_px=480)
    taps = np.concatenate(
        [picture.taps(one, d, 8, 0.0, rng) for one, d in zip(center, size, strict=True)]
    )
    assert picture.image.shape == (480, 640, 3)
    assert (taps > 0).all()
    assert (taps < [640, 480]).all()
