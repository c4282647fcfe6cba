"""Bearing kinematics: identities, and a bearing rolled ball by ball as a second method."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from beltside.base.errors import InputError
from beltside.base.words import PULLEY_PARTS
from beltside.drive.bearings import (
    TURNING_RING,
    bearing_orders,
    bearing_sidebands,
    turning_ring,
)
from beltside.drive.sheet import Bearing


@st.composite
def bearings(draw):
    balls = draw(st.integers(3, 30))
    pitch_mm = draw(st.floats(5.0, 200.0))
    filled = draw(st.floats(0.2, 0.95))
    contact_deg = draw(st.floats(0.0, 45.0))
    return Bearing(balls, filled * pitch_mm * math.sin(math.pi / balls), pitch_mm, contact_deg)


@settings(max_examples=60, deadline=None)
@given(bearings())
def test_identities(bearing):
    # Algebra of the four formulas: the races share the balls, and each ball in the cage passes
    # every point of the fixed race once per cage turn.
    inner_turning = bearing_orders(bearing, turning_ring="inner")
    outer_turning = bearing_orders(bearing, turning_ring="outer")
    for orders in (inner_turning, outer_turning):
        assert orders.outer_race + orders.inner_race == pytest.approx(bearing.balls)
        assert orders.ball > 0
    assert inner_turning.outer_race == pytest.approx(bearing.balls * inner_turning.cage)
    assert outer_turning.inner_race == pytest.approx(bearing.balls * outer_turning.cage)
    # Seen from the outer ring, an outer ring turning is an inner ring turning backwards.
    assert inner_turning.cage + outer_turning.cage == pytest.approx(1.0)
    assert inner_turning.ball == outer_turning.ball


class RolledBearing:
    """A bearing rolled without slip for whole turns of one ring; passings are counted.

    Nothing but surface speeds goes in: both contacts of a ball have the speed of the ring they
    touch, the ball's centre the mean of the two, its spin half their difference over its radius.
    """

    def __init__(self, bearing, ring, turns):
        tilt = math.cos(math.radians(bearing.contact_deg))
        inner_radius = (bearing.pitch_mm - bearing.ball_mm * tilt) / 2
        outer_radius = (bearing.pitch_mm + bearing.ball_mm * tilt) / 2
        angle = np.linspace(0.0, 2 * np.pi * turns, 400 * turns)
        still = np.zeros_like(angle)
        self.inner, self.outer = (angle, still) if ring == "inner" else (still, angle)
        inner_way, outer_way = inner_radius * self.inner, outer_radius * self.outer
        self.cage = (inner_way + outer_way) / 2 / (bearing.pitch_mm / 2)
        # The ball's turns about its own axis, seen from its centre carried by the cage.
        inner_slide = inner_way - inner_radius * self.cage
        self.spin = inner_slide / (bearing.ball_mm / 2)
        self.places = 2 * np.pi * np.arange(bearing.balls) / bearing.balls + 0.01

    def balls_over(self, ring_angle):
        """Times a ball's centre passes a mark on the ring."""
        return sum(times_round(self.cage + place - ring_angle) for place in self.places)

    def marks_on_ball_meet_inner(self):
        return times_round(self.spin + 0.01)

    def marks_on_ball_meet_either(self):
        return times_round(self.spin + 0.01) + times_round(self.spin + 0.01 + np.pi)


def times_round(angle):
    """How often a continuous angle passes a whole turn."""
    return int(np.sum(np.abs(np.diff(np.floor(angle / (2 * np.pi))))))


@pytest.mark.parametrize("ring", ["inner", "outer"])
@pytest.mark.parametrize(
    "bearing",
    [Bearing(8, 6.75, 28.5), Bearing(7, 8.731, 32.0), Bearing(10, 4.762, 26.0, contact_deg=25.0)],
    ids=["8 balls", "7 balls", "10 balls at 25 degrees"],
)
def test_counted_passings_of_a_rolled_bearing(bearing, ring):
    turns = 500
    rolled = RolledBearing(bearing, ring, turns)
    orders = bearing_orders(bearing, turning_ring=ring)
    # Whole numbers are counted: one either way for each ball.
    ball_by_ball = {"abs": 1.01 * bearing.balls / turns}
    assert times_round(rolled.cage) / turns == pytest.approx(orders.cage, abs=2 / turns)
    assert rolled.balls_over(rolled.outer) / turns == pytest.approx(
        orders.outer_race, **ball_by_ball
    )
    assert rolled.balls_over(rolled.inner) / turns == pytest.approx(
        orders.inner_race, **ball_by_ball
    )
    tilt = math.cos(math.radians(bearing.contact_deg))
    if tilt == 1.0:
        # With a contact angle the spin axis is not the bearing's, so the plane model stops here.
        assert rolled.marks_on_ball_meet_inner() / turns == pytest.approx(
            orders.ball, abs=2 / turns
        )
        assert rolled.marks_on_ball_meet_either() / turns == pytest.approx(
            2 * orders.ball, abs=4 / turns
        )


@pytest.mark.parametrize("ring", ["inner", "outer"])
def test_counted_passings_of_flaws_through_a_load_that_stands_still(ring):
    bearing = Bearing(8, 6.75, 28.5)
    turns = 500
    rolled = RolledBearing(bearing, ring, turns)
    sidebands = bearing_sidebands(bearing, turning_ring=ring)
    for name, flaw in (
        ("inner race", rolled.inner),
        ("outer race", rolled.outer),
        ("ball", rolled.cage + 0.01),
    ):
        through_load = times_round(flaw + 0.005) / turns
        expected = sidebands[name][0] if sidebands[name] else 0.0
        assert through_load == pytest.approx(expected, abs=2 / turns), name


def test_every_pulley_has_a_turning_ring():
    assert set(TURNING_RING) == set(PULLEY_PARTS)
    assert turning_ring("idler-3") == turning_ring("tensioner") == "outer"
    assert turning_ring("coolant-pump") == "inner"


def test_an_unknown_ring_is_refused():
    with pytest.raises(InputError, match="inner"):
        bearing_orders(Bearing(8, 6.75, 28.5), turning_ring="both")
