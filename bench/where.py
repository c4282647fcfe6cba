"""Direction and housing map on simulated takes whose truth is known.

Direction: rooms of pyroomacoustics (an independent simulator) with a suspect, and engine noise as
loud in its band from eight places around it; two microphones 14 cm apart. Against it the plain
cross-correlation of the same band. Housing map: cases of five simulators, half of them whole
rounds, whose fault sits at a probed part; against it the suspect's own level alone, and the
loudness of the takes as recorded.

usage: python bench/where.py [--rooms 40] [--maps 20] [--seed 40000]
       --maps counts cases of each simulator; about a third of them make a map
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass

import numpy as np
import scipy.signal

from accuracy import FRONT, SIMULATORS
from beltside.casework.takes import ArraySource, Conditions, hear_all
from beltside.casework.where import where_heard
from beltside.sound.bands import Band
from beltside.sound.direction import delay_map, delay_path, side_angle_deg
from figures import Figure, table

RATE_HZ = 48_000
SPACING_MM = 140.0
TAKES_S = (5.0, 9.0)


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
class Mapped:
    """One housing map of a known fault.

    Attributes
    ----------
    source, by, places
        Simulator, what was compared, and how many housings were probed.
    right, loudest_right, as_recorded_right
        Whether the guilty housing comes first: on the map, by its own level alone, by the loudness
        of the takes as recorded.
    stated, guilty
        Probability stated of the place named first, and of the guilty one.
    """

    source: str
    by: str
    places: int
    right: bool
    loudest_right: bool
    as_recorded_right: bool
    stated: float
    guilty: float


def mapped(job: tuple[str, int]) -> Mapped | None:
    """One case through the housing map; None when its fault sits at no probed pulley's part."""
    source, seed = job
    rng = np.random.default_rng(seed)
    every = bool(rng.random() < 0.5)
    case = SIMULATORS[source].draw_case(rng, duration_s=TAKES_S, every_take=every)
    part = case.truth.partition(".")[0]
    probed = {take.place for take in case.takes} - {FRONT}
    on_belt = {pulley.part for pulley in case.sheet.pulleys} - {"crank"}
    if part not in probed & on_belt or len(probed) < 2:
        return None
    heard = hear_all(
        [ArraySource(take.samples, take.sample_rate_hz) for take in case.takes],
        [
            Conditions(
                take.name, take.belt, None if take.place == FRONT else take.place, tuple(take.load)
            )
            for take in case.takes
        ],
        case.sheet,
    )
    result = where_heard(heard, case.sheet, part=part)
    chance = {place.part: place.loudest for place in result.places} | dict(result.unread)
    level: dict[str, float] = {}
    for one in heard:
        name = one.conditions.part
        if name is not None:
            level[name] = max(level.get(name, 0.0), float(one.hearing.band_power.sum()))
    return Mapped(
        source,
        result.by,
        len(chance),
        max(chance, key=lambda name: chance[name]) == part,
        max(result.places, key=lambda place: place.level_db).part == part,
        max(level, key=lambda name: level[name]) == part,
        max(chance.values()),
        chance.get(part, 0.0),
    )


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
    """Figures of `maps` cases of each simulator; those without a map of their own drop out."""
    jobs = [(source, seed + index) for index in range(maps) for source in SIMULATORS]
    each = [one for one in pool.map(mapped, jobs) if one is not None]
    figures = [
        Figure(
            "housing map, guilty housing first",
            float(np.mean([one.right for one in each])),
            "%",
            note=f"{len(each)} maps; by its own level alone "
            f"{np.mean([one.loudest_right for one in each]):.0%}, by loudness as recorded "
            f"{np.mean([one.as_recorded_right for one in each]):.0%}, by guessing "
            f"{np.mean([1.0 / one.places for one in each]):.0%}",
        )
    ]
    kinds: list[tuple[str, str, tuple[str, ...]]] = [
        ("compared by", "by", ("rhythm", "tones", "band")),
        ("simulator", "source", tuple(SIMULATORS)),
    ]
    for what, name, values in kinds:
        for value in values:
            some = [one.right for one in each if getattr(one, name) == value]
            if some:
                figures.append(
                    Figure(f"{what} {value}", float(np.mean(some)), "%", note=f"{len(some)} maps")
                )
    for low, high in ((0.0, 0.5), (0.5, 0.7), (0.7, 0.9), (0.9, 1.01)):
        part = [one for one in each if low <= one.stated < high]
        if part:
            figures.append(
                Figure(
                    f"stated {low:.0%} to {min(high, 1.0):.0%}, was right",
                    float(np.mean([one.right for one in part])),
                    "%",
                    note=f"{len(part)} maps, stated {np.mean([one.stated for one in part]):.0%}",
                )
            )
    return figures


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
