"""Fit the weights that choose between crank speeds and "can't tell" (sound/crank_weights.py).

Draws engines and sounds of no engine from four simulators (the rig, bench/stranger.py, judge.py
and apprentice.py), lets the crank speed estimate measure every candidate speed, and fits a
conditional logit with a few bends to the known truth. Some engine takes are heard a second time,
played faster, since the simulators mostly idle. Prints how often speeds would be told and right
take by take, how well the stated probability holds, and what weights fitted on three simulators
say of the fourth; writes the weights. Takes a quarter of an hour of two busy cores.

usage: python scripts/fit_crank.py [--cases 320] [--check 80] [--seed 41] [--workers 2]
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
import sys
import time
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import soxr
from scipy.optimize import minimize

from beltside.drive.sheet import Engine
from beltside.rig import draw_case
from beltside.rig.draws import draw_no_engine
from beltside.sound import crank
from beltside.sound.crank_feed import CrankFeed, CrankSound
from beltside.sound.crank_prior import sheet_belief
from beltside.sound.crank_score import (
    CANDIDATE_MEASURES,
    TAKE_MEASURES,
    Weights,
    odds,
    scores,
)

sys.path.insert(0, str(Path(__file__).parents[1] / "bench"))
import apprentice
import judge
import stranger
from calibrate_cases import SHARES

Float32 = npt.NDArray[np.float32]
Float64 = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

WEIGHTS_FILE = Path(__file__).parents[1] / "src/beltside/sound/crank_weights.py"

SEEDS_APART = 1_000_000
SEEDS_LATER = {"rig": 0, "stranger": 0, "judge": 10, "apprentice": 40}
"""Millions of seeds between the simulators."""
SOURCES = tuple(SEEDS_LATER)

EVERY_NO_ENGINE = 4
"""One draw in so many is a sound of no engine."""

SPED_UP_SHARE = 0.3
SPEED_UP = (0.65, 6.0)
ALLOWED_RPM = (500.0, 6800.0)

FAST = 1.4
"""Takes above so many times the idle speed are rarer than they matter."""
FAST_WEIGHT = 1.5
NO_ENGINE_WEIGHT = 0.15
"""Sounds without an engine count together for so much of what the engines do: chosen so that
under 5 % of such sounds held out are given a speed, which would poison everything after it."""

BENDS = 6
PENALTY = 0.003
"""Times half the sum of the squared weights."""
STEPS = 250

RIGHT = 0.03
"""A candidate this near the truth, as a share, is right,"""
FOLLOWED = (0.05, 0.75)
"""if it also lies this near it for this share of the take."""

OFF = 0.05
"""A speed told is wrong from here on."""


@dataclass(frozen=True)
class Example:
    """One take: its candidates' measures, speeds (median and calmest) and log prior, the take's own
    measures, which choices are right (the last is "none"), the truth (nan for no engine), and
    where it is from."""

    source: str
    seed: int
    candidates: Float64
    take: Float64
    rpms: Float64
    calm_rpms: Float64
    log_prior: Float64
    right: Bools
    true_rpm: float
    fast: bool
    is_hum: bool

    @property
    def weight(self) -> float:
        """How much it counts in the fit among its kind."""
        return FAST_WEIGHT if self.fast else 1.0


@dataclass(frozen=True)
class Truth:
    """The true speed at some moments of a take [s, 1/min]; empty for no engine."""

    time_s: Float64
    rpm: Float64

    @property
    def median(self) -> float:
        """nan for no engine."""
        return float(np.median(self.rpm)) if self.rpm.size else float("nan")


def heard(samples: Float32, rate_hz: int, faster: float = 1.0) -> CrankSound | None:
    """What the estimate listens to, played faster; None when under 2 s."""
    mono = np.atleast_2d(samples).mean(axis=0, dtype=np.float32)
    if faster != 1.0:
        mono = soxr.resample(mono, rate_hz * faster, rate_hz)
    if mono.size < 2 * rate_hz:
        return None
    feed = CrankFeed(rate_hz)
    feed.add(mono)
    return feed.finish()


def measured(sound: CrankSound, truth: Truth, engine: Engine, source: str, seed: int) -> Example:
    """A take as an example."""
    # Every path is measured, so that the measures do not hang on the weights in use.
    crank.SURE = 2.0  # type: ignore[misc]
    given: dict[str, Any] = {
        "cylinders": engine.cylinders,
        "strokes": engine.strokes,
        "idle_rpm": engine.idle_rpm,
    }
    found = crank.estimate_crank(sound, **given).evidence
    right = np.zeros(found.rpms.size, dtype=np.bool_)
    if truth.rpm.size:
        right = np.abs(found.rpms / truth.median - 1.0) < RIGHT
        near = np.abs(found.speeds_at(truth.time_s) / truth.rpm - 1.0) < FOLLOWED[0]
        right &= near.mean(axis=1) >= FOLLOWED[1]
    return Example(
        source=source,
        seed=seed,
        candidates=found.measures,
        take=found.take,
        rpms=found.rpms,
        calm_rpms=found.calm_rpms,
        log_prior=sheet_belief(engine.idle_rpm).log_density(found.calm_rpms),
        right=np.append(right, not right.any()),
        true_rpm=truth.median,
        fast=bool(truth.median > FAST * (engine.idle_rpm or 800.0)),
        is_hum=bool(found.mains_hz),
    )


def examples(job: tuple[str, int]) -> list[Example]:
    """All takes of one draw of a simulator."""
    source, seed = job
    rng = np.random.default_rng(seed + 5)
    if seed % EVERY_NO_ENGINE == EVERY_NO_ENGINE - 1:
        return nothing(source, seed, rng)
    case = drawn_case(source, np.random.default_rng(seed))
    made = []
    for take in case.takes:
        truth = Truth(np.asarray(take.truth_time_s), np.asarray(take.truth_rpm))
        speeds = [1.0]
        if rng.random() < SPED_UP_SHARE:
            faster = float(np.exp(rng.uniform(*np.log(SPEED_UP))))
            speeds += [faster] if ALLOWED_RPM[0] < truth.median * faster < ALLOWED_RPM[1] else []
        for faster in speeds:
            sound = heard(take.samples, take.sample_rate_hz, faster)
            if sound is not None:
                there = Truth(truth.time_s / faster, truth.rpm * faster)
                made.append(measured(sound, there, case.sheet.engine, source, seed))
    return made


def nothing(source: str, seed: int, rng: np.random.Generator) -> list[Example]:
    """A sound of no engine, held against some engine."""
    draw: Any = {
        "rig": draw_no_engine,
        "stranger": stranger.draw_nothing,
        "judge": judge.draw_nothing,
        "apprentice": apprentice.draw_nothing,
    }[source]
    samples, rate_hz, _ = draw(rng)
    cylinders = int(rng.choice([3, 4, 4, 4, 6]))
    idle_rpm = float(rng.uniform(650.0, 900.0)) if rng.random() < 0.5 else None
    sound = heard(samples, rate_hz)
    never = Truth(np.zeros(0), np.zeros(0))
    engine = Engine(cylinders=cylinders, idle_rpm=idle_rpm)
    return [measured(sound, never, engine, source, seed)] if sound else []


def drawn_case(source: str, rng: np.random.Generator) -> Any:
    """A case of a simulator, as scripts/calibrate.py draws it."""
    if source == "rig":
        return draw_case(rng, duration_s=(5.0, 10.0), shares=SHARES)
    if source == "stranger":
        return stranger.draw_case(rng, duration_s=(5.0, 10.0))
    return judge.draw_case(rng) if source == "judge" else apprentice.draw_case(rng)


def drawn(first: int, count: int, seed: int, workers: int) -> list[Example]:
    """Examples of `count` draws of each simulator, from number `first` on."""
    jobs = [
        (source, (seed + SEEDS_LATER[source]) * SEEDS_APART + number)
        for number in range(first, first + count)
        for source in SOURCES
    ]
    started, made = time.monotonic(), []
    with ProcessPoolExecutor(workers) as pool:
        for done, some in enumerate(pool.map(examples, jobs), 1):
            made += some
            if done % 60 == 0 or done == len(jobs):
                left = (time.monotonic() - started) / done * (len(jobs) - done)
                print(
                    f"{done} of {len(jobs)} draws, {left:.0f} s left", file=sys.stderr, flush=True
                )
    return made


@dataclass(frozen=True)
class Table:
    """Examples side by side: one row per candidate, `first` where each take begins."""

    measures: Float64
    log_prior: Float64
    right: Bools
    take: Float64
    none_right: Bools
    weight: Float64
    first: npt.NDArray[np.intp]
    of_take: npt.NDArray[np.intp]


def table(given: Sequence[Example], centre: Float64, spread: Float64) -> Table:
    """The examples with measures of mean 0 and spread 1."""
    sizes = np.array([one.rpms.size for one in given])
    weight = np.array([one.weight for one in given])
    empty = np.array([np.isnan(one.true_rpm) for one in given])
    weight[empty] *= NO_ENGINE_WEIGHT * weight[~empty].sum() / max(float(weight[empty].sum()), 1.0)
    return Table(
        measures=(np.concatenate([one.candidates for one in given]) - centre) / spread,
        log_prior=np.concatenate([one.log_prior for one in given]),
        right=np.concatenate([one.right[:-1] for one in given]),
        take=np.array([one.take for one in given]),
        none_right=np.array([one.right[-1] for one in given]),
        weight=weight / weight.sum(),
        first=np.concatenate(([0], np.cumsum(sizes)[:-1])),
        of_take=np.repeat(np.arange(len(given)), sizes),
    )


def split(flat: Float64) -> tuple[Float64, Float64, Float64, Float64, Float64]:
    """Weights of the measures, bends (measures, bends), their places, their sizes, and of none."""
    count = len(CANDIDATE_MEASURES)
    parts = np.split(
        flat,
        np.cumsum([count, count * BENDS, BENDS, BENDS]),
    )
    return parts[0], parts[1].reshape(count, BENDS), parts[2], parts[3], parts[4]


def loss(flat: Float64, given: Table) -> tuple[float, Float64]:
    """Mean weighted -log probability of what is right, with the penalty, and its slope."""
    straight, bends, places, sizes, none = split(flat)
    bent = np.tanh(given.measures @ bends + places)
    score = given.measures @ straight + bent @ sizes + given.log_prior
    none_score = given.take @ none
    top = np.maximum(np.maximum.reduceat(score, given.first), none_score)
    share = np.exp(score - top[given.of_take])
    none_share = np.exp(none_score - top)
    whole = np.add.reduceat(share, given.first) + none_share
    right = np.add.reduceat(share * given.right, given.first) + none_share * given.none_right
    right = np.maximum(right, 1e-300)
    total = -float((given.weight * np.log(right / whole)).sum())
    of = given.of_take
    pull = given.weight[of] * share * (1.0 / whole[of] - given.right / right[of])
    none_pull = given.weight * none_share * (1.0 / whole - given.none_right / right)
    inside = (pull[:, None] * sizes) * (1.0 - bent**2)
    slope = np.concatenate(
        (
            given.measures.T @ pull,
            (given.measures.T @ inside).ravel(),
            inside.sum(axis=0),
            bent.T @ pull,
            given.take.T @ none_pull,
        )
    )
    return total + 0.5 * PENALTY * float((flat**2).sum()), slope + PENALTY * flat


def fit(given: Sequence[Example]) -> Weights:
    """Weights that make what is right likeliest."""
    measures = np.concatenate([one.candidates for one in given])
    centre, spread = measures.mean(axis=0), measures.std(axis=0) + 1e-6
    count = len(CANDIDATE_MEASURES)
    start = np.random.default_rng(0).normal(
        0.0, 0.1, count * (1 + BENDS) + 2 * BENDS + len(TAKE_MEASURES)
    )
    best = minimize(
        loss,
        start,
        args=(table(given, centre, spread),),
        jac=True,
        method="L-BFGS-B",
        options={"maxiter": STEPS},
    )
    straight, bends, places, sizes, none = split(best.x)
    return Weights(
        centre=_row(centre),
        spread=_row(spread),
        candidate=_row(straight),
        bends=tuple(_row(one) for one in bends.T),
        bend_at=_row(places),
        bend_size=_row(sizes),
        none=_row(none),
    )


def _row(values: Float64) -> tuple[float, ...]:
    """Rounded as they are written, so that what is checked is what is shipped."""
    return tuple(round(float(value), 4) for value in values)


def report(name: str, given: Sequence[Example], weights: Weights) -> None:
    """Print how often speeds are told and right, and how well the probability holds."""
    probability, hit, false_speeds, empty = [], [], 0, 0
    for one in given:
        share, _ = odds(*scores(one.candidates, one.take, weights), one.log_prior)
        same = np.abs(np.log(one.rpms[:, None] / one.rpms[None, :])) < crank.SAME_SPEED
        together = same @ share
        best = int(np.argmax(np.where(share > 0.2 * share.max(), together, 0.0)))
        sure = 0.0 if one.is_hum else float(together[best])
        if np.isnan(one.true_rpm):
            empty += 1
            false_speeds += sure >= crank.BELIEVED
        else:
            probability.append(sure)
            hit.append(abs(one.rpms[best] / one.true_rpm - 1.0) < OFF)
    sure_of, good = np.array(probability), np.array(hit, dtype=bool)
    told = sure_of >= crank.BELIEVED
    if sure_of.size:
        wrong = float(np.mean(~good[told])) if told.any() else 0.0
        print(
            f"{name}: {sure_of.size} engine takes, best right {good.mean():.3f}, "
            f"told {told.mean():.3f}, wrong among told {wrong:.4f}"
        )
        for low, high in ((0.5, 0.65), (0.65, 0.8), (0.8, 0.9), (0.9, 0.97), (0.97, 1.01)):
            inside = (sure_of >= low) & (sure_of < high)
            if inside.any():
                print(
                    f"    stated {low:.2f} to {min(high, 1.0):.2f}: {inside.sum():4d} takes, "
                    f"mean {sure_of[inside].mean():.2f}, right {good[inside].mean():.2f}"
                )
    if empty:
        print(f"{name}: {empty} sounds of no engine, {false_speeds} given a speed")


def reports(name: str, given: Sequence[Example], weights: Weights) -> None:
    """`report` of each simulator, near idle and faster."""
    for source in SOURCES:
        here = [one for one in given if one.source == source]
        report(f"{name}, {source}, near idle", [one for one in here if not one.fast], weights)
        report(f"{name}, {source}, faster", [one for one in here if one.fast], weights)


def written(weights: Weights) -> str:
    """The module that holds the weights."""

    def row(values: Sequence[float], indent: str) -> str:
        lines, line = [], indent
        for value in values:
            item = f"{value}, "
            if len(line) + len(item) > 98:
                lines.append(line.rstrip())
                line = indent
            line += item
        return "\n".join([*lines, line.rstrip()])

    flat = {
        name: "(\n" + row(getattr(weights, name), " " * 8) + "\n    )"
        for name in ("centre", "spread", "candidate", "bend_at", "bend_size", "none")
    }
    bends = "".join("        (\n" + row(one, " " * 12) + "\n        ),\n" for one in weights.bends)
    flat["bends"] = "(\n" + bends + "    )"
    body = "".join(f"    {name}={value},\n" for name, value in flat.items())
    return (
        '"""The weights of crank_score.py, written by scripts/fit_crank.py; not by hand."""\n\n'
        "from __future__ import annotations\n\nfrom typing import Final\n\n"
        "from beltside.sound.crank_score import Weights\n\n# fmt: off\n"
        f"WEIGHTS: Final = Weights(\n{body})\n"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=320, help="draws of each to fit on")
    parser.add_argument("--check", type=int, default=80, help="other draws to check on")
    parser.add_argument("--seed", type=int, default=41)
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    arguments = parser.parse_args()
    started = time.monotonic()
    fitted_on = drawn(0, arguments.cases, arguments.seed, arguments.workers)
    others = drawn(arguments.cases, arguments.check, arguments.seed, arguments.workers)
    engines = [one for one in fitted_on if not np.isnan(one.true_rpm)]
    reached = float(np.mean([not one.right[-1] for one in engines])) if engines else 0.0
    print(
        f"{len(fitted_on)} examples, {len(engines)} of them engines; the true speed is among the "
        f"candidates in {reached:.3f} of these"
    )
    weights = fit(fitted_on)
    reports("fitted on", fitted_on, weights)
    reports("others", others, weights)
    for source in SOURCES:
        apart = fit([one for one in fitted_on if one.source != source])
        every = [*fitted_on, *others]
        reports(f"without {source}", [one for one in every if one.source == source], apart)
    WEIGHTS_FILE.write_text(written(weights))
    print(f"written to {WEIGHTS_FILE.name} after {(time.monotonic() - started) / 60.0:.0f} minutes")


if __name__ == "__main__":
    main()
