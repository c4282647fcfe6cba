"""Whole jobs out of a record and into another: every entry in every version, times and writers.

Nothing that is there is ever written over: a job of a known name with other content is put beside
it under a name of its own.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any, Final

import sqlalchemy as sa

from beltside.base.errors import InputError
from beltside.jobs import sealed_rows
from beltside.jobs.card import Card
from beltside.jobs.counters import count_up
from beltside.jobs.entries import Body, Clash, Entry
from beltside.jobs.reading import MissingError
from beltside.jobs.record import MOST_BODY_BYTES, Record
from beltside.jobs.schema import ENTRY, ENTRY_VERSION, FILE_USE, JOB, STORED_FILE

HOWS: Final = ("made", "changed", "joined", "removed", "brought back")
MOST_KEPT_NUMBER: Final = 1_000_000
"""A job with a higher number gets the next free one, so that numbers do not run out."""
_LARGEST_NUMBER: Final = 2**31 - 1


@dataclass(frozen=True)
class EntryRows:
    """An entry with all its versions, oldest first, and the stored files it needs."""

    id: str
    kind: str
    created_at: datetime
    versions: tuple[Entry, ...]
    files: tuple[str, ...] = ()


@dataclass(frozen=True)
class JobRows:
    """A whole job as it is kept; entries in the order of the sheet."""

    id: str
    number: int
    created_at: datetime
    created_by: str
    changed_at: datetime
    change: int
    closed_at: datetime | None
    entries: tuple[EntryRows, ...]

    def files(self) -> set[str]:
        """SHA-256 of every stored file the job needs."""
        return {one for entry in self.entries for one in entry.files}


@dataclass(frozen=True)
class PutIn:
    """What became of a job put in.

    Attributes
    ----------
    id, number
        The job as it is in this record.
    how
        "new", "was there" or "beside": a job of this name had other content.
    """

    id: str
    number: int
    how: str


def take_out(record: Record, job_id: str) -> JobRows:
    """Everything of a job, at one moment.

    Raises
    ------
    MissingError
        When there is no such job.
    """
    with record.database.reading() as connection:
        return _rows(connection, job_id)


def put_in(record: Record, rows: JobRows) -> PutIn:
    """Put a whole job in; its stored files have to be entered before.

    Raises
    ------
    InputError
        When the rows make no sense together, or a stored file is missing.
    """
    _require_sound(rows)
    with record.database.writing() as connection:
        # Alone on the counter, so that two imports of one job make one job.
        value = count_up(connection, "job")
        how = "new"
        there = _there(connection, rows.id)
        if there is not None and _same(there, rows):
            count_up(connection, "job", -1)
            return PutIn(there.id, there.number, "was there")
        if there is not None or _taken(connection, rows):
            how = "beside" if there is not None else "new"
            rows = _renamed(rows)
            again = _there(connection, rows.id)
            if again is not None:
                count_up(connection, "job", -1)
                return PutIn(again.id, again.number, "was there")
        number = value
        if rows.number <= MOST_KEPT_NUMBER and _free(connection, rows.number):
            number = rows.number
            count_up(connection, "job", max(value - 1, number) - value)
        _write(record, connection, replace(rows, number=number))
        return PutIn(rows.id, number, how)


def _rows(connection: sa.Connection, job_id: str) -> JobRows:
    job = connection.execute(sa.select(JOB).where(JOB.c.id == job_id)).one_or_none()
    if job is None:
        raise MissingError(f"There is no job {job_id}", instead="a number from the list of jobs")
    entries = connection.execute(
        sa.select(ENTRY.c.id, ENTRY.c.kind, ENTRY.c.created_at)
        .where(ENTRY.c.job_id == job_id)
        .order_by(ENTRY.c.place)
    ).all()
    versions: dict[str, list[Entry]] = {entry.id: [] for entry in entries}
    kinds = {entry.id: entry for entry in entries}
    for row in connection.execute(
        sa.select(ENTRY_VERSION)
        .join_from(ENTRY_VERSION, ENTRY)
        .where(ENTRY.c.job_id == job_id)
        .order_by(ENTRY_VERSION.c.entry_id, ENTRY_VERSION.c.version)
    ):
        one = kinds[row.entry_id]
        versions[row.entry_id].append(
            Entry(
                row.entry_id,
                job_id,
                one.kind,
                row.version,
                one.created_at,
                row.at,
                row.by,
                row.removed,
                row.body,
                tuple(Clash(**clash) for clash in row.clash or ()),
                row.how,
            )
        )
    files: dict[str, list[str]] = {}
    for use in connection.execute(
        sa.select(FILE_USE)
        .join_from(FILE_USE, ENTRY, ENTRY.c.id == FILE_USE.c.entry_id)
        .where(ENTRY.c.job_id == job_id)
        .order_by(FILE_USE.c.entry_id, FILE_USE.c.sha256)
    ):
        files.setdefault(use.entry_id, []).append(use.sha256)
    return JobRows(
        job.id,
        job.number,
        job.created_at,
        job.created_by,
        job.changed_at,
        job.change,
        job.closed_at,
        tuple(
            EntryRows(
                entry.id,
                entry.kind,
                entry.created_at,
                tuple(versions[entry.id]),
                tuple(files.get(entry.id, ())),
            )
            for entry in entries
        ),
    )


def _there(connection: sa.Connection, job_id: str) -> JobRows | None:
    known = connection.execute(sa.select(JOB.c.id).where(JOB.c.id == job_id)).first()
    return None if known is None else _rows(connection, job_id)


def _same(there: JobRows, rows: JobRows) -> bool:
    """Whether all that is to be put in is there already; there may be more by now."""
    by_id = {entry.id: entry for entry in there.entries}
    return all(
        entry.id in by_id
        and [_text(one) for one in by_id[entry.id].versions[: len(entry.versions)]]
        == [_text(one) for one in entry.versions]
        for entry in rows.entries
    )


def _text(entry: Entry) -> str:
    return json.dumps(
        [
            entry.id,
            entry.kind,
            entry.version,
            entry.created_at.isoformat(),
            entry.at.isoformat(),
            entry.by,
            entry.removed,
            entry.body,
            [clash.to_plain() for clash in entry.clashes],
            entry.how,
        ],
        sort_keys=True,
    )


def _taken(connection: sa.Connection, rows: JobRows) -> bool:
    """Whether a name of an entry belongs to another job here."""
    ids = [entry.id for entry in rows.entries]
    return any(
        connection.execute(
            sa.select(ENTRY.c.id).where(ENTRY.c.id.in_(ids[n : n + 500])).limit(1)
        ).first()
        is not None
        for n in range(0, len(ids), 500)
    )


def _free(connection: sa.Connection, number: int) -> bool:
    taken = connection.execute(sa.select(JOB.c.id).where(JOB.c.number == number)).first()
    return taken is None


def _renamed(rows: JobRows) -> JobRows:
    """The same job under names of its own, made from its content: put in twice it is once."""
    mark = hashlib.sha256(rows.id.encode())
    for entry in rows.entries:
        for version in entry.versions:
            mark.update(_text(version).encode())
    seed = mark.hexdigest()
    names = {
        entry.id: hashlib.sha256(f"{seed}|{entry.id}".encode()).hexdigest()[:24]
        for entry in rows.entries
    }
    return replace(
        rows,
        id=seed[:24],
        entries=tuple(
            replace(
                entry,
                id=names[entry.id],
                versions=tuple(
                    replace(
                        one,
                        id=names[entry.id],
                        job_id=seed[:24],
                        body=_with_names(one.body, names),
                        clashes=tuple(
                            replace(
                                clash,
                                kept=_with_names(clash.kept, names),
                                other=_with_names(clash.other, names),
                            )
                            for clash in one.clashes
                        ),
                    )
                    for one in entry.versions
                ),
            )
            for entry in rows.entries
        ),
    )


def _with_names(value: Any, names: Mapping[str, str]) -> Any:
    """A body in which one entry names another: a reading its test, an OK its offer."""
    if isinstance(value, str):
        return names.get(value, value)
    if isinstance(value, Mapping):
        return {name: _with_names(one, names) for name, one in value.items()}
    return [_with_names(one, names) for one in value] if isinstance(value, list) else value


def _write(record: Record, connection: sa.Connection, rows: JobRows) -> None:
    known = _known_files(connection, rows.files())
    missing = rows.files() - known
    if missing:
        raise InputError(
            f"The stored file {min(missing)[:12]} that the job needs is not there",
            instead="storing its files first",
        )
    sealed_rows.insert(
        connection,
        JOB,
        id=rows.id,
        number=rows.number,
        created_at=rows.created_at,
        created_by=rows.created_by,
        changed_at=rows.changed_at,
        change=rows.change,
        stage="complaint",
        closed_at=None,
        card=Card("complaint").to_plain(),
    )
    for place, entry in enumerate(rows.entries):
        newest = entry.versions[-1]
        sealed_rows.insert(
            connection,
            ENTRY,
            id=entry.id,
            job_id=rows.id,
            kind=entry.kind,
            created_at=entry.created_at,
            place=place,
            version=newest.version,
            at=newest.at,
            by=newest.by,
            removed=newest.removed,
            body=dict(newest.body),
            clash=[clash.to_plain() for clash in newest.clashes] or None,
        )
        for one in entry.versions:
            sealed_rows.insert(
                connection,
                ENTRY_VERSION,
                entry_id=entry.id,
                version=one.version,
                at=one.at,
                by=one.by,
                removed=one.removed,
                body=dict(one.body),
                clash=[clash.to_plain() for clash in one.clashes] or None,
                how=one.how,
            )
            # Search keeps its words by them.
            for listener in record._listeners:
                listener(connection, replace(one, job_id=rows.id))
        if entry.files:
            connection.execute(
                FILE_USE.insert(),
                [{"sha256": sha256, "entry_id": entry.id} for sha256 in sorted(set(entry.files))],
            )
    record._touch(connection, rows.id, rows.changed_at)
    values: dict[str, Any] = {"change": rows.change, "changed_at": rows.changed_at}
    if rows.closed_at is not None:
        closed = connection.execute(
            sa.select(JOB.c.closed_at).where(JOB.c.id == rows.id)
        ).scalar_one()
        if closed is not None:
            values["closed_at"] = rows.closed_at
    sealed_rows.update(connection, JOB, JOB.c.id == rows.id, **values)


def _known_files(connection: sa.Connection, names: Iterable[str]) -> set[str]:
    wanted = sorted(names)
    found: set[str] = set()
    for n in range(0, len(wanted), 500):
        query = sa.select(STORED_FILE.c.sha256).where(STORED_FILE.c.sha256.in_(wanted[n : n + 500]))
        found |= set(connection.execute(query).scalars())
    return found


def _require_sound(rows: JobRows) -> None:
    """Refuse what the record itself would never have written."""
    problem = ""
    if not 0 < rows.number <= _LARGEST_NUMBER:
        problem = f"its number is {rows.number}"
    ids = [entry.id for entry in rows.entries]
    if len(set(ids)) != len(ids):
        problem = "two entries have one name"
    for entry in rows.entries:
        versions = [one.version for one in entry.versions]
        if not versions or versions != list(range(1, len(versions) + 1)):
            problem = f"the versions of {entry.id} do not count up from 1"
        elif any(one.how not in HOWS for one in entry.versions):
            problem = f"a version of {entry.id} came about in an unknown way"
        elif any(_length(one.body) > MOST_BODY_BYTES for one in entry.versions):
            problem = f"{entry.id} is longer than an entry may be"
    if problem:
        raise InputError(f"The job {rows.id} can't be put in: {problem}")


def _length(body: Body) -> int:
    return len(json.dumps(dict(body)))
