"""Looks through the whole record for damage."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Any, Final, Literal

import sqlalchemy as sa

from beltside.jobs.counters import counted
from beltside.jobs.database import TABLES_AT, Database, RecordError
from beltside.jobs.schema import (
    ACCESS,
    ANALYSIS,
    COUNTER,
    ENTRY,
    ENTRY_VERSION,
    FILE_USE,
    JOB,
    METADATA,
    SOUND,
    STORED_FILE,
    TERM,
)
from beltside.jobs.sealed_rows import CHECKSUM, SEALED, Kept, damaged_letters, is_whole, rows_kept
from beltside.jobs.search_words import uses_kept, uses_wanted
from beltside.jobs.store import FolderStore, StoreError

About = Literal[
    "database",
    "entry",
    "job",
    "file",
    "result",
    "sound",
    "access",
    "unused file",
    "half-arrived file",
    "search",
]
LOSSES: Final = frozenset({"database", "entry", "job", "file", "result", "sound", "access"})
"""What is a loss; the rest is only untidy and can be put right without a backup."""

Progress = Callable[[str, float], None]

_BODY: Final = sa.type_coerce(ENTRY.c.body, sa.Text).label("body")
_WHERE: Final = sa.select(ENTRY.c.kind, _BODY, JOB.c.number).join_from(
    ENTRY, JOB, ENTRY.c.job_id == JOB.c.id, isouter=True
)


@dataclass(frozen=True)
class Problem:
    """Something that is not as it should be.

    `needed_by` says where on which jobs it stands: "take belt-on.m4a of job 12".
    """

    about: About
    name: str
    says: str
    needed_by: tuple[str, ...] = ()

    @property
    def is_loss(self) -> bool:
        """Whether something is gone or damaged; else it is only untidy."""
        return self.about in LOSSES


@dataclass(frozen=True)
class Checked:
    """What was looked through, and what was found."""

    entries: int
    files: int
    problems: tuple[Problem, ...]

    @property
    def damaged_entries(self) -> int:
        """Of how many entries something is lost or damaged, in any version."""
        return len({one.name for one in self.problems if one.about == "entry"})

    @property
    def damaged_files(self) -> int:
        """How many stored files are lost or damaged."""
        return len({one.name for one in self.problems if one.about == "file"})

    @property
    def whole(self) -> bool:
        """Whether nothing is lost or damaged; something may be untidy."""
        return not any(problem.is_loss for problem in self.problems)

    def to_json(self) -> dict[str, Any]:
        """Plain values for a command or a page."""
        return {
            "whole": self.whole,
            "entries": self.entries,
            "files": self.files,
            "damaged_entries": self.damaged_entries,
            "damaged_files": self.damaged_files,
            "problems": [
                {
                    "about": one.about,
                    "name": one.name,
                    "says": one.says,
                    "loss": one.is_loss,
                    "needed_by": list(one.needed_by),
                }
                for one in self.problems
            ],
        }


def verify(database: Database, store: FolderStore, *, progress: Progress | None = None) -> Checked:
    """Read all of the record and of its files, and compare; changes nothing.

    Rows of a record of an older Beltside bear no checksums yet: of it is told what can't be read,
    does not fit together, or names files that are not whole. A file that is being stored at this
    very moment may be told as unused or half arrived. `progress` is told what is being read and the
    share done, 0 to 1.
    """
    say = progress or (lambda _what, _share: None)
    say("reading the database", 0.0)
    problems = list(_database(database))
    try:
        columns = _columns(database)
        known, used = _of_files(database)
        entries = _count(database, ENTRY)
    except RecordError as error:
        problems += [] if problems else [Problem("database", "", str(error))]
        return Checked(0, 0, tuple(problems))
    try:
        if not any(one.about == "database" for one in problems):
            say("reading the entries", 0.05)
            with database.reading() as connection:
                damaged = {one.name for one in problems if one.about == "entry"}
                problems += _note_of_version(connection, columns)
                problems += _entries(connection, damaged)
                # Of damaged words nobody knows what they were.
                problems += [] if damaged else _search(connection)
                problems += _counters(connection)
        of_files = list(_files(store, known, used, say))
        with database.reading() as connection:
            problems += [_with_needs(connection, one) for one in of_files]
    except RecordError as error:
        problems.append(Problem("database", "", str(error)))
    return Checked(entries, len(known), tuple(problems))


def _count(database: Database, table: sa.Table) -> int:
    with database.reading() as connection:
        query = sa.select(sa.func.count()).select_from(table)
        return int(connection.execute(query).scalar_one())


def _of_files(database: Database) -> tuple[dict[str, Any], set[str]]:
    """The files the record knows, by name, and the names of those that entries need."""
    with database.reading() as connection:
        columns = [one for one in STORED_FILE.columns if one.name != CHECKSUM]
        known = {row.sha256: row for row in connection.execute(sa.select(*columns))}
        used = set(connection.execute(sa.select(FILE_USE.c.sha256)).scalars())
    return known, used


def _columns(database: Database) -> dict[str, set[str]]:
    """The columns of each table that is there."""
    with database.reading() as connection:
        there = sa.inspect(connection)
        return {
            name: {one["name"] for one in there.get_columns(name)}
            for name in there.get_table_names()
        }


def _note_of_version(connection: sa.Connection, columns: dict[str, set[str]]) -> Iterator[Problem]:
    if all(
        columns.get(table.name) == set(table.columns.keys()) for table in METADATA.sorted_tables
    ):
        noted = (
            connection.exec_driver_sql("SELECT version_num FROM alembic_version").scalars().all()
        )
        if noted != [TABLES_AT]:
            yield Problem(
                "database", "alembic_version", "The record's note of its version is damaged"
            )


def _database(database: Database) -> Iterator[Problem]:
    try:
        columns = _columns(database)
    except RecordError as error:
        yield Problem("database", "", str(error))
        return
    try:
        with database.reading() as connection:
            if database.is_sqlite:
                for said in connection.exec_driver_sql("PRAGMA integrity_check").scalars():
                    if said != "ok":
                        yield Problem("database", "", f"The database file is damaged: {said}")
                astray = connection.exec_driver_sql("PRAGMA foreign_key_check").all()
                for table, count in Counter(row[0] for row in astray).items():
                    says = f"{count} rows of the table {table} belong to nothing"
                    yield Problem("database", table, says)
    except RecordError as error:
        yield Problem("database", "", str(error))
        # Its tables can still be looked at one by one.
    older = columns.keys() & {ENTRY.name, JOB.name} and not any(
        CHECKSUM in columns[name] for name in columns
    )
    for table in METADATA.sorted_tables:
        if older and table.name not in columns:
            continue  # what came later
        without = {CHECKSUM} if older else set()
        try:
            with database.reading() as connection:
                for kept in rows_kept(connection, table, without=without):
                    if table in SEALED and not older and not is_whole(table.name, kept):
                        yield damaged_row(connection, table, kept)
        except RecordError as error:
            yield Problem("database", table.name, f"The table {table.name}: {error}")


_ABOUT: Final[dict[str, About]] = {
    JOB.name: "job",
    ENTRY.name: "entry",
    ENTRY_VERSION.name: "entry",
    STORED_FILE.name: "file",
    ANALYSIS.name: "result",
    SOUND.name: "sound",
    ACCESS.name: "access",
}


def damaged_row(connection: sa.Connection, table: sa.Table, kept: Kept) -> Problem:
    """A row that is not what was written, in words; any part of it may be the damaged one."""
    one = {name: _readable(value) for name, value in kept.items()}
    says, name, stands = "", str(one.get("id") or one.get("entry_id") or ""), ""
    if table is ENTRY:
        says = f"The {one['kind']} {name}"
        stands = _stands(one["kind"], kept["body"], _number(connection, kept["job_id"]))
    elif table is ENTRY_VERSION:
        says = f"Version {one['version']} of the entry {name}"
        stands = _entry_stands(connection, kept["entry_id"])
    elif table is JOB:
        says = f"What the list of jobs shows of job {one['number']}"
    elif table is STORED_FILE:
        name = str(one["sha256"])
        says = f"What is known of the stored file {name[:12]} ({one['media_type']})"
    elif table is ANALYSIS:
        number = _number(connection, kept["job_id"])
        says = f"The result {one['method']} of " + (f"job {number}" if number else "no job")
    elif table is SOUND:
        says = f"What the take {name} sounds like"
        stands = _entry_stands(connection, kept["entry_id"])
    else:
        says = f"The paired phone, code or link {one['name']}"
    says += " is damaged: its checksum is another"
    return Problem(_ABOUT[table.name], name, says, (stands,) if stands else ())


def _readable(value: Any) -> Any:
    return value.encode("ascii", "replace").decode("ascii") if isinstance(value, str) else value


def _number(connection: sa.Connection, job_id: Any) -> int | None:
    if not isinstance(job_id, str) or _readable(job_id) != job_id:
        return None
    return connection.execute(sa.select(JOB.c.number).where(JOB.c.id == job_id)).scalar()


def _entry_stands(connection: sa.Connection, entry_id: Any) -> str:
    if _readable(entry_id) != entry_id:
        return ""
    with damaged_letters(connection):
        row = connection.execute(_WHERE.where(ENTRY.c.id == entry_id)).one_or_none()
    return _stands(row.kind, row.body, row.number) if row is not None else ""


def _entries(connection: sa.Connection, damaged: set[str]) -> Iterator[Problem]:
    """Every entry is its newest version, and no version between is missing.

    Of those that are known to be `damaged` nothing more is said.
    """
    newest = (
        sa.select(
            ENTRY_VERSION.c.entry_id,
            sa.func.max(ENTRY_VERSION.c.version).label("last"),
            sa.func.count().label("count"),
        )
        .group_by(ENTRY_VERSION.c.entry_id)
        .subquery()
    )
    rows = connection.execute(
        sa.select(ENTRY.c.id, ENTRY.c.kind, _BODY, JOB.c.number)
        .join_from(ENTRY, newest, ENTRY.c.id == newest.c.entry_id, isouter=True)
        .join(JOB, JOB.c.id == ENTRY.c.job_id, isouter=True)
        .where(
            sa.or_(
                newest.c.last.is_(None),
                newest.c.last != ENTRY.c.version,
                newest.c.count != ENTRY.c.version,
            )
        )
    )
    for row in rows:
        says = f"Of the {row.kind} {row.id} earlier versions are missing"
        if row.id not in damaged:
            yield Problem("entry", row.id, says, (_stands(row.kind, row.body, row.number),))
    text = {
        name: (sa.type_coerce(ENTRY.c[name], sa.Text), sa.type_coerce(other.c[name], sa.Text))
        for other in (ENTRY_VERSION,)
        for name in ("body", "clash")
    }
    rows = connection.execute(
        sa.select(ENTRY.c.id, ENTRY.c.kind, _BODY, JOB.c.number)
        .join_from(
            ENTRY,
            ENTRY_VERSION,
            sa.and_(
                ENTRY_VERSION.c.entry_id == ENTRY.c.id,
                ENTRY_VERSION.c.version == ENTRY.c.version,
            ),
        )
        .join(JOB, JOB.c.id == ENTRY.c.job_id, isouter=True)
        .where(
            sa.or_(
                *(one.is_distinct_from(other) for one, other in text.values()),
                ENTRY.c.removed != ENTRY_VERSION.c.removed,
                ENTRY.c.by != ENTRY_VERSION.c.by,
                ENTRY.c.at != ENTRY_VERSION.c.at,
            )
        )
    )
    for row in rows:
        says = f"The {row.kind} {row.id} is not what was last written on it"
        if row.id not in damaged:
            yield Problem("entry", row.id, says, (_stands(row.kind, row.body, row.number),))


def _search(connection: sa.Connection) -> Iterator[Problem]:
    kept, wanted = uses_kept(connection), uses_wanted(connection)
    jobs = Counter(word for word, _ in wanted)
    counts = connection.execute(sa.select(TERM.c.word, TERM.c.jobs).where(TERM.c.jobs != 0))
    if kept != wanted or {row.word: row.jobs for row in counts} != dict(jobs):
        wrong = len({number for _, number in kept.items() ^ wanted.items()})
        says = "The search words are not in step with the entries; they can be made anew"
        yield Problem("search", str(wrong), says)


def _counters(connection: sa.Connection) -> Iterator[Problem]:
    """What counts up is not behind what it counted."""
    for name, column in (("job", JOB.c.number), ("sound", SOUND.c.change)):
        last = connection.execute(sa.select(sa.func.max(column))).scalar() or 0
        if counted(connection, name) < last:
            says = f"The record's counter of {name}s is behind them"
            yield Problem("database", COUNTER.name, says)


def _with_needs(connection: sa.Connection, problem: Problem) -> Problem:
    """The problem of a stored file, with the entries that need it."""
    if problem.about != "file":
        return problem
    rows = connection.execute(
        _WHERE.join(FILE_USE, FILE_USE.c.entry_id == ENTRY.c.id)
        .where(FILE_USE.c.sha256 == problem.name)
        .order_by(JOB.c.number, ENTRY.c.place)
    )
    needs = tuple(_stands(row.kind, row.body, row.number) for row in rows)
    return replace(problem, needed_by=needs)


def _stands(kind: str, text: Any, number: int | None) -> str:
    """Where an entry stands, from its body as text, which may be damaged."""
    try:
        body = json.loads(text)
    except (ValueError, TypeError):
        body = None
    name = str(_readable(body.get("name") or "")) if isinstance(body, dict) else ""
    where = "the shop's own sheet" if number is None else f"job {number}"
    return f"{kind} {name} of {where}" if name else f"{kind} of {where}"


def _files(
    store: FolderStore, known: dict[str, Any], used: set[str], say: Progress
) -> Iterator[Problem]:
    there = set(store.names())
    whole = max(sum(row.bytes for row in known.values()), 1)
    read = 0
    for sha256, row in sorted(known.items()):
        say("reading the stored files", 0.1 + 0.9 * read / whole)
        read += row.bytes
        short = f"{sha256[:12]} ({row.media_type})"
        if sha256 not in there:
            yield Problem("file", sha256, f"The stored file {short} is missing")
            continue
        try:
            digest = store.digest(sha256)
        except (StoreError, OSError) as error:
            yield Problem("file", sha256, f"The stored file {short} cannot be read: {error}")
            continue
        if digest != sha256:
            yield Problem("file", sha256, f"The stored file {short} is damaged")
        elif sha256 not in used:
            yield Problem("unused file", sha256, f"No entry needs the stored file {short}")
    for sha256 in sorted(there - set(known)):
        says = f"The file {sha256[:12]} is stored, but the record does not know it"
        yield Problem("unused file", sha256, says)
    arriving = store.folder / "arriving"
    for path in sorted(arriving.iterdir()) if arriving.is_dir() else ():
        says = f"The file {path.name} never arrived whole"
        yield Problem("half-arrived file", path.name, says)
