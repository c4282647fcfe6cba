"""What changed between two takes made from about the same place, freed of the place.

No two takes are made from quite the same spot: between them the whole spectrum moves up or down
and tilts. What a noise that came or went does is narrower. So a straight line over log frequency
is taken out of the bands' change, and what is left is told both in dB and against how far the
other bands scatter: 2 dB in one band say much in a careful pair of takes, nothing in a careless
one.
docs/methods/odds.md explains each measure.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from beltside.base.units import power_to_db
from beltside.casework.contrasts import RHYTHMS, Pair, band_octaves

Float64 = npt.NDArray[np.float64]

CHANGES: Final = (
    "apart",
    "step",
    "where",
    "less_apart",
    "less_step",
    "less_where",
    "burst",
    "less_burst",
    *RHYTHMS,
    *(f"less_{kind}" for kind in RHYTHMS),
)
"""Of the two bands that grew most: how far they stand apart from the others' scatter, by how much,
and where they lie; the same of those that fell most ("less"); bursts and rhythms of the two bands
whose own grew, and fell, most."""

LEAST_SCATTER_DB: Final = 0.5
"""Bands of two takes of a steady engine scatter by this much by chance alone; own choice."""

ROUNDS: Final = 8


def take_change(one: Pair, other: Pair) -> dict[str, float]:
    """CHANGES by name, from `other` to `one`; of bands both takes have."""
    size = min(one[0].hearing.band_power.size, other[0].hearing.band_power.size)
    octaves = band_octaves(one[0])[:size]
    step_db = _level_db(one)[:size] - _level_db(other)[:size]
    left_db = _without_line(step_db, octaves)
    scatter_db = max(1.4826 * float(np.median(np.abs(left_db))), LEAST_SCATTER_DB)
    rising = np.argsort(left_db)
    values = dict.fromkeys(CHANGES, 0.0)
    for sign, way, two in ((1.0, "", rising[-2:]), (-1.0, "less_", rising[:2])):
        grew_db = sign * float(left_db[two].mean())
        apart = _clip(grew_db / scatter_db / 3.0, 0.0, 3.0)
        values[f"{way}apart"] = apart
        values[f"{way}step"] = _clip(grew_db / 6.0, 0.0, 3.0)
        values[f"{way}where"] = _clip(float(octaves[two].mean()) * min(apart, 1.0), -2.0, 2.0)
    values["burst"], values["less_burst"] = _most(_bursts(one)[:size] - _bursts(other)[:size])
    for kind in RHYTHMS:
        if kind in one[1].rhythm and kind in other[1].rhythm:
            more = one[1].rhythm[kind][:size] - other[1].rhythm[kind][:size]
            values[kind], values[f"less_{kind}"] = _most(more)
    return values


def _without_line(step_db: Float64, octaves: Float64) -> Float64:
    """Rest of a line through most bands, about its median [dB]: iterated least squares that give
    bands far off it less weight (Huber 1964)."""
    columns = np.stack([np.ones_like(octaves), octaves], axis=1)
    weight = np.ones_like(octaves)
    left = step_db
    for _ in range(ROUNDS):
        line = np.linalg.lstsq(columns * weight[:, None], step_db * weight, rcond=None)[0]
        left = step_db - columns @ line
        usual = max(1.4826 * float(np.median(np.abs(left))), 0.3)
        weight = np.sqrt(1.0 / np.maximum(np.abs(left) / (1.2 * usual), 1.0))
    return np.asarray(left - np.median(left), dtype=np.float64)


def _level_db(pair: Pair) -> Float64:
    return np.asarray(power_to_db(np.maximum(pair[0].hearing.band_power, 1e-30)), dtype=np.float64)


def _bursts(pair: Pair) -> Float64:
    return np.log1p(np.maximum(pair[0].hearing.band_kurtosis, 0.0))


def _most(more: Float64) -> tuple[float, float]:
    """Mean of the two that grew most, and how much the two that fell most fell."""
    ordered = np.sort(more)
    return (
        _clip(float(ordered[-2:].mean()), 0.0, 3.0),
        _clip(-float(ordered[:2].mean()), 0.0, 3.0),
    )


def _clip(value: float, low: float, high: float) -> float:
    return float(np.clip(value, low, high))
