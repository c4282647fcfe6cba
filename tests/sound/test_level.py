"""Level, third octaves, distance, clipping, crest factor and wind against known values."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import signal

from beltside.base.errors import InputError, OutOfRangeError
from beltside.sound.level import (
    clipping_share,
    crest_factor,
    level_at_distance,
    level_db,
    level_of_power,
    third_octave_edges,
    third_octave_levels,
    wind_indicator,
)
from beltside.sound.orders import power_spectrum

RATE_HZ = 16_000.0
TIME_S = np.arange(int(6 * RATE_HZ)) / RATE_HZ


def noise(seed: int = 0) -> np.ndarray:
    return np.random.default_rng(seed).standard_normal(TIME_S.size)


def test_full_scale_sine_is_0_db() -> None:
    """AES17, from memory: 0 dB FS is a sine whose peaks reach full scale."""
    assert level_db(np.sin(2 * np.pi * 100 * TIME_S)) == pytest.approx(0.0, abs=1e-6)
    assert level_db(0.1 * np.sin(2 * np.pi * 100 * TIME_S)) == pytest.approx(-20.0, abs=1e-6)


def test_exact_midbands_and_edges() -> None:
    """IEC 61260-1:2014 Annex E, from memory: exact base-ten midbands of third octaves."""
    _, centre, _ = third_octave_edges(np.arange(-4, 5))
    assert centre == pytest.approx(
        [398.11, 501.19, 630.96, 794.33, 1000.0, 1258.9, 1584.9, 1995.3, 2511.9], rel=5e-5
    )
    low, _, high = third_octave_edges(np.arange(-4, 5))
    assert high[:-1] == pytest.approx(low[1:])
    assert (high / low) == pytest.approx(10**0.1)


def test_nominal_frequencies_are_the_trades() -> None:
    found = third_octave_levels(power_spectrum(noise(), RATE_HZ, 8192), 100.0, 6300.0)
    assert found.nominal_hz == pytest.approx(
        [100, 125, 160, 200, 250, 315, 400, 500, 630, 800,
         1000, 1250, 1600, 2000, 2500, 3150, 4000, 5000, 6300]
    )  # fmt: skip


def test_tone_lands_in_its_band_with_its_level() -> None:
    tone = 0.1 * np.sin(2 * np.pi * 1000.0 * TIME_S)
    found = third_octave_levels(power_spectrum(tone, RATE_HZ, 8192), 100.0)
    assert found.nominal_hz[int(np.argmax(found.level_db))] == 1000.0
    assert found.level_db.max() == pytest.approx(-20.0, abs=0.05)
    assert np.sort(found.level_db)[-2] < -60.0


def test_white_noise_rises_1_db_a_band_and_fills_it() -> None:
    """Equal power per hertz: a third octave is 10^0.1 times as wide as the one below."""
    values = np.concatenate([noise(seed) for seed in range(1, 9)])
    found = third_octave_levels(power_spectrum(values, RATE_HZ, 8192), 500.0)
    slope = np.polyfit(np.arange(found.level_db.size), found.level_db, 1)[0]
    assert slope == pytest.approx(1.0, abs=0.06)
    low, _, high = third_octave_edges([3])
    wanted = level_of_power((high - low) / (RATE_HZ / 2))
    assert found.level_db[found.nominal_hz == 2000.0] == pytest.approx(wanted, abs=0.15)


def test_band_level_agrees_with_a_filter_in_time() -> None:
    """Against an 8th-order Butterworth band filter of the same edges."""
    values = noise(2)
    low, _, high = third_octave_edges([0])
    filt = signal.butter(8, [low[0], high[0]], "bandpass", fs=RATE_HZ, output="sos")
    wanted = level_db(signal.sosfilt(filt, values)[2000:])
    found = third_octave_levels(power_spectrum(values, RATE_HZ, 8192), 500.0)
    assert found.level_db[found.nominal_hz == 1000.0] == pytest.approx(wanted, abs=0.3)


@settings(max_examples=15, deadline=None)
@given(gain_db=st.floats(-80.0, 40.0))
def test_level_goes_with_gain(gain_db: float) -> None:
    values = noise(3)[:20_000]
    louder = values * 10 ** (gain_db / 20)
    assert level_db(louder) == pytest.approx(level_db(values) + gain_db, abs=1e-9)
    assert crest_factor(louder) == pytest.approx(crest_factor(values))


def test_distance_law() -> None:
    """Free field: 6.02 dB a doubling, 20 dB a tenfold (any acoustics textbook)."""
    assert level_at_distance(80.0, 1.0, 2.0) == pytest.approx(73.98, abs=0.005)
    assert level_at_distance(80.0, 0.5, 5.0) == pytest.approx(60.0)
    assert level_at_distance(level_at_distance(70.0, 0.3, 1.7), 1.7, 0.3) == pytest.approx(70.0)


def test_crest_factors() -> None:
    assert crest_factor(np.sin(2 * np.pi * 100 * TIME_S)) == pytest.approx(np.sqrt(2), rel=1e-4)
    assert crest_factor(np.sign(noise())) == pytest.approx(1.0)


def test_clipping_share_of_a_cut_sine() -> None:
    """|sin| > 0.9 for 1 - 2 asin(0.9) / pi of the time."""
    tone = np.clip(np.sin(2 * np.pi * 37.0 * TIME_S), -0.9, 0.9)
    assert clipping_share(tone) == pytest.approx(1 - 2 * np.arcsin(0.9) / np.pi, abs=0.01)
    assert clipping_share(0.2 * tone) == 0.0
    assert clipping_share(0.9 * noise() / np.abs(noise()).max()) < 1e-4


def gusts(seed: int) -> np.ndarray:
    """Turbulence: noise below 60 Hz that swells and dies over about a second."""
    low = signal.sosfilt(signal.butter(2, 60, fs=RATE_HZ, output="sos"), noise(seed))
    slow = signal.sosfilt(signal.butter(1, 0.7, fs=RATE_HZ, output="sos"), noise(seed + 50))
    return 20.0 * low * np.exp(2.0 * slow / slow.std())


def test_wind_stands_apart_from_an_engine() -> None:
    rumble = 3.0 * np.sin(2 * np.pi * 26.0 * TIME_S)
    engine = np.stack([rumble + 0.3 * noise(1), rumble + 0.3 * noise(2)])
    wind = np.stack([gusts(3) + 0.3 * noise(1), gusts(4) + 0.3 * noise(2)])
    blown, calm = wind_indicator(wind, RATE_HZ), wind_indicator(engine, RATE_HZ)
    assert blown.score > 0.3
    assert calm.score < 0.05
    assert calm.coherence is not None
    assert blown.coherence is not None
    assert calm.coherence > 0.9 > 0.5 > blown.coherence
    assert wind_indicator(wind[0], RATE_HZ).score > 0.3
    assert wind_indicator(engine[0], RATE_HZ).score < 0.05
    assert wind_indicator(wind[0], RATE_HZ).coherence is None


def test_refuses_what_it_cannot_do() -> None:
    one = power_spectrum(noise(), RATE_HZ, 1024)
    with pytest.raises(OutOfRangeError, match="bands"):
        third_octave_levels(one, 50.0)
    with pytest.raises(OutOfRangeError, match="bands"):
        third_octave_levels(one, 500.0, 8000.0)
    with pytest.raises(OutOfRangeError, match="distance"):
        level_at_distance(80.0, 0.0, 1.0)
    with pytest.raises(OutOfRangeError, match="silence"):
        crest_factor(np.zeros(10))
    with pytest.raises(InputError, match="not finite"):
        level_db([np.nan])
    with pytest.raises(OutOfRangeError, match="channels"):
        wind_indicator(np.zeros((3, 48_000)), RATE_HZ)
    with pytest.raises(OutOfRangeError):
        wind_indicator(np.zeros(100), RATE_HZ)
