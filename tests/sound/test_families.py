"""Families of lines: Fisher's false-alarm rate on noise, and combs whose place is known."""

import numpy as np
import pytest

from beltside.base.errors import OutOfRangeError
from beltside.sound.families import find_family, pooled, row_strength, surprise, without
from beltside.sound.orders import OrderSpectrum

AVERAGES = 12.0
STEP = 1.0 / 32.0
TOP = 20.0
ORDER = np.arange(round(TOP / STEP) + 1) * STEP


def noise(seed: int, rows: int = 1) -> np.ndarray:
    """Means of exponential powers: a Gamma law with as many degrees as there are averages."""
    rng = np.random.default_rng(seed)
    return rng.gamma(AVERAGES, 1.0 / AVERAGES, size=(rows, ORDER.size))


def spectrum(power: np.ndarray) -> OrderSpectrum:
    return OrderSpectrum(ORDER, power, AVERAGES, 32.0 * AVERAGES)


def with_comb(power: np.ndarray, row: int, fundamental: float, height: float, count: int) -> None:
    for harmonic in range(1, count + 1):
        power[row, round(harmonic * fundamental / STEP)] += height


@pytest.mark.parametrize("rows", [1, 6])
def test_false_alarms_on_noise_are_no_more_than_stated(rows: int) -> None:
    """A significance of s happens in at most one of 10^s; 2.6 standard deviations of room."""
    trials, significance = 0, []
    for seed in range(120):
        heard = surprise(spectrum(noise(seed, rows)), exclude=[0.5])
        for low, high, harmonics in ((2.3, 2.36, 4), (3.15, 3.35, 3), (0.28, 0.31, 6)):
            family = find_family(heard, low, high, harmonics=harmonics)
            assert family is not None
            significance.append(family.significance)
            trials += 1
    for stated in (0.5, 1.0, 1.5, 2.0):
        share = 10.0**-stated
        most = share + 2.6 * np.sqrt(share * (1.0 - share) / trials)
        assert np.mean(np.array(significance) >= stated) <= most


@pytest.mark.parametrize(("fundamental", "row"), [(2.09375, 0), (3.28125, 2), (1.71875, 3)])
def test_a_comb_is_found_where_it_is(fundamental: float, row: int) -> None:
    power = noise(1, 4)
    with_comb(power, row, fundamental, 4.0, 4)
    family = find_family(
        surprise(spectrum(power), exclude=[0.5]), 0.98 * fundamental, 1.02 * fundamental
    )
    assert family is not None
    assert family.row == row
    assert family.fundamental == pytest.approx(fundamental, abs=STEP)
    assert family.significance > 6.0
    # Harmonics on the engine's own orders are left out.
    assert family.power == pytest.approx(4.0 * len(family.members), rel=0.25)
    assert len(family.members) >= 2
    tallest = max(family.members, key=lambda member: member.significance)
    assert tallest.order == pytest.approx(tallest.harmonic * fundamental, abs=STEP)
    assert tallest.excess_db == pytest.approx(10.0 * np.log10(5.0), abs=2.0)


def test_one_loud_line_is_no_family() -> None:
    """However loud, it brings no more than its limit among four."""
    power = noise(2)
    power[0, round(2.09375 / STEP)] += 1e6
    one = find_family(surprise(spectrum(power), exclude=[0.5]), 2.06, 2.13)
    with_comb(power, 0, 2.09375, 20.0, 4)
    four = find_family(surprise(spectrum(power), exclude=[0.5]), 2.06, 2.13)
    assert one is not None
    assert four is not None
    assert one.significance < 4.0 < 10.0 < four.significance


def test_without_hides_a_family_and_leaves_others() -> None:
    power = noise(3, 2)
    with_comb(power, 0, 2.09375, 5.0, 4)
    with_comb(power, 1, 3.71875, 5.0, 4)
    heard = surprise(spectrum(power), exclude=[0.5])
    first = find_family(heard, 2.06, 2.13)
    assert first is not None
    rest = without(heard, first)
    again, other = find_family(rest, 2.06, 2.13), find_family(rest, 3.68, 3.76)
    assert again is not None
    assert other is not None
    assert again.significance < 1.5
    assert other.significance > 6.0
    assert heard.minus_log_p[0, round(2.09375 / STEP)] > 5.0  # the given one is untouched


def test_the_engines_own_orders_count_for_nothing() -> None:
    power = noise(4)
    with_comb(power, 0, 0.5, 50.0, 30)
    heard = surprise(spectrum(power), exclude=[0.5])
    place = np.rint(np.arange(0.5, 15.0, 0.5) / STEP).astype(int)
    assert not heard.minus_log_p[0, place].any()
    family = find_family(heard, 2.28, 2.35)
    assert family is not None
    assert family.significance < 2.0


