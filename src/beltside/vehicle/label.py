"""The engine family or test group on the emissions label (United States, EPA).

Two layouts of 12 characters:

- current: 1 model year, 2-4 maker, 5 sector, 6-9 displacement or kind of family, 10-12 the maker's
  own. Source: EPA, Information about Family Naming Conventions for Vehicles and Engines (page as of
  19 January 2021). Its list of years begins with 2001; labels of 1998 to 2000 (W, X, Y) look the
  same (from memory).
- 1994 to 1999: 1 model year, 2-3 maker, 4-6 displacement, 7 class, the rest the maker's own.
  Source: EPA's sub-code tables for 1994 and later, as reprinted in workshop manuals of 1999;
  position 7 from memory.

In both a decimal point counts as a character and means litres; without one the figure is in cubic
inches or cubic centimetres. Families that can vary their displacement state the largest.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Final

from beltside.base.errors import InputError
from beltside.vehicle.characters import shown, squeezed
from beltside.vehicle.year import newest_model_year, require_today, years_of_code

FAMILY_LENGTH: Final = 12
CUBIC_CM_PER_CUBIC_INCH: Final = 16.387064
"""Exact: 2.54 cubed."""

CURRENT: Final = "since 1998"
OLDER: Final = "1994 to 1999"

_LITRES: Final = MappingProxyType(
    {
        "litres": 1.0,
        "cubic inches": CUBIC_CM_PER_CUBIC_INCH / 1000.0,
        "cubic centimetres": 0.001,
    }
)

ROAD_ENGINE_L: Final = (0.5, 10.0)
"""Displacement of a car's or light truck's engine [L]; common practice, no source."""

SECTORS: Final = MappingProxyType({"V": "car", "T": "light truck"})
"""Position 5 (older: 7), from memory. Other letters stand for what is no car."""

_EVAPORATIVE: Final = "ER"
_OLDER_YEARS: Final = range(1994, 2000)
_FIRST_OF_CURRENT: Final = 1998
_LOOKS_LIKE_DIGIT: Final = MappingProxyType(
    {"O": "0", "Q": "0", "D": "0", "I": "1", "L": "1", "Z": "2", "S": "5", "G": "6", "B": "8"}
)
_FRONT: Final = re.compile(
    r"^(?:(?:ENGINE|EVAP|EVAPORATIVE|EXHAUST)?FAMILY|TESTGROUP|EFN?|TG)(?:NAME|NO)?[:#=]+|"
    r"^(?:(?:ENGINE|EVAP|EVAPORATIVE|EXHAUST)?FAMILY|TESTGROUP|EF|TG)(?=.{12}$)"
)


@dataclass(frozen=True)
class Displacement:
    """One reading of the displacement.

    Attributes
    ----------
    litres
        Displacement [L].
    low_l, high_l
        Its range by the last digit written [L].
    written
        The figure as it stands, with its unit: "350 cubic inches".
    certainty
        "sure" with a decimal point ("doubtful" when no car has that size), "likely" by its size,
        "can't tell" when several are open.
    says
        Why.
    """

    litres: float
    low_l: float
    high_l: float
    written: str
    certainty: str
    says: str


@dataclass(frozen=True)
class EngineFamily:
    """What the name of an engine family says.

    Attributes
    ----------
    family
        The name in capitals, without spaces.
    layout
        "since 1998" or "1994 to 1999".
    model_year
        Model year, None when the name can't tell.
    year_choices
        Every year it may stand for.
    year_says
        The model year in words.
    maker_code
        The maker's letters; no maker is named.
    sector
        The class character.
    sector_says
        What it stands for, where that is known.
    displacement
        The one displacement it states, None when it states none or several are open.
    displacement_choices
        Every displacement that is open.
    displacement_says
        The displacement in words.
    own_code
        The maker's own last characters.
    warnings
        What to know before trusting it.
    """

    family: str
    layout: str
    model_year: int | None
    year_choices: tuple[int, ...]
    year_says: str
    maker_code: str
    sector: str
    sector_says: str
    displacement: Displacement | None
    displacement_choices: tuple[Displacement, ...]
    displacement_says: str
    own_code: str
    warnings: tuple[str, ...]


def squeezed_family(text: str) -> str:
    """`text` in capitals without spaces, dashes and the words in front; a comma is a point.

    >>> squeezed_family("Engine family: nabcv 02.0 xyz"), squeezed_family("NABCV02,0XYZ")
    ('NABCV02.0XYZ', 'NABCV02.0XYZ')
    """
    return _FRONT.sub("", squeezed(text)).replace(",", ".")


def read_family(text: str, *, today_year: int) -> EngineFamily:
    """Read the name of an engine family or test group.

    Parameters
    ----------
    text
        The name as it stands on the label.
    today_year
        This year, 1980 to 2039; model years later than next year's are ruled out.

    Raises
    ------
    InputError
        When it has not 12 characters, no year code in front, or a letter among the figures.
    OutOfRangeError
        When today's year lies outside the table.

    >>> read_family("NABCV02.0XYZ", today_year=2026).displacement.litres
    2.0
    """
    require_today(today_year)
    family = _require_form(squeezed_family(text))
    older = _is_older(family)
    figure = family[3:6] if older else family[5:9]
    sector = family[6] if older else family[4]
    year, choices, year_says = _year(family[0], older, newest_model_year(today_year))
    open_, says = _displacements(figure, sector, older)
    return EngineFamily(
        family=family,
        layout=OLDER if older else CURRENT,
        model_year=year,
        year_choices=choices,
        year_says=year_says,
        maker_code=family[1:3] if older else family[1:4],
        sector=sector,
        sector_says=_sector_words(sector),
        displacement=open_[0] if len(open_) == 1 else None,
        displacement_choices=open_,
        displacement_says=says,
        own_code=family[7:] if older else family[9:],
        warnings=_warnings(open_, sector, older),
    )


def _require_form(family: str) -> str:
    if len(family) != FAMILY_LENGTH:
        pointless = len(family) == FAMILY_LENGTH - 1 and "." not in family
        raise InputError(
            f"{shown(family)} has {len(family)} characters",
            allowed="the 12 characters of an engine family or test group",
            instead="all 12 characters as they stand on the label under the bonnet"
            + ("; a decimal point among them counts as a character" if pointless else ""),
        )
    wrong = [
        f"character {place} is {shown(one)}"
        for place, one in enumerate(family, start=1)
        if not (one.isascii() and (one.isalnum() or one == "."))
    ]
    if wrong:
        raise InputError(
            f"wrong in {shown(family)}: {', '.join(wrong[:4])}",
            allowed="letters, digits and one decimal point",
            instead="type it again as it stands on the label",
        )
    if not years_of_code(family[0]):
        meant = {"O": "0 is no year code either", "I": "1", "Z": "2", "U": "V"}.get(family[0])
        raise InputError(
            f"{shown(family)} begins with {family[0]}",
            allowed="a model year code: 1 to 9, or a letter other than I, O, Q, U and Z",
            instead=f"{meant} in place of {family[0]}"
            if meant and len(meant) == 1
            else "the label again",
        )
    return _require_figures(family)


def _require_figures(family: str) -> str:
    """`family` when its decimal point, if any, stands in the figure of the displacement."""
    if "." not in family:
        return family
    older = _is_older(family)
    for start, end in ((3, 6),) if older else ((5, 9), (3, 6)):
        figure = family[start:end]
        if "." not in figure or family.count(".") > 1:
            continue
        if _is_figure(figure):
            return family
        meant = _as_digits(figure)
        if _is_figure(meant):
            raise InputError(
                f"{shown(family)}: {figure} is no figure, though it has a decimal point",
                allowed="digits and one decimal point for the displacement",
                instead=f"{family[:start]}{meant}{family[end:]}",
            )
    raise InputError(
        f"{shown(family)} has a decimal point where no displacement stands",
        allowed="one decimal point among characters 6 to 9 (on labels of 1994 to 1999: 4 to 6)",
        instead="count the 12 characters again on the label, the point being one of them",
    )


def _as_digits(figure: str) -> str:
    """`figure` with the letters that look like digits as digits."""
    return "".join(_LOOKS_LIKE_DIGIT.get(one, one) for one in figure)


def _is_figure(text: str) -> bool:
    return re.fullmatch(r"(?=.*\d)\d*\.?\d*", text, re.ASCII) is not None


def _is_older(family: str) -> bool:
    """Whether the displacement stands at 4 to 6; in the current layout 5 is a letter."""
    return _is_figure(family[3:6]) and family[6].isalpha()


def _year(code: str, older: bool, newest: int) -> tuple[int | None, tuple[int, ...], str]:
    first, second = years_of_code(code)
    if older:
        if first in _OLDER_YEARS:
            return first, (first,), f"{first}: {code} on a label of the layout of 1994 to 1999"
        return (
            None,
            (first,),
            f"can't tell: {code} would be {first}, but names of this layout are of 1994 to 1999",
        )
    choices = tuple(year for year in (first, second) if year >= _FIRST_OF_CURRENT)
    possible = [year for year in choices if year <= newest]
    if len(possible) == 1:
        said = f"{possible[0]}: the name begins with {code}"
        ahead = [year for year in choices if year > newest]
        if ahead:
            said = f"{said}; its other year, {ahead[0]}, lies ahead"
        if possible[0] < 2001:
            said = f"{said}; EPA's list begins with 2001, the years before it are from memory"
        return possible[0], choices, said
    if not possible:
        return (
            None,
            choices,
            f"can't tell: {code} is {' or '.join(map(str, choices))}, which lies ahead: the name "
            "or today's year is wrong",
        )
    listed = " or ".join(map(str, possible))
    return None, choices, f"can't tell: {code} is {listed}"


def _displacements(figure: str, sector: str, older: bool) -> tuple[tuple[Displacement, ...], str]:
    where = "characters 4 to 6" if older else "characters 6 to 9"
    if not _is_figure(figure):
        says = f"none stated: {where} are {figure}, a kind of family, not a displacement"
        if _is_figure(_as_digits(figure)):
            says += f"; if they are the digits {_as_digits(figure)}, type them so"
        return (), says
    number = float(figure)
    if number == 0.0:
        return (), f"none: {where} are {figure}, as on electric vehicles (from memory)"
    if "." in figure:
        found = _reading(figure, "litres", "sure", "a decimal point means litres (EPA)")
        if sector in SECTORS and not ROAD_ENGINE_L[0] <= found.litres <= ROAD_ENGINE_L[1]:
            found = replace(found, certainty="doubtful", says="no size of a car's engine")
        return (found,), f"{found.written}: {where} have a decimal point, which means litres"
    if not older and sector in _EVAPORATIVE:
        return (), (
            f"none stated: {sector} stands on evaporative and refuelling families (from memory); "
            "read the other name on the label, that of the engine family or test group"
        )
    return _without_point(figure, sector)


def _without_point(figure: str, sector: str) -> tuple[tuple[Displacement, ...], str]:
    """Cubic inches or cubic centimetres: on cars and light trucks the size tells, mostly."""
    low, high = ROAD_ENGINE_L
    both = [
        _reading(
            figure, unit, "can't tell", "no decimal point, and the size does not tell the unit"
        )
        for unit in ("cubic inches", "cubic centimetres")
    ]
    fitting = [one for one in both if low <= one.litres <= high]
    if sector not in SECTORS or len(fitting) != 1:
        listed = " or ".join(f"{one.litres:.3g} litres ({one.written})" for one in both)
        return tuple(both), f"can't tell: {listed}, if it is a displacement at all"
    (found,) = fitting
    other = both[1] if found is both[0] else both[0]
    why = f"{other.written} would be {other.litres:.3g} litres, no car's engine"
    return (
        (replace(found, certainty="likely", says=why),),
        f"{found.litres:.3g} litres: {found.written}, for {why}",
    )


def _reading(figure: str, unit: str, certainty: str, says: str) -> Displacement:
    number, half = float(figure), 0.5 * 10.0 ** -len(figure.partition(".")[2])
    factor = _LITRES[unit]
    plain = figure.lstrip("0")
    return Displacement(
        litres=number * factor,
        low_l=(number - half) * factor,
        high_l=(number + half) * factor,
        written=f"{'0' if plain.startswith('.') else ''}{plain.rstrip('.')} {unit}",
        certainty=certainty,
        says=says,
    )


def _sector_words(sector: str) -> str:
    if sector in SECTORS:
        return f"{SECTORS[sector]} (from memory)"
    if sector in _EVAPORATIVE:
        return "evaporative or refuelling family (from memory)"
    return "not known here"


def _warnings(found: tuple[Displacement, ...], sector: str, older: bool) -> tuple[str, ...]:
    said = []
    low, high = ROAD_ENGINE_L
    if found and found[0].certainty == "doubtful":
        said.append(
            f"{found[0].litres:g} litres is not the size of a {SECTORS[sector]}'s engine "
            f"({low:g} to {high:g} litres): read the label again"
        )
    if found:
        said.append("an engine that varies its displacement is stated with its largest")
    if older:
        said.append("the layout of 1994 to 1999 is read from reprinted tables, not EPA's own page")
    return tuple(said)
