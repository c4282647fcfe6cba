"""Writes a backup: one moment of the record, row by row, and the files it needs.

What a catalogue holds, packed with gzip: a head line, the rows (`table_rows.py`), and an end line
with the hash of all before it. Why it is done so: docs/decisions/0011-backup-row-by-row.md.
"""

from __future__ import annotations

import gzip
import hashlib
import io
import json
import secrets
import shutil
import tempfile
import zlib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import IO, Any, Final

import sqlalchemy as sa
from alembic.migration import MigrationContext

from beltside import __version__
from beltside.base.errors import BeltsideError, InputError
from beltside.jobs.backup_target import (
    FORMAT,
    VERSION,
    BackupError,
    DamagedFileError,
    Target,
    refused,
)
from beltside.jobs.check import damaged_row
from beltside.jobs.database import Database
from beltside.jobs.schema import ENTRY, JOB, STORED_FILE
from beltside.jobs.sealed_rows import CHECKSUM, SEALED, Kept, is_whole
from beltside.jobs.store import FolderStore, StoreError
from beltside.jobs.table_rows import row_lines, to_line

Progress = Callable[[str, float], None]
LONGEST_LINE: Final = 256_000_000
"""Bytes of one line of a catalogue: the longest row is an analysis's result, some MB."""
_PIECE: Final = 1 << 20
_SEALED: Final = {table.name: table for table in SEALED}
_SPARE_BYTES: Final = 10_000_000


@dataclass(frozen=True)
class OwnFile:
    """A file of the shop's own beside the record: its path below the folder, with slashes."""

    name: str
    path: Path


