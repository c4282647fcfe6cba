"""How long a backup of a large shop takes, how large it is, and what a second one copies.

`python bench/backup.py` prints a table; `--jobs` another size (default 3,000, about six years).
"""

from __future__ import annotations

import argparse
import tempfile
import time
from pathlib import Path

import numpy as np
import sqlalchemy as sa

from beltside.casework.shop import open_shop
from beltside.casework.shop_backup import backup_shop, check_backups, restore_backup
from beltside.jobs.record import Record
from beltside.jobs.schema import FILE_USE, STORED_FILE
from beltside.jobs.search_words import rebuild
from record_shop import fill

FILE_BYTES = 400_000


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--jobs", type=int, default=3000)
    parser.add_argument("--recordings", type=int, default=500)
    asked = parser.parse_args()
    rng = np.random.default_rng(21)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        with open_shop(folder / "shop") as shop:
            database = shop.record.database
            fill(database, asked.jobs, 4, 21)
            rebuild(database)
            with database.writing() as connection:
                # Made-up names of files: real ones instead.
                connection.execute(sa.delete(FILE_USE))
                connection.execute(sa.delete(STORED_FILE))
            for _ in range(asked.recordings):
                stored = shop.files.put([rng.bytes(FILE_BYTES)], most_bytes=FILE_BYTES)
                shop.record.keep_file(stored, "audio/mp4")
            size = (folder / "shop" / "shop.db").stat().st_size
            print(
                f"{asked.jobs} jobs, {size / 1e6:.0f} MB of record, "
                f"{asked.recordings} recordings of {FILE_BYTES / 1e6:.1f} MB"
            )
            for kind, words in (("plain", None), ("encrypted", lambda new: "quiet belts run true")):
                target = folder / kind
                for which in ("first", "second"):
                    start = time.perf_counter()
                    done = backup_shop(
                        shop, target, encrypt=words is not None, passphrase=words
                    ).done
                    print(
                        f"{kind:10} {which:7} {time.perf_counter() - start:6.1f} s, "
                        f"{done.new_files:5} files and {done.new_bytes / 1e6:6.1f} MB copied, "
                        f"catalogue {done.catalogue_bytes / 1e6:.1f} MB"
                    )
                    Record(database).new_job([("note", {"words": "between"})], by="Ida")
                start = time.perf_counter()
                problems = check_backups(target, passphrase=words).problems
                print(
                    f"{kind:10} checked {time.perf_counter() - start:6.1f} s, {problems or 'whole'}"
                )
                start = time.perf_counter()
                back = restore_backup(target, folder / f"{kind}-again", passphrase=words)
                print(
                    f"{kind:10} restored {time.perf_counter() - start:5.1f} s, "
                    f"{back.jobs} jobs, {back.files} files, {len(back.missing)} missing"
                )


if __name__ == "__main__":
    main()
