"""Kill -9 at random moments: what was acknowledged is there, what was not is whole or absent.

`python bench/kill_points.py` forks a process for each of 200 moments, lets it work, kills it at a
random time (POSIX SIGKILL), opens the shop anew and looks: every acknowledged thing, `check`, and
that the work can be done again. `--seed`, `--count`; `--server` does a fifth on PostgreSQL.
"""

from __future__ import annotations

import argparse
import os
import random
import shutil
import signal
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import psycopg

from beltside.casework.shop import Shop, open_shop, sheet_of, write
from beltside.casework.shop_backup import backup_shop, check_backups, list_backups, restore_backup
from beltside.casework.shop_jobs import close_job, new_job
from beltside.casework.shop_takes import add_take
from beltside.casework.shop_transfer import export_jobs, import_jobs
from beltside.jobs.check import verify
from beltside.jobs.database import connect, migrate, open_database
from beltside.jobs.queue import Queue
from beltside.jobs.transfer import take_out
from hostile_files import valid
from postgres_server import postgres_server

Say = Callable[[str], None]
LONGEST_S: Final = 2.0
_TAKE: Final = valid("wav")


@dataclass(frozen=True)
class Place:
    """Where one trial works."""

    folder: Path
    database: str | None
    zip_file: Path
    revisions: tuple[str, ...]

    def shop(self) -> Shop:
        """The shop, opened as the next start of the program does; the caller closes it."""
        from beltside.casework.shop import shop_at

        return shop_at(self.folder / "shop", database=self.database, by="x")


# What is done until the kill ----------------------------------------------------------------------


def upload(place: Place, say: Say) -> None:
    """Takes, one after the other."""
    shop = place.shop()
    say("ready")
    for number in range(10_000):
        data = _TAKE[:-4] + number.to_bytes(4, "little")
        pieces = (data[at : at + 10_000] for at in range(0, len(data), 10_000))
        added = add_take(shop, "1", pieces, {"belt": "on"}, entry_id=f"k{number}")
        say(f"entry {added.entry.id} {added.entry.body['file']}")


def closing(place: Place, say: Say) -> None:
    """Jobs opened, worked on and closed."""
    shop = place.shop()
    say("ready")
    for number in range(10_000):
        job = new_job(shop, {"words": f"howls {number}"})[0].job
        say(f"job {job.id}")
        outcome = {"cause": "coolant-pump.bearing", "replaced": ["coolant-pump.bearing"]}
        close_job(shop, job.id, {**outcome, "cured": True})
        say(f"closed {job.id}")


def importing(place: Place, say: Say) -> None:
    """A zip of jobs, over and over: the second time all of it is there already."""
    shop = place.shop()
    say("ready")
    for _ in range(10_000):
        for one in import_jobs(shop, place.zip_file):
            say(f"job {one.id}")


def backing_up(place: Place, say: Say) -> None:
    """Backups, with something new between them."""
    shop = place.shop()
    say("ready")
    for number in range(10_000):
        write(shop, sheet_of(shop, "1").job.id, "note", {"words": f"{number}"})
        add_take(shop, "1", [_TAKE[:-4] + number.to_bytes(4, "big")], {"belt": "on"})
        say(f"backup {backup_shop(shop, place.folder / 'backups').done.catalogue.name}")


def restoring(place: Place, say: Say) -> None:
    """A backup put back into ever new folders."""
    say("ready")
    for number in range(10_000):
        restore_backup(place.folder / "kept", place.folder / f"again-{number}")
        say(f"restored again-{number}")


def migrating(place: Place, say: Say) -> None:
    """The tables of every version, down and up."""
    where = place.database or place.folder / "shop" / "shop.db"
    say("ready")
    older = place.revisions[-2:-1] or place.revisions
    for _ in range(10_000):
        with connect(where) as database:
            migrate(database, older[0])
            migrate(database, "head")
        say("carried over")


def analysing(place: Place, say: Say) -> None:
    """Work asked for, taken, done."""
    shop = place.shop()
    queue = Queue(shop.record.database)
    say("ready")
    for number in range(10_000):
        name = queue.ask("listen", 1, f"{number:064x}", {"number": number})
        say(f"asked {name}")
        work = queue.claim("w")
        assert work is not None
        queue.progress(work, 50.0, "half")
        queue.finish(work, {"number": number})
        say(f"done {work.id} {number}")


