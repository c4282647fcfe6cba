"""Puts damaged rows together again from what else the record holds; the row's checksum proves it.

The newest text of an entry stands in two tables, and a job's card is worked out from its entries.
Rows are those the database holds (`sealed_rows.py`).
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from typing import Any, Final

from beltside.jobs.card import CLOSED, card_from
from beltside.jobs.columns import PlainJson
from beltside.jobs.schema import ENTRY, ENTRY_VERSION, JOB
from beltside.jobs.sealed_rows import Kept, is_whole
from beltside.jobs.transfer import HOWS

_WRITTEN: Final = ("version", "at", "by", "removed", "body", "clash")
"""What an entry and its newest version have in common."""

_BEGINNINGS: Final = (
    (b"\xff\xd8\xff", "image/jpeg"),
    (b"\x89PNG", "image/png"),
    (b"%PDF", "application/pdf"),
    (b"RIFF", "audio/wav"),
    (b"OggS", "audio/ogg"),
    (b"\x1aE\xdf\xa3", "audio/webm"),
    (b"fLaC", "audio/flac"),
    (b"ID3", "audio/mpeg"),
)


def kind_of_file(head: bytes) -> str:
    """The media type of a file whose row is lost, by its first bytes."""
    if head[4:8] == b"ftyp":
        return "audio/mp4"
    kinds = (kind for start, kind in _BEGINNINGS if head.startswith(start))
    return next(kinds, "application/octet-stream")


def mended_entry(damaged: Kept, versions: Iterable[Kept]) -> Kept | None:
    """An entry whose own row is damaged, from its newest version; None when that does not do."""
    newest = max(versions, key=lambda one: int(one["version"]), default=None)
    if newest is None:
        return None
    return _first(ENTRY.name, [damaged | {name: newest[name] for name in _WRITTEN}])


def mended_version(damaged: Kept, entry: Kept | None) -> Kept | None:
    """A damaged version, from its entry when it is the newest; None when that does not do."""
    if entry is None:
        return None
    again = damaged | {name: entry[name] for name in _WRITTEN}
    return _first(ENTRY_VERSION.name, [again, *(again | {"how": how} for how in HOWS)])


def mended_job(damaged: Kept, entries: Iterable[Kept]) -> Kept | None:
    """A job whose card is damaged, from its entries; None when that does not do."""
    return _first(JOB.name, list(_cards(damaged, list(entries))))


def _cards(damaged: Kept, entries: list[Kept]) -> Iterator[Kept]:
    ordered = sorted(entries, key=lambda one: int(one["place"]))
    card = card_from(
        (one["kind"], json.loads(one["body"])) for one in ordered if not one["removed"]
    )
    plain = PlainJson().process_bind_param(card.to_plain(), _NO_DIALECT)
    again = damaged | {"card": plain, "stage": card.stage}
    yield again
    closed = [one["at"] for one in ordered] if card.stage == CLOSED else [None]
    yield from (again | {"closed_at": at} for at in closed)
    yield from (again | {"changed_at": one["at"]} for one in ordered)


def _first(table: str, candidates: Iterable[Kept]) -> Kept | None:
    return next((one for one in candidates if is_whole(table, one)), None)


_NO_DIALECT: Final[Any] = None
