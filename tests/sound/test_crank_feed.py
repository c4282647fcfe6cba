"""The low sound and the pulsation of the high sound, on tones whose answer is closed form."""

import numpy as np
import pytest
from engines import RATE_HZ, engine

from beltside.base.errors import InputError, OutOfRangeError
from beltside.sound.crank_feed import LOW_RATE_HZ, PULSE_RATE_HZ, CrankFeed, CrankSound


def fed(samples: np.ndarray, rate_hz: float, cuts: tuple[int, ...] = ()) -> CrankSound:
    feed = CrankFeed(rate_hz)
    for block in np.split(samples.astype(np.float32), cuts):
        feed.add(block)
    return feed.finish()


def amplitude(signal: np.ndarray, rate_hz: float, frequency_hz: float) -> float:
    """Of one sine, by correlation with it; whole periods away from the ends."""
    inside = signal[round(0.5 * rate_hz) : -round(0.5 * rate_hz)]
    time_s = np.arange(inside.size) / rate_hz
    turned = np.exp(-2j * np.pi * frequency_hz * time_s)
    return float(2.0 * np.abs(np.mean(inside * turned)))


@pytest.mark.parametrize("rate_hz", [8_000, 11_025, 16_000, 44_100, 48_000])
def test_low_tones_stay_and_high_tones_go(rate_hz: int) -> None:
    time_s = np.arange(5 * rate_hz) / rate_hz
    tones = 0.3 * np.sin(2 * np.pi * 120.0 * time_s) + 0.3 * np.sin(2 * np.pi * 3500.0 * time_s)
    low = fed(tones, rate_hz).low
    assert low.size == pytest.approx(5 * LOW_RATE_HZ, abs=2)
    assert amplitude(low, LOW_RATE_HZ, 120.0) == pytest.approx(0.3, rel=0.01)
    assert amplitude(low, LOW_RATE_HZ, LOW_RATE_HZ - 3500.0) < 1e-4  # where it would fold to


@pytest.mark.parametrize("depth", [0.1, 0.5])
def test_pulsation_of_beating_tones_is_their_squared_envelope(depth: float) -> None:
    """(1 + m cos)^2 over its mean 1 + m^2/2 beats with 2 m / (1 + m^2/2)."""
    time_s = np.arange(10 * RATE_HZ) / RATE_HZ
    beat = 1.0 + depth * np.cos(2 * np.pi * 25.0 * time_s)
    tones = sum(np.sin(2 * np.pi * f * time_s) for f in (1400.0, 2850.0, 5700.0))
    pulse = fed(0.1 * beat * tones, RATE_HZ).pulse
    assert float(pulse.mean()) == pytest.approx(1.0, abs=0.01)
    expected = 2.0 * depth / (1.0 + 0.5 * depth**2)
    assert amplitude(pulse, PULSE_RATE_HZ, 25.0) == pytest.approx(expected, rel=0.01)


@pytest.mark.parametrize("seconds", [4.3, 6.0, 7.5])
def test_the_rest_after_whole_pieces_is_no_louder_than_they_are(seconds: float) -> None:
    rng = np.random.default_rng(1)
    sound = fed(rng.normal(size=round(seconds * RATE_HZ)), RATE_HZ)
    rest = sound.pulse[4 * PULSE_RATE_HZ :]
    assert rest.size == pytest.approx((seconds - 4.0) * PULSE_RATE_HZ, abs=2)
    assert float(rest[:-60].mean()) == pytest.approx(1.0, abs=0.1)


def test_how_the_sound_is_cut_into_blocks_does_not_matter() -> None:
    take = engine(3, 800.0, seconds=9.0).samples
    whole = fed(take, RATE_HZ)
    cut = fed(take, RATE_HZ, (1, 777, 20_000, 20_001, 100_000))
    assert cut.duration_s == whole.duration_s == 9.0
    assert cut.low == pytest.approx(whole.low, abs=1e-6)
    assert cut.pulse == pytest.approx(whole.pulse, abs=1e-4)


def test_half_a_pulse_sample_left_over_is_no_trouble() -> None:
    sound = fed(np.random.default_rng(2).normal(size=4 * RATE_HZ + 3), RATE_HZ)
    assert sound.pulse.size == pytest.approx(4 * PULSE_RATE_HZ, abs=1)


def test_silence_pulses_with_nothing() -> None:
    sound = fed(np.zeros(5 * RATE_HZ), RATE_HZ)
    assert not sound.pulse.any()
    assert not sound.low.any()


def test_what_can_not_be_used_is_refused() -> None:
    with pytest.raises(OutOfRangeError, match="4000 Hz or more"):
        CrankFeed(3999.0)
    feed = CrankFeed(8000.0)
    with pytest.raises(InputError, match="one row"):
        feed.add(np.zeros((2, 10), dtype=np.float32))
    with pytest.raises(InputError, match="finite"):
        feed.add(np.array([0.0, np.nan], dtype=np.float32))
