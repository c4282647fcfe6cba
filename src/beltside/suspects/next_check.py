"""What to do next: the check that saves most, or stop checking and replace a part.

Decision-theoretic troubleshooting (Heckerman, Breese & Rommelse 1995): every plan is judged by the
expected money to a cured car. Repairs alone go by probability over cost (Kadane & Simon 1977); a
check is worth what the repairs after it are expected to save, less its minutes and its risk; an
access that several checks share is paid once (Ottosen & Jensen 2010).

All money here is beyond the repair the car needs in any case.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from beltside.suspects.board import Board
from beltside.suspects.catalogue import CheckDone
from beltside.suspects.costs import HAND_OVER, Repair
from beltside.suspects.plan import Planner, Situation, check_minutes, opened_after
from beltside.suspects.posterior import joint_likelihood

Float64 = npt.NDArray[np.float64]

DEEPER: Final = 6
"""So many of the best checks are judged together with the best check after them,"""

AFTER: Final = 14
"""which is sought among so many: the best ones when nothing had to be opened for them."""

LEAST_MINUTES: Final = 1.0
"""A check that saves less than so many minutes of pay saves nothing: its own minutes are not known
better than that."""


@dataclass(frozen=True)
class Option:
    """A check that could come next.

    Attributes
    ----------
    place
        Its position on the board.
    minutes
        Time it takes now, with what has to be opened or closed for it [min].
    money
        What it costs: time, and its risk.
    saves
        Money it is expected to save against the best that can be done without a check; below 0
        when it is not worth its minutes. What a check after it saves counts only where doing both
        is better than doing that one alone.
    """

    place: int
    minutes: float
    money: float
    saves: float


@dataclass(frozen=True)
class Advice:
    """The best next step.

    Attributes
    ----------
    options
        Checks that could be done, the one that saves most first.
    repair
        What to do without another check.
    repair_probability
        How likely the repair ends the noise.
    money_without_check
        Expected money, beyond the repair needed, when no further check is done.
    least_saving
        A check that saves less than this is not worth proposing.
    stop
        Whether no check saves that much.
    """

    options: tuple[Option, ...]
    repair: Repair
    repair_probability: float
    money_without_check: float
    least_saving: float
    stop: bool

    @property
    def worth_doing(self) -> tuple[Option, ...]:
        """The options worth proposing, the best first."""
        return tuple(one for one in self.options if one.saves >= self.least_saving)


def money_without_check(
    planner: Planner, mass: Float64, opened: frozenset[str] = frozenset()
) -> tuple[Float64, npt.NDArray[np.int64]]:
    """Expected money of repairs alone, and the first of them.

    Repairs go by probability over what is lost when it was another part; at the best point the
    car is handed on instead. Exact for single faults when no access is open.

    Parameters
    ----------
    mass
        Probabilities, one situation in each row, shape (N, S); they may sum to less than 1, the
        money is then less by the same share.
    opened
        Accesses that are open and have to be closed, or need not be opened for the first repair.

    Returns
    -------
    money, first
        Shapes (N,); `first` is a position among `planner.repairs`.
    """
    useful = mass @ planner.useful
    order = np.argsort(-useful / planner.waste, axis=1)
    rows = np.arange(len(mass))[:, None]
    ended = useful[rows, order]
    waste = planner.waste[order]
    total = mass.sum(axis=1)
    helped = ended
    if planner.halves:
        helped = ended.copy()
        place = np.empty_like(order)
        place[rows, order] = np.arange(order.shape[1])
        for suspect, one, other in planner.halves:
            earlier = np.minimum(place[:, one], place[:, other])
            helped[rows[:, 0], earlier] -= mass[:, suspect]
    left = total[:, None] - np.cumsum(helped, axis=1)
    before = np.concatenate((total[:, None], left[:, :-1]), axis=1)
    lost = np.maximum(before - ended, 0.0)
    spent = np.cumsum(np.where(lost > 0.0, lost * waste, 0.0), axis=1)
    stops = np.concatenate(
        (total[:, None] * planner.hand_over, spent + np.maximum(left, 0.0) * planner.hand_over),
        axis=1,
    )
    best = stops.argmin(axis=1)
    first = np.where(best > 0, order[:, 0], len(planner.repairs) - 1)
    money = stops[rows[:, 0], best]
    if opened:
        money = money + total * _first_extra(planner, opened)[first]
    return money, first


def _first_extra(planner: Planner, opened: frozenset[str]) -> Float64:
    """Money more or less for each repair as the next step, with these accesses open."""
    minutes = [
        sum(planner.close_minutes[word] for word in opened if word not in repair.access)
        - sum(planner.open_minutes[word] for word in opened if word in repair.access)
        for repair in planner.repairs
    ]
    return planner.per_minute * np.array(minutes)


def advise(
    planner: Planner,
    probability: Float64,
    situation: Situation,
    known: Collection[int] = (),
    likely_now: Mapping[int, Float64] | None = None,
) -> Advice:
    """The best next step for these odds.

    Parameters
    ----------
    planner
        The car's repairs and costs.
    probability
        Of each suspect, shape (S,).
    situation
        What is open and what holds.
    known
        Positions of checks whose answer is known: they are not proposed.
    likely_now
        For checks that are like one already done: likelihoods given what that one showed, shape
        (outcomes, S), by position.
    """
    board = planner.board
    money, first = money_without_check(planner, probability[None, :], situation.opened)
    now, repair = float(money[0]), planner.repairs[int(first[0])]
    done = set(known)
    open_places = [
        place
        for place, (check, _) in enumerate(board.places)
        if place not in done and situation.allows(check)
    ]
    minutes = check_minutes(planner, situation.opened)
    cost = planner.per_minute * minutes + planner.check_risk
    worth = _worth(planner, probability, situation, open_places, cost, likely_now or {})
    options = sorted(
        (
            Option(place, float(minutes[place]), float(cost[place]), now - value)
            for place, value in worth.items()
        ),
        key=lambda option: -option.saves,
    )
    share = 1.0
    if repair.id != HAND_OVER:
        ends = planner.useful[:, int(first[0])].copy()
        # A pair that wants another repair besides is not ended by this one.
        ends[[suspect for suspect, _, _ in planner.halves]] = 0.0
        share = float(probability @ ends)
    least = LEAST_MINUTES * planner.per_minute
    return Advice(
        tuple(options), repair, share, now, least, not options or options[0].saves < least
    )


def _worth(
    planner: Planner,
    probability: Float64,
    situation: Situation,
    places: Sequence[int],
    cost: Float64,
    likely_now: Mapping[int, Float64],
) -> dict[int, float]:
    """Expected money of each check followed by the best after it."""
    if not places:
        return {}
    board = planner.board
    chosen = np.isin(planner.row_check, places)
    rows, owner = planner.rows[chosen], planner.row_check[chosen]
    if likely_now:
        rows = rows.copy()
        for place in set(likely_now) & set(places):
            rows[owner == place] = likely_now[place]
    joint = rows * probability
    after = {place: opened_after(board.places[place][0], situation.opened) for place in places}
    value = np.empty(len(joint))
    for opened in set(after.values()):
        mine = np.isin(owner, [place for place in places if after[place] == opened])
        value[mine] = money_without_check(planner, joint[mine], opened)[0]
    starts = np.flatnonzero(np.r_[True, owner[1:] != owner[:-1]])
    listed = owner[starts]
    bare = np.add.reduceat(value, starts)
    single = bare + cost[listed]
    alone = dict(zip(listed.tolist(), single.tolist(), strict=True))
    worth = dict(alone)
    best = listed[np.argsort(single)[:DEEPER]]
    promising = listed[
        np.argsort(bare + planner.per_minute * planner.check_minutes[listed])[:AFTER]
    ]
    second = np.isin(owner, promising)
    for opened in {after[place] for place in best.tolist()}:
        here = [place for place in best.tolist() if after[place] == opened]
        branches = np.flatnonzero(np.isin(owner, here))
        least = np.minimum(
            _best_after(
                planner, joint[branches], owner[branches], rows[second], owner[second], opened
            ),
            value[branches],
        )
        for place in here:
            both = float(least[owner[branches] == place].sum() + cost[place])
            without = min(
                (worth_of for one, worth_of in alone.items() if one != place), default=both
            )
            # A check that tells nothing is not worth what the one after it is worth.
            if both < without:
                worth[place] = both
    return worth


def _best_after(
    planner: Planner,
    mass: Float64,
    just_done: npt.NDArray[np.int64],
    rows: Float64,
    owner: npt.NDArray[np.int64],
    opened: frozenset[str],
) -> Float64:
    """Expected money of the best check as the next and last one, for each row of `mass`.

    Parameters
    ----------
    mass
        Probabilities after each outcome of the check just done, shape (N, S), and
    just_done
        which check that was, shape (N,).
    rows, owner
        Outcomes of the checks that may follow, and whose each is.
    """
    board = planner.board
    cost = planner.per_minute * check_minutes(planner, opened) + planner.check_risk
    starts = np.flatnonzero(np.r_[True, owner[1:] != owner[:-1]])
    listed = owner[starts]
    after = np.array([opened_after(board.places[place][0], opened) for place in owner.tolist()])
    both = mass[:, None, :] * rows[None, :, :]
    money = np.empty(both.shape[:2])
    for state in set(after.tolist()):
        mine = np.array([one == state for one in after.tolist()])
        flat = both[:, mine].reshape(-1, both.shape[2])
        money[:, mine] = money_without_check(planner, flat, state)[0].reshape(len(mass), -1)
    then = np.add.reduceat(money, starts, axis=1) + mass.sum(axis=1)[:, None] * cost[listed]
    # The same sign twice is no second witness: a like check does not count as the one after.
    like = board.groups[listed][None, :] == board.groups[just_done][:, None]
    result: Float64 = np.where(like, np.inf, then).min(axis=1)
    return result


def likely_now(board: Board, findings: Sequence[CheckDone]) -> dict[int, Float64]:
    """Likelihoods of checks not done yet that are like one that was, given what it showed.

    By position, each of shape (outcomes, S).
    """
    telling: dict[int, dict[int, list[int]]] = {}
    for one in findings:
        if one.tells:
            place = board.place_of(one)
            shown = telling.setdefault(int(board.groups[place]), {})
            shown.setdefault(place, []).append(board.outcome_of(one))
    now = {}
    for group, shown in telling.items():
        before = joint_likelihood(board, shown)
        for place in np.flatnonzero(board.groups == group).tolist():
            if place not in shown:
                count = len(board.places[place][0].outcomes)
                now[place] = np.array(
                    [
                        joint_likelihood(board, {**shown, place: [outcome]}) / before
                        for outcome in range(count)
                    ]
                )
    return now