def test_a_band_counts_only_as_far_as_it_reaches() -> None:
    power = noise(5, 2)
    with_comb(power, 0, 6.3125, 8.0, 3)
    reaching = find_family(surprise(spectrum(power), reach=[20.0, 20.0]), 6.28, 6.35, harmonics=3)
    short = find_family(surprise(spectrum(power), reach=[5.0, 20.0]), 6.28, 6.35, harmonics=3)
    assert reaching is not None
    assert short is not None
    assert reaching.row == 0
    assert reaching.significance > 5.0
    assert short.significance < 2.0


def test_sidebands_add_to_a_family() -> None:
    power = noise(6)
    with_comb(power, 0, 6.3125, 2.0, 2)
    for harmonic in (1, 2):
        for side in (-1.21875, 1.21875):
            power[0, round((6.3125 * harmonic + side) / STEP)] += 2.0
    heard = surprise(spectrum(power))
    plain = find_family(heard, 6.28, 6.35, harmonics=2)
    sided = find_family(heard, 6.28, 6.35, harmonics=2, sidebands=[1.21875])
    assert plain is not None
    assert sided is not None
    assert sided.significance > plain.significance + 2.0


def test_row_strength_is_largest_where_the_lines_are() -> None:
    power = noise(7, 3)
    with_comb(power, 2, 2.3125, 5.0, 4)
    strength = row_strength(surprise(spectrum(power)), 2.3125 * np.arange(1, 5))
    assert int(np.argmax(strength)) == 2
    assert not row_strength(surprise(spectrum(power)), np.array([500.0])).any()


def test_windows_that_make_no_sense_are_refused() -> None:
    heard = surprise(spectrum(noise(8)))
    for low, high in ((0.0, 1.0), (2.0, 1.9), (-1.0, 1.0)):
        with pytest.raises(OutOfRangeError):
            find_family(heard, low, high)
    assert find_family(heard, 40.0, 41.0) is None


def smeared(power: np.ndarray, order: float, height: float, width: float) -> None:
    """A line that the track's error has spread to both sides alike (a Gaussian)."""
    power[0] += height * np.exp(-0.5 * ((ORDER - order) / width) ** 2)


def test_the_skirts_of_an_engine_line_are_no_lines() -> None:
    """A smeared firing line spills into its neighbours on both sides; a shaft's line stands on
    one side only."""
    for seed in range(20):
        power = noise(seed)
        smeared(power, 6.0, 300.0, 0.05)
        alone = surprise(spectrum(power), exclude=[0.5])
        beside = np.abs(ORDER - 6.0) < 0.2
        assert alone.minus_log_p[0, beside].max() < -np.log(1e-3)
        power[0, round(6.125 / STEP)] += 300.0
        heard = surprise(spectrum(power), exclude=[0.5])
        assert heard.minus_log_p[0, round(6.125 / STEP)] > -np.log(1e-4)


def test_lines_of_a_pulley_near_half_orders_are_seen() -> None:
    """Two bins from a half order is far enough when the engine's own line there is faint."""
    power = noise(4)
    with_comb(power, 0, 2.0625, 4.0, 4)
    family = find_family(surprise(spectrum(power), exclude=[0.5]), 2.04, 2.09)
    assert family is not None
    assert family.significance > 4.0


def test_pooled_takes_show_what_one_does_not() -> None:
    """A comb of 1.5 times the noise in each of five takes: five times the averages narrow the
    noise by the square root of five (Welch 1967)."""
    takes = []
    for seed in range(5):
        power = noise(seed, 2)
        with_comb(power, 1, 2.28125, 0.8, 4)
        takes.append(surprise(spectrum(power), exclude=[0.5]))
    alone = [find_family(one, 2.25, 2.31) for one in takes]
    together = find_family(pooled(takes), 2.25, 2.31)
    assert together is not None
    assert together.row == 1
    assert together.significance > 1.5 + max(one.significance for one in alone if one is not None)


def test_pooling_noise_raises_no_false_alarms() -> None:
    share = []
    for seed in range(40):
        takes = [surprise(spectrum(noise(1000 + 3 * seed + k)), exclude=[0.5]) for k in range(3)]
        heard = pooled(takes)
        share.append(np.mean(heard.minus_log_p[0, heard.usable] > -np.log(1e-3)))
    # One bin in a thousand; 2.6 standard deviations of room.
    bins = 40 * np.count_nonzero(heard.usable)
    assert np.mean(share) <= 1e-3 + 2.6 * np.sqrt(1e-3 / bins)


def test_pooling_leaves_out_takes_of_other_bands_and_needs_one() -> None:
    first, other = surprise(spectrum(noise(1, 3))), surprise(spectrum(noise(2, 4)))
    assert pooled([first, other]) is first
    with pytest.raises(OutOfRangeError, match="one or more"):
        pooled([])
