"""Joining findings, and the next check."""

from __future__ import annotations

import numpy as np
import pytest

from beltside.casework.shipped import catalogue
from beltside.suspects.catalogue import check_done, checks_for, suspects_for
from beltside.suspects.posterior import (
    entropy_bits,
    finding_log_likelihood,
    log_prior,
    normalised,
    rank_checks,
)

PARTS = ["crank", "coolant-pump", "alternator", "idler"]


def by_enumeration(prior: np.ndarray, rows: list[np.ndarray]) -> np.ndarray:
    """Bayes by multiplying plain probabilities: the second implementation."""
    product = prior.copy()
    for row in rows:
        product = product * row
    return product / product.sum()


def test_odds_after_findings_equal_bayes_by_enumeration() -> None:
    suspects = suspects_for(catalogue(), PARTS)
    done = [
        check_done(catalogue(), PARTS, "spin-by-hand", "coolant-pump", "rough"),
        check_done(catalogue(), PARTS, "spin-by-hand", "idler", "smooth"),
        check_done(catalogue(), PARTS, "belt-off-run", None, "noise-gone"),
    ]
    scores = log_prior(suspects) + sum(finding_log_likelihood(suspects, one) for one in done)
    rows = [
        np.array([one.check.likelihoods(s, one.part)[one.outcome.word] for s in suspects])
        for one in done
    ]
    weight = np.array([suspect.weight for suspect in suspects])
    assert normalised(scores) == pytest.approx(by_enumeration(weight / weight.sum(), rows))


def test_a_rough_pump_makes_its_bearing_the_first_suspect() -> None:
    # Common practice, no source: a dry, rolling feel condemns that bearing.
    suspects = suspects_for(catalogue(), PARTS)
    done = check_done(catalogue(), PARTS, "spin-by-hand", "coolant-pump", "rough")
    odds = normalised(log_prior(suspects) + finding_log_likelihood(suspects, done))
    assert suspects[int(np.argmax(odds))].id == "coolant-pump.bearing"


def test_textbook_bayes_one_in_a_hundred() -> None:
    # Worked example found in any textbook of probability: prevalence 1 %, 90 % hits, 9 % false
    # alarms: 0.009 / (0.009 + 0.0891) = 9.17 %.
    scores = np.log([0.01, 0.99]) + np.log([0.9, 0.09])
    assert normalised(scores)[0] == pytest.approx(0.0917, abs=5e-4)


def test_entropy_of_even_odds_is_the_log_of_their_number() -> None:
    assert entropy_bits(np.full(8, 0.125)) == pytest.approx(3.0)
    assert entropy_bits(np.array([1.0, 0.0])) == 0.0


def test_next_checks_never_raise_the_uncertainty_and_belt_off_costs_once() -> None:
    suspects = suspects_for(catalogue(), PARTS)
    odds = normalised(log_prior(suspects))
    open_checks = checks_for(catalogue(), PARTS)
    on = rank_checks(suspects, odds, open_checks, belt_off_minutes=15.0, belt_is_off=False)
    off = rank_checks(suspects, odds, open_checks, belt_off_minutes=15.0, belt_is_off=True)
    before = entropy_bits(odds)
    assert all(0.0 <= one.gain <= before for one in on)
    assert [one.worth for one in on] == sorted((one.worth for one in on), reverse=True)
    minutes_on = {(one.check.id, one.part): one.minutes for one in on}
    for one in off:
        extra = minutes_on[one.check.id, one.part] - one.minutes
        assert extra == (15.0 if one.check.belt == "off" else 0.0)


def test_gain_of_a_check_equals_mutual_information_by_sums() -> None:
    suspects = suspects_for(catalogue(), PARTS)
    odds = normalised(log_prior(suspects))
    check = catalogue().check("belt-off-run")
    (ranked,) = rank_checks(suspects, odds, [(check, None)], belt_off_minutes=0.0, belt_is_off=True)
    rows = np.array(
        [[check.likelihoods(s, None)[o.word] for o in check.outcomes] for s in suspects]
    )
    joint = odds[:, None] * rows
    outer = joint.sum(axis=1, keepdims=True) * joint.sum(axis=0, keepdims=True)
    # Cover & Thomas, Elements of Information Theory, eq. 2.28 (from memory).
    assert ranked.gain == pytest.approx(float((joint * np.log2(joint / outer)).sum()))
