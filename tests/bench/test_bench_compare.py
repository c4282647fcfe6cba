"""What the bench takes for the truth of a line, on lines whose change is known by arithmetic."""

from __future__ import annotations

import numpy as np
import pytest

import compare
from beltside.casework.compare_results import LineChange, Range
from compare_rig import SAMPLE_RATE_HZ, TURNS_HZ

SECONDS = 8.0
TIME_S = np.arange(int(SECONDS * SAMPLE_RATE_HZ)) / SAMPLE_RATE_HZ
TURNS_S = np.arange(int(SECONDS * TURNS_HZ)) / TURNS_HZ
BAND_HZ = (1800.0, 2700.0)


def turns(moments_s: np.ndarray) -> np.ndarray:
    """An idle of 13 turns a second that hunts by 2 %."""
    return 13.0 * moments_s + 0.26 / (2 * np.pi * 0.5) * np.sin(2 * np.pi * 0.5 * moments_s)


def line(order: float, band_hz: tuple[float, float] | None = None) -> LineChange:
    spectrum = "sound" if band_hz is None else "envelope"
    return LineChange("idler", "shaft", order, spectrum, 1, 5.0, Range(), False, band_hz)


def truth(before: np.ndarray, after: np.ndarray, asked: LineChange) -> float:
    spectra = [
        compare.order_power(samples.astype(np.float32), turns(TURNS_S), asked.band_hz)
        for samples in (before, after)
    ]
    return compare.line_truth(spectra[0], spectra[1], asked)


def test_a_tone_turned_down_by_six_decibels() -> None:
    rest = 0.1 * np.random.default_rng(3).normal(size=TIME_S.size)
    tone = np.sin(2 * np.pi * 3.7 * turns(TIME_S))
    left = 10.0 ** (-6.0 / 20.0)
    assert truth(rest + tone, rest + left * tone, line(3.7)) == pytest.approx(6.0, abs=0.1)


def test_a_line_that_is_not_there_did_not_change() -> None:
    rest = np.random.default_rng(4).normal(size=TIME_S.size)
    assert truth(rest, 0.5 * rest, line(3.7)) == 0.0


def test_noise_that_swings_and_is_turned_down_by_ten_decibels() -> None:
    """The swing of its power falls as its power does, whatever steady noise lies under it."""
    rng = np.random.default_rng(5)
    rest = 0.3 * rng.normal(size=TIME_S.size)
    swing = 1.0 + 0.8 * np.sin(2 * np.pi * 2.3 * turns(TIME_S))
    beating = np.sqrt(swing) * rng.normal(size=TIME_S.size)
    found = truth(rest + beating, rest + beating * 10.0**-0.5, line(2.3, BAND_HZ))
    assert found == pytest.approx(10.0, abs=1.0)
