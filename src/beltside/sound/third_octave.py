"""Third-octave bands: their edges, their filters, and the power of a spectrum in them.

Band numbers count from 1 kHz: band x has the exact midband 1000 G^(x / 3) Hz, G = 10^0.3
(IEC 61260-1:2014, 5.2 to 5.5, from memory); see `level.third_octave_edges`.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from beltside.base.errors import OutOfRangeError
from beltside.sound.gate import Float64, require_positive, require_signal
from beltside.sound.level import OCTAVE_RATIO, third_octave_edges

Ints = npt.NDArray[np.intp]

LOWEST_BAND: Final = -16
"""25 Hz, the lowest band of ISO 532-1."""

HIGHEST_BAND: Final = 12
"""16 kHz."""

FILTER_ORDER: Final = 3
"""Order of the low-pass a band filter is made from: six poles, enough for class 1."""

_NOMINAL: Final = np.array([1.0, 1.25, 1.6, 2.0, 2.5, 3.15, 4.0, 5.0, 6.3, 8.0])


def nominal_hz(band: npt.ArrayLike) -> Float64:
    """Nominal midband frequency of bands (IEC 61260-1:2014, table E.1, from memory) [Hz].

    >>> nominal_hz([-16, -10, 0, 5]).tolist()
    [25.0, 100.0, 1000.0, 3150.0]
    """
    number = np.asarray(band, dtype=np.intp)
    result: Float64 = _NOMINAL[number % 10] * 10.0 ** (3 + number // 10)
    return result


def whole_bands(top_hz: float) -> Ints:
    """Bands from 25 Hz up that end at or below `top_hz`, at most up to 16 kHz.

    Raises
    ------
    OutOfRangeError
        When not even the lowest fits.

    >>> int(whole_bands(24000.0)[-1]), int(whole_bands(8000.0)[-1])
    (12, 8)
    """
    require_positive("highest frequency", top_hz, "Hz")
    bands = np.arange(LOWEST_BAND, HIGHEST_BAND + 1)
    kept: Ints = bands[third_octave_edges(bands)[2] <= top_hz]
    if kept.size == 0:
        raise OutOfRangeError(
            f"third-octave bands up to {top_hz:g} Hz", allowed="28.2 Hz or more", instead="12 kHz"
        )
    return kept


def band_shares(frequency_hz: npt.ArrayLike, band: npt.ArrayLike) -> Float64:
    """Share of each bin of a spectrum that lies in each band, shape (bands, bins).

    Parameters
    ----------
    frequency_hz
        Equally spaced bins from 0, shape (k,), k >= 2 [Hz].
    band
        Band numbers, shape (b,).
    """
    grid = np.asarray(require_signal("frequencies", frequency_hz, shortest=2), dtype=np.float64)
    step = float(grid[1] - grid[0])
    low, _, high = third_octave_edges(band)
    upper = np.minimum(grid[None, :] + 0.5 * step, high[:, None])
    lower = np.maximum(grid[None, :] - 0.5 * step, low[:, None])
    result: Float64 = np.clip((upper - lower) / step, 0.0, 1.0)
    return result


def filter_shares(frequency_hz: npt.ArrayLike, band: npt.ArrayLike) -> Float64:
    """Share of a tone's power that a band filter lets through, shape (bands, frequencies).

    A Butterworth band-pass of six poles, 1 / (1 + (Q (f / fm - fm / f))^6), with its Q raised by
    (pi / 6) / sin(pi / 6) so that white noise passes as through a rectangle between the band's
    edges (ANSI S1.1-1986, from memory).

    Parameters
    ----------
    frequency_hz
        Frequencies, 0 or more, shape (k,) [Hz].
    band
        Band numbers, shape (b,).
    """
    wanted = np.asarray(require_signal("frequencies", frequency_hz), dtype=np.float64)
    centre = third_octave_edges(band)[1][:, None]
    side = OCTAVE_RATIO ** (1.0 / 6.0)
    angle = np.pi / (2 * FILTER_ORDER)
    quality = angle / np.sin(angle) / (side - 1.0 / side)
    ratio = np.maximum(wanted, 1e-9)[None, :] / centre
    detuned = quality * (ratio - 1.0 / ratio)
    result: Float64 = 1.0 / (1.0 + detuned ** (2 * FILTER_ORDER))
    return result


def a_weight(frequency_hz: npt.ArrayLike) -> Float64:
    """A-weighting as a power ratio, 1 at 1 kHz (IEC 61672-1:2013, equation E.6, from memory).

    >>> [round(10.0 * float(np.log10(w)), 1) for w in a_weight([100.0, 1000.0, 10000.0])]
    [-19.1, 0.0, -2.5]
    """
    squared = np.asarray(require_signal("frequencies", frequency_hz), dtype=np.float64) ** 2

    def response(f2: Float64) -> Float64:
        poles = (f2 + 20.6**2) * (f2 + 12194.0**2)
        poles = poles * np.sqrt((f2 + 107.7**2) * (f2 + 737.9**2))
        return 12194.0**2 * f2**2 / poles

    result: Float64 = (response(squared) / response(np.array([1e6]))) ** 2
    return result
