"""Rows written once only, and the record's counters."""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa
from sqlalchemy.dialects import postgresql, sqlite

from beltside.jobs.schema import COUNTER


def insert_if_new(connection: sa.Connection, table: sa.Table, **values: Any) -> bool:
    """Insert a row unless one with its key is there; whether it was inserted.

    Another's row of the same key that is being written at this moment is waited for.
    """
    insert = postgresql.insert if connection.dialect.name == "postgresql" else sqlite.insert
    key = table.primary_key.columns.values()[0]
    statement = insert(table).values(**values).on_conflict_do_nothing().returning(key)
    return connection.execute(statement).first() is not None


def count_up(connection: sa.Connection, name: str, by: int = 1) -> int:
    """Count one of the record's counters up, and give its new value.

    On PostgreSQL its row stays locked until the transaction ends: who counts the same one up waits.
    """
    up = (
        COUNTER.update()
        .where(COUNTER.c.name == name)
        .values(value=COUNTER.c.value + by)
        .returning(COUNTER.c.value)
    )
    value = connection.execute(up).scalar()
    if value is None:
        insert_if_new(connection, COUNTER, name=name, value=0)
        value = connection.execute(up).scalar_one()
    return int(value)


def counted(connection: sa.Connection, name: str) -> int:
    """The value of a counter; 0 when it never counted."""
    value = connection.execute(sa.select(COUNTER.c.value).where(COUNTER.c.name == name)).scalar()
    return 0 if value is None else int(value)
