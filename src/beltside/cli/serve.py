"""The command that opens the pages."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from beltside.cli.screen import write


def serve(
    port: Annotated[
        int, typer.Option("--port", metavar="PORT", min=1, max=65535, help="Where to listen.")
    ] = 8460,
    folder: Annotated[
        Path | None,
        typer.Option(
            "--folder",
            metavar="DIR",
            help="Where the shop's record is kept; .beltside in your home without it.",
        ),
    ] = None,
    database: Annotated[
        str | None,
        typer.Option(
            "--database", metavar="URL", help="A PostgreSQL server that keeps the record instead."
        ),
    ] = None,
    workers: Annotated[
        int,
        typer.Option(
            "--workers", metavar="COUNT", min=0, max=16, help="Processes that analyse takes."
        ),
    ] = 1,
) -> None:
    """Open the pages on this computer, for a browser; ends with Ctrl+C."""
    from beltside.web.serve import serve as run
    from beltside.web.settings import WebSettings

    def ready(address: str) -> None:
        write(f"Beltside is open at {address}\nEnd it with Ctrl+C.\n", sys.stdout)

    run(WebSettings(folder=folder, database=database, workers=workers), port=port, ready=ready)
