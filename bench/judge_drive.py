"""The judge's engines: cylinders, pulleys in a plane and the belt round them."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from beltside.drive.sheet import Bearing
from judge_tools import Array

# Balls, ball diameter, pitch diameter [mm], contact angle [deg], after bearing catalogues.
BEARINGS = {
    "6202": Bearing(8, 5.953, 25.0, 0.0, "6202"),
    "6203": Bearing(8, 6.747, 28.5, 0.0, "6203"),
    "6303": Bearing(7, 8.731, 32.0, 0.0, "6303"),
    "6003": Bearing(10, 4.762, 26.0, 0.0, "6003"),
    "6205": Bearing(9, 7.940, 39.04, 0.0, "6205"),
    "wheel pump shaft": Bearing(9, 7.144, 26.5),
    "wheel clutch": Bearing(16, 5.556, 45.0, 25.0),
}
USUAL_BEARINGS = {
    "alternator": ("6303", "6203", "6202", "6003"),
    "coolant-pump": ("wheel pump shaft",),
    "idler": ("6203", "6203", "6303"),
    "tensioner": ("6203", "6203", "6303"),
    "ac-compressor": ("wheel clutch",),
    "steering-pump": ("6203", "6003", "6202"),
    "fan": ("6205", "wheel pump shaft"),
}
DIAMETERS_MM = {
    "crank": (118.0, 185.0),
    "alternator": (47.0, 66.0),
    "coolant-pump": (90.0, 152.0),
    "idler": (60.0, 90.0),
    "tensioner": (60.0, 82.0),
    "ac-compressor": (96.0, 130.0),
    "steering-pump": (105.0, 150.0),
    "fan": (100.0, 155.0),
}
# How likely a part hangs on the belt at all.
ON_THE_BELT = {
    "alternator": 0.95,
    "coolant-pump": 0.8,
    "ac-compressor": 0.65,
    "steering-pump": 0.45,
    "tensioner": 0.8,
    "fan": 0.15,
    "idler": 0.6,
    "idler-2": 0.25,
}
# Parts whose outer ring turns with the pulley round a standing inner ring.
OUTER_TURNS = ("idler", "tensioner", "ac-compressor")
# Firing orders that are in common use.
FIRING_ORDERS = {
    3: ((1, 3, 2),),
    4: ((1, 3, 4, 2),),
    5: ((1, 2, 4, 5, 3),),
    6: ((1, 5, 3, 6, 2, 4), (1, 2, 3, 4, 5, 6)),
    8: ((1, 8, 4, 3, 6, 5, 7, 2), (1, 5, 4, 8, 6, 3, 7, 2)),
}


def kind_of(part: str) -> str:
    """ "idler" for "idler-2"."""
    head, _, tail = part.rpartition("-")
    return head if tail.isdigit() else part


@dataclass(frozen=True)
class Wheel:
    """A pulley as it truly is; `pitch_mm` is where the belt's cords run round it."""

    part: str
    diameter_mm: float
    pitch_mm: float
    face: str
    x_mm: float
    y_mm: float
    ratio: float = 1.0
    poles: int | None = None
    vanes: int | None = None
    blades: int | None = None
    bearing: Bearing | None = None

    @property
    def outer_turns(self) -> bool:
        """Whether the outer ring of its bearing is the one that turns."""
        return kind_of(self.part) in OUTER_TURNS


@dataclass(frozen=True)
class Car:
    """One engine. `fires_at` is the crank angle of each cylinder's firing, in cycles 0 to 1."""

    cylinders: int
    diesel: bool
    direct: bool
    chain: bool
    decoupler: bool
    idle_rpm: float
    swing: float
    firing_order: tuple[int, ...]
    fires_at: tuple[float, ...]
    sprocket_teeth: int
    wheels: tuple[Wheel, ...]
    span_mm: tuple[float, ...]
    wrap_mm: tuple[float, ...]
    ribs: int
    cord_mm: float

    @property
    def belt_mm(self) -> float:
        """Length of the belt's cords [mm]."""
        return float(sum(self.span_mm) + sum(self.wrap_mm))

    @property
    def parts(self) -> tuple[str, ...]:
        """Parts on the belt, crank first."""
        return tuple(wheel.part for wheel in self.wheels)

    def wheel(self, part: str) -> Wheel:
        """The pulley of that part."""
        return next(wheel for wheel in self.wheels if wheel.part == part)

    @property
    def rounds_per_turn(self) -> float:
        """Rounds of the belt per crank turn."""
        return float(np.pi * self.wheels[0].pitch_mm / self.belt_mm)


