"""Three-point estimates: Malcolm, Roseboom, Clark and Fazar 1959, Operations Research 7, 646-669.

Expected time (a + 4 m + b) / 6, standard deviation (b - a) / 6, variances add along a path.
"""

import math

import numpy as np
import pytest

from beltside.teardown.distribution import distribution, simulate
from beltside.teardown.times import Minutes, Piece


def test_two_four_twelve() -> None:
    # Worked example of San Jose State University course notes on PERT: 2, 4, 12 gives 5.0, 1.667.
    three = Minutes(2.0, 4.0, 12.0)
    assert three.mean == pytest.approx(5.0)
    assert three.deviation == pytest.approx(1.667, abs=5e-4)


def test_variances_add_on_a_path() -> None:
    # Malcolm et al. 1959.
    found = distribution([Piece(Minutes(2.0, 4.0, 12.0))] * 4)
    assert found.mean == pytest.approx(20.0)
    assert found.deviation == pytest.approx(math.sqrt(4.0) * 10.0 / 6.0)


def test_what_is_drawn_has_the_mean_and_deviation_of_the_formula() -> None:
    # Malcolm et al. 1959, for a distribution that lies between low and high.
    drawn = simulate([Piece(Minutes(2.0, 4.0, 12.0))], 40_000, np.random.default_rng(1))
    assert drawn.min() >= 2.0
    assert drawn.max() <= 12.0
    assert drawn.mean() == pytest.approx(5.0, rel=0.01)
    assert drawn.std() == pytest.approx(10.0 / 6.0, rel=0.02)


RELIABLE = {
    "A": (1, 2, 3), "B": (2, 3.5, 8), "E": (1, 4.5, 5), "C": (6, 9, 18), "F": (4, 4, 10),
    "J": (3, 9, 9), "L": (1, 5.5, 7), "N": (5, 5.5, 9),
}  # fmt: skip


def test_the_chance_to_keep_a_date() -> None:
    # Hillier and Lieberman 2001, Introduction to Operations Research, 7th ed., chapter on PERT/CPM,
    # the Reliable Construction Co. (from memory): mean critical path 44 weeks, variance 9, chance
    # of 47 weeks or less 0.84 by the normal distribution.
    found = distribution([Piece(Minutes(*three)) for three in RELIABLE.values()])
    assert found.mean == pytest.approx(44.0)
    assert found.deviation**2 == pytest.approx(9.0)
    assert found.chance_within(47.0) == pytest.approx(0.84, abs=0.015)
