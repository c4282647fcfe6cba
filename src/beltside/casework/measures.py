"""What the takes of a case say, as a few numbers for every suspect.

Every measure is free of the recording's level and about -2 to 3 in size; 0 stands for "says
nothing", so that a take that was not made costs nothing. `take_measures` looks at one take,
`case_measures` joins the takes: belt on against belt off, one probe against the others.
docs/methods/odds.md explains each.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from beltside.base.units import power_to_db
from beltside.casework.families import (
    BEARING_SOURCES,
    COUNT_SOURCES,
    Found,
    Surprises,
    engine_lines,
    search,
    surprises,
)
from beltside.casework.takes import HeardTake
from beltside.drive.sheet import DriveSheet
from beltside.sound.hearing import Hearing

Float64 = npt.NDArray[np.float64]

ZONES_HZ: Final = ((400.0, 1200.0), (1200.0, 4000.0), (4000.0, 18000.0))
"""Low, middle and high zone of the sound [Hz]: growl and knock, most bearing resonances,
hiss and tick. Own choice."""

ZONE_NAMES: Final = ("low", "mid", "high")

REFERENCE_ORDERS: Final = (2.0, 12.0)
"""Engine lines between these orders carry the level that a repair at the belt does not change."""

PART_MEASURES: Final = (
    "bearing",
    "bearing_depth",
    "shaft_beat",
    "shaft_beat_depth",
    "shaft_tone",
    "count_tone",
    "count_height",
)
"""Measures of one pulley part in one take."""

CASE_MEASURES: Final = (
    "one",
    "has_off",
    "drop_low",
    "drop_mid",
    "drop_high",
    "drop_most",
    "squeal",
    "squeal_off",
    "belt_beat",
    "belt_beat_depth",
    "belt_beat_off",
    "cycle_low",
    "cycle_mid",
    "cycle_high",
    "firing_low",
    "firing_mid",
    "firing_high",
    "turn_low",
    "turn_mid",
    "turn_high",
    "burst_low",
    "burst_mid",
    "burst_high",
    "level_mid",
    "level_high",
    "steady_high",
    "over_mid",
    "over_high",
    "mesh",
    "best_bearing",
    "best_shaft_beat",
    "best_count",
    "cycle_high_off",
    "raised_high",
    "load_high",
    "no_crank",
)

SUSPECT_MEASURES: Final = (
    *(f"{name}" for name in PART_MEASURES),
    *(f"own_{name}" for name in PART_MEASURES),
    "lead_bearing",
    "lead_shaft_beat",
    "off_bearing",
    "probed",
    "probe_mid",
    "probe_high",
    "probe_rhythm",
    "best_of_parts",
    "geometry_known",
    "load_count",
)
"""Measures of a suspect's own part over the whole case."""


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
    """

    parts: dict[str, Float64]
    values: dict[str, float]
    zone_db: Float64
    zone_share_db: Float64
    found: list[Found]
    surprises: Surprises | None


def take_measures(hearing: Hearing, sheet: DriveSheet) -> TakeMeasures:
    """Measure one take."""
    zones = _zones(hearing)
    zone_power = np.array([hearing.band_power[zone].sum() if zone.any() else 0.0 for zone in zones])
    share_db = power_to_db(zone_power / max(float(hearing.band_power.sum()), 1e-30), 1e-6)
    values = {
        "squeal": _squeal(hearing),
        "steady_high": _steadiness(hearing, zones[2]),
    }
    for name, zone in zip(ZONE_NAMES, zones, strict=True):
        burst = float(np.median(hearing.band_kurtosis[zone])) if zone.any() else 0.0
        values[f"burst_{name}"] = float(np.clip(np.log1p(max(burst, 0.0)), 0.0, 4.0))
    heard = surprises(hearing, sheet)
    if heard is None or hearing.orders is None:
        return TakeMeasures({}, values, np.full(3, np.nan), share_db, [], None)
    found = search(heard, sheet)
    own = engine_lines(heard, sheet)
    inside = (own.order >= REFERENCE_ORDERS[0]) & (own.order <= REFERENCE_ORDERS[1])
    reference = max(float(own.power[inside].sum()), 1e-30)
    values |= _rhythms(hearing, sheet, zones)
    values["mesh"] = _mesh(own.order, own.power, sheet)
    belt = [one for one in found if one.source == "belt passing" and one.spectrum == "envelope"]
    values["belt_beat"] = max((_sureness(one) for one in belt), default=0.0)
    values["belt_beat_depth"] = max((_depth(one) for one in belt), default=0.0)
    parts = {
        pulley.part: _part_measures(pulley.part, found)
        for pulley in sheet.pulleys
        if pulley.part != "crank"
    }
    return TakeMeasures(
        parts, values, power_to_db(zone_power / reference, 1e-6), share_db, found, heard
    )


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


def _rhythms(
    hearing: Hearing, sheet: DriveSheet, zones: list[npt.NDArray[np.bool_]]
) -> dict[str, float]:
    """How deep each zone's loudness beats with the cycle, the turn and the firing."""
    assert hearing.orders is not None
    spectrum = hearing.orders.envelope
    cycle = 0.5 if sheet.engine.strokes == 4 else 1.0
    top = min(spectrum.order[-1], 12.0)
    number = np.arange(1, int(top / cycle) + 1)
    place = np.rint(number * cycle / spectrum.step).astype(np.intp)
    per_firing = number * cycle / (sheet.engine.cylinders * 2.0 / sheet.engine.strokes)
    fires = np.abs(per_firing - np.round(per_firing)) < 1e-6
    whole = (np.abs(number * cycle - np.round(number * cycle)) < 1e-6) & ~fires
    half = ~fires & ~whole
    values = {}
    for name, zone in zip(ZONE_NAMES, zones, strict=True):
        if not zone.any():
            power = np.zeros(number.size)
        else:
            weight = hearing.band_power[zone] / max(float(hearing.band_power[zone].sum()), 1e-30)
            power = weight @ spectrum.power[zone][:, place]
        for kind, which in (("cycle", half), ("turn", whole), ("firing", fires)):
            depth = float(power[which].sum()) if which.any() else 0.0
            values[f"{kind}_{name}"] = _depth_size(depth)
    return values


