"""Strength from every tool, and what it refuses or warns of."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from beltside.base.errors import InputError, OutOfRangeError
from beltside.coolant import glycol, mix, water
from beltside.coolant.glycol import GLYCOLS, Glycol

MASSES = st.floats(0.05, 0.58)
KINDS = st.sampled_from(GLYCOLS)


@settings(max_examples=25, deadline=None)
@given(KINDS, MASSES, st.floats(5.0, 55.0))
def test_hydrometer_there_and_back(kind: Glycol, mass: float, temperature_c: float) -> None:
    sg = glycol.density_kg_m3(kind, mass, temperature_c) / water.density_kg_m3(15.56)
    read = mix.from_hydrometer(kind, sg, temperature_c)
    assert read.mass == pytest.approx(mass, abs=1e-4)
    assert read.mass_low < mass < read.mass_high


@settings(max_examples=25, deadline=None)
@given(KINDS, MASSES)
def test_refractometer_and_freezing_there_and_back(kind: Glycol, mass: float) -> None:
    index = glycol.refractive_index_20(kind, mass)
    assert mix.from_refractive_index(kind, index).mass == pytest.approx(mass, abs=1e-4)
    frozen = glycol.freezing_c(kind, mass)
    assert mix.from_freezing(kind, frozen).mass == pytest.approx(mass, abs=1e-5)


@settings(max_examples=25, deadline=None)
@given(KINDS, st.floats(0.0, 1.0))
def test_volume_and_mass_there_and_back(kind: Glycol, volume: float) -> None:
    mass = glycol.mass_from_volume(kind, volume)
    assert glycol.volume_from_mass(kind, mass) == pytest.approx(volume, abs=1e-12)


def test_more_glycol_freezes_lower_and_boils_higher() -> None:
    for kind in GLYCOLS:
        masses = [0.1, 0.2, 0.3, 0.4, 0.5, 0.6]
        freezing = [glycol.freezing_c(kind, mass) for mass in masses]
        boiling = [glycol.boiling_c(kind, mass, 101.325) for mass in masses]
        assert freezing == sorted(freezing, reverse=True)
        assert boiling == sorted(boiling)


def test_propylene_on_an_ethylene_scale_freezes_sooner_than_it_says() -> None:
    read = mix.from_freezing("propylene", -30.0, scale="ethylene")
    assert glycol.freezing_c("propylene", read.mass) > -25.0
    assert "-30 °C" in read.warnings[0]
    assert "ethylene" in read.warnings[0]


def test_other_scale_of_the_same_light_ray() -> None:
    other = mix.other_scale_c("ethylene", -30.0)
    read = mix.from_freezing("propylene", -30.0, scale="ethylene")
    assert other == pytest.approx(glycol.freezing_c("propylene", read.mass), abs=1e-3)
    assert mix.other_scale_c("propylene", -49.9) is None


def test_wet_and_warm_readings_of_one_mixture_agree() -> None:
    """Warm coolant floats the hydrometer lower; the temperature makes up for it."""
    readings = []
    for temperature_c in (10.0, 50.0):
        sg = glycol.density_kg_m3("ethylene", 0.5, temperature_c) / water.density_kg_m3(15.56)
        readings.append((sg, mix.from_hydrometer("ethylene", sg, temperature_c).mass))
    assert readings[0][0] > readings[1][0] + 0.01
    assert readings[0][1] == pytest.approx(readings[1][1], abs=1e-4)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: mix.from_freezing("ethylene", -60.0), "-51"),
        (lambda: mix.from_freezing("ethylene", 5.0), "0 °C"),
        (lambda: mix.from_hydrometer("ethylene", 1.12, 20.0), "over-rich"),
        (lambda: mix.from_hydrometer("ethylene", 0.95, 20.0), "cleaning"),
        (lambda: mix.from_hydrometer("ethylene", 1.06, 90.0), "60 °C"),
        (lambda: mix.from_refractive_index("propylene", 1.45), "1.33"),
        (lambda: mix.from_amounts("ethylene", 0.0, 0.0), "nothing"),
        (lambda: mix.from_amounts("ethylene", -1.0, 2.0), "-1"),
        (lambda: mix.from_fraction("ethylene", 1.2, by="volume"), "1.2"),
        (lambda: glycol.freezing_c("ethylene", 0.61), "turns back"),
        (lambda: glycol.boiling_c("ethylene", 0.75, 101.0), "0.75"),
        (lambda: glycol.boiling_c("ethylene", 0.5, 500.0), "300"),
        (lambda: glycol.density_kg_m3("ethylene", 0.5, 120.0), "100"),
    ],
)
def test_outside_what_was_measured_is_refused(call, words: str) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(InputError, match=words):
        call()


@pytest.mark.parametrize("bad", [float("nan"), float("inf")])
def test_no_numbers_are_refused(bad: float) -> None:
    with pytest.raises(OutOfRangeError):
        mix.from_freezing("ethylene", bad)
    with pytest.raises(OutOfRangeError):
        mix.from_hydrometer("ethylene", bad, 20.0)


def test_over_rich_gives_no_freezing_point_but_says_so() -> None:
    found = mix.mixture(mix.from_fraction("ethylene", 0.95, by="volume"), ambient_kpa=101.325)
    assert found.freezing_c is None
    assert found.boiling_c is None
    assert any("over-rich" in warning for warning in found.warnings)


def test_rich_weak_and_plain_water_are_warned_of() -> None:
    def warned(volume: float) -> str:
        strength = mix.from_fraction("propylene", volume, by="volume")
        return " ".join(mix.mixture(strength, ambient_kpa=101.325).warnings)

    assert "rich" in warned(0.605)
    assert "weak" in warned(0.25)
    assert "water" in warned(0.0)
    assert warned(0.5) == ""


def test_hard_water_is_warned_of() -> None:
    strength = mix.from_fraction("ethylene", 0.5, by="volume")
    assert mix.mixture(strength, ambient_kpa=101.3, hardness_ppm=100.0).warnings == ()
    (warning,) = mix.mixture(strength, ambient_kpa=101.3, hardness_ppm=300.0).warnings
    assert "distilled" in warning


def test_cap_and_altitude_move_the_boiling_point() -> None:
    strength = mix.from_fraction("ethylene", 0.5, by="volume")
    low = mix.mixture(strength, ambient_kpa=101.325, cap_kpa=108.0)
    high = mix.mixture(strength, ambient_kpa=84.56, cap_kpa=108.0)
    assert low.boiling_c is not None
    assert high.boiling_c is not None
    assert low.boiling_open_c is not None
    assert low.boiling_c > high.boiling_c + 2.0
    assert low.boiling_c > low.boiling_open_c + 20.0


def test_cold_above_hot_is_refused() -> None:
    with pytest.raises(OutOfRangeError, match="cold below hot"):
        mix.mixture(
            mix.from_fraction("ethylene", 0.5, by="mass"),
            ambient_kpa=101.3,
            cold_c=90.0,
            hot_c=20.0,
        )
