"""The next step: repairs by enumeration of orders, checks by enumeration of plans, and manners."""

from __future__ import annotations

import itertools
from dataclasses import replace

import boards
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from beltside.casework.shipped import catalogue, costs
from beltside.suspects.board import board_for
from beltside.suspects.catalogue import check_done
from beltside.suspects.next_check import advise, likely_now, money_without_check
from beltside.suspects.plan import (
    Planner,
    check_minutes,
    planner_for,
    ruled_out,
    situation_after,
    situation_at_start,
    with_repairs_done,
)
from beltside.suspects.posterior import posterior

PARTS = ["crank", "coolant-pump", "alternator", "idler", "tensioner"]
EVEN = [[0.5, 0.5]] * 10


def planner(
    weights: list[float],
    waste: list[float],
    rows: dict[str, list[list[float]]] | None = None,
    *,
    hand_over: float = 1e5,
    **keys: object,
) -> Planner:
    made, board = boards.small_board(weights, rows or {"idle": EVEN[: len(weights) + 2]}, **keys)
    return planner_for(board, made, boards.small_costs(made, waste, hand_over=hand_over))


def by_orders(probability: list[float], waste: list[float], hand_over: float) -> float:
    """Least expected loss over every order of every subset of repairs, then handing over."""
    best = np.inf
    for many in range(len(probability) + 1):
        for order in itertools.permutations(range(len(probability)), many):
            left, money = 1.0, 0.0
            for one in order:
                money += (left - probability[one]) * waste[one]
                left -= probability[one]
            best = min(best, money + left * hand_over)
    return best


@settings(max_examples=25, deadline=None)
@given(
    st.lists(st.floats(0.02, 1.0), min_size=1, max_size=5),
    st.lists(st.floats(5.0, 900.0), min_size=5, max_size=5),
    st.floats(20.0, 2000.0),
)
def test_repairs_alone_are_as_cheap_as_any_order(
    weights: list[float], losses: list[float], hand_over: float
) -> None:
    waste = losses[: len(weights)]
    plan = planner(weights, waste, hand_over=hand_over)
    mass = np.array([*weights, 0.0, 0.0])
    mass /= mass.sum()
    money, _ = money_without_check(plan, mass[None, :])
    assert money[0] == pytest.approx(by_orders(mass[: len(weights)].tolist(), waste, hand_over))


def test_money_is_in_proportion_to_the_mass() -> None:
    plan = planner([0.5, 0.3, 0.2], [100.0, 20.0, 50.0])
    mass = np.array([[0.5, 0.3, 0.2, 0.0, 0.0], [0.25, 0.15, 0.1, 0.0, 0.0]])
    money, _ = money_without_check(plan, mass)
    assert money[1] == pytest.approx(money[0] / 2)


def test_two_faults_at_once_need_both_repairs() -> None:
    plan = planner([1.0, 1.0], [50.0, 50.0], pairs={"belt.slip+belt.misalignment": 1.0})
    pair = len(plan.board.suspects) - 1
    assert ruled_out(plan, [0]).tolist() == [True, False, False, False, False]
    assert ruled_out(plan, [0, 1])[pair]
    # When it is the pair for sure, neither repair is wasted.
    mass = np.zeros((1, pair + 1))
    mass[0, pair] = 1.0
    assert money_without_check(plan, mass)[0][0] == pytest.approx(0.0)


def test_repairs_done_are_not_proposed_again() -> None:
    plan = with_repairs_done(planner([5.0, 1.0], [10.0, 10.0]), [0])
    odds = np.array([0.0, 0.98, 0.01, 0.01])
    _, first = money_without_check(plan, odds[None, :])
    assert plan.repairs[int(first[0])].cures == ("belt.misalignment",)


def test_a_check_is_worth_what_it_saves_by_enumeration() -> None:
    rows = {"look": [[0.9, 0.1], [0.2, 0.8], [0.5, 0.5], [0.5, 0.5]]}
    plan = planner([0.6, 0.4], [200.0, 150.0], rows, none=1e-3, other=1e-3, hand_over=400.0)
    odds = np.exp(plan.board.log_prior)
    made = situation_at_start(boards.small_board([0.6, 0.4], rows)[0], {})
    advice = advise(plan, odds, made)
    (option,) = advice.options
    after = 0.0
    for outcome in range(2):
        joint = odds * np.array([row[outcome] for row in rows["look"]])
        total = joint.sum()
        after += total * _with_none(joint / total, [200.0, 150.0], 400.0)
    now = _with_none(odds, [200.0, 150.0], 400.0)
    assert advice.money_without_check == pytest.approx(now)
    # Two minutes at 1 a minute.
    assert option.saves == pytest.approx(now - after - 2.0)


