"""The benchmark's own arithmetic, on numbers worked out by hand."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sklearn.calibration import calibration_curve
from sklearn.metrics import log_loss as sklearn_log_loss

import scoring


def test_calibration_error_by_hand():
    # Bin 0.6 to 0.7: said 0.65 twice, right once: gap 0.15. Bin 0.9 to 1: said 0.95, right: 0.05.
    table = scoring.reliability([0.65, 0.65, 0.95], [True, False, True])
    assert [(row.low, row.high, row.count) for row in table] == [(0.6, 0.7, 2), (0.9, 1.0, 1)]
    assert scoring.expected_calibration_error(table) == pytest.approx((2 * 0.15 + 0.05) / 3)


def test_certainty_falls_in_the_last_bin():
    (row,) = scoring.reliability([1.0], [True])
    assert (row.low, row.high) == (0.9, 1.0)


def test_no_answers_give_no_error():
    assert math.isnan(scoring.expected_calibration_error([]))
    assert math.isnan(scoring.share([]))
    assert math.isnan(scoring.log_loss([]))


@pytest.mark.parametrize(("said", "right"), [([0.5], []), ([1.2], [True]), ([-0.1], [True])])
def test_reliability_refuses_what_is_no_forecast(said, right):
    with pytest.raises(ValueError, match="probabilities"):
        scoring.reliability(said, right)


def test_reliability_agrees_with_scikit_learn():
    # calibration_curve of scikit-learn, uniform bins; values clear of the bins' edges.
    rng = np.random.default_rng(3)
    said = (rng.integers(0, 10, 500) + rng.uniform(0.1, 0.9, 500)) / 10.0
    right = rng.random(500) < said**1.5
    share, mean = calibration_curve(right, said, n_bins=10, strategy="uniform")
    table = scoring.reliability(said.tolist(), right.tolist())
    assert [row.right for row in table] == pytest.approx(share)
    assert [row.said for row in table] == pytest.approx(mean)


@given(st.lists(st.tuples(st.floats(0.0, 1.0), st.booleans()), min_size=1, max_size=60))
@settings(max_examples=60)
def test_calibration_error_is_a_share(answers):
    said, right = zip(*answers, strict=True)
    assert 0.0 <= scoring.expected_calibration_error(scoring.reliability(said, right)) <= 1.0


def test_a_perfect_forecaster_errs_less_on_more_cases():
    rng = np.random.default_rng(1)
    few = scoring.chance_calibration_error(rng.uniform(size=40).tolist(), rng)
    many = scoring.chance_calibration_error(rng.uniform(size=4000).tolist(), rng, draws=40)
    assert many < 0.02 < few


def test_log_loss_agrees_with_scikit_learn():
    said = np.array([[0.7, 0.2, 0.1], [0.1, 0.8, 0.1], [0.3, 0.3, 0.4]])
    truth = [0, 2, 2]
    expected = sklearn_log_loss(truth, said, labels=[0, 1, 2])
    assert scoring.log_loss(said[np.arange(3), truth].tolist()) == pytest.approx(expected)


def test_log_loss_of_a_blunder_is_finite():
    assert scoring.log_loss([0.0]) == pytest.approx(-math.log(1e-4))


@pytest.mark.parametrize(
    ("told", "wrong"),
    [(802.0, False), (839.0, False), (841.0, True), (400.0, True), (1600.0, True)],
)
def test_half_and_double_are_wrong_speeds(told, wrong):
    assert scoring.is_wrong(scoring.speed_error(told, 800.0)) is wrong


def test_no_speed_told_is_no_error():
    assert scoring.speed_error(None, 800.0) is None


def test_share_range_by_the_published_formula():
    # Wilson 1927 at 95 % (z = 1.96) for 0 of 10 gives 0 to 0.278; for 5 of 10 0.237 to 0.763.
    # Figures from memory, the usual worked example.
    low, high = scoring.share_range([False] * 10, 1.96)
    assert (low, high) == pytest.approx((0.0, 0.2775), abs=1e-3)
    assert scoring.share_range([True, False] * 5, 1.96) == pytest.approx((0.2366, 0.7634), abs=1e-3)
    assert scoring.share_range([]) == (0.0, 1.0)


def test_recalls_name_the_most_common_mistake():
    truths = ["a", "a", "a", "a", "b"]
    answers = ["a", "b", "b", "c", "b"]
    worst, best = scoring.recalls(truths, answers)
    assert (worst.truth, worst.count, worst.first, worst.mistake, worst.mistakes) == (
        "a",
        4,
        0.25,
        "b",
        2,
    )
    assert (best.truth, best.first, best.mistake) == ("b", 1.0, "")
