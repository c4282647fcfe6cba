"""Keeps what takes sound like, and finds those that one sound is nearest to.

A sound is a vector of length 1; how alike two are is their inner product, how far apart 1 less
that. Each process holds a shortened copy of all vectors in memory: their parts along the
directions in which a sample of them differs most. The likeliest by that copy are then compared
whole.
"""

from __future__ import annotations

import threading
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import sqlalchemy as sa

from beltside.base.errors import InputError
from beltside.jobs.database import Database, count_up, counted
from beltside.jobs.entries import Entry
from beltside.jobs.reading import MissingError
from beltside.jobs.schema import ENTRY, SOUND

Float32 = npt.NDArray[np.float32]

DIRECTIONS: Final = 192
"""Length of the shortened vectors; own choice, see docs/record.md for what it costs."""

COMPARED: Final = 128
"""How many of the likeliest are compared whole."""

SAMPLE: Final = 2000
MOST_NUMBERS: Final = 20_000
_AT_ONCE: Final = 1000
_KEPT_AS: Final = np.dtype("<f2")
"""Half precision: of a vector of length 1 it changes inner products by less than 0.001."""


@dataclass(frozen=True)
class NearSound:
    """A take that sounds alike: 0 is the same, 1 and more are strangers."""

    entry_id: str
    job_id: str
    cause: str | None
    distance: float


class Sounds:
    """The sounds in one database, with a copy in the memory of this process."""

    def __init__(self, database: Database) -> None:
        self.database: Final = database
        self._lock: Final = threading.Lock()
        self._copies: Final[dict[int, _Copy]] = {}

    def add(self, entry_id: str, version: int, vector: npt.ArrayLike) -> None:
        """Keep what a take sounds like; again replaces it. Its cause is that of its closed job.

        Parameters
        ----------
        entry_id
            The take's entry, which must be on a job.
        version
            Version of the method that made the vector; only equal ones are compared.
        vector
            Shape (n,), of length 1 within 1 %, n at most 20,000 and the same for all of a version.

        Raises
        ------
        InputError
            When the vector is of another form.
        MissingError
            When there is no such entry on a job.
        """
        kept = _checked(vector).astype(_KEPT_AS).tobytes()
        with self.database.writing() as connection:
            take = connection.execute(
                sa.select(ENTRY.c.job_id, ENTRY.c.removed).where(ENTRY.c.id == entry_id)
            ).one_or_none()
            if take is None or take.job_id is None:
                raise MissingError(f"There is no entry {entry_id} on a job")
            change = count_up(connection, "sound")
            outcome = connection.execute(
                sa.select(ENTRY.c.body)
                .where(
                    ENTRY.c.job_id == take.job_id,
                    ENTRY.c.kind == "outcome",
                    ENTRY.c.removed.is_(False),
                )
                .order_by(ENTRY.c.place.desc())
                .limit(1)
            ).scalar()
            here = sa.and_(SOUND.c.entry_id == entry_id, SOUND.c.version == version)
            connection.execute(SOUND.delete().where(here))
            connection.execute(
                SOUND.insert().values(
                    entry_id=entry_id,
                    version=version,
                    job_id=take.job_id,
                    cause=known_cause(outcome or {}),
                    hidden=take.removed,
                    change=change,
                    vector=kept,
                )
            )

    def nearest(
        self,
        vector: npt.ArrayLike,
        version: int,
        *,
        limit: int = 5,
        except_job: str | None = None,
        with_cause: bool = True,
    ) -> list[NearSound]:
        """The takes that sound most alike, the nearest first, among all processes' additions.

        Parameters
        ----------
        vector, version
            As in `add`.
        limit
            How many, 1 to 100.
        except_job
            The job in question, whose own takes are no news.
        with_cause
            Only takes whose cause is known.
        """
        if not 1 <= limit <= 100:
            raise InputError(f"{limit} nearest takes", allowed="1 to 100")
        asked = _checked(vector)
        with self._lock, self.database.reading() as connection:
            copy = self._refreshed(connection, version)
            if copy.count and copy.size != asked.size:
                raise InputError(
                    f"A sound of {asked.size} numbers", allowed=f"{copy.size}, as those kept"
                )
            likely = copy.likeliest(asked, except_job, with_cause)
            return _compared(connection, asked, version, likely)[:limit]

    def count(self, version: int) -> int:
        """How many sounds of a version are kept whose cause is known."""
        query = sa.select(sa.func.count()).where(
            SOUND.c.version == version, SOUND.c.cause.is_not(None), SOUND.c.hidden.is_(False)
        )
        with self.database.reading() as connection:
            return int(connection.execute(query).scalar_one())

    def _refreshed(self, connection: sa.Connection, version: int) -> _Copy:
        """The copy with all that was changed since, by whichever process."""
        copy = self._copies.setdefault(version, _Copy())
        now = counted(connection, "sound")
        if now == copy.seen:
            return copy
        new = sa.and_(SOUND.c.version == version, SOUND.c.change > copy.seen)
        count = connection.execute(sa.select(sa.func.count()).where(new)).scalar_one()
        if copy.count + count > 4 * copy.fitted_on:
            # So many more than the directions were found on: they are found anew.
            copy = self._copies[version] = _fitted(connection, version)
            new = SOUND.c.version == version
        rows = connection.execute(sa.select(SOUND).where(new).execution_options(yield_per=_AT_ONCE))
        for some in rows.partitions(_AT_ONCE):
            copy.enter(some)
        copy.seen = now
        return copy


