"""One slip that would explain a check digit that does not fit: what was probably meant.

Looked for: one character taken for another, and two neighbours swapped. Of the first there are some
forty in every number (each position can be made to fit), so they are ranked and only the likeliest
shown. The ranking is our own judgement of what people misread, no published figures: fewer points
are likelier. Only where no single slip helps are two look-alikes at once tried.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from typing import Final

from beltside.vehicle.characters import (
    ALPHABET,
    CHECK_POSITION,
    check_digit,
    is_digit,
)
from beltside.vehicle.regions import check_is_mandatory
from beltside.vehicle.structure import breaches
from beltside.vehicle.year import ModelYear, read_year

LOOK_ALIKES: Final = ("5S", "8B", "2Z", "6G", "UV")
"""Pairs most often taken for each other. 0 and O, 1 and I do not compete: O and I never occur."""

_PAIRS: Final = """
0C 0D 0G 17 1J 1L 1T 38 3B 49 4A 56 68 7T 7Y 7Z 89 8R
BP BR CG DU EF FP HM HN KX MN MW PR VW VY XY
"""
SOMEWHAT_ALIKE: Final = tuple(_PAIRS.split())

_LOOK_ALIKE_POINTS: Final = 2
_SWAP_POINTS: Final = 4
_SOMEWHAT_POINTS: Final = 5
_SAME_KIND_POINTS: Final = 8
_OTHER_POINTS: Final = 10
_YEAR_AHEAD_POINTS: Final = 6
_AGAINST_RULE_POINTS: Final = 2
_FIRST_POINTS: Final = 3
_LETTER_IN_SERIAL_POINTS: Final = 3

LOOK_ALIKE: Final = "look-alike"
SWAPPED: Final = "neighbours swapped"
OTHER: Final = "another character"
TWO_ALIKE: Final = "two look-alikes"


@dataclass(frozen=True)
class Typo:
    """One number that may have been meant.

    Attributes
    ----------
    vin
        The number with the slip put right; its check digit fits.
    kind
        "look-alike", "neighbours swapped", "another character" or "two look-alikes".
    positions
        Where it differs from what was given, 1 to 17.
    says
        What to look at on the car.
    model_year
        The model year it would have.
    points
        Our ranking, fewest first.
    """

    vin: str
    kind: str
    positions: tuple[int, ...]
    says: str
    model_year: ModelYear
    points: int


@dataclass(frozen=True)
class Typos:
    """The likeliest numbers that may have been meant, and how many there are in all.

    Attributes
    ----------
    shown
        The likeliest, best first.
    total
        How many numbers fit, the shown ones among them.
    of_kind
        How many of each kind.
    """

    shown: tuple[Typo, ...]
    total: int
    of_kind: tuple[tuple[str, int], ...]


def one_slip_away(vin: str) -> list[tuple[str, tuple[int, ...], str]]:
    """Every number one slip from `vin` whose check digit fits and that North America's rule allows.

    Returns
    -------
    list
        Number, positions that differ, kind; each number once.
    """
    found: dict[str, tuple[tuple[int, ...], str]] = {}
    for place in range(len(vin) - 1):
        one, two = vin[place], vin[place + 1]
        if one != two:
            swapped = f"{vin[:place]}{two}{one}{vin[place + 2 :]}"
            found[swapped] = ((place + 1, place + 2), SWAPPED)
    for place, given in enumerate(vin):
        for meant in ALPHABET:
            if meant != given:
                kind = OTHER if _alike(given, meant) is None else LOOK_ALIKE
                found[f"{vin[:place]}{meant}{vin[place + 1 :]}"] = ((place + 1,), kind)
    return [(number, *slip) for number, slip in found.items() if fits_north_america(number)]


def two_look_alikes_away(vin: str) -> list[tuple[str, tuple[int, ...], str]]:
    """As `one_slip_away`, with two characters each taken for the one most like it."""
    partner = {pair[side]: pair[1 - side] for pair in LOOK_ALIKES for side in (0, 1)}
    places = [place for place, one in enumerate(vin) if one in partner]
    found = []
    for pair in combinations(places, 2):
        number = "".join(partner[one] if n in pair else one for n, one in enumerate(vin))
        if fits_north_america(number):
            found.append((number, tuple(place + 1 for place in pair), TWO_ALIKE))
    return found


def fits_north_america(number: str) -> bool:
    """Whether 17 characters of the alphabet have the check digit and the form it asks for."""
    return number[CHECK_POSITION - 1] == check_digit(number) and not breaches(number)


def likely_typos(vin: str, *, today_year: int, most: int) -> Typos:
    """The likeliest slips behind a number made for North America whose check digit does not fit.

    Parameters
    ----------
    vin
        17 characters of the alphabet.
    today_year
        This year, 1980 to 2039.
    most
        How many to show.
    """
    every = one_slip_away(vin) or two_look_alikes_away(vin)
    if check_is_mandatory(vin):
        # A slip at the front that leads out of North America would leave nothing to check.
        every = [one for one in every if check_is_mandatory(one[0])]
    ranked = sorted(
        (_typo(vin, number, positions, kind, today_year) for number, positions, kind in every),
        key=lambda typo: (typo.points, typo.positions, ALPHABET.index(_meant(typo))),
    )
    kinds = [kind for _, _, kind in every]
    counts = tuple((kind, kinds.count(kind)) for kind in (LOOK_ALIKE, SWAPPED, OTHER, TWO_ALIKE))
    return Typos(tuple(ranked[:most]), len(every), counts)


def alike_first_character(vin: str) -> list[str]:
    """Numbers with a look-alike digit at position 1 that make a number of North America that fits.

    A 5 read as S turns a number of North America into one of Europe, where nothing is checked.

    >>> alike_first_character("SM8GDM9A9KP042788")
    ['5M8GDM9A9KP042788']
    """
    found = []
    for digit in "12345":
        number = digit + vin[1:]
        if _alike(vin[0], digit) is not None and fits_north_america(number):
            found.append(number)
    return found


def _typo(vin: str, number: str, positions: tuple[int, ...], kind: str, today_year: int) -> Typo:
    year = read_year(number, today_year=today_year, north_american=True, check_fits=True)
    first = positions[0] - 1
    if kind == SWAPPED:
        points = _SWAP_POINTS
        says = (
            f"characters {positions[0]} and {positions[1]} swapped: "
            f"{number[first : first + 2]} for {vin[first : first + 2]}"
        )
    elif kind == TWO_ALIKE:
        points = 2 * _LOOK_ALIKE_POINTS
        says = " and ".join(
            f"character {place}: {number[place - 1]} for {vin[place - 1]}" for place in positions
        )
    else:
        points = _substitution_points(vin[first], number[first])
        says = f"character {positions[0]}: {number[first]} for {vin[first]}"
        says += ", which look alike" if kind == LOOK_ALIKE else ""
        if positions == (CHECK_POSITION,):
            says += " (the check digit itself)"
    if year.year is None:
        points += _YEAR_AHEAD_POINTS
    elif year.certainty == "likely" and not year.choices[1].possible:
        points += _AGAINST_RULE_POINTS
    if 1 in positions:
        points += _FIRST_POINTS
    if 13 in positions and not is_digit(number[12]) and number[2] != "9":
        points += _LETTER_IN_SERIAL_POINTS
    return Typo(number, kind, positions, says, year, points)


def _substitution_points(given: str, meant: str) -> int:
    alike = _alike(given, meant)
    if alike is not None:
        return alike
    return _SAME_KIND_POINTS if is_digit(given) == is_digit(meant) else _OTHER_POINTS


def _alike(one: str, two: str) -> int | None:
    """Points of a pair that look alike, None when they do not."""
    if any(pair in (one + two, two + one) for pair in LOOK_ALIKES):
        return _LOOK_ALIKE_POINTS
    if any(pair in (one + two, two + one) for pair in SOMEWHAT_ALIKE):
        return _SOMEWHAT_POINTS
    return None


def _meant(typo: Typo) -> str:
    return typo.vin[typo.positions[0] - 1]
