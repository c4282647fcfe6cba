"""Belt paths: time of one path, lengths against shapely, plucks against their truth.

usage: python bench/belt_path.py [--layouts 1000] [--plucks 200] [--seed 9981]
"""

from __future__ import annotations

import argparse
import math
import time

import numpy as np
import shapely

from beltside.drive.path import belt_path
from beltside.drive.sheet import Belt, DriveSheet, Engine, Pulley
from beltside.drive.tension import BeltBody, strum_hz, strum_tension
from beltside.sound.strum import find_strum
from figures import Figure, table
from pluck import draw_take, noise_only

PARTS = (
    "crank",
    "coolant-pump",
    "alternator",
    "idler",
    "tensioner",
    "ac-compressor",
    "steering-pump",
    "fan",
    *(f"idler-{number}" for number in range(2, 8)),
)
BACK_LINE_MM = 1.5
PITCH_LINE_MM = 2.0

Circle = tuple[complex, float, str]
"""Centre, diameter, face."""


def ring(rng: np.random.Generator, count: int, room_mm: float) -> list[Circle]:
    """Ribbed pulleys on an uneven ring, met clockwise, each on the hull of all."""
    diameters = rng.uniform(48.0, 170.0, count)
    radius = (float(diameters.max()) + room_mm) / (2.0 * math.sin(math.pi / count))
    angle = -2.0 * math.pi * (np.arange(count) + rng.uniform(-0.1, 0.1, count)) / count
    angle += float(rng.uniform(0.0, 2.0 * math.pi))
    centres = radius * 1.25 * np.exp(1j * angle)
    return [
        (complex(c - centres[0]), float(d), "ribbed")
        for c, d in zip(centres, diameters, strict=True)
    ]


def pressed(rng: np.random.Generator, circles: list[Circle], share: float) -> list[Circle]:
    """The same with idlers that press the belt's back inwards between some of them."""
    laid: list[Circle] = []
    for place, one in enumerate(circles):
        other = circles[(place + 1) % len(circles)]
        laid.append(one)
        if rng.random() < share:
            start, end = classical(one[0], one[1] / 2, other[0], other[1] / 2)
            size = float(rng.uniform(58.0, 80.0))
            outward = 1j * (end - start) / abs(end - start)
            inwards = float(rng.uniform(4.0, 25.0))
            laid.append((0.5 * (start + end) + outward * (size / 2 - inwards), size, "back"))
    return laid


def sheet_of(circles: list[Circle]) -> DriveSheet:
    """The circles as a drive sheet."""
    return DriveSheet(
        Engine(4),
        Belt(back_line_mm=BACK_LINE_MM),
        tuple(
            Pulley(part, diameter, face, x_mm=centre.real, y_mm=centre.imag)
            for part, (centre, diameter, face) in zip(PARTS, circles, strict=False)
        ),
    )


def classical(one: complex, r1: float, other: complex, r2: float) -> tuple[complex, complex]:
    """Tangent points by the angle acos((r1 - r2) / distance), radii signed."""
    across = other - one
    angle = math.atan2(across.imag, across.real) + math.acos((r1 - r2) / abs(across))
    normal = complex(math.cos(angle), math.sin(angle))
    return one + r1 * normal, other + r2 * normal


def hull_length(circles: list[Circle]) -> float:
    """shapely: the hull of discs at the effective diameter."""
    discs = shapely.buffer(
        shapely.points([(c.real, c.imag) for c, _, _ in circles]),
        [d / 2.0 for _, d, _ in circles],
        quad_segs=512,
    )
    return float(shapely.union_all(discs).convex_hull.length)


def sampled_length(circles: list[Circle]) -> float:
    """shapely: length of a line through sampled arcs at the cords, less 2 pi b."""
    radii = [
        -(d / 2.0 + BACK_LINE_MM) if face == "back" else d / 2.0 + PITCH_LINE_MM
        for _, d, face in circles
    ]
    count = len(circles)
    ends = [
        classical(circles[i][0], radii[i], circles[(i + 1) % count][0], radii[(i + 1) % count])
        for i in range(count)
    ]
    points = []
    for i in range(count):
        arrive, leave = ends[i - 1][1] - circles[i][0], ends[i][0] - circles[i][0]
        turn = np.angle(leave) - np.angle(arrive)
        turn = -((-turn) % (2.0 * np.pi)) if radii[i] > 0 else turn % (2.0 * np.pi)
        points.append(circles[i][0] + arrive * np.exp(1j * np.linspace(0.0, turn, 1500)))
    line = np.concatenate([*points, points[0][:1]])
    length = shapely.linestrings(np.column_stack((line.real, line.imag))).length
    return float(length) - 2.0 * math.pi * PITCH_LINE_MM


