"""The door for phones: under which names it is known, and its certificate, kept fresh."""

from __future__ import annotations

import ssl
import threading
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

from beltside.web.addresses import THIS_COMPUTER, own_addresses, own_name
from beltside.web.authority import (
    RENEW_DAYS,
    Authority,
    ServerCertificate,
    authority_of,
    context_for,
    load,
)
from beltside.web.kept_secret import FOLDER

LOOK_EVERY_S: Final = 20.0
"""How often addresses and certificate are looked at while the door is open."""


class PhonesDoor:
    """The HTTPS door of one server.

    Parameters
    ----------
    folder
        The shop's folder, where the authority is kept.
    port
        Where it listens.
    addresses, name, now
        This machine's addresses and name, and the time; tests pass their own.

    Attributes
    ----------
    authority
        Whom phones are asked to trust.
    context
        The TLS context; its certificate is exchanged while it is in use.
    """

    def __init__(
        self,
        folder: Path,
        *,
        port: int,
        addresses: Callable[[], tuple[str, ...]] = own_addresses,
        name: Callable[[], str] = own_name,
        now: Callable[[], datetime] = lambda: datetime.now(UTC),
    ) -> None:
        self.port: Final = port
        self._place: Final = folder / FOLDER
        self._addresses, self._name, self._now = addresses, name, now
        self._lock: Final = threading.Lock()
        self.authority: Final[Authority] = authority_of(folder, now=now(), name=name())
        self.addresses: tuple[str, ...] = addresses()
        self.certificate: ServerCertificate = self.authority.issue(self._names(), now=now())
        self.context: Final[ssl.SSLContext] = context_for(self.certificate, self._place)

    @property
    def hosts(self) -> frozenset[str]:
        """Names under which the door may be asked for, without port."""
        return frozenset(self.certificate.names)

    @property
    def address(self) -> str:
        """The address to show to phones, without a slash at its end."""
        host = next(iter(self.addresses), THIS_COMPUTER[0])
        return f"https://{host}:{self.port}"

    def look(self) -> bool:
        """Look at addresses and certificate; whether there is a new certificate.

        There is one when the machine has other addresses or another name than before, and when the
        old one has less than ten days left.
        """
        with self._lock:
            self.addresses = self._addresses()
            wanted = self._names()
            if (
                set(wanted) == set(self.certificate.names)
                and self.certificate.days_left(self._now()) > RENEW_DAYS
            ):
                return False
            fresh = self.authority.issue(wanted, now=self._now())
            load(self.context, fresh, self._place)
            self.certificate = fresh
            return True

    def _names(self) -> tuple[str, ...]:
        name = self._name()
        own = (name, f"{name}.local") if name else ()
        return tuple(
            one
            for one in (*THIS_COMPUTER, *self.addresses, *own)
            if self.authority.vouches_for(one)
        )
