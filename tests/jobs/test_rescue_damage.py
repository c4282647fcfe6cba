"""One byte of the database file is another: told in words, and nothing lost but what stood there.

The bytes are found by hand after the published file format (sqlite.org, "Database File Format").
"""

from __future__ import annotations

import sqlite3
import struct
from collections.abc import Callable
from pathlib import Path

import pytest

from beltside.base.errors import BeltsideError
from beltside.jobs.check import verify
from beltside.jobs.database import RecordError, connect, migrate, open_database
from beltside.jobs.page_scan import PageScan, read_past_damage
from beltside.jobs.record import Record
from beltside.jobs.rescue import Rescued, rescue
from beltside.jobs.schema import ENTRY, ENTRY_VERSION, FILE_USE, JOB, STORED_FILE
from beltside.jobs.sealed_rows import rows_kept
from beltside.jobs.store import FolderStore

JOBS = 25
PAGE = 4096


@pytest.fixture
def store(tmp_path: Path) -> FolderStore:
    return FolderStore(tmp_path / "files")


@pytest.fixture
def path(tmp_path: Path, store: FolderStore) -> Path:
    """A record of jobs with an owner, a note of two versions and a take, all in one file."""
    path = tmp_path / "shop.db"
    with open_database(path) as database:
        record = Record(database)
        for number in range(JOBS):
            stored = store.put([b"RIFF", bytes([number]) * 300], most_bytes=1000)
            record.keep_file(stored, "audio/wav")
            owner = ("owner", {"name": f"Åsa {number}"})
            job = record.new_job([owner], by="Ida", job_id=f"j{number}").job
            note = record.add(job.id, "note", {"words": "hums " * 40}, by="Ida")
            record.change(note.id, {"words": "howls " * 300}, by="Per")
            record.add(job.id, "take", {"file": stored.sha256}, by="Ida", entry_id=f"t{number}")
        database.settle()
    return path


def flip(path: Path, at: int, bits: int = 0x10) -> None:
    data = bytearray(path.read_bytes())
    data[at] ^= bits
    path.write_bytes(data)


def find(path: Path, text: bytes) -> int:
    at = path.read_bytes().find(text)
    assert at > 0
    return at


def rescued(path: Path, store: FolderStore) -> Rescued:
    new_files = FolderStore(path.parent / "new-files")
    with connect(path) as damaged, open_database(path.parent / "new.db") as new:
        done = rescue(damaged, new, files=store, new_files=new_files)
        assert verify(new, new_files).whole
        assert Record(new).new_job(by="Ida").job.number == JOBS + 1
    return done


def test_pages_read_one_by_one_give_what_sqlite_gives(path: Path) -> None:
    with open_database(path) as database, database.reading() as connection:
        tables = (JOB, ENTRY, ENTRY_VERSION, STORED_FILE, FILE_USE)
        asked = {table: sorted(map(repr, rows_kept(connection, table))) for table in tables}
        database.close()
    scanned = PageScan(path).rows()
    for table, rows in asked.items():
        assert sorted(map(repr, scanned[table])) == rows, table.name
    # Notes of 1,800 letters lie on pages of their own beside the row's.
    assert len(asked[ENTRY_VERSION]) == 4 * JOBS


def test_pages_of_the_log_count_too(path: Path) -> None:
    """What was acknowledged and stands in the log alone, as after a power cut."""
    with open_database(path) as database:
        Record(database).add("j0", "note", {"words": "only in the log"}, by="Ida", entry_id="last")
        database.engine.connect()
        log = path.with_name("shop.db-wal")
        kept = path.read_bytes(), log.read_bytes()
    path.write_bytes(kept[0])
    log.write_bytes(kept[1])
    scan = PageScan(path)
    assert not scan.log_is_damaged
    assert "last" in {row["id"] for row in scan.rows()[ENTRY]}
    # A byte in the middle of the log: SQLite stops there, the pages behind are still read.
    data = bytearray(kept[1])
    data[32 + 24 + 100] ^= 1
    log.write_bytes(data)
    scan = PageScan(path)
    assert scan.log_is_damaged
    assert "last" in {row["id"] for row in scan.rows()[ENTRY]}


