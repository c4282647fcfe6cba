"""Old part on new part: verdicts a technician can check by hand."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from beltside.base.errors import InputError, OutOfRangeError
from beltside.bolting.match import Holes, holes, match_holes
from beltside.bolting.match_gap import round_order, widest_gap
from beltside.bolting.match_odds import wrong_hole_odds

PUMP = np.array([[0.0, 0.0], [84.0, 6.0], [96.0, 61.0], [41.0, 88.0], [-12.0, 52.0]])


def circle(n: int, radius: float = 40.0) -> np.ndarray:
    turn = 2.0 * np.pi * np.arange(n) / n
    return radius * np.stack([np.cos(turn), np.sin(turn)], axis=1)


def test_the_same_part_fits_as_it_lies() -> None:
    result = match_holes(holes(PUMP, 0.1), holes(PUMP + np.array([30.0, -5.0]), 0.1))
    assert result.verdict == "fits"
    assert [one.flipped for one in result.orientations] == [False]
    assert result.best is not None
    assert result.best.partner == {k: k for k in range(5)}
    assert result.best.shift_mm == pytest.approx((30.0, -5.0))


@settings(max_examples=25, deadline=None)
@given(
    turn=st.floats(-3.1, 3.1),
    x=st.floats(-200, 200),
    order=st.permutations(range(5)),
    flip=st.booleans(),
)
def test_turned_shifted_renumbered_turned_over(
    turn: float, x: float, order: list[int], flip: bool
) -> None:
    spin = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    new = (PUMP @ spin.T + [x, 3.0]) * ([-1, 1] if flip else [1, 1])
    result = match_holes(holes(PUMP, 0.1), holes(new[order], 0.1))
    assert result.verdict == ("fits another way up" if flip else "fits")
    best = result.best
    assert best is not None
    assert all(order[new_hole] == old_hole for old_hole, new_hole in best.partner.items())
    assert best.on_new(PUMP) == pytest.approx(new, abs=1e-6)


def test_a_hole_far_off_is_named() -> None:
    new = PUMP.copy()
    new[2] += [0.0, 4.0]
    result = match_holes(holes(PUMP, 0.1), holes(new, 0.1))
    assert result.verdict == "doesn't fit"
    assert "hole 3 of the old part lies 4.0 mm from hole 3" in result.reasons[0]


def test_another_part_does_not_fit() -> None:
    result = match_holes(holes(PUMP, 0.1), holes(1.3 * PUMP, 0.1))
    assert result.verdict == "doesn't fit"


def test_rough_measuring_cannot_tell() -> None:
    result = match_holes(holes(PUMP, 1.5), holes(PUMP, 1.5))
    assert result.verdict == "can't tell"


def test_a_square_fits_eight_ways() -> None:
    # The symmetry group of the square has 8 members, 4 of them mirrored.
    result = match_holes(holes(circle(4), 0.1), holes(circle(4), 0.1))
    assert result.verdict == "fits"
    assert len(result.orientations) == 8
    assert sum(one.flipped for one in result.orientations) == 4
    turns = sorted(round(one.turn_deg) % 360 for one in result.orientations if not one.flipped)
    assert turns == [0, 90, 180, 270]


def test_sixteen_on_a_circle() -> None:
    result = match_holes(holes(circle(16, 80.0), 0.1), holes(circle(16, 80.0), 0.1))
    assert len(result.orientations) == 32


def test_sizes_settle_a_symmetric_pattern() -> None:
    sizes = np.array([8.6, 8.6, 8.6, 12.5])
    result = match_holes(
        holes(circle(4), 0.1, sizes), holes(circle(4), 0.1, np.roll(sizes, 1)), can_flip=False
    )
    assert result.best is not None
    assert result.best.partner[3] == 0


def test_a_hole_too_small_for_its_bolt() -> None:
    sizes = np.full(5, 8.6)
    small = np.array([8.6, 8.6, 6.6, 8.6, 8.6])
    result = match_holes(holes(PUMP, 0.1, sizes), holes(PUMP, 0.1, small))
    assert result.verdict == "doesn't fit"
    assert "2.0 mm smaller" in result.reasons[0]
    assert match_holes(holes(PUMP, 0.1, small), holes(PUMP, 0.1, sizes)).verdict == "fits"


def test_a_missing_hole() -> None:
    typed = match_holes(holes(PUMP, 0.1), holes(PUMP[:4], 0.1))
    assert typed.verdict == "doesn't fit"
    assert typed.old_alone == (4,)
    seen = match_holes(holes(PUMP, 0.1), holes(PUMP[:4], 0.1, complete=False))
    assert seen.verdict == "can't tell"
    more = match_holes(holes(PUMP[:4], 0.1), holes(PUMP, 0.1))
    assert more.verdict == "fits"
    assert any("hole 5 of the new part has no partner" in reason for reason in more.reasons)


def test_shared_errors_do_not_pass_for_a_wrong_hole() -> None:
    # A scale wrong by 2 % moves every hole outwards: known as an error of the whole, it is let
    # pass; taken as an error of each hole, it speaks against the part.
    arm = (PUMP - PUMP.mean(axis=0)).ravel()
    scale = Holes(
        1.02 * PUMP, 0.05**2 * np.eye(10) + 0.02**2 * np.outer(arm, arm), *np.full((2, 5), np.nan)
    )
    assert match_holes(holes(PUMP, 0.05), scale).best.state != "off"  # type: ignore[union-attr]
    assert match_holes(holes(PUMP, 0.05), holes(1.04 * PUMP, 0.05)).verdict == "doesn't fit"


def test_the_odds_grow_with_the_distance() -> None:
    design = np.zeros((10, 3))
    design[0::2, 0] = design[1::2, 1] = 1.0
    design[0::2, 2], design[1::2, 2] = -PUMP[:, 1], PUMP[:, 0]
    chances = []
    for off in (0.0, 0.5, 1.0, 1.5):
        gap = np.zeros(10)
        gap[4] = off
        gap -= design @ np.linalg.lstsq(design, gap, rcond=None)[0]
        chances.append(wrong_hole_odds(gap, 0.1**2 * np.eye(10), design, 0.3, 1.5).just_wrong)
    assert chances == sorted(chances)
    assert chances[0] < 0.01
    assert chances[-1] > 0.9


def test_the_widest_gap_and_a_bore_in_the_middle() -> None:
    gap = widest_gap(PUMP)
    # By hand: |(84, 6)| = 84.2 mm, the next |(55, 27)| or |(53, 36)| = 64.1 mm.
    assert {gap.first, gap.second} == {0, 1}
    assert gap.length_mm == pytest.approx(np.hypot(84, 6))
    assert gap.next_mm == pytest.approx(np.hypot(53, 36))
    assert gap.clear
    assert not widest_gap(circle(5)).clear
    assert 5 not in round_order(np.vstack([PUMP, [[42.0, 44.0]]]))


@pytest.mark.parametrize(
    "places", [PUMP[:2], np.vstack([PUMP, PUMP[:1] + 0.1]), np.full((4, 2), np.nan)]
)
def test_impossible_holes_are_refused(places: np.ndarray) -> None:
    with pytest.raises(InputError):
        holes(places)


def test_figures_out_of_range_are_refused() -> None:
    with pytest.raises(OutOfRangeError):
        match_holes(holes(PUMP), holes(PUMP), scatter_mm=5.0)
    with pytest.raises(OutOfRangeError):
        match_holes(holes(PUMP), holes(PUMP), wrong_mm=0.0)
