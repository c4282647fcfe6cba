"""A folder that holds backups: files by the hash of their bytes, and one catalogue for each backup.

beltside-backup.json    what the folder is
key.json                only in an encrypted one: its key, sealed by the passphrase
files/ab/abcdef...      files, each once for all backups
backups/NAME.backup     catalogues: all rows of the record, and the names of their files
arriving/               what is not whole yet
"""

from __future__ import annotations

import contextlib
import hashlib
import io
import json
import os
import re
import shutil
import tempfile
import time
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import IO, Any, Final

from beltside.base.errors import BeltsideError, InputError
from beltside.jobs.backup_key import BackupKey, new_key, seal, unseal
from beltside.jobs.store import PIECE_BYTES, flush_folder

FORMAT: Final = "beltside-backup"
VERSION: Final = 1
MARK: Final = "beltside-backup.json"
KEY_FILE: Final = "key.json"
BACKUPS: Final = "backups"
FILES: Final = "files"
ENDING: Final = ".backup"
_NAME: Final = re.compile(r"[0-9a-f]{64}")
_SWEEP_S: Final = 24 * 3600.0
_SMALL: Final = 1 << 20


class BackupError(BeltsideError):
    """A backup can't be written or read: disk full, damaged, not there."""


class DamagedFileError(BackupError):
    """A file's bytes are not those of its name."""


