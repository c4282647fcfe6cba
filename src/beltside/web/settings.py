"""How the pages are served: where the record is, who may ask, what is switched on."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

THIS_COMPUTER = ("127.0.0.1", "localhost", "[::1]")


@dataclass(frozen=True)
class WebSettings:
    """Settings of one server.

    Attributes
    ----------
    folder, database
        As for `casework.shop.open_shop`.
    hosts
        Names under which this server may be asked for, without port. A page of a stranger that
        has its name lead to this computer asks under that name, and is refused.
    workers
        How many processes analyse takes in the background; 0 for none.
    secure
        Whether pages travel by HTTPS only, so that cookies may say so.
    most_upload_bytes
        How long an uploaded file may be.
    """

    folder: Path | None = None
    database: str | None = None
    hosts: tuple[str, ...] = THIS_COMPUTER
    workers: int = 1
    secure: bool = False
    most_upload_bytes: int = 1_000_000_000
