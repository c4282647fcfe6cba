"""Number or label."""

from __future__ import annotations

import pytest

from beltside.base.errors import InputError
from beltside.vehicle.kind import kind_of


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("1M8GDM9AXKP042788", "vin"),
        ("1m8 gdm9a-xkp 042788", "vin"),
        ("VIN: 1M8GDM9AXKP042788", "vin"),
        ("1M8GDM9AXKP04278", "vin"),
        ("1M8GDM9AXKP0427888", "vin"),
        ("NABCV02.0XYZ", "engine family"),
        ("NABCV0350XYZ", "engine family"),
        ("nabcv 02,0 xyz", "engine family"),
        ("engine family NABCV02.0XYZ", "engine family"),
        ("NABCV02.0XY", "engine family"),
        ("NABCV02.0XYZW", "engine family"),
        ("V02.0", "engine family"),
        ("family NABCV02.0XYZ", "engine family"),
        ("VIN number: 1M8GDM9AXKP042788", "vin"),
    ],
)
def test_kinds(text, kind):
    assert kind_of(text) == kind


@pytest.mark.parametrize("text", ["", " ", "-", "12", "A" * 30, "ABCDEFGH"])
def test_neither(text):
    with pytest.raises(InputError) as caught:
        kind_of(text)
    assert "17 characters" in caught.value.allowed
    assert "12 characters" in caught.value.allowed
