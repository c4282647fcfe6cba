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

from beltside.base.errors import RecordingError, require_range
from beltside.drive.sheet import DriveSheet
from beltside.media.report import SHORTEST_S
from beltside.sound.crank import (
    BELIEVED,
    CYLINDERS,
    CrankEstimate,
    CrankPaths,
    estimate_crank,
)
from beltside.sound.crank_feed import CrankFeed, CrankSound
from beltside.sound.hearing import BLOCK_S, Hearing, hear_block, merge
from beltside.sound.track import CrankTrack

Float32 = npt.NDArray[np.float32]

STATED_RANGE_RPM: Final = (300.0, 8000.0)
STATED_AGREES: Final = 0.04
"""A stated speed and the sound's own agree within this share: dashboards read coarsely."""

SAME_SPEED: Final = 0.03

SURE_TAKE: Final = 0.85

IN_COMPANY: Final = 0.5
"""A speed that agrees with those of the case's other takes is believed from here on. Seen on a
separate simulator: from 0.5 up none of 45 such speeds was wrong; own choice."""

OTHERS_AGREE: Final = 0.9
"""Other takes count as one sure take when their odds for one speed add up to this."""

STATED_CONFIDENCE: Final = 0.7
"""How far a stated speed is trusted when the sound can't confirm it; own choice."""

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
class CrankSpeed:
    """Crank speed as it is used for a take.

    `source` is "sound" or "stated"; `reason` says why there is no track; `warnings` what to know;
    `likeliest_rpm` is the likeliest median speed even when it was not believed.
    """

    track: CrankTrack | None
    confidence: float
    reason: str | None
    source: str
    warnings: tuple[str, ...] = ()
    likeliest_rpm: float | None = None


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


def find_crank(
    sound: CrankSound,
    sheet: DriveSheet,
    *,
    stated_rpm: float | None = None,
    near_rpm: float | None = None,
    paths: CrankPaths | None = None,
) -> CrankSpeed:
    """Crank speed of a take, from its sound and from what was read off, if anything.

    Parameters
    ----------
    sound
        From `crank_sound`.
    sheet
        Its engine and pulleys.
    stated_rpm
        Speed read off a dashboard or scan tool, 300 to 8000 [1/min]; used and checked.
    near_rpm
        Speed of the same engine in another take made alike [1/min].
    paths
        What was found in the same sound before.
    """
    if sheet.engine.cylinders not in CYLINDERS:
        raise RecordingError(
            f"an engine with {sheet.engine.cylinders} cylinders",
            allowed=", ".join(map(str, CYLINDERS)),
        )
    if stated_rpm is not None:
        require_range("stated crank speed", stated_rpm, *STATED_RANGE_RPM, "rpm")
    if sound.duration_s < 2.0:
        return CrankSpeed(None, 0.0, f"only {sound.duration_s:.1f} s of sound", "sound")
    heard = estimate_crank(
        sound,
        cylinders=sheet.engine.cylinders,
        strokes=sheet.engine.strokes,
        idle_rpm=sheet.engine.idle_rpm,
        near_rpm=stated_rpm or near_rpm,
        believed=BELIEVED if stated_rpm is None and near_rpm is None else IN_COMPANY,
        paths=paths,
    )
    if stated_rpm is None:
        return CrankSpeed(
            heard.track,
            heard.confidence,
            heard.reason,
            "sound",
            likeliest_rpm=heard.evidence.rpm,
        )
    return _with_stated(heard, stated_rpm)


def _with_stated(heard: CrankEstimate, stated_rpm: float) -> CrankSpeed:
    """The stated speed, followed by the sound where the two agree."""
    stated = CrankTrack.constant(stated_rpm, relative_range=STATED_AGREES)
    if heard.track is None:
        warning = (
            f"The crank speed of {stated_rpm:.0f} rpm is as stated; the sound neither confirms "
            f"nor denies it ({heard.reason}). It is taken as constant."
        )
        return CrankSpeed(stated, STATED_CONFIDENCE, None, "stated", (warning,))
    found = heard.track.rpm_median
    if abs(found / stated_rpm - 1.0) <= STATED_AGREES:
        return CrankSpeed(heard.track, max(heard.confidence, 0.95), None, "stated")
    warning = (
        f"The crank speed was stated as {stated_rpm:.0f} rpm, but the sound says {found:.0f} rpm "
        f"({heard.confidence:.0%} sure). The stated speed is used; check it."
    )
    return CrankSpeed(
        stated, min(STATED_CONFIDENCE, 1.0 - 0.9 * heard.confidence), None, "stated", (warning,)
    )


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


