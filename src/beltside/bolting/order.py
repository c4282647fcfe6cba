"""In which order to tighten the bolts of any hole pattern.

Evenness of an order: after every turn of the wrench, in every stage, the peak-to-mean gasket
load is taken; the worst and the average of these judge the order. Each bolt is taken to hold
what the wrench gave it, so the load depends only on which bolts have had their turn. That makes
the search a shortest path over sets of bolts (Held & Karp 1962), and for up to 16 bolts it is
exact: no order is better. For more, the best few sets are followed (beam search).

Method: docs/methods/bolt-order.md.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
import numpy.typing as npt

from beltside.base.errors import InputError, OutOfRangeError
from beltside.bolting.evenness import ElasticJoint, elastic_joint
from beltside.bolting.flange import Flange, check_flange, is_even_circle, tour

Float64 = npt.NDArray[np.float64]
Order = tuple[int, ...]

STAGES: Final = (0.3, 0.6, 1.0)
"""Shares of the final torque. ASME PCC-1-2019 asks for 20-30 %, 50-70 % and 100 %; gasket
guides say 30, 60, 100 %."""

HAND_TIGHT: Final = 0.1
"""Share of the final force that finger and ratchet give all bolts first (common practice, no
source)."""

MOST_STAGES: Final = 6
MOST_EXACT: Final = 16
WORTH_LEARNING: Final = 0.005
"""On an even circle the star rule, which every hand knows, is kept unless another order is
better by more than this part."""

_BEAM: Final = 96
_TIE: Final = 1e-9
_LOW_BITS: Final = 8
"""Sets are taken in blocks that fit into a processor's near memory."""


@dataclass(frozen=True)
class Evenness:
    """Peak-to-mean gasket load of one order; 1 is perfectly even.

    Attributes
    ----------
    worst
        The highest over all steps.
    average
        The mean over all steps.
    steps
        After each turn of the wrench, one row for each stage.
    least
        The lowest load over the mean met in any step; below 0 the gasket would lift there, which
        the model does not follow.
    """

    worst: float
    average: float
    steps: tuple[tuple[float, ...], ...]
    least: float


@dataclass(frozen=True)
class TighteningOrder:
    """The order found, beside the star rule.

    Attributes
    ----------
    order, star, best_star
        Indices into `flange.bolts`, first to last: the order found, the star rule from the first
        bolt entered, and the star rule from its best start and the better way round.
    evenness, star_evenness, best_star_evenness
        How evenly each presses the gasket. Where no place is fixed, the order found is behind
        the star in neither worst nor average, and behind the best star in not more than one.
    around
        The bolts in the order met going round the flange.
    stages
        Shares of the final torque.
    how
        "exact", "beam", "star" (an even circle, where nothing is notably better than the star
        rule) or "given" (every place in the order is fixed).
    """

    order: Order
    star: Order
    best_star: Order
    evenness: Evenness
    star_evenness: Evenness
    best_star_evenness: Evenness
    around: Order
    stages: tuple[float, ...]
    how: str

    @property
    def loosening(self) -> Order:
        """The order to loosen in: the other way round."""
        return self.order[::-1]


def star_rule(bolts: int) -> Order:
    """The star rule for bolts numbered round a circle, as places counted from 0.

    For 4, 8, 12, ... bolts the pattern of ASME PCC-1-2019: crosses of four, each cross as far as
    may be from those before it. For 6, 10, 14, ... pairs of opposite bolts, each pair as far as
    may be from those before it; for an odd number the next is always the one most nearly
    opposite the last (both common practice, no source).

    >>> [place + 1 for place in star_rule(8)]
    [1, 5, 3, 7, 2, 6, 4, 8]
    >>> [place + 1 for place in star_rule(5)]
    [1, 3, 5, 2, 4]
    """
    if bolts % 4 == 0:
        quarter = bolts // 4
        return tuple(start + turn * quarter for start in _spread(quarter) for turn in (0, 2, 1, 3))
    order = [0]
    while len(order) < bolts:
        left = [place for place in range(bolts) if place not in order]
        if bolts % 2 or len(order) % 2:
            opposite = order[-1] + bolts / 2.0
            order.append(min(left, key=lambda place: (_apart(place, opposite, bolts), place)))
        else:
            order.append(
                max(left, key=lambda place: (min(_apart(place, o, bolts) for o in order), -place))
            )
    return tuple(order)