class Target:
    """An open backup folder.

    Parameters
    ----------
    folder
        The folder, made by `open_target`.
    key
        None in a folder that is not encrypted.
    """

    def __init__(self, folder: Path, key: BackupKey | None) -> None:
        self.folder: Final = folder
        self.key: Final = key

    # Files ----------------------------------------------------------------------------------------

    def place(self, sha256: str) -> Path:
        """Where the file of this hash lies, or would."""
        name = self.key.name_of(sha256) if self.key else sha256
        return self.folder / FILES / name[:2] / name

    def has(self, sha256: str, size: int) -> bool:
        """Whether the file is there with its length; its bytes are not looked at."""
        try:
            found = self.place(sha256).stat().st_size
        except OSError:
            return False
        # An age file is a header and 16 bytes for each 64 KiB longer.
        return found > size if self.key else found == size

    def keep(self, sha256: str, reading: IO[bytes]) -> int:
        """Copy a file in and read it back; its length.

        Raises
        ------
        DamagedFileError
            When what was read has another hash: nothing is kept then.
        BackupError
            When it can't be written, or is not on the disk as it was written.
        """
        source = _Hashed(reading)
        with self._new_file() as (beside, writing):
            if self.key:
                self.key.encrypt(source, writing)
            else:
                shutil.copyfileobj(source, writing, PIECE_BYTES)
            if source.hexdigest() != sha256:
                raise DamagedFileError(f"The stored file {sha256[:12]} is damaged")
            _to_disk(writing)
            if self._digest(beside) != sha256:
                raise BackupError(
                    f"{self.folder} gives back other bytes than were written to it",
                    instead="another disk",
                )
            _move(beside, self.place(sha256))
        return source.size

    def open(self, sha256: str) -> IO[bytes]:
        """The file's bytes for reading, whole and of this hash; the caller closes it.

        Raises
        ------
        BackupError
            When it is gone; `DamagedFileError` when it is damaged.
        """
        place = self.place(sha256)
        if not place.is_file():
            raise BackupError(f"The file {sha256[:12]} is not in the backup")
        whole = self._plain(place)
        if _digest_of(whole) != sha256:
            whole.close()
            raise DamagedFileError(f"The file {sha256[:12]} is damaged in the backup")
        whole.seek(0)
        return whole

    def _digest(self, path: Path) -> str:
        with self._plain(path) as whole:
            return _digest_of(whole)

    def _plain(self, path: Path) -> IO[bytes]:
        reading = path.open("rb")
        if self.key is None:
            return reading
        with reading:
            # Without a name: it is gone when it is closed, or when the program dies.
            plain = tempfile.TemporaryFile()  # noqa: SIM115 - the caller closes it
            try:
                self.key.decrypt(reading, plain)
            except BaseException:
                plain.close()
                raise
            plain.seek(0)
            return plain

    # Catalogues -----------------------------------------------------------------------------------

    def catalogues(self) -> list[Path]:
        """Those of all backups, the oldest first."""
        folder = self.folder / BACKUPS
        return sorted(folder.glob(f"*{ENDING}")) if folder.is_dir() else []

    def write_catalogue(
        self, name: str, pieces: Iterable[bytes], check: Callable[[Path], None]
    ) -> Path:
        """Write a catalogue from its pieces; it gets its name when `check` finds it whole."""
        place = self.folder / BACKUPS / f"{name}{ENDING}"
        with self._new_file() as (beside, writing):
            if self.key:
                self.key.encrypt(_Pulled(iter(pieces)), writing)
            else:
                for piece in pieces:
                    writing.write(piece)
            _to_disk(writing)
            check(beside)
            _move(beside, place)
        return place

    def open_catalogue(self, path: Path) -> IO[bytes]:
        """Its packed bytes for reading."""
        return self._plain(path)

    def held(self) -> Iterator[Path]:
        """Every file in the folder that a catalogue may name."""
        root = self.folder / FILES
        for part in sorted(root.iterdir()) if root.is_dir() else ():
            if part.is_dir():
                yield from sorted(one for one in part.iterdir() if _NAME.fullmatch(one.name))

    # Writing --------------------------------------------------------------------------------------

    @contextlib.contextmanager
    def _new_file(self) -> Iterator[tuple[Path, IO[bytes]]]:
        arriving = self.folder / "arriving"
        arriving.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=arriving)
        beside = Path(name)
        try:
            with os.fdopen(handle, "wb") as writing:
                yield beside, writing
        finally:
            with contextlib.suppress(OSError):
                beside.unlink()

    def sweep(self) -> int:
        """Delete what a killed backup left a day and more ago; how many files went."""
        swept = 0
        arriving = self.folder / "arriving"
        for path in arriving.iterdir() if arriving.is_dir() else ():
            with contextlib.suppress(OSError):
                if time.time() - path.stat().st_mtime > _SWEEP_S:
                    path.unlink()
                    swept += 1
        return swept

    @contextlib.contextmanager
    def alone(self) -> Iterator[None]:
        """Keep other backups out of the folder meanwhile; the system lets go of it at a kill.

        Raises
        ------
        BackupError
            When another backup is being written to it.
        """
        try:
            import fcntl
        except ImportError:  # Windows: two at once would only do some work twice
            yield
            return
        with (self.folder / "lock").open("wb") as file:
            try:
                fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError as error:
                raise BackupError(
                    f"Another backup is being written to {self.folder}",
                    instead="the same again when it is done",
                ) from error
            except OSError:
                pass  # some network folders know no locks
            yield


def open_target(
    folder: Path,
    *,
    passphrase: Callable[[bool], str] | None = None,
    make: bool,
    encrypt: bool = False,
) -> Target:
    """The backup folder, made when there is none and `make` is set.

    Parameters
    ----------
    passphrase
        Called for an encrypted folder only, with whether it is a new one.
    encrypt
        Whether a new one is to be encrypted; one that is there and is not is refused then.

    Raises
    ------
    InputError
        When the folder holds something else, or no backup where one is needed.
    PassphraseError
        When the passphrase is another one.
    """
    mark = folder / MARK
    if not mark.is_file():
        if not make:
            raise InputError(
                f"{folder} holds no backup", allowed="a folder that `beltside backup` wrote to"
            )
        return _new_target(folder, encrypt, passphrase)
    encrypted = _read_mark(mark)
    if encrypt and not encrypted:
        raise InputError(
            f"The backups in {folder} are not encrypted",
            instead="another folder for encrypted ones",
        )
    if not encrypted:
        return Target(folder, None)
    if passphrase is None:
        raise InputError(f"The backups in {folder} are encrypted", allowed="their passphrase")
    try:
        sealed = (folder / KEY_FILE).read_bytes()[:_SMALL]
    except OSError as error:
        raise BackupError(
            f"{folder / KEY_FILE} can't be read: {error.strerror}. Without it nothing opens the "
            "backup",
            instead="that file from a copy of the folder",
        ) from error
    return Target(folder, unseal(sealed, passphrase(False)))


