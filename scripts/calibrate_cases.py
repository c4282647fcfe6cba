"""Cases that the weights of the odds are fitted on: drawn by the simulators, and measured.

`calibrate.py` fits; here a case is drawn by the rig or by one of bench/stranger.py, judge.py,
textbook.py, bystander.py, apprentice.py and neighbour.py, listened to, and put in numbers as a
technician's takes are.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from beltside.base.words import part_kind
from beltside.casework import measures as measuring
from beltside.casework.shipped import catalogue
from beltside.casework.take_measures import take_measures
from beltside.casework.takes import ArraySource, Conditions, HeardTake, hear_all
from beltside.rig import draw_case, draws
from beltside.suspects.catalogue import suspects_for

sys.path.insert(0, str(Path(__file__).parents[1] / "bench"))
import apprentice
import bystander
import judge
import neighbour
import stranger
import textbook

Float64 = npt.NDArray[np.float64]
SHARES = draws.Shares(
    none=0.15,
    other=0.05,
    suspects={suspect: 1.5 if suspect.endswith(".bearing") else 1.0 for suspect in draws.SUSPECTS},
)
STRANGER_NONE, STRANGER_OTHER = 0.15, 0.03
JUDGE_NONE, JUDGE_OTHER = 0.15, 0.04
SEEDS_APART = 1_000_000
SEEDS_LATER = {
    "rig": 0,
    "stranger": 0,
    "judge": 10,
    "textbook": 20,
    "bystander": 30,
    "apprentice": 40,
    "neighbour": 50,
}
"""Millions of seeds between the simulators."""

COUNTS = {
    "rig": 1100,
    "stranger": 1100,
    "judge": 1100,
    "textbook": 1100,
    "bystander": 1100,
    "apprentice": 800,
    "neighbour": 800,
}

ROUND_EVERY = 5
"""Every so manieth case is a whole round: all takes a thorough technician makes."""

USUAL_S, ROUND_S = (5.0, 10.0), (4.0, 7.0)
SHARES_OF_TAKES = {False: (0.5,), True: (0.0, 0.4)}
"""How many of a case's takes are left in when it is seen in part: of usual cases one part, of
whole rounds two, the first without any probe."""


def measured_case(case: Any, source: str, seed: int) -> list[dict[str, Any]]:
    """One simulated case as suspects, measures and truth: whole, and again with some of its takes
    left out, so that the weights know cases with few takes too."""
    heard = heard_case(case)
    each = [take_measures(one.hearing, case.sheet) for one in heard]
    parts = [pulley.part for pulley in case.sheet.pulleys]
    suspects = [one.id for one in suspects_for(catalogue(), parts)]
    rng = np.random.default_rng(seed)
    chosen = [list(range(len(heard)))]
    for share in SHARES_OF_TAKES[is_round(seed)]:
        fewer = [
            index
            for index, one in enumerate(heard)
            if index == 0 or (rng.random() < share if share else one.conditions.part is None)
        ]
        if len(fewer) < len(heard):
            chosen.append(fewer)
    rows = []
    for takes in chosen:
        joined = measuring.case_measures(
            [heard[index] for index in takes], [each[index] for index in takes], case.sheet
        )
        rows.append(
            {
                "source": source,
                "seed": seed,
                "whole": len(takes) == len(heard),
                "truth": case.truth,
                "suspects": suspects,
                "log_prior": LOG_PRIORS[source](suspects),
                "case": joined.case,
                "parts": joined.parts,
                "severity_db": case.severity_db,
            }
        )
    return rows


def heard_case(case: Any) -> list[HeardTake]:
    """Listen to one simulated case, the way a technician's takes are listened to."""
    sources = [ArraySource(take.samples, take.sample_rate_hz) for take in case.takes]
    conditions = [
        Conditions(
            take.name,
            take.belt,
            None if take.place == "front of engine" else take.place,
            tuple(take.load),
        )
        for take in case.takes
    ]
    return hear_all(sources, conditions, case.sheet)


def draw(job: tuple[str, int]) -> list[dict[str, Any]]:
    """Draw and measure one case."""
    source, seed = job
    return measured_case(simulated(source, seed), source, seed)


def simulated(source: str, seed: int) -> Any:
    """Draw one case, every kind of fault about as often as the next."""
    every = is_round(seed)
    rng, length_s = np.random.default_rng(seed), ROUND_S if every else USUAL_S
    if source == "rig":
        return draw_case(rng, duration_s=length_s, shares=SHARES, every_take=every)
    return DRAWS[source](rng, duration_s=length_s, every_take=every)


DRAWS: dict[str, Callable[..., Any]] = {
    "stranger": stranger.draw_case,
    "judge": judge.draw_case,
    "textbook": textbook.draw_case,
    "bystander": bystander.draw_case,
    "apprentice": apprentice.draw_case,
    "neighbour": neighbour.draw_case,
}


def is_round(seed: int) -> bool:
    """Whether a case is a whole round."""
    return seed % ROUND_EVERY == 0


def stranger_log_prior(suspects: list[str]) -> Float64:
    """How often the stranger draws each: all faults alike, the idlers' bearings as one."""
    return _even_log_prior(suspects, STRANGER_NONE, STRANGER_OTHER)


def judge_log_prior(suspects: list[str]) -> Float64:
    """How often the others draw each: as the stranger, but for the odd ones."""
    return _even_log_prior(suspects, JUDGE_NONE, JUDGE_OTHER)


def _even_log_prior(suspects: list[str], none: float, other: float) -> Float64:
    faults = [suspect for suspect in suspects if suspect not in ("none", "other")]
    idlers = sum(suspect.startswith("idler") for suspect in faults)
    weight = {suspect: 1.0 / idlers if suspect.startswith("idler") else 1.0 for suspect in faults}
    left = 1.0 - none - other
    share = {suspect: left * one / sum(weight.values()) for suspect, one in weight.items()}
    share |= {"none": none, "other": other}
    logs: Float64 = np.log([share[suspect] for suspect in suspects])
    return logs


def rig_log_prior(suspects: list[str]) -> Float64:
    """How often the rig draws each suspect, so that the weights hold only what the sound says."""
    weight = np.array(
        [
            SHARES.suspects.get(f"{part_kind(s.partition('.')[0])}.{s.partition('.')[2]}", 0.0)
            for s in suspects
        ]
    )
    share = weight / weight.sum() * (1.0 - SHARES.none - SHARES.other)
    share[suspects.index("none")] = SHARES.none
    share[suspects.index("other")] = SHARES.other
    logs: Float64 = np.log(np.maximum(share, 1e-4))
    return logs


LOG_PRIORS = {
    "rig": rig_log_prior,
    "stranger": stranger_log_prior,
    "judge": judge_log_prior,
    "textbook": judge_log_prior,
    "bystander": judge_log_prior,
    "apprentice": judge_log_prior,
    "neighbour": judge_log_prior,
}
