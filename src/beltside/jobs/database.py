"""Opens the record's database: SQLite in a file, or PostgreSQL by a URL."""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any, Final

import sqlalchemy as sa
from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import ArgumentError

from beltside.base.errors import InputError
from beltside.jobs.database_errors import CHECK, told
from beltside.jobs.database_errors import DamagedError as DamagedError
from beltside.jobs.database_errors import RecordError as RecordError
from beltside.jobs.schema import METADATA

if TYPE_CHECKING:
    from alembic.config import Config
    from alembic.script import ScriptDirectory

MIGRATIONS: Final = Path(__file__).parent / "migrations"
TABLES_AT: Final = "0003"
"""The newest migration: a record that is there needs no look at the others."""
_ADDRESSES: Final = "postgresql://USER@HOST/NAME, or the path of a file"
BUSY_MS: Final = 15_000
"""How long one writer waits for another before giving up."""


_ONE_MOMENT: Final[dict[str, dict[str, Any]]] = {
    "postgresql": {"isolation_level": "REPEATABLE READ", "postgresql_readonly": True},
    "sqlite": {},
}
"""What makes a transaction see one moment only; SQLite's always do."""

_MIGRATION_LOCK: Final = 0x62656C74
"""Any number, always the same: two programs that open one old record carry it over once."""


class Database:
    """One open database. Use `reading()` and `writing()`; each is one transaction."""

    def __init__(self, engine: sa.Engine) -> None:
        self.engine: Final = engine
        self.is_sqlite: Final = engine.dialect.name == "sqlite"

    @contextmanager
    def reading(self) -> Iterator[sa.Connection]:
        """A transaction that sees one moment of the record and changes nothing."""
        with told(self.engine), self.engine.connect() as connection:
            connection = connection.execution_options(**_ONE_MOMENT[self.engine.dialect.name])
            with connection.begin():
                yield connection

    @contextmanager
    def writing(self) -> Iterator[sa.Connection]:
        """A transaction that is kept whole when the block ends, or not at all when it raises."""
        with told(self.engine), self.engine.connect() as connection:
            connection = connection.execution_options(beltside_writing=True)
            with connection.begin():
                yield connection

    @contextmanager
    def migrating(self) -> Iterator[sa.Connection]:
        """As `writing`, alone among all programs, and free to rebuild a table others point to."""
        with told(self.engine), self.engine.connect() as connection:
            if not self.is_sqlite:
                with connection.begin():
                    connection.execute(sa.select(sa.func.pg_advisory_xact_lock(_MIGRATION_LOCK)))
                    yield connection
                return
            connection = connection.execution_options(beltside_writing=True)
            # SQLite takes this setting only between transactions.
            driver: Any = connection.connection.dbapi_connection
            driver.execute("PRAGMA foreign_keys = OFF")
            try:
                with connection.begin():
                    yield connection
                    astray = connection.exec_driver_sql("PRAGMA foreign_key_check").all()
                    if astray:
                        raise DamagedError(
                            f"{len(astray)} rows of the record point to rows that are gone",
                            instead=CHECK,
                        )
            finally:
                driver.execute("PRAGMA foreign_keys = ON")

    @contextmanager
    def as_found(self) -> Iterator[sa.Connection]:
        """A connection for looking into a record that may be damaged, read by read."""
        with told(self.engine), self.engine.connect() as connection:
            yield connection

    def settle(self, *, rebuilt: bool = False) -> None:
        """Bring all of an SQLite record into its one file; `rebuilt`, nothing deleted left in it.

        VACUUM writes the file anew (sqlite.org, "VACUUM"): it needs as much room again.
        """
        with told(self.engine), self.engine.connect() as connection:
            connection.exec_driver_sql("COMMIT")  # none of these in a transaction
            try:
                connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
                if rebuilt:
                    connection.exec_driver_sql("PRAGMA secure_delete = ON")
                    connection.exec_driver_sql("VACUUM")
                    connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
            finally:
                connection.exec_driver_sql("BEGIN")

    def close(self) -> None:
        """Let go of every connection; may be called twice."""
        self.engine.dispose()

    def __enter__(self) -> Database:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()


def open_database(where: Path | str) -> Database:
    """The database in a file, or behind a URL such as `postgresql://...`, brought up to date.

    Raises
    ------
    InputError
        When the URL is none, or of a database Beltside does not speak to.
    RecordError
        When it cannot be opened or written, is no database, or was written by a newer Beltside.
    """
    database = connect(where)
    try:
        bring_up_to_date(database)
    except BaseException:
        database.close()
        raise
    return database


