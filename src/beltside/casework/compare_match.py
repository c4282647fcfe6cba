"""Takes cut to the stretches that are compared, and what the gain between them is read from."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import numpy.typing as npt

from beltside.base.errors import OutOfRangeError
from beltside.casework import compare_checks as checks
from beltside.casework.compare_takes import TakeSound
from beltside.casework.takes import ArraySource, hear
from beltside.drive.sheet import DriveSheet
from beltside.sound.compare_change import BandTake
from beltside.sound.compare_frames import (
    Stretch,
    TimeFrames,
    TurnFrames,
    cut_track,
    longest_stretch,
    time_frames,
    turn_frames,
)
from beltside.sound.compare_gain import Gain, GainPoints, line_groups
from beltside.sound.compare_power import (
    envelope_power,
    mean_and_sd,
    own_noise,
    window_power,
    without_noise,
)
from beltside.sound.gate import Float32, Float64
from beltside.sound.hearing import Hearing
from beltside.sound.level import third_octave_edges
from beltside.sound.orders import HANN_NOISE_BINS
from beltside.sound.track import CrankTrack

ENGINE_ORDERS: Final = (0.9, 60.0)
"""Engine lines that the gain is read from [per turn]."""

BEAT_ORDER_TOP: Final = 12.0
LEAST_DEPTH: Final = 0.1
SMEAR: Final = 0.004

LONE_DB: Final = 12.0
"""A line this far above the engine's lines beside it is not the engine's; own choice."""

LONE_REACH: Final = 4
LONE_FROM: Final = 3.0
"""Up to this many times the firing order the engine's lines are strongest and least alike."""

COMMON_TOP: Final = 20.0
"""Above this order the engine's lines are weak and its windows nearly touch: no line counts as
the engine's there [per turn]."""

TONAL: Final = 8.0
"""A bin this many times above its background belongs to a line."""

STRANGE: Final = 2.0
"""A line this many times further off than lines stray is not the engine's alone."""

MOST_STRAY_DB: Final = 3.0


@dataclass(frozen=True)
class Matched:
    """One take cut to the stretch that is compared."""

    stretch: Stretch
    samples: Float32
    track: CrankTrack
    hearing: Hearing
    turns: TurnFrames
    times: TimeFrames


def match_take(
    take: TakeSound,
    track: CrankTrack,
    hearing: Hearing,
    common: tuple[float, float],
    sheet: DriveSheet,
    top_hz: float,
) -> Matched:
    """Cut a take to its longest stretch at the common speeds, and take it apart."""
    rate_hz = take.sample_rate_hz
    seconds = take.samples.size / rate_hz
    stretch = longest_stretch(track, seconds, common)
    if stretch.seconds < checks.SHORTEST_S:
        raise OutOfRangeError(f"{stretch.seconds:.1f} s")
    samples = take.samples
    if stretch.seconds < seconds - 0.5:
        first, last = round(stretch.start_s * rate_hz), round(stretch.end_s * rate_hz)
        samples = take.samples[first:last]
        track = cut_track(track, stretch.start_s)
        hearing = hear(ArraySource(samples[None, :], rate_hz), track)
    else:
        stretch = replace(stretch, start_s=0.0, end_s=seconds)
    cycle = 0.5 if sheet.engine.strokes == 4 else 1.0
    turns = turn_frames(samples, rate_hz, track, cycle)
    times = time_frames(samples, rate_hz, track, top_hz)
    return Matched(stretch, samples, track, hearing, turns, times)


@dataclass(frozen=True)
class EngineLines:
    """The engine's lines in both takes."""

    order: Float64
    half: Float64
    power: tuple[Float64, Float64]
    sd: tuple[Float64, Float64]
    hz: Float64
    own: npt.NDArray[np.bool_]


def engine_lines(matched: tuple[Matched, Matched], cycle: float, firing: float) -> EngineLines:
    """The engine's lines in both takes; `cycle` and `firing` are its lowest orders."""
    top = min(ENGINE_ORDERS[1], *(float(one.turns.order[-1]) - 1.0 for one in matched))
    first = math.ceil(ENGINE_ORDERS[0] / cycle)
    order = cycle * np.arange(first, int(top / cycle) + 1, dtype=np.float64)
    found = []
    for one in matched:
        half = np.minimum(2.0 * one.turns.step + SMEAR * order, 0.4 * cycle)
        found.append(window_power(one.turns, order, half))
    turn_hz = math.sqrt(matched[0].turns.turn_hz * matched[1].turns.turn_hz)
    alone = lone_lines(order, found[0][0], firing) | lone_lines(order, found[1][0], firing)
    step = max(one.turns.step for one in matched)
    return EngineLines(
        order,
        np.minimum(2.0 * step + SMEAR * order, 0.4 * cycle),
        (found[0][0], found[1][0]),
        (found[0][1], found[1][1]),
        order * turn_hz,
        ~alone,
    )


def lone_lines(order: Float64, power: Float64, firing: float) -> npt.NDArray[np.bool_]:
    """Lines that tower over the engine's lines of the same kind beside them.

    The engine's lines fall off smoothly with order, firing lines above the others. One that
    stands alone is something else that happens to pass by at a whole order.
    """
    level_db = 10.0 * np.log10(np.maximum(power, float(np.max(power)) * 1e-9 + 1e-30))
    per_firing = order / firing
    fires = np.abs(per_firing - np.round(per_firing)) < 1e-6
    alone = np.zeros(order.size, dtype=np.bool_)
    for kind in (fires, ~fires):
        place = np.flatnonzero(kind)
        if place.size < 5:
            continue
        padded = np.pad(level_db[place], LONE_REACH, mode="reflect")
        window = np.lib.stride_tricks.sliding_window_view(padded, 2 * LONE_REACH + 1)
        alone[place] = level_db[place] - np.median(window, axis=1) > LONE_DB
    alone[order <= LONE_FROM * firing] = False
    return alone


