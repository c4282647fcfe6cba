"""What is heard in a block: beats of known depth, blocks joined to the whole, edges."""

from functools import cache

import numpy as np
import pytest
from engines import RATE_HZ, engine

from beltside.base.errors import OutOfRangeError
from beltside.sound.hearing import Hearing, hear_block, mean_square, merge
from beltside.sound.track import CrankTrack

TRACK = CrankTrack.constant(900.0)  # 15 turns a second


def beating(depth: float, order: float, seconds: float = 20.0) -> np.ndarray:
    """A 2 kHz tone whose squared envelope beats by `depth` at an order of the crank."""
    time_s = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    squared = 1.0 + depth * np.cos(2 * np.pi * 15.0 * order * time_s)
    return (0.2 * np.sqrt(squared) * np.sin(2 * np.pi * 2000.0 * time_s)).astype(np.float32)


def band_of(hearing: Hearing, frequency_hz: float) -> int:
    centre = np.array([band.centre_hz for band in hearing.bands])
    return int(np.argmin(np.abs(centre - frequency_hz)))


@pytest.mark.parametrize("depth", [0.1, 0.4, 0.8])
@pytest.mark.parametrize("order", [2.5, 7.0])
def test_a_beat_of_depth_m_reads_half_m_squared(depth: float, order: float) -> None:
    heard = hear_block(beating(depth, order), RATE_HZ, track=TRACK)
    assert heard.orders is not None
    row = band_of(heard, 2000.0)
    spectrum = heard.orders.envelope
    place = round(order / spectrum.step)
    assert spectrum.power[row, place] == pytest.approx(0.5 * depth**2, rel=0.08)
    assert int(np.argmax(spectrum.power[row, 8:])) + 8 == place


def test_the_sound_shows_its_lines_at_their_orders() -> None:
    time_s = np.arange(20 * RATE_HZ) / RATE_HZ
    tone = (0.3 * np.sin(2 * np.pi * 15.0 * 31.0 * time_s)).astype(np.float32)
    heard = hear_block(tone, RATE_HZ, track=TRACK)
    assert heard.orders is not None
    spectrum = heard.orders.sound
    place = int(np.argmax(spectrum.power))
    assert spectrum.order[place] == pytest.approx(31.0, abs=0.5 * spectrum.step)
    assert spectrum.power[place] == pytest.approx(0.5 * 0.3**2, rel=0.02)


def test_levels_and_kurtosis_of_noise_and_tone() -> None:
    """Gaussian noise: flat power, and kurtosis of its envelope 0 (E x^2 = 2 E^2 x for an
    exponential law) where the envelope is complete; a steady tone: -1."""
    noise = (0.1 * np.random.default_rng(11).normal(size=20 * RATE_HZ)).astype(np.float32)
    heard = hear_block(noise, RATE_HZ)
    assert heard.orders is None
    width_hz = np.array([band.width_hz for band in heard.bands])
    assert np.abs(heard.band_kurtosis[width_hz < 400.0]).max() < 0.1
    assert heard.band_kurtosis.max() < 0.1
    assert heard.band_kurtosis.min() > -0.8
    per_hz = heard.band_power / width_hz
    assert per_hz.max() / per_hz.min() < 1.3
    assert (heard.band_quiet < heard.band_power).all()
    assert mean_square(heard.spectrum) == pytest.approx(0.01, rel=0.05)
    tone = hear_block(beating(0.0, 1.0, 5.0), RATE_HZ)
    assert tone.band_kurtosis[band_of(tone, 2000.0)] == pytest.approx(-1.0, abs=0.02)


@cache
def two_blocks() -> tuple[Hearing, Hearing, Hearing]:
    take = engine(12, 900.0, seconds=32.0)
    track = CrankTrack(np.arange(0.0, 32.0, 0.1), *(3 * (take.rpm_at(np.arange(0.0, 32.0, 0.1)),)))
    half = 16 * RATE_HZ
    first = hear_block(take.samples[:half], RATE_HZ, track=track)
    second = hear_block(take.samples[half:], RATE_HZ, start_s=16.0, track=track)
    return first, second, hear_block(take.samples, RATE_HZ, track=track)


def test_two_blocks_joined_are_the_whole() -> None:
    first, second, whole = two_blocks()
    joined = merge([first, second])
    assert joined.seconds == whole.seconds == 32.0
    assert joined.band_power == pytest.approx(whole.band_power, rel=0.02)
    assert joined.band_quiet == pytest.approx(whole.band_quiet, rel=0.1)
    assert joined.spectrum.power == pytest.approx(whole.spectrum.power, rel=0.1, abs=1e-9)
    assert joined.orders is not None
    assert whole.orders is not None
    for mine, theirs in (
        (joined.orders.sound, whole.orders.sound),
        (joined.orders.envelope, whole.orders.envelope),
    ):
        assert mine.step == theirs.step
        power, expected = np.atleast_2d(mine.power), np.atleast_2d(theirs.power)
        for row, other in zip(power, expected, strict=True):
            # Only the half segment at the seam is heard otherwise.
            assert np.abs(row - other)[8:].sum() < 0.1 * other[8:].sum()
            assert row.sum() == pytest.approx(other.sum(), rel=0.05)


def test_one_block_is_itself() -> None:
    first, _, _ = two_blocks()
    assert merge([first]) is first


def test_blocks_of_unlike_length_count_by_their_length() -> None:
    loud = hear_block(beating(0.0, 1.0, 3.0), RATE_HZ)
    soft = hear_block(0.1 * beating(0.0, 1.0, 9.0), RATE_HZ)
    row = band_of(loud, 2000.0)
    expected = (3.0 * loud.band_power[row] + 9.0 * soft.band_power[row]) / 12.0
    assert merge([loud, soft]).band_power[row] == pytest.approx(expected)


@pytest.mark.parametrize("rate_hz", [8_000, 48_000])
@pytest.mark.parametrize("rpm", [500.0, 7000.0])
def test_slow_and_fast_engines_at_any_rate(rate_hz: int, rpm: float) -> None:
    take = engine(13, rpm, seconds=4.0, rate_hz=rate_hz)
    heard = hear_block(take.samples, rate_hz, track=CrankTrack.constant(rpm))
    assert heard.orders is not None
    assert np.isfinite(heard.orders.sound.power).all()
    assert np.isfinite(heard.orders.envelope.power).all()
    assert heard.orders.sound.order[-1] <= 0.5 * rate_hz / (rpm / 60.0)


def test_silence_is_no_trouble() -> None:
    heard = hear_block(np.zeros(4 * RATE_HZ, dtype=np.float32), RATE_HZ, track=TRACK)
    assert not heard.band_power.any()
    assert heard.squeals == ()


def test_less_than_a_second_is_refused() -> None:
    with pytest.raises(OutOfRangeError, match="1 s or more"):
        hear_block(np.zeros(RATE_HZ - 1, dtype=np.float32), RATE_HZ)


def test_too_few_turns_have_no_orders() -> None:
    slow = CrankTrack.constant(100.0)
    heard = hear_block(beating(0.2, 2.0, 2.0), RATE_HZ, track=slow)
    assert heard.orders is None
