"""Where in frequency the takes differ: what went with the belt, and what the probe is close to.

Bands are compared one by one, since a fault seldom fills a wide zone. Levels are taken over the
engine's own lines where both takes have a crank speed, else over the quarter of the bands that
changed least.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np
import numpy.typing as npt

from beltside.base.units import power_to_db
from beltside.sound.hearing import Hearing
from beltside.sound.orders import PowerSpectrum

Float64 = npt.NDArray[np.float64]

CLEAR_CHANGE_DB: Final = 2.0
"""Two takes of the same engine differ by about this much in a band by chance; own choice."""

BAND_MEASURES: Final = (
    "band_drop",
    "band_share",
    "band_centre",
    "band_burst",
    "band_turn",
    "band_cycle",
    "band_firing",
    "band_steady",
    "band_peak",
)
"""Measures of what went with the belt; all 0 without a belt-off take."""


def band_change(
    one: Hearing, other: Hearing, reference_db: tuple[float | None, float | None]
) -> Float64:
    """How much louder each band is in `one` than in `other` [dB], shape (bands,).

    `reference_db` holds the level of the engine's own lines in both, None where not known. Bands
    only one of them has are left out.
    """
    bands = min(len(one.bands), len(other.bands))
    change = power_to_db(
        np.maximum(one.band_power[:bands], 1e-30) / np.maximum(other.band_power[:bands], 1e-30)
    )
    first, second = reference_db
    if first is not None and second is not None:
        moved = first - second
    else:
        moved = float(np.percentile(change, 25))
    return np.asarray(change - moved, dtype=np.float64)


def belt_share(change: Float64) -> Float64:
    """Share of each band's power that went with the belt, 0 where the change is no clear one."""
    share = 1.0 - np.power(10.0, -np.maximum(change, 0.0) / 10.0)
    return np.asarray(np.where(change >= CLEAR_CHANGE_DB, share, 0.0), dtype=np.float64)


def band_measures(
    on: Hearing, off: Hearing, change: Float64, rhythm: Mapping[str, Float64]
) -> dict[str, float]:
    """What went with the belt, in numbers.

    Parameters
    ----------
    on, off
        The takes.
    change
        From `band_change`.
    rhythm
        Depth sizes of each band of `on` by kind: "turn", "cycle", "firing"; empty without a
        crank.
    """
    share = belt_share(change)
    bands = change.size
    values = dict.fromkeys(BAND_MEASURES, 0.0)
    top = np.sort(change)[-2:].mean()
    values["band_drop"] = float(np.clip(top / 6.0, -0.5, 3.5))
    values["band_share"] = float(share.mean() * 2.0)
    total = float(share.sum())
    if total <= 0.0:
        return values
    weight = share / total
    centre = np.log2(np.array([band.centre_hz for band in on.bands[:bands]]) / 2500.0)
    values["band_centre"] = float(np.clip(weight @ centre / 1.5, -2.0, 2.0))
    burst = np.clip(np.log1p(np.maximum(on.band_kurtosis[:bands], 0.0)), 0.0, 4.0)
    values["band_burst"] = float(weight @ burst)
    for kind in ("turn", "cycle", "firing"):
        if kind in rhythm:
            values[f"band_{kind}"] = float(weight @ rhythm[kind][:bands])
    quiet = power_to_db(
        np.maximum(on.band_quiet[:bands], 1e-30) / np.maximum(on.band_power[:bands], 1e-30), 1e-3
    )
    values["band_steady"] = float(np.clip(weight @ quiet / 3.0, -3.0, 0.0))
    values["band_peak"] = spectrum_peak(_difference(on.spectrum, off.spectrum))
    return values


def _difference(on: PowerSpectrum, off: PowerSpectrum) -> PowerSpectrum:
    size = min(on.power.size, off.power.size)
    floor = 0.05 * on.power[:size]
    return PowerSpectrum(
        on.frequency_hz[:size], np.maximum(on.power[:size] - off.power[:size], floor), on.averages
    )


def spectrum_peak(spectrum: PowerSpectrum, low_hz: float = 600.0, high_hz: float = 9000.0) -> float:
    """How far the narrowest hump stands above its octave [dB / 6]: about 0 for a broad noise,
    1 to 3 for a tone or a chirp of a few per cent's width."""
    top = min(high_hz, float(spectrum.frequency_hz[-1]) / 1.5)
    if top <= 2.0 * low_hz:
        return 0.0
    edge = np.geomspace(low_hz / 1.5, top * 1.5, 8 * int(12 * np.log2(top / low_hz)))
    sums = np.concatenate(([0.0], np.cumsum(spectrum.power, dtype=np.float64)))
    step = float(spectrum.frequency_hz[1] - spectrum.frequency_hz[0])

    def mean(low: Float64, high: Float64) -> Float64:
        first = np.clip(np.rint(low / step), 0, spectrum.power.size - 1).astype(np.intp)
        last = np.clip(np.rint(high / step) + 1, 1, spectrum.power.size).astype(np.intp)
        last = np.maximum(last, first + 1)
        return np.asarray((sums[last] - sums[first]) / (last - first), dtype=np.float64)

    inside = edge[(edge >= low_hz) & (edge <= top)]
    narrow = mean(inside / 1.02, inside * 1.02)
    wide = mean(inside / 1.45, inside * 1.45)
    ratio = power_to_db(np.maximum(narrow, 1e-30) / np.maximum(wide, 1e-30))
    return float(np.clip((float(ratio.max()) - 4.0) / 4.0, 0.0, 3.0))


def probe_lead(changes: Sequence[Float64], share: Float64 | None) -> tuple[float, float]:
    """How much louder the probe on a part is than on the others.

    Parameters
    ----------
    changes
        Band changes of this part's probe against each other probe, each shape (bands,) [dB].
    share
        `belt_share` of the case, where known: the bands that matter.

    Returns
    -------
    tuple of float
        In its two best bands over the middle one [dB / 8], and in the belt's bands [dB / 8].
    """
    bands = min(change.size for change in changes)
    mean = np.mean([change[:bands] for change in changes], axis=0)
    best = float(np.sort(mean)[-2:].mean() - np.median(mean))
    inside = 0.0
    if share is not None and float(share[:bands].sum()) > 0.0:
        inside = float(mean @ share[:bands] / share[:bands].sum())
    return float(np.clip(best / 8.0, 0.0, 3.0)), float(np.clip(inside / 8.0, -2.5, 2.5))
