"""One backup in the background of a running program: begun, watched, called off."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Final, Literal

from beltside.base.errors import BeltsideError, InputError
from beltside.casework.shop import Shop

if TYPE_CHECKING:
    from beltside.casework.shop_backup import ShopBackup
    from beltside.jobs.backup_target import Target

# The application holds a BackupRun before its first page; what a backup itself needs (migrations,
# encryption) is imported when one begins, so that the page does not wait for it.

State = Literal["none", "running", "done", "failed", "called off"]
_STOP_S: Final = 20.0


@dataclass(frozen=True)
class BackupState:
    """How far the backup is that was begun last.

    Attributes
    ----------
    state
        "none" when none was begun since the program started.
    folder
        Where to.
    percent, doing
        How far it is, 0 to 100, and what it is at.
    made
        What was written, once it is done.
    problem
        Why it failed.
    """

    state: State = "none"
    folder: str = ""
    percent: int = 0
    doing: str = ""
    made: ShopBackup | None = None
    problem: BeltsideError | None = None


class _CalledOffError(Exception):
    """Unwinds a backup that was called off; what it wrote is taken away on the way."""


class BackupRun:
    """At most one backup at a time of one program."""

    def __init__(self) -> None:
        self._lock: Final = threading.Lock()
        self._off: Final = threading.Event()
        self._state = BackupState()
        self._thread: threading.Thread | None = None

    @property
    def now(self) -> BackupState:
        """How far it is."""
        with self._lock:
            return self._state

    def begin(self, shop: Shop, folder: str, passphrase: str = "", again: str = "") -> None:
        """Begin one; what is wrong with folder or passphrase is raised before anything is written.

        Parameters
        ----------
        folder
            The whole path of a new folder or one with backups, as typed; `~` is one's home.
        passphrase, again
            With it the backups of a new folder are encrypted: typed twice then. Those of a folder
            that is encrypted need it.

        Raises
        ------
        InputError
            When the folder is none of these, the passphrases differ, or one is being made.
        PassphraseError
            When the folder has another passphrase.
        BackupError
            When the folder can't be written.
        """
        from beltside.casework.shop_backup import backup_folder

        place = _place(folder)

        def given(new: bool) -> str:
            if new and passphrase != again:
                raise InputError("The two passphrases differ; nothing was written")
            return passphrase

        with self._lock:
            if self._state.state == "running":
                raise InputError("A backup is being made already", instead="waiting for it")
            target = backup_folder(
                shop, place, encrypt=bool(passphrase), passphrase=given if passphrase else None
            )
            self._off.clear()
            self._state = BackupState("running", str(place))
            self._thread = threading.Thread(
                target=self._write, args=(shop, target), name="backup", daemon=True
            )
            self._thread.start()

    def call_off(self) -> None:
        """Break the one that is being made off, at the next file; nothing of it stays."""
        self._off.set()

    def stop(self) -> None:
        """Break it off and wait for it: the program ends."""
        self.call_off()
        if self._thread is not None:
            self._thread.join(_STOP_S)

    def wait(self) -> BackupState:
        """Wait until it is over."""
        if self._thread is not None:
            self._thread.join()
        return self.now

    def _write(self, shop: Shop, target: Target) -> None:
        from beltside.casework.shop_backup import backup_into
        from beltside.jobs.backup_target import refused

        def progress(doing: str, share: float) -> None:
            if self._off.is_set():
                raise _CalledOffError
            self._set(lambda now: replace(now, percent=int(100 * share), doing=doing))

        problem: BeltsideError
        try:
            made = backup_into(shop, target, progress=progress)
        except _CalledOffError:
            self._set(lambda now: replace(now, state="called off"))
            return
        except BeltsideError as error:
            problem = error
        except OSError as error:
            problem = refused(target.folder, error)
        except Exception:
            # A fault of ours is told where it can be found, and the page does not wait for ever.
            self._set(lambda now: replace(now, state="failed", problem=_OUR_FAULT))
            raise
        else:
            self._set(lambda now: replace(now, state="done", percent=100, made=made))
            return
        self._set(lambda now: replace(now, state="failed", problem=problem))

    def _set(self, change: Callable[[BackupState], BackupState]) -> None:
        with self._lock:
            self._state = change(self._state)


_OUR_FAULT: Final = BeltsideError(
    "The backup broke off by a fault in Beltside",
    instead="`beltside backup`, and telling what it says",
)


def _place(typed: str) -> Path:
    whole = "a whole path, such as /media/stick/shop"
    if not typed or "\0" in typed or len(typed) > 1000:
        raise InputError("No folder was named", allowed=whole)
    try:
        place = Path(typed).expanduser()
    except RuntimeError as error:
        raise InputError(f"There is no home for {typed}", allowed=whole) from error
    if not place.is_absolute():
        raise InputError(f"{typed} is no whole path", allowed=whole)
    return place
