"""The search against brute force over all sets of steps."""

import pytest

from beltside.teardown.problem import is_solution, members
from beltside.teardown.search import cheapest
from jobs import every_solution, in_some_order
from random_jobs import random_problem


def least(problem):
    return min(every_solution(problem), default=None)


@pytest.mark.parametrize("seed", range(12))
@pytest.mark.parametrize(("circles", "waits"), [(False, 0.0), (True, 0.0), (True, 0.4)])
def test_least_cost_is_that_of_brute_force(seed, circles, waits):
    problem = random_problem(seed, 11, circles=circles, waits=waits)
    found, brute = cheapest(problem), least(problem)
    assert found.proved
    if brute is None:
        assert found.steps is None
    else:
        assert found.cost == brute[0]
        assert is_solution(problem, found.steps)


@pytest.mark.parametrize("seed", range(8))
def test_the_integer_program_finds_the_same(seed):
    problem = random_problem(seed, 11, circles=True, waits=0.4)
    brute = least(problem)
    found = cheapest(problem, most_branches=1)
    assert found.proved
    assert (found.steps is None) == (brute is None)
    if brute is not None:
        assert found.cost == brute[0]


@pytest.mark.parametrize("seed", range(6))
def test_what_is_done_costs_nothing_more(seed):
    problem = random_problem(seed, 10)
    first = cheapest(problem)
    done = first.steps & -first.steps
    stood = type(problem)(**{**vars(problem), "done": done})
    assert cheapest(stood).cost == least(stood)[0]
    assert cheapest(stood).cost <= first.cost - problem.costs[next(members(done))]


@pytest.mark.parametrize("seed", range(6))
def test_a_solution_can_be_worked_in_some_order(seed):
    problem = random_problem(seed, 7, circles=True, waits=0.5)
    for _, steps in every_solution(problem):
        assert in_some_order(problem, steps)


@pytest.mark.parametrize("seed", range(6))
def test_least_value_of_a_function_that_grows_with_the_steps(seed):
    problem = random_problem(seed, 11)

    def value(steps):
        return problem.cost(steps) + 40.0 * steps.bit_count()

    found = cheapest(problem, value=value)
    assert found.proved
    assert found.cost == min(value(steps) for _, steps in every_solution(problem))


def test_a_limit_below_the_least_finds_nothing():
    problem = random_problem(3, 11)
    found = cheapest(problem)
    assert cheapest(problem, below=found.cost).steps is None
    assert cheapest(problem, below=found.cost + 1).steps == found.steps
