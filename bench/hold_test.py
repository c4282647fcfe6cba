"""The hold test's verdicts on simulated systems (bench/hold_simulator.py), and against a threshold.

- At 5 minutes: how many leaks of 5 mL/min or more are called, how many tight systems are; how many
  tight systems are called tight, and what leaks hide among those; how far the probabilities are off
  (expected calibration error, ten bins).
- The reference: the rule of thumb "it leaks when it fell by more than X in five minutes after the
  first", with X set on the same systems to the same false alarms as the product has.
- Time of one live update, and of each `coolant` command in a fresh process.

usage: python bench/hold_test.py [--systems 2000] [--seed 60]
"""

from __future__ import annotations

import argparse
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path

import numpy as np

from figures import Figure, table
from hold_simulator import EASY, HARD, ORDINARY, Population, Test, draw

ROOT = Path(__file__).parents[1]
NOT_KEPT = ("PYTHONDONTWRITEBYTECODE",)
"""Settings of the surroundings that an installed program does not have."""
COMMANDS = {
    "mix": ["mix", "--freeze", "-34C", "--cap", "1.1", "--capacity", "8", "--thermostat", "88"],
    "adjust": ["adjust", "--capacity", "8", "--stays", "3", "--now", "35", "--shelf", "5=25"],
    "reuse": ["reuse", "--family", "OAT", "--years", "2", "--ph", "8.2"],
    "cap": ["cap", "16"],
    "hold": ["hold", "--cap", "1.1", *(f"--reading={m}={107 - 0.8 * m:.0f}" for m in range(8))],
    "fill": ["fill", "--drained", "5.5", "--poured", "5"],
    "clock": ["clock", "--displacement", "1.6", "--coolant", "6", "--start", "20"],
    "drain": ["drain", "--volume", "5", "--height", "40cm", "--bore-mm", "8"],
}


def judged(
    systems: Sequence[Test], rng: np.random.Generator
) -> list[tuple[Test, str, float, tuple[float, float]]]:
    """System, verdict, probability of a leak, range of its rate; half with temperatures, half with
    counted strokes, half with the capacity."""
    from beltside.coolant.hold import hold_test
    from beltside.coolant.hold_readings import Reading
    from beltside.coolant.hold_system import HoldSetup

    found = []
    for one in systems:
        warm, counted, measured = rng.random(3) < 0.5
        readings = [
            Reading(t, p, engine if warm else None, one.air_c if warm else None)
            for t, p, engine in one.readings
        ]
        hold = hold_test(
            readings,
            HoldSetup(
                cap_kpa=one.cap_kpa,
                gauge_step_kpa=one.gauge_step_kpa,
                capacity_l=one.capacity_l if measured else None,
                strokes=one.strokes if counted else None,
                stroke_ml=one.stroke_ml if counted else None,
            ),
        )
        odds = hold.odds
        found.append(
            (one, str(hold.verdict), odds.probability, (odds.ml_min_low, odds.ml_min_high))
        )
    return found


def calibration_error(probabilities: Sequence[float], leaking: Sequence[bool]) -> float:
    """Expected calibration error: mean distance of stated from met, over ten equal bins.

    >>> calibration_error([0.25, 0.25, 0.25, 0.25], [True, False, False, False])
    0.0
    """
    sums = np.zeros(10)
    for probability, leaks in zip(probabilities, leaking, strict=True):
        sums[min(int(10.0 * probability), 9)] += probability - leaks
    return float(np.abs(sums).sum()) / len(probabilities)


def rule_of_thumb(systems: Sequence[Test], false_alarms: float) -> float:
    """Power of a plain threshold on the fall after the first minute, at these false alarms."""
    fallen = [
        (one.leak_ml_min, next(p for t, p, _ in one.readings if t >= 1.0) - one.readings[-1][1])
        for one in systems
    ]
    tight = sorted(fall for leak, fall in fallen if leak == 0.0)
    threshold = tight[min(int(len(tight) * (1.0 - false_alarms)), len(tight) - 1)]
    large = [fall for leak, fall in fallen if leak >= 5.0]
    return sum(fall > threshold for fall in large) / max(len(large), 1)


