"""A checksum in each row whose content matters."""

from __future__ import annotations

import hashlib
import json
from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None

AT_ONCE = 500

# The columns of this revision, by kind; later ones seal their own. Keys come first.
NUMBER, TEXT, JSON, YES_NO, BYTES = (
    sa.BigInteger(),
    sa.Text(),
    sa.Text(),
    sa.Integer(),
    sa.LargeBinary(),
)
COLUMNS: dict[str, tuple[int, dict[str, Any]]] = {
    "job": (
        1,
        {
            "id": TEXT,
            "number": NUMBER,
            "created_at": NUMBER,
            "created_by": TEXT,
            "changed_at": NUMBER,
            "change": NUMBER,
            "stage": TEXT,
            "closed_at": NUMBER,
            "card": JSON,
        },
    ),
    "entry": (
        1,
        {
            "id": TEXT,
            "job_id": TEXT,
            "kind": TEXT,
            "created_at": NUMBER,
            "place": NUMBER,
            "version": NUMBER,
            "at": NUMBER,
            "by": TEXT,
            "removed": YES_NO,
            "body": JSON,
            "clash": JSON,
        },
    ),
    "entry_version": (
        2,
        {
            "entry_id": TEXT,
            "version": NUMBER,
            "at": NUMBER,
            "by": TEXT,
            "removed": YES_NO,
            "body": JSON,
            "clash": JSON,
            "how": TEXT,
        },
    ),
    "stored_file": (
        1,
        {"sha256": TEXT, "bytes": NUMBER, "media_type": TEXT, "added_at": NUMBER},
    ),
    "analysis": (
        1,
        {
            "id": TEXT,
            "method": TEXT,
            "version": NUMBER,
            "subject": TEXT,
            "settings_key": TEXT,
            "settings": JSON,
            "job_id": TEXT,
            "asked_at": NUMBER,
            "state": TEXT,
            "progress": NUMBER,
            "doing": TEXT,
            "worker": TEXT,
            "beat_at": NUMBER,
            "attempts": NUMBER,
            "started_at": NUMBER,
            "ended_at": NUMBER,
            "result": JSON,
            "problem": TEXT,
        },
    ),
    "sound": (
        2,
        {
            "entry_id": TEXT,
            "version": NUMBER,
            "job_id": TEXT,
            "cause": TEXT,
            "hidden": YES_NO,
            "change": NUMBER,
            "vector": BYTES,
        },
    ),
    "access": (
        1,
        {
            "id": TEXT,
            "kind": TEXT,
            "secret_sha256": TEXT,
            "role": TEXT,
            "name": TEXT,
            "job_id": TEXT,
            "entry_id": TEXT,
            "made_at": NUMBER,
            "made_by": TEXT,
            "expires_at": NUMBER,
            "seen_at": NUMBER,
            "ended_at": NUMBER,
            "how_ended": TEXT,
        },
    ),
}
JSON_COLUMNS = frozenset({"card", "body", "clash", "settings", "result"})


def upgrade() -> None:
    connection = op.get_bind()
    for table in COLUMNS:
        op.add_column(
            table, sa.Column("checksum", sa.String(length=32), nullable=False, server_default="")
        )
    driver: Any = connection.connection.dbapi_connection
    sqlite = connection.dialect.name == "sqlite"
    if sqlite:
        # A text whose letters are damaged does not keep the rest from being carried over.
        before, driver.text_factory = driver.text_factory, _with_damaged_letters
    try:
        for table in COLUMNS:
            _seal(connection, table)
    finally:
        if sqlite:
            driver.text_factory = before


def downgrade() -> None:
    for table in reversed(COLUMNS):
        op.drop_column(table, "checksum")


def _with_damaged_letters(data: bytes) -> str:
    return data.decode("utf-8", "surrogateescape")


def _seal(connection: sa.Connection, name: str) -> None:
    keys, columns = COLUMNS[name]
    table = sa.table(name, sa.column("checksum"), *(sa.column(*one) for one in columns.items()))
    # SQLite's own number of a row is sound where the letters of its key may not be.
    key: list[Any] = [table.c[one] for one in list(columns)[:keys]]
    if connection.dialect.name == "sqlite":
        key = [sa.literal_column("rowid", sa.BigInteger())]
    named = [one.label(f"key_{number}") for number, one in enumerate(key)]
    write = (
        table.update()
        .where(*(one == sa.bindparam(label.name) for one, label in zip(key, named, strict=True)))
        .values(checksum=sa.bindparam("sum"))
    )
    whole = sa.select(*named, *(table.c[one] for one in columns)).order_by(*key).limit(AT_ONCE)
    query = whole
    while rows := connection.execute(query).mappings().all():
        new = []
        for row in rows:
            kept = {one: row[one] for one in columns}
            if _readable(kept):
                at = {label.name: row[label.name] for label in named}
                new.append({**at, "sum": _checksum(name, kept)})
        if new:
            connection.execute(write, new)
        last = [rows[-1][label.name] for label in named]
        query = whole.where(sa.tuple_(*key) > sa.tuple_(*last))


def _readable(row: dict[str, Any]) -> bool:
    """A row that is damaged already gets no checksum: it is told as damaged."""
    try:
        for name, value in row.items():
            if isinstance(value, str):
                value.encode()
                if name in JSON_COLUMNS:
                    json.loads(value)
    except ValueError:
        return False
    return True


def _checksum(table: str, row: dict[str, Any]) -> str:
    """The rule of `sealed_rows.py` as it was at this revision."""
    counted = {name: _plain(value) for name, value in row.items() if value is not None}
    text = json.dumps([table, counted], sort_keys=True, separators=(",", ":"))
    return hashlib.blake2b(text.encode("ascii"), digest_size=16).hexdigest()


def _plain(value: Any) -> Any:
    if isinstance(value, bool):
        return int(value)
    return {"bytes": bytes(value).hex()} if isinstance(value, bytes | memoryview) else value