def _apart(place: float, other: float, bolts: int) -> float:
    """How many places two bolts are apart, the shorter way round."""
    return abs((place - other + bolts / 2.0) % bolts - bolts / 2.0)


def _spread(quarter: int) -> list[int]:
    """Starts of the crosses: from 4 on every other one first, then those between."""
    if quarter < 4:
        return list(range(quarter))
    return [*range(0, quarter, 2), *range(1, quarter, 2)]


def tightening_order(
    flange: Flange, stages: Sequence[float] = STAGES, hand_tight: float = HAND_TIGHT
) -> TighteningOrder:
    """The order that presses the gasket most evenly while it is tightened.

    The lowest worst peak-to-mean comes first, the lowest average next. Where that average would
    be above that of the star rule from some start, a little of the worst is given for it, never
    more than the plain star rule has: the order is behind the star rule from the first bolt in
    neither, and no start of the star rule is ahead of it in both. Among equals the bolt met
    first going round is taken.

    Parameters
    ----------
    flange
        The joint; checked with `check_flange`.
    stages
        Rising shares of the final torque, the last one 1.
    hand_tight
        Share of the final force before the first stage, above 0 and below the first stage.

    Raises
    ------
    InputError, OutOfRangeError
        As `check_flange`, and for stages that do not rise to 1.
    """
    check_flange(flange)
    levels = _levels(stages, hand_tight)
    around = tour(flange)
    whole = elastic_joint(flange)
    joint = ElasticJoint(
        whole.pressure[:, list(around)],
        whole.sink[np.ix_(around, around)],
        whole.nodes_mm,
        whole.length_mm,
    )
    bolts = joint.bolts
    turns = tuple(flange.bolts[index].turn for index in around)
    stars = _stars(bolts)
    judged = [(evenness(joint, star, levels), star) for star in stars]
    best_evenness, best_star = min(judged, key=lambda one: _rounded(one[0].average))
    fixed = any(turn is not None for turn in turns)
    how = "exact" if bolts <= MOST_EXACT else "beam"
    if fixed and all(turn is not None for turn in turns):
        order, how = tuple(int(k) for k in np.argsort([turn or 0 for turn in turns])), "given"
    elif bolts <= MOST_EXACT:
        order = _exact(joint, levels, turns, [one for one, _ in judged])
    else:
        order = _beam(joint, levels, turns)
        if not fixed:
            tries = (order, best_star, stars[0])
            order = next(
                one for one in tries if not _behind(evenness(joint, one, levels), judged[0][0])
            )
    found = evenness(joint, order, levels)
    if not fixed and is_even_circle(flange):
        known, plain = judged[0]
        if known.worst <= found.worst * (
            1.0 + WORTH_LEARNING
        ) and known.average <= found.average * (1.0 + WORTH_LEARNING):
            order, found, how = plain, known, "star"
            best_star, best_evenness = plain, known
    return TighteningOrder(
        order=tuple(around[place] for place in order),
        star=tuple(around[place] for place in stars[0]),
        best_star=tuple(around[place] for place in best_star),
        evenness=found,
        star_evenness=judged[0][0],
        best_star_evenness=best_evenness,
        around=around,
        stages=tuple(levels[1:]),
        how=how,
    )


def evenness(joint: ElasticJoint, order: Sequence[int], levels: Sequence[float]) -> Evenness:
    """Peak-to-mean gasket load after every turn of the wrench.

    Parameters
    ----------
    joint
        The joint.
    order
        Every bolt once, first to last.
    levels
        Shares of the final force: hand-tight, then each stage.
    """
    bolts = joint.bolts
    done = np.zeros((bolts, bolts))
    for step, bolt in enumerate(order):
        done[step:, bolt] = 1.0
    reached = done @ joint.pressure.T
    rows = []
    least = math.inf
    for low, high in pairwise(levels):
        load = low * joint.pressure.sum(axis=1) + (high - low) * reached
        mean = load @ joint.length_mm / joint.length_mm.sum()
        rows.append(load.max(axis=1) / mean)
        least = min(least, float((load.min(axis=1) / mean).min()))
    steps = np.array(rows)
    return Evenness(
        float(steps.max()),
        float(steps.mean()),
        tuple(tuple(float(value) for value in row) for row in steps),
        least,
    )


