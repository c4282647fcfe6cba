"""Reads rows out of an SQLite file page by page, where damage keeps SQLite itself from it.

After the published file format (sqlite.org, "Database File Format", sections 1.3 to 2.1 and 4). The
tree of pages, the list of tables and the file's own head are not needed: every page that may hold
rows is read by itself, and a row's checksum (`sealed_rows.py`) proves what it is. So a flipped byte
costs no row but those on its own page.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any, Final

import sqlalchemy as sa

from beltside.jobs.schema import FILE_USE
from beltside.jobs.sealed_rows import CHECKSUM, SEALED, Kept, is_whole

PAGE_BYTES: Final = 4096
"""What SQLite makes new files with since 2016; tried when the head does not say."""

_LEAF_OF_TABLE: Final = 13
_OF_THE_LIST_OF_TABLES: Final = ("table", "index", "view", "trigger")
"""What its rows begin with (section 2.6); they have as many columns as one of our tables."""
_HEAD_BYTES: Final = 100
_MOST_COLUMNS: Final = 64
_WAL_HEAD, _FRAME_HEAD = 32, 24
_REAL: Final = struct.Struct(">d")


class _NoRowError(ValueError):
    """These bytes are no row."""


class PageScan:
    """The pages of an SQLite file and of the log beside it, as they lie there now.

    Parameters
    ----------
    path
        The database's file. Nothing is locked: no other program should be writing to it.

    Attributes
    ----------
    log_is_damaged
        Whether the log goes on behind a place where SQLite stops reading it.
    """

    def __init__(self, path: Path) -> None:
        self._data: Final = read_past_damage(path)
        said = int.from_bytes(self._data[16:18], "big")
        said = 65536 if said == 1 else said
        self._page: int = said if said >= 512 and not said & (said - 1) else PAGE_BYTES
        self._usable = self._page - self._data[20] if len(self._data) > 20 else self._page
        self._newer: dict[int, bytes] = {}
        self._beside: list[bytes] = []
        log = path.with_name(f"{path.name}-wal")
        if log.is_file():
            self._read_log(read_past_damage(log))
        self.log_is_damaged: Final = bool(self._beside)

    def rows(self) -> dict[sa.Table, list[Kept]]:
        """Every row found of the tables that bear checksums, and which entry needs which file.

        Of rows with one key the newest whole one is given. Those that are not whole are among
        them when no whole one has their key. Rows of a record older than checksums have none.
        """
        found = self._found()
        if not any(found.values()) and (self._page, self._usable) != (PAGE_BYTES, PAGE_BYTES):
            # The head may be what is damaged.
            self._page = self._usable = PAGE_BYTES
            found = self._found()
        return found

    def _found(self) -> dict[sa.Table, list[Kept]]:
        by_columns = {len(table.columns): table for table in SEALED}
        found = self._of_tables(by_columns, sealed=True)
        if any(is_whole(table.name, row) for table in SEALED for row in found[table]):
            return found
        older = self._of_tables({count - 1: table for count, table in by_columns.items()}, False)
        return older if any(older.values()) else found

    def _of_tables(
        self, by_columns: Mapping[int, sa.Table], sealed: bool
    ) -> dict[sa.Table, list[Kept]]:
        names = {
            table: [one.name for one in table.columns if sealed or one.name != CHECKSUM]
            for table in by_columns.values()
        }
        best: dict[sa.Table, dict[Any, tuple[Any, Kept]]] = {table: {} for table in names}
        uses: dict[tuple[Any, ...], Kept] = {}
        for page, sure in self._pages():
            for values in self._rows_of(page):
                table = by_columns.get(len(values))
                if len(values) == len(FILE_USE.columns) and sure and _is_use(values):
                    uses[tuple(values)] = dict(zip(("sha256", "entry_id"), values, strict=True))
                if table is None or values[0] in _OF_THE_LIST_OF_TABLES:
                    continue
                row = dict(zip(names[table], values, strict=True))
                whole = is_whole(table.name, row) if sealed else _fits(table, row)
                if not whole and not (sure and sealed):
                    continue
                key = tuple(repr(row[one.name]) for one in table.primary_key.columns)
                rank = (whole, _age(row))
                if key not in best[table] or best[table][key][0] < rank:
                    best[table][key] = (rank, row)
        found = {table: [row for _, row in rows.values()] for table, rows in best.items()}
        return {**found, FILE_USE: list(uses.values())}

    # Pages ----------------------------------------------------------------------------------------

    def _pages(self) -> Iterator[tuple[bytes, bool]]:
        """Pages that may hold rows, and whether they surely belong to a table."""
        free = self._free()
        for number in range(1, self._count + 1):
            if number in free:
                continue
            page = self._at(number)
            if number == 1:
                page = page[_HEAD_BYTES:]
                yield page.rjust(self._page, b"\0"), False
                continue
            yield page, page[:1] == bytes([_LEAF_OF_TABLE])
        for page in self._beside:
            yield page, False

    @property
    def _count(self) -> int:
        in_file = -(-len(self._data) // self._page)
        return max([in_file, *self._newer])

    def _at(self, number: int) -> bytes:
        if number in self._newer:
            return self._newer[number]
        start = (number - 1) * self._page
        return bytes(self._data[start : start + self._page]).ljust(self._page, b"\0")

    def _free(self) -> set[int]:
        """Pages that are not in use: what lies there was deleted (section 1.5)."""
        free: set[int] = set()
        trunk = int.from_bytes(self._at(1)[32:36], "big")
        while 1 < trunk <= self._count and trunk not in free:
            page = self._at(trunk)
            free.add(trunk)
            count = int.from_bytes(page[4:8], "big")
            if count > self._usable // 4 - 2:
                break
            leaves = struct.unpack_from(f">{count}I", page, 8)
            # A page that plainly is none of these ends the walk: the list is damaged.
            if any(not 1 < one <= self._count for one in leaves):
                break
            free.update(leaves)
            trunk = int.from_bytes(page[:4], "big")
        return free

    def _read_log(self, log: bytes | bytearray) -> None:
        """Pages written since the file was last brought up to date (section 4)."""
        if len(log) < _WAL_HEAD:
            return
        big = bool(log[3] & 1)
        size = int.from_bytes(log[8:12], "big")
        if size != self._page and size in (512 << shift for shift in range(8)):
            self._page = self._usable = size
        salts = log[16:24]
        sums = _log_sums(log[:24], (0, 0), big)
        good = sums == struct.unpack(">2I", log[24:32])
        waiting: dict[int, bytes] = {}
        step = _FRAME_HEAD + self._page
        for start in range(_WAL_HEAD, len(log) - step + 1, step):
            head, page = log[start : start + _FRAME_HEAD], bytes(log[start + 24 : start + step])
            if head[8:16] != salts:
                # Frames of an earlier round follow; a damaged one of this round may not.
                good = False
                continue
            if good:
                sums = _log_sums(head[:8], sums, big)
                sums = _log_sums(page, sums, big)
                good = sums == struct.unpack(">2I", head[16:24])
            if not good:
                self._beside.append(page)
                continue
            waiting[int.from_bytes(head[:4], "big")] = page
            if int.from_bytes(head[4:8], "big"):
                self._newer |= waiting
                waiting = {}

    # Rows -----------------------------------------------------------------------------------------

    def _rows_of(self, page: bytes) -> Iterator[list[Any]]:
        """The rows of a page, as far as they can be read (section 1.6)."""
        count = min(int.from_bytes(page[3:5], "big"), (self._usable - 8) // 2)
        for place in range(count):
            at = int.from_bytes(page[8 + 2 * place : 10 + 2 * place], "big")
            try:
                yield _values(self._payload(page, at))
            except (_NoRowError, IndexError, struct.error):
                continue

    def _payload(self, page: bytes, at: int) -> bytes:
        if not 8 <= at < self._usable:
            raise _NoRowError
        length, at = _number(page, at)
        _, at = _number(page, at)
        most = self._usable - 35
        if length <= most:
            if at + length > self._usable:
                raise _NoRowError
            return page[at : at + length]
        if length > len(self._data) + self._page * len(self._newer):
            raise _NoRowError
        least = (self._usable - 12) * 32 // 255 - 23
        here = least + (length - least) % (self._usable - 4)
        here = here if here <= most else least
        if at + here + 4 > self._usable:
            raise _NoRowError
        parts, left = [page[at : at + here]], length - here
        number = int.from_bytes(page[at + here : at + here + 4], "big")
        while left > 0:
            if not 1 < number <= self._count:
                raise _NoRowError
            over = self._at(number)
            parts.append(over[4 : min(self._usable, 4 + left)])
            left -= self._usable - 4
            number = int.from_bytes(over[:4], "big")
        return b"".join(parts)


def _number(data: bytes, at: int) -> tuple[int, int]:
    """A whole number of 1 to 9 bytes, and where it ends (section 1.6)."""
    value = 0
    for place in range(8):
        byte = data[at + place]
        value = value << 7 | byte & 0x7F
        if byte < 0x80:
            return value, at + place + 1
    return value << 8 | data[at + 8], at + 9


def _values(payload: bytes) -> list[Any]:
    """What a row holds (section 2.1); letters that are damaged as half surrogate pairs."""
    end, at = _number(payload, 0)
    kinds = []
    while at < end:
        kind, at = _number(payload, at)
        kinds.append(kind)
        if len(kinds) > _MOST_COLUMNS:
            raise _NoRowError
    values: list[Any] = []
    at = end
    for kind in kinds:
        value, at = _value(payload, at, kind)
        values.append(value)
    return values


_WHOLE: Final = {1: 1, 2: 2, 3: 3, 4: 4, 5: 6, 6: 8}


def _value(payload: bytes, at: int, kind: int) -> tuple[Any, int]:
    if kind == 0:
        return None, at
    if kind in (8, 9):
        return kind - 8, at
    if kind in _WHOLE:
        end = at + _WHOLE[kind]
        value: Any = int.from_bytes(payload[at:end], "big", signed=True)
    elif kind == 7:
        end = at + 8
        (value,) = _REAL.unpack_from(payload, at)
    elif kind >= 12:
        end = at + (kind - 12) // 2
        value = payload[at:end]
        value = value.decode("utf-8", "surrogateescape") if kind % 2 else value
    else:
        raise _NoRowError
    if end > len(payload):
        raise _NoRowError
    return value, end


def _log_sums(data: bytes | bytearray, sums: tuple[int, int], big: bool) -> tuple[int, int]:
    """The log's own checksum, carried on over these bytes (section 4.2)."""
    one, other = sums
    words = struct.unpack(f"{'>' if big else '<'}{len(data) // 4}I", data)
    for first, second in zip(words[::2], words[1::2], strict=True):
        one = (one + first + other) & 0xFFFFFFFF
        other = (other + second + one) & 0xFFFFFFFF
    return one, other