def _depth_size(power: float) -> float:
    """Modulation power (depth squared over two) as a size: 0 at -30 dB, 3 at 0 dB."""
    return float(np.clip((float(power_to_db(2.0 * power, 1e-9)) + 30.0) / 10.0, 0.0, 4.0))


def _mesh(order: Float64, power: Float64, sheet: DriveSheet) -> float:
    """How far the chain sprocket's line stands above the engine lines beside it [dB / 6]."""
    teeth = sheet.engine.crank_sprocket_teeth
    if teeth is None:
        return 0.0
    at = np.nonzero(np.abs(order - teeth) < 1e-6)[0]
    if at.size == 0:
        return 0.0
    beside = power[max(at[0] - 5, 0) : at[0] + 6]
    step_db = float(power_to_db(power[at[0]] / max(float(np.median(beside)), 1e-30), 1e-3))
    return float(np.clip(step_db / 6.0, 0.0, 4.0))


def _sureness(one: Found) -> float:
    """Significance as a size: 0 below 1 in 10, 3 at 1 in 10^10 and beyond."""
    return float(np.clip((one.family.significance - 1.0) / 3.0, 0.0, 3.0))


def _depth(one: Found) -> float:
    """Depth of a family that is really there, as a size."""
    return _depth_size(one.family.power) if one.family.significance > 2.0 else 0.0


def _part_measures(part: str, found: list[Found]) -> Float64:
    mine = [one for one in found if one.part == part]

    def most(sources: Sequence[str], spectrum: str, size: str) -> float:
        fits = [one for one in mine if one.source in sources and one.spectrum == spectrum]
        if size == "sure":
            return max((_sureness(one) for one in fits), default=0.0)
        if size == "deep":
            return max((_depth(one) for one in fits), default=0.0)
        return max((_height(one) for one in fits), default=0.0)

    return np.array(
        [
            most(BEARING_SOURCES, "envelope", "sure"),
            most(BEARING_SOURCES, "envelope", "deep"),
            most(("shaft",), "envelope", "sure"),
            most(("shaft",), "envelope", "deep"),
            most(("shaft",), "sound", "sure"),
            most(COUNT_SOURCES, "sound", "sure"),
            most(COUNT_SOURCES, "sound", "high"),
        ]
    )


