"""The stranger's engines: drives, shafts and bearings as they truly are, and as measured."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from beltside.drive.sheet import Bearing, Belt, DriveSheet, Engine, Pulley

# Balls, ball diameter and pitch diameter [mm]; usual sizes, from memory.
BEARING_SIZES = (
    (8, 6.747, 28.5),
    (7, 8.731, 32.0),
    (8, 5.953, 25.5),
    (10, 4.762, 26.0),
    (9, 7.938, 39.04),
    (7, 7.144, 29.0),
    (9, 5.556, 23.8),
    (11, 4.763, 30.2),
    (8, 7.938, 33.5),
)

PULLEY_FAULTS = {
    "coolant-pump": ("bearing", "impeller", "seal"),
    "alternator": ("bearing", "electrical", "decoupler"),
    "idler": ("bearing",),
    "tensioner": ("bearing", "rattle"),
    "ac-compressor": ("bearing", "clutch", "rattle"),
    "steering-pump": ("bearing", "whine"),
    "fan": ("bearing", "clutch"),
}
FAULTS = (
    *(f"{part}.{fault}" for part, faults in PULLEY_FAULTS.items() for fault in faults),
    "belt.slip",
    "belt.misalignment",
    "belt.damage",
    "crank.damper",
    "timing-chain.rattle",
    "timing-chain.whine",
    "valve-train.tick",
    "vacuum-leak.hiss",
    "exhaust-leak.tick",
    "engine.knock",
    "none",
    "other",
)


def kind_of(part: str) -> str:
    """The kind of part behind a numbered name: "idler" for "idler-2"."""
    head, _, tail = part.rpartition("-")
    return head if tail.isdigit() else part


@dataclass(frozen=True)
class Shaft:
    """One pulley as it truly is; `ratio` is its turns per crank turn."""

    part: str
    measured_mm: float
    pitch_mm: float
    ratio: float
    face: str
    bearing: Bearing
    poles: int = 12
    vanes: int = 6
    blades: int = 6

    @property
    def outer_turns(self) -> bool:
        """Whether the bearing's outer ring turns and its inner ring stands."""
        return kind_of(self.part) in ("idler", "tensioner")


@dataclass(frozen=True)
class World:
    """One engine with its drive as it truly is."""

    cylinders: int
    idle_rpm: float
    chain_teeth: int | None
    diesel: bool
    belt_ratio: float
    belt_mm: float
    crank_mm: float
    shafts: tuple[Shaft, ...]

    def shaft(self, part: str) -> Shaft:
        """The shaft of that part; KeyError when the drive has none."""
        for shaft in self.shafts:
            if shaft.part == part:
                return shaft
        raise KeyError(part)

    def possible(self) -> tuple[str, ...]:
        """Every fault this engine can have, without "none" and "other"."""
        kinds = {kind_of(shaft.part) for shaft in self.shafts}
        out = []
        for suspect in FAULTS[:-2]:
            part = suspect.split(".")[0]
            if part in PULLEY_FAULTS and part not in kinds:
                continue
            if part == "timing-chain" and self.chain_teeth is None:
                continue
            out.append(suspect)
        return tuple(out)


def bearing_orders(bearing: Bearing, outer_turns: bool) -> dict[str, float]:
    """Defect rates per turn of the turning ring (McFadden & Smith 1984, from memory).

    "cage" is the cage's speed as seen from the engine block, so it differs when the outer
    ring turns. "ball" is a spot on a ball striking both rings, twice the ball's spin.
    """
    r = bearing.ball_mm / bearing.pitch_mm * np.cos(np.radians(bearing.contact_deg))
    return {
        "outer": bearing.balls / 2.0 * (1.0 - r),
        "inner": bearing.balls / 2.0 * (1.0 + r),
        "ball": bearing.pitch_mm / bearing.ball_mm * (1.0 - r * r),
        "cage": 0.5 * (1.0 + r) if outer_turns else 0.5 * (1.0 - r),
    }


def draw_bearing(rng: np.random.Generator) -> Bearing:
    """A bearing of a usual size, now and then with an angle of contact."""
    balls, ball_mm, pitch_mm = BEARING_SIZES[int(rng.integers(len(BEARING_SIZES)))]
    contact = float(rng.choice([0.0, 0.0, 0.0, rng.uniform(5.0, 25.0)]))
    return Bearing(balls, ball_mm, pitch_mm, contact)


