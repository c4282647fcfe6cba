"""The fields of the coolant bench: words, units, order; from a form to what the bench takes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from beltside.casework.coolant_bench import (
    FAMILIES,
    TOOLS,
    as_typed,
    tool_of,
    unit_of_field,
    with_unit,
)
from beltside.web.texts import text_

Choices = Sequence[tuple[str, str]]
SPARE_ROWS: Final = 1
_NOTHING: Final = ("0 L", 0, "0")
"""An amount of nothing, with which a side of the ledger is begun: no row of its own."""
MOST_ROWS: Final = 12


@dataclass(frozen=True)
class Ask:
    """A field: its name, its words, a unit that never changes, a hint; `choices` are tapped.

    `kind` is "figure", "one", "several", "tick" or "rows"; `group` is the tool it belongs to.
    `cells` are the cells of a row: name, words, unit.
    """

    name: str
    label: str
    unit: str = ""
    hint: str = ""
    kind: str = "figure"
    choices: Choices = ()
    group: str = ""
    cells: Sequence[tuple[str, str, str]] = ()

    @property
    def mode(self) -> str:
        """The keyboard: a phone's decimal pad has no minus and no unit."""
        return "text" if self.name.endswith("_c") or self.name in ("mark", "cap") else "decimal"


@dataclass(frozen=True)
class Question:
    """A part of the bench: its title, what it is for, fields at hand, and those folded away."""

    about: str
    title: str
    purpose: str
    asks: Sequence[Ask]
    more: Sequence[Ask]
    button: str

    @property
    def every(self) -> Sequence[Ask]:
        """All its fields."""
        return (*self.asks, *self.more)


