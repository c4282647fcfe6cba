"""The bench of the odds: its optimum by hand, its bill, and small jobs near the optimum."""

from itertools import permutations

import numpy as np
import pytest

from beltside.suspects.plan import planner_for
from beltside.suspects.posterior import entropy_bits
from odds_jobs import Job, draw_car, draw_world, run
from odds_made import made_board, made_small
from odds_optimum import SmallJob
from odds_policies import beltside, gains_bits, repairs_only


def test_the_optimum_without_checks_is_the_best_order_of_repairs() -> None:
    made, money, board = made_small(np.random.default_rng(2), 3, 1)
    plan = planner_for(board, made, money)
    small = SmallJob(board, plan)
    # A check that costs more than anything is never done.
    small.cost = np.array([1e9])
    odds, waste = np.exp(board.log_prior), [float(one) for one in plan.waste]
    best = np.inf
    for many in range(5):
        for order in permutations(range(4), many):
            left, spent = 1.0, 0.0
            for one in order:
                ended = float(odds @ plan.useful[:, one])
                spent += (left - ended) * waste[one]
                left -= ended
            best = min(best, spent + left * plan.hand_over)
    assert small.optimum() == pytest.approx(best)


@pytest.mark.parametrize("seed", [3, 4])
def test_small_jobs_come_near_the_optimum(seed: int) -> None:
    # Dynamic programming over every state: the target is 5 %.
    made, money, board = made_small(np.random.default_rng(seed), 3, 3)
    small = SmallJob(board, planner_for(board, made, money))
    optimum = small.optimum()
    assert optimum - 1e-9 <= small.of_advice() <= 1.05 * optimum


def test_a_job_is_billed_for_all_that_was_done() -> None:
    rng = np.random.default_rng(5)
    made, money, board, _ = made_board(rng, 8, 6)
    plan = planner_for(board, made, money)
    world = draw_world(rng, board, honest=True)
    for _ in range(10):
        car = draw_car(rng, board, world)
        job = run(Job(made, board, plan, money, car), beltside)
        minutes, needed = job.needed()
        assert job.done
        assert job.minutes >= minutes - 1e-9
        assert job.money + money.per_minute * job.minutes >= needed - 1e-9
        blind = run(Job(made, board, plan, money, car), repairs_only)
        assert blind.findings == []


def test_bits_of_a_check_are_what_it_tells() -> None:
    # Cover & Thomas, Elements of Information Theory, eq. 2.28 (from memory), by sums.
    rng = np.random.default_rng(6)
    made, money, board, _ = made_board(rng, 6, 4)
    plan = planner_for(board, made, money)
    car = draw_car(rng, board, draw_world(rng, board, honest=True))
    job = Job(made, board, plan, money, car)
    odds = job.probability()
    for place, bits in enumerate(gains_bits(job, range(len(board.places)))):
        joint = board.likely[place] * odds
        outer = joint.sum(axis=1, keepdims=True) * odds
        some = joint > 0.0
        told = float((joint[some] * np.log2(joint[some] / outer[some])).sum())
        assert bits == pytest.approx(told)
        assert bits <= entropy_bits(odds)
