"""A large invented shop for the benchmark of the record."""

from __future__ import annotations

import random
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import numpy.typing as npt
import sqlalchemy as sa

from beltside.jobs import sealed_rows
from beltside.jobs.card import card_from
from beltside.jobs.database import Database
from beltside.jobs.schema import COUNTER, ENTRY, ENTRY_VERSION, FILE_USE, JOB, SOUND, STORED_FILE
from beltside.jobs.sealed_rows import SEALED
from beltside.jobs.sound_copy import sound_to_keep

START = datetime(2020, 1, 7, 8, tzinfo=UTC)
SYLLABLES = (
    *("ar", "bel", "dor", "en", "fal", "gri", "hel", "ing", "jor", "kas", "lund", "mar", "nor"),
    *("os", "per", "qui", "ros", "sten", "tal", "und", "vik", "wen", "yst", "zor", "ber", "man"),
)
SAYS = (
    *("sings when cold", "chirps at idle", "growls with the lights on", "squeals in the wet"),
    *("rattles when switched off", "hums on the motorway", "knocks after starting"),
    *("hisses near the hose", "whines with speed", "ticks when hot", "louder when turning"),
)
PLACES = ("front of engine", "coolant-pump", "alternator", "idler", "tensioner", "crank")
CAUSES = (
    *("coolant-pump.bearing", "alternator.bearing", "idler.bearing", "tensioner.damper"),
    *("belt.slip", "belt.misalignment", "ac-compressor.clutch", "alternator.decoupler"),
)
VIN_LETTERS = "ABCDEFGHJKLMNPRSTUVWXYZ0123456789"

Row = dict[str, Any]
Float32 = npt.NDArray[np.float32]


def word(chance: random.Random, syllables: int) -> str:
    return "".join(chance.choice(SYLLABLES) for _ in range(syllables))


def owner_of(chance: random.Random) -> str:
    return f"{word(chance, 2).title()} {word(chance, 3).title()}"


def plate_of(chance: random.Random) -> str:
    letters = "".join(chance.choice("ABDEFGHKLMNPRSTVXZ") for _ in range(3))
    return f"{letters} {chance.randrange(100, 1000)}"


def vin_of(chance: random.Random) -> str:
    return "XZB" + "".join(chance.choice(VIN_LETTERS) for _ in range(14))


def entries_of(chance: random.Random, takes: int) -> Iterator[tuple[str, Row]]:
    """What is on one job: its papers, takes, findings and the end of it."""
    cause = chance.choice(CAUSES)
    part = cause.partition(".")[0]
    yield "owner", {"name": owner_of(chance), "phone": f"0{chance.randrange(10**8, 10**9)}"}
    yield "car", {"plate": plate_of(chance), "vin": vin_of(chance), "name": word(chance, 2)}
    yield "complaint", {"words": f"{chance.choice(SAYS)}, {chance.choice(SAYS)}", "when": []}
    for number in range(takes):
        yield (
            "take",
            {
                "file": f"{chance.getrandbits(256):064x}",
                "name": f"memo {number}.m4a",
                "belt": "on",
                "place": chance.choice(PLACES),
                "load": [],
                "raised": False,
                "crank_rpm": None,
                "stage": "before",
                "hand_over": False,
                "recorded_at": "2026-01-01T10:00:00Z",
            },
        )
    for check in ("spin-by-hand", "wiggle"):
        yield "finding", {"check": check, "part": part, "outcome": "rough", "minutes": 5}
    part_number = f"{chance.randrange(10, 100)}-{chance.randrange(1000, 10000)}"
    yield "part-used", {"name": part, "number": part_number, "quantity": 1, "price": "84.50"}
    yield "note", {"words": f"{word(chance, 3)} {chance.choice(SAYS)} {word(chance, 3)}"}
    yield "outcome", {"cause": cause, "cured": True, "closed": True, "replaced": [cause]}


