"""The note of a plucked span: known strings, hum and wind, and takes without a pluck."""

from __future__ import annotations

import math

import numpy as np
import pytest

from beltside.base.errors import RecordingError
from beltside.sound.strum import find_strum, without_hum

RATE = 16000


def plucks(
    notes: list[float],
    *,
    seconds: float = 4.0,
    fall_s: float = 0.12,
    weights: tuple[float, ...] = (1.0, 0.5, 0.3, 0.15),
    stretch: float = 0.0,
    noise: float = 0.0,
    seed: int = 1,
) -> np.ndarray:
    """Decaying partials of a stiff string, one pluck after the other, in white noise."""
    rng = np.random.default_rng(seed)
    time_s = np.arange(int(seconds * RATE)) / RATE
    sound = noise * rng.normal(size=time_s.size)
    for number, note in enumerate(notes):
        since = time_s - 0.4 - 0.9 * number
        after = np.maximum(since, 0.0)
        for n, weight in enumerate(weights, start=1):
            pitch = n * note * math.sqrt((1.0 + stretch * n * n) / (1.0 + stretch))
            sound += (
                (since >= 0.0)
                * weight
                * np.exp(-after * n / fall_s)
                * np.sin(2.0 * np.pi * pitch * after)
            )
    return sound


@pytest.mark.parametrize("note", [22.0, 41.0, 97.0, 180.0, 330.0, 540.0])
def test_the_note_is_found(note):
    found = find_strum(plucks([note] * 3, noise=0.05), RATE)
    assert found.frequency_hz == pytest.approx(note, rel=0.01)
    assert found.low_hz < note < found.high_hz
    assert len(found.plucks) == 3
    assert [round(one.start_s, 0) for one in found.plucks] == [0.0, 1.0, 2.0]
    assert found.reason is None


@pytest.mark.parametrize(
    ("weights", "stretch"),
    [
        ((1.0, 0.0, 0.4, 0.0), 0.0),  # plucked in the middle: no even partials
        ((0.25, 1.0, 0.8, 0.5), 0.0),  # a phone deaf to the lowest
        ((1.0,), 0.0),
        ((1.0, 0.7, 0.5, 0.3), 0.05),  # a stiff, short span
    ],
)
def test_neither_half_nor_twice_the_note(weights, stretch):
    sound = plucks([110.0] * 3, weights=weights, stretch=stretch, noise=0.05)
    assert find_strum(sound, RATE).frequency_hz == pytest.approx(110.0, rel=0.01)


@pytest.mark.parametrize("fall_s", [0.12, 0.3])
@pytest.mark.parametrize("note", [41.0, 60.0, 97.0, 180.0, 330.0, 540.0])
def test_a_pure_tone_without_any_noise(note, fall_s):
    """Skirts of its one line are no partials of a lower note; the truth is the tone written."""
    found = find_strum(plucks([note] * 3, weights=(1.0,), fall_s=fall_s), RATE)
    assert found.frequency_hz == pytest.approx(note, rel=0.01)


@pytest.mark.parametrize("note", [22.0, 50.0, 60.0, 97.0, 180.0, 540.0])
def test_a_tone_that_never_changes_is_no_pluck(note):
    time_s = np.arange(4 * RATE) / RATE
    assert find_strum(np.sin(2.0 * np.pi * note * time_s), RATE).frequency_hz is None


@pytest.mark.parametrize("mains", [49.98, 60.03])
@pytest.mark.parametrize("note", [52.5, 99.0, 121.5])
def test_hum_beside_the_note(mains, note):
    time_s = np.arange(4 * RATE) / RATE
    hum = sum(np.sin(2 * np.pi * k * mains * time_s + k) / k for k in range(1, 12))
    found = find_strum(plucks([note] * 3, noise=0.02) + 0.5 * hum, RATE)
    assert found.frequency_hz == pytest.approx(note, rel=0.015)
    assert found.hum_hz == pytest.approx(mains, abs=0.02)


def test_hum_is_taken_out_and_what_is_no_hum_stays():
    time_s = np.arange(16000) / 4000.0
    rng = np.random.default_rng(4)
    rest = 0.1 * rng.normal(size=time_s.size)
    hum = sum(np.sin(2 * np.pi * k * 50.02 * time_s + k) / k for k in range(1, 9))
    left, hum_hz = without_hum(rest + hum)
    assert hum_hz == pytest.approx(50.02, abs=0.02)
    assert np.sqrt(np.mean(left**2)) == pytest.approx(0.1, rel=0.1)
    same, none = without_hum(rest)
    assert none is None
    assert np.array_equal(same, rest)


def test_level_and_sample_rate_do_not_matter():
    sound = plucks([140.0] * 2, noise=0.05)
    first = find_strum(sound, RATE)
    again = find_strum((1e-4 * sound).astype(np.float32), RATE)
    assert again.frequency_hz == pytest.approx(first.frequency_hz, rel=1e-4)
    doubled = find_strum(sound, 2 * RATE)
    assert doubled.frequency_hz == pytest.approx(2.0 * 140.0, rel=0.01)


def test_a_pluck_of_another_span_is_kept_apart():
    found = find_strum(plucks([120.0, 120.0, 171.0, 120.0], seconds=5.0, noise=0.02), RATE)
    assert found.frequency_hz == pytest.approx(120.0, rel=0.01)
    assert len(found.plucks) == 3
    assert [one.frequency_hz for one in found.others] == pytest.approx([171.0], rel=0.01)


@pytest.mark.parametrize("seed", range(3))
def test_noise_has_no_note(seed):
    rng = np.random.default_rng(seed)
    found = find_strum(0.1 * rng.normal(size=4 * RATE), RATE)
    assert found.frequency_hz is None
    assert "no pluck" in found.reason
    assert found.plucks == ()


@pytest.mark.parametrize(
    ("sound", "rate", "said"),
    [
        (np.zeros(RATE), RATE, "silence"),
        (np.full(RATE, np.nan), RATE, "silence"),
        (np.ones(100), RATE, "0.01 s"),
        (np.ones((2, RATE)), RATE, "shape"),
    ],
)
def test_takes_that_cannot_be_used(sound, rate, said):
    with pytest.raises(RecordingError, match=said):
        find_strum(sound, rate)
