"""The phone: filters, gain control, suppression, coding."""

from dataclasses import replace

import numpy as np
import pytest

from beltside.rig.phone import (
    Phone,
    aac_round_trip,
    automatic_gain,
    draw_phone,
    record,
    suppress_noise,
)
from beltside.rig.synthesis import RATE_HZ

PLAIN = Phone(
    sample_rate_hz=48_000,
    channels=1,
    same_ears=False,
    high_pass_hz=200.0,
    high_pass_order=2,
    colour=np.array([1.0, 0.0], dtype=np.float32),
    gain_db=-20.0,
    control=None,
    suppression_db=0.0,
    soft_clip=False,
    noise_dbfs=-120.0,
    bits=16,
    aac_kbps=0,
)


def tone(frequency_hz: float, seconds: float = 2.0) -> np.ndarray:
    time = np.arange(int(seconds * RATE_HZ)) / RATE_HZ
    return (np.sqrt(2) * np.sin(2 * np.pi * frequency_hz * time)).astype(np.float32)[None, :]


def level_db(samples: np.ndarray) -> float:
    return float(10 * np.log10(np.mean(samples.astype(float) ** 2)))


def test_fixed_gain_and_high_pass() -> None:
    rng = np.random.default_rng(1)
    # Butterworth: -3.01 dB at the corner, 12 dB per octave for order 2 far below.
    assert level_db(record(rng, PLAIN, tone(3000.0), 1.0)) == pytest.approx(-20.0, abs=0.1)
    assert level_db(record(rng, PLAIN, tone(200.0), 1.0)) == pytest.approx(-23.0, abs=0.2)
    assert level_db(record(rng, PLAIN, tone(25.0), 1.0)) == pytest.approx(-56.1, abs=0.7)


@pytest.mark.parametrize("rate_hz", [16_000, 32_000, 44_100, 48_000])
def test_rates_and_channels(rate_hz: int) -> None:
    phone = replace(PLAIN, sample_rate_hz=rate_hz, channels=2)
    out = record(np.random.default_rng(0), phone, tone(1000.0), 1.0)
    assert out.dtype == np.float32
    assert out.shape == (2, pytest.approx(2 * rate_hz, abs=2))
    spectrum = np.abs(np.fft.rfft(out[0]))
    assert np.argmax(spectrum) * rate_hz / out.shape[1] == pytest.approx(1000.0, abs=1.0)


def test_gain_control_evens_out_a_loud_part() -> None:
    wave = np.concatenate((0.02 * tone(1000.0, 6.0), 0.5 * tone(1000.0, 6.0)), axis=1)
    out = automatic_gain(wave, (-20.0, 0.05, 1.0, 30.0), 0.0)
    before = level_db(wave[:, 8 * RATE_HZ :]) - level_db(wave[:, 3 * RATE_HZ : 5 * RATE_HZ])
    after = level_db(out[:, 8 * RATE_HZ :]) - level_db(out[:, 3 * RATE_HZ : 5 * RATE_HZ])
    assert before == pytest.approx(28.0, abs=0.1)
    assert abs(after) < 2.0


def test_noise_suppression_eats_the_steady_and_leaves_the_sudden() -> None:
    rng = np.random.default_rng(2)
    noise = 0.01 * rng.standard_normal((1, 6 * RATE_HZ)).astype(np.float32)
    burst = np.zeros_like(noise)
    burst[0, 3 * RATE_HZ : 3 * RATE_HZ + 4800] = 0.5 * tone(1000.0, 0.1)[0]
    out = suppress_noise(noise + burst, 12.0)
    quiet = slice(RATE_HZ, 2 * RATE_HZ)
    loud = slice(3 * RATE_HZ, 3 * RATE_HZ + 4800)
    assert level_db(out[:, quiet]) < level_db(noise[:, quiet]) - 3.0
    assert level_db(out[:, loud]) == pytest.approx(level_db(burst[:, loud]), abs=1.0)


def test_coding_keeps_time_and_most_of_the_wave() -> None:
    rng = np.random.default_rng(3)
    wave = 0.1 * np.cumsum(rng.standard_normal((2, 96_000)), axis=1)
    wave = (wave - wave.mean(axis=1, keepdims=True)).astype(np.float32)
    wave *= 0.5 / np.abs(wave).max()
    back = aac_round_trip(wave, 48_000, 160)
    assert back.shape == wave.shape
    inside = slice(4096, -4096)
    error = back[:, inside] - wave[:, inside]
    assert level_db(error) < level_db(wave[:, inside]) - 15.0


def test_random_phones_never_exceed_full_scale() -> None:
    rng = np.random.default_rng(4)
    for _ in range(25):
        phone = draw_phone(rng)
        sound = np.repeat(30.0 * tone(400.0, 1.0), phone.ears, axis=0)
        out = record(rng, phone, sound, 1.0)
        assert out.shape[0] == phone.channels
        assert np.all(np.isfinite(out))
        assert np.abs(out).max() <= 1.0
