"""Damage of every kind is found and told; what is whole is rescued."""

from __future__ import annotations

from pathlib import Path

import pytest

from beltside.base.errors import InputError
from beltside.jobs.check import verify
from beltside.jobs.database import Database, RecordError, connect, open_database
from beltside.jobs.record import Record
from beltside.jobs.rescue import rescue
from beltside.jobs.search import Search
from beltside.jobs.store import FolderStore


@pytest.fixture
def store(tmp_path: Path) -> FolderStore:
    return FolderStore(tmp_path / "files")


def fill(database: Database, store: FolderStore, jobs: int = 3) -> list[str]:
    """Jobs with an owner, a stored take and a note written twice; gives back the file names."""
    record = Record(database)
    names = []
    for number in range(jobs):
        stored = store.put([f"sound {number}".encode() * 50], most_bytes=10_000)
        record.keep_file(stored, "audio/mp4")
        job = record.new_job([("owner", {"name": f"Berg{number}"})], by="Ida", job_id=f"j{number}")
        record.add(job.job.id, "take", {"file": stored.sha256}, by="Ida", entry_id=f"t{number}")
        note = record.add(job.job.id, "note", {"words": "hums " * 40}, by="Ida")
        record.change(note.id, {"words": "howls " * 40}, by="Per")
        names.append(stored.sha256)
    return names


def test_a_whole_record(database: Database, store: FolderStore) -> None:
    fill(database, store)
    checked = verify(database, store)
    assert checked.problems == ()
    assert (checked.whole, checked.entries, checked.files) == (True, 9, 3)


@pytest.mark.parametrize(
    ("statement", "about"),
    [
        ("UPDATE entry SET body = '{\"file\":\"x\"}' WHERE id = 't1'", "entry"),
        ("UPDATE entry SET version = 5 WHERE id = 't1'", "entry"),
        ("DELETE FROM entry_version WHERE entry_id = 't1'", "entry"),
        ("UPDATE term_use SET entries = entries + 1 WHERE job_number = 1", "search"),
        ("UPDATE term SET jobs = jobs + 1 WHERE word = 'howls'", "search"),
        ("DELETE FROM file_use", "unused file"),
        ("UPDATE job SET card = '{'", "job"),
        ("DROP TABLE sound", "database"),
    ],
)
def test_the_database_is_not_as_it_was(
    database: Database, store: FolderStore, statement: str, about: str
) -> None:
    fill(database, store)
    with database.writing() as connection:
        connection.exec_driver_sql(statement)
    checked = verify(database, store)
    assert {problem.about for problem in checked.problems} == {about}
    assert checked.whole == (about in ("search", "unused file"))


def test_files_are_not_as_they_were(database: Database, store: FolderStore) -> None:
    gone, hurt, _ = fill(database, store)
    store.path(gone).unlink()
    store.path(hurt).write_bytes(b"noise")
    stranger = store.put([b"stranger"], most_bytes=100)
    (store.folder / "arriving" / "half").write_bytes(b"ha")
    checked = verify(database, store)
    assert {(problem.about, problem.name) for problem in checked.problems} == {
        ("file", gone),
        ("file", hurt),
        ("unused file", stranger.sha256),
        ("half-arrived file", "half"),
    }
    assert not checked.whole
    assert {problem["about"] for problem in checked.to_json()["problems"]} >= {"file"}


def test_a_whole_record_is_copied_whole(
    database: Database, store: FolderStore, tmp_path: Path
) -> None:
    names = fill(database, store)
    store.path(names[0]).write_bytes(b"noise")
    other = FolderStore(tmp_path / "rescued")
    with open_database(tmp_path / "new.db") as new:
        done = rescue(database, new, files=store, new_files=other)
        assert (done.jobs, done.entries, done.files) == (3, 9, 2)
        assert [says for says in done.lost if "damaged" not in says] == []
        for number in range(3):
            assert Record(new).sheet(f"j{number}") == Record(database).sheet(f"j{number}")
            assert Record(new).changes(f"j{number}") == Record(database).changes(f"j{number}")
        assert Search(new).find("berg2")[0].job_id == "j2"
        assert Record(new).new_job(by="Ida").job.number == 4
        with pytest.raises(InputError, match="empty"):
            rescue(database, new)


def test_from_damaged_pages(store: FolderStore, tmp_path: Path) -> None:
    """A stretch of the file overwritten: it is told, and all that can be read is in the new one."""
    path = tmp_path / "shop.db"
    with open_database(path) as database:
        fill(database, store, jobs=60)
        with database.engine.connect() as connection:
            connection.exec_driver_sql("COMMIT")
            connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
            connection.exec_driver_sql("BEGIN")
            page = connection.exec_driver_sql("PRAGMA page_size").scalar_one()
            query = "SELECT rootpage FROM sqlite_master WHERE name = 'entry'"
            root = connection.exec_driver_sql(query).scalar_one()
        before = {f"j{n}": Record(database).sheet(f"j{n}") for n in range(60)}
    content = bytearray(path.read_bytes())
    # The pages below the root of a table (SQLite file format, section 1.6): pointers to them
    # stand in the root's cells.
    start = (root - 1) * page
    cells = int.from_bytes(content[start + 3 : start + 5], "big")
    assert content[start] == 5
    assert cells >= 3
    cell = int.from_bytes(content[start + 14 : start + 16], "big")
    hurt = int.from_bytes(content[start + cell : start + cell + 4], "big")
    content[(hurt - 1) * page : hurt * page] = b"\x5a" * page
    path.write_bytes(content)

    with connect(path) as damaged, open_database(tmp_path / "new.db") as new:
        assert not verify(damaged, store).whole
        with pytest.raises(RecordError, match="damaged"):
            [Record(damaged).sheet(name) for name in before]
        done = rescue(damaged, new)
        assert any("entry" in says for says in done.lost)
        assert 0.5 * 180 < done.entries < 180
        assert done.jobs == 60
        whole = 0
        for name, sheet in before.items():
            entries = Record(new).sheet(name).entries
            assert all(entry in sheet.entries for entry in entries)
            whole += len(entries) == len(sheet.entries)
        assert whole >= 30
        checked = verify(new, store)
        assert {problem.about for problem in checked.problems} <= {"unused file", "entry"}


def test_a_letter_that_is_none(store: FolderStore, tmp_path: Path) -> None:
    """A byte of a text flipped so that it is no UTF-8 any more: told, and the rest rescued."""
    path = tmp_path / "shop.db"
    with open_database(path) as database:
        fill(database, store)
        with database.engine.connect() as connection:
            connection.exec_driver_sql("COMMIT")
            connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
            connection.exec_driver_sql("BEGIN")
    content = bytearray(path.read_bytes())
    for at in range(len(content)):
        if content[at : at + 5] == b"Berg1":
            content[at] = 0xC3
    path.write_bytes(content)
    with connect(path) as damaged, open_database(tmp_path / "new.db") as new:
        checked = verify(damaged, store)
        assert not checked.whole
        assert any("damaged" in one.says for one in checked.problems)
        assert rescue(damaged, new).jobs >= 2
