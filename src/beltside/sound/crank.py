"""Crank speed from the sound alone, with a range, a confidence, and "can't tell" with its reason.

The steps: a path of speed through short frames (`crank_path`), sharpened by the phases of its
strongest lines (`crank_refine`), then the question whether the engine turns at that speed or at
a fraction or multiple of it, or whether this is an engine at all (`crank_choice`). Own method,
docs/methods/crank-speed.md.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from beltside.base.errors import OutOfRangeError, require_range
from beltside.sound.crank_choice import (
    Candidate,
    LineEvidence,
    candidates,
    line_evidence,
    mains_share,
    mains_wander,
    scale_error,
)
from beltside.sound.crank_classes import class_heights
from beltside.sound.crank_feed import LOW_RATE_HZ, CrankSound
from beltside.sound.crank_path import (
    CombMatch,
    SpeedPath,
    best_path,
    comb_match,
    speed_grid,
)
from beltside.sound.crank_prior import (
    IdleBelief,
    SpeedPrior,
    StatedSpeed,
    calm_share,
    sheet_belief,
)
from beltside.sound.crank_refine import sharpen
from beltside.sound.crank_score import candidate_measures, odds, scores, take_measures
from beltside.sound.crank_weights import WEIGHTS
from beltside.sound.track import CrankTrack

Float64 = npt.NDArray[np.float64]

PATHS: Final = 3
"""Paths looked at: the best one, and two beside it."""

SURE: Final = 0.9
"""From this probability on, no further path is looked at."""

SCALE_KEPT: Final = 3e-4
"""A path this close to its lines' own speed needs no second look at them: the lines used move by
less than a third of a bin."""

FREER_BONUS: Final = 0.5
FREER_COST: Final = 0.02
"""Share of the pull towards idle that a freer path feels, and its cost of each rpm of change."""
LIKELY: Final = 3
LEAST_LIKELY: Final = 0.003
"""So many speeds are handed on as likely, none less probable than this; own choice."""

DIFFERENT_SHARE: Final = 0.03
"""Paths that part for less than this share of a take are the same."""

LED: Final = 0.05
LEADS: Final = 0.6
"""A path is led to an idle speed that is known to 5 % with this probability; own choice."""

SAME_SPEED: Final = 0.02
"""Candidates closer than this share of their speed say the same."""

BELIEVED: Final = 0.75
"""Least probability at which a speed is given."""

FASTEST_CHANGE: Final = 3200.0
"""Changes above this are no engine's [1/min per s]: the stated range ends at 2000."""

MAINS_SHARE: Final = 0.9
"""Share of all tones on multiples of 50 or 60 Hz from which a take may be mains hum."""

