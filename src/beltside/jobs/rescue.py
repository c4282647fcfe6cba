"""Copies what is whole of a damaged record into a new one."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

import sqlalchemy as sa
from sqlalchemy.exc import DBAPIError

from beltside.base.errors import InputError
from beltside.jobs.card import card_from
from beltside.jobs.database import Database
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
    """Copy every row that can be read and belongs to something into an empty record.

    A job whose own row is lost is put together again from its entries; an entry whose history is
    lost begins anew with what stands on it. The damaged record is not changed.

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
    read = {
        table: list(_rows(damaged, table, lost))
        for table in (JOB, STORED_FILE, ENTRY, ENTRY_VERSION, FILE_USE, ANALYSIS, SOUND, COUNTER)
    }
    _put_together(read, lost)
    with new.writing() as connection:
        for table, rows in read.items():
            for start in range(0, len(rows), 1000):
                connection.execute(table.insert(), rows[start : start + 1000])
    rebuild(new)
    copied = 0
    if files is not None and new_files is not None:
        copied = _copy_files(files, new_files, read[STORED_FILE], lost)
    return Rescued(len(read[JOB]), len(read[ENTRY]), copied, tuple(lost))


def _rows(database: Database, table: sa.Table, lost: list[str]) -> Iterator[Row]:
    """The rows of a table that can be read: all at once, or else in ever smaller parts."""
    with database.engine.connect() as connection:
        whole = _try(connection, sa.select(table))
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
            rows = _try(connection, sa.select(table).where(place.between(low, high)))
            if rows is not None:
                yield from rows
                continue
            failures += 1
            if low < high:
                middle = (low + high) // 2
                spans += [(middle + 1, high), (low, middle)]
        lost.append(f"Rows of the table {table.name} cannot be read")


def _try(connection: sa.Connection, query: sa.Select[Any]) -> list[Row] | None:
    try:
        return [dict(row) for row in connection.execute(query).mappings()]
    except (DBAPIError, json.JSONDecodeError, UnicodeDecodeError):
        connection.rollback()
        return None


def _put_together(read: dict[sa.Table, list[Row]], lost: list[str]) -> None:
    """Let every row point to rows that are there."""
    jobs = {row["id"] for row in read[JOB]}
    number = max((row["number"] for row in read[JOB]), default=0)
    orphans: dict[str, list[Row]] = {}
    for row in read[ENTRY]:
        if row["job_id"] is not None and row["job_id"] not in jobs:
            orphans.setdefault(row["job_id"], []).append(row)
    for job_id, entries in sorted(orphans.items()):
        number += 1
        read[JOB].append(_job_from(job_id, number, entries))
        lost.append(f"The number of job {job_id} is lost; it is now {number}")
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
