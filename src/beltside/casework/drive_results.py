"""What `drive` hands back, and its JSON."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from beltside.base.provenance import Provenance


def rounded(value: float | None, digits: int = 3) -> float | None:
    """A finite number rounded, None for none."""
    if value is None or not math.isfinite(value):
        return None
    return round(value, digits)


def provenance_json(provenance: Provenance) -> dict[str, Any]:
    """Plain dict of where a result came from."""
    return {
        "method": provenance.method,
        "version": provenance.version,
        "inputs": dict(provenance.inputs),
        "valid_range": provenance.valid_range,
        "source": provenance.source,
        "warnings": list(provenance.warnings),
    }


@dataclass(frozen=True)
class DrivePulley:
    """One pulley; what needs positions or a tension is None without them.

    `turns` is "clockwise" or "anticlockwise" seen from the front; `slip_margin` says how many
    times its pull the pulley could take before it slips.
    """

    part: str
    face: str
    x_mm: float | None
    y_mm: float | None
    diameter_mm: float
    running_diameter_mm: float
    ratio: float
    rpm: float
    turns: str | None = None
    wrap_deg: float | None = None
    arrives: tuple[float, float] | None = None
    leaves: tuple[float, float] | None = None
    torque_nm: float | None = None
    torque_from: str = ""
    slip_margin: float | None = None
    tension_ratio: float | None = None
    tension_ratio_limit: float | None = None
    slips_below_n: float | None = None

    def to_json(self) -> dict[str, Any]:
        """Plain dict."""
        return {
            "part": self.part,
            "face": self.face,
            "x_mm": rounded(self.x_mm),
            "y_mm": rounded(self.y_mm),
            "diameter_mm": rounded(self.diameter_mm),
            "running_diameter_mm": rounded(self.running_diameter_mm),
            "ratio": rounded(self.ratio, 5),
            "rpm": rounded(self.rpm, 1),
            "turns": self.turns,
            "wrap_deg": rounded(self.wrap_deg, 2),
            "torque_nm": rounded(self.torque_nm),
            "torque_from": self.torque_from,
            "slip_margin": rounded(self.slip_margin),
            "tension_ratio": rounded(self.tension_ratio),
            "tension_ratio_limit": rounded(self.tension_ratio_limit),
            "slips_below_n": rounded(self.slips_below_n, 1),
        }


@dataclass(frozen=True)
class DriveSpan:
    """One free span, along the belt's travel; `strum_hz` is its note when the belt stands."""

    from_part: str
    to_part: str
    length_mm: float
    start: tuple[float, float]
    end: tuple[float, float]
    strum_hz: float | None = None
    tension_n: float | None = None

    def to_json(self) -> dict[str, Any]:
        """Plain dict."""
        return {
            "from": self.from_part,
            "to": self.to_part,
            "length_mm": rounded(self.length_mm),
            "strum_hz": rounded(self.strum_hz, 2),
            "running_tension_n": rounded(self.tension_n, 1),
        }


@dataclass(frozen=True)
class SlipCase:
    """How the drive holds under one condition: "as it is", "misted", "glazed", "everything on"."""

    name: str
    first: str
    slips_below_n: float
    margins: Mapping[str, float | None]

    def to_json(self) -> dict[str, Any]:
        """Plain dict."""
        return {
            "name": self.name,
            "first": self.first,
            "slips_below_n": rounded(self.slips_below_n, 1),
            "margins": {part: rounded(margin) for part, margin in self.margins.items()},
        }


@dataclass(frozen=True)
class BeltFit:
    """A belt length on this drive: where the tensioner stands with it, and what is left."""

    length_mm: float
    way: float
    left: float
    reserve_mm: float
    x_mm: float
    y_mm: float

    def to_json(self) -> dict[str, Any]:
        """Plain dict."""
        return {
            "length_mm": rounded(self.length_mm, 1),
            "way": rounded(self.way, 2),
            "left": rounded(self.left, 2),
            "reserve_mm": rounded(self.reserve_mm, 2),
            "x_mm": rounded(self.x_mm, 2),
            "y_mm": rounded(self.y_mm, 2),
        }


