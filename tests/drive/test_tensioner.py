"""Tensioners: lengths solved both ways, stops, wear, and the spring's torque by virtual work."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from belt_drives import TARN, moved
from hypothesis import given, settings
from hypothesis import strategies as st

from beltside.base.errors import InputError, OutOfRangeError
from beltside.drive.path import belt_path, with_diameters, without_part
from beltside.drive.sheet import Tensioner
from beltside.drive.tensioner import (
    gained_mm,
    moved_sheet,
    position_for_length,
    tension_from_arm_n,
    that_fit,
    travel,
)

SLOT = replace(
    TARN, tensioner=Tensioner(part="alternator", slide_deg=100.0, takes_up=20.0, lets_out=12.0)
)


@pytest.mark.parametrize("sheet", [TARN, SLOT])
def test_the_length_of_where_it_stands_brings_it_back_there(sheet):
    position = position_for_length(sheet, belt_path(sheet).effective_length_mm)
    assert position.way == pytest.approx(0.0, abs=1e-6)
    assert position.left == pytest.approx(travel(sheet).takes_up)


@settings(max_examples=15, deadline=None)
@given(st.floats(-11.0, 13.0), st.booleans())
def test_there_and_back(way, slot):
    """Move it, measure the path afresh, ask for that length: the same place."""
    sheet = SLOT if slot else TARN
    there = moved_sheet(sheet, way)
    position = position_for_length(sheet, belt_path(there).effective_length_mm)
    assert position.way == pytest.approx(way, abs=1e-5)
    pulley = there.pulley(sheet.tensioner.part)
    assert (position.x_mm, position.y_mm) == pytest.approx((pulley.x_mm, pulley.y_mm), abs=1e-4)


def test_tighter_is_longer_and_the_arm_keeps_its_length():
    ends = travel(TARN)
    assert ends.shortest_mm < ends.length_mm < ends.longest_mm
    assert ends.stops_known
    assert (ends.takes_up, ends.lets_out) == (14.0, 22.0)
    there = moved_sheet(TARN, 10.0).pulley("tensioner")
    here = TARN.pulley("tensioner")
    assert math.dist((there.x_mm, there.y_mm), (-110, 180)) == pytest.approx(
        math.dist((here.x_mm, here.y_mm), (-110, 180))
    )
    assert gained_mm(TARN, 5.0) == pytest.approx(
        belt_path(TARN).effective_length_mm - belt_path(moved_sheet(TARN, -5.0)).effective_length_mm
    )


def test_too_long_and_too_short_a_belt_are_refused_with_what_would_go():
    ends = travel(TARN)
    with pytest.raises(OutOfRangeError, match=r"too long.*runs out at"):
        position_for_length(TARN, ends.longest_mm + 0.5)
    with pytest.raises(OutOfRangeError, match="too short"):
        position_for_length(TARN, ends.shortest_mm - 0.5)
    assert position_for_length(TARN, ends.longest_mm).reserve_mm == pytest.approx(0.0)


def test_without_stops_the_geometry_ends_the_way():
    ends = travel(replace(TARN, tensioner=Tensioner(pivot_x_mm=-110, pivot_y_mm=180)))
    assert not ends.stops_known
    assert ends.takes_up > 0.0
    assert ends.longest_mm > ends.length_mm


def test_stock_lengths_for_a_bypass_and_for_another_pulley():
    bypass = without_part(TARN, "ac-compressor")
    ends = travel(bypass)
    stock = [ends.shortest_mm - 4.0, ends.shortest_mm + 1.0, ends.longest_mm - 1.0, 2000.0]
    assert [one.length_mm for one in that_fit(bypass, stock)] == stock[1:3]
    assert travel(with_diameters(TARN, {"alternator": 62.0})).length_mm > travel(TARN).length_mm


def test_tension_from_the_arm_by_the_pull_of_both_spans():
    """Second way: the two spans pull on the pulley; their moment about the pivot is the torque."""
    sheet = replace(TARN, tensioner=replace(TARN.tensioner, arm_torque_nm=20.0))
    path = belt_path(sheet)
    place = [p.part for p in path.pulleys].index("tensioner")
    centre = complex(-75, 125) - complex(-110, 180)
    before, after = path.spans[place - 1], path.spans[place]
    pulls = [
        complex(before.start[0] - before.end[0], before.start[1] - before.end[1])
        / before.length_mm,
        complex(after.end[0] - after.start[0], after.end[1] - after.start[1]) / after.length_mm,
    ]
    # The pull acts at the belt, but with equal tensions its moment about the pulley's own axle
    # cancels, so it may be taken at the axle.
    moment_mm = abs(sum((centre.conjugate() * pull).imag for pull in pulls))
    assert tension_from_arm_n(sheet) == pytest.approx(20.0 / (moment_mm / 1000.0), rel=1e-3)
    assert tension_from_arm_n(TARN) is None


@pytest.mark.parametrize(
    "tensioner",
    [
        None,
        Tensioner(),
        Tensioner(part="fan", slide_deg=0.0),
        Tensioner(pivot_x_mm=1.0),
        Tensioner(pivot_x_mm=1.0, pivot_y_mm=1.0, slide_deg=3.0),
        Tensioner(pivot_x_mm=-75.0, pivot_y_mm=125.0),
    ],
)
def test_a_tensioner_must_say_how_it_moves(tensioner):
    with pytest.raises(InputError):
        travel(replace(TARN, tensioner=tensioner))


def test_a_torque_needs_an_arm():
    with pytest.raises(InputError, match="slides"):
        tension_from_arm_n(replace(SLOT, tensioner=replace(SLOT.tensioner, arm_torque_nm=9.0)))


def test_a_tensioner_that_no_longer_fits_is_refused():
    with pytest.raises(InputError):
        travel(moved(TARN, "tensioner", x_mm=-195.0, y_mm=60.0))
