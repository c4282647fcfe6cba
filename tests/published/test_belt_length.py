"""Belt lengths and wraps against worked examples and a general-purpose geometry library.

Sources:
- R. G. Budynas and J. K. Nisbett, Shigley's Mechanical Engineering Design, equations 17-1 and
  17-2, and the solutions to chapter 17: open belt on pulleys of 6 and 18 in, 96 in apart.
- The crossed belt's formula of the same book (from memory).
- ISO 9981:2020, 5.2 and 5.4: pitch diameter is effective diameter plus twice 2 mm.
- shapely (GEOS): convex hull of discs, and length of a line through sampled points.
"""

import math

import numpy as np
import pytest
import shapely

from beltside.drive.loop import crossed_belt_length, open_belt_length, taut_loop
from beltside.drive.path import belt_path
from beltside.drive.sheet import Belt, DriveSheet, Engine, Pulley

PARTS = (
    "crank",
    "coolant-pump",
    "alternator",
    "idler",
    "tensioner",
    "ac-compressor",
    "steering-pump",
    "fan",
    *(f"idler-{number}" for number in range(2, 6)),
)


def test_open_belt_of_the_book():
    assert open_belt_length(96.0, 18.0, 6.0) == pytest.approx(230.074, abs=1e-3)
    loop = taut_loop([0j, 96 + 0j], [9.0, 3.0])
    assert loop.wraps[0] == pytest.approx(3.2667, abs=1e-4)
    assert loop.wraps[1] == pytest.approx(3.0165, abs=1e-4)


def test_crossed_belt():
    """Formula from memory: sqrt(4C^2-(D+d)^2) + (D+d)/2 (pi + 2 asin((D+d)/2C))."""
    assert crossed_belt_length(96.0, 18.0, 6.0) == pytest.approx(231.201, abs=1e-3)
    loop = taut_loop([0j, 96 + 0j], [9.0, -3.0])
    assert loop.wraps == pytest.approx((3.39225, 3.39225), abs=1e-5)


def test_pitch_diameter_and_effective_length_of_the_standard():
    """ISO 9981:2020, 5.4; the effective length is taken on two equal pulleys, so it lies 2 pi b_e
    under the length at the cords (from memory)."""
    pulleys = (
        Pulley("crank", 300.0 / math.pi, x_mm=0, y_mm=0),
        Pulley("fan", 300.0 / math.pi, x_mm=0, y_mm=350.0),
    )
    path = belt_path(DriveSheet(Engine(4), Belt(), pulleys))
    assert path.pulleys[0].running_diameter_mm == pytest.approx(300.0 / math.pi + 4.0)
    # Twice the distance and one circumference of 300 mm: the standard's measuring fixture.
    assert path.effective_length_mm == pytest.approx(2.0 * 350.0 + 300.0, abs=1e-9)


def ribbed(rng: np.random.Generator) -> DriveSheet:
    """Three to twelve ribbed pulleys, each on the hull of all of them, listed clockwise."""
    count = int(rng.integers(3, 13))
    diameters = rng.uniform(48.0, 170.0, count)
    ring = max(float(diameters.max() + 25.0) / (2.0 * math.sin(math.pi / count)), 120.0)
    angles = -2.0 * math.pi * (np.arange(count) + rng.uniform(-0.12, 0.12, count)) / count
    places = 1.25 * ring * np.exp(1j * (angles + rng.uniform(0, 6.28)))
    places -= places[0]
    return DriveSheet(
        Engine(4),
        Belt(),
        tuple(
            Pulley(part, float(d), x_mm=float(p.real), y_mm=float(p.imag))
            for part, d, p in zip(PARTS, diameters, places, strict=False)
        ),
    )


