"""Search over everything written on jobs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

from beltside.base.errors import InputError
from beltside.casework.shop import Shop
from beltside.casework.shop_jobs import JobLine, job_line
from beltside.jobs.search import Search, Where

MOST_FOUND: Final = 50


@dataclass(frozen=True)
class FoundJob:
    """A job found, and at most three places where the words stand."""

    line: JobLine
    where: tuple[Where, ...]

    def to_json(self) -> dict[str, Any]:
        """Plain dict."""
        return {
            **self.line.to_json(),
            "where": [
                {
                    "entry": one.entry_id,
                    "kind": one.kind,
                    "field": one.field,
                    "snippet": one.snippet,
                }
                for one in self.where
            ],
        }


def find_jobs(shop: Shop, words: str, *, limit: int = MOST_FOUND) -> list[FoundJob]:
    """Jobs that hold these words, or words a slip of the finger away, the best first.

    Parameters
    ----------
    words
        Anything that stands on a job: owner, plate, VIN, his words, a part, a cause.
    limit
        How many at the most, 1 to 200.

    Raises
    ------
    InputError
        When no word was given, or the limit is out of range.
    """
    if not words.strip():
        raise InputError(
            "no word to search for",
            allowed="an owner, a plate, a VIN, a part, any word on a job",
            instead="`beltside job list` for all jobs",
        )
    found = Search(shop.record.database).find(words, limit)
    jobs = {job.id: job for job in shop.record.jobs_named([one.job_id for one in found])}
    return [FoundJob(job_line(jobs[one.job_id]), one.where) for one in found if one.job_id in jobs]


def search_jobs(shop: Shop, words: str) -> list[JobLine]:
    """As `find_jobs`, the lines alone; none without words."""
    return [one.line for one in find_jobs(shop, words)] if words.strip() else []
