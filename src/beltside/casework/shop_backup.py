"""Backups of a whole shop: written, listed, looked through, thinned out, put back."""

from __future__ import annotations

import contextlib
import json
import os
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any, Final

from beltside.base.errors import BeltsideError, InputError
from beltside.casework.own import CATALOGUE_FILE, COSTS_FILE, LEARNED_FILE
from beltside.casework.shop import DATABASE_FILE, FILES_FOLDER, URL_VARIABLE, Shop
from beltside.jobs.backup import BackedUp, Catalogue, OwnFile, Progress, back_up
from beltside.jobs.backup_target import BACKUPS, MARK, BackupError, Target, open_target, refused
from beltside.jobs.restoring import Restored, restore

Passphrase = Callable[[bool], str]
"""Gives the passphrase; called with True when a new one is to be chosen."""

PLAIN_OWN: Final = frozenset({CATALOGUE_FILE, COSTS_FILE, LEARNED_FILE})
"""Own files that may lie in a backup everybody can read. The rest of the folder may hold keys."""
LARGEST_OWN_BYTES: Final = 50_000_000
_MARKS_OF_SECRETS: Final = b"PRIVATE KEY"
LAST_FILE: Final = ".last-backup.json"
"""Stands in the shop's folder and goes into no backup."""


def _still(doing: str, share: float) -> None:
    del doing, share


@dataclass(frozen=True)
class ShopBackup:
    """A backup that was written, older ones removed, and what of the folder is not in it."""

    done: BackedUp
    left_out: tuple[str, ...]
    removed: tuple[str, ...]
    freed_bytes: int

    def to_json(self) -> dict[str, Any]:
        """Plain dict."""
        return {
            **self.done.to_json(),
            "left_out": list(self.left_out),
            "removed_backups": list(self.removed),
            "freed_bytes": self.freed_bytes,
        }


@dataclass(frozen=True)
class LastBackup:
    """When and where the last backup was made from this computer."""

    folder: Path
    made_at: datetime
    encrypted: bool

    @property
    def is_there(self) -> bool:
        """Whether its folder can be reached now: the stick may be in a drawer."""
        try:
            return (self.folder / MARK).is_file()
        except OSError:
            return False

    def to_json(self) -> dict[str, Any]:
        """Plain dict."""
        return {
            "folder": str(self.folder),
            "made_at": self.made_at.isoformat(),
            "encrypted": self.encrypted,
        }


@dataclass(frozen=True)
class BackupLine:
    """One backup of a folder, as a list shows it; `problem` is why it can't be read."""

    name: str
    made_at: str
    bytes: int
    problem: str = ""

    def to_json(self) -> dict[str, Any]:
        """Plain dict."""
        return {
            "name": self.name,
            "made_at": self.made_at,
            "bytes": self.bytes,
            "problem": self.problem,
        }


@dataclass(frozen=True)
class BackupCheck:
    """What was looked through of a folder of backups, and what is wrong with it."""

    backups: int
    files: int
    problems: tuple[str, ...]

    def to_json(self) -> dict[str, Any]:
        """Plain dict."""
        return {
            "whole": not self.problems,
            "backups": self.backups,
            "files": self.files,
            "problems": list(self.problems),
        }


def backup_shop(
    shop: Shop,
    folder: Path,
    *,
    encrypt: bool = False,
    passphrase: Passphrase | None = None,
    keep: int | None = None,
    progress: Progress = _still,
) -> ShopBackup:
    """Add a backup to a folder of backups, made when there is none; the shop may stay open.

    Parameters
    ----------
    keep
        How many backups stay, this one among them; all when left out.

    Raises
    ------
    InputError
        When the folder holds something else, lies within the shop's folder, or `keep` is below 1.
    BeltsideError
        When it can't be written; backups that are there stay as they were.
    """
    if keep is not None and keep < 1:
        raise InputError(f"{keep} backups to keep", allowed="1 and more")
    target = backup_folder(shop, folder, encrypt=encrypt, passphrase=passphrase)
    return backup_into(shop, target, keep=keep, progress=progress)


def backup_folder(
    shop: Shop, folder: Path, *, encrypt: bool = False, passphrase: Passphrase | None = None
) -> Target:
    """The folder of backups, open for writing; made when there is none.

    Raises
    ------
    InputError
        When it holds something else, or lies within the shop's folder.
    PassphraseError
        When it is encrypted with another passphrase.
    BackupError
        When it can't be read or made.
    """
    try:
        inside, outside = folder.resolve(), shop.folder.resolve()
        if inside.is_relative_to(outside):
            raise InputError(
                f"{folder} lies within the shop's own folder",
                allowed="a folder beside it",
                instead="a folder on another disk: what takes the one takes the other",
            )
        return open_target(folder, passphrase=passphrase, make=True, encrypt=encrypt)
    except OSError as error:
        raise refused(folder, error) from error


def backup_into(
    shop: Shop, target: Target, *, keep: int | None = None, progress: Progress = _still
) -> ShopBackup:
    """As `backup_shop`, into a folder that is open. What `progress` raises breaks it off."""
    own, left_out = own_files(shop.folder, target.key is not None)
    done = back_up(shop.record.database, shop.files, target, own=own, progress=progress)
    _note(shop.folder, LastBackup(target.folder.resolve(), done.made_at, done.encrypted))
    removed, freed = _thin_out(target, keep) if keep is not None else ((), 0)
    return ShopBackup(done, left_out, removed, freed)


