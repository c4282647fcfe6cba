"""What the takes of a case say, as a few numbers for every suspect.

Every measure is free of the recording's level and about -2 to 3 in size; 0 stands for "says
nothing", so that a take that was not made costs nothing. `take_measures` looks at one take,
`case_measures` here joins the takes: belt on against belt off, one probe against the others.
docs/methods/odds.md explains each.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from beltside.casework.changes import CHANGES, take_change
from beltside.casework.combs import Comb, clearest_comb
from beltside.casework.contrasts import (
    CASE_CONTRASTS,
    SUSPECT_CONTRASTS,
    Pair,
    case_contrasts,
    change_between,
    suspect_contrasts,
)
from beltside.casework.families import Found, Surprises, engine_lines, pooled_surprises, search
from beltside.casework.fault_band import (
    BAND_MEASURES,
    band_measures,
    belt_share,
    probe_lead,
)
from beltside.casework.probe_profiles import PROBE_PROFILES, probe_profiles
from beltside.casework.probe_rhythm import PROBE_RHYTHM, probe_rhythm
from beltside.casework.profiles import (
    CASE_PROFILES,
    SUSPECT_PROFILES,
    case_profiles,
    suspect_profiles,
)
from beltside.casework.sway import SWAY
from beltside.casework.switched_on import (
    CASE_LOADS,
    SUSPECT_LOADS,
    Changes,
    case_loads,
    load_changes,
    suspect_loads,
)
from beltside.casework.take_measures import (
    PART_MEASURES,
    ZONE_NAMES,
    TakeMeasures,
    part_measures,
    reference_power,
    zone_change,
)
from beltside.casework.takes import HeardTake
from beltside.drive.ratios import ratio_ranges
from beltside.drive.sheet import DriveSheet
from beltside.sound.families import find_family

Float64 = npt.NDArray[np.float64]

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
    "no_crank",
    "peak",
    "peak_off",
    "mesh_any",
    "comb",
    "comb_off",
    *BAND_MEASURES,
    *CASE_CONTRASTS,
    *CASE_PROFILES,
    *(f"went_{name}" for name in (*CHANGES, *SWAY)),
    *SWAY,
    *CASE_LOADS,
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
    "comb_fit",
    "comb_side",
    "shaft_best",
    "bearing_best",
    "probe_band",
    "probe_share",
    "off_shaft",
    "off_count",
    *SUSPECT_CONTRASTS,
    *SUSPECT_PROFILES,
    *PROBE_PROFILES,
    *PROBE_RHYTHM,
    *(f"probe_{name}" for name in SWAY),
    *SUSPECT_LOADS,
)
"""Measures of a suspect's own part over the whole case."""


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
    for name in ("squeal", "belt_beat", "belt_beat_depth", "mesh", "mesh_any", "peak"):
        values[name] = max(one.values.get(name, 0.0) for one in listened)
    share: Float64 | None = None
    if off:
        values["has_off"] = 1.0
        values["squeal_off"] = off[0][1].values["squeal"]
        values["belt_beat_off"] = off[0][1].values.get("belt_beat", 0.0)
        values["cycle_high_off"] = off[0][1].values.get("cycle_high", 0.0)
        drop = zone_change(base, off[0][1])
        for name, change in zip(ZONE_NAMES, drop, strict=True):
            values[f"drop_{name}"] = float(np.clip(change / 6.0, -1.5, 3.0))
        values["drop_most"] = float(np.clip(np.max(drop) / 6.0, -0.5, 3.0))
        values["peak_off"] = off[0][1].values["peak"]
        change = change_between(idle, off[0])
        share = belt_share(change)
        values |= band_measures(idle[0].hearing, off[0][0].hearing, change, base.rhythm)
        went = take_change(idle, off[0])
        values |= {f"went_{name}": value for name, value in went.items()}
        less = base.sway - off[0][1].sway
        values |= {f"went_{name}": float(one) for name, one in zip(SWAY, less, strict=True)}
    values |= dict(zip(SWAY, base.sway.tolist(), strict=True))
    fast = [
        pair
        for pair in on
        if pair[0].crank.track is not None and _speed(pair[0]) > 1.4 * _speed(idle[0])
    ]
    if fast:
        values["raised_high"] = float(np.clip(-zone_change(base, fast[0][1])[2] / 10.0, -2.0, 2.0))
    loaded = [pair for pair in on if pair[0].conditions.load and pair[1] is not base]
    switched = load_changes(idle, loaded)
    values |= case_loads(switched)
    values |= dict(zip(CASE_PROFILES, case_profiles(idle, off).tolist(), strict=True))
    values |= case_contrasts(idle, off, fast, probes)
    together = _together([pair[1] for pair in (*on, *(p for p in probes if _turns(p)))], sheet)
    comb = gone = None
    if together is not None:
        comb = clearest_comb(together.spectra.envelope, together.found, sheet)
        if comb is not None:
            values["comb"] = _clip(comb.family.significance / 4.0, 0.0, 3.0)
            gone = off[0][1].surprises if off else None
            if gone is not None:
                values["comb_off"] = _clip(_still_there(gone, comb) / 4.0, 0.0, 3.0)
    names = [pulley.part for pulley in sheet.pulleys if pulley.part != "crank"]
    names += sorted({str(pair[0].conditions.part) for pair in probes} - set(names))
    table = _part_table(
        names, listened, off, probes, switched, idle, sheet, _Joined(together, comb, share)
    )
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


@dataclass(frozen=True)
class _Together:
    """All takes with the belt on as one: spectra, the families in them, the engine's power."""

    spectra: Surprises
    found: list[Found]
    reference: float


@dataclass(frozen=True)
class _Joined:
    """What all takes together say, each None when they can't."""

    together: _Together | None
    comb: Comb | None
    share: Float64 | None


