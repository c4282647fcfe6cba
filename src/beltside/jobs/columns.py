"""Column types that keep the same value, bit for bit, on every database."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from typing import Any, Final

from sqlalchemy import BigInteger, String, Text
from sqlalchemy.engine import Dialect
from sqlalchemy.types import TypeDecorator, TypeEngine

_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)
_MICROSECOND: Final = timedelta(microseconds=1)


class UtcTime(TypeDecorator[datetime]):
    """A moment, kept as whole microseconds since 1970-01-01 UTC.

    SQLite knows no time zones and PostgreSQL's answer depends on its settings; a number doesn't.
    """

    impl = BigInteger
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> int | None:
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError("a time needs its zone")
        return (value - _EPOCH) // _MICROSECOND

    def process_result_value(self, value: Any | None, dialect: Dialect) -> datetime | None:
        return None if value is None else _EPOCH + int(value) * _MICROSECOND


class PlainJson(TypeDecorator[Any]):
    """Plain values as JSON text, keys in the order given.

    The databases' own JSON types reorder keys, and one of them refuses the character of code zero.
    Anything outside ASCII is escaped, so that half a surrogate pair typed by a broken phone is
    kept as well.
    """

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: Any | None, dialect: Dialect) -> str | None:
        if value is None:
            return None
        return json.dumps(value, allow_nan=False, separators=(",", ":"))

    def process_result_value(self, value: str | None, dialect: Dialect) -> Any | None:
        return None if value is None else json.loads(value)


class BytewiseText(TypeDecorator[str]):
    """Short text that sorts by its code points, whatever language the database server speaks."""

    impl = String
    cache_ok = True

    def load_dialect_impl(self, dialect: Dialect) -> TypeEngine[str]:
        length = self.impl_instance.length if isinstance(self.impl_instance, String) else None
        if dialect.name == "postgresql":
            return dialect.type_descriptor(String(length, collation="C"))
        return dialect.type_descriptor(String(length))
