"""The direction of a sound from stereo takes, and the pulley it points at."""

from __future__ import annotations

import contextlib
import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
import numpy.typing as npt

from beltside.base.constants import SOUND_SPEED
from beltside.base.errors import InputError, require_range
from beltside.base.provenance import Provenance
from beltside.casework.crank_speed import STATED_RANGE_RPM
from beltside.casework.formats.drive_sheet import load_drive_sheet
from beltside.casework.own_sound import WHOLE_BAND_HZ, recognise
from beltside.casework.phone_setup import Setup, ends, over_time, positions
from beltside.casework.results import Progress
from beltside.casework.takes import Conditions, Source, hear_all
from beltside.casework.where import known_part
from beltside.casework.where_results import (
    DirectionResult,
    DirectionTake,
    PathPoint,
    PointedPulley,
    listed,
)
from beltside.drive.sheet import DriveSheet
from beltside.media import open_recording
from beltside.sound.bands import Band
from beltside.sound.direction import (
    CLOSEST_MICS_MM,
    FRAME_S,
    DelayMap,
    DelayPath,
    check_channels,
    delay_map,
    delay_path,
    join,
    side_angle_deg,
)
from beltside.sound.pointing import (
    PlacedMap,
    SourcePlace,
    exchanged,
    locate,
    pulley_probability,
    swap_channels,
)

Float64 = npt.NDArray[np.float64]

METHOD: Final = "beltside.direction"
VERSION: Final = 1

UNKNOWN_SPACING_MM: Final = 160.0
"""Widest microphone spacing of a phone held sideways [mm]: delays are looked for up to this when
the spacing is not given; common practice, no source."""

SLACK: Final = 1.1
"""Delays are looked for a little beyond what the spacing allows."""

CLEAR_SIGMAS: Final = 2.5
"""A path counts when its median correlation stands this many standard deviations of what phases
without any order would show above zero; own choice."""

MOVED_DEG: Final = 12.0
MOST_POINTS: Final = 600


@dataclass(frozen=True)
class NamedSource:
    """A take in memory or a recording, under its name."""

    name: str
    source: Source


def direction(
    takes: Sequence[Path],
    setup: Setup,
    *,
    drive: Path | None = None,
    part: str | None = None,
    band_hz: tuple[float, float] | None = None,
    crank_rpm: float | None = None,
    progress: Progress | None = None,
) -> DirectionResult:
    """Where the sound in a band comes from.

    Parameters
    ----------
    takes
        Stereo recordings.
    setup
        How they were made.
    drive
        Drive sheet with positions, to name the pulley.
    part
        Listen in this part's own band, found from its lines in the first take; needs the sheet.
    band_hz
        Listen in this band (low, high) [Hz]; 1 to 8 kHz when neither is given.
    crank_rpm
        Speed read off the dash, for `part`.

    Raises
    ------
    InputError, RecordingError
        For what can't be used; says why and what would work.
    """
    sheet = load_drive_sheet(drive) if drive is not None else None
    with contextlib.ExitStack() as stack:
        sources = [
            NamedSource(path.name, stack.enter_context(open_recording(path))) for path in takes
        ]
        return direction_in(
            sources,
            setup,
            sheet=sheet,
            part=part,
            band_hz=band_hz,
            crank_rpm=crank_rpm,
            progress=progress,
        )


