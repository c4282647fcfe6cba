"""Copies what is whole of a damaged record into a new one."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

import sqlalchemy as sa
from sqlalchemy.exc import SQLAlchemyError

from beltside.base.errors import BeltsideError, InputError
from beltside.jobs import sealed_rows
from beltside.jobs.card import card_from
from beltside.jobs.database import Database, require_this_version
from beltside.jobs.entries import FILE_NAME
from beltside.jobs.mending import kind_of_file, mended_entry, mended_job, mended_version
from beltside.jobs.page_scan import PageScan
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

_TABLES: Final = (JOB, STORED_FILE, ENTRY, ENTRY_VERSION, FILE_USE, ANALYSIS, SOUND, COUNTER)
"""What is copied. Search words are made anew; phones and links are made anew by the technician."""

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
    RecordError
        When the damaged one was written by a newer Beltside.
    """
    with new.reading() as connection:
        if connection.execute(sa.select(JOB.c.id).limit(1)).first() is not None:
            raise InputError("The record to rescue into holds jobs", allowed="an empty one")
    lost: list[str] = []
    kept = _kept(damaged, lost)
    read = _whole(kept, files, lost)
    _find_files(read, files, lost)
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


def _kept(damaged: Database, lost: list[str]) -> dict[sa.Table, list[Kept]]:
    """The rows of all tables as the database holds them: asked for, or read page by page."""
    file = damaged.engine.url.database if damaged.is_sqlite else None
    # Looked at before SQLite does: it empties the log when it opens a file.
    scan = PageScan(Path(file)) if file and Path(file).is_file() else None
    damaged.close()
    require_this_version(damaged, damaged_too=True)
    answered = {table: _asked(damaged, table) for table in _TABLES}
    kept = {table: rows or [] for table, rows in answered.items()}
    failed = [table.name for table, rows in answered.items() if rows is None]
    if scan is None:
        lost += [f"The table {name} cannot be read" for name in failed]
    elif failed or scan.log_is_damaged or not _is_in_order(damaged):
        found = scan.rows()
        for table in found.keys() & kept.keys():
            kept[table] = _joined(table, kept[table], found[table])
        lost.append("The database could not be read as a whole: it was read page by page")
    return kept


def _asked(database: Database, table: sa.Table) -> list[Kept] | None:
    """The rows of a table, letters that are damaged too; None when they cannot be read.

    A record of an older Beltside has no checksums yet.
    """
    try:
        with database.as_found() as connection, damaged_letters(connection):
            columns = as_kept(table, without=_not_there(connection, table))
            return [dict(row) for row in connection.execute(sa.select(*columns)).mappings()]
    except (BeltsideError, SQLAlchemyError, ValueError, TypeError, OverflowError):
        return None


def _not_there(connection: sa.Connection, table: sa.Table) -> set[str]:
    there = {one["name"] for one in sa.inspect(connection).get_columns(table.name)}
    return set(table.columns.keys()) - there


def _is_in_order(database: Database) -> bool:
    """Whether an SQLite file's pages fit together."""
    try:
        with database.as_found() as connection:
            said = connection.exec_driver_sql("PRAGMA integrity_check").scalars().all()
    except (BeltsideError, SQLAlchemyError):
        return False
    return said == ["ok"]


def _joined(table: sa.Table, asked: list[Kept], scanned: list[Kept]) -> list[Kept]:
    """Rows got in both ways, each key once, whole ones before others.

    A damaged list of tables may give rows of another one: only whole ones of those asked for count.
    """
    names = [one.name for one in table.primary_key.columns]
    rows = {tuple(row[name] for name in names): row for row in scanned}
    for row in asked:
        key = tuple(row[name] for name in names)
        if table not in SEALED or CHECKSUM not in row:
            rows.setdefault(key, row)
        elif is_whole(table.name, row) and not (
            key in rows and CHECKSUM in rows[key] and is_whole(table.name, rows[key])
        ):
            rows[key] = row
    return list(rows.values())


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


def _find_files(
    read: dict[sa.Table, list[Row]], files: FolderStore | None, lost: list[str]
) -> None:
    """Enter files anew that entries name, and which entry names which, where that is lost."""
    known = {row["sha256"] for row in read[STORED_FILE]}
    there = set(files.names()) - known if files is not None else set()
    uses = {(row["sha256"], row["entry_id"]) for row in read[FILE_USE]}
    named: dict[str, set[str]] = {}
    for row in [*read[ENTRY_VERSION], *read[ENTRY]]:
        entry_id = str(row["entry_id"] if "entry_id" in row else row["id"])
        for sha256 in FILE_NAME.findall(json.dumps(row["body"])):
            named.setdefault(sha256, set()).add(entry_id)
    for sha256 in sorted(there & (set(named) | {one for one, _ in uses})):
        assert files is not None
        try:
            size = files.path(sha256).stat().st_size
            with files.path(sha256).open("rb") as file:
                media_type = kind_of_file(file.read(16))
        except (StoreError, OSError):
            continue
        row = {"sha256": sha256, "bytes": size, "media_type": media_type}
        read[STORED_FILE].append(row | {"added_at": _first_use(read, sha256)})
        known.add(sha256)
        lost.append(f"What is known of the file {sha256[:12]} was lost and is made anew from it")
    new = {(sha256, one) for sha256 in set(named) & known for one in named[sha256]} - uses
    read[FILE_USE] += [{"sha256": sha256, "entry_id": one} for sha256, one in sorted(new)]


def _first_use(read: dict[sa.Table, list[Row]], sha256: str) -> Any:
    times = [row["at"] for row in read[ENTRY_VERSION] if sha256 in json.dumps(row["body"])]
    return min(times, default=datetime(1970, 1, 1, tzinfo=UTC))


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
