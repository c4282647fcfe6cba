"""Loudness of steady sound: the stationary method of ISO 532-1:2017 (Zwicker), free field.

Tables are those of ISO 532-1:2017, annex A (tables A.3 to A.9), which are also printed in Zwicker
& Fastl, Program for calculating loudness according to DIN 45631, Journal of the Acoustical
Society of Japan (E) 12(1), 1991. Figures taken from public programs that state them; the way they
are worked through here is our own.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from beltside.base.errors import OutOfRangeError
from beltside.base.units import power_to_db
from beltside.sound.gate import Float64, require_positive, require_signal
from beltside.sound.orders import HANN_NOISE_BINS, PowerSpectrum, power_spectrum
from beltside.sound.third_octave import LOWEST_BAND, filter_shares

BANDS: Final = np.arange(LOWEST_BAND, LOWEST_BAND + 28)
"""Third-octave bands 25 Hz to 12.5 kHz that the method starts from."""

LOUDEST_DB: Final = 120.0
"""The method's tables end at this band level [dB SPL]."""

STEP_BARK: Final = 0.1
REFERENCE_PA: Final = 2e-5

_SEGMENT_S: Final = 0.6
_NOTHING_DB: Final = -60.0

# Table A.3: the eleven bands 25 to 250 Hz weigh less, by level (upper ends of the ranges).
_LOW_RANGE_DB: Final = np.array([45.0, 55.0, 65.0, 71.0, 80.0, 90.0, 100.0, 120.0])
_LOW_WEIGHT_DB: Final = np.array(
    [
        [-32, -24, -16, -10, -5, 0, -7, -3, 0, -2, 0],
        [-29, -22, -15, -10, -4, 0, -7, -2, 0, -2, 0],
        [-27, -19, -14, -9, -4, 0, -6, -2, 0, -2, 0],
        [-25, -17, -12, -9, -3, 0, -5, -2, 0, -2, 0],
        [-23, -16, -11, -7, -3, 0, -4, -1, 0, -1, 0],
        [-20, -14, -10, -6, -3, 0, -4, -1, 0, -1, 0],
        [-18, -12, -9, -6, -2, 0, -3, -1, 0, -1, 0],
        [-15, -10, -8, -4, -2, 0, -3, -1, 0, -1, 0],
    ],
    dtype=np.float64,
)
_LOW_GROUPS: Final = (slice(0, 6), slice(6, 9), slice(9, 11))
# Table A.4: what the ear lets through; A.6: threshold; A.7: third octave to critical band.
_EAR_DB: Final = np.array(
    [0, 0, 0, 0, 0, 0, 0, 0, 0, 0, -0.5, -1.6, -3.2, -5.4, -5.6, -4.0, -1.5, 2.0, 5.0, 12.0]
)
_THRESHOLD_DB: Final = np.array([30.0, 18.0, 12.0, 8.0, 7.0, 6.0, 5.0, 4.0, *[3.0] * 12])
_TO_CRITICAL_DB: Final = np.array([
    -0.25, -0.6, -0.8, -0.8, -0.5, 0.0, 0.5, 1.1, 1.5, 1.7,
    1.8, 1.8, 1.7, 1.6, 1.4, 1.2, 0.8, 0.5, 0.0, -0.5,
])  # fmt: skip
# Table A.8: upper ends of the critical bands, the last one closes the scale [Bark].
_UPPER_BARK: Final = np.array([
    0.9, 1.8, 2.8, 3.5, 4.4, 5.4, 6.6, 7.9, 9.2, 10.6, 12.3,
    13.8, 15.2, 16.7, 18.1, 19.3, 20.6, 21.8, 22.7, 23.6, 24.0,
])  # fmt: skip
# Table A.9: how steeply specific loudness falls towards high pitch, by its size and by band.
_FALL_FROM: Final = (
    21.5, 18.0, 15.1, 11.5, 9.0, 6.1, 4.4, 3.1, 2.13,
    1.36, 0.82, 0.42, 0.30, 0.22, 0.15, 0.10, 0.035, 0.0,
)  # fmt: skip
_FALL: Final = (
    (13.0, 8.2, 6.3, 5.5, 5.5, 5.5, 5.5, 5.5),
    (9.0, 7.5, 6.0, 5.1, 4.5, 4.5, 4.5, 4.5),
    (7.8, 6.7, 5.6, 4.9, 4.4, 3.9, 3.9, 3.9),
    (6.2, 5.4, 4.6, 4.0, 3.5, 3.2, 3.2, 3.2),
    (4.5, 3.8, 3.6, 3.2, 2.9, 2.7, 2.7, 2.7),
    (3.7, 3.0, 2.8, 2.35, 2.2, 2.2, 2.2, 2.2),
    (2.9, 2.3, 2.1, 1.9, 1.8, 1.7, 1.7, 1.7),
    (2.4, 1.7, 1.5, 1.35, 1.3, 1.3, 1.3, 1.3),
    (1.95, 1.45, 1.3, 1.15, 1.1, 1.1, 1.1, 1.1),
    (1.5, 1.2, 0.94, 0.86, 0.82, 0.82, 0.82, 0.82),
    (0.72, 0.67, 0.64, 0.63, 0.62, 0.62, 0.62, 0.62),
    (0.59, 0.53, 0.51, 0.50, 0.42, 0.42, 0.42, 0.42),
    (0.40, 0.33, 0.26, 0.24, 0.24, 0.22, 0.22, 0.22),
    (0.27, 0.21, 0.20, 0.18, 0.17, 0.17, 0.17, 0.17),
    (0.16, 0.15, 0.14, 0.12, 0.11, 0.11, 0.11, 0.11),
    (0.12, 0.11, 0.10, 0.08, 0.08, 0.08, 0.08, 0.08),
    (0.09, 0.08, 0.07, 0.06, 0.06, 0.06, 0.06, 0.05),
    (0.06, 0.05, 0.03, 0.02, 0.02, 0.02, 0.02, 0.02),
)


