"""How well odds and speeds fit the truth: plain functions of numbers."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Float64 = npt.NDArray[np.float64]

WRONG_FROM = 0.05
"""A speed further off than this share of the true one is another one: a wrong octave."""

CERTAIN = 1e-4
"""Least probability that log loss counts, so that one blunder stays finite: -ln is 9.2."""


@dataclass(frozen=True)
class Bin:
    """One row of the reliability table: answers whose probability lies from `low` to `high`."""

    low: float
    high: float
    count: int
    said: float
    right: float


def speed_error(told_rpm: float | None, true_rpm: float) -> float | None:
    """Told over true speed, minus 1; None when nothing was told.

    >>> speed_error(808.0, 800.0), speed_error(None, 800.0)
    (0.010000000000000009, None)
    """
    return None if told_rpm is None else told_rpm / true_rpm - 1.0


def is_wrong(error: float) -> bool:
    """Whether a speed is another one altogether: half, double, or something else that turns."""
    return abs(error) > WRONG_FROM


def reliability(said: Sequence[float], right: Sequence[bool], bins: int = 10) -> list[Bin]:
    """Reliability table: bins of equal width over probability 0 to 1, empty ones left out.

    Parameters
    ----------
    said
        Probability of each answer, 0 to 1.
    right
        Whether it was right.

    Raises
    ------
    ValueError
        When the lengths differ or a probability is not within 0 to 1.
    """
    probability = np.asarray(said, dtype=np.float64)
    truth = np.asarray(right, dtype=np.float64)
    if probability.shape != truth.shape:
        raise ValueError(f"{probability.size} probabilities for {truth.size} truths")
    if probability.size and not (probability.min() >= 0.0 and probability.max() <= 1.0 + 1e-9):
        raise ValueError(f"probabilities from {probability.min():g} to {probability.max():g}")
    place = np.minimum((probability * bins).astype(int), bins - 1)
    return [
        Bin(
            low=index / bins,
            high=(index + 1) / bins,
            count=int((place == index).sum()),
            said=float(probability[place == index].mean()),
            right=float(truth[place == index].mean()),
        )
        for index in np.unique(place).tolist()
    ]


def expected_calibration_error(table: Sequence[Bin]) -> float:
    """Mean gap between said and right over the bins, weighted by their counts.

    Naeini, Cooper & Hauskrecht, Obtaining well calibrated probabilities using Bayesian binning,
    AAAI 2015, section 2. With few answers a perfect forecaster shows some too
    (`chance_calibration_error`).
    """
    total = sum(one.count for one in table)
    if total == 0:
        return float("nan")
    return sum(one.count * abs(one.said - one.right) for one in table) / total


def chance_calibration_error(
    said: Sequence[float], rng: np.random.Generator, draws: int = 400
) -> float:
    """Expected calibration error that a perfect forecaster would show on so many answers."""
    probability = np.asarray(said, dtype=np.float64)
    errors = [
        expected_calibration_error(
            reliability(said, (rng.random(probability.size) < probability).tolist())
        )
        for _ in range(draws)
    ]
    return float(np.mean(errors)) if probability.size else float("nan")


def log_loss(probability_of_truth: Sequence[float]) -> float:
    """Mean -ln of the probability given to the truth [nats]."""
    if not len(probability_of_truth):
        return float("nan")
    return float(-np.log(np.maximum(probability_of_truth, CERTAIN)).mean())


def share(hits: Sequence[bool]) -> float:
    """Share of hits; nan when there are none to count."""
    return float(np.mean(hits)) if len(hits) else float("nan")


def share_range(hits: Sequence[bool], sigmas: float = 1.645) -> tuple[float, float]:
    """90 % range of the true share behind counted hits.

    Wilson, Probable inference, the law of succession, and statistical inference, Journal of the
    American Statistical Association 22, 1927.
    """
    count = len(hits)
    if count == 0:
        return 0.0, 1.0
    part = float(np.mean(hits))
    middle = part + sigmas**2 / (2.0 * count)
    half = sigmas * float(np.sqrt(part * (1.0 - part) / count + sigmas**2 / (4.0 * count**2)))
    scale = 1.0 + sigmas**2 / count
    return max((middle - half) / scale, 0.0), min((middle + half) / scale, 1.0)


@dataclass(frozen=True)
class Recall:
    """How one truth fared: cases, share named first, and what was named instead most often."""

    truth: str
    count: int
    first: float
    mistake: str
    mistakes: int


def recalls(truths: Sequence[str], answers: Sequence[str]) -> list[Recall]:
    """Recall of each truth and its most common mistake, worst first."""
    by_truth: dict[str, list[str]] = defaultdict(list)
    for truth, answer in zip(truths, answers, strict=True):
        by_truth[truth].append(answer)
    rows = []
    for truth, given in by_truth.items():
        wrong = Counter(answer for answer in given if answer != truth).most_common(1)
        mistake, times = wrong[0] if wrong else ("", 0)
        rows.append(
            Recall(truth, len(given), share([one == truth for one in given]), mistake, times)
        )
    return sorted(rows, key=lambda row: (row.first, row.truth))
