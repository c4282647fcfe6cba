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
from beltside.web.who_may import may

COOKIE: Final = "beltside"
TOKEN_FIELD: Final = "_token"
TOKEN_HEADER: Final = "x-beltside-token"

SECURE_COOKIE: Final = "__Host-beltside"
"""Over HTTPS; browsers take a cookie of this name only from this very host (RFC 6265bis)."""

Role = Literal["technician", "helper", "nobody"]


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
        A helper sees no prices, takes nothing off and changes no settings; "nobody" is a phone
        that is not paired, or whose pairing is over.
    key
        What his cookie holds.
    here
        Whether he sits at this computer.
    phone
        The name of his phone's pairing in the record; "" at this computer.
    language, us_units
        How pages speak to him.
    """

    name: str
    role: Role
    key: str
    language: str = "en"
    us_units: bool = False
    here: bool = True
    phone: str = ""

    @property
    def sees_prices(self) -> bool:
        """Whether prices are shown."""
        return self.role == "technician"

    @property
    def removes(self) -> bool:
        """Whether he may take something off a sheet or bring an earlier value back."""
        return self.role == "technician"

    def opens(self, address: str) -> bool:
        """Whether he may open a page of ours; its query and fragment do not matter."""
        path = address.partition("#")[0].partition("?")[0]
        return may(self.role, here=self.here, method="GET", path=path)


def new_key() -> str:
    """What a cookie holds: 32 random bytes."""
    return secrets.token_urlsafe(32)


def visitor_of(request: Request) -> Visitor:
    """Who asks, as the doorkeeper found, with the language and units of the shop's settings."""
    visitor: Visitor = request.state.visitor
    if not getattr(request.state, "settings_read", False):
        now = settings(request.app.state.shop)
        own_name = str(now["technician"].value or "") if visitor.here else ""
        visitor = replace(
            visitor,
            name=visitor.name or own_name,
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
