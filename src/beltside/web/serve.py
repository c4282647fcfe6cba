"""Runs the pages on this computer until it is told to stop."""

from __future__ import annotations

import socket
from collections.abc import Callable
from typing import Final

import uvicorn

from beltside.base.errors import BeltsideError
from beltside.web.app import create_app
from beltside.web.settings import WebSettings

THIS_COMPUTER: Final = "127.0.0.1"


def serve(settings: WebSettings, *, port: int, ready: Callable[[str], None]) -> None:
    """Serve the pages on this computer until interrupted.

    Parameters
    ----------
    ready
        Called with the address once the door is open.

    Raises
    ------
    BeltsideError
        When the port is taken, or the record cannot be opened.
    """
    door = _door(port)
    app = create_app(settings, first_page_soon=True)
    server = uvicorn.Server(
        uvicorn.Config(app, log_level="warning", access_log=False, server_header=False)
    )
    ready(f"http://localhost:{port}/")
    try:
        server.run(sockets=[door])
    finally:
        door.close()


def _door(port: int) -> socket.socket:
    door = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    door.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        door.bind((THIS_COMPUTER, port))
        # Who follows the address at once waits for the answer and is not turned away.
        door.listen()
    except OSError as error:
        door.close()
        raise BeltsideError(
            f"Port {port} cannot be opened: {error.strerror}",
            instead="another one with --port, or end the Beltside that runs already",
        ) from error
    return door