@pytest.mark.parametrize(
    ("what", "at"),
    [
        ("the mark of the format", 0),
        ("the length of a page", 16),
        ("the room kept free on a page", 20),
        ("the first free page", 35),
        ("the number of the schema", 43),
        ("how texts are coded", 59),
        ("the kind of the first page", 100),
        ("the count on the first page", 104),
    ],
)
def test_the_head_of_the_file(path: Path, store: FolderStore, what: str, at: int) -> None:
    flip(path, at)
    assert advice(look, path, store) in ("", WHAT_TO_DO), what
    assert rescued(path, store).entries == 3 * JOBS


@pytest.mark.parametrize(
    ("text", "into"),
    [
        (b"CREATE TABLE entry (", b"CREATE TABLF entry ("),
        (b"CREATE TABLE entry (", b"CREATE TABLE entrz ("),
        (b'"by" TEXT NOT NULL', b'"bz" TEXT NOT NULL'),
        (b"created_at BIGINT", b"created_at\tCIGINT"),
        (b"CONSTRAINT pk_entry PRIMARY KEY (id)", b"CONSTRAINT pk_entry PRIMARY KEY (iX)"),
        (b"sha256 VARCHAR(64) NOT NULL", b"sha256 VARCHAR(64) NOT NUL,"),
        (b"ix_entry_kind ON entry (kind)", b"ix_entry_kind ON entry (kine)"),
    ],
)
def test_the_list_of_tables(path: Path, store: FolderStore, text: bytes, into: bytes) -> None:
    """A letter of a table's own definition: every way in says so in words, all is rescued."""
    at = find(path, text)
    data = bytearray(path.read_bytes())
    data[at : at + len(into)] = into
    path.write_bytes(data)
    for use in (open_and_read, look):
        assert advice(use, path, store) in ("", WHAT_TO_DO)
    # A letter that does no harm lets the note be written that was tried.
    assert rescued(path, store).entries in (3 * JOBS, 3 * JOBS + 1)


WHAT_TO_DO = "beltside check --rescue-into DIR"


def advice(use: Callable[[Path, FolderStore], None], path: Path, store: FolderStore) -> str:
    """What the error says that would work; "" when there is none."""
    try:
        use(path, store)
    except BeltsideError as error:
        return WHAT_TO_DO if WHAT_TO_DO in error.instead else error.instead or "nothing said"
    return ""


def open_and_read(path: Path, _store: FolderStore) -> None:
    with open_database(path) as database:
        record = Record(database)
        for job in record.jobs(limit=100):
            record.sheet(job.id)
        record.add("j0", "note", {"words": "written now"}, by="Ida")


def look(path: Path, store: FolderStore) -> None:
    with connect(path) as database:
        verify(database, store)


def page_of(path: Path, table: str) -> int:
    """A page below the root of a table: the first its root points to (section 1.6)."""
    with sqlite3.connect(path) as connection:
        query = "SELECT rootpage FROM sqlite_master WHERE name = ?"
        (root,) = connection.execute(query, (table,)).fetchone()
    data = path.read_bytes()
    start = (root - 1) * PAGE
    if data[start] == 13:
        return int(root)
    cell = struct.unpack_from(">H", data, start + 12)[0]
    return int(struct.unpack_from(">I", data, start + cell)[0])


