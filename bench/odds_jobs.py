"""Simulated jobs: cars with a known fault, checks that show what they show, and the bill.

What the checks show is drawn from worlds that differ from the catalogue: other priors, other and
blunter likelihoods, and more agreement between like checks than the catalogue thinks.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from beltside.suspects.board import Board
from beltside.suspects.catalogue import Catalogue, CheckDone
from beltside.suspects.costs import HAND_OVER, RELEASE, Costs
from beltside.suspects.plan import (
    Planner,
    Situation,
    check_minutes,
    ruled_out,
    situation_after,
    situation_at_start,
)
from beltside.suspects.posterior import log_likelihood, normalised

Float64 = npt.NDArray[np.float64]

PRIOR_SPREAD = 0.5
"""Spread of the log of each prior about the catalogue's."""
LIKELIHOOD_SPREAD = 0.5
"""Spread of the log of each likelihood about the catalogue's."""
BLUNT = 0.1
"""Share of each check's outcomes drawn as if the suspect were a healthy engine."""
MORE_ALIKE = 0.2
"""Like checks see one and the same thing this much oftener than the catalogue says."""


@dataclass(frozen=True)
class World:
    """What is true where the catalogue only guesses: prior, likelihoods, agreement."""

    prior: Float64
    likely: Float64
    shares: Float64


def draw_world(rng: np.random.Generator, board: Board, *, honest: bool = False) -> World:
    """A world about the catalogue; with `honest` the catalogue itself."""
    if honest:
        return World(np.exp(board.log_prior), board.likely, board.shares)
    prior = normalised(board.log_prior + rng.normal(0.0, PRIOR_SPREAD, len(board.suspects)))
    likely = board.likely * np.exp(rng.normal(0.0, LIKELIHOOD_SPREAD, board.likely.shape))
    likely /= likely.sum(axis=1, keepdims=True)
    healthy = [one.id for one in board.suspects].index("none")
    likely = (1.0 - BLUNT) * likely + BLUNT * likely[:, :, [healthy]]
    shares = np.where(board.shares > 0.0, np.minimum(board.shares + MORE_ALIKE, 0.95), 0.0)
    return World(prior, likely, shares)


@dataclass(frozen=True)
class Car:
    """One simulated car: its fault, and what every check would show."""

    truth: int
    shows: npt.NDArray[np.int64]


def draw_car(rng: np.random.Generator, board: Board, world: World) -> Car:
    """A car of this world."""
    truth = int(rng.choice(len(world.prior), p=world.prior))
    common = rng.random(int(board.groups.max(initial=0)) + 1)
    together = rng.random(len(common))
    own = rng.random(len(board.places))
    thing = np.where(together[board.groups] < world.shares, common[board.groups], own)
    edges = np.cumsum(world.likely[:, :, truth], axis=1)
    shows = (thing[:, None] >= edges).sum(axis=1)
    last = np.array([len(check.outcomes) - 1 for check, _ in board.places])
    return Car(truth, np.minimum(shows, last))


@dataclass
class Job:
    """A job on its way: what is known, what is open, what it has cost."""

    catalogue: Catalogue
    board: Board
    planner: Planner
    costs: Costs
    car: Car
    findings: list[CheckDone] = field(default_factory=list)
    repaired: set[int] = field(default_factory=set)
    minutes: float = 0.0
    money: float = 0.0
    wrong_parts: int = 0
    done: bool = False
    situation: Situation = field(init=False)
    scores: Float64 = field(init=False)

    def __post_init__(self) -> None:
        self.situation = situation_at_start(self.catalogue, {})
        self.scores = self.board.log_prior.copy()

    @property
    def known(self) -> set[int]:
        """Positions of the checks done."""
        return {self.board.place_of(one) for one in self.findings}

    @property
    def open_places(self) -> list[int]:
        """Positions of the checks that can be done now."""
        known = self.known
        return [
            place
            for place, (check, _) in enumerate(self.board.places)
            if place not in known and self.situation.allows(check)
        ]

    def probability(self) -> Float64:
        """Odds of the suspects now."""
        return normalised(self.scores)

    def ended_by(self, probability: Float64) -> Float64:
        """Probability that each repair ends the noise; the last is handing over."""
        other = [one.id for one in self.board.suspects].index("other")
        return np.append(probability @ self.planner.useful, probability[other])

    def check(self, place: int) -> None:
        """Do a check, pay for it, and note what it shows."""
        check, part = self.board.places[place]
        self.minutes += float(check_minutes(self.planner, self.situation.opened)[place])
        self.money += float(self.planner.check_risk[place])
        outcome = check.outcomes[int(self.car.shows[place])]
        self.findings.append(CheckDone(check, part, outcome))
        self.situation = situation_after(self.catalogue, self.situation, [check])
        self._score()

    def _score(self) -> None:
        self.scores = self.board.log_prior + log_likelihood(self.board, self.findings)
        if self.repaired:
            self.scores = np.where(ruled_out(self.planner, self.repaired), -np.inf, self.scores)

    def _opening_saved(self, access: tuple[str, ...]) -> float:
        """Minutes to close what is open, less what need not be opened again."""
        return sum(
            self.planner.close_minutes[word] for word in self.situation.opened if word not in access
        ) - sum(self.planner.open_minutes[word] for word in self.situation.opened if word in access)

    def repair(self, number: int) -> None:
        """Do a repair, pay for it, and listen whether the noise is gone."""
        repair = self.planner.repairs[number]
        self.minutes += self._opening_saved(repair.access)
        self.situation = replace(self.situation, opened=frozenset())
        needed = set(np.flatnonzero(self.planner.useful[self.car.truth]).tolist())
        if repair.id == HAND_OVER:
            self.money += self.costs.hand_over
            for one in needed - self.repaired:
                self._pay(one)
            self.done = True
            return
        self.repaired.add(number)
        if repair.id == RELEASE:
            if number in needed:
                self.done = True
            else:
                self.money += self.costs.comeback
        else:
            self._pay(number)
            if number not in needed:
                self.wrong_parts += 1
                self.money += self.costs.wrong_part
        self.done = self.done or (bool(needed) and needed <= self.repaired)
        if not self.done:
            self._score()
            if not np.isfinite(self.scores).any():
                raise RuntimeError("every suspect is ruled out")

    def _pay(self, number: int) -> None:
        repair = self.planner.repairs[number]
        if repair.id in (RELEASE, HAND_OVER):
            return
        self.money += repair.money
        self.minutes += repair.minutes + self.costs.listen_again_minutes
        self.minutes += sum(
            self.planner.open_minutes[word] + self.planner.close_minutes[word]
            for word in repair.access
        )

    def needed(self) -> tuple[float, float]:
        """Minutes and money of the repair the car needs, had it been known at once."""
        before = self.minutes, self.money
        self.minutes = self.money = 0.0
        for one in np.flatnonzero(self.planner.useful[self.car.truth]).tolist():
            self._pay(one)
        need = self.minutes, self.money
        self.minutes, self.money = before
        return need


Policy = Callable[[Job], tuple[str, int]]
"""From a job to ("check", place) or ("repair", number)."""


def run(job: Job, policy: Policy, most_steps: int = 150) -> Job:
    """Work a job to its end."""
    for _ in range(most_steps):
        kind, number = policy(job)
        if kind == "check":
            job.check(number)
        else:
            job.repair(number)
        if job.done:
            return job
    raise RuntimeError("the job does not end")