def _read_mark(mark: Path) -> bool:
    try:
        content: Any = json.loads(mark.read_bytes()[:_SMALL])
        version, encrypted = content["version"], content["encrypted"]
        sound = content["format"] == FORMAT and isinstance(encrypted, bool)
    except (OSError, ValueError, KeyError, TypeError, RecursionError) as error:
        raise InputError(f"{mark} can't be read", allowed="what `beltside backup` wrote") from error
    if not sound or version != VERSION:
        raise InputError(
            f"{mark.parent} was written by a newer Beltside, or by something else",
            instead="the newer Beltside",
        )
    return bool(encrypted)


def _new_target(folder: Path, encrypt: bool, passphrase: Callable[[bool], str] | None) -> Target:
    try:
        # A kill before the mark was written leaves these; they hold nothing then.
        ours = {"arriving", "lock", KEY_FILE}
        if folder.is_dir() and any(one.name not in ours for one in folder.iterdir()):
            raise InputError(
                f"{folder} holds other things", allowed="a new folder, or one with backups"
            )
        folder.mkdir(parents=True, exist_ok=True)
        target = Target(folder, new_key() if encrypt else None)
        if target.key:
            if passphrase is None:
                raise InputError("An encrypted backup needs a passphrase")
            _put(target, folder / KEY_FILE, seal(target.key, passphrase(True)))
        content = {"format": FORMAT, "version": VERSION, "encrypted": encrypt}
        _put(target, folder / MARK, json.dumps(content).encode() + b"\n")
        flush_folder(folder)
    except OSError as error:
        raise refused(folder, error) from error
    return target


def _put(target: Target, place: Path, data: bytes) -> None:
    with target._new_file() as (beside, writing):
        writing.write(data)
        _to_disk(writing)
        _move(beside, place)


def refused(folder: Path, error: OSError) -> BackupError:
    """What the system said, in a sentence."""
    return BackupError(
        f"The backup can't be written to {folder}: {error.strerror or error}. "
        "Backups that are there already are as they were",
        instead="room on the disk, and a folder you may write to",
    )


def _to_disk(file: IO[bytes]) -> None:
    file.flush()
    os.fsync(file.fileno())
    # So that it is read back from the disk and not from memory, where the system knows how.
    with contextlib.suppress(AttributeError, OSError):
        os.posix_fadvise(file.fileno(), 0, 0, os.POSIX_FADV_DONTNEED)


def _move(beside: Path, place: Path) -> None:
    place.parent.mkdir(parents=True, exist_ok=True)
    beside.replace(place)
    flush_folder(place.parent)
    flush_folder(place.parent.parent)


def _digest_of(file: IO[bytes]) -> str:
    digest = hashlib.sha256()
    while piece := file.read(PIECE_BYTES):
        digest.update(piece)
    return digest.hexdigest()


class _Hashed(io.RawIOBase):
    """Reads from another file and hashes what it read."""

    def __init__(self, file: IO[bytes]) -> None:
        self._file = file
        self._digest = hashlib.sha256()
        self.size = 0

    def read(self, size: int = -1, /) -> bytes:
        data = self._file.read(size)
        self._digest.update(data)
        self.size += len(data)
        return data

    def readable(self) -> bool:
        return True

    def hexdigest(self) -> str:
        return self._digest.hexdigest()


class _Pulled(io.RawIOBase):
    """Reads from pieces as they are made."""

    def __init__(self, pieces: Iterator[bytes]) -> None:
        self._pieces = pieces
        self._left = b""

    def read(self, size: int = -1, /) -> bytes:
        while size < 0 or len(self._left) < size:
            piece = next(self._pieces, None)
            if piece is None:
                break
            self._left += piece
        end = len(self._left) if size < 0 else size
        data, self._left = self._left[:end], self._left[end:]
        return data

    def readable(self) -> bool:
        return True
