"""The librosa and scipy reference must be a fair one: it finds what is there."""

import numpy as np
import pytest
import scipy.io

import bearings
import librosa_reference as reference
from beltside.drive.expected import expected_orders
from beltside.drive.sheet import Bearing, Belt, DriveSheet, Engine, Pulley

RATE_HZ = 24_000
RPM = 900.0


def bursts(hz, seconds, rng, centre_hz=3000.0):
    """Ringing impulses at a known rate in noise, shape (n,)."""
    time_s = np.arange(int(seconds * RATE_HZ)) / RATE_HZ
    since_s = time_s % (1.0 / hz)
    ring = np.exp(-since_s * 900.0) * np.sin(2.0 * np.pi * centre_hz * since_s)
    return (ring + 0.2 * rng.standard_normal(time_s.size)).astype(np.float32)


def test_crank_speed_of_a_firing_engine():
    # Four cylinders, four strokes: two firings a turn, with the cylinders unlike each other.
    time_s = np.arange(10 * RATE_HZ) / RATE_HZ
    rng = np.random.default_rng(5)
    cycle = 2.0 * np.pi * RPM / 120.0 * time_s
    tones = sum(
        size * np.sin(number * cycle + number)
        for number, size in ((1, 0.2), (2, 0.3), (3, 0.2), (4, 1.0), (6, 0.3), (8, 0.7), (12, 0.4))
    )
    sound = (tones + 0.3 * rng.standard_normal(time_s.size)).astype(np.float32)
    _, rpm = reference.crank_track(sound, RATE_HZ, 4)
    assert np.median(rpm) == pytest.approx(RPM, rel=0.006)


def test_bearing_lines_of_known_bursts():
    # Inner race of an 8-ball bearing at shaft speed 1: 8/2 (1 + 6.75/28.5) = 4.947 per turn.
    bearing = Bearing(8, 6.75, 28.5)
    sheet = DriveSheet(Engine(4), Belt(), (Pulley("crank", 100.0, bearing=bearing),))
    order = 4.0 * (1.0 + 6.75 / 28.5)
    sound = bursts(order * RPM / 60.0, 20.0, np.random.default_rng(1))
    power = reference.envelope_orders(sound, RATE_HZ, np.array([0.0, 20.0]), np.array([RPM, RPM]))
    rows = reference.surprise(power, 15.0)
    found = {
        one.source: reference.family(rows, one)
        for one in expected_orders(sheet, 40.0)
        if one.harmonic == 1 and one.part == "crank" and one.source.endswith("race")
    }
    assert found["inner race"] > 5.0
    assert found["inner race"] > found["outer race"] + 3.0


def test_a_tone_collapses_to_its_order():
    # A sine at 7.5 times a speed that rises from 600 to 1200 rpm in 20 s.
    time_s = np.arange(20 * 4800) / 4800
    turns = 10.0 * time_s + 0.25 * time_s**2
    values = np.sin(2.0 * np.pi * 7.5 * turns).astype(np.float32)
    track = np.array([0.0, 20.0]), np.array([600.0, 1200.0])
    order, power = reference.welch_orders(*reference.by_angle(values, 4800, *track, 64), 20.0)
    assert order[np.argmax(power)] == pytest.approx(7.5)
    assert power.max() == pytest.approx(0.5, rel=0.02)


def test_bearing_files_are_read_as_published(tmp_path):
    path = tmp_path / "outer-12k.mat"
    samples = np.linspace(-1.0, 1.0, 50)[:, None]
    scipy.io.savemat(path, {"X130_DE_time": samples, "X130RPM": np.array([[1796]])})
    recorded = bearings.from_mat(scipy.io.loadmat(path), path.name)
    assert (recorded.rate_hz, recorded.rpm, recorded.samples.shape) == (12_000, 1796.0, (50,))
    with pytest.raises(ValueError, match="rate"):
        bearings.from_mat(scipy.io.loadmat(path), "outer.mat")


def test_bearing_check_finds_bursts_on_the_inner_race():
    # Published for this bearing: 5.4152 per shaft turn (Case Western Reserve University).
    sound = bursts(5.4152 * RPM / 60.0, 20.0, np.random.default_rng(2))
    hearing = bearings.hear_shaft(bearings.Recorded("x", sound, RATE_HZ, RPM))
    races, verdict = bearings.races_found(hearing, bearings.SHEETS["on the shaft"])
    assert verdict == "inner race"
    assert races[0].family.fundamental == pytest.approx(5.4152, abs=0.04)


def test_bearing_check_is_quiet_on_noise():
    noise = np.random.default_rng(4).standard_normal(20 * RATE_HZ).astype(np.float32)
    hearing = bearings.hear_shaft(bearings.Recorded("x", noise, RATE_HZ, RPM))
    assert bearings.races_found(hearing, bearings.SHEETS["on the shaft"])[1] == "quiet"
