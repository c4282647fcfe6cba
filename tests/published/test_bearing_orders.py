"""Bearing defect orders against published multipliers.

Sources:
- Case Western Reserve University bearing data: geometry and defect orders of the test rig's two
  bearings, read from constants in public code that uses the data.
- Curtin University bearing data set, readme (CC BY 4.0): an ER-16K.
"""

import tomllib
from importlib.resources import files

import pytest

from beltside.drive.bearing_table import parse_bearing_table
from beltside.drive.bearings import bearing_orders
from beltside.drive.sheet import Bearing

DRIVE_END = Bearing(balls=9, ball_mm=0.3126 * 25.4, pitch_mm=1.537 * 25.4)
FAN_END = Bearing(balls=8, ball_mm=0.2656 * 25.4, pitch_mm=1.122 * 25.4)
ER_16K = Bearing(balls=9, ball_mm=7.9375, pitch_mm=38.50)


@pytest.mark.parametrize(
    ("bearing", "inner", "outer", "cage", "printed_rolling_element"),
    [
        (DRIVE_END, 5.4152, 3.5848, 0.39828, 4.7135),
        (FAN_END, 4.9469, 3.0530, 0.3817, 3.9874),
    ],
    ids=["6205-2RS drive end", "6203-2RS fan end"],
)
def test_case_western_reserve_multipliers(bearing, inner, outer, cage, printed_rolling_element):
    orders = bearing_orders(bearing)
    assert orders.inner_race == pytest.approx(inner, abs=5e-4)
    assert orders.outer_race == pytest.approx(outer, abs=5e-4)
    assert orders.cage == pytest.approx(cage, abs=5e-4)
    # The printed "rolling element" value counts a flaw's meetings with both races: twice the
    # ball's own turns.
    assert 2 * orders.ball == pytest.approx(printed_rolling_element, abs=5e-4)
    assert orders.ball != pytest.approx(printed_rolling_element, rel=0.1)


def test_curtin_university_er16k():
    orders = bearing_orders(ER_16K)
    assert orders.cage == pytest.approx(0.3969, abs=5e-5)
    assert orders.outer_race == pytest.approx(3.572, abs=5e-4)
    assert orders.inner_race == pytest.approx(5.428, abs=5e-4)
    # This source prints the ball's own turns, not twice as many.
    assert orders.ball == pytest.approx(2.32, abs=5e-3)


# Bore and outside diameter by ISO 15 (from memory); the balls run half way between them, give or
# take a few per cent.
ISO_15_MM = {
    "608": (8, 22),
    "6003": (17, 35),
    "6004": (20, 42),
    "6202": (15, 35),
    "6203": (17, 40),
    "6204": (20, 47),
    "6205": (25, 52),
    "6302": (15, 42),
    "6303": (17, 47),
    "6304": (20, 52),
}


@pytest.fixture(scope="module")
def shipped_table():
    text = (files("beltside.drive") / "bearings.toml").read_text(encoding="utf-8")
    return parse_bearing_table(tomllib.loads(text))


def test_shipped_bearings_fit_their_boundary_dimensions(shipped_table):
    assert set(shipped_table) == set(ISO_15_MM)
    for number, (bore_mm, outside_mm) in ISO_15_MM.items():
        bearing = shipped_table[number].bearing
        assert bearing.pitch_mm == pytest.approx((bore_mm + outside_mm) / 2, rel=0.02), number
        # Balls fill 0.5 to 0.7 of the section, so that both rings keep their shoulders.
        assert 0.5 < bearing.ball_mm / ((outside_mm - bore_mm) / 2) < 0.7, number


@pytest.mark.parametrize(
    ("number", "outer", "inner"), [("6205", 3.5848, 5.4152), ("6203", 3.0530, 4.9469)]
)
def test_shipped_published_bearings_give_the_published_orders(shipped_table, number, outer, inner):
    assert shipped_table[number].sure == "published"
    orders = bearing_orders(shipped_table[number].bearing)
    assert orders.outer_race == pytest.approx(outer, abs=1e-3)
    assert orders.inner_race == pytest.approx(inner, abs=1e-3)
