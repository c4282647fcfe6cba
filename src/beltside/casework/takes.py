"""From a recording to what was heard in it: crank speed first, then everything by its angle.

One way for files and for simulated sound, so that what the odds were fitted on and what a
technician records are measured alike.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Final, Protocol

import numpy as np
import numpy.typing as npt

from beltside.base.errors import RecordingError
from beltside.casework.crank_speed import CrankSpeed, crank_paths, find_crank, settle
from beltside.drive.sheet import DriveSheet
from beltside.media.report import SHORTEST_S
from beltside.sound.crank import CrankPaths
from beltside.sound.crank_feed import CrankFeed, CrankSound
from beltside.sound.crank_prior import IdleBelief
from beltside.sound.hearing import BLOCK_S, Hearing, hear_block, merge
from beltside.sound.track import CrankTrack

Float32 = npt.NDArray[np.float32]

HEARING_VERSION: Final = 5
"""Goes up with any change in what is heard in a take: crank speed, lines, measures, fingerprint.
What is kept of takes that were heard by an earlier one does not count any more."""

WORKERS: Final = max(min(os.cpu_count() or 1, 4), 1)


class Source(Protocol):
    """Anything that gives sound block by block, more than once."""

    @property
    def sample_rate_hz(self) -> int:
        """Sample rate [Hz]."""
        ...

    def blocks(self, block_s: float = 10.0) -> Iterator[Float32]:
        """float32 blocks of shape (channels, n)."""
        ...

    def require_usable(self) -> None:
        """Refuse what is too short or silent; called after a pass over the blocks."""
        ...


@dataclass(frozen=True)
class ArraySource:
    """Sound that is already in memory, samples of shape (channels, n)."""

    samples: Float32
    sample_rate_hz: int

    def blocks(self, block_s: float = 10.0) -> Iterator[Float32]:
        """Slices of the samples."""
        size = round(block_s * self.sample_rate_hz)
        for start in range(0, self.samples.shape[1], size):
            yield self.samples[:, start : start + size]

    def require_usable(self) -> None:
        """Refuse sound under 2 s."""
        seconds = self.samples.shape[1] / self.sample_rate_hz
        if seconds < SHORTEST_S:
            raise RecordingError(
                f"{seconds:.2f} s of sound",
                allowed=f"{SHORTEST_S:g} s or more",
                instead="record 15 s",
            )


@dataclass(frozen=True)
class Conditions:
    """How a take was made; `part` is the part the probe was held on, None in front."""

    name: str
    belt: str | None = None
    part: str | None = None
    load: tuple[str, ...] = ()
    crank_rpm: float | None = None


@dataclass(frozen=True)
class HeardTake:
    """A take with its crank speed and all that was heard."""

    conditions: Conditions
    crank: CrankSpeed
    hearing: Hearing


class Mono:
    """Turns blocks of any channels into mono the same way through a whole take.

    The mean of the channels, unless they cancel each other (a phone that writes one of them
    upside down): then the louder one.
    """

    def __init__(self) -> None:
        self._channel: int | None = None
        self._decided = False

    def __call__(self, block: Float32) -> Float32:
        """Mono of shape (n,) from (channels, n)."""
        if block.shape[0] == 1:
            only: Float32 = block[0]
            return only
        mean: Float32 = block.mean(axis=0, dtype=np.float32)
        if not self._decided:
            each = np.mean(np.square(block, dtype=np.float64), axis=1)
            together = float(np.mean(np.square(mean, dtype=np.float64)))
            if together < 0.1 * float(each.mean()):
                self._channel = int(np.argmax(each))
            # A silent start decides nothing.
            self._decided = bool(each.any())
        return mean if self._channel is None else block[self._channel]


def crank_sound(source: Source) -> CrankSound:
    """What the crank speed is read from, in one pass; refuses takes too short or silent."""
    feed, mono = CrankFeed(source.sample_rate_hz), Mono()
    for block in source.blocks(10.0):
        feed.add(mono(block))
    source.require_usable()
    return feed.finish()


def hear(
    source: Source,
    track: CrankTrack | None,
    progress: Callable[[float], None] | None = None,
) -> Hearing:
    """Everything heard in a take, blocks side by side on the machine's cores.

    No more blocks are in work than there are workers, so memory does not grow with length.
    """
    mono = Mono()
    parts: list[Hearing] = []
    with ThreadPoolExecutor(WORKERS) as pool:
        waiting = []
        for start_s, samples in _half_minutes(source, mono):
            waiting.append(
                pool.submit(
                    hear_block, samples, source.sample_rate_hz, start_s=start_s, track=track
                )
            )
            if len(waiting) > WORKERS:
                parts.append(waiting.pop(0).result())
                if len(parts) > 4:
                    parts = [merge(parts)]
            if progress is not None:
                progress(start_s + samples.size / source.sample_rate_hz)
        parts += [one.result() for one in waiting]
    if not parts:
        raise RecordingError("no sound to listen to", instead="record 15 s or more")
    return merge(parts)


def _half_minutes(source: Source, mono: Mono) -> Iterator[tuple[float, Float32]]:
    """Blocks of about `BLOCK_S`; a short rest joins the last one, so none is under half of it
    unless the whole take is."""
    held: Float32 | None = None
    start_s = 0.0
    for block in source.blocks(BLOCK_S):
        samples = mono(block)
        if held is None:
            held = samples
            continue
        if samples.size < 0.5 * BLOCK_S * source.sample_rate_hz:
            held = np.concatenate((held, samples))
            continue
        yield start_s, held
        start_s += held.size / source.sample_rate_hz
        held = samples
    if held is not None and held.size >= source.sample_rate_hz:
        yield start_s, held


def hear_all(
    sources: Sequence[Source],
    conditions: Sequence[Conditions],
    sheet: DriveSheet,
    progress: Callable[[str, float], None] | None = None,
) -> list[HeardTake]:
    """All takes of a case: their speeds first, judged together, then what is heard in each.

    A take in doubt is looked at once more beside what the others say: takes of one engine share
    its idle speed.
    """
    say = progress or (lambda _what, _share: None)
    total = len(sources)
    say("reading the takes", 0.0)
    with ThreadPoolExecutor(WORKERS) as pool:
        sounds = list(pool.map(crank_sound, sources))
        say("finding the crank speed", 0.3)
        all_paths: list[CrankPaths | None] = [None] * total

        def look(
            index: int, idle: IdleBelief | None = None, engine_nats: float = 0.0
        ) -> CrankSpeed:
            paths = all_paths[index] = all_paths[index] or crank_paths(sounds[index], sheet)
            return find_crank(
                sounds[index],
                sheet,
                stated_rpm=conditions[index].crank_rpm,
                idle=idle,
                engine_nats=engine_nats,
                paths=paths,
            )

        settled = settle(
            list(pool.map(look, range(total))),
            sheet,
            lambda wanted: list(pool.map(lambda one: look(*one), wanted)),
        )
        all_paths.clear()
        sounds.clear()

        def listened(index: int) -> HeardTake:
            say(f"listening to {conditions[index].name}", 0.5 + 0.5 * index / max(total, 1))
            return HeardTake(
                conditions[index], settled[index], hear(sources[index], settled[index].track)
            )

        return list(pool.map(listened, range(total)))
