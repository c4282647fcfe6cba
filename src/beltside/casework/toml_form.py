"""A TOML text behind the fields of a form: read, shown, edited without losing the rest of it."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Mapping, Sequence
from pathlib import Path
from typing import Any, Final

import tomlkit
from tomlkit.exceptions import ParseError

from beltside.base.errors import InputError
from beltside.casework.formats.fields import THOUSANDS
from beltside.casework.formats.problems import KEY_MISSING, FileProblemsError
from beltside.casework.formats.toml_file import require_modest

MOST_LETTERS: Final = 64_000
"""A sheet of 20 pulleys has 3,000; the parser that keeps comments takes about 0.5 s for so many."""
_NUMBER: Final = re.compile(r"[+-]?\d+([.,]\d+)?")
NOT_GIVEN: Final = "nothing is given here"
"""What a form says of an empty field that is needed; the file's words speak of keys."""


def parsed(toml: str, what: str) -> Any:
    """The text as a document that keeps its comments; `what` names it where it is none.

    Raises
    ------
    InputError
        When the text is no TOML.
    LimitError
        When it is far longer than such a text is.
    """
    require_modest(toml, Path(f"The {what}"), most=MOST_LETTERS)
    try:
        return tomlkit.parse(toml)
    except (ParseError, RecursionError) as error:
        raise InputError(
            f"The {what} is no TOML: {error}", instead="the form, or a text as in the docs"
        ) from error


def shown(value: Any) -> str:
    """A value as a form shows it.

    >>> shown(12.0), shown({"balls": 8})
    ('12', '{ balls = 8 }')
    """
    if value is None:
        return ""
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{key} = {shown(held)}" for key, held in value.items()) + " }"
    if isinstance(value, float) and value == int(value):
        return str(int(value))
    return str(value)


def put(table: Any, key: str, text: str, *, words: Collection[str] = ()) -> None:
    """Put what was typed into a table: a number where it is one, else as text to be told of.

    Keys in `words` are always text; an empty field takes the key out.
    """
    text = text.strip()
    if not text:
        if key in table:
            del table[key]
        return
    value: Any = text
    if key not in words and _NUMBER.fullmatch(text) and not THOUSANDS.fullmatch(text):
        plain = text.replace(",", ".")
        value = float(plain) if "." in plain else int(plain)
    if key in table and table[key] == value:
        return
    table[key] = value


def head_of(document: Any, fields: Mapping[str, tuple[str, str]]) -> dict[str, str]:
    """Fields above the rows as a form shows them; `fields` has the table and key of each."""
    head = {}
    for name, (table, key) in fields.items():
        held = document.get(table, {})
        head[name] = shown(held.get(key)) if isinstance(held, Mapping) else ""
    return head


def rows_of(document: Any, table: str, fields: Sequence[str]) -> list[dict[str, str]]:
    """The tables of a list as rows of a form."""
    held = document.get(table, [])
    return [
        {key: shown(one.get(key)) for key in fields}
        for one in (held if isinstance(held, list) else [])
        if isinstance(one, Mapping)
    ]


def beside_fields(
    error: FileProblemsError, field_of: Callable[[Sequence[str | int]], str]
) -> tuple[dict[str, str], tuple[str, ...]]:
    """What is wrong beside each field, and what belongs to none; the first of each counts."""
    by_field: dict[str, str] = {}
    other = []
    for problem in error.problems:
        place = field_of(problem.where)
        if place:
            given = NOT_GIVEN if problem.given == KEY_MISSING else problem.given
            said = InputError(given, allowed=problem.allowed, instead=problem.instead)
            by_field.setdefault(place, str(said))
        else:
            other.append(str(problem))
    return by_field, tuple(other)
