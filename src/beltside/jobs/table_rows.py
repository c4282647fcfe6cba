"""All rows of a record as lines of text, and back: the same on every database.

One line is one JSON value. A table begins with `{"table": NAME, "columns": [...]}`; each line that
follows, a list, is one row. Values are those the columns hold: whole numbers, texts, yes or no,
and `{"base64": ...}` for bytes. Tables are those found in the database, whatever their revision.
"""

from __future__ import annotations

import base64
import json
from collections.abc import Callable, Iterable, Iterator
from typing import Any, Final

import sqlalchemy as sa

from beltside.base.errors import InputError
from beltside.jobs.sealed_rows import damaged_letters

_AT_ONCE: Final = 500
_NOT_OURS: Final = frozenset({"alembic_version"})


def tables_of(connection: sa.Connection) -> list[sa.Table]:
    """The record's tables as they are found, those that others point to first."""
    found = sa.MetaData()
    found.reflect(connection)
    return [table for table in found.sorted_tables if table.name not in _NOT_OURS]


def row_lines(
    connection: sa.Connection, look: Callable[[str, dict[str, Any]], None] | None = None
) -> Iterator[tuple[str, Any]]:
    """Every table and row of the moment the transaction sees: (name of the table, value).

    Texts whose letters are damaged are among them. `look` is shown each row as the database holds
    it, with the name of its table.
    """
    for table in tables_of(connection):
        columns = [one.name for one in table.columns]
        yield table.name, {"table": table.name, "columns": columns}
        key = list(table.primary_key.columns) or list(table.columns)
        whole = sa.select(table).order_by(*key).execution_options(yield_per=_AT_ONCE)
        with damaged_letters(connection):
            for row in connection.execute(whole):
                if look is not None:
                    look(table.name, dict(zip(columns, row, strict=True)))
                yield table.name, [_plain(value) for value in row]


def fill_tables(connection: sa.Connection, values: Iterable[Any]) -> dict[str, int]:
    """Write such lines into empty tables of the same revision; how many rows each got.

    Raises
    ------
    InputError
        When a line names a table or column that is not there, or is no row of it.
    """
    there = {table.name: table for table in tables_of(connection)}
    counts: dict[str, int] = {}
    table: sa.Table | None = None
    columns: list[str] = []
    waiting: list[dict[str, Any]] = []

    def write() -> None:
        if waiting and table is not None:
            connection.execute(table.insert(), waiting)
            counts[table.name] += len(waiting)
        waiting.clear()

    for value in values:
        if isinstance(value, dict):
            write()
            table, columns = _begun(there, value)
            counts[table.name] = 0
        elif table is None or not isinstance(value, list) or len(value) != len(columns):
            raise InputError("A line of the backup is no row of its table")
        else:
            waiting.append(dict(zip(columns, map(_kept, value), strict=True)))
            if len(waiting) >= _AT_ONCE:
                write()
    write()
    return counts


def _begun(there: dict[str, sa.Table], value: dict[str, Any]) -> tuple[sa.Table, list[str]]:
    table, columns = there.get(str(value.get("table"))), value.get("columns")
    known = [] if table is None else table.c.keys()
    if table is None or not isinstance(columns, list) or any(one not in known for one in columns):
        raise InputError(f"The backup holds a table that is not known: {str(value)[:120]}")
    return table, columns


def _plain(value: Any) -> Any:
    if isinstance(value, bytes | memoryview):
        return {"base64": base64.b64encode(bytes(value)).decode("ascii")}
    return value


def _kept(value: Any) -> Any:
    if isinstance(value, dict):
        try:
            return base64.b64decode(value["base64"], validate=True)
        except (KeyError, TypeError, ValueError) as error:
            raise InputError("A line of the backup holds bytes that are none") from error
    if isinstance(value, str) and not value.isascii():
        # Letters that were damaged already: no database takes them; the checksum still tells.
        return value.encode("utf-8", "replace").decode("utf-8")
    return value


def to_line(value: Any) -> bytes:
    """A value as one line."""
    return json.dumps(value, allow_nan=False, separators=(",", ":")).encode("ascii") + b"\n"