def test_ribbed_drives_against_the_hull_of_their_discs():
    """shapely's convex hull of discs at the effective diameter (ISO 9981) is the belt."""
    rng = np.random.default_rng(9981)
    for _ in range(60):
        sheet = ribbed(rng)
        discs = shapely.buffer(
            shapely.points([(p.x_mm, p.y_mm) for p in sheet.pulleys]),
            [0.5 * p.diameter_mm for p in sheet.pulleys],
            quad_segs=512,
        )
        hull = shapely.union_all(discs).convex_hull.length
        assert belt_path(sheet).effective_length_mm == pytest.approx(hull, abs=0.01)


def tangent(one: complex, r1: float, other: complex, r2: float) -> tuple[complex, complex]:
    """Tangent points from the classical construction: the angle between the centre line and the
    radius is acos((r1 - r2) / distance), radii signed."""
    across = other - one
    angle = math.atan2(across.imag, across.real) + math.acos((r1 - r2) / abs(across))
    normal = complex(math.cos(angle), math.sin(angle))
    return one + r1 * normal, other + r2 * normal


def sampled_length(sheet: DriveSheet, lines: tuple[float, float]) -> float:
    """Length at the cords of a line through thousands of points, built arc by arc."""
    pulleys = sheet.pulleys
    centres = [complex(p.x_mm, p.y_mm) for p in pulleys]
    radii = [
        -(0.5 * p.diameter_mm + lines[1]) if p.face == "back" else 0.5 * p.diameter_mm + lines[0]
        for p in pulleys
    ]
    count = len(pulleys)
    ends = [
        tangent(centres[i], radii[i], centres[(i + 1) % count], radii[(i + 1) % count])
        for i in range(count)
    ]
    points: list[complex] = []
    for i in range(count):
        arrive, leave = ends[i - 1][1] - centres[i], ends[i][0] - centres[i]
        turn = math.atan2(leave.imag, leave.real) - math.atan2(arrive.imag, arrive.real)
        turn = -((-turn) % (2 * math.pi)) if radii[i] > 0 else turn % (2 * math.pi)
        points += list(centres[i] + arrive * np.exp(1j * np.linspace(0.0, turn, 2000)))
    points.append(points[0])
    return shapely.LineString([(p.real, p.imag) for p in points]).length


def test_drives_with_back_side_pulleys_against_sampled_arcs():
    """Idlers press the belt's back in between ribbed pulleys; length by shapely, radii by ISO
    9981 and the drive's own back line."""
    rng = np.random.default_rng(5)
    for _ in range(40):
        count = int(rng.integers(3, 7))
        diameters = rng.uniform(55.0, 150.0, count)
        ring = (float(diameters.max()) + 130.0) / (2.0 * math.sin(math.pi / count))
        angles = -2.0 * math.pi * np.arange(count) / count + 0.5 * math.pi
        places = ring * np.exp(1j * angles)
        pulleys = []
        for i in range(count):
            pulleys.append(
                Pulley(PARTS[2 * i], float(diameters[i]), x_mm=places[i].real, y_mm=places[i].imag)
            )
            if rng.random() < 0.6:
                # The middle of the outer tangent, pushed inwards by a third of the idler.
                one, other = tangent(
                    complex(places[i]),
                    0.5 * diameters[i],
                    complex(places[(i + 1) % count]),
                    0.5 * diameters[(i + 1) % count],
                )
                middle = 0.5 * (one + other)
                size = float(rng.uniform(60.0, 80.0))
                outward = complex(0, 1) * (other - one) / abs(other - one)
                centre = middle + outward * (0.5 * size - rng.uniform(6.0, 22.0))
                pulleys.append(
                    Pulley(PARTS[2 * i + 1], size, "back", x_mm=centre.real, y_mm=centre.imag)
                )
        names = iter(PARTS)
        pulleys = [Pulley(next(names), p.diameter_mm, p.face, p.x_mm, p.y_mm) for p in pulleys]
        sheet = DriveSheet(Engine(4), Belt(back_line_mm=2.0), tuple(pulleys))
        path = belt_path(sheet)
        assert path.pitch_length_mm == pytest.approx(sampled_length(sheet, (2.0, 2.0)), abs=0.01)
        assert path.listed_clockwise
