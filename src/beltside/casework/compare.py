"""Two takes side by side: before and after a repair, or belt on and belt off."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Final

import numpy as np
import numpy.typing as npt

from beltside.base.errors import OutOfRangeError
from beltside.base.provenance import Provenance
from beltside.base.units import power_to_db
from beltside.casework import compare_checks as checks
from beltside.casework.compare_lines import line_changes, part_changes
from beltside.casework.compare_match import (
    Matched,
    band_take,
    beat_gains,
    common_lines,
    engine_lines,
    gain_points,
    match_take,
)
from beltside.casework.compare_results import (
    BandChange,
    ComparePictures,
    CompareResult,
    MatchedTake,
    Range,
)
from beltside.casework.compare_takes import TakeSound, load_pair, require_sound
from beltside.casework.crank_speed import CrankSpeed
from beltside.casework.picture_data import OrderSpectrum
from beltside.casework.results import Crank, Progress
from beltside.casework.takes import ArraySource, Conditions, hear_all
from beltside.drive.expected import firing_order
from beltside.drive.sheet import DriveSheet
from beltside.sound.compare_change import (
    BandTake,
    Change,
    band_changes,
    band_covariance,
    matched_parts,
    overall_change,
)
from beltside.sound.compare_frames import common_speeds, speed_range, speed_weights, time_frames
from beltside.sound.compare_gain import FEWEST, Gain, gain_over_frequency, line_gains
from beltside.sound.compare_heard import HeardRatio, heard_ratios
from beltside.sound.compare_muffled import engine_tilt, level_tilt
from beltside.sound.gate import Float64
from beltside.sound.level import level_of_power, third_octave_edges
from beltside.sound.loudness import BANDS
from beltside.sound.third_octave import a_weight, nominal_hz

METHOD: Final = "beltside.compare"
VERSION: Final = 3

SPEED_POWER: Final = 1.5
"""By how much the power of speed that one part's noise grows with may differ from the engine's;
own choice."""

PICTURE_ORDER_TOP: Final = 40.0


def compare(
    before: Path,
    after: Path,
    *,
    drive: Path | None,
    before_rpm: float | None = None,
    after_rpm: float | None = None,
    progress: Progress | None = None,
) -> CompareResult:
    """Compare two recordings of one engine.

    Parameters
    ----------
    before, after
        Recordings in any format a phone writes, 2 s or more.
    drive
        Drive sheet.
    before_rpm, after_rpm
        Crank speeds read off a dash or scan tool, 300 to 8000 [1/min].
    progress
        Told what is being done and the share done.

    Raises
    ------
    InputError, RecordingError, LimitError
        For a sheet or a take that can't be used; each says why and what would work.
    """
    sheet, sounds = load_pair(
        before, after, drive=drive, before_rpm=before_rpm, after_rpm=after_rpm, progress=progress
    )
    return compare_sounds(*sounds, sheet, progress=progress)


def compare_sounds(
    before: TakeSound, after: TakeSound, sheet: DriveSheet, *, progress: Progress | None = None
) -> CompareResult:
    """Compare two takes in memory.

    Raises
    ------
    RecordingError
        When one is under 2 s or silent.
    """
    say = progress or (lambda _what, _share: None)
    takes = (before, after)
    reasons: list[str] = []
    for take in takes:
        require_sound(take)
        reasons += take.reasons if take.clipped is not None else checks.recording_reasons(
            take.name, take.samples[None, :], take.sample_rate_hz,
            checks.clipped_share(take.samples),
        )  # fmt: skip
    if checks.same_recording(before.samples, after.samples):
        reasons.append("both files hold the same recording, so there is nothing to compare")
        unknown = CrankSpeed(None, 0.0, "not looked for: both files are the same", "sound")
        return _refused(takes, (unknown, unknown), sheet, reasons)
    conditions = [Conditions(take.name, crank_rpm=take.crank_rpm) for take in takes]
    sources = [ArraySource(take.samples[None, :], take.sample_rate_hz) for take in takes]
    heard = hear_all(sources, conditions, sheet, lambda what, share: say(what, 0.1 + 0.6 * share))
    cranks = (heard[0].crank, heard[1].crank)
    names = (before.name, after.name)
    reasons += checks.speed_reasons(names, cranks)
    tracks = [crank.track for crank in cranks]
    if tracks[0] is None or tracks[1] is None:
        return _refused(takes, cranks, sheet, reasons)
    say("comparing", 0.75)
    seconds = [take.samples.size / take.sample_rate_hz for take in takes]
    ranges = [
        speed_range(track, length) for track, length in zip(tracks, seconds, strict=True) if track
    ]
    common = common_speeds(ranges)
    if common is None:
        spans = [f"{low:.0f} to {high:.0f} rpm" for low, high in ranges]
        reasons.append(
            f"the speeds do not meet: {names[0]} runs at {spans[0]}, {names[1]} at {spans[1]}. "
            "Record both at the same speed"
        )
        return _refused(takes, cranks, sheet, reasons)
    top_hz = min(take.sample_rate_hz for take in takes) / 2.0
    matched: list[Matched] = []
    for take, track, hearing in zip(takes, tracks, (one.hearing for one in heard), strict=True):
        assert track is not None
        try:
            matched.append(match_take(take, track, hearing, common, sheet, top_hz))
        except OutOfRangeError as error:
            reasons.append(f"too little of {take.name} is at the common speed: {error.given}")
    if len(matched) < 2:
        return _refused(takes, cranks, sheet, reasons)
    return _compare_matched(takes, (matched[0], matched[1]), cranks, sheet, reasons)


def _compare_matched(
    takes: tuple[TakeSound, TakeSound],
    matched: tuple[Matched, Matched],
    cranks: tuple[CrankSpeed, CrankSpeed],
    sheet: DriveSheet,
    reasons: list[str],
) -> CompareResult:
    cycle = 0.5 if sheet.engine.strokes == 4 else 1.0
    one, other = matched
    band = one.times.band[: min(one.times.band.size, other.times.band.size)]
    low_hz, centre_hz, high_hz = third_octave_edges(band)
    lines = engine_lines(matched, cycle, firing_order(sheet))
    own = lines.own
    points = line_gains(
        (lines.power[0][own], lines.sd[0][own]),
        (lines.power[1][own], lines.sd[1][own]),
        lines.hz[own],
    )
    beats = beat_gains(matched, cycle)
    if points.gain_db.size < FEWEST:
        reasons.append(
            f"only {points.gain_db.size} of the engine's own lines stand out in both takes, and "
            "the gain between them is read from those. Record closer to the engine"
        )
        return _refused(takes, cranks, sheet, reasons)
    sure, doubtful = gain_points(lines, points, beats)
    gain = gain_over_frequency(sure, doubtful, centre_hz)
    lines = common_lines(lines, gain)
    weights = speed_weights(one.times.rpm, other.times.rpm)
    bands = [
        band_take(take, weight, lines, side, band)
        for side, (take, weight) in enumerate(zip(matched, weights, strict=True))
    ]
    reasons += checks.gain_reasons(gain, bands[0].power)
    if not reasons:
        heard = ~(bands[0].floor | bands[1].floor)
        change_db = level_of_power(bands[1].power) - level_of_power(bands[0].power)
        reasons += checks.muffled_reasons(
            (takes[0].name, takes[1].name),
            engine_tilt(points, beats),
            level_tilt(centre_hz[heard], change_db[heard]),
        )
    if reasons:
        return _refused(takes, cranks, sheet, reasons)
    rpm = [float(weight @ take.times.rpm) for take, weight in zip(matched, weights, strict=True)]
    apart_db = abs(20.0 * math.log10(rpm[1] / rpm[0]))
    speed_db = SPEED_POWER * apart_db
    flat, weight_a = np.ones(band.size), a_weight(centre_hz)
    overall, overall_a = (
        overall_change(bands[0], bands[1], gain, weight, speed_db, apart_db)
        for weight in (flat, weight_a)
    )
    wide = (high_hz - low_hz) / (firing_order(sheet) * rpm[0] / 60.0)
    spread = band_covariance(bands[0], bands[1], gain, speed_db, apart_db, wide)
    changes = band_changes(bands[0], bands[1], gain, spread)
    explained = line_changes((one.hearing, other.hearing), (one.turns, other.turns), gain, sheet)
    loud, sharp = _heard(matched, weights, bands, gain, band, spread)
    total, total_sd = gain.weighted(bands[0].power)
    return CompareResult(
        comparable=True,
        why_not=(),
        quieter_db=_range(overall),
        quieter_dba=_range(overall_a),
        loudness_ratio=Range(loud.value, loud.low, loud.high),
        sharpness_ratio=Range(sharp.value, sharp.low, sharp.high),
        gain_db=Range(total, total - 1.645 * total_sd, total + 1.645 * total_sd),
        bands=tuple(_bands(band, bands, gain, changes)),
        orders=tuple(explained),
        parts=tuple(part_changes(explained)),
        takes=_taken(takes, cranks, matched, total),
        warnings=_warnings(takes, cranks, matched, bands),
        provenance=_provenance(takes, sheet, gain.points),
        pictures=_pictures(matched, gain),
    )


def _range(change: Change) -> Range:
    return Range(change.value, change.low, change.high)


def _heard(
    matched: tuple[Matched, Matched],
    weights: tuple[Float64, Float64],
    bands: list[BandTake],
    gain: Gain,
    band: npt.NDArray[np.intp],
    spread: Float64,
) -> tuple[HeardRatio, HeardRatio]:
    """Ratios of loudness and sharpness at the first take's gain; `spread` is the covariance of
    the bands' changes."""
    engine, rest, rest_after = matched_parts(bands[0], bands[1], gain)
    known = np.isin(BANDS, band)
    place = np.searchsorted(band, BANDS[known])
    powers = []
    for take, weight, fixed in zip(
        matched, weights, (engine + rest, engine + rest_after), strict=True
    ):
        through = np.zeros(BANDS.size)
        mean = weight @ take.times.loudness_power
        inside = weight @ take.times.power[:, : band.size]
        # What the filters let through of the neighbours stays in proportion to the band.
        through[known] = mean[known] * fixed[place] / np.maximum(inside[place], 1e-30)
        powers.append(through)
    covariance = np.zeros((BANDS.size, BANDS.size))
    index = np.flatnonzero(known)
    covariance[np.ix_(index, index)] = spread[np.ix_(place, place)]
    return heard_ratios(powers[0], powers[1], covariance)


