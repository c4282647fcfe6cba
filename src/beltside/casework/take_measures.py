"""What one take says, as a few numbers: of the take as a whole and of every pulley in it.

Every measure is free of the recording's level and about -2 to 4 in size; 0 stands for "says
nothing". docs/methods/odds.md explains each.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from beltside.base.units import power_to_db
from beltside.casework.families import (
    BEARING_SOURCES,
    COUNT_SOURCES,
    EngineLines,
    Found,
    Surprises,
    engine_lines,
    looked_for,
)
from beltside.casework.fault_band import spectrum_peak
from beltside.casework.sway import sways
from beltside.drive.expected import firing_order
from beltside.drive.sheet import DriveSheet
from beltside.sound.hearing import Hearing

Float64 = npt.NDArray[np.float64]

ZONES_HZ: Final = ((400.0, 1200.0), (1200.0, 4000.0), (4000.0, 18000.0))
"""Low, middle and high zone of the sound [Hz]: growl and knock, most bearing resonances,
hiss and tick. Own choice."""

ZONE_NAMES: Final = ("low", "mid", "high")

SPROCKET_TEETH: Final = tuple(range(16, 33))
"""Teeth tried when the crank's sprocket is not on the sheet; common practice, no source."""

REFERENCE_ORDERS: Final = (2.0, 12.0)
"""Engine lines between these orders carry the level that a repair at the belt does not change."""

BEAT_ORDERS: Final = tuple(0.5 * number for number in range(1, 13))
BEAT_FIRINGS: Final = (0.5, 1.0, 2.0, 3.0)
BEAT_NAMES: Final = (
    *(f"{order:g}" for order in BEAT_ORDERS),
    *(f"{times:g}x" for times in BEAT_FIRINGS),
)
"""Orders at which each zone's loudness may beat with the engine: of the crank, and times the
firing, which sits at another order with every number of cylinders."""

PART_MEASURES: Final = (
    "bearing",
    "bearing_depth",
    "shaft_beat",
    "shaft_beat_depth",
    "shaft_tone",
    "count_tone",
    "count_height",
    "count_level",
)
"""Measures of one pulley part in one take."""


@dataclass(frozen=True)
class TakeMeasures:
    """One take in numbers.

    Attributes
    ----------
    parts
        PART_MEASURES of each pulley part, each shape (len(PART_MEASURES),).
    values
        Named measures of the take as a whole.
    zone_db
        Level of each zone over the engine's own lines [dB], shape (3,); nan without a crank.
    zone_share_db
        Level of each zone over the whole [dB], shape (3,).
    found
        The families behind it.
    surprises
        The spectra behind it, None without a crank.
    reference_db
        Level of the engine's own lines [dB], None without a crank.
    rhythm
        Depth sizes of each band by kind of rhythm, each shape (bands,); empty without a crank.
    beats
        Depth sizes of each zone at each of BEAT_NAMES, shape (3, len(BEAT_NAMES)); 0 without a
        crank.
    sway
        `sway.SWAY`, shape (len(SWAY),).
    """

    parts: dict[str, Float64]
    values: dict[str, float]
    zone_db: Float64
    zone_share_db: Float64
    found: list[Found]
    surprises: Surprises | None
    reference_db: float | None
    rhythm: dict[str, Float64]
    beats: Float64
    sway: Float64


