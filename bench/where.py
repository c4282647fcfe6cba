"""Direction, fingerprint and housing map on simulated takes whose truth is known.

Direction: rooms of pyroomacoustics (an independent simulator) with a suspect, and engine noise as
loud in its band from eight places around it; two microphones 14 cm apart. Against it the plain
cross-correlation of the same band. Fingerprint: pairs of takes of one rig car with one fault, at
another speed, on another phone and from another spot, among all takes of all cars; right when the
nearest other take has the same cause. Housing map: probe takes of the rig on the guilty housing and
up to three others; against it the loudness of the takes as recorded.

usage: python bench/where.py [--rooms 40] [--cars 150] [--maps 20] [--seed 40000] [--keep FILE]
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
import pickle
from collections import Counter
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import scipy.signal

from beltside.casework.shipped import fingerprint_nuisance
from beltside.casework.similar import fingerprint_of
from beltside.casework.takes import ArraySource, Conditions, hear, hear_all
from beltside.casework.where import where_heard
from beltside.rig import draws
from beltside.rig.layout import measured_sheet
from beltside.rig.phone import draw_phone
from beltside.rig.room import draw_room
from beltside.rig.takes import RigTake, TakePlan, make_take, scale_fault
from beltside.sound.bands import Band
from beltside.sound.direction import delay_map, delay_path, side_angle_deg
from beltside.sound.fingerprint import Fingerprint, distances, fingerprint, likeness
from beltside.sound.track import CrankTrack
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


@dataclass(frozen=True)
class Printed:
    """One take's fingerprints: by the crank speed from its own sound, and by the true speed."""

    car: int
    cause: str
    severity_db: float
    by_ear: Fingerprint
    by_truth: Fingerprint


def _source(take: RigTake) -> ArraySource:
    return ArraySource(take.samples, take.sample_rate_hz)


def _truth(take: RigTake) -> CrankTrack:
    rpm = take.truth_rpm
    return CrankTrack(take.truth_time_s, rpm, 0.998 * rpm, 1.002 * rpm)


def car_prints(seed: int) -> list[Printed]:
    """One car with one cause: at idle, and with the speed raised on another phone elsewhere."""
    rng = np.random.default_rng(seed)
    car, cause, severity_db = draws.draw_car(rng, coded_share=0.1)
    sheet = measured_sheet(rng, car.drive, car.engine, "")
    elsewhere = replace(draw_room(rng, car.drive), spots_m=car.room.spots_m)
    other = replace(car, phone=draw_phone(rng, coded_share=0.1), room=elsewhere)
    raised = TakePlan("raised", speed=str(rng.choice(["hold", "ramp", "steps"])))
    takes = [
        make_take(rng, car, TakePlan("idle"), SECONDS, None)[0],
        make_take(rng, other, raised, SECONDS, None)[0],
    ]
    return [
        Printed(
            seed,
            cause,
            severity_db,
            fingerprint_of(_source(take), sheet),
            fingerprint(hear(_source(take), _truth(take))),
        )
        for take in takes
    ]


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
        prints.append(fingerprint(hear(_source(take), _truth(take))))
    nuisance = fingerprint_nuisance()
    own, healthy, wrong = (likeness(prints[0], one, nuisance) for one in prints[1:])
    return own > healthy, own > wrong


def nearest_right(
    prints: Sequence[Printed], read: Callable[[Printed], Fingerprint]
) -> tuple[list[bool], list[str]]:
    """Whether the nearest other take has the same cause, for every take with a fault; causes."""
    right, causes = [], []
    nuisance = fingerprint_nuisance()
    for place, one in enumerate(prints):
        if one.cause in (HEALTHY, OTHER):
            continue
        away = distances(read(one), [read(other) for other in prints], nuisance)
        away[place] = np.inf
        right.append(prints[int(np.argmin(away))].cause == one.cause)
        causes.append(one.cause)
    return right, causes


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


def measure(
    rooms: int, cars: int, maps: int, seed: int, processes: int, keep: Path | None = None
) -> list[Figure]:
    """All figures; `keep` is where the fingerprints are kept and read from."""
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
        if cars:
            figures += _fingerprint_figures(pool, cars, seed, keep)
        if maps:
            figures += _map_figures(pool, maps, seed)
    return figures


def _fingerprint_figures(
    pool: ProcessPoolExecutor, cars: int, seed: int, keep: Path | None
) -> list[Figure]:
    if keep is not None and keep.is_file():
        prints = pickle.loads(keep.read_bytes())
    else:
        pairs = pool.map(car_prints, range(seed, seed + cars), chunksize=4)
        prints = [one for pair in pairs for one in pair]
        if keep is not None:
            keep.write_bytes(pickle.dumps(prints))
    figures = []
    for name, read, target in (
        ("by the speed from the sound", lambda one: one.by_ear, 0.8),
        ("by the true speed", lambda one: one.by_truth, None),
    ):
        right, causes = nearest_right(prints, read)
        wrong = Counter(cause for cause, good in zip(causes, right, strict=True) if not good)
        worst = ", ".join(
            f"{cause} {count} of {causes.count(cause)}" for cause, count in wrong.most_common(6)
        )
        figures.append(
            Figure(
                f"fingerprint, right cause first, {name}",
                float(np.mean(right)),
                "%",
                target,
                at_least=True,
                note=f"{len(right)} takes with a fault among {len(prints)}; wrong: {worst}",
            )
        )
    deaf = float(np.mean([one.by_ear.rhythm is None for one in prints]))
    figures.append(Figure("fingerprint, takes without a speed", deaf, "%"))
    twins = [one for one in pool.map(twin_prints, range(seed, seed + cars // 5)) if one]
    if twins:
        share = np.mean(np.array(twins), axis=0)
        figures.append(
            Figure(
                "fingerprint, own fault before the same car healthy",
                float(share[0]),
                "%",
                note=f"{len(twins)} cars, by the true speed",
            )
        )
        figures.append(
            Figure("fingerprint, own fault before another fault in the car", float(share[1]), "%")
        )
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
    parser.add_argument("--cars", type=int, default=150)
    parser.add_argument("--maps", type=int, default=20)
    parser.add_argument("--seed", type=int, default=40_000)
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--keep", type=Path, default=None)
    given = parser.parse_args()
    print(
        table(measure(given.rooms, given.cars, given.maps, given.seed, given.processes, given.keep))
    )


if __name__ == "__main__":
    main()
