"""Model year of a vehicle identification number: the code at position 10 and the position-7 rule.

Codes come round every 30 years. Vehicles made for North America tell the rounds apart at position
7: a letter from model year 2010 on, a digit before (49 CFR 565.15(b); 73 FR 23367, 2008), but only
passenger cars, multipurpose passenger vehicles and trucks up to 4536 kg (10,000 lb). Elsewhere
position 10 need not be the year at all.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from beltside.base.errors import require_range
from beltside.vehicle.characters import (
    FIRST_YEAR,
    LAST_YEAR,
    YEAR_CODES,
    YEAR_CYCLE,
    YEAR_POSITION,
    is_digit,
)

ROUND_POSITION: Final = 7
SECOND_ROUND: Final = FIRST_YEAR + YEAR_CYCLE

HEAVY: Final = "a heavier truck, a bus, a motorcycle or a trailer"
LIGHT: Final = "a car, a multipurpose vehicle or a truck up to 4536 kg (10,000 lb)"


@dataclass(frozen=True)
class YearChoice:
    """One model year that the code may stand for.

    Attributes
    ----------
    year
        Model year.
    possible
        False when it lies ahead: later than next year's models.
    says
        When it would be this one.
    """

    year: int
    possible: bool
    says: str


@dataclass(frozen=True)
class ModelYear:
    """What is known of the model year.

    Attributes
    ----------
    code
        The character it is read from.
    year
        The model year, None when the code can't tell.
    certainty
        "sure", "likely", "can't tell", or "doubtful" when a character is known to be misread.
    choices
        Every year the code may stand for, the likelier first.
    says
        The answer in words.
    """

    code: str
    year: int | None
    certainty: str
    choices: tuple[YearChoice, ...]
    says: str


def years_of_code(code: str) -> tuple[int, ...]:
    """Model years of a code up to 2039; none for what is no code (0, U, Z, and I, O, Q).

    >>> years_of_code("A"), years_of_code("9"), years_of_code("U")
    ((1980, 2010), (2009, 2039), ())
    """
    place = YEAR_CODES.find(code) if len(code) == 1 else -1
    return () if place < 0 else (FIRST_YEAR + place, FIRST_YEAR + place + YEAR_CYCLE)


def require_today(today_year: int) -> int:
    """`today_year` when the tables reach that far.

    Raises
    ------
    OutOfRangeError
        Before 1980 or after 2039.
    """
    require_range("today's year", today_year, FIRST_YEAR, LAST_YEAR, "")
    return today_year


def newest_model_year(today_year: int) -> int:
    """The newest model year there can be: next year's models are sold this year.

    A model year may begin on 2 January of the year before (40 CFR 85.2304, from memory).
    """
    return today_year + 1


def read_year(vin: str, *, today_year: int, north_american: bool, check_fits: bool) -> ModelYear:
    """The model year of 17 characters.

    Parameters
    ----------
    today_year
        This year, 1980 to 2039.
    north_american
        Whether the vehicle was made for North America, so that the code must be there and the
        position-7 rule holds.
    check_fits
        Whether the check digit fits; said where it is not mandatory.
    """
    code, seventh = vin[YEAR_POSITION - 1], vin[ROUND_POSITION - 1]
    years = years_of_code(code)
    if not years:
        return ModelYear(code, None, "can't tell", (), _no_code(code, north_american))
    newest = newest_model_year(today_year)
    second = not is_digit(seventh)
    by_rule = years[1] if second else years[0]
    why = f"position 7 is {seventh}, a {'letter' if second else 'digit'}"
    if not north_american:
        return _elsewhere(code, years, newest, by_rule, why, check_fits)
    choices = tuple(
        YearChoice(
            year,
            year <= newest,
            "lies ahead" if year > newest else f"if it is {LIGHT if year == by_rule else HEAVY}",
        )
        for year in sorted(years, key=lambda year: (year > newest, year != by_rule))
    )
    possible = [one.year for one in choices if one.possible]
    if not possible:
        return ModelYear(
            code,
            None,
            "can't tell",
            choices,
            f"code {code} is model year {years[0]} or {years[1]}, and both lie ahead: the number "
            "or today's year is wrong",
        )
    if len(possible) == 2:
        return ModelYear(
            code,
            by_rule,
            "likely",
            choices,
            f"{by_rule}, if it is {LIGHT}: {why}; {choices[1].year} only if it is {HEAVY}",
        )
    only, ahead = possible[0], choices[1].year
    if only == by_rule:
        says = f"{only}: {why}, and the code's other year, {ahead}, lies ahead"
        return ModelYear(code, only, "sure", choices, says)
    return ModelYear(
        code,
        only,
        "likely",
        choices,
        f"{only}, as {ahead} lies ahead; but {why}, which no car or light truck of {only} has: it "
        f"is {HEAVY}, or a character was misread",
    )


def _elsewhere(
    code: str,
    years: tuple[int, ...],
    newest: int,
    by_rule: int,
    why: str,
    check_fits: bool,
) -> ModelYear:
    ordered = sorted(years, key=lambda year: (year > newest, check_fits and year != by_rule, year))
    choices = tuple(
        YearChoice(
            year,
            year <= newest,
            "lies ahead"
            if year > newest
            else "if the maker puts the model year at position 10"
            + (f", or if made for North America ({why})" if year == by_rule else ""),
        )
        for year in ordered
    )
    possible = [one.year for one in choices if one.possible]
    listed = " or ".join(str(year) for year in possible) or "none that is not ahead"
    says = (
        "can't tell: outside North America position 10 need not be the model year; if it is, "
        f"{code} is {listed}"
    )
    if check_fits and by_rule in possible:
        says = (
            f"{says}; {by_rule} if it was made for North America, which the fitting check digit "
            "suggests (by chance alone 1 in 11 fits)"
        )
    return ModelYear(code, None, "can't tell", choices, says)


def _no_code(code: str, north_american: bool) -> str:
    if north_american:
        return (
            f"can't tell: position 10 is {code}, which is no model year code (0, U and Z never "
            "are): a character was misread"
        )
    return (
        f"can't tell: position 10 is {code}, which is no model year code; outside North America it "
        "need not be one"
    )
