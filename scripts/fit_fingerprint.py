"""Find what differs between takes of one noise, for the fingerprint to leave out.

Draws cars from three simulators (the rig, bench/stranger.py and bench/judge.py), each with one
cause and two takes: at idle, and with the speed raised on another phone at another spot.
Fingerprints are made by the true speed, and once more by the speed from the sound where that is
right. The mean of all is what all engines have in common; the directions in which takes of one car
differ most are the nuisance. Every simulator counts the same. Both go to
src/beltside/sound/fingerprint_nuisance.json. Prints how often the nearest take then is right on
halves of the cars that were left out, and the chance by distance and lead to paste into
casework/similar.py.

usage: python scripts/fit_fingerprint.py [--cars 76] [--seed 100000] [--without judge]
       [--into FILE] [--keep FILE]
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
import json
import pickle
import sys
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.optimize import minimize

from beltside.casework.crank_speed import find_crank
from beltside.casework.take_print import take_print
from beltside.casework.takes import ArraySource, crank_sound, hear
from beltside.sound.fingerprint import Fingerprint, Nuisance, fingerprint, profile, sound_rows
from beltside.sound.track import CrankTrack

sys.path.insert(0, str(Path(__file__).parents[1] / "bench"))
import same_noise

Float64 = npt.NDArray[np.float64]
TARGET = Path(__file__).parents[1] / "src/beltside/sound/fingerprint_nuisance.json"
SCALE = 500
RIGHT = 0.01
DIRECTIONS = 48
RINGING_DIRECTIONS = 4
UNASKED = ("none", "other")


@dataclass(frozen=True)
class Car:
    """One car: its cause, for each take the fingerprint by ear, and those at the right speed."""

    source: str
    cause: str
    by_ear: tuple[Fingerprint, Fingerprint]
    right: tuple[Fingerprint, ...]


def car(job: tuple[str, int]) -> Car:
    """One car of a simulator."""
    source, seed = job
    noise = same_noise.SIMULATORS[source](seed)
    by_ear, right = [], []
    for take in noise.takes:
        sound = ArraySource(take.samples, take.sample_rate_hz)
        crank = find_crank(crank_sound(sound), noise.sheet)
        one = take_print(sound, crank, hear(sound, crank.track))
        by_ear.append(one)
        true = CrankTrack(
            take.truth_time_s, take.truth_rpm, 0.998 * take.truth_rpm, 1.002 * take.truth_rpm
        )
        hearing = hear(sound, true)
        right.append(fingerprint(hearing, [(hearing.orders, 1.0)]))
        if crank.track is not None:
            apart = np.median(crank.track.rpm_at(take.truth_time_s) / take.truth_rpm) - 1.0
            if abs(apart) < RIGHT:
                right.append(replace(one, speeds=one.speeds[:1]))
    kept = tuple(one for one in right if one.speeds)
    return Car(source, noise.cause, (by_ear[0], by_ear[1]), kept)


def _main_directions(
    cars: Sequence[Sequence[tuple[Float64, npt.NDArray[np.bool_]]]], shares: Sequence[float]
) -> tuple[Float64, Float64]:
    """Mean of all rows, shape (k,), and directions in which rows of a car differ, (n, k)."""
    rows, reached = zip(*(one for takes in cars for one in takes), strict=True)
    mean = np.sum(rows, axis=0) / np.maximum(np.sum(reached, axis=0), 1)
    apart = []
    for takes, share in zip(cars, shares, strict=True):
        if len(takes) < 2:
            continue
        both = np.all([there for _, there in takes], axis=0)
        own = np.array([row for row, _ in takes]) * both
        apart.append(share * (own - own.mean(axis=0)) / np.sqrt(len(takes) - 1.0))
    _, _, axes = np.linalg.svd(np.concatenate(apart), full_matrices=False)
    return mean, axes


def fit(cars: Sequence[Car]) -> Nuisance:
    """The nuisance of cars."""
    count = {source: sum(one.source == source for one in cars) for source in same_noise.SIMULATORS}
    shares = [float(np.sqrt(len(cars) / count[one.source])) for one in cars]
    profiles = [[profile(take.speeds[0]) for take in one.right] for one in cars]
    rings = [[(take.ringing, take.ringing != 0.0) for take in one.by_ear] for one in cars]
    mean, axes = _main_directions(profiles, shares)
    ringing_mean, ringing_axes = _main_directions(rings, shares)
    return Nuisance(mean, axes[:DIRECTIONS], ringing_mean, ringing_axes[:RINGING_DIRECTIONS])


def written(nuisance: Nuisance, made_by: str) -> str:
    """The table as JSON of whole numbers."""

    def whole(values: Float64) -> Any:
        return np.rint(SCALE * values).astype(int).tolist()

    table = {
        "made_by": made_by,
        "scale": SCALE,
        "orders": {"mean": whole(nuisance.mean), "directions": whole(nuisance.directions)},
        "ringing": {
            "mean": whole(nuisance.ringing_mean),
            "directions": whole(nuisance.ringing_directions),
        },
    }
    return json.dumps(table, separators=(",", ":")) + "\n"


def nearest_of(cars: Sequence[Car], nuisance: Nuisance) -> list[tuple[bool, float, float, bool]]:
    """Of every take with a fault, among the takes of its simulator: whether the nearest has its
    cause, its distance and lead, and whether its own car was there."""
    found = []
    for source in same_noise.SIMULATORS:
        takes = [(one, take) for one in cars if one.source == source for take in one.by_ear]
        rows = [sound_rows(take, nuisance) for _, take in takes]
        owner = np.repeat(np.arange(len(rows)), [len(one) for one in rows])
        together = np.concatenate(rows) if rows else np.zeros((0, 0))
        causes = np.array([one.cause for one, _ in takes])
        for at, (one, _) in enumerate(takes):
            if one.cause in UNASKED:
                continue
            away = np.full(len(takes), np.inf)
            np.minimum.at(away, owner, 1.0 - (together @ rows[at].T).max(axis=1))
            for own in (True, False):
                away[[at] if own else [at, at ^ 1]] = np.inf
                first = int(np.argmin(away))
                others = away[causes != causes[first]]
                lead = float(others.min() - away[first])
                found.append((bool(causes[first] == one.cause), float(away[first]), lead, own))
    return found


def chances(found: Sequence[tuple[bool, float, float, bool]], *, by_lead: bool) -> Float64:
    """Logistic regression of right on 1, distance and the root of the lead, shape (3,), or
    without the lead, shape (2,)."""
    measures = np.array([[1.0, far, max(lead, 0.0) ** 0.5] for _, far, lead, _ in found])
    measures = measures if by_lead else measures[:, :2]
    right = np.array([one[0] for one in found], dtype=float)

    def loss(weights: Float64) -> float:
        said = measures @ weights
        return float(np.mean(np.logaddexp(0.0, said) - right * said) + 1e-4 * (weights**2).sum())

    best: Float64 = minimize(loss, np.zeros(measures.shape[1]), method="BFGS").x
    return best


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cars", type=int, default=76, help="of each simulator")
    parser.add_argument("--seed", type=int, default=100_000)
    parser.add_argument("--without", default="", help="a simulator to leave out")
    parser.add_argument("--into", type=Path, default=TARGET)
    parser.add_argument("--keep", type=Path, default=None, help="where the cars are kept")
    parser.add_argument("--workers", type=int, default=1)
    given = parser.parse_args()
    jobs = [
        (source, given.seed + number)
        for number in range(given.cars)
        for source in same_noise.SIMULATORS
    ]
    if given.keep is not None and given.keep.is_file():
        cars = pickle.loads(given.keep.read_bytes())
    else:
        with ProcessPoolExecutor(given.workers) as pool:
            cars = list(pool.map(car, jobs, chunksize=6))
        if given.keep is not None:
            given.keep.write_bytes(pickle.dumps(cars))
    cars = [one for one in cars if one.source != given.without]
    halves = [[one for at, one in enumerate(cars) if at // 3 % 2 == half] for half in (0, 1)]
    found = [one for half in (0, 1) for one in nearest_of(halves[half], fit(halves[1 - half]))]
    for own, words in ((True, "its own car among them"), (False, "without it")):
        right = [one[0] for one in found if one[3] == own]
        print(f"halves left out, {words}: right {np.mean(right):.3f} of {len(right)}")
    for name, by_lead in (("CHANCE", True), ("CHANCE_ALONE", False)):
        weights = ", ".join(f"{one:.2f}" for one in chances(found, by_lead=by_lead))
        print(f"{name}: Final = ({weights})")
    made_by = f"scripts/fit_fingerprint.py, {len(cars)} simulated cars from seed {given.seed}"
    given.into.write_text(written(fit(cars), made_by), encoding="utf-8")


if __name__ == "__main__":
    main()
