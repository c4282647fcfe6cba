"""One take made ready to be put beside another: which stretch, at which speeds, how steady.

Two takes are compared over stretches in which the crank turned at the same speeds. Power in bands
and in the engine's own lines is kept frame by frame, so that its unrest over the take says how
well its mean is known.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from beltside.base.errors import OutOfRangeError
from beltside.base.units import SECONDS_PER_MINUTE
from beltside.sound.angle import PASS_SHARE, resample_to_angle
from beltside.sound.background import local_background
from beltside.sound.gate import Float32, Float64, require_positive, require_signal, steps_of
from beltside.sound.loudness import BANDS
from beltside.sound.orders import (
    HANN_NOISE_BINS,
    OrderSpectrum,
    effective_averages,
    frame_powers,
)
from beltside.sound.third_octave import band_shares, filter_shares, whole_bands
from beltside.sound.track import CrankTrack

Ints = npt.NDArray[np.intp]

SPEEDS_APART: Final = 1.10
"""Speeds further apart than this are not compared: the engine itself then sounds different."""

SPEED_SLACK: Final = 0.06
"""Within a common range of speeds this much beyond its ends still counts as the same: an idle
hunts by some per cent."""

ORDER_TOP: Final = 160.0
LONGEST_SEGMENT_TURNS: Final = 32
SHORTEST_SEGMENT_TURNS: Final = 8
FEWEST_SEGMENTS: Final = 4.5

_FRAME_S: Final = 0.34
_SPEED_BIN: Final = 0.03


@dataclass(frozen=True)
class Stretch:
    """Part of a take that is compared [s], `low_rpm` to `high_rpm` its speeds [1/min]."""

    start_s: float
    end_s: float
    low_rpm: float
    high_rpm: float

    @property
    def seconds(self) -> float:
        """Length [s]."""
        return self.end_s - self.start_s


@dataclass(frozen=True)
class TimeFrames:
    """Power of successive frames, half overlapping.

    Attributes
    ----------
    band
        Third-octave band numbers, shape (b,).
    power
        Mean square in each band between its edges, shape (frames, b).
    loudness_power
        Mean square behind the filters of the 28 loudness bands, shape (frames, 28).
    rpm
        Crank speed at each frame, shape (frames,) [1/min]; nan without a track.
    frame_s
        Time from one frame to the next [s].
    """

    band: Ints
    power: Float64
    loudness_power: Float64
    rpm: Float64
    frame_s: float


@dataclass(frozen=True)
class TurnFrames:
    """Power over crank order of successive segments, half overlapping.

    Attributes
    ----------
    order
        Shape (k,) [per turn].
    power
        Shape (segments, k); a sine of amplitude a shows a^2 / 2.
    background
        Mean power without lines, shape (k,).
    averages
        Independent segments the mean is worth.
    turn_hz
        Mean crank speed [turns/s].
    """

    order: Float64
    power: Float32
    background: Float64
    averages: float
    turn_hz: float

    @property
    def step(self) -> float:
        """Distance between bins [orders]."""
        return float(self.order[1] - self.order[0])

    @property
    def mean(self) -> Float64:
        """Mean power, shape (k,)."""
        result: Float64 = self.power.mean(axis=0, dtype=np.float64)
        return result


def speed_range(track: CrankTrack, seconds: float) -> tuple[float, float]:
    """Speeds a take runs through, the 5 % slowest and fastest moments left out [1/min]."""
    rpm = track.rpm_at(np.linspace(0.0, seconds, 400))
    low, high = np.quantile(rpm, (0.05, 0.95))
    return float(low), float(high)


def common_speeds(ranges: Sequence[tuple[float, float]]) -> tuple[float, float] | None:
    """Range of speeds that two takes have in common, or None when they are too far apart.

    Ranges that do not touch but lie within `SPEEDS_APART` of each other are bridged.

    >>> common_speeds([(750.0, 780.0), (760.0, 2600.0)]) is not None
    True
    >>> common_speeds([(750.0, 780.0), (1500.0, 2600.0)]) is None
    True
    """
    low = max(one[0] for one in ranges)
    high = min(one[1] for one in ranges)
    if low <= high:
        return low * (1.0 - SPEED_SLACK), high * (1.0 + SPEED_SLACK)
    if low <= high * SPEEDS_APART:
        return high * (1.0 - SPEED_SLACK), low * (1.0 + SPEED_SLACK)
    return None


def longest_stretch(track: CrankTrack, seconds: float, speeds: tuple[float, float]) -> Stretch:
    """Longest stretch of a take whose speed stays within `speeds` [1/min].

    Leaving the range for a second or less does not end a stretch.
    """
    step_s = 0.1
    moment = steps_of(int(np.ceil(seconds / step_s)), step_s)
    rpm = track.rpm_at(moment)
    inside = (rpm >= speeds[0]) & (rpm <= speeds[1])
    allowed = round(1.0 / step_s)
    best, start, missed = (0, 0), None, 0
    for index, good in enumerate([*inside.tolist(), *([False] * (allowed + 1))]):
        if good:
            start = index if start is None else start
            missed = 0
            if index + 1 - start > best[1] - best[0]:
                best = (start, index + 1)
        else:
            missed += 1
            if missed > allowed:
                start = None
    first_s, last_s = best[0] * step_s, min(best[1] * step_s, seconds)
    held = rpm[best[0] : best[1]] if best[1] > best[0] else np.array(speeds)
    return Stretch(first_s, last_s, float(held.min()), float(held.max()))


def cut_track(track: CrankTrack, start_s: float) -> CrankTrack:
    """The same track on a clock that starts at `start_s` [s]."""
    return CrankTrack(track.time_s - start_s, track.rpm, track.rpm_low, track.rpm_high)


def time_frames(
    samples: npt.ArrayLike, sample_rate_hz: float, track: CrankTrack | None, top_hz: float
) -> TimeFrames:
    """Band powers of successive frames of about a third of a second.

    Parameters
    ----------
    samples
        Mono, shape (n,), 1 s or more.
    sample_rate_hz
        Their rate [Hz].
    track
        Crank track on the clock of the samples, if there is one.
    top_hz
        Up to where both takes reach [Hz].
    """
    rate_hz = require_positive("sample rate", sample_rate_hz, "Hz")
    size = int(2 ** round(float(np.log2(_FRAME_S * rate_hz))))
    values = require_signal("samples", samples, shortest=2 * size)
    frequency_hz = steps_of(size // 2 + 1, rate_hz / size)
    band = whole_bands(min(top_hz, rate_hz / 2.0))
    shares = band_shares(frequency_hz, band).T.astype(np.float32)
    filters = filter_shares(frequency_hz, BANDS).T.astype(np.float32)
    both = np.concatenate((shares, filters), axis=1) / np.float32(HANN_NOISE_BINS)
    rows = np.concatenate([power @ both for _, power in frame_powers(values, size, size // 2)])
    middle_s = (steps_of(len(rows), size // 2) + size / 2) / rate_hz
    rpm = np.full(len(rows), np.nan) if track is None else track.rpm_at(middle_s)
    rows = rows.astype(np.float64)
    return TimeFrames(band, rows[:, : band.size], rows[:, band.size :], rpm, size / 2 / rate_hz)


def turn_frames(
    samples: npt.ArrayLike, sample_rate_hz: float, track: CrankTrack, cycle_order: float
) -> TurnFrames:
    """Order spectra of successive segments of 8 to 32 turns, as the take's length allows.

    `cycle_order` is 0.5 for a four-stroke engine, 1 for a two-stroke.

    Raises
    ------
    OutOfRangeError
        When the take holds too few turns.
    """
    rate_hz = require_positive("sample rate", sample_rate_hz, "Hz")
    values = require_signal("samples", samples, shortest=64)
    seconds = values.size / rate_hz
    fastest_hz = float(track.rpm_at(np.linspace(0.0, seconds, 400)).max()) / SECONDS_PER_MINUTE
    top = min(ORDER_TOP, 0.45 * rate_hz / fastest_hz)
    steps = int(np.ceil(2.0 * top / PASS_SHARE))
    angle = resample_to_angle(values, rate_hz, 0.0, track, steps)
    turns = int(angle.turns / FEWEST_SEGMENTS)
    turns = min(turns - turns % 2, LONGEST_SEGMENT_TURNS)
    if turns < SHORTEST_SEGMENT_TURNS:
        raise OutOfRangeError(
            f"{angle.turns:.0f} crank turns",
            allowed=f"{SHORTEST_SEGMENT_TURNS * FEWEST_SEGMENTS:.0f} or more",
            instead="record 15 s",
        )
    size = turns * steps
    hop = size // 2
    power = np.concatenate([rows for _, rows in frame_powers(angle.values, size, hop)])
    bins = min(int(top * turns) + 1, power.shape[1])
    power = power[:, :bins]
    window = np.hanning(size + 1)[:-1]
    averages = effective_averages(window, hop, len(power))
    order = steps_of(bins, 1.0 / turns)
    mean = power.mean(axis=0, dtype=np.float64)
    found = local_background(OrderSpectrum(order, mean, averages, angle.turns), [cycle_order])
    return TurnFrames(order, power, found.power, averages, angle.turns / seconds)


def speed_weights(one: Float64, other: Float64) -> tuple[Float64, Float64]:
    """Weights that give the frames of two takes the same spread of speeds.

    Frames are sorted by speed into steps of 3 %; a step counts in both takes as often as in the
    one where it is rarer. Takes that share no step keep even weights.

    Parameters
    ----------
    one, other
        Speeds of the frames, shapes (n,) and (m,) [1/min].

    Returns
    -------
    Weights that add up to 1, shapes (n,) and (m,).
    """
    even = np.full(one.size, 1.0 / one.size), np.full(other.size, 1.0 / other.size)
    if not (np.isfinite(one).all() and np.isfinite(other).all()):
        return even
    steps = [np.rint(np.log(speeds) / _SPEED_BIN).astype(np.intp) for speeds in (one, other)]
    first = min(int(step.min()) for step in steps)
    count = max(int(step.max()) for step in steps) - first + 1
    share = [np.bincount(step - first, minlength=count) / step.size for step in steps]
    wanted = np.minimum(*share)
    if wanted.sum() < 0.3:
        return even
    weights = [
        (wanted / np.maximum(have, 1e-12))[step - first]
        for have, step in zip(share, steps, strict=True)
    ]
    return weights[0] / weights[0].sum(), weights[1] / weights[1].sum()
