"""Put the old coolant back, top it up, or renew it.

Method and sources: docs/methods/coolant-reuse.md. All limits here are common practice without a
source unless one is named; the maker's service data stands above them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

from beltside.base.errors import InputError, nearest, require_range

Advice = Literal["reuse filtered", "top up", "renew"]
Family = Literal["IAT", "OAT", "HOAT", "Si-OAT", "P-HOAT"]

FAMILY_LIFE: Final[dict[Family, tuple[float, float]]] = {
    "IAT": (2.0, 60000.0),
    "OAT": (5.0, 240000.0),
    "HOAT": (5.0, 160000.0),
    "Si-OAT": (5.0, 240000.0),
    "P-HOAT": (5.0, 160000.0),
}
"""Years and kilometres after which each family is renewed, on the short side."""

FAMILY_PH: Final[dict[Family, tuple[float, float]]] = {
    "IAT": (8.0, 11.0),
    "OAT": (7.5, 9.5),
    "HOAT": (7.5, 10.0),
    "Si-OAT": (7.5, 9.5),
    "P-HOAT": (7.5, 9.5),
}
"""pH on a strip that sound coolant of each family shows; below 7 metal is eaten whatever it is."""

FAMILY_WORDS: Final[dict[Family, str]] = {
    "IAT": "inorganic: silicates, phosphates or borates, used up within a few years",
    "OAT": "organic acids only, long life",
    "HOAT": "organic acids with some silicate",
    "Si-OAT": "organic acids with stabilised silicate",
    "P-HOAT": "organic acids with phosphate, no silicate",
}

MESH_UM: Final = ((60, 250.0), (80, 180.0), (100, 150.0), (120, 125.0), (140, 106.0), (200, 75.0))
"""Openings of test sieves by their number [micrometres]: ASTM E11 (from memory)."""
FILTER_UM: Final = (75.0, 150.0)
"""What to pour through: fine enough for gasket scraps and rust, coarse enough to run by itself."""

RESERVE: Final = ("low", "middle", "high")
LOOKS: Final = ("clear", "colour-changed", "cloudy", "rust", "oil-film", "sludge", "particles")


@dataclass(frozen=True)
class ReuseAdvice:
    """What to do with what came out.

    Attributes
    ----------
    advice
        "reuse filtered", "top up" or "renew".
    reasons
        Why, the weightiest first.
    find_first
        What must be found out before anything is filled, such as where oil comes from.
    pour
        What may go in.
    filter_um, filter_mesh
        Filter fineness: finest and coarsest [micrometres], and as sieve numbers.
    warnings
        What to know.
    """

    advice: Advice
    reasons: tuple[str, ...]
    find_first: tuple[str, ...]
    pour: str
    filter_um: tuple[float, float]
    filter_mesh: tuple[int, int]
    warnings: tuple[str, ...]


def mesh_for(opening_um: float) -> int:
    """Number of the test sieve whose opening is nearest [micrometres, 75 to 250].

    >>> mesh_for(150.0)
    100
    """
    require_range("opening", opening_um, 75.0, 250.0, "micrometres")
    return min(MESH_UM, key=lambda row: abs(row[1] - opening_um))[0]


def read_family(word: str) -> Family:
    """The family behind a word.

    Raises
    ------
    InputError
        When it is none, or a colour: colour proves nothing.

    >>> read_family("si-oat")
    'Si-OAT'
    """
    plain = word.strip().lower().replace("_", "-").replace(" ", "-")
    for family in FAMILY_LIFE:
        if plain == family.lower() or plain == family.lower().replace("-", ""):
            return family
    if plain in ("green", "red", "pink", "blue", "orange", "yellow", "violet", "purple", "black"):
        raise InputError(
            f'"{word}" is a colour, and colour proves nothing: makers dye as they like',
            allowed=", ".join(FAMILY_LIFE),
            instead="the label, the service data, or leaving the family out",
        )
    close = nearest(plain, [family.lower() for family in FAMILY_LIFE])
    named = next((family for family in FAMILY_LIFE if family.lower() == close), None)
    raise InputError(f'"{word}" is no family', allowed=", ".join(FAMILY_LIFE), instead=named or "")


def reuse_or_renew(
    *,
    family: Family | None = None,
    top_up_family: Family | None = None,
    age_years: float | None = None,
    distance_km: float | None = None,
    ph: float | None = None,
    reserve: str | None = None,
    looks: tuple[str, ...] = (),
    volume_fraction: float | None = None,
) -> ReuseAdvice:
    """Whether what came out may go back in.

    `looks` are words of `LOOKS`, `reserve` (alkalinity on the strip) one of `RESERVE`.

    Raises
    ------
    OutOfRangeError
        Age 0 to 40 years, distance 0 to 1,000,000 km, pH 0 to 14, strength 0 to 1.
    InputError
        When a word is not known.
    """
    for value, name, high, unit in (
        (age_years, "age", 40.0, "years"),
        (distance_km, "distance", 1e6, "km"),
        (ph, "pH", 14.0, ""),
        (volume_fraction, "strength", 1.0, "of 1"),
    ):
        if value is not None:
            require_range(name, value, 0.0, high, unit)
    for word in looks:
        _require_word("look", word, LOOKS)
    if reserve is not None:
        _require_word("reserve alkalinity", reserve, RESERVE)
    renew, top_up, good, first, warnings = _looks(looks)
    _age(renew, good, family, age_years, distance_km)
    _strip(renew, top_up, good, family, ph, reserve)
    if volume_fraction is not None:
        if volume_fraction < 0.33:
            top_up.append(f"it is weak, {100 * volume_fraction:.0f} % by volume: see `adjust`")
        elif volume_fraction > 0.6:
            top_up.append(f"it is rich, {100 * volume_fraction:.0f} % by volume: see `adjust`")
    if family and top_up_family and family != top_up_family:
        warnings.append(
            f"{top_up_family} into {family}: no harm in an emergency, but the mixture lasts only "
            "as long as the shorter-lived of the two, and some pairs turn to gel"
        )
    if "colour-changed" in looks:
        warnings.append("colour proves neither family nor state; go by strip, age and label")
    if not renew and age_years is None and ph is None:
        top_up.append(
            "neither age nor a test strip is known, so its inhibitors are not vouched for"
        )
    advice: Advice = "renew" if renew else "top up" if top_up else "reuse filtered"
    pour = (
        f"{family} ({FAMILY_WORDS[family]}), as the maker's service data names it"
        if family
        else "the family the maker's service data names; not known here, and colour won't tell"
    )
    return ReuseAdvice(
        advice,
        (*renew, *top_up, *good) or ("nothing speaks against it",),
        tuple(first),
        pour,
        FILTER_UM,
        (mesh_for(FILTER_UM[0]), mesh_for(FILTER_UM[1])),
        tuple(warnings),
    )


def _looks(
    looks: tuple[str, ...],
) -> tuple[list[str], list[str], list[str], list[str], list[str]]:
    renew, first = [], []
    if "oil-film" in looks:
        renew.append("oil on it: oil swells hoses and spoils inhibitors")
        first.append("where the oil comes from: head gasket, oil cooler or transmission cooler")
    if "sludge" in looks:
        renew.append("sludge: families were mixed or it is long dead; flush until clear")
        first.append("whether radiator and heater core are blocked")
    if "rust" in looks:
        renew.append("rust in it: its inhibitors are gone; flush until clear")
    if "cloudy" in looks:
        renew.append("cloudy: inhibitors have dropped out, or something got in")
    good = ["clear, no film, no rust"] if "clear" in looks and len(looks) == 1 else []
    if "particles" in looks:
        good.append("particles: the filter takes them; look at what they are")
    return renew, [], good, first, []


def _age(
    renew: list[str],
    good: list[str],
    family: Family | None,
    age_years: float | None,
    distance_km: float | None,
) -> None:
    name: Family = family or "IAT"
    years, km = FAMILY_LIFE[name]
    whose = family or "the shortest-lived family (which it is was not said)"
    if age_years is not None:
        noun = "year" if age_years == 1.0 else "years"
        words = f"{age_years:g} {noun} of the usual {years:g} of {whose}"
        (renew if age_years >= years else good).append(words)
    if distance_km is not None:
        words = f"{distance_km:,.0f} km of the usual {km:,.0f} of {whose}"
        (renew if distance_km >= km else good).append(words)


def _strip(
    renew: list[str],
    top_up: list[str],
    good: list[str],
    family: Family | None,
    ph: float | None,
    reserve: str | None,
) -> None:
    low, high = FAMILY_PH[family] if family else (7.5, 11.0)
    if ph is not None:
        if ph < 7.0:
            renew.append(f"pH {ph:g} is acid: it eats metal")
        elif ph < low:
            top_up.append(f"pH {ph:g} is below the usual {low:g} to {high:g}: it is wearing out")
        elif ph > high + 0.5:
            renew.append(f"pH {ph:g} is above the usual {low:g} to {high:g}: it attacks aluminium")
        else:
            good.append(f"pH {ph:g} is sound")
    if reserve == "low":
        renew.append("reserve alkalinity is low: nothing is left to take up acid")
    elif reserve == "middle":
        top_up.append("reserve alkalinity is in the middle: good for a while only")
    elif reserve == "high":
        good.append("reserve alkalinity is high")


def _require_word(what: str, word: str, allowed: tuple[str, ...]) -> None:
    if word not in allowed:
        raise InputError(
            f'{what} "{word}"', allowed=", ".join(allowed), instead=nearest(word, allowed) or ""
        )
