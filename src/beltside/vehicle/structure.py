"""What must stand where in a vehicle identification number made for North America.

49 CFR 565.15: (c) position 9 is a digit or X; (d) position 10 is a code of table VII; the last
four characters are digits, the last five on cars and trucks up to 4536 kg (10,000 lb); (a) with a 9
at position 3 the maker is a small one and positions 12 to 14 belong to its identifier, so that only
the last three are sure to be digits.
"""

from __future__ import annotations

from beltside.vehicle.characters import (
    CHECK_CHARACTERS,
    CHECK_POSITION,
    DIGITS,
    VIN_LENGTH,
    YEAR_CODES,
    YEAR_POSITION,
)


def is_small_maker(vin: str) -> bool:
    """Whether position 3 is 9: a maker of few vehicles, named by positions 1-3 and 12-14."""
    return vin[2] == "9"


def allowed_at(vin: str, position: int) -> str | None:
    """The characters allowed at a position (1 to 17) in North America, None when all are."""
    if position == CHECK_POSITION:
        return CHECK_CHARACTERS
    if position == YEAR_POSITION:
        return YEAR_CODES
    first_digit = VIN_LENGTH - 2 if is_small_maker(vin) else VIN_LENGTH - 3
    return DIGITS if position >= first_digit else None


def breaches(vin: str) -> tuple[tuple[int, str], ...]:
    """Positions whose character North America's rule does not allow, each with the reason.

    >>> breaches("1M8GDM9AXKP042788")
    ()
    >>> breaches("1M8GDM9ABKP04278S")
    ((9, 'position 9 is B, allowed is a digit or X'),
     (17, 'position 17 is S, allowed is a digit'))
    """
    found = []
    for position, character in enumerate(vin, start=1):
        allowed = allowed_at(vin, position)
        if allowed is not None and character not in allowed:
            words = {CHECK_POSITION: "a digit or X", YEAR_POSITION: "a model year code"}
            what = words.get(position, "a digit")
            found.append((position, f"position {position} is {character}, allowed is {what}"))
    return tuple(found)