KIND: Final = Ask(
    "kind",
    text_("Glycol"),
    kind="one",
    choices=(("ethylene", text_("Ethylene")), ("propylene", text_("Propylene"))),
)
ALTITUDE: Final = Ask("altitude_m", text_("Altitude of the place"), hint=text_("0 if left out"))
CAPACITY: Final = Ask("capacity_l", text_("System holds"), hint=text_("from the service data"))
TOOL_WORDS: Final[Choices] = (
    ("freezing", text_("Freezing scale")),
    ("hydrometer", text_("Hydrometer")),
    ("index", text_("Refractive index")),
    ("amounts", text_("Amounts poured")),
    ("volume", text_("Label, by volume")),
    ("mass", text_("Label, by mass")),
)
SIZE_AND_PRICE: Final = (
    ("size_l", text_("Container"), ""),
    ("price", text_("Price of it"), ""),
)
QUESTIONS: Final = (
    Question(
        "mix",
        text_("How strong is it?"),
        text_("Where it freezes and boils, from one reading."),
        (
            KIND,
            Ask("tool", text_("Read with"), kind="one", choices=TOOL_WORDS),
            Ask("freezing_c", text_("Freezing point on the scale"), group="freezing"),
            Ask(
                "scale",
                text_("The scale is for"),
                kind="one",
                choices=(
                    ("", text_("This glycol")),
                    ("ethylene", text_("Ethylene")),
                    ("propylene", text_("Propylene")),
                ),
                group="freezing",
            ),
            Ask(
                "specific_gravity",
                text_("Specific gravity"),
                hint=text_("such as 1.068"),
                group="hydrometer",
            ),
            Ask("at_c", text_("Temperature of the liquid then"), group="hydrometer"),
            Ask(
                "refractive_index",
                text_("Refractive index at 20 °C"),
                hint=text_("such as 1.385"),
                group="index",
            ),
            Ask("concentrate_l", text_("Concentrate poured"), group="amounts"),
            Ask("water_l", text_("Water poured"), group="amounts"),
            Ask("volume_percent", text_("Glycol by volume"), "%", group="volume"),
            Ask("mass_percent", text_("Glycol by mass"), "%", group="mass"),
        ),
        (
            Ask(
                "cap", text_("Mark on the cap"), hint=text_("108 kPa, 1.1 bar, 16 psi, or as bare")
            ),
            Ask("thermostat_c", text_("Thermostat opens at")),
            ALTITUDE,
            CAPACITY,
            Ask("hardness_ppm", text_("Hardness of the water, as CaCO₃"), "ppm"),
            Ask(
                "resolution",
                text_("Half the finest step of the tool"),
                hint=text_("in the unit of the reading; that of a common tool if left out"),
            ),
            Ask("reference_c", text_("Hydrometer made for"), hint=text_("stands on it")),
            Ask("cold_c", text_("Cold"), hint=text_("20 °C if left out")),
            Ask("hot_c", text_("Hot"), hint=text_("95 °C if left out")),
        ),
        text_("Work it out and keep it"),
    ),
    Question(
        "adjust",
        text_("Bring it to a strength"),
        text_("What to drain and what to pour, in the containers on the shelf."),
        (
            KIND,
            Ask("now_percent", text_("Strength now, by volume"), "%"),
            Ask("target_percent", text_("Strength wanted, by volume"), "%"),
            CAPACITY,
            Ask(
                "stays_l",
                text_("Stays in block and heater"),
                hint=text_("after a full drain: holds, less what came out"),
            ),
            Ask(
                "product_percent",
                text_("What is poured has"),
                "%",
                text_("glycol by volume: 100 concentrate, 50 half-and-half premix"),
            ),
        ),
        (
            Ask(
                "shelf",
                text_("Coolant containers on the shelf"),
                kind="rows",
                cells=SIZE_AND_PRICE,
            ),
            Ask(
                "water_shelf",
                text_("Containers of distilled water"),
                kind="rows",
                cells=SIZE_AND_PRICE,
            ),
            Ask("currency", text_("Currency"), hint=text_("as it stands behind the price")),
        ),
        text_("Work it out and keep it"),
    ),
    Question(
        "reuse",
        text_("Put it back or renew it?"),
        text_("What came out, looked at. Its colour proves nothing."),
        (
            Ask(
                "looks",
                text_("It looks"),
                kind="several",
                choices=(
                    ("clear", text_("Clear")),
                    ("colour-changed", text_("Colour changed")),
                    ("cloudy", text_("Cloudy")),
                    ("rust", text_("Rust in it")),
                    ("oil-film", text_("Oil film")),
                    ("sludge", text_("Sludge")),
                    ("particles", text_("Particles")),
                ),
            ),
            Ask("age_years", text_("Age"), text_("years")),
            Ask("distance_km", text_("Driven with it"), "km"),
            Ask("ph", text_("pH on the strip"), hint=text_("0 to 14")),
            Ask(
                "reserve",
                text_("Reserve alkalinity on the strip"),
                kind="one",
                choices=(
                    ("", text_("Not tested")),
                    ("low", text_("Low")),
                    ("middle", text_("Middle")),
                    ("high", text_("High")),
                ),
            ),
        ),
        (
            Ask(
                "family",
                text_("Inhibitor family inside"),
                kind="one",
                choices=(("", text_("Not known")), *((one, one) for one in FAMILIES)),
            ),
            Ask(
                "top_up_family",
                text_("Family of what goes in"),
                kind="one",
                choices=(("", text_("Not known")), *((one, one) for one in FAMILIES)),
            ),
            Ask("volume_percent", text_("Glycol by volume"), "%"),
        ),
        text_("Judge it and keep it"),
    ),
    Question(
        "cap",
        text_("How far to pump"),
        text_("From the mark on the cap to what the gauge should show."),
        (
            Ask(
                "mark",
                text_("Mark on the cap"),
                hint=text_("108 kPa, 1.1 bar, 16 psi, or as bare"),
            ),
        ),
        (
            Ask(
                "pressure_kpa",
                text_("Pressure meant or read"),
                hint=text_("refused when it is above the mark"),
            ),
            ALTITUDE,
            KIND,
            Ask("volume_percent", text_("Glycol by volume"), "%", text_("50 if left out")),
        ),
        text_("Work it out and keep it"),
    ),
    Question(
        "drain",
        text_("How long does draining take?"),
        text_("Through a nipple and a hose, cap off and cap on."),
        (
            Ask("volume_l", text_("To drain")),
            Ask("height_m", text_("Level above the nipple"), hint=text_("40 cm is understood")),
            Ask("bore_mm", text_("Bore of the nipple"), "mm"),
        ),
        (
            Ask("hose_m", text_("Length of the hose")),
            Ask("hose_drop_m", text_("Its end lies lower than the nipple by")),
            Ask("air_l", text_("Air above the coolant"), hint=text_("0.3 L if left out")),
        ),
        text_("Work it out and keep it"),
    ),
    Question(
        "fill",
        text_("What came out, what went in"),
        text_("A ledger: what is missing is air. Each time you keep it a new row is there."),
        (
            Ask(
                "drained_l",
                text_("Came out, each can"),
                kind="rows",
                cells=(("drained_l", text_("Came out"), ""),),
            ),
            Ask(
                "poured_l",
                text_("Went in, each can"),
                kind="rows",
                cells=(("poured_l", text_("Went in"), ""),),
            ),
        ),
        (
            Ask("spilled_l", text_("Spilled, about")),
            Ask("lost_before_l", text_("Was missing when the car came")),
            CAPACITY,
            Ask("dry", text_("The system was dry (new or blown out)"), kind="tick"),
        ),
        text_("Reckon up and keep it"),
    ),
    Question(
        "clock",
        text_("Belt off: how long?"),
        text_("How long the engine may idle while the pump stands still."),
        (
            Ask("displacement_l", text_("Displacement"), "L"),
            Ask("coolant_l", text_("System holds"), hint=text_("from the service data")),
            Ask("start_c", text_("Engine at the start"), hint=text_("cold: that of the air")),
        ),
        (
            Ask("idle_rpm", text_("Idle speed"), "1/min", text_("800 if left out")),
            Ask("air_c", text_("Outside air"), hint=text_("20 °C if left out")),
            Ask(
                "readings",
                text_("Temperatures read while it runs"),
                kind="rows",
                cells=(
                    ("minutes", text_("After the start"), text_("min:s")),
                    ("temperature_c", text_("Temperature"), ""),
                ),
            ),
        ),
        text_("Work it out and keep it"),
    ),
)
BY_ABOUT: Final[Mapping[str, Question]] = {one.about: one for one in QUESTIONS}

