"""How much quieter, from powers whose change is known by arithmetic."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from beltside.sound.compare_change import (
    BandTake,
    Change,
    band_changes,
    band_covariance,
    joined,
    line_change,
    overall_change,
)
from beltside.sound.compare_gain import Gain
from beltside.sound.compare_heard import heard_ratios

FLAT = np.ones(3)


def take(power: list[float], engine: list[float], gain: float = 1.0) -> BandTake:
    values = gain * np.array(power)
    none = np.zeros(3)
    return BandTake(values, 0.02 * values, gain * np.array(engine), none, none > 0.0)


def known_gain(db: float, sd_db: float = 0.1) -> Gain:
    return Gain(
        np.array([100.0, 1000.0, 5000.0]),
        np.full(3, db),
        np.full((3, 3), sd_db**2),
        1.0,
        0.0,
        20,
    )


@pytest.mark.parametrize("gain_db", [-30.0, 0.0, 12.5])
def test_overall_change_is_that_of_the_sums(gain_db: float) -> None:
    """Engine 1 + 0 + 0; the rest 0 + 3 + 4 falls to 0 + 1 + 1: 10 log10(8 / 3)."""
    before = take([1.0, 3.0, 4.0], [1.0, 0.0, 0.0])
    after = take([1.0, 1.0, 1.0], [1.0, 0.0, 0.0], 10.0 ** (gain_db / 10.0))
    change = overall_change(before, after, known_gain(gain_db), FLAT, 0.0, 0.0)
    assert change.value == pytest.approx(10.0 * np.log10(8.0 / 3.0), abs=1e-6)
    assert change.low is not None
    assert change.high is not None
    assert change.low < change.value < change.high


def test_an_engine_line_on_a_resonance_is_no_change() -> None:
    before = take([1.0, 1e-6, 1e-6], [1.0, 0.0, 0.0])
    after = take([4.0, 1e-6, 1e-6], [4.0, 0.0, 0.0])
    change = overall_change(before, after, known_gain(0.0), FLAT, 0.0, 0.0)
    assert change.value == pytest.approx(0.0, abs=1e-3)
    assert change.low is not None
    assert change.low > -1.0


def test_an_engine_line_that_crosses_into_the_next_band_is_no_change() -> None:
    before = take([1.0, 1e-6, 0.1], [1.0, 0.0, 0.0])
    after = take([1e-6, 1.0, 0.1], [0.0, 1.0, 0.0])
    change = overall_change(before, after, known_gain(0.0), FLAT, 0.0, 0.0)
    assert change.value == pytest.approx(0.0, abs=1e-3)


def test_a_tone_is_less_sure_at_another_speed() -> None:
    """The same tone at speeds 3 % apart may have met a resonance; broad noise is as sure."""
    widths = []
    for tonal in (0.0, 0.9):
        sound = replace(take([1.0, 0.01, 0.01], [0.0, 0.0, 0.0]), tonal=np.array([tonal, 0, 0]))
        for apart_db in (0.0, 0.26):
            change = overall_change(sound, sound, known_gain(0.0), FLAT, 0.0, apart_db)
            assert change.low is not None
            widths.append(-change.low)
    assert widths[1] == pytest.approx(widths[0])
    assert widths[3] > 1.5 * widths[2]


def test_an_unsure_gain_widens_the_range() -> None:
    before, after = take([1.0, 3.0, 4.0], [1.0, 0, 0]), take([1.0, 1.0, 1.0], [1.0, 0, 0])
    widths = []
    for sd_db in (0.1, 2.0):
        change = overall_change(before, after, known_gain(0.0, sd_db), FLAT, 0.0, 0.0)
        assert change.low is not None
        assert change.high is not None
        widths.append(change.high - change.low)
    assert widths[1] > 2.0 * widths[0]


def test_a_line_that_crossed_the_edge_of_a_band_is_no_change() -> None:
    """The same line of the engine, in the first band before and in the second after."""
    before = take([1.01, 0.01, 0.01], [1.0, 0.0, 0.0])
    after = take([0.01, 1.01, 0.01], [0.0, 1.0, 0.0])
    gain = known_gain(0.0)
    spread = band_covariance(before, after, gain, 0.2, 0.13, np.ones(3))
    for change in band_changes(before, after, gain, spread)[:2]:
        assert change.value == pytest.approx(0.0, abs=0.1)


def test_bands_share_what_moving_the_phone_does_with_their_neighbours_only() -> None:
    sound = take([1.0, 1.0, 1.0], [0.0, 0.0, 0.0])
    gain = replace(known_gain(0.0, 0.0), at_hz=np.array([100.0, 126.0, 5000.0]))
    spread = band_covariance(sound, sound, gain, 0.0, 0.0, np.ones(3))
    assert np.linalg.eigvalsh(spread).min() > 0.0
    assert spread[0, 1] > 0.9 * 0.8**2
    assert abs(spread[0, 2]) < 1e-3


def test_a_line_of_known_change() -> None:
    change = line_change((4.0, 0.1), (1.0, 0.05), (0.0, 0.2), 1.0)
    assert change.value == pytest.approx(10.0 * np.log10(4.0))
    assert change.low is not None
    assert change.high is not None
    assert change.low < change.value < change.high


def test_a_line_heard_in_one_take_only_is_open_one_way_and_no_change_is_possible() -> None:
    """It may be gone, or never have been the engine's."""
    gone = line_change((4.0, 0.1), (0.02, 0.05), (0.0, 0.2), 1.0)
    assert (gone.low, gone.high) == (0.0, None)
    assert gone.value > 10.0
    new = line_change((0.02, 0.05), (4.0, 0.1), (0.0, 0.2), 1.0)
    assert (new.low, new.high) == (None, 0.0)
    assert new.value < -10.0


def test_a_line_well_down_in_both_takes_has_surely_changed() -> None:
    change = line_change((4.0, 0.01), (0.2, 0.01), (0.0, 0.2), 1.0)
    assert change.low is not None
    assert change.low > 6.0


def test_a_beat_goes_with_the_square_of_the_sounds_power() -> None:
    """Half the power of the noise is a quarter of the power of its squared envelope's line."""
    change = line_change((4.0, 0.01), (1.0, 0.01), (0.0, 0.1), 0.5, halved=True)
    assert change.value == pytest.approx(10.0 * np.log10(2.0))


def test_lines_of_one_source_together_lie_among_them() -> None:
    together = joined([Change(5.0, 4.0, 6.0), Change(7.0, 6.0, 8.0)])
    assert together is not None
    assert together.value == pytest.approx(6.0)
    assert joined([Change(5.0, None, None)]) is None
    gone = joined([Change(9.0, 6.0, None), Change(9.0, 7.0, None)])
    assert gone is not None
    assert (gone.low, gone.high) == (7.0, None)


def test_loudness_halves_with_ten_decibels() -> None:
    """A sone doubles for every 10 phon; a sound in all bands 10 dB down is about half as loud."""
    before = np.full(28, 1e-6)
    before[:6] = 1e-9
    loud, sharp = heard_ratios(before, before / 10.0, np.zeros((28, 28)))
    assert loud.value == pytest.approx(0.5, abs=0.05)
    assert sharp.value == pytest.approx(1.0, abs=0.15)
    assert loud.low <= loud.value <= loud.high


def test_less_high_pitch_is_less_sharp() -> None:
    before = np.full(28, 1e-6)
    after = before.copy()
    after[20:] /= 100.0
    _, sharp = heard_ratios(before, after, 0.01 * np.eye(28))
    assert sharp.high < 1.0
