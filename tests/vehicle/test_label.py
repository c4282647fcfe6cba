"""The engine family on the emissions label."""

from __future__ import annotations

import pytest
import scipy.constants
from hypothesis import given, settings
from hypothesis import strategies as st

from beltside.base.errors import InputError
from beltside.vehicle.label import CUBIC_CM_PER_CUBIC_INCH, read_family, squeezed_family


def read(text: str, today: int = 2026):
    return read_family(text, today_year=today)


def test_cubic_inch():
    assert pytest.approx(scipy.constants.inch**3 * 1e6, rel=1e-12) == CUBIC_CM_PER_CUBIC_INCH


@pytest.mark.parametrize(
    ("family", "litres", "certainty"),
    [
        ("NABCV02.0XYZ", 2.0, "sure"),
        ("NABCV2.00XYZ", 2.0, "sure"),
        ("NABCT05.7XYZ", 5.7, "sure"),
        ("NABCV0350XYZ", 5.735, "likely"),
        ("NABCT0122XYZ", 1.999, "likely"),
        ("NABCV1998XYZ", 1.998, "likely"),
        ("NABCV20.0XYZ", 20.0, "doubtful"),
    ],
)
def test_displacement(family, litres, certainty):
    found = read(family).displacement
    assert found is not None
    assert found.litres == pytest.approx(litres, abs=0.001)
    assert found.certainty == certainty
    assert found.low_l < found.litres < found.high_l


@pytest.mark.parametrize("family", ["NABCV0550XYZ", "NABCH0540XYZ", "NABCC0750XYZ"])
def test_both_units_where_the_size_does_not_tell(family):
    found = read(family)
    assert found.displacement is None
    inches, metric = found.displacement_choices
    assert inches.litres / metric.litres == pytest.approx(16.387064)
    assert "can't tell" in found.displacement_says


@pytest.mark.parametrize(
    ("family", "said"),
    [
        ("NABCR0120XYZ", "evaporative"),
        ("NABCV00.0XYZ", "electric"),
        ("NABCVPGNNXYZ", "kind of family"),
        ("NABCV02O0XYZ", "0200"),
    ],
)
def test_what_is_no_displacement(family, said):
    found = read(family)
    assert found.displacement is None
    assert found.displacement_choices == ()
    assert said in found.displacement_says


def test_no_maker_is_named_and_the_rest_is_the_makers():
    found = read("NABCV02.0XYZ")
    assert (found.maker_code, found.sector, found.own_code) == ("ABC", "V", "XYZ")


@pytest.mark.parametrize(
    ("family", "year", "litres", "sector"),
    [
        ("SAB5.7T8GXYZ", 1995, 5.7, "T"),
        ("SAB350T8GXYZ", 1995, 5.735, "T"),
        ("VAB2.0V8GXYZ", 1997, 2.0, "V"),
        ("LAB2.0V8GXYZ", None, 2.0, "V"),  # 1990: before the layout
    ],
)
def test_the_older_layout(family, year, litres, sector):
    found = read(family)
    assert found.layout == "1994 to 1999"
    assert found.model_year == year
    assert found.displacement is not None
    assert found.displacement.litres == pytest.approx(litres, abs=0.001)
    assert (found.sector, found.maker_code) == (sector, "AB")


@pytest.mark.parametrize(
    ("code", "today", "year"),
    [
        ("9", 2026, 2009),
        ("V", 2026, 2027),
        ("W", 2026, 1998),
        ("W", 2028, None),
        ("5", 2036, None),
        ("T", 2020, None),
        ("3", 2036, None),
        ("P", 2026, 2023),
    ],
)
def test_the_year_and_what_lies_ahead(code, today, year):
    found = read(f"{code}ABCV02.0XYZ", today)
    assert found.model_year == year
    if year is None:
        assert "can't tell" in found.year_says


@pytest.mark.parametrize(
    "typed",
    [
        "nabcv02.0xyz",
        "NABCV 02.0 XYZ",
        "NABCV02,0XYZ",
        "Engine family: NABCV02.0XYZ",
        "TEST GROUP NABCV02.0XYZ",
        "EF: NABCV02.0XYZ",
    ],
)
def test_spaces_comma_and_words_in_front_do_not_matter(typed):
    assert squeezed_family(typed) == "NABCV02.0XYZ"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("NABCV020XYZ", ["has 11 characters", "decimal point"]),
        ("NABCV02.0XYZW", ["has 13 characters", "12 characters"]),
        ("", ["has 0 characters"]),
        ("OABCV02.0XYZ", ["begins with O"]),
        ("IABCV02.0XYZ", ["begins with I", "1 in place of I"]),
        ("NABCVO2.0XYZ", ["O2.0 is no figure", "NABCV02.0XYZ"]),
        ("NABCV2.0.XYZ", ["decimal point where"]),
        ("NAB.V0200XYZ", ["decimal point where"]),
        ("NABCV02.0XY_", ["character 12", "_"]),
        ("NABCV02.0XYЖ", ["character 12"]),
    ],
)
def test_what_can_not_be_read_is_refused(text, said):
    with pytest.raises(InputError) as caught:
        read(text)
    for words in said:
        assert words in str(caught.value)


@given(st.sampled_from("VTHC"), st.text("0123456789.", min_size=4, max_size=4))
@settings(max_examples=200)
def test_point_or_no_point(sector, figure):
    family = f"NABC{sector}{figure}XYZ"
    if figure.count(".") > 1:
        with pytest.raises(InputError):
            read(family)
        return
    found = read(family)
    if "." in figure and float(figure) > 0:
        assert found.displacement is not None
        assert found.displacement.litres == float(figure)
    elif "." not in figure and float(figure) > 0:
        # Cubic inches or cubic centimetres, never litres.
        assert {
            round(1000 * one.litres / float(figure), 3) for one in found.displacement_choices
        } <= {
            1.0,
            16.387,
        }
    else:
        assert found.displacement is None


@given(st.text(max_size=30))
@settings(max_examples=200)
def test_anything_typed_is_read_or_refused_in_words(text):
    refused = None
    try:
        read(text)
    except InputError as error:
        refused = error
    assert refused is None or (refused.given and refused.allowed and refused.instead)