@dataclass(frozen=True)
class Loudness:
    """Loudness of a steady sound.

    Attributes
    ----------
    sone
        Total loudness [sone].
    specific
        Specific loudness at 0.1, 0.2 ... 24 Bark, shape (240,) [sone/Bark].
    """

    sone: float
    specific: Float64

    @property
    def phon(self) -> float:
        """Loudness level [phon]: 40 + 10 log2 N from 1 sone on, below 40 (N + 0.0005)^0.35
        (ISO 532-1:2017, equations 5 and 6, from memory)."""
        if self.sone >= 1.0:
            return 40.0 + 10.0 * float(np.log2(self.sone))
        return max(40.0 * float((self.sone + 0.0005) ** 0.35), 3.0)


def loudness_of_levels(level_db: npt.ArrayLike) -> Loudness:
    """Loudness from third-octave levels.

    Parameters
    ----------
    level_db
        Levels of the 28 bands 25 Hz to 12.5 kHz, shape (28,) [dB SPL]; -60 where there is
        nothing, at most 120 in the eleven lowest.

    Raises
    ------
    OutOfRangeError
        When there are not 28, or a low band is above 120 dB.

    >>> loudness_of_levels([-60.0] * 28).sone
    0.0
    """
    level = np.asarray(require_signal("band levels", level_db), dtype=np.float64)
    if level.shape != (28,) or float(level[:11].max()) > LOUDEST_DB:
        raise OutOfRangeError(
            f"{level.size} band levels up to {float(level.max()):.0f} dB",
            allowed=f"28 levels (25 Hz to 12.5 kHz), the eleven lowest up to {LOUDEST_DB:g} dB",
            instead="a lower full-scale level",
        )
    return _spread_upward(_core(level))


