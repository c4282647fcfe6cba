"""The bystander's cars: engine, belt drive, how they turn, and the drive sheet as measured."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from beltside.drive.sheet import Bearing, Belt, DriveSheet, Engine, Pulley
from bystander_tools import GRID_S, Array, Motion

CHARACTERS = ("diesel", "smooth", "rough", "ticking", "breathing", "sewing-machine")
# Balls, ball and pitch diameter [mm]; the first three as in facts K6 (bearing catalogues, from
# memory), the others typical of belt tensioners and pumps (common practice, no source).
BEARINGS = (
    Bearing(8, 6.747, 28.5, number="6203"),
    Bearing(7, 8.731, 32.0, number="6303"),
    Bearing(10, 4.762, 26.0, number="6003"),
    Bearing(9, 7.938, 39.0),
    Bearing(8, 7.144, 30.3),
    Bearing(9, 6.35, 25.0),
    Bearing(12, 5.556, 34.5, 25.0),
)
# Least and greatest pulley diameter [mm]; common practice, no source.
_SIZES = {
    "crank": (120, 175),
    "coolant-pump": (85, 150),
    "alternator": (46, 64),
    "idler": (60, 84),
    "idler-2": (60, 84),
    "tensioner": (58, 82),
    "ac-compressor": (95, 130),
    "steering-pump": (95, 145),
    "fan": (110, 160),
}
# How often a drive has the part. The alternator is always there.
_HAS = {
    "coolant-pump": 0.8,
    "tensioner": 0.85,
    "ac-compressor": 0.65,
    "steering-pump": 0.45,
    "idler": 0.6,
    "fan": 0.2,
}
# Their outer ring turns and the inner one stands.
OUTER_TURNS = ("idler", "idler-2", "tensioner", "ac-compressor")


@dataclass(frozen=True)
class Wheel:
    """A pulley as it is: over the ribs or the flat [mm], centre as on the sheet [mm]."""

    part: str
    diameter_mm: float
    face: str
    x_mm: float
    y_mm: float
    poles: int | None = None
    vanes: int | None = None
    blades: int | None = None
    bearing: Bearing = BEARINGS[0]


@dataclass(frozen=True)
class Car:
    """One engine.

    Attributes
    ----------
    fires
        When each cylinder fires, in the order they fire [crank turns of the two of a cycle].
    strength
        How strongly each does, 1 on average.
    cord_mm, back_mm
        How far the cords run outside a ribbed pulley and outside a flat one [mm].
    belt_mm
        Length along the cords [mm].
    creep
        Share each pulley lags behind the belt.
    """

    character: str
    idle_rpm: float
    fires: tuple[float, ...]
    strength: tuple[float, ...]
    cycle_scatter: float
    wander: float
    wheels: tuple[Wheel, ...]
    cord_mm: float
    back_mm: float
    belt_mm: float
    ribs: int
    creep: float
    sprocket_teeth: int | None

    @property
    def parts(self) -> tuple[str, ...]:
        return tuple(wheel.part for wheel in self.wheels)

    def wheel(self, part: str) -> Wheel:
        return next(wheel for wheel in self.wheels if wheel.part == part)

    def ratio(self, part: str) -> float:
        """Turns of the part's shaft per crank turn."""
        wheel = self.wheel(part)
        if part == "crank":
            return 1.0
        line = self.cord_mm if wheel.face == "ribbed" else self.back_mm
        driver = self.wheel("crank").diameter_mm + 2 * self.cord_mm
        return driver / (wheel.diameter_mm + 2 * line) * (1.0 - self.creep)

    @property
    def belt_order(self) -> float:
        """Belt passings per crank turn."""
        return float(np.pi * (self.wheel("crank").diameter_mm + 2 * self.cord_mm) / self.belt_mm)


def belt_length_mm(circles: list[tuple[float, float, float, int]]) -> float:
    """Length of a belt around circles (x, y, radius, 1 inside or -1 outside of the loop) [mm].

    Circles in the order a clockwise belt meets them. Tangents and arcs of plane geometry.

    Raises
    ------
    ValueError
        When two neighbours overlap so that no straight span fits between, or the belt would touch
        a pulley by less than 17 or more than 270 degrees.
    """
    length, headings = 0.0, []
    for (x1, y1, r1, s1), (x2, y2, r2, s2) in zip(circles, circles[1:] + circles[:1], strict=True):
        apart = np.hypot(x2 - x1, y2 - y1)
        lean = (s1 * r1 - s2 * r2) / apart
        if abs(lean) >= 0.999:
            raise ValueError(f"pulleys at {x1, y1} and {x2, y2} mm overlap")
        length += apart * np.sqrt(1.0 - lean**2)
        # The belt runs left of the line of centres by the difference of the radii.
        headings.append(np.arctan2(y2 - y1, x2 - x1) - np.arcsin(lean))
    for index, (_, _, radius, side) in enumerate(circles):
        turned = (headings[index - 1] - headings[index]) * side % (2 * np.pi)
        if not 0.3 < turned < 1.5 * np.pi:
            raise ValueError(f"the belt lies on a pulley by {np.degrees(turned):.0f} degrees")
        length += radius * turned
    return float(length)