MAINS_WANDER: Final = 1.5e-4
"""Such tones wander less than this share of their pitch when they are hum; own choice, between
the mains (under 1e-4 within ten seconds) and engines (2.5e-4 and more)."""

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
    likely
        The likeliest speeds that are not the same, each with its probability, the likeliest
        first, `LIKELY` at most; also when none was believed.
    """

    track: CrankTrack | None
    confidence: float
    reason: str | None
    evidence: CrankEvidence
    likely: tuple[tuple[CrankTrack, float], ...] = ()


@dataclass(frozen=True)
class CrankEvidence:
    """What the decision was made from.

    Attributes
    ----------
    rpm
        Median speed of the likeliest candidate [1/min], also when it was not believed.
    probability
        Of that speed, 0 to 1.
    none
        Probability that no candidate is right.
    rival_rpm, rival_probability
        The next speed; nan and 0 when there is none.
    candidate
        Its measures.
    match
        Mean comb match of its path [sigmas of noise].
    mains_hz
        50 or 60 when the lines are those of mains hum, else 0.
    measures, take
        What the odds were worked out from (`crank_score`).
    rpms, calm_rpms
        Speed of each candidate [1/min]: its median, and that of its calmest part.
    scores, none_score
        What the sound says for each candidate and for none of them, up to one constant [nats].
    tracks, of_track
        The paths' tracks, and which of them each candidate is a multiple of.
    """

    rpm: float
    probability: float
    none: float
    rival_rpm: float
    rival_probability: float
    candidate: Candidate
    match: float
    mains_hz: int
    measures: Float64
    take: Float64
    rpms: Float64
    calm_rpms: Float64
    scores: Float64
    none_score: float
    tracks: tuple[CrankTrack, ...]
    of_track: tuple[int, ...]

    def speeds_at(self, time_s: Float64) -> Float64:
        """Speed of every candidate at some moments, shape (candidates, moments) [1/min]."""
        along = np.array([one.rpm_at(time_s) / one.rpm_median for one in self.tracks])
        speeds: Float64 = along[list(self.of_track)] * self.rpms[:, None]
        return speeds


@dataclass(frozen=True)
class _Engine:
    """What is known of the engine beforehand."""

    cylinders: int
    strokes: int


@dataclass(frozen=True)
class _Reading:
    """One path with its candidates."""

    path: SpeedPath
    track: CrankTrack
    lines: LineEvidence
    candidates: list[Candidate]
    classes: Float64


class CrankPaths:
    """The paths found in one sound, sought when first asked for and kept: the same sound can be
    judged again beside another speed at little cost.

    Parameters
    ----------
    sound, cylinders, strokes
        As for `estimate_crank`.
    """

    def __init__(
        self,
        sound: CrankSound,
        cylinders: int,
        strokes: int = 4,
        idle_rpm: float | None = None,
    ) -> None:
        self._sound = sound
        self._engine = _Engine(cylinders, strokes)
        self._bonus = sheet_belief(idle_rpm).path_bonus()
        self._combs = comb_match(sound, cylinders, strokes)
        self._banned = np.zeros(self._combs.match.shape, dtype=np.bool_)
        self._readings: list[_Reading] = []
        self._freer: list[_Reading | None] = []
        self.mains_hz = _mains_hz(sound)

    def reading(self, number: int) -> _Reading:
        """The path of that number from 0, each away from those before it."""
        while len(self._readings) <= number:
            if self._readings:
                self._banned |= _near_multiples(self._readings[-1].path, self._combs)
            banned = self._banned if self._readings else None
            path = best_path(self._combs, banned, self._bonus)
            self._readings.append(_read(self._sound, path, self._engine))
        return self._readings[number]

    def freer(self) -> _Reading | None:
        """The first path found with less pull towards idle and at less cost for each change: it
        follows a blip that the first one may have cut off; None when it is the same."""
        if not self._freer:
            bonus = FREER_BONUS * self._bonus
            path = best_path(self._combs, bonus=bonus, change_cost=FREER_COST)
            self._freer.append(self._apart(path))
        return self._freer[0]

    def beside(self, prior: SpeedPrior) -> _Reading | None:
        """A path led by what is known of the speed; None when it is the first one again."""
        return self._apart(best_path(self._combs, bonus=prior.path_bonus()))

    def _apart(self, path: SpeedPath) -> _Reading | None:
        first = self.reading(0).path
        apart = np.abs(np.log(path.rpm / first.rpm)) > SAME_SPEED
        return _read(self._sound, path, self._engine) if apart.mean() > DIFFERENT_SHARE else None


def estimate_crank(
    sound: CrankSound,
    *,
    cylinders: int,
    strokes: int = 4,
    idle_rpm: float | None = None,
    near_rpm: float | None = None,
    idle: IdleBelief | None = None,
    engine_nats: float = 0.0,
    believed: float = BELIEVED,
    paths: CrankPaths | None = None,
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
    near_rpm
        Speed of this very take, when it was read off or is otherwise known about.
    idle
        What is believed of the idle speed after other takes of the same engine.
    engine_nats
        What speaks for an engine in this take before it is heard [nats].
    believed
        Probability from which a speed is given.
    paths
        What an earlier call found in the same sound, so that it is not sought again.

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
    paths = paths or CrankPaths(sound, cylinders, strokes, idle_rpm)
    readings = [paths.reading(0)]
    freer = paths.freer()
    readings += [freer] if freer else []
    prior: SpeedPrior = idle or sheet_belief(idle_rpm)
    if near_rpm is not None:
        prior = StatedSpeed(near_rpm)
    if near_rpm is not None or (idle is not None and idle.near(idle.likeliest_rpm, LED) > LEADS):
        led = paths.beside(prior)
        readings += [led] if led else []
    known = len(readings) - 1

    def decide() -> CrankEstimate:
        return _decide(sound, readings, prior, paths.mains_hz, believed, engine_nats)

    estimate = decide()
    while len(readings) < PATHS + known and estimate.confidence < SURE:
        # A path may have locked on to something else that turns: look once more beside it.
        readings.append(paths.reading(len(readings) - known))
        estimate = decide()
    return estimate


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
            f"the sound lasts {sound.duration_s:.2f} s",
            allowed="2 s or more",
            instead="record 15 s",
        )


def _read(sound: CrankSound, path: SpeedPath, engine: _Engine) -> _Reading:
    track = CrankTrack(path.time_s, path.rpm, path.rpm, path.rpm)
    for highest_order in (6.0, 16.0):
        track = sharpen(sound.low, LOW_RATE_HZ, track, highest_order=highest_order)
    lines = line_evidence(sound, track)
    error = scale_error(lines, engine.strokes)
    track = _scaled(track, 1.0 + error)
    if abs(error) > SCALE_KEPT:
        lines = line_evidence(sound, track)
    track = _to_the_ends(track, sound.duration_s)
    found = candidates(lines, track.rpm_median, engine.cylinders, engine.strokes)
    classes = np.array(
        [class_heights(lines, one.multiple, engine.cylinders, engine.strokes) for one in found]
    )
    return _Reading(path, track, lines, found, classes)


def _to_the_ends(track: CrankTrack, duration_s: float) -> CrankTrack:
    """The track held to both ends of the take, which sharpening leaves out, so that its median
    is that of the whole take."""
    if track.time_s.size < 2:
        return track

    def held(row: Float64) -> Float64:
        return np.concatenate((row[:1], row, row[-1:]))

    return CrankTrack(
        np.concatenate(([0.0], track.time_s, [duration_s])),
        held(track.rpm),
        held(track.rpm_low),
        held(track.rpm_high),
    )


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
    sound: CrankSound,
    readings: list[_Reading],
    prior: SpeedPrior,
    mains_hz: int,
    believed: float,
    engine_nats: float,
) -> CrankEstimate:
    found = [one for reading in readings for one in reading.candidates]
    of_path = [number for number, reading in enumerate(readings) for _ in reading.candidates]
    rpms = np.array(
        [
            one.multiple * readings[number].track.rpm_median
            for one, number in zip(found, of_path, strict=True)
        ]
    )
    paths = [reading.path for reading in readings]
    calm = [1.0 if prior.of_whole_take else calm_share(one.track) for one in readings]
    calm_rpms = rpms * np.array([calm[number] for number in of_path])
    classes = np.concatenate([one.classes for one in readings])
    measures = candidate_measures(found, classes, paths, of_path)
    turns = readings[0].track.rpm_median / 60.0 * sound.duration_s
    take = take_measures(found, paths, turns)
    score, none_score = scores(measures, take, WEIGHTS)
    share, none = odds(score, none_score - engine_nats, prior.log_density(calm_rpms))
    # Candidates of two paths at the same speed count together.
    same = np.abs(np.log(rpms[:, None] / rpms[None, :])) < SAME_SPEED
    together = same @ share
    best = int(np.argmax(np.where(share > 0.2 * share.max(), together, 0.0)))
    others = np.where(same[best], 0.0, together)
    rival = int(np.argmax(others))
    reading, chosen = readings[of_path[best]], found[best]
    evidence = CrankEvidence(
        rpm=float(rpms[best]),
        probability=float(together[best]),
        none=none,
        rival_rpm=float(rpms[rival]) if others[rival] > 0.0 else float("nan"),
        rival_probability=float(others[rival]),
        candidate=chosen,
        match=float(reading.path.match.mean()),
        mains_hz=mains_hz,
        measures=measures,
        take=take,
        rpms=rpms,
        calm_rpms=calm_rpms,
        scores=score,
        none_score=none_score,
        tracks=tuple(one.track for one in readings),
        of_track=tuple(of_path),
    )
    track = _scaled(reading.track, chosen.multiple)
    leaps = _leaps(track)
    reason = _why_not(evidence, believed) or leaps
    confidence = evidence.probability
    if evidence.mains_hz or leaps:
        confidence = min(confidence, 0.1)
    likely = tuple(
        (_scaled(readings[of_path[at]].track, found[at].multiple), chance)
        for at, chance in _likely(share, together, same)
    )
    return CrankEstimate(None if reason else track, confidence, reason, evidence, likely)


def _likely(
    share: Float64, together: Float64, same: npt.NDArray[np.bool_]
) -> list[tuple[int, float]]:
    """The likeliest candidates that are not at the same speed, and what their speeds add up to."""
    left = share.copy()
    chosen: list[tuple[int, float]] = []
    while len(chosen) < LIKELY and left.max() > 0.0:
        best = int(np.argmax(np.where(left > 0.2 * left.max(), together, 0.0)))
        chance = float(left[same[best]].sum())
        left[same[best]] = 0.0
        if chance >= LEAST_LIKELY:
            chosen.append((best, chance))
    return chosen


def _leaps(track: CrankTrack) -> str | None:
    """Why a track is not to be believed that changes faster than an engine can; None if it
    does not. Such a track follows the engine's lines, but not always the same ones."""
    if track.time_s.size < 3:
        return None
    even_s = np.arange(track.time_s[0], track.time_s[-1], 0.25)
    change = np.abs(np.diff(track.rpm_at(even_s))) / 0.25
    if change.size == 0 or float(change.max()) <= FASTEST_CHANGE:
        return None
    return (
        f"the speed found leaps by {float(change.max()):.0f} rpm per second, faster than an "
        "engine can: some of it is a multiple of the real speed"
    )


def _mains_hz(sound: CrankSound) -> int:
    """50 or 60 when nearly all clear tones lie on its multiples and keep their pitch, else 0."""
    for mains_hz in (50, 60):
        if mains_share(sound, mains_hz) > MAINS_SHARE:
            return mains_hz if mains_wander(sound, mains_hz) < MAINS_WANDER else 0
    return 0


def _why_not(evidence: CrankEvidence, believed: float) -> str | None:
    """Why the likeliest speed is not to be believed, or None when it is."""
    if evidence.mains_hz:
        return f"all tones lie on multiples of {evidence.mains_hz} Hz: this is mains hum"
    if evidence.probability >= believed:
        return None
    if evidence.none > evidence.rival_probability:
        if evidence.candidate.evidence > 12.0:
            return (
                "there is a pattern of tones, but not surely that of an engine's cylinders: it "
                "may be an electric motor, a fan or another sound"
            )
        return "no pattern of an engine's firing stands out of the noise"
    return f"the lines fit {evidence.rpm:.0f} rpm about as well as {evidence.rival_rpm:.0f} rpm"
