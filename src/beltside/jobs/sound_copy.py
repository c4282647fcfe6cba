"""A shortened copy of many sounds in the memory of one program, to find the likeliest fast."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import sqlalchemy as sa

from beltside.base.errors import InputError
from beltside.jobs.schema import SOUND

Float32 = npt.NDArray[np.float32]
Among = Callable[[str], bool]
"""Whether the takes of a job, by its name, are to be compared with."""

DIRECTIONS: Final = 192
"""Length of the shortened vectors; own choice, see docs/record.md for what it costs."""

COMPARED: Final = 128
"""How many of the likeliest are compared whole."""

SAMPLE: Final = 2000
AT_ONCE: Final = 1000
KEPT_AS: Final = np.dtype("<f2")
"""Half precision: of a vector of length 1 it changes inner products by less than 0.001."""

MOST_ROWS: Final = 3
"""Rows of one sound at the most: what it is at each speed that the engine may have had."""


class Copy:
    """Shortened rows of all sounds of one version, with what is known of each sound."""

    def __init__(
        self, directions: Float32 | None = None, fitted_on: int = 0, gone: int = 0
    ) -> None:
        self.directions = np.zeros((0, 0), np.float32) if directions is None else directions
        self.fitted_on = fitted_on
        self.size = self.directions.shape[0]
        self.seen = 0
        self.gone = gone
        self.count = 0
        self.names: list[str] = []
        self._places: dict[str, int] = {}
        self._rows = 0
        self._short = np.zeros((0, self.directions.shape[1]), np.float32)
        # Whose row it is, and the rows of each sound.
        self._owner = np.zeros(0, np.intp)
        self._rows_of: list[list[int]] = []
        self._usable = np.zeros(0, bool)
        self._caused = np.zeros(0, bool)
        self._jobs: dict[str, list[int]] = {}

    def enter(self, rows: Any) -> None:
        sounds = [read_sound(row.vector, self.size) for row in rows]
        places = [self._place(row.entry_id, row.job_id) for row in rows]
        taken = [
            self._room_for(place, len(sound)) for place, sound in zip(places, sounds, strict=True)
        ]
        self._grow()
        for place in places:
            # A sound made anew may have fewer rows than before.
            self._short[self._rows_of[place]] = 0.0
            self._owner[self._rows_of[place]] = place
        self._short[np.concatenate(taken)] = np.concatenate(sounds) @ self.directions
        self._usable[places] = [not row.hidden for row in rows]
        self._caused[places] = [row.cause is not None for row in rows]

    def allowed(
        self, with_cause: bool, except_job: str | None, among: Among | None
    ) -> npt.NDArray[np.bool_]:
        """Which sounds may be compared with, shape (count,)."""
        known = self._usable[: self.count].copy()
        if with_cause:
            known &= self._caused[: self.count]
        for name, places in self._jobs.items():
            if name == except_job or (among is not None and not among(name)):
                known[places] = False
        return known

    def jobs_of(self, allowed: npt.NDArray[np.bool_]) -> dict[str, list[int]]:
        """Jobs with their places that are allowed; none without any."""
        found = {}
        for name, places in self._jobs.items():
            some = [place for place in places if allowed[place]]
            if some:
                found[name] = some
        return found

    def likeliest(
        self, asked: Float32, allowed: npt.NDArray[np.bool_], compared: int = COMPARED
    ) -> list[str]:
        """For an asked sound, shape (k, size), entries of those to be compared whole."""
        if not self._rows:
            return []
        each = ((asked @ self.directions) @ self._short[: self._rows].T).max(axis=0)
        each[~allowed[self._owner[: self._rows]]] = -np.inf
        most = min(compared, self._rows)
        best = np.argpartition(each, self._rows - most)[self._rows - most :]
        owners = dict.fromkeys(self._owner[best[np.isfinite(each[best])]].tolist())
        return [self.names[place] for place in owners]

    def _place(self, entry_id: str, job_id: str) -> int:
        place = self._places.get(entry_id)
        if place is None:
            place = self._places[entry_id] = self.count
            self.names.append(entry_id)
            self._rows_of.append([])
            self._jobs.setdefault(job_id, []).append(place)
            self.count += 1
        return place

    def _room_for(self, place: int, count: int) -> list[int]:
        """Rows for a sound: those it had, and new ones where they are too few."""
        mine = self._rows_of[place]
        for _ in range(count - len(mine)):
            mine.append(self._rows)
            self._rows += 1
        return mine[:count]

    def _grow(self) -> None:
        if self._rows > len(self._short):
            more = max(self._rows, len(self._short) * 5 // 4) - len(self._short)
            self._short = np.pad(self._short, ((0, more), (0, 0)))
            self._owner = np.pad(self._owner, (0, more))
        if self.count > len(self._usable):
            more = max(self.count, len(self._usable) * 5 // 4) - len(self._usable)
            self._usable = np.pad(self._usable, (0, more))
            self._caused = np.pad(self._caused, (0, more))


def fitted(connection: sa.Connection, version: int, gone: int) -> Copy:
    """An empty copy with the directions found on a sample spread over all sounds of a version."""
    names = list(
        connection.execute(
            sa.select(SOUND.c.entry_id).where(SOUND.c.version == version).order_by(SOUND.c.entry_id)
        ).scalars()
    )
    sample = names[:: max(len(names) // SAMPLE, 1)]
    vectors: list[Float32] = []
    for start in range(0, len(sample), AT_ONCE):
        rows = connection.execute(
            sa.select(SOUND.c.vector).where(
                SOUND.c.version == version,
                SOUND.c.entry_id.in_(sample[start : start + AT_ONCE]),
            )
        )
        vectors += [read_sound(row.vector) for row in rows]
    return Copy(_main_directions(np.concatenate(vectors)), len(names), gone)


def _main_directions(vectors: Float32) -> Float32:
    """The directions along which vectors (n, size) reach farthest, orthonormal, (size, k).

    Randomised range finder with two power iterations (Halko, Martinsson and Tropp, 2011,
    algorithm 4.4); always the same for the same vectors.
    """
    count, size = vectors.shape
    wanted = min(DIRECTIONS, count, size)
    wide = min(wanted + 16, size)
    chance = np.random.default_rng(0).standard_normal((count, wide)).astype(np.float32)
    span, _ = np.linalg.qr(vectors.T @ chance)
    for _ in range(2):
        span, _ = np.linalg.qr(vectors.T @ (vectors @ span))
    _, _, turned = np.linalg.svd(vectors @ span, full_matrices=False)
    directions: Float32 = np.ascontiguousarray(span @ turned[:wanted].T, dtype=np.float32)
    return directions


def sound_to_keep(rows: Float32) -> bytes:
    """A sound of shape (k, n) as it is kept: k, then row after row."""
    return np.append(np.float32(len(rows)), rows).astype(KEPT_AS).tobytes()


def read_sound(kept: bytes, size: int | None = None) -> Float32:
    """The rows of a kept sound, shape (k, n).

    Raises
    ------
    InputError
        When it is no sound of that many numbers a row.
    """
    numbers: Float32 = np.frombuffer(kept, KEPT_AS).astype(np.float32)
    count = int(numbers[0]) if numbers.size and numbers[0] in range(1, MOST_ROWS + 1) else 0
    if not count or (numbers.size - 1) % count:
        raise InputError(f"A kept sound of {numbers.size} numbers", allowed="1 to 3 even rows")
    rows = numbers[1:].reshape(count, -1)
    if size is not None and rows.shape[1] != size:
        raise InputError(f"A kept sound of {rows.shape[1]} numbers", allowed=f"{size}")
    return rows
