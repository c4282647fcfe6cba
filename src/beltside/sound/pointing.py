"""From delays at a phone that moves to a place on the engine.

Every place along the line of the microphones predicts a delay for every moment, exact for a near
source. The place whose predictions meet the highest correlation, all moments together, is where
the sound comes from: moments in which a reflection is the stronger are outvoted.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from beltside.base.errors import InputError, require_range
from beltside.sound.direction import DelayMap, delay_from
from beltside.sound.gate import Float64

GRID_MM: Final = 5.0
GROUPS: Final = 8
"""The moments are split in so many groups in turn; how far their places scatter says how well the
place is known."""

ANGLE_ERROR_DEG: Final = 3.0
"""Bias of a direction by reflections [degrees]: the usual error in simulated rooms
(docs/methods/direction.md)."""

PLACEMENT_ERROR_MM: Final = 40.0
"""How well a phone held by hand is where it is said to be [mm]: common practice, no source."""

SPACING_ERROR: Final = 0.05
"""Relative error of a microphone spacing taken with a ruler: common practice, no source."""

SWAP_RATIO: Final = 1.25
"""The other way round has to fit this much better before the channels count as exchanged."""


@dataclass(frozen=True)
class PlacedMap:
    """A take's delay map and where the phone was along the line of its microphones at each of its
    moments, shape (t,) [mm from the crank, right or up positive]."""

    heard: DelayMap
    phone_mm: Float64


@dataclass(frozen=True)
class SourcePlace:
    """Where the sound comes from along the line of the microphones.

    Attributes
    ----------
    along_mm
        From the crank [mm].
    error_mm
        Standard deviation: scatter, reflections, hand and ruler [mm].
    fit
        Mean correlation at it, -1 to 1.
    swapped_fit
        The best mean correlation with the channels exchanged.
    """

    along_mm: float
    error_mm: float
    fit: float
    swapped_fit: float


def locate(
    takes: Sequence[PlacedMap],
    *,
    spacing_mm: float,
    stand_off_mm: float,
    from_mm: float,
    to_mm: float,
) -> SourcePlace:
    """Place of the source between two ends of the line.

    Parameters
    ----------
    takes
        One or more takes of one sound.
    spacing_mm
        Distance of the microphones, 5 to 1000 [mm].
    stand_off_mm
        Distance from the phone to the plane of the pulleys, 50 to 3000 [mm].
    from_mm, to_mm
        Ends of the stretch searched [mm], at most 5 m apart.

    Raises
    ------
    InputError, OutOfRangeError
        For no take, or a figure outside its range.
    """
    require_range("microphone spacing", spacing_mm, 5.0, 1000.0, "mm")
    require_range("stand-off", stand_off_mm, 50.0, 3000.0, "mm")
    require_range("stretch searched", to_mm - from_mm, 2 * GRID_MM, 5000.0, "mm")
    if not takes:
        raise InputError("no take", allowed="one stereo take or more")
    grid = np.arange(from_mm, to_mm + GRID_MM, GRID_MM)
    fit = np.concatenate(
        [_fit(take, grid, spacing_mm, stand_off_mm, 1.0) for take in takes], axis=1
    )
    swapped = np.concatenate(
        [_fit(take, grid, spacing_mm, stand_off_mm, -1.0) for take in takes], axis=1
    )
    mean = fit.mean(axis=1)
    best = int(np.argmax(mean))
    along = _top(grid, mean, best)
    moments = fit.shape[1]
    phone = float(np.mean(np.concatenate([take.phone_mm for take in takes])))
    reach = np.hypot(along - phone, stand_off_mm)
    bias_mm = np.deg2rad(ANGLE_ERROR_DEG) * reach**2 / stand_off_mm
    error = np.sqrt(
        _scatter(grid, fit, moments) ** 2
        + bias_mm**2
        + PLACEMENT_ERROR_MM**2
        + (SPACING_ERROR * (along - phone)) ** 2
    )
    return SourcePlace(along, float(error), float(mean[best]), float(swapped.mean(axis=1).max()))


def exchanged(place: SourcePlace, takes: Sequence[PlacedMap]) -> bool:
    """Whether the path fits only with the channels exchanged.

    Only a phone that moved by 100 mm or more can show it: kept still, left and right of it are
    mirror images.
    """
    moved = max(float(np.ptp(take.phone_mm)) for take in takes)
    return moved >= 100.0 and place.swapped_fit > SWAP_RATIO * max(place.fit, 0.05)


def swap_channels(heard: DelayMap) -> DelayMap:
    """The same map with left and right exchanged."""
    return DelayMap(
        heard.time_s,
        heard.delay_s,
        np.ascontiguousarray(heard.correlation[:, ::-1]),
        np.conj(heard.phase),
        heard.frequency_hz,
    )


def pulley_probability(along_mm: npt.ArrayLike, place: SourcePlace) -> Float64:
    """Probability of each of several pulleys, shape (p,), to be the source; sums to 1.

    Normal about the place; among the pulleys alone, each as likely before.
    """
    away = (np.asarray(along_mm, dtype=np.float64) - place.along_mm) / place.error_mm
    weight = np.exp(-0.5 * (away**2 - float((away**2).min())))
    result: Float64 = weight / weight.sum()
    return result


def _fit(
    take: PlacedMap, grid_mm: Float64, spacing_mm: float, stand_off_mm: float, side: float
) -> Float64:
    """Correlation every place would meet at every moment, shape (places, t)."""
    rows = []
    for along_mm in grid_mm:
        delay = side * delay_from(
            (along_mm - take.phone_mm) / 1000.0, 0.0, stand_off_mm / 1000.0, spacing_mm
        )
        rows.append(_read(take.heard, delay))
    return np.array(rows)


def _read(heard: DelayMap, delay_s: Float64) -> Float64:
    """Correlation at one delay for every moment by straight lines between grid points (t,)."""
    step = float(heard.delay_s[1] - heard.delay_s[0])
    place = (delay_s - heard.delay_s[0]) / step
    whole = np.clip(np.floor(place).astype(np.intp), 0, heard.delay_s.size - 2)
    rest = np.clip(place - whole, 0.0, 1.0)
    moment = np.arange(heard.time_s.size)
    result: Float64 = (1.0 - rest) * heard.correlation[moment, whole] + rest * heard.correlation[
        moment, whole + 1
    ]
    return result


def _top(grid: Float64, mean: Float64, best: int) -> float:
    """Top of the parabola through the best point and its neighbours."""
    if not 0 < best < grid.size - 1:
        return float(grid[best])
    before, here, after = mean[best - 1 : best + 2]
    bend = before - 2.0 * here + after
    shift = 0.5 * (before - after) / bend if bend < 0.0 else 0.0
    return float(grid[best] + np.clip(shift, -0.5, 0.5) * GRID_MM)


def _scatter(grid: Float64, fit: Float64, moments: int) -> float:
    """Standard error of the place from groups of moments [mm]."""
    groups = min(GROUPS, moments)
    if groups < 2:
        return 0.25 * float(np.ptp(grid))
    each = np.array(
        [
            float(grid[int(np.argmax(part.mean(axis=1)))])
            for part in np.array_split(fit, groups, axis=1)
        ]
    )
    spread = 1.4826 * float(np.median(np.abs(each - np.median(each))))
    return max(spread / float(np.sqrt(groups)), float(np.std(each)) / groups)
