"""Who is asking: the technician at this computer, a paired phone, an owner with a link.

A form carries a token made from the visitor's own cookie, so that a stranger's page cannot send
it in his name.
"""

from __future__ import annotations

import hmac
import secrets
from dataclasses import dataclass, replace
from typing import Final, Literal

from fastapi import Request

from beltside.base.errors import InputError
from beltside.casework.settings import settings

COOKIE: Final = "beltside"
TOKEN_FIELD: Final = "_token"
TOKEN_HEADER: Final = "x-beltside-token"

Role = Literal["technician", "helper", "owner"]


class RefusedError(InputError):
    """This visitor may not do this."""


@dataclass(frozen=True)
class Visitor:
    """Who asks.

    Attributes
    ----------
    name
        Stands beside what he writes.
    role
        A helper sees no prices and deletes nothing; an owner sees one sheet.
    key
        What his cookie holds.
    language, us_units
        How pages speak to him.
    """

    name: str
    role: Role
    key: str
    language: str = "en"
    us_units: bool = False

    @property
    def sees_prices(self) -> bool:
        """Whether prices are shown."""
        return self.role == "technician"


def new_key() -> str:
    """What a cookie holds: 32 random bytes."""
    return secrets.token_urlsafe(32)


def visitor_of(request: Request) -> Visitor:
    """Who asks, as the doorkeeper found, with the language and units of the shop's settings."""
    visitor: Visitor = request.state.visitor
    if not getattr(request.state, "settings_read", False):
        now = settings(request.app.state.shop)
        visitor = replace(
            visitor,
            name=visitor.name or str(now["technician"].value or ""),
            language=str(now["language"].value),
            us_units=now["units"].value == "us",
        )
        request.state.visitor = visitor
        request.state.settings_read = True
    return visitor


def form_token(request: Request) -> str:
    """What a form of this visitor must carry."""
    secret: bytes = request.app.state.secret
    return hmac.new(secret, visitor_of(request).key.encode(), "sha256").hexdigest()


def require_token(request: Request, given: object) -> None:
    """Refuse a form that was not made for this visitor.

    Raises
    ------
    RefusedError
        When the token is missing or another's.
    """
    if not isinstance(given, str) or not hmac.compare_digest(
        given.encode(), form_token(request).encode()
    ):
        raise RefusedError(
            "This form was not made for you, or is too old; nothing was changed",
            instead="open the page again; what you typed can be copied from the last one",
        )
