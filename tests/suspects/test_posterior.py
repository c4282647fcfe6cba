"""Joining findings: Bayes by enumeration, like checks, taking back, contradictions."""

from __future__ import annotations

import itertools
from typing import ClassVar

import boards
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from beltside.casework.shipped import catalogue
from beltside.suspects.board import Board, board_for
from beltside.suspects.catalogue import CheckDone, check_done
from beltside.suspects.posterior import (
    REST,
    SOUND,
    conflicts,
    entropy_bits,
    joint_likelihood,
    log_likelihood,
    normalised,
    posterior,
    sound_evidence,
    weights_of_evidence,
    without_each,
)

PARTS = ["crank", "coolant-pump", "alternator", "idler", "tensioner"]


@pytest.fixture(scope="module")
def board() -> Board:
    return board_for(catalogue(), PARTS)


def done(check: str, part: str | None, outcome: str) -> CheckDone:
    return check_done(catalogue(), PARTS, check, part, outcome)


def some_findings() -> list[CheckDone]:
    return [
        done("spin-by-hand", "coolant-pump", "rough"),
        done("wiggle", "coolant-pump", "play"),
        done("spin-by-hand", "idler", "smooth"),
        done("belt-off-run", None, "noise-gone"),
        done("spin-by-hand", "coolant-pump", "rough"),
        done("weep-hole", None, "not-sure"),
        done("coolant-level", "coolant-pump", "low"),
    ]


def test_independent_findings_equal_bayes_by_enumeration(board: Board) -> None:
    found = [
        done("spin-by-hand", "coolant-pump", "rough"),
        done("water-mist", None, "no-change"),
        done("belt-off-run", None, "noise-gone"),
    ]
    product = np.array([suspect.weight for suspect in board.suspects])
    for one in found:
        product = product * np.array(
            [one.check.likelihoods(s, one.part)[one.outcome.word] for s in board.suspects]
        )
    assert posterior(board, found) == pytest.approx(product / product.sum(), abs=1e-12)


@settings(max_examples=20, deadline=None)
@given(st.permutations(range(7)), st.integers(0, 7))
def test_any_order_and_any_subset_gives_the_same_odds(order: list[int], many: int) -> None:
    board = board_for(catalogue(), PARTS)
    found = some_findings()
    chosen = order[:many]
    one_way = posterior(board, [found[number] for number in chosen])
    other_way = posterior(board, [found[number] for number in sorted(chosen)])
    assert one_way == pytest.approx(other_way, abs=1e-12)


def test_a_rough_pump_makes_its_bearing_the_first_suspect(board: Board) -> None:
    # Common practice, no source: a dry, rolling feel condemns that bearing.
    odds = posterior(board, [done("spin-by-hand", "coolant-pump", "rough")])
    assert board.suspects[int(np.argmax(odds))].id == "coolant-pump.bearing"


def test_not_done_and_not_sure_say_nothing(board: Board) -> None:
    found = [done("spin-by-hand", "idler", "not-done"), done("belt-off-run", None, "not-sure")]
    assert posterior(board, found) == pytest.approx(np.exp(board.log_prior))


def test_spinning_twice_is_not_twice_the_evidence(board: Board) -> None:
    rough = done("spin-by-hand", "coolant-pump", "rough")
    at = [suspect.id for suspect in board.suspects].index("coolant-pump.bearing")

    def bits(times: int) -> float:
        odds = posterior(board, [rough] * times)[at]
        return float(np.log2(odds / (1.0 - odds)))

    once, twice = bits(1) - bits(0), bits(2) - bits(1)
    assert 0.0 < twice < 0.35 * once


def test_a_like_check_counts_for_less_than_an_unlike_one(board: Board) -> None:
    at = [suspect.id for suspect in board.suspects].index("coolant-pump.bearing")
    spin, wiggle = (
        done("spin-by-hand", "coolant-pump", "rough"),
        done("wiggle", "coolant-pump", "play"),
    )
    after_spin = weights_of_evidence(board, [spin, wiggle])[1, at]
    alone = weights_of_evidence(board, [wiggle])[0, at]
    elsewhere = weights_of_evidence(board, [done("spin-by-hand", "idler", "smooth"), wiggle])
    assert 0.0 < after_spin < alone
    # Another pulley is another sign. Its own result shifts the odds a little, not its weight.
    assert elsewhere[1, at] == pytest.approx(alone, abs=0.1)


