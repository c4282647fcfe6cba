"""Fit the weights that choose between crank speeds and "can't tell" (sound/crank_score.py).

Draws engines and sounds of no engine from three simulators (the rig, bench/stranger.py and
bench/judge.py), lets the crank speed estimate measure every candidate speed, and fits a
conditional logit to the known truth. A third of the engine takes are heard a second time, played
faster, since the simulators mostly idle. Prints how often speeds would be told and right, how
well the stated probability holds, and the WEIGHTS block to paste.

usage: python scripts/fit_crank.py [--cases 220] [--check 60] [--seed 41] [--workers 2]
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
import sys
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import soxr
from scipy.optimize import minimize

from beltside.rig import draw_case
from beltside.rig.draws import draw_no_engine
from beltside.sound import crank
from beltside.sound.crank_feed import CrankFeed
from beltside.sound.crank_score import CANDIDATE_MEASURES, TAKE_MEASURES, Weights, odds

sys.path.insert(0, str(Path(__file__).parents[1] / "bench"))
import judge
import stranger
from calibrate import SHARES

Float32 = npt.NDArray[np.float32]
Float64 = npt.NDArray[np.float64]

SEEDS_APART = 1_000_000
JUDGE_SEEDS_LATER = 10
SOURCES = ("rig", "stranger", "judge")

EVERY_NO_ENGINE = 4
"""One draw in so many is a sound of no engine."""

SPED_UP_SHARE = 0.35
SPEED_UP = (1.6, 5.5)
TOP_RPM = 6500.0

FAST = 1.4
"""Takes above so many times the idle speed are rarer than they matter."""
FAST_WEIGHT = 1.6
NO_ENGINE_WEIGHT = 10.0
"""A speed told of a sound without an engine poisons everything after it: chosen so that under
5 % of such sounds held out are given one."""

PENALTY = 0.001
"""Times half the sum of the squared weights."""
FIXED = {"prior": 0.8, "lead": 0.5}
"""Weights not fitted. The rig says little of how often engines run at which speed, and its firing
leads less than that of real engines at speed."""

RIGHT = 0.03
"""A candidate this near the truth, as a share, is right."""

WIDTH = len(CANDIDATE_MEASURES) + len(TAKE_MEASURES)


@dataclass(frozen=True)
class Example:
    """One take: candidates' measures, the take's, the candidates' speeds and the truth (nan for
    no engine)."""

    candidates: Float64
    take: Float64
    rpms: Float64
    true_rpm: float
    fast: bool
    is_hum: bool

    @property
    def weight(self) -> float:
        """How much it counts in the fit."""
        if np.isnan(self.true_rpm):
            return NO_ENGINE_WEIGHT
        return FAST_WEIGHT if self.fast else 1.0

    @property
    def right(self) -> npt.NDArray[np.bool_]:
        """Which choices are right, shape (candidates + 1,); "none" when no candidate is."""
        near = np.abs(self.rpms / self.true_rpm - 1.0) < RIGHT
        return np.append(near, not near.any())


def measured(
    samples: Float32,
    rate_hz: int,
    truth: float,
    *,
    cylinders: int,
    strokes: int,
    idle_rpm: float | None,
    factor: float,
) -> Example | None:
    """A take as an example, played faster by `factor`; None when too short."""
    mono = samples.mean(axis=0, dtype=np.float32)
    if factor != 1.0:
        mono = soxr.resample(mono, rate_hz * factor, rate_hz)
    if mono.size < 2 * rate_hz:
        return None
    feed = CrankFeed(rate_hz)
    feed.add(mono)
    found = crank.estimate_crank(
        feed.finish(), cylinders=cylinders, strokes=strokes, idle_rpm=idle_rpm
    ).evidence
    true_rpm = truth * factor
    return Example(
        candidates=found.measures,
        take=found.take,
        rpms=found.rpms,
        true_rpm=true_rpm,
        fast=bool(true_rpm > FAST * (idle_rpm or 800.0)),
        is_hum=bool(found.mains_hz),
    )


def examples(job: tuple[str, int]) -> list[Example]:
    """All takes of one draw of a simulator."""
    source, seed = job
    # Every path is measured, so that the measures do not hang on the weights in use.
    crank.SURE = 2.0  # type: ignore[misc]
    rng = np.random.default_rng(seed + 5)
    if seed % EVERY_NO_ENGINE == EVERY_NO_ENGINE - 1:
        nothing: Any = {
            "rig": draw_no_engine,
            "stranger": stranger.draw_nothing,
            "judge": judge.draw_nothing,
        }[source]
        samples, rate_hz, _ = nothing(rng)
        hear = partial(measured, np.atleast_2d(samples), rate_hz, float("nan"))
        one = hear(cylinders=4, strokes=4, idle_rpm=760.0, factor=1.0)
        return [one] if one else []
    case = drawn_case(source, np.random.default_rng(seed))
    engine = case.sheet.engine
    made = []
    for take in case.takes:
        truth = float(np.median(take.truth_rpm))
        factors = [1.0]
        if rng.random() < SPED_UP_SHARE:
            faster = float(np.exp(rng.uniform(*np.log(SPEED_UP))))
            factors += [faster] if truth * faster < TOP_RPM else []
        made += [
            measured(
                take.samples,
                take.sample_rate_hz,
                truth,
                cylinders=engine.cylinders,
                strokes=engine.strokes,
                idle_rpm=engine.idle_rpm,
                factor=factor,
            )
            for factor in factors
        ]
    return [one for one in made if one is not None]


def drawn_case(source: str, rng: np.random.Generator) -> Any:
    """A case of a simulator, as scripts/calibrate.py draws it."""
    if source == "rig":
        return draw_case(rng, duration_s=(5.0, 10.0), shares=SHARES)
    if source == "stranger":
        return stranger.draw_case(rng, duration_s=(5.0, 10.0))
    return judge.draw_case(rng)


def drawn(first: int, count: int, seed: int, workers: int) -> list[Example]:
    """Examples of `count` draws of each simulator, from number `first` on."""
    jobs = [
        (source, (seed + JUDGE_SEEDS_LATER * (source == "judge")) * SEEDS_APART + number)
        for number in range(first, first + count)
        for source in SOURCES
    ]
    with ProcessPoolExecutor(workers) as pool:
        return [one for some in pool.map(examples, jobs) for one in some]


def split(flat: Float64) -> tuple[Float64, Float64]:
    """Weights of the candidates and of none, the fixed ones in their place."""
    full = flat.copy()
    for name, value in FIXED.items():
        full[CANDIDATE_MEASURES.index(name)] = value
    return full[: len(CANDIDATE_MEASURES)], full[len(CANDIDATE_MEASURES) :]


def loss(flat: Float64, given: Sequence[Example]) -> tuple[float, Float64]:
    """Mean weighted -log probability of what is right, with the penalty, and its slope."""
    candidate, none = split(flat)
    total, count, slope = 0.0, 0.0, np.zeros(WIDTH)
    for one in given:
        scores = np.append(one.candidates @ candidate, one.take @ none)
        share = np.exp(scores - scores.max())
        share /= share.sum()
        right = np.where(one.right, share, 0.0)
        sure = max(float(right.sum()), 1e-12)
        pull = one.weight * (share - right / sure)
        total -= one.weight * np.log(sure)
        count += one.weight
        slope += np.concatenate((pull[:-1] @ one.candidates, pull[-1] * one.take))
    free = np.array([name not in FIXED for name in (*CANDIDATE_MEASURES, *TAKE_MEASURES)])
    whole = np.concatenate((candidate, none))
    size = 0.5 * PENALTY * float((whole[free] ** 2).sum())
    return total / count + size, (slope / count + PENALTY * whole) * free


def fit(given: Sequence[Example]) -> tuple[Float64, Float64]:
    """Weights of the candidates and of none."""
    best = minimize(loss, np.zeros(WIDTH), args=(given,), jac=True, method="L-BFGS-B")
    return split(best.x)


def report(name: str, given: Sequence[Example], candidate: Float64, none: Float64) -> None:
    """Print how often speeds are told and right, and how well the probability holds."""
    weights = crank_weights(candidate, none)
    probability, hit, false_speeds, nothing = [], [], 0, 0
    for one in given:
        share, _ = odds(one.candidates, one.take, weights=weights)
        same = np.abs(np.log(one.rpms[:, None] / one.rpms[None, :])) < crank.SAME_SPEED
        together = same @ share
        best = int(np.argmax(np.where(share > 0.2 * share.max(), together, 0.0)))
        told = together[best] >= crank.BELIEVED and not one.is_hum
        if np.isnan(one.true_rpm):
            nothing += 1
            false_speeds += int(told)
        else:
            probability.append(float(together[best]) if not one.is_hum else 0.0)
            hit.append(bool(one.right[best]))
    sure, good = np.array(probability), np.array(hit, dtype=bool)
    told = sure >= crank.BELIEVED
    if sure.size:
        wrong = float(np.mean(~good[told])) if told.any() else 0.0
        print(
            f"{name}: {sure.size} engine takes, best right {good.mean():.3f}, "
            f"told {told.mean():.3f}, wrong among told {wrong:.3f}"
        )
        for low, high in ((0.5, 0.65), (0.65, 0.8), (0.8, 0.9), (0.9, 0.97), (0.97, 1.01)):
            inside = (sure >= low) & (sure < high)
            if inside.any():
                print(
                    f"    stated {low:.2f} to {min(high, 1.0):.2f}: {inside.sum():4d} takes, "
                    f"mean {sure[inside].mean():.2f}, right {good[inside].mean():.2f}"
                )
    if nothing:
        print(f"{name}: {nothing} sounds of no engine, {false_speeds} given a speed")


def crank_weights(candidate: Float64, none: Float64) -> Weights:
    """As the estimate takes them."""
    return Weights(tuple(candidate.tolist()), tuple(none.tolist()))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=220, help="draws of each to fit on")
    parser.add_argument("--check", type=int, default=60, help="other draws to check on")
    parser.add_argument("--seed", type=int, default=41)
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    arguments = parser.parse_args()
    fitted_on = drawn(0, arguments.cases, arguments.seed, arguments.workers)
    others = drawn(arguments.cases, arguments.check, arguments.seed, arguments.workers)
    reached = [one.right[:-1].any() for one in fitted_on if not np.isnan(one.true_rpm)]
    print(
        f"{len(fitted_on)} examples; the true speed is among the candidates in "
        f"{np.mean(reached) if reached else 0.0:.3f} of the engine takes"
    )
    candidate, none = fit(fitted_on)
    for name, given in (("fitted on", fitted_on), ("others", others)):
        report(f"{name}, near idle", [one for one in given if not one.fast], candidate, none)
        report(f"{name}, faster", [one for one in given if one.fast], candidate, none)
    print("WEIGHTS: Final = Weights(")
    print(f"    candidate=({', '.join(f'{value:.3f}' for value in candidate)}),")
    print(f"    none=({', '.join(f'{value:.3f}' for value in none)}),")
    print(")")


if __name__ == "__main__":
    main()
