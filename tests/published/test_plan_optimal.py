"""Plans against the CP-SAT solver of OR-tools (Perron and Furnon, version 9, 2023 and later).

Its model is written on its own in bench/plan_reference.py. `bench/teardown.py` does the same on
300 jobs.
"""

import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT / "bench"))

from beltside.teardown.problem import is_solution  # noqa: E402
from beltside.teardown.search import cheapest  # noqa: E402
from plan_reference import least_cost  # noqa: E402
from random_jobs import random_problem  # noqa: E402


@pytest.mark.parametrize("seed", range(14))
@pytest.mark.parametrize(("circles", "waits"), [(False, 0.0), (False, 0.3), (True, 0.3)])
def test_forty_things_cost_what_cp_sat_proves(seed: int, circles: bool, waits: float) -> None:
    # OR-tools CP-SAT 2023 and later.
    problem = random_problem(seed, 40, circles=circles, waits=waits)
    found = cheapest(problem)
    assert found.proved
    proved = least_cost(problem)
    assert (found.steps is None) == (proved is None)
    if proved is not None:
        assert found.cost == proved
        assert found.steps is not None
        assert is_solution(problem, found.steps)
