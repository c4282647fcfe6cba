"""Keeps the search words of every job in step with its entries, within the same transaction."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from typing import Final, TypeVar

import sqlalchemy as sa

from beltside.jobs.counters import count_up
from beltside.jobs.database import Database
from beltside.jobs.entries import Entry
from beltside.jobs.schema import ENTRY, ENTRY_VERSION, JOB, TERM, TERM_GRAM, TERM_USE
from beltside.jobs.words import distinct_words, keys_of_word

T = TypeVar("T")

_AT_ONCE: Final = 500
"""How many values go into one statement."""


def keep_words(connection: sa.Connection, entry: Entry) -> None:
    """A listener of the record: enters the words of a new version, takes out those of the last."""
    if entry.job_id is None:
        return
    old: set[str] = set()
    if entry.version > 1:
        last = connection.execute(
            sa.select(ENTRY_VERSION.c.body, ENTRY_VERSION.c.removed).where(
                ENTRY_VERSION.c.entry_id == entry.id, ENTRY_VERSION.c.version == entry.version - 1
            )
        ).one()
        old = set() if last.removed else distinct_words(last.body)
    new = set() if entry.removed else distinct_words(entry.body)
    if old == new:
        return
    # One at a time on PostgreSQL too: a word that one adds must not be the one another drops.
    count_up(connection, "search")
    number = connection.execute(
        sa.select(JOB.c.number).where(JOB.c.id == entry.job_id)
    ).scalar_one()
    _add(connection, number, sorted(new - old))
    _drop(connection, number, sorted(old - new))


def _add(connection: sa.Connection, number: int, words: Sequence[str]) -> None:
    ids = _ids(connection, words)
    missing = [word for word in words if word not in ids]
    ids |= _insert_words(connection, missing, jobs=0)
    held = set(_held(connection, number, list(ids.values())))
    for some in _some(sorted(held)):
        connection.execute(
            TERM_USE.update()
            .where(TERM_USE.c.job_number == number, TERM_USE.c.term_id.in_(some))
            .values(entries=TERM_USE.c.entries + 1)
        )
    new = sorted(set(ids.values()) - held)
    if new:
        connection.execute(
            TERM_USE.insert(),
            [{"term_id": term_id, "job_number": number, "entries": 1} for term_id in new],
        )
    for some in _some(new):
        connection.execute(TERM.update().where(TERM.c.id.in_(some)).values(jobs=TERM.c.jobs + 1))


def _drop(connection: sa.Connection, number: int, words: Sequence[str]) -> None:
    for some in _some(sorted(_ids(connection, words).values())):
        here = sa.and_(TERM_USE.c.job_number == number, TERM_USE.c.term_id.in_(some))
        connection.execute(TERM_USE.update().where(here).values(entries=TERM_USE.c.entries - 1))
        gone = list(
            connection.execute(
                TERM_USE.delete().where(here, TERM_USE.c.entries <= 0).returning(TERM_USE.c.term_id)
            ).scalars()
        )
        if gone:
            connection.execute(
                TERM.update().where(TERM.c.id.in_(gone)).values(jobs=TERM.c.jobs - 1)
            )
            # A word that nobody uses any more is forgotten: it may be somebody's name.
            connection.execute(TERM.delete().where(TERM.c.id.in_(gone), TERM.c.jobs <= 0))


def forget_jobs(connection: sa.Connection, numbers: Sequence[int]) -> None:
    """Take all search words of jobs out, before the jobs themselves go."""
    if not numbers:
        return
    count_up(connection, "search")
    for some in _some(numbers):
        here = TERM_USE.c.job_number.in_(some)
        used = connection.execute(
            sa.select(TERM_USE.c.term_id, sa.func.count().label("jobs"))
            .where(here)
            .group_by(TERM_USE.c.term_id)
        ).all()
        connection.execute(TERM_USE.delete().where(here))
        by_count: dict[int, list[int]] = {}
        for row in used:
            by_count.setdefault(row.jobs, []).append(row.term_id)
        for count, ids in sorted(by_count.items()):
            for few in _some(ids):
                connection.execute(
                    TERM.update().where(TERM.c.id.in_(few)).values(jobs=TERM.c.jobs - count)
                )
                connection.execute(TERM.delete().where(TERM.c.id.in_(few), TERM.c.jobs <= 0))


def _ids(connection: sa.Connection, words: Sequence[str]) -> dict[str, int]:
    ids: dict[str, int] = {}
    for some in _some(words):
        rows = connection.execute(sa.select(TERM.c.word, TERM.c.id).where(TERM.c.word.in_(some)))
        ids.update((row.word, row.id) for row in rows)
    return ids


def _held(connection: sa.Connection, number: int, ids: Sequence[int]) -> Iterator[int]:
    for some in _some(ids):
        yield from connection.execute(
            sa.select(TERM_USE.c.term_id).where(
                TERM_USE.c.job_number == number, TERM_USE.c.term_id.in_(some)
            )
        ).scalars()


def _insert_words(connection: sa.Connection, words: Sequence[str], *, jobs: int) -> dict[str, int]:
    if not words:
        return {}
    last = count_up(connection, "term", len(words))
    ids = {word: last - at for at, word in enumerate(words)}
    connection.execute(
        TERM.insert(), [{"id": ids[word], "word": word, "jobs": jobs} for word in words]
    )
    keys = [
        {"gram": key, "term_id": ids[word]} for word in words for key in sorted(keys_of_word(word))
    ]
    if keys:
        connection.execute(TERM_GRAM.insert(), keys)
    return ids


def _some(values: Sequence[T]) -> Iterator[Sequence[T]]:
    return (values[start : start + _AT_ONCE] for start in range(0, len(values), _AT_ONCE))


# The whole ----------------------------------------------------------------------------------------

Uses = dict[tuple[str, int], int]
"""In how many entries of a job (by its number) a word stands."""


def uses_wanted(connection: sa.Connection) -> Uses:
    """What the entries themselves say."""
    uses: Counter[tuple[str, int]] = Counter()
    query = (
        sa.select(JOB.c.number, ENTRY.c.body)
        .join_from(ENTRY, JOB, ENTRY.c.job_id == JOB.c.id)
        .where(ENTRY.c.removed.is_(False))
        .execution_options(yield_per=1000)
    )
    with connection.execute(query) as rows:
        for number, body in rows:
            uses.update((word, number) for word in distinct_words(body))
    return dict(uses)


def uses_kept(connection: sa.Connection) -> Uses:
    """What the search tables say."""
    rows = connection.execute(
        sa.select(TERM.c.word, TERM_USE.c.job_number, TERM_USE.c.entries).join_from(TERM_USE, TERM)
    )
    return {(word, number): entries for word, number, entries in rows}


def rebuild(database: Database) -> int:
    """Make the search tables anew from the entries; gives back how many words there are."""
    with database.writing() as connection:
        count_up(connection, "search")
        for table in (TERM_USE, TERM_GRAM, TERM):
            connection.execute(table.delete())
        uses = uses_wanted(connection)
        jobs = Counter(word for word, _ in uses)
        ids: dict[str, int] = {}
        for some in _some(sorted(jobs)):
            ids |= _insert_words(connection, some, jobs=0)
        _insert_all(connection, uses, ids)
        for count in sorted(set(jobs.values())):
            with_it = [ids[word] for word in jobs if jobs[word] == count]
            for few in _some(with_it):
                connection.execute(TERM.update().where(TERM.c.id.in_(few)).values(jobs=count))
    return len(ids)


def _insert_all(connection: sa.Connection, uses: Uses, ids: dict[str, int]) -> None:
    rows = sorted((ids[word], number, entries) for (word, number), entries in uses.items())
    for start in range(0, len(rows), 20_000):
        connection.execute(TERM_USE.insert(), list(_named(rows[start : start + 20_000])))


def _named(rows: Iterable[tuple[int, int, int]]) -> Iterator[dict[str, int]]:
    for term_id, number, entries in rows:
        yield {"term_id": term_id, "job_number": number, "entries": entries}
