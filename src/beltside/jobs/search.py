"""Finds jobs by words, also mistyped ones, over everything written on them.

Each asked word is looked up as it is, as the beginning of a word, with slips of the finger, and
within long words; the rarer a word and the nearer it is to what was asked, the more it counts. All
counting is in whole numbers, so that every database gives the same answer.
"""

from __future__ import annotations

import json
import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import sqlalchemy as sa

from beltside.base.errors import InputError
from beltside.jobs.counters import counted
from beltside.jobs.database import Database
from beltside.jobs.schema import ENTRY, JOB, TERM, TERM_GRAM, TERM_USE
from beltside.jobs.words import (
    as_groups,
    asked_words,
    fold,
    part_keys,
    slip_keys,
    slips,
    slips_allowed,
    squeezed,
    texts_of,
    words_of,
)

MOST_ASKED: Final = 10
"""Words of a question that are looked up; any beyond are passed over."""

MOST_FOUND: Final = 200

EXACT: Final = 1000
BEGINNING: Final = 800
ONE_SLIP: Final = 700
WITHIN: Final = 600
TWO_SLIPS: Final = 450
"""How much a word counts by how near it is, in thousandths. Own choice."""

_NEAR_WORDS: Final = 40
_BESIDE_EXACT: Final = 10
_COMMON_FROM: Final = 100
"""A word in so many jobs, and in one of twenty, is no slip for another: only itself is meant."""
_SNIPPET: Final = 90
_LONG_BODY: Final = 20_000
_LAST: Final = "\U0010ffff"


@dataclass(frozen=True)
class Where:
    """A place in a job where something asked for stands."""

    entry_id: str
    kind: str
    field: str
    snippet: str


@dataclass(frozen=True)
class Found:
    """A job found.

    Attributes
    ----------
    job_id, number
        Which one.
    score
        Higher is better; only good for comparing answers to one question.
    where
        At most three places, one for each asked word where possible.
    """

    job_id: str
    number: int
    score: float
    where: tuple[Where, ...]


@dataclass(frozen=True)
class _Near:
    """A word of the record that may be meant by an asked one."""

    term_id: int
    word: str
    jobs: int
    nearness: int


def _with_keys() -> sa.Select[Any]:
    """Words that have at least so many of the keys, those with most of them first."""
    count = sa.func.count().label("count")
    held = (
        sa.select(TERM_GRAM.c.term_id, count)
        .where(TERM_GRAM.c.gram.in_(sa.bindparam("keys", expanding=True)))
        .group_by(TERM_GRAM.c.term_id)
        .having(count >= sa.bindparam("least"))
        .subquery()
    )
    return (
        sa.select(TERM.c.id, TERM.c.word, TERM.c.jobs)
        .join_from(held, TERM, TERM.c.id == held.c.term_id)
        .order_by(held.c.count.desc(), TERM.c.jobs.desc(), TERM.c.word)
        .limit(_NEAR_WORDS)
    )


_WITH_KEYS: Final = _with_keys()
_PIECE: Final = sa.bindparam("piece", type_=TERM.c.word.type)
_EXACT: Final = sa.select(TERM.c.id, TERM.c.word, TERM.c.jobs).where(TERM.c.word == _PIECE)
_BEGINS: Final = (
    sa.select(TERM.c.id, TERM.c.word, TERM.c.jobs)
    .where(TERM.c.word > _PIECE, TERM.c.word < sa.bindparam("last", type_=TERM.c.word.type))
    .order_by(TERM.c.jobs.desc(), TERM.c.word)
    .limit(_NEAR_WORDS)
)


class Search:
    """Looks for jobs in one database."""

    def __init__(self, database: Database) -> None:
        self.database: Final = database

    def find(self, words: str, limit: int = 20) -> list[Found]:
        """Jobs that hold the words, the best first; of equal ones the newest.

        Parameters
        ----------
        words
            As typed: upper or lower case, with or without accents, spaces and dashes; a slip of
            the finger in words of 3 to 8 letters, two in longer ones.
        limit
            How many at the most, 1 to 200.
        """
        if not 1 <= limit <= MOST_FOUND:
            raise InputError(f"{limit} jobs asked for", allowed=f"1 to {MOST_FOUND}")
        asked = asked_words(words)[:MOST_ASKED]
        if not asked:
            return []
        with self.database.reading() as connection:
            weights = _weights(connection, asked)
            if not any(weights):
                return []
            rows = connection.execute(_best_jobs(weights, limit)).all()
            texts = _entries(connection, [row.job_number for row in rows])
        near = _by_word(weights)
        return [
            Found(
                row.id,
                row.job_number,
                row.score / (1000.0 * len(asked)),
                _places(texts[row.job_number], near, row.held),
            )
            for row in rows
        ]


Weights = dict[int, tuple[str, int]]
"""Of one asked word: by the name of a term its word, and what it counts."""


def _weights(connection: sa.Connection, asked: Sequence[str]) -> list[Weights]:
    """For every asked word the words that may be meant, with what each counts."""
    jobs = max(counted(connection, "job"), 1)
    weights: list[Weights] = [{} for _ in asked]
    for piece, places in as_groups(asked):
        near = _near(connection, piece, jobs, within=len(places) == 1)
        if not near:
            continue
        best = max(one.nearness for one in near)
        held_by = sum(one.jobs for one in near if one.nearness == best)
        rare = round(1000 * math.log1p(jobs / max(held_by, 1)))
        for one in near:
            counts = rare * one.nearness // 1000
            for place in places:
                if counts > weights[place].get(one.term_id, ("", 0))[1]:
                    weights[place][one.term_id] = (one.word, counts)
    return weights


