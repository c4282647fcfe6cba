"""Joining what the sound says with what hands and eyes found, and the next check.

Odds are exact: log prior, plus the sound's, plus the log of how likely each finding is under
each suspect (Bayes). A first version of the next check: the expected drop of uncertainty per
minute of work.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from beltside.suspects.catalogue import Check, CheckDone, Suspect

Float64 = npt.NDArray[np.float64]


@dataclass(frozen=True)
class CheckWorth:
    """A check that could come next; `worth` is in bits per minute, `gain` in bits."""

    check: Check
    part: str | None
    minutes: float
    gain: float

    @property
    def worth(self) -> float:
        """Expected drop of uncertainty per minute [bit/min]."""
        return self.gain / self.minutes


def log_prior(suspects: Sequence[Suspect]) -> Float64:
    """Log of how likely each suspect is before any test, shape (suspects,)."""
    weight = np.array([suspect.weight for suspect in suspects])
    result: Float64 = np.log(weight / weight.sum())
    return result


def finding_log_likelihood(suspects: Sequence[Suspect], done: CheckDone) -> Float64:
    """Log of how likely a finding is under each suspect, shape (suspects,)."""
    return np.log(
        [done.check.likelihoods(suspect, done.part)[done.outcome.word] for suspect in suspects]
    )


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


def rank_checks(
    suspects: Sequence[Suspect],
    probability: Float64,
    open_checks: Sequence[tuple[Check, str | None]],
    *,
    belt_off_minutes: float,
    belt_is_off: bool,
) -> list[CheckWorth]:
    """Checks by expected drop of uncertainty per minute, most first.

    Parameters
    ----------
    suspects, probability
        Suspects and their present odds.
    open_checks
        Checks not done yet, with the pulley each is done on.
    belt_off_minutes
        Time to take the belt off and put it back [min], spent when a check wants it off.
    belt_is_off
        Whether a check with the belt off has been done: then it need not come off again.
    """
    before = entropy_bits(probability)
    ranked = []
    for check, part in open_checks:
        rows = np.array(
            [
                [check.likelihoods(suspect, part)[outcome.word] for outcome in check.outcomes]
                for suspect in suspects
            ]
        )
        joint = probability[:, None] * rows
        seen = joint.sum(axis=0)
        after = sum(
            float(share) * entropy_bits(joint[:, index] / share)
            for index, share in enumerate(seen)
            if share > 0.0
        )
        minutes = check.minutes
        if check.belt == "off" and not belt_is_off:
            minutes += belt_off_minutes
        ranked.append(CheckWorth(check, part, minutes, max(before - after, 0.0)))
    return sorted(ranked, key=lambda one: -one.worth)
