"""Every row's checksum: written with every write, told when any column of it is another.

The checksum itself is held against BLAKE2b as the standard library has it (RFC 7693), over a text
put together here by hand.
"""

from __future__ import annotations

import hashlib
import re
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from beltside.jobs.access import AccessBook
from beltside.jobs.check import Problem, verify
from beltside.jobs.database import Database, open_database
from beltside.jobs.queue import Queue
from beltside.jobs.record import Record
from beltside.jobs.rescue import rescue
from beltside.jobs.schema import ENTRY, ENTRY_VERSION, METADATA
from beltside.jobs.sealed_rows import SEALED, is_whole, rows_kept
from beltside.jobs.store import FolderStore

AT = datetime(2026, 3, 2, 9, 30, tzinfo=UTC)
AT_US = 1772443800000000  # the same moment: `date -d "2026-03-02 09:30 UTC" +%s`, and six zeros


@pytest.fixture
def store(tmp_path: Path) -> FolderStore:
    return FolderStore(tmp_path / "files")


@pytest.fixture
def full(database: Database, store: FolderStore) -> Database:
    """A record with a row and more in every table, each written over once."""
    record = Record(database)
    stored = store.put([b"sound" * 100], most_bytes=1000)
    record.keep_file(stored, "audio/mp4")
    owner = ("owner", {"name": "Åsa Lind", "phone": "070 12"})
    job = record.new_job([owner], by="Ida", job_id="j1").job
    record.new_job([("owner", {"name": "Berg"})], by="Ida", job_id="j2")
    take = record.add(job.id, "take", {"file": stored.sha256}, by="Ida", entry_id="t1")
    for place in ("pump", "idler", "crank"):
        record.change(take.id, {"file": stored.sha256, "place": place}, by="Per")
    record.sounds.add("t1", 1, [0.6, 0.8])
    record.add(job.id, "outcome", {"cause": "idler.bearing", "closed": True}, by="Ida")
    queue = Queue(database)
    queue.ask("listen", 3, stored.sha256, {"belt": "on"}, job.id)
    work = queue.claim("worker")
    assert work is not None
    assert queue.progress(work, 40, "listening")
    assert queue.finish(work, {"rpm": 760.5})
    book = AccessBook(database)
    book.make("code", "AB", role="helper", name="Per", by="Ida", holds_for=timedelta(days=1))
    assert book.exchange("AB", "token", holds_for=timedelta(days=1)) is not None
    return database


def kept(database: Database, table: sa.Table) -> list[dict[str, Any]]:
    with database.reading() as connection:
        return list(rows_kept(connection, table))


def checksums(rows: list[dict[str, Any]]) -> list[str]:
    return sorted(row["checksum"] for row in rows)


def test_the_rule_by_hand(database: Database) -> None:
    Record(database, now=lambda: AT).add(None, "note", {"words": "Ö \\"}, by='I"a', entry_id="n1")
    (row,) = kept(database, ENTRY)
    body = '{\\"words\\":\\"\\\\u00d6 \\\\\\\\\\"}'
    text = (
        f'["entry",{{"at":{AT_US},"body":"{body}","by":"I\\"a",'
        f'"created_at":{AT_US},"id":"n1","kind":"note","place":0,"removed":0,"version":1}}]'
    )
    assert row["checksum"] == hashlib.blake2b(text.encode(), digest_size=16).hexdigest()


def test_every_write_leaves_its_checksum(full: Database, store: FolderStore) -> None:
    for table in SEALED:
        rows = kept(full, table)
        assert rows
        assert [row for row in rows if not is_whole(table.name, row)] == []
    assert verify(full, store).problems == ()


def test_no_row_is_written_past_it() -> None:
    """Whoever writes to one of these tables goes through `sealed_rows.py`."""
    names = "|".join(table.name.upper() for table in SEALED)
    past = re.compile(
        rf"\b({names}|table)\s*\.(insert|update)\(|insert_if_new\(\s*\w+,\s*({names})\b"
        rf"|sa\.(insert|update)\("
    )
    room = Path(__file__).parents[2] / "src" / "beltside"
    found = {
        path.name
        for path in room.rglob("*.py")
        if "migrations" not in path.parts and past.search(path.read_text())
    }
    # The rows of a backup bear the checksums they had; rescue writes tables that bear none.
    assert found == {"sealed_rows.py", "table_rows.py", "rescue.py"}


def test_any_column_that_is_another_is_another_row(full: Database) -> None:
    """Every column of every table: a number one higher, a letter or a byte another, none."""
    for table in SEALED:
        for row in kept(full, table):
            for column in row:
                for value in others(row[column]):
                    assert not is_whole(table.name, row | {column: value}), column


def others(value: Any) -> list[Any]:
    if value is None:
        return ["x", 0]
    if isinstance(value, str):
        return ["x" + value[1:], value + " ", None]
    if isinstance(value, bytes):
        return [bytes([value[0] ^ 1]) + value[1:], value[:-1], None]
    return [value + 1, -1 - value, None]


