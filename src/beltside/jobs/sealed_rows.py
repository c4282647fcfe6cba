"""A checksum in each row of the record, so that a damaged byte is told wherever it stands.

The checksum is BLAKE2b (RFC 7693) of 16 bytes over the table's name and what the row's columns
hold, by name; columns that hold nothing are left out, so that a later version may add one. All
writing to these tables goes through here. A row that was found damaged keeps a checksum that is
not its own when a part of it is written over: it stays told. Why it is done so:
docs/decisions/0014-checksum-in-each-row.md.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from typing import Any, Final

import sqlalchemy as sa
from sqlalchemy.types import TypeDecorator

from beltside.jobs.counters import insert_if_new
from beltside.jobs.schema import (
    ACCESS,
    ANALYSIS,
    ENTRY,
    ENTRY_VERSION,
    JOB,
    SOUND,
    STORED_FILE,
)

SEALED: Final = (JOB, ENTRY, ENTRY_VERSION, STORED_FILE, ANALYSIS, SOUND, ACCESS)
"""The tables whose rows bear a checksum. The others hold keys the database looks after, counters,
and search words that `check` makes anew to compare."""

CHECKSUM: Final = "checksum"
_BYTES: Final = 16
_SLIPPED: Final = 2
"""Digits in which a checksum may differ that was itself hit by the damage: one byte is one."""

Kept = dict[str, Any]
"""A row as the database holds it: numbers, texts, bytes."""


def checksum(table: str, kept: Mapping[str, Any]) -> str:
    """The checksum of a row, 32 hexadecimal digits.

    Parameters
    ----------
    table
        The table's name.
    kept
        What its columns hold, as the database keeps it; the checksum among them is not counted.
    """
    counted = {
        name: _plain(value)
        for name, value in kept.items()
        if value is not None and name != CHECKSUM
    }
    text = json.dumps([table, counted], sort_keys=True, separators=(",", ":"))
    return hashlib.blake2b(text.encode("ascii"), digest_size=_BYTES).hexdigest()


def is_whole(table: str, kept: Mapping[str, Any]) -> bool:
    """Whether a row is what was written."""
    return bool(kept[CHECKSUM] == checksum(table, kept))


def only_checksum_hit(table: str, kept: Mapping[str, Any]) -> bool:
    """Whether the row is what was written and a byte of its checksum is not.

    By chance a checksum of 32 digits is that near to another once in 10^35.
    """
    found, right = str(kept[CHECKSUM]), checksum(table, kept)
    return len(found) == len(right) and (
        sum(one != other for one, other in zip(found, right, strict=True)) <= _SLIPPED
    )


# Reading ------------------------------------------------------------------------------------------


def as_kept(table: sa.Table, *, without: Iterable[str] = ()) -> list[sa.Label[Any]]:
    """A table's columns to select as the database holds them, nothing made of them."""
    return [
        sa.type_coerce(column, _kept_type(column)).label(column.name)
        for column in table.columns
        if column.name not in without
    ]


def loaded(table: sa.Table, kept: Mapping[str, Any]) -> dict[str, Any]:
    """A row in Python's values, from what the database holds.

    Raises
    ------
    ValueError
        When a text of it can't be read.
    """
    values = {}
    for name, value in kept.items():
        kind = table.c[name].type
        if isinstance(kind, TypeDecorator):
            value = kind.process_result_value(value, _NO_DIALECT)
        elif isinstance(kind, sa.Boolean) and value is not None:
            value = bool(value)
        values[name] = value
    return values


@contextmanager
def damaged_letters(connection: sa.Connection) -> Iterator[None]:
    """Read texts whose letters are damaged too, each such byte as half a surrogate pair.

    PostgreSQL gives out no such text.
    """
    if connection.dialect.name != "sqlite":
        yield
        return
    driver: Any = connection.connection.dbapi_connection
    before = driver.text_factory
    driver.text_factory = lambda data: data.decode("utf-8", "surrogateescape")
    try:
        yield
    finally:
        driver.text_factory = before


