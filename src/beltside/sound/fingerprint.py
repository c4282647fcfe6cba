"""A take's sound, made so that speed, level and phone change it little.

Two things stay the same when an engine turns faster: at which orders its sound beats and hums,
and at which frequencies its metal rings. The fingerprint keeps both: over order, how clearly and
how deep each zone of the sound beats and which tones stand out, once for each speed that the
engine may have had; and over frequency, how the spectrum stands out of its own surroundings,
which needs no speed. docs/methods/fingerprint.md says what was tried and how well it tells causes
apart.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import scipy.ndimage

from beltside.base.errors import InputError
from beltside.sound.gate import Float64, steps_of
from beltside.sound.hearing import Hearing, OrderHearing
from beltside.sound.orders import PowerSpectrum

_EDGES_HZ: Final = (400.0, 700.0, 1200.0, 2100.0, 3500.0, 6000.0, 10000.0, 18000.0)

ZONES_HZ: Final = tuple(pairwise(_EDGES_HZ))
"""Zones of about three quarters of an octave in which the rhythm is kept [Hz]: what beats where.
Chosen on simulated engines (docs/methods/fingerprint.md)."""

ORDER_STEP: Final = 1.0 / 16.0
RHYTHM_ORDERS: Final = (0.25, 24.0)
TONE_ORDERS: Final = (0.5, 96.0)
"""Lowest and highest order kept; own choice."""

ORDER_SHARE: Final = 0.006
"""High orders are kept in steps of this share of themselves: about how well a speed is known."""

RINGING_HZ: Final = (400.0, 9000.0)
RINGING_STEPS: Final = 48
"""Frequencies between which ringing is kept, and steps in an octave; own choice."""

RINGING_AROUND: Final = 1.0 / 3.0
"""Standard deviation of the surroundings that ringing stands out of [octaves]: a phone's own
colour is smoother than that."""

RINGING_MOST: Final = 1.5
"""Ringing is limited to this [nats] either way, so that no single tone counts for all."""

RINGING_REACH: Final = 0.42
"""Share of the sample rate up to which ringing is kept."""

_RHYTHM_WINDOW: Final = 25
_TONE_WINDOW: Final = 41

TONES_WEIGHT: Final = 0.5
RINGING_WEIGHT: Final = 0.4
"""Weight of tones beside rhythm, and of ringing beside both."""

DOUBT: Final = 0.2
"""A speed of probability p counts p to this power. All three chosen on simulated engines
(docs/methods/fingerprint.md)."""

MOST_SPEEDS: Final = 3


@dataclass(frozen=True)
class AtSpeed:
    """What is kept of a take under one crank speed.

    Attributes
    ----------
    probability
        Of that speed, above 0, at most 1.
    rhythm
        How clearly and how deep each zone's loudness beats, shape (zones, orders), 0 or more; a
        zone beyond the recording's reach is all 0.
    tones
        How clearly tones stand out, shape (orders,), 0 or more.
    """

    probability: float
    rhythm: Float64
    tones: Float64


@dataclass(frozen=True)
class Fingerprint:
    """What is kept of a take.

    Attributes
    ----------
    speeds
        Under each speed that the engine may have had, the likeliest first, `MOST_SPEEDS` at most;
        empty when none can be told.
    ringing
        How far the spectrum stands out of its surroundings, shape (frequencies,) [nats]; 0 beyond
        the recording's reach.
    """

    speeds: tuple[AtSpeed, ...]
    ringing: Float64

    def to_json(self) -> dict[str, Any]:
        """Plain lists, to 0.001."""
        return {
            "speeds": [
                {
                    "probability": round(one.probability, 4),
                    "rhythm": np.round(one.rhythm, 3).tolist(),
                    "tones": np.round(one.tones, 3).tolist(),
                }
                for one in self.speeds
            ],
            "ringing": np.round(self.ringing, 3).tolist(),
        }

    @classmethod
    def from_json(cls, plain: Mapping[str, Any]) -> Fingerprint:
        """The fingerprint behind `to_json`.

        Raises
        ------
        InputError
            When a part is missing, not finite or not of its size.
        """

        def read(part: Mapping[str, Any], name: str, shape: tuple[int, ...]) -> Float64:
            try:
                array: Float64 = np.asarray(part.get(name), dtype=np.float64)
            except (TypeError, ValueError):
                array = np.zeros(0)
            if array.shape != shape or not np.isfinite(array).all():
                raise InputError(
                    f"a fingerprint whose {name} has shape {array.shape}",
                    allowed=f"finite numbers of shape {shape}",
                    instead="making it again from the recording",
                )
            return array

        speeds = plain.get("speeds")
        if not isinstance(speeds, list) or len(speeds) > MOST_SPEEDS:
            raise InputError(
                "a fingerprint without a list of speeds",
                allowed=f"none to {MOST_SPEEDS} speeds",
                instead="making it again from the recording",
            )
        found = []
        for one in speeds:
            chance = float(read(one, "probability", ()))
            if not 0.0 < chance <= 1.0:
                raise InputError(
                    f"a fingerprint with a speed of probability {chance:g}", allowed="above 0 to 1"
                )
            found.append(
                AtSpeed(
                    chance,
                    read(one, "rhythm", (len(ZONES_HZ), rhythm_orders().size)),
                    read(one, "tones", (tone_orders().size,)),
                )
            )
        return cls(tuple(found), read(plain, "ringing", (ringing_hz().size,)))


def rhythm_orders() -> Float64:
    """Lowest order of each step in which the rhythm is kept, shape (k,)."""
    return _grid(*RHYTHM_ORDERS)[_starts(*RHYTHM_ORDERS)]


def tone_orders() -> Float64:
    """Lowest order of each step in which tones are kept, shape (k,)."""
    return _grid(*TONE_ORDERS)[_starts(*TONE_ORDERS)]


def ringing_hz() -> Float64:
    """Middle of each step in which ringing is kept, shape (k,) [Hz]."""
    edges = _ringing_edges_hz()
    middle: Float64 = np.sqrt(edges[1:] * edges[:-1])
    return middle


def _ringing_edges_hz() -> Float64:
    low, high = RINGING_HZ
    return np.geomspace(low, high, int(RINGING_STEPS * np.log2(high / low)) + 1)


@cache
def _grid(low: float, high: float) -> Float64:
    return low + steps_of(round((high - low) / ORDER_STEP) + 1, ORDER_STEP)


@cache
def _starts(low: float, high: float) -> npt.NDArray[np.intp]:
    """Where each step begins: one point of the grid at low orders, more at high ones."""
    grid, starts = _grid(low, high), [0]
    while True:
        wide = max(round(ORDER_SHARE * float(grid[starts[-1]]) / ORDER_STEP), 1)
        if starts[-1] + wide >= grid.size:
            return np.array(starts)
        starts.append(starts[-1] + wide)


def fingerprint(
    hearing: Hearing, speeds: Sequence[tuple[OrderHearing | None, float]]
) -> Fingerprint:
    """Fingerprint of one take.

    The rhythm at an order is the root of ln(P / background) x (P - background)^(1/4), the mean of
    it over the bands of a zone, P being the power of the squared envelope over its own mean: a
    beat must both stand out and be deep. Tones count by the root of ln(P / background).
    Backgrounds are running medians of ln P over 25 and 41 bins.

    Parameters
    ----------
    hearing
        From `hearing.hear_block` or `merge`.
    speeds
        What each likely crank speed brings out, with its probability, the likeliest first; those
        with too few turns (None) are left out.
    """
    bands = np.array([band.centre_hz for band in hearing.bands])
    found = [
        _at_speed(orders, bands, min(max(chance, 1e-6), 1.0))
        for orders, chance in speeds
        if orders is not None
    ]
    return Fingerprint(tuple(found[:MOST_SPEEDS]), ringing(hearing.spectrum))


def _at_speed(orders: OrderHearing, centre_hz: Float64, probability: float) -> AtSpeed:
    spectrum = orders.envelope
    clear, above = _over_background(spectrum.power, _RHYTHM_WINDOW)
    beat = clear * above**0.25
    rhythm = np.zeros((len(ZONES_HZ), beat.shape[1]))
    for row, (low, high) in zip(rhythm, ZONES_HZ, strict=True):
        inside = (centre_hz >= low) & (centre_hz < high)
        if inside.any():
            row[:] = beat[inside].mean(axis=0)
    tones, _ = _over_background(orders.sound.power[None, :], _TONE_WINDOW)
    tones = np.sqrt(_on(_grid(*TONE_ORDERS), orders.sound.order, tones))
    rhythm = _on(_grid(*RHYTHM_ORDERS), spectrum.order, rhythm)
    return AtSpeed(
        probability,
        np.sqrt(_in_steps(rhythm, _starts(*RHYTHM_ORDERS))),
        _in_steps(tones, _starts(*TONE_ORDERS))[0],
    )


def _in_steps(rows: Float64, starts: npt.NDArray[np.intp]) -> Float64:
    """Mean over each step, shape (r, steps)."""
    count = np.diff([*starts.tolist(), rows.shape[1]])
    mean: Float64 = np.add.reduceat(rows, starts, axis=1) / count
    return mean


def _over_background(power: Float64, window: int) -> tuple[Float64, Float64]:
    """ln of power over its running median, not below 0, and power above it; shape as given."""
    log_power = np.log(np.maximum(power, 1e-14))
    background = scipy.ndimage.median_filter(log_power, size=(1, window), mode="nearest")
    clear = np.maximum(log_power - background, 0.0)
    above = np.maximum(np.exp(log_power) - np.exp(background), 0.0)
    return clear, above


def _on(wanted: Float64, order: Float64, rows: Float64) -> Float64:
    """Rows (r, k) at the wanted orders; a line may have strayed one bin either way."""
    near = scipy.ndimage.maximum_filter1d(rows, 3, axis=1)
    return np.array([np.interp(wanted, order, row, right=0.0) for row in near])


def ringing(spectrum: PowerSpectrum) -> Float64:
    """How far ln of a spectrum stands out of its surroundings, shape (frequencies,) [nats].

    Its surroundings are its own mean weighted by a normal curve of `RINGING_AROUND` octaves, so
    that a phone's colour, a shut door and the level drop out and what rings stays.
    """
    edges = _ringing_edges_hz()
    step_hz = float(spectrum.frequency_hz[1] - spectrum.frequency_hz[0])
    # Power up to each edge: a line of the spectrum reaches half a step to either side.
    summed = np.concatenate(([0.0], np.cumsum(spectrum.power)))
    up_to = np.interp(edges / step_hz + 0.5, np.arange(summed.size), summed)
    density = np.log(np.maximum(np.diff(up_to) / np.diff(edges), 1e-25))
    top_hz = RINGING_REACH * 2.0 * float(spectrum.frequency_hz[-1])
    reached = int(np.searchsorted(edges[1:], top_hz))
    out = np.zeros(density.size)
    if reached > RINGING_STEPS:
        inside = density[:reached]
        wide = RINGING_AROUND * RINGING_STEPS
        around = scipy.ndimage.gaussian_filter1d(inside, wide, mode="nearest")
        out[:reached] = np.clip(inside - around, -RINGING_MOST, RINGING_MOST)
    return out


@dataclass(frozen=True)
class Nuisance:
    """What changes between takes of one noise, and is left out when takes are compared.

    Attributes
    ----------
    mean, ringing_mean
        What all takes have in common, shapes (k,) and (frequencies,), k the length of `profile`.
    directions, ringing_directions
        Orthonormal directions in which takes of one noise differ most (another speed, phone,
        spot), shapes (n, k) and (m, frequencies).
    """

    mean: Float64
    directions: Float64
    ringing_mean: Float64
    ringing_directions: Float64


def parse_nuisance(plain: Mapping[str, Any]) -> Nuisance:
    """The nuisance from plain values (sound/fingerprint_nuisance.json).

    Raises
    ------
    InputError
        When it was made for another fingerprint.
    """
    scale = float(plain["scale"])

    def read(name: str, size: int) -> tuple[Float64, Float64]:
        part = plain.get(name, {})
        mean = np.asarray(part.get("mean", []), dtype=np.float64) / scale
        rows = np.asarray(part.get("directions", []), dtype=np.float64) / scale
        if mean.shape != (size,) or rows.ndim != 2 or rows.shape[1] != size:
            raise InputError(
                f"nuisance of {name} of {mean.size} values",
                allowed=f"{size} values, those of a fingerprint",
                instead="python scripts/fit_fingerprint.py",
            )
        directions, _ = np.linalg.qr(rows.T)
        return mean, np.ascontiguousarray(directions.T)

    size = len(ZONES_HZ) * rhythm_orders().size + tone_orders().size
    return Nuisance(*read("orders", size), *read("ringing", ringing_hz().size))


def profile(one: AtSpeed) -> tuple[Float64, npt.NDArray[np.bool_]]:
    """Rhythm and tones as one row, each about its mean and of length 1 and root of its weight,
    shape (k,), and which of its values the recording reaches, shape (k,)."""
    zones = one.rhythm.any(axis=1)
    rhythm = np.zeros_like(one.rhythm)
    if zones.any():
        rhythm[zones] = one.rhythm[zones] - one.rhythm[zones].mean()
    tones = one.tones - one.tones.mean()
    row = np.concatenate(
        [
            np.sqrt(weight) * part.ravel() / max(float(np.linalg.norm(part)), 1e-12)
            for weight, part in ((1.0, rhythm), (TONES_WEIGHT, tones))
        ]
    )
    reached = np.concatenate((np.repeat(zones, rhythm.shape[1]), np.ones(tones.size, np.bool_)))
    return row, reached


def sound_rows(one: Fingerprint, nuisance: Nuisance | None) -> Float64:
    """A take as rows to be compared, one for each of its speeds, shape (rows, n).

    A row holds the profile and the ringing, the nuisance taken out of both (Solomonoff, Campbell
    & Boardman 2005), each of length 1 and root of its weight; the profile the shorter the more
    doubtful its speed, and all 0 in the only row of a take without a speed. A row is 1 long at
    the most. The inner product of two rows is how alike the two takes are if their speeds are
    these.
    """
    rings = one.ringing
    if nuisance is not None:
        rings = np.where(rings != 0.0, rings - nuisance.ringing_mean, 0.0)
        rings = rings - (rings @ nuisance.ringing_directions.T) @ nuisance.ringing_directions
    rings = np.sqrt(RINGING_WEIGHT) * _of_length_one(rings)
    size = len(ZONES_HZ) * rhythm_orders().size + tone_orders().size
    rows = [
        at.probability**DOUBT * _of_length_one(_cleaned(at, nuisance)) for at in one.speeds
    ] or [np.zeros(size)]
    whole: Float64 = np.array([np.concatenate((row, rings)) for row in rows])
    whole /= np.sqrt(1.0 + RINGING_WEIGHT)
    return whole


def _cleaned(one: AtSpeed, nuisance: Nuisance | None) -> Float64:
    row, reached = profile(one)
    if nuisance is None:
        return row
    row = np.where(reached, row - nuisance.mean, 0.0)
    return np.where(reached, row - (row @ nuisance.directions.T) @ nuisance.directions, 0.0)


def _of_length_one(row: Float64) -> Float64:
    length = float(np.linalg.norm(row))
    return row / length if length > 1e-9 else np.zeros_like(row)


def likeness(one: Fingerprint, other: Fingerprint, nuisance: Nuisance | None = None) -> float:
    """How alike two takes are: 1 the same at sure speeds, about 0 strangers; may fall below 0.

    The largest inner product of a row of one with a row of the other (`sound_rows`).
    """
    return float((sound_rows(one, nuisance) @ sound_rows(other, nuisance).T).max())


def distance(one: Fingerprint, other: Fingerprint, nuisance: Nuisance | None = None) -> float:
    """1 less the likeness, not below 0: 0 the same, 1 and more strangers; symmetric."""
    return max(1.0 - likeness(one, other, nuisance), 0.0)


def distances(
    asked: Fingerprint, known: Sequence[Fingerprint], nuisance: Nuisance | None = None
) -> Float64:
    """Distance of one take to each of several, shape (len(known),)."""
    mine = sound_rows(asked, nuisance)
    each = [float((mine @ sound_rows(one, nuisance).T).max()) for one in known]
    return np.maximum(1.0 - np.array(each, dtype=np.float64), 0.0)


def nearest(
    asked: Fingerprint,
    known: Sequence[Fingerprint],
    most: int = 5,
    nuisance: Nuisance | None = None,
) -> list[tuple[int, float]]:
    """Places in `known` and distances of the nearest takes, the nearest first.

    Parameters
    ----------
    asked
        The take in question.
    known
        Those to compare it with.
    most
        How many are wanted.
    nuisance
        What to leave out.
    """
    each = distances(asked, known, nuisance)
    order = np.argsort(each, kind="stable")[:most]
    return [(int(index), float(each[index])) for index in order]
