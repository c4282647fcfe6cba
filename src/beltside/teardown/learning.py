"""Learns from logged step times: how much faster or slower this technician is than the plan.

The logarithm of actual over planned minutes is the sum of a general effect, one of the technician,
one of this step by this technician, one of the job (its car, its day) and what is left. Effects of
a kind are drawn from a common distribution, so that few logs pull them only part of the way
(partial pooling: Gelman and Hill 2007, Data Analysis Using Regression and Multilevel Models,
chapter 12; Henderson 1975, Biometrics 31, 423-447, from memory). Jobs and what is left have heavy
tails (Student t with 4 degrees of freedom; Lange, Little and Taylor 1989, Journal of the American
Statistical Association 84, 881-896), so that one odd day or slip of the pen weighs little.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from beltside.base.errors import InputError

FREEDOM: Final = 4.0
ROUNDS: Final = 60
_PRIOR_COUNT: Final = 6.0
"""The guesses below weigh as much as so many effects seen."""
_GUESS: Final = {"all": 0.15, "technician": 0.25, "step": 0.20, "job": 0.12, "left": 0.20}
"""Standard deviations of log ratios before any log: own choice, common practice, no source."""

SLOWEST: Final = 20.0
"""Ratios of actual to planned beyond this, or below 1 / this, are refused as slips of the pen."""


@dataclass(frozen=True)
class Logged:
    """One step as it was: who, on which job, which step, minutes planned and minutes taken."""

    technician: str
    job: str
    thing: str
    phase: str
    planned_min: float
    minutes: float


@dataclass(frozen=True)
class Learned:
    """What the logs say.

    Attributes
    ----------
    technicians
        Name to the factor of that technician on a step never logged.
    steps
        (technician, thing, phase) to the factor on that step.
    general
        Factor for a technician never seen.
    day_spread
        How much whole jobs vary together: deviation of the logarithm.
    rows
        How many logs there were.
    """

    technicians: Mapping[str, float]
    steps: Mapping[tuple[str, str, str], float]
    general: float
    day_spread: float
    rows: int

    def factor(self, technician: str, thing: str, phase: str) -> float:
        """Expected actual over planned minutes of a step."""
        known = self.technicians.get(technician, self.general)
        return self.steps.get((technician, thing, phase), known)


def learn(logs: Sequence[Logged]) -> Learned:
    """Factors from logged steps; without logs every factor is 1.

    Raises
    ------
    InputError
        When minutes are not above 0, or a step took 20 times what was planned or a 20th of it.
    """
    guess = {name: value**2 for name, value in _GUESS.items()}
    drift = (guess["left"] + guess["job"]) / 2.0
    if not logs:
        return Learned({}, {}, 1.0, math.sqrt(guess["job"]), 0)
    ratio = np.array([_ratio(one) for one in logs])
    # Centred so that the general effect of "as planned" is 0: the mean of a lognormal lies above
    # its median by half its variance.
    target = np.log(ratio) + drift
    people = list(dict.fromkeys(one.technician for one in logs))
    steps = list(dict.fromkeys((one.technician, one.thing, one.phase) for one in logs))
    jobs = list(dict.fromkeys((one.technician, one.job) for one in logs))
    groups = ["all", *["technician"] * len(people), *["step"] * len(steps), *["job"] * len(jobs)]
    design = np.zeros((len(logs), len(groups)))
    design[:, 0] = 1.0
    at_step, at_job = 1 + len(people), 1 + len(people) + len(steps)
    for row, one in enumerate(logs):
        design[row, 1 + people.index(one.technician)] = 1.0
        design[row, at_step + steps.index((one.technician, one.thing, one.phase))] = 1.0
        design[row, at_job + jobs.index((one.technician, one.job))] = 1.0
    variance = dict(guess)
    weight, job_weight = np.ones(len(logs)), np.ones(len(jobs))
    effect = np.zeros(len(groups))
    for _ in range(ROUNDS):
        prior = np.array([1.0 / variance[name] for name in groups])
        prior[at_job:] *= job_weight
        scaled = design * (weight / variance["left"])[:, None]
        covariance = np.linalg.inv(design.T @ scaled + np.diag(prior))
        effect = covariance @ (scaled.T @ target)
        left = target - design @ effect
        own = np.einsum("ij,jk,ik->i", design, covariance, design)
        squares = left**2 + own
        weight = (FREEDOM + 1.0) / (FREEDOM + squares / variance["left"])
        variance["left"] = _pooled(guess["left"], float(weight @ squares), len(logs))
        spare = effect**2 + np.diag(covariance)
        job_weight = (FREEDOM + 1.0) / (FREEDOM + spare[at_job:] / variance["job"])
        variance["job"] = _pooled(guess["job"], float(job_weight @ spare[at_job:]), len(jobs))
        variance["technician"] = _pooled(
            guess["technician"], float(spare[1:at_step].sum()), len(people)
        )
        variance["step"] = _pooled(guess["step"], float(spare[at_step:at_job].sum()), len(steps))
    general = float(effect[0])
    by_person = {name: general + float(effect[1 + at]) for at, name in enumerate(people)}
    return Learned(
        technicians={name: math.exp(value) for name, value in by_person.items()},
        steps={
            key: math.exp(by_person[key[0]] + float(effect[at_step + at]))
            for at, key in enumerate(steps)
        },
        general=math.exp(general),
        day_spread=min(1.0, math.sqrt(variance["job"])),
        rows=len(logs),
    )


def _pooled(guess: float, squares: float, count: int) -> float:
    return (_PRIOR_COUNT * guess + squares) / (_PRIOR_COUNT + count)


def _ratio(one: Logged) -> float:
    if not (one.planned_min > 0.0 and one.minutes > 0.0):
        raise InputError(
            f"{one.thing} of job {one.job}: {one.minutes:g} min for {one.planned_min:g} planned",
            allowed="minutes above 0",
        )
    ratio = one.minutes / one.planned_min
    if not 1.0 / SLOWEST <= ratio <= SLOWEST:
        raise InputError(
            f"{one.thing} of job {one.job}: {one.minutes:g} min for {one.planned_min:g} planned",
            allowed=f"between a {SLOWEST:g}th of it and {SLOWEST:g} times it",
            instead="minutes, not hours or seconds",
        )
    return ratio
