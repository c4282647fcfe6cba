"""The distribution of a sum: formulas, transform and simulation of one mind."""

import numpy as np
import pytest
from scipy import stats

from beltside.base.errors import InputError
from beltside.teardown.distribution import distribution, simulate
from beltside.teardown.times import Minutes, Piece

JOB = [
    *[Piece(Minutes(2.0, 4.0, 12.0))] * 6,
    *[Piece(Minutes(1.0, 2.0, 4.0))] * 8,
    Piece(Minutes(5.0, 5.0, 5.0)),
    Piece(Minutes(0.0, 0.0, 9.0)),
    Piece(Minutes(30.0, 60.0, 150.0), 0.05),
    Piece(Minutes(15.0, 30.0, 60.0), 0.2),
]


def test_one_piece_is_a_beta():
    alpha, beta = Minutes(2.0, 4.0, 12.0).shapes
    exact = stats.beta(alpha, beta, loc=2.0, scale=10.0)
    found = distribution([Piece(Minutes(2.0, 4.0, 12.0))])
    for chance in (0.05, 0.5, 0.8, 0.95):
        assert found.quantile(chance) == pytest.approx(exact.ppf(chance), rel=2e-3)


def test_two_pieces_are_the_convolution_of_two_betas():
    one = stats.beta(4.0, 4.0, loc=0.0, scale=6.0)
    at = np.linspace(0.0, 12.0, 6001)
    density = np.convolve(one.pdf(at), one.pdf(at))[: at.size] * (at[1] - at[0])
    below = np.cumsum(density) * (at[1] - at[0])
    found = distribution([Piece(Minutes(0.0, 3.0, 6.0))] * 2)
    assert found.chance_within(7.0) == pytest.approx(np.interp(7.0, at, below), abs=2e-3)


def test_a_trouble_comes_with_its_chance():
    found = distribution([Piece(Minutes(10.0, 10.0, 10.0)), Piece(Minutes(50.0, 60.0, 70.0), 0.1)])
    assert found.chance_within(40.0) == pytest.approx(0.9, abs=1e-3)
    assert found.mean == pytest.approx(16.0)


@pytest.mark.parametrize("spread", [0.0, 0.15])
def test_simulation_and_closed_form_agree_within_two_percent(spread):
    found = distribution(JOB, spread=spread)
    drawn = simulate(JOB, 20_000, np.random.default_rng(4), spread=spread)
    assert drawn.mean() == pytest.approx(found.mean, rel=0.01)
    assert drawn.std() == pytest.approx(found.deviation, rel=0.05)
    for chance in (0.1, 0.5, 0.8, 0.9):
        assert np.quantile(drawn, chance) == pytest.approx(found.quantile(chance), rel=0.02)


def test_the_grid_has_the_mean_of_the_formula():
    found = distribution(JOB)
    mass = np.diff(found.below, prepend=0.0)
    cell = found.edges[1] - found.edges[0]
    assert mass @ (found.edges - cell / 2.0) == pytest.approx(found.mean, rel=1e-3)


def test_nothing_uncertain_is_certain():
    found = distribution([Piece(Minutes(5.0, 5.0, 5.0))] * 3)
    assert found.quantile(0.8) == pytest.approx(15.0)
    assert found.chance_within(14.9) == 0.0
    assert distribution([]).mean == 0.0


@pytest.mark.parametrize("likely", [2.0, 2.3, 4.0, 11.0])
def test_no_sum_has_its_80_percent_point_below_what_is_sure(likely):
    pieces = [Piece(Minutes(2.0, likely, 12.0))] * 3
    assert distribution(pieces).quantile(0.8) >= sum(piece.surely for piece in pieces)


@pytest.mark.parametrize("three", [(5.0, 4.0, 6.0), (-1.0, 2.0, 3.0), (1.0, 2.0, float("nan"))])
def test_minutes_must_rise(three):
    with pytest.raises(InputError, match="low, likely and high"):
        Minutes(*three)
