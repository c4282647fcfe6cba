"""Words: one word for one thing, and help for those who use another."""

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from beltside.base.words import FAULTS, OTHER_NAMES, PARTS, PULLEY_PARTS, part_kind, suggest_part


@pytest.mark.parametrize("names", [PARTS, PULLEY_PARTS, FAULTS])
def test_names_are_plain_and_said_once(names):
    assert len(set(names)) == len(names)
    for name in names:
        assert re.fullmatch(r"[a-z]+(-[a-z]+)*", name)


def test_pulleys_are_parts():
    assert set(PULLEY_PARTS) < set(PARTS)
    # What has no pulley on the belt.
    assert not {"belt", "timing-chain", "engine", "none"} & set(PULLEY_PARTS)


def test_part_and_fault_can_not_be_mistaken():
    """`part.fault` is read from either side."""
    assert not set(PARTS) & set(FAULTS)


def test_other_names_lead_to_ours_and_are_not_ours():
    assert set(OTHER_NAMES.values()) <= set(PARTS)
    assert not set(OTHER_NAMES) & set(PARTS)


@given(st.sampled_from(PARTS), st.integers(2, 9))
@settings(max_examples=40)
def test_a_number_does_not_change_the_kind(part, number):
    assert part_kind(f"{part}-{number}") == part_kind(part) == part


@pytest.mark.parametrize("name", ["idler-1", "idler-0", "idler-10", "Idler", "", "idler-"])
def test_what_is_no_numbered_part_comes_back_as_it_is(name):
    assert part_kind(name) == name


@pytest.mark.parametrize("word", OTHER_NAMES)
def test_the_trades_other_names_are_understood(word):
    assert suggest_part(word, PARTS) == OTHER_NAMES[word]


def test_a_part_this_car_has_not_is_not_suggested_by_another_name():
    without = tuple(part for part in PARTS if part != "coolant-pump")
    assert suggest_part("water-pump", without) != "coolant-pump"


def test_suggestions_forgive_spelling_and_refuse_nonsense():
    assert suggest_part("coolant-pmp", PARTS) == "coolant-pump"
    assert suggest_part("zzz", PARTS) is None
    assert suggest_part("crank", []) is None
