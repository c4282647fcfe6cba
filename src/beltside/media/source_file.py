"""The file a recording lies in: what may be opened, and whether it is still the same."""

from __future__ import annotations

import os
import stat
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from beltside.base.errors import InputError, LimitError, RecordingError
from beltside.media.limits import Limits


@dataclass(frozen=True)
class SourceFile:
    """An ordinary, not empty, not too large file; made by `check_file`.

    Attributes
    ----------
    path
        Where it lies.
    identity
        Device, number, size [bytes] and time of last change [ns] when it was checked.
    """

    path: Path
    identity: tuple[int, int, int, int]

    @property
    def size_bytes(self) -> int:
        """Size of the file [bytes]."""
        return self.identity[2]

    def open(self) -> BinaryIO:
        """Open it for reading, unbuffered.

        Raises
        ------
        RecordingError
            When it is no longer the file that was checked.
        """
        file = _open(self.path)
        if _identity(os.fstat(file.fileno())) != self.identity:
            file.close()
            raise RecordingError(
                f"{self.path.name} changed while it was being read",
                instead="wait until it is fully copied, then try again",
            )
        return file


def check_file(path: Path, limits: Limits) -> SourceFile:
    """Look at a file without reading it.

    Raises
    ------
    InputError
        When there is no such file, or it is a folder, no ordinary file, or not permitted.
    RecordingError
        When it is empty.
    LimitError
        When it is larger than allowed.
    """
    try:
        status = path.stat()
    except (OSError, ValueError) as error:
        missing = isinstance(error, FileNotFoundError | NotADirectoryError)
        why = "there is no such file" if missing else "it cannot be looked at"
        raise InputError(
            f"recording {path}: {why}", instead="check the name and the folder"
        ) from error
    if stat.S_ISDIR(status.st_mode):
        raise InputError(
            f"{path} is a folder", allowed="one recording", instead="name a file inside it"
        )
    if not stat.S_ISREG(status.st_mode):
        raise InputError(f"{path} is no ordinary file", allowed="a file on disk")
    if status.st_size == 0:
        raise RecordingError(
            f"{path.name} is empty (0 bytes): the recording or its copy was not finished",
            instead="copy it again, or record again",
        )
    if status.st_size > limits.max_file_bytes:
        raise LimitError(
            f"{path.name} is {status.st_size >> 20} MiB large",
            allowed=f"{limits.max_file_bytes >> 20} MiB",
            instead="cut out the minutes that matter",
        )
    try:
        _open(path).close()
    except OSError as error:
        raise InputError(
            f"{path} cannot be opened: {error.strerror}", instead="check its permissions"
        ) from error
    return SourceFile(path, _identity(status))


def _identity(status: os.stat_result) -> tuple[int, int, int, int]:
    return (status.st_dev, status.st_ino, status.st_size, status.st_mtime_ns)


def _open(path: Path) -> BinaryIO:
    def opener(name: str, flags: int) -> int:
        # Never wait: a pipe put there meanwhile would hold us up for good.
        return os.open(name, flags | getattr(os, "O_NONBLOCK", 0))

    return open(path, "rb", buffering=0, opener=opener)