def _height(one: Found) -> float:
    """Height of the tallest member above its surroundings [dB / 10], for a family that is there."""
    if one.family.significance < 2.0:
        return 0.0
    tallest = max((member.excess_db for member in one.family.members), default=0.0)
    return float(np.clip((tallest - 6.0) / 10.0, 0.0, 4.0))


@dataclass(frozen=True)
class CaseMeasures:
    """A case in numbers.

    Attributes
    ----------
    case
        CASE_MEASURES, shape (len(CASE_MEASURES),).
    parts
        SUSPECT_MEASURES of each pulley part.
    from_take
        Which take each part's measures of the front, and the case's, come from: name to use in
        reasons.
    """

    case: Float64
    parts: dict[str, Float64]
    from_take: dict[str, str]


def case_measures(
    takes: Sequence[HeardTake], measures: Sequence[TakeMeasures], sheet: DriveSheet
) -> CaseMeasures:
    """Join the takes of a case."""
    pairs = list(zip(takes, measures, strict=True))
    front = [pair for pair in pairs if pair[0].conditions.part is None]
    on = [pair for pair in front if pair[0].conditions.belt != "off"]
    off = [pair for pair in front if pair[0].conditions.belt == "off"]
    probes = [pair for pair in pairs if pair[0].conditions.part is not None]
    idle = min(on or pairs, key=lambda pair: (bool(pair[0].conditions.load), _speed(pair[0])))
    base = idle[1]
    values = dict.fromkeys(CASE_MEASURES, 0.0)
    values["one"] = 1.0
    values |= {name: value for name, value in base.values.items() if name in values}
    values["level_mid"] = _level(base.zone_share_db[1])
    values["level_high"] = _level(base.zone_share_db[2])
    values["no_crank"] = float(base.surprises is None)
    if np.isfinite(base.zone_db).all():
        values["over_mid"] = float(np.clip(base.zone_db[1] / 10.0, -2.0, 3.0))
        values["over_high"] = float(np.clip(base.zone_db[2] / 10.0, -2.0, 3.0))
    listened = [pair[1] for pair in on] or [base]
    for name in ("squeal", "belt_beat", "belt_beat_depth", "mesh"):
        values[name] = max(one.values.get(name, 0.0) for one in listened)
    if off:
        values["has_off"] = 1.0
        values["squeal_off"] = off[0][1].values["squeal"]
        values["belt_beat_off"] = off[0][1].values.get("belt_beat", 0.0)
        values["cycle_high_off"] = off[0][1].values.get("cycle_high", 0.0)
        drop = _drop(base, off[0][1])
        for name, change in zip(ZONE_NAMES, drop, strict=True):
            values[f"drop_{name}"] = float(np.clip(change / 6.0, -1.5, 3.0))
        values["drop_most"] = float(np.clip(np.max(drop) / 6.0, -0.5, 3.0))
    fast = [
        pair
        for pair in on
        if pair[0].crank.track is not None and _speed(pair[0]) > 1.4 * _speed(idle[0])
    ]
    if fast:
        values["raised_high"] = float(np.clip(-_drop(base, fast[0][1])[2] / 10.0, -2.0, 2.0))
    loaded = [pair for pair in on if pair[0].conditions.load and pair[1] is not base]
    if loaded:
        values["load_high"] = float(np.clip(-_drop(base, loaded[0][1])[2] / 6.0, -2.0, 2.0))
    names = [pulley.part for pulley in sheet.pulleys if pulley.part != "crank"]
    table = _part_table(names, listened, off, probes, loaded, base, sheet)
    for name, column in (("best_bearing", 0), ("best_shaft_beat", 2), ("best_count", 6)):
        values[name] = max((float(row[column]) for row in table.values()), default=0.0)
    return CaseMeasures(
        np.array([values[name] for name in CASE_MEASURES]),
        table,
        {"base": idle[0].conditions.name, "off": off[0][0].conditions.name if off else ""},
    )


