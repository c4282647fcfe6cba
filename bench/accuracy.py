"""Accuracy on simulated engines whose truth is known.

Fresh draws of the simulators, which share no code, from seeds that no fit has seen. Weights are
fitted on other draws of all of them; what weights of the others say of one left out prints
`scripts/calibrate.py`. From sound alone: no findings of checks, no stated speeds. Takes are
measured in memory, by the same functions as files.

Most cases hold the takes somebody happened to make; "rounds" are cases with all takes of a
thorough technician: belt on and off, speed raised, each load, the probe on each housing.

usage: python bench/accuracy.py [SIMULATOR ...] [--cases 100] [--rounds 25] [--seed 9001]
       [--processes 2]
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
import itertools
import sys
import time
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import numpy as np

import apprentice
import bystander
import judge
import neighbour
import stranger
import textbook
from beltside.base.words import part_kind
from beltside.casework.crank_speed import find_crank
from beltside.casework.find import find_in_memory
from beltside.casework.takes import ArraySource, Conditions, crank_sound
from beltside.drive.sheet import Belt, DriveSheet, Engine, Pulley
from beltside.rig import draw_case as draw_rig_case
from beltside.rig import draw_no_engine as draw_rig_nothing
from figures import Figure, table
from scoring import (
    chance_calibration_error,
    expected_calibration_error,
    is_wrong,
    log_loss,
    recalls,
    reliability,
    share,
    share_range,
    speed_error,
)

FRONT = "front of engine"
ROUND_S = (5.0, 9.0)
SEVERITIES_DB = (-99.0, 0.0, 6.0, 12.0, 99.0)
HEALTHY, OTHER = "none", "other"


@dataclass(frozen=True)
class Speed:
    """One take's crank speed: told and true median [1/min], and the median error along it."""

    told_rpm: float | None
    true_rpm: float
    along: float | None


@dataclass(frozen=True)
class Outcome:
    """What was said of one case: suspects with their odds, most likely first, and speeds."""

    truth: str
    severity_db: float
    takes: int
    odds: tuple[tuple[str, float], ...]
    speeds: tuple[Speed, ...]

    @property
    def counted_truth(self) -> str:
        """The truth as far as it is among the suspects, else "other"."""
        return self.truth if self.truth in {name for name, _ in self.odds} else OTHER

    @property
    def first(self) -> str:
        """The suspect named first."""
        return self.odds[0][0]

    @property
    def place(self) -> int:
        """Place of the truth, 0 for the first."""
        return [name for name, _ in self.odds].index(self.counted_truth)


def outcome(case: Any) -> Outcome:
    """Run one simulated case of either simulator through `find_in_memory`."""
    conditions = [
        Conditions(
            take.name, take.belt, None if take.place == FRONT else take.place, tuple(take.load)
        )
        for take in case.takes
    ]
    sources = [ArraySource(take.samples, take.sample_rate_hz) for take in case.takes]
    found = find_in_memory(sources, conditions, case.sheet)
    speeds = []
    for take in case.takes:
        crank = found.crank.get(take.name)
        along = None
        if crank is not None:
            track = np.array(crank.track)
            told = np.interp(take.truth_time_s, track[:, 0], track[:, 1])
            along = float(np.median(np.abs(told / take.truth_rpm - 1.0)))
        speeds.append(
            Speed(crank.rpm_median if crank else None, float(np.median(take.truth_rpm)), along)
        )
    odds = sorted(((one.id, one.probability) for one in found.suspects), key=lambda one: -one[1])
    return Outcome(case.truth, case.severity_db, len(case.takes), tuple(odds), tuple(speeds))


@dataclass(frozen=True)
class Simulator:
    """How one simulator draws: a case (its fault by the keyword `fault`), and no engine at all."""

    draw_case: Callable[..., Any]
    draw_nothing: Callable[..., Any]
    fault: str


SIMULATORS = {
    "stranger": Simulator(stranger.draw_case, stranger.draw_nothing, "truth"),
    "judge": Simulator(judge.draw_case, judge.draw_nothing, "suspect"),
    "textbook": Simulator(textbook.draw_case, textbook.draw_nothing, "suspect"),
    "bystander": Simulator(bystander.draw_case, bystander.draw_nothing, "suspect"),
    "apprentice": Simulator(apprentice.draw_case, apprentice.draw_nothing, "suspect"),
    "neighbour": Simulator(neighbour.draw_case, neighbour.draw_nothing, "suspect"),
    "rig": Simulator(draw_rig_case, draw_rig_nothing, "truth"),
}


