"""The shop's record, opened: where jobs, files and settings are kept, and who is writing."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

from pydantic import ValidationError

from beltside.base.errors import InputError, nearest
from beltside.casework.formats.entries import ENTRY_KINDS, SINGLE_KINDS
from beltside.casework.formats.field_words import field_problem
from beltside.casework.own_folder import own_folder
from beltside.jobs.database import open_database
from beltside.jobs.entries import Change as Change
from beltside.jobs.entries import Clash as Clash
from beltside.jobs.entries import Entry as Entry
from beltside.jobs.entries import Job as Job
from beltside.jobs.entries import JobSheet as JobSheet
from beltside.jobs.reading import MissingError as MissingError
from beltside.jobs.record import Record
from beltside.jobs.store import FolderStore, StoredFile

URL_VARIABLE: Final = "BELTSIDE_DATABASE"
DATABASE_FILE: Final = "shop.db"
FILES_FOLDER: Final = "files"
FORGETTING_FILE: Final = ".forgetting.json"
"""The note of a forgetting that is not finished, in the shop's folder."""


@dataclass(frozen=True)
class Shop:
    """An open record.

    Attributes
    ----------
    folder
        Where the shop's own files are.
    record, files
        The jobs and the stored files.
    by
        Who is writing.
    """

    folder: Path
    record: Record
    files: FolderStore
    by: str

    def as_writer(self, by: str) -> Shop:
        """The same record in another's hand."""
        return replace(self, by=by)

    def close(self) -> None:
        """Let go of the database; may be called twice."""
        self.record.database.close()


@contextlib.contextmanager
def open_shop(
    folder: Path | None = None, *, database: str | None = None, by: str = "technician"
) -> Iterator[Shop]:
    """Open the record, making it when there is none, and close it afterwards.

    Parameters
    ----------
    folder
        The shop's folder; `.beltside` in the person's home, or what BELTSIDE_FOLDER says.
    database
        A PostgreSQL URL; what BELTSIDE_DATABASE says, or a file in the folder.

    Raises
    ------
    RecordError
        When it cannot be opened or written, or is of a newer version.
    """
    shop = shop_at(folder, database=database, by=by)
    try:
        yield shop
    finally:
        shop.close()


def shop_at(
    folder: Path | None = None, *, database: str | None = None, by: str = "technician"
) -> Shop:
    """As `open_shop`, for those who close it themselves."""
    folder = folder or own_folder()
    where = database or os.environ.get(URL_VARIABLE) or folder / DATABASE_FILE
    shop = Shop(folder, Record(open_database(where)), FolderStore(folder / FILES_FOLDER), by)
    if (folder / FORGETTING_FILE).exists():
        from beltside.casework.forgetting_run import finish_forgetting

        finish_forgetting(shop)
    return shop


class FieldProblemsError(InputError):
    """Fields of an entry that are not of the allowed form.

    `by_field` has what is wrong beside each; what was typed is in `typed`, all of it.
    """

    def __init__(self, kind: str, typed: Mapping[str, Any], by_field: Mapping[str, str]) -> None:
        self.kind: Final = kind
        self.typed: Final = typed
        self.by_field: Final = by_field
        super().__init__(
            f"The {kind} has problems: "
            + "; ".join(f"{name}: {problem}" for name, problem in by_field.items())
        )


def checked(kind: str, typed: Mapping[str, Any]) -> dict[str, Any]:
    """The body of an entry, checked field by field.

    Raises
    ------
    FieldProblemsError
        With every wrong field and what was typed.
    InputError
        When there is no such kind.
    """
    keys = ENTRY_KINDS.get(kind)
    if keys is None:
        close = nearest(kind, ENTRY_KINDS)
        raise InputError(
            f"Nothing of the kind {kind!r} is kept",
            allowed=", ".join(ENTRY_KINDS),
            instead=close or "",
        )
    try:
        body = keys.model_validate(dict(typed)).model_dump(mode="json")
    except ValidationError as error:
        wrong: dict[str, str] = {}
        for one in error.errors(include_url=False, include_context=False):
            name, says = field_problem(keys, one)
            wrong.setdefault(name or kind, says)
        raise FieldProblemsError(kind, dict(typed), wrong) from error
    needed, ask = _SAYS_NOTHING_WITHOUT.get(kind, ("", ""))
    if needed and not str(body[needed]).strip():
        raise FieldProblemsError(kind, dict(typed), {needed: ask})
    return body


_SAYS_NOTHING_WITHOUT: Final = {
    "note": ("words", "say what the note is"),
    "part-used": ("name", "say what went in"),
    "torque-tick": ("fastener", "say which fastener it was"),
}
"""A field without which an entry of this kind says nothing, and what to ask for."""


def write(
    shop: Shop,
    job_id: str,
    kind: str,
    typed: Mapping[str, Any],
    *,
    entry_id: str | None = None,
    files: Iterable[str] = (),
) -> Entry:
    """Write an entry on a job; of kinds a job has once, the one there is changed.

    Fields left out of a change keep their value.
    """
    if kind in SINGLE_KINDS:
        there = shop.record.sheet(job_id).newest(kind)
        if there is not None and there.id != entry_id:
            body = checked(kind, {**there.body, **typed})
            return shop.record.change(
                there.id, body, by=shop.by, based_on=there.version, files=files
            ).entry
    return shop.record.add(
        job_id, kind, checked(kind, typed), by=shop.by, entry_id=entry_id, files=files
    )


def rewrite(
    shop: Shop,
    entry_id: str,
    typed: Mapping[str, Any],
    *,
    based_on: int | None = None,
    refuse_clash: bool = False,
    files: Iterable[str] = (),
) -> Change:
    """Change fields of an entry; those left out keep the value they had in `based_on`.

    What somebody else wrote since is joined with it, or refused where it clashes, see
    `Record.change`.
    """
    now = shop.record.entry(entry_id)
    was = now
    if based_on is not None and based_on != now.version:
        was = next((old for old in shop.record.history(entry_id) if old.version == based_on), now)
    body = checked(now.kind, {**was.body, **typed})
    return shop.record.change(
        entry_id,
        body,
        by=shop.by,
        based_on=was.version,
        files=files,
        refuse_clash=refuse_clash,
    )


def keep(
    shop: Shop, pieces: Iterable[bytes], *, media_type: str, most_bytes: int = 2_000_000_000
) -> StoredFile:
    """Store a file, once however often it comes, and enter it in the record."""
    stored = shop.files.put(pieces, most_bytes=most_bytes)
    shop.record.keep_file(stored, media_type)
    return stored


def sheet_of(shop: Shop, job: str) -> JobSheet:
    """A job by its name or its number."""
    if job.isdecimal() and len(job) < 10:
        return shop.record.sheet(shop.record.job(int(job)).id)
    return shop.record.sheet(job)
