"""A hole pattern as the fields of a form: holes by row, on a circle, or from a matched part."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

import tomlkit
from tomlkit.items import AoT

from beltside.base.errors import InputError, require_range
from beltside.bolting.flange import COVERS, GASKETS, HOLE_KINDS
from beltside.casework.bolts_order import order
from beltside.casework.formats.problems import FileProblemsError
from beltside.casework.shop_measure import text_as_file
from beltside.casework.toml_form import beside_fields, head_of, parsed, put, rows_of, shown

HEAD_FIELDS: Final[Mapping[str, tuple[str, str]]] = {
    "cover": ("flange", "cover"),
    "cover_thickness_mm": ("flange", "cover_thickness_mm"),
    "gasket": ("flange", "gasket"),
    "thread": ("bolts", "thread"),
    "stretch_mm": ("bolts", "stretch_mm"),
}
"""Fields above the rows: table and key of each."""
ROW_FIELDS: Final = ("x_mm", "y_mm", "kind", "name", "turn")
COVER_KINDS: Final = tuple(COVERS)
GASKET_KINDS: Final = tuple(GASKETS)
KINDS: Final = tuple(HOLE_KINDS)
MOST_ROWS: Final = 34
_WORDS: Final = frozenset({"cover", "gasket", "thread", "kind", "name"})

Row = dict[str, str]


@dataclass(frozen=True)
class BoltForm:
    """The fields as text: those of the head, and one row for each hole."""

    head: Mapping[str, str]
    rows: Sequence[Row]


@dataclass(frozen=True)
class BoltTried:
    """What is wrong with a pattern: beside each field ("thread", "2.x_mm", from 0), and else."""

    by_field: Mapping[str, str] = field(default_factory=dict)
    other: tuple[str, ...] = ()


def bolt_form_of(toml: str) -> BoltForm:
    """The fields of a hole pattern.

    Raises
    ------
    InputError
        When the text is no TOML.
    """
    document = parsed(toml, "hole pattern")
    return BoltForm(head_of(document, HEAD_FIELDS), rows_of(document, "hole", ROW_FIELDS))


def bolt_toml_of(form: BoltForm, before: str = "") -> str:
    """The pattern's text with the fields of a form; what else `before` holds stays.

    A hole keeps its further keys while it stays where it is; rows left empty are dropped.
    """
    document = parsed(before, "hole pattern")
    for name, (table, key) in HEAD_FIELDS.items():
        if table not in document:
            document.add(table, tomlkit.table())
        put(document[table], key, form.head.get(name, ""), words=_WORDS)
    old = {_place(one): one for one in document.get("hole", [])}
    holes: AoT = tomlkit.aot()
    for row in form.rows[:MOST_ROWS]:
        if not any(row.get(key, "").strip() for key in ("x_mm", "y_mm", "name", "turn")):
            continue
        hole = tomlkit.table()
        for key, value in old.get(_place(row), {}).items():
            if key not in ROW_FIELDS:
                hole.add(key, value)
        for key in ROW_FIELDS:
            put(hole, key, row.get(key, ""), words=_WORDS)
        holes.append(hole)
    if "hole" in document:
        document.remove("hole")
    document.add("hole", holes)
    return tomlkit.dumps(document)


def try_bolts(toml: str, torque: str = "", torque_source: str = "") -> BoltTried:
    """What is wrong with a pattern and its torque, without keeping it."""
    try:
        with text_as_file(toml, "pattern.toml") as path:
            order(path, torque=torque or None, torque_source=torque_source or None)
    except FileProblemsError as error:
        return BoltTried(*beside_fields(error, _field_of))
    except InputError as error:
        return BoltTried({}, (str(error),))
    return BoltTried()


def circle_rows(count: float, diameter_mm: float) -> list[Row]:
    """Holes evenly on a circle, the first at the top, on clockwise.

    Raises
    ------
    OutOfRangeError
        Fewer than 3 or more than 32 holes, or a circle outside 10 to 1,000 mm.

    >>> [row["x_mm"] for row in circle_rows(4, 100.0)]
    ['0', '50', '0', '-50']
    """
    require_range("number of bolts", count, 3, 32, "")
    require_range("circle through the bolts", diameter_mm, 10.0, 1000.0, "mm")
    rows = []
    for number in range(round(count)):
        turn = 2.0 * math.pi * number / round(count)
        x, y = 0.5 * diameter_mm * math.sin(turn), 0.5 * diameter_mm * math.cos(turn)
        rows.append(hole_row(x, y))
    return rows


def hole_row(x_mm: float, y_mm: float) -> Row:
    """A hole as a row of the form, to a hundredth of a millimetre."""
    places = {"x_mm": x_mm, "y_mm": y_mm}
    return {
        **dict.fromkeys(ROW_FIELDS, ""),
        "kind": "bolt",
        **{name: f"{round(value, 2) + 0.0:g}" for name, value in places.items()},
    }


def _place(hole: Mapping[str, Any]) -> tuple[str, str]:
    return shown(hole.get("x_mm")), shown(hole.get("y_mm"))


def _field_of(where: Sequence[str | int]) -> str:
    """The form's field at a key path, whose list members are counted from 1."""
    if len(where) >= 2 and where[0] == "hole" and isinstance(where[1], int):
        key = where[2] if len(where) > 2 else "x_mm"
        return f"{where[1] - 1}.{key}" if key in ROW_FIELDS else f"{where[1] - 1}.x_mm"
    for name, place in HEAD_FIELDS.items():
        if tuple(where[:2]) == place:
            return name
    return ""
