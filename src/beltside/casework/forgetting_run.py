"""Forgetting an owner in one go, though the computer may be switched off in the middle.

What is to be done is noted in the shop's folder before it begins. Until the record was rewritten,
all is as it was; from then on the next start of any program finishes it: search words, stored files
that nothing names any more, the database's own file. The note names jobs and files, and no person.
"""

from __future__ import annotations

import contextlib
import json
import os
from collections.abc import Callable, Iterable, Iterator, Sequence
from pathlib import Path
from typing import IO, Any, Final

from beltside.base.errors import BeltsideError
from beltside.casework.shop import FORGETTING_FILE, Shop, rewrite, sheet_of
from beltside.jobs.database import RecordError
from beltside.jobs.forgetting import wipe_free_space
from beltside.jobs.reading import MissingError
from beltside.jobs.search_words import rebuild

MARK: Final = "anonymised"
EMPTIED_OF_OWNER: Final = ("name", "phone", "email", "address")

Note = Callable[[Sequence[str], Iterable[str]], None]
"""Writes down the jobs, and the stored files that may be of no use afterwards."""


@contextlib.contextmanager
def noted(folder: Path) -> Iterator[Note]:
    """One forgetting at a time; its note goes when the block ends, and stays when it breaks off."""
    path = folder / FORGETTING_FILE
    try:
        file = path.open("a+b")
    except OSError as error:
        raise _not_noted(folder, error) from error
    with file:
        _lock(file, wait=True)

        def note(job_ids: Sequence[str], files: Iterable[str]) -> None:
            try:
                file.truncate(0)
                file.write(json.dumps({"jobs": list(job_ids), "files": sorted(files)}).encode())
                file.flush()
                os.fsync(file.fileno())
            except OSError as error:
                raise _not_noted(folder, error) from error

        yield note
        path.unlink(missing_ok=True)


def _not_noted(folder: Path, error: OSError) -> RecordError:
    return RecordError(
        f"Nothing was forgotten: no note of it can be written in {folder}: {error.strerror}",
        instead="room on the disk, and a folder you may write to",
    )


def finish_forgetting(shop: Shop) -> None:
    """Finish what a program that was killed left; nothing when another one is at it."""
    path = shop.folder / FORGETTING_FILE
    with contextlib.suppress(OSError, BeltsideError), path.open("r+b") as file:
        if not _lock(file, wait=False) or not _is_still(path, file):
            return
        try:
            left = json.loads(file.read())
            job_ids, files = list(left["jobs"]), list(left["files"])
        except (ValueError, KeyError, TypeError):
            # Killed while it was written: nothing had begun.
            path.unlink()
            return
        rebuild(shop.record.database)
        for job_id in job_ids:
            _mark(shop, str(job_id))
        remove_unknown(shop, files)
        wipe_free_space(shop.record.database)
        path.unlink()


def remove_unknown(shop: Shop, files: Iterable[str]) -> None:
    """Delete those of these stored files that the record knows nothing of."""
    for sha256 in files:
        try:
            shop.record.file_kind(sha256)
        except MissingError:
            shop.files.remove(sha256)


def _mark(shop: Shop, job_id: str) -> None:
    """Say on a job that its owner was forgotten, when it came so far."""
    try:
        owner = sheet_of(shop, job_id).newest("owner")
    except MissingError:
        return
    if owner is None or owner.body.get(MARK):
        return
    if not any(owner.body.get(name) for name in EMPTIED_OF_OWNER):
        rewrite(shop, owner.id, {MARK: True})


def _is_still(path: Path, file: IO[bytes]) -> bool:
    there, ours = path.stat(), os.fstat(file.fileno())
    return (there.st_ino, there.st_dev) == (ours.st_ino, ours.st_dev)


def _lock(file: IO[bytes], *, wait: bool) -> bool:
    """Whether the note is ours alone; systems and network folders without locks say yes."""
    try:
        import fcntl
    except ImportError:
        return True
    how: Any = fcntl.LOCK_EX if wait else fcntl.LOCK_EX | fcntl.LOCK_NB
    try:
        fcntl.flock(file, how)
    except BlockingIOError:
        return False
    except OSError:
        pass
    return True