KINDS: Final[dict[str, Callable[[Place, Say], None]]] = {
    "upload": upload,
    "closing": closing,
    "import": importing,
    "backup": backing_up,
    "restore": restoring,
    "migration": migrating,
    "analysis": analysing,
}
ON_SERVER: Final = ("upload", "closing", "analysis", "import", "migration")


# What must hold afterwards ------------------------------------------------------------------------


def losses(place: Place, kind: str, acknowledged: list[str]) -> list[str]:
    """What is lost or half done, a sentence each; none when all is well."""
    wrong: list[str] = []
    shop = place.shop()  # as the next start does; brings the tables up to date
    try:
        record = shop.record
        said = [line.split() for line in acknowledged]
        for words in said:
            match words:
                case ["entry", name, sha256]:
                    if record.entry(name).body["file"] != sha256:
                        wrong.append(f"the take {name} is another")
                    elif shop.files.digest(sha256) != sha256:
                        wrong.append(f"the file {sha256[:12]} is damaged")
                case ["job", name]:
                    record.sheet(name)
                case ["closed", name]:
                    if record.job(name).card.stage != "closed":
                        wrong.append(f"the job {name} is not closed")
                case ["asked", name]:
                    Queue(record.database).get(name)
                case ["done", name, number]:
                    if Queue(record.database).get(name).result != {"number": int(number)}:
                        wrong.append(f"the result of {name} is gone")
        wrong += [one.says for one in verify(record.database, shop.files).problems if one.is_loss]
        # The first job, there before, is as it was.
        if len([one for one in sheet_of(shop, "1").entries if one.kind == "owner"]) != 1:
            wrong.append("the first job lost its owner")
        wrong += _of_kind(place, shop, kind, said)
    except Exception as error:  # noqa: BLE001 - any is a loss, and shown
        wrong.append(f"{type(error).__name__}: {error}")
    finally:
        shop.close()
    return wrong


def _of_kind(place: Place, shop: Shop, kind: str, said: list[list[str]]) -> list[str]:
    wrong = []
    if kind == "import":
        # Whole or absent; done again it is whole.
        for one in import_jobs(shop, place.zip_file):
            if len(take_out(shop.record, one.id).entries) != 2 or one.how == "beside":
                wrong.append(f"half of the job {one.id} was put in")
    elif kind == "analysis":
        queue = Queue(shop.record.database)
        queue.release(silent_s=0.0)
        for _ in range(queue.open_count()):
            work = queue.claim("again")
            if work is None:
                wrong.append("work that was begun can't be taken up again")
                break
            queue.finish(work, {})
    elif kind == "backup":
        folder = place.folder / "backups"
        if (folder / "beltside-backup.json").exists():
            wrong += check_backups(folder).problems
            names = {one.name for one in list_backups(folder)}
            wrong += [f"the backup {one[1]} is gone" for one in said if one[1] not in names]
            if names:
                restore_backup(folder, place.folder / "from-backup")
                with open_shop(place.folder / "from-backup") as back:
                    if not verify(back.record.database, back.files).whole:
                        wrong.append("what was put back is not whole")
        backup_shop(shop, folder)
    elif kind == "restore":
        for path in place.folder.glob("again-*"):
            if path.is_dir():
                with open_shop(path) as back:
                    if sheet_of(back, "1").entries != sheet_of(shop, "1").entries:
                        wrong.append(f"{path.name} is half put back")
                    if not verify(back.record.database, back.files).whole:
                        wrong.append(f"{path.name} is not whole")
        there = {path.name for path in place.folder.glob("again-*")}
        wrong += [f"{one[1]} is gone" for one in said if one[1] not in there]
    return wrong


# One trial ----------------------------------------------------------------------------------------


