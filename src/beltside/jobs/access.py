"""What lets somebody in from another device: paired phones, pairing codes, owners' links.

Each has a secret that its holder shows. The record keeps the secret's SHA-256 only: who reads the
record or a backup cannot come in with what stands there.
"""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any, Final, Literal

import sqlalchemy as sa

from beltside.base.errors import InputError
from beltside.jobs import sealed_rows
from beltside.jobs.database import Database
from beltside.jobs.reading import MissingError
from beltside.jobs.schema import ACCESS

Kind = Literal["phone", "code", "link"]
HowEnded = Literal["used", "revoked", "signed out"]

CODE_LETTERS: Final = "23456789ABCDEFGHJKMNPQRSTVWXYZ"
"""No 0, O, 1, I, L, U: letters that are mistaken for each other when read and typed."""
CODE_LENGTH: Final = 8
TOKEN_BYTES: Final = 32
SEEN_EVERY: Final = timedelta(seconds=30)
"""How exactly "last seen" is kept; the record is not written for every picture on a page."""
KEPT_AFTER: Final = timedelta(days=90)
"""How long phones and links that are over stay on the list."""
MOST_OPEN: Final[dict[Kind, int]] = {"phone": 50, "code": 10, "link": 500}


@dataclass(frozen=True)
class Access:
    """One way in.

    Attributes
    ----------
    kind
        "phone", "code" (to pair a phone with, once) or "link" (an owner's, to one sheet).
    role
        "technician", "helper" or "owner".
    name
        Whose it is, in the technician's words.
    job_id, entry_id
        Of a link: the job, and the sheet as it was handed out.
    made_at, made_by, expires_at, seen_at
        When and by whom it was made, until when it holds, when it was last used.
    ended_at, how_ended
        When it was ended before its time, and how.
    """

    id: str
    kind: Kind
    role: str
    name: str
    job_id: str | None
    entry_id: str | None
    made_at: datetime
    made_by: str
    expires_at: datetime
    seen_at: datetime | None
    ended_at: datetime | None
    how_ended: HowEnded | None

    def holds_at(self, moment: datetime) -> bool:
        """Whether it lets anybody in at that moment."""
        return self.ended_at is None and moment < self.expires_at


def new_token() -> str:
    """A secret of 32 random bytes, as text for a cookie or an address."""
    return secrets.token_urlsafe(TOKEN_BYTES)


def new_code() -> str:
    """A short secret to be typed: 8 letters of 30, good for minutes and once."""
    return "".join(secrets.choice(CODE_LETTERS) for _ in range(CODE_LENGTH))


def plain_code(typed: str) -> str:
    """A code as typed, without spaces and dashes, in capitals.

    >>> plain_code(" ab2c-d3ef ")
    'AB2CD3EF'
    """
    return "".join(letter for letter in typed.upper() if letter.isalnum())[:64]


def secret_hash(secret: str) -> str:
    """What the record keeps of a secret."""
    return hashlib.sha256(secret.encode("utf-8", "surrogatepass")).hexdigest()