def draw_car(rng: np.random.Generator, suspect: str) -> Car:
    """A car by chance that has what the suspect needs."""
    needed = suspect.rpartition(".")[0]
    parts = ["alternator", *(part for part, odds in _HAS.items() if rng.random() < odds)]
    if needed in _SIZES and needed not in (*parts, "crank", "idler-2"):
        parts.append(needed)
    if needed == "idler-2" and "idler" not in parts:
        parts.append("idler")
    if "idler" in parts and (needed == "idler-2" or rng.random() < 0.4):
        parts.append("idler-2")
    while True:
        wheels = _draw_wheels(rng, parts)
        cord, back = rng.uniform(1.1, 2.0), rng.uniform(0.9, 1.6)
        try:
            belt = belt_length_mm(
                [
                    (w.x_mm, w.y_mm, w.diameter_mm / 2 + (cord if w.face == "ribbed" else back), s)
                    for w in wheels
                    for s in [1 if w.face == "ribbed" else -1]
                ]
            )
            break
        except ValueError:
            continue
    character = str(rng.choice(CHARACTERS, p=[0.2, 0.22, 0.16, 0.16, 0.13, 0.13]))
    cylinders = int(rng.choice([2, 3, 4, 5, 6, 8], p=[0.02, 0.2, 0.53, 0.04, 0.16, 0.05]))
    fires = 2.0 * np.arange(cylinders) / cylinders
    if cylinders == 2 and rng.random() < 0.5:
        fires[1] = rng.choice([0.75, 1.25])  # a quarter turn from even
    spread = rng.uniform(0.12, 0.35) if character == "rough" else rng.uniform(0.02, 0.15)
    strength = np.maximum(rng.normal(1.0, spread, cylinders), 0.15)
    chain = needed == "timing-chain" or rng.random() < 0.6
    return Car(
        character,
        float(rng.uniform(600, 850) if cylinders > 4 else rng.uniform(650, 1000)),
        tuple(float(turns) for turns in fires),
        tuple(float(share) for share in strength / strength.mean()),
        float(rng.uniform(0.12, 0.35) if character == "rough" else rng.uniform(0.03, 0.15)),
        float(rng.uniform(0.002, 0.02) * (1.5 if character == "rough" else 1.0)),
        wheels,
        float(cord),
        float(back),
        belt,
        int(rng.integers(4, 9)),
        float(rng.uniform(0.0, 0.008)),
        int(rng.integers(17, 27)) if chain else None,
    )


def _draw_wheels(rng: np.random.Generator, parts: list[str]) -> tuple[Wheel, ...]:
    """Ribbed pulleys clockwise around a middle above the crank, the flat ones on spans between."""
    flat = [
        part
        for part in parts
        if (part == "tensioner" and rng.random() < 0.8)
        or (part.startswith("idler") and rng.random() < 0.5)
        or (part == "coolant-pump" and rng.random() < 0.12)
    ]
    ribbed = [part for part in parts if part not in flat]
    rng.shuffle(ribbed)
    flat = flat[: len(ribbed) + 1]
    ribbed += [part for part in parts if part not in flat and part not in ribbed]
    size = {part: float(rng.uniform(*_SIZES[part])) for part in ["crank", *parts]}
    middle = rng.uniform(170, 260)
    angles = -np.pi / 2 - 2 * np.pi * (np.arange(len(ribbed) + 1) / (len(ribbed) + 1))
    spots = {}
    for part, angle in zip(["crank", *ribbed], angles, strict=True):
        turn = angle + rng.normal(0.0, 0.08) * (part != "crank")
        far = middle * (rng.uniform(0.85, 1.2) if part != "crank" else 1.0)
        spots[part] = (far * np.cos(turn) * 0.9, middle + far * np.sin(turn))
    ring = [(part, "ribbed") for part in ["crank", *ribbed]]
    gaps = dict(zip(flat, rng.permutation(len(ring))[: len(flat)], strict=True))
    for part, gap in gaps.items():
        (ax, ay), (bx, by) = spots[ring[gap][0]], spots[ring[(gap + 1) % len(ring)][0]]
        outward = np.array([-(by - ay), bx - ax]) / np.hypot(bx - ax, by - ay)
        # A straight belt would run further out, by half of a ribbed pulley: it is pressed in.
        out = size[part] / 2 + rng.uniform(0.0, 25.0)
        spots[part] = tuple(np.array([(ax + bx) / 2, (ay + by) / 2]) + outward * out)
    order = []
    for gap, (part, face) in enumerate(ring):
        order.append((part, face))
        order += [(other, "back") for other in flat if gaps[other] == gap]
    return tuple(
        Wheel(
            part,
            size[part],
            face,
            float(spots[part][0]),
            float(spots[part][1]),
            poles=int(rng.choice([12, 14, 16])) if part == "alternator" else None,
            vanes={"coolant-pump": int(rng.integers(5, 9)), "steering-pump": 10}.get(part),
            blades=int(rng.integers(5, 12)) if part == "fan" else None,
            bearing=BEARINGS[rng.integers(len(BEARINGS))],
        )
        for part, face in order
    )


