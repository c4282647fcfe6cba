"""What tests of several rooms need: a record on SQLite and on a real PostgreSQL, a small disk."""

from __future__ import annotations

import contextlib
import itertools
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import psycopg
import pytest
from alembic.migration import MigrationContext

from beltside.casework.shop import Shop, open_shop
from beltside.jobs.database import Database, RecordError, connect, open_database
from beltside.jobs.schema import METADATA

sys.path.insert(0, str(Path(__file__).parents[1] / "bench"))

from postgres_server import postgres_server

KINDS = ("sqlite", "postgresql")


class Server:
    """Gives out empty databases of one PostgreSQL server, and takes them back to empty them."""

    def __init__(self, url: str) -> None:
        self.url = url
        self._numbers = itertools.count()
        self._free: list[str] = []
        self._do('CREATE DATABASE "pattern"')
        with open_database(url.format(database="pattern")) as database:
            self._version = _version(database)

    def give(self) -> str:
        """URL of a database with tables and nothing in them."""
        if self._free:
            return self._free.pop()
        name = f"t{next(self._numbers)}"
        self._do(f'CREATE DATABASE "{name}" TEMPLATE "pattern"')
        return self.url.format(database=name)

    def made(self, how: str) -> str:
        """URL of an empty database made in another way."""
        name = f"t{next(self._numbers)}"
        self._do(f'CREATE DATABASE "{name}" {how}')
        return self.url.format(database=name)

    def take_back(self, url: str) -> None:
        """Empty a database for the next; one whose tables are not as they were is dropped."""
        name = url.partition("@/")[2].partition("?")[0]
        self._do(f"SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = '{name}'")
        with contextlib.suppress(RecordError), connect(url) as database:
            if _version(database) == self._version:
                with database.writing() as connection:
                    for table in reversed(METADATA.sorted_tables):
                        connection.execute(table.delete())
                self._free.append(url)
                return
        self._do(f'DROP DATABASE "{name}" WITH (FORCE)')

    def _do(self, statement: str) -> None:
        with psycopg.connect(self.url.format(database="postgres"), autocommit=True) as connection:
            connection.execute(statement)


def _version(database: Database) -> str | None:
    with database.reading() as connection:
        return MigrationContext.configure(connection).get_current_revision()


@pytest.fixture(scope="session")
def server() -> Iterator[Server]:
    with postgres_server() as url:
        yield Server(url)


@pytest.fixture(params=KINDS)
def address(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Path | str]:
    """A fresh record: a file, or the URL of a database on a real server."""
    if request.param == "sqlite":
        yield tmp_path / "shop.db"
        return
    server: Server = request.getfixturevalue("server")
    url = server.give()
    yield url
    server.take_back(url)


@pytest.fixture
def any_shop(address: Path | str, tmp_path: Path) -> Iterator[Shop]:
    """An empty shop, its record in a file and once more on a real server."""
    database = address if isinstance(address, str) else None
    with open_shop(tmp_path, database=database, by="Ida") as shop:
        yield shop


@pytest.fixture
def open_folder() -> Iterator[Path]:
    """A folder that other users can reach too, unlike those pytest makes."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        folder.chmod(0o755)
        yield folder


@pytest.fixture
def small_disk(open_folder: Path) -> Iterator[Path | None]:
    """A file system of 2 MB, or None where this user may not make one."""
    made = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=2m", "beltside-test", str(open_folder)],
        capture_output=True,
        check=False,
    )
    if made.returncode:
        yield None
        return
    yield open_folder
    subprocess.run(["umount", str(open_folder)], check=True)
