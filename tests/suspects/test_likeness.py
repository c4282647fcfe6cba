"""What a likeness is worth: worked by hand, and against scipy's Beta distribution."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import beta

from beltside.base.errors import OutOfRangeError
from beltside.suspects.likeness import (
    MEASURED_RIGHT,
    MEASURED_WORTH_JOBS,
    MOST_BITS,
    kind_of_cause,
    learned_rate,
    likeness_bits,
    trust,
)


def test_worked_by_hand() -> None:
    """4 of 6, prior 1 in 10. Rate (1.72 + 4) / 8 = 0.715, odds 2.5088; prior odds 1/9; factor
    22.58, 4.497 bits; of these 6 / (6 + 10) count: 1.686; odds from 1/9 to 0.3576, 26.3 %."""
    assert learned_rate(4, 6) == pytest.approx(5.72 / 8)
    assert trust(6) == pytest.approx(0.375)
    bits = likeness_bits(4, 6, 0.1)
    assert bits == pytest.approx(0.375 * math.log2(2.508772 * 9), abs=1e-4)
    odds = 2.0**bits / 9.0
    assert odds / (1 + odds) == pytest.approx(0.2634, abs=1e-4)


def test_no_judged_job_no_weight() -> None:
    assert likeness_bits(0, 0, 0.05) == 0.0


@pytest.mark.parametrize(("right", "judged"), [(0, 0), (1, 1), (0, 3), (4, 6), (97, 120)])
def test_rate_is_the_mean_of_a_beta_distribution(right: int, judged: int) -> None:
    """Conjugate prior of a share (Gelman et al. 2013, section 2.4), by scipy."""
    a = MEASURED_WORTH_JOBS * MEASURED_RIGHT + right
    b = MEASURED_WORTH_JOBS * (1 - MEASURED_RIGHT) + judged - right
    assert learned_rate(right, judged) == pytest.approx(beta.mean(a, b))


COUNTS = st.integers(0, 500).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n)))


@given(COUNTS, st.floats(0.001, 0.999))
def test_alone_it_never_brings_a_cause_beyond_the_learned_rate(
    counts: tuple[int, int], prior: float
) -> None:
    """By Bayes' rule in odds, and it never speaks against the cause."""
    bits = likeness_bits(*counts, prior)
    assert 0.0 <= bits <= MOST_BITS
    odds = 2.0**bits * prior / (1 - prior)
    assert odds / (1 + odds) <= max(learned_rate(*counts), prior) + 1e-9


@given(st.integers(1, 200), st.data())
def test_more_right_is_worth_more(judged: int, data: st.DataObject) -> None:
    right = data.draw(st.integers(0, judged - 1))
    assert likeness_bits(right + 1, judged, 0.05) >= likeness_bits(right, judged, 0.05)


def test_wrong_most_of_the_time_says_nothing() -> None:
    """1 of 20 right, on a cause that is 1 in 8 anyway."""
    assert learned_rate(1, 20) < 0.125
    assert likeness_bits(1, 20, 0.125) == 0.0


@pytest.mark.parametrize(
    ("right", "judged", "prior"), [(2, 1, 0.1), (0, -1, 0.1), (1, 2, 0.0), (1, 2, 1.0)]
)
def test_out_of_range(right: int, judged: int, prior: float) -> None:
    with pytest.raises(OutOfRangeError):
        likeness_bits(right, judged, prior)


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [
        ("idler-2.bearing", "idler.bearing", True),
        ("idler-2.bearing", "idler.rattle", False),
        ("coolant-pump.bearing", "coolant-pump.bearing", True),
        ("coolant-pump.seal+coolant-pump.bearing", "coolant-pump.bearing", False),
        ("a.x+b-3.y", "b.y+a.x", True),
        ("none", "none", True),
    ],
)
def test_the_same_cause_on_another_drive(one: str, other: str, same: bool) -> None:
    assert (kind_of_cause(one) == kind_of_cause(other)) == same
