"""One car's plan: its repairs, costs and accesses as arrays, and what is open and holds now."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from beltside.suspects.board import Board
from beltside.suspects.catalogue import Catalogue, Check
from beltside.suspects.costs import HAND_OVER, RELEASE, Costs, Repair, repairs_for

Float64 = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Situation:
    """What is open and what holds on the car right now.

    Attributes
    ----------
    opened
        Accesses that are open ("belt-off").
    conditions
        By condition, whether it holds.
    """

    opened: frozenset[str]
    conditions: Mapping[str, bool]

    def allows(self, check: Check) -> bool:
        """Whether all that must hold first does."""
        return all(self.conditions.get(word, True) for word in check.needs)


def situation_at_start(catalogue: Catalogue, stated: Mapping[str, bool]) -> Situation:
    """Before any check: what was stated, else what the catalogue assumes."""
    held = {one.id: stated.get(one.id, one.assumed) for one in catalogue.conditions}
    return Situation(frozenset(), held)


def situation_after(
    catalogue: Catalogue, situation: Situation, checks: Iterable[Check]
) -> Situation:
    """After these checks, one after the other."""
    opened, held = set(situation.opened), dict(situation.conditions)
    for check in checks:
        opened = (opened - set(check.closes)) | set(check.opens)
        if check.engine == "running":
            held |= {one.id: False for one in catalogue.conditions if one.ends_with_running}
    return Situation(frozenset(opened), held)


@dataclass(frozen=True)
class Planner:
    """One car's repairs and costs as arrays; made by `planner_for`.

    Attributes
    ----------
    repairs
        R of them, then handing over.
    useful
        Which suspects a repair helps to end, shape (S, R).
    waste
        Money lost when the repair was not the one, shape (R,).
    halves
        For each pair ended by two repairs: its suspect and the two.
    hand_over
        Money for handing the car on.
    check_minutes, check_risk
        Minutes and expected damage of each check, shape (C,).
    rows, row_check
        Likelihoods of all outcomes one below the other, shape (N, S), and whose each is, (N,).
    """

    board: Board
    repairs: tuple[Repair, ...]
    useful: Float64
    waste: Float64
    halves: tuple[tuple[int, int, int], ...]
    hand_over: float
    per_minute: float
    open_minutes: Mapping[str, float]
    close_minutes: Mapping[str, float]
    check_minutes: Float64
    check_risk: Float64
    rows: Float64
    row_check: npt.NDArray[np.int64]


def planner_for(board: Board, catalogue: Catalogue, costs: Costs) -> Planner:
    """Everything of the plan that depends on the car and the costs alone."""
    opening = {one.id: one.open_minutes for one in catalogue.accesses}
    closing = {one.id: one.close_minutes for one in catalogue.accesses}
    repairs = repairs_for(costs, board.suspects)
    active = [repair for repair in repairs if repair.id != HAND_OVER]
    ends = {suspect: number for number, one in enumerate(active) for suspect in one.cures}
    useful = np.zeros((len(board.suspects), len(active)))
    halves = []
    for index, suspect in enumerate(board.suspects):
        mine = sorted({ends[one.id] for one in (suspect.members or (suspect,)) if one.id in ends})
        useful[index, mine] = 1.0
        if len(mine) == 2:
            halves.append((index, mine[0], mine[1]))
    waste = []
    for repair in active:
        if repair.id == RELEASE:
            waste.append(costs.comeback)
            continue
        minutes = repair.minutes + costs.listen_again_minutes
        minutes += sum(opening[word] + closing[word] for word in repair.access)
        waste.append(repair.money + costs.wrong_part + costs.per_minute * minutes)
    checks = [check for check, _ in board.places]
    counts = [len(check.outcomes) for check in checks]
    rows = [board.likely[place, :count] for place, count in enumerate(counts)]
    return Planner(
        board,
        (*active, repairs[-1]),
        useful,
        np.maximum(np.array(waste), 1e-6),
        tuple(halves),
        costs.hand_over,
        costs.per_minute,
        opening,
        closing,
        np.array([check.minutes for check in checks]),
        np.array([one.mishap.chance * one.mishap.money if one.mishap else 0.0 for one in checks]),
        np.concatenate(rows) if rows else np.zeros((0, len(board.suspects))),
        np.repeat(np.arange(len(checks)), counts),
    )


def with_repairs_done(planner: Planner, done: Collection[int]) -> Planner:
    """The plan after some repairs, by position, have not ended the noise."""
    if not done:
        return planner
    useful, waste = planner.useful.copy(), planner.waste.copy()
    useful[:, list(done)] = 0.0
    waste[list(done)] = np.inf
    halves = tuple(half for half in planner.halves if not {half[1], half[2]} & set(done))
    return replace(planner, useful=useful, waste=waste, halves=halves)


def ruled_out(planner: Planner, done: Collection[int]) -> npt.NDArray[np.bool_]:
    """Which suspects are ended by these repairs together, shape (S,)."""
    left = planner.useful.copy()
    left[:, list(done)] = 0.0
    gone: npt.NDArray[np.bool_] = np.logical_and(
        planner.useful.sum(axis=1) > 0.0, left.sum(axis=1) == 0.0
    )
    return gone


def check_minutes(planner: Planner, opened: frozenset[str]) -> Float64:
    """Minutes each check takes now, with opening and closing, shape (C,)."""
    extra = [
        sum(planner.open_minutes[word] for word in check.opens if word not in opened)
        + sum(planner.close_minutes[word] for word in check.closes if word in opened)
        for check, _ in planner.board.places
    ]
    minutes: Float64 = planner.check_minutes + np.array(extra)
    return minutes


def opened_after(check: Check, opened: frozenset[str]) -> frozenset[str]:
    """Accesses open after a check."""
    return (opened - frozenset(check.closes)) | frozenset(check.opens)
