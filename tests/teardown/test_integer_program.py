"""The integer program against all sets of steps in all orders, on small random problems."""

from __future__ import annotations

import dataclasses
import itertools

import numpy as np
import pytest

from beltside.teardown.circle_cuts import circle_cuts
from beltside.teardown.integer_program import solve
from beltside.teardown.landmark_cuts import Landmarks
from beltside.teardown.problem import Problem, mask_of
from beltside.teardown.search import reduced
from jobs import in_some_order
from random_jobs import random_problem


@pytest.mark.parametrize("seed", range(24))
def test_costs_what_the_cheapest_set_with_an_order_costs(seed: int) -> None:
    problem = random_problem(seed, 6, circles=seed % 3 != 0, waits=0.5)
    problem = dataclasses.replace(problem, targets=problem.targets | 1 << seed % 6)
    sets = (
        mask_of(steps)
        for count in range(problem.size + 1)
        for steps in itertools.combinations(range(problem.size), count)
    )
    costs = [
        problem.cost(steps)
        for steps in sets
        if not problem.targets & ~steps and in_some_order(problem, steps)
    ]
    solved = solve(problem, reduced(problem), problem.targets, 0)
    assert solved.proved
    assert (None if solved.steps is None else problem.cost(solved.steps)) == min(
        costs, default=None
    )


def test_two_steps_that_wait_for_each_other_are_cut_off() -> None:
    # Both taken is impossible, one of them is fine: taken a + taken b <= 1.
    (cut,) = circle_cuts(np.array([1.0, 1.0]), {0: 0, 1: 1}, {(0, 1): [None], (1, 0): [None]})
    assert cut.terms == ((0, -1.0), (1, -1.0))
    assert cut.low == -1.0
    assert not circle_cuts(np.array([1.0, 0.0]), {0: 0, 1: 1}, {(0, 1): [None], (1, 0): [None]})


def test_two_steps_that_rest_on_each_other_need_a_row_from_outside() -> None:
    # Step 0 rests on step 1 (variable 2) or step 5 (variable 3); step 1 on step 0 (variable 4).
    first = ((2, 1 << 1), (3, 1 << 5))
    second = ((4, 1 << 0),)
    values = np.array([1.0, 1.0, 1.0, 0.0, 1.0])
    pairs = {(0, 1): [first], (1, 0): [second]}
    (cut,) = circle_cuts(values, {0: 0, 1: 1}, pairs)
    assert dict(cut.terms)[3] == 1.0
    assert 2 not in dict(cut.terms)
    assert sum(dict(cut.terms)[head] for head in (0, 1) if head in dict(cut.terms)) == -1.0
    assert cut.low == 0.0


@pytest.mark.parametrize("seed", range(24))
def test_every_plan_holds_a_step_of_each_landmark(seed: int) -> None:
    """Against all sets of steps in all orders, for any values of the steps."""
    problem = random_problem(100 + seed, 6, circles=seed % 3 != 0, waits=0.5)
    size = problem.size
    rng = np.random.default_rng(seed)
    plans = [
        set(steps)
        for count in range(size + 1)
        for steps in itertools.combinations(range(size), count)
        if in_some_order(problem, mask_of(steps))
    ]
    landmarks = Landmarks(problem, reduced(problem), 0)
    for _ in range(6):
        values = rng.uniform(0.0, 0.5, size) * rng.integers(0, 2, size)
        for cut, wanted in landmarks.broken(values, [(step, 1.0) for step in range(size)], 20):
            for plan in plans:
                held = any((one in plan) if one < size else (one - size not in plan) for one in cut)
                assert held or wanted not in plan


def test_whole_values_without_an_order_break_a_landmark() -> None:
    """Two steps that rest on each other, or on a third that is not taken."""
    problem = Problem(
        costs=(1, 1, 5),
        clauses=(((0b010, 0b100),), ((0b001, 0b100),), ()),
        waits=((0, 0, 0), (0, 0, 0)),
        targets=0b001,
    )
    found = Landmarks(problem, problem.clauses, 0).broken(np.array([1.0, 1.0, 0.0]), [(0, 1.0)], 1)
    assert found == [((2,), 0)]
