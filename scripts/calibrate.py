"""Fit the weights that turn measures of the sound into odds.

Draws engines, drives, faults, phones and rooms from simulators of other habits (the rig,
bench/stranger.py, judge.py, textbook.py, bystander.py, apprentice.py and neighbour.py), measures
them the way a technician's takes are measured, and fits a conditional logit with a small penalty
on the size of the weights.
Then each simulator is left out in turn: what the weights of the others say of it is printed, and
sets the sharpness. The weights go to src/beltside/suspects/sound_model.toml with their provenance.

usage: python scripts/calibrate.py [--rig CASES] [--stranger CASES] [--judge CASES] ...
           [--seed 41] [--keep FILE] [--refit FILE ...]
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
import pickle
import sys
import time
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.optimize import minimize

from beltside.casework import measures as measuring
from beltside.casework.changes import CHANGES
from beltside.casework.probe_profiles import PROBE_PROFILES
from beltside.casework.profiles import CASE_PROFILES, SUSPECT_PROFILES
from beltside.casework.shipped import catalogue
from beltside.casework.sway import SWAY
from beltside.casework.switched_on import CASE_LOADS
from beltside.suspects.sound_model import fault_kind

sys.path.insert(0, str(Path(__file__).parents[1] / "bench"))
from calibrate_cases import COUNTS, LOG_PRIORS, SEEDS_APART, SEEDS_LATER, draw
from scoring import expected_calibration_error, reliability

Float64 = npt.NDArray[np.float64]
Float32 = npt.NDArray[np.float32]
TARGET = Path(__file__).parents[1] / "src/beltside/suspects/sound_model.toml"
GROUPS = 4
SHARED_PENALTY, OWN_PENALTY = 1e-3, 1.5e-3
PROFILE_PENALTY, TURN_PENALTY = 4.0, 60.0
"""Profiles are many and alike, each point says little: their weights are held smaller by these
factors, chosen on cases held out (docs/methods/odds.md)."""
SHARPNESSES = (0.5, 0.55, 0.6, 0.65, 0.7, 0.75, 0.8, 0.85, 0.9, 0.95, 1.0)


@dataclass(frozen=True)
class Rows:
    """Every suspect of every case as one row, case by case.

    Attributes
    ----------
    kinds
        Kinds of fault.
    case
        Measures of each case, shape (cases, case measures).
    own
        For each kind the rows of suspects whose part was measured, and their measures, shapes
        (rows of the kind,) and (rows of the kind, suspect measures).
    kind, of_case
        Number of each row's kind, and of its case, shape (rows,).
    starts, truth
        First row of each case, and the row of its truth, shape (cases,).
    log_prior
        Of each row, shape (rows,).
    weight
        Of each case, shape (cases,): each simulator counts alike, and a case seen whole and in part
        counts once.
    """

    kinds: list[str]
    case: Float32
    own: list[tuple[npt.NDArray[np.intp], Float32]]
    kind: npt.NDArray[np.intp]
    of_case: npt.NDArray[np.intp]
    starts: npt.NDArray[np.intp]
    truth: npt.NDArray[np.intp]
    log_prior: Float64
    weight: Float64

    def scores(self, weights: Float64) -> Float64:
        """Score of each row under weights of shape (kinds, measures)."""
        of_case, of_part = _apart(weights.astype(np.float32), self.case.shape[1])
        scores: Float64 = self.log_prior + (self.case @ of_case.T)[self.of_case, self.kind]
        for (rows, measures), one in zip(self.own, of_part, strict=True):
            scores[rows] += measures @ one
        return scores

    def loss(self, weights: Float64) -> tuple[float, Float64]:
        """Mean -ln of the truth's odds, and its slope over the weights."""
        score = self.scores(weights)
        sizes = np.diff(np.append(self.starts, score.size))
        score -= np.repeat(np.maximum.reduceat(score, self.starts), sizes)
        share = np.exp(score)
        share /= np.repeat(np.add.reduceat(share, self.starts), sizes)
        total = -float(self.weight @ np.log(np.maximum(share[self.truth], 1e-12)))
        share[self.truth] -= 1.0
        share *= np.repeat(self.weight, sizes)
        slope = np.zeros(weights.shape)
        of_case, of_part = _apart(slope, self.case.shape[1])
        place = self.of_case * len(self.kinds) + self.kind
        kinds_of_case = np.bincount(place, share, len(self.case) * len(self.kinds))
        of_case += kinds_of_case.reshape(len(self.case), -1).astype(np.float32).T @ self.case
        small = share.astype(np.float32)
        for (rows, measures), one in zip(self.own, of_part, strict=True):
            one += small[rows] @ measures
        return total, slope


def _apart(weights: Any, case_measures: int) -> tuple[Any, Any]:
    """Views of the weights of the case's and of the part's measures."""
    return weights[:, :case_measures], weights[:, case_measures:]