def _near(connection: sa.Connection, piece: str, jobs: int, *, within: bool) -> list[_Near]:
    found: dict[int, _Near] = {}

    def enter(rows: Iterable[Any], nearness: int | None) -> None:
        for row in rows:
            how_near = nearness if nearness is not None else _slips_nearness(piece, row.word)
            if how_near and how_near > getattr(found.get(row.id), "nearness", 0):
                found[row.id] = _Near(row.id, row.word, row.jobs, how_near)

    enter(connection.execute(_EXACT, {"piece": piece}), EXACT)
    known = bool(found)
    if any(one.jobs >= max(_COMMON_FROM, jobs // 20) for one in found.values()):
        return list(found.values())
    if len(piece) >= 2:
        enter(connection.execute(_BEGINS, {"piece": piece, "last": piece + _LAST}), BEGINNING)
    keys, least = slip_keys(piece)
    if keys:
        enter(connection.execute(_WITH_KEYS, {"keys": sorted(keys), "least": least}), None)
    # Who asked for a word that is there means the word, not a part of another.
    keys = part_keys(piece) if within and not known else set()
    if keys:
        rows = connection.execute(_WITH_KEYS, {"keys": sorted(keys), "least": len(keys)})
        enter([row for row in rows if piece in row.word], WITHIN)
    nearest = sorted(found.values(), key=lambda one: (-one.nearness, -one.jobs, one.word))
    return nearest[: _BESIDE_EXACT if known else None]


def _slips_nearness(asked: str, word: str) -> int:
    most = slips_allowed(asked)
    made = slips(asked, word, most)
    return 0 if made > most else (EXACT, ONE_SLIP, TWO_SLIPS)[made]


def _best_jobs(weights: Sequence[Weights], limit: int) -> sa.Select[Any]:
    """Jobs by the sum over asked words of what the best word they hold for it counts, times how
    many of the asked words they hold."""
    each = []
    for terms in filter(None, weights):
        by_count: dict[int, list[int]] = defaultdict(list)
        for term_id, (_, counts) in terms.items():
            by_count[counts].append(term_id)
        counts_for = sa.case(
            *((TERM_USE.c.term_id.in_(ids), count) for count, ids in by_count.items()), else_=0
        )
        if len(terms) == 1:
            ((term_id, (_, counts)),) = terms.items()
            only = sa.literal(counts, sa.Integer).label("counts")
            each.append(sa.select(TERM_USE.c.job_number, only).where(TERM_USE.c.term_id == term_id))
            continue
        each.append(
            sa.select(TERM_USE.c.job_number, sa.func.max(counts_for).label("counts"))
            .where(TERM_USE.c.term_id.in_(terms))
            .group_by(TERM_USE.c.job_number)
        )
    held = sa.union_all(*each).subquery()
    score = sa.cast(sa.func.sum(held.c.counts) * sa.func.count(), sa.BigInteger).label("score")
    best = (
        sa.select(held.c.job_number, score, sa.func.count().label("held"))
        .group_by(held.c.job_number)
        .order_by(score.desc(), held.c.job_number.desc())
        .limit(limit)
        .subquery()
    )
    return (
        sa.select(best.c.job_number, best.c.score, best.c.held, JOB.c.id)
        .join_from(best, JOB, JOB.c.number == best.c.job_number)
        .order_by(best.c.score.desc(), best.c.job_number.desc())
    )


def _by_word(weights: Sequence[Weights]) -> dict[str, set[int]]:
    """By each word that may be meant, the places of the asked words it answers."""
    near: dict[str, set[int]] = defaultdict(set)
    for place, terms in enumerate(weights):
        for word, _ in terms.values():
            near[word].add(place)
    return near


def _entries(connection: sa.Connection, numbers: Sequence[int]) -> Mapping[int, list[Any]]:
    """The entries of some jobs that are short enough to look through, by the job's number."""
    found: dict[int, list[Any]] = defaultdict(list)
    body = sa.type_coerce(ENTRY.c.body, sa.Text).label("body")
    rows = connection.execute(
        sa.select(JOB.c.number, ENTRY.c.id, ENTRY.c.kind, body)
        .join_from(ENTRY, JOB, ENTRY.c.job_id == JOB.c.id)
        .where(
            JOB.c.number.in_(numbers),
            ENTRY.c.removed.is_(False),
            sa.func.length(body) < _LONG_BODY,
        )
        .order_by(ENTRY.c.place)
    )
    for row in rows:
        found[row.number].append(row)
    return found


def _places(entries: Sequence[Any], near: Mapping[str, set[int]], held: int) -> tuple[Where, ...]:
    """Where the words stand, until each of the `held` asked ones was met once."""
    met: set[int] = set()
    places: list[Where] = []
    for entry in entries:
        # Most entries hold none of the words: that is seen faster in the text as it is kept,
        # unless it has letters that are kept as numbers there.
        if "\\u" not in entry.body and not _holds(entry.body, near):
            continue
        for field, text in texts_of(json.loads(entry.body)):
            here = [word for word in words_of(text) if near.get(word, set()) - met]
            if here:
                places.append(Where(entry.id, entry.kind, field, _snippet(text, here[0])))
                met.update(*(near[word] for word in here))
            if len(met) >= held or len(places) == 3:
                return tuple(places)
    return tuple(places)


def _holds(text: str, words: Iterable[str]) -> bool:
    letters = squeezed(text)
    return any(word in letters for word in words)


def _snippet(text: str, word: str) -> str:
    """The text, or what stands around the word."""
    line = " ".join(text.split())
    if len(line) <= _SNIPPET:
        return line
    at = max(fold(line).find(word), 0)
    start = max(min(at - _SNIPPET // 3, len(line) - _SNIPPET), 0)
    cut = line[start : start + _SNIPPET]
    return ("…" if start else "") + cut.strip() + ("…" if start + _SNIPPET < len(line) else "")
