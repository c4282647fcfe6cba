"""16 and 18 characters: where the missing one or the one too many may be."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made_numbers import LETTERS_AND_DIGITS, american_vins, fits

from beltside.vehicle.length import length_words, one_missing, one_too_many

GOOD = "1M8GDM9AXKP042788"  # 49 CFR 565.15's own example of a check digit X


@given(american_vins(), st.integers(1, 16))
@settings(max_examples=30, deadline=None)
def test_the_number_itself_is_among_what_fits_when_one_is_missing(vin, place):
    hints = one_missing(vin[:place] + vin[place + 1 :])
    assert vin in hints.fits
    # Leaving out either of two alike makes the same 16 characters, so any place that gives them.
    short = vin[:place] + vin[place + 1 :]
    assert any(vin[: at - 1] + vin[at:] == short for at in hints.positions)
    assert all(fits(one) and len(one) == 17 for one in hints.fits)


@given(american_vins(), st.integers(1, 17), st.sampled_from(LETTERS_AND_DIGITS))
@settings(max_examples=60, deadline=None)
def test_the_number_itself_is_among_what_fits_when_one_is_too_many(vin, place, other):
    hints = one_too_many(vin[:place] + other + vin[place:])
    assert vin in hints.fits
    assert place + 1 in hints.positions
    if other == vin[place - 1]:
        assert vin in hints.doubled
    assert all(fits(one) and len(one) == 17 for one in hints.fits)


@given(american_vins(), st.integers(1, 16))
@settings(max_examples=30, deadline=None)
def test_one_of_two_alike_left_out_is_found_by_doubling(vin, place):
    if vin[place] == vin[place - 1]:
        assert vin in one_missing(vin[:place] + vin[place + 1 :]).doubled


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (GOOD[:-1], ["one character is missing", "with one written twice it fits as " + GOOD]),
        (GOOD + "8", ["one character is too many", GOOD, "position"]),
        (GOOD[1:], ["missing", "as a number of North America it fits as " + GOOD]),
        ("WXXZZZ1KZ9W39482", ["doubled characters at 2-3, 4-5, 5-6", "no check digit tells"]),
        ("WXXZZZ1KZ9W3948211", ["too many", "no check digit tells"]),
        (GOOD[:14], ["3 characters more", "before model year 1981"]),
        (GOOD + "123", ["3 characters less"]),
    ],
)
def test_what_is_said(text, said):
    found = length_words(text)
    for words in said:
        assert words in found


def test_when_more_than_one_character_is_wrong():
    # Eighteen zeros behind a 1: leaving out any leaves no check digit that fits (8 times 1 is 8).
    assert "more than that is wrong" in length_words("1" + "0" * 17)
