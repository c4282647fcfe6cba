"""Fit what each sign of a probe take weighs on the housing map.

Draws cases of five simulators, usual ones and whole rounds, as `scripts/calibrate.py` does. Those
count whose fault sits at a belt-driven part that was probed, beside one more place at least. The
map is asked for that part; a multinomial logit (McFadden 1974) over the places probed learns what
each sign says of the guilty one. Every simulator counts the same. Prints the weights to put into
sound/housing_odds.py, and for each simulator how the weights of the other four do on it.

usage: python scripts/fit_housing.py [--cases 600] [--seed 41] [--keep FILE] [--processes 2]
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
import pickle
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.optimize import minimize

from beltside.base.errors import BeltsideError
from beltside.casework.where import probe_takes
from beltside.sound.housing_odds import OWN_WEIGHT, WEIGHTS, Signs, sign_table
from calibrate_cases import DRAWS, SEEDS_APART, SEEDS_LATER, heard_case, simulated

Float64 = npt.NDArray[np.float64]
FRONT = "front of engine"
BYS = tuple(by for by in OWN_WEIGHT if by != "band")
"""What an own level is fitted for: a band that no line gave is in the whole sound already."""
NAMES = (*(f"own level, {by}" for by in BYS), *WEIGHTS)
SHRINK = 0.003
"""Every weight squared costs this much, when signs are counted in `UNITS`; own choice."""

UNITS: Float64 = np.array([1.0] * len(BYS) + [5.0 if one == "bursts" else 1.0 for one in WEIGHTS])


@dataclass(frozen=True)
class Probed:
    """One case: where the fault is, where the probe was held, and what each take said."""

    source: str
    seed: int
    truth: str
    by: str
    parts: tuple[str, ...]
    signs: tuple[Signs, ...]

    @property
    def guilty(self) -> str:
        """The part at fault."""
        return self.truth.partition(".")[0]

    def table(self) -> tuple[Float64, int | None]:
        """Signs in the order of `NAMES`, shape (places, signs), and the guilty place's row, None
        when its take was left off the map."""
        names = list(dict.fromkeys(self.parts))
        signs = sign_table(self.parts, self.signs)
        own = [signs["own_db"] * (self.by == by) for by in BYS]
        rows = np.stack([*own, *(signs[name] for name in WEIGHTS)], axis=1) * UNITS
        return rows, names.index(self.guilty) if self.guilty in names else None


def guilty_part(truth: str, sheet: Any, places: Sequence[str]) -> str | None:
    """The belt-driven part at fault when it was probed, and another place too; else None."""
    part = truth.partition(".")[0]
    parts = {pulley.part for pulley in sheet.pulleys} - {"crank"}
    return part if part in parts and part in places and len(set(places)) >= 2 else None


def probed_case(case: Any, source: str, seed: int) -> Probed | None:
    """What the probe takes of a case say; None for a case the map has nothing to do with."""
    places = [take.place for take in case.takes if take.place != FRONT]
    part = guilty_part(case.truth, case.sheet, places)
    if part is None:
        return None
    heard = heard_case(case)
    try:
        read = probe_takes(heard, case.sheet, part, None, [])
    except BeltsideError:
        return None
    parts, signs = (*read.parts, *read.unread), (*read.signs, *read.unread_signs)
    return Probed(source, seed, case.truth, read.by, parts, signs)


def drawn(job: tuple[str, int]) -> Probed | None:
    """Draw and read one case."""
    source, seed = job
    return probed_case(simulated(source, seed), source, seed)


def fitted(cases: Sequence[Probed]) -> Float64:
    """Weights in the order of `NAMES`, of signs counted in `UNITS`."""
    tables = [(one.source, *one.table()) for one in cases]
    known = [(source, rows, row) for source, rows, row in tables if row is not None]
    many = {source: sum(one[0] == source for one in known) for source in {k[0] for k in known}}

    def loss(weight: Float64) -> tuple[float, Float64]:
        total, slope = SHRINK * float(weight @ weight), 2.0 * SHRINK * weight
        for source, rows, row in known:
            chance = _chances(rows, weight)
            share = 1.0 / (many[source] * len(many))
            total -= share * float(np.log(chance[row]))
            slope = slope + share * (chance @ rows - rows[row])
        return total, slope

    found: Float64 = minimize(loss, np.zeros(len(NAMES)), jac=True, method="L-BFGS-B").x
    return found


def _chances(rows: Float64, weight: Float64) -> Float64:
    score = rows @ weight
    share = np.exp(score - score.max())
    result: Float64 = share / share.sum()
    return result


@dataclass(frozen=True)
class Told:
    """What the map says of one case: chance of the place named first, of the guilty one (0 when
    it is not on the map), whether they are one, and how many places there are."""

    by: str
    first: float
    guilty: float
    right: bool
    places: int


def told(case: Probed, weight: Float64) -> Told:
    """One case by some weights."""
    rows, row = case.table()
    chance = _chances(rows, weight)
    guilty = 0.0 if row is None else float(chance[row])
    return Told(case.by, float(chance.max()), guilty, row == int(chance.argmax()), len(chance))


def report(name: str, said: Sequence[Told]) -> None:
    """One line."""
    if not said:
        return
    loss = np.mean([-np.log(max(one.guilty, 1e-3)) for one in said])
    fair = np.mean([np.log(one.places) for one in said])
    print(
        f"{name:22s} {len(said):5d} maps, guilty first {np.mean([one.right for one in said]):.0%}, "
        f"stated {np.mean([one.first for one in said]):.0%}, "
        f"log loss {loss:.2f} (all alike {fair:.2f})"
    )


def left_out(cases: Sequence[Probed]) -> None:
    """Each simulator by the weights of the others."""
    everything: list[Told] = []
    for source in sorted({one.source for one in cases}):
        weight = fitted([one for one in cases if one.source != source])
        said = [told(one, weight) for one in cases if one.source == source]
        report(source, said)
        everything += said
    report("all", everything)
    for by in OWN_WEIGHT:
        report(f"by {by}", [one for one in everything if one.by == by])
    for low, high in ((0.0, 0.5), (0.5, 0.7), (0.7, 0.9), (0.9, 1.01)):
        report(f"stated {low:.0%} and more", [one for one in everything if low <= one.first < high])


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=600, help="of each simulator")
    parser.add_argument("--seed", type=int, default=41, help="in millions of seeds")
    parser.add_argument("--keep", type=Path, help="file to keep what was read in")
    parser.add_argument("--processes", type=int, default=2)
    given = parser.parse_args()
    if given.keep is not None and given.keep.is_file():
        cases: list[Probed] = pickle.loads(given.keep.read_bytes())
    else:
        jobs = [
            (source, (given.seed + SEEDS_LATER[source]) * SEEDS_APART + index)
            for index in range(given.cases)
            for source in ("rig", *DRAWS)
        ]
        with ProcessPoolExecutor(given.processes) as pool:
            read = pool.map(drawn, jobs, chunksize=5)
            cases = [one for one in read if one is not None]
        if given.keep is not None:
            given.keep.write_bytes(pickle.dumps(cases))
    print("each simulator by weights fitted on the other four:")
    left_out(cases)
    print("\nweights fitted on all:")
    for name, weight, unit in zip(NAMES, fitted(cases), UNITS, strict=True):
        print(f"{name:22s} {weight * unit:+.3f}")


if __name__ == "__main__":
    main()
