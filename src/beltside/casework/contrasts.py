"""What differs between the takes of a case, and which rhythm its loudest band follows.

Bands are compared one by one, levels taken over the engine's own lines where both takes have a
crank speed (`fault_band.band_change`). docs/methods/odds.md explains each measure.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
import numpy.typing as npt

from beltside.base.units import power_to_db
from beltside.casework.fault_band import CLEAR_CHANGE_DB, band_change
from beltside.casework.take_measures import TakeMeasures, zone_change
from beltside.casework.takes import HeardTake

Float64 = npt.NDArray[np.float64]
Pair = tuple[HeardTake, TakeMeasures]

RHYTHMS: Final = ("cycle", "turn", "firing")

CASE_CONTRASTS: Final = (
    *(f"{kind}_best" for kind in RHYTHMS),
    *(f"{kind}_best_centre" for kind in RHYTHMS),
    *(f"gone_{kind}" for kind in RHYTHMS),
    "gone_burst",
    "cycle_low_off",
    "cycle_mid_off",
    "firing_mid_off",
    "firing_high_off",
    "turn_mid_off",
    "burst_mid_off",
    "burst_high_off",
    "over_mid_off",
    "over_high_off",
    "raised_low",
    "raised_mid",
    "raised_band",
    "raised_centre",
    "raised_cycle",
    "raised_squeal",
    "has_raised",
    "has_probe",
    "probe_most",
    "probe_spread",
)

SUSPECT_CONTRASTS: Final = (
    "front_band",
    "front_mid",
    "front_high",
    "front_share",
    *(f"probe_{kind}_mid" for kind in RHYTHMS),
    *(f"probe_{kind}_high" for kind in RHYTHMS),
    "probe_burst_high",
    "probe_rank",
    "probe_top",
    "alone",
)


def case_contrasts(
    base: Pair,
    off: Sequence[Pair],
    fast: Sequence[Pair],
    probes: Sequence[Pair],
) -> dict[str, float]:
    """CASE_CONTRASTS by name; 0 where the takes for it were not made."""
    values = dict.fromkeys(CASE_CONTRASTS, 0.0)
    centre = band_octaves(base[0])
    for kind, row in base[1].rhythm.items():
        loud = _loud_enough(base[0])
        best = int(np.argmax(np.where(loud[: row.size], row, -1.0)))
        values[f"{kind}_best"] = float(row[best])
        values[f"{kind}_best_centre"] = _clip(centre[best] * min(float(row[best]), 1.0), -2.0, 2.0)
    if off:
        values |= _gone(base, off[0])
        other = off[0][1]
        for name in (
            "cycle_low",
            "cycle_mid",
            "firing_mid",
            "firing_high",
            "turn_mid",
            "burst_mid",
            "burst_high",
        ):
            values[f"{name}_off"] = other.values.get(name, 0.0)
        if np.isfinite(other.zone_db).all():
            values["over_mid_off"] = _clip(other.zone_db[1] / 10.0, -2.0, 3.0)
            values["over_high_off"] = _clip(other.zone_db[2] / 10.0, -2.0, 3.0)
    if fast:
        change = change_between(fast[0], base)
        values["has_raised"] = 1.0
        zone = zone_change(fast[0][1], base[1])
        values["raised_low"] = _clip(zone[0] / 10.0, -2.0, 2.0)
        values["raised_mid"] = _clip(zone[1] / 10.0, -2.0, 2.0)
        values["raised_band"], values["raised_centre"] = _tallest(change, centre)
        values["raised_cycle"] = _clip(
            fast[0][1].values.get("cycle_high", 0.0) - base[1].values.get("cycle_high", 0.0),
            -2.0,
            2.0,
        )
        values["raised_squeal"] = fast[0][1].values["squeal"]
    if probes:
        values["has_probe"] = 1.0
    if len(probes) > 1:
        level = np.array([_level(pair) for pair in probes])
        values["probe_spread"] = _clip(float(level.std()) / 6.0, 0.0, 3.0)
        values["probe_most"] = _clip((float(level.max()) - float(np.median(level))) / 8.0, 0.0, 3.0)
    return values


def suspect_contrasts(
    part: str,
    base: Pair,
    probes: Sequence[Pair],
    share: Float64 | None,
) -> Float64:
    """SUSPECT_CONTRASTS of a part, shape (len(SUSPECT_CONTRASTS),)."""
    values = dict.fromkeys(SUSPECT_CONTRASTS, 0.0)
    own = [pair for pair in probes if pair[0].conditions.part == part]
    others = [pair for pair in probes if pair[0].conditions.part != part]
    if own:
        change = change_between(own[0], base)
        values["front_band"] = _clip(
            (float(np.sort(change)[-2:].mean()) - float(np.median(change))) / 8.0, 0.0, 3.0
        )
        zone = zone_change(own[0][1], base[1])
        values["front_mid"] = _clip(float(zone[1]) / 8.0, -2.0, 2.0)
        values["front_high"] = _clip(float(zone[2]) / 8.0, -2.0, 2.0)
        if share is not None and float(share.sum()) > 0.0:
            size = min(share.size, change.size)
            inside = float(change[:size] @ share[:size] / max(float(share[:size].sum()), 1e-9))
            values["front_share"] = _clip((inside - float(np.median(change))) / 8.0, -2.5, 2.5)
        values["alone"] = float(not others)
    if own and others:
        for zone_name in ("mid", "high"):
            for kind in RHYTHMS:
                name = f"{kind}_{zone_name}"
                values[f"probe_{name}"] = _lead(own[0], others, name)
        values["probe_burst_high"] = _lead(own[0], others, "burst_high")
        level = _level(own[0])
        rest = [_level(pair) for pair in others]
        values["probe_rank"] = _clip((level - max(rest)) / 8.0, -2.5, 2.5)
        values["probe_top"] = float(level > max(rest))
    return np.array([values[name] for name in SUSPECT_CONTRASTS])


def _lead(own: Pair, others: Sequence[Pair], name: str) -> float:
    mine = own[1].values.get(name, 0.0)
    rest = [pair[1].values.get(name, 0.0) for pair in others]
    return _clip(mine - float(np.median(rest)), -2.0, 2.0)


def _level(pair: Pair) -> float:
    """Middle and high zone against the engine's own lines, or against all [dB]."""
    zone = pair[1].zone_db if np.isfinite(pair[1].zone_db).all() else pair[1].zone_share_db
    return float(power_to_db(10.0 ** (zone[1] / 10.0) + 10.0 ** (zone[2] / 10.0)))