def measure_paths(layouts: int, seed: int) -> list[Figure]:
    """Time of a 12-pulley path, and the largest error of a length."""
    rng = np.random.default_rng(seed)
    twelve = sheet_of(pressed(rng, ring(rng, 6, 140.0), 1.0))
    belt_path(twelve)
    times = []
    for _ in range(200):
        started = time.perf_counter()
        belt_path(twelve)
        times.append(time.perf_counter() - started)
    hull, mixed, shapely_s, own_s, backs = 0.0, 0.0, 0.0, 0.0, 0
    for number in range(layouts):
        if number % 2:
            circles = ring(rng, int(rng.integers(3, 13)), 25.0)
            reference = hull_length
        else:
            circles = pressed(rng, ring(rng, int(rng.integers(3, 7)), 140.0), 0.6)
            backs += sum(face == "back" for _, _, face in circles)
            reference = sampled_length
        started = time.perf_counter()
        expected = reference(circles)
        shapely_s += time.perf_counter() - started
        started = time.perf_counter()
        off = abs(belt_path(sheet_of(circles)).effective_length_mm - expected)
        own_s += time.perf_counter() - started
        hull, mixed = (max(hull, off), mixed) if number % 2 else (hull, max(mixed, off))
    return [
        Figure("12-pulley path, 6 on the back", 1e3 * float(np.median(times)), "ms", 1.0),
        Figure("length off shapely's hull of discs, worst", hull, "mm", 0.01, note="all ribbed"),
        Figure(
            "length off shapely's sampled arcs, worst",
            mixed,
            "mm",
            0.01,
            note=f"{backs} on the back",
        ),
        Figure("faster than shapely on the same layouts", shapely_s / own_s, "times"),
    ]


def measure_plucks(takes: int, seed: int) -> list[Figure]:
    """Notes of simulated plucks at 10 dB with hum and wind, and the tension that follows."""
    off, told, held, tension_held = [], 0, 0, 0
    seconds = 0.0
    for number in range(takes):
        rng = np.random.default_rng(seed + number)
        take = draw_take(rng)
        started = time.process_time()
        found = find_strum(take.samples, take.rate_hz)
        seconds += time.process_time() - started
        if found.frequency_hz is None or found.low_hz is None or found.high_hz is None:
            continue
        told += 1
        off.append(abs(found.frequency_hz / take.frequency_hz - 1.0))
        held += found.low_hz <= take.frequency_hz <= found.high_hz
        # A span that would give this note at some 320 N, measured and weighed with error.
        truth = BeltBody.of_ribs(6, 0.12 * float(rng.uniform(0.985, 1.015)))
        span = math.sqrt(320.0 / truth.mass_kg_m) / (2.0 * take.frequency_hz) * 1000.0
        if not 40.0 <= span <= 1400.0:
            continue
        real_n = 4.0 * truth.mass_kg_m * (span * take.frequency_hz / 1000.0) ** 2
        real_n -= math.pi**2 * truth.stiffness_nm2 / (span / 1000.0) ** 2
        assert abs(strum_hz(real_n, span, truth) / take.frequency_hz - 1.0) < 1e-6
        said = strum_tension(
            found.frequency_hz,
            span + float(rng.uniform(-1.5, 1.5)),
            BeltBody.of_ribs(6, 0.12),
            frequency_range_hz=(found.low_hz, found.high_hz),
        )
        tension_held += said.low_n <= real_n <= said.high_n
    false = sum(
        find_strum(*noise_only(np.random.default_rng(seed + 10_000 + number))).frequency_hz
        is not None
        for number in range(max(takes // 4, 1))
    )
    error = np.array(off)
    return [
        Figure(
            "plucks at 10 dB within 2 %",
            float(np.mean(error <= 0.02)),
            "%",
            0.95,
            True,
            f"{told} of {takes} told",
        ),
        Figure("error of the note, median", float(np.median(error)), "%", 0.02),
        Figure("truth within the 90 % range of the note", held / max(told, 1), "%", 0.85, True),
        Figure(
            "truth within the 90 % range of the tension",
            tension_held / max(told, 1),
            "%",
            0.85,
            True,
        ),
        Figure("note where there is only hum and wind", false / max(takes // 4, 1), "%", 0.05),
        Figure("core time for a take of 2 to 6 s", seconds / takes, "s"),
    ]


def measure(layouts: int, takes: int, seed: int) -> list[Figure]:
    """All figures of this bench."""
    return [*measure_paths(layouts, seed), *measure_plucks(takes, seed)]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--layouts", type=int, default=1000)
    parser.add_argument("--plucks", type=int, default=200)
    parser.add_argument("--seed", type=int, default=9981)
    arguments = parser.parse_args()
    print(table(measure(arguments.layouts, arguments.plucks, arguments.seed)))


if __name__ == "__main__":
    main()
