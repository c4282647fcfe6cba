"""Direction and housing map on simulated takes whose truth is known.

Direction: rooms of pyroomacoustics (an independent simulator) with a suspect, and engine noise as
loud in its band from eight places around it; two microphones 14 cm apart. Against it the plain
cross-correlation of the same band. Housing map: probe takes of the rig on the guilty housing and
up to three others; against it the loudness of the takes as recorded.

usage: python bench/where.py [--rooms 40] [--maps 20] [--seed 40000]
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
from concurrent.futures import ProcessPoolExecutor

import numpy as np
import scipy.signal

from beltside.casework.takes import ArraySource, Conditions, hear_all
from beltside.casework.where import where_heard
from beltside.rig import draws
from beltside.rig.layout import measured_sheet
from beltside.rig.takes import RigTake, TakePlan
from beltside.sound.bands import Band
from beltside.sound.direction import delay_map, delay_path, side_angle_deg
from figures import Figure, table

RATE_HZ = 48_000
SPACING_MM = 140.0
SECONDS = 8.0
HEALTHY, OTHER = "none", "other"
FRONT = "front of engine"


def room_take(seed: int) -> tuple[np.ndarray, tuple[float, float], float]:
    """Samples (2, n), the suspect's band [Hz], and its true angle to the side [degrees]."""
    import pyroomacoustics

    rng = np.random.default_rng(seed)
    room = pyroomacoustics.ShoeBox(
        [6.0, 5.0, 3.0],
        fs=RATE_HZ,
        materials=pyroomacoustics.Material(float(rng.uniform(0.2, 0.5))),
        max_order=6,
    )
    low = float(rng.uniform(800.0, 3500.0))
    band = (low, low * float(rng.uniform(1.6, 3.0)))
    sections = scipy.signal.butter(2, band, "band", fs=RATE_HZ, output="sos")
    count = 3 * RATE_HZ
    crank = np.array([3.0, 2.5, 0.9]) + rng.uniform((-1.0, -0.5, 0.0), (1.0, 0.5, 0.0))
    away_m = float(rng.uniform(0.3, 0.8))
    phone = crank + np.array([0.0, -away_m, float(rng.uniform(0.0, 0.3))])
    source = crank + np.array([rng.uniform(-0.35, 0.35), 0.0, rng.uniform(0.0, 0.4)])
    beat = np.sin(2 * np.pi * rng.uniform(30.0, 90.0) * np.arange(count) / RATE_HZ) > 0.5
    room.add_source(source, signal=scipy.signal.sosfilt(sections, rng.normal(size=count)) * beat)
    rumble = scipy.signal.butter(2, (80.0, 800.0), "band", fs=RATE_HZ, output="sos")
    for _ in range(8):
        wave = rng.normal(size=count)
        place = crank + rng.uniform((-0.4, 0.0, -0.1), (0.4, 0.5, 0.5))
        room.add_source(place, signal=wave + 3.0 * scipy.signal.sosfilt(rumble, wave))
    half = np.array([SPACING_MM / 2000.0, 0.0, 0.0])
    room.add_microphone_array(np.array([phone - half, phone + half]).T)
    each = room.simulate(return_premix=True)
    around = each[1:].sum(axis=0)
    power = [np.mean(scipy.signal.sosfilt(sections, wave) ** 2) for wave in (each[0], around)]
    mixed = each[0] + np.sqrt(power[0] / power[1]) * around
    to = source - phone
    return mixed[:, :count], band, float(np.rad2deg(np.arcsin(to[0] / np.linalg.norm(to))))


def direction_errors(seed: int) -> tuple[float, float]:
    """Median error of the path, and the error of the plain cross-correlation [degrees]."""
    samples, band, true_deg = room_take(seed)
    longest_s = 1.1 * SPACING_MM / 343_200.0
    path = delay_path(delay_map(samples, RATE_HZ, Band(*band), longest_s))
    own = float(np.median(np.abs(side_angle_deg(path.delay_s, SPACING_MM) - true_deg)))
    sections = scipy.signal.butter(4, band, "band", fs=RATE_HZ, output="sos")
    left, right = scipy.signal.sosfilt(sections, samples)
    lags = np.arange(-int(longest_s * RATE_HZ), int(longest_s * RATE_HZ) + 1)
    plain = scipy.signal.correlate(right, left, method="fft")[left.size - 1 + lags]
    lag_s = lags[int(np.argmax(plain))] / RATE_HZ
    return own, abs(float(side_angle_deg(lag_s, SPACING_MM)) - true_deg)


