"""The true optimum of small jobs, by dynamic programming over everything that can be known.

A state is what each check has shown (or not yet) and which repairs have been done. The value of a
state is the least expected money from there on, by the same bill as `odds_jobs`.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

import numpy as np
import numpy.typing as npt

from beltside.suspects.board import Board
from beltside.suspects.next_check import advise
from beltside.suspects.plan import (
    Planner,
    Situation,
    ruled_out,
    with_repairs_done,
)

Float64 = npt.NDArray[np.float64]
State = tuple[tuple[int, ...], frozenset[int]]
"""Outcome of each check, -1 when not done; repairs done."""


class SmallJob:
    """A small car whose every state can be counted: no like checks, no access, no conditions."""

    def __init__(self, board: Board, planner: Planner) -> None:
        self.board, self.planner = board, planner
        self.cost = planner.per_minute * planner.check_minutes + planner.check_risk
        self.counts = [len(check.outcomes) for check, _ in board.places]
        self.prior = np.exp(board.log_prior)
        self.start: State = ((-1,) * len(self.counts), frozenset())

    def mass(self, state: State) -> Float64:
        """Probability of the state and each suspect together."""
        shown, repaired = state
        mass = self.prior.copy()
        for place, outcome in enumerate(shown):
            if outcome >= 0:
                mass = mass * self.board.likely[place, outcome]
        if repaired:
            mass[ruled_out(self.planner, repaired)] = 0.0
        return mass

    def repaired_money(self, mass: Float64, number: int) -> tuple[float, float]:
        """What a repair loses where it is not the one, and how much is left to do."""
        ended = float(mass @ self.planner.useful[:, number])
        left = float(mass.sum()) - ended
        return max(left, 0.0) * float(self.planner.waste[number]), max(left, 0.0)

    def optimum(self) -> float:
        """Least expected money from the start."""
        hand_over = self.planner.hand_over
        repairs = range(len(self.planner.waste))

        @cache
        def value(state: State) -> float:
            mass = self.mass(state)
            total = float(mass.sum())
            if total <= 1e-15:
                return 0.0
            shown, repaired = state
            best = total * hand_over
            for number in repairs:
                if number not in repaired:
                    lost, left = self.repaired_money(mass, number)
                    if left < total - 1e-15:
                        best = min(best, lost + value((shown, repaired | {number})))
            for place, outcome in enumerate(shown):
                if outcome < 0:
                    best = min(
                        best, total * float(self.cost[place]) + self._after(value, state, place)
                    )
            return best

        return value(self.start)

    def _after(self, value: Callable[[State], float], state: State, place: int) -> float:
        shown, repaired = state
        return sum(
            value((*_with(shown, place, outcome), repaired))
            for outcome in range(self.counts[place])
        )

    def of_advice(self) -> float:
        """Expected money when Beltside's advice is followed from the start."""
        situation = Situation(frozenset(), {})

        def value(state: State) -> float:
            mass = self.mass(state)
            total = float(mass.sum())
            if total <= 1e-12:
                return 0.0
            shown, repaired = state
            known = [place for place, outcome in enumerate(shown) if outcome >= 0]
            advice = advise(
                with_repairs_done(self.planner, repaired), mass / total, situation, known
            )
            if not advice.stop:
                place = advice.options[0].place
                return total * float(self.cost[place]) + self._after(value, state, place)
            number = self.planner.repairs.index(advice.repair)
            if number == len(self.planner.waste):
                return total * self.planner.hand_over
            lost, _ = self.repaired_money(mass, number)
            return lost + value((shown, repaired | {number}))

        return value(self.start)


def _with(shown: tuple[int, ...], place: int, outcome: int) -> tuple[tuple[int, ...]]:
    return ((*shown[:place], outcome, *shown[place + 1 :]),)
