"""Takes whole jobs out of the record, with all that hangs on them. Only for what is no real job."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import sqlalchemy as sa

from beltside.jobs.counters import count_up
from beltside.jobs.database import Database
from beltside.jobs.schema import ENTRY, FILE_USE, JOB, STORED_FILE
from beltside.jobs.search_words import forget_jobs
from beltside.jobs.sounds import SOUNDS_GONE

_AT_ONCE: Final = 200


def jobs_with_prefix(database: Database, prefix: str) -> list[str]:
    """Names of jobs that begin so, in order."""
    query = sa.select(JOB.c.id).where(JOB.c.id.startswith(prefix, autoescape=True))
    with database.reading() as connection:
        return sorted(connection.execute(query).scalars())


def remove_jobs(database: Database, ids: Sequence[str]) -> list[str]:
    """Delete jobs with their entries, analyses, sounds and search words, whole or not at all.

    Returns
    -------
    list of str
        Stored files that no entry needs any more; they are taken out of the record, and the
        caller may delete them.
    """
    with database.writing() as connection:
        files: set[str] = set()
        for start in range(0, len(ids), _AT_ONCE):
            part = list(ids[start : start + _AT_ONCE])
            files |= set(
                connection.execute(
                    sa.select(FILE_USE.c.sha256)
                    .join(ENTRY, ENTRY.c.id == FILE_USE.c.entry_id)
                    .where(ENTRY.c.job_id.in_(part))
                ).scalars()
            )
            numbers = connection.execute(sa.select(JOB.c.number).where(JOB.c.id.in_(part)))
            forget_jobs(connection, list(numbers.scalars()))
            connection.execute(JOB.delete().where(JOB.c.id.in_(part)))
        if ids:
            # Copies of the sounds in the memory of other programs hold what is gone now.
            count_up(connection, SOUNDS_GONE)
        free = []
        for sha256 in sorted(files):
            used = connection.execute(
                sa.select(FILE_USE.c.sha256).where(FILE_USE.c.sha256 == sha256).limit(1)
            ).scalar()
            if used is None:
                connection.execute(STORED_FILE.delete().where(STORED_FILE.c.sha256 == sha256))
                free.append(sha256)
        return free
