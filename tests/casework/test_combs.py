"""Combs without a known count: which pulley's bearing they fit."""

from __future__ import annotations

import numpy as np
import pytest
from drives import ALTERNATOR_RATIO, SHEET

from beltside.casework.combs import clearest_comb
from beltside.drive.sheet import Bearing, DriveSheet, Pulley
from beltside.sound.families import surprise
from beltside.sound.orders import OrderSpectrum

AVERAGES, STEP = 12.0, 1.0 / 32.0
ORDER = np.arange(round(40.0 / STEP) + 1) * STEP

# Outer race of an 8-ball bearing with d/D = 6.746/28.5: 3.053 per turn of the shaft (Randall and
# Antoni, Mechanical Systems and Signal Processing 25, 2011, table 1: n/2 (1 - d/D)).
OUTER_PER_TURN = 8 / 2 * (1.0 - 6.746 / 28.5)


def sheet(bearing: Bearing | None) -> DriveSheet:
    """The made-up drive with the geometry of no bearing but the alternator's known."""
    return DriveSheet(
        SHEET.engine,
        SHEET.belt,
        (
            Pulley("crank", 138.0),
            Pulley("alternator", 55.0, bearing=bearing),
            Pulley("coolant-pump", 112.0),
        ),
    )


def envelope(fundamental: float | None, sideband: float = 0.0, seed: int = 1) -> OrderSpectrum:
    power = np.random.default_rng(seed).gamma(AVERAGES, 1.0 / AVERAGES, (3, ORDER.size))
    if fundamental is not None:
        for harmonic in (1, 2, 3):
            for offset in (-sideband, 0.0, sideband):
                power[1, round((harmonic * fundamental + offset) / STEP)] += 8.0
    return OrderSpectrum(ORDER, power, AVERAGES, 400.0)


@pytest.mark.parametrize("bearing", [None, Bearing(balls=8, ball_mm=6.746, pitch_mm=28.5)])
def test_a_comb_fits_the_pulley_it_is_of(bearing: Bearing | None) -> None:
    """With the geometry known or not; known, it fits by much more."""
    order = OUTER_PER_TURN * ALTERNATOR_RATIO
    comb = clearest_comb(surprise(envelope(order), exclude=[0.5]), [], sheet(bearing))
    assert comb is not None
    assert comb.family.fundamental == pytest.approx(order, abs=STEP)
    assert comb.fit["alternator"] > 0.0
    assert comb.fit["alternator"] > comb.fit["coolant-pump"]


def test_sidebands_at_a_pulleys_turns_speak_for_it() -> None:
    comb = clearest_comb(surprise(envelope(7.65625, sideband=2.5), exclude=[]), [], sheet(None))
    assert comb is not None
    assert comb.sidebands["alternator"] > comb.sidebands["coolant-pump"] + 1.0


def test_noise_has_no_comb() -> None:
    """A significance of 2 in each of four windows: at most one in 25 by chance."""
    found = [
        clearest_comb(surprise(envelope(None, seed=seed), exclude=[0.5]), [], sheet(None))
        for seed in range(40)
    ]
    assert sum(one is not None for one in found) <= 5
