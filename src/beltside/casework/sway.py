"""How the loudness comes and goes from one quarter of a second to the next.

Rhythms with the crank are looked at elsewhere; this is what is slower: squeals that come in
spells, rattles that start and stop.
docs/methods/odds.md explains each measure.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Final

import numpy as np
import numpy.typing as npt

from beltside.base.units import power_to_db
from beltside.sound.orders import Spectrogram

Float64 = npt.NDArray[np.float64]

SWAY_ZONES_HZ: Final = (
    ("bass", 80.0, 400.0),
    ("low", 400.0, 1200.0),
    ("mid", 1200.0, 4000.0),
    ("high", 4000.0, 16_000.0),
)
"""Own choice."""

HALF_OCTAVES_HZ: Final = 100.0 * 2.0 ** (0.5 * np.arange(15))

SWAY: Final = (
    *(f"sway_{zone}" for zone, _, _ in SWAY_ZONES_HZ),
    *(f"spells_{zone}" for zone, _, _ in SWAY_ZONES_HZ),
    "sway_most",
    "sway_where",
)
"""How far each zone's level swings; whether up (in spells) or down (in gaps); how much further
the half octave that swings most does than the middle one, and where it lies."""

SMOOTHED_S: Final = 0.23
LONGEST_COLUMN_S: Final = 0.3
FEWEST_COLUMNS: Final = 8
USUAL_DB: Final = 0.7
"""The level is read over so long; columns longer than the second say nothing. Levels of usual
takes swing by about the last; own choices."""


def sways(picture: Spectrogram) -> Float64:
    """SWAY of a take from its spectrogram, shape (len(SWAY),); 0 for takes so long that their
    columns are too coarse, or too short."""
    nothing = np.zeros(len(SWAY))
    if picture.time_s.size < FEWEST_COLUMNS:
        return nothing
    column_s = float(np.median(np.diff(picture.time_s)))
    if column_s > LONGEST_COLUMN_S:
        return nothing
    columns = max(round(SMOOTHED_S / column_s), 1)
    if picture.time_s.size - columns + 1 < FEWEST_COLUMNS:
        return nothing
    # Rows are spaced evenly over log frequency, so each is as wide as it is high.
    power = picture.power.astype(np.float64) * picture.frequency_hz

    def level_db(low_hz: float, high_hz: float) -> Float64 | None:
        inside = (picture.frequency_hz >= low_hz) & (picture.frequency_hz < high_hz)
        if np.count_nonzero(inside) < 2:
            return None
        level = power_to_db(np.maximum(power[:, inside].sum(axis=1), 1e-20))
        return np.convolve(level, np.full(columns, 1.0 / columns), "valid")

    swing, spells = [], []
    for _, low_hz, high_hz in SWAY_ZONES_HZ:
        level = level_db(low_hz, high_hz)
        if level is None:
            swing.append(0.0)
            spells.append(0.0)
            continue
        least, middle, most = np.percentile(level, (10.0, 50.0, 90.0))
        swing.append(float(np.clip((level.std() - USUAL_DB) / 2.0, -0.35, 2.65)))
        spells.append(float(np.clip((most + least - 2.0 * middle) / 3.0, -2.0, 2.0)))
    levels = [level_db(low, high) for low, high in pairwise(HALF_OCTAVES_HZ.tolist())]
    each = np.array([0.0 if one is None else float(one.std()) for one in levels])
    top = int(np.argmax(each))
    over = float(np.clip((each[top] - np.median(each)) / 2.0, 0.0, 3.0))
    middle_at = 0.5 * (each.size - 1)
    where = float(np.clip((top - middle_at) / 4.0 * min(each[top] / 3.0, 1.0), -2.0, 2.0))
    return np.array([*swing, *spells, over, where])