def measure_population(population: Population, count: int, seed: int) -> list[Figure]:
    """Power, false alarms, calibration and ranges on one population."""
    rng = np.random.default_rng(seed)
    systems = [draw(rng, population) for _ in range(count)]
    rows = judged(systems, rng)
    tight = [verdict for one, verdict, _, _ in rows if one.leak_ml_min == 0.0]
    cleared = [one.leak_ml_min for one, verdict, _, _ in rows if verdict == "tight"]
    among = max(len(cleared), 1)
    large = [(one, verdict, span) for one, verdict, _, span in rows if one.leak_ml_min >= 5.0]
    alarms = tight.count("leaking") / len(tight)
    power = sum(verdict == "leaking" for _, verdict, _ in large) / len(large)
    error = calibration_error(
        [probability for _, _, probability, _ in rows], [one.leak_ml_min > 0 for one, *_ in rows]
    )
    inside = sum(low <= one.leak_ml_min <= high for one, _, (low, high) in large) / len(large)
    thumb = rule_of_thumb(systems, max(alarms, 0.001))
    name = population.name
    return [
        Figure(f"{name}: leaks from 5 mL/min called", power, "%", 0.95, True, f"{len(large)}"),
        Figure(f"{name}: tight called leaking", alarms, "%", 0.05, note=f"of {len(tight)}"),
        Figure(f"{name}: tight called tight", tight.count("tight") / len(tight), "%"),
        Figure(
            f"{name}: of those called tight, leak from 3 mL/min",
            sum(leak >= 3.0 for leak in cleared) / among,
            "%",
            0.05,
            note=f"{sum(leak >= 5.0 for leak in cleared)} from 5 mL/min, of {len(cleared)}",
        ),
        Figure(f"{name}: calibration error", error, "%", 0.05, note=f"{count} systems"),
        Figure(f"{name}: rate within its 90 % range", inside, "%"),
        Figure(f"{name}: a threshold, same false alarms", thumb, "%"),
        Figure(f"{name}: called against the threshold", power / max(thumb, 1e-9), "times"),
    ]


def live_update_ms(repeats: int) -> float:
    """Median time of one more reading in a test of ten minutes, read twice a minute [ms]."""
    from beltside.casework.coolant_hold import LiveHold, hold_setup
    from beltside.coolant.hold_readings import Reading

    times = []
    for _ in range(repeats):
        test = LiveHold(hold_setup(cap="1.1", gauge_step_kpa=1.0))
        for look in range(21):
            reading = Reading(0.5 * look, round(107.0 - 0.3 * look))
            started = time.perf_counter()
            test.add(reading)
            times.append(1000.0 * (time.perf_counter() - started))
    return statistics.median(times)


def commands_s(repeats: int) -> dict[str, float]:
    """Median time of each command in a fresh process [s].

    As on a computer where Beltside is installed: what Python compiled is kept from one process to
    the next, here in a folder of its own that the first round fills.
    """
    with tempfile.TemporaryDirectory() as compiled:
        kept = {name: text for name, text in os.environ.items() if name not in NOT_KEPT}
        settings = {**kept, "PYTHONPATH": str(ROOT / "src"), "PYTHONPYCACHEPREFIX": compiled}

        def once(name: str) -> None:
            subprocess.run(
                [sys.executable, "-m", "beltside", "coolant", *COMMANDS[name]],
                check=True,
                capture_output=True,
                env=settings,
            )

        for name in COMMANDS:
            once(name)
        return {
            name: statistics.median(_timed(partial(once, name)) for _ in range(repeats))
            for name in COMMANDS
        }


def _timed(work: Callable[[], None]) -> float:
    started = time.perf_counter()
    work()
    return time.perf_counter() - started


def measure(systems: int = 2000, seed: int = 60, repeats: int = 5) -> list[Figure]:
    """All figures; times first, while the machine is otherwise idle."""
    times = commands_s(repeats)
    slowest = max(times, key=lambda name: times[name])
    figures = [
        Figure(
            "slowest coolant command",
            times[slowest],
            "s",
            0.3,
            note=f"{slowest}, median of {repeats}",
        ),
        Figure("live update of a hold test", live_update_ms(repeats), "ms", 10.0, note="median"),
    ]
    for population in (ORDINARY, EASY, HARD):
        count = systems if population is ORDINARY else systems // 2
        figures += measure_population(population, count, seed)
    return figures


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--systems", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=60)
    arguments = parser.parse_args()
    print(table(measure(arguments.systems, arguments.seed)))


if __name__ == "__main__":
    main()
