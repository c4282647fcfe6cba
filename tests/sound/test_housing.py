"""The housing map's parts: levels of a suspect's own sound, gains between takes, and ranks."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from beltside.base.errors import InputError, OutOfRangeError
from beltside.sound.bands import Band
from beltside.sound.hearing import Hearing, OrderHearing
from beltside.sound.housing import (
    OwnLevel,
    OwnSound,
    gains,
    own_level,
    probability_of_most,
    rank_places,
    references,
    require_two_places,
)
from beltside.sound.orders import OrderSpectrum, PowerSpectrum, Spectrogram

STEP = 1 / 32
ORDERS = (3.0, 6.0)
OWN = OwnSound(ORDERS, (), 1200.0, 4000.0)


def hearing(
    *, depth: float = 0.0, gain: float = 1.0, firing: float = 0.4, with_orders: bool = True
) -> Hearing:
    """Three bands over a flat background; the middle one beats `depth` deep at ORDERS, and all of
    them `firing` deep at the firing order 2. A beat m deep shows m^2 / 2 in the spectrum."""
    bands = (Band(400.0, 1200.0), Band(1200.0, 4000.0), Band(4000.0, 12000.0))
    order = np.arange(1281) * STEP
    envelope = np.full((3, order.size), 1e-6)
    for at in ORDERS:
        envelope[1, round(at / STEP)] += depth**2 / 2
    envelope[:, round(2.0 / STEP)] += firing**2 / 2
    sound = np.full(5121, 1e-9)
    sound[np.rint(np.arange(2.0, 12.5, 0.5) / STEP).astype(int)] = 1e-4
    return Hearing(
        bands=bands,
        band_power=gain * np.array([1e-3, 1e-4, 1e-5]),
        band_quiet=gain * np.array([1e-4, 1e-5, 1e-6]),
        band_kurtosis=np.zeros(3),
        spectrum=PowerSpectrum(np.arange(3.0), np.ones(3), 10.0),
        orders=OrderHearing(
            OrderSpectrum(np.arange(5121) * STEP, gain * sound, 10.0, 200.0),
            OrderSpectrum(order, envelope, 10.0, 200.0),
        )
        if with_orders
        else None,
        squeals=(),
        picture=Spectrogram(np.zeros(1), np.ones(1), np.zeros((1, 1), dtype=np.float32)),
        seconds=15.0,
    )


def test_a_beats_level_is_the_power_that_swings() -> None:
    """Two lines 0.3 deep in a band of mean square 1e-4: 1e-4 x sqrt(2 (2 x 0.3^2 / 2))."""
    level = own_level(hearing(depth=0.3), OWN, by="rhythm")
    assert level.heard
    assert level.level_db == pytest.approx(10 * np.log10(1e-4 * 0.3 * np.sqrt(2)), abs=0.01)


def test_steady_noise_over_a_beat_does_not_hide_it() -> None:
    """As much steady noise again halves the depth and doubles the band: the same power swings."""
    alone = own_level(hearing(depth=0.6), OWN, by="rhythm")
    covered = own_level(hearing(depth=0.3, gain=2.0), OWN, by="rhythm")
    assert covered.level_db == pytest.approx(alone.level_db, abs=0.01)


def test_nothing_there_is_not_heard_and_gives_a_ceiling() -> None:
    level = own_level(hearing(), OWN, by="rhythm")
    assert not level.heard
    assert level.level_db < own_level(hearing(depth=0.05), OWN, by="rhythm").level_db
    assert level.error_db > 3.0


def test_tones_and_bands_have_their_levels() -> None:
    tones = OwnSound((), (4.0, 5.0), 1200.0, 4000.0)
    assert own_level(hearing(), tones, by="tones").level_db == pytest.approx(
        10 * np.log10(2e-4), abs=0.01
    )
    assert own_level(hearing(), OWN, by="band").level_db == pytest.approx(-40.0)


def test_levels_that_cannot_be_read_are_refused() -> None:
    with pytest.raises(InputError, match="without a crank speed"):
        own_level(hearing(with_orders=False), OWN, by="rhythm")
    with pytest.raises(InputError, match="rhythm, tones or band"):
        own_level(hearing(), OWN, by="ear")
    with pytest.raises(OutOfRangeError, match="a band from"):
        own_level(hearing(), OwnSound(ORDERS, (), 13_000.0, 14_000.0), by="band")
    with pytest.raises(OutOfRangeError, match="lines at orders"):
        own_level(hearing(), OwnSound((), (900.0,), 1200.0, 4000.0), by="tones")


def test_a_gain_moves_every_reference_by_itself() -> None:
    quiet, loud = (
        references(hearing(gain=gain), OWN, cycle_order=0.5, firing_order=2.0)
        for gain in (1.0, 100.0)
    )
    assert set(quiet) == {"engine lines", "firing beat"}
    for name in quiet:
        assert loud[name] - quiet[name] == pytest.approx(20.0, abs=0.01)


def test_the_suspects_own_orders_are_no_reference() -> None:
    """Lines at the firing order belong to the suspect when they are its own."""
    mine = OwnSound((2.0, 4.0, 6.0), (), 1200.0, 4000.0)
    read = references(hearing(), mine, cycle_order=0.5, firing_order=2.0)
    assert "firing beat" not in read
    other = references(hearing(depth=0.9), OWN, cycle_order=0.5, firing_order=2.0)
    plain = references(hearing(), OWN, cycle_order=0.5, firing_order=2.0)
    assert other["firing beat"] == pytest.approx(plain["firing beat"], abs=0.01)


def test_without_a_crank_speed_there_is_no_reference() -> None:
    assert references(hearing(with_orders=False), OWN, cycle_order=0.5, firing_order=2.0) == {}


def test_gains_are_joined_by_their_errors() -> None:
    """Weights 1/9, 1/64 and 1/25 about 0, 0 and the reading: the normal posterior mean."""
    takes = [{"firing beat": 0.0, "engine lines": 0.0}, {"firing beat": 8.0, "engine lines": -4.0}]
    gain, error = gains(takes)
    precision = 1 / 9 + 1 / 64 + 1 / 25
    assert gain == pytest.approx([(-4 / 9 + 2 / 64) / precision, (4 / 9 - 2 / 64) / precision])
    assert error == pytest.approx(np.full(2, precision**-0.5))


def test_a_reference_missing_in_one_take_counts_in_none() -> None:
    gain, error = gains([{"firing beat": 0.0}, {}])
    assert gain == pytest.approx([0.0, 0.0])
    assert error == pytest.approx([5.0, 5.0])
    with pytest.raises(InputError, match="no take"):
        gains([])


def test_places_are_ranked_by_level_less_gain() -> None:
    level = [OwnLevel(db, 0.5, True, "rhythm") for db in (-50.0, -45.0, -60.0)]
    places = rank_places(["pump", "idler", "fan"], level, [0.0, 10.0, 0.0], [0.5, 0.5, 0.5])
    assert [place.part for place in places] == ["pump", "idler", "fan"]
    assert places[0].level_db == pytest.approx(-50.0 - np.mean([-50.0, -55.0, -60.0]))
    assert sum(place.loudest for place in places) == pytest.approx(1.0)
    assert places[0].low_db < places[0].level_db < places[0].high_db


def test_two_takes_at_one_place_are_one_place() -> None:
    level = [OwnLevel(db, 0.5, True, "rhythm") for db in (-50.0, -52.0, -60.0)]
    places = rank_places(["pump", "pump", "fan"], level, [0.0] * 3, [1.0] * 3)
    assert [place.part for place in places] == ["pump", "fan"]
    assert places[0].level_db - places[1].level_db == pytest.approx(9.0)


@pytest.mark.parametrize("parts", [[], ["idler"], ["idler", "idler"]])
def test_one_place_is_refused(parts: list[str]) -> None:
    with pytest.raises(InputError, match="two housings or more"):
        require_two_places(parts)


@settings(max_examples=20, deadline=None)
@given(st.floats(-20.0, 20.0), st.floats(0.5, 8.0), st.floats(0.5, 8.0))
def test_of_two_the_difference_is_normal(apart: float, one: float, other: float) -> None:
    """P(X > Y) = Phi((mx - my) / sqrt(sx^2 + sy^2)): any book on probability."""
    from scipy.stats import norm

    chance = probability_of_most(np.array([apart, 0.0]), np.array([one, other]))
    assert chance[0] == pytest.approx(norm.cdf(apart / np.hypot(one, other)), abs=2e-3)


def test_of_four_as_counted_by_drawing() -> None:
    middle, error = np.array([3.0, 1.0, 0.0, -4.0]), np.array([2.0, 4.0, 1.0, 6.0])
    drawn = np.random.default_rng(1).normal(middle, error, size=(200_000, 4)).argmax(axis=1)
    counted = np.bincount(drawn, minlength=4) / drawn.size
    assert probability_of_most(middle, error) == pytest.approx(counted, abs=0.005)