def company(cranks: Sequence[CrankSpeed], index: int) -> float | None:
    """The idle speed that the other takes of a case agree on [1/min], None when they don't.

    A sure take is enough; else the odds of several that say the same are added, if one of them
    was believed: takes of one engine are easily mistaken for the same multiple. Idle is the
    slowest of the sure ones: takes with the speed raised lie above it.
    """
    sure = [
        one.track.rpm_median
        for number, one in enumerate(cranks)
        if number != index and one.track is not None and one.confidence > SURE_TAKE
    ]
    if sure:
        return min(sure)
    others = [
        (one.likeliest_rpm, one)
        for number, one in enumerate(cranks)
        if number != index and one.likeliest_rpm is not None
    ]
    for rpm, first in sorted(others, key=lambda one: -one[1].confidence):
        if first.track is None:
            continue
        agree = [one.confidence for other, one in others if abs(other / rpm - 1.0) < SAME_SPEED]
        if len(agree) > 1 and sum(agree) > OTHERS_AGREE:
            return rpm
    return None


def confirms(again: CrankSpeed, before: CrankSpeed, near_rpm: float) -> bool:
    """Whether a second look is to be believed: it agrees with the other takes, or says the same
    as the first, only surer. A take with the speed raised must not be pulled to idle, so what
    was believed before gives way only to what would be believed alone."""
    if again.track is None:
        return False
    if abs(again.track.rpm_median / near_rpm - 1.0) < SAME_SPEED:
        return before.track is None or again.confidence > max(before.confidence, BELIEVED)
    if before.likeliest_rpm is None or again.confidence < BELIEVED:
        return False
    same = abs(again.track.rpm_median / before.likeliest_rpm - 1.0) < SAME_SPEED
    return same and again.confidence > before.confidence


def hear_all(
    sources: Sequence[Source],
    conditions: Sequence[Conditions],
    sheet: DriveSheet,
    progress: Callable[[str, float], None] | None = None,
) -> list[HeardTake]:
    """All takes of a case: their speeds first, judged together, then what is heard in each.

    A take whose speed is unsure is looked at once more beside what the others say: takes at idle
    share their speed.
    """
    say = progress or (lambda _what, _share: None)
    total = len(sources)
    say("reading the takes", 0.0)
    with ThreadPoolExecutor(WORKERS) as pool:
        sounds = list(pool.map(crank_sound, sources))
        say("finding the crank speed", 0.3)

        engine = sheet.engine
        kept: dict[int, CrankPaths] = {}

        def speed(index: int, near_rpm: float | None = None) -> CrankSpeed:
            paths = kept.get(index)
            if paths is None and engine.cylinders in CYLINDERS and sounds[index].duration_s >= 2.0:
                paths = CrankPaths(sounds[index], engine.cylinders, engine.strokes)
            found = find_crank(
                sounds[index],
                sheet,
                stated_rpm=conditions[index].crank_rpm,
                near_rpm=near_rpm,
                paths=paths,
            )
            if paths is not None and found.confidence <= SURE_TAKE:
                kept[index] = paths  # for a second look; of a sure take nothing is kept
            return found

        cranks = list(pool.map(speed, range(total)))
        unsure = [
            (index, near)
            for index, one in enumerate(cranks)
            if one.confidence <= SURE_TAKE and (near := company(cranks, index)) is not None
        ]
        again = list(pool.map(lambda one: speed(*one), unsure))
        kept.clear()
        settled = list(cranks)
        for (index, near), one in zip(unsure, again, strict=True):
            if confirms(one, cranks[index], near):
                settled[index] = one

        def listened(index: int) -> HeardTake:
            say(f"listening to {conditions[index].name}", 0.5 + 0.5 * index / max(total, 1))
            return HeardTake(
                conditions[index], settled[index], hear(sources[index], settled[index].track)
            )

        return list(pool.map(listened, range(total)))