def _bands(
    band: npt.NDArray[np.intp], takes: list[BandTake], gain: Gain, changes: list[Change]
) -> list[BandChange]:
    low, _, high = third_octave_edges(band)
    before, after = (level_of_power(take.power) for take in takes)
    return [
        BandChange(
            float(nominal), float(low[k]), float(high[k]), float(before[k]), float(after[k]),
            float(after[k] - gain.db[k]), _range(changes[k]),
        )
        for k, nominal in enumerate(nominal_hz(band))
    ]  # fmt: skip


def _taken(
    takes: tuple[TakeSound, TakeSound],
    cranks: tuple[CrankSpeed, CrankSpeed],
    matched: tuple[Matched, Matched] | None,
    gain_db: float,
) -> tuple[MatchedTake, MatchedTake]:
    made = []
    for side, (take, crank) in enumerate(zip(takes, cranks, strict=True)):
        stretch = matched[side].stretch if matched else None
        made.append(
            MatchedTake(
                take.name,
                None
                if crank.track is None
                else Crank.from_track(crank.track, crank.confidence, source=crank.source),
                crank.reason or ("not told" if crank.track is None else None),
                stretch.start_s if stretch else 0.0,
                stretch.end_s if stretch else take.samples.size / take.sample_rate_hz,
                -gain_db if side else 0.0,
            )
        )
    return made[0], made[1]


