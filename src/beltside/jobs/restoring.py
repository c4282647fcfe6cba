"""Puts a backup back: into a folder that is not there or empty, whole or not at all."""

from __future__ import annotations

import contextlib
import os
import re
import shutil
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import IO, Any, Final

import sqlalchemy as sa

from beltside.base.errors import BeltsideError, InputError
from beltside.jobs.backup import Catalogue, Progress
from beltside.jobs.backup_target import BackupError, Target
from beltside.jobs.check import verify
from beltside.jobs.database import Database, RecordError, connect, fill_anew, migrate
from beltside.jobs.schema import ENTRY, JOB
from beltside.jobs.store import PIECE_BYTES, FolderStore, StoreError, flush_folder
from beltside.jobs.table_rows import fill_tables, tables_of

_A_DAY_S: Final = 86_400.0
_OWN_NAME: Final = re.compile(
    r"[A-Za-z0-9_][A-Za-z0-9_.-]{0,100}(/[A-Za-z0-9_][A-Za-z0-9_.-]{0,100})*"
)


@dataclass(frozen=True)
class Restored:
    """What was put back; `missing` are files that are not in the backup, or damaged there.

    `damaged` says what was damaged in the record already when the backup was made.
    """

    folder: Path
    backup: str
    made_at: str
    jobs: int
    entries: int
    files: int
    missing: tuple[str, ...]
    damaged: tuple[str, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """Plain dict."""
        return {
            "folder": str(self.folder),
            "backup": self.backup,
            "made_at": self.made_at,
            "jobs": self.jobs,
            "entries": self.entries,
            "files": self.files,
            "missing_files": list(self.missing),
            "damaged": list(self.damaged),
        }


def restore(
    target: Target,
    catalogue: Path,
    folder: Path,
    *,
    database: str | None,
    names: tuple[str, str],
    progress: Progress = lambda doing, share: None,
) -> Restored:
    """Put one backup of an open folder back.

    Parameters
    ----------
    folder
        Where to: not there yet, or empty.
    database
        An empty database's URL; None for a file in the folder.
    names
        What the database's file and the folder of stored files are called there.

    Raises
    ------
    InputError
        When the folder or the database is not empty.
    BackupError
        When the backup is damaged, or can't be written there; nothing is left behind then.
    """
    _require_empty(folder)
    try:
        beside = folder_beside(folder, "restoring")
    except OSError as error:
        raise _refused(folder, error) from error
    where: Path | str = database or beside / names[0]
    try:
        with Catalogue(target, catalogue) as reading, connect(where) as there:
            _require_new(there)

            def fill(connection: sa.Connection) -> None:
                progress("writing the record", 0.1)
                counts = fill_tables(connection, reading.rows())
                if counts != reading.end["counts"]:
                    raise BackupError("The backup holds other rows than it says")

            def finish(connection: sa.Connection) -> None:
                store = FolderStore(beside / names[1])
                missing.extend(_files(target, reading, connection, store, progress))
                _own_files(target, reading, beside)
                if database is not None:
                    put_in_place(beside, folder)

            missing: list[str] = []
            damaged: list[str] = []
            try:
                fill_anew(there, str(reading.head["revision"]), fill, finish)
            except (InputError, RecordError, sa.exc.SQLAlchemyError):
                # A table or version nobody knows may be a damaged letter only.
                reading.require_unpacked()
                raise
            if database is None:
                progress("checking", 0.95)
                damaged = _damaged(there, FolderStore(beside / names[1]), missing)
                there.settle()
            jobs, entries, files = _counts(there)
        if database is None:
            put_in_place(beside, folder)
    except OSError as error:
        raise _refused(folder, error) from error
    finally:
        shutil.rmtree(beside, ignore_errors=True)
    progress("done", 1.0)
    return Restored(
        folder,
        catalogue.name,
        str(reading.head["made_at"]),
        jobs,
        entries,
        files - len(missing),
        tuple(missing),
        tuple(damaged),
    )


def _require_empty(folder: Path) -> None:
    try:
        if folder.is_symlink() or (folder.exists() and not folder.is_dir()):
            raise InputError(f"{folder} is no folder", allowed="a new or empty folder")
        if folder.is_dir() and any(folder.iterdir()):
            raise InputError(
                f"{folder} is not empty; nothing was changed",
                allowed="a new or empty folder",
                instead="another name, then compare the two",
            )
    except OSError as error:
        raise _refused(folder, error) from error


def _require_new(database: Database) -> None:
    """A database without tables, or with ours and nothing in them."""
    with database.reading() as connection:
        tables = tables_of(connection)
        for table in tables:
            if connection.execute(sa.select(sa.literal(1)).select_from(table).limit(1)).first():
                raise InputError(
                    f"The database holds something in its table {table.name}; nothing was changed",
                    allowed="an empty database",
                )
    if tables:
        migrate(database, "base")


def _files(
    target: Target,
    reading: Catalogue,
    connection: sa.Connection,
    store: FolderStore,
    progress: Progress,
) -> Iterator[str]:
    """Copy the stored files; gives those that are not to be had."""
    gone = {*reading.end["missing"], *reading.end["damaged"]}
    rows = connection.execute(sa.text("SELECT sha256, bytes FROM stored_file ORDER BY 1")).all()
    whole, done = sum(int(row[1]) for row in rows) or 1, 0
    for sha256, size in rows:
        progress(f"copying {len(rows)} files", 0.3 + 0.6 * done / whole)
        done += int(size)
        if sha256 in gone:
            yield sha256
            continue
        try:
            with target.open(sha256) as file:
                store.put(_pieces(file), most_bytes=int(size))
        except StoreError as error:
            # No room here is no damage there.
            raise error.__cause__ or error from error
        except BeltsideError:
            yield sha256


def _pieces(file: IO[bytes]) -> Iterator[bytes]:
    while piece := file.read(PIECE_BYTES):
        yield piece


def _own_files(target: Target, reading: Catalogue, folder: Path) -> None:
    for one in reading.end["own"]:
        name = str(one["name"])
        if not _OWN_NAME.fullmatch(name) or ".." in PurePosixPath(name).parts:
            raise BackupError(f"The backup names a file {name[:120]!r}, which is none of ours")
        place = folder / name
        place.parent.mkdir(parents=True, exist_ok=True)
        with target.open(one["sha256"]) as file, place.open("xb") as writing:
            shutil.copyfileobj(file, writing, PIECE_BYTES)
            writing.flush()
            os.fsync(writing.fileno())
        if "/" in name:
            place.chmod(0o600)


def _damaged(database: Database, store: FolderStore, missing: list[str]) -> list[str]:
    """What the record says is damaged in it.

    The hash of the backup is right: rows that are not what was written were so when it was made.

    Raises
    ------
    BackupError
        When a file is not whole, or the tables do not fit together.
    """
    told = []
    for problem in verify(database, store).problems:
        if problem.about in ("database", "file") and problem.name not in missing:
            raise BackupError(f"The backup was put back, and is not whole: {problem.says}")
        if problem.is_loss and problem.about != "file":
            told.append(problem.says)
    return told


def _counts(database: Database) -> tuple[int, int, int]:
    with database.reading() as connection:
        jobs, entries, files = (
            connection.execute(sa.select(sa.func.count()).select_from(table)).scalar_one()
            for table in (JOB, ENTRY, sa.table("stored_file"))
        )
    return int(jobs), int(entries), int(files)


def folder_beside(folder: Path, doing: str) -> Path:
    """A new folder beside one that is to be made, to work in until all of it is there.

    Such folders of work that was killed go when they are a day old.
    """
    folder.parent.mkdir(parents=True, exist_ok=True)
    start = f".{folder.name}.{doing}-"
    for old in folder.parent.iterdir():
        if old.name.startswith(start) and time.time() - old.stat().st_mtime > _A_DAY_S:
            shutil.rmtree(old, ignore_errors=True)
    return Path(tempfile.mkdtemp(prefix=start, dir=folder.parent))


def put_in_place(beside: Path, folder: Path) -> None:
    """Move a finished folder to where it belongs: before it there is nothing, after it all."""
    beside.chmod(0o755)
    for path in [beside, *beside.rglob("*")]:
        if path.is_dir():
            flush_folder(path)
    try:
        # Over an empty folder this is one step too.
        os.rename(beside, folder)
    except OSError:
        with contextlib.suppress(FileNotFoundError):
            folder.rmdir()
        os.rename(beside, folder)
    flush_folder(folder.parent)


def _refused(folder: Path, error: OSError) -> BackupError:
    return BackupError(
        f"The backup can't be put back into {folder}: {error.strerror or error}",
        instead="a new folder on a disk with room, not the top of a disk",
    )
