"""Model years: code, round by position 7, and what lies ahead."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made_numbers import YEAR_CODES

from beltside.base.errors import OutOfRangeError
from beltside.vehicle.year import read_year, require_today, years_of_code


def read(code: str, seventh: str, *, today: int = 2026, american: bool = True, fits: bool = True):
    vin = f"1AB456{seventh}80{code}X123456"
    return read_year(vin, today_year=today, north_american=american, check_fits=fits)


@pytest.mark.parametrize(
    ("code", "seventh", "year", "certainty"),
    [
        ("E", "B", 2014, "likely"),
        ("E", "3", 1984, "likely"),
        ("A", "B", 2010, "likely"),
        ("A", "3", 1980, "likely"),
        ("V", "B", 2027, "likely"),  # next year's models are sold this year
        ("9", "3", 2009, "sure"),  # 2039 lies ahead
        ("Y", "3", 2000, "sure"),
        ("W", "3", 1998, "sure"),
        ("W", "B", 1998, "likely"),  # against the rule: 2028 lies ahead
        ("0", "3", None, "can't tell"),
        ("U", "B", None, "can't tell"),
        ("Z", "B", None, "can't tell"),
    ],
)
def test_years_in_north_america(code, seventh, year, certainty):
    found = read(code, seventh)
    assert (found.year, found.certainty) == (year, certainty)


def test_both_years_are_given_with_when_they_hold():
    first, second = read("E", "B").choices
    assert (first.year, second.year) == (2014, 1984)
    assert "4536 kg" in first.says
    assert "bus" in second.says


def test_a_letter_at_7_in_an_old_year_is_said():
    assert "misread" in read("W", "B").says


def test_a_year_that_lies_ahead_both_times():
    found = read("5", "3", today=1990)
    assert found.year is None
    assert "ahead" in found.says


def test_elsewhere_nothing_is_chosen():
    found = read("E", "B", american=False, fits=False)
    assert found.year is None
    assert [one.year for one in found.choices] == [1984, 2014]
    assert "need not be" in found.says
    assert "check digit" not in found.says


def test_elsewhere_a_fitting_check_digit_is_said_but_decides_nothing():
    found = read("E", "B", american=False, fits=True)
    assert found.year is None
    assert [one.year for one in found.choices] == [2014, 1984]
    assert "2014 if it was made for North America" in found.says


def test_elsewhere_position_10_may_be_anything():
    assert "need not be one" in read("0", "B", american=False).says


@given(st.integers(1980, 2039), st.sampled_from(YEAR_CODES), st.sampled_from("0123456789ABCXYZ"))
@settings(max_examples=200)
def test_a_year_is_one_of_its_codes_and_not_ahead(today, code, seventh):
    found = read(code, seventh, today=today)
    assert {one.year for one in found.choices} == set(years_of_code(code))
    assert all(one.possible == (one.year <= today + 1) for one in found.choices)
    if found.year is not None:
        assert found.year in years_of_code(code)
        assert found.year <= today + 1
    else:
        assert not any(one.possible for one in found.choices)
    # The same code comes round after 30 years and never between.
    assert len({year % 30 for year in years_of_code(code)}) == 1


@pytest.mark.parametrize("today", [1979, 2040, -1])
def test_a_year_outside_the_table_is_refused(today):
    with pytest.raises(OutOfRangeError, match="1980 to 2039"):
        require_today(today)


@pytest.mark.parametrize("code", ["", "I", "O", "Q", "U", "Z", "0", "a", "AB"])
def test_what_is_no_code_has_no_year(code):
    assert years_of_code(code) == ()
