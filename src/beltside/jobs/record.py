"""The record of jobs: nothing is overwritten, every version has its time and its writer."""

from __future__ import annotations

import json
import secrets
import time
from collections.abc import Callable, Iterable, Sequence
from datetime import UTC, datetime
from typing import Any, Final

import sqlalchemy as sa

from beltside.base.errors import InputError
from beltside.jobs.card import CLOSED, Card, card_from
from beltside.jobs.database import Database
from beltside.jobs.entries import Body, Change, Clash, Entry, How, JobSheet, join
from beltside.jobs.reading import MissingError, Reading, entry_of, version_of
from beltside.jobs.schema import COUNTER, ENTRY, ENTRY_VERSION, FILE_USE, JOB, STORED_FILE
from beltside.jobs.store import StoredFile

MOST_BODY_BYTES: Final = 2_000_000
"""What one entry may hold; anything longer belongs into a stored file."""

Listener = Callable[[sa.Connection, Entry], None]


def new_id(now: datetime | None = None) -> str:
    """A new name for a job or an entry: sorts by the time it was made, 24 characters."""
    moment = time.time_ns() // 1_000_000 if now is None else int(now.timestamp() * 1000)
    return f"{moment:012x}{secrets.token_hex(6)}"


class Record(Reading):
    """Writes and reads jobs in one database.

    Parameters
    ----------
    database
        An open database, brought up to date.
    now
        Tells the time; tests pass their own.
    listeners
        Called with every new version within its transaction: search keeps its words so.
    """

    def __init__(
        self,
        database: Database,
        *,
        now: Callable[[], datetime] = lambda: datetime.now(UTC),
        listeners: Sequence[Listener] = (),
    ) -> None:
        super().__init__(database)
        self._now: Final = now
        self._listeners: Final = tuple(listeners)

    # Writing ------------------------------------------------------------------------------------

    def new_job(
        self, entries: Iterable[tuple[str, Body]] = (), *, by: str, job_id: str | None = None
    ) -> JobSheet:
        """Open a job with its first entries, (kind, body) each.

        A `job_id` that exists is given back as it is: a form sent twice opens one job.
        """
        job_id = job_id or new_id()
        with self.database.writing() as connection:
            if self._job_row(connection, job_id) is None:
                at = self._now()
                connection.execute(
                    JOB.insert().values(
                        id=job_id,
                        number=self._next_number(connection),
                        created_at=at,
                        created_by=by,
                        changed_at=at,
                        change=0,
                        stage="complaint",
                        closed_at=None,
                        card=Card("complaint").to_plain(),
                    )
                )
                for place, (kind, body) in enumerate(entries):
                    self._insert(connection, job_id, kind, body, by, new_id(), at, place, ())
                self._touch(connection, job_id, at)
            return self._sheet(connection, job_id)

    def add(
        self,
        job_id: str | None,
        kind: str,
        body: Body,
        *,
        by: str,
        entry_id: str | None = None,
        files: Iterable[str] = (),
    ) -> Entry:
        """Write something new on a job, or on the shop's own sheet when `job_id` is None.

        Parameters
        ----------
        files
            SHA-256 names of stored files it needs.
        entry_id
            A name of the writer's own: the same thing sent twice, after a lost link, is kept once.

        Raises
        ------
        MissingError
            When there is no such job.
        InputError
            When the body is too long, or the name belongs to another thing.
        """
        entry_id = entry_id or new_id()
        with self.database.writing() as connection:
            place = 0
            if job_id is not None:
                self._lock_job(connection, job_id)
            found = self._entry(connection, entry_id)
            if found is not None:
                if (found.job_id, found.kind) != (job_id, kind):
                    raise InputError(
                        f"The name {entry_id} belongs to something else",
                        instead="a new name, or none",
                    )
                return found
            if job_id is not None:
                place = self._next_place(connection, job_id)
            at = self._now()
            entry = self._insert(connection, job_id, kind, body, by, entry_id, at, place, files)
            if job_id is not None:
                self._touch(connection, job_id, at)
            return entry

    def change(
        self,
        entry_id: str,
        body: Body,
        *,
        by: str,
        based_on: int | None = None,
        files: Iterable[str] = (),
    ) -> Change:
        """Write a new version of an entry.

        Parameters
        ----------
        based_on
            The version the writer had before him. When somebody else has written since, the two
            are joined field by field; a field both changed keeps this writer's value and is told
            as a clash with the other's. None means the newest one.
        """
        with self.database.writing() as connection:
            now = self._locked_entry(connection, entry_id)
            joined: list[str] = []
            both: list[str] = []
            wanted = dict(body)
            if based_on is not None and based_on != now.version:
                base = self._version(connection, entry_id, based_on)
                wanted, joined, both = join(base.body, wanted, now.body)
            clashes = tuple(
                Clash(name, wanted.get(name), now.body.get(name), now.by, now.version)
                for name in both
            )
            if not now.removed and not clashes and _text(wanted) == _text(now.body):
                return Change(now, tuple(joined))
            entry = self._append(
                connection, now, wanted, by, "joined" if joined or both else "changed", clashes
            )
            self._use_files(connection, entry_id, files)
            return Change(entry, tuple(joined))

    def remove(self, entry_id: str, *, by: str) -> Entry:
        """Take an entry off the sheet; it stays readable and can be brought back."""
        with self.database.writing() as connection:
            now = self._locked_entry(connection, entry_id)
            if now.removed:
                return now
            return self._append(connection, now, now.body, by, "removed", (), removed=True)

    def bring_back(self, entry_id: str, version: int, *, by: str) -> Entry:
        """Make an earlier version of an entry the newest one again, by writing it anew."""
        with self.database.writing() as connection:
            now = self._locked_entry(connection, entry_id)
            then = self._version(connection, entry_id, version)
            return self._append(connection, now, then.body, by, "brought back", ())

    def keep_file(self, stored: StoredFile, media_type: str) -> None:
        """Enter a stored file, so that entries can name it; twice is as once."""
        with self.database.writing() as connection:
            known = connection.execute(
                sa.select(STORED_FILE.c.sha256).where(STORED_FILE.c.sha256 == stored.sha256)
            ).scalar()
            if known is None:
                connection.execute(
                    STORED_FILE.insert().values(
                        sha256=stored.sha256,
                        bytes=stored.size_bytes,
                        media_type=media_type,
                        added_at=self._now(),
                    )
                )

    # Inside one transaction -----------------------------------------------------------------------

    def _next_number(self, connection: sa.Connection) -> int:
        # The counter's row is locked by its update, so that two servers can't give one number.
        counted = connection.execute(
            COUNTER.update().where(COUNTER.c.name == "job").values(value=COUNTER.c.value + 1)
        )
        if counted.rowcount == 0:
            connection.execute(COUNTER.insert().values(name="job", value=1))
        return int(
            connection.execute(
                sa.select(COUNTER.c.value).where(COUNTER.c.name == "job")
            ).scalar_one()
        )

    def _lock_job(self, connection: sa.Connection, job_id: str) -> None:
        """One writer on a job at a time; SQLite has one writer anyway."""
        locked = connection.execute(
            sa.select(JOB.c.id).where(JOB.c.id == job_id).with_for_update()
        ).one_or_none()
        if locked is None:
            raise MissingError(f"There is no job {job_id}", instead="the list of jobs")

    def _next_place(self, connection: sa.Connection, job_id: str) -> int:
        newest = connection.execute(
            sa.select(sa.func.max(ENTRY.c.place)).where(ENTRY.c.job_id == job_id)
        ).scalar()
        return 0 if newest is None else int(newest) + 1

    def _locked_entry(self, connection: sa.Connection, entry_id: str) -> Entry:
        found = self._entry(connection, entry_id)
        if found is None:
            raise MissingError(f"There is no entry {entry_id}")
        if found.job_id is not None:
            self._lock_job(connection, found.job_id)
        row = connection.execute(
            sa.select(ENTRY).where(ENTRY.c.id == entry_id).with_for_update()
        ).one()
        return entry_of(row)

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

    def _insert(
        self,
        connection: sa.Connection,
        job_id: str | None,
        kind: str,
        body: Body,
        by: str,
        entry_id: str,
        at: datetime,
        place: int,
        files: Iterable[str],
    ) -> Entry:
        entry = Entry(entry_id, job_id, kind, 1, at, at, by, False, _checked(kind, body))
        connection.execute(
            ENTRY.insert().values(
                id=entry_id,
                job_id=job_id,
                kind=kind,
                created_at=at,
                place=place,
                version=1,
                at=at,
                by=by,
                removed=False,
                body=entry.body,
            )
        )
        self._write_version(connection, entry, "made")
        self._use_files(connection, entry_id, files)
        for listener in self._listeners:
            listener(connection, entry)
        return entry

    def _append(
        self,
        connection: sa.Connection,
        now: Entry,
        body: Body,
        by: str,
        how: How,
        clashes: tuple[Clash, ...],
        *,
        removed: bool = False,
    ) -> Entry:
        at = self._now()
        entry = Entry(
            now.id,
            now.job_id,
            now.kind,
            now.version + 1,
            now.created_at,
            at,
            by,
            removed,
            _checked(now.kind, body),
            clashes,
        )
        connection.execute(
            ENTRY.update()
            .where(ENTRY.c.id == now.id)
            .values(
                version=entry.version,
                at=at,
                by=by,
                removed=removed,
                body=entry.body,
                clash=[clash.to_plain() for clash in clashes] or None,
            )
        )
        self._write_version(connection, entry, how)
        for listener in self._listeners:
            listener(connection, entry)
        if now.job_id is not None:
            self._touch(connection, now.job_id, at)
        return entry

    def _write_version(self, connection: sa.Connection, entry: Entry, how: How) -> None:
        connection.execute(
            ENTRY_VERSION.insert().values(
                entry_id=entry.id,
                version=entry.version,
                at=entry.at,
                by=entry.by,
                removed=entry.removed,
                body=entry.body,
                clash=[clash.to_plain() for clash in entry.clashes] or None,
                how=how,
            )
        )

    def _use_files(self, connection: sa.Connection, entry_id: str, files: Iterable[str]) -> None:
        wanted = set(files)
        used = set(
            connection.execute(
                sa.select(FILE_USE.c.sha256).where(FILE_USE.c.entry_id == entry_id)
            ).scalars()
        )
        for sha256 in sorted(wanted - used):
            connection.execute(FILE_USE.insert().values(sha256=sha256, entry_id=entry_id))

    def _touch(self, connection: sa.Connection, job_id: str, at: datetime) -> None:
        """Work the job's card out anew."""
        rows = connection.execute(
            sa.select(ENTRY.c.kind, ENTRY.c.body)
            .where(ENTRY.c.job_id == job_id, ENTRY.c.removed.is_(False))
            .order_by(ENTRY.c.place)
        )
        card = card_from((row.kind, row.body) for row in rows)
        closed = card.stage == CLOSED
        was = connection.execute(sa.select(JOB.c.closed_at).where(JOB.c.id == job_id)).scalar()
        connection.execute(
            JOB.update()
            .where(JOB.c.id == job_id)
            .values(
                changed_at=at,
                change=JOB.c.change + 1,
                stage=card.stage,
                closed_at=(was or at) if closed else None,
                card=card.to_plain(),
            )
        )


def _text(body: Body) -> str:
    return json.dumps(body, sort_keys=True)


def _checked(kind: str, body: Body) -> dict[str, Any]:
    """The body as it will be read back: plain values, of a length that is kept."""
    try:
        text = json.dumps(body, allow_nan=False)
    except (TypeError, ValueError) as error:
        raise InputError(
            f"The {kind} holds something that cannot be kept: {error}",
            allowed="text, finite numbers, yes or no, lists and tables of these",
        ) from error
    if len(text) > MOST_BODY_BYTES:
        raise InputError(
            f"The {kind} is {len(text) / 1e6:.1f} million characters long",
            allowed=f"at most {MOST_BODY_BYTES / 1e6:.0f} million",
            instead="a file beside it",
        )
    plain: dict[str, Any] = json.loads(text)
    return plain
