"""Runs the pages on this computer until it is told to stop."""

from __future__ import annotations

import uvicorn

from beltside.web.app import create_app
from beltside.web.settings import WebSettings


def serve(settings: WebSettings, *, port: int) -> None:
    """Serve the pages at 127.0.0.1 until interrupted."""
    uvicorn.run(
        create_app(settings), host="127.0.0.1", port=port, log_level="warning", access_log=False
    )