def test_a_check_that_tells_nothing_does_not_live_on_the_one_after_it() -> None:
    told = [[0.95, 0.05], [0.1, 0.9], [0.5, 0.5], [0.5, 0.5]]
    rows = {"glance": [[0.5, 0.5]] * 4, "look": told}
    plan = planner([0.6, 0.4], [200.0, 150.0], rows, none=1e-3, other=1e-3, hand_over=400.0)
    odds = np.exp(plan.board.log_prior)
    made = situation_at_start(boards.small_board([0.6, 0.4], rows)[0], {})
    advice = advise(plan, odds, made)
    saves = {plan.board.places[one.place][0].id: one.saves for one in advice.options}
    # The glance costs its two minutes at 1 a minute, whatever is done after it.
    assert saves["glance"] == pytest.approx(-2.0)
    assert saves["look"] > 10.0
    assert [plan.board.places[one.place][0].id for one in advice.worth_doing] == ["look"]


def test_two_checks_that_need_each_other_are_worth_what_both_are() -> None:
    # Neither tells enough by itself to change the repair; both together do.
    half = [[0.8, 0.2], [0.2, 0.8], [0.5, 0.5], [0.5, 0.5]]
    plan_of_one = planner(
        [0.85, 0.15], [100.0, 100.0], {"look": half}, none=1e-3, other=1e-3, hand_over=500.0
    )
    plan_of_two = planner(
        [0.85, 0.15],
        [100.0, 100.0],
        {"look": half, "glance": half},
        none=1e-3,
        other=1e-3,
        hand_over=500.0,
    )
    made = {}
    for plan in (plan_of_one, plan_of_two):
        start = situation_at_start(boards.small_board([0.85, 0.15], {"look": half})[0], {})
        made[len(plan.board.places)] = advise(plan, np.exp(plan.board.log_prior), start)
    assert made[2].options[0].saves > made[1].options[0].saves


def test_a_saving_under_a_minute_of_pay_is_none() -> None:
    def after(minutes: float):
        rows = {"look": [[0.9, 0.1], [0.1, 0.9], [0.5, 0.5], [0.5, 0.5]]}
        plan = planner([0.8, 0.2], [200.0, 150.0], rows, minutes={"look": minutes})
        start = situation_at_start(boards.small_board([0.8, 0.2], rows)[0], {})
        return advise(plan, np.exp(plan.board.log_prior), start)

    # At 1 a minute each minute longer saves 1 less.
    tells = after(1.0).options[0].saves + 1.0
    assert tells > 5.0
    longer, too_long = after(tells - 1.1), after(tells - 0.9)
    assert (longer.options[0].saves, longer.stop) == (pytest.approx(1.1), False)
    assert (too_long.options[0].saves, too_long.stop) == (pytest.approx(0.9), True)
    assert too_long.worth_doing == ()


def _with_none(odds: np.ndarray, waste: list[float], hand_over: float) -> float:
    """`by_orders` with "none" as one more, ended by giving the car back (comeback 1e5)."""
    return by_orders(odds[:3].tolist(), [*waste, 1e5], hand_over)


@pytest.fixture(scope="module")
def board():
    return board_for(catalogue(), PARTS)


@pytest.fixture(scope="module")
def plan(board):
    return planner_for(board, catalogue(), costs())