def _turns(pair: Pair) -> bool:
    return pair[0].conditions.belt != "off" and pair[1].surprises is not None


def _together(measures: Sequence[TakeMeasures], sheet: DriveSheet) -> _Together | None:
    heard = [one for one in measures if one.surprises is not None]
    if not heard:
        return None
    spectra = pooled_surprises([one.surprises for one in heard if one.surprises is not None])
    found = heard[0].found if len(heard) == 1 else search(spectra, sheet)
    return _Together(spectra, found, reference_power(engine_lines(spectra, sheet)))


def _still_there(gone: Surprises, comb: Comb) -> float:
    """Significance of a comb's order in the take with the belt off."""
    spread = 1.0 + 2.0 * gone.envelope.step
    low, high = comb.family.fundamental / spread, comb.family.fundamental * spread
    family = find_family(gone.envelope, low, high, harmonics=3)
    return 0.0 if family is None else family.significance


def _clip(value: float, low: float, high: float) -> float:
    return float(np.clip(value, low, high))


def _part_table(
    names: Sequence[str],
    listened: Sequence[TakeMeasures],
    off: Sequence[Pair],
    probes: Sequence[Pair],
    switched: Changes,
    idle: Pair,
    sheet: DriveSheet,
    joined: _Joined,
) -> dict[str, Float64]:
    zero = np.zeros(len(PART_MEASURES))
    pulleys = {pulley.part: pulley for pulley in sheet.pulleys}
    every = joined.together
    ratios = {one: 0.5 * (low + high) for one, (low, high) in ratio_ranges(sheet).items()}
    rhythm = probe_rhythm(probes, off, None if every is None else every.spectra)
    table = {}
    for part in names:
        front = np.max([one.parts.get(part, zero) for one in listened], axis=0)
        if every is not None and part in pulleys:
            front = np.maximum(front, part_measures(part, every.found, every.reference))
        own = [pair for pair in probes if pair[0].conditions.part == part]
        others = [pair for pair in probes if pair[0].conditions.part != part]
        at_part = np.max([pair[1].parts.get(part, zero) for pair in own] or [zero], axis=0)
        elsewhere = np.max([pair[1].parts.get(part, zero) for pair in others] or [zero], axis=0)
        lead = (at_part - elsewhere) if own and others else zero
        gone = off[0][1].parts.get(part, zero) if off else zero
        probe = _probe_lead(own, others)
        fit = side = 0.0
        if joined.comb is not None and part in pulleys:
            sure = _clip(joined.comb.family.significance / 5.0, 0.0, 1.5)
            fit = sure * _clip(joined.comb.fit.get(part, 0.0), -2.0, 2.5)
            side = _clip(joined.comb.sidebands.get(part, 0.0) / 2.0, 0.0, 3.0)
        leads = (
            probe_lead([change_between(own[0], other) for other in others], joined.share)
            if own and others
            else (0.0, 0.0)
        )
        table[part] = np.array(
            [
                *front,
                *at_part,
                lead[0] + 0.5 * lead[1],
                lead[2] + 0.5 * lead[3],
                gone[0],
                float(bool(own)),
                *probe,
                0.0,
                float(part in pulleys and pulleys[part].bearing is not None),
                fit,
                side,
                0.0,
                0.0,
                *leads,
                gone[2],
                gone[5],
                *suspect_contrasts(part, idle, probes, joined.share),
                *suspect_profiles(
                    part, idle, probes, None if every is None else every.spectra, ratios.get(part)
                ),
                *probe_profiles(part, probes, ratios.get(part)),
                *rhythm.get(part, np.zeros(len(PROBE_RHYTHM))),
                *_probe_sway(own, others),
                *suspect_loads(part, idle, switched),
            ]
        )
    _mark_best(table)
    return table


def _probe_sway(own: Sequence[Pair], others: Sequence[Pair]) -> Float64:
    """SWAY with the probe here less the middle of the other places, shape (len(SWAY),)."""
    if not own or not others:
        return np.zeros(len(SWAY))
    middle = np.median([pair[1].sway for pair in others], axis=0)
    return np.asarray(own[0][1].sway - middle, dtype=np.float64)


def _mark_best(table: dict[str, Float64]) -> None:
    """How far a part's own signs stand out from the other parts': all of them together, the
    beat at its turns, and its bearing's lines."""
    size = len(PART_MEASURES)
    for name, columns in (
        ("best_of_parts", (0, 1, 2, 3, size, size + 1, size + 2, size + 3)),
        ("shaft_best", (2, 3, size + 2, size + 3)),
        ("bearing_best", (0, 1, size, size + 1)),
    ):
        column = SUSPECT_MEASURES.index(name)
        sign = {part: float(row[list(columns)].sum()) for part, row in table.items()}
        for part, row in table.items():
            rest = max((value for other, value in sign.items() if other != part), default=0.0)
            row[column] = _clip((sign[part] - rest) / 3.0, -3.0, 3.0)


def _probe_lead(own: Sequence[Pair], others: Sequence[Pair]) -> Float64:
    """How much louder, and how much more rhythmic, the probe on this part is than on others."""
    if not own or not others:
        return np.zeros(3)
    mine = own[0][1]
    rest = [pair[1] for pair in others]
    change = np.array([zone_change(mine, other) for other in rest])
    rhythm = [mine.values["burst_mid"] - other.values["burst_mid"] for other in rest]
    return np.array(
        [
            float(np.clip(np.median(change[:, 1]) / 8.0, -2.0, 2.0)),
            float(np.clip(np.median(change[:, 2]) / 8.0, -2.0, 2.0)),
            float(np.clip(np.median(rhythm), -2.0, 2.0)),
        ]
    )
