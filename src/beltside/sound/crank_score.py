"""What the sound says for each candidate speed, and for none of them ("can't tell").

A conditional logit (McFadden 1974) over all candidates of all paths, with "none of them" as one
more choice. Each candidate's score is a weighted sum of its measures and of a few bends of such
sums (`Weights.bends`): whether an even engine idles at a speed or runs at half of it hangs on
several measures at once. The weights stand in `crank_weights.py`, fitted on takes of four
simulators by scripts/fit_crank.py; docs/methods/crank-speed.md has the figures.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from beltside.sound.crank_choice import Candidate
from beltside.sound.crank_classes import CLASS_MEASURES
from beltside.sound.crank_path import SpeedPath

Float64 = npt.NDArray[np.float64]

CANDIDATE_MEASURES: Final = (
    "firing",
    "uneven",
    "halves",
    "lead",
    "pulse",
    "behind",
    "covered",
    "beyond_chance",
    "match",
    *CLASS_MEASURES,
)
TAKE_MEASURES: Final = ("one", "match", "evidence", "turns")

MOST_TURNS: Final = 160.0
"""Turns beyond these count no more towards "none of them": the weights were fitted on takes of 5 to
10 s, and a minute of a clear engine must not look like nothing."""

Rows = tuple[tuple[float, ...], ...]


@dataclass(frozen=True)
class Weights:
    """Weights of the measures, in the order named above.

    Attributes
    ----------
    centre, spread
        Each measure's mean and spread over the takes of the fit; weights are for (measure -
        centre) / spread.
    candidate
        Weights of a candidate's measures.
    bends
        Weights of its measures inside each bend, one row per bend.
    bend_at, bend_size
        A bend adds bend_size * tanh(its weighted sum + bend_at).
    none
        Weights of the take's measures for "none of them".
    """

    centre: tuple[float, ...]
    spread: tuple[float, ...]
    candidate: tuple[float, ...]
    bends: Rows
    bend_at: tuple[float, ...]
    bend_size: tuple[float, ...]
    none: tuple[float, ...]


def tempered(nats: Float64) -> Float64:
    """Evidence with its weight fading: lines of one family are not independent of each other."""
    result: Float64 = np.sign(nats) * np.log1p(np.abs(nats))
    return result


def candidate_measures(
    found: Sequence[Candidate],
    classes: Float64,
    paths: Sequence[SpeedPath],
    of_path: Sequence[int],
) -> Float64:
    """Measures of each candidate, shape (candidates, measures).

    `classes` are its heights by class (`crank_classes`), shape (candidates, classes); `of_path`
    says which of `paths` it belongs to.
    """
    evidence = np.array([one.evidence for one in found])
    columns = [
        tempered(np.array([getattr(one, name) for one in found]))
        for name in ("firing", "uneven", "halves", "lead", "pulse")
    ]
    covered = np.array([one.covered for one in found])
    chance = np.array([one.chance for one in found])
    match = np.array([float(paths[index].match.mean()) for index in of_path])
    columns += [
        tempered(evidence - evidence.max()),
        covered,
        (covered - chance) / (1.0 - np.minimum(chance, 0.95)),
        np.log1p(np.maximum(match, 0.0)),
    ]
    return np.column_stack((*columns, classes))


def take_measures(found: Sequence[Candidate], paths: Sequence[SpeedPath], turns: float) -> Float64:
    """Measures of the take as a whole, for the choice "none of them"."""
    best = max(one.evidence for one in found)
    return np.array(
        [
            1.0,
            np.log1p(max(float(path.match.mean()) for path in paths)),
            float(tempered(np.array(best))),
            np.log1p(min(turns, MOST_TURNS)),
        ]
    )


def scores(candidates: Float64, take: Float64, weights: Weights) -> tuple[Float64, float]:
    """What the sound says for each candidate, shape (candidates,), and for none of them [nats]."""
    even = (candidates - np.array(weights.centre)) / np.array(weights.spread)
    bends = np.tanh(even @ np.array(weights.bends).T + np.array(weights.bend_at))
    result: Float64 = even @ np.array(weights.candidate) + bends @ np.array(weights.bend_size)
    return result, float(take @ np.array(weights.none))


def odds(score: Float64, none_score: float, log_prior: Float64) -> tuple[Float64, float]:
    """Probability of each candidate, shape (candidates,), and of none of them."""
    total = np.append(score + log_prior, none_score)
    share = np.exp(total - total.max())
    share /= share.sum()
    return share[:-1], float(share[-1])
