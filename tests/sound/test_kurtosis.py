"""Spectral kurtosis on signals whose value is known, and the band it points to."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import signal

from beltside.base.errors import InputError, OutOfRangeError
from beltside.sound.bands import Band, plan_bands
from beltside.sound.kurtosis import choose_bands, spectral_kurtosis

RATE_HZ = 16_000.0
SIZE = 4 * 16_000


def noise(seed: int = 0, size: int = SIZE) -> np.ndarray:
    return np.random.default_rng(seed).standard_normal(size)


def ringing(rate_per_s: float, resonance_hz: float, seed: int = 1) -> np.ndarray:
    """Impacts at a steady rate that ring a resonance for about 2 ms."""
    hits = np.zeros(SIZE)
    hits[(np.arange(0.0, SIZE / RATE_HZ, 1 / rate_per_s) * RATE_HZ).astype(int)] = 1.0
    time_s = np.arange(400) / RATE_HZ
    ring = np.exp(-time_s / 0.001) * np.sin(2 * np.pi * resonance_hz * time_s)
    return np.convolve(hits, ring)[:SIZE] + 0.05 * noise(seed)


def test_agrees_with_the_definition_on_scipys_transform() -> None:
    values = ringing(40.0, 4000.0)
    found = spectral_kurtosis(values, RATE_HZ, 128)
    _, _, transform = signal.stft(
        values, RATE_HZ, "hann", 128, 64, boundary=None, padded=False, detrend=False
    )
    size = np.abs(transform[1:-1]) ** 2
    frames = size.shape[1]
    plain = np.mean(size**2, axis=1) / np.mean(size, axis=1) ** 2 - 2.0
    # For many frames the corrected form goes over into the plain ratio.
    assert found.kurtosis == pytest.approx(plain, abs=5 * (plain.max() + 4) / frames)


def test_impacts_show_at_their_resonance() -> None:
    found = spectral_kurtosis(ringing(40.0, 4000.0), RATE_HZ, 128)
    top = found.frequency_hz[int(np.argmax(found.kurtosis))]
    assert top == pytest.approx(4000.0, abs=500.0)
    assert found.kurtosis.max() > 1.0


@pytest.mark.parametrize("resonance_hz", [2500.0, 4000.0, 6000.0])
def test_band_choice_is_the_resonance(resonance_hz: float) -> None:
    bands = plan_bands(RATE_HZ)
    first, second, *_ = choose_bands(ringing(40.0, resonance_hz), RATE_HZ, bands)
    # Each hit also rings the neighbouring band a little, at the same instants.
    assert any(c.band.low_hz <= resonance_hz <= c.band.high_hz for c in (first, second))
    assert first.deviations > 10.0


def test_noise_alone_chooses_nothing_with_confidence() -> None:
    found = choose_bands(noise(3), RATE_HZ, plan_bands(RATE_HZ))
    assert max(choice.deviations for choice in found) < 4.5


def test_all_bands_come_back_in_order() -> None:
    bands = plan_bands(RATE_HZ)
    found = choose_bands(ringing(40.0, 4000.0), RATE_HZ, bands)
    assert {choice.band for choice in found} == set(bands)
    assert [c.deviations for c in found] == sorted((c.deviations for c in found), reverse=True)


def test_part_of_a_long_block_chooses_as_the_whole_does() -> None:
    values = ringing(40.0, 4000.0)
    bands = plan_bands(RATE_HZ)
    whole = choose_bands(values, RATE_HZ, bands, most_s=100.0)[0]
    part = choose_bands(values, RATE_HZ, bands, most_s=1.0)[0]
    assert part.band == whole.band
    assert part.kurtosis == pytest.approx(whole.kurtosis, rel=0.3)


@settings(max_examples=10, deadline=None)
@given(gain=st.floats(1e-4, 1e4), shift=st.integers(0, SIZE - 1))
def test_neither_level_nor_start_matter(gain: float, shift: int) -> None:
    values = ringing(40.0, 4000.0).astype(np.float32)
    plain = spectral_kurtosis(values, RATE_HZ, 128).kurtosis
    other = spectral_kurtosis(np.float32(gain) * np.roll(values, shift), RATE_HZ, 128).kurtosis
    assert other == pytest.approx(plain, abs=0.6)
    same = spectral_kurtosis(np.float32(gain) * values, RATE_HZ, 128).kurtosis
    assert same == pytest.approx(plain, abs=2e-3)


def test_refuses_what_it_cannot_do() -> None:
    with pytest.raises(OutOfRangeError, match="silence"):
        spectral_kurtosis(np.zeros(4000), RATE_HZ, 128)
    with pytest.raises(OutOfRangeError, match="values"):
        spectral_kurtosis(noise(size=500), RATE_HZ, 128)
    with pytest.raises(OutOfRangeError, match="frames"):
        spectral_kurtosis(noise(), RATE_HZ, 8)
    with pytest.raises(OutOfRangeError, match="frames"):
        spectral_kurtosis(noise(), RATE_HZ, 64, hop=100)
    with pytest.raises(InputError, match="not finite"):
        spectral_kurtosis(np.full(4000, np.nan), RATE_HZ, 64)
    with pytest.raises(OutOfRangeError, match="bands"):
        choose_bands(noise(), RATE_HZ, [])
    with pytest.raises(OutOfRangeError):
        choose_bands(noise(), RATE_HZ, [Band(1000, 2000)], [-1.0])