def design(cases: list[dict[str, Any]]) -> Rows:
    """The cases as rows; those whose truth is no suspect of theirs are left out."""
    kinds = sorted({fault_kind(s) for case in cases for s in case["suspects"]})
    number = {kind: index for index, kind in enumerate(kinds)}
    usable = [case for case in cases if case["truth"] in case["suspects"]]
    named = [(case, suspect) for case in usable for suspect in case["suspects"]]
    kind = np.array([number[fault_kind(suspect)] for _, suspect in named])
    parts = [case["parts"].get(suspect.partition(".")[0]) for case, suspect in named]
    measured = np.array([part is not None for part in parts])
    own = []
    for index in range(len(kinds)):
        rows = np.nonzero(measured & (kind == index))[0]
        shape = (rows.size, len(measuring.SUSPECT_MEASURES))
        own.append((rows, np.array([parts[row] for row in rows], np.float32).reshape(shape)))
    sizes = [len(case["suspects"]) for case in usable]
    starts = np.cumsum([0, *sizes[:-1]])
    seen = Counter((case["source"], case["seed"]) for case in usable)
    drawn_by = Counter(source for source, _ in seen)
    weight = np.array(
        [1.0 / seen[case["source"], case["seed"]] / drawn_by[case["source"]] for case in usable]
    )
    return Rows(
        kinds,
        np.array([case["case"] for case in usable], np.float32),
        own,
        kind,
        np.repeat(np.arange(len(usable)), sizes),
        starts,
        starts + np.array([case["suspects"].index(case["truth"]) for case in usable]),
        np.concatenate([case["log_prior"] for case in usable]),
        weight / weight.sum(),
    )


def fit(
    cases: list[dict[str, Any]], shared: float = SHARED_PENALTY, own: float = OWN_PENALTY
) -> tuple[list[str], Float64]:
    """Weights, shape (kinds, measures).

    Each kind's weights are those of its group (healthy, other, engine, belt-driven) plus its own
    deviation, which is held smaller: few cases of a rare fault then still stand on many.
    """
    rows = design(cases)
    factor = penalty_factors()
    width, kinds = factor.size, len(rows.kinds)
    group = np.array([_group(kind) for kind in rows.kinds])

    def split(flat: Float64) -> tuple[Float64, Float64]:
        return flat[: GROUPS * width].reshape(GROUPS, width), flat[GROUPS * width :].reshape(
            kinds, width
        )

    def loss(flat: Float64) -> tuple[float, Float64]:
        common, apart = split(flat)
        total, slope = rows.loss(common[group] + apart)
        total += shared * float((factor * common**2).sum()) + own * float((factor * apart**2).sum())
        common_slope = 2.0 * shared * factor * common
        np.add.at(common_slope, group, slope)
        apart_slope = slope + 2.0 * own * factor * apart
        return total, np.concatenate((common_slope.ravel(), apart_slope.ravel()))

    start = np.zeros((GROUPS + kinds) * width)
    best = minimize(loss, start, jac=True, method="L-BFGS-B", options={"maxiter": 300}).x
    common, apart = split(best)
    return rows.kinds, common[group] + apart


def penalty_factors() -> Float64:
    """Factor on the penalty of each measure, shape (measures,)."""
    profiles = {*CASE_PROFILES, *SUSPECT_PROFILES, *PROBE_PROFILES, *CASE_LOADS, *SWAY}
    profiles |= {f"went_{name}" for name in (*CHANGES, *SWAY)}
    profiles |= {f"{start}_{name}" for start in ("probe", "own_load") for name in SWAY}
    return np.array(
        [
            TURN_PENALTY
            if name.startswith(("turn_", "here_turn_")) and name in profiles
            else PROFILE_PENALTY
            if name in profiles
            else 1.0
            for name in (*measuring.CASE_MEASURES, *measuring.SUSPECT_MEASURES)
        ]
    )


def _group(kind: str) -> int:
    """Healthy, other, engine-driven or belt-driven."""
    if kind in ("none", "other"):
        return 0 if kind == "none" else 1
    engine = {
        fault_kind(s.id) for s in catalogue().suspects if s.id.count(".") and not s.belt_driven
    }
    return 2 if kind in engine else 3


@dataclass(frozen=True)
class Judged:
    """How weights do on a simulator they were not fitted on, at each of SHARPNESSES.

    Attributes
    ----------
    source, cases, faults
        The simulator, how many of its cases seen whole, how many of these have a fault.
    first, three, part
        Share of the faults named first, among the first three, and whose part is named first.
    log_loss, calibration_error
        Mean -ln of the truth's odds, and expected calibration error, each shape (sharpnesses,).
    """

    source: str
    cases: int
    faults: int
    first: float
    three: float
    part: float
    log_loss: Float64
    calibration_error: Float64


