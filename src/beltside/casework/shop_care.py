"""Looking after the record: read all of it, put untidy things right, rescue what is whole."""

from __future__ import annotations

import contextlib
import os
import shutil
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from beltside.base.errors import InputError
from beltside.casework.own_folder import own_folder
from beltside.casework.results import Progress
from beltside.casework.shop import DATABASE_FILE, FILES_FOLDER, URL_VARIABLE
from beltside.jobs.check import Checked as Checked
from beltside.jobs.check import Problem as Problem
from beltside.jobs.check import verify
from beltside.jobs.database import (
    Database,
    RecordError,
    connect,
    open_database,
    require_this_version,
)
from beltside.jobs.page_scan import read_past_damage
from beltside.jobs.rescue import Rescued as Rescued
from beltside.jobs.rescue import rescue
from beltside.jobs.restoring import folder_beside, put_in_place
from beltside.jobs.search_words import rebuild
from beltside.jobs.store import FolderStore

HALF_ARRIVED_S: Final = 86_400.0
"""A file that has not arrived whole after a day never will [s]."""


@dataclass(frozen=True)
class LookedThrough:
    """A record that was read through.

    Attributes
    ----------
    where
        The database, in words.
    files
        The folder of stored files.
    checked
        What was found.
    put_right
        What was put right, a sentence each.
    """

    where: str
    files: Path
    checked: Checked
    put_right: tuple[str, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """Plain dict."""
        return {
            "database": self.where,
            "files_folder": str(self.files),
            **self.checked.to_json(),
            "put_right": list(self.put_right),
        }


@dataclass(frozen=True)
class Saved:
    """A new record made of what was whole of a damaged one."""

    folder: Path
    rescued: Rescued

    def to_json(self) -> dict[str, Any]:
        """Plain dict."""
        one = self.rescued
        return {
            "folder": str(self.folder),
            "jobs": one.jobs,
            "entries": one.entries,
            "files": one.files,
            "lost": list(one.lost),
        }


def look_through(
    folder: Path | None = None,
    *,
    database: str | None = None,
    put_right: bool = False,
    progress: Progress | None = None,
) -> LookedThrough:
    """Read the whole record and every stored file, and compare them with their checksums.

    A record of an older Beltside is looked at as it is, without checksums of its rows. Nothing is
    changed without `put_right`; with it the search words are made anew where they are
    not in step, and files that have not arrived whole for a day are deleted. What is damaged is
    never touched.

    Parameters
    ----------
    folder, database
        As for `open_shop`.

    Raises
    ------
    InputError
        When there is no record.
    RecordError
        When the record cannot be opened, or was written by another version of Beltside.
    """
    folder = folder or own_folder()
    store = FolderStore(folder / FILES_FOLDER)
    with _as_it_is(_where(folder, database)) as found:
        checked = verify(found, store, progress=progress)
        done: list[str] = []
        if put_right:
            about = {one.about for one in checked.problems}
            if "search" in about and "database" not in about:
                words = rebuild(found)
                done.append(f"The search words were made anew: {words} words")
            if "half-arrived file" in about:
                gone = store.sweep(HALF_ARRIVED_S, time.time())
                if gone:
                    done.append(f"{gone} files that never arrived whole were deleted")
            if done:
                checked = verify(found, store, progress=progress)
        return LookedThrough(_in_words(found, folder), store.folder, checked, tuple(done))


def rescue_into(
    to: Path,
    folder: Path | None = None,
    *,
    database: str | None = None,
    progress: Progress | None = None,
) -> Saved:
    """Copy what is whole of a damaged record and its files into a new folder.

    The damaged record is not changed. Files of the shop's own beside it (catalogue, costs, what
    closed jobs taught) are copied by hand.

    Raises
    ------
    InputError
        When there is no record, or the new folder holds something.
    """
    folder = folder or own_folder()
    if to.exists() and (not to.is_dir() or any(to.iterdir())):
        raise InputError(
            f"{to} is not empty", allowed="a new folder, or an empty one", instead=f"{to}-rescued"
        )
    say = progress or (lambda _what, _share: None)
    say("copying what is whole", 0.0)
    where = _where(folder, database)
    try:
        beside = folder_beside(to, "rescuing")
        try:
            with (
                _copied(where, beside) as copy,
                open_database(beside / DATABASE_FILE) as new,
            ):
                rescued = rescue(
                    copy,
                    new,
                    files=FolderStore(folder / FILES_FOLDER),
                    new_files=FolderStore(beside / FILES_FOLDER),
                )
                new.settle()
            put_in_place(beside, to)
        finally:
            shutil.rmtree(beside, ignore_errors=True)
    except OSError as error:
        raise RecordError(
            f"Nothing was rescued into {to}: {error.strerror or error}",
            instead="a new folder on a disk with room",
        ) from error
    say("done", 1.0)
    return Saved(to, rescued)


@contextlib.contextmanager
def _copied(where: Path | str, beside: Path) -> Iterator[Database]:
    """A record to read from, a copy of it where it is a file: SQLite writes to files it opens."""
    if isinstance(where, str):
        with _as_it_is(where) as found:
            yield found
        return
    with tempfile.TemporaryDirectory(dir=beside) as name:
        for end in ("", "-wal"):
            path = where.with_name(f"{where.name}{end}")
            if path.is_file():
                (Path(name) / path.name).write_bytes(read_past_damage(path))
        with connect(Path(name) / where.name) as found:
            # Looked at when its rows are read: until then its log stays as it is.
            yield found


def _where(folder: Path, database: str | None) -> Path | str:
    where = database or os.environ.get(URL_VARIABLE) or folder / DATABASE_FILE
    if isinstance(where, Path) and not where.is_file():
        raise InputError(
            f"There is no record in {folder}",
            allowed="a folder that holds the file shop.db",
            instead="--folder DIR, or --database URL for a record on a server",
        )
    return where


def _as_it_is(where: Path | str) -> Database:
    """The database as it is found; nothing is made or brought up to date."""
    found = connect(where)
    try:
        require_this_version(found, damaged_too=True)
    except BaseException:
        found.close()
        raise
    return found


def _in_words(database: Database, folder: Path) -> str:
    if database.is_sqlite:
        return str(folder / DATABASE_FILE)
    return database.engine.url.render_as_string(hide_password=True)