def connect(where: Path | str) -> Database:
    """As `open_database`, but as it is found: nothing is made or brought up to date."""
    url = _url(where)
    if url.get_backend_name() == "sqlite":
        options: dict[str, Any] = {"connect_args": {"timeout": BUSY_MS / 1000}}
        if url.database:
            try:
                Path(url.database).parent.mkdir(parents=True, exist_ok=True)
            except OSError as error:
                raise RecordError(
                    f"The folder {Path(url.database).parent} cannot be made: {error.strerror}",
                    instead="a folder you may write to",
                ) from error
    else:
        options = {
            "pool_size": 8,
            "max_overflow": 8,
            "pool_pre_ping": True,
            "connect_args": {"connect_timeout": 10, "client_encoding": "utf8"},
        }
    try:
        # What is written, names and telephones, stays out of messages of errors.
        engine = sa.create_engine(url, hide_parameters=True, **options)
    except (ArgumentError, TypeError) as error:
        raise InputError(f"{where!r} is no address of a database", allowed=_ADDRESSES) from error
    if url.get_backend_name() == "sqlite":
        sa.event.listen(engine, "connect", _set_up_sqlite)
        sa.event.listen(engine, "begin", _begin_sqlite)
    return Database(engine)


def bring_up_to_date(database: Database) -> None:
    """Make the tables, or carry an older record over to the tables of this version.

    Raises
    ------
    RecordError
        When the record was written by a newer Beltside; it is left as it was.
    """
    if _revision_noted(database) == TABLES_AT:
        return
    found, newest = _revisions(database)
    if found == newest:
        return
    migrate(database, "head")


def _revision_noted(database: Database) -> str | None:
    """The revision a record says its tables are at; None for an empty one.

    The library of migrations takes a quarter of a second to import: it is left until it is needed.
    """
    with database.reading() as connection:
        if not database.is_sqlite:
            _require_unicode(connection)
        if not sa.inspect(connection).has_table("alembic_version"):
            return None
        noted = connection.exec_driver_sql("SELECT version_num FROM alembic_version").scalars()
        found = list(noted)
        return str(found[0]) if len(found) == 1 else None


def require_this_version(database: Database, *, damaged_too: bool = False) -> None:
    """Refuse a record whose tables are not those of this version; nothing is changed.

    `damaged_too` lets through, to be looked at or rescued, one of an earlier version, one that
    can't be read, and one whose own note of its version is damaged.

    Raises
    ------
    RecordError
        When it is empty, older or newer.
    """
    try:
        found, newest = _revisions(database)
    except DamagedError:
        if damaged_too:
            return
        raise
    if found is None:
        raise RecordError(
            "There is no record in this database yet", instead="the folder or address of the shop"
        )
    if found != newest and not damaged_too:
        raise RecordError(
            f"This record is of an older Beltside (its tables are at {found})",
            allowed=f"tables at {newest}",
            instead="`beltside job list` first: opening it carries it over",
        )


def _require_told_truly(connection: sa.Connection, found: str | None) -> None:
    """Refuse a record that says it is of another version and has the tables of this one.

    Raises
    ------
    DamagedError
        When its note of its version is damaged.
    """
    if not has_all_columns(connection):
        return
    if found is not None and found > TABLES_AT:
        raise DamagedError(
            f"The record says it was written by a newer Beltside (its tables are at {found}), and "
            "its tables are those of this one: it was, or this note of it is damaged",
            instead=f"the newer Beltside; if there is none, {CHECK}",
        )
    says = "is gone" if found is None else f"says {found!r}"
    raise DamagedError(
        f"The record is damaged: its tables are of this version, its note of it {says}",
        instead=CHECK,
    )


def has_all_columns(connection: sa.Connection) -> bool:
    """Whether all tables of this version are there with all their columns."""
    there = sa.inspect(connection)
    return all(
        there.has_table(table.name)
        and {one["name"] for one in there.get_columns(table.name)} == set(table.columns.keys())
        for table in METADATA.sorted_tables
    )


def _revisions(database: Database) -> tuple[str | None, str | None]:
    """The revision of the tables found, and the newest this version knows.

    Raises
    ------
    RecordError
        When the record was written by a newer Beltside.
    DamagedError
        When its note of its version is damaged.
    """
    from alembic.migration import MigrationContext
    from alembic.script import ScriptDirectory

    scripts = ScriptDirectory(str(MIGRATIONS))
    newest = scripts.get_current_head()
    with database.reading() as connection:
        found = MigrationContext.configure(connection).get_current_revision()
        if not database.is_sqlite:
            _require_unicode(connection)
        if found != newest:
            # Seen in the same moment: somebody else may be making the tables right now.
            _require_told_truly(connection, found)
    if found is not None:
        _require_known(scripts, found)
    return found, newest