def _levels(stages: Sequence[float], hand_tight: float) -> tuple[float, ...]:
    levels = (hand_tight, *stages)
    if not 1 <= len(stages) <= MOST_STAGES or abs(levels[-1] - 1.0) > 1e-9:
        raise InputError(
            f"the stages are {', '.join(f'{100 * share:g} %' for share in stages) or 'none'}",
            allowed=f"1 to {MOST_STAGES} stages, the last one 100 %",
            instead="30, 60, 100 %",
        )
    if not all(low < high for low, high in pairwise(levels)) or not (hand_tight > 0.0):
        raise OutOfRangeError(
            f"the stages are {', '.join(f'{100 * share:g} %' for share in stages)}",
            allowed=f"each above the one before, the first above {100 * hand_tight:g} % "
            "(hand-tight)",
            instead="30, 60, 100 %",
        )
    return levels


def _stars(bolts: int) -> list[Order]:
    """The star rule from every start and both ways round; the plain one first."""
    plain = star_rule(bolts)
    return [
        tuple((way * place + start) % bolts for place in plain)
        for start in range(bolts)
        for way in (1, -1)
    ]


def _behind(one: Evenness, other: Evenness) -> bool:
    return one.worst > other.worst * (1 + _TIE) or one.average > other.average * (1 + _TIE)


def _rounded(value: float) -> float:
    return round(value, 9)


def _exact(
    joint: ElasticJoint,
    levels: Sequence[float],
    turns: Sequence[int | None],
    stars: Sequence[Evenness],
) -> Order:
    worst, total = _of_all_sets(joint, levels)
    steps = _Steps(joint.bolts, turns)
    least = steps.lowest_worst(worst)
    # The lowest worst; else as high as the best star's; else as high as the plain star's.
    tries = (
        (least, min(star.average for star in stars)),
        (min(star.worst for star in stars), min(star.average for star in stars)),
        (stars[0].worst, math.inf),
    )
    for limit, most in tries:
        allowed = worst <= max(limit, least) * (1 + _TIE)
        order = steps.cheapest(np.where(allowed, total, np.inf))
        if sum(total[one] for one in _sets(order)) / joint.bolts <= most * (1 + _TIE):
            break
    return order


def _of_all_sets(joint: ElasticJoint, levels: Sequence[float]) -> tuple[Float64, Float64]:
    """Worst and mean over the stages of the peak-to-mean load, for every set of bolts.

    Bit k of a set's number says whether bolt k has had its turn in this stage.
    """
    bolts = joint.bolts
    weights = joint.length_mm / joint.length_mm.sum()
    low_bits = min(bolts, _LOW_BITS)
    part = _sums(joint.pressure[:, :low_bits])
    rest = _sums(joint.pressure[:, low_bits:])
    everything = joint.pressure.sum(axis=1)
    worst = np.zeros((len(rest), len(part)))
    total = np.zeros_like(worst)
    load = np.empty_like(part)
    for row, added in enumerate(rest):
        for low, high in pairwise(levels):
            np.add(part, added + low / (high - low) * everything, out=load)
            ratio = load.max(axis=1) / (load @ weights)
            np.maximum(worst[row], ratio, out=worst[row])
            total[row] += ratio
    return worst.ravel(), total.ravel() / (len(levels) - 1)


def _sums(columns: Float64) -> Float64:
    """Sums of the columns in every set of them, shape (2^columns, rows)."""
    sums = np.zeros((1, columns.shape[0]))
    for column in columns.T:
        sums = np.concatenate([sums, sums + column])
    return sums


def _sets(order: Sequence[int]) -> list[int]:
    """The sets an order passes through."""
    sets, reached = [], 0
    for bolt in order:
        reached |= 1 << bolt
        sets.append(reached)
    return sets


