"""From delays at a phone that moves to a place: made from plane geometry, not from the code."""

from __future__ import annotations

import numpy as np
import pytest

from beltside.base.errors import InputError, OutOfRangeError
from beltside.sound.bands import Band
from beltside.sound.direction import DelayMap, delay_map
from beltside.sound.pointing import (
    PlacedMap,
    SourcePlace,
    exchanged,
    locate,
    pulley_probability,
    swap_channels,
)

RATE_HZ = 48_000
SPACING_MM, STAND_OFF_MM = 140.0, 500.0
SOUND_SPEED_M_S = 343.2  # ISO 9613-1:1993 at 20 degrees Celsius, from memory


def take(
    source_mm: float, phone_mm: tuple[float, float], seconds: float = 6.0, seed: int = 1
) -> PlacedMap:
    """A point source heard by two microphones on a phone moved steadily between two places."""
    rng = np.random.default_rng(seed)
    time_s = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    phone = np.linspace(*phone_mm, time_s.size)
    wave = rng.normal(size=time_s.size)
    channels = []
    for side in (-1.0, 1.0):
        across_m = (source_mm - phone - side * SPACING_MM / 2) / 1000.0
        later_s = np.hypot(across_m, STAND_OFF_MM / 1000.0) / SOUND_SPEED_M_S
        channels.append(np.interp(time_s - later_s, time_s, wave))
    both = np.stack(channels) + 0.5 * rng.normal(size=(2, time_s.size))
    heard = delay_map(both, RATE_HZ, Band(1200.0, 4000.0), 0.45e-3)
    return PlacedMap(heard, np.interp(heard.time_s, (0.0, seconds), phone_mm))


def found(takes: list[PlacedMap]) -> SourcePlace:
    return locate(
        takes,
        spacing_mm=SPACING_MM,
        stand_off_mm=STAND_OFF_MM,
        from_mm=-500.0,
        to_mm=500.0,
    )


@pytest.mark.parametrize("source_mm", [-180.0, 0.0, 230.0])
@pytest.mark.parametrize("phone_mm", [(0.0, 0.0), (-250.0, 250.0), (200.0, -100.0)])
def test_a_source_is_placed(source_mm: float, phone_mm: tuple[float, float]) -> None:
    place = found([take(source_mm, phone_mm)])
    assert place.along_mm == pytest.approx(source_mm, abs=12.0)
    assert 30.0 < place.error_mm < 120.0
    assert place.fit > 0.3


def test_two_takes_at_two_places_are_one_witness_more() -> None:
    place = found([take(120.0, (-150.0, -150.0), 3.0), take(120.0, (200.0, 200.0), 3.0, 2)])
    assert place.along_mm == pytest.approx(120.0, abs=12.0)


def test_exchanged_channels_show_only_when_the_phone_moves() -> None:
    moved, still = take(150.0, (-250.0, 250.0)), take(150.0, (0.0, 0.0))
    for one in (moved, still):
        assert not exchanged(found([one]), [one])
    wrong = PlacedMap(swap_channels(moved.heard), moved.phone_mm)
    assert exchanged(found([wrong]), [wrong])
    mirrored = PlacedMap(swap_channels(still.heard), still.phone_mm)
    place = found([mirrored])
    assert not exchanged(place, [mirrored])
    assert place.along_mm == pytest.approx(-150.0, abs=12.0)


def test_exchanging_twice_changes_nothing() -> None:
    heard = take(80.0, (0.0, 0.0), 2.0).heard
    twice = swap_channels(swap_channels(heard))
    assert isinstance(twice, DelayMap)
    np.testing.assert_array_equal(twice.correlation, heard.correlation)
    np.testing.assert_array_equal(twice.phase, heard.phase)


def test_the_nearest_pulley_is_the_likeliest_and_all_sum_to_one() -> None:
    chance = pulley_probability([-150.0, 40.0, 60.0, 300.0], SourcePlace(70.0, 50.0, 0.5, 0.1))
    assert chance.sum() == pytest.approx(1.0)
    assert np.argmax(chance) == 2
    # Normal densities at 0.6 and 0.2 sigmas.
    assert chance[1] / chance[2] == pytest.approx(np.exp(-0.5 * (0.6**2 - 0.2**2)))


def test_far_beside_all_pulleys_nothing_overflows() -> None:
    chance = pulley_probability([0.0, 10.0], SourcePlace(9000.0, 5.0, 0.5, 0.1))
    assert np.isfinite(chance).all()
    assert chance[1] > 0.99


@pytest.mark.parametrize(("spacing_mm", "stand_off_mm"), [(1.0, 500.0), (140.0, 10.0)])
def test_figures_out_of_range_are_refused(spacing_mm: float, stand_off_mm: float) -> None:
    one = take(0.0, (0.0, 0.0), 2.0)
    with pytest.raises(OutOfRangeError):
        locate([one], spacing_mm=spacing_mm, stand_off_mm=stand_off_mm, from_mm=-100.0, to_mm=100.0)


def test_no_take_is_refused() -> None:
    with pytest.raises(InputError, match="no take"):
        found([])
