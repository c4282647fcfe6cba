"""Fit the weights that turn measures of the sound into odds.

Draws engines, drives, faults, phones and rooms from the rig, measures them the way a
technician's takes are measured, and fits a conditional logit with a small penalty on the size of
the weights. The weights go to src/beltside/suspects/sound_model.toml with their provenance.

usage: python scripts/calibrate.py [--cases 1500] [--seed 1] [--keep FILE]
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
import pickle
import sys
import time
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.optimize import minimize

from beltside.base.words import part_kind
from beltside.casework import measures as measuring
from beltside.casework.shipped import catalogue
from beltside.casework.take_measures import take_measures
from beltside.casework.takes import ArraySource, Conditions, hear_all
from beltside.rig import draw_case, draws
from beltside.suspects.catalogue import suspects_for
from beltside.suspects.sound_model import fault_kind

Float64 = npt.NDArray[np.float64]
TARGET = Path(__file__).parents[1] / "src/beltside/suspects/sound_model.toml"
SHARES = draws.Shares(
    none=0.15,
    other=0.05,
    suspects={suspect: 1.5 if suspect.endswith(".bearing") else 1.0 for suspect in draws.SUSPECTS},
)
GROUPS = 4
SHARED_PENALTY, OWN_PENALTY = 5e-4, 5e-3
SHARPNESS = 1.0


def measured_case(case: Any, seed: int) -> list[dict[str, Any]]:
    """One simulated case as suspects, measures and truth: whole, and once more with some of its
    takes left out, so that the weights know cases with few takes too."""
    sources = [ArraySource(take.samples, take.sample_rate_hz) for take in case.takes]
    conditions = [
        Conditions(
            take.name,
            take.belt,
            None if take.place == "front of engine" else take.place,
            take.load,
        )
        for take in case.takes
    ]
    heard = hear_all(sources, conditions, case.sheet)
    each = [take_measures(one.hearing, case.sheet) for one in heard]
    parts = [pulley.part for pulley in case.sheet.pulleys]
    suspects = [one.id for one in suspects_for(catalogue(), parts)]
    rng = np.random.default_rng(seed)
    chosen = [list(range(len(heard)))]
    fewer = [0, *(index for index in range(1, len(heard)) if rng.random() < 0.5)]
    if len(fewer) < len(heard):
        chosen.append(fewer)
    rows = []
    for takes in chosen:
        joined = measuring.case_measures(
            [heard[index] for index in takes], [each[index] for index in takes], case.sheet
        )
        rows.append(
            {
                "seed": seed,
                "whole": len(takes) == len(heard),
                "truth": case.truth,
                "suspects": suspects,
                "log_prior": drawn_log_prior(suspects),
                "case": joined.case,
                "parts": joined.parts,
                "severity_db": case.severity_db,
            }
        )
    return rows


def draw(seed: int) -> list[dict[str, Any]]:
    """Draw and measure one case, every kind of fault about as often as the next."""
    case = draw_case(np.random.default_rng(seed), duration_s=(5.0, 8.0), shares=SHARES)
    return measured_case(case, seed)


def drawn_log_prior(suspects: list[str]) -> Float64:
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


@dataclass(frozen=True)
class Rows:
    """Every suspect of every case as one row, sorted by kind of fault.

    Attributes
    ----------
    kinds
        Kinds of fault.
    measures
        Rows of each kind, each of shape (rows, measures).
    order
        Place of each sorted row in the cases' own order, shape (rows,).
    starts
        First row of each case in the cases' own order, shape (cases,).
    truth
        Row of each case's truth in the cases' own order, shape (cases,).
    log_prior
        In the cases' own order, shape (rows,).
    """

    kinds: list[str]
    measures: list[Float64]
    order: npt.NDArray[np.intp]
    starts: npt.NDArray[np.intp]
    truth: npt.NDArray[np.intp]
    log_prior: Float64


def design(cases: list[dict[str, Any]]) -> Rows:
    """The cases as rows; those whose truth is no suspect of theirs are left out."""
    kinds = sorted({fault_kind(s) for case in cases for s in case["suspects"]})
    zero = np.zeros(len(measuring.SUSPECT_MEASURES))
    usable = [case for case in cases if case["truth"] in case["suspects"]]
    blocks, of_kind, truth, count = [], [], [], [0]
    for case in usable:
        own = np.array([case["parts"].get(s.partition(".")[0], zero) for s in case["suspects"]])
        blocks.append(np.hstack((np.tile(case["case"], (len(own), 1)), own)))
        of_kind += [kinds.index(fault_kind(s)) for s in case["suspects"]]
        truth.append(count[-1] + case["suspects"].index(case["truth"]))
        count.append(count[-1] + len(own))
    order = np.argsort(np.array(of_kind), kind="stable")
    edges = np.cumsum(np.bincount(of_kind, minlength=len(kinds)))[:-1]
    return Rows(
        kinds,
        np.split(np.vstack(blocks)[order], edges),
        order,
        np.array(count[:-1]),
        np.array(truth),
        np.concatenate([case["log_prior"] for case in usable]),
    )


def fit(
    cases: list[dict[str, Any]], shared: float = SHARED_PENALTY, own: float = OWN_PENALTY
) -> tuple[list[str], Float64]:
    """Weights, shape (kinds, measures).

    Each kind's weights are those of its group (healthy, other, engine, belt-driven) plus its own
    deviation, which is held smaller: few cases of a rare fault then still stand on many.
    """
    rows = design(cases)
    kinds = rows.kinds
    width = len(measuring.CASE_MEASURES) + len(measuring.SUSPECT_MEASURES)
    group = np.array([_group(kind) for kind in kinds])
    edges = np.cumsum([len(block) for block in rows.measures])[:-1]
    sizes = np.diff(np.append(rows.starts, rows.log_prior.size))

    def loss(flat: Float64) -> tuple[float, Float64]:
        common = flat[: GROUPS * width].reshape(GROUPS, width)
        apart = flat[GROUPS * width :].reshape(len(kinds), width)
        weights = common[group] + apart
        score = rows.log_prior.copy()
        score[rows.order] += np.concatenate(
            [block @ weight for block, weight in zip(rows.measures, weights, strict=True)]
        )
        score -= np.repeat(np.maximum.reduceat(score, rows.starts), sizes)
        share = np.exp(score)
        share /= np.repeat(np.add.reduceat(share, rows.starts), sizes)
        total = -float(np.log(np.maximum(share[rows.truth], 1e-12)).mean())
        share[rows.truth] -= 1.0
        parts = np.split(share[rows.order], edges)
        slope = np.array(
            [part @ block for part, block in zip(parts, rows.measures, strict=True)]
        ) / len(sizes)
        common_slope = np.zeros_like(common)
        np.add.at(common_slope, group, slope)
        size = shared * float((common**2).sum()) + own * float((apart**2).sum())
        gradient = np.concatenate(
            ((common_slope + 2.0 * shared * common).ravel(), (slope + 2.0 * own * apart).ravel())
        )
        return total + size, gradient

    start = np.zeros((GROUPS + len(kinds)) * width)
    best = minimize(loss, start, jac=True, method="L-BFGS-B", options={"maxiter": 400}).x
    common = best[: GROUPS * width].reshape(GROUPS, width)
    return kinds, common[group] + best[GROUPS * width :].reshape(len(kinds), width)


def _group(kind: str) -> int:
    """Healthy, other, engine-driven or belt-driven."""
    if kind in ("none", "other"):
        return 0 if kind == "none" else 1
    engine = {
        fault_kind(s.id) for s in catalogue().suspects if s.id.count(".") and not s.belt_driven
    }
    return 2 if kind in engine else 3


def toml(kinds: list[str], weights: Float64, cases: int, seed: int) -> str:
    """The model as text."""
    lines = [
        "# What the sound says of each kind of fault: weights of the measures of",
        "# casework/measures.py, fitted by scripts/calibrate.py on simulated cases"
        " (`make calibrate`).",
        "# A positive weight speaks for the fault; a measure of 0 says nothing.",
        "",
        "version = 2",
        f"sharpness = {SHARPNESS}",
        f'fitted_on = "{cases} cases drawn by the rig (first seed {seed}), penalties '
        f'{SHARED_PENALTY:g} shared and {OWN_PENALTY:g} own"',
        f"case_measures = {_names(measuring.CASE_MEASURES)}",
        f"suspect_measures = {_names(measuring.SUSPECT_MEASURES)}",
        "",
        "[weights]",
    ]
    for kind, row in zip(kinds, weights, strict=True):
        numbers = ", ".join(f"{value:.3f}" for value in row)
        lines.append(f'"{kind}" = [{numbers}]')
    return "\n".join(lines) + "\n"


def _names(names: tuple[str, ...]) -> str:
    return "[" + ", ".join(f'"{name}"' for name in names) + "]"


def drawn(cases: int, seed: int) -> Iterator[list[dict[str, Any]]]:
    """Cases as they are measured, with the time left on stderr."""
    started = time.monotonic()
    with ProcessPoolExecutor() as pool:
        for count, case in enumerate(
            pool.map(draw, range(seed * 1_000_000, seed * 1_000_000 + cases), chunksize=4), 1
        ):
            if count % 50 == 0:
                spent = time.monotonic() - started
                left = spent / count * (cases - count) / 60.0
                print(f"{count} of {cases} cases, {left:.0f} min left", file=sys.stderr, flush=True)
            yield case


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=1500)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--keep", type=Path, help="file for the measured cases")
    parser.add_argument("--refit", type=Path, nargs="*", help="fit on kept cases instead")
    arguments = parser.parse_args()
    cases: list[dict[str, Any]] = []
    for file in arguments.refit or []:
        cases += pickle.loads(file.read_bytes())
    fresh = () if arguments.refit else drawn(arguments.cases, arguments.seed)
    for count, rows in enumerate(fresh, 1):
        cases += rows
        if arguments.keep and (count % 100 == 0 or count == arguments.cases):
            arguments.keep.write_bytes(pickle.dumps(cases))
    kinds, weights = fit(cases)
    cases_seen = len({case["seed"] for case in cases})
    TARGET.write_text(toml(kinds, weights, cases_seen, arguments.seed), encoding="utf-8")
    print(f"{cases_seen} cases, {len(kinds)} kinds of fault: {TARGET}")


if __name__ == "__main__":
    main()