def direction_in(
    takes: Sequence[NamedSource],
    setup: Setup,
    *,
    sheet: DriveSheet | None = None,
    part: str | None = None,
    band_hz: tuple[float, float] | None = None,
    crank_rpm: float | None = None,
    progress: Progress | None = None,
) -> DirectionResult:
    """`direction` for sources that are open already."""
    say = progress or (lambda _what, _share: None)
    _check(takes, setup, part, sheet, crank_rpm)
    warnings: list[str] = []
    band = _band(takes, sheet, part, band_hz, crank_rpm, warnings)
    spacing_mm = setup.mic_spacing_mm
    longest_s = SLACK * (spacing_mm or UNKNOWN_SPACING_MM) / 1000.0 / SOUND_SPEED.value
    read: list[tuple[str, DelayMap | None, str, float]] = []
    for number, take in enumerate(takes):
        say(f"listening to {take.name}", number / len(takes))
        read.append(_listen(take, band, longest_s, setup.swap))
    along = positions(setup, sheet, len(takes))
    placed = [
        PlacedMap(heard, over_time(along[number], heard.time_s, seconds))
        for number, (_, heard, _, seconds) in enumerate(read)
        if heard is not None
    ]
    why_not = [_why_not(name, state) for name, heard, state, _ in read if heard is None]
    too_close = spacing_mm is not None and spacing_mm < CLOSEST_MICS_MM
    if too_close:
        why_not.append(
            f"The microphones are {spacing_mm:.0f} mm apart: too close to tell a direction, which "
            f"takes {CLOSEST_MICS_MM:.0f} mm and more. A phone held sideways, with microphones at "
            "both ends, has about 140 mm"
        )
        placed = []
    swapped = False
    place = None
    can_point = bool(placed) and spacing_mm is not None and setup.stand_off_mm is not None
    if can_point:
        assert spacing_mm is not None
        assert setup.stand_off_mm is not None
        low_mm, high_mm = ends(placed, sheet, setup.held)
        size = {"spacing_mm": spacing_mm, "stand_off_mm": setup.stand_off_mm}
        place = locate(placed, from_mm=low_mm, to_mm=high_mm, **size)
        if exchanged(place, placed):
            swapped = True
            placed = [PlacedMap(swap_channels(one.heard), one.phone_mm) for one in placed]
            place = locate(placed, from_mm=low_mm, to_mm=high_mm, **size)
            warnings.append(
                "The sound moves the same way as the phone, which fits only with left and right "
                "exchanged: the channels were exchanged."
            )
    paths = [delay_path(one.heard) for one in placed]
    clear = [path for path, one in zip(paths, placed, strict=True) if _is_clear(path, one.heard)]
    if placed and not clear:
        why_not.append(
            "The sound in this band comes from no one side: the delays between the channels show "
            "no order. Go nearer, or choose the band in which the suspect stands out"
        )
        place = None
    can_tell = bool(clear)
    results = _takes(read, paths, spacing_mm, too_close)
    pulleys: tuple[PointedPulley, ...] = ()
    if can_tell:
        pulleys = _pulleys(place, sheet, setup, why_not, warnings)
        warnings += _path_warnings(results, along, place is not None)
    say("done", 1.0)
    return DirectionResult(
        can_tell=can_tell,
        why_not=tuple(why_not),
        band_hz=(band.low_hz, band.high_hz),
        held=setup.held,
        takes=tuple(results),
        along_mm=None
        if place is None
        else (
            place.along_mm,
            place.along_mm - 1.645 * place.error_mm,
            place.along_mm + 1.645 * place.error_mm,
        ),
        pulleys=pulleys,
        swapped=swapped,
        warnings=tuple(warnings),
        provenance=Provenance(
            method=METHOD,
            version=VERSION,
            inputs={
                "mic_spacing_mm": spacing_mm,
                "stand_off_mm": setup.stand_off_mm,
                "held": setup.held,
                "at": " ".join(setup.at),
            },
            valid_range="two microphones 30 mm and more apart, source 0.05 to 3 m away",
            source="Knapp & Carter 1976 (phase transform); docs/methods/direction.md",
        ),
    )


