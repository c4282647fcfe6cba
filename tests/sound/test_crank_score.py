"""Odds between candidates: scipy's softmax, and what the measures must obey."""

import numpy as np
import pytest
from scipy.special import softmax

from beltside.sound.crank_choice import Candidate
from beltside.sound.crank_path import SpeedPath
from beltside.sound.crank_score import (
    CANDIDATE_MEASURES,
    TAKE_MEASURES,
    WEIGHTS,
    candidate_measures,
    odds,
    take_measures,
    tempered,
)

STRONG = Candidate(1.0, 40.0, 30.0, 20.0, 5.0, 10.0, 0.95, 0.2)
WEAK = Candidate(2.0, 10.0, -5.0, -4.0, 1.0, 2.0, 0.5, 0.1)
PATH = SpeedPath(np.arange(3.0), np.full(3, 800.0), np.full(3, 20.0))


def test_every_measure_has_a_weight() -> None:
    assert len(WEIGHTS.candidate) == len(CANDIDATE_MEASURES)
    assert len(WEIGHTS.none) == len(TAKE_MEASURES)


def test_odds_are_a_softmax_with_none_as_one_more_choice() -> None:
    rng = np.random.default_rng(10)
    candidates = rng.normal(size=(7, len(CANDIDATE_MEASURES)))
    take = rng.normal(size=len(TAKE_MEASURES))
    share, none = odds(candidates, take)
    scores = [*(candidates @ WEIGHTS.candidate), float(take @ np.array(WEIGHTS.none))]
    assert [*share, none] == pytest.approx(softmax(scores))
    assert float(share.sum()) + none == pytest.approx(1.0)


def test_tempered_keeps_sign_and_order_and_fades() -> None:
    nats = np.array([-50.0, -1.0, 0.0, 1.0, 50.0, 500.0])
    given = tempered(nats)
    assert given == pytest.approx(np.sign(nats) * np.log(1.0 + np.abs(nats)))
    assert (np.diff(given) > 0.0).all()


def test_measures_stand_in_their_order() -> None:
    table = candidate_measures([STRONG, WEAK], [PATH], [0, 0], np.array([-1.0, -2.0]))
    assert table.shape == (2, len(CANDIDATE_MEASURES))
    row = dict(zip(CANDIDATE_MEASURES, table[0], strict=True))
    assert row["firing"] == pytest.approx(np.log(41.0))
    assert row["prior"] == -1.0
    assert row["behind"] == 0.0  # the best candidate is behind nobody
    assert row["beyond_chance"] == pytest.approx(0.75 / 0.8)
    assert row["match"] == pytest.approx(np.log(21.0))
    assert table[1, CANDIDATE_MEASURES.index("behind")] == pytest.approx(-np.log(1.0 + 75.0 - 6.0))


def test_a_take_of_clear_lines_speaks_against_none() -> None:
    faint = SpeedPath(np.arange(3.0), np.full(3, 800.0), np.full(3, 4.0))
    prior = np.zeros(2)
    clear = odds(
        candidate_measures([STRONG, WEAK], [PATH], [0, 0], prior),
        take_measures([STRONG, WEAK], [PATH], 100.0),
    )
    vague = odds(
        candidate_measures([WEAK, WEAK], [faint], [0, 0], prior),
        take_measures([WEAK, WEAK], [faint], 100.0),
    )
    assert clear[0][0] > 0.9
    assert clear[1] < vague[1]


def test_a_minute_of_an_engine_looks_no_more_like_nothing_than_ten_seconds_of_it() -> None:
    """At 960 rpm, 160 turns are 10 s."""
    ten_seconds = take_measures([STRONG, WEAK], [PATH], 160.0)
    assert take_measures([STRONG, WEAK], [PATH], 960.0) == pytest.approx(ten_seconds)
    assert (take_measures([STRONG, WEAK], [PATH], 80.0) <= ten_seconds).all()
