"""Conversions against standards and closed forms."""

import math

import numpy as np
import pytest
import scipy.constants
from hypothesis import given, settings
from hypothesis import strategies as st

from beltside.base.units import db_to_bits, db_to_power, hz_to_rpm, power_to_db, rpm_to_hz


def test_one_turn_per_minute_in_radians_per_second():
    """1 r/min = 1.047 198 E-01 rad/s: NIST Special Publication 811 (2008), B.8, from memory."""
    assert 2.0 * math.pi * rpm_to_hz(1.0) == pytest.approx(0.1047198, abs=5e-8)


def test_a_minute_is_scipys_minute():
    assert rpm_to_hz(scipy.constants.minute) == 1.0
    assert hz_to_rpm(1.0) == scipy.constants.minute


@settings(max_examples=60)
@given(st.floats(1.0, 20_000.0))
def test_speed_survives_the_round_trip(rpm):
    assert hz_to_rpm(rpm_to_hz(rpm)) == pytest.approx(rpm, rel=1e-15)


@pytest.mark.parametrize(
    ("ratio", "level_db"), [(1.0, 0.0), (2.0, 3.0103), (10.0, 10.0), (0.5, -3.0103), (1e-3, -30.0)]
)
def test_decibels_of_a_power_ratio(ratio, level_db):
    """L = 10 lg(P/P0) dB: IEC 60027-3:2002, from memory."""
    assert float(power_to_db(ratio)) == pytest.approx(level_db, abs=5e-5)
    assert float(db_to_power(level_db)) == pytest.approx(ratio, rel=2e-5)


@settings(max_examples=60)
@given(st.floats(-200.0, 200.0))
def test_level_survives_the_round_trip(level_db):
    assert float(power_to_db(db_to_power(level_db))) == pytest.approx(level_db, abs=1e-9)


@settings(max_examples=60)
@given(st.floats(1e-12, 1e12), st.floats(1e-12, 1e12))
def test_ratios_multiply_where_levels_add(first, second):
    together = power_to_db(first * second)
    assert float(together) == pytest.approx(float(power_to_db(first) + power_to_db(second)))


def test_silence_has_the_floors_level():
    assert float(power_to_db(0.0)) == pytest.approx(-300.0)
    assert float(power_to_db(0.0, floor=1e-6)) == pytest.approx(-60.0)


def test_shape_and_precision_are_kept():
    power = np.full((3, 4), 100.0, dtype=np.float32)
    level = power_to_db(power)
    assert level.shape == (3, 4)
    assert level.dtype == np.float32
    assert level == pytest.approx(np.full((3, 4), 20.0))


def test_ten_decibels_of_likelihood_are_one_hartley():
    """1 Hart = 3.322 Sh (bit): IEC 80000-13:2008, item 13-24, from memory; log2(10)."""
    assert db_to_bits(10.0) == pytest.approx(3.322, abs=5e-4)
    assert db_to_bits(10.0) == pytest.approx(math.log2(10.0), rel=1e-15)


@settings(max_examples=60)
@given(st.floats(-100.0, 100.0))
def test_bits_double_the_odds_one_by_one(level_db):
    assert 2.0 ** db_to_bits(level_db) == pytest.approx(float(db_to_power(level_db)), rel=1e-12)
