"""What the probe on a part hears there: where its sound lies, how it bursts, what it beats with.

`contrasts` and `profiles` say how much louder a place is than others; these say what is heard at
the place itself, and how that differs from the other places. All are level-free and about -3 to 4
in size; 0 where no probe was held. docs/methods/odds.md explains each.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
import numpy.typing as npt

from beltside.base.units import power_to_db
from beltside.casework.contrasts import Pair
from beltside.casework.profiles import PIECES, TURN_POINTS, over_frequency, over_turns

Float64 = npt.NDArray[np.float64]

TURNS_A_POINT: Final = 3
PROBE_TURNS: Final = TURN_POINTS // TURNS_A_POINT

SINGLE: Final = (
    "peak",
    "squeal",
    "steady_high",
    "burst_low",
    "firing_mid",
    "turn_mid",
    "cycle_mid",
)
"""Measures of the take with the probe on the part, as they are and against the other places."""

PROBE_PROFILES: Final = (
    *(f"here_level_{piece}" for piece in range(1, PIECES + 1)),
    *(f"here_burst_{piece}" for piece in range(1, PIECES + 1)),
    *(f"lead_burst_{piece}" for piece in range(1, PIECES + 1)),
    *(f"here_{name}" for name in SINGLE),
    *(f"lead_{name}" for name in SINGLE),
    "lead_bearing_most",
    "lead_shaft_beat_most",
    "lead_count_most",
    *(f"here_turn_{point}" for point in range(1, PROBE_TURNS + 1)),
)


def probe_profiles(part: str, probes: Sequence[Pair], ratio: float | None) -> Float64:
    """PROBE_PROFILES of a part, shape (len(PROBE_PROFILES),).

    Parameters
    ----------
    part
        Its name.
    probes
        All takes with the probe on a part.
    ratio
        The part's turns per turn of the crank; None when it is no pulley.
    """
    own = [pair for pair in probes if pair[0].conditions.part == part]
    others = [pair for pair in probes if pair[0].conditions.part != part]
    if not own:
        return np.zeros(len(PROBE_PROFILES))
    hearing, measured = own[0][0].hearing, own[0][1]
    power = np.maximum(hearing.band_power, 1e-30)
    level = power_to_db(power) - float(power_to_db(float(power.sum())))
    here = np.array([measured.values.get(name, 0.0) for name in SINGLE])
    burst = _burst(own[0])
    lead_burst, lead, signs = np.zeros(PIECES), np.zeros(len(SINGLE)), np.zeros(3)
    if others:
        lead_burst = burst - np.median([_burst(pair) for pair in others], axis=0)
        rest = [[pair[1].values.get(name, 0.0) for name in SINGLE] for pair in others]
        lead = here - np.median(rest, axis=0)
        signs = _signs(measured.parts.get(part)) - np.max(
            [_signs(pair[1].parts.get(str(pair[0].conditions.part))) for pair in others], axis=0
        )
    turns = np.zeros(TURN_POINTS)
    if measured.surprises is not None and ratio is not None:
        turns = over_turns(measured.surprises, ratio)
    return np.concatenate(
        (
            over_frequency(hearing.bands, (level + 12.0) / 10.0, -3.0, 3.0),
            burst,
            np.clip(lead_burst, -2.0, 2.0),
            here,
            np.clip(lead, -2.0, 2.0),
            np.clip(signs, -3.0, 3.0),
            turns.reshape(PROBE_TURNS, TURNS_A_POINT).max(axis=1),
        )
    )


def _burst(pair: Pair) -> Float64:
    """Bursts in each piece, as `profiles` has them."""
    hearing = pair[0].hearing
    return over_frequency(hearing.bands, np.log1p(np.maximum(hearing.band_kurtosis, 0.0)), 0.0, 4.0)


def _signs(measures: Float64 | None) -> Float64:
    """A place's own bearing lines, beat at its turns, and tones of its count."""
    if measures is None:
        return np.zeros(3)
    return np.array([measures[0] + 0.5 * measures[1], measures[2] + 0.5 * measures[3], measures[6]])
