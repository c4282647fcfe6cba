"""The odds between candidate speeds, and against "can't tell".

A conditional logit (McFadden 1974) over all candidates of all paths, with "none of them" as one
more choice: readable weights on a few tempered measures of each candidate. The weights were
fitted on simulated takes of three simulators by scripts/fit_crank.py and checked on others and
on real recordings; docs/methods/crank-speed.md has the figures.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from beltside.sound.crank_choice import Candidate
from beltside.sound.crank_path import SpeedPath

Float64 = npt.NDArray[np.float64]

CANDIDATE_MEASURES: Final = (
    "firing",
    "uneven",
    "halves",
    "lead",
    "pulse",
    "prior",
    "behind",
    "covered",
    "beyond_chance",
    "match",
)
TAKE_MEASURES: Final = ("one", "match", "evidence", "turns")


@dataclass(frozen=True)
class Weights:
    """Weights of the candidates' measures and of the take's, in the order named above."""

    candidate: tuple[float, ...]
    none: tuple[float, ...]


MOST_TURNS: Final = 160.0
"""Turns beyond these count no more towards "none of them": the weights were fitted on takes of 5 to
10 s, and a minute of a clear engine must not look like nothing."""

WEIGHTS: Final = Weights(
    candidate=(0.451, -0.560, 0.492, 0.500, -0.250, 0.800, 1.238, 0.883, 1.331, 0.792),
    none=(-2.503, -1.993, -0.264, 2.365),
)


def tempered(nats: Float64) -> Float64:
    """Evidence with its weight fading: lines of one family are not independent of each other."""
    result: Float64 = np.sign(nats) * np.log1p(np.abs(nats))
    return result


def candidate_measures(
    found: Sequence[Candidate], paths: Sequence[SpeedPath], of_path: Sequence[int], prior: Float64
) -> Float64:
    """Measures of each candidate, shape (candidates, measures).

    `of_path` says which of `paths` each candidate belongs to; `prior` is each one's log prior.
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
        prior,
        tempered(evidence - evidence.max()),
        covered,
        (covered - chance) / (1.0 - np.minimum(chance, 0.95)),
        np.log1p(np.maximum(match, 0.0)),
    ]
    return np.column_stack(columns)


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


def odds(
    candidates: Float64, take: Float64, engine_nats: float = 0.0, weights: Weights = WEIGHTS
) -> tuple[Float64, float]:
    """Probability of each candidate, shape (candidates,), and of none of them.

    `engine_nats` is what is known from elsewhere to speak for an engine.
    """
    none = float(take @ np.array(weights.none)) - engine_nats
    scores = np.append(candidates @ np.array(weights.candidate), none)
    share = np.exp(scores - scores.max())
    share /= share.sum()
    return share[:-1], float(share[-1])
