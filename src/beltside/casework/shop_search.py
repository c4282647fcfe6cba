"""Search over everything written on jobs."""

from __future__ import annotations

from typing import Final

from beltside.casework.shop import Shop
from beltside.casework.shop_jobs import JobLine, job_line
from beltside.jobs.search import Search

MOST_FOUND: Final = 50


def search_jobs(shop: Shop, words: str) -> list[JobLine]:
    """Jobs that hold these words, or words a slip of the finger away, the best first."""
    found = Search(shop.record.database).find(words, MOST_FOUND)
    return [job_line(job) for job in shop.record.jobs_named([one.job_id for one in found])]
