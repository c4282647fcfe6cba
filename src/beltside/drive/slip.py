"""Which pulley lets the belt slip first, and by how much the others still hold.

Euler-Eytelwein with the wedge of the ribs and the belt's own centrifugal pull:

    (T1 - m v^2) / (T2 - m v^2) <= exp(f theta)

T1 and T2 are the tensions on the two sides of a pulley, theta its wrap; f is the friction of
rubber on the pulley, on the ribbed side raised to f / sin(half the rib angle) by the wedge
(R. G. Budynas and J. K. Nisbett, Shigley's Mechanical Engineering Design, 10th ed., 2015,
chapter 17; the wedge as for V-belts there). Method: docs/methods/belt-slip.md.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final

from beltside.base.errors import InputError, require_range
from beltside.base.units import rpm_to_hz
from beltside.drive.path import BeltPath

RIB_ANGLE_DEG: Final = 40.0
"""Angle between the flanks of a PK rib (ISO 9981, from memory)."""

FRICTION: Final = 0.35
"""Rubber on a clean dry pulley (common practice, no source)."""

SURFACES: Final[Mapping[str, float]] = {"dry": 1.0, "misted": 0.5, "glazed": 0.65}
"""What is left of the friction: dry and clean, under a water mist, on a glazed belt (common
practice, no source)."""


@dataclass(frozen=True)
class Grip:
    """Friction between belt and pulleys.

    Attributes
    ----------
    ribbed, back
        Friction of rubber on the ribbed pulleys' flanks, and of the belt's back on a flat; 0.01
        to 2.
    rib_angle_deg
        Angle between the flanks of a rib, 20 to 90 [degrees].
    """

    ribbed: float = FRICTION
    back: float = FRICTION
    rib_angle_deg: float = RIB_ANGLE_DEG

    def __post_init__(self) -> None:
        require_range("friction on the ribs", self.ribbed, 0.01, 2.0, "")
        require_range("friction on the back", self.back, 0.01, 2.0, "")
        require_range("rib angle", self.rib_angle_deg, 20.0, 90.0, "degrees")

    def of_face(self, face: str) -> float:
        """Friction that counts along the wrap, the wedge included.

        >>> round(Grip(ribbed=0.35).of_face("ribbed"), 3)
        1.023
        """
        if face == "back":
            return self.back
        return self.ribbed / math.sin(math.radians(0.5 * self.rib_angle_deg))

    def times(self, share: float) -> Grip:
        """The same with all friction at a share of it."""
        return replace(self, ribbed=self.ribbed * share, back=self.back * share)


@dataclass(frozen=True)
class PulleyGrip:
    """How one pulley holds.

    Attributes
    ----------
    part
        The pulley.
    torque_nm
        Torque on its shaft [N m].
    pull_n
        Difference of the tensions on its two sides [N].
    most_ratio
        Ratio of tensions, less the centrifugal part, at which it would slip.
    margin
        How many times its pull it could take before it slips, its slack side held; 0 when the
        belt hangs slack there, None without a tension.
    tension_ratio
        Ratio of the tensions as they are, less the centrifugal part; None without a tension or
        with a slack belt.
    slips_below_n
        Tension of the standing belt below which it slips [N].
    """

    part: str
    torque_nm: float
    pull_n: float
    most_ratio: float
    margin: float | None
    tension_ratio: float | None
    slips_below_n: float


@dataclass(frozen=True)
class Slip:
    """Span tensions and how every pulley holds.

    Attributes
    ----------
    pulleys
        In the order of the path.
    span_tensions_n
        Tension of each span of the path, running [N]; None without a tension.
    belt_speed_m_s
        Speed of the belt [m/s].
    centrifugal_n
        m v^2 [N].
    first
        The pulley that lets go first.
    slips_below_n
        Tension of the standing belt below which it does [N].
    """

    pulleys: tuple[PulleyGrip, ...]
    span_tensions_n: tuple[float, ...] | None
    belt_speed_m_s: float
    centrifugal_n: float
    first: str
    slips_below_n: float


def slip(
    path: BeltPath,
    torques_nm: Mapping[str, float],
    *,
    crank_rpm: float,
    mass_kg_m: float,
    tension_n: float | None = None,
    spring_at: str | None = None,
    grip: Grip | None = None,
) -> Slip:
    """How every pulley of a drive holds at a speed.

    Parameters
    ----------
    path
        From `belt_path`; its pulleys stand in the order of the belt's travel.
    torques_nm
        Torque each pulley takes from the belt [N m], 0 or more; those left out take none. The
        crank gives what they take together.
    crank_rpm
        Crank speed, 0 to 8000 [1/min].
    mass_kg_m
        Belt mass [kg/m].
    tension_n
        Tension of the standing belt [N], 10 to 5000; None when it is not known: then only the
        least tensions are given.
    spring_at
        The spring tensioner's pulley: the spring holds the mean tension at it, less the
        centrifugal part, at its standing value. None for a drive that is bolted fast: then the
        belt's length holds the mean tension over all spans.
    grip
        Friction; dry defaults when left out.

    Raises
    ------
    InputError
        When a pulley is not of the drive, or a figure is out of range.
    """
    grip = grip or Grip()
    require_range("crank speed", crank_rpm, 0.0, 8000.0, "rpm")
    require_range("belt mass", mass_kg_m, 0.01, 1.0, "kg/m")
    if tension_n is not None:
        require_range("belt tension", tension_n, 10.0, 5000.0, "N")
    parts = [pulley.part for pulley in path.pulleys]
    for part, torque in torques_nm.items():
        if part not in parts or part == "crank":
            raise InputError(
                f"a torque for {part}", allowed=", ".join(p for p in parts if p != "crank")
            )
        require_range(f"torque of {part}", torque, 0.0, 300.0, "N m")
    radius_m = [0.5 * pulley.running_diameter_mm / 1000.0 for pulley in path.pulleys]
    pull = [
        torques_nm.get(part, 0.0) / radius for part, radius in zip(parts, radius_m, strict=True)
    ]
    crank = parts.index("crank")
    pull[crank] = -math.fsum(pull)
    speed = 2.0 * math.pi * rpm_to_hz(crank_rpm) * radius_m[crank]
    centrifugal = mass_kg_m * speed * speed
    above = _above_standing(path, pull, centrifugal, spring_at)
    pulleys = []
    for place, pulley in enumerate(path.pulleys):
        slack = min(above[place - 1], above[place])
        most = math.exp(grip.of_face(pulley.face) * math.radians(pulley.wrap_deg))
        size = abs(pull[place])
        held = None if tension_n is None else tension_n + slack
        pulleys.append(
            PulleyGrip(
                part=pulley.part,
                torque_nm=size * radius_m[place],
                pull_n=size,
                most_ratio=most,
                margin=_margin(held, size, most),
                tension_ratio=None if held is None or held <= 0.0 else (held + size) / held,
                slips_below_n=max(_least(size, most) - slack, 0.0),
            )
        )
    first = max(pulleys, key=lambda one: one.slips_below_n)
    margins = [one for one in pulleys if one.margin is not None]
    if margins:
        first = min(margins, key=lambda one: one.margin or 0.0)
    return Slip(
        pulleys=tuple(pulleys),
        span_tensions_n=None
        if tension_n is None
        else tuple(tension_n + one + centrifugal for one in above),
        belt_speed_m_s=speed,
        centrifugal_n=centrifugal,
        first=first.part,
        slips_below_n=max(one.slips_below_n for one in pulleys),
    )


_NO_LIMIT: Final = 1e6
"""A pulley that takes no torque never slips; a large figure, so that results stay finite."""


def _margin(held: float | None, pull: float, most: float) -> float | None:
    if held is None:
        return None
    if held <= 0.0:
        return 0.0
    return min(held * (most - 1.0) / pull, _NO_LIMIT) if pull > 0.0 else _NO_LIMIT


def _least(pull: float, most: float) -> float:
    """Least slack-side tension that holds a pull [N]."""
    return pull / (most - 1.0) if pull > 0.0 else 0.0


def _above_standing(
    path: BeltPath, pull: list[float], centrifugal: float, spring_at: str | None
) -> list[float]:
    """Gripping tension (less the centrifugal part) of each span over the standing tension [N]."""
    parts = [pulley.part for pulley in path.pulleys]
    # A driven pulley holds the belt back: behind it, towards the crank, the belt is tighter.
    rising, level = [], 0.0
    for place in range(len(parts)):
        level += pull[place]
        rising.append(level)
    if spring_at is not None:
        if spring_at not in parts:
            raise InputError(f"a spring at {spring_at}", allowed=", ".join(parts))
        at = parts.index(spring_at)
        mean = 0.5 * (rising[at - 1] + rising[at])
    else:
        lengths = [span.length_mm for span in path.spans]
        mean = math.fsum(
            one * length for one, length in zip(rising, lengths, strict=True)
        ) / math.fsum(lengths)
        # The belt's length is fixed, so its whole tension keeps its mean and the grip loses m v^2.
        mean += centrifugal
    return [one - mean for one in rising]