def _warnings(
    takes: tuple[TakeSound, TakeSound],
    cranks: tuple[CrankSpeed, CrankSpeed],
    matched: tuple[Matched, Matched],
    bands: list[BandTake],
) -> tuple[str, ...]:
    said = [warning for take in takes for warning in take.warnings]
    said += [warning for crank in cranks for warning in crank.warnings]
    for take, one, own in zip(takes, matched, bands, strict=True):
        clipped = take.clipped if take.clipped is not None else checks.clipped_share(take.samples)
        if clipped >= checks.CLIPPED_WORTH_SAYING and not take.warnings:
            said.append(f"Slightly clipped: {take.name} ({100.0 * clipped:.2g} %).")
        seconds = take.samples.size / take.sample_rate_hz
        if one.stretch.seconds < 0.9 * seconds:
            said.append(
                f"Only {one.stretch.start_s:.1f} to {one.stretch.end_s:.1f} s of {take.name} is at "
                "the speed of the other take, and only that is compared."
            )
        if one.stretch.seconds < 8.0:
            said.append(
                f"Only {one.stretch.seconds:.1f} s of {take.name} are compared; the ranges are "
                "wide for it."
            )
        if own.floor.any():
            lowest = float(nominal_hz(one.times.band[: own.floor.size][own.floor]).min())
            said.append(
                f"From {lowest:g} Hz up little but the recording's own noise is heard in "
                f"{take.name}; changes there are left open."
            )
    return tuple(dict.fromkeys(said))


