"""Direction against print and against an independent simulator of rooms.

Knapp & Carter, The generalized correlation method for estimation of time delay, IEEE Transactions
on Acoustics, Speech, and Signal Processing 24(4), 1976. Rooms: pyroomacoustics (Scheibler,
Bezzam, Dokmanic, Pyroomacoustics: a Python package for audio room simulations, ICASSP 2018), which
holds Allen & Berkley's image method (1979).
"""

from __future__ import annotations

import numpy as np
import pyroomacoustics
import pytest
import scipy.signal

from beltside.sound.bands import Band
from beltside.sound.direction import delay_map, delay_path, side_angle_deg

RATE_HZ = 48_000


def test_phase_transform_as_printed() -> None:
    """Knapp & Carter 1976, table I: the weighting 1 / |G12| leaves the phase of the cross-spectrum
    alone; written out here over one long transform."""
    rng = np.random.default_rng(4)
    wave = rng.normal(size=RATE_HZ)
    both = np.stack((wave, np.roll(wave, 11)))
    cross = np.fft.rfft(both[1]) * np.conj(np.fft.rfft(both[0]))
    printed = np.fft.irfft(cross / np.abs(cross))
    assert int(np.argmax(printed)) == 11
    path = delay_path(delay_map(both, RATE_HZ, Band(500.0, 20_000.0), 0.45e-3))
    assert path.delay_s * RATE_HZ == pytest.approx(np.full(path.delay_s.size, 11.0), abs=0.02)


def test_angle_of_a_delay() -> None:
    """asin(c tau / d) with tau 0.2 ms and d 0.2 m at 343 m/s is 20.06 degrees (plane geometry);
    at 343.2 m/s, as ISO 9613-1:1993 gives for 20 degrees Celsius (from memory), 20.07."""
    assert float(side_angle_deg(-0.2e-3, 200.0)) == pytest.approx(20.06, abs=0.02)


def room_take(rng: np.random.Generator, across_m: float, away_m: float) -> tuple[np.ndarray, float]:
    """A noise in front of a wall of engine noise as loud in its band, two microphones 14 cm apart
    in a workshop of 6 x 5 x 3 m; and its true angle. After Scheibler and others 2018."""
    room = pyroomacoustics.ShoeBox(
        [6.0, 5.0, 3.0], fs=RATE_HZ, materials=pyroomacoustics.Material(0.4), max_order=4
    )
    crank = np.array([3.0, 2.5, 0.9])
    phone = crank + np.array([0.0, -away_m, 0.1])
    count = round(1.5 * RATE_HZ)
    band = scipy.signal.butter(2, (1800.0, 5000.0), "band", fs=RATE_HZ, output="sos")
    source = crank + np.array([across_m, 0.0, 0.2])
    room.add_source(source, signal=scipy.signal.sosfilt(band, rng.normal(size=count)))
    for _ in range(6):
        spot = crank + rng.uniform((-0.4, 0.0, -0.1), (0.4, 0.5, 0.5))
        room.add_source(spot, signal=rng.normal(size=count))
    half = np.array([0.07, 0.0, 0.0])
    ears = np.array([phone - half, phone + half]).T
    room.add_microphone_array(ears)
    each = room.simulate(return_premix=True)
    own = [np.mean(scipy.signal.sosfilt(band, wave) ** 2) for wave in (each[0], each[1:].sum(0))]
    mixed = each[0] + np.sqrt(own[0] / own[1]) * each[1:].sum(axis=0)
    to = source - phone
    return mixed[:, :count], float(np.rad2deg(np.arcsin(to[0] / np.linalg.norm(to))))


def test_direction_in_simulated_rooms() -> None:
    """Simulated rooms as in Scheibler and others 2018: median error at most 4 degrees with engine
    noise as loud as the suspect all round it."""
    rng = np.random.default_rng(12)
    errors = []
    for across_m in (-0.3, -0.2, -0.1, 0.0, 0.1, 0.2, 0.3):
        samples, true_deg = room_take(rng, across_m, float(rng.uniform(0.35, 0.8)))
        path = delay_path(delay_map(samples, RATE_HZ, Band(1800.0, 5000.0), 0.45e-3))
        errors.append(float(np.median(np.abs(side_angle_deg(path.delay_s, 140.0) - true_deg))))
    assert np.median(errors) <= 4.0
    assert max(errors) < 15.0
