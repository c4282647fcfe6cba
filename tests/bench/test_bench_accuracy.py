"""The accuracy benchmark counts as its README says, on outcomes made by hand."""

import pytest

import accuracy
from accuracy import Outcome, Speed

RIGHT = Speed(801.0, 800.0, 0.001)
DOUBLE = Speed(1600.0, 800.0, 1.0)
UNTOLD = Speed(None, 800.0, None)


def case(truth, odds, speeds=(RIGHT,), severity_db=8.0):
    return Outcome(truth, severity_db, len(speeds), tuple(odds), tuple(speeds))


PUMP = [("coolant-pump.bearing", 0.7), ("none", 0.2), ("other", 0.1)]
SEAL = [("coolant-pump.seal", 0.6), ("coolant-pump.bearing", 0.3), ("none", 0.06), ("other", 0.04)]
WELL = [("none", 0.8), ("coolant-pump.bearing", 0.15), ("other", 0.05)]
UNSURE = [("coolant-pump.bearing", 0.4), ("none", 0.35), ("other", 0.25)]


def by_name(figures):
    return {figure.name: figure.value for figure in figures}


def test_first_three_and_part():
    outcomes = [
        case("coolant-pump.bearing", PUMP),
        case("coolant-pump.bearing", SEAL),
        case("none", WELL),
    ]
    values = by_name(accuracy.odds_figures(outcomes, []))
    assert values["right suspect first"] == 0.5
    assert values["right suspect among first three"] == 1.0
    assert values["right part first"] == 1.0
    assert values["right first, healthy ones and others too"] == pytest.approx(2 / 3)


def test_false_alarm_needs_more_than_half():
    healthy = [case("none", PUMP), case("none", UNSURE), case("none", WELL)]
    values = by_name(accuracy.odds_figures([case("none", WELL)], healthy))
    assert values["false alarm: fault first, over 50 %"] == 0.25
    assert values['healthy, "none" not first'] == 0.5


def test_a_truth_that_is_no_suspect_counts_as_other():
    strange = case("idler-3.bearing", UNSURE)
    assert strange.counted_truth == "other"
    assert strange.place == 2
    values = by_name(accuracy.odds_figures([strange, case("coolant-pump.bearing", PUMP)], []))
    assert values["right suspect first"] == 1.0


def test_speeds_told_wrong_and_not_told():
    outcomes = [case("none", WELL, (RIGHT, RIGHT, DOUBLE, UNTOLD))]
    nothing = [("wind", None), ("speech", None), ("hum", None), ("hand drill", 900.0)]
    values = by_name(accuracy.speed_figures(outcomes, nothing))
    assert values["crank speed, median error"] == pytest.approx(1 / 800)
    assert values["wrong octave, of takes told"] == pytest.approx(1 / 3)
    assert values["crank speed told"] == 0.75
    assert values['"can\'t tell" without an engine'] == 0.75
    assert "hand drill (900 rpm)" in accuracy.told_of_nothing(nothing)


def test_details_list_every_fault_and_severity():
    text = accuracy.details(
        [
            case("coolant-pump.bearing", PUMP, severity_db=15.0),
            case("idler-2.bearing", [("idler-2.bearing", 0.9), ("none", 0.06), ("other", 0.04)]),
            case("none", WELL, severity_db=float("-inf")),
        ]
    )
    assert "over 12 dB" in text
    assert "6 dB to 12 dB" in text
    assert "idler.bearing" in text  # numbered parts count together
