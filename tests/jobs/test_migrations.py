"""The tables are carried up and down with data in them; a kill leaves the old or the new."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
import threading
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
from alembic import command
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory

from beltside.jobs.access import AccessBook
from beltside.jobs.check import verify
from beltside.jobs.database import (
    MIGRATIONS,
    Database,
    RecordError,
    connect,
    migrate,
    open_database,
)
from beltside.jobs.queue import Queue
from beltside.jobs.record import Record
from beltside.jobs.schema import METADATA
from beltside.jobs.sealed_rows import SEALED, is_whole, rows_kept
from beltside.jobs.store import FolderStore, StoredFile

REVISIONS = [step.revision for step in ScriptDirectory(str(MIGRATIONS)).walk_revisions()][::-1]


def fill(database: Database) -> None:
    """Something in every table the record writes."""
    record = Record(database)
    record.keep_file(StoredFile("a" * 64, 5), "audio/mp4")
    job = record.new_job([("owner", {"name": "Åsa Lind"})], by="Ida", job_id="j1").job
    made = record.add(job.id, "take", {"file": "a" * 64}, by="Ida", entry_id="t1")
    record.change(made.id, {"file": "a" * 64, "place": "pump"}, by="Per")
    record.add(None, "setting", {"name": "language", "value": "de"}, by="Ida")


def found(database: Database) -> str | None:
    with database.reading() as connection:
        return MigrationContext.configure(connection).get_current_revision()


def test_the_tables_are_those_of_the_schema(database: Database) -> None:
    """Alembic's own comparison of the database with the tables the code speaks of."""
    with database.reading() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, METADATA) == []


@pytest.mark.parametrize("kind", ["primary key", "foreign keys", "indexes", "unique"])
def test_keys_and_indexes_are_those_of_the_schema(database: Database, kind: str) -> None:
    """What Alembic does not compare: made from the schema alone in a second database."""
    with sa.create_engine("sqlite://").connect() as other:
        METADATA.create_all(other)
        wanted = {table.name: keys(sa.inspect(other), table.name, kind) for table in tables()}
    with database.reading() as connection:
        inspector = sa.inspect(connection)
        assert {table.name: keys(inspector, table.name, kind) for table in tables()} == wanted


def tables() -> list[sa.Table]:
    return METADATA.sorted_tables


def keys(inspector: Any, table: str, kind: str) -> Any:
    if kind == "primary key":
        return inspector.get_pk_constraint(table)["constrained_columns"]
    if kind == "foreign keys":
        return sorted(
            (
                key["constrained_columns"],
                key["referred_table"],
                key["referred_columns"],
                key["options"].get("ondelete"),
            )
            for key in inspector.get_foreign_keys(table)
        )
    if kind == "unique":
        return sorted(key["column_names"] for key in inspector.get_unique_constraints(table))
    return sorted(
        index["column_names"]
        for index in inspector.get_indexes(table)
        if not index.get("duplicates_constraint")
    )


@pytest.mark.parametrize("revision", ["base", *REVISIONS[:-1]])
def test_down_and_up_again_with_data(database: Database, revision: str) -> None:
    fill(database)
    migrate(database, revision)
    assert found(database) == (None if revision == "base" else revision)
    if revision == "base":
        with database.reading() as connection:
            assert sa.inspect(connection).get_table_names() == ["alembic_version"]
    migrate(database, "head")
    fill(database)
    assert Record(database).entry("t1").body["place"] == "pump"


@pytest.mark.parametrize("steps", [range(1, len(REVISIONS) + 1)])
def test_up_step_by_step(address: Path | str, steps: range) -> None:
    with connect(address) as database:
        migrate(database, "base")
        for step in steps:
            migrate(database, REVISIONS[step - 1])
            assert found(database) == REVISIONS[step - 1]
        fill(database)


def test_opening_again_changes_nothing(address: Path | str) -> None:
    with open_database(address) as database:
        fill(database)
    with open_database(address) as database:
        assert Record(database).job("j1").card.owner == "Åsa Lind"
        assert found(database) == REVISIONS[-1]


def test_rows_of_an_older_record_get_their_checksums(database: Database) -> None:
    """The migration and the record know the rule each for itself: both give the same."""
    fill(database)
    queue = Queue(database)
    queue.ask("listen", 3, "a" * 64, {"belt": "on"}, "j1")
    work = queue.claim("worker")
    assert work is not None
    assert queue.finish(work, {"rpm": 760.5, "why": "Å"})
    Record(database).sounds.add("t1", 1, [0.6, 0.8])
    AccessBook(database).make(
        "phone", "secret", role="helper", name="Åsa", by="Ida", holds_for=timedelta(days=1)
    )
    before = checksums(database)
    assert {name for name, *_ in before} == {table.name for table in SEALED}
    migrate(database, "0002")
    migrate(database, "head")
    assert checksums(database) == before


def checksums(database: Database) -> list[tuple[str, str]]:
    """Those of all rows that are whole; each database gives them in an order of its own."""
    with database.reading() as connection:
        return sorted(
            (table.name, kept["checksum"])
            for table in SEALED
            for kept in rows_kept(connection, table)
            if is_whole(table.name, kept)
        )