def _source(take: RigTake) -> ArraySource:
    return ArraySource(take.samples, take.sample_rate_hz)


def map_outcome(seed: int) -> tuple[bool, bool, float, str] | None:
    """Guilty housing first by the map, by loudness, its probability, and what was compared."""
    rng = np.random.default_rng(seed)
    kinds = [kind for kind in draws.SUSPECTS if kind.endswith((".bearing", ".whine", ".seal"))]
    car, truth, _ = draws.draw_car(rng, truth=str(rng.choice(kinds)), coded_share=0.0)
    guilty = truth.split(".")[0]
    others = [part for part in car.drive.parts if part not in ("crank", guilty)]
    if not others:
        return None
    rng.shuffle(others)
    sheet = measured_sheet(rng, car.drive, car.engine, "")
    plans = tuple(TakePlan(f"probe-{part}", place=part) for part in [guilty, *others[:3]])
    takes = draws.run_takes(rng, car, plans, (SECONDS, SECONDS))
    conditions = [Conditions(take.name, take.belt, take.place) for take in takes]
    heard = hear_all([_source(take) for take in takes], conditions, sheet)
    result = where_heard(heard, sheet, part=guilty)
    loudness = [one.hearing.band_power[one.hearing.bands[0].low_hz >= 0].sum() for one in heard]
    # A take whose speed was not told is left off the map: then nothing speaks for its housing.
    chance = next((place.loudest for place in result.places if place.part == guilty), 0.0)
    return result.places[0].part == guilty, int(np.argmax(loudness)) == 0, chance, result.by


def measure(rooms: int, maps: int, seed: int, processes: int) -> list[Figure]:
    """All figures."""
    figures: list[Figure] = []
    with ProcessPoolExecutor(processes) as pool:
        if rooms:
            errors = np.array(list(pool.map(direction_errors, range(seed, seed + rooms))))
            figures.append(
                Figure(
                    "direction, median error [degrees]",
                    float(np.median(errors[:, 0])),
                    "",
                    4.0,
                    note=f"{rooms} rooms; 9 in 10 within {np.percentile(errors[:, 0], 90):.1f}; "
                    f"plain cross-correlation {np.median(errors[:, 1]):.1f}, ratio "
                    f"{np.median(errors[:, 1]) / max(np.median(errors[:, 0]), 1e-9):.1f}",
                )
            )
        if maps:
            figures += _map_figures(pool, maps, seed)
    return figures


def _map_figures(pool: ProcessPoolExecutor, maps: int, seed: int) -> list[Figure]:
    outcomes = [one for one in pool.map(map_outcome, range(seed, seed + maps)) if one]
    by_lines = [one for one in outcomes if one[3] != "band"]
    first = float(np.mean([one[0] for one in outcomes]))
    loud = float(np.mean([one[1] for one in outcomes]))
    return [
        Figure(
            "housing map, guilty housing first",
            first,
            "%",
            note=f"{len(outcomes)} maps; by loudness alone {loud:.0%}; mean probability given to "
            f"it {np.mean([one[2] for one in outcomes]):.0%}",
        ),
        Figure(
            "housing map, the same where own lines were found",
            float(np.mean([one[0] for one in by_lines])) if by_lines else float("nan"),
            "%",
            note=f"{len(by_lines)} maps",
        ),
    ]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rooms", type=int, default=40)
    parser.add_argument("--maps", type=int, default=20)
    parser.add_argument("--seed", type=int, default=40_000)
    parser.add_argument("--processes", type=int, default=2)
    given = parser.parse_args()
    print(table(measure(given.rooms, given.maps, given.seed, given.processes)))


if __name__ == "__main__":
    main()
