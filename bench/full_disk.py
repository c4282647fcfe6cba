"""A disk that fills up, and folders that may only be read: said in plain words, nothing lost.

`python bench/full_disk.py` does the kinds of work of `kill_points.py` on a disk with a random
bit of room until it is full (a tmpfs, where this user may mount one; else a quota on the length of
files, POSIX RLIMIT_FSIZE), and once each in folders that may only be read. Then it looks, with
room again: every acknowledged thing, `check`, and that the work can be done again. An error that is
not one of Beltside's own sentences counts as wrong.
"""

from __future__ import annotations

import argparse
import contextlib
import os
import random
import resource
import shutil
import signal
import subprocess
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from beltside.base.errors import BeltsideError
from kill_points import KINDS, Place, losses, pattern

LONGEST_S: Final = 240
MOST_ROOM_BYTES: Final = 1_500_000
_NOBODY: Final = 65534
_PAGE: Final = 4096
# These need no more room after so many rounds; then the disk had enough.
_ROUNDS: Final = {"import": 6, "migration": 3}
# What may only be read, for each kind of work; the rest is writable.
_READ_ONLY: Final = {"upload": "shop/files", "backup": "backups", "restore": ".", "rescue": "."}
# A server says in its pages what the others say by themselves.
_TRIED: Final = tuple(kind for kind in KINDS if kind != "serving")


@dataclass(frozen=True)
class Trial:
    """What became of one: the sentence it ended with, what is wrong, things acknowledged.

    `mounted` is whether the disk was a real one; of folders that may only be read it is False.
    """

    kind: str
    how: str
    said: str
    wrong: tuple[str, ...]
    acknowledged: int
    mounted: bool


@contextlib.contextmanager
def small_disk(folder: Path, size_bytes: int) -> Iterator[bool]:
    """A file system of this size on the folder; False where this user may not mount one."""
    options = f"size={size_bytes // _PAGE * _PAGE},mode=777"
    made = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", options, "beltside-bench", str(folder)],
        capture_output=True,
        check=False,
    )
    try:
        yield made.returncode == 0
    finally:
        if made.returncode == 0:
            subprocess.run(["umount", "-l", str(folder)], check=True)


class _Enough(BaseException):
    """The work was done as often as it is of use."""


def work_until_it_fails(
    place: Place, kind: str, before: Callable[[], None]
) -> tuple[str, list[str], list[str]]:
    """Do it in a process of its own: the sentence it ended with, what is wrong, its words."""
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            os.close(reading)
            signal.alarm(LONGEST_S)
            before()

            rounds = 0

            def say(text: str) -> None:
                nonlocal rounds
                os.write(writing, f"{text}\n".encode())
                rounds += text != "ready"
                if rounds == _ROUNDS.get(kind):
                    raise _Enough

            KINDS[kind](place, say)
        except BeltsideError as error:
            os.write(writing, f"SAID {error}\n".encode())
        except _Enough:
            os.write(writing, b"SAID There was room enough\n")
        except BaseException as error:  # noqa: BLE001 - told to the parent
            words = " ".join(str(error).split())
            os.write(writing, f"FAILED {type(error).__name__} {words}\n".encode())
        finally:
            os._exit(0)
    os.close(writing)
    with os.fdopen(reading, "rb") as file:
        lines = file.read().decode().splitlines()
    _, status = os.waitpid(child, 0)
    said = [one.removeprefix("SAID ") for one in lines if one.startswith("SAID ")]
    wrong = [one for one in lines if one.startswith("FAILED")]
    if status and not wrong:
        wrong = [f"ended by signal {os.waitstatus_to_exitcode(status)} and not by the disk"]
    things = [one for one in lines if not one.startswith(("ready", "SAID", "FAILED"))]
    return (said or [""])[0], wrong, things


def filled_up(model: Path, zip_file: Path, folder: Path, kind: str, room_bytes: int) -> Trial:
    """One trial on a disk with so much room."""
    disk, roomy = folder / "disk", folder / "roomy"
    disk.mkdir(parents=True)
    size = sum(_on_disk(path) for path in model.rglob("*")) + room_bytes
    with small_disk(disk, size) as mounted:
        for name in ("shop", "kept"):
            shutil.copytree(model / name, disk / name)
        place = Place(disk, None, zip_file, _revisions())
        longest = (disk / "shop" / "shop.db").stat().st_size

        def before() -> None:
            # Temporary files lie on the same disk.
            tempfile.tempdir = str(disk)
            if not mounted:
                signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
                most = longest // 2 if kind == "restore" else longest + room_bytes // 10
                resource.setrlimit(resource.RLIMIT_FSIZE, (most, most))

        said, wrong, things = work_until_it_fails(place, kind, before)
        shutil.copytree(disk, roomy)
    wrong += [] if said else ["nothing was said"]
    wrong += _left_behind(roomy) + losses(replace(place, folder=roomy), kind, things)
    return Trial(kind, "full", said, tuple(wrong), len(things), mounted)


