"""What was probably meant when the check digit does not fit."""

from __future__ import annotations

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from made_numbers import LETTERS_AND_DIGITS, YEAR_CODES, american_vins, counts, fits, with_check

from beltside.vehicle.typos import (
    LOOK_ALIKES,
    SOMEWHAT_ALIKE,
    likely_typos,
    one_slip_away,
    two_look_alikes_away,
)

GOOD = with_check("1AB45CD705P118341")


def well_formed(vin: str) -> bool:
    """49 CFR 565.15, told once more: where digits, check characters and year codes must stand."""
    return (
        vin[8] in "0123456789X"
        and vin[9] in YEAR_CODES
        and vin[14:].isdigit()
        and (vin[13].isdigit() or vin[2] == "9")
    )


def by_hand(vin: str) -> set[str]:
    """Every number one slip away that fits, by trying them all."""
    tried = {
        vin[:place] + one + vin[place + 1 :] for place in range(17) for one in LETTERS_AND_DIGITS
    }
    tried |= {vin[:n] + vin[n + 1] + vin[n] + vin[n + 2 :] for n in range(16)}
    return {one for one in tried - {vin} if fits(one) and well_formed(one)}


@given(american_vins(), st.integers(0, 16), st.sampled_from(LETTERS_AND_DIGITS))
@settings(max_examples=25, deadline=None)
def test_every_number_one_slip_away_is_found_once(vin, place, other):
    wrong = vin[:place] + other + vin[place + 1 :]
    assume(wrong != vin)
    found = [number for number, _, _ in one_slip_away(wrong)]
    assert len(found) == len(set(found))
    assert set(found) == by_hand(wrong)
    assert vin in found


@given(american_vins(), st.integers(1, 15))
@settings(max_examples=25, deadline=None)
def test_swapped_neighbours_are_found(vin, place):
    assume(counts(vin[place]) != counts(vin[place + 1]) and 8 not in (place, place + 1))
    wrong = f"{vin[:place]}{vin[place + 1]}{vin[place]}{vin[place + 2 :]}"
    typos = likely_typos(wrong, today_year=2026, most=400)
    meant = next(one for one in typos.shown if one.vin == vin)
    assert meant.kind == "neighbours swapped"
    assert meant.positions == (place + 1, place + 2)


@pytest.mark.parametrize("pair", LOOK_ALIKES)
@pytest.mark.parametrize("place", [3, 4, 5, 6, 7, 10])
def test_a_look_alike_comes_among_the_first(pair, place):
    for right, taken in (pair, pair[::-1]):
        vin = with_check(GOOD[:place] + right + GOOD[place + 1 :])
        wrong = vin[:place] + taken + vin[place + 1 :]
        if fits(wrong):
            assert counts(right) == counts(taken)  # 2, B, K and S: the check digit can't see it
            continue
        typos = likely_typos(wrong, today_year=2026, most=3)
        meant = next(one for one in typos.shown if one.vin == vin)
        assert meant.kind == "look-alike"
        assert f"character {place + 1}: {right} for {taken}" in meant.says


def test_a_letter_among_the_last_digits_leaves_one_answer():
    wrong = GOOD[:16] + "B"
    typos = likely_typos(wrong, today_year=2026, most=8)
    assert {one.positions for one in typos.shown} == {(17,)}
    assert [one.vin for one in typos.shown] == [GOOD]


def test_the_cap_and_the_count():
    wrong = GOOD[:4] + "7" + GOOD[5:]
    typos = likely_typos(wrong, today_year=2026, most=5)
    assert len(typos.shown) == 5
    assert typos.total == sum(number for _, number in typos.of_kind) > 25
    everything = likely_typos(wrong, today_year=2026, most=400)
    assert len(everything.shown) == typos.total
    points = [one.points for one in everything.shown]
    assert points == sorted(points)
    assert all(one.vin[0] in "12345" for one in everything.shown)


def test_each_has_its_own_model_year():
    # The year code itself misread: E for F moves the year by one.
    vin = with_check("1AB45CB70EP118341")
    wrong = vin[:9] + "F" + vin[10:]
    years = {
        one.vin: one.model_year.year for one in likely_typos(wrong, today_year=2026, most=400).shown
    }
    assert years[vin] == 2014
    assert {2015} < set(years.values())


def test_two_look_alikes_only_when_no_single_slip_helps():
    vin = with_check("1AB45CD702P123545")
    wrong = vin[:14] + "S4S"
    assert one_slip_away(wrong) == []
    assert vin in [number for number, _, _ in two_look_alikes_away(wrong)]
    typos = likely_typos(wrong, today_year=2026, most=8)
    assert vin in [one.vin for one in typos.shown]
    assert {one.kind for one in typos.shown} == {"two look-alikes"}


def test_pairs_are_pairs_of_the_alphabet():
    for pair in (*LOOK_ALIKES, *SOMEWHAT_ALIKE):
        assert len(pair) == 2
        assert set(pair) <= set(LETTERS_AND_DIGITS)
    assert len(set(map(frozenset, (*LOOK_ALIKES, *SOMEWHAT_ALIKE)))) == len(
        (*LOOK_ALIKES, *SOMEWHAT_ALIKE)
    )
