"""What a database says of itself, in plain words and with what would work."""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Final

import sqlalchemy as sa
from sqlalchemy.exc import DataError, DBAPIError, OperationalError
from sqlalchemy.exc import TimeoutError as PoolTimeoutError

from beltside.base.errors import BeltsideError, InputError


class RecordError(BeltsideError):
    """The record cannot be read or written: disk full, read only, damaged, from a newer version."""


class DamagedError(RecordError):
    """The record's database is not what was written: `beltside check` names it and rescues."""


CHECK: Final = (
    "`beltside check`, then a backup put back, or what is whole saved with "
    "`beltside check --rescue-into DIR`"
)
_FULL: Final = ("The disk is full; nothing was changed", "room on the disk, then the same again")
_READ_ONLY: Final = (
    "The record may only be read here; nothing was changed",
    "one you may write to",
)
_NOT_OPEN: Final = ("The record cannot be opened", "a folder that is there and yours to write")
_DAMAGED: Final = ("The record is damaged", CHECK)
_GONE: Final = ("The record is damaged: a table is missing", CHECK)
_OTHER_TABLES: Final = ("The record is damaged: its tables are not those of Beltside", CHECK)
_NO_RECORD: Final = (
    "The file is no record of Beltside, or its beginning is damaged",
    "another file, a backup put back, or what is whole saved with "
    "`beltside check --rescue-into DIR`",
)
_BUSY: Final = ("Somebody else has been writing for long; nothing was changed", "the same again")
_AT_ONCE: Final = ("Somebody else was writing the same; nothing was changed", "the same again")
_DISK: Final = ("The disk gave an error; nothing was changed", CHECK)
_NO_RIGHTS: Final = ("The record is not yours to use", "the rights to read and write it")
_NO_SERVER: Final = ("The database server does not answer", "start it, or check its address")

_DAMAGES: Final = (_DAMAGED, _GONE, _OTHER_TABLES, _NO_RECORD, _DISK)

_OF_SQLITE: Final = {
    # What Beltside asks is right for its own tables: an error of the question is one of theirs.
    1: _OTHER_TABLES,
    3: _NO_RIGHTS,
    5: _BUSY,
    6: _BUSY,
    8: _READ_ONLY,
    10: _DISK,
    11: _DAMAGED,
    13: _FULL,
    14: _NOT_OPEN,
    26: _NO_RECORD,
}
"""By SQLite's primary result code (sqlite.org, "Result and Error Codes")."""

_OF_POSTGRESQL: Final = {
    "25006": _READ_ONLY,
    "28": _NO_RIGHTS,
    "40": _AT_ONCE,
    "42501": _NO_RIGHTS,
    "42P01": _GONE,
    "53100": _FULL,
    "55P03": _BUSY,
    "58": _DISK,
    "XX001": _DAMAGED,
    "XX002": _DAMAGED,
}
"""By SQLSTATE or its class (PostgreSQL manual, appendix A): its words may be of any language."""


@contextmanager
def told(engine: sa.Engine) -> Iterator[None]:
    """Turn what a database says of itself into plain words; anything else is left as it is."""
    try:
        yield
    except (DataError, UnicodeEncodeError, OverflowError) as error:
        raise InputError(
            "A name or number holds something that no database keeps",
            allowed="whole characters other than the one of code zero; numbers of usual size",
        ) from error
    except (json.JSONDecodeError, UnicodeDecodeError) as error:
        raise DamagedError("The record is damaged: a text is broken", instead=CHECK) from error
    except PoolTimeoutError as error:
        raise RecordError(
            "Too much is being done with the record at once", instead="the same again"
        ) from error
    except DBAPIError as error:
        plain = _of_sqlite(error) if engine.dialect.name == "sqlite" else _of_postgresql(error)
        if plain is None:
            raise
        kind = DamagedError if plain in _DAMAGES else RecordError
        raise kind(f"{plain[0]} ({_first_line(error)})", instead=plain[1]) from error


def _of_sqlite(error: DBAPIError) -> tuple[str, str] | None:
    if "no such table" in str(error.orig):
        return _GONE
    if "Could not decode to UTF-8" in str(error.orig):
        return _DAMAGED  # the driver says so, without a code of the database
    return _OF_SQLITE.get(getattr(error.orig, "sqlite_errorcode", 0) & 0xFF)


def _of_postgresql(error: DBAPIError) -> tuple[str, str] | None:
    state = getattr(error.orig, "sqlstate", None) or ""
    plain = _OF_POSTGRESQL.get(state) or _OF_POSTGRESQL.get(state[:2])
    return plain or (_NO_SERVER if isinstance(error, OperationalError) else None)


def _first_line(error: DBAPIError) -> str:
    return str(error.orig).strip().partition("\n")[0]
