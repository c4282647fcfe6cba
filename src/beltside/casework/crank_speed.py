"""Crank speed of takes as it is used: from the sound, from what was read off, and from the case.

All takes of a case are of one engine, so they share its idle speed: a take that leaves doubt, or
is told at another speed, is judged once more beside the idle speed of the others.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

from beltside.base.errors import RecordingError, require_range
from beltside.drive.sheet import DriveSheet
from beltside.sound.crank import (
    BELIEVED,
    CYLINDERS,
    CrankEstimate,
    CrankPaths,
    estimate_crank,
)
from beltside.sound.crank_feed import CrankSound
from beltside.sound.crank_prior import calm_share
from beltside.sound.track import CrankTrack

STATED_RANGE_RPM: Final = (300.0, 8000.0)
STATED_AGREES: Final = 0.04
"""A stated speed and the sound's own agree within this share: dashboards read coarsely."""

IN_COMPANY: Final = 0.5
"""A speed judged beside what is known of it is believed from here on. Seen on a separate
simulator: from 0.5 up none of 45 such speeds was wrong; own choice."""

STATED_CONFIDENCE: Final = 0.7
"""How far a stated speed is trusted when the sound can't confirm it; own choice."""

SAME_SPEED: Final = 0.03

SURE_TAKE: Final = 0.85
"""A take this sure vouches for the idle speed of others; own choice."""

OTHERS_AGREE: Final = 0.9
"""Other takes count as one sure take when their odds for one speed add up to this."""

OUTVOTED: Final = 0.6
"""A slower speed is not idle when its takes' odds add up to less than this share of another's."""


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


def crank_paths(sound: CrankSound, sheet: DriveSheet) -> CrankPaths | None:
    """Paths of speed in a sound, for several looks at it; None where none can be sought."""
    engine = sheet.engine
    if engine.cylinders not in CYLINDERS or sound.duration_s < 2.0:
        return None
    return CrankPaths(sound, engine.cylinders, engine.strokes, engine.idle_rpm)


def find_crank(
    sound: CrankSound,
    sheet: DriveSheet,
    *,
    stated_rpm: float | None = None,
    near_rpm: float | None = None,
    heard_idle_rpm: float | None = None,
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
        Speed of this take that is likely for another reason [1/min].
    heard_idle_rpm
        Idle speed of the same engine heard in other takes [1/min].
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
        heard_idle_rpm=heard_idle_rpm if stated_rpm is None else None,
        believed=BELIEVED if (stated_rpm or near_rpm or heard_idle_rpm) is None else IN_COMPANY,
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


def company(cranks: Sequence[CrankSpeed], index: int) -> float | None:
    """The idle speed that the other takes of a case agree on [1/min], None when they don't.

    A sure take is enough; else the odds of several that say the same are added, if one of them
    was believed: takes of one engine are easily mistaken for the same multiple. Idle is the
    slowest speed of the sure ones, takes with the speed raised lie above it, unless more of them
    agree on another.
    """
    sure = [
        (calm_rpm(one), one.confidence)
        for number, one in enumerate(cranks)
        if number != index and one.track is not None and one.confidence > SURE_TAKE
    ]
    if sure:
        votes = [
            (rpm, sum(odds for other, odds in sure if abs(other / rpm - 1.0) < SAME_SPEED))
            for rpm, _ in sure
        ]
        most = max(total for _, total in votes)
        return min(rpm for rpm, total in votes if total >= OUTVOTED * most)
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


def calm_rpm(crank: CrankSpeed) -> float:
    """The speed of a take's calmest part [1/min]: its median where it hardly changes."""
    assert crank.track is not None
    share = calm_share(crank.track)
    return crank.track.rpm_median * (1.0 if share > 1.0 - 2.0 * SAME_SPEED else share)


def in_question(crank: CrankSpeed, idle_rpm: float) -> bool:
    """Whether a take is to be looked at once more beside the idle speed of the others."""
    if crank.track is None or crank.confidence <= SURE_TAKE:
        return True
    return abs(calm_rpm(crank) / idle_rpm - 1.0) > SAME_SPEED


def settled(again: CrankSpeed, before: CrankSpeed, idle_rpm: float) -> CrankSpeed:
    """What holds after a second look, which knows all that the first did and the idle speed.

    What comes down to idle is believed from `IN_COMPANY` on, unless it takes the place of
    another speed that was believed; all else as if alone. A speed believed before stays if it is
    still the likeliest, and is withdrawn if it is not.
    """
    if again.track is not None:
        at_idle = abs(calm_rpm(again) / idle_rpm - 1.0) < SAME_SPEED
        if (at_idle and before.track is None) or again.confidence >= BELIEVED:
            return again
    if before.track is None or again.likeliest_rpm is None:
        return before
    rpm = before.track.rpm_median
    if abs(again.likeliest_rpm / rpm - 1.0) < SAME_SPEED:
        return before
    return CrankSpeed(
        None,
        again.confidence,
        f"by itself it sounds like {rpm:.0f} rpm, but with the idle speed of the other takes, "
        f"{idle_rpm:.0f} rpm, another speed fits better",
        before.source,
        likeliest_rpm=again.likeliest_rpm,
    )


def settle(
    cranks: Sequence[CrankSpeed],
    look_again: Callable[[Sequence[tuple[int, float]]], Sequence[CrankSpeed]],
) -> list[CrankSpeed]:
    """The speeds of all takes, those in question looked at once more beside the others.

    Parameters
    ----------
    cranks
        What the first look at each take said.
    look_again
        Given places of takes and the idle speed to judge each by, gives their speeds.
    """
    wanted = [
        (index, idle_rpm)
        for index, one in enumerate(cranks)
        if one.source == "sound"
        and (idle_rpm := company(cranks, index)) is not None
        and in_question(one, idle_rpm)
    ]
    result = list(cranks)
    for (index, idle_rpm), again in zip(wanted, look_again(wanted), strict=True):
        result[index] = settled(again, cranks[index], idle_rpm)
    return result
