"""A record that cannot be opened, read or written says so plainly, and nothing is lost."""

from __future__ import annotations

import json
import subprocess
import sys
import textwrap
from pathlib import Path

import pytest
import sqlalchemy as sa

from beltside.base.errors import InputError
from beltside.jobs.counters import count_up, counted
from beltside.jobs.database import Database, RecordError, connect, open_database
from beltside.jobs.record import Record


def test_a_record_of_a_newer_version_is_left_alone(address: Path | str) -> None:
    with open_database(address) as database, database.writing() as connection:
        connection.exec_driver_sql("UPDATE alembic_version SET version_num = '9999'")
    with pytest.raises(RecordError, match="newer Beltside"):
        open_database(address)
    with connect(address) as database, database.reading() as connection:
        found = connection.exec_driver_sql("SELECT version_num FROM alembic_version").scalar()
    assert found == "9999"


def test_a_file_that_is_no_record_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "shop.db"
    content = b"no database at all, but long enough to look at" * 100
    path.write_bytes(content)
    with pytest.raises(RecordError, match="no record"):
        open_database(path)
    assert path.read_bytes() == content


@pytest.mark.parametrize(
    ("where", "says"),
    [
        ("nothing at all", "no address"),
        ("mysql://ida@shop/jobs", "keeps no record in 'mysql'"),
        ("postgresql://ida@shop:notaport/jobs", "no address"),
    ],
)
def test_an_address_that_is_none(where: str, says: str) -> None:
    with pytest.raises(InputError, match=says):
        open_database(where)


def test_no_server_there(tmp_path: Path) -> None:
    with pytest.raises(RecordError, match="does not answer"):
        open_database(f"postgresql://ida@/jobs?host={tmp_path}")