def _check(
    takes: Sequence[NamedSource],
    setup: Setup,
    part: str | None,
    sheet: DriveSheet | None,
    crank_rpm: float | None,
) -> None:
    if setup.mic_spacing_mm is not None:
        require_range("microphone spacing", setup.mic_spacing_mm, 5.0, 1000.0, "mm")
    if setup.stand_off_mm is not None:
        require_range("stand-off", setup.stand_off_mm, 50.0, 3000.0, "mm")
    if crank_rpm is not None:
        require_range("stated crank speed", crank_rpm, *STATED_RANGE_RPM, "rpm")
    if setup.held not in ("across", "upright"):
        raise InputError(f'phone held "{setup.held}"', allowed="across or upright")
    if not takes:
        raise InputError("no take", allowed="one stereo take or more")
    if part is not None and sheet is None:
        raise InputError(
            "a part without a drive sheet",
            allowed="a part of a drive sheet",
            instead="--drive drive.toml",
        )


def _band(
    takes: Sequence[NamedSource],
    sheet: DriveSheet | None,
    part: str | None,
    band_hz: tuple[float, float] | None,
    crank_rpm: float | None,
    warnings: list[str],
) -> Band:
    """The band asked for, or the suspect's own."""
    top_hz = 0.45 * min(take.source.sample_rate_hz for take in takes)
    low_hz, high_hz = band_hz or (WHOLE_BAND_HZ[0], min(WHOLE_BAND_HZ[1], top_hz))
    if not (math.isfinite(low_hz) and 100.0 <= low_hz < high_hz <= top_hz):
        raise InputError(
            f"a band from {low_hz:g} to {high_hz:g} Hz",
            allowed=f"100 to {top_hz:.0f} Hz for these takes, the lower edge first",
            instead="1000-8000",
        )
    if part is None or band_hz is not None:
        return Band(low_hz, high_hz)
    assert sheet is not None
    name = known_part(part, sheet)
    heard = hear_all([takes[0].source], [Conditions(takes[0].name, crank_rpm=crank_rpm)], sheet)
    known = recognise(heard, sheet, name)
    if known is None:
        reason = heard[0].crank.reason
        warnings.append(
            f"No line of the {name}'s own stands out in {takes[0].name}"
            + (f" ({reason})" if reason else "")
            + f", so {low_hz:.0f} to {high_hz:.0f} Hz was used; other sounds share that band."
        )
        return Band(low_hz, high_hz)
    return own_band(known.own.low_hz, known.own.high_hz, top_hz)


def own_band(low_hz: float, high_hz: float, top_hz: float) -> Band:
    """A suspect's band for a direction [Hz], at most up to `top_hz`: under half an octave several
    delays fit alike."""
    middle = math.sqrt(low_hz * high_hz)
    low_hz = max(min(low_hz, middle / 1.4, 0.5 * top_hz), 100.0)
    return Band(low_hz, min(max(high_hz, middle * 1.4), top_hz))


def _listen(
    take: NamedSource, band: Band, longest_s: float, swap: bool
) -> tuple[str, DelayMap | None, str, float]:
    """Name, delay map (None when it can't tell), state of the channels, and length [s]."""
    rate_hz = take.source.sample_rate_hz
    maps: list[DelayMap] = []
    states: list[str] = []
    start_s = 0.0
    for block in take.source.blocks(20.0):
        seconds = block.shape[1] / rate_hz
        if block.shape[0] < 2:
            states.append("mono")
        elif seconds > FRAME_S + 0.1 and bool(block[:2].any()):
            pair = block[1::-1] if swap else block[:2]
            state = check_channels(pair, rate_hz, band).state
            states.append(state)
            if state == "apart":
                maps.append(delay_map(pair, rate_hz, band, longest_s, start_s=start_s))
        start_s += seconds
    take.source.require_usable()
    if not maps:
        return take.name, None, states[0] if states else "one silent", start_s
    return take.name, join(maps), "apart", start_s


def _why_not(name: str, state: str) -> str:
    return {
        "mono": f"{name} has one channel: a direction takes two microphones. Set the camera or "
        "recorder to stereo",
        "same": f"{name} has the same sound in both channels: one microphone written twice. "
        "Another recording app may write both microphones",
        "one silent": f"{name} has sound in one channel only",
    }[state]