def belt_path(
    centres_mm: Array, radii_mm: Array, sides: Array
) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Free spans and wrapped arcs of a belt [mm] round circles, in the order it meets them.

    `sides` is +1 for a circle inside the loop and -1 for one that presses on the back; the loop
    is gone through anticlockwise. Span i runs from circle i to the next one.
    """
    count = len(radii_mm)
    signed = np.asarray(radii_mm) * np.asarray(sides)
    spans, headings = [], []
    for this in range(count):
        after = (this + 1) % count
        across = centres_mm[after] - centres_mm[this]
        far = float(np.hypot(*across))
        step = signed[after] - signed[this]
        if abs(step) >= far:
            raise ValueError("pulleys lie inside one another")
        headings.append(float(np.arctan2(across[1], across[0]) - np.arcsin(step / far)))
        spans.append(float(np.sqrt(far**2 - step**2)))
    arcs = []
    for this in range(count):
        turned = (headings[this] - headings[this - 1]) * sides[this]
        arcs.append(float(radii_mm[this] * (turned % (2.0 * np.pi))))
    return tuple(spans), tuple(arcs)


def _draw_parts(rng: np.random.Generator, wanted: str | None) -> list[str]:
    """Parts on the belt besides the crank, 2 to 6, with the wanted one among them."""
    for _ in range(1000):
        chosen = [part for part, chance in ON_THE_BELT.items() if rng.random() < chance]
        if "idler-2" in chosen and "idler" not in chosen:
            continue
        if 2 <= len(chosen) <= 6 and (wanted is None or wanted in chosen):
            return chosen
    raise RuntimeError(f"no drive with {wanted!r} was drawn")


def _wheel(rng: np.random.Generator, part: str, cord_mm: float) -> Wheel:
    kind = kind_of(part)
    diameter = float(rng.uniform(*DIAMETERS_MM[kind]))
    back = {"tensioner": 0.85, "idler": 0.5, "coolant-pump": 0.3}.get(kind, 0.0)
    face = "back" if rng.random() < back else "ribbed"
    # On the back the cords lie farther out than on the ribs' side by most of the belt.
    over = cord_mm if face == "ribbed" else float(rng.uniform(0.9, 1.6))
    wheel = Wheel(part, diameter, diameter + 2.0 * over, face, 0.0, 0.0)
    if kind in USUAL_BEARINGS:
        wheel = replace(wheel, bearing=BEARINGS[str(rng.choice(USUAL_BEARINGS[kind]))])
    if kind == "alternator":
        return replace(
            wheel, poles=int(rng.choice([12, 12, 12, 14, 16])), blades=int(rng.integers(9, 17))
        )
    if kind == "steering-pump":
        return replace(wheel, vanes=int(rng.choice([8, 9, 10, 10, 11])))
    if kind == "coolant-pump":
        return replace(wheel, vanes=int(rng.integers(5, 9)))
    if kind == "fan":
        return replace(wheel, blades=int(rng.integers(5, 12)))
    return wheel


def _placed(rng: np.random.Generator, wheels: list[Wheel]) -> list[Wheel] | None:
    """Pulleys set round a loop, crank at the bottom; None when two would touch."""
    ribbed = [wheel for wheel in wheels if wheel.face == "ribbed"]
    reach = float(rng.uniform(130.0, 220.0)) * (1.0 + 0.08 * max(len(ribbed) - 3, 0))
    turn = 2.0 * np.pi / len(ribbed)
    spread = np.arange(len(ribbed)) * turn + rng.uniform(-0.15, 0.15, len(ribbed)) * turn
    at = spread - spread[0] - np.pi / 2.0
    ring = reach * rng.uniform(0.85, 1.15, len(ribbed))
    places = np.stack([ring * np.cos(at), ring * np.sin(at) * rng.uniform(0.8, 1.2)], axis=1)
    places -= places[0]
    set_down: list[Wheel] = []
    back = [wheel for wheel in wheels if wheel.face == "back"]
    gaps = rng.permutation(len(ribbed))[: len(back)]
    if len(gaps) < len(back):
        return None
    for number, wheel in enumerate(ribbed):
        set_down.append(replace(wheel, x_mm=places[number, 0], y_mm=places[number, 1]))
        for presser in (one for one, gap in zip(back, gaps, strict=True) if gap == number):
            after = ribbed[(number + 1) % len(ribbed)]
            here, there = places[number], places[(number + 1) % len(ribbed)]
            out = np.array([there[1] - here[1], here[0] - there[0]])
            out /= np.hypot(*out)
            share = rng.uniform(0.35, 0.65)
            edge = (1 - share) * wheel.pitch_mm / 2.0 + share * after.pitch_mm / 2.0
            off = edge + presser.pitch_mm / 2.0 - rng.uniform(12.0, 40.0)
            spot = here + share * (there - here) + out * off
            set_down.append(replace(presser, x_mm=float(spot[0]), y_mm=float(spot[1])))
    for number, one in enumerate(set_down):
        for other in set_down[:number]:
            apart = np.hypot(one.x_mm - other.x_mm, one.y_mm - other.y_mm)
            if apart < (one.diameter_mm + other.diameter_mm) / 2.0 + 8.0:
                return None
    return set_down


def _fires_at(rng: np.random.Generator, cylinders: int) -> tuple[float, ...]:
    """Firing of the cylinders in their order, in cycles; a few V6 fire unevenly."""
    even = np.arange(cylinders) / cylinders
    if cylinders == 6 and rng.random() < 0.1:
        even = even + np.tile([0.0, 30.0 / 720.0], 3)
    return tuple(float(at) for at in even)


def draw_car(rng: np.random.Generator, suspect: str) -> Car:
    """A random engine and drive on which `suspect` can be."""
    part, _, fault = suspect.partition(".")
    wanted = part if part in ON_THE_BELT else None
    cylinders = int(rng.choice([3, 4, 5, 6, 8], p=[0.15, 0.55, 0.05, 0.17, 0.08]))
    order = FIRING_ORDERS[cylinders][int(rng.integers(len(FIRING_ORDERS[cylinders])))]
    diesel = bool(rng.random() < 0.25) and cylinders != 8
    cord = float(rng.uniform(1.4, 2.2))
    placed = None
    while placed is None:
        wheels = [_wheel(rng, "crank", cord)]
        wheels += [_wheel(rng, name, cord) for name in _draw_parts(rng, wanted)]
        ribbed = sum(wheel.face == "ribbed" for wheel in wheels)
        order_of = [0, *(1 + rng.permutation(len(wheels) - 1))]
        placed = _placed(rng, [wheels[i] for i in order_of]) if ribbed >= 2 else None
    creep = rng.uniform(0.002, 0.012, len(placed))
    crank_mm = placed[0].pitch_mm
    placed = [
        replace(wheel, ratio=float(crank_mm / wheel.pitch_mm * (1.0 - slip)) if number else 1.0)
        for number, (wheel, slip) in enumerate(zip(placed, creep, strict=True))
    ]
    spans, arcs = belt_path(
        np.array([[wheel.x_mm, wheel.y_mm] for wheel in placed]),
        np.array([wheel.pitch_mm / 2.0 for wheel in placed]),
        np.array([1.0 if wheel.face == "ribbed" else -1.0 for wheel in placed]),
    )
    return Car(
        cylinders=cylinders,
        diesel=diesel,
        direct=diesel or bool(rng.random() < 0.45),
        chain=part == "timing-chain" or bool(rng.random() < 0.6),
        decoupler=fault == "decoupler" or bool(rng.random() < 0.3),
        idle_rpm=float(rng.uniform(600.0, 950.0)),
        swing=float(rng.uniform(0.01, 0.035) * (1.3 if diesel else 1.0) * (4.0 / cylinders)),
        firing_order=order,
        fires_at=_fires_at(rng, cylinders),
        sprocket_teeth=int(rng.integers(18, 27)),
        wheels=tuple(placed),
        span_mm=spans,
        wrap_mm=arcs,
        ribs=int(rng.integers(4, 8)),
        cord_mm=cord,
    )