def take_measures(hearing: Hearing, sheet: DriveSheet) -> TakeMeasures:
    """Measure one take."""
    zones = _zones(hearing)
    zone_power = np.array([hearing.band_power[zone].sum() if zone.any() else 0.0 for zone in zones])
    share_db = power_to_db(zone_power / max(float(hearing.band_power.sum()), 1e-30), 1e-6)
    values = {
        "squeal": _squeal(hearing),
        "steady_high": _steadiness(hearing, zones[2]),
        "peak": spectrum_peak(hearing.spectrum),
    }
    for name, zone in zip(ZONE_NAMES, zones, strict=True):
        burst = float(np.median(hearing.band_kurtosis[zone])) if zone.any() else 0.0
        values[f"burst_{name}"] = float(np.clip(np.log1p(max(burst, 0.0)), 0.0, 4.0))
    sway = sways(hearing.picture)
    looked = looked_for(hearing, sheet)
    if looked is None or hearing.orders is None:
        nothing = np.zeros((len(ZONE_NAMES), len(BEAT_NAMES)))
        return TakeMeasures(
            {}, values, np.full(3, np.nan), share_db, [], None, None, {}, nothing, sway
        )
    heard, found = looked
    own = engine_lines(heard, sheet)
    reference = reference_power(own)
    rhythm = _band_rhythms(hearing, sheet)
    values |= _rhythms(hearing, rhythm, zones)
    teeth, firings = sheet.engine.crank_sprocket_teeth, firing_order(sheet)
    if teeth is not None:
        values["mesh"] = _mesh_size(_mesh(own.order, own.power, (teeth,), firings))
    values["mesh_any"] = _mesh_size(_mesh(own.order, own.power, SPROCKET_TEETH, firings) - 4.0)
    belt = [one for one in found if one.source == "belt passing" and one.spectrum == "envelope"]
    values["belt_beat"] = max((_sureness(one) for one in belt), default=0.0)
    values["belt_beat_depth"] = max((_depth(one) for one in belt), default=0.0)
    parts = {
        pulley.part: part_measures(pulley.part, found, reference)
        for pulley in sheet.pulleys
        if pulley.part != "crank"
    }
    sizes = {
        kind: np.array([_depth_size(float(one)) for one in row]) for kind, row in rhythm.items()
    }
    return TakeMeasures(
        parts,
        values,
        power_to_db(zone_power / reference, 1e-6),
        share_db,
        found,
        heard,
        float(power_to_db(reference)),
        sizes,
        _beats(hearing, sheet, zones),
        sway,
    )


def zone_change(one: TakeMeasures, other: TakeMeasures) -> Float64:
    """How much louder each zone is in `one` than in `other` against the engine's own lines [dB],
    shape (3,); against the whole sound where a crank speed is missing."""
    change = one.zone_db - other.zone_db
    if not np.isfinite(change).all():
        change = one.zone_share_db - other.zone_share_db
    return change


def reference_power(own: EngineLines) -> float:
    """Power of the engine's own lines that carry the level."""
    inside = (own.order >= REFERENCE_ORDERS[0]) & (own.order <= REFERENCE_ORDERS[1])
    return max(float(own.power[inside].sum()), 1e-30)


def _zones(hearing: Hearing) -> list[npt.NDArray[np.bool_]]:
    centre = np.array([band.centre_hz for band in hearing.bands])
    return [(centre >= low) & (centre < high) for low, high in ZONES_HZ]


def _squeal(hearing: Hearing) -> float:
    """Share of the take that squeals, weighted by how far the squeal stands out."""
    loud = sum(
        (one.end_s - one.start_s) * min(max(one.prominence_db - 12.0, 0.0) / 10.0, 2.0)
        for one in hearing.squeals
        if one.follows < 0.5
    )
    return float(np.clip(4.0 * loud / max(hearing.seconds, 1.0), 0.0, 3.0))


def _steadiness(hearing: Hearing, zone: npt.NDArray[np.bool_]) -> float:
    """Level the high zone never falls below, against its mean [dB / 3]: 0 is perfectly steady."""
    if not zone.any():
        return 0.0
    mean = float(hearing.band_power[zone].sum())
    quiet = float(hearing.band_quiet[zone].sum())
    return float(np.clip(power_to_db(quiet / max(mean, 1e-30), 1e-3) / 3.0, -3.0, 0.0))


def _band_rhythms(hearing: Hearing, sheet: DriveSheet) -> dict[str, Float64]:
    """Modulation power of each band with the cycle, the turn and the firing, shape (bands,)."""
    assert hearing.orders is not None
    spectrum = hearing.orders.envelope
    cycle = 0.5 if sheet.engine.strokes == 4 else 1.0
    top = min(spectrum.order[-1], 12.0)
    number = np.arange(1, int(top / cycle) + 1)
    place = np.rint(number * cycle / spectrum.step).astype(np.intp)
    per_firing = number * cycle / (sheet.engine.cylinders * 2.0 / sheet.engine.strokes)
    fires = np.abs(per_firing - np.round(per_firing)) < 1e-6
    whole = (np.abs(number * cycle - np.round(number * cycle)) < 1e-6) & ~fires
    kinds = {"cycle": ~fires & ~whole, "turn": whole, "firing": fires}
    return {
        kind: np.asarray(spectrum.power[:, place[which]].sum(axis=1), dtype=np.float64)
        for kind, which in kinds.items()
    }


