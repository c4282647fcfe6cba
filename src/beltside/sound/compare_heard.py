"""What of a change is heard: loudness and sharpness, after over before.

A phone is not calibrated, so both are given as ratios, worked out for the sound pressure usual in
front of an idling engine; the range covers 10 dB to either side.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from beltside.sound.gate import Float64
from beltside.sound.level import third_octave_edges
from beltside.sound.loudness import BANDS, REFERENCE_PA, levels_of_powers, loudness_of_levels
from beltside.sound.sharpness import sharpness
from beltside.sound.third_octave import a_weight

USUAL_DBA: Final = (60.0, 70.0, 80.0)
"""A-weighted level taken for the louder take: softest, usual, loudest; common practice in front
of an idling engine with the hood open, no source."""


@dataclass(frozen=True)
class HeardRatio:
    """A ratio after over before with its 90 % range."""

    value: float
    low: float
    high: float


def heard_ratios(
    before: Float64, after: Float64, covariance: Float64, ninety: float = 1.645
) -> tuple[HeardRatio, HeardRatio]:
    """Ratios of loudness and of sharpness.

    Parameters
    ----------
    before, after
        Mean squares in the 28 loudness bands at one gain, shape (28,).
    covariance
        Uncertainty of the second take's band levels against the first's, shape (28, 28) [dB^2].
    ninety
        Standard deviations that a 90 % range reaches either way.
    """
    weight = a_weight(third_octave_edges(BANDS)[1])
    loudest = max(float(weight @ before), float(weight @ after), 1e-30)
    found = []
    for level_db in USUAL_DBA:
        full_scale_pa = REFERENCE_PA * float(np.sqrt(10.0 ** (0.1 * level_db) / loudest))
        found.append(_log_ratios(before, after, full_scale_pa))
    usual_pa = REFERENCE_PA * float(np.sqrt(10.0 ** (0.1 * USUAL_DBA[1]) / loudest))
    slope = np.array(
        [
            _log_ratios(before, after * 10.0 ** (0.1 * (np.arange(28) == band)), usual_pa)
            - found[1]
            for band in range(28)
        ]
    )
    variance = np.einsum("bk,bc,ck->k", slope, covariance, slope)
    reach = ninety * np.sqrt(np.maximum(variance, 0.0))
    levels = np.array(found)
    low = np.exp(levels.min(axis=0) - reach)
    high = np.exp(levels.max(axis=0) + reach)
    value = np.exp(levels[1])
    loud, sharp = (HeardRatio(float(value[k]), float(low[k]), float(high[k])) for k in range(2))
    return loud, sharp


def _log_ratios(before: Float64, after: Float64, full_scale_pa: float) -> Float64:
    """Natural logarithms of the ratios of loudness and sharpness, shape (2,)."""
    one, other = (
        loudness_of_levels(levels_of_powers(power, full_scale_pa)) for power in (before, after)
    )
    if one.sone <= 0.0 or other.sone <= 0.0:
        return np.zeros(2)
    ratios = np.array([other.sone / one.sone, sharpness(other) / sharpness(one)])
    return np.asarray(np.log(ratios), dtype=np.float64)
