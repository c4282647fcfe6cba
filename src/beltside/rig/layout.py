"""The front drive: true pulleys, belt and bearings, and the sheet a technician writes of them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.random import Generator

from beltside.base.words import part_kind
from beltside.drive.sheet import Bearing, Belt, DriveSheet, Engine, Pulley
from beltside.rig.engine import EngineSpec
from beltside.rig.motion import Shaft

# Number, balls, ball diameter [mm], pitch circle [mm]: bearing catalogues, from memory.
CATALOGUE: Final = (
    ("608", 7, 3.969, 15.0),
    ("6003", 10, 4.762, 26.0),
    ("6201", 7, 5.953, 22.0),
    ("6202", 8, 5.953, 25.0),
    ("6203", 8, 6.747, 28.5),
    ("6204", 8, 7.938, 33.5),
    ("6205", 9, 7.938, 39.04),
    ("6303", 7, 8.731, 32.0),
    ("6304", 7, 9.525, 36.5),
)
# Diameter range [mm]: common practice, no source.
DIAMETER_MM: Final = {
    "crank": (120.0, 185.0),
    "coolant-pump": (85.0, 150.0),
    "alternator": (48.0, 68.0),
    "idler": (55.0, 95.0),
    "tensioner": (55.0, 85.0),
    "ac-compressor": (95.0, 135.0),
    "steering-pump": (100.0, 150.0),
    "fan": (90.0, 150.0),
}
MAY_BE_ABSENT: Final = {
    "coolant-pump": 0.92,
    "alternator": 0.97,
    "tensioner": 0.75,
    "idler": 0.65,
    "idler-2": 0.25,
    "ac-compressor": 0.6,
    "steering-pump": 0.4,
    "fan": 0.15,
}
OUTER_RING_TURNS: Final = ("idler", "tensioner", "ac-compressor")


@dataclass(frozen=True)
class TruePulley:
    """A pulley as it is.

    Attributes
    ----------
    ratio
        Turns per crank turn, creep included.
    count
        Poles, vanes or fan blades that pass by per turn; 0 when it has none.
    outer_ring_turns
        The bearing's outer ring turns with the pulley and its inner ring stands still.
    """

    part: str
    diameter_mm: float
    face: str
    x_mm: float
    y_mm: float
    ratio: float
    count: int
    bearing: Bearing
    outer_ring_turns: bool


@dataclass(frozen=True)
class Drive:
    """The true drive: pulleys in the order the belt meets them, clockwise from the front."""

    pulleys: tuple[TruePulley, ...]
    ribs: int
    belt_length_mm: float
    belt_order: float
    torsion_share: dict[str, float]

    def pulley(self, part: str) -> TruePulley:
        """The pulley of that part; KeyError when the drive has none."""
        for pulley in self.pulleys:
            if pulley.part == part:
                return pulley
        raise KeyError(part)

    @property
    def parts(self) -> tuple[str, ...]:
        """All pulley parts."""
        return tuple(pulley.part for pulley in self.pulleys)

    def shafts(self) -> dict[str, Shaft]:
        """Every turning part and the belt itself as shafts; the belt turns once per pass."""
        shafts = {
            pulley.part: Shaft(pulley.ratio, self.torsion_share[pulley.part])
            for pulley in self.pulleys
        }
        shafts["belt"] = Shaft(self.belt_order, 1.0)
        shafts["crank"] = Shaft(1.0, 1.0)
        return shafts


def draw_bearing(rng: Generator) -> Bearing:
    """A catalogue bearing; makers differ, so the figures move by up to 2 %."""
    number, balls, ball_mm, pitch_mm = CATALOGUE[int(rng.integers(len(CATALOGUE)))]
    if rng.random() < 0.4:
        return Bearing(balls, ball_mm, pitch_mm, number=number)
    return Bearing(
        balls,
        round(ball_mm * float(rng.uniform(0.98, 1.02)), 3),
        round(pitch_mm * float(rng.uniform(0.98, 1.02)), 2),
    )


def belt_length(circles: list[tuple[float, float, float, str]]) -> float:
    """Length of a taut belt round (x, y, radius, face) circles met in turn [same unit].

    Tangents of circle pairs and the arcs between them; a "back" circle turns against the belt
    loop. Plane geometry, own derivation.
    """
    total = 0.0
    ends: list[tuple[complex, complex]] = []
    for (x, y, radius, face), (x2, y2, radius2, face2) in zip(
        circles, circles[1:] + circles[:1], strict=True
    ):
        across = complex(x2 - x, y2 - y)
        side, side2 = (1.0 if f == "ribbed" else -1.0 for f in (face, face2))
        # The belt runs clockwise: a ribbed pulley's centre lies to the right of travel.
        offset = side * radius - side2 * radius2
        span = np.sqrt(max(abs(across) ** 2 - offset**2, 0.0))
        direction = across / abs(across) * complex(span, -offset) / abs(across)
        total += float(span)
        ends.append((direction, direction))
    for index, (_, _, radius, face) in enumerate(circles):
        before, after = ends[index - 1][1], ends[index][0]
        turn = np.angle(after / before)
        bend = -turn if face == "ribbed" else turn
        total += float(bend % (2 * np.pi)) * radius
    return total


def _places(rng: Generator, parts: list[str], size: dict[str, float]) -> list[tuple[str, str]]:
    """Order and face of the pulleys: ribbed ones round the loop, some idlers on the back."""
    ribbed = [p for p in parts if part_kind(p) not in ("idler", "tensioner", "crank")]
    rng.shuffle(ribbed)
    order = [("crank", "ribbed")] + [(part, "ribbed") for part in ribbed]
    for part in parts:
        if part_kind(part) in ("idler", "tensioner"):
            back = rng.random() < (0.75 if len(order) >= 2 else 0.0)
            neighbours = [i for i in range(len(order)) if order[i][1] == "ribbed"]
            at = int(rng.choice(neighbours)) + 1
            taken = at < len(order) and order[at][1] == "back"
            order.insert(at, (part, "back" if back and not taken else "ribbed"))
    return order


def _positions(
    rng: Generator, order: list[tuple[str, str]], size: dict[str, float]
) -> dict[str, tuple[float, float]]:
    """Centres [mm], crank at 0, 0: ribbed pulleys on a ring with room between them."""
    ring = [part for part, face in order if face == "ribbed"]
    room = sum(size[part] + 55.0 for part in ring) / (2 * np.pi)
    radius = max(room, 120.0) * float(rng.uniform(1.05, 1.3))
    share = np.cumsum(
        [0.0]
        + [size[a] / 2 + size[b] / 2 + 55.0 for a, b in zip(ring, ring[1:] + ring[:1], strict=True)]
    )
    angle = -np.pi / 2 - 2 * np.pi * share[:-1] / share[-1]
    squeeze = float(rng.uniform(0.85, 1.0))
    centre = radius * np.exp(1j * angle)
    centre = (centre.real * squeeze + 1j * centre.imag) - (1j * centre[0].imag)
    centre -= centre[0].real
    spot = {part: complex(c) for part, c in zip(ring, centre, strict=True)}
    middle = complex(np.mean(centre))
    for index, (part, face) in enumerate(order):
        if face == "back":
            before = spot[order[index - 1][0]]
            after = spot[order[(index + 1) % len(order)][0]]
            between = (before + after) / 2
            out = between - middle
            out = out / abs(out) if abs(out) > 1.0 else complex(0.0, 1.0)
            reach = (size[order[index - 1][0]] + size[order[(index + 1) % len(order)][0]]) / 4
            spot[part] = between + out * (reach + size[part] / 2 - rng.uniform(8.0, 25.0))
    return {part: (c.real, c.imag) for part, c in spot.items()}


def count_of(rng: Generator, part: str) -> int:
    """Poles, vanes or blades; common practice, no source."""
    kind = part_kind(part)
    if kind == "alternator":
        return int(rng.choice([10, 12, 12, 12, 14, 16]))
    if kind == "coolant-pump":
        return int(rng.integers(5, 8))
    if kind == "steering-pump":
        return int(rng.choice([8, 10, 10, 12]))
    if kind == "ac-compressor":
        return int(rng.choice([5, 6, 7, 7, 10]))
    if kind == "fan":
        return int(rng.integers(5, 12))
    return 0


def draw_drive(rng: Generator, *, needed: tuple[str, ...] = ()) -> Drive:
    """A random drive that has at least the `needed` parts."""
    parts = ["crank"] + [
        part for part, share in MAY_BE_ABSENT.items() if part in needed or rng.random() < share
    ]
    if len(parts) < 3:
        parts = ["crank", "coolant-pump", "alternator", *parts[1:]]
        parts = list(dict.fromkeys(parts))
    if "idler-2" in parts and "idler" not in parts:
        parts.insert(1, "idler")
    size = {part: round(float(rng.uniform(*DIAMETER_MM[part_kind(part)])), 1) for part in parts}
    order = _places(rng, parts, size)
    spot = _positions(rng, order, size)
    given = [(part, size[part], face, *spot[part]) for part, face in order]
    return build_drive(rng, given)


def build_drive(
    rng: Generator,
    given: list[tuple[str, float, str, float, float]],
    *,
    bearings: dict[str, Bearing] | None = None,
    counts: dict[str, int] | None = None,
    belt_length_mm: float | None = None,
) -> Drive:
    """A drive from (part, diameter, face, x, y) rows [mm], with the unseen parts drawn.

    The pitch line lies 0 to 2 mm outside the ribs (ISO 9981 gives a nominal b_e of 2 mm for
    PK, from a copy) and 1 to 4 mm outside a flat; every driven pulley creeps up to 1 %.
    """
    outside_mm = float(rng.uniform(0.0, 2.0))
    back_mm = float(rng.uniform(1.0, 4.0))
    pitch = {p: d + 2 * (outside_mm if f == "ribbed" else back_mm) for p, d, f, _, _ in given}
    circles = [(x, y, pitch[p] / 2, f) for p, _, f, x, y in given]
    length = belt_length_mm or belt_length(circles) * float(rng.uniform(0.995, 1.005))
    common = float(rng.uniform(0.0, 0.004))
    pulleys = []
    for part, diameter, face, x, y in given:
        creep = 0.0 if part == "crank" else common + float(rng.uniform(0.0, 0.006))
        kind = part_kind(part)
        pulleys.append(
            TruePulley(
                part,
                diameter,
                face,
                round(x, 0),
                round(y, 0),
                pitch["crank"] / pitch[part] * (1.0 - creep),
                (counts or {}).get(part) or count_of(rng, part),
                (bearings or {}).get(part) or draw_bearing(rng),
                kind in OUTER_RING_TURNS,
            )
        )
    belt_order = np.pi * pitch["crank"] / length * (1.0 - common / 2)
    return Drive(
        tuple(pulleys),
        int(rng.choice([4, 5, 6, 6, 6, 7, 8])),
        length,
        float(belt_order),
        {part: float(rng.uniform(0.2, 1.5)) if part != "crank" else 1.0 for part in pitch},
    )


def measured_sheet(
    rng: Generator, drive: Drive, engine: EngineSpec, name: str, *, full: bool = False
) -> DriveSheet:
    """The sheet as a technician writes it: small errors, and gaps where he could not see.

    `full` leaves nothing out (the demo), but still measures with error.
    """

    def keep(share: float) -> bool:
        return full or bool(rng.random() < share)

    bearings, positions, counts = keep(0.45), keep(0.5), keep(0.5)
    pulleys = []
    for pulley in drive.pulleys:
        measured = round(pulley.diameter_mm * (1.0 + float(rng.uniform(-0.005, 0.005))) * 2) / 2
        counted = pulley.count if counts and pulley.count and keep(0.8) else None
        kind = part_kind(pulley.part)
        row = Pulley(pulley.part, measured, pulley.face)
        if positions:
            row = replace(row, x_mm=pulley.x_mm, y_mm=pulley.y_mm)
        if counted and kind == "alternator":
            row = replace(row, poles=counted)
        elif counted and kind in ("coolant-pump", "steering-pump"):
            row = replace(row, vanes=counted)
        elif counted and kind == "fan":
            row = replace(row, fan_blades=counted)
        if bearings and kind != "crank" and keep(0.8):
            row = replace(row, bearing=pulley.bearing)
        pulleys.append(row)
    length = float(round(drive.belt_length_mm / 5) * 5) if keep(0.7) else None
    read = engine.idle_rpm * (1.0 if full else float(rng.uniform(0.95, 1.05)))
    idle = float(round(read / 10) * 10)
    return DriveSheet(
        Engine(
            engine.cylinders,
            engine.strokes,
            idle if keep(0.7) else None,
            engine.chain_teeth if keep(0.4) else None,
        ),
        Belt("PK", drive.ribs if keep(0.9) else None, length),
        tuple(pulleys),
        name,
    )
