"""Reads jobs and their entries, as they are and as they were."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any, Final

import sqlalchemy as sa

from beltside.base.errors import InputError
from beltside.jobs.card import CLOSED, Card
from beltside.jobs.database import Database
from beltside.jobs.entries import Clash, Entry, Job, JobSheet
from beltside.jobs.schema import ENTRY, ENTRY_VERSION, FILE_USE, JOB, STORED_FILE

AN_ENTRY: Final = "one that the history of the job shows"


class MissingError(InputError):
    """No job or entry of that name."""


class Reading:
    """What can be read of the record in one database."""

    def __init__(self, database: Database) -> None:
        self.database: Final = database

    def sheet(self, job_id: str) -> JobSheet:
        """A job with all that is on it.

        Raises
        ------
        MissingError
            When there is no such job.
        """
        with self.database.reading() as connection:
            return self._sheet(connection, job_id)

    def job(self, job: str | int) -> Job:
        """A job by its name or number."""
        column = JOB.c.number if isinstance(job, int) else JOB.c.id
        with self.database.reading() as connection:
            row = connection.execute(sa.select(JOB).where(column == job)).one_or_none()
        if row is None:
            raise MissingError(f"There is no job {job}", instead="a number from the list of jobs")
        return job_of(row)

    def jobs(
        self,
        *,
        stages: Sequence[str] | None = None,
        closed: bool | None = None,
        limit: int = 50,
        before: datetime | None = None,
    ) -> list[Job]:
        """Jobs, the one changed last first; `before` goes on where the last list ended."""
        query = sa.select(JOB).order_by(JOB.c.changed_at.desc(), JOB.c.id).limit(limit)
        if stages is not None:
            query = query.where(JOB.c.stage.in_(stages))
        if closed is not None:
            query = query.where((JOB.c.stage == CLOSED) == closed)
        if before is not None:
            query = query.where(JOB.c.changed_at < before)
        with self.database.reading() as connection:
            return [job_of(row) for row in connection.execute(query)]

    def last_written(self) -> tuple[datetime | None, int, int]:
        """A mark that is another one as soon as anything is written on any job, or a job goes.

        The moment of the last change, the sum of all counts of changes, the count of jobs.
        """
        query = sa.select(sa.func.max(JOB.c.changed_at), sa.func.sum(JOB.c.change), sa.func.count())
        with self.database.reading() as connection:
            at, changes, jobs = connection.execute(query).one()
        return at, int(changes or 0), int(jobs)

    def jobs_named(self, ids: Sequence[str]) -> list[Job]:
        """Jobs in the order of their names given; those that are gone are left out."""
        with self.database.reading() as connection:
            rows = connection.execute(sa.select(JOB).where(JOB.c.id.in_(ids)))
            found = {row.id: job_of(row) for row in rows}
        return [found[name] for name in ids if name in found]

    def entry(self, entry_id: str) -> Entry:
        """An entry as it is now, removed or not."""
        with self.database.reading() as connection:
            found = self._entry(connection, entry_id)
        if found is None:
            raise MissingError(f"There is no entry {entry_id}", instead=AN_ENTRY)
        return found

    def file_kind(self, sha256: str) -> str:
        """The media type a stored file came with.

        Raises
        ------
        MissingError
            When there is no such file.
        """
        with self.database.reading() as connection:
            kind = connection.execute(
                sa.select(STORED_FILE.c.media_type).where(STORED_FILE.c.sha256 == sha256)
            ).scalar()
        if kind is None:
            raise MissingError(f"There is no stored file {sha256[:12]}")
        return str(kind)

    def shop_entries(self, kind: str) -> list[Entry]:
        """What the shop itself keeps of a kind: its settings."""
        query = (
            sa.select(ENTRY)
            .where(ENTRY.c.job_id.is_(None), ENTRY.c.kind == kind, ENTRY.c.removed.is_(False))
            .order_by(ENTRY.c.created_at, ENTRY.c.id)
        )
        with self.database.reading() as connection:
            return [entry_of(row) for row in connection.execute(query)]

    def entries_of_kind(self, kind: str, *, limit: int = 1000) -> list[Entry]:
        """Entries of a kind on all jobs that are not removed, the newest first."""
        query = (
            sa.select(ENTRY)
            .where(ENTRY.c.kind == kind, ENTRY.c.job_id.is_not(None), ENTRY.c.removed.is_(False))
            .order_by(ENTRY.c.created_at.desc(), ENTRY.c.id)
            .limit(limit)
        )
        with self.database.reading() as connection:
            return [entry_of(row) for row in connection.execute(query)]

    def entries_with_file(self, sha256: str) -> list[Entry]:
        """Entries that need a stored file, on whichever job, and are not removed."""
        query = (
            sa.select(ENTRY)
            .join_from(ENTRY, FILE_USE, FILE_USE.c.entry_id == ENTRY.c.id)
            .where(FILE_USE.c.sha256 == sha256, ENTRY.c.removed.is_(False))
            .order_by(ENTRY.c.created_at, ENTRY.c.id)
        )
        with self.database.reading() as connection:
            return [entry_of(row) for row in connection.execute(query)]

    def history(self, entry_id: str) -> list[Entry]:
        """Every version of an entry, oldest first."""
        query = (
            sa.select(ENTRY_VERSION, ENTRY.c.job_id, ENTRY.c.kind, ENTRY.c.created_at)
            .join_from(ENTRY_VERSION, ENTRY)
            .where(ENTRY_VERSION.c.entry_id == entry_id)
            .order_by(ENTRY_VERSION.c.version)
        )
        with self.database.reading() as connection:
            found = [version_of(row) for row in connection.execute(query)]
        if not found:
            raise MissingError(f"There is no entry {entry_id}", instead=AN_ENTRY)
        return found

    def version(self, entry_id: str, version: int) -> Entry:
        """One version of an entry.

        Raises
        ------
        MissingError
            When it has none such.
        """
        with self.database.reading() as connection:
            return self._version(connection, entry_id, version)

    def changes(self, job_id: str) -> list[Entry]:
        """Every version of everything on a job in the order it was written, removed ones too."""
        query = (
            sa.select(ENTRY_VERSION, ENTRY.c.job_id, ENTRY.c.kind, ENTRY.c.created_at)
            .join_from(ENTRY_VERSION, ENTRY)
            .where(ENTRY.c.job_id == job_id)
            .order_by(ENTRY_VERSION.c.at, ENTRY.c.place, ENTRY_VERSION.c.version)
        )
        with self.database.reading() as connection:
            return [version_of(row) for row in connection.execute(query)]

    def _sheet(self, connection: sa.Connection, job_id: str) -> JobSheet:
        row = self._job_row(connection, job_id)
        if row is None:
            raise MissingError(
                f"There is no job {job_id}", instead="a number from the list of jobs"
            )
        entries = connection.execute(
            sa.select(ENTRY)
            .where(ENTRY.c.job_id == job_id, ENTRY.c.removed.is_(False))
            .order_by(ENTRY.c.place)
        )
        return JobSheet(job_of(row), tuple(entry_of(entry) for entry in entries))

    def _entry(self, connection: sa.Connection, entry_id: str) -> Entry | None:
        row = connection.execute(sa.select(ENTRY).where(ENTRY.c.id == entry_id)).one_or_none()
        return None if row is None else entry_of(row)

    def _version(self, connection: sa.Connection, entry_id: str, version: int) -> Entry:
        row = connection.execute(
            sa.select(ENTRY_VERSION, ENTRY.c.job_id, ENTRY.c.kind, ENTRY.c.created_at)
            .join_from(ENTRY_VERSION, ENTRY)
            .where(ENTRY_VERSION.c.entry_id == entry_id, ENTRY_VERSION.c.version == version)
        ).one_or_none()
        if row is None:
            raise MissingError(
                f"{entry_id} has no version {version}", instead="one that its history shows"
            )
        return version_of(row)

    def _job_row(self, connection: sa.Connection, job_id: str) -> Any:
        return connection.execute(sa.select(JOB).where(JOB.c.id == job_id)).one_or_none()


def _clashes(plain: Any) -> tuple[Clash, ...]:
    return tuple(Clash(**clash) for clash in plain or ())


def entry_of(row: Any) -> Entry:
    return Entry(
        row.id,
        row.job_id,
        row.kind,
        row.version,
        row.created_at,
        row.at,
        row.by,
        row.removed,
        row.body,
        _clashes(row.clash),
    )


def version_of(row: Any) -> Entry:
    return Entry(
        row.entry_id,
        row.job_id,
        row.kind,
        row.version,
        row.created_at,
        row.at,
        row.by,
        row.removed,
        row.body,
        _clashes(row.clash),
        row.how,
    )


def job_of(row: Any) -> Job:
    return Job(
        row.id,
        row.number,
        row.created_at,
        row.created_by,
        row.changed_at,
        row.change,
        row.closed_at,
        Card(**row.card),
    )
