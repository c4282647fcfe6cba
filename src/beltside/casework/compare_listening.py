"""The listening pair of a comparison: two small files to play one after the other."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np

from beltside.base.errors import BeltsideError, InputError
from beltside.base.words import suggest_part
from beltside.casework.compare_results import CompareResult, LineChange, MatchedTake
from beltside.casework.compare_takes import TakeSound
from beltside.media import write_recording
from beltside.sound.gate import Float32
from beltside.sound.level_match import (
    LONGEST_S,
    MOST_LINES,
    level_matched,
    nearest_window,
    only_band,
    only_lines,
)
from beltside.sound.track import CrankTrack

SUFFIXES: Final = (".m4a", ".wav")
BIT_RATE: Final = 96_000


@dataclass(frozen=True)
class ListeningPair:
    """The files written, and what is heard in them, in words."""

    before: Path
    after: Path
    seconds: float
    says: str


def write_listening_pair(
    result: CompareResult,
    sounds: tuple[TakeSound, TakeSound],
    folder: Path,
    *,
    only: str | None = None,
    suffix: str = ".m4a",
) -> ListeningPair:
    """Write `listen-before` and `listen-after` into `folder`.

    Parameters
    ----------
    result, sounds
        A comparison and the takes it was made of.
    folder
        Made when missing; files of the same name are replaced.
    only
        A part whose lines, or whose band, alone are to be heard; None plays all of the sound.
    suffix
        ".m4a" (AAC) or ".wav".

    Raises
    ------
    InputError
        When the takes can't be compared, the part has no line in either, or the suffix is another.
    BeltsideError
        When the folder can't be written into.
    """
    if suffix not in SUFFIXES:
        raise InputError(f"a pair as {suffix}", allowed=" or ".join(SUFFIXES), instead=".m4a")
    if not result.comparable:
        raise InputError(
            "the takes can't be compared, so they can't be brought to the same level",
            allowed="two takes of the same engine, place and speed",
            instead="; ".join(result.why_not),
        )
    lines = _lines_of(result, only)
    cut = [_cut(sound, take, result) for sound, take in zip(sounds, result.takes, strict=True)]
    says = "all of the sound"
    if lines:
        cut, says = _filtered(cut, sounds, lines, only or "")
    before, after, rate_hz = level_matched(
        cut[0][0], cut[1][0], (sounds[0].sample_rate_hz, sounds[1].sample_rate_hz),
        result.gain_db.value or 0.0,
    )  # fmt: skip
    paths = [folder / f"listen-{name}{suffix}" for name in ("before", "after")]
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for path, samples in zip(paths, (before, after), strict=True):
            write_recording(path, samples, rate_hz, bit_rate=BIT_RATE if suffix == ".m4a" else None)
    except OSError as error:
        raise BeltsideError(
            f"the listening pair can't be written into {folder}: {error.strerror or error}",
            instead="another folder, one you may write into",
        ) from error
    return ListeningPair(paths[0], paths[1], before.size / rate_hz, says)


def _lines_of(result: CompareResult, only: str | None) -> list[LineChange]:
    """The lines of one part."""
    if only is None:
        return []
    parts = sorted({line.part for line in result.orders})
    if only not in parts:
        named = f"one of {', '.join(parts)}" if parts else "none: no line is explained in the takes"
        raise InputError(
            f"no line of {only} is explained in either take",
            allowed=named,
            instead=suggest_part(only, parts) or "all of the sound, without --only",
        )
    return [line for line in result.orders if line.part == only]


def track_of(take: MatchedTake) -> CrankTrack:
    """Crank track of a take, from its result."""
    if take.crank is None:
        raise InputError(f"{take.file} has no crank speed", allowed="a take with one")
    if len(take.crank.track) < 2:
        return CrankTrack.constant(take.crank.rpm_median)
    time_s, rpm = (np.array(column) for column in zip(*take.crank.track, strict=True))
    return CrankTrack(time_s, rpm, rpm, rpm)


def _cut(sound: TakeSound, take: MatchedTake, result: CompareResult) -> tuple[Float32, CrankTrack]:
    """Up to 10 s of a take, at the speed nearest to the other's, and the track beside it."""
    seconds = min(LONGEST_S, *(one.end_s - one.start_s for one in result.takes))
    speeds = [one.crank.rpm_median for one in result.takes if one.crank is not None]
    track = track_of(take)
    start_s = nearest_window(track, take.start_s, take.end_s, seconds, float(np.mean(speeds)))
    first = round(start_s * sound.sample_rate_hz)
    samples = sound.samples[first : first + round(seconds * sound.sample_rate_hz)]
    shifted = CrankTrack(track.time_s - start_s, track.rpm, track.rpm_low, track.rpm_high)
    return samples, shifted


def _filtered(
    cut: list[tuple[Float32, CrankTrack]],
    sounds: tuple[TakeSound, TakeSound],
    lines: list[LineChange],
    part: str,
) -> tuple[list[tuple[Float32, CrankTrack]], str]:
    """Only the part's lines, or where it shows in the rhythm alone, only its band."""
    part_name = part.replace("-", " ")
    tones = [line for line in lines if line.spectrum == "sound"]
    kept = []
    if tones:
        orders = sorted({line.order for line in tones[:MOST_LINES]})
        for (samples, track), sound in zip(cut, sounds, strict=True):
            kept.append((only_lines(samples, sound.sample_rate_hz, track, orders), track))
        named = ", ".join(f"{order:.2f}" for order in orders[:4])
        more = " and more" if len(orders) > 4 else ""
        return kept, f"only the lines of the {part_name} (order {named}{more})"
    bands = [line.band_hz for line in lines if line.band_hz is not None]
    low_hz = bands[0][0]
    high_hz = min(bands[0][1], 0.45 * min(sound.sample_rate_hz for sound in sounds))
    for (samples, track), sound in zip(cut, sounds, strict=True):
        kept.append((only_band(samples, sound.sample_rate_hz, low_hz, high_hz), track))
    return kept, f"only the band of the {part_name} ({low_hz:.0f} to {high_hz:.0f} Hz)"
