"""How much quieter: overall, in third-octave bands, and line by line, with 90 % ranges.

Positive is quieter. Ranges join the uncertainty of each take's own mean, of the gain between the
takes, and of what moving the phone by a hand's breadth does, as independent (squares added; for
lopsided ranges Zou & Donner, Statistics in Medicine 27, 2008, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from beltside.sound.compare_gain import Gain
from beltside.sound.gate import Float64

NINETY: Final = 1.645
"""Standard deviations that a 90 % range reaches either way."""

PLACE_DB: Final = 0.8
"""What a hand's breadth of movement does to the noise of one place on the engine against the
engine as a whole [dB]: 4 cm at half a metre. Own choice, checked on simulated pairs."""

WHOLE_PLACE_DB: Final = 0.4
"""The same for the whole sound, which comes from many places [dB]; from simulated pairs."""

TONE_DB: Final = 3.0
"""How far a steady tone may move against the engine's lines when the speed differs by
`TONE_SPEED_DB` or more: it enters or leaves a resonance of room and body [dB]. From simulated
pairs."""

TONE_SPEED_DB: Final = 0.257
"""A ratio of speeds of 1.03 in decibels: wider than most resonances."""

LINE_DB: Final = 2.0
"""How far a single line strays besides, whatever the speeds: one line stands in one resonance of
room and body [dB]. From simulated pairs."""

RHYTHM_DB: Final = 3.0
"""The same for a line in the rhythm: what else sounds in its band changes its beat [dB]."""

SHARED_OCTAVES: Final = 1.0
"""Over how many octaves a part's noise moves alike when the phone or the speed does; own choice,
checked on simulated pairs."""

SAMPLING_DB: Final = 3.0
"""What single lines that leave or enter a band can do to its level when the speed differs."""

LEAST_DB: Final = 0.25
"""No overall change is known better than this [dB]; from simulated pairs."""

LINE_WIDTH_DB: Final = 0.05
"""Speeds further apart than this move the lines by more than their width [dB]."""

MOST_DB: Final = 60.0

_DB: Final = 10.0 / float(np.log(10.0))


@dataclass(frozen=True)
class Change:
    """How much quieter [dB], with a 90 % range.

    `low` or `high` is None where that end is open: a line that is gone is at least `low` quieter.
    """

    value: float
    low: float | None
    high: float | None


@dataclass(frozen=True)
class BandTake:
    """One take's third-octave powers.

    Attributes
    ----------
    power, sd
        Mean square and its standard deviation, the recording's own noise taken off, shape (b,).
    engine
        The part of it in the engine's own lines, shape (b,).
    tonal
        The part of it in other lines, shape (b,): those stray from take to take.
    floor
        Bands in which little but the recording's own noise is left, shape (b,).
    """

    power: Float64
    sd: Float64
    engine: Float64
    tonal: Float64
    floor: npt.NDArray[np.bool_]


def change_of(value: float, sd: float) -> Change:
    """A change with an even range."""
    return Change(value, value - NINETY * sd, value + NINETY * sd)


def overall_change(
    before: BandTake,
    after: BandTake,
    gain: Gain,
    weight: Float64,
    speed_db: float,
    apart_db: float,
) -> Change:
    """How much quieter the whole sound is.

    The engine's own lines are the same engine in both takes, so they enter with their mean: a
    line that a little more speed moved onto a resonance makes no change. They are joined over
    all bands, for a little more speed moves a line from one band into the next.

    Parameters
    ----------
    before, after
        Third-octave powers as recorded.
    gain
        At the bands' midband frequencies.
    weight
        Weight of each band's power, shape (b,): 1, or A-weighting.
    speed_db
        How far the rest of the sound may have moved against the engine with the speed [dB].
    apart_db
        How far the speeds themselves are apart, 20 log10 of their ratio, 0 or more [dB].
    """
    scale = 10.0 ** (-0.1 * gain.db)
    one = weight * np.maximum(before.power - before.engine, 0.0)
    other = weight * np.maximum(after.power - after.engine, 0.0) * scale
    own_after = weight * after.engine * scale
    engine = float(np.sqrt(np.sum(weight * before.engine) * np.sum(own_after)))
    first, second = engine + float(one.sum()), engine + float(other.sum())
    value = _DB * float(np.log(first / second))
    # How the change moves with the gain of each band.
    part = own_after / max(float(own_after.sum()), 1e-30)
    slope = other / second + 0.5 * engine * part * (1.0 / second - 1.0 / first)
    # Share of the sound that is not the engine's own lines, in the louder take.
    loudest = max(float(one.sum()), float(other.sum()))
    rest = loudest / max(loudest + engine, 1e-30)
    own = (before.sd / np.maximum(before.power, 1e-30)) ** 2
    own += (after.sd / np.maximum(after.power, 1e-30)) ** 2
    share = slope / max(float(slope.sum()), 1e-30)
    variance = float(slope @ gain.covariance @ slope)
    variance += float(np.sum(share**2 * own)) * _DB**2 * rest
    variance += (rest * np.hypot(WHOLE_PLACE_DB, speed_db)) ** 2 + LEAST_DB**2
    tonal = np.maximum(
        weight * before.tonal / float(np.sum(weight * before.power)),
        weight * after.tonal / float(np.sum(weight * after.power)),
    )
    variance += float(np.sum(tonal**2)) * tone_stray_db(gain, apart_db) ** 2
    return change_of(value, float(np.sqrt(variance)))


def tone_stray_db(gain: Gain, apart_db: float) -> float:
    """How far a steady tone strays between takes whose speeds are `apart_db` apart [dB]."""
    return float(np.hypot(gain.scatter_db, TONE_DB * min(apart_db / TONE_SPEED_DB, 1.0)))


def matched_parts(
    before: BandTake, after: BandTake, gain: Gain
) -> tuple[Float64, Float64, Float64]:
    """The engine's common part, and the rest of either take, at the first one's gain.

    The mean of both takes is the common part: a line that a little more speed moved over the edge
    of a band counts half in either band.
    """
    scale = 10.0 ** (-0.1 * gain.db)
    engine = 0.5 * (before.engine + after.engine * scale)
    one = np.maximum(before.power - before.engine, 0.0)
    other = np.maximum(after.power - after.engine, 0.0) * scale
    return engine, one, other


def band_covariance(
    before: BandTake,
    after: BandTake,
    gain: Gain,
    speed_db: float,
    apart_db: float,
    lines_in_band: Float64,
) -> Float64:
    """How far the changes of the third-octave bands may be off together, shape (b, b) [dB^2].

    The gain and what moving the phone or another speed does are shared by neighbouring bands:
    one part's noise covers about an octave alike.

    Parameters
    ----------
    speed_db, apart_db
        As in `overall_change`.
    lines_in_band
        How many firing lines fall into each band, shape (b,).
    """
    engine, one, other = matched_parts(before, after, gain)
    rest = np.maximum(one, other) / np.maximum(np.maximum(one, other) + engine, 1e-30)
    own = (before.sd / np.maximum(before.power, 1e-30)) ** 2
    own = (own + (after.sd / np.maximum(after.power, 1e-30)) ** 2) * _DB**2 * rest + 0.2**2
    tonal = np.maximum(
        before.tonal / np.maximum(before.power, 1e-30), after.tonal / np.maximum(after.power, 1e-30)
    )
    own = own + np.minimum(tonal, 1.0) ** 2 * tone_stray_db(gain, apart_db) ** 2
    # A line's foot belongs to nobody: where few lines make a band, their moving makes its level.
    if apart_db > LINE_WIDTH_DB:
        own = own + (SAMPLING_DB * rest) ** 2 / (1.0 + lines_in_band**2)
    octave = np.log2(gain.at_hz)
    near = np.exp(-0.5 * ((octave[:, None] - octave[None, :]) / SHARED_OCTAVES) ** 2)
    shared = near * np.outer(rest, rest) * (PLACE_DB**2 + speed_db**2)
    result: Float64 = np.diag(own) + shared + gain.covariance * np.sqrt(np.outer(rest, rest))
    return result


def band_changes(
    before: BandTake, after: BandTake, gain: Gain, covariance: Float64
) -> list[Change]:
    """How much quieter each third-octave band is; `covariance` from `band_covariance`."""
    engine, one, other = matched_parts(before, after, gain)
    value = _DB * np.log(np.maximum(engine + one, 1e-30) / np.maximum(engine + other, 1e-30))
    sd = np.sqrt(np.diag(covariance))
    changes = []
    for index in range(value.size):
        found = change_of(float(value[index]), float(sd[index]))
        low = None if before.floor[index] else found.low
        high = None if after.floor[index] else found.high
        changes.append(Change(found.value, low, high))
    return changes


def line_change(
    before: tuple[float, float],
    after: tuple[float, float],
    gain: tuple[float, float],
    scatter_db: float,
    *,
    halved: bool = False,
    extra_db: float = 0.0,
) -> Change:
    """How much quieter one line is.

    Parameters
    ----------
    before, after
        Power above the background and its standard deviation.
    gain
        Gain of the second recording at the line and its standard deviation [dB].
    scatter_db
        How far single lines stray between the takes [dB].
    halved
        For a line of a squared envelope, whose power goes with the square of the sound's power.
    extra_db
        Level change of the band that a relative envelope refers to [dB].

    Returns
    -------
    Change
        `high` is None when nothing of the line is left for sure, `low` when there was nothing
        for sure before. Such a line was heard in one take only: on simulated pairs three of four
        of them came from elsewhere or by chance, and the change had nothing to do with them. So
        the end that is not open reaches to 0, no change.
    """
    scale = 0.5 if halved else 1.0
    ends = [_level_range(*take, scale) for take in (before, after)]
    (one, one_low, one_high), (other, other_low, other_high) = ends
    value = float(np.clip(one - other + gain[0] + extra_db, -MOST_DB, MOST_DB))
    stray = np.hypot(scatter_db, np.hypot(PLACE_DB, RHYTHM_DB if halved else LINE_DB))
    more = (NINETY * np.hypot(gain[1], stray)) ** 2
    low = high = None
    if one_low is not None:
        low = value - float(np.sqrt((one - one_low) ** 2 + (other_high - other) ** 2 + more))
    if other_low is not None:
        high = value + float(np.sqrt((one_high - one) ** 2 + (other - other_low) ** 2 + more))
    if high is None and low is not None:
        low = min(low, 0.0)
    elif low is None and high is not None:
        high = max(high, 0.0)
    return Change(value, low, high)


def _level_range(power: float, sd: float, scale: float) -> tuple[float, float | None, float]:
    """Level of a power and its 90 % range [dB]; the lower end is None when it reaches nothing."""
    least = max(sd, 1e-30)
    level = scale * _DB * float(np.log(max(power, 0.5 * least)))
    low = power - NINETY * sd
    high = scale * _DB * float(np.log(max(power, 0.0) + NINETY * least))
    return level, None if low <= 0.0 else scale * _DB * float(np.log(low)), max(high, level)


def joined(changes: list[Change]) -> Change | None:
    """One change out of several lines of the same source, the surest counting most.

    Lines with an open end join only when none has a closed one.
    """
    closed = [one for one in changes if one.low is not None and one.high is not None]
    if not closed:
        lows = [one.low for one in changes if one.low is not None]
        if not lows:
            return None
        best = max(changes, key=lambda one: -np.inf if one.low is None else one.low)
        return Change(best.value, max(lows), None)
    sd = np.array([(one.high - one.low) / (2.0 * NINETY) for one in closed])  # type: ignore[operator]
    weight = 1.0 / np.maximum(sd, 0.1) ** 2
    value = np.array([one.value for one in closed])
    mean = float(np.average(value, weights=weight))
    spread = float(np.sqrt(np.average((value - mean) ** 2, weights=weight)))
    # Lines of one source share the gain and the place: together they are surer, never by much.
    together = max(float(1.0 / np.sqrt(weight.sum())), float(sd.min()) / np.sqrt(2.0))
    return change_of(mean, float(np.hypot(together, spread / np.sqrt(len(closed)))))
