"""Kinds of value in our files: as forgiving as can be without guessing."""

from __future__ import annotations

import re
from typing import Annotated, Any, Final

from pydantic import BaseModel, BeforeValidator, ConfigDict, ValidationInfo

_UNITS: Final = {"_mm": ("mm",), "_rpm": ("rpm", "1/min"), "_deg": ("deg", "degrees", "°")}
MIC_SPACING_RANGE_MM: Final = (5.0, 1000.0)
STAND_OFF_RANGE_MM: Final = (50.0, 3000.0)
"""Of a stereo take: distance of the two microphones, and of the phone from the pulleys [mm]."""

_LARGEST: Final = 10**12
_NUMBER = re.compile(r"^([+-]?\d+)(?:[.,](\d+))?\s*([^\d\s].*)?$")
THOUSANDS: Final = re.compile(r"^[+-]?\d{1,3},\d{3}")
"""A comma that may stand for thousands."""


class Keys(BaseModel):
    """A group of keys; any other key is refused."""

    model_config = ConfigDict(extra="forbid", frozen=True)


def _plain_number(value: Any, info: ValidationInfo) -> Any:
    """A number, also when written as text: "138", "138,5", "138 mm"."""
    if isinstance(value, bool):
        raise ValueError("true and false are no numbers")
    if isinstance(value, int) and abs(value) > _LARGEST:
        raise ValueError("this number is too large")
    if not isinstance(value, str):
        return value
    match = _NUMBER.match(value.strip())
    if not match:
        raise ValueError("this text is no number")
    if THOUSANDS.match(value.strip()):
        raise ValueError("the comma may stand for thousands or for decimals")
    whole, decimals, unit = match.groups()
    if len(whole) > len(str(_LARGEST)):
        raise ValueError("this number is too large")
    if unit and unit.strip() not in _units_of(info.field_name or ""):
        raise ValueError(f'"{unit.strip()}" is not the unit here')
    return f"{whole}.{decimals}" if decimals else whole


def _units_of(key: str) -> tuple[str, ...]:
    return next((units for ending, units in _UNITS.items() if key.endswith(ending)), ())


def _plain_text(value: Any) -> Any:
    """Text, also when written as a bare number: 6203."""
    if isinstance(value, int | float) and not isinstance(value, bool):
        value = str(value)
    return value.strip() if isinstance(value, str) else value


def _one_word(value: Any) -> Any:
    """Words of ours are lower case with hyphens: "Coolant Pump" is "coolant-pump"."""
    return as_word(value) if isinstance(value, str) else value


def _part_name(value: Any) -> Any:
    return as_part(value) if isinstance(value, str) else value


def _on_or_off(value: Any) -> Any:
    if isinstance(value, bool):
        return "on" if value else "off"
    return _one_word(value)


def _as_list(value: Any) -> Any:
    """`[take]` for a single `[[take]]`, and one text for a list of one."""
    return [value] if isinstance(value, dict | str) else value


Number = Annotated[float, BeforeValidator(_plain_number)]
Count = Annotated[int, BeforeValidator(_plain_number)]
Text = Annotated[str, BeforeValidator(_plain_text)]
Word = Annotated[str, BeforeValidator(_one_word)]
PartName = Annotated[str, BeforeValidator(_part_name)]
OnOff = BeforeValidator(_on_or_off)
OneOrMore = BeforeValidator(_as_list)


def as_word(text: str) -> str:
    """Lower case, with one hyphen for spaces and underscores.

    >>> as_word(" Coolant_Pump")
    'coolant-pump'
    """
    return re.sub(r"[\s_-]+", "-", text.strip().lower()).strip("-")


def as_part(text: str) -> str:
    """A part's name as we write it; the first of several has no number.

    >>> as_part("Idler 2"), as_part("idler1"), as_part("the alternator")
    ('idler-2', 'idler', 'alternator')
    """
    word = re.sub(r"^the-", "", as_word(text))
    word = re.sub(r"(?<=[a-z])(\d)$", r"-\1", word)
    return re.sub(r"-1$", "", word)
