"""Tells a vehicle identification number from the name of an engine family."""

from __future__ import annotations

from typing import Final

from beltside.base.errors import InputError
from beltside.vehicle.characters import VIN_LENGTH, shown, squeezed_vin
from beltside.vehicle.label import FAMILY_LENGTH, squeezed_family

VIN: Final = "vin"
FAMILY: Final = "engine family"


def kind_of(text: str) -> str:
    """ "vin" or "engine family", by length and decimal point.

    Raises
    ------
    InputError
        When it is nearer to neither.

    >>> kind_of("1M8GDM9AXKP042788"), kind_of("NABCV02.0XYZ")
    ('vin', 'engine family')
    """
    vin, family = squeezed_vin(text), squeezed_family(text)
    if len(vin) == VIN_LENGTH:
        return VIN
    if FAMILY_LENGTH - 1 <= len(family) <= FAMILY_LENGTH + 1:
        return FAMILY
    if "." in family and len(family) < VIN_LENGTH - 2:
        return FAMILY
    if VIN_LENGTH - 2 <= len(vin) <= VIN_LENGTH + 3:
        return VIN
    count = f"{len(vin)} character{'' if len(vin) == 1 else 's'}"
    raise InputError(
        f"{shown(text.strip())} has {count} without spaces and dashes"
        if vin
        else "no number was given",
        allowed=f"a vehicle identification number ({VIN_LENGTH} characters), or the engine family "
        f"or test group on the emissions label ({FAMILY_LENGTH} characters)",
        instead="the whole number as it stands on the car"
        + (
            "; numbers from before model year 1981 are shorter and follow no common rule"
            if 0 < len(vin) < VIN_LENGTH
            else ""
        ),
    )
