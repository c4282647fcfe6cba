"""The coolant bench as a page shows it: figures to show large, and what the job knows already."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from beltside.base.errors import BeltsideError
from beltside.casework.coolant_answer import CoolantAnswer, Words
from beltside.casework.shop_coolant import ask_coolant, coolant_fields
from beltside.coolant.reuse import FAMILY_LIFE, LOOKS, RESERVE
from beltside.jobs.entries import Entry, JobSheet

TOPICS: Final = ("mix", "adjust", "reuse", "cap", "drain", "fill", "clock")
FAMILIES: Final = tuple(FAMILY_LIFE)
LOOKS_SEEN: Final = LOOKS
RESERVES: Final = RESERVE
TOOLS: Final[Mapping[str, tuple[str, ...]]] = {
    "freezing": ("freezing_c", "scale"),
    "hydrometer": ("specific_gravity", "at_c", "reference_c"),
    "index": ("refractive_index",),
    "amounts": ("concentrate_l", "water_l"),
    "volume": ("volume_percent",),
    "mass": ("mass_percent",),
}
"""The fields of `mix` each way of reading the strength needs; the others then say nothing."""

_BARE: Final = re.compile(r"[+-]?\d+([.,]\d+)?")
_ALWAYS_LITRES: Final = frozenset({"displacement_l"})
_UNITS: Final = (("_c", "C", "F"), ("_l", "L", "qt"), ("_m", "m", "ft"), ("_kpa", "kPa", "psi"))


@dataclass(frozen=True)
class BigFigure:
    """A figure to show large.

    Attributes
    ----------
    name
        What it is: "freezes", "target", ...
    value, unit
        The figure as text, and its unit.
    low, high
        Its range as text; both empty where none is given.
    """

    name: str
    value: str
    unit: str
    low: str = ""
    high: str = ""


def unit_of_field(name: str, *, us: bool = False) -> str:
    """The unit of a bare figure in a field: "C", "L", ..., "" where it has none of these.

    >>> unit_of_field("capacity_l"), unit_of_field("capacity_l", us=True)
    ('L', 'qt')
    """
    if name in _ALWAYS_LITRES:
        return "L"
    for ending, metric, american in _UNITS:
        if name.endswith(ending):
            return american if us else metric
    return ""


def with_unit(name: str, text: str, *, us: bool = False) -> str:
    """A figure as typed, with its unit written behind it when it was bare.

    What is kept then means the same after the shop's units are changed.

    >>> with_unit("capacity_l", "6,2"), with_unit("at_c", "68F"), with_unit("ph", "8")
    ('6,2 L', '68F', '8')
    """
    unit = unit_of_field(name, us=us)
    return f"{text} {unit}" if unit and _BARE.fullmatch(text.strip()) else text


def as_typed(name: str, value: Any) -> str:
    """A kept value as it would be typed: figures are SI, so their unit stands behind them.

    >>> as_typed("freezing_c", -34), as_typed("mark", "1.1")
    ('-34 C', '1.1')
    """
    if isinstance(value, bool):
        return "yes" if value else ""
    if isinstance(value, int | float):
        return with_unit(name, f"{value:.10g}")
    return str(value)


def tool_of(given: Mapping[str, Any]) -> str:
    """How the strength of a kept `mix` was read; the freezing scale when nothing says."""
    for tool, names in TOOLS.items():
        if given.get(names[0]) not in (None, ""):
            return tool
    return "freezing"


def suggestions(sheet: JobSheet, about: str) -> dict[str, str]:
    """Fields of a question that other answers on the job fill already, as they would be typed."""
    found: dict[str, str] = {}
    known = coolant_fields(about)
    for entry in sheet.of_kind("coolant"):
        given = entry.body["given"]
        for name in ("kind", "capacity_l", "altitude_m", "thermostat_c", "currency", "family"):
            if given.get(name) not in (None, ""):
                found[name] = as_typed(name, given[name])
        for name in ("cap", "mark"):
            if given.get(name) not in (None, ""):
                found["cap"] = found["mark"] = as_typed(name, given[name])
        result = entry.body["result"]
        if entry.body["about"] == "mix" and isinstance(result.get("volume_fraction"), Mapping):
            share = f"{100.0 * float(result['volume_fraction']['value']):.0f}"
            found["now_percent"] = found["volume_percent"] = share
            found["kind"] = str(result.get("glycol") or found.get("kind", ""))
    if about == "mix":
        # There the strength is what is asked for.
        found.pop("volume_percent", None)
    if "capacity_l" in found:
        found["coolant_l"] = found["capacity_l"]
    car = sheet.newest("car")
    if car is not None:
        for name in ("displacement_l", "distance_km"):
            if car.body.get(name) is not None:
                found[name] = as_typed(name, car.body[name])
    return {name: text for name, text in found.items() if name in known and text}


def kept_answer(entry: Entry, *, us: bool = False) -> CoolantAnswer | None:
    """The whole answer behind a kept one, worked out again from what was typed then.

    None where that is refused today; what the answer said stands in the entry.
    """
    try:
        return ask_coolant(str(entry.body["about"]), entry.body["given"], us=us)
    except BeltsideError:
        return None


def big_figures(answer: CoolantAnswer, *, us: bool = False) -> tuple[BigFigure, ...]:
    """The figures of an answer of the bench to show large, the one asked for first."""
    data, words = answer.data, Words(us)
    found: Sequence[BigFigure | None] = ()
    if answer.topic == "mix":
        share = {name: 100.0 * value for name, value in data["volume_fraction"].items()}
        found = (
            _temperature("freezes", data["freezing_c"], words),
            _temperature("boils", data["boiling_c"], words),
            _of("strength", share, "%", 0),
        )
    elif answer.topic == "adjust" and data["plans"]:
        plan = data["plans"][0]
        found = [_litres(name, plan[f"{name}_l"], words) for name in ("drain", "product", "water")]
    elif answer.topic == "reuse":
        found = (BigFigure("advice", str(data["advice"]), ""),)
    elif answer.topic == "cap":
        ends = [words.pressure(data[name]) for name in ("target_kpa", "lowest_kpa")]
        (value, unit), (low, _) = (one.split(" ", 1) for one in ends)
        found = (BigFigure("target", value, unit, low, value),)
    elif answer.topic == "fill":
        low, high = (max(data["missing_l"][end], 0.0) for end in ("low", "high"))
        found = (
            _litres("missing", max(data["missing_l"]["value"], 0.0), words, low, high),
            _litres("recheck", data["recheck_l"], words),
        )
    elif answer.topic == "drain":
        low, high = (_clock(data[f"cap_off_{end}_s"]) for end in ("low", "high"))
        found = (BigFigure("drains", _clock(data["cap_off_s"]), "min:s", low, high),)
    elif answer.topic == "clock":
        found = (BigFigure("limit", _clock(data["limit_s"]), "min:s"),)
    elif answer.topic == "hold":
        leak, smallest = data["leak_ml_min"], data["smallest_leak_ml_min"]
        ends = [words.flow(leak[end]).split(" ")[0] for end in ("low", "high")]
        found = (
            BigFigure("matters", *words.flow(data["matters_ml_min"]).split(" ", 1)),
            BigFigure("leak", *words.flow(leak["value"]).split(" ", 1), *ends),
            None
            if smallest is None
            else BigFigure("smallest", *words.flow(smallest).split(" ", 1)),
        )
    return tuple(one for one in found if one is not None)


def _temperature(name: str, value: Mapping[str, Any], words: Words) -> BigFigure | None:
    if value["value"] is None:
        return None
    degrees = {end: words.degrees(one) for end, one in value.items() if one is not None}
    return _of(name, degrees, words.degree, 0)


def _of(name: str, value: Mapping[str, float], unit: str, digits: int) -> BigFigure:
    middle, low, high = (
        f"{value[end]:.{digits}f}" if end in value else "" for end in ("value", "low", "high")
    )
    return BigFigure(name, middle, unit, low, high)


def _litres(
    name: str, litres: float, words: Words, low: float | None = None, high: float | None = None
) -> BigFigure:
    value, unit = words.litres(litres).split(" ", 1)
    if low is None or high is None:
        return BigFigure(name, value, unit)
    ends = (words.litres(one).split(" ", 1)[0] for one in (low, high))
    return BigFigure(name, value, unit, *ends)


def _clock(seconds: float) -> str:
    minutes, rest = divmod(round(seconds), 60)
    return f"{minutes}:{rest:02d}"
