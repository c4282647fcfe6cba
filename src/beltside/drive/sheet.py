"""The drive sheet as plain frozen values: engine, belt, pulleys and their bearings."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Bearing:
    """A ball bearing's geometry.

    Attributes
    ----------
    balls
        Number of balls in one row.
    ball_mm
        Ball diameter [mm].
    pitch_mm
        Pitch circle diameter through the ball centres [mm].
    contact_deg
        Contact angle [degrees].
    number
        Catalogue number such as "6203", when the geometry came from the table.
    """

    balls: int
    ball_mm: float
    pitch_mm: float
    contact_deg: float = 0.0
    number: str | None = None


@dataclass(frozen=True)
class Engine:
    """What the crank speed estimate needs to know of the engine."""

    cylinders: int
    strokes: int = 4
    idle_rpm: float | None = None
    crank_sprocket_teeth: int | None = None


@dataclass(frozen=True)
class Belt:
    """The belt; `length_mm` is its effective length [mm] when known."""

    profile: str = "PK"
    ribs: int | None = None
    length_mm: float | None = None


@dataclass(frozen=True)
class Pulley:
    """One pulley as measured.

    Attributes
    ----------
    part
        A pulley part of `base.words`, numbered when there are several ("idler-2").
    diameter_mm
        Over the ribs, or over the flat for a back-side pulley [mm].
    face
        "ribbed" when the belt's ribs run on it, "back" when its back does.
    x_mm, y_mm
        Centre seen from the front of the engine, right and up positive, crank at 0, 0 [mm].
    poles, vanes, fan_blades
        Counts of what passes by per turn, when known.
    bearing
        Geometry of its bearing, when known.
    """

    part: str
    diameter_mm: float
    face: str = "ribbed"
    x_mm: float | None = None
    y_mm: float | None = None
    poles: int | None = None
    vanes: int | None = None
    fan_blades: int | None = None
    bearing: Bearing | None = None


@dataclass(frozen=True)
class DriveSheet:
    """Pulleys and belt of one engine, in the order the belt meets them."""

    engine: Engine
    belt: Belt
    pulleys: tuple[Pulley, ...]
    name: str = ""

    def pulley(self, part: str) -> Pulley:
        """The pulley of that part; KeyError when the drive has none."""
        for pulley in self.pulleys:
            if pulley.part == part:
                return pulley
        raise KeyError(part)
