"""Jobs that are taken out take everything along and nothing else: the record is then as if they had
never been there (a second record, into which they never came)."""

from __future__ import annotations

from pathlib import Path

import sqlalchemy as sa

from beltside.jobs.check import verify
from beltside.jobs.database import Database, open_database
from beltside.jobs.record import Record
from beltside.jobs.removing import jobs_with_prefix, remove_jobs
from beltside.jobs.schema import TERM, TERM_GRAM, TERM_USE
from beltside.jobs.search import Search
from beltside.jobs.sounds import Sounds
from beltside.jobs.store import FolderStore

WORDS = ("it grinds when cold", "it howls when hot", "grinds and howls at idle")


def fill(record: Record, store: FolderStore, name: str) -> None:
    """Three jobs, one after the other with the same words, a take and a shared photo each."""
    for number, words in enumerate(WORDS):
        job = record.new_job(
            [("owner", {"name": f"Berg {name}"})], by="Ida", job_id=f"{name}-{number}"
        )
        record.add(job.job.id, "complaint", {"words": words}, by="Ida")
        note = record.add(job.job.id, "note", {"words": words + " again"}, by="Ida")
        record.change(note.id, {"words": "quiet now"}, by="Ida")
        for content in (f"{name} {number}", "the same photo"):
            stored = store.put([content.encode()], most_bytes=1000)
            record.keep_file(stored, "image/png")
            record.add(
                job.job.id, "photo", {"file": stored.sha256}, by="Ida", files=[stored.sha256]
            )


def words_kept(database: Database) -> tuple[dict[str, int], int, int]:
    with database.reading() as connection:
        words = {row.word: row.jobs for row in connection.execute(sa.select(TERM))}
        count = sa.select(sa.func.count())
        uses = connection.execute(count.select_from(TERM_USE)).scalar_one()
        return words, uses, connection.execute(count.select_from(TERM_GRAM)).scalar_one()


def test_search_words_are_given_back(database: Database, tmp_path: Path) -> None:
    store = FolderStore(tmp_path / "files")
    record = Record(database)
    fill(record, store, "real")
    before = words_kept(database)
    fill(record, store, "demo")
    assert words_kept(database) != before
    free = remove_jobs(database, jobs_with_prefix(database, "demo-"))
    assert words_kept(database) == before
    assert len(free) == 3, "the photo that the other jobs need as well stays"
    for sha256 in free:
        store.remove(sha256)
    assert verify(database, store).problems == ()
    assert [one.job_id for one in Search(database).find("grinds")] == ["real-2", "real-0"]
    assert remove_jobs(database, []) == []


def test_removed_sounds_are_found_no_more_by_any_program(address: Path | str) -> None:
    """Another program has them in memory already."""
    with open_database(address) as mine, open_database(address) as theirs:
        record, sounds = Record(mine), Sounds(theirs)
        for name, vector in (("real", [1.0, 0.0]), ("demo", [0.8, 0.6])):
            job = record.new_job(
                [("take", {}), ("outcome", {"cause": "belt.slip", "closed": True})],
                by="Ida",
                job_id=f"{name}-1",
            )
            Sounds(mine).add(job.of_kind("take")[0].id, 1, vector)
        assert [one.job_id for one in sounds.nearest([0.8, 0.6], 1)] == ["demo-1", "real-1"]
        remove_jobs(mine, ["demo-1"])
        assert [one.job_id for one in sounds.nearest([0.8, 0.6], 1)] == ["real-1"]
        # All 128 places of the whole comparison are for sounds that are there.
        assert sounds._copies[1].count == 1