def draw_motion(
    rng: np.random.Generator,
    car: Car,
    seconds: float,
    rate_hz: int,
    raised: float = 1.0,
    belt_on: bool = True,
    loads: tuple[str, ...] = (),
    cold: bool = False,
) -> tuple[Motion, Array, Array]:
    """A take's turning, and its true speed every 0.1 s (times [s], rpm) without the cycle's swing.

    `raised` is the speed over idle.
    """
    time = np.arange(0.0, seconds + 0.3, GRID_S)
    knots = np.arange(0.0, seconds + 1.5, rng.uniform(0.25, 1.2))
    sway = np.interp(time, knots, np.cumsum(rng.normal(0, 0.5, knots.size)) * 0.3)
    sway += np.interp(time, knots, rng.normal(0.0, 1.0, knots.size))
    speed = raised * (1.0 + car.wander * (sway - sway.mean()))
    if rng.random() < 0.15:  # an idle that hunts
        hunting = np.sin(2 * np.pi * rng.uniform(0.2, 0.8) * time + rng.uniform(0, 6))
        speed += rng.uniform(0.005, 0.03) * hunting
    if raised > 1.0 and rng.random() < 0.5:  # the foot comes down during the take
        start, length = rng.uniform(0.0, 0.3) * seconds, rng.uniform(0.4, 2.5)
        speed = 1.0 + (speed - 1.0) * np.clip((time - start) / length, 0.0, 1.0)
    speed += sum(rng.uniform(-0.04, 0.06) for _ in loads) + (0.15 if cold else 0.0)
    speed = np.maximum(speed, 0.5)
    turns = np.cumsum(speed) * (car.idle_rpm / 60.0 * GRID_S)
    turns -= turns[0]
    truth_time = np.arange(0.0, seconds, 0.1)
    truth_rpm = np.interp(truth_time, time, speed) * car.idle_rpm
    # The swing within a cycle: each firing pushes, strongest at idle.
    order = len(car.fires) / 2.0
    swing = rng.uniform(0.002, 0.03) / order / raised**2
    turns = turns + swing / (2 * np.pi) * np.sin(2 * np.pi * order * turns)
    samples = int(seconds * rate_hz)
    at = np.arange(samples) / rate_hz
    motion = Motion(
        rate_hz,
        samples,
        turns,
        np.interp(at, time, turns),
        np.interp(at, time, speed).astype(np.float32),
        belt_on,
        loads,
        cold,
    )
    return motion, truth_time, truth_rpm


def measured_sheet(rng: np.random.Generator, car: Car) -> DriveSheet:
    """The sheet as somebody with a tape and little patience filled it in."""
    slip = rng.uniform(0.004, 0.012)
    geometry, counts, places = (rng.random() < odds for odds in (0.5, 0.6, 0.5))
    pulleys = []
    for wheel in car.wheels:
        off = float(np.clip(rng.normal(0.0, slip), -0.03, 0.03))
        pulleys.append(
            Pulley(
                wheel.part,
                round(wheel.diameter_mm * (1.0 + off), 1),
                wheel.face,
                x_mm=float(round(wheel.x_mm + rng.normal(0.0, 2.0))) if places else None,
                y_mm=float(round(wheel.y_mm + rng.normal(0.0, 2.0))) if places else None,
                poles=wheel.poles if counts and rng.random() < 0.9 else None,
                vanes=wheel.vanes if counts and rng.random() < 0.8 else None,
                fan_blades=wheel.blades if counts else None,
                bearing=wheel.bearing if geometry and rng.random() < 0.8 else None,
            )
        )
    length = car.belt_mm - 2 * np.pi * car.cord_mm + rng.normal(0.0, 3.0)
    return DriveSheet(
        Engine(
            len(car.fires),
            idle_rpm=10.0 * round(car.idle_rpm * rng.normal(1.0, 0.02) / 10)
            if _half(rng)
            else None,
            crank_sprocket_teeth=car.sprocket_teeth if counts and _half(rng) else None,
        ),
        Belt(
            ribs=car.ribs if _half(rng) else None,
            length_mm=float(round(length)) if _half(rng) else None,
        ),
        tuple(pulleys),
        "bystander's engine",
    )


def _half(rng: np.random.Generator) -> bool:
    return bool(rng.random() < 0.5)