def rows_kept(
    connection: sa.Connection, table: sa.Table, *, without: Iterable[str] = ()
) -> Iterator[Kept]:
    """All rows of a table as the database holds them, but for some columns."""
    query = sa.select(*as_kept(table, without=without)).execution_options(yield_per=500)
    with damaged_letters(connection), connection.execute(query) as rows:
        for row in rows.mappings():
            yield dict(row)


# Writing ------------------------------------------------------------------------------------------


def insert(connection: sa.Connection, table: sa.Table, **values: Any) -> None:
    """Write a new row with its checksum."""
    connection.execute(table.insert().values(**sealed(table, values)))


def insert_all(connection: sa.Connection, table: sa.Table, rows: Iterable[Kept]) -> None:
    """Write new rows, of one set of columns, with their checksums."""
    given = [sealed(table, row) for row in rows]
    if given:
        connection.execute(table.insert(), given)


def insert_unless_there(connection: sa.Connection, table: sa.Table, **values: Any) -> bool:
    """Write a new row unless one with its key is there; whether it was written."""
    return insert_if_new(connection, table, **sealed(table, values))


def update(
    connection: sa.Connection,
    table: sa.Table,
    *where: sa.ColumnElement[bool],
    count: Mapping[str, int] | None = None,
    **values: Any,
) -> int:
    """Write over columns of rows, and their checksums; how many rows.

    Parameters
    ----------
    where
        Which rows; they are locked first.
    count
        Columns of numbers to count up, and by how much.
    values
        What the other columns are to hold.
    """
    return update_each(
        connection,
        table,
        where,
        lambda kept: values | {name: kept[name] + by for name, by in (count or {}).items()},
    )


def update_each(
    connection: sa.Connection,
    table: sa.Table,
    where: Iterable[sa.ColumnElement[bool]],
    values: Callable[[Kept], Mapping[str, Any]],
) -> int:
    """As `update`, with values for each row, of the same columns for all."""
    query = sa.select(*as_kept(table)).where(*where).with_for_update()
    found = [dict(row) for row in connection.execute(query).mappings()]
    keys = [column.name for column in table.primary_key.columns]
    changes = []
    for kept in found:
        new = dict(values(kept))
        whole = is_whole(table.name, kept)
        seal = checksum(table.name, kept | _to_keep(table, new)) if whole else kept[CHECKSUM]
        changes.append(
            {f"key_{name}": kept[name] for name in keys}
            | {f"new_{name}": value for name, value in new.items()}
            | {f"new_{CHECKSUM}": seal}
        )
    if changes:
        names = [name.removeprefix("new_") for name in changes[0] if name.startswith("new_")]
        statement = (
            table.update()
            .where(*(table.c[name] == sa.bindparam(f"key_{name}") for name in keys))
            .values({name: sa.bindparam(f"new_{name}") for name in names})
        )
        connection.execute(statement, changes)
    return len(changes)


def sealed(table: sa.Table, values: Mapping[str, Any]) -> dict[str, Any]:
    """A new row's values with their checksum."""
    values = {name: value for name, value in values.items() if name != CHECKSUM}
    return {**values, CHECKSUM: checksum(table.name, _to_keep(table, values))}


def _to_keep(table: sa.Table, values: Mapping[str, Any]) -> Kept:
    """Values as the database will hold them."""
    kept = {}
    for name, value in values.items():
        kind = table.c[name].type
        kept[name] = (
            kind.process_bind_param(value, _NO_DIALECT)
            if isinstance(kind, TypeDecorator)
            else value
        )
    return kept


# Our own column types keep the same value on every database and do not ask which it is.
_NO_DIALECT: Final[Any] = None


def _kept_type(column: sa.Column[Any]) -> sa.types.TypeEngine[Any]:
    if isinstance(column.type, TypeDecorator):
        return column.type.impl_instance
    # SQLite holds yes and no as numbers, and may hold another after damage.
    return sa.Integer() if isinstance(column.type, sa.Boolean) else column.type


def _plain(value: Any) -> Any:
    if isinstance(value, bool):
        return int(value)
    if isinstance(value, bytes | memoryview):
        return {"bytes": bytes(value).hex()}
    return value
