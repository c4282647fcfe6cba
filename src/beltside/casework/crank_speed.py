"""Crank speed of takes as it is used: from the sound, from what was read off, and from the case.

All takes of a case are of one engine, so they share its idle speed: each is judged once more
beside what the others say of it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np
import numpy.typing as npt

from beltside.base.errors import RecordingError, require_range
from beltside.drive.sheet import DriveSheet
from beltside.sound.crank import (
    BELIEVED,
    CYLINDERS,
    CrankEstimate,
    CrankEvidence,
    CrankPaths,
    estimate_crank,
)
from beltside.sound.crank_feed import CrankSound
from beltside.sound.crank_path import RPM_HIGH, RPM_LOW
from beltside.sound.crank_prior import (
    IdleBelief,
    idle_belief,
    log_density_beside,
    sheet_belief,
)
from beltside.sound.track import CrankTrack

Float64 = npt.NDArray[np.float64]

STATED_RANGE_RPM: Final = (300.0, 8000.0)
STATED_AGREES: Final = 0.04
"""A stated speed and the sound's own agree within this share: dashboards read coarsely."""

BESIDE_STATED: Final = 0.5
"""A speed judged beside the speed stated of it is believed from here on; own choice."""

STATED_CONFIDENCE: Final = 0.7
"""How far a stated speed is trusted when the sound can't confirm it; own choice."""

SAME_SPEED: Final = 0.03

VOICE: Final = 0.6
"""How much each take's say about the idle speed counts for the others; own choice."""

ENGINE_NATS: Final = 2.0
"""What speaks for an engine in a take when another take of the case surely holds one."""


@dataclass(frozen=True)
class CrankSpeed:
    """Crank speed as it is used for a take.

    `source` is "sound" or "stated"; `reason` says why there is no track; `warnings` what to know;
    `likeliest_rpm` is the likeliest median speed even when it was not believed; `evidence` is what
    the sound says for each speed, None where the sound was not asked; `likely` are the likeliest
    speeds, each with its probability, the likeliest first.
    """

    track: CrankTrack | None
    confidence: float
    reason: str | None
    source: str
    warnings: tuple[str, ...] = ()
    likeliest_rpm: float | None = None
    evidence: CrankEvidence | None = field(default=None, repr=False, compare=False)
    likely: tuple[tuple[CrankTrack, float], ...] = ()


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
    idle: IdleBelief | None = None,
    engine_nats: float = 0.0,
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
    idle, engine_nats
        What other takes of the same engine say of its idle speed, and for an engine in this one.
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
        idle=idle if stated_rpm is None else None,
        engine_nats=engine_nats if stated_rpm is None else 0.0,
        believed=BELIEVED if (stated_rpm or near_rpm) is None else BESIDE_STATED,
        paths=paths,
    )
    if stated_rpm is None:
        return CrankSpeed(
            heard.track,
            heard.confidence,
            heard.reason,
            "sound",
            likeliest_rpm=heard.evidence.rpm,
            evidence=heard.evidence,
            likely=heard.likely,
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


def company(cranks: Sequence[CrankSpeed], index: int, sheet: DriveSheet) -> IdleBelief | None:
    """What the other takes of a case and the drive sheet say of the idle speed; None when no
    other take says anything.

    Each take speaks by all its candidate speeds, weighed by what its sound says for them, so
    that two takes in doubt may settle each other. They are not independent (what makes one
    engine look like another's double does so in all its takes), so they speak softer: `VOICE`.
    """
    others = [
        voice
        for number, one in enumerate(cranks)
        if number != index and (voice := _voice(one)) is not None
    ]
    if not others:
        return None
    start = np.log(sheet_belief(sheet.engine.idle_rpm).share)
    return idle_belief(start + VOICE * np.sum(others, axis=0), heard=True)


def _voice(crank: CrankSpeed) -> Float64 | None:
    """Log likelihood of each idle speed by one take, up to a constant; None when it is silent."""
    if crank.source == "stated" and crank.track is not None:
        stated: Float64 = log_density_beside(np.array([crank.track.rpm_median]))[0]
        return stated
    heard = crank.evidence
    if heard is None or heard.mains_hz:
        return None
    density = np.exp(log_density_beside(heard.calm_rpms))
    top = max(float(heard.scores.max()), heard.none_score)
    engine = np.exp(heard.scores - top) @ density
    nothing = float(np.exp(heard.none_score - top)) / np.log(RPM_HIGH / RPM_LOW)
    result: Float64 = np.log(engine + nothing)
    return result


def surely_engine(cranks: Sequence[CrankSpeed], index: int) -> float:
    """What the other takes say for an engine in this one [nats]: all are of one engine."""
    nothing = [
        1.0 if one.evidence is None else one.evidence.none
        for number, one in enumerate(cranks)
        if number != index
    ]
    stated = any(one.source == "stated" for number, one in enumerate(cranks) if number != index)
    return ENGINE_NATS * (1.0 if stated else 1.0 - min(nothing, default=1.0))


def settled(again: CrankSpeed, before: CrankSpeed) -> CrankSpeed:
    """What holds after a second look, which knows all that the first did and the other takes."""
    if again.track is not None or before.track is None or again.likeliest_rpm is None:
        return again
    rpm = before.track.rpm_median
    if abs(again.likeliest_rpm / rpm - 1.0) < SAME_SPEED:
        return again
    return replace(
        again,
        reason=f"by itself it sounds like {rpm:.0f} rpm, but beside the other takes another "
        "speed fits better",
    )


def settle(
    cranks: Sequence[CrankSpeed],
    sheet: DriveSheet,
    look_again: Callable[[Sequence[tuple[int, IdleBelief, float]]], Sequence[CrankSpeed]],
) -> list[CrankSpeed]:
    """The speeds of all takes, each looked at once more beside the others.

    Parameters
    ----------
    cranks
        What the first look at each take said.
    sheet
        Its idle speed, if it gives one.
    look_again
        Given places of takes, the idle speed to judge each by and what speaks for an engine in
        it [nats], gives their speeds.
    """
    wanted = [
        (index, idle, surely_engine(cranks, index))
        for index, one in enumerate(cranks)
        if one.source == "sound"
        and one.evidence is not None
        and (idle := company(cranks, index, sheet)) is not None
    ]
    result = list(cranks)
    for (index, _, _), again in zip(wanted, look_again(wanted), strict=True):
        result[index] = settled(again, cranks[index])
    return result
