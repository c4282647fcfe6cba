"""Secrets of this server in the shop's folder, readable by their owner alone."""

from __future__ import annotations

import os
import secrets
from pathlib import Path
from typing import Final

FOLDER: Final = "trust"
FORMS_FILE: Final = "forms.key"
_BYTES: Final = 32


def secret_folder(shop_folder: Path) -> Path:
    """The folder of secrets, made when it is not there; others may not look into it."""
    place = shop_folder / FOLDER
    place.mkdir(parents=True, exist_ok=True, mode=0o700)
    place.chmod(0o700)
    return place


def write_private(path: Path, data: bytes, mode: int = 0o600) -> None:
    """Write a file whole or not at all; at no moment may more read it than `mode` says."""
    arriving = path.with_name(f"{path.name}.{secrets.token_hex(4)}")
    handle = os.open(arriving, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        arriving.replace(path)
    finally:
        arriving.unlink(missing_ok=True)


def form_secret(shop_folder: Path) -> bytes:
    """What tokens of forms are made with; it stays, so that a page outlives a restart.

    Where it cannot be kept, a new one for this run.
    """
    try:
        path = secret_folder(shop_folder) / FORMS_FILE
        if path.is_file() and len(found := path.read_bytes()) == _BYTES:
            return found
        fresh = secrets.token_bytes(_BYTES)
        write_private(path, fresh)
        return fresh
    except OSError:
        return secrets.token_bytes(_BYTES)