def draw_world(rng: np.random.Generator, truth: str | None = None) -> World:
    """A random engine; it has whatever part `truth` needs."""
    need = "" if truth is None else truth.split(".")[0]
    wanted: list[tuple[str, float, float]] = [("alternator", 46.0, 66.0)]
    for part, chance, low, high in (
        ("coolant-pump", 0.78, 90.0, 155.0),
        ("ac-compressor", 0.75, 95.0, 140.0),
        ("steering-pump", 0.5, 100.0, 165.0),
        ("fan", 0.22, 105.0, 160.0),
        ("tensioner", 0.85, 58.0, 85.0),
        ("idler", 0.65, 55.0, 95.0),
    ):
        if rng.random() < chance or kind_of(need) == part:
            wanted.append((part, low, high))
            if part == "idler" and (rng.random() < 0.35 or need == "idler-2"):
                wanted.append(("idler-2", low, high))
    order = rng.permutation(len(wanted))
    wanted = [wanted[i] for i in order]

    crank_mm = float(rng.uniform(118.0, 192.0))
    ribbed_offset = float(rng.uniform(0.0, 2.0))
    back_offset = float(rng.uniform(0.0, 2.0))
    crank_pitch = crank_mm + 2.0 * ribbed_offset
    shafts = []
    creep_so_far = 1.0
    for part, low, high in wanted:
        kind = kind_of(part)
        back = kind in ("idler", "tensioner") and rng.random() < 0.75
        back = back or (kind == "coolant-pump" and rng.random() < 0.3)
        measured = float(rng.uniform(low, high))
        pitch = measured + 2.0 * (back_offset if back else ribbed_offset)
        # Creep adds up along the belt's way from the crank; small and loads differ.
        creep_so_far *= 1.0 - float(rng.uniform(0.0, 0.0015))
        shafts.append(
            Shaft(
                part,
                measured,
                pitch,
                crank_pitch / pitch * creep_so_far,
                "back" if back else "ribbed",
                draw_bearing(rng),
                poles=int(rng.choice([12, 12, 12, 14, 16, 16])),
                vanes=int(rng.integers(9, 13) if kind == "steering-pump" else rng.integers(5, 10)),
                blades=int(rng.integers(5, 12)),
            )
        )
    belt_mm = float(
        np.pi * crank_mm / 2 + sum(s.measured_mm for s in shafts) + rng.uniform(350.0, 1100.0)
    )
    chain = rng.random() < 0.7 or need == "timing-chain"
    return World(
        cylinders=int(rng.choice([3, 4, 4, 4, 4, 5, 6, 6, 8])),
        idle_rpm=float(rng.uniform(590.0, 960.0)),
        chain_teeth=int(rng.integers(17, 26)) if chain else None,
        diesel=bool(rng.random() < 0.3),
        belt_ratio=np.pi * crank_pitch / belt_mm,
        belt_mm=belt_mm,
        crank_mm=crank_mm,
        shafts=tuple(shafts),
    )


def measured_sheet(world: World, rng: np.random.Generator) -> DriveSheet:
    """The drive sheet as a man with a caliper would write it, with gaps."""

    def caliper(mm: float) -> float:
        return round(mm * (1.0 + float(rng.uniform(-0.005, 0.005))), 1)

    pulleys = [Pulley("crank", caliper(world.crank_mm))]
    for shaft in world.shafts:
        kind = kind_of(shaft.part)
        counts: dict[str, int] = {}
        if kind == "alternator" and rng.random() < 0.67:
            counts["poles"] = shaft.poles
        if kind in ("coolant-pump", "steering-pump") and rng.random() < 0.67:
            counts["vanes"] = shaft.vanes
        if kind == "fan" and rng.random() < 0.67:
            counts["fan_blades"] = shaft.blades
        pulleys.append(
            Pulley(
                shaft.part,
                caliper(shaft.measured_mm),
                face=shaft.face,
                bearing=shaft.bearing if rng.random() < 0.5 else None,
                **counts,
            )
        )
    known_idle = rng.random() < 0.67
    known_belt = rng.random() < 0.67
    chain = world.chain_teeth if rng.random() < 0.5 else None
    return DriveSheet(
        engine=Engine(
            cylinders=world.cylinders,
            idle_rpm=round(world.idle_rpm * rng.uniform(0.95, 1.05), -1) if known_idle else None,
            crank_sprocket_teeth=chain,
        ),
        belt=Belt(
            ribs=int(rng.integers(4, 8)),
            length_mm=round(world.belt_mm * rng.uniform(0.997, 1.003)) if known_belt else None,
        ),
        pulleys=tuple(pulleys),
        name="stranger's engine",
    )
