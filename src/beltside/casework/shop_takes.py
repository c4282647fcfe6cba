"""Takes on a job: kept with their conditions, listed, taken off the sheet."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final

from beltside.base.errors import InputError
from beltside.casework.shop import Shop, checked, keep, write
from beltside.jobs.entries import Entry, JobSheet
from beltside.media.file_kind import describe

MOST_TAKE_BYTES: Final = 1_000_000_000
NO_FILE: Final = "0" * 64
"""Stands for a file not stored yet, while the other fields are looked at."""


@dataclass(frozen=True)
class KnownTake:
    """A take as a list shows it.

    Attributes
    ----------
    entry_id, file
        Its entry and its stored recording.
    says
        Its conditions in words: "belt off, at the coolant pump".
    result
        What came of listening, in words; empty while nobody has listened.
    stage
        "before" or "after" the repair.
    same_as
        Another take of this job with the very same recording, or empty.
    """

    entry_id: str
    file: str
    says: str
    result: str
    stage: str
    same_as: str = ""


def add_take(
    shop: Shop,
    job_id: str,
    pieces: Iterable[bytes],
    *,
    name: str,
    media_type: str,
    conditions: Mapping[str, Any],
    entry_id: str | None = None,
) -> Entry:
    """Keep a recording and its conditions on a job.

    The conditions are looked at before the file is stored. The same `entry_id` sent again keeps
    it once.

    Raises
    ------
    FieldProblemsError
        When a condition is wrong.
    InputError
        When the file is empty or plainly no recording, or too long.
    StoreError
        When it cannot be stored.
    """
    conditions = {"name": name[:300], **conditions}
    checked("take", {**conditions, "file": NO_FILE})
    stored = keep(shop, _looked_at(pieces, name), media_type=media_type, most_bytes=MOST_TAKE_BYTES)
    return write(
        shop,
        job_id,
        "take",
        {**conditions, "file": stored.sha256},
        entry_id=entry_id,
        files=[stored.sha256],
    )


def remove_take(shop: Shop, job_id: str, entry_id: str) -> Entry:
    """Take a recording off the sheet; its file stays, and it can be brought back.

    Raises
    ------
    InputError
        When the entry is no take of this job.
    """
    entry = shop.record.entry(entry_id)
    if entry.kind != "take" or entry.job_id != job_id:
        raise InputError(f"{entry_id} is no take of this job", instead="one of its takes")
    return shop.record.remove(entry_id, by=shop.by)


def takes_of(shop: Shop, sheet: JobSheet) -> list[KnownTake]:
    """The takes of a job, newest first."""
    del shop
    first: dict[str, str] = {}
    found = []
    for entry in sheet.of_kind("take"):
        same_as = first.setdefault(entry.body["file"], entry.id)
        found.append(
            KnownTake(
                entry.id,
                entry.body["file"],
                conditions_in_words(entry.body),
                "",
                entry.body["stage"],
                same_as if same_as != entry.id else "",
            )
        )
    return found[::-1]


def conditions_in_words(take: Mapping[str, Any]) -> str:
    """A take's conditions in words.

    >>> conditions_in_words({"belt": "off", "place": "coolant-pump", "load": ["lights"]})
    'belt off, at the coolant pump, with lights'
    """
    place = str(take.get("place") or "front of engine").replace("-", " ")
    said = [
        {"on": "belt on", "off": "belt off"}.get(str(take.get("belt")), "belt not known"),
        f"at the {place}",
    ]
    if take.get("raised"):
        said.append("speed raised")
    if take.get("load"):
        said.append("with " + ", ".join(take["load"]))
    if take.get("stage") == "after":
        said.append("after the repair")
    return ", ".join(said)


def _looked_at(pieces: Iterable[bytes], name: str) -> Iterator[bytes]:
    """The pieces, unless the first says that this is plainly no recording."""
    pieces = iter(pieces)
    first = next(pieces, b"")
    called = f"{name!r}" if name else "The file"
    if not first:
        raise InputError(
            f"{called} is empty", instead="a recording or a video as the phone wrote it"
        )
    kind = describe(first[:4096])
    if kind is not None:
        raise InputError(
            f"{called} is {kind}",
            allowed="a recording or a video with sound, in any format a phone writes",
        )
    return itertools.chain([first], pieces)
