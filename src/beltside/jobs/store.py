"""Stored files: recordings, photos and sheets, each kept once under the hash of its bytes.

`FileStore` is all the rest of Beltside knows; a folder holds the files now, an object store could
later.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import re
import tempfile
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Protocol

from beltside.base.errors import BeltsideError, InputError, LimitError

PIECE_BYTES: Final = 1 << 20
_NAME: Final = re.compile(r"[0-9a-f]{64}")


class StoreError(BeltsideError):
    """A file cannot be kept or read: disk full, read only, gone, damaged."""


class TooLongError(InputError, LimitError):
    """A file is longer than what is kept."""


@dataclass(frozen=True)
class StoredFile:
    """A file that is kept: its name (SHA-256 of its bytes, FIPS 180-4) and its length."""

    sha256: str
    size_bytes: int
    was_there: bool = False


class FileStore(Protocol):
    """Keeps bytes under the hash of what they are."""

    def put(self, pieces: Iterable[bytes], *, most_bytes: int) -> StoredFile:
        """Keep a file given in pieces; when this returns it survives a power cut."""

    def path(self, sha256: str) -> Path:
        """Where the file can be read now."""

    def remove(self, sha256: str) -> None:
        """Let go of a file; nothing happens when there is none."""

    def names(self) -> Iterator[str]:
        """The names of all files kept."""


class FolderStore:
    """A `FileStore` in a folder: `ab/abcdef...`, and `arriving/` for what is not whole yet."""

    def __init__(self, folder: Path) -> None:
        self.folder: Final = folder
        self._arriving: Final = folder / "arriving"

    def put(self, pieces: Iterable[bytes], *, most_bytes: int) -> StoredFile:
        """Keep a file; the same bytes once.

        Raises
        ------
        TooLongError
            When it is longer than `most_bytes`.
        StoreError
            When it cannot be written; nothing is kept then.
        """
        digest = hashlib.sha256()
        size = 0
        beside: Path | None = None
        try:
            self._arriving.mkdir(parents=True, exist_ok=True)
            handle, name = tempfile.mkstemp(dir=self._arriving)
            beside = Path(name)
            with os.fdopen(handle, "wb") as file:
                for piece in pieces:
                    size += len(piece)
                    if size > most_bytes:
                        raise TooLongError(
                            f"The file is longer than {most_bytes / 1e6:.0f} MB",
                            allowed=f"up to {most_bytes / 1e6:.0f} MB",
                            instead="a shorter recording, or a smaller picture",
                        )
                    digest.update(piece)
                    file.write(piece)
                file.flush()
                os.fsync(file.fileno())
            sha256 = digest.hexdigest()
            place = self._place(sha256)
            if place.exists() and place.stat().st_size == size:
                return StoredFile(sha256, size, was_there=True)
            place.parent.mkdir(parents=True, exist_ok=True)
            beside.replace(place)
            flush_folder(place.parent)
            flush_folder(self.folder)
        except OSError as error:
            raise StoreError(
                f"The file cannot be kept in {self.folder}: {error.strerror or error}",
                instead="room on the disk, and a folder you may write to",
            ) from error
        finally:
            if beside is not None:
                with contextlib.suppress(OSError):
                    beside.unlink()
        return StoredFile(sha256, size)

    def path(self, sha256: str) -> Path:
        """Where the file lies.

        Raises
        ------
        StoreError
            When it is gone.
        """
        place = self._place(sha256)
        if not place.is_file():
            raise StoreError(
                f"The stored file {sha256[:12]} is missing", instead="`beltside check`, or a backup"
            )
        return place

    def remove(self, sha256: str) -> None:
        """Delete the file if it is there."""
        try:
            self._place(sha256).unlink(missing_ok=True)
        except OSError as error:
            raise StoreError(
                f"The stored file {sha256[:12]} cannot be deleted: {error.strerror or error}",
                instead="a folder you may write to",
            ) from error

    def names(self) -> Iterator[str]:
        """The names of all files kept, in order."""
        if not self.folder.is_dir():
            return
        for part in sorted(self.folder.iterdir()):
            if len(part.name) == 2 and part.is_dir():
                yield from sorted(
                    path.name for path in part.iterdir() if _NAME.fullmatch(path.name)
                )

    def digest(self, sha256: str) -> str:
        """The hash of the bytes that are there now; another than the name means damage."""
        digest = hashlib.sha256()
        with self.path(sha256).open("rb") as file:
            while piece := file.read(PIECE_BYTES):
                digest.update(piece)
        return digest.hexdigest()

    def sweep(self, older_than_s: float, now_s: float) -> int:
        """Delete what never arrived whole; gives back how many files went."""
        swept = 0
        if self._arriving.is_dir():
            for path in self._arriving.iterdir():
                with contextlib.suppress(OSError):
                    if now_s - path.stat().st_mtime > older_than_s:
                        path.unlink()
                        swept += 1
        return swept

    def _place(self, sha256: str) -> Path:
        if not _NAME.fullmatch(sha256):
            raise InputError(
                f"{sha256!r} is no name of a stored file", allowed="64 digits and letters a to f"
            )
        return self.folder / sha256[:2] / sha256


def flush_folder(folder: Path) -> None:
    """Make a name in a folder survive a power cut; some systems can't open folders."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