def read_only(model: Path, zip_file: Path, folder: Path, kind: str) -> Trial:
    """One trial in a folder that may only be read."""
    for name in ("shop", "kept"):
        shutil.copytree(model / name, folder / name)
    (folder / "backups").mkdir()
    root = os.geteuid() == 0
    shut = folder / _READ_ONLY.get(kind, "shop")
    if root:
        for path in [folder, *folder.rglob("*")]:
            os.chown(path, _NOBODY, _NOBODY)
    modes = {path: path.stat().st_mode for path in [shut, *shut.rglob("*")]}
    for path, mode in modes.items():
        path.chmod(mode & 0o7555)
    place = Place(folder, None, zip_file, _revisions())

    def before() -> None:
        # Root may write everywhere: it gives its rights up first.
        if root:
            os.setgid(_NOBODY)
            os.setuid(_NOBODY)

    said, wrong, things = work_until_it_fails(place, kind, before)
    for path, mode in modes.items():
        path.chmod(mode)
    wrong += ["nothing was said"] if not said or "room enough" in said else []
    wrong += losses(place, kind, things)
    return Trial(kind, "read only", said, tuple(wrong), len(things), False)


def trials(seed: int, count: int, folder: Path) -> Iterator[Trial]:
    """So many full disks, kinds in turn; then each kind once where it may only be read."""
    model = folder / "model"
    _, zip_file = pattern(model)
    # Reached by a process without rights too.
    for path in (folder, model):
        path.chmod(0o755)
    zip_file.chmod(0o644)
    chance = random.Random(seed)
    for number in range(count):
        kind = _TRIED[number % len(_TRIED)]
        most = MOST_ROOM_BYTES // 10 if kind in _ROUNDS else MOST_ROOM_BYTES
        here = folder / f"full-{number}"
        yield filled_up(model, zip_file, here, kind, int(chance.random() ** 2 * most))
        shutil.rmtree(here)
    for kind in _TRIED:
        here = folder / f"shut-{kind}"
        here.mkdir()
        yield read_only(model, zip_file, here, kind)
        shutil.rmtree(here)


def _revisions() -> tuple[str, ...]:
    from alembic.script import ScriptDirectory

    from beltside.jobs.database import MIGRATIONS

    steps = ScriptDirectory(str(MIGRATIONS)).walk_revisions()
    return tuple(one.revision for one in steps)[::-1]


def _on_disk(path: Path) -> int:
    size = path.stat().st_size if path.is_file() else 0
    return -(-size // _PAGE) * _PAGE


def _left_behind(folder: Path) -> list[str]:
    """What is half and still there."""
    half = [*folder.glob("*/arriving/*"), *folder.glob("shop/files/arriving/*")]
    half += [one for one in folder.iterdir() if "restoring" in one.name]
    return [f"{one.name} was left behind half" for one in half]


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=70)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    start = time.monotonic()
    done, things, bad, mounted = Counter[str](), Counter[str](), Counter[str](), 0
    said: Counter[str] = Counter()
    with tempfile.TemporaryDirectory() as name:
        for one in trials(asked.seed, asked.count, Path(name)):
            kind = f"{one.kind}, {one.how}"
            done[kind] += 1
            things[kind] += one.acknowledged
            bad[kind] += bool(one.wrong)
            mounted += one.mounted
            said[one.said.split(":")[0].split(" (")[0].replace(name, "")[:70]] += 1
            for wrong in one.wrong:
                print(f"{kind}: {wrong} (it said: {one.said})")
    print(f"{'':24} {'tried':>6} {'acknowledged':>13} {'wrong':>6}")
    for kind in done:
        print(f"{kind:24} {done[kind]:6} {things[kind]:13} {bad[kind]:6}")
    for sentence, count in said.most_common():
        print(f"{count:6} said {sentence!r}")
    print(
        f"{sum(bad.values())} of {sum(done.values())} wrong, {mounted} on a disk of their own; "
        f"seed {asked.seed}, {time.monotonic() - start:.0f} s"
    )


if __name__ == "__main__":
    main()