class _Steps:
    """All ways from no bolt to every bolt, one at a time, heeding the fixed places."""

    def __init__(self, bolts: int, turns: Sequence[int | None]) -> None:
        self._bolts = bolts
        number = np.arange(2**bolts)
        size = np.zeros(2**bolts, dtype=np.int64)
        for bolt in range(bolts):
            size += (number >> bolt) & 1
        self._of_size = [np.nonzero(size == count)[0] for count in range(bolts + 1)]
        at_turn = {turn: bolt for bolt, turn in enumerate(turns) if turn is not None}
        free = [bolt for bolt, turn in enumerate(turns) if turn is None]
        self._next = [[at_turn[step + 1]] if step + 1 in at_turn else free for step in range(bolts)]

    def lowest_worst(self, worst: Float64) -> float:
        """The lowest that the highest value on a way can be."""
        ahead = np.full(2**self._bolts, np.inf)
        ahead[-1] = -np.inf
        for step in range(self._bolts - 1, -1, -1):
            sets = self._of_size[step]
            best = np.full(len(sets), np.inf)
            for bolt in self._next[step]:
                then = sets | (1 << bolt)
                value = np.maximum(worst[then], ahead[then])
                best = np.minimum(best, np.where(then != sets, value, np.inf))
            ahead[sets] = best
        return float(ahead[0])

    def cheapest(self, cost: Float64) -> Order:
        """The way of the lowest sum; among equals the lowest bolt first."""
        ahead = np.full(2**self._bolts, np.inf)
        ahead[-1] = 0.0
        for step in range(self._bolts - 1, -1, -1):
            sets = self._of_size[step]
            best = np.full(len(sets), np.inf)
            for bolt in self._next[step]:
                then = sets | (1 << bolt)
                value = cost[then] + ahead[then]
                best = np.minimum(best, np.where(then != sets, value, np.inf))
            ahead[sets] = best
        order: list[int] = []
        reached = 0
        for step in range(self._bolts):
            values = {
                bolt: float(cost[reached | 1 << bolt] + ahead[reached | 1 << bolt])
                for bolt in self._next[step]
                if not reached >> bolt & 1
            }
            least = min(values.values())
            order.append(
                min(bolt for bolt, value in values.items() if value <= least * (1.0 + _TIE))
            )
            reached |= 1 << order[-1]
        return tuple(order)


def _beam(joint: ElasticJoint, levels: Sequence[float], turns: Sequence[int | None]) -> Order:
    """Follows the best sets of each size; lowest worst first, lowest average next."""
    bolts = joint.bolts
    weights = joint.length_mm / joint.length_mm.sum()
    everything = joint.pressure.sum(axis=1)
    at_turn = {turn: bolt for bolt, turn in enumerate(turns) if turn is not None}
    ways: list[Order] = [()]
    loads = np.zeros((1, len(everything)))
    worst, total = np.zeros(1), np.zeros(1)
    for step in range(bolts):
        pairs = [
            (way, bolt)
            for way, order in enumerate(ways)
            for bolt in (
                [at_turn[step + 1]]
                if step + 1 in at_turn
                else [b for b in range(bolts) if b not in order and turns[b] is None]
            )
        ]
        first: dict[frozenset[int], int] = {}
        origin = np.array([way for way, _ in pairs])
        reached = loads[origin] + joint.pressure[:, [bolt for _, bolt in pairs]].T
        high_now, sum_now = worst[origin].copy(), total[origin].copy()
        for low, high in pairwise(levels):
            load = reached + low / (high - low) * everything
            ratio = load.max(axis=1) / (load @ weights)
            high_now = np.maximum(high_now, ratio)
            sum_now = sum_now + ratio
        ranked = np.lexsort((np.round(sum_now, 9), np.round(high_now, 9)))
        for index in ranked:
            way, bolt = pairs[int(index)]
            first.setdefault(frozenset((*ways[way], bolt)), int(index))
            if len(first) == _BEAM:
                break
        kept = list(first.values())
        ways = [(*ways[pairs[index][0]], pairs[index][1]) for index in kept]
        loads, worst, total = reached[kept], high_now[kept], sum_now[kept]
    return ways[0]