def _is_clear(path: DelayPath, heard: DelayMap) -> bool:
    sigma = 1.0 / math.sqrt(2.0 * heard.frequency_hz.size / 1.5)
    return float(np.median(path.strength)) >= CLEAR_SIGMAS * sigma


def _takes(
    read: Sequence[tuple[str, DelayMap | None, str, float]],
    paths: Sequence[DelayPath],
    spacing_mm: float | None,
    too_close: bool,
) -> list[DirectionTake]:
    results = []
    left = iter(paths)
    for name, heard, state, _ in read:
        if heard is None or too_close:
            results.append(DirectionTake(name, "too close" if heard else state, (), None))
            continue
        path = next(left)
        angle = None if spacing_mm is None else side_angle_deg(path.delay_s, spacing_mm)
        picked = np.unique(
            np.linspace(0, path.time_s.size - 1, min(MOST_POINTS, path.time_s.size)).round()
        ).astype(int)
        spread = None
        if spacing_mm is not None:
            spread = float(side_angle_deg(-min(path.spread_s, 2e-3), spacing_mm))
        results.append(
            DirectionTake(
                name,
                state,
                tuple(
                    PathPoint(
                        float(path.time_s[i]),
                        float(path.delay_s[i]),
                        None if angle is None else float(angle[i]),
                        float(path.strength[i]),
                    )
                    for i in picked
                ),
                spread,
            )
        )
    return results


def _pulleys(
    place: SourcePlace | None,
    sheet: DriveSheet | None,
    setup: Setup,
    why_not: list[str],
    warnings: list[str],
) -> tuple[PointedPulley, ...]:
    """The pulleys, most likely first; why none can be named goes to `why_not`."""
    if place is None:
        missing = [
            word
            for word, given in (
                ("the microphones' spacing", setup.mic_spacing_mm),
                ("the stand-off", setup.stand_off_mm),
            )
            if given is None
        ]
        if missing:
            why_not.append(f"No pulley can be named without {listed(missing)}")
        return ()
    if sheet is None:
        why_not.append("No pulley can be named without a drive sheet")
        return ()
    across = setup.held == "across"
    spots = [
        (p.part, float(p.x_mm if across else p.y_mm))
        for p in sheet.pulleys
        if p.x_mm is not None and p.y_mm is not None
    ]
    if not spots:
        why_not.append("No pulley can be named: the drive sheet gives no positions")
        return ()
    chance = pulley_probability([along for _, along in spots], place)
    nearest = min(abs(along - place.along_mm) for _, along in spots)
    if nearest > 2.0 * place.error_mm:
        warnings.append(
            f"The sound comes from {place.along_mm:.0f} mm, {nearest:.0f} mm beside the nearest "
            "pulley: it may be none of them, or the phone was not where it is said to be."
        )
    found = [
        PointedPulley(part, along, float(p)) for (part, along), p in zip(spots, chance, strict=True)
    ]
    found.sort(key=lambda one: -one.probability)
    close = [one.part for one in found[1:] if one.probability > 0.5 * found[0].probability]
    if close:
        other = "upright" if across else "across"
        warnings.append(
            f"The {found[0].part} and the {listed(close)} lie too near each other along this line "
            f"to be told apart: make a take with the phone held {other} (--held {other})."
        )
    return tuple(found)


def _path_warnings(
    takes: Sequence[DirectionTake], along: Sequence[Sequence[float]], placed: bool
) -> list[str]:
    said = []
    for take, knots in zip(takes, along, strict=True):
        angles = [point.angle_deg for point in take.path if point.angle_deg is not None]
        if not angles or len(knots) > 1 or not placed:
            continue
        swing = float(np.percentile(angles, 90) - np.percentile(angles, 10))
        if swing > MOVED_DEG:
            said.append(
                f"{take.file}: the direction swings by {swing:.0f} degrees while the phone counts "
                "as held still. If it was moved, say from where to where: --at idler:alternator."
            )
    return said