class TestLikeChecks:
    """The mixture of two copulas, by a second way: summing over the common thing in slices."""

    ROWS: ClassVar = {
        "a": [[0.5, 0.3, 0.2], [0.2, 0.2, 0.6], [0.8, 0.1, 0.1], [0.4, 0.4, 0.2]],
        "b": [[0.6, 0.4], [0.1, 0.9], [0.9, 0.1], [0.5, 0.5]],
    }
    SHARE, REPEAT = 0.4, 0.7

    @pytest.fixture
    def pair(self) -> Board:
        return boards.small_board(
            [1.0, 2.0],
            self.ROWS,
            alike={"g": {"checks": ["a", "b"], "share": self.SHARE}},
            repeat_share=self.REPEAT,
        )[1]

    def by_slices(self, suspect: int, a: int, b: int) -> float:
        slices = 1000
        thing = (np.arange(slices) + 0.5) / slices
        shown = [
            np.searchsorted(np.cumsum(self.ROWS[word][suspect]), thing, side="right") == outcome
            for word, outcome in (("a", a), ("b", b))
        ]
        apart = self.ROWS["a"][suspect][a] * self.ROWS["b"][suspect][b]
        return float(self.SHARE * (shown[0] & shown[1]).mean() + (1.0 - self.SHARE) * apart)

    def test_two_like_checks(self, pair: Board) -> None:
        for a, b in itertools.product(range(3), range(2)):
            joint = joint_likelihood(pair, {0: [a], 1: [b]})
            expected = [self.by_slices(suspect, a, b) for suspect in range(4)]
            assert joint == pytest.approx(expected, abs=2e-3)

    def test_each_alone_is_as_the_catalogue_says(self, pair: Board) -> None:
        for a in range(3):
            both = sum(joint_likelihood(pair, {0: [a], 1: [b]}) for b in range(2))
            assert both == pytest.approx(pair.likely[0, a])
            assert joint_likelihood(pair, {0: [a]}) == pytest.approx(pair.likely[0, a])

    def test_once_more_sums_to_what_was_known(self, pair: Board) -> None:
        # Contradicting results of one check, then each outcome of the like one.
        known = joint_likelihood(pair, {0: [0, 2]})
        more = sum(joint_likelihood(pair, {0: [0, 2], 1: [b]}) for b in range(2))
        assert more == pytest.approx(known)

    def test_all_results_of_all_repeats_sum_to_one(self, pair: Board) -> None:
        total = sum(
            joint_likelihood(pair, {0: [first, second], 1: [b]})
            for first, second, b in itertools.product(range(3), range(3), range(2))
        )
        assert total == pytest.approx(np.ones(4))


def test_taking_one_back_gives_the_odds_without_it(board: Board) -> None:
    found = some_findings()
    sound = np.random.default_rng(3).normal(0.0, 1.0, len(board.suspects))
    rows = without_each(board, found, sound)
    for number in range(len(found)):
        rest = found[:number] + found[number + 1 :]
        assert np.exp(rows[number]) == pytest.approx(posterior(board, rest, sound), abs=1e-12)


def test_bits_are_odds_with_over_odds_without(board: Board) -> None:
    found = some_findings()
    bits = weights_of_evidence(board, found)
    with_it = posterior(board, found)
    for number in range(len(found)):
        without = posterior(board, found[:number] + found[number + 1 :])
        ratio = with_it / (1.0 - with_it) / (without / (1.0 - without))
        assert bits[number] == pytest.approx(np.log2(ratio), abs=1e-9)


