"""Work to be done in the background: asked for once, done once, kept with its method's version.

What is computed is the business of those who ask. A piece of work is named by its method, the
method's version, its subject (usually the hash of a stored file) and its settings.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any, Final, Literal

import sqlalchemy as sa

from beltside.base.errors import InputError
from beltside.jobs import sealed_rows
from beltside.jobs.database import Database
from beltside.jobs.reading import MissingError
from beltside.jobs.record import new_id
from beltside.jobs.schema import ANALYSIS

State = Literal["waiting", "running", "done", "failed", "cancelled"]
OPEN: Final = ("waiting", "running")

MOST_ATTEMPTS: Final = 3
"""How often a piece of work is begun whose worker died over it."""

DEAD_AFTER_S: Final = 60.0
"""A worker that gave no sign of life for so long is taken for dead."""


@dataclass(frozen=True)
class Analysis:
    """A piece of work and what became of it.

    Attributes
    ----------
    id
        Its name.
    method, version, subject, settings
        What is to be done, by which version of the method, to what, and how.
    job_id
        The job it was first asked for, or None.
    state
        "waiting", "running", "done", "failed" or "cancelled".
    percent, doing
        How far it is, 0 to 100, and what it is at.
    worker, attempt
        Who does it or did, and the how manyth time.
    asked_at, started_at, ended_at
        When.
    result
        What `finish` was given.
    problem
        Why it failed, in words.
    """

    id: str
    method: str
    version: int
    subject: str
    settings: Mapping[str, Any]
    job_id: str | None
    state: State
    percent: int
    doing: str
    worker: str | None
    attempt: int
    asked_at: datetime
    started_at: datetime | None
    ended_at: datetime | None
    result: Any
    problem: str | None


class Queue:
    """The work in one database; any number of programs may use it at once."""

    def __init__(
        self, database: Database, *, now: Callable[[], datetime] = lambda: datetime.now(UTC)
    ) -> None:
        self.database: Final = database
        self._now: Final = now

    # Asking -----------------------------------------------------------------------------------

    def ask(
        self,
        method: str,
        version: int,
        subject: str,
        settings: Mapping[str, Any],
        job_id: str | None = None,
    ) -> str:
        """Ask for a piece of work; the same asked again is the same piece, done or not.

        One that failed or was cancelled is begun anew. A new version of the method is another
        piece; results of older ones stay.

        Returns
        -------
        str
            Its name.
        """
        key = settings_key(settings)
        fresh: dict[str, Any] = {"state": "waiting", "progress": 0, "doing": "", "attempts": 0}
        with self.database.writing() as connection:
            name = new_id()
            made = sealed_rows.insert_unless_there(
                connection,
                ANALYSIS,
                id=name,
                method=method,
                version=version,
                subject=subject,
                settings_key=key,
                settings=dict(settings),
                job_id=job_id,
                asked_at=self._now(),
                **fresh,
            )
            if made:
                return name
            same = sa.and_(
                ANALYSIS.c.method == method,
                ANALYSIS.c.version == version,
                ANALYSIS.c.subject == subject,
                ANALYSIS.c.settings_key == key,
            )
            sealed_rows.update(
                connection,
                ANALYSIS,
                same,
                ANALYSIS.c.state.in_(["failed", "cancelled"]),
                asked_at=self._now(),
                worker=None,
                problem=None,
                ended_at=None,
                **fresh,
            )
            return str(connection.execute(sa.select(ANALYSIS.c.id).where(same)).scalar_one())

    def cancel(self, name: str) -> bool:
        """Call a piece of work off; whether it was still open. Its worker learns it at its next
        sign of life."""
        return self._set(
            ANALYSIS.c.id == name,
            ANALYSIS.c.state.in_(OPEN),
            state="cancelled",
            ended_at=self._now(),
        )

    def get(self, name: str) -> Analysis:
        """A piece of work by its name.

        Raises
        ------
        MissingError
            When there is none.
        """
        found = self._read(ANALYSIS.c.id == name)
        if not found:
            raise MissingError(f"There is no analysis {name}")
        return found[0]

    def result(self, method: str, subject: str, settings: Mapping[str, Any]) -> Analysis | None:
        """The finished piece by the newest version of the method, or None."""
        found = self._read(
            ANALYSIS.c.method == method,
            ANALYSIS.c.subject == subject,
            ANALYSIS.c.settings_key == settings_key(settings),
            ANALYSIS.c.state == "done",
        )
        return max(found, key=lambda one: one.version, default=None)

    def of_job(self, job_id: str) -> list[Analysis]:
        """What was first asked for a job, oldest first."""
        return self._read(ANALYSIS.c.job_id == job_id)

    def of_subjects(self, subjects: Sequence[str]) -> list[Analysis]:
        """All that was asked about some files, oldest first."""
        return self._read(ANALYSIS.c.subject.in_(subjects))

    def open_count(self) -> int:
        """How many pieces wait or run."""
        query = sa.select(sa.func.count()).where(ANALYSIS.c.state.in_(OPEN))
        with self.database.reading() as connection:
            return int(connection.execute(query).scalar_one())

    # Working ----------------------------------------------------------------------------------

    def claim(self, worker: str, methods: Sequence[str] | None = None) -> Analysis | None:
        """Take the piece that waits longest; no other worker gets it. None when none waits.

        Parameters
        ----------
        worker
            A name nobody else has.
        methods
            Those the worker knows; None means all.
        """
        waits = ANALYSIS.c.state == "waiting"
        if methods is not None:
            waits = sa.and_(waits, ANALYSIS.c.method.in_(methods))
        first = sa.select(ANALYSIS.c.id).where(waits).order_by(ANALYSIS.c.asked_at, ANALYSIS.c.id)
        # Looking costs nobody anything; only who sees work takes his turn to write.
        with self.database.reading() as connection:
            if connection.execute(first.limit(1)).first() is None:
                return None
        with self.database.writing() as connection:
            # PostgreSQL passes over what another is taking; SQLite has one writer at a time.
            name = connection.execute(first.limit(1).with_for_update(skip_locked=True)).scalar()
            if name is None:
                return None
            begin(connection, ANALYSIS.c.id == name, worker=worker, at=self._now())
            row = connection.execute(sa.select(ANALYSIS).where(ANALYSIS.c.id == name)).one()
            return _analysis_of(row)

    def beat(self, work: Analysis) -> bool:
        """A sign of life; False when the work is not this worker's any more: he should stop."""
        return self._set(*_his(work), beat_at=self._now())

    def progress(self, work: Analysis, percent: float, doing: str = "") -> bool:
        """A sign of life with how far it is, 0 to 100; answers as `beat`."""
        if not 0 <= percent <= 100:
            raise InputError(f"{percent:g} % of the work done", allowed="0 to 100 %")
        return self._set(*_his(work), beat_at=self._now(), progress=int(percent), doing=doing[:300])

    def finish(self, work: Analysis, result: Any) -> bool:
        """Keep the result; False, and nothing is kept, when the work is not this worker's."""
        done = {"state": "done", "progress": 100, "doing": "", "result": result}
        return self._set(*_his(work), ended_at=self._now(), problem=None, **done)

    def fail(self, work: Analysis, problem: str) -> bool:
        """Say why it cannot be done; it is not begun again until it is asked for again."""
        return self._set(*_his(work), state="failed", ended_at=self._now(), problem=problem[:4000])

    def give_back(self, work: Analysis) -> bool:
        """Let go of it before it is done, for another: this attempt does not count."""
        return self._set(
            *_his(work), count={"attempts": -1}, state="waiting", worker=None, doing=""
        )

    def release(self, *, worker: str | None = None, silent_s: float = DEAD_AFTER_S) -> int:
        """Give work back whose worker died: it waits again, or has failed after three attempts.

        Parameters
        ----------
        worker
            One that is known to be dead; None means all that gave no sign of life for
            `silent_s` seconds.

        Returns
        -------
        int
            How many pieces were given back.
        """
        if worker is not None:
            dead = ANALYSIS.c.worker == worker
        else:
            dead = ANALYSIS.c.beat_at < self._now() - timedelta(seconds=silent_s)
        dead = sa.and_(dead, ANALYSIS.c.state == "running")
        with self.database.reading() as connection:
            if connection.execute(sa.select(ANALYSIS.c.id).where(dead).limit(1)).first() is None:
                return 0
        too_often = ANALYSIS.c.attempts >= MOST_ATTEMPTS
        problem = f"The work was broken off {MOST_ATTEMPTS} times, and nobody said why"
        with self.database.writing() as connection:
            over: dict[str, Any] = {"state": "failed", "ended_at": self._now(), "problem": problem}
            failed = sealed_rows.update(connection, ANALYSIS, dead, too_often, **over)
            again: dict[str, Any] = {"state": "waiting", "worker": None, "doing": ""}
            return failed + sealed_rows.update(connection, ANALYSIS, dead, **again)

    def _set(
        self,
        *where: sa.ColumnElement[bool],
        count: Mapping[str, int] | None = None,
        **values: Any,
    ) -> bool:
        with self.database.writing() as connection:
            return sealed_rows.update(connection, ANALYSIS, *where, count=count, **values) > 0

    def _read(self, *where: sa.ColumnElement[bool]) -> list[Analysis]:
        query = sa.select(ANALYSIS).where(*where).order_by(ANALYSIS.c.asked_at, ANALYSIS.c.id)
        with self.database.reading() as connection:
            return [_analysis_of(row) for row in connection.execute(query)]


