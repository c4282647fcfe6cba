"""Marks of caps: with units, bare, and nonsense."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from beltside.base.errors import InputError
from beltside.coolant.pressure import (
    HIGHEST_CAP_KPA,
    KPA_PER,
    LOWEST_CAP_KPA,
    ambient_kpa,
    cap_target,
    from_kpa,
    read_cap_mark,
    read_pressure_kpa,
)


@settings(max_examples=30, deadline=None)
@given(st.floats(30.0, 175.0), st.sampled_from(sorted(KPA_PER)))
def test_a_mark_with_its_unit_is_read_as_such(kpa: float, unit: str) -> None:
    mark = read_cap_mark(f"{from_kpa(kpa)[unit]:.6f} {unit}")
    assert mark.gauge_kpa == pytest.approx(kpa, rel=1e-4)
    assert mark.assumed == ""


@settings(max_examples=60, deadline=None)
@given(st.floats(0.28, 179.0))
def test_a_bare_number_never_pumps_higher_than_any_unit_it_fits(number: float) -> None:
    fits = [number * one for one in KPA_PER.values()]
    fits = [kpa for kpa in fits if LOWEST_CAP_KPA <= kpa <= HIGHEST_CAP_KPA]
    try:
        mark = read_cap_mark(f"{number:.6f}")
    except InputError:
        assert not [kpa for kpa in fits if LOWEST_CAP_KPA + 0.1 < kpa < HIGHEST_CAP_KPA - 0.1]
        return
    assert mark.gauge_kpa == pytest.approx(min(fits), rel=1e-4)
    assert "without a unit" in mark.assumed


@pytest.mark.parametrize("text", ["1,1 bar", " 1.1bar ", "1.1 BAR"])
def test_ways_to_write_it(text: str) -> None:
    assert read_cap_mark(text).gauge_kpa == pytest.approx(110.0)


def test_what_else_a_bare_number_could_be_is_said() -> None:
    mark = read_cap_mark("1.1")
    assert dict(mark.others_kpa).keys() == {"bar", "atm"}
    assert "110.0 kPa" in mark.assumed
    assert read_cap_mark("16").others_kpa == ()


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("3", "fits no unit"),
        ("0.1", "fits no unit"),
        ("999", "fits no unit"),
        ("16 bar", "16 psi, if that was meant"),
        ("1.1 psi", "1.1 bar, if that was meant"),
        ("1.1 furlongs", "unit of pressure"),
        ("", "number"),
        ("-1.1 bar", "number"),
        ("abc", "number"),
        ("nan", "number"),
    ],
)
def test_nonsense_is_refused_with_what_would_work(text: str, words: str) -> None:
    with pytest.raises(InputError, match=words):
        read_cap_mark(text)


@pytest.mark.parametrize("height", [6000.0, -1000.0, float("nan")])
def test_heights_where_no_car_drives_are_refused(height: float) -> None:
    with pytest.raises(InputError, match="feet"):
        ambient_kpa(height)


def test_six_thousand_was_perhaps_feet() -> None:
    with pytest.raises(InputError, match="1829 m"):
        ambient_kpa(6000.0)


def test_target_stays_below_the_mark_and_the_cap_opens_about_it() -> None:
    target = cap_target(read_cap_mark("108 kPa"), 101.325)
    assert target.lowest_kpa < target.target_kpa == 108.0
    assert target.opens_low_kpa < 108.0 < target.opens_high_kpa


def test_pressures_with_a_sign() -> None:
    assert read_pressure_kpa("-0.2 bar") == pytest.approx(-20.0)
    with pytest.raises(InputError):
        read_pressure_kpa("much")
