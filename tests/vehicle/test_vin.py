"""The whole number: what is said, and what is not."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made_numbers import any_vin, with_check

from beltside.base.errors import InputError, OutOfRangeError
from beltside.vehicle.vin import read_vin

GOOD = with_check("1AB45CD70EP118341")


def test_the_parts_of_a_number_of_north_america():
    vin = read_vin(GOOD, today_year=2026)
    assert vin.check.fits
    assert vin.check.mandatory
    assert (vin.maker_code, vin.attributes, vin.plant) == ("1AB", "45CD7", "P")
    assert (vin.serial, vin.indicator) == ("118341", "EP118341")
    assert vin.typos is None
    assert not vin.small_maker


def test_a_small_maker_has_six_characters():
    vin = read_vin(with_check("1A945CD70EP118341"), today_year=2026)
    assert vin.small_maker
    assert (vin.maker_code, vin.serial) == ("1A9118", "341")


def test_elsewhere_plant_and_serial_are_not_guessed():
    vin = read_vin("WXXZZZ1KZ9W394821", today_year=2026)
    assert (vin.plant, vin.serial, vin.indicator) == (None, None, "9W394821")
    assert vin.model_year.year is None
    assert vin.typos is None
    assert "says nothing" in vin.check.says


def test_made_for_north_america_by_word():
    number = "JXX45CD70EP118341"
    plain = read_vin(number, today_year=2026)
    stated = read_vin(number, today_year=2026, north_american=True)
    assert (plain.check.mandatory, stated.check.mandatory) == (False, True)
    assert plain.typos is None
    assert stated.typos is not None
    assert stated.typos.total > 0
    fitting = read_vin(with_check(number), today_year=2026, north_american=True)
    assert (fitting.model_year.year, fitting.model_year.certainty) == (2014, "likely")


def test_a_misread_number_doubts_its_year_too():
    vin = read_vin(GOOD[:4] + "6" + GOOD[5:], today_year=2026)
    assert not vin.check.fits
    assert vin.model_year.certainty == "doubtful"
    assert vin.typos is not None
    assert len(vin.typos.shown) == 8


def test_a_letter_among_the_last_digits_is_found_though_the_check_digit_fits():
    # 8 and H count the same, so the check digit can't see it.
    number = with_check("1AB45CD70EP118348")
    vin = read_vin(number[:16] + "H", today_year=2026)
    assert vin.check.fits
    assert vin.typos is not None
    assert [one.vin for one in vin.typos.shown] == [number]
    assert any("position 17 is H" in one for one in vin.warnings)


def test_an_s_for_a_5_at_the_front():
    right = with_check("5AB45CD70EP118341")
    vin = read_vin("S" + right[1:], today_year=2026)
    assert vin.region == "Europe"
    assert any(right in one for one in vin.warnings)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", ["no number was given", "17 characters"]),
        ("   ", ["no number was given"]),
        ("VIN", ["no number was given"]),
        ("1AB", ["has 3 characters", "1981"]),
        (GOOD[:-1], ["has 16 characters", "missing"]),
        (GOOD + GOOD[-1], ["has 18 characters", GOOD]),
        (GOOD[:-1] + "O", ["character 17 is O", "0"]),
        (GOOD[:10] + "O" + GOOD[10:-1], ["character 11 is O"]),
    ],
)
def test_what_can_not_be_read_is_refused(text, said):
    with pytest.raises(InputError) as caught:
        read_vin(text, today_year=2026)
    for words in said:
        assert words in str(caught.value)


def test_o_typed_for_0_is_offered_with_the_check_digit():
    with pytest.raises(InputError, match=r"1M8GDM9AXKP042788, whose check digit fits"):
        read_vin("1M8GDM9AXKPO42788", today_year=2026)


def test_a_clock_far_off_is_refused():
    with pytest.raises(OutOfRangeError):
        read_vin(GOOD, today_year=1970)


@given(any_vin, st.integers(1980, 2039))
@settings(max_examples=100, deadline=None)
def test_every_number_of_the_alphabet_can_be_read(number, today):
    vin = read_vin(number, today_year=today)
    assert vin.vin == number
    assert vin.check.fits
    assert vin.indicator == number[9:]


@given(st.text(max_size=40))
@settings(max_examples=200, deadline=None)
def test_anything_typed_is_read_or_refused_in_words(text):
    refused = None
    try:
        read_vin(text, today_year=2026)
    except InputError as error:
        refused = error
    assert refused is None or (refused.given and refused.allowed and refused.instead)
