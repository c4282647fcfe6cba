"""Joining what the sound says with what hands and eyes found, by Bayes' rule in logarithms.

Exact for any set of findings, in any order. Checks that lean on the same sign are joined by a
mixture of two copulas (Fréchet 1958; Nelsen 2006, eq. 2.2.8, from memory): with a share w they all
see one and the same thing, else each sees for itself. With w = 0 that is plain independence. What
one check shows alone is as likely as the catalogue says, whatever w is.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from beltside.suspects.board import Board
from beltside.suspects.catalogue import CheckDone

Float64 = npt.NDArray[np.float64]

CONFLICT_BITS: Final = 2.0
"""From here on findings are said to contradict each other: a chance of one in four or less."""

SOUND: Final = -1
"""Stands for the sound where findings are counted from 0,"""
REST: Final = -2
"""and this for all other evidence together."""


def normalised(scores: Float64) -> Float64:
    """Probabilities from log scores.

    >>> normalised(np.log(np.array([1.0, 3.0])))
    array([0.25, 0.75])
    """
    share = np.exp(scores - scores.max())
    result: Float64 = share / share.sum()
    return result


def entropy_bits(probability: Float64) -> float:
    """Uncertainty [bits].

    >>> entropy_bits(np.array([0.5, 0.5]))
    1.0
    """
    some = probability[probability > 0.0]
    return float(-(some * np.log2(some)).sum())


def log_sum(scores: Float64) -> Float64:
    """Log of the sum of exponentials over the last axis."""
    top = scores.max(axis=-1, keepdims=True)
    result: Float64 = np.log(np.exp(scores - top).sum(axis=-1)) + top[..., 0]
    return result


def sound_evidence(board: Board, single: Float64) -> Float64:
    """What the sound says of every suspect, from what it says of the single ones.

    The sound is that of either member of a pair, nobody knows which: their mean. So the sound
    alone never puts a pair before its likelier member.

    Parameters
    ----------
    single
        Log-likelihood of the sound under each single suspect, up to a constant; they come first
        in `board.suspects`.
    """
    at = {suspect.id: index for index, suspect in enumerate(board.suspects)}
    pairs = [
        log_sum(single[[at[member.id] for member in suspect.members]])
        - np.log(len(suspect.members))
        for suspect in board.suspects
        if suspect.members
    ]
    return np.concatenate((single, np.array(pairs))) if pairs else single


def log_likelihood(board: Board, findings: Sequence[CheckDone]) -> Float64:
    """Log-likelihood of all findings together under each suspect, shape (S,).

    Findings that were not done or not sure say nothing.
    """
    alone: list[tuple[int, int]] = []
    total = np.zeros(len(board.suspects))
    for shown in _shown(board, findings):
        if len(shown) == 1 and len(outcomes := next(iter(shown.values()))) == 1:
            alone.append((next(iter(shown)), outcomes[0]))
        else:
            total += np.log(joint_likelihood(board, shown))
    if alone:
        places, outcomes = map(list, zip(*alone, strict=True))
        total += board.log_likely[places, outcomes].sum(axis=0)
    return total


def _shown(board: Board, findings: Sequence[CheckDone]) -> Iterable[dict[int, list[int]]]:
    """Outcomes by check, for each group of like checks with findings that say something."""
    found: dict[int, dict[int, list[int]]] = {}
    groups = board.groups.tolist()
    for one in findings:
        if one.tells:
            word = one.check.id
            place = board.index[word, one.part]
            shown = found.setdefault(groups[place], {})
            shown.setdefault(place, []).append(board.outcome_index[word, one.outcome.word])
    return found.values()


def posterior(board: Board, findings: Sequence[CheckDone], sound: Float64 | None = None) -> Float64:
    """Probability of each suspect given sound and findings, shape (S,).

    `sound` is the sound's log-likelihood under each suspect up to a constant (`sound_evidence`).
    """
    scores = board.log_prior + log_likelihood(board, findings)
    return normalised(scores if sound is None else scores + sound)


def without_each(
    board: Board, findings: Sequence[CheckDone], sound: Float64 | None = None
) -> Float64:
    """Log scores of each suspect with one finding taken back, shape (findings, S), normalised."""
    clusters = _clusters(board, findings)
    parts = {key: _cluster(board, findings, members) for key, members in clusters.items()}
    scores = board.log_prior + sum(parts.values(), np.zeros(len(board.suspects)))
    if sound is not None:
        scores = scores + sound
    rows = np.tile(scores, (len(findings), 1))
    for key, members in clusters.items():
        for member in members:
            rest = [one for one in members if one != member]
            without = _cluster(board, findings, rest) if rest else 0.0
            rows[member] += without - parts[key]
    return rows - log_sum(rows)[:, None] if len(findings) else rows


def weights_of_evidence(
    board: Board, findings: Sequence[CheckDone], sound: Float64 | None = None
) -> Float64:
    """How far each finding moves the odds of each suspect [bits], shape (findings, S).

    log2 of the odds with it over the odds without it, all else kept (Good 1950): +1 bit doubles
    the odds of a suspect.
    """
    if not findings:
        return np.zeros((0, len(board.suspects)))
    scores = board.log_prior + log_likelihood(board, findings)
    if sound is not None:
        scores = scores + sound
    result: Float64 = (
        _logit(scores - log_sum(scores)) - _logit(without_each(board, findings, sound))
    ) / np.log(2.0)
    return result


def _logit(log_share: Float64) -> Float64:
    """Log odds from log probabilities over the last axis, precise at both ends."""
    share = np.exp(log_share)
    rest = share.sum(axis=-1, keepdims=True) - share
    top = log_share.argmax(axis=-1)
    # The likeliest takes most of the sum: what is left is summed afresh.
    rows = np.atleast_2d(share).copy()
    at = np.atleast_1d(top)
    number = np.arange(len(rows))
    rows[number, at] = 0.0
    rest = np.atleast_2d(rest)
    rest[number, at] = rows.sum(axis=1)
    result: Float64 = log_share - np.log(np.maximum(rest.reshape(share.shape), 1e-300))
    return result


@dataclass(frozen=True)
class Conflict:
    """Evidence that contradicts other evidence.

    `first` and `second` are positions among the findings, `SOUND` for the sound; `second` is `REST`
    for all the other evidence together. `bits` is how much rarer they are together than each by
    itself would make them.
    """

    first: int
    second: int
    bits: float


def conflicts(
    board: Board, findings: Sequence[CheckDone], sound: Float64 | None = None
) -> list[Conflict]:
    """Evidence that contradicts other evidence, worst first.

    log2 of P(a) P(b) / P(a, b), which is above 0 when a and b speak for different suspects
    (Jensen, Chamberlain, Nordahl & Jensen 1991), told from `CONFLICT_BITS` on: for every two
    findings, for the sound and each finding, and for each of these against all the rest when it
    contradicts no single one.
    """
    telling = [number for number, one in enumerate(findings) if one.tells]
    if not telling:
        return []
    prior = board.log_prior
    rows = [_cluster(board, findings, [number]) for number in telling]
    pieces = dict(zip(telling, rows, strict=True))
    heard = np.zeros(len(prior)) if sound is None else sound
    if sound is not None:
        pieces = {SOUND: sound, **pieces}
    alone = {number: float(log_sum(row + prior)) for number, row in pieces.items()}
    # The sound is known up to a constant only; it drops out of every difference.
    like = dict(zip(telling, board_groups(board, findings, telling), strict=True))
    found: list[Conflict] = []
    numbers = list(pieces)
    for at, one in enumerate(numbers):
        for other in numbers[at + 1 :]:
            same = one != SOUND and like[one] == like[other]
            both = _cluster(board, findings, [one, other]) if same else pieces[one] + pieces[other]
            bits = (alone[one] + alone[other] - float(log_sum(both + prior))) / np.log(2.0)
            if bits >= CONFLICT_BITS:
                found.append(Conflict(one, other, bits))
    named = {number for conflict in found for number in (conflict.first, conflict.second)}
    whole = float(log_sum(prior + heard + log_likelihood(board, findings)))
    for one in numbers:
        if one in named or len(numbers) < 3:
            continue
        rest = [findings[number] for number in telling if number != one]
        others = prior + log_likelihood(board, rest) + (0.0 if one == SOUND else heard)
        bits = (alone[one] + float(log_sum(others)) - whole) / np.log(2.0)
        if bits >= CONFLICT_BITS:
            found.append(Conflict(one, REST, bits))
    return sorted(found, key=lambda conflict: -conflict.bits)


def board_groups(board: Board, findings: Sequence[CheckDone], telling: Sequence[int]) -> list[int]:
    """Group of like checks of each finding in `telling`."""
    return [int(board.groups[board.place_of(findings[number])]) for number in telling]


def _clusters(board: Board, findings: Sequence[CheckDone]) -> dict[int, list[int]]:
    """Findings that say something, by their group of like checks."""
    found: dict[int, list[int]] = {}
    for number, one in enumerate(findings):
        if one.tells:
            found.setdefault(int(board.groups[board.place_of(one)]), []).append(number)
    return found


def _cluster(board: Board, findings: Sequence[CheckDone], members: Sequence[int]) -> Float64:
    """Log-likelihood of one group's findings together, shape (S,)."""
    by_place: dict[int, list[int]] = {}
    for number in members:
        done = findings[number]
        by_place.setdefault(board.place_of(done), []).append(board.outcome_of(done))
    return np.log(joint_likelihood(board, by_place))


