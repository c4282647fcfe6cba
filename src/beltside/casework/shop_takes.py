"""Takes on a job: kept with their conditions, listed, taken off the sheet."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from itertools import chain
from typing import Any, Final

from beltside.base.errors import InputError, RecordingError
from beltside.casework.shop import FieldProblemsError, Shop, keep, sheet_of, write
from beltside.jobs.entries import Entry
from beltside.media.file_kind import describe

MOST_TAKE_BYTES: Final = 1_000_000_000
_HEAD_BYTES: Final = 4096


class NoRecordingError(RecordingError):
    """By its first bytes it is plainly no recording."""


@dataclass(frozen=True)
class TakeAdded:
    """A take that was kept.

    Attributes
    ----------
    entry
        As written.
    same_as
        The name of a take of this job with the same recording; "" when it is a new one.
    problems
        Fields that were off and left out, with what is wrong of each; the rest is kept.
    """

    entry: Entry
    same_as: str = ""
    problems: Mapping[str, str] = field(default_factory=dict)

    def to_json(self) -> dict[str, Any]:
        """Plain dict."""
        return {
            "entry": self.entry.id,
            "file": self.entry.body["file"],
            "same_as": self.same_as,
            "problems": dict(self.problems),
        }


def add_take(
    shop: Shop,
    job_id: str,
    pieces: Iterable[bytes],
    typed: Mapping[str, Any] | None = None,
    *,
    media_type: str = "application/octet-stream",
    entry_id: str | None = None,
    most_bytes: int = MOST_TAKE_BYTES,
) -> TakeAdded:
    """Keep a recording with its conditions, and have it listened to in the background.

    Parameters
    ----------
    pieces
        The file's bytes in pieces.
    typed
        `name`, `belt`, `place`, `load`, `raised`, `crank_rpm`, `stage`, `recorded_at`; a field
        that is off is left out and told in `problems`, the recording is kept.
    entry_id
        A name of the sender's own: sent twice it is kept once.

    Raises
    ------
    RecordingError
        When the file is plainly no recording; it is not kept then.
    InputError, StoreError
        When it is too long, or can't be kept.
    """
    from beltside.casework import shop_case, shop_listen

    job = sheet_of(shop, job_id)
    stored = keep(shop, recording_pieces(pieces), media_type=media_type, most_bytes=most_bytes)
    names = shop_case.take_names(job)
    same_as = next(
        (
            names[entry.id]
            for entry in job.of_kind("take")
            if entry.body["file"] == stored.sha256 and entry.id != entry_id
        ),
        "",
    )
    wanted = {**(typed or {}), "file": stored.sha256}
    problems: dict[str, str] = {}
    try:
        entry = write(shop, job.job.id, "take", wanted, entry_id=entry_id, files=[stored.sha256])
    except FieldProblemsError as error:
        problems = {name.partition(".")[0]: said for name, said in error.by_field.items()}
        wanted = {name: value for name, value in wanted.items() if name not in problems}
        entry = write(shop, job.job.id, "take", wanted, entry_id=entry_id, files=[stored.sha256])
    shop_listen.ask_to_listen(shop, sheet_of(shop, job.job.id), entry)
    return TakeAdded(entry, same_as, problems)


def recording_pieces(pieces: Iterable[bytes]) -> Iterator[bytes]:
    """The same pieces; refuses what is plainly no recording by its first bytes.

    Raises
    ------
    NoRecordingError
        With what it is.
    """
    stream = iter(pieces)
    head: list[bytes] = []
    while sum(map(len, head)) < _HEAD_BYTES and (piece := next(stream, b"")):
        head.append(piece)
    first = b"".join(head)
    what = "an empty file" if not first else describe(first[:_HEAD_BYTES])
    if what is not None:
        raise NoRecordingError(
            f"This is {what}, no recording",
            allowed="sound or video as a phone writes it",
            instead="another file",
        )
    return chain([first], stream)


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


def conditions_in_words(take: Mapping[str, Any]) -> str:
    """A take's conditions in words.

    >>> conditions_in_words({"belt": "off", "place": "coolant-pump", "load": ["lights"]})
    'belt off, at the coolant pump, with lights'
    """
    place = str(take.get("place") or "front of engine").replace("-", " ")
    said = [
        {"on": "belt on", "off": "belt off"}.get(str(take.get("belt")), "belt not known"),
        "at the front of the engine" if place == "front of engine" else f"at the {place}",
    ]
    if take.get("raised"):
        said.append("speed raised")
    if take.get("load"):
        said.append(f"with {', '.join(take['load'])}")
    if take.get("stage") == "after":
        said.append("after the repair")
    return ", ".join(said)
