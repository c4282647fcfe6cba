"""Odds between candidates: scipy's softmax, and what the measures must obey."""

import numpy as np
import pytest
from scipy.special import softmax

from beltside.sound.crank_choice import Candidate
from beltside.sound.crank_classes import CLASS_MEASURES
from beltside.sound.crank_path import SpeedPath
from beltside.sound.crank_score import (
    CANDIDATE_MEASURES,
    TAKE_MEASURES,
    Weights,
    candidate_measures,
    odds,
    scores,
    take_measures,
    tempered,
)
from beltside.sound.crank_weights import WEIGHTS

STRONG = Candidate(1.0, 40.0, 30.0, 20.0, 5.0, 10.0, 0.95, 0.2)
WEAK = Candidate(2.0, 10.0, -5.0, -4.0, 1.0, 2.0, 0.5, 0.1)
PATH = SpeedPath(np.arange(3.0), np.full(3, 800.0), np.full(3, 20.0))


def classes(firing: float, between: float, count: int) -> np.ndarray:
    """Heights by class: firing lines that high, as much between them, all else at 0."""
    row = [firing if "firing" in name else between * ("between" in name) for name in CLASS_MEASURES]
    return np.tile(row, (count, 1))


def test_every_measure_has_a_weight() -> None:
    count = len(CANDIDATE_MEASURES)
    for row in (WEIGHTS.centre, WEIGHTS.spread, WEIGHTS.candidate, *WEIGHTS.bends):
        assert len(row) == count
    assert len(WEIGHTS.bends) == len(WEIGHTS.bend_at) == len(WEIGHTS.bend_size)
    assert len(WEIGHTS.none) == len(TAKE_MEASURES)


def test_odds_are_a_softmax_with_none_as_one_more_choice() -> None:
    score, prior = np.array([1.0, -2.0, 0.5]), np.array([-1.0, 0.0, -3.0])
    share, none = odds(score, 0.3, prior)
    assert [*share, none] == pytest.approx(softmax([*(score + prior), 0.3]))


def test_a_score_is_a_weighted_sum_and_its_bends() -> None:
    """Worked out by hand for two candidates."""
    count = len(CANDIDATE_MEASURES)
    rest = (0.0,) * (count - 1)
    weights = Weights(
        centre=(1.0, *rest),
        spread=(2.0,) * count,
        candidate=(0.5, *rest),
        bends=((1.0, *rest), (-2.0, *rest)),
        bend_at=(0.0, 1.0),
        bend_size=(3.0, -1.0),
        none=(0.25, 0.0, 0.0, 2.0),
    )
    table = np.zeros((2, count))
    table[:, 0] = (5.0, 1.0)
    score, none = scores(table, np.array([1.0, 9.0, 9.0, 0.5]), weights)
    assert score == pytest.approx(
        [0.5 * 2.0 + 3.0 * np.tanh(2.0) - np.tanh(-3.0), 0.0 - np.tanh(1.0)]
    )
    assert none == pytest.approx(1.25)


def test_tempered_keeps_sign_and_order_and_fades() -> None:
    nats = np.array([-50.0, -1.0, 0.0, 1.0, 50.0, 500.0])
    given = tempered(nats)
    assert given == pytest.approx(np.sign(nats) * np.log(1.0 + np.abs(nats)))
    assert (np.diff(given) > 0.0).all()


def test_measures_stand_in_their_order() -> None:
    heights = classes(6.0, 0.0, 2)
    found = candidate_measures([STRONG, WEAK], heights, [PATH], [0, 0])
    assert found.shape == (2, len(CANDIDATE_MEASURES))
    row = dict(zip(CANDIDATE_MEASURES, found[0], strict=True))
    assert row["firing"] == pytest.approx(np.log(41.0))
    assert row["behind"] == 0.0  # the best candidate is behind nobody
    assert row["beyond_chance"] == pytest.approx(0.75 / 0.8)
    assert row["match"] == pytest.approx(np.log(21.0))
    assert row["low_firing_odd"] == 6.0
    assert row["pulse_between"] == 0.0
    assert found[1, CANDIDATE_MEASURES.index("behind")] == pytest.approx(-np.log(1.0 + 75.0 - 6.0))


def test_a_take_of_clear_lines_speaks_against_none() -> None:
    faint = SpeedPath(np.arange(3.0), np.full(3, 800.0), np.full(3, 4.0))
    clear = odds(
        *scores(
            candidate_measures([STRONG, WEAK], classes(8.0, 0.0, 2), [PATH], [0, 0]),
            take_measures([STRONG, WEAK], [PATH], 100.0),
            WEIGHTS,
        ),
        np.zeros(2),
    )
    vague = odds(
        *scores(
            candidate_measures([WEAK, WEAK], classes(1.0, 1.0, 2), [faint], [0, 0]),
            take_measures([WEAK, WEAK], [faint], 100.0),
            WEIGHTS,
        ),
        np.zeros(2),
    )
    assert clear[1] < 0.1
    assert clear[1] < vague[1]


def test_a_minute_of_an_engine_looks_no_more_like_nothing_than_ten_seconds_of_it() -> None:
    """At 960 rpm, 160 turns are 10 s."""
    ten_seconds = take_measures([STRONG, WEAK], [PATH], 160.0)
    assert take_measures([STRONG, WEAK], [PATH], 960.0) == pytest.approx(ten_seconds)
    assert (take_measures([STRONG, WEAK], [PATH], 80.0) <= ten_seconds).all()
