"""Vehicle identification numbers and engine families against the regulations' own examples.

Sources:
- 49 CFR 565.15 (formerly 565.6), tables III to VII: weights, values, worked examples, year codes.
- 73 FR 23367 (30 April 2008): position 7 tells the two rounds of year codes apart.
- NHTSA, outline for new manufacturers: worked example; its table of decimal remainders.
- EPA, Information about Family Naming Conventions for Vehicles and Engines (as of 19 January 2021).
- EPA sub-code tables for 1994 and later, reprinted in a workshop manual of 1999: table 10.
"""

from __future__ import annotations

from decimal import Decimal

import pytest

from beltside.vehicle.characters import VALUES, WEIGHTS, check_digit, value_sum
from beltside.vehicle.label import read_family
from beltside.vehicle.vin import read_vin
from beltside.vehicle.year import years_of_code


@pytest.mark.parametrize(
    ("vin", "total", "digit"),
    [
        ("1G4AH59H45G118341", 411, "4"),
        ("1J9RP1A36A1644345", 314, "6"),
        ("1M8GDM9AXKP042788", 351, "X"),
        ("11111111111111111", 89, "1"),
    ],
)
def test_worked_examples(vin, total, digit):
    # 49 CFR 565.15(c), first; NHTSA's outline, second; the last two from common use (from memory).
    assert value_sum(vin) == total
    assert check_digit(vin) == vin[8] == digit
    read = read_vin(vin, today_year=2026)
    assert read.check.fits
    assert read.check.mandatory


def test_the_first_example_term_by_term():
    # 49 CFR 565.15(c)(4): values and weights of the example, written out.
    values = [1, 7, 4, 1, 8, 5, 9, 8, 4, 5, 7, 1, 1, 8, 3, 4, 1]
    weights = [8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2]
    assert [VALUES[one] for one in "1G4AH59H45G118341"] == values
    assert list(WEIGHTS) == weights
    assert sum(v * w for v, w in zip(values, weights, strict=True)) == 411


def test_values_of_letters():
    # 49 CFR 565.15(c)(1), table III: I, O and Q have none.
    table = {
        **dict(zip("ABCDEFGH", range(1, 9), strict=True)),
        **dict(zip("JKLMN", range(1, 6), strict=True)),
        "P": 7,
        "R": 9,
        **dict(zip("STUVWXYZ", range(2, 10), strict=True)),
        **{str(digit): digit for digit in range(10)},
    }
    assert dict(VALUES) == table


@pytest.mark.parametrize("remainder", range(11))
def test_remainders_and_the_decimal_table(remainder):
    # NHTSA's table of decimal remainders has 0.634 for 7/11, which is 0.636: whole numbers decide.
    # A sum with this remainder: position 17 weighs 2, position 8 weighs 10 (that is, minus 1).
    sums = {}
    for last in "0123456789":
        for eighth in "0123456789":
            vin = f"0000000{eighth}00000000{last}"
            sums[value_sum(vin) % 11] = vin
    digit = check_digit(sums[remainder])
    assert digit == ("X" if remainder == 10 else str(remainder))
    decimals = (Decimal(value_sum(sums[remainder])) / 11) % 1
    assert round(decimals * 11) == remainder


# 49 CFR 565.15(d)(1), table VII.
TABLE_VII = dict(
    zip(
        "ABCDEFGHJKLMNPRSTVWXY123456789",
        range(1980, 2010),
        strict=True,
    )
)


@pytest.mark.parametrize("code", TABLE_VII)
def test_year_codes(code):
    # 49 CFR 565.15(d)(1), table VII: A is 1980 and 2010, Y 2000 and 2030, 1 2001 and 2031.
    assert years_of_code(code) == (TABLE_VII[code], TABLE_VII[code] + 30)


@pytest.mark.parametrize(
    ("seventh", "code", "year"),
    [("B", "A", 2010), ("4", "A", 1980), ("B", "N", 2022), ("4", "N", 1992), ("4", "8", 2008)],
)
def test_position_7(seventh, code, year):
    # 49 CFR 565.15(b) and 73 FR 23367 (2008): a letter at position 7 from model year 2010 on.
    plain = f"1AB456{seventh}80{code}X123456"
    vin = plain[:8] + check_digit(plain) + plain[9:]
    assert read_vin(vin, today_year=2026).model_year.year == year


# EPA's list of the first character, 2021: as printed there.
EPA_YEARS = {
    **{str(n): 2000 + n for n in range(1, 10)},
    **dict(zip("ABCDEFGH", range(2010, 2018), strict=True)),
    **dict(zip("JKLMN", range(2018, 2023), strict=True)),
    **dict(zip("PRSTV", range(2023, 2028), strict=True)),
}


@pytest.mark.parametrize("code", EPA_YEARS)
def test_first_character_of_a_family(code):
    # EPA family naming (2021), step 1.
    found = read_family(f"{code}ABCV02.0XYZ", today_year=2026)
    assert found.model_year == EPA_YEARS[code]


@pytest.mark.parametrize("code", "WXY")
def test_first_characters_still_ahead(code):
    # EPA family naming (2021): 2028 to 2030 by the list; until then only 1998 to 2000 are possible.
    when = {"W": 2028, "X": 2029, "Y": 2030}[code]
    assert read_family(f"{code}ABCV02.0XYZ", today_year=2026).model_year == when - 30
    later = read_family(f"{code}ABCV02.0XYZ", today_year=when)
    assert later.model_year is None
    assert later.year_choices == (when - 30, when)


def test_a_decimal_point_counts_as_a_character_and_means_litres():
    # EPA family naming (2021): litres with a decimal point, else cubic inches or centimetres.
    point = read_family("NABCV05.7XYZ", today_year=2026)
    assert point.displacement is not None
    assert (point.displacement.litres, point.displacement.certainty) == (5.7, "sure")
    none = read_family("NABCV0350XYZ", today_year=2026)
    assert none.displacement is not None
    assert none.displacement.written == "350 cubic inches"
    assert none.displacement.certainty == "likely"


@pytest.mark.parametrize(
    ("figure", "litres"), [("5.7", 5.7), ("350", 5.735), ("12.", 12.0), (".07", 0.07)]
)
def test_displacement_in_characters_4_to_6(figure, litres):
    # EPA sub-codes for 1994 and later, table 10: these four are its own examples.
    found = read_family(f"SAB{figure}T8GXYZ", today_year=2026)
    assert found.model_year == 1995  # table 1: S is 1995
    assert found.displacement is not None
    assert found.displacement.litres == pytest.approx(litres, abs=0.001)


@pytest.mark.parametrize(
    ("code", "year"), [("S", 1995), ("T", 1996), ("V", 1997), ("W", 1998), ("X", 1999)]
)
def test_years_of_the_older_layout(code, year):
    # EPA sub-codes for 1994 and later, table 1, as reprinted in 1999.
    assert read_family(f"{code}AB2.0V8GXYZ", today_year=2026).model_year == year