def last_backup(shop_folder: Path) -> LastBackup | None:
    """The backup that was made last on this computer; None when there is none, or no note of it."""
    try:
        noted = json.loads((shop_folder / LAST_FILE).read_bytes()[:10_000])
        made_at = datetime.fromisoformat(noted["made_at"])
        return LastBackup(Path(noted["folder"]), made_at, noted["encrypted"] is True)
    except (OSError, ValueError, KeyError, TypeError):
        return None


def _note(shop_folder: Path, last: LastBackup) -> None:
    """Write down when and where the last backup was made; without the note it is no less made."""
    with contextlib.suppress(OSError):
        new = shop_folder / f"{LAST_FILE}.new"
        new.write_text(json.dumps(last.to_json()), encoding="ascii")
        new.replace(shop_folder / LAST_FILE)


def own_files(folder: Path, encrypted: bool) -> tuple[list[OwnFile], tuple[str, ...]]:
    """Files beside the record that belong in a backup, and names of those that are left out.

    In a backup that is not encrypted: own checks, costs, what was learned. What else lies in the
    folder may be a private key or a list of who may come in; it goes into encrypted ones only.
    """
    found: list[OwnFile] = []
    left: set[str] = set()
    for path in _plain_files(folder):
        name = path.relative_to(folder).as_posix()
        top = name.partition("/")[0]
        try:
            if path.stat().st_size > LARGEST_OWN_BYTES:
                left.add(name)
            elif encrypted or (name in PLAIN_OWN and _MARKS_OF_SECRETS not in path.read_bytes()):
                found.append(OwnFile(name, path))
            else:
                left.add(top if top == name else f"{top}/")
        except OSError:
            left.add(name)
    return found, tuple(sorted(left))


def _plain_files(folder: Path) -> Iterator[Path]:
    if not folder.is_dir():
        return
    for top, folders, names in os.walk(folder):
        here = Path(top)
        if here == folder:
            folders[:] = [name for name in folders if name != FILES_FOLDER]
        folders[:] = sorted(name for name in folders if not name.startswith("."))
        for name in sorted(names):
            path = here / name
            database = here == folder and name.startswith(DATABASE_FILE)
            if not database and not name.startswith(".") and not path.is_symlink():
                yield path


def list_backups(folder: Path, *, passphrase: Passphrase | None = None) -> list[BackupLine]:
    """The backups of a folder, the newest first."""
    target = open_target(folder, passphrase=passphrase, make=False)
    lines = []
    for path in reversed(target.catalogues()):
        made_at, problem = "", ""
        try:
            with Catalogue(target, path) as catalogue:
                made_at = str(catalogue.head.get("made_at", ""))
        except BeltsideError as error:
            problem = str(error)
        lines.append(BackupLine(path.name, made_at, path.stat().st_size, problem))
    return lines


def check_backups(
    folder: Path, *, passphrase: Passphrase | None = None, progress: Progress = _still
) -> BackupCheck:
    """Read every backup and every file of a folder, and hold them against their hashes."""
    target = open_target(folder, passphrase=passphrase, make=False)
    problems: list[str] = []
    wanted: set[str] = set()
    catalogues = target.catalogues()
    for number, path in enumerate(catalogues):
        progress("reading the catalogues", 0.2 * number / len(catalogues))
        try:
            with Catalogue(target, path) as catalogue:
                wanted |= set(catalogue.read_all())
        except BeltsideError as error:
            problems.append(str(error))
    for number, sha256 in enumerate(sorted(wanted)):
        progress(f"reading {len(wanted)} files", 0.2 + 0.8 * number / len(wanted))
        try:
            target.open(sha256).close()
        except (BeltsideError, OSError) as error:
            problems.append(str(error))
    return BackupCheck(len(catalogues), len(wanted), tuple(problems))


def _thin_out(target: Target, keep: int) -> tuple[tuple[str, ...], int]:
    """Remove all but the newest backups, then the files that no backup left needs."""
    with target.alone():
        catalogues = target.catalogues()
        old, stay = catalogues[:-keep], catalogues[-keep:]
        if not old:
            return (), 0
        needed: set[Path] = set()
        for path in stay:
            # A catalogue that can't be read would have its files removed: then nothing goes.
            with Catalogue(target, path) as catalogue:
                needed |= {target.place(sha256) for sha256 in catalogue.read_all()}
        freed = 0
        for path in [*old, *(one for one in target.held() if one not in needed)]:
            freed += path.stat().st_size
            path.unlink()
    return tuple(path.name for path in old), freed


def restore_backup(
    backup: Path,
    folder: Path,
    *,
    database: str | None = None,
    passphrase: Passphrase | None = None,
    progress: Progress = _still,
) -> Restored:
    """Put a backup back into an empty folder, and into an empty database where one is named.

    Parameters
    ----------
    backup
        A folder of backups, for its newest one; or the file of a certain one in it.

    Raises
    ------
    InputError
        When there is no backup, or folder or database are not empty.
    PassphraseError
        When the passphrase is another one.
    BeltsideError
        When the backup is damaged or can't be written; nothing is left behind then.
    """
    if not backup.exists():
        raise InputError(f"{backup} is not there", allowed="a folder of backups, or one in it")
    chosen = None
    if backup.is_file() and backup.parent.name == BACKUPS:
        backup, chosen = backup.parent.parent, backup
    target = open_target(backup, passphrase=passphrase, make=False)
    if chosen is None:
        catalogues = target.catalogues()
        if not catalogues:
            raise BackupError(f"No backup in {backup} was finished", instead="another folder")
        chosen = catalogues[-1]
    where = database or os.environ.get(URL_VARIABLE) or None
    names = (DATABASE_FILE, FILES_FOLDER)
    return restore(target, chosen, folder, database=where, names=names, progress=progress)
