"""Rewrites what stands on jobs, in every version, where a person asked to be forgotten.

The only place where the record writes over what it holds. Who changed what when stays.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any, Final

import sqlalchemy as sa

from beltside.jobs import sealed_rows
from beltside.jobs.database import Database
from beltside.jobs.record import Record
from beltside.jobs.schema import (
    ACCESS,
    ANALYSIS,
    ENTRY,
    ENTRY_VERSION,
    FILE_USE,
    JOB,
    METADATA,
    STORED_FILE,
)
from beltside.jobs.search_words import rebuild
from beltside.jobs.store import StoredFile

NewBody = Callable[[str, dict[str, Any]], dict[str, Any]]
"""Gives the new body of an entry from its kind and its body."""

_TEXTS: Final = ("doing", "problem")


def files_of(database: Database, job_ids: Sequence[str]) -> dict[str, tuple[str, bool]]:
    """Stored files that entries of these jobs need: media type, and whether others need them."""
    with database.reading() as connection:
        rows = connection.execute(
            sa.select(FILE_USE.c.sha256, ENTRY.c.job_id, STORED_FILE.c.media_type)
            .join_from(FILE_USE, ENTRY, FILE_USE.c.entry_id == ENTRY.c.id)
            .join(STORED_FILE, STORED_FILE.c.sha256 == FILE_USE.c.sha256)
        ).all()
    ours = {row.sha256: row.media_type for row in rows if row.job_id in job_ids}
    others = {row.sha256 for row in rows if row.job_id not in job_ids}
    return {name: (media_type, name in others) for name, media_type in sorted(ours.items())}


def bodies_of(database: Database, job_ids: Sequence[str]) -> list[tuple[str, dict[str, Any]]]:
    """Kind and body of every version of every entry of these jobs."""
    with database.reading() as connection:
        rows = connection.execute(
            sa.select(ENTRY.c.kind, ENTRY_VERSION.c.body, ENTRY_VERSION.c.clash)
            .join_from(ENTRY_VERSION, ENTRY)
            .where(ENTRY.c.job_id.in_(job_ids))
            .order_by(ENTRY.c.place, ENTRY_VERSION.c.version)
        ).all()
    found = [(row.kind, row.body) for row in rows]
    for row in rows:
        for clash in row.clash or ():
            found += [(row.kind, {clash["field"]: clash[side]}) for side in ("kept", "other")]
    return found


def rewrite_jobs(
    record: Record,
    job_ids: Sequence[str],
    new_body: NewBody,
    new_plain: Callable[[Any], Any],
    files: Mapping[str, tuple[StoredFile, str]],
) -> list[str]:
    """Write over all versions of all entries of these jobs, and all work done for them.

    Parameters
    ----------
    new_plain
        Gives the new value for any other plain value or text.
    files
        New stored files with their media type, by the hash of the one each takes the place of.

    Returns
    -------
    list of str
        Stored files that nothing needs any more; the caller deletes them.
    """
    with record.database.writing() as connection:
        _enter(connection, record, files.values())
        for entry in connection.execute(
            sa.select(ENTRY.c.id, ENTRY.c.kind).where(ENTRY.c.job_id.in_(job_ids))
        ).all():
            for table, key in ((ENTRY, ENTRY.c.id), (ENTRY_VERSION, ENTRY_VERSION.c.entry_id)):
                for row in connection.execute(sa.select(table).where(key == entry.id)).all():
                    same = (key == entry.id, table.c.version == row.version)
                    clash = row.clash and [_clash(entry.kind, one, new_body) for one in row.clash]
                    body = new_body(entry.kind, row.body)
                    sealed_rows.update(connection, table, *same, body=body, clash=clash)
            _exchange(connection, entry.id, files)
        _rewrite_work(connection, job_ids, new_plain, files)
        # Links the owner was given open nothing any more; they may bear his name.
        connection.execute(ACCESS.delete().where(ACCESS.c.job_id.in_(job_ids)))
        free = _free(connection, files)
        for job_id in job_ids:
            at = connection.execute(
                sa.select(JOB.c.changed_at).where(JOB.c.id == job_id)
            ).scalar_one()
            record._touch(connection, job_id, at)
    # Words that nothing holds any more are forgotten with them.
    rebuild(record.database)
    return free


def _clash(kind: str, clash: dict[str, Any], new_body: NewBody) -> dict[str, Any]:
    name = clash["field"]
    sides = {side: new_body(kind, {name: clash[side]}).get(name) for side in ("kept", "other")}
    return {**clash, **sides}


def _enter(
    connection: sa.Connection, record: Record, files: Iterable[tuple[StoredFile, str]]
) -> None:
    for stored, media_type in files:
        there = connection.execute(
            sa.select(STORED_FILE.c.sha256).where(STORED_FILE.c.sha256 == stored.sha256)
        ).first()
        if there is None:
            sealed_rows.insert(
                connection,
                STORED_FILE,
                sha256=stored.sha256,
                bytes=stored.size_bytes,
                media_type=media_type,
                added_at=record._now(),
            )


def _exchange(
    connection: sa.Connection, entry_id: str, files: Mapping[str, tuple[StoredFile, str]]
) -> None:
    used = connection.execute(
        sa.select(FILE_USE.c.sha256).where(FILE_USE.c.entry_id == entry_id)
    ).scalars()
    now = {files[one][0].sha256 if one in files else one for one in used}
    connection.execute(FILE_USE.delete().where(FILE_USE.c.entry_id == entry_id))
    if now:
        connection.execute(
            FILE_USE.insert(), [{"sha256": one, "entry_id": entry_id} for one in sorted(now)]
        )


def _rewrite_work(
    connection: sa.Connection,
    job_ids: Sequence[str],
    new_plain: Callable[[Any], Any],
    files: Mapping[str, tuple[StoredFile, str]],
) -> None:
    """Work for these jobs, and for files that are exchanged: its results stay with the new file."""
    rows = connection.execute(
        sa.select(ANALYSIS).where(
            sa.or_(ANALYSIS.c.job_id.in_(job_ids), ANALYSIS.c.subject.in_(list(files)))
        )
    ).all()
    for row in rows:
        values = {
            "settings": new_plain(row.settings),
            "result": new_plain(row.result),
            **{name: new_plain(getattr(row, name)) for name in _TEXTS},
        }
        if row.subject in files:
            values["subject"] = files[row.subject][0].sha256
            taken = connection.execute(
                sa.select(ANALYSIS.c.id).where(
                    ANALYSIS.c.method == row.method,
                    ANALYSIS.c.version == row.version,
                    ANALYSIS.c.subject == values["subject"],
                    ANALYSIS.c.settings_key == row.settings_key,
                )
            ).first()
            if taken is not None:
                connection.execute(ANALYSIS.delete().where(ANALYSIS.c.id == row.id))
                continue
        sealed_rows.update(connection, ANALYSIS, ANALYSIS.c.id == row.id, **values)


def _free(connection: sa.Connection, files: Mapping[str, tuple[StoredFile, str]]) -> list[str]:
    new = {stored.sha256 for stored, _ in files.values()}
    free = []
    for sha256 in sorted(set(files) - new):
        used = connection.execute(
            sa.select(FILE_USE.c.entry_id).where(FILE_USE.c.sha256 == sha256).limit(1)
        ).first()
        if used is None:
            connection.execute(STORED_FILE.delete().where(STORED_FILE.c.sha256 == sha256))
            free.append(sha256)
    return free


def wipe_free_space(database: Database) -> None:
    """Write the database anew, so that nothing of what was written over is left in its files.

    SQLite: VACUUM (sqlite.org, "VACUUM": the file is rebuilt), then the log is emptied. PostgreSQL:
    VACUUM FULL rebuilds each table; its write-ahead log keeps old pages until they are recycled.
    """
    if database.is_sqlite:
        database.settle(rebuilt=True)
        return
    with database.engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
        for table in METADATA.sorted_tables:
            connection.exec_driver_sql(f"VACUUM (FULL) {table.name}")
        connection.exec_driver_sql("CHECKPOINT") if _may_checkpoint(connection) else None


def _may_checkpoint(connection: sa.Connection) -> bool:
    asked = "SELECT pg_has_role(current_user, 'pg_checkpoint', 'USAGE')"
    known = "SELECT 1 FROM pg_roles WHERE rolname = 'pg_checkpoint'"
    return bool(
        connection.exec_driver_sql(known).first() and connection.exec_driver_sql(asked).scalar()
    )
