"""Squared envelope spectra of bearing impacts at published multipliers of the shaft.

Multipliers: Case Western Reserve University bearing data, drive-end bearing 6205-2RS: outer race
3.5848, inner race 5.4152, cage 0.39828 per shaft turn (tolerance 0.0005). Method: Randall &
Antoni, Rolling element bearing diagnostics - a tutorial, Mechanical Systems and Signal Processing
25(2), 2011, 485-520: an outer-race fault under steady load shows harmonics of its rate, an
inner-race fault carries sidebands at shaft speed as it turns through the loaded zone.
"""

import numpy as np
import pytest

from beltside.sound import lines
from beltside.sound.angle import resample_to_angle, time_at_turns
from beltside.sound.bands import Band, band_envelopes
from beltside.sound.orders import OrderSpectrum, order_spectrum
from beltside.sound.track import CrankTrack

OUTER, INNER, CAGE = 3.5848, 5.4152, 0.39828
RATE_HZ = 12_000.0
LENGTH_S = 20.0
TIME_S = np.arange(int(LENGTH_S * RATE_HZ)) / RATE_HZ
KNOTS_S = np.arange(0.0, LENGTH_S + 1.0)
SHAFT = CrankTrack(KNOTS_S, 1750.0 + 120.0 * np.sin(0.7 * KNOTS_S), 0.0 * KNOTS_S, 0.0 * KNOTS_S)
RESONANCE = Band(2500.0, 4000.0)


def bearing(order: float, loaded_zone: bool, seed: int, level: float = 0.4) -> np.ndarray:
    """Impacts once in 1 / order shaft turns, with 0.3 % of slip, ringing 3.2 kHz, in noise."""
    rng = np.random.default_rng(seed)
    count = int(SHAFT.turns_at(np.array([LENGTH_S]))[0] * order) - 4
    turn = np.sort(np.arange(count) / order + 0.003 / order * rng.standard_normal(count))
    at_s = time_at_turns(SHAFT, turn - turn[0] + 0.1)
    size = 1.0 + (0.8 * np.cos(2 * np.pi * turn) if loaded_zone else 0.0)
    hits = np.zeros(TIME_S.size)
    np.add.at(hits, (at_s * RATE_HZ).astype(int), size)
    ring_s = np.arange(200) / RATE_HZ
    ring = np.exp(-ring_s / 0.001) * np.sin(2 * np.pi * 3200.0 * ring_s)
    return level * np.convolve(hits, ring)[: TIME_S.size] + 0.3 * rng.standard_normal(TIME_S.size)


def envelope_spectrum(samples: np.ndarray) -> OrderSpectrum:
    (envelope,) = band_envelopes(samples.astype(np.float32), RATE_HZ, [RESONANCE], 2000.0)
    angle = resample_to_angle(envelope.squared, envelope.rate_hz, 0.0, SHAFT, 64)
    return order_spectrum(angle, 40, 24)


def test_outer_race_shows_its_multiplier_and_harmonics() -> None:
    spectrum = envelope_spectrum(bearing(OUTER, loaded_zone=False, seed=1))
    found = lines.comb_test(spectrum, 0.98 * OUTER, 1.02 * OUTER, 4)
    assert found.fundamental == pytest.approx(OUTER, abs=0.02)
    assert found.p_value < 1e-6
    assert found.seen == 4
    orders = np.array([line.order for line in lines.find_lines(spectrum)])
    for harmonic in (1, 2, 3):
        assert np.abs(orders - harmonic * OUTER).min() < 0.015
    # No sidebands at shaft speed under steady load.
    sides = lines.test_orders(spectrum, [OUTER - 1.03, OUTER + 0.97], [OUTER - 0.97, OUTER + 1.03])
    assert sides.p_value.min() > 0.001


def test_inner_race_carries_sidebands_at_shaft_speed() -> None:
    spectrum = envelope_spectrum(bearing(INNER, loaded_zone=True, seed=2))
    orders = np.array([line.order for line in lines.find_lines(spectrum)])
    for expected in (1.0, INNER - 1, INNER, INNER + 1, 2 * INNER):
        assert np.abs(orders - expected).min() < 0.015
    found = lines.comb_test(spectrum, 0.98 * INNER, 1.02 * INNER, 3, sidebands=(1.0,))
    assert found.fundamental == pytest.approx(INNER, abs=0.02)
    assert found.p_value < 1e-8


@pytest.mark.parametrize("order", [OUTER, INNER, CAGE])
def test_sound_bearing_is_quiet(order: float) -> None:
    spectrum = envelope_spectrum(bearing(OUTER, loaded_zone=False, seed=3, level=0.0))
    window = lines.test_orders(spectrum, [0.98 * order], [1.02 * order])
    assert window.p_value[0] > 0.01
    assert lines.find_lines(spectrum) == ()


def test_closed_form_of_a_modulated_tone() -> None:
    """(1 + m cos a)^2 = 1 + m^2/2 + 2 m cos a + m^2/2 cos 2a: lines of power 2 m^2 and m^4/8."""
    depth = 0.5
    turn = SHAFT.turns_at(TIME_S)
    carrier = np.sin(2 * np.pi * 3200.0 * TIME_S)
    spectrum = envelope_spectrum((1 + depth * np.cos(2 * np.pi * INNER * turn)) * carrier)
    near = np.abs(spectrum.order - INNER) < 0.06
    twice = np.abs(spectrum.order - 2 * INNER) < 0.06
    assert spectrum.power[near].sum() / 1.5 == pytest.approx(2 * depth**2, rel=0.01)
    assert spectrum.power[twice].sum() / 1.5 == pytest.approx(depth**4 / 8, rel=0.01)
