"""Teardown: plans against CP-SAT, their time, simulation against closed form, learning.

usage: python bench/teardown.py [--jobs 300] [--large 40] [--large-seed 20000]
"""

from __future__ import annotations

import argparse
import math
import time

import numpy as np

from beltside.casework.teardown_templates import template_job, template_names
from beltside.teardown.distribution import distribution, simulate
from beltside.teardown.learning import Logged, learn
from beltside.teardown.plan import plan
from beltside.teardown.search import cheapest
from figures import Figure, table
from plan_reference import least_cost
from random_jobs import random_problem

KINDS = ((False, 0.0), (False, 0.3), (True, 0.3))
"""Without circles, with waits, with circles and waits."""


def measure(jobs: int, large: int, large_seed: int = 20_000) -> list[Figure]:
    """All figures."""
    return [*_optimal(jobs), *_large(large, large_seed), *_times(), *_learned()]


def _optimal(jobs: int) -> list[Figure]:
    same, ours, theirs, impossible = 0, 0.0, 0.0, 0
    for seed in range(jobs):
        circles, waits = KINDS[seed % len(KINDS)]
        problem = random_problem(10_000 + seed, 40, circles=circles, waits=waits)
        start = time.process_time()
        found = cheapest(problem)
        ours += time.process_time() - start
        start = time.process_time()
        reference = least_cost(problem)
        theirs += time.process_time() - start
        mine = None if found.steps is None else found.cost
        same += found.proved and mine == reference
        impossible += reference is None
    note = f"of {jobs} random jobs of 40 things, {impossible} of them impossible in both"
    return [
        Figure("plans that cost what CP-SAT proves", same / jobs, "%", 1.0, True, note),
        Figure("a plan of 40 things, core time", ours / jobs, "s", None, note="mean"),
        Figure("faster than CP-SAT on one core", theirs / ours, "times", None, True),
    ]


def _large(count: int, first: int) -> list[Figure]:
    times = []
    proved = same = 0
    for seed in range(count):
        circles, waits = KINDS[seed % len(KINDS)]
        problem = random_problem(first + seed, 150, circles=circles, waits=waits)
        start = time.process_time()
        found = cheapest(problem)
        times.append(time.process_time() - start)
        proved += found.proved
        same += (None if found.steps is None else found.cost) == least_cost(problem)
    return [
        Figure("a plan of 150 things, core time", max(times), "s", 1.0, note=f"worst of {count}"),
        Figure("the same, middle of all", float(np.median(times)), "s"),
        Figure("the same, within 1 s", sum(one <= 1.0 for one in times) / count, "%"),
        Figure("150 things: cost what CP-SAT proves", same / count, "%", 1.0, True),
        Figure("proved at 150 things", proved / count, "%", 1.0, True),
    ]


def _times() -> list[Figure]:
    worst, spent, formula = 0.0, 0.0, 0.0
    for name in template_names():
        job = template_job(name).job
        pieces = plan(job, explain=False).pieces
        start = time.process_time()
        drawn = simulate(pieces, 10_000, np.random.default_rng(5))
        spent = max(spent, time.process_time() - start)
        start = time.process_time()
        found = distribution(pieces)
        formula = max(formula, time.process_time() - start)
        many = simulate(pieces, 200_000, np.random.default_rng(6))
        for share in (0.1, 0.5, 0.8, 0.9):
            exact = float(np.quantile(many, share))
            worst = max(worst, abs(found.quantile(share) / exact - 1.0))
        del drawn
    note = f"worst of {len(template_names())} templates"
    return [
        Figure("simulation of 10,000 runs, core time", spent, "s", 0.5, note=note),
        Figure("closed form, core time", formula, "s", None, note=note),
        Figure(
            "closed form against simulation",
            worst,
            "%",
            0.02,
            note="10, 50, 80, 90 % points, 200,000 runs",
        ),
    ]


def _learned(people: int = 40) -> list[Figure]:
    """Held-out error of step times, before any log and after logged jobs."""
    after = {0: [], 3: [], 5: []}  # type: dict[int, list[float]]
    for seed in range(people):
        rng = np.random.default_rng(seed)
        pace = rng.normal(0.0, 0.3)
        steps = [(f"thing-{n}", phase) for n in range(8) for phase in ("apart", "refit")]
        own = {step: rng.normal(0.0, 0.25) for step in steps}
        rows = []
        for job in range(6):
            odd = math.log(2.5) if rng.random() < 0.1 else rng.normal(0.0, 0.1)
            for step in steps:
                left = 0.15 * rng.standard_t(4)
                minutes = 10.0 * math.exp(pace + own[step] + odd + left)
                rows.append(Logged("a", str(job), *step, 10.0, min(max(minutes, 0.6), 190.0)))
        held_out = rows[5 * len(steps) :]
        for count, errors in after.items():
            learned = learn(rows[: count * len(steps)])
            errors.append(
                float(
                    np.mean(
                        [
                            abs(10.0 * learned.factor("a", r.thing, r.phase) - r.minutes)
                            for r in held_out
                        ]
                    )
                )
            )
    mean = {count: float(np.mean(errors)) for count, errors in after.items()}
    note = f"of steps planned at 10 min, mean of {people} technicians"
    return [
        Figure("error of a step time, no log", mean[0], "min", None, note=note),
        Figure("the same after 3 logged jobs", mean[3], "min", mean[0]),
        Figure("the same after 5 logged jobs", mean[5], "min", mean[0]),
    ]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--jobs", type=int, default=300)
    parser.add_argument("--large", type=int, default=40)
    parser.add_argument("--large-seed", type=int, default=20_000)
    arguments = parser.parse_args()
    print(table(measure(arguments.jobs, arguments.large, arguments.large_seed)))


if __name__ == "__main__":
    main()
