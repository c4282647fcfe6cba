"""Spectral kurtosis of the two signals for which it is a published constant.

Antoni, The spectral kurtosis: a useful tool for characterising non-stationary signals, Mechanical
Systems and Signal Processing 20(2), 2006, 282-307 (values from memory): 0 for stationary Gaussian
noise, -1 for a steady tone. The spread for noise, 4 / frames in variance, is from the same paper.
"""

import numpy as np
import pytest

from beltside.sound.kurtosis import spectral_kurtosis

RATE_HZ = 16_000.0
TIME_S = np.arange(10 * 16_000) / RATE_HZ


@pytest.mark.parametrize("frame", [64, 256, 1024])
def test_gaussian_noise_is_0(frame: int) -> None:
    noise = np.random.default_rng(1).standard_normal(TIME_S.size).astype(np.float32)
    found = spectral_kurtosis(noise, RATE_HZ, frame)
    spread = 2.0 / np.sqrt(found.averages)
    assert found.kurtosis.mean() == pytest.approx(0.0, abs=4 * spread / np.sqrt(frame / 4))
    if frame > 64:
        assert found.kurtosis.std() == pytest.approx(spread, rel=0.25)


def test_gaussian_noise_has_no_bias_with_few_frames() -> None:
    """The plain ratio of 16 frames would read about -2 / 17 = -0.12."""
    rng = np.random.default_rng(2)
    means = [
        spectral_kurtosis(rng.standard_normal(1088), RATE_HZ, 128).kurtosis.mean()
        for _ in range(300)
    ]
    assert np.mean(means) == pytest.approx(0.0, abs=0.03)


@pytest.mark.parametrize("frequency_hz", [1000.0, 3333.0])
def test_steady_tone_is_minus_1(frequency_hz: float) -> None:
    tone = np.sin(2 * np.pi * frequency_hz * TIME_S)
    found = spectral_kurtosis(tone, RATE_HZ, 256)
    near = np.abs(found.frequency_hz - frequency_hz) < 100.0
    assert found.kurtosis[near] == pytest.approx(-1.0, abs=1e-3)


def test_tone_in_noise_lies_between() -> None:
    """At power ratio r of noise to tone in the bin: -1 / (1 + r)^2 (closed form: |s + n|^2 of a
    constant s and circular Gaussian n has <|X|^4> = s^4 + 4 s^2 n + 2 n^2)."""
    noise = np.random.default_rng(3).standard_normal(TIME_S.size)
    size = 256
    in_bin = 2.0 / size * 1.5  # noise power in a Hann bin, one-sided
    tone = np.sqrt(2 * in_bin) * np.sin(2 * np.pi * 2000.0 * TIME_S)  # ratio 1 on the bin
    found = spectral_kurtosis(noise + tone, RATE_HZ, size)
    here = int(np.argmin(np.abs(found.frequency_hz - 2000.0)))
    assert found.kurtosis[here] == pytest.approx(-0.25, abs=4 * 2 / np.sqrt(found.averages))
