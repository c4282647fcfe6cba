"""The use case `vehicle`: a number, a label, or both."""

from __future__ import annotations

import json

import pytest

from beltside.base.errors import InputError
from beltside.casework.vehicle import vehicle
from beltside.vehicle.characters import check_digit


def fitting(vin: str) -> str:
    return vin[:8] + check_digit(vin) + vin[9:]


CAR_2014 = fitting("1AB45CD70EP118341")
EUROPEAN = "WXXZZZ1K09W394821"


def read(text: str, other: str | None = None, **more: object):
    return vehicle(text, other, today_year=2026, **more)


def test_a_number_alone():
    result = read(CAR_2014)
    assert (result.model_year, result.certainty) == (2014, "likely")
    assert result.family is None
    assert result.agree is None


def test_a_label_alone():
    result = read("NABCV02.0XYZ")
    assert (result.model_year, result.certainty) == (2022, "sure")
    assert result.vin is None


@pytest.mark.parametrize("swap", [False, True])
def test_both_agree_in_either_order(swap):
    pair = (CAR_2014, "EABCV02.0XYZ")
    result = read(*(pair[::-1] if swap else pair))
    assert (result.model_year, result.certainty, result.agree) == (2014, "sure", True)


def test_the_label_settles_what_the_number_leaves_open():
    open_year = "WXXZZZ1K0EW394821"
    assert read(open_year).model_year is None
    result = read(open_year, "EABCV02.0XYZ")
    assert (result.model_year, result.certainty, result.agree) == (2014, "likely", True)


def test_number_and_label_disagree():
    result = read(CAR_2014, "DABCV02.0XYZ")
    assert (result.model_year, result.agree) == (None, False)
    assert any("disagree" in one for one in result.warnings)


def test_a_car_can_not_be_what_only_a_heavy_vehicle_can():
    # Position 7 is a digit: a car is of 1984, only a heavier vehicle can be of 2014.
    digit_at_7 = fitting("1AB45C370EP118341")
    assert read(digit_at_7).model_year == 1984
    car = read(digit_at_7, "EABCV02.0XYZ")
    assert (car.model_year, car.agree) == (None, False)
    heavy = read(digit_at_7, "EABCH0540XYZ")
    assert (heavy.model_year, heavy.certainty, heavy.agree) == (2014, "likely", True)


def test_elsewhere_another_year_at_position_10_is_no_contradiction():
    result = read(EUROPEAN, "EABCV02.0XYZ")
    assert (result.model_year, result.certainty, result.agree) == (2014, "likely", None)


def test_a_misread_number_with_a_label():
    result = read(CAR_2014[:4] + "6" + CAR_2014[5:], "EABCV02.0XYZ")
    assert (result.model_year, result.certainty) == (2014, "likely")
    assert result.vin is not None
    assert result.vin.typos is not None


@pytest.mark.parametrize(
    ("one", "two", "said"),
    [
        (CAR_2014, EUROPEAN, "two numbers"),
        ("EABCV02.0XYZ", "NABCV02.0XYZ", "two engine families"),
        (CAR_2014, "12", "12"),
    ],
)
def test_pairs_that_can_not_be(one, two, said):
    with pytest.raises(InputError, match=said):
        read(one, two)


@pytest.mark.parametrize(
    "given",
    [
        (CAR_2014,),
        (CAR_2014[:4] + "6" + CAR_2014[5:],),
        (EUROPEAN,),
        ("NABCV0550XYZ",),
        ("SAB5.7T8GXYZ",),
        (CAR_2014, "EABCV02.0XYZ"),
    ],
)
def test_json_is_plain_and_keeps_its_keys(given):
    plain = json.loads(json.dumps(read(*given).to_json(), allow_nan=False))
    assert set(plain) == {
        "model_year",
        "certainty",
        "year_says",
        "displacement_l",
        "agree",
        "vin",
        "engine_family",
        "warnings",
        "provenance",
    }
    assert plain["provenance"]["inputs"]["today_year"] == 2026
    if plain["vin"] is not None:
        assert plain["vin"]["check_digit"]["fits"] in (True, False)
        assert plain["vin"]["model_year"]["choices"]
