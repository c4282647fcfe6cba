"""Level: third-octave bands, distance, clipping, crest factor, wind.

Level is in dB re full scale, and a sine whose peaks just reach full scale reads 0 dB (AES17 and
IEC 61606, from memory): level = 10 log10(2 x mean square). A phone's level says nothing about
sound pressure; differences between takes of one phone do, as far as its automatic gain lets them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy import fft

from beltside.base.errors import OutOfRangeError
from beltside.base.units import power_to_db
from beltside.sound.gate import Float64, require_positive, require_signal
from beltside.sound.orders import HANN_NOISE_BINS, PowerSpectrum

OCTAVE_RATIO: Final = 10.0**0.3
"""Base-ten octave ratio G (IEC 61260-1:2014 clause 5.2.1, from memory)."""

REFERENCE_HZ: Final = 1000.0
"""Reference frequency (IEC 61260-1:2014 clause 5.2.2, from memory) [Hz]."""

FULL_SCALE: Final = 1.0
WIND_EDGE_HZ: Final = 100.0


@dataclass(frozen=True)
class ThirdOctaveLevels:
    """Exact midband frequencies [Hz], nominal ones [Hz], and levels [dB], shape (b,)."""

    centre_hz: Float64
    nominal_hz: Float64
    level_db: Float64


@dataclass(frozen=True)
class WindIndicator:
    """Signs of wind in the microphone.

    Attributes
    ----------
    low_share
        Share of the power that lies below 100 Hz, 0 to 1.
    gust_db
        Standard deviation of the level below 100 Hz over quarter seconds [dB].
    coherence
        Mean coherence of two channels below 100 Hz, 0 to 1; None for one channel.
    score
        0 to 1: low where sound is below 100 Hz is steady or little, high where it is most of the
        power, comes in gusts and differs between channels. Common practice, no source.
    """

    low_share: float
    gust_db: float
    coherence: float | None
    score: float


def third_octave_edges(band: npt.ArrayLike) -> tuple[Float64, Float64, Float64]:
    """Lower edge, exact midband and upper edge of third-octave bands [Hz].

    f_m = 1000 G^(x / 3), edges f_m G^(-1/6) and f_m G^(1/6), G = 10^0.3, x = 0 at 1 kHz
    (IEC 61260-1:2014 equations 1 to 5, from memory).

    >>> [round(float(edge[0]), 2) for edge in third_octave_edges([0])]
    [891.25, 1000.0, 1122.02]
    """
    index = np.asarray(require_signal("band number", band), dtype=np.float64)
    centre = REFERENCE_HZ * OCTAVE_RATIO ** (index / 3.0)
    half = OCTAVE_RATIO ** (1.0 / 6.0)
    return centre / half, centre, centre * half


_NOMINAL: Final = (1.0, 1.25, 1.6, 2.0, 2.5, 3.15, 4.0, 5.0, 6.3, 8.0)


def third_octave_levels(
    spectrum: PowerSpectrum, low_hz: float = 50.0, high_hz: float | None = None
) -> ThirdOctaveLevels:
    """Third-octave levels from a power spectrum, each bin shared out by its overlap.

    Parameters
    ----------
    spectrum
        From `power_spectrum`, one channel.
    low_hz, high_hz
        Lowest and highest midband frequency wanted [Hz]. By default up to the last band that
        ends below half the rate. The lowest band has to be two bins wide.

    Raises
    ------
    OutOfRangeError
        When a band reaches beyond the spectrum, or is narrower than two bins.
    """
    power = np.asarray(
        require_signal("spectrum power", spectrum.power, shortest=8), dtype=np.float64
    )
    step = float(spectrum.frequency_hz[1] - spectrum.frequency_hz[0])
    top = float(spectrum.frequency_hz[-1])
    require_positive("lowest midband", low_hz, "Hz")
    first = round(10.0 * float(np.log10(low_hz / REFERENCE_HZ)))
    if high_hz is None:
        last = int(np.floor(10.0 * np.log10(top / REFERENCE_HZ) - 0.5))
    else:
        last = round(10.0 * float(np.log10(require_positive("highest", high_hz, "Hz") / 1000.0)))
    if last < first:
        raise OutOfRangeError(
            f"bands from {low_hz:g} Hz to below {top:g} Hz",
            allowed="at least one band",
            instead="a lower first band",
        )
    index = np.arange(first, last + 1)
    low, centre, high = third_octave_edges(index)
    if high[-1] > top + 0.5 * step or high[0] - low[0] < 2.0 * step:
        raise OutOfRangeError(
            f"bands {centre[0]:.4g} to {centre[-1]:.4g} Hz from bins {step:.3g} Hz apart",
            allowed=f"bands two bins wide or more, up to {top:g} Hz",
            instead=f"{10 * step:.3g} Hz as the lowest midband, or longer segments",
        )
    summed = np.concatenate(([0.0], np.cumsum(power))) / HANN_NOISE_BINS
    edge = np.concatenate(([0.0], spectrum.frequency_hz + 0.5 * step))
    inside = np.interp(high, edge, summed) - np.interp(low, edge, summed)
    nominal = np.array(_NOMINAL)[index % 10] * 10.0 ** (3 + index // 10)
    return ThirdOctaveLevels(centre, nominal, level_of_power(inside))


def level_of_power(mean_square: npt.ArrayLike) -> Float64:
    """Level of a mean square [dB re full-scale sine].

    >>> round(float(level_of_power(0.5)), 6)
    0.0
    """
    power = np.asarray(mean_square, dtype=np.float64)
    require_signal("mean square", np.atleast_1d(power), dimensions=None)
    return np.asarray(power_to_db(2.0 * power / FULL_SCALE**2), dtype=np.float64)


def level_db(samples: npt.ArrayLike) -> float:
    """Level of a stretch of sound [dB re full-scale sine], shape (..., n)."""
    values = require_signal("samples", samples, dimensions=None)
    return float(level_of_power(np.mean(np.square(values, dtype=np.float64))))


def level_at_distance(level: float, from_m: float, to_m: float) -> float:
    """Level at another distance from a small source in the open: 20 log10(r2 / r1) lower.

    Holds away from walls and beyond about twice the source's size; less falls off in a bay.

    >>> round(level_at_distance(80.0, 1.0, 2.0), 2)
    73.98
    """
    require_positive("distance", from_m, "m")
    require_positive("distance", to_m, "m")
    require_signal("level", np.atleast_1d(level))
    return float(level - 20.0 * np.log10(to_m / from_m))


def clipping_share(samples: npt.ArrayLike, full_scale: float = FULL_SCALE) -> float:
    """Share of samples in flat tops: two or more neighbours within 0.1 % of the highest
    absolute value, where that value is at least 70 % of full scale; 0 to 1.

    A recorder may clip below full scale and a lossy codec blur the tops; then this reads low.
    """
    values = require_signal("samples", samples, shortest=2, dimensions=None)
    size = np.abs(values)
    peak = float(size.max())
    if peak < 0.7 * require_positive("full scale", full_scale, ""):
        return 0.0
    top = size >= 0.999 * peak
    same = (
        top[..., 1:] & top[..., :-1] & (np.signbit(values[..., 1:]) == np.signbit(values[..., :-1]))
    )
    flat = np.zeros_like(top)
    flat[..., 1:] |= same
    flat[..., :-1] |= same
    return float(flat.mean())


def crest_factor(samples: npt.ArrayLike) -> float:
    """Highest absolute value over root mean square: 1.414 for a sine, 3 to 5 for noise.

    Raises
    ------
    OutOfRangeError
        For silence.
    """
    values = require_signal("samples", samples, dimensions=None)
    root = float(np.sqrt(np.mean(np.square(values, dtype=np.float64))))
    if root == 0.0:
        raise OutOfRangeError("silence", allowed="sound", instead="another stretch of the take")
    return float(np.abs(values).max()) / root


def wind_indicator(samples: npt.ArrayLike, sample_rate_hz: float) -> WindIndicator:
    """Signs of wind: power below 100 Hz that comes in gusts and differs between channels.

    Turbulence at each microphone is its own, while sound that long in wave reaches both alike.

    Parameters
    ----------
    samples
        Shape (n,) or (2, n), at least 2 s.
    sample_rate_hz
        Their rate, 1 kHz or more [Hz].
    """
    rate_hz = require_positive("sample rate", sample_rate_hz, "Hz")
    values = require_signal("samples", samples, shortest=int(2 * rate_hz), dimensions=None)
    rows = values.reshape(-1, values.shape[-1])
    if rate_hz < 1000.0 or rows.shape[0] > 2:
        raise OutOfRangeError(
            f"{rows.shape[0]} channels at {rate_hz:g} samples/s",
            allowed="one or two channels at 1000 samples/s or more",
            instead="the first two channels",
        )
    size = round(0.25 * rate_hz)
    frames = rows[:, : rows.shape[1] // size * size].reshape(rows.shape[0], -1, size)
    window = np.hanning(size).astype(values.dtype)
    spectrum = fft.rfft(frames * window, axis=-1)
    low = spectrum[..., 1 : int(WIND_EDGE_HZ * size / rate_hz) + 1]
    power = np.mean(low.real**2 + low.imag**2, axis=0, dtype=np.float64).sum(axis=-1)
    whole = float(np.mean(np.abs(spectrum[..., 1:]) ** 2, axis=0, dtype=np.float64).sum())
    share = float(power.sum()) / whole if whole > 0.0 else 0.0
    gust_db = float(np.std(power_to_db(power + 1e-20)))
    coherence: float | None = None
    if rows.shape[0] == 2 and whole > 0.0:
        cross = np.abs(np.mean(low[0] * np.conj(low[1]), axis=0)) ** 2
        own = [np.mean(np.abs(side) ** 2, axis=0, dtype=np.float64) for side in low]
        coherence = float(np.sum(cross) / max(float(np.sum(own[0] * own[1])), 1e-300))
    gusty = float(np.clip((gust_db - 2.0) / 4.0, 0.0, 1.0))
    apart = 1.0 if coherence is None else 1.0 - coherence
    return WindIndicator(share, gust_db, coherence, float(share * gusty * apart))
