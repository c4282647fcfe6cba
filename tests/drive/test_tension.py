"""Strum tension: both ways, its range, and which span it can have been."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from beltside.base.errors import InputError, OutOfRangeError
from beltside.drive.tension import BeltBody, spans_it_may_be, strum_hz, strum_tension, verdict

SIX = BeltBody.of_ribs(6, 0.126)
SPANS = [("crank", "alternator", 210.0), ("alternator", "idler", 90.0), ("idler", "crank", 420.0)]


@settings(max_examples=60, deadline=None)
@given(st.floats(80.0, 1500.0), st.floats(70.0, 600.0), st.integers(3, 8))
def test_there_and_back(tension, span, ribs):
    belt = BeltBody.of_ribs(ribs)
    note = strum_hz(tension, span, belt)
    if 5.0 <= note <= 1000.0:
        assert strum_tension(note, span, belt).value_n == pytest.approx(tension)


def test_the_range_holds_the_truth_when_everything_is_off_by_its_error():
    note = strum_hz(320.0, 200.0, SIX)
    found = strum_tension(
        note * 1.01, 202.0, SIX, frequency_range_hz=(note * 0.99, note * 1.03), span_error_mm=3.0
    )
    assert found.low_n < 320.0 < found.high_n
    unweighed = strum_tension(note, 200.0, BeltBody.of_ribs(6))
    assert unweighed.high_n / unweighed.low_n > 1.5
    assert found.string_n - found.stiffness_n == found.value_n


def test_a_shorter_span_needs_more_taken_off():
    short, long = (strum_tension(strum_hz(300.0, n, SIX), n, SIX) for n in (80.0, 300.0))
    assert short.stiffness_n > 10.0 * long.stiffness_n


def test_each_span_would_mean_another_tension_and_some_cannot_be():
    note = strum_hz(320.0, 210.0, SIX)
    found = spans_it_may_be(note, SPANS, SIX, ribs=6)
    by_length = {round(one.span_mm): one for one in found}
    assert [one.span_mm for one in found] == [420.0, 210.0, 90.0]
    assert by_length[210].tension.value_n == pytest.approx(320.0)
    assert by_length[210].possible
    # At 90 mm the belt would hang all but slack.
    assert not by_length[90].possible
    assert by_length[420].possible  # 1280 N on six ribs: tight, but not beyond all measure


def test_without_ribs_nothing_is_ruled_out_but_what_cannot_sound():
    note = strum_hz(60.0, 420.0, SIX)
    assert [one.span_mm for one in spans_it_may_be(note, SPANS, SIX)] == [420.0, 210.0]


@pytest.mark.parametrize(
    ("value", "target", "said"),
    [
        (320.0, (300.0, 360.0), "within target"),
        (200.0, (300.0, 360.0), "too slack"),
        (500.0, (300.0, 360.0), "too tight"),
        (295.0, (300.0, 360.0), "can't tell"),
    ],
)
def test_verdicts(value, target, said):
    note = strum_hz(value, 250.0, SIX)
    assert verdict(strum_tension(note, 250.0, SIX), target) == said


@pytest.mark.parametrize(
    ("note", "span"),
    [(4.0, 200.0), (1100.0, 200.0), (120.0, 20.0), (120.0, 1600.0), (math.nan, 200.0)],
)
def test_ranges(note, span):
    with pytest.raises(OutOfRangeError):
        strum_tension(note, span, SIX)


def test_a_note_that_stiffness_alone_would_give():
    with pytest.raises(InputError, match="stiffness"):
        strum_tension(60.0, 60.0, SIX)


@pytest.mark.parametrize("target", [(0.0, 10.0), (300.0, 200.0)])
def test_a_target_is_a_range(target):
    with pytest.raises(InputError):
        verdict(strum_tension(120.0, 200.0, SIX), target)


def test_a_belt_body_has_a_mass():
    with pytest.raises(OutOfRangeError):
        BeltBody(0.0)
