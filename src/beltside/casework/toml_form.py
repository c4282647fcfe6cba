"""A TOML text behind the fields of a form: read, shown, edited without losing the rest of it."""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping
from pathlib import Path
from typing import Any, Final

import tomlkit
from tomlkit.exceptions import ParseError

from beltside.base.errors import InputError
from beltside.casework.formats.toml_file import require_modest

MOST_LETTERS: Final = 64_000
"""A sheet of 20 pulleys has 3,000; the parser that keeps comments takes about 0.5 s for so many."""
_NUMBER: Final = re.compile(r"[+-]?\d+([.,]\d+)?")


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
    if key not in words and _NUMBER.fullmatch(text):
        plain = text.replace(",", ".")
        value = float(plain) if "." in plain else int(plain)
    if key in table and table[key] == value:
        return
    table[key] = value
