"""Crank speed from the sound alone, with a range, a confidence, and "can't tell" with its reason.

The steps: a path of speed through short frames (`crank_path`), sharpened by the phases of its
strongest lines (`crank_refine`), then the question whether the engine turns at that speed or at
a fraction or multiple of it, or whether this is an engine at all (`crank_choice`). Own method,
docs/methods/crank-speed.md.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import numpy.typing as npt

from beltside.base.errors import OutOfRangeError, require_range
from beltside.sound.crank_choice import (
    Candidate,
    LineEvidence,
    candidates,
    line_evidence,
    scale_error,
)
from beltside.sound.crank_feed import LOW_RATE_HZ, CrankSound
from beltside.sound.crank_path import (
    RPM_HIGH,
    RPM_LOW,
    CombMatch,
    SpeedPath,
    best_path,
    comb_match,
    speed_grid,
)
from beltside.sound.crank_refine import sharpen
from beltside.sound.track import CrankTrack

Float64 = npt.NDArray[np.float64]

CYLINDERS: Final = (1, 2, 3, 4, 5, 6, 8, 10, 12, 16)


@dataclass(frozen=True)
class CrankEstimate:
    """What the sound says of the crank's speed.

    Attributes
    ----------
    track
        Speed over time; None when it can't be told.
    confidence
        Probability that the speed is right (the right multiple, and an engine at all), 0 to 1.
    reason
        Why it can't be told, in words; None when it can.
    evidence
        The numbers behind it, for docs and tests.
    """

    track: CrankTrack | None
    confidence: float
    reason: str | None
    evidence: CrankEvidence


@dataclass(frozen=True)
class CrankEvidence:
    """What the decision was made from.

    Attributes
    ----------
    match
        Mean comb match of the path [sigmas of noise].
    total, uneven, firing, lead
        Evidence of the best candidate [nats], see `Candidate`.
    margin
        Evidence over the next candidate that is another speed [nats].
    unrest
        Typical change of the path from frame to frame, as a share of the speed.
    turns
        Crank turns heard.
    rival_rpm
        Median speed of the next candidate [1/min]; nan when there is none.
    rpm
        Median speed of the best candidate [1/min], also when it was not believed.
    """

    match: float
    total: float
    uneven: float
    firing: float
    lead: float
    margin: float
    unrest: float
    turns: float
    rival_rpm: float
    rpm: float


@dataclass(frozen=True)
class _Reading:
    """One path with its candidates."""

    path: SpeedPath
    track: CrankTrack
    lines: LineEvidence
    ranked: list[tuple[float, Candidate]]


def estimate_crank(
    sound: CrankSound,
    *,
    cylinders: int,
    strokes: int = 4,
    idle_rpm: float | None = None,
) -> CrankEstimate:
    """Crank speed over time from the sound of an engine.

    Parameters
    ----------
    sound
        From `CrankFeed`, at least 2 s.
    cylinders
        One of 1, 2, 3, 4, 5, 6, 8, 10, 12, 16.
    strokes
        4 or 2.
    idle_rpm
        Idle speed from the drive sheet, 300 to 2000; takes are more often near it than not.

    Returns
    -------
    CrankEstimate
        Valid for 500 to 7000 rpm and changes up to 2000 rpm/s.

    Raises
    ------
    OutOfRangeError
        For a take under 2 s, an odd cylinder count, strokes or idle speed.
    """
    _check(sound, cylinders, strokes, idle_rpm)
    combs = comb_match(sound, cylinders, strokes)
    prior = _speed_prior(idle_rpm)
    first = _read(sound, combs, None, cylinders, strokes, prior)
    best = first
    if first.ranked[0][0] < 60.0:
        # A weak path may sit on something else that hums: look once more beside it.
        banned = _near_multiples(first.path, combs)
        second = _read(sound, combs, banned, cylinders, strokes, prior)
        if second.ranked[0][0] > first.ranked[0][0]:
            best = second
    return _decide(sound, best, cylinders, strokes)


def _check(sound: CrankSound, cylinders: int, strokes: int, idle_rpm: float | None) -> None:
    if cylinders not in CYLINDERS:
        raise OutOfRangeError(
            f"cylinders is {cylinders}",
            allowed=", ".join(map(str, CYLINDERS)),
            instead="count the spark plugs or injectors",
        )
    if strokes not in (2, 4):
        raise OutOfRangeError(f"strokes is {strokes}", allowed="2 or 4", instead="4 for any car")
    if idle_rpm is not None:
        require_range("idle speed", idle_rpm, 300.0, 2000.0, "rpm")
    if sound.duration_s < 2.0:
        raise OutOfRangeError(
            f"the sound lasts {sound.duration_s:.2f} s", allowed="2 s or more", instead="record 15 s"
        )


def _speed_prior(idle_rpm: float | None) -> Float64:
    """Log density of the speed over the grid, per unit of log speed [nats]."""
    grid = np.log(speed_grid())
    centre, width = (np.log(800.0), 0.25) if idle_rpm is None else (np.log(idle_rpm), 0.12)
    near = np.exp(-0.5 * ((grid - centre) / width) ** 2) / (width * np.sqrt(2.0 * np.pi))
    # Few takes run above 4500 rpm: an engine is not revved that far with the bonnet open.
    spread = np.where(grid < np.log(4500.0), 1.0, 0.3)
    spread = spread / (spread.mean() * np.log(RPM_HIGH / RPM_LOW))
    result: Float64 = np.log(0.5 * near + 0.5 * spread)
    return result


def _read(
    sound: CrankSound,
    combs: CombMatch,
    banned: npt.NDArray[np.bool_] | None,
    cylinders: int,
    strokes: int,
    prior: Float64,
) -> _Reading:
    path = best_path(combs, banned)
    track = CrankTrack(path.time_s, path.rpm, path.rpm, path.rpm)
    for highest_order in (6.0, 16.0):
        track = sharpen(sound.low, LOW_RATE_HZ, track, highest_order=highest_order)
    lines = line_evidence(sound, track)
    track = _scaled(track, 1.0 + scale_error(lines, strokes))
    lines = line_evidence(sound, track)
    grid = np.log(speed_grid())
    ranked = [
        (
            one.evidence
            + float(np.interp(np.log(one.multiple * track.rpm_median), grid, prior)),
            one,
        )
        for one in candidates(lines, track.rpm_median, cylinders, strokes)
    ]
    ranked.sort(key=lambda pair: -pair[0])
    return _Reading(path, track, lines, ranked)


def _near_multiples(path: SpeedPath, combs: CombMatch) -> npt.NDArray[np.bool_]:
    """Candidates within 2.5 % of the path or of a simple fraction or multiple of it."""
    grid = np.log(speed_grid())
    banned = np.zeros(combs.match.shape, dtype=np.bool_)
    for multiple in (1 / 4, 1 / 3, 1 / 2, 2 / 3, 3 / 4, 1, 4 / 3, 3 / 2, 2, 3, 4):
        banned |= np.abs(grid[None, :] - np.log(path.rpm * multiple)[:, None]) < 0.025
    return banned


def _scaled(track: CrankTrack, factor: float) -> CrankTrack:
    return CrankTrack(
        track.time_s, track.rpm * factor, track.rpm_low * factor, track.rpm_high * factor
    )


def _decide(
    sound: CrankSound, reading: _Reading, cylinders: int, strokes: int
) -> CrankEstimate:
    score, chosen = reading.ranked[0]
    rival_score, rival = reading.ranked[1] if len(reading.ranked) > 1 else (-np.inf, None)
    track = _scaled(reading.track, chosen.multiple)
    change = np.abs(np.diff(np.log(reading.path.rpm)))
    evidence = CrankEvidence(
        match=float(reading.path.match.mean()),
        total=chosen.evidence,
        uneven=chosen.uneven,
        firing=chosen.firing,
        lead=chosen.lead,
        margin=float(score - rival_score),
        unrest=float(np.median(change)) if change.size else 0.0,
        turns=float(track.turns_at(np.array([sound.duration_s]))[0]),
        rival_rpm=float("nan") if rival is None else rival.multiple * reading.track.rpm_median,
        rpm=track.rpm_median,
    )
    return judge_evidence(track, evidence, cylinders=cylinders, strokes=strokes)


def judge_evidence(
    track: CrankTrack, evidence: CrankEvidence, *, cylinders: int, strokes: int
) -> CrankEstimate:
    """Believe the best candidate or say why not."""
    engine = _logistic(0.35 * (evidence.uneven - 2.0) + 0.12 * (evidence.total - 18.0))
    octave = _logistic(evidence.margin)
    confidence = engine * octave
    reason = None
    if _is_mains(evidence, cylinders, strokes):
        engine = min(engine, 0.2)
        reason = (
            f"the tones lie on multiples of {_mains_hz(evidence, cylinders, strokes)} Hz and have "
            "no engine's uneven beat: this is mains hum"
        )
    elif engine < 0.5:
        if evidence.total > 10.0:
            reason = (
                "there is a steady pattern of tones, but not the uneven beat of an engine's "
                "cylinders: it may be an electric motor, a fan or mains hum"
            )
        else:
            reason = "no pattern of an engine's firing stands out of the noise"
    elif octave < 0.6:
        reason = (
            f"the lines fit {evidence.rpm:.0f} rpm about as well as {evidence.rival_rpm:.0f} rpm"
        )
    if reason is not None:
        return CrankEstimate(None, confidence, reason, evidence)
    return CrankEstimate(replace(track), confidence, None, evidence)


def _mains_hz(evidence: CrankEvidence, cylinders: int, strokes: int) -> int:
    """50 or 60 when the firing frequency lies on one of their multiples, else 0 [Hz]."""
    firing_hz = evidence.rpm / 60.0 * cylinders * (0.5 if strokes == 4 else 1.0)
    for mains_hz in (50, 60):
        number = max(round(firing_hz / mains_hz), 1)
        if abs(firing_hz / (number * mains_hz) - 1.0) < 0.004:
            return mains_hz
    return 0


def _is_mains(evidence: CrankEvidence, cylinders: int, strokes: int) -> bool:
    """Every line explained lies on a multiple of the mains frequency."""
    cycle_hz = evidence.rpm / 60.0 * (0.5 if strokes == 4 else 1.0)
    whole_cycle = any(abs(cycle_hz / mains_hz - 1.0) < 0.004 for mains_hz in (50, 60))
    even = evidence.uneven < 4.0
    return (even or whole_cycle) and _mains_hz(evidence, cylinders, strokes) > 0


def _logistic(x: float) -> float:
    return float(1.0 / (1.0 + np.exp(-np.clip(x, -40.0, 40.0))))