def fill(database: Database, jobs: int, takes: int, seed: int) -> list[tuple[str, str, str]]:
    """Write the shop in bulk; gives back (entry, job, cause) of every take.

    The search tables and sounds are not filled.
    """
    chance = random.Random(seed)
    made: list[tuple[str, str, str]] = []
    for first in range(0, jobs, 500):
        rows: dict[sa.Table, list[Row]] = {
            table: [] for table in (JOB, STORED_FILE, ENTRY, ENTRY_VERSION, FILE_USE)
        }
        for number in range(first, min(first + 500, jobs)):
            made += _add_job(rows, chance, number, takes)
        with database.writing() as connection:
            for table, values in rows.items():
                if table in SEALED:
                    sealed_rows.insert_all(connection, table, values)
                else:
                    connection.execute(table.insert(), values)
    with database.writing() as connection:
        connection.execute(COUNTER.insert().values(name="job", value=jobs))
    return made


def _add_job(
    rows: dict[sa.Table, list[Row]], chance: random.Random, number: int, takes: int
) -> list[tuple[str, str, str]]:
    job_id = f"{number:012x}{chance.getrandbits(48):012x}"
    at = START + timedelta(minutes=10 * number)
    entries = list(entries_of(chance, takes))
    card = card_from(entries)
    rows[JOB].append(
        {
            "id": job_id,
            "number": number + 1,
            "created_at": at,
            "created_by": "Ida",
            "changed_at": at,
            "change": len(entries),
            "stage": card.stage,
            "closed_at": at,
            "card": card.to_plain(),
        }
    )
    made = []
    for place, (kind, body) in enumerate(entries):
        entry_id = f"{number:012x}{place:04x}{chance.getrandbits(32):08x}"
        version = {"version": 1, "at": at, "by": "Ida", "removed": False, "body": body}
        own = {"id": entry_id, "job_id": job_id, "kind": kind, "created_at": at, "place": place}
        rows[ENTRY].append({**own, **version})
        rows[ENTRY_VERSION].append({"entry_id": entry_id, "how": "made", **version})
        if kind == "take":
            stored = {"bytes": 400_000, "media_type": "audio/mp4", "added_at": at}
            rows[STORED_FILE].append({"sha256": body["file"], **stored})
            rows[FILE_USE].append({"sha256": body["file"], "entry_id": entry_id})
            made.append((entry_id, job_id, card.cause))
    return made


def mistyped(chance: random.Random, text: str) -> str:
    """One slip of the finger: two letters exchanged, or one wrong, missing or too many."""
    at = chance.randrange(1, len(text) - 1)
    letter = chance.choice("aeinrst1")
    return chance.choice(
        [
            text[:at] + text[at + 1] + text[at] + text[at + 2 :],
            text[:at] + letter + text[at + 1 :],
            text[:at] + text[at + 1 :],
            text[:at] + letter + text[at:],
        ]
    )


class Engines:
    """Sounds as unit vectors in clusters: takes of the same engine with the same fault."""

    def __init__(self, size: int, clusters: int, seed: int) -> None:
        self._rng = np.random.default_rng(seed)
        self._centres = self._drawn((clusters, size))
        self._size = size

    def _drawn(self, shape: tuple[int, int]) -> Float32:
        # Profiles have few high peaks: the third power of a normal number has too.
        return self._rng.standard_normal(shape, np.float32) ** 3

    def takes(self, count: int) -> Float32:
        """So many sounds, shape (count, size)."""
        made = self._centres[self._rng.integers(0, len(self._centres), count)]
        made = made + 0.6 * self._drawn(made.shape)
        made /= np.linalg.norm(made, axis=1, keepdims=True)
        return made


def add_sounds(
    database: Database, takes: list[tuple[str, str, str]], engines: Engines, asked: Float32
) -> npt.NDArray[np.intp]:
    """Write a sound for every take; gives back the places of the five nearest to each asked one,
    by a comparison with every one, shape (asked, 5)."""
    apart = np.empty((len(asked), len(takes)), np.float32)
    for first in range(0, len(takes), 2000):
        some = takes[first : first + 2000]
        made = engines.takes(len(some))
        apart[:, first : first + len(some)] = 1.0 - asked @ made.T
        rows = [
            {
                "entry_id": entry_id,
                "version": 1,
                "job_id": job_id,
                "cause": cause,
                "hidden": False,
                "change": 1,
                "vector": sound_to_keep(vector[None, :]),
            }
            for (entry_id, job_id, cause), vector in zip(some, made, strict=True)
        ]
        with database.writing() as connection:
            sealed_rows.insert_all(connection, SOUND, rows)
    with database.writing() as connection:
        connection.execute(COUNTER.insert().values(name="sound", value=1))
    return np.argsort(apart, axis=1, kind="stable")[:, :5]