def judged(cases: list[dict[str, Any]], kinds: list[str], weights: Float64, source: str) -> Judged:
    """What weights say of one simulator's cases."""
    row = dict(zip(kinds, weights, strict=True))
    zero = np.zeros(len(measuring.SUSPECT_MEASURES))
    whole = [
        case
        for case in cases
        if case["source"] == source and case["whole"] and case["truth"] in case["suspects"]
    ]
    places, parts, losses, said, right = [], [], [], [], []
    for case in whole:
        own = [case["parts"].get(s.partition(".")[0], zero) for s in case["suspects"]]
        terms = np.array(
            [
                np.concatenate((case["case"], part)) @ row[fault_kind(suspect)]
                for suspect, part in zip(case["suspects"], own, strict=True)
            ]
        )
        score = case["log_prior"] + np.outer(SHARPNESSES, terms)
        odds = np.exp(score - score.max(axis=1, keepdims=True))
        odds /= odds.sum(axis=1, keepdims=True)
        truth = case["suspects"].index(case["truth"])
        losses.append(-np.log(np.maximum(odds[:, truth], 1e-12)))
        said.append(odds.max(axis=1))
        right.append(odds.argmax(axis=1) == truth)
        if case["truth"] not in ("none", "other"):
            places.append(int((odds[-1] > odds[-1, truth]).sum()))
            named = case["suspects"][int(odds[-1].argmax())]
            parts.append(named.partition(".")[0] == case["truth"].partition(".")[0])
    place = np.array(places)
    calibration = [
        expected_calibration_error(reliability(list(one), list(hit)))
        for one, hit in zip(np.transpose(said), np.transpose(right), strict=True)
    ]
    return Judged(
        source,
        len(whole),
        place.size,
        float((place == 0).mean()),
        float((place < 3).mean()),
        float(np.mean(parts)),
        np.mean(losses, axis=0),
        np.array(calibration),
    )


def left_out(cases: list[dict[str, Any]]) -> list[Judged]:
    """Each simulator judged by weights fitted on the others."""
    sources = sorted({case["source"] for case in cases})
    return [
        judged(cases, *fit([case for case in cases if case["source"] != source]), source)
        for source in sources
    ]


def toml(
    kinds: list[str], weights: Float64, counts: dict[str, int], seed: int, sharpness: float
) -> str:
    """The model as text."""
    drawn_by = ", ".join(f"{count} by the {source}" for source, count in counts.items())
    lines = [
        "# What the sound says of each kind of fault: weights of the measures of",
        "# casework/measures.py, fitted by scripts/calibrate.py on simulated cases"
        " (`make calibrate`).",
        "# A positive weight speaks for the fault; a measure of 0 says nothing.",
        "",
        "version = 6",
        f"sharpness = {sharpness}",
        f'fitted_on = "cases drawn by {len(counts)} simulators: {drawn_by} '
        f"(seeds from {seed} million), "
        f'penalties {SHARED_PENALTY:g} shared and {OWN_PENALTY:g} own"',
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


def drawn(counts: dict[str, int], seed: int) -> Iterator[list[dict[str, Any]]]:
    """Cases as they are measured, with the time left on stderr."""
    started = time.monotonic()
    jobs = [
        (source, (seed + SEEDS_LATER[source]) * SEEDS_APART + one)
        for source, count in counts.items()
        for one in range(count)
    ]
    with ProcessPoolExecutor() as pool:
        for count, case in enumerate(pool.map(draw, jobs, chunksize=4), 1):
            if count % 50 == 0:
                spent = time.monotonic() - started
                left = spent / count * (len(jobs) - count) / 60.0
                print(f"{count} of {len(jobs)}, {left:.0f} min left", file=sys.stderr, flush=True)
            yield case


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    for source, count in COUNTS.items():
        parser.add_argument(
            f"--{source}", type=int, default=count, help=f"cases drawn by the {source}"
        )
    parser.add_argument("--seed", type=int, default=41)
    parser.add_argument("--keep", type=Path, help="file for the measured cases")
    parser.add_argument("--refit", type=Path, nargs="*", help="fit on kept cases instead")
    arguments = parser.parse_args()
    cases: list[dict[str, Any]] = []
    for file in arguments.refit or []:
        cases += pickle.loads(file.read_bytes())
    counts = {source: getattr(arguments, source) for source in LOG_PRIORS}
    fresh = () if arguments.refit else drawn(counts, arguments.seed)
    for count, rows in enumerate(fresh, 1):
        cases += rows
        if arguments.keep and (count % 100 == 0 or count == sum(counts.values())):
            arguments.keep.write_bytes(pickle.dumps(cases))
    seen = {(case["source"], case["seed"]) for case in cases}
    counts = {source: sum(one == source for one, _ in seen) for source in LOG_PRIORS}
    others = left_out(cases)
    best = int(np.argmin(np.mean([one.log_loss for one in others], axis=0)))
    print("left out    cases  faults  first  three  its part  log loss  calibration error")
    for one in others:
        print(
            f"{one.source:10s}  {one.cases:5d}  {one.faults:6d}  {one.first:5.1%}  {one.three:5.1%}"
            f"  {one.part:8.1%}  {one.log_loss[best]:8.3f}  {one.calibration_error[best]:.3f}"
        )
    print(f"sharpness {SHARPNESSES[best]:g}, the least log loss over them")
    kinds, weights = fit(cases)
    TARGET.write_text(
        toml(kinds, weights, counts, arguments.seed, SHARPNESSES[best]), encoding="utf-8"
    )
    print(f"{len(seen)} cases, {len(kinds)} kinds of fault: {TARGET}")


if __name__ == "__main__":
    main()
