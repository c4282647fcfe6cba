"""The record of jobs: nothing is overwritten, every version has its time and its writer."""

from __future__ import annotations

import json
import re
import secrets
import time
from collections.abc import Callable, Iterable, Sequence
from datetime import UTC, datetime
from typing import Any, Final

import sqlalchemy as sa

from beltside.base.errors import ClashError, InputError
from beltside.jobs import sealed_rows
from beltside.jobs.card import CARD_KINDS, CLOSED, Card, card_from
from beltside.jobs.counters import count_up, insert_if_new
from beltside.jobs.database import Database
from beltside.jobs.entries import FILE_NAME, Body, Change, Clash, Entry, How, JobSheet, join
from beltside.jobs.reading import AN_ENTRY, MissingError, Reading, entry_of
from beltside.jobs.schema import ENTRY, ENTRY_VERSION, FILE_USE, JOB, STORED_FILE
from beltside.jobs.search_words import keep_words
from beltside.jobs.sounds import Sounds, keep_sounds
from beltside.jobs.store import StoredFile

MOST_BODY_BYTES: Final = 2_000_000
"""What one entry may hold; anything longer belongs into a stored file."""

MOST_NAME: Final = 200
"""How long a writer's name may be, characters."""

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
        Called with every new version within its transaction; the usual ones keep the search
        words and the sounds in step.
    """

    def __init__(
        self,
        database: Database,
        *,
        now: Callable[[], datetime] = lambda: datetime.now(UTC),
        listeners: Sequence[Listener] = (keep_words, keep_sounds),
    ) -> None:
        super().__init__(database)
        self._now: Final = now
        self._listeners: Final = tuple(listeners)
        self.sounds: Final = Sounds(database)

    # Writing ------------------------------------------------------------------------------------

    def new_job(
        self, entries: Iterable[tuple[str, Body]] = (), *, by: str, job_id: str | None = None
    ) -> JobSheet:
        """Open a job with its first entries, (kind, body) each.

        A `job_id` that exists is given back as it is: a form sent twice opens one job.
        """
        job_id = _fits("name of a job", job_id or new_id(), 32)
        _fits("writer's name", by, MOST_NAME)
        with self.database.writing() as connection:
            if self._job_row(connection, job_id) is None:
                # The counter is locked now, so that two servers can't give one number; who waited
                # for it may find the job made meanwhile.
                number = count_up(connection, "job")
                if self._job_row(connection, job_id) is not None:
                    count_up(connection, "job", -1)
                    return self._sheet(connection, job_id)
                at = self._now()
                sealed_rows.insert(
                    connection,
                    JOB,
                    id=job_id,
                    number=number,
                    created_at=at,
                    created_by=by,
                    changed_at=at,
                    change=0,
                    stage="complaint",
                    closed_at=None,
                    card=Card("complaint").to_plain(),
                )
                for place, (kind, body) in enumerate(entries):
                    entry = _new_entry(new_id(), job_id, kind, body, by, at)
                    self._insert(connection, entry, place, ())
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
        entry = _new_entry(entry_id or new_id(), job_id, kind, body, by, self._now())
        with self.database.writing() as connection:
            place = 0
            if job_id is not None:
                self._lock_job(connection, job_id)
                place = self._next_place(connection, job_id)
            if not self._insert(connection, entry, place, files):
                found = self._entry(connection, entry.id)
                if found is None or (found.job_id, found.kind) != (job_id, kind):
                    raise InputError(
                        f"The name {entry.id} belongs to something else",
                        instead="a new name, or none",
                    )
                return found
            if job_id is not None:
                self._touch(connection, job_id, entry.at)
            return entry

    def change(
        self,
        entry_id: str,
        body: Body,
        *,
        by: str,
        based_on: int | None = None,
        files: Iterable[str] = (),
        refuse_clash: bool = False,
    ) -> Change:
        """Write a new version of an entry.

        Parameters
        ----------
        based_on
            The version the writer had before him. When somebody else has written since, the two
            are joined field by field; a field both changed keeps this writer's value and is told
            as a clash with the other's. None means the newest one.
        refuse_clash
            Write nothing when a field clashes.

        Raises
        ------
        MissingError
            When there is no such entry or version.
        ClashError
            With `refuse_clash`, naming the fields and what stands there now.
        """
        _fits("writer's name", by, MOST_NAME)
        with self.database.writing() as connection:
            now = self._locked_entry(connection, entry_id)
            wanted = _checked(now.kind, body)
            joined: list[str] = []
            clashes: tuple[Clash, ...] = ()
            stale = based_on is not None and based_on != now.version
            if based_on is not None and stale:
                base = self._version(connection, entry_id, based_on)
                wanted, joined, both = join(base.body, wanted, now.body)
                if both and refuse_clash:
                    raise _clash(now, both)
                # What others clashed on before he could see it stays to be settled.
                clashes = now.clashes + tuple(
                    Clash(name, wanted.get(name), now.body.get(name), now.by, now.version)
                    for name in both
                )
            settled = clashes == now.clashes
            if not now.removed and settled and _text(wanted) == _text(now.body):
                return Change(now, tuple(joined))
            how: How = "joined" if joined or len(clashes) > len(now.clashes) else "changed"
            entry = self._append(connection, now, wanted, by, how, clashes, files=files)
            return Change(entry, tuple(joined))

    def remove(self, entry_id: str, *, by: str) -> Entry:
        """Take an entry off the sheet; it stays readable and can be brought back."""
        _fits("writer's name", by, MOST_NAME)
        with self.database.writing() as connection:
            now = self._locked_entry(connection, entry_id)
            if now.removed:
                return now
            return self._append(connection, now, now.body, by, "removed", (), removed=True)

    def bring_back(self, entry_id: str, version: int, *, by: str) -> Entry:
        """Make an earlier version of an entry the newest one again, by writing it anew."""
        _fits("writer's name", by, MOST_NAME)
        with self.database.writing() as connection:
            now = self._locked_entry(connection, entry_id)
            then = self._version(connection, entry_id, version)
            return self._append(connection, now, then.body, by, "brought back", ())

    def keep_file(self, stored: StoredFile, media_type: str) -> None:
        """Enter a stored file, so that entries can name it; twice is as once."""
        _fits("media type", media_type, 100)
        with self.database.writing() as connection:
            sealed_rows.insert_unless_there(
                connection,
                STORED_FILE,
                sha256=stored.sha256,
                bytes=stored.size_bytes,
                media_type=media_type,
                added_at=self._now(),
            )

    # Inside one transaction -----------------------------------------------------------------------

    def _lock_job(self, connection: sa.Connection, job_id: str) -> None:
        """One writer on a job at a time; SQLite has one writer anyway."""
        locked = connection.execute(
            sa.select(JOB.c.id).where(JOB.c.id == job_id).with_for_update()
        ).one_or_none()
        if locked is None:
            raise MissingError(
                f"There is no job {job_id}", instead="a number from the list of jobs"
            )

    def _next_place(self, connection: sa.Connection, job_id: str) -> int:
        newest = connection.execute(
            sa.select(sa.func.max(ENTRY.c.place)).where(ENTRY.c.job_id == job_id)
        ).scalar()
        return 0 if newest is None else int(newest) + 1

    def _locked_entry(self, connection: sa.Connection, entry_id: str) -> Entry:
        found = self._entry(connection, entry_id)
        if found is None:
            raise MissingError(f"There is no entry {entry_id}", instead=AN_ENTRY)
        if found.job_id is not None:
            self._lock_job(connection, found.job_id)
        row = connection.execute(
            sa.select(ENTRY).where(ENTRY.c.id == entry_id).with_for_update()
        ).one()
        return entry_of(row)

    def _insert(
        self, connection: sa.Connection, entry: Entry, place: int, files: Iterable[str]
    ) -> bool:
        """Write a new entry, unless there is one of that name: then False."""
        new = sealed_rows.insert_unless_there(
            connection,
            ENTRY,
            id=entry.id,
            job_id=entry.job_id,
            kind=entry.kind,
            created_at=entry.at,
            place=place,
            version=1,
            at=entry.at,
            by=entry.by,
            removed=False,
            body=entry.body,
        )
        if new:
            self._write_version(connection, entry, "made", files)
        return new

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
        files: Iterable[str] = (),
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
            body,
            clashes,
        )
        sealed_rows.update(
            connection,
            ENTRY,
            ENTRY.c.id == now.id,
            version=entry.version,
            at=at,
            by=by,
            removed=removed,
            body=entry.body,
            clash=[clash.to_plain() for clash in clashes] or None,
        )
        self._write_version(connection, entry, how, files)
        if now.job_id is not None:
            self._touch(connection, now.job_id, at)
        return entry

    def _write_version(
        self, connection: sa.Connection, entry: Entry, how: How, files: Iterable[str]
    ) -> None:
        sealed_rows.insert(
            connection,
            ENTRY_VERSION,
            entry_id=entry.id,
            version=entry.version,
            at=entry.at,
            by=entry.by,
            removed=entry.removed,
            body=entry.body,
            clash=[clash.to_plain() for clash in entry.clashes] or None,
            how=how,
        )
        self._use_files(connection, entry, files)
        for listener in self._listeners:
            listener(connection, entry)

    def _use_files(self, connection: sa.Connection, entry: Entry, files: Iterable[str]) -> None:
        """Hold on to the files given, and to every stored file whose name stands in the body."""
        given = set(files)
        named = given | set(FILE_NAME.findall(json.dumps(entry.body)))
        if not named:
            return
        known = set(
            connection.execute(
                sa.select(STORED_FILE.c.sha256).where(STORED_FILE.c.sha256.in_(named))
            ).scalars()
        )
        if given - known:
            raise MissingError(
                f"There is no stored file {min(given - known)[:12]}", instead="storing it first"
            )
        for sha256 in sorted(known):
            insert_if_new(connection, FILE_USE, sha256=sha256, entry_id=entry.id)

    def _touch(self, connection: sa.Connection, job_id: str, at: datetime) -> None:
        """Work the job's card out anew."""
        # Bodies the card does not look into may be long: they are left where they are.
        body = sa.case(
            (ENTRY.c.kind.in_(CARD_KINDS), sa.type_coerce(ENTRY.c.body, sa.Text)), else_="{}"
        )
        entries = connection.execute(
            sa.select(ENTRY.c.kind, body.label("body"))
            .where(ENTRY.c.job_id == job_id, ENTRY.c.removed.is_(False))
            .order_by(ENTRY.c.place)
        )
        card = card_from((row.kind, json.loads(row.body)) for row in entries)
        closed = card.stage == CLOSED
        was = connection.execute(sa.select(JOB.c.closed_at).where(JOB.c.id == job_id)).scalar()
        sealed_rows.update(
            connection,
            JOB,
            JOB.c.id == job_id,
            count={"change": 1},
            changed_at=at,
            stage=card.stage,
            closed_at=(was or at) if closed else None,
            card=card.to_plain(),
        )