def test_a_folder_that_cannot_be_made(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(RecordError, match="cannot be made"):
        open_database(tmp_path / "file" / "shop.db")
    (tmp_path / "shop.db").mkdir()
    with pytest.raises(RecordError, match="cannot be opened"):
        open_database(tmp_path / "shop.db")


def test_a_table_is_missing(database: Database) -> None:
    job = Record(database).new_job(by="Ida").job
    with database.writing() as connection:
        connection.exec_driver_sql("DROP TABLE entry_version")
    with pytest.raises(RecordError, match="a table is missing"):
        Record(database).changes(job.id)


def test_a_text_is_broken(database: Database) -> None:
    job = Record(database).new_job(by="Ida").job
    with database.writing() as connection:
        connection.exec_driver_sql("UPDATE job SET card = '{\"stage\":'")
    with pytest.raises(RecordError, match="a text is broken"):
        Record(database).sheet(job.id)


def test_damaged_pages(tmp_path: Path) -> None:
    path = tmp_path / "shop.db"
    with open_database(path) as database:
        record = Record(database)
        job = record.new_job(by="Ida").job
        for number in range(20):
            record.add(job.id, "note", {"words": f"{number} " * 2000}, by="Ida")
    content = bytearray(path.read_bytes())
    content[len(content) // 4 : -4096] = b"\x5a" * (len(content) - 4096 - len(content) // 4)
    path.write_bytes(content)
    with pytest.raises(RecordError, match="damaged"), open_database(path) as database:
        Record(database).changes(job.id)


def test_postgresql_says_its_troubles_in_any_language(server) -> None:
    """By SQLSTATE (PostgreSQL manual, appendix A), raised by a real server."""
    url = server.give()
    with open_database(url) as database:
        for state, says in {
            "53100": "disk is full",
            "25006": "may only be read",
            "40P01": "writing the same",
            "XX001": "damaged",
            "42501": "not yours",
        }.items():
            with pytest.raises(RecordError, match=says), database.writing() as connection:
                connection.exec_driver_sql(
                    f"DO $$ BEGIN RAISE EXCEPTION 'kaputt' USING ERRCODE = '{state}'; END $$"
                )
        with database.writing() as connection:
            connection.exec_driver_sql("SET TRANSACTION READ ONLY")
            with pytest.raises(sa.exc.DBAPIError):
                connection.exec_driver_sql("DELETE FROM job")
    server.take_back(url)


def test_postgresql_without_unicode_is_refused(server) -> None:
    url = server.made("ENCODING 'SQL_ASCII' LOCALE 'C' TEMPLATE template0")
    with pytest.raises(RecordError, match="SQL_ASCII"):
        open_database(url)


def test_a_failed_write_leaves_nothing(database: Database) -> None:
    record = Record(database)

    class PowerCutError(Exception):
        pass

    def cut(*_: object) -> None:
        raise PowerCutError

    with pytest.raises(PowerCutError):
        Record(database, listeners=[cut]).new_job([("note", {})], by="Ida")
    assert record.jobs() == []
    assert record.new_job(by="Ida").job.number == 1


def test_counters_count(database: Database) -> None:
    with database.writing() as connection:
        assert counted(connection, "x") == 0
        assert [count_up(connection, "x"), count_up(connection, "x", 5)] == [1, 6]
        assert counted(connection, "x") == 6


# What a child process meets, told by what it prints: the message, and what is there afterwards.
CHILD = """
import json, sys
from pathlib import Path
from beltside.base.errors import BeltsideError
from beltside.jobs.database import open_database
from beltside.jobs.record import Record
from beltside.jobs.store import FolderStore

folder = Path(sys.argv[1])
open_database("sqlite://").close()  # loads all there is to load
{limit}
acknowledged, said = [], []
try:
    with open_database(folder / "shop.db") as database:
        record = Record(database)
        job = record.new_job(by="Ida", job_id="j1").job
        for number in range(300):
            acknowledged.append(
                record.add(job.id, "note", {{"words": "hum " * 3000}}, by="Ida").id
            )
except BeltsideError as error:
    said.append(str(error))
try:
    FolderStore(folder / "files").put([b"sound" * 1_000_000], most_bytes=10_000_000)
except BeltsideError as error:
    said.append(str(error))
print(json.dumps([acknowledged, said]))
"""


def run_child(folder: Path, limit: str) -> tuple[list[str], list[str]]:
    code = CHILD.format(limit=textwrap.dedent(limit))
    done = subprocess.run(
        [sys.executable, "-c", code, str(folder)], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    acknowledged, said = json.loads(done.stdout)
    return acknowledged, said


def kept(folder: Path) -> set[str]:
    with open_database(folder / "shop.db") as database:
        with database.reading() as connection:
            assert connection.exec_driver_sql("PRAGMA integrity_check").scalar() == "ok"
        return {entry.id for entry in Record(database).sheet("j1").entries}


def test_files_may_grow_no_more(tmp_path: Path) -> None:
    """A quota: writing a file beyond a length fails (POSIX RLIMIT_FSIZE)."""
    limit = """
    import resource, signal
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (1_000_000, 1_000_000))
    """
    acknowledged, said = run_child(tmp_path, limit)
    assert len(acknowledged) > 5
    assert "nothing was changed" in said[0]
    assert "cannot be kept" in said[1]
    assert set(acknowledged) <= kept(tmp_path)
    assert not list((tmp_path / "files" / "arriving").iterdir())


def test_the_disk_is_full(small_disk: Path | None, tmp_path: Path) -> None:
    """A file system of 2 MB, where this user may make one; else a quota."""
    folder = small_disk or tmp_path
    limit = "" if small_disk else "import resource as r; r.setrlimit(r.RLIMIT_FSIZE, (10**6,) * 2)"
    acknowledged, said = run_child(folder, limit)
    assert len(acknowledged) > 5
    assert ("disk is full" if small_disk else "nothing was changed") in said[0]
    assert "cannot be kept" in said[1]
    # Room again: all that was acknowledged is there, and writing goes on.
    assert not list((folder / "files" / "arriving").iterdir())
    assert set(acknowledged) <= kept_elsewhere(folder, tmp_path / "moved")


def kept_elsewhere(folder: Path, to: Path) -> set[str]:
    to.mkdir()
    for path in folder.glob("shop.db*"):
        (to / path.name).write_bytes(path.read_bytes())
    return kept(to)


READ_ONLY = """
import os
if os.geteuid() == 0:
    os.setgid(65534)
    os.setuid(65534)
"""


def test_a_folder_that_may_only_be_read(open_folder: Path) -> None:
    """Root may write everywhere: then the child gives its rights up first."""
    with open_database(open_folder / "shop.db") as database:
        Record(database).new_job(by="Ida", job_id="j1")
    for path in open_folder.iterdir():
        path.chmod(0o444)
    open_folder.chmod(0o555)
    acknowledged, said = run_child(open_folder, READ_ONLY)
    open_folder.chmod(0o755)
    assert acknowledged == []
    assert "may only be read" in said[0] or "cannot be opened" in said[0]
    assert "cannot be kept" in said[1]
    for path in open_folder.iterdir():
        path.chmod(0o644)
    assert kept(open_folder) == set()
