"""A PostgreSQL server of one's own, gone when done: for tests and benchmarks."""

from __future__ import annotations

import contextlib
import os
import pwd
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path

PROGRAMS = Path("/usr/lib/postgresql")


def program(name: str) -> str:
    """Where a program of PostgreSQL lies: on the path, or in the newest version's own folder.

    Raises
    ------
    FileNotFoundError
        When it is not installed.
    """
    versions = [path for path in PROGRAMS.glob("*/bin") if (path / name).is_file()]
    if versions:
        return str(max(versions, key=lambda path: float(path.parent.name)) / name)
    found = shutil.which(name)
    if found is None:
        raise FileNotFoundError(
            f"PostgreSQL's {name} is not installed; scripts/services.sh installs it"
        )
    return found


@contextlib.contextmanager
def postgres_server(*, safe: bool = False) -> Iterator[str]:
    """A running server; gives the URL of its first database, without the database's name.

    It listens on a socket in its own folder only. It refuses to run as root: then it is run as
    `postgres`, or as `nobody`.

    Parameters
    ----------
    safe
        Whether it waits for the disk, as a real one does; tests need not.
    """
    user = _other_user() if os.geteuid() == 0 else None
    name = user or pwd.getpwuid(os.geteuid()).pw_name
    folder = Path(tempfile.mkdtemp(prefix="beltside-pg-"))
    try:
        if user is not None:
            shutil.chown(folder, user)
        data = folder / "data"
        _run(
            user,
            [
                *(program("initdb"), "--pgdata", str(data), "--username", name),
                *("--auth", "trust", "--encoding", "UTF8", "--locale", "C.UTF-8", "--no-sync"),
            ],
        )
        settings = [
            "listen_addresses=''",
            f"unix_socket_directories='{folder}'",
            "max_connections=60",
            "shared_buffers=64MB",
        ]
        if not safe:
            settings += ["fsync=off", "full_page_writes=off"]
        options = " ".join(f"-c {setting}" for setting in settings)
        control = [program("pg_ctl"), "--pgdata", str(data), "--wait", "--silent"]
        log = folder / "log"
        try:
            _run(user, [*control, "--log", str(log), "--options", options, "start"])
        except RuntimeError as error:
            said = log.read_text(encoding="utf-8") if log.exists() else ""
            raise RuntimeError(f"{error}\n{said}") from error
        try:
            yield f"postgresql://{name}@/{{database}}?host={folder}"
        finally:
            _run(user, [*control, "--mode", "immediate", "stop"])
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _other_user() -> str:
    for name in ("postgres", "nobody"):
        with contextlib.suppress(KeyError):
            return pwd.getpwnam(name).pw_name
    raise RuntimeError("PostgreSQL does not run as root, and there is no user postgres or nobody")


def _run(user: str | None, command: list[str]) -> None:
    # Without output of its own: the server would hold a pipe open after `pg_ctl` is done.
    with tempfile.TemporaryFile() as said:
        done = subprocess.run(
            command,
            user=user,
            group=pwd.getpwnam(user).pw_gid if user else None,
            extra_groups=[] if user else None,
            cwd="/",
            stdin=subprocess.DEVNULL,
            stdout=said,
            stderr=said,
            check=False,
            timeout=120,
            env={**os.environ, "LC_ALL": "C.UTF-8"},
        )
        if done.returncode:
            said.seek(0)
            raise RuntimeError(
                f"{Path(command[0]).name} failed: {said.read().decode(errors='replace')}"
            )
