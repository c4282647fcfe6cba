"""Two takes to be played one after the other: same loudness of the engine, same length, no clicks.

The second is brought to the first one's gain, so that what is heard to differ is what changed.
Both are then raised alike until the louder one just keeps clear of full scale.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
import numpy.typing as npt
import soxr
from scipy import fft

from beltside.base.errors import OutOfRangeError
from beltside.sound.gate import Float32, Float64, require_positive, require_signal
from beltside.sound.track import CrankTrack

FADE_S: Final = 0.03
"""Length of the rise and fall at either end [s]: too slow to be heard as a click."""

PEAK: Final = 0.7
"""Highest sample of the pair: room for what a lossy codec adds."""

LONGEST_S: Final = 10.0
EDGE_SHARE: Final = 0.1
LINE_SHARE: Final = 0.004
LEAST_LINE_HZ: Final = 2.5
MOST_LINES: Final = 24

PLAY_RATES_HZ: Final = (32_000, 24_000, 16_000, 8_000)
"""Rates a pair is written at: every player and coding knows them, and the files stay small."""


def play_rate_hz(rates_hz: Sequence[int]) -> int:
    """Highest rate for playing that neither recording has to be stretched to.

    >>> play_rate_hz([48000, 44100]), play_rate_hz([48000, 16000])
    (32000, 16000)
    """
    least = min(rates_hz)
    return next((rate for rate in PLAY_RATES_HZ if rate <= least), PLAY_RATES_HZ[-1])


def nearest_window(
    track: CrankTrack, start_s: float, end_s: float, seconds: float, rpm: float
) -> float:
    """Start of the stretch of `seconds` between two moments whose speed keeps nearest to `rpm`."""
    starts = np.arange(start_s, max(end_s - seconds, start_s) + 1e-9, 0.25)
    inside = np.linspace(0.0, seconds, 40)
    away = [float(np.mean(np.abs(track.rpm_at(start + inside) - rpm))) for start in starts]
    return float(starts[int(np.argmin(away))])


def level_matched(
    before: npt.ArrayLike, after: npt.ArrayLike, rates_hz: tuple[int, int], gain_db: float
) -> tuple[Float32, Float32, int]:
    """A pair to listen to.

    Parameters
    ----------
    before, after
        Mono, shapes (n,) and (m,), 1 s or more of each.
    rates_hz
        Their rates [Hz].
    gain_db
        Gain of the second recording over the first [dB]; it is taken back.

    Returns
    -------
    Two sounds of the same shape (k,), at most 10 s, and their common rate [Hz].

    Raises
    ------
    OutOfRangeError
        When one is under 1 s, or both are silent.
    """
    rate_hz = play_rate_hz(rates_hz)
    pair = []
    for samples, from_hz in zip((before, after), rates_hz, strict=True):
        require_positive("sample rate", from_hz, "Hz")
        values = require_signal("samples", samples, shortest=from_hz).astype(np.float32)
        if from_hz != rate_hz:
            values = soxr.resample(values, from_hz, rate_hz)
        pair.append(values)
    length = min(pair[0].size, pair[1].size, round(LONGEST_S * rate_hz))
    one, other = (values[:length] - values[:length].mean(dtype=np.float64) for values in pair)
    other = other * 10.0 ** (-0.05 * gain_db)
    return (*_raised(one, other, rate_hz), rate_hz)


def _raised(one: Float64, other: Float64, rate_hz: int) -> tuple[Float32, Float32]:
    """Faded at the ends and raised alike."""
    count = min(round(FADE_S * rate_hz), one.size // 2)
    rise = np.sin(0.5 * np.pi * (np.arange(count) + 0.5) / count) ** 2
    shape = np.ones(one.size)
    shape[:count] = rise
    shape[one.size - count :] = rise[::-1]
    one, other = one * shape, other * shape
    peak = max(float(np.abs(one).max()), float(np.abs(other).max()))
    if peak == 0.0:
        raise OutOfRangeError(
            "two silent recordings", allowed="sound in at least one", instead="record again"
        )
    gain = PEAK / peak
    return (one * gain).astype(np.float32), (other * gain).astype(np.float32)


def only_band(
    samples: npt.ArrayLike, sample_rate_hz: float, low_hz: float, high_hz: float
) -> Float32:
    """What of a sound lies between two frequencies, edges 10 % wide, shape (n,).

    Raises
    ------
    OutOfRangeError
        When the edges do not rise or lie beyond half the rate.
    """
    rate_hz = require_positive("sample rate", sample_rate_hz, "Hz")
    values = require_signal("samples", samples, shortest=64)
    if not 0.0 < low_hz < high_hz or low_hz >= rate_hz / 2.0:
        raise OutOfRangeError(
            f"a band from {low_hz:g} to {high_hz:g} Hz",
            allowed=f"rising, from above 0 to below {rate_hz / 2.0:g} Hz",
            instead="the suspect's own band",
        )
    size = int(fft.next_fast_len(values.size + round(0.2 * rate_hz), real=True))
    frequency_hz = np.arange(size // 2 + 1) * (rate_hz / size)

    def rise(edge_hz: float) -> Float64:
        place = np.clip((frequency_hz / edge_hz - 1.0) / (2.0 * EDGE_SHARE), -0.5, 0.5)
        shape: Float64 = 0.5 + 0.5 * np.sin(np.pi * place)
        return shape

    gain = (rise(low_hz) * (1.0 - rise(high_hz))).astype(np.float32)
    kept = fft.irfft(fft.rfft(values, size) * gain, size)[: values.size]
    return np.asarray(kept, dtype=np.float32)


def only_lines(
    samples: npt.ArrayLike, sample_rate_hz: float, track: CrankTrack, orders: Sequence[float]
) -> Float32:
    """What of a sound stands at given orders, whatever the speed does, shape (n,).

    Each line is brought down to standstill by the crank's own angle, cut to a few hertz either
    side, and put back (heterodyne filtering; textbook).

    Parameters
    ----------
    samples
        Mono, shape (n,).
    sample_rate_hz
        Its rate [Hz].
    track
        Crank track on the clock of the samples.
    orders
        At most 24, above 0; those beyond half the rate are left out [per crank turn].

    Raises
    ------
    OutOfRangeError
        When there are none or too many.
    """
    rate_hz = require_positive("sample rate", sample_rate_hz, "Hz")
    values = require_signal("samples", samples, shortest=64)
    if not 1 <= len(orders) <= MOST_LINES or min(orders) <= 0.0:
        raise OutOfRangeError(
            f"{len(orders)} lines", allowed=f"1 to {MOST_LINES}, above 0", instead="the strongest"
        )
    turns = track.turns_at(np.arange(values.size) / rate_hz)
    turn_hz = float(turns[-1] - turns[0]) / (values.size / rate_hz)
    size = int(fft.next_fast_len(values.size + round(0.5 * rate_hz)))
    frequency_hz = np.abs(fft.fftfreq(size, 1.0 / rate_hz))
    kept = np.zeros(values.size)
    for order in orders:
        if order * turn_hz >= 0.48 * rate_hz:
            continue
        wide_hz = max(LEAST_LINE_HZ, LINE_SHARE * order * turn_hz)
        spin = np.exp(2j * np.pi * order * turns).astype(np.complex64)
        still = fft.fft(values * spin.conj(), size)
        still *= np.clip(2.0 - frequency_hz / wide_hz, 0.0, 1.0)
        kept += 2.0 * (fft.ifft(still)[: values.size] * spin).real
    return kept.astype(np.float32)