def _new_entry(
    entry_id: str, job_id: str | None, kind: str, body: Body, by: str, at: datetime
) -> Entry:
    _fits("name of an entry", entry_id, 64)
    _fits("kind", kind, 40)
    _fits("writer's name", by, MOST_NAME)
    return Entry(entry_id, job_id, kind, 1, at, at, by, False, _checked(kind, body))


def _fits(what: str, text: str, most: int) -> str:
    """Give back a short text that every database keeps as it is."""
    if len(text) > most or "\0" in text or _HALF_PAIR.search(text):
        raise InputError(
            f"The {what} {text[:most]!r} cannot be kept",
            allowed=f"up to {most} whole characters, none of code zero",
        )
    return text


_HALF_PAIR: Final = re.compile("[\ud800-\udfff]")


def _clash(now: Entry, both: list[str]) -> ClashError:
    said = ", ".join(f"{name} is {json.dumps(now.body.get(name))[:100]}" for name in both)
    return ClashError(
        f"{now.by} has written since, version {now.version}: {said}; nothing was changed",
        instead=f"looking at version {now.version}, then the change again based on it",
    )


def _text(body: Body) -> str:
    return json.dumps(body, sort_keys=True)


def _checked(kind: str, body: Body) -> dict[str, Any]:
    """The body as it will be read back: plain values, of a length that is kept."""
    try:
        text = json.dumps(body, allow_nan=False)
    except (TypeError, ValueError, RecursionError) as error:
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
    plain: Any = json.loads(text)
    if not isinstance(plain, dict):
        raise InputError(f"The {kind} is no table of fields", allowed="names with values")
    return plain
