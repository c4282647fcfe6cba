"""Profiles: how a case's loudness lies over frequency, and its rhythm over orders.

Single measures say how strong a sign is; these say where it sits: in which bands a take is loud
or bursty, at which half orders of the engine each zone beats, what of both goes with the belt,
and at how many events per turn of a part the loudness beats. All are level-free and about -3 to 4
in size, 0 says nothing. docs/methods/odds.md explains each.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
import numpy.typing as npt

from beltside.base.units import power_to_db
from beltside.casework.contrasts import Pair, change_between
from beltside.casework.families import Surprises
from beltside.casework.take_measures import (
    BEAT_NAMES,
    ZONE_NAMES,
)
from beltside.sound.bands import Band

Float64 = npt.NDArray[np.float64]

LOWEST_HZ, HIGHEST_HZ = 448.0, 14_300.0
PIECES, POINTS_A_PIECE = 6, 3
POINTS_HZ: Final = np.geomspace(LOWEST_HZ, HIGHEST_HZ, PIECES * POINTS_A_PIECE)
"""Where profiles over frequency are read, three points to a piece of five sixths of an octave;
own choice."""

FEWEST_EVENTS, MOST_EVENTS, TURN_POINTS = 0.3, 9.0, 69
EVENTS_PER_TURN: Final = np.geomspace(FEWEST_EVENTS, MOST_EVENTS, 2 * TURN_POINTS)
"""From a cage's turns to the inner race of a bearing with 14 balls, in steps of 2.5 %, two steps
to a point; own choice."""

TURN_SPREAD: Final = 0.012
"""Half width looked at around each number of events: a measured ratio's error, and slip."""

CASE_PROFILES: Final = (
    *(f"level_{piece}" for piece in range(1, PIECES + 1)),
    *(f"burst_{piece}" for piece in range(1, PIECES + 1)),
    *(f"beat_{zone}_{name}" for zone in ZONE_NAMES for name in BEAT_NAMES),
    *(f"change_{piece}" for piece in range(1, PIECES + 1)),
    *(f"beat_change_{zone}_{name}" for zone in ZONE_NAMES for name in BEAT_NAMES),
)

SUSPECT_PROFILES: Final = (
    *(f"probe_{piece}" for piece in range(1, PIECES + 1)),
    *(f"front_{piece}" for piece in range(1, PIECES + 1)),
    *(f"turn_{events:.2f}" for events in EVENTS_PER_TURN[::2]),
)


def case_profiles(base: Pair, off: Sequence[Pair]) -> Float64:
    """CASE_PROFILES, shape (len(CASE_PROFILES),): of the base take, and of what the first take
    with the belt off changed."""
    take, measured = base
    hearing = take.hearing
    total_db = float(power_to_db(max(float(hearing.band_power.sum()), 1e-30)))
    reference_db = total_db if measured.reference_db is None else measured.reference_db
    level = power_to_db(np.maximum(hearing.band_power, 1e-30)) - reference_db
    burst = np.log1p(np.maximum(hearing.band_kurtosis, 0.0))
    change = np.zeros(PIECES)
    beat_change = np.zeros_like(measured.beats)
    if off:
        change = over_frequency(hearing.bands, change_between(base, off[0]) / 6.0, -2.0, 4.0)
        beat_change = measured.beats - off[0][1].beats
    return np.concatenate(
        (
            over_frequency(hearing.bands, level / 10.0, -4.0, 4.0),
            over_frequency(hearing.bands, burst, 0.0, 4.0),
            measured.beats.ravel(),
            change,
            beat_change.ravel(),
        )
    )


def suspect_profiles(
    part: str,
    base: Pair,
    probes: Sequence[Pair],
    together: Surprises | None,
    ratio: float | None,
) -> Float64:
    """SUSPECT_PROFILES of a part, shape (len(SUSPECT_PROFILES),).

    Parameters
    ----------
    part
        Its name.
    base
        The take in front of the engine at idle.
    probes
        All takes with the probe on a part.
    together
        Spectra of all takes with the belt on, None without a crank speed.
    ratio
        The part's turns per turn of the crank; None when it is no pulley.
    """
    own = [pair for pair in probes if pair[0].conditions.part == part]
    others = [pair for pair in probes if pair[0].conditions.part != part]
    lead, front = np.zeros(PIECES), np.zeros(PIECES)
    if own:
        bands = own[0][0].hearing.bands
        change = change_between(own[0], base)
        front = over_frequency(bands, (change - np.median(change)) / 8.0, -3.0, 3.0)
        if others:
            changes = [change_between(own[0], other) for other in others]
            size = min(one.size for one in changes)
            middle = np.median([one[:size] for one in changes], axis=0)
            lead = over_frequency(bands, middle / 8.0, -3.0, 3.0)
    turns = np.zeros(TURN_POINTS)
    if together is not None and ratio is not None:
        turns = over_turns(together, ratio)
    return np.concatenate((lead, front, turns))


def over_frequency(bands: Sequence[Band], values: Float64, low: float, high: float) -> Float64:
    """Mean of each piece; 0 beyond the take's highest band."""
    centre = np.log([band.centre_hz for band in bands[: values.size]])
    points = np.log(POINTS_HZ)
    read = np.interp(points, centre, values)
    read[points > centre[-1] + 0.15] = 0.0
    pieces: Float64 = np.clip(read, low, high).reshape(PIECES, POINTS_A_PIECE).mean(axis=1)
    return pieces


def over_turns(together: Surprises, ratio: float) -> Float64:
    """How surprising the loudness of all bands together is at so many events per turn [-ln p / 4],
    shape (TURN_POINTS,); 0 where the engine's own beats hide it."""
    row = together.envelope.minus_log_p[-1]
    step = together.envelope.step
    order = EVENTS_PER_TURN * ratio
    first = np.rint(order * (1.0 - TURN_SPREAD) / step).astype(np.intp) - 1
    last = np.rint(order * (1.0 + TURN_SPREAD) / step).astype(np.intp) + 2
    highest = np.array(
        [
            row[low:high].max() if low > 0 and high <= row.size else 0.0
            for low, high in zip(first, last, strict=True)
        ]
    )
    points: Float64 = np.clip(highest / 4.0, 0.0, 2.9).reshape(TURN_POINTS, 2).max(axis=1)
    return points