def drawn(name: str, kind: str, seed: int) -> Any:
    """One job: a "case", a "healthy" engine, a whole "round", or "nothing" at all."""
    rng, simulator = np.random.default_rng(seed), SIMULATORS[name]
    if kind == "nothing":
        return speed_of_nothing(rng, simulator)
    if kind == "healthy":
        return outcome(simulator.draw_case(rng, **{simulator.fault: HEALTHY}))
    if kind == "round":
        return outcome(simulator.draw_case(rng, duration_s=ROUND_S, every_take=True))
    return outcome(simulator.draw_case(rng))


def any_sheet(rng: np.random.Generator) -> DriveSheet:
    """A sheet held against a recording without an engine."""
    engine = Engine(
        cylinders=int(rng.choice([3, 4, 4, 4, 6])),
        idle_rpm=float(rng.uniform(650.0, 900.0)) if rng.random() < 0.5 else None,
    )
    return DriveSheet(engine, Belt(), (Pulley("crank", 138.0), Pulley("alternator", 55.0)))


def speed_of_nothing(rng: np.random.Generator, simulator: Simulator) -> tuple[str, float | None]:
    """What was recorded without an engine, and the crank speed told of it, if any."""
    samples, rate_hz, what = simulator.draw_nothing(rng)
    told = find_crank(crank_sound(ArraySource(samples, rate_hz)), any_sheet(rng))
    return what, None if told.track is None else told.track.rpm_median


def gather(
    work: Callable[[int], Any], first: int, count: int, processes: int, what: str
) -> list[Any]:
    """`work` over seeds `first` to `first + count - 1`, with the time left on stderr."""
    started = time.monotonic()
    results: list[Any] = []
    with ProcessPoolExecutor(processes) as pool:
        for one in pool.map(work, range(first, first + count), chunksize=2):
            results.append(one)
            if len(results) % 25 == 0 or len(results) == count:
                left = (time.monotonic() - started) / len(results) * (count - len(results))
                say = f"{what}: {len(results)} of {count}, {left:.0f} s left"
                print(say, file=sys.stderr, flush=True)
    return results


def _counted(hits: Sequence[bool]) -> str:
    low, high = share_range(hits)
    return f"{sum(hits)} of {len(hits)}; 90 % range {100 * low:.0f} to {100 * high:.0f} %"


def speed_figures(
    outcomes: Sequence[Outcome], nothing: Sequence[tuple[str, float | None]]
) -> list[Figure]:
    """Figures of the crank speed."""
    speeds = [speed for one in outcomes for speed in one.speeds]
    errors = [speed_error(one.told_rpm, one.true_rpm) for one in speeds]
    told = [error for error in errors if error is not None]
    wrong = [is_wrong(error) for error in told]
    along = [one.along for one in speeds if one.along is not None]
    silent = [rpm is None for _, rpm in nothing]
    heard = [error is not None for error in errors]
    middle = float(np.median(np.abs(told))) if told else float("nan")
    followed = float(np.median(along)) if along else float("nan")
    return [
        Figure("crank speed, median error", middle, "%", 0.003, note=f"{len(told)} takes told"),
        Figure("crank speed, median error along the take", followed, "%", 0.003),
        Figure("wrong octave, of takes told", share(wrong), "%", 0.02, note=_counted(wrong)),
        Figure("crank speed told", share(heard), "%", note=_counted(heard)),
        Figure(
            '"can\'t tell" without an engine',
            share(silent),
            "%",
            0.95,
            at_least=True,
            note=_counted(silent),
        ),
    ]


def odds_figures(outcomes: Sequence[Outcome], healthy: Sequence[Outcome]) -> list[Figure]:
    """Figures of the odds; `healthy` are further healthy engines for the false alarms."""
    faulty = [one for one in outcomes if one.counted_truth not in (HEALTHY, OTHER)]
    first = [one.place == 0 for one in faulty]
    three = [one.place < 3 for one in faulty]
    part = [_part(one.first) == _part(one.truth) for one in faulty]
    every = [one.place == 0 for one in outcomes]
    well = [*(one for one in outcomes if one.truth == HEALTHY), *healthy]
    alarm = [one.first not in (HEALTHY, OTHER) and one.odds[0][1] > 0.5 for one in well]
    not_first = [one.first != HEALTHY for one in well]
    said = [one.odds[0][1] for one in outcomes]
    calibration = expected_calibration_error(reliability(said, every))
    by_chance = chance_calibration_error(said, np.random.default_rng(0))
    loss = log_loss([dict(one.odds)[one.counted_truth] for one in outcomes])
    blind = log_loss([1.0 / len(one.odds) for one in outcomes])
    return [
        Figure("right suspect first", share(first), "%", 0.80, True, _counted(first)),
        Figure("right suspect among first three", share(three), "%", 0.95, True, _counted(three)),
        Figure("right part first", share(part), "%", note=_counted(part)),
        Figure("right first, healthy ones and others too", share(every), "%", note=_counted(every)),
        Figure(
            "false alarm: fault first, over 50 %", share(alarm), "%", 0.10, note=_counted(alarm)
        ),
        Figure('healthy, "none" not first', share(not_first), "%", note=_counted(not_first)),
        Figure(
            "expected calibration error",
            calibration,
            "",
            0.05,
            note=f"a perfect forecaster shows {by_chance:.3f} on so few cases",
        ),
        Figure("log loss", loss, "nats", note=f"all suspects alike: {blind:.2f}"),
    ]


