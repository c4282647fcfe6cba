"""The background of a spectrum: right for noise of any slope, untouched by lines."""

import numpy as np
import pytest
from scipy import stats

from beltside.base.errors import InputError, OutOfRangeError
from beltside.sound.background import local_background
from beltside.sound.orders import OrderSpectrum

BINS = 800
ORDER = np.arange(BINS) * 0.05


def spectrum(power: np.ndarray, averages: float = 30.0) -> OrderSpectrum:
    return OrderSpectrum(ORDER[: power.size], power, averages, 400.0)


def gamma_noise(averages: float, seed: int, shape: np.ndarray | float = 1.0) -> np.ndarray:
    rng = np.random.default_rng(seed)
    return rng.gamma(averages, 1.0 / averages, BINS) * shape


SLOPES = {
    "flat": np.ones(BINS),
    "steep": 1.0 / (0.3 + ORDER) ** 2,
    "hump": 0.1 + np.exp(-(((ORDER - 15) / 5) ** 2)),
}


@pytest.mark.parametrize("name", SLOPES)
def test_background_is_the_expected_power(name: str) -> None:
    ratio = np.mean(
        [
            local_background(spectrum(gamma_noise(30, seed, SLOPES[name]))).power / SLOPES[name]
            for seed in range(20)
        ],
        axis=0,
    )
    # At the foot of the hump the background bends within one window: up to 1 dB there.
    assert ratio[10:-10] == pytest.approx(1.0, abs=0.26 if name == "hump" else 0.12)
    assert ratio.mean() == pytest.approx(1.0, abs=0.02)


def test_lines_do_not_lift_it() -> None:
    noise = gamma_noise(30, 1)
    with_lines = noise.copy()
    with_lines[40::40] += 1000.0
    with_lines[41::40] += 250.0
    plain, lined = local_background(spectrum(noise)), local_background(spectrum(with_lines))
    assert lined.power[20:] == pytest.approx(plain.power[20:], rel=0.12)
    assert lined.excess_db[400] == pytest.approx(30.0, abs=1.0)


def test_excluded_orders_take_no_part() -> None:
    power = gamma_noise(30, 2)
    near_half = np.abs(ORDER - 0.5 * np.rint(ORDER / 0.5)) < 0.08
    lined = np.where(near_half, 50.0, power)
    found = local_background(spectrum(lined), exclude=(0.5,))
    assert not found.usable[near_half].any()
    assert found.usable[5]
    assert found.power[20:] == pytest.approx(1.0, abs=0.35)
    assert found.power.mean() == pytest.approx(1.0, abs=0.05)


def test_p_values_are_even_for_noise() -> None:
    """Against the definition: under noise a share x of bins has p below x."""
    p_value = np.concatenate(
        [local_background(spectrum(gamma_noise(20, seed), 20.0)).p_value[2:] for seed in range(40)]
    )
    for share in (0.5, 0.1, 0.01, 0.001):
        assert 0.4 * share < np.mean(p_value < share) <= 1.05 * share


def test_a_wider_spread_than_stated_lowers_the_averages() -> None:
    """Noise with 8 averages called 40: p-values from the stated figure would be far too small."""
    found = local_background(spectrum(gamma_noise(8, 3), averages=40.0))
    assert np.median(found.averages) == pytest.approx(8.0, rel=0.4)
    honest = np.mean(
        [
            np.mean(local_background(spectrum(gamma_noise(8, seed), 40.0)).p_value[2:] < 0.001)
            for seed in range(20)
        ]
    )
    blind = stats.gamma.sf(gamma_noise(8, 3), 40.0, scale=1 / 40.0)
    assert honest < 0.002
    assert np.mean(blind < 0.001) > 0.03


def test_level_changes_nothing_but_the_background() -> None:
    power = gamma_noise(30, 4)
    plain, louder = local_background(spectrum(power)), local_background(spectrum(power * 1e6))
    assert louder.power == pytest.approx(plain.power * 1e6)
    assert louder.p_value == pytest.approx(plain.p_value)
    assert louder.excess_db == pytest.approx(plain.excess_db, abs=1e-9)


def test_refuses_what_it_cannot_do() -> None:
    with pytest.raises(OutOfRangeError, match="values"):
        local_background(spectrum(np.ones(20)))
    with pytest.raises(OutOfRangeError, match="silent"):
        local_background(spectrum(np.zeros(BINS)))
    with pytest.raises(OutOfRangeError, match="bins left"):
        local_background(spectrum(gamma_noise(30, 0)), exclude=(0.1,))
    with pytest.raises(InputError, match="negative"):
        local_background(spectrum(-np.ones(BINS)))
    with pytest.raises(OutOfRangeError, match="averages"):
        local_background(spectrum(np.ones(BINS), averages=0.5))
    with pytest.raises(InputError, match="not finite"):
        local_background(spectrum(np.full(BINS, np.nan)))
