"""What went with the belt, band by band: known changes, whatever the phone's gain did."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from drives import heard

from beltside.casework.fault_band import (
    band_change,
    band_measures,
    belt_share,
    probe_lead,
    spectrum_peak,
)
from beltside.sound.hearing import Hearing
from beltside.sound.orders import PowerSpectrum


def hearing(seed: int = 1) -> Hearing:
    return heard(seed).hearing


def louder(one: Hearing, gain_db: float, bands: dict[int, float]) -> Hearing:
    """The same take with another gain, and some bands raised [dB]."""
    raised = one.band_power * 10.0 ** (gain_db / 10.0)
    for band, rise_db in bands.items():
        raised[band] *= 10.0 ** (rise_db / 10.0)
    return replace(one, band_power=raised)


@pytest.mark.parametrize("gain_db", [-20.0, 0.0, 14.0])
def test_band_change_is_free_of_the_gain(gain_db: float) -> None:
    """With the engine's own lines as reference, or the quarter of bands that changed least."""
    off = hearing()
    on = louder(off, gain_db, {5: 9.0, 6: 6.0})
    for reference in ((gain_db, 0.0), (None, None)):
        change = band_change(on, off, reference)
        assert change[5] == pytest.approx(9.0, abs=1e-6)
        assert change[6] == pytest.approx(6.0, abs=1e-6)
        assert np.abs(np.delete(change, [5, 6])).max() < 1e-6


def test_share_that_went_with_the_belt() -> None:
    """A band 3.01 dB louder holds twice the power: half of it went; under 2 dB is chance."""
    share = belt_share(np.array([10.0 * np.log10(2.0), 10.0, 1.9, -5.0]))
    assert share == pytest.approx([0.5, 0.9, 0.0, 0.0], abs=1e-9)


def test_measures_say_where_the_change_is() -> None:
    off = hearing()
    low, high = louder(off, 0.0, {1: 12.0}), louder(off, 0.0, {9: 12.0})
    values = [
        band_measures(on, off, band_change(on, off, (0.0, 0.0)), {}) for on in (low, high, off)
    ]
    assert values[0]["band_centre"] < 0.0 < values[1]["band_centre"]
    assert values[0]["band_drop"] == pytest.approx(1.0, abs=0.01)  # mean of 12 and 0 dB, over 6
    assert all(value == 0.0 for name, value in values[2].items() if name != "band_drop")


def test_a_tone_is_narrow_and_a_noise_is_broad() -> None:
    frequency_hz = np.arange(0.0, 12000.0, 6.0)
    noise = np.random.default_rng(1).gamma(30.0, 1.0 / 30.0, frequency_hz.size)
    assert spectrum_peak(PowerSpectrum(frequency_hz, noise, 30.0)) < 0.3
    tone = noise.copy()
    tone[np.abs(frequency_hz - 2400.0) < 15.0] += 300.0
    assert spectrum_peak(PowerSpectrum(frequency_hz, tone, 30.0)) > 1.0


def test_probe_lead() -> None:
    """Louder in two bands out of ten: those count; with the belt's share known, only its own."""
    change = np.zeros(10)
    change[3:5] = 8.0
    best, _ = probe_lead([change], None)
    assert best == pytest.approx(1.0)
    share = np.zeros(10)
    share[3] = 0.8
    assert probe_lead([change], share)[1] == pytest.approx(1.0)
    assert probe_lead([-change], share)[1] == pytest.approx(-1.0)