def _core(level_db: Float64) -> list[float]:
    """Core loudness of the 20 critical bands, and 0 for what lies above them [sone/Bark]."""
    low = level_db[:11]
    row = np.sum(low[None, :] + _LOW_WEIGHT_DB > _LOW_RANGE_DB[:, None], axis=0)
    weighted = low + _LOW_WEIGHT_DB[np.minimum(row, len(_LOW_RANGE_DB) - 1), np.arange(11)]
    power = 10.0 ** (0.1 * weighted)
    ear = level_db[8:].copy()
    ear[:3] = [float(power_to_db(float(power[group].sum()))) for group in _LOW_GROUPS]
    ear -= _EAR_DB
    heard = ear > _THRESHOLD_DB
    over = np.where(heard, ear - _TO_CRITICAL_DB - _THRESHOLD_DB, 0.0)
    core = 0.0635 * 10.0 ** (0.025 * _THRESHOLD_DB)
    core = core * ((0.75 + 0.25 * 10.0 ** (0.1 * over)) ** 0.25 - 1.0)
    core = np.where(heard, np.maximum(core, 0.0), 0.0)
    # The threshold moves within the lowest band.
    core[0] *= min(0.4 + 0.32 * float(core[0]) ** 0.2, 1.0)
    return [*core.tolist(), 0.0]


def _spread_upward(core: list[float]) -> Loudness:
    """Let specific loudness fall off towards high pitch, and add it up.

    Each critical band lifts the pattern to its own core loudness where that is higher; else the
    pattern falls along straight pieces whose steepness goes with its size and with the band.
    """
    total, here, size = 0.0, 0.0, 0.0
    corner_bark, corner_size = [0.0], [core[0]]

    def reach(bark: float, to: float) -> None:
        nonlocal total, here, size
        total += 0.5 * (bark - here) * (size + to)
        here, size = bark, to
        corner_bark.append(bark)
        corner_size.append(to)

    for number, (upper, level) in enumerate(zip(_UPPER_BARK.tolist(), core, strict=True)):
        column = min(max(number - 1, 0), 7)
        while here < upper and size > level:
            piece = next((k for k, bound in enumerate(_FALL_FROM) if bound < size), 17)
            steepness = _FALL[piece][column]
            aim = max(_FALL_FROM[piece], level)
            bark = here + (size - aim) / steepness
            if bark >= upper:
                reach(upper, size - (upper - here) * steepness)
            else:
                reach(bark, aim)
        if here < upper:
            size = level
            corner_bark.append(here)
            corner_size.append(level)
            reach(upper, level)
    grid = STEP_BARK * np.arange(1, 241)
    # Just left of each step: at a band's edge the pattern still belongs to the band below.
    specific = np.interp(grid - 1e-9, corner_bark, corner_size)
    return Loudness(total, np.asarray(specific, dtype=np.float64))


def band_powers_for_loudness(spectrum: PowerSpectrum) -> Float64:
    """Mean square in each of the 28 bands through band filters, shape (..., 28)."""
    shares = filter_shares(spectrum.frequency_hz, BANDS)
    result: Float64 = np.asarray(spectrum.power) @ shares.T / HANN_NOISE_BINS
    return result


def loudness(samples: npt.ArrayLike, sample_rate_hz: float, full_scale_pa: float = 1.0) -> Loudness:
    """Loudness of a steady sound in a free field from its samples.

    Band levels come from the mean power spectrum weighted with the band filters' power
    response, which for steady sound is the mean square behind each filter.

    Parameters
    ----------
    samples
        Shape (n,), 0.6 s or more.
    sample_rate_hz
        Their rate, 2 kHz or more [Hz]; bands above half of it count as empty. The standard asks
        for 48 kHz.
    full_scale_pa
        Sound pressure of a sample of 1 [Pa].

    Raises
    ------
    OutOfRangeError
        When it is too short, or louder than the method allows.
    """
    rate_hz = require_positive("sample rate", sample_rate_hz, "Hz")
    require_positive("pressure at full scale", full_scale_pa, "Pa")
    size = int(2 ** round(float(np.log2(_SEGMENT_S * rate_hz))))
    spectrum = power_spectrum(samples, rate_hz, size)
    return loudness_of_levels(levels_of_powers(band_powers_for_loudness(spectrum), full_scale_pa))


def levels_of_powers(mean_square: npt.ArrayLike, full_scale_pa: float) -> Float64:
    """Mean squares as levels, -60 dB at the least [dB SPL]."""
    power = np.asarray(mean_square, dtype=np.float64) * (full_scale_pa / REFERENCE_PA) ** 2
    return np.asarray(power_to_db(power, 10.0 ** (0.1 * _NOTHING_DB)), dtype=np.float64)