def settings_key(settings: Mapping[str, Any]) -> str:
    """The same for the same settings in any order.

    >>> settings_key({"a": 1, "b": 2}) == settings_key({"b": 2, "a": 1})
    True
    """
    text = json.dumps(settings, sort_keys=True, allow_nan=False)
    return hashlib.sha256(text.encode("ascii")).hexdigest()


def begin(
    connection: sa.Connection, *where: sa.ColumnElement[bool], worker: str, at: datetime
) -> bool:
    """Write that a worker begins a piece of work; whether there was one."""
    done = sealed_rows.update(
        connection,
        ANALYSIS,
        *where,
        count={"attempts": 1},
        state="running",
        worker=worker,
        beat_at=at,
        started_at=at,
        progress=0,
        doing="",
    )
    return done > 0


def _his(work: Analysis) -> tuple[sa.ColumnElement[bool], ...]:
    """The work is still this worker's, in this attempt."""
    return (
        ANALYSIS.c.id == work.id,
        ANALYSIS.c.state == "running",
        ANALYSIS.c.worker == work.worker,
        ANALYSIS.c.attempts == work.attempt,
    )


def _analysis_of(row: Any) -> Analysis:
    return Analysis(
        row.id,
        row.method,
        row.version,
        row.subject,
        row.settings,
        row.job_id,
        row.state,
        row.progress,
        row.doing,
        row.worker,
        row.attempts,
        row.asked_at,
        row.started_at,
        row.ended_at,
        row.result,
        row.problem,
    )
