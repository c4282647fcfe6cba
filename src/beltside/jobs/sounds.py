"""Keeps what takes sound like, and finds those that one sound is nearest to.

A sound is up to three rows of numbers, each of length 1 at the most; how alike two are is the
largest inner product of a row of one with a row of the other, how far apart 1 less that. Each
process holds a shortened copy of all rows in memory: their parts along the directions in which a
sample of them differs most. The likeliest by that copy are then compared whole.
"""

from __future__ import annotations

import threading
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import sqlalchemy as sa

from beltside.base.errors import InputError
from beltside.jobs import sealed_rows
from beltside.jobs.counters import count_up, counted
from beltside.jobs.database import Database
from beltside.jobs.entries import Entry
from beltside.jobs.reading import MissingError
from beltside.jobs.schema import ENTRY, SOUND
from beltside.jobs.sound_copy import (
    AT_ONCE,
    MOST_ROWS,
    Among,
    Copy,
    Float32,
    fitted,
    read_sound,
    sound_to_keep,
)

SOUNDS_GONE: Final = "sounds gone"
"""The counter that goes up when sounds are deleted."""

MOST_NUMBERS: Final = 20_000
MOST_JUDGED: Final = 200
MOST_PAIRS: Final = 20_000_000
"""Closed jobs that are judged, and comparisons for it, at the most; own choice."""


@dataclass(frozen=True)
class NearSound:
    """A take that sounds alike: 0 is the same, 1 and more are strangers."""

    entry_id: str
    job_id: str
    cause: str | None
    distance: float


@dataclass(frozen=True)
class Judged:
    """A closed job held against all others: its cause, and what its takes are nearest to.

    `lead` is how much farther the nearest take with another cause is; None when there is none.
    """

    job_id: str
    cause: str
    nearest: NearSound
    lead: float | None


