"""One byte of the record or of a stored file flipped: is it told, and is the rest rescued?

`python bench/byte_flips.py` flips one byte of the SQLite file (every page that is in use, a
quarter of them on its first page or in its list of tables) or of a stored file, runs `check`, opens
the shop and works in it, and compares all rows with those before. A flip that changes no row, in
room that is not used, is no damage. What is changed and not told is counted as missed. An error
that is not one of Beltside's own sentences is counted as raw. Of each damaged record what is whole
is rescued.
"""

from __future__ import annotations

import argparse
import random
import re
import shutil
import tempfile
from collections import Counter
from pathlib import Path

from beltside.base.errors import BeltsideError
from beltside.casework.shop import DATABASE_FILE, FILES_FOLDER, open_shop, rewrite, write
from beltside.casework.shop_care import rescue_into
from beltside.casework.shop_takes import add_take
from beltside.jobs.check import verify
from beltside.jobs.database import connect
from beltside.jobs.search import Search
from beltside.jobs.store import FolderStore
from beltside.jobs.table_rows import row_lines
from hostile_files import valid


def make(folder: Path) -> int:
    """A shop of 30 jobs with history and a few files; how many entries."""
    sound = valid("wav")
    with open_shop(folder, by="x") as shop:
        for number in range(30):
            owner = ("owner", {"name": f"Owner {number}", "phone": f"0{number:09}"})
            job = shop.record.new_job([owner], by="x").job.id
            note = write(shop, job, "note", {"words": f"hums {number} " * 20})
            rewrite(shop, note.id, {"words": f"howls {number} " * 20})
            if number % 6 == 0:
                add_take(shop, job, [sound[:-1] + bytes([number])], {"belt": "on"})
        with shop.record.database.engine.connect() as connection:
            connection.exec_driver_sql("COMMIT")
            connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
            connection.exec_driver_sql("BEGIN")
    return 30 * 2 + 5


def places_of_words(path: Path) -> list[int]:
    """Bytes of the first page and of the texts by which the database defines its tables."""
    data = path.read_bytes()
    texts = [one.start() for one in re.finditer(rb"CREATE (TABLE|(UNIQUE )?INDEX) [a-z]", data)]
    return [*range(4096), *(at + step for at in texts for step in range(-30, 200))]


def use(folder: Path) -> str:
    """Open the shop and work in it: "" or what was said; an error not of ours is raised."""
    try:
        with open_shop(folder, by="x") as shop:
            for job in shop.record.jobs(limit=100):
                shop.record.sheet(job.id)
            Search(shop.record.database).find("hums 7")
            write(shop, shop.record.jobs(limit=1)[0].id, "note", {"words": "now"})
    except BeltsideError as error:
        return str(error)
    return ""


def rows(folder: Path) -> list[str] | None:
    """All rows, or None when they can't be read."""
    try:
        with connect(folder / DATABASE_FILE) as database, database.reading() as connection:
            return sorted(repr(one) for one in row_lines(connection))
    except Exception:  # noqa: BLE001 - whatever a damaged file makes of it
        return None


def main() -> None:
    """Print what became of the flips."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    chance = random.Random(asked.seed)
    became: Counter[str] = Counter()
    missed: Counter[str] = Counter()
    said: Counter[str] = Counter()
    shares = []
    with tempfile.TemporaryDirectory() as name:
        pattern = Path(name) / "shop"
        entries = make(pattern)
        places = places_of_words(pattern / DATABASE_FILE)
        before = rows(pattern)
        assert before is not None
        for number in range(asked.count):
            here = Path(name) / f"flip-{number}"
            shutil.copytree(pattern, here)
            in_file = number % 5 == 0
            path = here / DATABASE_FILE
            if in_file:
                path = chance.choice(
                    sorted(p for p in (here / FILES_FOLDER).rglob("*") if p.is_file())
                )
            data = bytearray(path.read_bytes())
            words = not in_file and number % 4 == 0
            at = chance.choice(places) if words else chance.randrange(len(data))
            data[at] ^= chance.randrange(1, 256)
            path.write_bytes(data)
            try:
                with connect(here / DATABASE_FILE) as database:
                    whole = verify(database, FolderStore(here / FILES_FOLDER)).problems == ()
            except BeltsideError:
                whole = False
            after = rows(here)
            changed = in_file or after != before
            kind = "file" if in_file else "words of the record" if words else "record"
            became[f"{kind}, {'told' if not whole else 'MISSED' if changed else 'no damage'}"] += 1
            if whole and changed and after is not None:
                for one in set(after) - set(before):
                    missed[one.split(",")[0].strip("('")] += 1
            if not whole and not in_file:
                try:
                    shares.append(rescue_into(here / "new", here).rescued.entries / entries)
                except BeltsideError as error:
                    print(f"byte {at}: not rescued: {error}")
                    shares.append(0.0)
            try:
                said["said" if use(here) else "worked"] += not in_file
            except Exception as error:  # noqa: BLE001 - what this looks for
                said["RAW"] += 1
                print(f"byte {at}: {type(error).__name__}: {error}")
            shutil.rmtree(here)
    for what, count in sorted(became.items()):
        print(f"{count:6} {what}")
    print(f"missed by table: {dict(missed)}; shops opened and worked in: {dict(said)}")
    if shares:
        print(
            f"rescued entries of {len(shares)} damaged records: "
            f"mean {sum(shares) / len(shares):.1%}, least {min(shares):.1%}"
        )


if __name__ == "__main__":
    main()
