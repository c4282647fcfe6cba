"""Copies what is whole of a damaged record into a new one."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

import sqlalchemy as sa
from sqlalchemy.exc import DBAPIError, NoSuchTableError

from beltside.base.errors import InputError
from beltside.jobs import sealed_rows
from beltside.jobs.card import card_from
from beltside.jobs.database import Database
from beltside.jobs.mending import mended_entry, mended_job, mended_version
from beltside.jobs.schema import (
    ANALYSIS,
    COUNTER,
    ENTRY,
    ENTRY_VERSION,
    FILE_USE,
    JOB,
    SOUND,
    STORED_FILE,
)
from beltside.jobs.sealed_rows import (
    CHECKSUM,
    SEALED,
    Kept,
    as_kept,
    damaged_letters,
    is_whole,
    loaded,
    only_checksum_hit,
)
from beltside.jobs.search_words import rebuild
from beltside.jobs.store import PIECE_BYTES, FolderStore, StoreError

MOST_FAILURES: Final = 20_000
"""Reads that may fail in one table before the rest of it is given up."""

_BEYOND_ALL: Final = 1_000_000

Row = dict[str, Any]


@dataclass(frozen=True)
class Rescued:
    """What was copied, and in plain sentences what was not."""

    jobs: int
    entries: int
    files: int
    lost: tuple[str, ...]


def rescue(
    damaged: Database,
    new: Database,
    *,
    files: FolderStore | None = None,
    new_files: FolderStore | None = None,
) -> Rescued:
    """Copy every row that is what was written and belongs to something into an empty record.

    A damaged row is put together again where the rest of the record tells what it was. A job whose
    own row is lost is put together from its entries; an entry whose history is lost begins anew
    with what stands on it. The damaged record is not changed.

    Parameters
    ----------
    files, new_files
        The stored files, and where the whole ones of them go; None leaves them where they are.

    Raises
    ------
    InputError
        When the new record is not empty.
    """
    with new.reading() as connection:
        if connection.execute(sa.select(JOB.c.id).limit(1)).first() is not None:
            raise InputError("The record to rescue into holds jobs", allowed="an empty one")
    lost: list[str] = []
    kept = {
        table: list(_rows(damaged, table, lost))
        for table in (JOB, STORED_FILE, ENTRY, ENTRY_VERSION, FILE_USE, ANALYSIS, SOUND, COUNTER)
    }
    read = _whole(kept, files, lost)
    _put_together(read, {row["id"]: row["number"] for row in kept[JOB]}, lost)
    with new.writing() as connection:
        for table, rows in read.items():
            write = sealed_rows.insert_all if table in SEALED else _insert_all
            for start in range(0, len(rows), 1000):
                write(connection, table, rows[start : start + 1000])
    rebuild(new)
    copied = 0
    if files is not None and new_files is not None:
        copied = _copy_files(files, new_files, read[STORED_FILE], lost)
    return Rescued(len(read[JOB]), len(read[ENTRY]), copied, tuple(lost))


def _insert_all(connection: sa.Connection, table: sa.Table, rows: list[Row]) -> None:
    if rows:
        connection.execute(table.insert(), rows)


def _rows(database: Database, table: sa.Table, lost: list[str]) -> Iterator[Kept]:
    """The rows of a table that can be read: all at once, or else in ever smaller parts.

    As the database holds them, letters that are damaged too. A record of an older Beltside has no
    checksums yet.
    """
    with database.as_found() as connection, damaged_letters(connection):
        columns = as_kept(table, without=_not_there(connection, table))
        whole = _try(connection, sa.select(*columns))
        if whole is not None:
            yield from whole
            return
        if not database.is_sqlite:
            lost.append(f"The table {table.name} cannot be read")
            return
        place = sa.literal_column("rowid", sa.Integer)
        last = _try(connection, sa.select(sa.func.max(place).label("last")).select_from(table))
        spans = [(1, (last[0]["last"] or 0) if last else _BEYOND_ALL)]
        failures = 0
        while spans and failures < MOST_FAILURES:
            low, high = spans.pop()
            rows = _try(connection, sa.select(*columns).where(place.between(low, high)))
            if rows is not None:
                yield from rows
                continue
            failures += 1
            if low < high:
                middle = (low + high) // 2
                spans += [(middle + 1, high), (low, middle)]
        lost.append(f"Rows of the table {table.name} cannot be read")


def _not_there(connection: sa.Connection, table: sa.Table) -> set[str]:
    try:
        there = {one["name"] for one in sa.inspect(connection).get_columns(table.name)}
    except (DBAPIError, NoSuchTableError):
        return set()
    return set(table.columns.keys()) - there


def _try(connection: sa.Connection, query: sa.Select[Any]) -> list[Kept] | None:
    try:
        return [dict(row) for row in connection.execute(query).mappings()]
    except DBAPIError:
        connection.rollback()
        return None


def _whole(
    kept: dict[sa.Table, list[Kept]], files: FolderStore | None, lost: list[str]
) -> dict[sa.Table, list[Row]]:
    """The rows that are what was written, or can be made so again."""
    damaged: dict[sa.Table, list[Kept]] = {table: [] for table in kept}
    whole: dict[sa.Table, list[Kept]] = {table: [] for table in kept}
    for table, rows in kept.items():
        for row in rows:
            sound = table not in SEALED or CHECKSUM not in row or _is_sound(table.name, row)
            (whole if sound else damaged)[table].append(row)
    versions: dict[Any, list[Kept]] = {}
    for row in whole[ENTRY_VERSION]:
        versions.setdefault(row["entry_id"], []).append(row)
    for row in damaged[ENTRY]:
        again = mended_entry(row, versions.get(row["id"], ()))
        what = f"The {row['kind']} {row['id']}"
        _either(whole[ENTRY], again, what, lost)
    entries = {(row["id"], row["version"]): row for row in whole[ENTRY]}
    for row in damaged[ENTRY_VERSION]:
        again = mended_version(row, entries.get((row["entry_id"], row["version"])))
        _either(whole[ENTRY_VERSION], again, f"Version {row['version']} of {row['entry_id']}", lost)
    for row in damaged[JOB]:
        on_it = [one for one in whole[ENTRY] if one["job_id"] == row["id"]]
        _either(whole[JOB], mended_job(row, on_it), f"The row of job {row['number']}", lost)
    for row in damaged[STORED_FILE]:
        # The file itself says whether it is whole: its name is its checksum.
        again = row | {"bytes": _size(files, row)} if _size(files, row) else None
        _either(whole[STORED_FILE], again, f"What is known of the file {row['sha256']}", lost)
    for table in (ANALYSIS, SOUND):
        if damaged[table]:
            says = f"{len(damaged[table])} damaged rows of {table.name} are left out"
            lost.append(f"{says}; they are worked out anew")
    read: dict[sa.Table, list[Row]] = {}
    for table, rows in whole.items():
        read[table] = []
        for row in rows:
            try:
                read[table].append(loaded(table, row))
            except (ValueError, TypeError, OverflowError):
                lost.append(f"A row of {table.name} cannot be read")
    return read


def _is_sound(table: str, row: Kept) -> bool:
    return is_whole(table, row) or only_checksum_hit(table, row)


def _either(whole: list[Kept], again: Kept | None, what: str, lost: list[str]) -> None:
    what = what.encode("ascii", "replace").decode("ascii")
    if again is None:
        lost.append(f"{what} is damaged and left out")
    else:
        whole.append(again)
        lost.append(f"{what} was damaged and could be put together again")


def _size(files: FolderStore | None, row: Kept) -> int | None:
    try:
        if files is not None and files.digest(row["sha256"]) == row["sha256"]:
            return files.path(row["sha256"]).stat().st_size
    except (InputError, StoreError, OSError, TypeError):
        pass
    return None


def _put_together(
    read: dict[sa.Table, list[Row]], numbers: dict[Any, Any], lost: list[str]
) -> None:
    """Let every row point to rows that are there.

    `numbers` are those of jobs as they are found, damaged or not.
    """
    jobs = {row["id"] for row in read[JOB]}
    taken = {row["number"] for row in read[JOB]}
    number = max(taken, default=0)
    orphans: dict[str, list[Row]] = {}
    for row in read[ENTRY]:
        if row["job_id"] is not None and row["job_id"] not in jobs:
            orphans.setdefault(row["job_id"], []).append(row)
    for job_id, entries in sorted(orphans.items()):
        found = numbers.get(job_id)
        if isinstance(found, int) and 0 < found <= number + len(orphans) and found not in taken:
            lost.append(f"Job {found} was made anew from its entries")
        else:
            found = max(taken, default=0) + 1
            lost.append(f"The number of job {job_id} is lost; it is now {found}")
        taken.add(found)
        read[JOB].append(_job_from(job_id, found, entries))
    number = max(taken, default=0)
    there_is = {row["id"] for row in read[ENTRY]}
    files = {row["sha256"] for row in read[STORED_FILE]}
    _keep(read, ENTRY_VERSION, lambda row: row["entry_id"] in there_is, lost)
    there = {(row["entry_id"], row["version"]) for row in read[ENTRY_VERSION]}
    for row in read[ENTRY]:
        if (row["id"], row["version"]) not in there:
            kept = {key: row[key] for key in ("version", "at", "by", "removed", "body", "clash")}
            read[ENTRY_VERSION].append({"entry_id": row["id"], "how": "made", **kept})
            lost.append(f"Earlier versions of the {row['kind']} {row['id']} may be lost")
    _keep(read, FILE_USE, lambda row: row["entry_id"] in there_is and row["sha256"] in files, lost)
    jobs |= set(orphans)
    _keep(read, SOUND, lambda row: row["entry_id"] in there_is and row["job_id"] in jobs, lost)
    _keep(read, ANALYSIS, lambda row: row["job_id"] is None or row["job_id"] in jobs, lost)
    # The counters go on from what is there; that of search words begins anew with the words.
    sounds = max((row["change"] for row in read[SOUND]), default=0)
    read[COUNTER] = [{"name": "job", "value": number}, {"name": "sound", "value": sounds}]


def _keep(read: dict[sa.Table, list[Row]], table: sa.Table, right: Any, lost: list[str]) -> None:
    rows = [row for row in read[table] if right(row)]
    if len(rows) < len(read[table]):
        lost.append(
            f"{len(read[table]) - len(rows)} rows of {table.name} belonged to something lost"
        )
    read[table] = rows


def _job_from(job_id: str, number: int, entries: list[Row]) -> Row:
    entries = sorted(entries, key=lambda row: int(row["place"]))
    card = card_from((row["kind"], row["body"]) for row in entries if not row["removed"])
    last = max(row["at"] for row in entries)
    return {
        "id": job_id,
        "number": number,
        "created_at": entries[0]["created_at"],
        "created_by": entries[0]["by"],
        "changed_at": last,
        "change": sum(int(row["version"]) for row in entries),
        "stage": card.stage,
        "closed_at": last if card.stage == "closed" else None,
        "card": card.to_plain(),
    }


def _copy_files(
    files: FolderStore, new_files: FolderStore, rows: list[Row], lost: list[str]
) -> int:
    copied = 0
    for row in rows:
        sha256 = row["sha256"]
        try:
            if files.digest(sha256) != sha256:
                lost.append(f"The stored file {sha256[:12]} is damaged")
                continue
            new_files.put(_pieces(files, sha256), most_bytes=1 << 62)
        except (StoreError, OSError) as error:
            lost.append(str(error))
            continue
        copied += 1
    return copied


def _pieces(files: FolderStore, sha256: str) -> Iterator[bytes]:
    with files.path(sha256).open("rb") as file:
        while piece := file.read(PIECE_BYTES):
            yield piece
