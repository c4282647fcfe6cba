"""Odds and order of repairs against print and against a general-purpose library.

Textbook cases of Bayes' rule, the order by probability over cost (Kadane & Simon 1977; Heckerman,
Breese & Rommelse 1995), clusters with a shared access (Ottosen & Jensen 2010), and exact inference
by pgmpy on random networks.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from itertools import permutations
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

sys.path.insert(0, str(Path(__file__).parents[1] / "suspects"))

import boards

from beltside.suspects.board import Board
from beltside.suspects.catalogue import CheckDone
from beltside.suspects.next_check import advise, money_without_check
from beltside.suspects.plan import (
    Situation,
    check_minutes,
    planner_for,
)
from beltside.suspects.posterior import posterior


def shown(board: Board, check: str, outcome: int) -> CheckDone:
    place = board.index[check, None]
    made = board.places[place][0]
    return CheckDone(made, None, made.outcomes[outcome])


def odds_of_first(weights: Sequence[float], yes: Sequence[float], **keys: Any) -> float:
    """Odds of the first suspect after the second of two outcomes, none and other left out."""
    rows = [[1.0 - one, one] for one in (*yes, 0.5, 0.5)]
    _, board = boards.small_board(weights, {"sign": rows}, **keys)
    odds = posterior(board, [shown(board, "sign", 1)])
    return float(odds[0] / odds[: len(weights)].sum())


# Bayes' rule in textbooks


def test_eddy_mammography() -> None:
    # Eddy 1982, Probabilistic reasoning in clinical medicine (in Kahneman, Slovic & Tversky):
    # prevalence 1 %, hit 79.2 %, false alarm 9.6 %: 7.7 %.
    assert odds_of_first([0.01, 0.99], [0.792, 0.096]) == pytest.approx(0.077, abs=5e-4)


def test_tversky_and_kahneman_taxi() -> None:
    # Tversky & Kahneman 1982, Evidential impact of base rates: 15 % blue cabs, a witness right
    # in 80 % of cases says blue: 41 %.
    assert odds_of_first([0.15, 0.85], [0.8, 0.2]) == pytest.approx(0.41, abs=5e-3)


def test_bertrand_box() -> None:
    # Bertrand 1889, Calcul des probabilités: boxes gold-gold, silver-silver, gold-silver; gold is
    # drawn: 2/3 for gold-gold. (0.995 and 0.005 stand for 1 and 0, which the catalogue refuses.)
    assert odds_of_first([1, 1, 1], [0.995, 0.005, 0.5]) == pytest.approx(2 / 3, abs=4e-3)


def test_mosteller_three_prisoners() -> None:
    # Mosteller 1965, Fifty Challenging Problems in Probability, no. 13: A asks, the warder names
    # B; A still dies with 1/3 (names B with 1/2 when A is to be spared, surely when C is).
    assert odds_of_first([1, 1, 1], [0.5, 0.005, 0.995]) == pytest.approx(1 / 3, abs=2e-3)


def test_two_tests_in_a_row_multiply_their_ratios() -> None:
    # Good 1950, Probability and the Weighing of Evidence: posterior odds are prior odds times the
    # Bayes factors: 1:99 with factors 9 and 9 give 81:99.
    rows = [[0.1, 0.9], [0.9, 0.1], [0.5, 0.5], [0.5, 0.5]]
    _, board = boards.small_board([1, 99], {"a": rows, "b": rows})
    odds = posterior(board, [shown(board, "a", 1), shown(board, "b", 1)])
    assert odds[0] / odds[1] == pytest.approx(81 / 99)


# Order of repairs


def expected_cost(
    probability: Sequence[float], cost: Sequence[float], order: Sequence[int]
) -> float:
    """ECR = sum of c_i (1 - sum of p_j before it): Ottosen & Jensen 2010, eq. 2 (from memory)."""
    left, total = 1.0, 0.0
    for one in order:
        total += cost[one] * left
        left -= probability[one]
    return total


def test_probability_over_cost_sets_the_order() -> None:
    # Kadane & Simon 1977, via Ottosen & Jensen 2010. p .5 .3 .2, c 100 20 50: order 2, 1, 3 costs
    # 100, the listed order 120, the worst 136.
    p, c = [0.5, 0.3, 0.2], [100.0, 20.0, 50.0]
    every = {order: expected_cost(p, c, order) for order in permutations(range(3))}
    assert every[1, 0, 2] == pytest.approx(100.0) == min(every.values())
    assert every[0, 1, 2] == pytest.approx(120.0)
    assert max(every.values()) == pytest.approx(136.0)
    made, board = boards.small_board(p, {"idle": [[0.5, 0.5]] * 5})
    plan = planner_for(board, made, boards.small_costs(made, c))
    money, first = money_without_check(plan, np.array([[*p, 0.0, 0.0]]))
    # Ours leaves out the repair that was needed in any case: here 50 + 6 + 10.
    needed = sum(one * price for one, price in zip(p, c, strict=True))
    assert money[0] + needed == pytest.approx(100.0)
    assert plan.repairs[int(first[0])].cures == (board.suspects[1].id,)


@settings(max_examples=25, deadline=None)
@given(st.floats(0.05, 0.95), st.floats(1.0, 500.0), st.floats(1.0, 500.0))
def test_of_two_causes_the_first_is_by_p_over_c(p: float, first: float, second: float) -> None:
    # Textbook exercise (Heckerman, Breese & Rommelse 1995): begin with 1 if and only if
    # p / C1 >= (1 - p) / C2; what the repair itself costs cancels.
    made, board = boards.small_board([p, 1.0 - p], {"idle": [[0.5, 0.5]] * 4})
    plan = planner_for(board, made, boards.small_costs(made, [first, second]))
    _, begin = money_without_check(plan, np.array([[p, 1.0 - p, 0.0, 0.0]]))
    ours, other = p / first, (1.0 - p) / second
    if abs(ours - other) > 1e-9:
        assert int(begin[0]) == (0 if ours > other else 1)


def test_a_cluster_behind_one_access_comes_before_a_single_check() -> None:
    # Ottosen & Jensen 2010: with an access that is opened once, clusters are ranked, not each
    # check by its own p over c. Two checks behind 10 minutes of access, p .3 and 1 minute each;
    # outside one with p .3 and 8 minutes. Alone .3 / 11 < .3 / 8, so plain p over c goes outside
    # first: 8 + .7 x 11 + .4 x 1 = 16.1 minutes. The cluster has .6 / (10 + 1 + .7) > .3 / 8 and
    # goes first: 11 + .7 x 1 + .4 x 8 = 14.9 minutes.
    p = [0.3, 0.3, 0.3, 0.1]
    minutes = {"in-1": 1.0, "in-2": 1.0, "out": 8.0}
    shows, shows_not = [0.005, 0.995], [0.995, 0.005]
    rows = {
        word: [shows if number == own else shows_not for number in range(len(p) + 2)]
        for own, word in enumerate(minutes)
    }
    made, board = boards.small_board(
        p,
        rows,
        none=1e-3,
        other=1e-3,
        minutes=minutes,
        belt={"in-1": "off", "in-2": "off"},
        open_minutes=10.0,
        close_minutes=0.0,
    )
    plan = planner_for(board, made, boards.small_costs(made, [300.0] * 4, hand_over=1000.0))
    alone = {board.places[place][0].id: 0.3 / time
             for place, time in enumerate(check_minutes(plan, frozenset()))}  # fmt: skip
    assert max(alone, key=lambda word: alone[word]) == "out"
    advice = advise(plan, np.exp(board.log_prior), Situation(frozenset(), {}))
    assert board.places[advice.options[0].place][0].id in ("in-1", "in-2")


# Exact inference by another library


def by_pgmpy(prior: np.ndarray, rows: dict[str, np.ndarray], found: dict[str, int],
             group: Sequence[str] = (), share: float = 0.0) -> np.ndarray:  # fmt: skip
    """Odds by variable elimination in pgmpy; `rows` are (suspects, outcomes).

    Checks in `group` hang on one more node that says whether they see the same thing, and on the
    thing itself, cut at every edge of every suspect's outcomes.
    """
    from pgmpy.factors.discrete import TabularCPD
    from pgmpy.inference import VariableElimination
    from pgmpy.models import DiscreteBayesianNetwork

    suspects = len(prior)
    model = DiscreteBayesianNetwork()
    model.add_nodes_from(["suspect", *rows])
    model.add_edges_from([("suspect", check) for check in rows])
    parts = [TabularCPD("suspect", suspects, prior[:, None])]
    edges = np.unique(
        np.concatenate([[0.0, 1.0], *(np.cumsum(rows[c], axis=1)[:, :-1].ravel() for c in group)])
    )
    width = np.diff(edges)
    middle = edges[:-1] + width / 2
    if group:
        model.add_nodes_from(["same", "thing"])
        model.add_edges_from([(node, check) for node in ("same", "thing") for check in group])
        parts += [
            TabularCPD("same", 2, [[1.0 - share], [share]]),
            TabularCPD("thing", len(width), width[:, None] / width.sum()),
        ]
    for check, row in rows.items():
        outcomes = row.shape[1]
        if check not in group:
            parts.append(TabularCPD(check, outcomes, row.T, ["suspect"], [suspects]))
            continue
        table = np.zeros((outcomes, suspects, 2, len(width)))
        table[:, :, 0, :] = row.T[:, :, None]
        high = np.cumsum(row, axis=1)
        high[:, -1] = 1.0
        low = np.hstack((np.zeros((suspects, 1)), high[:, :-1]))
        for outcome in range(outcomes):
            table[outcome, :, 1, :] = (low[:, [outcome]] <= middle) & (middle < high[:, [outcome]])
        parts.append(
            TabularCPD(
                check,
                outcomes,
                table.reshape(outcomes, -1),
                ["suspect", "same", "thing"],
                [suspects, 2, len(width)],
            )
        )
    model.add_cpds(*parts)
    engine = VariableElimination(model)
    return np.asarray(engine.query(["suspect"], evidence=found, show_progress=False).values)


# What pgmpy says of its own modules as it is first imported.
QUIET = pytest.mark.filterwarnings(
    "ignore:`pgmpy.estimators.StructureScore` is deprecated:FutureWarning"
)


@QUIET
@pytest.mark.parametrize("seed", range(4))
def test_random_networks_agree_with_pgmpy(seed: int) -> None:
    # pgmpy (2015 on), exact inference by variable elimination.
    rng = np.random.default_rng(seed)
    suspects, checks = int(rng.integers(2, 7)), int(rng.integers(2, 9))
    rows = {
        f"check-{number}": boards.random_rows(rng, suspects + 2, int(rng.integers(2, 5)))
        for number in range(checks)
    }
    weights = rng.uniform(0.2, 5.0, suspects).tolist()
    _, board = boards.small_board(weights, rows, none=0.7, other=0.4)
    arrays = {word: np.array(row) for word, row in rows.items()}
    found = {
        word: int(rng.integers(row.shape[1])) for word, row in arrays.items() if rng.random() < 0.8
    }
    ours = posterior(board, [shown(board, word, outcome) for word, outcome in found.items()])
    theirs = by_pgmpy(np.exp(board.log_prior), arrays, found)
    assert np.abs(ours - theirs).max() < 1e-9


@QUIET
@pytest.mark.parametrize("seed", range(3))
def test_like_checks_agree_with_pgmpy(seed: int) -> None:
    # pgmpy (2015 on): the common thing as nodes of its own.
    rng = np.random.default_rng(100 + seed)
    rows = {f"check-{number}": boards.random_rows(rng, 5, 3) for number in range(4)}
    share = float(rng.uniform(0.1, 0.9))
    group = ["check-0", "check-1", "check-2"]
    _, board = boards.small_board(
        rng.uniform(0.2, 5.0, 3).tolist(),
        rows,
        none=0.7,
        other=0.4,
        alike={"group": {"checks": group, "share": share}},
    )
    arrays = {word: np.array(row) for word, row in rows.items()}
    found = {word: int(rng.integers(3)) for word in ("check-0", "check-2", "check-3")}
    ours = posterior(board, [shown(board, word, outcome) for word, outcome in found.items()])
    theirs = by_pgmpy(np.exp(board.log_prior), arrays, found, group, share)
    assert np.abs(ours - theirs).max() < 1e-9
