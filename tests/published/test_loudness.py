"""Loudness and sharpness against the standards' own signals and an open library.

Sources:
- ISO 532-1:2017, annex B.2 (band levels of test signal 1 and its loudness) and annex B.3 (tones);
  levels as copied in two open test suites, loudness of signal 1 and of the tones from memory.
- DIN 45692:2009, table A.2 (critical-band noise), as copied in an open test suite.
- MoSQITo 1.2 (the package `mosqito`), stationary method, as second implementation.
- Definition of the sone: doubling for every 10 phon from 40 phon up.
"""

from __future__ import annotations

import warnings

import numpy as np
import numpy.typing as npt
import pytest
from scipy import signal

from beltside.sound.loudness import REFERENCE_PA, loudness, loudness_of_levels
from beltside.sound.sharpness import sharpness

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    from mosqito.sq_metrics import loudness_zwst, sharpness_din_from_loudness
    from mosqito.sq_metrics.loudness.loudness_zwst._calc_slopes import _calc_slopes
    from mosqito.sq_metrics.loudness.loudness_zwst._main_loudness import _main_loudness

RATE_HZ = 48_000
FIVE_PER_CENT = 0.05

ANNEX_B2_DB = [
    -60, -60, 78, 79, 89, 72, 80, 89, 75, 87, 85, 79, 86, 80,
    71, 70, 72, 71, 72, 74, 69, 65, 67, 77, 68, 58, 45, 30,
]  # fmt: skip


def tone(frequency_hz: float, level_db: float, seconds: float = 1.0) -> npt.NDArray[np.float64]:
    time_s = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    peak = np.sqrt(2.0) * REFERENCE_PA * 10.0 ** (level_db / 20.0)
    return np.asarray(peak * np.sin(2.0 * np.pi * frequency_hz * time_s))


def band_noise(low_hz: float, high_hz: float, level_db: float) -> npt.NDArray[np.float64]:
    """Noise between two frequencies with steep edges, in the frequency domain."""
    size = 4 * RATE_HZ
    spectrum = np.fft.rfft(np.random.default_rng(7).standard_normal(size))
    frequency_hz = np.fft.rfftfreq(size, 1.0 / RATE_HZ)
    spectrum[(frequency_hz < low_hz) | (frequency_hz > high_hz)] = 0.0
    wave = np.fft.irfft(spectrum, size)
    wave *= REFERENCE_PA * 10.0 ** (level_db / 20.0) / np.std(wave)
    return np.asarray(wave)


def test_annex_b2_band_levels() -> None:
    assert loudness_of_levels(ANNEX_B2_DB).sone == pytest.approx(83.296, rel=1e-3)


@pytest.mark.parametrize(
    ("frequency_hz", "level_db", "sone"),
    [(250.0, 80.0, 14.655), (1000.0, 60.0, 4.019), (4000.0, 40.0, 1.549), (1000.0, 40.0, 1.0)],
)
def test_annex_b3_tones(frequency_hz: float, level_db: float, sone: float) -> None:
    heard = loudness(tone(frequency_hz, level_db), RATE_HZ)
    assert heard.sone == pytest.approx(sone, rel=FIVE_PER_CENT)


@pytest.mark.parametrize(("level_db", "sone"), [(40.0, 1.0), (60.0, 4.0), (70.0, 8.0)])
def test_sone_doubles_every_ten_phon(level_db: float, sone: float) -> None:
    heard = loudness(tone(1000.0, level_db), RATE_HZ)
    assert heard.sone == pytest.approx(sone, rel=FIVE_PER_CENT)
    assert heard.phon == pytest.approx(level_db, abs=1.0)


@pytest.mark.parametrize("seed", range(6))
def test_any_band_levels_as_in_the_library(seed: int) -> None:
    rng = np.random.default_rng(seed)
    level_db = rng.uniform(0.0, 90.0, 28) if seed % 2 else rng.normal(60.0, 12.0, 28)
    theirs, specific = _calc_slopes(_main_loudness(level_db.copy(), "free"))
    ours = loudness_of_levels(level_db)
    assert ours.sone == pytest.approx(float(theirs), rel=1e-3)
    # ISO 532-1 allows 5 % or 0.1 sone/Bark.
    assert np.all(np.abs(ours.specific - specific) <= np.maximum(0.05 * specific, 0.1))


def test_a_sound_as_in_the_library() -> None:
    wave = band_noise(200.0, 6000.0, 70.0)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        theirs, specific, _ = loudness_zwst(wave, RATE_HZ)
    ours = loudness(wave, RATE_HZ)
    assert ours.sone == pytest.approx(float(theirs), rel=0.02)
    assert sharpness(ours) == pytest.approx(
        float(sharpness_din_from_loudness(theirs, specific)), rel=0.02
    )


@pytest.mark.parametrize(
    ("low_hz", "high_hz", "acum"),
    [(200.0, 300.0, 0.38), (920.0, 1080.0, 1.00), (2320.0, 2700.0, 1.78), (3700.0, 4400.0, 2.82)],
)
def test_sharpness_of_critical_band_noise(low_hz: float, high_hz: float, acum: float) -> None:
    """DIN 45692:2009, table A.2: noise one critical band wide (edges after Zwicker 1961, from
    memory), at 4 sone; 5 % or 0.05 acum."""
    level_db = 60.0
    for _ in range(6):
        heard = loudness(band_noise(low_hz, high_hz, level_db), RATE_HZ)
        level_db += 10.0 * np.log2(4.0 / heard.sone)
    assert heard.sone == pytest.approx(4.0, rel=0.02)
    assert sharpness(heard) == pytest.approx(acum, abs=max(0.05, 0.05 * acum))


def test_filters_weigh_as_butterworth_filters_do() -> None:
    """A tone between two bands, through scipy's digital filters of the same order and width."""
    wave = tone(890.0, 60.0)
    angle = np.pi / 6.0
    side = 10.0**0.05
    quality = angle / np.sin(angle) / (side - 1.0 / side)
    wide = (1.0 + np.sqrt(1.0 + 4.0 * quality**2)) / (2.0 * quality)
    levels = np.full(28, -60.0)
    for number in range(28):
        centre_hz = 1000.0 * 10.0 ** ((number - 16) / 10.0)
        if centre_hz < 300.0:
            continue
        sos = signal.butter(
            3, (centre_hz / wide, centre_hz * wide), "band", fs=RATE_HZ, output="sos"
        )
        power = float(np.mean(signal.sosfilt(sos, wave)[RATE_HZ // 4 :] ** 2))
        levels[number] = max(10.0 * np.log10(power / REFERENCE_PA**2), -60.0)
    assert loudness(wave, RATE_HZ).sone == pytest.approx(loudness_of_levels(levels).sone, rel=0.03)
