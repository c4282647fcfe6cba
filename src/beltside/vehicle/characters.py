"""Characters of a vehicle identification number: alphabet, values, weights, check digit, years.

Source of values, weights and the check digit: 49 CFR 565.15(c), tables III to V. ISO 3779 has the
same alphabet. Source of the year codes: 49 CFR 565.15(d)(1), table VII.
"""

from __future__ import annotations

import re
import unicodedata
from types import MappingProxyType
from typing import Final

from beltside.base.errors import InputError

VIN_LENGTH: Final = 17
CHECK_POSITION: Final = 9
YEAR_POSITION: Final = 10

ALPHABET: Final = "ABCDEFGHJKLMNPRSTUVWXYZ1234567890"
"""The 33 characters allowed, in the order of country codes: letters, 1 to 9, then 0."""

DIGITS: Final = "0123456789"
CHECK_CHARACTERS: Final = DIGITS + "X"

_COUNTS: Final = (*range(1, 9), *range(1, 6), 7, 9, *range(2, 10), *range(1, 10), 0)
VALUES: Final = MappingProxyType(dict(zip(ALPHABET, _COUNTS, strict=True)))
"""What each character counts."""

WEIGHTS: Final = (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)
"""What each of the 17 positions weighs; the check digit itself weighs nothing."""

YEAR_CODES: Final = "ABCDEFGHJKLMNPRSTVWXY123456789"
"""The 30 codes of model years, from A for 1980; then they begin anew."""

FIRST_YEAR: Final = 1980
YEAR_CYCLE: Final = len(YEAR_CODES)
LAST_YEAR: Final = FIRST_YEAR + 2 * YEAR_CYCLE - 1
"""The regulation's table ends with 2039."""

_SHOWN: Final = 40
_APART: Final = re.compile(r"[\s*]|[\u2010-\u2015\u2212\u00ad-]")
_NEVER: Final = MappingProxyType({"I": "1", "O": "0", "Q": "0 or 9"})


def shown(text: str) -> str:
    """`text` in quotation marks, short and printable, for a message."""
    plain = "".join(one if one.isprintable() else "?" for one in text[: _SHOWN + 1])
    return f'"{plain[:_SHOWN]}..."' if len(plain) > _SHOWN else f'"{plain}"'


def squeezed(text: str) -> str:
    """`text` in capitals, without the spaces, dashes and stars that people and plates put in.

    >>> squeezed("1m8-gdm9a xkp 042788")
    '1M8GDM9AXKP042788'
    """
    plain = _APART.sub("", unicodedata.normalize("NFKC", text))
    return "".join(one.upper() if one.isascii() else one for one in plain)


def squeezed_vin(text: str) -> str:
    """`squeezed`, and without the word VIN in front; no number begins so, for it has an I."""
    plain = squeezed(text)
    return re.sub(r"^VIN(?:NUMBER|CODE|NO)?[:#.=]*", "", plain)


def require_characters(vin: str) -> str:
    """`vin` when each of its characters may stand in a vehicle identification number.

    Raises
    ------
    InputError
        Names each character that may not, its place, and what was probably meant.
    """
    wrong = [(place, one) for place, one in enumerate(vin, start=1) if one not in VALUES]
    if not wrong:
        return vin
    meant = [_meant(one) for _, one in wrong]
    places = [f"character {place} is {_named(one)}" for place, one in wrong[:4]]
    more = f" and {len(wrong) - 4} more" if len(wrong) > 4 else ""
    raise InputError(
        f"wrong in {shown(vin)}: {', '.join(places)}{more}",
        allowed="the digits 0 to 9 and the letters A to Z without I, O and Q, which are never used "
        "because they look like 1, 0 and 9",
        instead="; ".join(dict.fromkeys(one for one in meant if one))
        or "type the number again as it stands on the car",
    )


def repaired(vin: str) -> list[str]:
    """`vin` with I, O and Q read as the digits they are taken for; several when there is a Q.

    >>> repaired("1M8GDM9AXKPO42788"), len(repaired("QQ"))
    (['1M8GDM9AXKP042788'], 4)
    """
    found = [""]
    for one in vin:
        digits = {"I": "1", "O": "0", "Q": "09"}.get(one, one)
        found = [before + digit for before in found for digit in digits][:16]
    return found


def value_sum(vin: str) -> int:
    """Sum of value times weight over the 17 characters (49 CFR 565.15(c)).

    >>> value_sum("1M8GDM9AXKP042788")
    351
    """
    return sum(VALUES[one] * weight for one, weight in zip(vin, WEIGHTS, strict=True))


def check_digit(vin: str) -> str:
    """The check digit that belongs at position 9: the sum modulo 11, X for 10.

    Parameters
    ----------
    vin
        17 characters of the alphabet; what stands at position 9 does not count.

    >>> check_digit("1M8GDM9AXKP042788"), check_digit("1" * 17)
    ('X', '1')
    """
    return CHECK_CHARACTERS[value_sum(vin) % 11]


def is_digit(character: str) -> bool:
    """Whether it is one of 0 to 9."""
    return character in DIGITS


def _meant(character: str) -> str:
    if character in _NEVER:
        return f"{_NEVER[character]} in place of {character}"
    if not character.isascii():
        return f"type {_named(character)} anew on a Latin keyboard"
    return ""


def _named(character: str) -> str:
    if character.isascii() and character.isprintable():
        return character
    name = unicodedata.name(character, "")
    return name.capitalize() if name else "a sign that can't be shown"
