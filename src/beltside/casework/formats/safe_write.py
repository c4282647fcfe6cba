"""Writes a file whole or not at all."""

from __future__ import annotations

import contextlib
import os
import tempfile
from pathlib import Path

from beltside.base.errors import BeltsideError


def write_safely(path: Path, data: bytes) -> None:
    """Put `data` in place of `path`; at every moment there is the old file or the new one.

    It is written beside the file, flushed to the disk, given the old file's rights, and moved over
    it. A link is followed: the file it leads to is replaced, not the link.

    Raises
    ------
    BeltsideError
        When it cannot be written; the old file is then as it was.
    """
    target = path.resolve()
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=target.parent, prefix=f".{target.name}.")
    except OSError as error:
        raise _refused(path, error) from error
    beside = Path(name)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        if target.exists():
            beside.chmod(target.stat().st_mode & 0o7777)
        beside.replace(target)
    except OSError as error:
        raise _refused(path, error) from error
    finally:
        with contextlib.suppress(OSError):
            beside.unlink()


def _refused(path: Path, error: OSError) -> BeltsideError:
    return BeltsideError(
        f"{path} cannot be written: {error.strerror or error}. It is as it was",
        instead="a folder you may write to, with room on the disk",
    )
