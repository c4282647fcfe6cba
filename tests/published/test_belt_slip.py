"""Slip against a worked example.

Source: R. G. Budynas and J. K. Nisbett, Shigley's Mechanical Engineering Design, 10th ed., 2015,
solution to problem 17-1 after example 17-2: friction 0.80, wrap 3.037 rad, pull 664 lbf,
centrifugal tension 73.4 lbf give exp(f theta) 11.35, F1 802, F2 138 and an initial tension of
396.6 lbf.
"""

import math

import pytest

from beltside.drive.path import belt_path
from beltside.drive.sheet import Belt, DriveSheet, Engine, Pulley
from beltside.drive.slip import Grip, slip

POUND = 4.4482216  # N, exact to 8 digits


@pytest.fixture
def flat():
    """Two pulleys of which the smaller has the book's wrap; no wedge: a flat belt."""
    distance = 1000.0
    half_difference = distance * math.sin(0.5 * (math.pi - 3.037))
    crank = Pulley("crank", 100.0, x_mm=0.0, y_mm=0.0)
    fan = Pulley("fan", 100.0 + 2.0 * half_difference, x_mm=0.0, y_mm=distance)
    path = belt_path(DriveSheet(Engine(4), Belt(pitch_line_mm=0.0), (crank, fan)))
    assert math.radians(path.pulley("crank").wrap_deg) == pytest.approx(3.037, abs=1e-6)
    return path


def test_the_books_flat_belt(flat):
    """Shigley, problem 17-1 and example 17-2: the belt is on the point of slipping."""
    # sin(half of the rib angle) undone: the book's friction counts as it stands.
    grip = Grip(ribbed=0.80 * math.sin(math.radians(20.0)))
    radius_m = 0.5 * flat.pulley("fan").running_diameter_mm / 1000.0
    # The speed at which the belt's own pull is 73.4 lbf.
    mass = 0.9
    speed = math.sqrt(73.4 * POUND / mass)
    rpm = 60.0 * speed / (math.pi * 0.1)
    found = slip(
        flat,
        {"fan": 664.0 * POUND * radius_m / 10.0},
        crank_rpm=rpm / 10.0,
        mass_kg_m=mass,
        tension_n=396.6 * POUND / 10.0,
        spring_at="fan",
        grip=grip,
    )
    # A tenth of the book's forces, at a tenth of its speed, keeps within the allowed ranges; the
    # centrifugal pull is then a hundredth and is put back by hand.
    crank = next(one for one in found.pulleys if one.part == "crank")
    assert crank.most_ratio == pytest.approx(11.35, abs=0.01)
    centrifugal = found.centrifugal_n
    assert centrifugal == pytest.approx(0.734 * POUND, rel=1e-6)
    tight, slack = sorted(
        (tension - centrifugal for tension in found.span_tensions_n), reverse=True
    )
    assert tight / POUND * 10.0 + 73.4 == pytest.approx(802.0, abs=1.0)
    assert slack / POUND * 10.0 + 73.4 == pytest.approx(138.0, abs=1.0)
    assert crank.margin == pytest.approx(1.0, abs=0.02)
    assert crank.slips_below_n / POUND * 10.0 == pytest.approx(396.6, abs=1.0)
