"""Every test of the record runs on SQLite and on a real PostgreSQL."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from beltside.jobs.database import Database, open_database
from beltside.jobs.record import Record


@pytest.fixture
def database(address: Path | str) -> Iterator[Database]:
    with open_database(address) as database:
        yield database


@pytest.fixture
def record(database: Database) -> Record:
    return Record(database)
