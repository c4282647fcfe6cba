"""Area and country by the first two characters."""

from __future__ import annotations

import pytest
from made_numbers import LETTERS_AND_DIGITS

from beltside.vehicle.regions import check_is_mandatory, country_of, region_of


@pytest.mark.parametrize(
    ("front", "area", "country"),
    [
        ("1A", "North America", "United States"),
        ("10", "North America", "United States"),
        ("2X", "North America", "Canada"),
        ("3W", "North America", "Mexico"),
        ("5Z", "North America", "United States"),
        ("7F", "North America", "United States"),
        ("7E", "Oceania", "New Zealand"),
        ("6T", "Oceania", "Australia"),
        ("9B", "South America", "Brazil"),
        ("JA", "Asia", "Japan"),
        ("KM", "Asia", "South Korea"),
        ("LA", "Asia", "China"),
        ("SA", "Europe", "United Kingdom"),
        ("SN", "Europe", "Germany"),
        ("VF", "Europe", "France"),
        ("W0", "Europe", "Germany"),
        ("ZA", "Europe", "Italy"),
        ("AA", "Africa", "South Africa"),
        ("GA", "Africa", None),
        ("EA", None, None),  # given anew
        ("HA", None, None),
        ("0A", None, None),
    ],
)
def test_area_and_country(front, area, country):
    # ISO 3780; the list of countries as printed in January 2003, what came later from memory.
    assert region_of(front + "1") == area
    assert country_of(front + "1") == country
    assert check_is_mandatory(front + "1") == (area == "North America")


def test_every_front_is_told_without_fault():
    for first in LETTERS_AND_DIGITS:
        for second in LETTERS_AND_DIGITS:
            if country_of(first + second) is not None:
                assert region_of(first + second) is not None
