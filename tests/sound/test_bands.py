"""Bands and squared envelopes against scipy.signal.hilbert and closed forms."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import fft, signal

from beltside.base.errors import InputError, OutOfRangeError
from beltside.sound.bands import (
    EDGE_TAPER,
    Band,
    band_envelopes,
    block_spectrum,
    envelopes_of,
    plan_bands,
)

RATE_HZ = 16_000.0
INSIDE = slice(200, -200)


def by_hilbert(samples: np.ndarray, rate_hz: float, band: Band) -> np.ndarray:
    """The same band at full rate: weights on the whole spectrum, then scipy's analytic signal."""
    size = samples.size
    frequency_hz = np.arange(size // 2 + 1) * rate_hz / size

    def step(edge_hz: float) -> np.ndarray:
        place = np.clip((frequency_hz / edge_hz - 1) / (2 * EDGE_TAPER), -0.5, 0.5)
        return 0.5 + 0.5 * np.sin(np.pi * place)

    weights = step(band.low_hz) * (1 - step(band.high_hz))
    return np.abs(signal.hilbert(np.fft.irfft(np.fft.rfft(samples) * weights, size))) ** 2


@pytest.mark.parametrize("rate_hz", [8_000.0, 16_000.0, 44_100.0, 48_000.0, 96_000.0])
def test_plan_covers_400_hz_to_the_top_without_gaps(rate_hz: float) -> None:
    bands = plan_bands(rate_hz)
    assert bands[0].low_hz == 400.0
    assert bands[-1].high_hz == pytest.approx(min(0.45 * rate_hz, 18_000.0))
    assert all(a.high_hz == b.low_hz for a, b in pairwise(bands))
    ratios = [band.high_hz / band.low_hz for band in bands]
    assert np.ptp(ratios) < 1e-9
    # 1.5 to 3 bands per octave: a ratio from 2^(1/3) to 2^(2/3).
    assert 2 ** (1 / 3) - 1e-9 <= ratios[0] <= 2 ** (2 / 3)


def test_48_khz_gets_10_to_14_bands() -> None:
    assert 10 <= len(plan_bands(48_000.0)) <= 14


def test_sine_inside_a_band_reads_amplitude_squared() -> None:
    time_s = np.arange(32_000) / RATE_HZ
    tone = (0.3 * np.sin(2 * np.pi * 1500.0 * time_s)).astype(np.float32)
    narrow, wide, elsewhere = band_envelopes(
        tone, RATE_HZ, [Band(1400, 1600), Band(1000, 3000), Band(4000, 6000)], 1000.0
    )
    assert narrow.squared[INSIDE] == pytest.approx(0.09, rel=1e-3)
    assert wide.squared[INSIDE] == pytest.approx(0.09, rel=1e-3)
    assert np.abs(elsewhere.squared[INSIDE]).max() < 1e-7


def test_narrow_band_agrees_with_the_analytic_signal_at_full_rate() -> None:
    noise = np.random.default_rng(1).standard_normal(24_000).astype(np.float32)
    band = Band(2000.0, 2400.0)
    (envelope,) = band_envelopes(noise, RATE_HZ, [band], 2000.0)
    reference = by_hilbert(noise.astype(float), RATE_HZ, band)
    time_s = np.arange(envelope.squared.size) / envelope.rate_hz
    there = signal.resample(reference, 8 * reference.size)
    wanted = np.interp(time_s, np.arange(there.size) / (8 * RATE_HZ), there)
    keep = (time_s > 0.05) & (time_s < time_s[-1] - 0.05)
    error = np.abs(envelope.squared - wanted)[keep].max() / reference.max()
    assert error < 2e-3


def test_wide_band_has_no_folded_modulation() -> None:
    """Against the full-rate envelope, low-passed afterwards: what folded would differ."""
    noise = np.random.default_rng(2).standard_normal(64_000).astype(np.float32)
    band = Band(2000.0, 5000.0)
    (envelope,) = band_envelopes(noise, RATE_HZ, [band], 1000.0)
    reference = by_hilbert(noise.astype(float), RATE_HZ, band)
    # Modulation spectra of both from the same stretch of time.
    span = 3.0
    ours = np.fft.rfft(signal.resample(envelope.squared[: int(span * envelope.rate_hz)], 3000))
    theirs = np.fft.rfft(reference[: int(span * RATE_HZ)])
    step = RATE_HZ / theirs.size / 2
    up_to = int(0.8 * envelope.rate_hz / 2 / step)
    # `resample` sees a jump at the ends of the stretch, so agreement is judged on the whole.
    a, b = np.abs(ours[3:up_to]) / 3000, np.abs(theirs[3:up_to]) / (span * RATE_HZ)
    assert np.corrcoef(a, b)[0, 1] > 0.99
    assert np.sum(a**2) == pytest.approx(np.sum(b**2), rel=0.03)


def test_beat_of_two_tones_keeps_its_size() -> None:
    """|a e^{i w1 t} + b e^{i w2 t}|^2 = a^2 + b^2 + 2 a b cos (w1 - w2) t."""
    time_s = np.arange(64_000) / RATE_HZ
    both = np.sin(2 * np.pi * 3000 * time_s) + 0.5 * np.sin(2 * np.pi * 3130 * time_s)
    (envelope,) = band_envelopes(both.astype(np.float32), RATE_HZ, [Band(2000, 5000)], 1000.0)
    at = np.arange(envelope.squared.size) / envelope.rate_hz
    wanted = 1.25 + np.cos(2 * np.pi * 130 * at)
    assert np.abs(envelope.squared - wanted)[INSIDE].max() < 2e-3


def test_modulation_beyond_the_reduced_rate_is_gone_and_does_not_fold() -> None:
    time_s = np.arange(64_000) / RATE_HZ
    both = np.sin(2 * np.pi * 3000 * time_s) + 0.5 * np.sin(2 * np.pi * 3730 * time_s)
    (envelope,) = band_envelopes(both.astype(np.float32), RATE_HZ, [Band(2000, 5000)], 1000.0)
    assert np.abs(envelope.squared - 1.25)[INSIDE].max() < 2e-3


def test_low_passed_envelopes_share_one_rate_at_most_the_wanted() -> None:
    noise = np.random.default_rng(0).standard_normal(48_000).astype(np.float32)
    found = band_envelopes(noise, 48_000.0, plan_bands(48_000.0), 2000.0)
    assert all(envelope.rate_hz <= 2000.0 for envelope in found)
    assert len({found[k].rate_hz for k in range(-5, 0)}) == 1
    for envelope in found:
        assert (envelope.squared.size - 1) / envelope.rate_hz <= 47_999 / 48_000 + 1e-9


def test_closing_the_ring_keeps_the_end_out_of_the_start() -> None:
    """A burst at the very end must not show at the start."""
    samples = np.zeros(16_000, dtype=np.float32)
    samples[-40:] = np.sin(np.arange(40))
    (envelope,) = band_envelopes(samples, RATE_HZ, [Band(2000, 3000)], 4000.0)
    assert np.abs(envelope.squared[:100]).max() < 1e-4 * envelope.squared.max()


@settings(max_examples=10, deadline=None)
@given(gain=st.floats(1e-3, 1e3), seed=st.integers(0, 99))
def test_envelope_goes_with_the_square_of_the_sound(gain: float, seed: int) -> None:
    noise = np.random.default_rng(seed).standard_normal(4000).astype(np.float32)
    plain = band_envelopes(noise, RATE_HZ, [Band(1000, 3000)], 800.0)[0].squared
    louder = band_envelopes(np.float32(gain) * noise, RATE_HZ, [Band(1000, 3000)], 800.0)[0]
    assert np.allclose(louder.squared, plain * gain**2, rtol=1e-4, atol=1e-5 * gain**2)


def test_refuses_what_it_cannot_do() -> None:
    good = np.zeros(16_000, dtype=np.float32)
    bad = good.copy()
    bad[5] = np.nan
    with pytest.raises(InputError, match="not finite"):
        band_envelopes(bad, RATE_HZ, [Band(1000, 2000)], 1000.0)
    with pytest.raises(InputError, match="shape"):
        band_envelopes(good.reshape(2, -1), RATE_HZ, [Band(1000, 2000)], 1000.0)
    with pytest.raises(InputError, match="complex"):
        block_spectrum(good.astype(complex), RATE_HZ)
    with pytest.raises(OutOfRangeError):
        block_spectrum(good[:32], RATE_HZ)
    for band in (Band(0, 1000), Band(7000, 7990), Band(2000, 1000), Band(1000, 1001)):
        with pytest.raises(OutOfRangeError, match="band"):
            band_envelopes(good, RATE_HZ, [band], 1000.0)
    with pytest.raises(OutOfRangeError, match="envelope rate"):
        envelopes_of(block_spectrum(good, RATE_HZ), [Band(1000, 2000)], 5.0)
    with pytest.raises(OutOfRangeError):
        plan_bands(1000.0)
    with pytest.raises(OutOfRangeError):
        plan_bands(48_000.0, high_hz=23_000.0)
    with pytest.raises(OutOfRangeError):
        plan_bands(48_000.0, bands_per_octave=0.1)


def test_transform_length_has_small_prime_factors() -> None:
    block = block_spectrum(np.ones(15_991, dtype=np.float32), RATE_HZ)
    assert block.fft_size == fft.next_fast_len(block.fft_size, real=True)
    assert block.spectrum.dtype == np.complex64
