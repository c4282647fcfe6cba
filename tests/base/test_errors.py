"""Errors say what was given, what is allowed and what would work."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from beltside.base.errors import (
    BeltsideError,
    InputError,
    LimitError,
    OutOfRangeError,
    RecordingError,
    nearest,
    require_range,
)
from beltside.base.words import PARTS

finite = st.floats(-1e6, 1e6)
limits = st.tuples(finite, finite).filter(lambda pair: pair[0] < pair[1])


def test_message_has_its_three_parts_in_order():
    error = BeltsideError("the belt has 0 ribs", allowed="3 to 12 ribs", instead="count the ribs")
    assert str(error) == "the belt has 0 ribs. Allowed: 3 to 12 ribs. Try: count the ribs."
    assert (error.given, error.allowed, error.instead) == (
        "the belt has 0 ribs",
        "3 to 12 ribs",
        "count the ribs",
    )


def test_parts_left_out_leave_no_trace():
    assert str(BeltsideError("no sound in it")) == "no sound in it."
    assert str(BeltsideError("no sound in it", instead="record again")) == (
        "no sound in it. Try: record again."
    )


@pytest.mark.parametrize("mark", [".", "?", "!"])
def test_a_sentence_is_not_ended_twice(mark):
    assert str(BeltsideError(f"is this a take{mark}")) == f"is this a take{mark}"


def test_one_root_and_plain_value_errors_for_input():
    for kind in (InputError, OutOfRangeError, RecordingError, LimitError):
        assert issubclass(kind, BeltsideError)
    # Callers who know nothing of Beltside still catch what they would expect of Python.
    assert issubclass(InputError, ValueError)
    assert issubclass(OutOfRangeError, InputError)
    # Not the technician's typing: the work failed.
    assert not issubclass(RecordingError, InputError)
    assert not issubclass(LimitError, InputError)


@settings(max_examples=60)
@given(limits, st.floats(0.0, 1.0))
def test_a_value_in_range_comes_back_untouched(pair, share):
    low, high = pair
    value = min(max(low + share * (high - low), low), high)
    assert require_range("speed", value, low, high, "rpm") == value


@pytest.mark.parametrize("value", [500.0, 7000.0])
def test_the_ends_of_a_range_belong_to_it(value):
    assert require_range("crank speed", value, 500.0, 7000.0, "rpm") == value


@settings(max_examples=60)
@given(limits, st.floats(allow_nan=False))
def test_a_value_outside_is_refused_never_clipped(pair, value):
    low, high = pair
    if low <= value <= high:
        value = math.nextafter(high, math.inf)
    with pytest.raises(OutOfRangeError) as caught:
        require_range("speed", value, low, high, "rpm")
    said = str(caught.value)
    assert f"{value:g} rpm" in said
    assert f"{low:g} to {high:g} rpm" in said
    assert f"nearest allowed is {low if value < low else high:g} rpm" in said


def test_not_a_number_is_refused():
    with pytest.raises(OutOfRangeError, match="speed is nan rpm"):
        require_range("speed", math.nan, 500.0, 7000.0, "rpm")


@settings(max_examples=60)
@given(st.sampled_from([part for part in PARTS if len(part) > 4]), st.data())
def test_a_dropped_letter_is_forgiven(part, data):
    at = data.draw(st.integers(0, len(part) - 1))
    assert nearest(part[:at] + part[at + 1 :], PARTS) == part


def test_two_letters_swapped_are_forgiven_and_nonsense_is_not():
    assert nearest("tensoiner", PARTS) == "tensioner"
    assert nearest("qqq", PARTS) is None
    assert nearest("idler", []) is None


def test_a_figure_without_a_unit_is_refused_without_stray_blanks():
    with pytest.raises(OutOfRangeError) as refused:
        require_range("pH", 25.0, 0.0, 14.0, "")
    assert " ." not in str(refused.value)
    assert "unit" not in str(refused.value)