def test_what_is_damaged_before_gets_no_checksum(tmp_path: Path) -> None:
    """An older record with a broken text is carried over, and the text is told."""
    with open_database(tmp_path / "shop.db") as database:
        fill(database)
        migrate(database, "0002")
        with database.writing() as connection:
            connection.exec_driver_sql("UPDATE entry SET body = '{' WHERE id = 't1'")
            connection.exec_driver_sql(
                "UPDATE job SET created_by = CAST(x'49c3' AS TEXT) WHERE id = 'j1'"
            )
        migrate(database, "head")
        assert {table for table, _ in checksums(database)} == {
            "entry",
            "entry_version",
            "stored_file",
        }
        found = verify(database, FolderStore(tmp_path / "files")).problems
        assert {(one.about, one.name) for one in found} >= {("entry", "t1"), ("job", "j1")}


# Carries a record over and is killed before a certain statement, as by a power cut; prints how
# each child ended. Apart from this process, so that forking is safe.
KILLED = """
import json, os, signal, sys
from pathlib import Path
import sqlalchemy as sa
from beltside.jobs.database import connect, migrate

address, to, moments = json.loads(sys.argv[1])
address = address if address.startswith("postgresql") else Path(address)
for at in moments:
    child = os.fork()
    if child == 0:
        with connect(address) as database:
            count = 0

            @sa.event.listens_for(database.engine, "before_cursor_execute")
            def die(_connection, _cursor, statement, *_):
                global count
                count += statement.lstrip().upper().startswith(
                    ("ALTER", "CREATE", "DROP", "INSERT", "UPDATE")
                )
                if count == at:
                    os.kill(os.getpid(), signal.SIGKILL)

            migrate(database, to)
        os._exit(0)
    _, status = os.waitpid(child, 0)
    print(os.waitstatus_to_exitcode(status), flush=True)
    input()
"""


@pytest.mark.parametrize("to", ["head", "base"])
def test_killed_in_the_middle(address: Path | str, to: str) -> None:
    """Whatever the moment, the record is of the old revision with all its data, or of the new."""
    with connect(address) as database:
        migrate(database, "base")
        if to == "base":
            migrate(database, "head")
            fill(database)
        old = found(database)
    moments = [1, 2, 7, 20]
    given = json.dumps([str(address), to, moments])
    with subprocess.Popen(
        [sys.executable, "-c", KILLED, given],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as child:
        assert child.stdin is not None
        assert child.stdout is not None
        for _ in moments:
            assert child.stdout.readline().strip() == str(-signal.SIGKILL)
            with connect(address) as database:
                assert found(database) == old
                with database.reading() as connection:
                    names = set(sa.inspect(connection).get_table_names()) - {"alembic_version"}
                assert names == (set(METADATA.tables) if to == "base" else set())
                if to == "base":
                    assert Record(database).entry("t1").version == 2
            child.stdin.write("\n")
            child.stdin.flush()
    with open_database(address) as database:
        if to == "head":
            fill(database)
        assert Record(database).job("j1").number == 1


@pytest.mark.parametrize("moment", [1, 4, 9, 12])
def test_killed_while_the_checksums_are_written(address: Path | str, moment: int) -> None:
    with open_database(address) as database:
        fill(database)
        before = checksums(database)
        migrate(database, "0002")
    given = json.dumps([str(address), "head", [moment]])
    with subprocess.Popen(
        [sys.executable, "-c", KILLED, given],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as child:
        assert child.stdin is not None
        assert child.stdout is not None
        assert child.stdout.readline().strip() == str(-signal.SIGKILL)
        with connect(address) as database:
            assert found(database) == "0002"
            with database.reading() as connection:
                names = {one["name"] for one in sa.inspect(connection).get_columns("entry")}
            assert "checksum" not in names
        child.stdin.write("\n")
        child.stdin.flush()
    with open_database(address) as database:
        assert checksums(database) == before
        assert Record(database).entry("t1").body["place"] == "pump"


def test_many_open_a_new_record_at_once(address: Path | str) -> None:
    gate = threading.Barrier(6)

    def open_it(_: int) -> int:
        gate.wait(30)
        with open_database(address) as database:
            return Record(database).new_job(by="Ida").job.number

    if not isinstance(address, Path):
        with connect(address) as database:
            migrate(database, "base")
    with ThreadPoolExecutor(6) as threads:
        assert sorted(threads.map(open_it, range(6))) == [1, 2, 3, 4, 5, 6]
    with open_database(address) as database:
        assert sorted(job.number for job in Record(database).jobs()) == [1, 2, 3, 4, 5, 6]


def test_a_step_that_breaks_a_link_is_undone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """SQLite looks at links only at the end of a step; what it finds undoes the step."""
    with open_database(tmp_path / "shop.db") as database:
        fill(database)

        def break_it(_config: object, _to: str) -> None:
            connection = _config.attributes["connection"]  # type: ignore[attr-defined]
            connection.exec_driver_sql("DELETE FROM job")

        monkeypatch.setattr(command, "upgrade", break_it)
        with pytest.raises(RecordError, match="point to rows that are gone"):
            migrate(database, "head")
        assert Record(database).job("j1").card.owner == "Åsa Lind"
        with database.writing() as connection:
            assert connection.exec_driver_sql("PRAGMA foreign_keys").scalar() == 1
