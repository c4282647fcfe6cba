"""The command that opens the pages."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from beltside.cli.screen import write

if TYPE_CHECKING:
    from beltside.web.phones_door import PhonesDoor


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
    phones: Annotated[
        bool,
        typer.Option("--phones", help="Let paired phones on the same network in, over HTTPS."),
    ] = False,
    phones_port: Annotated[
        int,
        typer.Option(
            "--phones-port", metavar="PORT", min=1, max=65535, help="Where phones come in."
        ),
    ] = 8461,
) -> None:
    """Open the pages on this computer, for a browser; ends with Ctrl+C.

    With --phones also to paired phones on the same network, over HTTPS.
    """
    from beltside.web.serve import serve as run
    from beltside.web.settings import WebSettings

    def ready(address: str, door: PhonesDoor | None) -> None:
        write(f"Beltside is open at {address}\n", sys.stdout)
        if door is not None:
            write(_for_phones(address, door), sys.stdout)
        write("End it with Ctrl+C.\n", sys.stdout)
        sys.stdout.flush()

    run(
        WebSettings(folder=folder, database=database, workers=workers),
        port=port,
        phones_port=phones_port if phones else None,
        ready=ready,
    )


def _for_phones(address: str, door: PhonesDoor) -> str:
    """What a phone needs to trust this computer: an address, as a QR code too, a fingerprint."""
    from beltside.proof.qr import qr_text

    there = f"{door.address}/trust"
    pairs = door.authority.fingerprint.split(" ")
    lines = ["  " + " ".join(pairs[at : at + 8]) for at in range(0, len(pairs), 8)]
    return "\n".join(
        (
            f"For phones on the same network: {door.address}/",
            *([] if door.addresses else ["(This computer is on no local network now.)"]),
            "",
            qr_text(there).rstrip("\n"),
            f"1. Once for each phone, open {there} and follow it.",
            f"   The phone must show this fingerprint (SHA-256) of {door.authority.name}:",
            *lines,
            f"2. Make a code for the phone at {address}phones",
            "",
        )
    )