def trial(place: Place, kind: str, after_s: float) -> tuple[list[str], int]:
    """Work, kill, look: what is wrong, and how many things were acknowledged."""
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            os.close(reading)

            def say(text: str) -> None:
                os.write(writing, f"{text}\n".encode())

            KINDS[kind](place, say)
        except BaseException as error:  # noqa: BLE001 - told to the parent
            os.write(writing, f"FAILED {type(error).__name__} {error}\n".encode())
        finally:
            os._exit(1)
    os.close(writing)
    with os.fdopen(reading, "rb", buffering=0) as file:
        # Counted from when its shop is open: what comes before is the start of any program.
        data = file.read(1 << 16)
        time.sleep(after_s)
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        data += file.read()
    lines = [one for one in data.decode().splitlines() if one != "ready"]
    failed = [one for one in lines if one.startswith("FAILED")]
    return failed or losses(place, kind, lines), len(lines)


def pattern(folder: Path) -> tuple[Path, Path]:
    """A shop with a job to begin with, its backup, and a zip of three jobs."""
    with open_shop(folder / "shop", by="x") as shop:
        job = new_job(shop, {"words": "howls", "owner": "Ola Berg"})[0].job
        write(shop, job.id, "note", {"words": "here before"})
        add_take(shop, job.id, [_TAKE], {"belt": "on"})
        backup_shop(shop, folder / "kept")
        # Loads all that the processes will need.
        close_job(shop, new_job(shop, {"words": "hums"})[0].job.id, {"cured": True})
    with open_shop(folder / "other", by="y") as other:
        for number in range(3):
            entries = [("owner", {"name": f"Owner {number}"}), ("note", {"words": "hum " * 4000})]
            other.record.new_job(entries, by="y")
        export_jobs(other, folder / "jobs.zip")
    return folder / "shop", folder / "jobs.zip"


def trials(
    seed: int, count: int, folder: Path, server: str | None = None
) -> list[tuple[str, float, list[str], int]]:
    """So many kills: kind, moment [s], what is wrong, things acknowledged."""
    from alembic.script import ScriptDirectory

    from beltside.jobs.database import MIGRATIONS

    steps = [one.revision for one in ScriptDirectory(str(MIGRATIONS)).walk_revisions()][::-1]
    _, zip_file = pattern(folder / "pattern")
    chance = random.Random(seed)
    found = []
    for number in range(count):
        kind = list(KINDS)[number % len(KINDS)]
        here = folder / f"trial-{number}"
        here.mkdir()
        shutil.copytree(folder / "pattern" / "shop", here / "shop")
        shutil.copytree(folder / "pattern" / "kept", here / "kept")
        url = None
        if server is not None and kind in ON_SERVER and number % 4 == 0:
            url = _database(server, f"kill{number}", folder / "pattern" / "kept", here)
        place = Place(here, url, zip_file, tuple(steps))
        after_s = LONGEST_S * chance.random() ** 1.5
        wrong, acknowledged = trial(place, kind, after_s)
        found.append((f"{kind}{' on a server' if url else ''}", after_s, wrong, acknowledged))
        shutil.rmtree(here)
    return found


def _database(server: str, name: str, backup: Path, here: Path) -> str:
    with psycopg.connect(server.format(database="postgres"), autocommit=True) as connection:
        connection.execute(f'CREATE DATABASE "{name}"')
    url = server.format(database=name)
    shutil.rmtree(here / "shop")
    restore_backup(backup, here / "shop", database=url)
    open_database(url).close()
    return url


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--server", action="store_true")
    asked = parser.parse_args()
    start = time.monotonic()
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory()))
        server = stack.enter_context(postgres_server()) if asked.server else None
        found = trials(asked.seed, asked.count, folder, server)
    kills, acknowledged, lost = Counter[str](), Counter[str](), Counter[str]()
    for kind, after_s, wrong, things in found:
        kills[kind] += 1
        acknowledged[kind] += things
        lost[kind] += bool(wrong)
        for one in wrong:
            print(f"{kind} at {after_s:.3f} s: {one}")
    print(f"{'':24} {'kills':>6} {'acknowledged':>13} {'with a loss':>12}")
    for kind in kills:
        print(f"{kind:24} {kills[kind]:6} {acknowledged[kind]:13} {lost[kind]:12}")
    print(
        f"{sum(lost.values())} of {asked.count} kills lost or half did something; seed "
        f"{asked.seed}, {time.monotonic() - start:.0f} s"
    )


if __name__ == "__main__":
    main()