@pytest.mark.parametrize("table", ["entry", "entry_version", "job", "stored_file", "file_use"])
def test_a_page_overwritten_costs_what_stood_on_it(
    path: Path, store: FolderStore, table: str
) -> None:
    page = page_of(path, table)
    data = bytearray(path.read_bytes())
    # So many cells stand on the page (section 1.6): no more may be lost.
    most = struct.unpack_from(">H", data, (page - 1) * PAGE + 3)[0]
    data[(page - 1) * PAGE : page * PAGE] = b"\x5a" * PAGE
    path.write_bytes(data)
    with connect(path) as database:
        assert not verify(database, store).whole
    new_files = FolderStore(path.parent / "new-files")
    with connect(path) as damaged, open_database(path.parent / "new.db") as new:
        done = rescue(damaged, new, files=store, new_files=new_files)
        lost = 3 * JOBS - done.entries
        assert lost <= (most if table == "entry" else 0)
        assert done.jobs == JOBS
        # A file's row is made anew from the file, its use from what names it.
        assert done.files >= JOBS - lost
        assert done.lost


def test_a_tree_that_leads_astray(path: Path, store: FolderStore) -> None:
    """The root of a table is overwritten: all below it is still there."""
    with sqlite3.connect(path) as connection:
        query = "SELECT rootpage FROM sqlite_master WHERE name = 'entry'"
        (root,) = connection.execute(query).fetchone()
    data = bytearray(path.read_bytes())
    assert data[(root - 1) * PAGE] == 5, "a page of pointers, not of rows"
    data[(root - 1) * PAGE : root * PAGE] = b"\0" * PAGE
    path.write_bytes(data)
    assert rescued(path, store).entries == 3 * JOBS


@pytest.mark.parametrize("note", ["0013", "0002", "zzzz", None])
def test_the_note_of_the_version(path: Path, store: FolderStore, note: str | None) -> None:
    """Tables of this version under another's name: damage, and no newer or older Beltside."""
    with sqlite3.connect(path) as connection:
        connection.execute("DELETE FROM alembic_version")
        if note is not None:
            connection.execute("INSERT INTO alembic_version VALUES (?)", (note,))
    with pytest.raises(RecordError, match=r"note of it.*rescue"):
        open_database(path)
    with connect(path) as database:
        (problem,) = verify(database, store).problems
        assert "note of its version" in problem.says
    assert rescued(path, store).entries == 3 * JOBS


# A record of an older Beltside --------------------------------------------------------------------


@pytest.fixture
def older(path: Path) -> Path:
    """The same record with the tables from before rows bore checksums."""
    with connect(path) as database:
        migrate(database, "0002")
        database.settle(rebuilt=True)
    return path


def test_an_older_record_is_looked_at_as_it_is(older: Path, store: FolderStore) -> None:
    with connect(older) as database:
        checked = verify(database, store)
        assert checked.problems == ()
        assert (checked.entries, checked.files) == (3 * JOBS, JOBS)
    assert PageScan(older).rows()[ENTRY][0].keys() == set(ENTRY.columns.keys()) - {"checksum"}


def test_an_older_record_with_an_unreadable_page(older: Path, store: FolderStore) -> None:
    """It can't be carried over; that is said, with what to do, and doing that works."""
    page = page_of(older, "entry")
    data = bytearray(older.read_bytes())
    most = struct.unpack_from(">H", data, (page - 1) * PAGE + 3)[0]
    data[(page - 1) * PAGE : page * PAGE] = b"\x5a" * PAGE
    older.write_bytes(data)
    with pytest.raises(RecordError, match=r"damaged.*beltside check.*--rescue-into"):
        open_database(older)
    with connect(older) as database:
        assert not verify(database, store).whole
    with connect(older) as damaged, open_database(older.parent / "new.db") as new:
        done = rescue(damaged, new, files=store, new_files=FolderStore(older.parent / "new"))
        assert 3 * JOBS - most <= done.entries < 3 * JOBS
        assert done.jobs == JOBS


def test_what_the_disk_does_not_give_is_left_out(tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(b"x" * 10_000)
    assert read_past_damage(tmp_path / "a") == b"x" * 10_000


def test_a_file_that_is_something_else(tmp_path: Path, store: FolderStore) -> None:
    (tmp_path / "shop.db").write_bytes(b"\x89PNG and more" * 3000)
    (tmp_path / "empty.db").write_bytes(b"")
    for name in ("shop.db", "empty.db"):
        assert not any(PageScan(tmp_path / name).rows().values())
