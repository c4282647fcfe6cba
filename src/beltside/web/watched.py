"""Connections through the door for phones: how many from one address, and how slow they may be.

A connection that is opened and says nothing costs its sender nothing. Two hundred of them would
keep everybody else out, as they all count in the server's own limit. Each figure is our own choice.
"""

from __future__ import annotations

import asyncio
from collections import Counter
from typing import Any, Final

from uvicorn.protocols.http.h11_impl import H11Protocol

MOST_FROM_ONE: Final = 40
"""Connections of one address at the same time; a browser holds six."""
HEAD_S: Final = 15.0
"""How long the head of a request may take to arrive whole, and a connection may say nothing [s]."""
BODY_S: Final = 60.0
"""How long an upload, or an answer that is not taken, may stand still [s]."""
LOOK_S: Final = 5.0

_OPEN: Final[Counter[str]] = Counter()


class WatchedProtocol(H11Protocol):
    """HTTP/1.1 whose connections are counted by address, and closed when nothing comes."""

    _watching: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        super().connection_made(transport)
        self._address = self.client[0] if self.client else ""
        self._heard = self._idle_since = self.loop.time()
        self._untaken, self._taken_at = 0, self._heard
        _OPEN[self._address] += 1
        if _OPEN[self._address] > MOST_FROM_ONE:
            transport.abort()
            return
        self._watch()

    def connection_lost(self, exc: Exception | None) -> None:
        _OPEN[self._address] -= 1
        if _OPEN[self._address] <= 0:
            del _OPEN[self._address]
        if self._watching is not None:
            self._watching.cancel()
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        self._heard = self.loop.time()
        super().data_received(data)

    def _watch(self) -> None:
        now, cycle = self.loop.time(), self._request()
        if cycle is not None:
            self._idle_since = now
        untaken = self.transport.get_write_buffer_size()
        if untaken == 0 or untaken != self._untaken:
            self._untaken, self._taken_at = untaken, now
        last = self._taken_at if untaken else self._heard
        waits = cycle is not None and (cycle.more_body or untaken)
        stands_still = waits and now - last > BODY_S
        if stands_still or (cycle is None and now - self._idle_since > HEAD_S):
            self.transport.abort()
            return
        self._watching = self.loop.call_later(LOOK_S, self._watch)

    def _request(self) -> Any:
        """What is being answered; None between requests, and while a head is arriving."""
        return None if self.cycle is None or self.cycle.response_complete else self.cycle