class _Copy:
    """Shortened vectors of one version, with what is known of each."""

    def __init__(self, directions: Float32 | None = None, fitted_on: int = 0) -> None:
        self.directions = np.zeros((0, 0), np.float32) if directions is None else directions
        self.fitted_on = fitted_on
        self.size = self.directions.shape[0]
        self.seen = 0
        self.count = 0
        self.names: list[str] = []
        self._places: dict[str, int] = {}
        self._short = np.zeros((0, self.directions.shape[1]), np.float32)
        self._usable = np.zeros(0, bool)
        self._caused = np.zeros(0, bool)
        self._jobs: dict[str, list[int]] = {}

    def enter(self, rows: Any) -> None:
        vectors = np.array([_read(row.vector, self.size) for row in rows])
        places = [self._place(row.entry_id, row.job_id) for row in rows]
        self._grow()
        self._short[places] = vectors @ self.directions
        self._usable[places] = [not row.hidden for row in rows]
        self._caused[places] = [row.cause is not None for row in rows]

    def likeliest(self, asked: Float32, except_job: str | None, with_cause: bool) -> list[str]:
        """Entries of those to be compared whole."""
        if not self.count:
            return []
        alike = self._short[: self.count] @ (asked @ self.directions)
        usable = self._usable[: self.count]
        alike[~(usable & self._caused[: self.count] if with_cause else usable)] = -np.inf
        alike[self._jobs.get(except_job or "", [])] = -np.inf
        most = min(COMPARED, self.count)
        best = np.argpartition(alike, self.count - most)[self.count - most :]
        return [self.names[place] for place in best if np.isfinite(alike[place])]

    def _place(self, entry_id: str, job_id: str) -> int:
        place = self._places.get(entry_id)
        if place is None:
            place = self._places[entry_id] = self.count
            self.names.append(entry_id)
            self._jobs.setdefault(job_id, []).append(place)
            self.count += 1
        return place

    def _grow(self) -> None:
        if self.count > len(self._short):
            more = max(self.count, len(self._short) * 5 // 4) - len(self._short)
            self._short = np.pad(self._short, ((0, more), (0, 0)))
            self._usable = np.pad(self._usable, (0, more))
            self._caused = np.pad(self._caused, (0, more))


def _fitted(connection: sa.Connection, version: int) -> _Copy:
    """An empty copy with the directions found on a sample spread over all sounds of a version."""
    names = list(
        connection.execute(
            sa.select(SOUND.c.entry_id).where(SOUND.c.version == version).order_by(SOUND.c.entry_id)
        ).scalars()
    )
    sample = names[:: max(len(names) // SAMPLE, 1)]
    vectors = []
    for start in range(0, len(sample), _AT_ONCE):
        rows = connection.execute(
            sa.select(SOUND.c.vector).where(
                SOUND.c.version == version,
                SOUND.c.entry_id.in_(sample[start : start + _AT_ONCE]),
            )
        )
        vectors += [_read(row.vector) for row in rows]
    return _Copy(_main_directions(np.array(vectors, np.float32)), len(names))


def _main_directions(vectors: Float32) -> Float32:
    """The directions along which vectors (n, size) reach farthest, orthonormal, (size, k).

    Randomised range finder with two power iterations (Halko, Martinsson and Tropp, 2011,
    algorithm 4.4); always the same for the same vectors.
    """
    count, size = vectors.shape
    wanted = min(DIRECTIONS, count, size)
    wide = min(wanted + 16, size)
    chance = np.random.default_rng(0).standard_normal((count, wide)).astype(np.float32)
    span, _ = np.linalg.qr(vectors.T @ chance)
    for _ in range(2):
        span, _ = np.linalg.qr(vectors.T @ (vectors @ span))
    _, _, turned = np.linalg.svd(vectors @ span, full_matrices=False)
    directions: Float32 = np.ascontiguousarray(span @ turned[:wanted].T, dtype=np.float32)
    return directions


def _compared(
    connection: sa.Connection, asked: Float32, version: int, names: list[str]
) -> list[NearSound]:
    if not names:
        return []
    rows = connection.execute(
        sa.select(SOUND.c.entry_id, SOUND.c.job_id, SOUND.c.cause, SOUND.c.vector).where(
            SOUND.c.version == version, SOUND.c.entry_id.in_(names)
        )
    ).all()
    alike = np.array([_read(row.vector, asked.size) for row in rows]) @ asked
    near = [
        NearSound(row.entry_id, row.job_id, row.cause, max(1.0 - float(value), 0.0))
        for row, value in zip(rows, alike, strict=True)
    ]
    return sorted(near, key=lambda one: (one.distance, one.entry_id))


def _read(kept: bytes, size: int | None = None) -> Float32:
    vector: Float32 = np.frombuffer(kept, _KEPT_AS).astype(np.float32)
    if size is not None and vector.size != size:
        raise InputError(f"A kept sound of {vector.size} numbers", allowed=f"{size}")
    return vector


def _checked(vector: npt.ArrayLike) -> Float32:
    numbers: Float32 = np.asarray(vector, dtype=np.float32)
    if numbers.ndim != 1 or not 1 <= numbers.size <= MOST_NUMBERS:
        raise InputError(
            f"A sound of shape {numbers.shape}", allowed=f"1 to {MOST_NUMBERS} numbers in a row"
        )
    length = float(np.linalg.norm(numbers))
    if not abs(length - 1.0) < 0.01:
        raise InputError(f"A sound whose vector is {length:g} long", allowed="1 within 1 %")
    return numbers


def known_cause(outcome: Mapping[str, Any]) -> str | None:
    """The cause in the outcome of a job, when it is closed and the noise is not known to be back.

    >>> known_cause({"cause": "belt.slip", "closed": True, "cured": True, "came_back": None})
    'belt.slip'
    """
    cause = outcome.get("cause")
    if not isinstance(cause, str) or not 0 < len(cause) <= 60:
        return None
    doubtful = outcome.get("cured") is False or outcome.get("came_back") is True
    return cause if outcome.get("closed") is True and not doubtful else None


def keep_sounds(connection: sa.Connection, entry: Entry) -> None:
    """A listener of the record: a job's outcome gives its takes their cause; a removed take is
    not compared any more."""
    if entry.kind == "outcome":
        cause = None if entry.removed else known_cause(entry.body)
        here = sa.and_(SOUND.c.job_id == entry.job_id, SOUND.c.cause.is_distinct_from(cause))
        values: dict[str, Any] = {"cause": cause}
    elif entry.version > 1:
        here = sa.and_(SOUND.c.entry_id == entry.id, SOUND.c.hidden != entry.removed)
        values = {"hidden": entry.removed}
    else:
        return
    if connection.execute(sa.select(SOUND.c.entry_id).where(here).limit(1)).first() is not None:
        change = count_up(connection, "sound")
        connection.execute(SOUND.update().where(here).values(change=change, **values))
