"""Whether the fingerprint finds a noise again, on cars of three simulators.

Every car has one cause and is recorded twice (bench/same_noise.py): at idle, and with the speed
raised, on another phone, at another spot. Each take with a fault is held against all others of its
simulator, its own car's other take among them: right when the nearest has its cause. What is
measured so is that the same engine with the same noise is found again. How often the cause is
right when the own car's other take is left out, so that only other engines can answer, stands
beside it. Causes count to the letter, numbers of parts included.

usage: python bench/alike.py [--cars 150] [--seed 90000] [--simulators rig,stranger,judge]
       [--nuisance FILE] [--keep FILE]
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
import json
import pickle
from collections import Counter
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path

import numpy as np

from beltside.casework.crank_speed import find_crank
from beltside.casework.shipped import fingerprint_nuisance
from beltside.casework.similar import NEAR, SOME_LIKENESS, chance_right
from beltside.casework.take_print import take_print
from beltside.casework.takes import ArraySource, crank_sound, hear
from beltside.rig import draws
from beltside.rig.phone import draw_phone
from beltside.rig.room import draw_room
from beltside.rig.takes import TakePlan, make_take, scale_fault
from beltside.sound.fingerprint import (
    Fingerprint,
    Nuisance,
    fingerprint,
    likeness,
    parse_nuisance,
    sound_rows,
)
from beltside.sound.track import CrankTrack
from figures import Figure, table
from same_noise import SECONDS, SIMULATORS, Recorded

HEALTHY, OTHER = "none", "other"
SPEED_RIGHT = 0.02
CHANCES = (0.0, 0.3, 0.5, SOME_LIKENESS, NEAR, 1.001)


@dataclass(frozen=True)
class Printed:
    """One take's fingerprints: by the crank speed from its own sound, and by the true speed.

    `speed` is "told" when the right speed was believed, "likely" when it is among the likely ones
    and no other was believed, else "wrong".
    """

    source: str
    car: int
    cause: str
    severity_db: float
    by_ear: Fingerprint
    by_truth: Fingerprint
    speed: str = "told"


@dataclass(frozen=True)
class Nearest:
    """What the nearest other take says of one with a fault."""

    cause: str
    right: bool
    distance: float
    lead: float


def _truth(take: Recorded) -> CrankTrack:
    rpm = take.truth_rpm
    return CrankTrack(take.truth_time_s, rpm, 0.998 * rpm, 1.002 * rpm)


def car_prints(job: tuple[str, int]) -> list[Printed]:
    """The two takes of one car of a simulator."""
    source, seed = job
    noise = SIMULATORS[source](seed)
    made = []
    for take in noise.takes:
        sound = ArraySource(take.samples, take.sample_rate_hz)
        crank = find_crank(crank_sound(sound), noise.sheet)
        by_ear = take_print(sound, crank, hear(sound, crank.track))
        true_rpm = float(np.median(take.truth_rpm))
        told = [crank.track] if crank.track is not None else [track for track, _ in crank.likely]
        found = any(abs(one.rpm_median / true_rpm - 1.0) < SPEED_RIGHT for one in told)
        speed = ("told" if crank.track is not None else "likely") if found else "wrong"
        heard = hear(sound, _truth(take))
        by_truth = fingerprint(heard, [(heard.orders, 1.0)])
        made.append(Printed(source, seed, noise.cause, noise.severity_db, by_ear, by_truth, speed))
    return made


def nearest_of(
    prints: Sequence[Printed],
    read: Callable[[Printed], Fingerprint],
    nuisance: Nuisance,
    *,
    own_car: bool = True,
) -> list[Nearest]:
    """For every take with a fault what is nearest; without `own_car` among other cars only."""
    rows = [sound_rows(read(one), nuisance) for one in prints]
    owner = np.repeat(np.arange(len(rows)), [len(one) for one in rows])
    together = np.concatenate(rows)
    causes = np.array([one.cause for one in prints])
    cars = np.array([one.car for one in prints])
    found = []
    for place, one in enumerate(prints):
        if one.cause in (HEALTHY, OTHER):
            continue
        away = np.full(len(prints), np.inf)
        np.minimum.at(away, owner, 1.0 - (together @ rows[place].T).max(axis=1))
        away[place if own_car else cars == one.car] = np.inf
        first = int(np.argmin(away))
        elsewhere = away[causes != causes[first]]
        lead = float(elsewhere.min() - away[first]) if elsewhere.size else float("nan")
        right = bool(causes[first] == one.cause)
        found.append(Nearest(one.cause, right, max(float(away[first]), 0.0), lead))
    return found


def twin_prints(seed: int) -> tuple[bool, bool] | None:
    """Of one car, whether a raised take is nearer to its own fault at idle than to the healthy
    car at idle, and than to another fault in it; by the true speed. None without a fault."""
    rng = np.random.default_rng(seed)
    car, cause, _ = draws.draw_car(rng, coded_share=0.1)
    if cause in (HEALTHY, OTHER):
        return None
    other_cause = cause
    while other_cause in (cause, HEALTHY, OTHER):
        other_cause = draws.draw_truth(rng, car.drive, car.engine)
    second = replace(car, faulty=draws.fault_voices(rng, other_cause, car.drive, car.engine))
    second = replace(
        second, faulty=scale_fault(rng, second, float(rng.triangular(-6.0, 8.0, 20.0)))
    )
    elsewhere = replace(draw_room(rng, car.drive), spots_m=car.room.spots_m)
    asked = replace(car, phone=draw_phone(rng, coded_share=0.1), room=elsewhere)
    prints = []
    for one, speed in (
        (asked, "hold"),
        (car, "idle"),
        (replace(car, faulty=()), "idle"),
        (second, "idle"),
    ):
        take = make_take(rng, one, TakePlan("take", speed=speed), SECONDS, None)[0]
        rpm = take.truth_rpm
        track = CrankTrack(take.truth_time_s, rpm, 0.998 * rpm, 1.002 * rpm)
        heard = hear(ArraySource(take.samples, take.sample_rate_hz), track)
        prints.append(fingerprint(heard, [(heard.orders, 1.0)]))
    nuisance = fingerprint_nuisance()
    own, healthy, wrong = (likeness(prints[0], one, nuisance) for one in prints[1:])
    return own > healthy, own > wrong


def _source_figures(source: str, prints: Sequence[Printed], nuisance: Nuisance) -> list[Figure]:
    figures = []
    for name, read, own_car, target in (
        ("by ear", lambda one: one.by_ear, True, 0.8),
        ("by the true speed", lambda one: one.by_truth, True, None),
        ("by ear, own car left out", lambda one: one.by_ear, False, None),
    ):
        found = nearest_of(prints, read, nuisance, own_car=own_car)
        wrong = Counter(one.cause for one in found if not one.right)
        worst = ", ".join(f"{cause} {count}" for cause, count in wrong.most_common(4))
        note = f"{len(found)} with a fault among {len(prints)} takes; wrong: {worst}"
        share = float(np.mean([one.right for one in found]))
        figures.append(
            Figure(f"{source}, right cause first, {name}", share, "%", target, True, note)
        )
    speeds = Counter(one.speed for one in prints)
    figures.append(
        Figure(
            f"{source}, takes whose right speed was told",
            speeds["told"] / len(prints),
            "%",
            note=f"among the likely in {speeds['likely']}, neither in {speeds['wrong']}",
        )
    )
    return figures


def chance_rows(found: Sequence[Nearest]) -> list[tuple[float, float, int, float, float]]:
    """(from, to, how many, mean chance said, share right) of each range of `CHANCES`."""
    said = np.array([chance_right(one.distance, one.lead) for one in found])
    right = np.array([one.right for one in found])
    rows = []
    for low, high in pairwise(CHANCES):
        inside = (said >= low) & (said < high)
        if inside.any():
            count = int(inside.sum())
            rows.append((low, high, count, float(said[inside].mean()), float(right[inside].mean())))
    return rows


def measure(
    cars: int,
    seed: int,
    processes: int,
    simulators: Sequence[str] = tuple(SIMULATORS),
    keep: Path | None = None,
    nuisance: Nuisance | None = None,
) -> list[Figure]:
    """All figures; `keep` is where the fingerprints are kept and read from."""
    nuisance = nuisance or fingerprint_nuisance()
    with ProcessPoolExecutor(processes) as pool:
        if keep is not None and keep.is_file():
            prints = pickle.loads(keep.read_bytes())
        else:
            jobs = [(source, seed + number) for number in range(cars) for source in simulators]
            prints = [one for pair in pool.map(car_prints, jobs, chunksize=4) for one in pair]
            if keep is not None:
                keep.write_bytes(pickle.dumps(prints))
        figures: list[Figure] = []
        either: list[Nearest] = []
        for source in simulators:
            own = [one for one in prints if one.source == source]
            figures += _source_figures(source, own, nuisance)
            for own_car in (True, False):
                either += nearest_of(own, lambda one: one.by_ear, nuisance, own_car=own_car)
        print("chance said      takes   said  right   (own car there for half)")
        rows = chance_rows(either)
        for low, high, count, said, right in rows:
            top = min(high, 1.0)
            print(f"{low:4.0%} to {top:4.0%}   {count:6d}  {said:5.0%}  {right:5.0%}")
        error = sum(count * abs(said - right) for _, _, count, said, right in rows) / len(either)
        figures.append(Figure("chance said against share right, mean error", error, "", 0.05))
        twins = [one for one in pool.map(twin_prints, range(seed, seed + cars // 5)) if one]
    if twins:
        share = np.mean(np.array(twins), axis=0)
        name = "rig, own fault before the same car healthy"
        note = f"{len(twins)} cars, by the true speed"
        figures.append(Figure(name, float(share[0]), "%", note=note))
        name = "rig, own fault before another fault in the car"
        figures.append(Figure(name, float(share[1]), "%"))
    return figures


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cars", type=int, default=150, help="of each simulator")
    parser.add_argument("--seed", type=int, default=90_000)
    parser.add_argument("--simulators", default=",".join(SIMULATORS))
    parser.add_argument("--nuisance", type=Path, default=None, help="another table than shipped")
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--keep", type=Path, default=None)
    given = parser.parse_args()
    nuisance = None
    if given.nuisance is not None:
        nuisance = parse_nuisance(json.loads(given.nuisance.read_text(encoding="utf-8")))
    names = given.simulators.split(",")
    print(table(measure(given.cars, given.seed, given.processes, names, given.keep, nuisance)))


if __name__ == "__main__":
    main()
