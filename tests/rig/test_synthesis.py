"""The building blocks against scipy's own convolution and filters."""

import numpy as np
import pytest
import scipy.signal

from beltside.rig.synthesis import (
    RATE_HZ,
    Mixer,
    chain,
    minimum_phase,
    place_pulses,
    ringing,
    slow_noise,
)


def test_mixer_is_plain_convolution() -> None:
    rng = np.random.default_rng(1)
    signal = rng.standard_normal(30_001).astype(np.float32)
    responses = rng.standard_normal((2, 900)).astype(np.float32)
    mixer = Mixer(len(signal), 2)
    mixer.add(signal, responses)
    mixer.add(signal[::-1].copy(), responses[::-1])
    for channel, mixed in enumerate(mixer.samples()):
        expected = scipy.signal.fftconvolve(signal, responses[channel])
        expected = expected + scipy.signal.fftconvolve(signal[::-1], responses[1 - channel])
        assert mixed == pytest.approx(expected[: len(signal)], abs=2e-3)


def test_chain_is_convolution() -> None:
    rng = np.random.default_rng(2)
    first, second = (rng.standard_normal(n).astype(np.float32) for n in (300, 77))
    joined = chain(first, second)
    assert joined[:376] == pytest.approx(np.convolve(first, second), abs=1e-4)


def test_minimum_phase_has_the_magnitude_and_is_minimum_phase() -> None:
    response = minimum_phase([100.0, 1000.0, 10_000.0], [-6.0, 0.0, -20.0])
    _, transfer = scipy.signal.freqz(response, worN=[100.0, 1000.0, 10_000.0], fs=RATE_HZ)
    assert 20 * np.log10(np.abs(transfer)) == pytest.approx([-6.0, 0.0, -20.0], abs=0.5)
    # A minimum-phase response has its energy first: half of it within the first samples.
    energy = np.cumsum(response.astype(float) ** 2)
    assert energy[50] > 0.9 * energy[-1]


def test_ringing_decays_as_a_damped_oscillator() -> None:
    # Logarithmic decrement 2 pi zeta / sqrt(1 - zeta^2) per period (textbook, from memory).
    frequency_hz, damping = 1000.0, 0.02
    wave = ringing(frequency_hz, damping, 1.0, length=2048)
    period = round(RATE_HZ / frequency_hz)
    peaks = [np.abs(wave[k * period : (k + 1) * period]).max() for k in (2, 12)]
    assert np.log(peaks[0] / peaks[1]) / 10 == pytest.approx(2 * np.pi * damping, rel=0.03)


def test_pulses_keep_their_moment_and_size() -> None:
    placed = place_pulses(np.array([10.25 / RATE_HZ]), np.array([2.0]), 30)
    assert placed.sum() == pytest.approx(2.0)
    assert np.sum(placed * np.arange(30)) / placed.sum() == pytest.approx(10.25)


def test_slow_noise_is_slow_and_has_unit_variance() -> None:
    wave = slow_noise(np.random.default_rng(3), 200_000, 1000.0, 5.0)
    frequency, power = scipy.signal.welch(wave, 1000.0, nperseg=8192)
    assert np.var(wave) == pytest.approx(1.0, rel=0.35)
    assert power[frequency > 15.0].sum() < 0.05 * power.sum()
