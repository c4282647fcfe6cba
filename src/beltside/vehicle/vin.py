"""The vehicle identification number (VIN) of ISO 3779 and 49 CFR 565, read as far as it goes.

There is no list of makers here: positions 1 to 3 and 4 to 8 mean what the maker says they mean.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

from beltside.base.errors import InputError
from beltside.vehicle.characters import (
    CHECK_CHARACTERS,
    CHECK_POSITION,
    VIN_LENGTH,
    check_digit,
    repaired,
    require_characters,
    shown,
    squeezed_vin,
    value_sum,
)
from beltside.vehicle.length import length_words
from beltside.vehicle.regions import check_is_mandatory, country_of, region_of
from beltside.vehicle.structure import breaches, is_small_maker
from beltside.vehicle.typos import Typos, alike_first_character, likely_typos
from beltside.vehicle.year import ModelYear, read_year, require_today

MOST_TYPOS: Final = 8


@dataclass(frozen=True)
class CheckDigit:
    """The check digit at position 9.

    Attributes
    ----------
    given
        What stands there.
    expected
        What the other 16 characters ask for.
    value_sum
        Sum of value times weight; modulo 11 it is the check digit.
    fits
        Whether both are the same.
    mandatory
        Whether it has to fit: on vehicles made for North America.
    says
        The answer in words.
    """

    given: str
    expected: str
    value_sum: int
    fits: bool
    mandatory: bool
    says: str


@dataclass(frozen=True)
class Vin:
    """What 17 characters say.

    Attributes
    ----------
    vin
        The number in capitals, without spaces and dashes.
    region, country
        Area and country that gave out the maker's code; None where the list does not say.
    maker_code
        Positions 1 to 3; with a small maker of North America also 12 to 14. No maker is named.
    small_maker
        Whether position 3 is 9.
    attributes
        Positions 4 to 8; what they mean only the maker says.
    check
        The check digit.
    model_year
        The model year.
    plant
        Position 11 on vehicles of North America, None elsewhere.
    serial
        The last characters that count vehicles: 12 to 17 in North America (15 to 17 with a small
        maker), None elsewhere, where the maker decides.
    indicator
        Positions 10 to 17, which tell one vehicle from the next.
    typos
        What was probably meant, when the check digit has to fit and does not, or a character
        stands where it can't.
    warnings
        What to know before trusting it.
    """

    vin: str
    region: str | None
    country: str | None
    maker_code: str
    small_maker: bool
    attributes: str
    check: CheckDigit
    model_year: ModelYear
    plant: str | None
    serial: str | None
    indicator: str
    typos: Typos | None
    warnings: tuple[str, ...]


def read_vin(
    text: str,
    *,
    today_year: int,
    north_american: bool | None = None,
    most_typos: int = MOST_TYPOS,
) -> Vin:
    """Read a vehicle identification number.

    Parameters
    ----------
    text
        The number; small letters, spaces, dashes and the word VIN in front do not matter.
    today_year
        This year, 1980 to 2039; model years later than next year's are ruled out.
    north_american
        Whether the vehicle was made for North America, where the check digit is mandatory. None:
        by the first characters.
    most_typos
        How many likely slips to give when the check digit does not fit.

    Raises
    ------
    InputError
        When it has not 17 characters, or one that is never used; says where to look.
    OutOfRangeError
        When today's year lies outside the table.

    >>> read_vin("1m8 gdm9a xkp 042788", today_year=2026).model_year.year
    1989
    """
    require_today(today_year)
    vin = _require_form(squeezed_vin(text))
    mandatory = check_is_mandatory(vin) if north_american is None else north_american
    check = _check(vin, mandatory)
    year = read_year(vin, today_year=today_year, north_american=mandatory, check_fits=check.fits)
    wrong = breaches(vin) if mandatory else ()
    misread = (mandatory and not check.fits) or bool(wrong)
    if misread:
        # One character is wrong, and it may be one of those that the year is read from.
        year = replace(
            year,
            certainty="doubtful",
            says=f"the number was misread somewhere, so this may be wrong too: {year.says}",
        )
    small = is_small_maker(vin)
    return Vin(
        vin=vin,
        region=region_of(vin),
        country=country_of(vin),
        maker_code=vin[:3] + (vin[11:14] if small and mandatory else ""),
        small_maker=small,
        attributes=vin[3:8],
        check=check,
        model_year=year,
        plant=vin[10] if mandatory else None,
        serial=(vin[14:] if small else vin[11:]) if mandatory else None,
        indicator=vin[9:],
        typos=likely_typos(vin, today_year=today_year, most=most_typos) if misread else None,
        warnings=_warnings(vin, check, wrong, north_american),
    )


def _require_form(vin: str) -> str:
    if not vin:
        raise InputError(
            "no number was given",
            allowed=f"{VIN_LENGTH} characters",
            instead="the number on the plate at the foot of the windscreen or on the door pillar",
        )
    if len(vin) == VIN_LENGTH:
        try:
            return require_characters(vin)
        except InputError as error:
            fits = _repaired_and_fitting(vin)
            raise InputError(
                error.given, allowed=error.allowed, instead=fits or error.instead
            ) from None
    if len(vin) in (VIN_LENGTH - 1, VIN_LENGTH + 1):
        require_characters(vin)
    raise InputError(
        f"{shown(vin)} has {len(vin)} characters",
        allowed=f"{VIN_LENGTH} characters, digits and letters without I, O and Q",
        instead=length_words(vin),
    )


def _repaired_and_fitting(vin: str) -> str:
    """The number with I, O and Q as digits, when it is then well formed."""
    numbers = []
    for number in repaired(vin):
        try:
            numbers.append(require_characters(number))
        except InputError:
            return ""
    fitting = [one for one in numbers if one[CHECK_POSITION - 1] == check_digit(one)]
    if fitting:
        return f"{' or '.join(fitting)}, whose check digit fits"
    return f"{' or '.join(numbers[:4])}"


def _check(vin: str, mandatory: bool) -> CheckDigit:
    given, expected, total = vin[CHECK_POSITION - 1], check_digit(vin), value_sum(vin)
    fits = given == expected
    if fits and mandatory:
        says = f"fits: position 9 is {given}, as the other 16 characters ask"
    elif mandatory and given not in CHECK_CHARACTERS:
        says = f"does not fit: position 9 is {given}, but only a digit or X can stand there"
    elif mandatory:
        says = f"does not fit: position 9 is {given}, the others ask for {expected}: misread"
    elif fits:
        says = f"fits ({given}), though outside North America it need not; by chance 1 in 11 does"
    else:
        says = (
            f"would be {expected}, position 9 is {given}; outside North America that says nothing"
        )
    return CheckDigit(given, expected, total, fits, mandatory, says)


def _warnings(
    vin: str,
    check: CheckDigit,
    wrong: tuple[tuple[int, str], ...],
    north_american: bool | None,
) -> tuple[str, ...]:
    said = [f"in North America {reason}: it was misread" for _, reason in wrong]
    if check.mandatory and check.fits:
        said.append(
            "a fitting check digit does not prove the number: characters that count the same (2, "
            "B, K and S, say) can stand for each other unseen, and two slips pass 1 time in 11"
        )
    if not check.mandatory and not check.fits:
        if north_american is None:
            said.append("if it was made for North America, the number was misread")
        said += [
            f"with {number[0]} for {vin[0]} at the front it is a number of North America and its "
            f"check digit fits: {number}"
            for number in alike_first_character(vin)
        ]
    return tuple(said)