@dataclass(frozen=True)
class BackedUp:
    """A backup that was written and read back.

    Attributes
    ----------
    catalogue
        The file that stands for this backup.
    jobs, entries, files
        How many it holds.
    new_files, new_bytes
        What had to be copied; the rest was there from earlier backups.
    missing, damaged
        Stored files the record names that are gone, or are not what they were: not in the backup.
    damaged_rows
        What of the record itself is not what was written, a sentence each. It is in the backup as
        it is, and told when that is put back.
    """

    catalogue: Path
    made_at: datetime
    encrypted: bool
    jobs: int
    entries: int
    files: int
    new_files: int
    new_bytes: int
    catalogue_bytes: int
    missing: tuple[str, ...]
    damaged: tuple[str, ...]
    damaged_rows: tuple[str, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """Plain dict."""
        return {
            "backup": str(self.catalogue),
            "made_at": self.made_at.isoformat(),
            "encrypted": self.encrypted,
            "jobs": self.jobs,
            "entries": self.entries,
            "files": self.files,
            "new_files": self.new_files,
            "new_bytes": self.new_bytes,
            "catalogue_bytes": self.catalogue_bytes,
            "missing_files": list(self.missing),
            "damaged_files": list(self.damaged),
            "damaged_rows": list(self.damaged_rows),
        }


@dataclass
class _Gathered:
    """What is found out while the rows go by."""

    files: dict[str, int]
    counts: dict[str, int]
    digest: Any
    missing: list[str]
    damaged: list[str]
    damaged_rows: list[str]
    new_files: int = 0
    new_bytes: int = 0


def back_up(
    database: Database,
    store: FolderStore,
    target: Target,
    *,
    own: Sequence[OwnFile] = (),
    now: datetime | None = None,
    progress: Progress = lambda doing, share: None,
) -> BackedUp:
    """Write one backup into an open folder; others may go on writing to the record.

    Raises
    ------
    BackupError
        When there is no room, or it can't be written; no backup of this name is there then.
    """
    made_at = now or datetime.now(UTC)
    name = f"{made_at:%Y-%m-%dT%H-%M-%S-%f}-{secrets.token_hex(4)}"
    found = _Gathered({}, {}, hashlib.sha256(), [], [], [])
    try:
        # The temporary file has no name: a killed backup leaves nothing of it.
        with target.alone(), tempfile.TemporaryFile() as rows:
            target.sweep()
            progress("reading the record", 0.0)
            _write_rows(rows, database, made_at, found)
            # Files that the record names are on the disk by now, later ones belong to the next.
            _copy_files(store, target, found, progress)
            kept = [one for one in (_keep_own(target, file, found) for file in own) if one]
            progress("writing the catalogue", 0.9)
            end = _packed_end(found, kept)
            rows.seek(0)
            place = target.write_catalogue(
                name, _pieces(rows, end), lambda path: _require_whole(target, path, found)
            )
            progress("done", 1.0)
            size = place.stat().st_size
    except OSError as error:
        raise refused(target.folder, error) from error
    return BackedUp(
        place,
        made_at,
        target.key is not None,
        found.counts.get(JOB.name, 0),
        found.counts.get(ENTRY.name, 0),
        len(found.files) - len(found.missing) - len(found.damaged),
        found.new_files,
        found.new_bytes,
        size,
        tuple(found.missing),
        tuple(found.damaged),
        tuple(found.damaged_rows),
    )


def _write_rows(rows: IO[bytes], database: Database, made_at: datetime, found: _Gathered) -> None:
    """The head and all rows of one moment, packed."""
    with gzip.GzipFile(fileobj=rows, mode="wb", compresslevel=6, mtime=0) as packed:

        def write(value: Any) -> None:
            line = to_line(value)
            found.digest.update(line)
            packed.write(line)

        with database.reading() as connection:
            write(
                {
                    "format": FORMAT,
                    "version": VERSION,
                    "revision": MigrationContext.configure(connection).get_current_revision(),
                    "made_at": made_at.isoformat(),
                    "program": __version__,
                }
            )
            columns: list[str] = []
            hurt: list[tuple[sa.Table, Kept]] = []

            def look(name: str, row: Kept) -> None:
                table = _SEALED.get(name)
                if table is not None and CHECKSUM in row and not is_whole(name, row):
                    hurt.append((table, row))

            for table, value in row_lines(connection, look):
                write(value)
                if isinstance(value, dict):
                    columns = value["columns"]
                    found.counts[table] = 0
                    continue
                found.counts[table] += 1
                if table == STORED_FILE.name:
                    row = dict(zip(columns, value, strict=True))
                    found.files[row["sha256"]] = int(row["bytes"])
            for one, row in hurt:
                problem = damaged_row(connection, one, row)
                found.damaged_rows.append("; it is the ".join((problem.says, *problem.needed_by)))


def _copy_files(store: FolderStore, target: Target, found: _Gathered, progress: Progress) -> None:
    new = {name: size for name, size in found.files.items() if not target.has(name, size)}
    _require_room(target, sum(new.values()))
    whole, done = sum(new.values()) or 1, 0
    for sha256, size in sorted(new.items()):
        progress(f"copying {len(new)} files", 0.2 + 0.7 * done / whole)
        done += size
        try:
            source = store.path(sha256)
        except StoreError:
            found.missing.append(sha256)
            continue
        try:
            with source.open("rb") as reading:
                found.new_bytes += target.keep(sha256, reading)
        except DamagedFileError:
            found.damaged.append(sha256)
            continue
        found.new_files += 1


def _keep_own(target: Target, one: OwnFile, found: _Gathered) -> dict[str, Any] | None:
    """A file of the shop's own, which may be written anew while it is read."""
    try:
        data = one.path.read_bytes()
    except OSError:
        return None
    sha256 = hashlib.sha256(data).hexdigest()
    if not target.has(sha256, len(data)):
        found.new_bytes += target.keep(sha256, io.BytesIO(data))
        found.new_files += 1
    return {"name": one.name, "sha256": sha256, "bytes": len(data)}


def _require_room(target: Target, needed: int) -> None:
    free = shutil.disk_usage(target.folder).free
    if needed + _SPARE_BYTES > free:
        raise BackupError(
            f"The backup needs {(needed + _SPARE_BYTES) / 1e6:.0f} MB and {target.folder} has "
            f"{free / 1e6:.0f} MB left; nothing was written",
            instead="a disk with more room, or `--keep` to remove old backups",
        )


def _packed_end(found: _Gathered, own: list[dict[str, Any]]) -> bytes:
    end = {
        "end": True,
        "counts": found.counts,
        "own": own,
        "missing": found.missing,
        "damaged": found.damaged,
        "sha256": found.digest.hexdigest(),
    }
    # A second member of the same gzip file (RFC 1952, section 2.2).
    return gzip.compress(to_line(end), mtime=0)


def _pieces(rows: IO[bytes], end: bytes) -> Iterator[bytes]:
    while piece := rows.read(_PIECE):
        yield piece
    yield end


def _require_whole(target: Target, path: Path, found: _Gathered) -> None:
    """Read back what was written."""
    with Catalogue(target, path) as catalogue:
        catalogue.read_all()
        if catalogue.end["sha256"] != found.digest.hexdigest():
            raise BackupError(
                f"{target.folder} gives back other bytes than were written to it",
                instead="another disk",
            )


class Catalogue:
    """A backup's catalogue, opened for reading; a context.

    Attributes
    ----------
    head
        The first line.
    end
        The last one, once all rows were read.
    """

    def __init__(self, target: Target, path: Path) -> None:
        self.path: Final = path
        self._target: Final = target
        self._digest: Final = hashlib.sha256()
        self.end: dict[str, Any] = {}

    def __enter__(self) -> Catalogue:
        try:
            self._raw = self._target.open_catalogue(self.path)
        except FileNotFoundError as error:
            raise InputError(f"There is no backup {self.path}") from error
        self._packed = gzip.GzipFile(fileobj=self._raw)
        try:
            self.head: dict[str, Any] = self._checked_head()
        except BaseException:
            self.__exit__()
            raise
        return self

    def __exit__(self, *_: object) -> None:
        self._packed.close()
        self._raw.close()

    def _checked_head(self) -> dict[str, Any]:
        head = self._line()
        if (
            not isinstance(head, dict)
            or head.get("format") != FORMAT
            or not isinstance(head.get("revision"), str)
        ):
            raise self._damaged("it does not begin like one")
        if head.get("version") != VERSION:
            self.require_unpacked()
            raise BackupError(
                f"{self.path.name} was written by a newer Beltside", instead="the newer Beltside"
            )
        return head

    def rows(self) -> Iterator[Any]:
        """The lines of all tables; the hash is held against them when they have gone by."""
        while True:
            before = self._digest.copy()
            value = self._line()
            if isinstance(value, dict) and value.get("end") is True:
                if value.get("sha256") != before.hexdigest() or self._goes_on():
                    raise self._damaged("its hash is another")
                self.end = value
                return
            yield value

    def read_all(self) -> dict[str, int]:
        """Let all rows go by; the length of each file the backup holds, by hash."""
        files: dict[str, int] = {}
        table, columns = "", []
        for value in self.rows():
            if isinstance(value, dict):
                table, columns = value.get("table", ""), value.get("columns", [])
            elif table == STORED_FILE.name:
                row = dict(zip(columns, value, strict=False))
                files[str(row["sha256"])] = int(row["bytes"])
        for gone in (*self.end["missing"], *self.end["damaged"]):
            files.pop(gone, None)
        return files | {one["sha256"]: int(one["bytes"]) for one in self.end["own"]}

    def require_unpacked(self) -> None:
        """Unpack what is left, which holds gzip's own checksum against all of it.

        Raises
        ------
        BackupError
            When it can't be unpacked.
        """
        try:
            while self._packed.read(_PIECE):
                pass
        except (OSError, EOFError, zlib.error) as error:
            raise self._damaged("it can't be unpacked") from error

    def _goes_on(self) -> bool:
        try:
            return bool(self._packed.read(1))
        except (OSError, EOFError, zlib.error):
            return True

    def _line(self) -> Any:
        try:
            line = self._packed.readline(LONGEST_LINE)
            if not line.endswith(b"\n"):
                raise self._damaged("its end is missing")
            value = json.loads(line)
        except (OSError, EOFError, zlib.error, ValueError, RecursionError) as error:
            if isinstance(error, BeltsideError):
                raise
            raise self._damaged("it can't be unpacked") from error
        self._digest.update(line)
        return value

    def _damaged(self, why: str) -> BackupError:
        return BackupError(
            f"The backup {self.path.name} is damaged: {why}", instead="another backup"
        )