def joint_likelihood(board: Board, shown: dict[int, list[int]]) -> Float64:
    """Probability of the outcomes of one group of like checks under each suspect, shape (S,).

    Parameters
    ----------
    shown
        Outcomes by position of the check, each check as often as it was done.
    """
    apart = np.ones(len(board.suspects))
    for place, outcomes in shown.items():
        rows = board.likely[place, outcomes]
        product = rows.prod(axis=0)
        if len(outcomes) > 1:
            # The same outcome lies in the same stretch; two different ones have none in common.
            same = rows[0] if len(set(outcomes)) == 1 else 0.0
            product = board.repeat_share * same + (1.0 - board.repeat_share) * product
        apart *= product
    share = board.shares[next(iter(shown))]
    if share == 0.0:
        return apart
    result: Float64 = share * _common_stretch(board, shown) + (1.0 - share) * apart
    return result


def _common_stretch(board: Board, shown: dict[int, list[int]]) -> Float64:
    """How often one and the same thing makes every check show what it showed, shape (S,).

    The thing is a figure from 0 to 1, evenly spread; each check's outcomes split that stretch in
    their order, from the least to the most telling.
    """
    low = np.zeros(len(board.suspects))
    high = np.ones(len(board.suspects))
    for place, outcomes in shown.items():
        edges = np.cumsum(board.likely[place], axis=0)
        for outcome in outcomes:
            low = np.maximum(low, edges[outcome - 1] if outcome else 0.0)
            high = np.minimum(high, edges[outcome])
    result: Float64 = np.maximum(high - low, 0.0)
    return result
