"""What a hold test's readings may be, and what is seen in them at once."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from beltside.base.errors import OutOfRangeError
from beltside.coolant.hold_readings import (
    MOST_POINTS,
    Reading,
    gathered,
    gauge_step_kpa,
    require_readings,
    split_at_pumping,
)


@pytest.mark.parametrize(
    ("readings", "words"),
    [
        ([], "no readings"),
        ([Reading(0, 108), Reading(0, 107)], "rise"),
        ([Reading(1, 108), Reading(0.5, 107)], "in order"),
        ([Reading(-1, 108)], "moment"),
        ([Reading(0, -5)], "pressure"),
        ([Reading(0, 400)], "250 kPa"),
        ([Reading(0, float("nan"))], "pressure"),
        ([Reading(0, 108, engine_c=400)], "engine"),
        ([Reading(0, 108, air_c=-60)], "air"),
    ],
)
def test_nonsense_is_refused(readings: list[Reading], words: str) -> None:
    with pytest.raises(OutOfRangeError, match=words):
        require_readings(readings)


@settings(max_examples=30, deadline=None)
@given(st.sampled_from([0.5, 1.0, 2.0, 5.0]), st.lists(st.integers(8, 60), min_size=6, max_size=20))
def test_step_is_a_multiple_of_the_true_one(step: float, counts: list[int]) -> None:
    found = gauge_step_kpa([Reading(i, step * n) for i, n in enumerate(counts)])
    assert found >= step - 1e-9
    for n in counts:
        assert abs(step * n / found - round(step * n / found)) * found < 0.031


def test_a_gauge_in_psi_is_seen() -> None:
    psi = 6.894757293
    found = gauge_step_kpa([Reading(i, round(n * psi, 2)) for i, n in enumerate((16, 15, 13, 15))])
    assert found == pytest.approx(psi)


def test_pumping_again_splits_the_run() -> None:
    kpa = (108, 106, 104, 103, 108, 106, 105)
    runs = split_at_pumping([Reading(i, value) for i, value in enumerate(kpa)], 1.0)
    assert [len(run) for run in runs] == [4, 3]


def test_a_reader_who_wavers_did_not_pump() -> None:
    kpa = (108, 106, 107, 106, 105, 106)
    assert len(split_at_pumping([Reading(i, value) for i, value in enumerate(kpa)], 1.0)) == 1


def test_a_dense_log_is_gathered_without_losing_its_mean() -> None:
    readings = [Reading(i / 60.0, 108.0 - i / 100.0) for i in range(600)]
    segment = gathered(readings)
    assert len(segment.points) <= MOST_POINTS
    assert sum(point.count for point in segment.points) == 600
    for point in segment.points:
        assert point.gauge_kpa == pytest.approx(108.0 - 0.6 * point.minutes, abs=1e-6)


def test_after_it_is_empty_nothing_more_is_learned() -> None:
    kpa = (100, 40, 10, 0, 0, 0, 0)
    segment = gathered([Reading(i, value) for i, value in enumerate(kpa)])
    assert len(segment.points) == 4