def migrate(database: Database, to: str) -> None:
    """Carry the tables up or down to a revision, whole or not at all."""
    from alembic import command

    config = _alembic_config()
    with database.migrating() as connection:
        config.attributes["connection"] = connection
        if to == "head" or not _is_behind(connection, to):
            command.upgrade(config, to)
        else:
            command.downgrade(config, to)


def fill_anew(
    database: Database,
    revision: str,
    fill: Callable[[sa.Connection], None],
    finish: Callable[[sa.Connection], None],
) -> None:
    """Make the tables of a revision, fill them, carry them over to this version; whole or not.

    `finish` is called last in the same transaction.

    Raises
    ------
    RecordError
        When the revision is of a newer Beltside.
    """
    from alembic import command
    from alembic.script import ScriptDirectory

    scripts = ScriptDirectory(str(MIGRATIONS))
    _require_known(scripts, revision)
    config = _alembic_config()
    with database.migrating() as connection:
        config.attributes["connection"] = connection
        command.upgrade(config, revision)
        fill(connection)
        command.upgrade(config, "head")
        finish(connection)


def _alembic_config() -> Config:
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS).replace("%", "%%"))
    return config


def _require_known(scripts: ScriptDirectory, found: str) -> None:
    if found not in {step.revision for step in scripts.walk_revisions()}:
        raise RecordError(
            f"This record was written by a newer Beltside (its tables are at {found})",
            allowed=f"tables up to {scripts.get_current_head()}",
            instead="the newer Beltside, or a backup made with this one",
        )


def _is_behind(connection: sa.Connection, to: str) -> bool:
    """Whether `to` is a revision older than the one found."""
    from alembic.migration import MigrationContext
    from alembic.script import ScriptDirectory

    found = MigrationContext.configure(connection).get_current_revision()
    if to == "base":
        return found is not None
    older = [step.revision for step in ScriptDirectory(str(MIGRATIONS)).walk_revisions()]
    return found in older and to in older and older.index(to) > older.index(found)


def _require_unicode(connection: sa.Connection) -> None:
    encoding = connection.exec_driver_sql("SHOW server_encoding").scalar_one()
    if encoding != "UTF8":
        raise RecordError(
            f"This database keeps text as {encoding}, which has no room for every letter",
            allowed="UTF8",
            instead="a database made with ENCODING 'UTF8' TEMPLATE template0",
        )


def _url(where: Path | str) -> URL:
    if isinstance(where, Path):
        return URL.create("sqlite", database=str(where))
    try:
        url = make_url(where)
    except (ArgumentError, ValueError) as error:
        raise InputError(
            f"{where!r} is no address of a database",
            allowed=_ADDRESSES,
        ) from error
    if url.get_backend_name() == "postgresql":
        return url.set(drivername="postgresql+psycopg")
    if url.get_backend_name() == "sqlite":
        return url
    raise InputError(
        f"Beltside keeps no record in {url.get_backend_name()!r}",
        allowed=_ADDRESSES,
    )


def _set_up_sqlite(connection: Any, _record: Any) -> None:
    # The driver must not begin transactions by itself: `_begin_sqlite` does.
    connection.isolation_level = None
    cursor = connection.cursor()
    cursor.execute(f"PRAGMA busy_timeout = {BUSY_MS}")
    _write_ahead(cursor)
    for pragma in (
        "synchronous = FULL",
        "foreign_keys = ON",
        "temp_store = MEMORY",
        "cache_size = -32000",
    ):
        cursor.execute(f"PRAGMA {pragma}")
    cursor.close()


def _write_ahead(cursor: sqlite3.Cursor) -> None:
    """Switch a file to a write-ahead log. A new file is switched once, and who comes at that very
    moment is refused without waiting, whatever the busy timeout: so wait here."""
    last = time.monotonic() + BUSY_MS / 1000.0
    while True:
        try:
            cursor.execute("PRAGMA journal_mode = WAL")
            return
        except sqlite3.OperationalError as error:
            busy = error.sqlite_errorcode & 0xFF in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED)
            if not busy or time.monotonic() > last:
                raise
            time.sleep(0.02)


def _begin_sqlite(connection: sa.Connection) -> None:
    # A writer takes its turn at once: one that reads first and writes later could find the record
    # changed under it and have to start again.
    writing = connection.get_execution_options().get("beltside_writing", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writing else "BEGIN")
