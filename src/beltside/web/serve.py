"""Runs the pages on this computer, and for phones where that is asked for, until told to stop."""

from __future__ import annotations

import asyncio
import contextlib
import logging
import socket
from collections.abc import AsyncIterator, Callable, Iterator
from typing import TYPE_CHECKING, Any, Final

import uvicorn
from fastapi import FastAPI

from beltside.base.errors import BeltsideError
from beltside.casework.own_folder import own_folder
from beltside.web.app import create_app
from beltside.web.settings import WebSettings
from beltside.web.watched import WatchedProtocol

if TYPE_CHECKING:
    from beltside.web.phones_door import PhonesDoor

THIS_COMPUTER: Final = "127.0.0.1"
EVERY_ADDRESS: Final = "0.0.0.0"
MOST_AT_ONCE: Final = 200
"""So many connections of phones are answered at the same time; one more is told to come again."""
_LOG: Final = logging.getLogger(__name__)

Ready = Callable[[str, "PhonesDoor | None"], None]


class _Beside(uvicorn.Server):
    """A second server in one process: signals are the first one's."""

    @contextlib.contextmanager
    def capture_signals(self) -> Iterator[None]:
        yield


def serve(
    settings: WebSettings, *, port: int, phones_port: int | None = None, ready: Ready
) -> None:
    """Serve the pages until interrupted.

    Parameters
    ----------
    port
        On this computer only, plain HTTP.
    phones_port
        On every address of this machine, HTTPS, for paired phones; None for no such door.
    ready
        Called with the address, and the door for phones, once the doors are open.

    Raises
    ------
    BeltsideError
        When a port is taken, or the record or the certificates cannot be opened.
    """
    if phones_port == port:
        raise BeltsideError(f"Both doors have the port {port}", instead="two different ones")
    doors = [_door(THIS_COMPUTER, port)]
    try:
        phones = None
        if phones_port is not None:
            doors.append(_door(EVERY_ADDRESS, phones_port))
            from beltside.web.phones_door import PhonesDoor

            phones = PhonesDoor(settings.folder or own_folder(), port=phones_port)
        app = create_app(settings, phones=phones, first_page_soon=True)
        with contextlib.suppress(KeyboardInterrupt):
            asyncio.run(
                _run(app, phones, doors, lambda: ready(f"http://localhost:{port}/", phones))
            )
    finally:
        for door in doors:
            door.close()


async def _run(
    app: FastAPI, phones: PhonesDoor | None, doors: list[socket.socket], ready: Callable[[], None]
) -> None:
    first = uvicorn.Server(_config(app))
    if phones is None:
        ready()
        await first.serve(sockets=doors[:1])
        return
    second = _Beside(
        _config(
            app,
            lifespan="off",
            limit_concurrency=MOST_AT_ONCE,
            http=WatchedProtocol,
            ssl_context_factory=lambda config, usual: phones.context,
        )
    )
    async with _kept_fresh(phones):
        ready()
        beside = asyncio.create_task(second.serve(sockets=doors[1:]))
        try:
            await first.serve(sockets=doors[:1])
        finally:
            second.should_exit = True
            await beside


def _config(app: FastAPI, **more: Any) -> uvicorn.Config:
    """What both servers have: no line for each request, no word of an intermediary believed."""
    return uvicorn.Config(
        app,
        log_level="warning",
        access_log=False,
        server_header=False,
        proxy_headers=False,
        ws="none",
        timeout_graceful_shutdown=5,
        **more,
    )


@contextlib.asynccontextmanager
async def _kept_fresh(phones: PhonesDoor) -> AsyncIterator[None]:
    """Look at addresses and certificate again and again while the block runs."""

    from beltside.web.phones_door import LOOK_EVERY_S

    async def keep() -> None:
        while True:
            await asyncio.sleep(LOOK_EVERY_S)
            try:
                await asyncio.to_thread(phones.look)
            except (BeltsideError, OSError) as error:
                # The old certificate goes on; the next look may do better.
                _LOG.warning("The certificate for phones was not renewed: %s", error)

    keeping = asyncio.create_task(keep())
    try:
        yield
    finally:
        keeping.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await keeping


def _door(address: str, port: int) -> socket.socket:
    door = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    door.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        door.bind((address, port))
        # Who follows the address at once waits for the answer and is not turned away.
        door.listen()
    except OSError as error:
        door.close()
        raise BeltsideError(
            f"Port {port} cannot be opened: {error.strerror}",
            instead="another --port or --phones-port, or ending the Beltside that runs already",
        ) from error
    return door
