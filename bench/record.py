"""The record of a large shop: how long a look at it takes and how large it is, SQLite beside
PostgreSQL.

10,000 jobs with ten takes each, invented; both servers wait for the disk. Questions are owners,
plates, VINs and the words of complaints, half of them with a slip of the finger. The sounds found
are held against a comparison with every one.

usage: python bench/record.py [--jobs 10000] [--takes 10] [--seed 9001]
"""

from __future__ import annotations

import argparse
import random
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from beltside.jobs.database import Database, open_database
from beltside.jobs.record import Record
from beltside.jobs.search import Search
from beltside.jobs.search_words import rebuild
from beltside.jobs.sounds import Sounds
from beltside.sound.fingerprint import ZONES_HZ, rhythm_orders, ringing_hz, tone_orders
from figures import Figure, table
from postgres_server import postgres_server
from record_shop import Engines, Float32, add_sounds, fill, mistyped

ASKED = 200
SOUNDS_ASKED = 60


@dataclass(frozen=True)
class Measured:
    """Times [s] of one database, and sizes [bytes]."""

    opened: list[float]
    searched: list[float]
    right_first: float
    right_five: float
    nearest: list[float]
    same_sounds: float
    first_look: float
    written: list[float]
    size: int
    size_of_sounds: int


def measure(jobs: int = 10_000, takes: int = 10, seed: int = 9001) -> list[Figure]:
    """All figures, SQLite first."""
    with tempfile.TemporaryDirectory() as folder:
        sqlite = _measure_one(Path(folder) / "shop.db", jobs, takes, seed)
    with postgres_server(safe=True) as url:
        postgresql = _measure_one(url.format(database="postgres"), jobs, takes, seed)
    figures = []
    for name, one in (("SQLite", sqlite), ("PostgreSQL", postgresql)):
        figures += [
            _high("open a job", name, one.opened, 0.020),
            _high("search", name, one.searched, 0.050),
            Figure(f"{name}: the job meant comes first", one.right_first, "%"),
            Figure(f"{name}: it is among the first five", one.right_five, "%"),
            _high("nearest sounds", name, one.nearest, 0.050),
            Figure(
                f"{name}: nearest five as by all pairs",
                one.same_sounds,
                "%",
                note="128 of all are compared whole",
            ),
            Figure(f"{name}: first look at sounds in a process", one.first_look, "s"),
            Figure(f"{name}: write an entry, median", float(np.median(one.written)), "s"),
            Figure(f"{name}: size without sounds", one.size / 1e6, "MB"),
            Figure(f"{name}: growth per job", one.size / 1e3 / jobs, "kB", note=f"{takes} takes"),
            Figure(f"{name}: sounds per take", one.size_of_sounds / 1e3 / jobs / takes, "kB"),
        ]
    for what, of in (("open a job", "opened"), ("search", "searched"), ("sounds", "nearest")):
        ratio = float(np.median(getattr(postgresql, of)) / np.median(getattr(sqlite, of)))
        figures.append(Figure(f"{what}: PostgreSQL / SQLite, medians", ratio, "times"))
    return figures


def _high(what: str, name: str, times: list[float], target: float) -> Figure:
    middle = f"median {1e3 * float(np.median(times)):.1f} ms of {len(times)}"
    high = float(np.percentile(times, 95))
    return Figure(f"{name}: {what}, 95th percentile", high, "s", target, note=middle)


def _measure_one(where: Path | str, jobs: int, takes: int, seed: int) -> Measured:
    chance = random.Random(seed)
    with open_database(where) as database:
        made = fill(database, jobs, takes, seed)
        rebuild(database)
        _tidy(database)
        size = _size(database)
        size_of_vector = len(ZONES_HZ) * rhythm_orders().size + tone_orders().size
        size_of_vector += ringing_hz().size
        engines = Engines(size_of_vector, max(jobs // 50, 2), seed)
        asked = engines.takes(SOUNDS_ASKED)
        best = add_sounds(database, made, engines, asked)
        _tidy(database)
        record, search = Record(database), Search(database)
        numbers = [chance.randrange(1, jobs + 1) for _ in range(ASKED)]
        names = [record.job(number).id for number in numbers]
        opened = [_timed(record.sheet, name) for name in names]
        searched, firsts = _questions(record, search, numbers, chance)
        nearest, first_look, same = _sounds(
            database, asked, [[made[i][0] for i in b] for b in best]
        )
        written = [_timed(_note, record, name) for name in names[:50]]
        return Measured(
            opened,
            searched,
            firsts.count(0) / len(firsts),
            sum(place < 5 for place in firsts) / len(firsts),
            nearest,
            same,
            first_look,
            written,
            size,
            _size(database) - size,
        )


def _questions(
    record: Record, search: Search, numbers: list[int], chance: random.Random
) -> tuple[list[float], list[int]]:
    """Times of all questions, and at which place the job meant came (99: not found)."""
    times, places = [], []
    search.find("warm up")
    for at, number in enumerate(numbers):
        card = record.job(number).card
        owner, plate, vin = card.owner, card.plate.replace(" ", ""), card.vin
        unique = [
            *(owner, plate, vin, card.plate, vin[-6:]),
            *(mistyped(chance, owner), mistyped(chance, vin), f"{card.cause} {owner.split()[1]}"),
        ]
        common = [card.complaint, card.cause, "front of engine bearing", owner[:3]]
        asked = chance.choice(common) if at % 3 == 0 else chance.choice(unique)
        times.append(_timed(search.find, asked))
        if asked in unique:
            found = [one.number for one in search.find(asked)]
            places.append(found.index(number) if number in found else 99)
    return times, places


def _sounds(
    database: Database, asked: Float32, best: list[list[str]]
) -> tuple[list[float], float, float]:
    sounds = Sounds(database)
    first_look = _timed(sounds.nearest, asked[0], 1)
    times = [_timed(sounds.nearest, one, 1) for one in asked]
    same = 0
    for one, names in zip(asked, best, strict=True):
        same += len({near.entry_id for near in sounds.nearest(one, 1)} & set(names))
    return times, first_look, same / (5 * len(asked))


def _note(record: Record, job_id: str) -> None:
    record.add(job_id, "note", {"words": "hums when cold, quieter with the belt off"}, by="Ida")


def _timed(do: Callable[..., object], *given: object) -> float:
    started = time.perf_counter()
    do(*given)
    return time.perf_counter() - started


def _tidy(database: Database) -> None:
    """What a server does by itself in quiet hours."""
    with database.engine.connect() as connection:
        if database.is_sqlite:
            connection.exec_driver_sql("COMMIT")
            connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
            connection.exec_driver_sql("BEGIN")
        else:
            connection.execution_options(isolation_level="AUTOCOMMIT")
            connection.exec_driver_sql("VACUUM ANALYZE")


def _size(database: Database) -> int:
    with database.reading() as connection:
        if database.is_sqlite:
            pages = connection.exec_driver_sql("PRAGMA page_count").scalar_one()
            return int(pages * connection.exec_driver_sql("PRAGMA page_size").scalar_one())
        query = "SELECT pg_database_size(current_database())"
        return int(connection.exec_driver_sql(query).scalar_one())


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--jobs", type=int, default=10_000)
    parser.add_argument("--takes", type=int, default=10)
    parser.add_argument("--seed", type=int, default=9001)
    given = parser.parse_args()
    print(table(measure(given.jobs, given.takes, given.seed)))


if __name__ == "__main__":
    main()
