"""Kill -9 at random moments: what was acknowledged is there, what was not is whole or absent.

`python bench/kill_points.py` forks a process for each of 200 moments, lets it work, kills it at a
random time (POSIX SIGKILL), opens the shop anew and looks: every acknowledged thing, `check`, and
that the work can be done again. `--seed`, `--count`; `--server` does a fifth on PostgreSQL.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import random
import re
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import httpx2
import psycopg

from beltside.base.errors import BeltsideError
from beltside.casework.shop import FORGETTING_FILE, Shop, keep, open_shop, sheet_of, write
from beltside.casework.shop_backup import backup_shop, check_backups, list_backups, restore_backup
from beltside.casework.shop_care import rescue_into
from beltside.casework.shop_forget import forget_owner, is_forgotten
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
SECRET: Final = "Quennel"
"""What owners are called who are to be forgotten."""
_TAKE: Final = valid("wav")
_PHOTO: Final = valid("jpeg")


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


def serving(place: Place, say: Say) -> None:
    """Takes sent to the real server by its form; its worker listens to them meanwhile."""
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        port = one.getsockname()[1]
    words = ["serve", "--folder", str(place.folder / "shop"), "--port", str(port)]
    server = subprocess.Popen(
        [sys.executable, "-m", "beltside", *words],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    with httpx2.Client(base_url=f"http://127.0.0.1:{port}", timeout=60.0) as client:
        while True:
            try:
                page = client.get("/job/1/take").text
                break
            except httpx2.HTTPError:
                assert server.poll() is None, "the server ended"
                time.sleep(0.1)
        token = re.findall(r'name="_token" value="([^"]+)"', page)[0]
        say("ready")
        for number in range(10_000):
            data = _TAKE[:-4] + number.to_bytes(4, "little")
            fields = {"_token": token, "belt": "on", "entry_id": f"s{number}"}
            files = {"file": ("take.wav", data, "audio/wav")}
            done = client.post("/job/1/take", data=fields, files=files, follow_redirects=False)
            assert done.status_code == 303, done.text
            say(f"entry s{number} {hashlib.sha256(data).hexdigest()}")


def forgetting(place: Place, say: Say) -> None:
    """Owners who come and ask to be forgotten, with a photo each."""
    shop = place.shop()
    say("ready")
    for number in range(10_000):
        owner = {"name": f"{SECRET}{number:05}", "phone": f"0709{number:06}"}
        job = shop.record.new_job([("owner", owner)], by="x").job
        write(shop, job.id, "note", {"words": f"{owner['name']} hears it howl"})
        kept = keep(shop, [_PHOTO + owner["name"].encode()], media_type="image/jpeg").sha256
        write(shop, job.id, "photo", {"file": kept}, files=[kept])
        say(f"job {job.id}")
        done = forget_owner(shop, job.id, really=True)
        if done.unclear:
            raise BeltsideError(done.unclear[0])
        say(f"forgotten {job.id} {owner['name']}")


def rescuing(place: Place, say: Say) -> None:
    """What is whole copied into ever new folders."""
    say("ready")
    for number in range(10_000):
        rescue_into(place.folder / f"saved-{number}", place.folder / "shop")
        say(f"rescued saved-{number}")


KINDS: Final[dict[str, Callable[[Place, Say], None]]] = {
    "upload": upload,
    "closing": closing,
    "import": importing,
    "backup": backing_up,
    "restore": restoring,
    "migration": migrating,
    "analysis": analysing,
    "serving": serving,
    "forgetting": forgetting,
    "rescue": rescuing,
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
                case ["forgotten", name, secret]:
                    if not is_forgotten(shop, name):
                        wrong.append(f"the owner of {name} is not forgotten")
                    database = place.folder / "shop" / "shop.db"
                    if place.database is None and secret.encode() in database.read_bytes():
                        wrong.append(f"{secret} stands in the database's file")
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
    elif kind == "forgetting":
        wrong += _half_forgotten(place, shop)
    elif kind == "rescue":
        wrong += _put_back(place, shop, "saved-*", [one[1] for one in said])
    elif kind in ("analysis", "serving"):
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
        wrong += _put_back(place, shop, "again-*", [one[1] for one in said])
    return wrong


def _put_back(place: Place, shop: Shop, names: str, said: list[str]) -> list[str]:
    """Folders that were put in place: each whole, none of those that were told of gone."""
    wrong = []
    there = set()
    for path in place.folder.glob(names):
        there.add(path.name)
        with open_shop(path) as back:
            if sheet_of(back, "1").entries != sheet_of(shop, "1").entries:
                wrong.append(f"{path.name} is half put back")
            if not verify(back.record.database, back.files).whole:
                wrong.append(f"{path.name} is not whole")
    return wrong + [f"{one} is gone" for one in said if one not in there]


def _half_forgotten(place: Place, shop: Shop) -> list[str]:
    """An owner is there with all that names him, or nothing names him any more."""
    wrong = []
    if (place.folder / "shop" / FORGETTING_FILE).exists():
        wrong.append("a forgetting was not finished")
    known = set()
    for job in shop.record.jobs(limit=100_000):
        entries = sheet_of(shop, job.id).entries
        named = [one.kind for one in entries if SECRET in json.dumps(one.body)]
        if len(named) != sum(one.kind in ("owner", "note") for one in entries) and named:
            wrong.append(f"of job {job.number} only a part was forgotten")
        known |= {one.body["name"] for one in entries if one.kind == "owner" and named}
    if not known:
        for path in (place.folder / "shop").rglob("*"):
            # What an earlier kill kept from arriving is swept by its age.
            arrived = path.is_file() and path.parent.name != "arriving"
            if arrived and SECRET.encode() in path.read_bytes():
                wrong.append(f"{path.name} still names an owner who was forgotten")
    return wrong


# One trial ----------------------------------------------------------------------------------------


def trial(place: Place, kind: str, after_s: float) -> tuple[list[str], int]:
    """Work, kill, look: what is wrong, and how many things were acknowledged."""
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            os.close(reading)
            os.setsid()

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
        # With all its own processes, as when the power goes.
        os.killpg(child, signal.SIGKILL)
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
