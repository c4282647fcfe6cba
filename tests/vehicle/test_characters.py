"""Alphabet, check digit and what it catches."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made_numbers import LETTERS_AND_DIGITS, any_vin, counts, fits, second_check_digit

from beltside.base.errors import InputError
from beltside.vehicle.characters import (
    ALPHABET,
    VALUES,
    check_digit,
    repaired,
    require_characters,
    squeezed,
    squeezed_vin,
)


def test_every_character_counts_as_its_low_half_in_ebcdic():
    assert sorted(ALPHABET) == sorted(LETTERS_AND_DIGITS)
    assert {one: counts(one) for one in LETTERS_AND_DIGITS} == dict(VALUES)


@given(any_vin)
@settings(max_examples=200)
def test_check_digit_by_a_second_way(vin):
    assert check_digit(vin) == second_check_digit(vin) == vin[8]


@given(any_vin, st.integers(0, 16), st.sampled_from(LETTERS_AND_DIGITS))
@settings(max_examples=300)
def test_one_wrong_character_is_caught_unless_it_counts_the_same(vin, place, other):
    # A weight from 2 to 10 times a difference from 1 to 9 is never a multiple of the prime 11; at
    # position 9, which weighs nothing, the wrong check digit itself does not fit.
    wrong = vin[:place] + other + vin[place + 1 :]
    caught = wrong[8] != check_digit(wrong)
    differs = other != vin[8] if place == 8 else counts(other) != counts(vin[place])
    assert caught == differs


@given(any_vin, st.integers(0, 15))
@settings(max_examples=300)
def test_swapped_neighbours_are_caught_unless_they_count_the_same(vin, place):
    # Neighbouring weights differ by 1, or by 8 from position 7 to 8: never a multiple of 11. A swap
    # with the check digit changes both the sum and what it is held against.
    one, two = vin[place], vin[place + 1]
    swapped = f"{vin[:place]}{two}{one}{vin[place + 2 :]}"
    caught = swapped[8] != check_digit(swapped)
    if 8 in (place, place + 1):
        assert caught == (not fits(swapped))
    else:
        assert caught == (counts(one) != counts(two))


@pytest.mark.parametrize(
    "typed",
    [
        "1m8gdm9axkp042788",
        " 1M8 GDM9A XKP 042788 ",
        "1M8-GDM9A-X-KP042788",
        "1M8\u2013GDM9A\u2011XKP042788",
        "*1M8GDM9AXKP042788*",
        "1M8GDM9AXKP042788\n",
        "１Ｍ８ＧＤＭ９ＡＸＫＰ０４２７８８",
    ],
)
def test_small_letters_spaces_dashes_and_stars_do_not_matter(typed):
    assert squeezed(typed) == "1M8GDM9AXKP042788"


@pytest.mark.parametrize("front", ["VIN ", "vin: ", "VIN#", "VIN No. "])
def test_the_word_vin_in_front_does_not_matter(front):
    assert squeezed_vin(front + "1M8GDM9AXKP042788") == "1M8GDM9AXKP042788"


def test_letters_that_grow_in_capitals_stay_one_character():
    assert squeezed("ß") == "ß"


@pytest.mark.parametrize(
    ("vin", "said"),
    [
        ("1M8GDM9AXKPO42788", ["character 12 is O", "0 in place of O"]),
        ("IM8GDM9AXKP042788", ["character 1 is I", "1 in place of I"]),
        ("1M8GDM9QXKP042788", ["character 8 is Q", "0 or 9 in place of Q"]),
        ("1M8GDM9АXKP042788", ["character 8 is Cyrillic", "Latin keyboard"]),
        ("1M8GDM9\x07XKP042788", ["character 8 is a sign that can't be shown"]),
        ("1M8GDM9_XKP042788", ["character 8 is _", "as it stands on the car"]),
        ("IOQIOQIOQIOQIOQIO", ["character 1 is I", "and 13 more"]),
    ],
)
def test_characters_that_are_never_used_are_named(vin, said):
    with pytest.raises(InputError) as caught:
        require_characters(vin)
    for words in said:
        assert words in str(caught.value)


def test_a_message_stays_short_and_printable():
    with pytest.raises(InputError) as caught:
        require_characters("\x1b[31m" + "Q" * 5000)
    assert len(str(caught.value)) < 500
    assert "\x1b" not in str(caught.value)


def test_repairs_do_not_grow_without_end():
    assert len(repaired("Q" * 17)) <= 16