class Sounds:
    """The sounds in one database, with a copy in the memory of this process."""

    def __init__(self, database: Database) -> None:
        self.database: Final = database
        self._lock: Final = threading.Lock()
        self._copies: Final[dict[int, Copy]] = {}
        self._judged: tuple[tuple[object, ...], list[Judged]] | None = None

    def add(self, entry_id: str, version: int, vector: npt.ArrayLike) -> None:
        """Keep what a take sounds like; again replaces it. Its cause is that of its closed job.

        Parameters
        ----------
        entry_id
            The take's entry, which must be on a job.
        version
            Version of the method that made the vector; only equal ones are compared.
        vector
            Shape (n,), or (k, n) with k at most 3; each row 0.1 to 1 long, n at most 20,000 and
            the same for all of a version.

        Raises
        ------
        InputError
            When the vector is of another form.
        MissingError
            When there is no such entry on a job.
        """
        kept = sound_to_keep(_checked(vector))
        with self.database.writing() as connection:
            take = connection.execute(
                sa.select(ENTRY.c.job_id, ENTRY.c.removed, ENTRY.c.body).where(
                    ENTRY.c.id == entry_id
                )
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
            sealed_rows.insert(
                connection,
                SOUND,
                entry_id=entry_id,
                version=version,
                job_id=take.job_id,
                cause=known_cause(outcome or {}),
                hidden=take.removed or not shows_the_noise(take.body),
                change=change,
                vector=kept,
            )

    def nearest(
        self,
        vector: npt.ArrayLike,
        version: int,
        *,
        limit: int = 5,
        except_job: str | None = None,
        among: Among | None = None,
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
        among
            Which jobs to compare with; all without.
        with_cause
            Only takes whose cause is known.
        """
        if not 1 <= limit <= 100:
            raise InputError(f"{limit} nearest takes", allowed="1 to 100")
        asked = _checked(vector)
        with self._lock, self.database.reading() as connection:
            copy = self._refreshed(connection, version)
            if copy.count and copy.size != asked.shape[1]:
                raise InputError(
                    f"A sound of {asked.shape[1]} numbers", allowed=f"{copy.size}, as those kept"
                )
            likely = copy.likeliest(asked, copy.allowed(with_cause, except_job, among))
            return _compared(connection, asked, version, likely)[:limit]

    def each_nearest(
        self, version: int, *, among: Among | None = None, except_job: str | None = None
    ) -> list[Judged]:
        """Closed jobs held each against all others: what the nearest take says of its cause.

        A job's own takes are never compared with it, nor are those of `except_job`, which is not
        judged either. Of a job's takes the one nearest to another job's speaks. The newest jobs
        are judged, `MOST_JUDGED` at most, fewer in a record so large that it would take long.
        Worked out anew only when a sound or a cause changed.

        Parameters
        ----------
        among
            As for `nearest`; to be kept it must be equal to itself, and hashable.
        """
        with self._lock, self.database.reading() as connection:
            copy = self._refreshed(connection, version)
            key = (version, copy.seen, copy.gone, except_job, among)
            if self._judged is not None and self._judged[0] == key:
                return self._judged[1]
            allowed = copy.allowed(True, except_job, among)
            jobs = copy.jobs_of(allowed)
            found: list[Judged] = []
            pairs = 0
            for name in sorted(jobs, reverse=True)[:MOST_JUDGED]:
                pairs += len(jobs[name]) * copy.count
                if pairs > MOST_PAIRS and found:
                    break
                one = _judge(connection, copy, version, name, jobs[name], allowed)
                if one is not None:
                    found.append(one)
            self._judged = (key, found)
            return found

    def compared_with(
        self, version: int, *, among: Among | None = None, except_job: str | None = None
    ) -> int:
        """With how many takes of a known cause `nearest` compares."""
        with self._lock, self.database.reading() as connection:
            copy = self._refreshed(connection, version)
            return int(copy.allowed(True, except_job, among).sum())

    def vectors(self, version: int, entry_ids: Iterable[str]) -> dict[str, Float32]:
        """Kept sounds of some takes, shape (k, n) each, by their entry; hidden ones too."""
        query = sa.select(SOUND.c.entry_id, SOUND.c.vector).where(
            SOUND.c.version == version, SOUND.c.entry_id.in_(list(entry_ids))
        )
        with self.database.reading() as connection:
            return {row.entry_id: read_sound(row.vector) for row in connection.execute(query)}

    def count(self, version: int) -> int:
        """How many sounds of a version are kept whose cause is known."""
        query = sa.select(sa.func.count()).where(
            SOUND.c.version == version, SOUND.c.cause.is_not(None), SOUND.c.hidden.is_(False)
        )
        with self.database.reading() as connection:
            return int(connection.execute(query).scalar_one())

    def _refreshed(self, connection: sa.Connection, version: int) -> Copy:
        """The copy with all that was changed since, by whichever process."""
        copy = self._copies.setdefault(version, Copy())
        now, gone = counted(connection, "sound"), counted(connection, SOUNDS_GONE)
        if gone != copy.gone:
            copy = self._copies[version] = Copy(gone=gone)
        if now == copy.seen:
            return copy
        new = sa.and_(SOUND.c.version == version, SOUND.c.change > copy.seen)
        count = connection.execute(sa.select(sa.func.count()).where(new)).scalar_one()
        if copy.count + count > 4 * copy.fitted_on:
            # So many more than the directions were found on: they are found anew.
            copy = self._copies[version] = fitted(connection, version, gone)
            new = SOUND.c.version == version
        rows = connection.execute(sa.select(SOUND).where(new).execution_options(yield_per=AT_ONCE))
        for some in rows.partitions(AT_ONCE):
            copy.enter(some)
        copy.seen = now
        return copy


JUDGED_WHOLE: Final = 16
"""How many of the likeliest are compared whole when closed jobs are judged."""


def _judge(
    connection: sa.Connection,
    copy: Copy,
    version: int,
    job_id: str,
    places: Sequence[int],
    allowed: npt.NDArray[np.bool_],
) -> Judged | None:
    """A job against all others; None when there is no other."""
    rows = connection.execute(
        sa.select(SOUND.c.cause, SOUND.c.vector).where(
            SOUND.c.version == version,
            SOUND.c.entry_id.in_([copy.names[place] for place in places]),
        )
    ).all()
    others = allowed.copy()
    others[list(places)] = False
    best: Judged | None = None
    for row in rows:
        asked = read_sound(row.vector, copy.size)
        likely = copy.likeliest(asked, others, JUDGED_WHOLE)
        near = _compared(connection, asked, version, likely)
        if near and row.cause and (best is None or near[0].distance < best.nearest.distance):
            lead = lead_of(near, all_of_them=len(near) < JUDGED_WHOLE)
            best = Judged(job_id, row.cause, near[0], lead)
    return best


def lead_of(near: Sequence[NearSound], *, all_of_them: bool) -> float | None:
    """How much farther the nearest take with another cause is.

    Where `near` are not all there are and have one cause, it is at least as far as the last; None
    when no take has another cause.
    """
    for one in near:
        if one.cause != near[0].cause:
            return one.distance - near[0].distance
    return None if all_of_them else near[-1].distance - near[0].distance


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
    sounds = [read_sound(row.vector, asked.shape[1]) for row in rows]
    first_rows = np.cumsum([0, *(len(sound) for sound in sounds[:-1])])
    alike = np.maximum.reduceat((np.concatenate(sounds) @ asked.T).max(axis=1), first_rows)
    near = [
        NearSound(row.entry_id, row.job_id, row.cause, max(1.0 - float(value), 0.0))
        for row, value in zip(rows, alike, strict=True)
    ]
    return sorted(near, key=lambda one: (one.distance, one.entry_id))


def _checked(vector: npt.ArrayLike) -> Float32:
    numbers: Float32 = np.asarray(vector, dtype=np.float32)
    rows: Float32 = numbers[None, :] if numbers.ndim == 1 else numbers
    if rows.ndim != 2 or not (1 <= len(rows) <= MOST_ROWS and 1 <= rows.shape[1] <= MOST_NUMBERS):
        raise InputError(
            f"A sound of shape {numbers.shape}",
            allowed=f"1 to {MOST_ROWS} rows of 1 to {MOST_NUMBERS} numbers",
        )
    for length in np.linalg.norm(rows, axis=1).tolist():
        if not 0.1 <= length <= 1.01:
            raise InputError(f"A sound with a row {length:g} long", allowed="0.1 to 1 within 1 %")
    return rows


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


def shows_the_noise(take: Mapping[str, Any]) -> bool:
    """Whether the noise complained of can be in a take: before the repair, the belt not off.

    >>> shows_the_noise({"belt": "on"}), shows_the_noise({"stage": "after"})
    (True, False)
    """
    return take.get("stage") != "after" and take.get("belt") != "off"


def keep_sounds(connection: sa.Connection, entry: Entry) -> None:
    """A listener of the record: a job's outcome gives its takes their cause; a take that is
    removed, or turns out to be one without the noise, is not compared any more."""
    if entry.kind == "outcome":
        cause = None if entry.removed else known_cause(entry.body)
        here = sa.and_(SOUND.c.job_id == entry.job_id, SOUND.c.cause.is_distinct_from(cause))
        values: dict[str, Any] = {"cause": cause}
    elif entry.version > 1:
        hidden = entry.removed or not shows_the_noise(entry.body)
        here = sa.and_(SOUND.c.entry_id == entry.id, SOUND.c.hidden != hidden)
        values = {"hidden": hidden}
    else:
        return
    if connection.execute(sa.select(SOUND.c.entry_id).where(here).limit(1)).first() is not None:
        change = count_up(connection, "sound")
        sealed_rows.update(connection, SOUND, here, change=change, **values)