def _part(suspect: str) -> str:
    return suspect.partition(".")[0]


def details(outcomes: Sequence[Outcome]) -> str:
    """Reliability, severity and fault tables as text."""
    lines = ["probability said   cases   said  right"]
    said = [one.odds[0][1] for one in outcomes]
    for row in reliability(said, [one.place == 0 for one in outcomes]):
        lines.append(
            f"{100 * row.low:3.0f} to {100 * row.high:3.0f} %       {row.count:5d}  "
            f"{100 * row.said:4.0f} %  {100 * row.right:4.0f} %"
        )
    lines += ["", "fault over the rest in its band   cases  first  first three"]
    faulty = [one for one in outcomes if one.counted_truth not in (HEALTHY, OTHER)]
    for low, high in itertools.pairwise(SEVERITIES_DB):
        these = [one for one in faulty if low <= one.severity_db < high]
        if these:
            name = f"{max(low, -20):.0f} dB to {high:.0f} dB" if high < 99 else f"over {low:.0f} dB"
            lines.append(
                f"{name:32s}  {len(these):5d}  {100 * share([o.place == 0 for o in these]):3.0f} %"
                f"  {100 * share([o.place < 3 for o in these]):3.0f} %"
            )
    lines += ["", "truth                     cases  first  most common mistake"]
    for recall in recalls(
        [_unnumbered(one.counted_truth) for one in outcomes],
        [_unnumbered(one.first) for one in outcomes],
    ):
        mistake = f"{recall.mistake} ({recall.mistakes})" if recall.mistakes else ""
        lines.append(
            f"{recall.truth:24s}  {recall.count:5d}  {100 * recall.first:3.0f} %  {mistake}"
        )
    return "\n".join(lines)


def _unnumbered(suspect: str) -> str:
    part, dot, fault = suspect.partition(".")
    return f"{part_kind(part)}{dot}{fault}"


def told_of_nothing(nothing: Sequence[tuple[str, float | None]]) -> str:
    """Recordings without an engine of which a speed was told."""
    told = [f"{what} ({rpm:.0f} rpm)" for what, rpm in nothing if rpm is not None]
    return "speeds told without an engine: " + (", ".join(told) if told else "none")


def measure(name: str, cases: int, rounds: int, seed: int, processes: int) -> list[Figure]:
    """Draw, listen and print."""
    # Seeds far from those that calibration counts up from (a million apart).
    base = 1_000_000_000 + seed * 1_000_000

    def many(kind: str, first: int, count: int) -> list[Any]:
        work = partial(drawn, name, kind)
        return gather(work, base + first, count, processes, f"{name}, {kind}") if count else []

    outcomes = many("case", 0, cases)
    healthy = many("healthy", 400_000, cases // 4)
    empty = many("nothing", 700_000, max(cases // 2, 1))
    whole = many("round", 200_000, rounds)
    figures = [*speed_figures([*outcomes, *healthy], empty), *odds_figures(outcomes, healthy)]
    takes = sum(one.takes for one in outcomes)
    print(f"\n{name}: {cases} cases, {takes} takes, seed {seed}\n")
    print(table(figures))
    print(f"\n{told_of_nothing(empty)}\n\n{details(outcomes)}")
    if whole:
        takes = sum(one.takes for one in whole)
        print(f"\n{name}: {rounds} whole rounds, {takes} takes\n")
        figures += [
            replace(one, name=f"whole rounds: {one.name}") for one in odds_figures(whole, [])
        ]
        print(table(odds_figures(whole, [])))
    return figures


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("simulators", nargs="*", metavar="SIMULATOR", help=", ".join(SIMULATORS))
    parser.add_argument("--cases", type=int, default=100)
    parser.add_argument("--rounds", type=int, default=25)
    parser.add_argument("--seed", type=int, default=9001)
    parser.add_argument("--processes", type=int, default=2)
    arguments = parser.parse_args()
    unknown = set(arguments.simulators) - set(SIMULATORS)
    if unknown:
        parser.error(
            f"no simulator {', '.join(sorted(unknown))}; there are {', '.join(SIMULATORS)}"
        )
    for name in arguments.simulators or SIMULATORS:
        measure(name, arguments.cases, arguments.rounds, arguments.seed, arguments.processes)


if __name__ == "__main__":
    main()
