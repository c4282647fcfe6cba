"""Which points are the fault's: patterns counted by hand, and Bayes' rule worked out on paper."""

from __future__ import annotations

import math

import numpy as np
import pytest

from beltside.sound.compare_doubt import (
    FAULT_SCATTER_DB,
    NO_FAULT,
    ONE_RUN,
    SHIFT_DB,
    Fit,
    fault_patterns,
    weigh,
)
from beltside.sound.compare_gain import GainPoints, gain_over_frequency, line_groups


def test_patterns_are_none_one_run_or_two() -> None:
    """Of n regions n (n + 1) / 2 runs, and as many pairs apart as 4 ends out of n + 1 (counted)."""
    for count in (1, 2, 3, 6):
        found = fault_patterns(np.arange(count))
        runs = count * (count + 1) // 2
        assert len(found.fault) == 1 + runs + math.comb(count + 1, 4)
        assert len({tuple(row) for row in found.fault.tolist()}) == len(found.fault)
        assert np.exp(found.log_prior).sum() == pytest.approx(1.0)


def test_points_of_one_region_are_the_faults_together() -> None:
    found = fault_patterns(np.array([3, 5, 3, 5]))
    assert found.fault[:, 0].tolist() == found.fault[:, 2].tolist()
    assert found.fault[:, 1].tolist() == found.fault[:, 3].tolist()


def test_no_point_leaves_the_gain_as_it_was() -> None:
    fit = Fit(0.0, np.array([2.0]), np.array([[9.0]]), 1.0, 0.3)
    found = weigh([fit], (np.zeros(0), np.zeros(0)), fault_patterns(np.zeros(0, dtype=np.intp)))
    assert found.mean == pytest.approx([2.0])
    assert found.covariance == pytest.approx(np.array([[9.0]]))


def test_one_point_by_bayes_rule_on_paper() -> None:
    """A gain of 0 +- 2 dB and one point that shows -10 +- 1 dB: either the engine's, or the fault's
    and then shifted besides. Normal densities and means written out by hand."""
    fit = Fit(0.0, np.zeros(2), np.full((2, 2), 4.0), 1.0, 0.3)
    found = weigh([fit], (np.array([-10.0]), np.array([1.0])), fault_patterns(np.array([0])))
    own, shifted = 4.0 + 1.0, 4.0 + 1.0 + SHIFT_DB**2 + FAULT_SCATTER_DB**2
    weight = [
        share * math.exp(-0.5 * 100.0 / variance) / math.sqrt(variance)
        for share, variance in ((NO_FAULT, own), (ONE_RUN, shifted))
    ]
    mean = [-10.0 * 4.0 / own, -10.0 * 4.0 / shifted]
    left = [4.0 - 16.0 / own, 4.0 - 16.0 / shifted]
    share = np.array(weight) / sum(weight)
    middle = float(share @ mean)
    assert found.mean == pytest.approx([middle], abs=0.01)
    assert found.covariance[0, 0] == pytest.approx(
        float(share @ (np.array(left) + (np.array(mean) - middle) ** 2)), rel=0.02
    )


BEATS_HZ = np.asarray(1046.0 * 1.316 ** np.arange(-3, 7), dtype=np.float64)
AT_HZ = np.geomspace(100.0, 8000.0, 12)


def low_lines(rng: np.random.Generator, gain_db: float) -> GainPoints:
    frequency_hz = np.arange(30.0, 280.0, 7.0)
    return GainPoints(
        frequency_hz,
        gain_db + rng.normal(0.0, 1.5, frequency_hz.size),
        np.full(frequency_hz.size, 0.3),
    )


def test_beats_that_fell_with_the_fault_do_not_pass_for_gain() -> None:
    """The same phone, and two runs of bands in which a fault beat that was turned down 9 dB."""
    rng = np.random.default_rng(11)
    off = []
    for _ in range(10):
        shown = 4.0 + rng.normal(0.0, 1.0, BEATS_HZ.size)
        shown[[3, 4, 7, 8]] -= 9.0
        beats = GainPoints(BEATS_HZ, shown, np.full(BEATS_HZ.size, 0.3))
        found = gain_over_frequency(low_lines(rng, 4.0), beats, AT_HZ)
        off.append(found.db - 4.0)
    assert float(np.abs(np.mean(off, axis=0)).max()) < 1.5


def test_another_phones_colour_is_still_followed() -> None:
    """A gain that rises by 3 dB each octave all the way is a phone, not a fault."""
    rng = np.random.default_rng(12)
    slope = 3.0 * np.log2(BEATS_HZ / 200.0)
    beats = GainPoints(BEATS_HZ, slope + rng.normal(0.0, 1.0, 10), np.full(10, 0.3))
    lines = low_lines(rng, 0.0)
    tilted = lines.gain_db + 3.0 * np.log2(lines.frequency_hz / 200.0)
    found = gain_over_frequency(
        GainPoints(lines.frequency_hz, tilted, lines.sd_db),
        beats,
        np.array([400.0, 1600.0, 6400.0]),
    )
    assert found.db == pytest.approx([3.0, 9.0, 15.0], abs=2.5)


def test_high_lines_of_one_region_make_one_point() -> None:
    lines = GainPoints(
        np.array([440.0, 450.0, 460.0, 1000.0]), np.array([1.0, 2.0, 9.0, 5.0]), np.full(4, 0.5)
    )
    found = line_groups(lines)
    assert found.gain_db.tolist() == [2.0, 5.0]
    assert found.sd_db[0] < found.sd_db[1]