class TestManners:
    @staticmethod
    def named(board, advice):
        return {(board.places[o.place][0].id, board.places[o.place][1]) for o in advice.options}

    def test_no_known_answer_is_asked_again(self, board, plan):
        found = [
            check_done(catalogue(), PARTS, "ear-sides", None, "front"),
            check_done(catalogue(), PARTS, "spin-by-hand", "idler", "not-sure"),
        ]
        known = {board.place_of(one) for one in found}
        start = situation_at_start(catalogue(), {})
        advice = advise(plan, posterior(board, found), start, known, likely_now(board, found))
        asked = self.named(board, advice)
        assert ("ear-sides", None) not in asked
        assert ("spin-by-hand", "idler") not in asked
        assert ("spin-by-hand", "tensioner") in asked

    @pytest.mark.parametrize(
        ("condition", "gone"),
        [
            ("engine-runs", "ear-sides"),
            ("engine-cold", "cold-warm"),
            ("belt-may-come-off", "belt-off-run"),
            ("overrunning-pulley", "decoupler-hold"),
            ("pressure-pump", "cap-pressure"),
        ],
    )
    def test_no_check_whose_condition_fails(self, board, plan, condition, gone):
        odds = posterior(board, [])
        held = advise(plan, odds, situation_at_start(catalogue(), {}))
        failed = advise(plan, odds, situation_at_start(catalogue(), {condition: False}))
        assert gone in {check for check, _ in self.named(board, held)}
        left = {check for check, _ in self.named(board, failed)}
        assert gone not in left
        for word in left:
            assert condition not in catalogue().check(word).needs

    def test_running_the_engine_ends_the_cold_start(self):
        start = situation_at_start(catalogue(), {})
        after = situation_after(catalogue(), start, [catalogue().check("throttle-blip")])
        assert start.allows(catalogue().check("cold-warm"))
        assert not after.allows(catalogue().check("cold-warm"))

    def test_taking_the_belt_off_is_paid_once(self, board, plan):
        spin = board.index["spin-by-hand", "idler"]
        mist = board.index["water-mist", None]
        look = board.index["belt-look", None]
        closed, opened = (
            check_minutes(plan, frozenset()),
            check_minutes(plan, frozenset({"belt-off"})),
        )
        access = next(one for one in catalogue().accesses if one.id == "belt-off")
        assert closed[spin] - opened[spin] == access.open_minutes
        assert opened[mist] - closed[mist] == access.close_minutes
        assert opened[look] == closed[look]
        after = situation_after(
            catalogue(), situation_at_start(catalogue(), {}), [catalogue().check("spin-by-hand")]
        )
        assert after.opened == {"belt-off"}

    def test_sure_enough_it_stops_and_says_what_to_replace(self, board, plan):
        odds = np.full(len(board.suspects), 1e-5)
        at = [one.id for one in board.suspects].index("idler.bearing")
        odds[at] = 1.0 - 1e-5 * (len(odds) - 1)
        advice = advise(plan, odds, situation_at_start(catalogue(), {}))
        assert advice.stop
        assert advice.repair.id == "idler"
        assert advice.repair_probability > 0.99

    def test_a_sound_engine_is_given_back(self, board, plan):
        odds = np.full(len(board.suspects), 1e-5)
        odds[[one.id for one in board.suspects].index("none")] = 1.0
        advice = advise(plan, odds / odds.sum(), situation_at_start(catalogue(), {}))
        assert (advice.stop, advice.repair.id) == (True, "release")

    def test_unsure_it_goes_on_checking(self, board, plan):
        advice = advise(plan, posterior(board, []), situation_at_start(catalogue(), {}))
        assert not advice.stop
        assert [o.saves for o in advice.options] == sorted(
            (o.saves for o in advice.options), reverse=True
        )

    def test_a_dear_part_is_checked_longer_than_a_cheap_one(self, board):
        # The same odds between two repairs; what a wrong one costs decides.
        at = [one.id for one in board.suspects].index
        odds = np.full(len(board.suspects), 1e-6)
        odds[at("idler.bearing")], odds[at("tensioner.bearing")] = 0.9, 0.1
        odds /= odds.sum()

        def best(dear: float):
            repairs = tuple(
                replace(one, money=dear) if one.id == "idler" else one for one in costs().repairs
            )
            plan = planner_for(board, catalogue(), replace(costs(), repairs=repairs))
            return advise(plan, odds, situation_at_start(catalogue(), {}))

        assert best(1000.0).options[0].saves > best(5.0).options[0].saves

    def test_a_like_check_is_worth_less_after_its_twin(self, board):
        found = [check_done(catalogue(), PARTS, "spin-by-hand", "idler", "rough")]
        now = likely_now(board, found)
        wiggle = board.index["wiggle", "idler"]
        at = [one.id for one in board.suspects].index("idler.bearing")
        rest = [one.id for one in board.suspects].index("none")
        assert now[wiggle].sum(axis=0) == pytest.approx(np.ones(len(board.suspects)))
        alone = board.likely[wiggle, 1, at] / board.likely[wiggle, 1, rest]
        assert now[wiggle][1, at] / now[wiggle][1, rest] < alone
        assert board.index["wiggle", "tensioner"] not in now
