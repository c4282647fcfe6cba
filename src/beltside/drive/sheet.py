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
    """What the crank speed estimate needs to know of the engine.

    `crank_turns` is "clockwise" or "anticlockwise" seen from the front, None when not given.
    """

    cylinders: int
    strokes: int = 4
    idle_rpm: float | None = None
    crank_sprocket_teeth: int | None = None
    crank_turns: str | None = None


@dataclass(frozen=True)
class Belt:
    """The belt.

    Attributes
    ----------
    profile, ribs
        "PK" and how many ribs, when known.
    length_mm
        Effective length [mm] when known.
    pitch_line_mm
        Cords outside the effective diameter of a ribbed pulley [mm], when known better than by
        the standard's nominal value.
    back_line_mm
        Cords outside the flat of a back-side pulley [mm], when known.
    mass_g_per_m
        Mass of a metre of belt [g/m], when weighed.
    tension_n
        Tension of the standing belt [N], from a strum or a gauge, when known.
    length_error
        Share by which `length_mm` may be off, when it is known better than by common practice.
    """

    profile: str = "PK"
    ribs: int | None = None
    length_mm: float | None = None
    pitch_line_mm: float | None = None
    back_line_mm: float | None = None
    mass_g_per_m: float | None = None
    tension_n: float | None = None
    length_error: float | None = None


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
    torque_nm
        Torque it takes from the belt [N m], when known.
    offset_mm
        How far it stands forward of the straight-edge's plane [mm], negative for behind.
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
    torque_nm: float | None = None
    offset_mm: float | None = None


@dataclass(frozen=True)
class Tensioner:
    """How the belt is tightened: a pulley on an arm that swings, or one that slides.

    Attributes
    ----------
    part
        The pulley that moves.
    pivot_x_mm, pivot_y_mm
        Where the arm pivots [mm], for one that swings.
    slide_deg
        Along which line it slides, from right turning anticlockwise [degrees], for one that slides.
    takes_up, lets_out
        How far it can still go from where it stands, tighter and looser: degrees of the arm for
        one that swings, mm for one that slides; None when not measured.
    spring
        Whether a spring keeps the tension; False for one that is bolted fast.
    arm_torque_nm
        Torque of the spring on the arm where it stands [N m], when measured.
    """

    part: str = "tensioner"
    pivot_x_mm: float | None = None
    pivot_y_mm: float | None = None
    slide_deg: float | None = None
    takes_up: float | None = None
    lets_out: float | None = None
    spring: bool = True
    arm_torque_nm: float | None = None


@dataclass(frozen=True)
class DriveSheet:
    """Pulleys and belt of one engine, in the order the belt meets them."""

    engine: Engine
    belt: Belt
    pulleys: tuple[Pulley, ...]
    name: str = ""
    tensioner: Tensioner | None = None

    def pulley(self, part: str) -> Pulley:
        """The pulley of that part; KeyError when the drive has none."""
        for pulley in self.pulleys:
            if pulley.part == part:
                return pulley
        raise KeyError(part)