Typed = dict[str, str]


def fields_of(question: Question, given: Mapping[str, Any]) -> Typed:
    """A kept question as its form's fields: rows counted, each figure as it was typed."""
    typed: Typed = {}
    for ask in question.every:
        value = given.get(ask.name)
        if ask.name == "tool":
            typed["tool"] = tool_of(given)
        elif value is None:
            continue
        elif ask.kind == "rows":
            rows = value if isinstance(value, list | tuple) else [value]
            for number, row in enumerate(one for one in rows if one not in _NOTHING):
                for (cell, _, _), text in zip(ask.cells, _cells(ask, row), strict=False):
                    typed[f"{ask.name}.{number}.{cell}"] = as_typed(cell, text)
        elif ask.kind == "several":
            for one in value if isinstance(value, list | tuple) else [value]:
                typed[f"{ask.name}.{one}"] = "yes"
        else:
            typed[ask.name] = as_typed(ask.name, value)
    return typed


def _cells(ask: Ask, row: Any) -> Sequence[Any]:
    if len(ask.cells) == 1:
        return (row,)
    if isinstance(row, list | tuple):
        first, second = (*row, None)[:2]
        if ask.name == "readings":
            # Kept as numbers they are seconds and degrees Celsius.
            minutes, seconds = divmod(round(float(first)), 60)
            first = f"{minutes}:{seconds:02d}"
        return (first, "" if second is None else second)
    first, _, second = str(row).partition("=")
    return (first, second)


def rows_shown(ask: Ask, typed: Mapping[str, str]) -> range:
    """The rows a form shows: those filled in, and one more."""
    filled = 0
    for number in range(MOST_ROWS):
        if any(typed.get(f"{ask.name}.{number}.{cell}") for cell, _, _ in ask.cells):
            filled = number + 1
    return range(min(filled + SPARE_ROWS, MOST_ROWS))


def given_of(question: Question, typed: Mapping[str, str], *, us: bool) -> dict[str, Any]:
    """What the bench takes, from the form's fields; bare figures get their unit written out."""
    tool = typed.get("tool", "freezing")
    given: dict[str, Any] = {}
    for ask in question.every:
        if ask.name == "tool" or (question.about == "mix" and not _asked_by(tool, ask.name)):
            continue
        if ask.kind == "rows":
            rows = [_row(ask, typed, number, us) for number in range(MOST_ROWS)]
            if filled := [row for row in rows if row]:
                given[ask.name] = filled
        elif ask.kind == "several":
            if chosen := [value for value, _ in ask.choices if typed.get(f"{ask.name}.{value}")]:
                given[ask.name] = chosen
        elif typed.get(ask.name):
            given[ask.name] = with_unit(ask.name, typed[ask.name], us=us)
    if question.about == "fill":
        # The ledger is begun when only one side has an amount.
        for name in ("drained_l", "poured_l"):
            given.setdefault(name, [_NOTHING[0]])
    return given


def _asked_by(tool: str, name: str) -> bool:
    return name in TOOLS.get(tool, ()) or not any(name in names for names in TOOLS.values())


def _row(ask: Ask, typed: Mapping[str, str], number: int, us: bool) -> str:
    cells = [
        with_unit(cell, typed.get(f"{ask.name}.{number}.{cell}", ""), us=us)
        for cell, _, _ in ask.cells
    ]
    if not any(cells):
        return ""
    return "=".join(cells) if len(cells) > 1 and (cells[1] or ask.name == "readings") else cells[0]


def shown_unit(ask_name: str, fixed: str, us: bool) -> str:
    """The unit beside a field's words."""
    unit = fixed or unit_of_field(ask_name, us=us)
    return {"C": "°C", "F": "°F"}.get(unit, unit)
