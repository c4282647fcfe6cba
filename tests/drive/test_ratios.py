"""Ratios of a drive and their plausible ranges."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from beltside.base.errors import OutOfRangeError
from beltside.drive.ratios import (
    belt_passing_order,
    belt_passing_range,
    ratio_ranges,
    shaft_ratios,
)
from beltside.drive.sheet import Belt, DriveSheet, Engine, Pulley

TARN = DriveSheet(
    engine=Engine(cylinders=4, idle_rpm=760.0),
    belt=Belt(ribs=6, length_mm=1230.0),
    pulleys=(
        Pulley("crank", 138.0),
        Pulley("alternator", 55.0),
        Pulley("idler", 70.0, face="back"),
        Pulley("coolant-pump", 110.0),
    ),
)


def test_plain_quotients_by_hand():
    ratios = shaft_ratios(TARN)
    assert ratios["crank"] == 1.0
    assert ratios["alternator"] == pytest.approx(138 / 55)
    assert ratios["idler"] == pytest.approx(138 / 70)


def test_the_pitch_line_of_iso_9981_by_hand():
    # ISO 9981: d_p = d_e + 2 b_e, so 138 -> 142, 55 -> 59; the flat takes its own line.
    ratios = shaft_ratios(TARN, pitch_line_mm=2.0, back_line_mm=3.0)
    assert ratios["alternator"] == pytest.approx(142 / 59)
    assert ratios["idler"] == pytest.approx(142 / 76)


def rolled_out_ratio(sheet, part, line, back, belt_mm=50_000.0):
    """Second method: run a length of belt over the drive and count turns of both pulleys."""

    def turns(name):
        pulley = sheet.pulley(name)
        radius = pulley.diameter_mm / 2 + (back if pulley.face == "back" else line)
        return belt_mm / (2 * math.pi * radius)

    return turns(part) / turns("crank")


lines = st.floats(0.0, 2.0)
backs = st.floats(1.0, 4.0)
errors = st.floats(-0.005, 0.005)


@settings(max_examples=80, deadline=None)
@given(lines, backs, errors, errors, st.floats(0.0, 0.005), st.sampled_from(TARN.pulleys[1:]))
def test_ranges_hold_every_drive_that_could_have_been_measured(
    line, back, crank_error, pulley_error, creep, pulley
):
    # The drive as it truly is; the sheet holds what the caliper said of it.
    truth = DriveSheet(
        TARN.engine,
        TARN.belt,
        (
            Pulley("crank", 138.0 * (1 + crank_error)),
            Pulley(pulley.part, pulley.diameter_mm * (1 + pulley_error), face=pulley.face),
        ),
    )
    true_ratio = rolled_out_ratio(truth, pulley.part, line, back) * (1 - creep)
    low, high = ratio_ranges(TARN)[pulley.part]
    assert low <= true_ratio <= high
    assert low <= shaft_ratios(TARN)[pulley.part] <= high
    assert shaft_ratios(truth, line, back)[pulley.part] * (1 - creep) == pytest.approx(true_ratio)


def test_ranges_are_not_wider_than_they_must_be():
    low, high = ratio_ranges(TARN)["alternator"]
    assert high == pytest.approx(138 * 1.005 / (55 * 0.995))
    assert low == pytest.approx((138 * 0.995 + 4) / (55 * 1.005 + 4) * 0.995)
    assert ratio_ranges(TARN)["crank"] == (1.0, 1.0)


def test_belt_passing_by_hand():
    assert belt_passing_order(TARN) == pytest.approx(math.pi * 138 / 1230)
    # Along the pitch line both the crank's round and the belt's grow by 2 pi b.
    assert belt_passing_order(TARN, pitch_line_mm=2.0) == pytest.approx(
        math.pi * 142 / (1230 + 4 * math.pi)
    )
    low, high = belt_passing_range(TARN)
    assert low < belt_passing_order(TARN) < high
    # 2 % of measuring, 1.9 % of pitch line, 0.5 % of creep.
    assert high / low == pytest.approx(1.02 * 1.0185 * 1.005, abs=0.003)


def test_a_belt_whose_length_is_one_round_of_two_equal_pulleys():
    # Open belt on two equal pulleys: length = pi D + 2 C, here with C = pi D / 2, so one crank
    # turn is half a round of the belt. At the pitch line only the arcs grow, not the spans.
    diameter = 100.0
    sheet = DriveSheet(
        Engine(4),
        Belt(length_mm=2 * math.pi * diameter),
        (Pulley("crank", diameter), Pulley("alternator", diameter)),
    )
    assert belt_passing_order(sheet) == pytest.approx(0.5)
    moved = math.pi * (diameter + 3.0) / (math.pi * (diameter + 3.0) + math.pi * diameter)
    assert belt_passing_order(sheet, pitch_line_mm=1.5) == pytest.approx(moved)


@pytest.mark.parametrize("pulleys", [(), (Pulley("crank", 138.0),)])
def test_the_crank_alone(pulleys):
    sheet = DriveSheet(Engine(4), Belt(), pulleys)
    assert shaft_ratios(sheet) == {"crank": 1.0}
    assert ratio_ranges(sheet) == {"crank": (1.0, 1.0)}
    assert belt_passing_order(sheet) is None
    assert belt_passing_range(sheet) is None


@pytest.mark.parametrize("line", [-2.1, 8.1, math.nan])
def test_a_line_far_from_any_belt_is_refused(line):
    with pytest.raises(OutOfRangeError, match="pitch line"):
        shaft_ratios(TARN, pitch_line_mm=line)
    with pytest.raises(OutOfRangeError, match="back-side"):
        shaft_ratios(TARN, back_line_mm=line)
