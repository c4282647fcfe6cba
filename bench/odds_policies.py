"""Ways to choose the next step: Beltside's and those it is compared with."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
from scipy.special import xlogy

from beltside.suspects.next_check import advise, likely_now
from beltside.suspects.plan import (
    check_minutes,
    with_repairs_done,
)
from beltside.suspects.posterior import entropy_bits
from odds_jobs import Job, Policy

Float64 = npt.NDArray[np.float64]

LEAST_GAIN_BITS = 0.02
"""A check that would lower the uncertainty by less is not worth doing for any policy."""


def beltside(job: Job) -> tuple[str, int]:
    """(a) Beltside's own advice."""
    advice = advise(
        with_repairs_done(job.planner, job.repaired),
        job.probability(),
        job.situation,
        job.known,
        likely_now(job.board, job.findings),
    )
    if not advice.stop:
        return "check", advice.options[0].place
    return "repair", job.planner.repairs.index(advice.repair)


def gains_bits(job: Job, places: Sequence[int]) -> Float64:
    """Expected drop of uncertainty from each check [bits]."""
    probability = job.probability()
    joint = job.board.likely[list(places)] * probability
    seen = joint.sum(axis=2)
    left = xlogy(seen, seen).sum(axis=1) - xlogy(joint, joint).sum(axis=(1, 2))
    gains: Float64 = entropy_bits(probability) - left / np.log(2.0)
    return gains


def _best_repair(job: Job) -> tuple[int, float]:
    ended = job.ended_by(job.probability())
    ended[list(job.repaired)] = 0.0
    best = int(ended.argmax())
    return best, float(ended[best])


def information_per_minute(sure: float) -> Policy:
    """(b) The check with most bits per minute until one repair is `sure`, then that repair."""

    def policy(job: Job) -> tuple[str, int]:
        best, share = _best_repair(job)
        places = job.open_places
        if share < sure and places:
            gains = gains_bits(job, places)
            minutes = check_minutes(job.planner, job.situation.opened)[places]
            worth = np.where(gains >= LEAST_GAIN_BITS, gains / minutes, 0.0)
            if worth.max() > 0.0:
                return "check", places[int(worth.argmax())]
        return "repair", best

    return policy


def probability_over_cost(sure: float) -> Policy:
    """(c) Suspects by probability over the minutes of their own check, each checked in turn.

    A suspect's own check is the one that speaks for it most per minute. From `sure` on the
    repair is done; with no own check left it is the repair with most probability over its cost.
    """

    def policy(job: Job) -> tuple[str, int]:
        best, share = _best_repair(job)
        if share >= sure:
            return "repair", best
        places = job.open_places
        if places:
            probability = job.probability()
            likely = job.board.likely[places]
            average = likely @ probability
            with np.errstate(divide="ignore", invalid="ignore"):
                lift = np.where(likely > 0.0, likely / average[:, :, None], 0.0).max(axis=1)
            minutes = check_minutes(job.planner, job.situation.opened)[places]
            own = np.log2(np.maximum(lift, 1.0)) / minutes[:, None]
            tells = lift.max(axis=0) > 1.5
            mine = own.argmax(axis=0)
            rank = np.where(tells, probability / minutes[mine], 0.0)
            if rank.max() > 0.0:
                return "check", places[int(mine[int(rank.argmax())])]
        ended = job.ended_by(job.probability())[:-1]
        ended[list(job.repaired)] = 0.0
        if ended.max() < 0.02:
            return "repair", len(job.planner.repairs) - 1
        return "repair", int((ended / job.planner.waste).argmax())

    return policy


def repairs_only(job: Job) -> tuple[str, int]:
    """(c') No checks: repairs by probability over cost, handed on when that is cheaper."""
    ended = job.ended_by(job.probability())[:-1]
    ended[list(job.repaired)] = 0.0
    if ended.max() < 0.02:
        return "repair", len(job.planner.repairs) - 1
    return "repair", int((ended / job.planner.waste).argmax())


TRADE_ORDER = ("ear-sides", "ear-tube", "probe-housing", "probe-engine", "belt-off-run",
               "spin-by-hand", "wiggle")  # fmt: skip


def trade_order(sure: float) -> Policy:
    """(d) Ears, probe, belt off, spin, in that order, until one repair is `sure`."""

    def policy(job: Job) -> tuple[str, int]:
        best, share = _best_repair(job)
        if share < sure:
            for word in TRADE_ORDER:
                for place in job.open_places:
                    if job.board.places[place][0].id == word:
                        return "check", place
        return "repair", best

    return policy