def change_between(one: Pair, other: Pair) -> Float64:
    """`fault_band.band_change` of two takes, shape (bands,) [dB]."""
    return band_change(
        one[0].hearing, other[0].hearing, (one[1].reference_db, other[1].reference_db)
    )


def band_octaves(take: HeardTake) -> Float64:
    """Centre of each band [1.5 octaves from 2,500 Hz], shape (bands,)."""
    return np.log2(np.array([band.centre_hz for band in take.hearing.bands]) / 2500.0) / 1.5


def _loud_enough(take: HeardTake) -> npt.NDArray[np.bool_]:
    """Bands within 30 dB of the loudest: fainter ones hold the phone's own noise."""
    power = take.hearing.band_power
    return np.asarray(power > 1e-3 * power.max())


def _tallest(change: Float64, centre: Float64) -> tuple[float, float]:
    """How much the two bands that grew most grew over the middle one [dB / 6], and where."""
    size = min(change.size, centre.size)
    best = np.argsort(change[:size])[-2:]
    rise = float(change[best].mean()) - float(np.median(change))
    return _clip(rise / 6.0, 0.0, 3.5), _clip(
        float(centre[best].mean()) * min(rise / 6.0, 1.0), -2.0, 2.0
    )


def _gone(on: Pair, off: Pair) -> dict[str, float]:
    """Rhythm and bursts of what went with the belt, as if it were heard alone.

    Of two sounds that don't know each other powers add, and so do the squares of how far each
    power swings: what is left of both after the second take is the part's own.
    """
    values: dict[str, float] = {}
    if not on[1].rhythm or not off[1].rhythm:
        return values
    change = change_between(on, off)
    share = 1.0 - np.power(10.0, -np.maximum(change, 0.0) / 10.0)
    clear = change >= CLEAR_CHANGE_DB
    weight = np.where(clear, share, 0.0)
    if float(weight.sum()) <= 0.0:
        return values
    left = np.where(clear, 1.0 - share, 0.0)
    for kind in RHYTHMS:
        first, second = _swing(on[1].rhythm[kind]), _swing(off[1].rhythm[kind])
        size = min(first.size, second.size, weight.size)
        own = np.maximum(first[:size] - left[:size] ** 2 * second[:size], 0.0)
        own = own / np.maximum(share[:size], 0.2) ** 2
        mean = float(weight[:size] @ own / weight[:size].sum())
        values[f"gone_{kind}"] = _clip((float(power_to_db(mean, 1e-9)) + 30.0) / 10.0, 0.0, 4.0)
    one, two = on[0].hearing.band_kurtosis, off[0].hearing.band_kurtosis
    size = min(one.size, two.size, weight.size)
    own = np.maximum(one[:size], 0.0) - left[:size] ** 2 * np.maximum(two[:size], 0.0)
    own = np.clip(own / np.maximum(share[:size], 0.2) ** 2, 0.0, 60.0)
    values["gone_burst"] = _clip(
        float(weight[:size] @ np.log1p(own) / weight[:size].sum()), 0.0, 4.0
    )
    return values


def _swing(size: Float64) -> Float64:
    """Depth squared from its size; 0 for sizes of 0."""
    return np.where(size > 0.0, np.power(10.0, size - 3.0), 0.0)


def _clip(value: float, low: float, high: float) -> float:
    return float(np.clip(value, low, high))
