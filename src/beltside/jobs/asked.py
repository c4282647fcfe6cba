"""Looks a certain piece of work up, takes it, and calls off what has been overtaken."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any

import sqlalchemy as sa

from beltside.jobs import sealed_rows
from beltside.jobs.database import Database
from beltside.jobs.queue import Analysis, Queue, begin, settings_key
from beltside.jobs.schema import ANALYSIS


def address(database: Database) -> str:
    """Where a database is, as another process can open it; holds the password if there is one."""
    return database.engine.url.render_as_string(hide_password=False)


def look_up(
    database: Database, method: str, version: int, subject: str, settings: Mapping[str, Any]
) -> Analysis | None:
    """The piece of work of this method, version, subject and settings; None when nobody asked."""
    query = sa.select(ANALYSIS.c.id).where(
        ANALYSIS.c.method == method,
        ANALYSIS.c.version == version,
        ANALYSIS.c.subject == subject,
        ANALYSIS.c.settings_key == settings_key(settings),
    )
    with database.reading() as connection:
        name = connection.execute(query).scalar()
    return None if name is None else Queue(database).get(name)


def claim_this(database: Database, name: str, worker: str) -> Analysis | None:
    """Take one certain piece of work; None when it does not wait any more."""
    waits = (ANALYSIS.c.id == name, ANALYSIS.c.state == "waiting")
    with database.writing() as connection:
        if not begin(connection, *waits, worker=worker, at=datetime.now(UTC)):
            return None
    return Queue(database).get(name)


def call_off_others(database: Database, name: str) -> int:
    """Call off what still waits for the same method, subject and job as this piece, with other
    settings: it has been overtaken. Gives how many."""
    with database.writing() as connection:
        this = connection.execute(sa.select(ANALYSIS).where(ANALYSIS.c.id == name)).one()
        return sealed_rows.update(
            connection,
            ANALYSIS,
            ANALYSIS.c.method == this.method,
            ANALYSIS.c.subject == this.subject,
            ANALYSIS.c.job_id.is_not_distinct_from(this.job_id),
            ANALYSIS.c.state == "waiting",
            ANALYSIS.c.id != name,
            state="cancelled",
            ended_at=datetime.now(UTC),
        )
