"""Third-octave bands against IEC 61260-1:2014, from memory.

Nominal and exact midband frequencies, band-edge frequencies, and the limits of relative
attenuation of class 1 filters (table 1 of the standard, for octave filters, with the breakpoints
for third octaves after its equation 10).
"""

from __future__ import annotations

import numpy as np
import pytest

from beltside.sound.level import third_octave_edges
from beltside.sound.third_octave import (
    a_weight,
    band_shares,
    filter_shares,
    nominal_hz,
    whole_bands,
)

OCTAVE = 10.0**0.3

NOMINAL_AND_EXACT_HZ = [
    (25.0, 25.119), (31.5, 31.623), (40.0, 39.811), (50.0, 50.119), (63.0, 63.096),
    (80.0, 79.433), (100.0, 100.0), (125.0, 125.89), (160.0, 158.49), (200.0, 199.53),
    (250.0, 251.19), (315.0, 316.23), (400.0, 398.11), (500.0, 501.19), (630.0, 630.96),
    (800.0, 794.33), (1000.0, 1000.0), (1250.0, 1258.9), (1600.0, 1584.9), (2000.0, 1995.3),
    (2500.0, 2511.9), (3150.0, 3162.3), (4000.0, 3981.1), (5000.0, 5011.9), (6300.0, 6309.6),
    (8000.0, 7943.3), (10000.0, 10000.0), (12500.0, 12589.0), (16000.0, 15849.0),
]  # fmt: skip

# Octave frequency ratio G^x, least and most attenuation of class 1 [dB].
CLASS_1 = [
    (0.0, -0.4, 0.4), (1 / 8, -0.4, 0.5), (1 / 4, -0.4, 0.7), (3 / 8, -0.4, 1.4),
    (1 / 2, 2.0 - 0.3, 5.3), (1.0, 16.6, np.inf), (2.0, 40.5, np.inf), (3.0, 60.0, np.inf),
]  # fmt: skip


def test_midband_frequencies() -> None:
    band = np.arange(-16, 13)
    exact = third_octave_edges(band)[1]
    nominal = nominal_hz(band)
    for index, (named, true) in enumerate(NOMINAL_AND_EXACT_HZ):
        assert nominal[index] == pytest.approx(named)
        assert exact[index] == pytest.approx(true, rel=1e-4)


def test_edges_meet_and_are_a_third_octave_apart() -> None:
    low, _, high = third_octave_edges(np.arange(-16, 13))
    assert low[1:] == pytest.approx(high[:-1])
    assert high / low == pytest.approx(np.full(29, OCTAVE ** (1 / 3)))
    # Edges of the 1 kHz band: 891.25 and 1122.0 Hz.
    assert (low[16], high[16]) == (
        pytest.approx(891.25, abs=0.01),
        pytest.approx(1122.02, abs=0.01),
    )


@pytest.mark.parametrize("side", [-1.0, 1.0])
@pytest.mark.parametrize(("octaves", "least_db", "most_db"), CLASS_1)
def test_filters_keep_the_limits_of_class_1(
    side: float, octaves: float, least_db: float, most_db: float
) -> None:
    octave_ratio = OCTAVE**octaves
    span = (OCTAVE ** (1 / 6) - 1.0) / (OCTAVE**0.5 - 1.0)
    third_ratio = 1.0 + span * (octave_ratio - 1.0)
    at_hz = np.array([1000.0 * third_ratio**side])
    attenuation_db = -10.0 * np.log10(float(filter_shares(at_hz, [0])[0, 0]))
    assert least_db <= attenuation_db <= most_db


@pytest.mark.parametrize("band", [-16, -6, 0, 12])
def test_white_noise_passes_a_filter_as_a_rectangle_between_the_edges(band: int) -> None:
    """Effective bandwidth (IEC 61260-1:2014, 5.11): within 0.4 dB for class 1."""
    low, centre, high = (float(edge[0]) for edge in third_octave_edges([band]))
    grid = np.geomspace(centre / 30.0, centre * 30.0, 20_001)
    passed = np.trapezoid(filter_shares(grid, [band])[0], grid)
    assert abs(10.0 * np.log10(passed / (high - low))) < 0.05


def test_shares_of_bins_add_up() -> None:
    grid = np.arange(0.0, 12_000.0, 2.9)
    band = whole_bands(12_000.0)
    low, _, high = third_octave_edges(band)
    assert band_shares(grid, band).sum(axis=1) * 2.9 == pytest.approx(high - low)


@pytest.mark.parametrize(
    ("frequency_hz", "weight_db"),
    [(31.5, -39.4), (63.0, -26.2), (125.0, -16.1), (250.0, -8.6), (500.0, -3.2),
     (1000.0, 0.0), (2000.0, 1.2), (4000.0, 1.0), (8000.0, -1.1), (16000.0, -6.6)],
)  # fmt: skip
def test_a_weighting(frequency_hz: float, weight_db: float) -> None:
    """IEC 61672-1, table 3, from memory; its goals are given to 0.1 dB at nominal frequencies."""
    assert 10.0 * np.log10(float(a_weight([frequency_hz])[0])) == pytest.approx(weight_db, abs=0.15)