def _speed(take: HeardTake) -> float:
    return take.crank.track.rpm_median if take.crank.track is not None else 1e9


def _level(share_db: float) -> float:
    return float(np.clip((share_db + 12.0) / 8.0, -2.0, 2.0))


def _drop(one: TakeMeasures, other: TakeMeasures) -> Float64:
    """How much louder each zone is in `one` than in `other` against the engine's own lines [dB];
    against the whole sound where a crank speed is missing."""
    change = one.zone_db - other.zone_db
    if not np.isfinite(change).all():
        change = one.zone_share_db - other.zone_share_db
    return change


def _part_table(
    names: Sequence[str],
    listened: Sequence[TakeMeasures],
    off: Sequence[tuple[HeardTake, TakeMeasures]],
    probes: Sequence[tuple[HeardTake, TakeMeasures]],
    loaded: Sequence[tuple[HeardTake, TakeMeasures]],
    base: TakeMeasures,
    sheet: DriveSheet,
) -> dict[str, Float64]:
    zero = np.zeros(len(PART_MEASURES))
    table = {}
    for part in names:
        front = np.max([one.parts.get(part, zero) for one in listened], axis=0)
        own = [pair for pair in probes if pair[0].conditions.part == part]
        others = [pair for pair in probes if pair[0].conditions.part != part]
        at_part = np.max([pair[1].parts.get(part, zero) for pair in own] or [zero], axis=0)
        elsewhere = np.max([pair[1].parts.get(part, zero) for pair in others] or [zero], axis=0)
        lead = (at_part - elsewhere) if own and others else zero
        gone = off[0][1].parts.get(part, zero) if off else zero
        probe = _probe_lead(own, others)
        pulley = sheet.pulley(part)
        bare = (
            loaded[0][1].parts.get(part, zero)[6] - base.parts.get(part, zero)[6] if loaded else 0.0
        )
        table[part] = np.concatenate(
            (
                front,
                at_part,
                [
                    lead[0] + 0.5 * lead[1],
                    lead[2] + 0.5 * lead[3],
                    gone[0],
                    float(bool(own)),
                    probe[0],
                    probe[1],
                    probe[2],
                    0.0,
                    float(pulley.bearing is not None),
                    float(np.clip(bare, -2.0, 2.0)),
                ],
            )
        )
    _mark_best(table)
    return table


def _mark_best(table: dict[str, Float64]) -> None:
    """How far a part's own signs stand out from the other parts' ("best_of_parts")."""
    column = SUSPECT_MEASURES.index("best_of_parts")
    size = len(PART_MEASURES)
    sign = {part: float(row[:4].sum() + row[size : size + 4].sum()) for part, row in table.items()}
    for part, row in table.items():
        rest = max((value for other, value in sign.items() if other != part), default=0.0)
        row[column] = float(np.clip((sign[part] - rest) / 3.0, -3.0, 3.0))


def _probe_lead(
    own: Sequence[tuple[HeardTake, TakeMeasures]], others: Sequence[tuple[HeardTake, TakeMeasures]]
) -> Float64:
    """How much louder, and how much more rhythmic, the probe on this part is than on others."""
    if not own or not others:
        return np.zeros(3)
    mine = own[0][1]
    rest = [pair[1] for pair in others]
    change = np.array([_drop(mine, other) for other in rest])
    rhythm = [mine.values["burst_mid"] - other.values["burst_mid"] for other in rest]
    return np.array(
        [
            float(np.clip(np.median(change[:, 1]) / 8.0, -2.0, 2.0)),
            float(np.clip(np.median(change[:, 2]) / 8.0, -2.0, 2.0)),
            float(np.clip(np.median(rhythm), -2.0, 2.0)),
        ]
    )