def _rhythms(
    hearing: Hearing, rhythm: dict[str, Float64], zones: list[npt.NDArray[np.bool_]]
) -> dict[str, float]:
    """How deep each zone's loudness beats with the cycle, the turn and the firing."""
    values = {}
    for name, zone in zip(ZONE_NAMES, zones, strict=True):
        weight = hearing.band_power * zone / max(float(hearing.band_power[zone].sum()), 1e-30)
        for kind, row in rhythm.items():
            values[f"{kind}_{name}"] = _depth_size(float(weight @ row))
    return values


def _beats(hearing: Hearing, sheet: DriveSheet, zones: list[npt.NDArray[np.bool_]]) -> Float64:
    """How deep each zone's loudness beats at each of BEAT_NAMES; -1 at -40 dB and below."""
    assert hearing.orders is not None
    spectrum = hearing.orders.envelope
    order = np.array([*BEAT_ORDERS, *(times * firing_order(sheet) for times in BEAT_FIRINGS)])
    place = np.clip(np.rint(order / spectrum.step), 1, spectrum.power.shape[-1] - 1)
    beats = np.zeros((len(zones), order.size))
    for row, zone in zip(beats, zones, strict=True):
        if zone.any():
            weight = hearing.band_power * zone / max(float(hearing.band_power[zone].sum()), 1e-30)
            power = weight @ spectrum.power[:, place.astype(np.intp)]
            row[:] = np.clip((power_to_db(2.0 * power, 1e-9) + 30.0) / 10.0, -1.0, 4.0)
    return beats


def _depth_size(power: float) -> float:
    """Modulation power (depth squared over two) as a size: 0 at -30 dB, 3 at 0 dB."""
    return float(np.clip((float(power_to_db(2.0 * power, 1e-9)) + 30.0) / 10.0, 0.0, 4.0))


def _mesh(order: Float64, power: Float64, teeth: Sequence[int], per_firing: float) -> float:
    """The tallest line of a sprocket with so many teeth, above its own kind beside it [dB]:
    firing lines against firing lines, others against others."""
    tallest = 0.0
    for number in teeth:
        at = np.nonzero(np.abs(order - number) < 1e-6)[0]
        alike = [number + k * per_firing for k in (-3, -2, -1, 1, 2, 3)]
        place = [int(np.argmin(np.abs(order - one))) for one in alike if one < order[-1]]
        if at.size and place:
            beside = max(float(np.median(power[place])), 1e-30)
            tallest = max(tallest, float(power_to_db(power[at[0]] / beside, 1e-3)))
    return tallest


def _mesh_size(step_db: float) -> float:
    return float(np.clip(step_db / 6.0, 0.0, 4.0))


def _sureness(one: Found) -> float:
    """Significance as a size: 0 below 1 in 10, 3 at 1 in 10^10 and beyond."""
    return float(np.clip((one.family.significance - 1.0) / 3.0, 0.0, 3.0))


def _depth(one: Found) -> float:
    """Depth of a family that is really there, as a size."""
    return _depth_size(one.family.power) if one.family.significance > 2.0 else 0.0


def part_measures(part: str, found: list[Found], reference: float) -> Float64:
    """PART_MEASURES of a pulley, shape (len(PART_MEASURES),), from the families found and the
    power of the engine's own lines."""
    mine = [one for one in found if one.part == part]

    def most(sources: Sequence[str], spectrum: str, size: Callable[[Found], float]) -> float:
        fits = [one for one in mine if one.source in sources and one.spectrum == spectrum]
        return max((size(one) for one in fits), default=0.0)

    def level(one: Found) -> float:
        if one.family.significance < 2.0:
            return 0.0
        over_db = float(power_to_db(one.family.power / reference, 1e-6))
        return float(np.clip((over_db + 30.0) / 10.0, 0.0, 4.0))

    return np.array(
        [
            most(BEARING_SOURCES, "envelope", _sureness),
            most(BEARING_SOURCES, "envelope", _depth),
            most(("shaft",), "envelope", _sureness),
            most(("shaft",), "envelope", _depth),
            most(("shaft",), "sound", _sureness),
            most(COUNT_SOURCES, "sound", _sureness),
            most(COUNT_SOURCES, "sound", _height),
            most(COUNT_SOURCES, "sound", level),
        ]
    )


def _height(one: Found) -> float:
    """Height of the tallest member above its surroundings [dB / 10], for a family that is there."""
    if one.family.significance < 2.0:
        return 0.0
    tallest = max((member.excess_db for member in one.family.members), default=0.0)
    return float(np.clip((tallest - 6.0) / 10.0, 0.0, 4.0))