@pytest.mark.parametrize(
    ("statement", "about"),
    [
        ("UPDATE job SET change = change + 1 WHERE id = 'j1'", "job"),
        ("UPDATE entry SET kind = 'taka' WHERE id = 't1'", "entry"),
        ("UPDATE entry_version SET how = 'made' WHERE entry_id = 't1' AND version = 2", "entry"),
        ("UPDATE stored_file SET media_type = 'audio/mp3'", "file"),
        ("UPDATE analysis SET result = '{\"rpm\":770.5}'", "result"),
        ("UPDATE sound SET cause = NULL", "sound"),
        ("UPDATE access SET role = 'technician' WHERE kind = 'phone'", "access"),
    ],
)
def test_a_changed_row_is_told(
    full: Database, store: FolderStore, statement: str, about: str
) -> None:
    hurt(full, statement)
    found = verify(full, store)
    assert [one.about for one in found.problems] == [about]
    assert not found.whole


def hurt(database: Database, statement: str) -> None:
    with database.writing() as connection:
        assert connection.exec_driver_sql(statement).rowcount == 1


OLDER = (
    "UPDATE entry_version SET body = replace(body, 'pump', 'pumq') "
    "WHERE entry_id = 't1' AND version = 2"
)


def test_an_older_version_is_named_with_its_job(full: Database, store: FolderStore) -> None:
    hurt(full, OLDER)
    found = verify(full, store)
    assert found.problems == (
        Problem(
            "entry",
            "t1",
            "Version 2 of the entry t1 is damaged: its checksum is another",
            ("take of job 1",),
        ),
    )
    assert (found.entries, found.damaged_entries, found.damaged_files) == (4, 1, 0)


def test_only_the_damaged_one_is_left_out(
    full: Database, store: FolderStore, tmp_path: Path
) -> None:
    before = {table.name: kept(full, table) for table in SEALED}
    hurt(full, OLDER)
    with open_database(tmp_path / "new.db") as new:
        done = rescue(full, new, files=store, new_files=FolderStore(tmp_path / "rescued"))
        assert done.lost == ("Version 2 of t1 is damaged and left out",)
        after = {table.name: kept(new, table) for table in SEALED}
    gone = before["entry_version"]
    assert [row for row in gone if row not in after["entry_version"]] == [
        row for row in gone if (row["entry_id"], row["version"]) == ("t1", 2)
    ]
    for table in ("job", "entry", "stored_file", "analysis", "sound"):
        assert checksums(after[table]) == checksums(before[table])


@pytest.mark.parametrize(
    ("statement", "says"),
    [
        ("UPDATE entry SET body = '{' WHERE id = 't1'", "The take t1"),
        ("UPDATE entry SET removed = NOT removed WHERE id = 't1'", "The take t1"),
        (
            "UPDATE entry_version SET body = '{}' WHERE entry_id = 't1' AND version = 4",
            "Version 4 of t1",
        ),
        ("UPDATE job SET card = replace(card, 'Lind', 'Land') WHERE id = 'j1'", "The row of job 1"),
        ("UPDATE stored_file SET bytes = 7", "What is known of the file "),
    ],
)
def test_what_stands_twice_is_whole_again(
    full: Database, store: FolderStore, tmp_path: Path, statement: str, says: str
) -> None:
    before = {table.name: kept(full, table) for table in SEALED}
    hurt(full, statement)
    with open_database(tmp_path / "new.db") as new:
        files = FolderStore(tmp_path / "rescued")
        (lost,) = rescue(full, new, files=store, new_files=files).lost
        assert lost.startswith(says)
        assert lost.endswith("was damaged and could be put together again")
        for table in ("job", "entry", "entry_version", "stored_file"):
            found = kept(new, METADATA.tables[table])
            assert checksums(found) == checksums(before[table])
        assert verify(new, files).whole


def test_a_checksum_that_was_hit_itself(full: Database, store: FolderStore, tmp_path: Path) -> None:
    """The row is what was written: it is told, and rescued with a checksum of its own."""
    (row,) = [one for one in kept(full, ENTRY_VERSION) if one["version"] == 3]
    other = "0" if row["checksum"][5] != "0" else "1"
    wrong = row["checksum"][:5] + other + row["checksum"][6:]
    hurt(full, f"UPDATE entry_version SET checksum = '{wrong}' WHERE version = 3")
    assert not verify(full, store).whole
    with open_database(tmp_path / "new.db") as new:
        assert rescue(full, new).lost == ()
        assert row in kept(new, ENTRY_VERSION)


def test_a_job_made_anew_keeps_its_number(
    full: Database, store: FolderStore, tmp_path: Path
) -> None:
    hurt(full, "UPDATE job SET created_by = 'x' WHERE id = 'j1'")
    with open_database(tmp_path / "new.db") as new:
        done = rescue(full, new)
        assert "Job 1 was made anew from its entries" in done.lost
        assert Record(new).job("j1").number == 1
        assert Record(new).job(2).id == "j2"
        assert Record(new).new_job(by="Ida").job.number == 3


def test_writing_on_hides_no_damage(full: Database, store: FolderStore) -> None:
    """Who opened the job was damaged; what is written on it later does not make that right."""
    hurt(full, "UPDATE job SET created_by = 'x' WHERE id = 'j1'")
    Record(full).add("j1", "note", {"words": "hums"}, by="Ida")
    assert [one.about for one in verify(full, store).problems] == ["job"]