def beat_gains(matched: tuple[Matched, Matched], cycle: float) -> GainPoints:
    """Gain of what beats with the engine's cycle, band by band."""
    place, gain, sd = [], [], []
    spectra = [one.hearing.orders.envelope if one.hearing.orders else None for one in matched]
    if spectra[0] is None or spectra[1] is None:
        return GainPoints(np.zeros(0), np.zeros(0), np.zeros(0))
    for row in range(min(len(one.hearing.bands) for one in matched)):
        band = matched[0].hearing.bands[row]
        if abs(band.centre_hz / matched[1].hearing.bands[row].centre_hz - 1.0) > 0.01:
            break
        levels, spreads = [], []
        for one, spectrum in zip(matched, spectra, strict=True):
            assert spectrum is not None
            top = min(BEAT_ORDER_TOP, 0.7 * band.width_hz / one.turns.turn_hz,
                      float(spectrum.order[-1]) - 1.0)  # fmt: skip
            order = cycle * np.arange(1, int(top / cycle) + 1, dtype=np.float64)
            if order.size == 0:
                break
            power, own = envelope_power(spectrum, row, order, cycle)
            beat, doubt = float(power.sum()), float(np.sqrt(np.sum(own**2)))
            if beat < 4.0 * doubt or math.sqrt(2.0 * max(beat, 0.0)) < LEAST_DEPTH:
                break
            levels.append(0.5 * math.log(beat) + math.log(float(one.hearing.band_power[row])))
            spreads.append(0.5 * doubt / beat)
        if len(levels) == 2:
            place.append(band.centre_hz)
            gain.append(10.0 / math.log(10.0) * (levels[1] - levels[0]))
            sd.append(10.0 / math.log(10.0) * math.hypot(*spreads))
    return GainPoints(np.array(place), np.array(gain), np.array(sd))


def gain_points(
    lines: EngineLines, points: GainPoints, beats: GainPoints
) -> tuple[GainPoints, GainPoints]:
    """The engine's lines that are its own for sure, and what may be a fault's as well.

    Parameters
    ----------
    lines
        The engine's lines.
    points
        What those of them that stand out show of the gain.
    beats
        From `beat_gains`.
    """
    top_hz = float(np.interp(COMMON_TOP, lines.order, lines.hz)) * (1.0 + 1e-9)
    low = points.frequency_hz <= top_hz
    sure, high = (
        GainPoints(points.frequency_hz[kept], points.gain_db[kept], points.sd_db[kept])
        for kept in (low, ~low)
    )
    grouped = line_groups(high)
    return sure, GainPoints(
        np.concatenate((beats.frequency_hz, grouped.frequency_hz)),
        np.concatenate((beats.gain_db, grouped.gain_db)),
        np.concatenate((beats.sd_db, grouped.sd_db)),
    )


def common_lines(lines: EngineLines, gain: Gain) -> EngineLines:
    """The engine's lines with what is not the engine's own taken off.

    A line that changed by more than such lines stray shares its place with something else (a
    pump's vanes may pass by at a whole order): only what both takes have in common is kept.
    """
    gain_db = np.interp(np.log(lines.hz), np.log(gain.at_hz), gain.db)
    factor = 10.0 ** (0.1 * gain_db)
    one = np.maximum(lines.power[0], 0.0)
    other = np.maximum(lines.power[1], 0.0) / factor
    own = np.hypot(
        lines.sd[0] / np.maximum(one, 1e-30), lines.sd[1] / factor / np.maximum(other, 1e-30)
    )
    stray_db = np.hypot(gain.scatter_db, 10.0 / math.log(10.0) * own)
    apart_db = 10.0 * np.abs(np.log10(np.maximum(one, 1e-30) / np.maximum(other, 1e-30)))
    least = np.minimum(one, other)
    strange = apart_db > STRANGE * np.minimum(stray_db, MOST_STRAY_DB)
    kept = lines.own & (lines.order <= COMMON_TOP)
    return replace(
        lines,
        power=(
            np.where(kept, np.where(strange, least, one), 0.0),
            np.where(kept, np.where(strange, least, other) * factor, 0.0),
        ),
        own=kept & ~strange,
    )


def band_take(
    take: Matched, weight: Float64, lines: EngineLines, side: int, band: npt.NDArray[np.intp]
) -> BandTake:
    power, sd = mean_and_sd(take.times.power[:, : band.size], weight, take.times.frame_s)
    power, sd, floor = without_noise(power, sd, own_noise(band, power))
    low, _, high = third_octave_edges(band)
    clear = lines.power[side] > 3.0 * lines.sd[side]
    hz = lines.order[clear] * take.turns.turn_hz
    inside = (hz[None, :] >= low[:, None]) & (hz[None, :] < high[:, None])
    engine = np.minimum(inside @ lines.power[side][clear], 0.98 * power)
    return BandTake(power, sd, engine, _tonal(take.turns, lines, low, high), floor)


def _tonal(turns: TurnFrames, lines: EngineLines, low_hz: Float64, high_hz: Float64) -> Float64:
    """Power of lines that are not the engine's own in each band, shape (b,)."""
    above = turns.mean - turns.background
    line = above > (TONAL - 1.0) * turns.background
    for order, half in zip(lines.order[lines.own], lines.half[lines.own], strict=True):
        line &= np.abs(turns.order - order) > half
    hz = turns.order[line] * turns.turn_hz
    inside = (hz[None, :] >= low_hz[:, None]) & (hz[None, :] < high_hz[:, None])
    result: Float64 = inside @ above[line] / HANN_NOISE_BINS
    return result