class AccessBook:
    """Reads and writes the ways in, in one database."""

    def __init__(
        self, database: Database, *, now: Callable[[], datetime] = lambda: datetime.now(UTC)
    ) -> None:
        self.database: Final = database
        self._now: Final = now

    def make(
        self,
        kind: Kind,
        secret: str,
        *,
        role: str,
        name: str,
        by: str,
        holds_for: timedelta,
        job_id: str | None = None,
        entry_id: str | None = None,
    ) -> Access:
        """Write a new way in.

        Raises
        ------
        InputError
            When so many of its kind hold already that one more would be a mistake.
        """
        at = self._now()
        with self.database.writing() as connection:
            self._tidy(connection, at)
            open_now = connection.execute(
                sa.select(sa.func.count())
                .select_from(ACCESS)
                .where(ACCESS.c.kind == kind, _holds(at))
            ).scalar_one()
            if open_now >= MOST_OPEN[kind]:
                raise InputError(
                    f"{open_now} of these hold already",
                    allowed=f"up to {MOST_OPEN[kind]} at once",
                    instead="ending those that nobody needs",
                )
            return self._insert(
                connection, kind, secret, role, name, by, at, holds_for, job_id, entry_id
            )

    def exchange(self, code: str, token: str, *, holds_for: timedelta) -> Access | None:
        """Use a code up and write the phone paired with it; None when the code is not good.

        Both happen, or neither. Of two who send one code at the same moment one gets in.
        """
        at = self._now()
        with self.database.writing() as connection:
            this = (ACCESS.c.kind == "code", ACCESS.c.secret_sha256 == secret_hash(code))
            used: dict[str, Any] = {"ended_at": at, "how_ended": "used", "seen_at": at}
            if not sealed_rows.update(connection, ACCESS, *this, _holds(at), **used):
                return None
            row = connection.execute(sa.select(ACCESS).where(*this)).one()
            return self._insert(
                connection,
                "phone",
                token,
                row.role,
                row.name,
                row.made_by,
                at,
                holds_for,
                None,
                None,
            )

    def holder(self, kind: Kind, secret: str) -> Access | None:
        """What a secret opens now; None for one that is unknown, over or ended."""
        at = self._now()
        query = sa.select(ACCESS).where(
            ACCESS.c.kind == kind, ACCESS.c.secret_sha256 == secret_hash(secret), _holds(at)
        )
        with self.database.reading() as connection:
            row = connection.execute(query).one_or_none()
        if row is None:
            return None
        if row.seen_at is None or at - row.seen_at >= SEEN_EVERY:
            with self.database.writing() as connection:
                sealed_rows.update(
                    connection, ACCESS, ACCESS.c.id == row.id, _holds(at), seen_at=at
                )
        return _access(row)

    def end(self, access_id: str, how: HowEnded) -> Access:
        """End one now; one that is over stays as it is.

        Raises
        ------
        MissingError
            When there is none of that name.
        """
        at = self._now()
        with self.database.writing() as connection:
            this = (ACCESS.c.id == access_id, ACCESS.c.ended_at.is_(None))
            sealed_rows.update(connection, ACCESS, *this, ended_at=at, how_ended=how)
            row = connection.execute(
                sa.select(ACCESS).where(ACCESS.c.id == access_id)
            ).one_or_none()
        if row is None:
            raise MissingError("There is no such phone or link", instead="one of the list")
        return _access(row)

    def end_all(self) -> int:
        """End every phone, code and link that holds; how many there were."""
        at = self._now()
        with self.database.writing() as connection:
            return sealed_rows.update(
                connection, ACCESS, _holds(at), ended_at=at, how_ended="revoked"
            )

    def listed(self, kind: Kind, *, job_id: str | None = None) -> list[Access]:
        """All of a kind, the newest first, those that are over included for 90 days."""
        query = sa.select(ACCESS).where(ACCESS.c.kind == kind)
        if job_id is not None:
            query = query.where(ACCESS.c.job_id == job_id)
        with self.database.reading() as connection:
            found = connection.execute(query.order_by(ACCESS.c.made_at.desc(), ACCESS.c.id))
            return [_access(row) for row in found]

    def _insert(
        self,
        connection: sa.Connection,
        kind: Kind,
        secret: str,
        role: str,
        name: str,
        by: str,
        at: datetime,
        holds_for: timedelta,
        job_id: str | None,
        entry_id: str | None,
    ) -> Access:
        access_id = secrets.token_hex(12)
        sealed_rows.insert(
            connection,
            ACCESS,
            id=access_id,
            kind=kind,
            secret_sha256=secret_hash(secret),
            role=role,
            name=name,
            job_id=job_id,
            entry_id=entry_id,
            made_at=at,
            made_by=by,
            expires_at=at + holds_for,
            seen_at=at if kind == "phone" else None,
            ended_at=None,
            how_ended=None,
        )
        made = connection.execute(sa.select(ACCESS).where(ACCESS.c.id == access_id)).one()
        return _access(made)

    def _tidy(self, connection: sa.Connection, at: datetime) -> None:
        """Take out what is long over, so that the table does not grow for ever."""
        long_ago = at - KEPT_AFTER
        over = sa.or_(ACCESS.c.expires_at < long_ago, ACCESS.c.ended_at < long_ago)
        spent = sa.and_(ACCESS.c.kind == "code", ACCESS.c.expires_at < at - timedelta(days=1))
        connection.execute(ACCESS.delete().where(sa.or_(over, spent)))


def _holds(at: datetime) -> sa.ColumnElement[bool]:
    return sa.and_(ACCESS.c.ended_at.is_(None), ACCESS.c.expires_at > at)


def _access(row: Any) -> Access:
    return Access(
        row.id,
        row.kind,
        row.role,
        row.name,
        row.job_id,
        row.entry_id,
        row.made_at,
        row.made_by,
        row.expires_at,
        row.seen_at,
        row.ended_at,
        row.how_ended,
    )