def _provenance(
    takes: tuple[TakeSound, TakeSound], sheet: DriveSheet, lines: int | None
) -> Provenance:
    return Provenance(
        method=METHOD,
        version=VERSION,
        inputs={
            "before": takes[0].name,
            "after": takes[1].name,
            "cylinders": sheet.engine.cylinders,
            "strokes": sheet.engine.strokes,
            "gain_points": lines,
        },
        valid_range="the same engine and place, speeds within 10 %, 3 s of common speed or more",
        source="own method, docs/methods/compare.md; loudness ISO 532-1:2017, sharpness "
        "DIN 45692:2009",
    )


def _pictures(matched: tuple[Matched, Matched], gain: Gain) -> ComparePictures:
    strips = []
    for side, one in enumerate(matched):
        turns = one.turns
        shown = (turns.order > 0.2) & (turns.order <= PICTURE_ORDER_TOP)
        hz = np.maximum(turns.order[shown] * turns.turn_hz, 1.0)
        matched_db = -np.interp(np.log(hz), np.log(gain.at_hz), gain.db) if side else 0.0
        strips.append(
            OrderSpectrum(
                turns.order[shown],
                np.asarray(power_to_db(2.0 * turns.mean[shown], 1e-20) + matched_db),
                np.asarray(power_to_db(2.0 * turns.background[shown], 1e-20) + matched_db),
            )
        )
    return ComparePictures(strips[0], strips[1])


def _refused(
    takes: tuple[TakeSound, TakeSound],
    cranks: tuple[CrankSpeed, CrankSpeed],
    sheet: DriveSheet,
    reasons: list[str],
) -> CompareResult:
    """No number, the reasons, and each take's own band levels."""
    top_hz = min(take.sample_rate_hz for take in takes) / 2.0
    means = []
    for take in takes:
        frames = time_frames(take.samples, take.sample_rate_hz, None, top_hz)
        means.append(frames.power.mean(axis=0))
    low, _, high = third_octave_edges(frames.band)
    before, after = (level_of_power(power) for power in means)
    return CompareResult(
        comparable=False,
        why_not=tuple(reason[0].upper() + reason[1:] + "." for reason in dict.fromkeys(reasons)),
        quieter_db=Range(),
        quieter_dba=Range(),
        loudness_ratio=Range(),
        sharpness_ratio=Range(),
        gain_db=Range(),
        bands=tuple(
            BandChange(
                float(nominal), float(low[k]), float(high[k]), float(before[k]), float(after[k]),
                None, Range(),
            )
            for k, nominal in enumerate(nominal_hz(frames.band))
        ),
        orders=(),
        parts=(),
        takes=_taken(takes, cranks, None, 0.0),
        warnings=tuple(
            dict.fromkeys(
                [warning for take in takes for warning in take.warnings]
                + [warning for crank in cranks for warning in crank.warnings]
            )
        ),
        provenance=_provenance(takes, sheet, None),
    )  # fmt: skip