def test_bits_stay_right_when_one_suspect_is_all_but_certain(board: Board) -> None:
    sound = np.zeros(len(board.suspects))
    sound[0] = 60.0
    found = [done("spin-by-hand", "coolant-pump", "rough")]
    bits = weights_of_evidence(board, found, sound)
    assert np.isfinite(bits).all()
    assert board.suspects[0].id == "coolant-pump.bearing"
    assert bits[0, 0] > 2.0


class TestContradictions:
    def test_the_same_check_with_two_results(self, board: Board) -> None:
        found = [
            done("belt-off-run", None, "noise-gone"),
            done("belt-off-run", None, "noise-stays"),
        ]
        (one,) = conflicts(board, found)
        assert (one.first, one.second) == (0, 1)

    def test_two_checks_that_cannot_both_be_right(self, board: Board) -> None:
        found = [
            done("water-mist", None, "squeal-louder"),
            done("weep-hole", None, "dry"),
            done("hose-pinch", None, "changes"),
        ]
        rare = conflicts(board, found)
        bits = self.by_hand(board, found[0], found[2])
        assert [(one.first, one.second) for one in rare] == ([(0, 2)] if bits >= 2.0 else [])

    @staticmethod
    def by_hand(board: Board, a: CheckDone, b: CheckDone) -> float:
        prior = np.exp(board.log_prior)
        first = np.exp(log_likelihood(board, [a]))
        second = np.exp(log_likelihood(board, [b]))
        return float(np.log2((prior @ first) * (prior @ second) / (prior @ (first * second))))

    def test_one_finding_against_all_the_rest(self, board: Board) -> None:
        found = [
            done("spin-by-hand", "coolant-pump", "rough"),
            done("weep-hole", None, "marks"),
            done("probe-housing", "coolant-pump", "loud"),
            done("belt-off-run", None, "noise-stays"),
        ]
        (one,) = conflicts(board, found)
        assert (one.first, one.second) == (3, REST)
        prior = np.exp(board.log_prior)
        last = np.exp(log_likelihood(board, found[3:]))
        # How likely it is before and after the others, by hand.
        expected = np.log2((prior @ last) / (posterior(board, found[:3]) @ last))
        assert one.bits == pytest.approx(expected)

    def test_findings_that_agree_are_none(self, board: Board) -> None:
        found = [
            done("spin-by-hand", "coolant-pump", "rough"),
            done("belt-off-run", None, "noise-gone"),
            done("weep-hole", None, "marks"),
        ]
        assert conflicts(board, found) == []

    def test_sound_against_a_finding(self, board: Board) -> None:
        at = [suspect.id for suspect in board.suspects].index("engine.knock")
        sound = np.zeros(len(board.suspects))
        sound[at] = 8.0
        found = [done("belt-off-run", None, "noise-gone")]
        (one,) = conflicts(board, found, sound)
        assert (one.first, one.second) == (SOUND, 0)
        assert conflicts(board, [done("belt-off-run", None, "noise-stays")], sound) == []


def test_the_sound_never_puts_a_pair_before_its_likelier_member(board: Board) -> None:
    single = [suspect for suspect in board.suspects if not suspect.members]
    told = np.random.default_rng(4).normal(0.0, 3.0, len(single))
    said = sound_evidence(board, told)
    at = {suspect.id: number for number, suspect in enumerate(board.suspects)}
    assert said[: len(single)] == pytest.approx(told)
    for suspect in board.suspects:
        if suspect.members:
            members = [told[at[member.id]] for member in suspect.members]
            # The mean of the two likelihoods, by hand.
            assert said[at[suspect.id]] == pytest.approx(np.log(np.mean(np.exp(members))))
            assert said[at[suspect.id]] <= max(members) + 1e-12


def test_entropy_of_even_odds_is_the_log_of_their_number() -> None:
    assert entropy_bits(np.full(8, 0.125)) == pytest.approx(3.0)
    assert entropy_bits(np.array([1.0, 0.0])) == 0.0


def test_scores_far_from_zero_are_no_trouble() -> None:
    assert normalised(np.array([-1e5, -1e5 + np.log(3.0)])) == pytest.approx([0.25, 0.75])