def _is_use(values: list[Any]) -> bool:
    """Whether two values are a file's name and an entry's."""
    name, entry = values
    return (
        isinstance(name, str)
        and len(name) == 64
        and not set(name) - set("0123456789abcdef")
        and isinstance(entry, str)
    )


def _fits(table: sa.Table, row: Kept) -> bool:
    """Whether a row without a checksum is plainly one of this table: each value of its kind."""
    for column in table.columns:
        if column.name == CHECKSUM:
            continue
        value = row[column.name]
        if value is None and not column.nullable:
            return False
        own = column.type  # our own kinds of columns: moments are numbers, JSON is text
        kind = (own.impl_instance if isinstance(own, sa.types.TypeDecorator) else own).python_type
        if value is not None and not isinstance(value, int if kind is bool else kind):
            return False
    return True


def _age(row: Kept) -> tuple[int, int]:
    """What tells a newer copy of a row from an older one."""
    return tuple(  # type: ignore[return-value]
        value if isinstance(value := row.get(name), int) else 0 for name in ("version", "change")
    )


def read_past_damage(path: Path) -> bytearray:
    """A file's bytes; what the disk does not give back is zeros."""
    size = path.stat().st_size
    found = bytearray(size)
    with path.open("rb", buffering=0) as file:
        for start in range(0, size, 1 << 20):
            stretch = min(1 << 20, size - start)
            try:
                _read(file, start, stretch, found)
            except OSError:
                for at in range(start, start + stretch, PAGE_BYTES):
                    try:
                        _read(file, at, min(PAGE_BYTES, size - at), found)
                    except OSError:
                        continue
    return found


def _read(file: Any, start: int, length: int, found: bytearray) -> None:
    file.seek(start)
    while length:
        piece = file.read(length)
        if not piece:
            return
        found[start : start + len(piece)] = piece
        start += len(piece)
        length -= len(piece)