@dataclass(frozen=True)
class TensionerReport:
    """What the tensioner can do from where it stands; its way counts positive for tighter."""

    part: str
    unit: str
    takes_up: float
    lets_out: float
    stops_known: bool
    shortest_mm: float
    longest_mm: float
    reserve_mm: float
    per_step_mm: float
    gained_mm: float | None = None
    fits: tuple[BeltFit, ...] = ()
    fits_from: str = ""
    asked: BeltFit | None = None

    def to_json(self) -> dict[str, Any]:
        """Plain dict."""
        return {
            "part": self.part,
            "unit": self.unit,
            "takes_up": rounded(self.takes_up, 2),
            "lets_out": rounded(self.lets_out, 2),
            "stops_known": self.stops_known,
            "shortest_mm": rounded(self.shortest_mm, 2),
            "longest_mm": rounded(self.longest_mm, 2),
            "reserve_mm": rounded(self.reserve_mm, 2),
            "per_step_mm": rounded(self.per_step_mm, 4),
            "gained_mm": rounded(self.gained_mm, 2),
            "fits": [fit.to_json() for fit in self.fits],
            "fits_from": self.fits_from,
            "asked": self.asked.to_json() if self.asked else None,
        }


@dataclass(frozen=True)
class AlignedSpan:
    """How the belt enters one pulley."""

    from_part: str
    to_part: str
    past: tuple[str, ...]
    run_mm: float
    offset_mm: float
    angle_deg: float
    error_deg: float
    verdict: str
    sure: bool

    def to_json(self) -> dict[str, Any]:
        """Plain dict."""
        return {
            "from": self.from_part,
            "to": self.to_part,
            "past": list(self.past),
            "run_mm": rounded(self.run_mm, 1),
            "offset_mm": rounded(self.offset_mm, 2),
            "angle_deg": rounded(self.angle_deg),
            "error_deg": rounded(self.error_deg),
            "verdict": self.verdict,
            "sure": self.sure,
        }


@dataclass(frozen=True)
class DriveResult:
    """The belt drive of one sheet.

    Attributes
    ----------
    belt_length_mm, belt_length_error_mm
        Effective length of the path and its 90 % error [mm]; None without positions.
    original_length_mm
        The same before pulleys were bypassed or changed [mm]; None when nothing was changed.
    marked_length_mm
        Length the sheet gives for the belt [mm].
    tension_n, tension_from
        Tension of the standing belt [N] and where it is from; None when it is not known.
    """

    name: str
    changed: tuple[str, ...]
    belt_length_mm: float | None
    belt_length_error_mm: float | None
    pitch_length_mm: float | None
    original_length_mm: float | None
    marked_length_mm: float | None
    pitch_line_mm: float
    back_line_mm: float
    ribs: int | None
    crank_rpm: float
    load: str
    tension_n: float | None
    tension_from: str
    pulleys: tuple[DrivePulley, ...]
    spans: tuple[DriveSpan, ...] = ()
    belt_speed_m_s: float | None = None
    centrifugal_n: float | None = None
    slip: tuple[SlipCase, ...] = ()
    tensioner: TensionerReport | None = None
    alignment: tuple[AlignedSpan, ...] = ()
    warnings: tuple[str, ...] = ()
    provenance: Provenance = field(default_factory=lambda: Provenance("beltside.drive", 1))

    def to_json(self) -> dict[str, Any]:
        """Plain dict with the keys of docs/usage/drive.md."""
        return {
            "name": self.name,
            "changed": list(self.changed),
            "belt_length_mm": rounded(self.belt_length_mm),
            "belt_length_error_mm": rounded(self.belt_length_error_mm, 1),
            "pitch_length_mm": rounded(self.pitch_length_mm),
            "original_length_mm": rounded(self.original_length_mm),
            "marked_length_mm": rounded(self.marked_length_mm),
            "pitch_line_mm": rounded(self.pitch_line_mm),
            "back_line_mm": rounded(self.back_line_mm),
            "crank_rpm": rounded(self.crank_rpm, 1),
            "load": self.load,
            "tension_n": rounded(self.tension_n, 1),
            "tension_from": self.tension_from,
            "belt_speed_m_s": rounded(self.belt_speed_m_s),
            "centrifugal_n": rounded(self.centrifugal_n, 2),
            "pulleys": [pulley.to_json() for pulley in self.pulleys],
            "spans": [span.to_json() for span in self.spans],
            "slip": [case.to_json() for case in self.slip],
            "tensioner": self.tensioner.to_json() if self.tensioner else None,
            "alignment": [span.to_json() for span in self.alignment],
            "warnings": list(self.warnings),
            "provenance": provenance_json(self.provenance),
        }
