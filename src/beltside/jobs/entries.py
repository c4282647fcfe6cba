"""What the record gives back: entries, their versions, changes, jobs. And how two writers join."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final, Literal

from beltside.jobs.card import Card

Body = Mapping[str, Any]
How = Literal["made", "changed", "joined", "removed", "brought back"]

FILE_NAME: Final = re.compile(r'"([0-9a-f]{64})"')
"""How the name of a stored file stands in the text of a body."""


@dataclass(frozen=True)
class Clash:
    """A field that two people changed at the same time: both values, so that neither is lost."""

    field: str
    kept: Any
    other: Any
    other_by: str
    other_version: int

    def to_plain(self) -> dict[str, Any]:
        return {
            "field": self.field,
            "kept": self.kept,
            "other": self.other,
            "other_by": self.other_by,
            "other_version": self.other_version,
        }


@dataclass(frozen=True)
class Entry:
    """One thing on a job, in one of its versions.

    Attributes
    ----------
    id
        Given by who made it, or by the record.
    job_id
        None for what belongs to the shop: its settings.
    kind
        "take", "finding", ...
    version
        1 when made; goes up with every change.
    created_at, at, by
        When it was made; when and by whom this version was written.
    removed
        Whether this version takes the entry off the sheet. Its body is kept.
    body
        Plain values.
    clashes
        What two people entered at the same time, until the next change settles it.
    how
        How this version came about; of the newest version only when asked for by `history`.
    """

    id: str
    job_id: str | None
    kind: str
    version: int
    created_at: datetime
    at: datetime
    by: str
    removed: bool
    body: Body
    clashes: tuple[Clash, ...] = ()
    how: str = ""


@dataclass(frozen=True)
class Change:
    """What became of a change: the entry as it is now, and what somebody else had changed."""

    entry: Entry
    joined: tuple[str, ...] = ()
    """Fields taken over from somebody else's newer version."""

    @property
    def clashes(self) -> tuple[Clash, ...]:
        """Fields both changed; the entry holds the later writer's value."""
        return self.entry.clashes


@dataclass(frozen=True)
class Job:
    """One car, one complaint, as a list shows it.

    `change` goes up with everything written on the job: two equal numbers, the same sheet.
    """

    id: str
    number: int
    created_at: datetime
    created_by: str
    changed_at: datetime
    change: int
    closed_at: datetime | None
    card: Card


@dataclass(frozen=True)
class JobSheet:
    """A job with everything on it that is not removed, oldest first."""

    job: Job
    entries: tuple[Entry, ...]

    def of_kind(self, kind: str) -> tuple[Entry, ...]:
        """Its entries of one kind, oldest first."""
        return tuple(entry for entry in self.entries if entry.kind == kind)

    def newest(self, kind: str) -> Entry | None:
        """The entry of a kind that was made last, or None."""
        found = self.of_kind(kind)
        return found[-1] if found else None


def join(base: Body, mine: Body, theirs: Body) -> tuple[dict[str, Any], list[str], list[str]]:
    """Three versions into one: what both started from, what I want, what stands there now.

    Returns
    -------
    tuple
        The joined body; the fields taken over from theirs; the fields both changed to different
        values, where mine stands.

    >>> join({"a": 1, "b": 1}, {"a": 2, "b": 1}, {"a": 1, "b": 3})
    ({'a': 2, 'b': 3}, ['b'], [])
    >>> join({"a": 1}, {"a": 2}, {"a": 3})
    ({'a': 2}, [], ['a'])
    """
    joined: dict[str, Any] = {}
    taken: list[str] = []
    both: list[str] = []
    for name in [*mine, *(key for key in theirs if key not in mine)]:
        was, want, now = (_written(side, name) for side in (base, mine, theirs))
        side = mine
        if want != now:
            if was == want:
                side = theirs
                taken.append(name)
            elif was != now:
                both.append(name)
        if name in side:
            joined[name] = side[name]
    return joined, taken, both


def _written(body: Body, name: str) -> str | None:
    """A field as it would be written, None without it: 1, 1.0 and true are different things."""
    return json.dumps(body[name], sort_keys=True) if name in body else None
