"""A drive sheet as the fields of a form, and back into its text without losing anything else.

The text is edited, not written anew: comments, keys that the form does not show (a tensioner, an
offset) and their order stay.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

import tomlkit
from tomlkit.exceptions import ParseError
from tomlkit.items import AoT, Table

from beltside.base.errors import InputError
from beltside.casework.drive import drive_of_sheet
from beltside.casework.drive_results import DriveResult
from beltside.casework.formats.drive_sheet import drive_sheet_from_text
from beltside.casework.formats.problems import FileProblemsError
from beltside.casework.toml_form import beside_fields, head_of, parsed, put, rows_of

HEAD_FIELDS: Final[Mapping[str, tuple[str, str]]] = {
    "cylinders": ("engine", "cylinders"),
    "strokes": ("engine", "strokes"),
    "idle_rpm": ("engine", "idle_rpm"),
    "ribs": ("belt", "ribs"),
    "length_mm": ("belt", "length_mm"),
}
"""Fields above the rows: table and key of each."""
ROW_FIELDS: Final = (
    "part",
    "diameter_mm",
    "face",
    "x_mm",
    "y_mm",
    "poles",
    "vanes",
    "fan_blades",
    "bearing",
)
MOST_ROWS: Final = 20
_WORDS: Final = frozenset({"part", "face", "bearing"})

Row = dict[str, str]


@dataclass(frozen=True)
class DriveForm:
    """The fields as text: those of the head, and one row for each pulley in belt order."""

    head: Mapping[str, str]
    rows: Sequence[Row]


@dataclass(frozen=True)
class DriveTried:
    """What a sheet gives: its drive, or what is wrong beside each field.

    `by_field` names a field of the head ("ribs") or of a row ("2.diameter_mm", counted from 0);
    `other` is what belongs to no field. `notes` are what was understood or left open.
    """

    result: DriveResult | None
    by_field: Mapping[str, str] = field(default_factory=dict)
    other: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def is_sheet(self) -> bool:
        """Whether it is a drive sheet that can be kept, though it may give no path yet."""
        return not self.by_field and not self.other


def form_of(toml: str) -> DriveForm:
    """The fields of a sheet; those of an empty one for no text.

    Raises
    ------
    InputError
        When the text is no TOML.
    """
    document = parsed(toml, "drive sheet")
    return DriveForm(head_of(document, HEAD_FIELDS), rows_of(document, "pulley", ROW_FIELDS))


def toml_of(form: DriveForm, before: str = "") -> str:
    """The sheet's text with the fields of a form; what else `before` holds stays.

    A row keeps the further keys of the pulley of its part; rows left wholly empty are dropped, and
    all of them while none has a figure yet: the engine alone is a sheet, crank speed needs no more.
    """
    document = parsed(before, "drive sheet")
    if "name" not in document:
        document.add("name", "Front drive")
    for name, (table, key) in HEAD_FIELDS.items():
        if table not in document:
            document.add(table, tomlkit.table())
        _put(document[table], key, form.head.get(name, ""))
    old: dict[str, Table] = {}
    for one in document.get("pulley", []):
        old.setdefault(str(one.get("part", "")), one)
    pulleys: AoT = tomlkit.aot()
    rows = form.rows[:MOST_ROWS]
    if not any(_has_figures(row) for row in rows):
        rows = []
    for row in rows:
        if not any(value.strip() for key, value in row.items() if key != "face"):
            continue
        pulley = tomlkit.table()
        for key, value in old.get(row.get("part", ""), {}).items():
            if key not in ROW_FIELDS:
                pulley.add(key, value)
        for key in ROW_FIELDS:
            _put(pulley, key, row.get(key, ""))
        pulleys.append(pulley)
    if "pulley" in document:
        document.remove("pulley")
    document.add("pulley", pulleys)
    return tomlkit.dumps(document)


def _has_figures(row: Row) -> bool:
    return any(value.strip() for key, value in row.items() if key not in ("part", "face"))


def try_drive(toml: str) -> DriveTried:
    """What a sheet gives, without keeping it."""
    try:
        read = drive_sheet_from_text(toml)
    except FileProblemsError as error:
        return DriveTried(None, *beside_fields(error, _field_of))
    except InputError as error:
        return DriveTried(None, {}, (str(error),))
    try:
        return DriveTried(drive_of_sheet(read.sheet), notes=read.notes)
    except InputError as error:
        return DriveTried(None, notes=(*read.notes, str(error)))


def _field_of(where: Sequence[str | int]) -> str:
    """The form's field at a key path, whose list members are counted from 1."""
    if len(where) >= 3 and where[0] == "pulley" and isinstance(where[1], int):
        return f"{where[1] - 1}.{where[2]}" if where[2] in ROW_FIELDS else ""
    for name, place in HEAD_FIELDS.items():
        if tuple(where[:2]) == place:
            return name
    return ""


def _put(table: Any, key: str, text: str) -> None:
    """As `put`; a bearing may be an inline table."""
    text = text.strip()
    if key == "bearing" and text.startswith("{"):
        try:
            value = tomlkit.parse(f"bearing = {text}")["bearing"]
        except ParseError:
            pass
        else:
            if table.get(key) != value:
                table[key] = value
            return
    put(table, key, text, words=_WORDS)
