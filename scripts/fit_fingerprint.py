"""Find what differs between takes of one noise, for the fingerprint to leave out.

Draws cars from the rig, each with one cause, and makes two takes of each: at idle, and with the
speed raised on another phone at another spot. Fingerprints are made by the true speed, and once
more by the speed from the sound where that is right. The mean of all is what all engines have in
common; the directions in which takes of one car differ most are the nuisance. Both go to
src/beltside/sound/fingerprint_nuisance.json.

usage: python scripts/fit_fingerprint.py [--cars 600] [--seed 20000] [--directions 32]
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
import json
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import numpy.typing as npt

from beltside.casework.crank_speed import find_crank
from beltside.casework.takes import ArraySource, crank_sound, hear
from beltside.rig import draws
from beltside.rig.layout import measured_sheet
from beltside.rig.phone import draw_phone
from beltside.rig.room import draw_room
from beltside.rig.takes import TakePlan, make_take
from beltside.sound.fingerprint import Fingerprint, fingerprint, profile
from beltside.sound.track import CrankTrack

Float64 = npt.NDArray[np.float64]
TARGET = Path(__file__).parents[1] / "src/beltside/sound/fingerprint_nuisance.json"
SECONDS = 8.0
SCALE = 1000
RIGHT = 0.01


def car_prints(seed: int) -> list[Fingerprint]:
    """Fingerprints of one car's two takes."""
    rng = np.random.default_rng(seed)
    car, _, _ = draws.draw_car(rng, coded_share=0.1)
    sheet = measured_sheet(rng, car.drive, car.engine, "")
    elsewhere = replace(draw_room(rng, car.drive), spots_m=car.room.spots_m)
    other = replace(car, phone=draw_phone(rng, coded_share=0.1), room=elsewhere)
    raised = TakePlan("raised", speed=str(rng.choice(["hold", "ramp", "steps"])))
    found = []
    for one, plan in ((car, TakePlan("idle")), (other, raised)):
        take = make_take(rng, one, plan, SECONDS, None)[0]
        source = ArraySource(take.samples, take.sample_rate_hz)
        time_s, rpm = take.truth_time_s, take.truth_rpm
        true = CrankTrack(time_s, rpm, 0.998 * rpm, 1.002 * rpm)
        found.append(fingerprint(hear(source, true)))
        track = find_crank(crank_sound(source), sheet).track
        if track is not None and abs(np.median(track.rpm_at(time_s) / rpm) - 1.0) < RIGHT:
            found.append(fingerprint(hear(source, track)))
    return [one for one in found if one.rhythm is not None]


def fit(cars: Sequence[Sequence[Fingerprint]], directions: int) -> tuple[Float64, Float64]:
    """Mean and nuisance directions, shapes (k,) and (directions, k)."""
    rows, reached = zip(*(profile(one) for prints in cars for one in prints), strict=True)
    mean = np.sum(rows, axis=0) / np.maximum(np.sum(reached, axis=0), 1)
    apart = []
    for prints in cars:
        if len(prints) < 2:
            continue
        pairs = [profile(one) for one in prints]
        both = np.all([there for _, there in pairs], axis=0)
        own = np.array([row for row, _ in pairs]) * both
        apart.append((own - own.mean(axis=0)) / np.sqrt(len(prints) - 1.0))
    _, _, axes = np.linalg.svd(np.concatenate(apart), full_matrices=False)
    return mean, axes[:directions]


def written(mean: Float64, axes: Float64, cars: int, seed: int) -> str:
    """The table as JSON of whole numbers."""
    table = {
        "made_by": f"scripts/fit_fingerprint.py, {cars} simulated cars from seed {seed}",
        "scale": SCALE,
        "mean": np.rint(SCALE * mean).astype(int).tolist(),
        "directions": np.rint(SCALE * axes).astype(int).tolist(),
    }
    return json.dumps(table, separators=(",", ":")) + "\n"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cars", type=int, default=600)
    parser.add_argument("--seed", type=int, default=20_000)
    parser.add_argument("--directions", type=int, default=32)
    arguments = parser.parse_args()
    cars = [car_prints(seed) for seed in range(arguments.seed, arguments.seed + arguments.cars)]
    mean, axes = fit(cars, arguments.directions)
    TARGET.write_text(written(mean, axes, arguments.cars, arguments.seed), encoding="utf-8")


if __name__ == "__main__":
    main()
