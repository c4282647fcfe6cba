"""Lines get the name of the part whose geometry they fit, and noise gets none."""

from functools import cache

import numpy as np
import pytest
from drives import ALTERNATOR_RATIO, OUTER_RACE_ORDER, SHEET, heard

from beltside.casework.explain import LEAST_EXCESS_DB, explained_lines
from beltside.casework.families import search, surprises
from beltside.casework.results import ExplainedLine


@cache
def lines(seed: int, bearing: float) -> tuple[ExplainedLine, ...]:
    found = surprises(heard(seed, bearing=bearing).hearing, SHEET)
    assert found is not None
    return explained_lines(search(found, SHEET), found, SHEET)


def test_an_outer_race_is_named_at_its_order() -> None:
    own = [
        line for line in lines(1, 0.5) if (line.part, line.source) == ("alternator", "outer race")
    ]
    assert own
    assert own[0].spectrum == "envelope"
    assert {line.harmonic for line in own} >= {1, 2}
    for line in own:
        expected = line.harmonic * OUTER_RACE_ORDER
        assert line.order == pytest.approx(expected, rel=0.005, abs=1 / 32)


def test_the_bearing_comes_first_and_others_are_not_blamed() -> None:
    driven = [line for line in lines(1, 0.5) if line.part != "engine"]
    assert driven[0].part == "alternator"
    assert {line.part for line in driven} == {"alternator"}


@pytest.mark.parametrize("seed", [2, 3, 4, 5])
def test_an_engine_with_nothing_wrong_has_only_its_own_lines(seed: int) -> None:
    assert {line.part for line in lines(seed, 0.0)} <= {"engine"}


def test_firing_lines_of_a_four_cylinder_are_multiples_of_two() -> None:
    own = [line for line in lines(2, 0.0) if line.part == "engine"]
    assert own
    for line in own:
        if line.source == "firing":
            assert line.order / 2.0 == pytest.approx(line.harmonic)
        else:
            assert line.order / 0.5 == pytest.approx(line.harmonic)
            assert line.order % 2.0 != 0.0
        assert line.excess_db >= LEAST_EXCESS_DB
    assert {4.0, 6.0} <= {line.order for line in own if line.source == "firing"}


def test_lines_come_by_significance_and_none_twice() -> None:
    driven = [line for line in lines(1, 0.5) if line.part != "engine"]
    significance = [line.significance for line in driven]
    assert significance == sorted(significance, reverse=True)
    assert len({(line.spectrum, round(line.order * 32)) for line in driven}) == len(driven)


def test_without_a_crank_there_is_nothing_to_explain() -> None:
    assert surprises(heard(1, with_crank=False, seconds=4.0).hearing, SHEET) is None


def test_the_order_made_lies_inside_the_drives_window() -> None:
    """The nominal ratio of the diameters, 138 over 55."""
    assert pytest.approx(2.509, abs=1e-3) == ALTERNATOR_RATIO
    found = surprises(heard(1, bearing=0.5).hearing, SHEET)
    assert found is not None
    family = max(
        (one for one in search(found, SHEET) if one.source == "outer race"),
        key=lambda one: one.family.significance,
    )
    assert family.part == "alternator"
    assert np.isfinite(family.family.significance)
