"""Combs that no known count explains, and whose bearing they fit.

A bearing whose geometry is not known still shows as a comb of lines in the envelope at an order
that is no multiple of the crank's turns. Ball bearings of accessories are much alike: 7 to 9
balls, ball over pitch diameter near 0.24. So the comb's order over a pulley's ratio says how well
it would fit a bearing there.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from beltside.casework.families import BEARING_SOURCES, Found
from beltside.drive.ratios import ratio_ranges
from beltside.drive.sheet import Bearing, DriveSheet
from beltside.sound.families import Family, Surprise, find_family, without

Float64 = npt.NDArray[np.float64]

WINDOWS: Final = ((1.9, 3.8), (3.8, 7.6), (7.6, 13.0), (13.0, 19.5))
"""Where the first line of a comb is looked for [orders]: bearings of pulleys that turn 0.8 to 3.5
times as fast as the crank."""

LEAST_SIGNIFICANCE: Final = 2.0

BALL_COUNTS: Final = ((6, 0.05), (7, 0.2), (8, 0.45), (9, 0.2), (10, 0.05), (11, 0.05))
BALL_SHARE: Final = (0.24, 0.025)
"""How many balls accessory bearings have and how often, and ball over pitch diameter, mean and
spread: the usual 62 and 63 series and water pump bearings; common practice, no source."""

RATIO_SPREAD: Final = 0.012
"""Spread of a measured ratio, and of slip in the bearing; own choice."""

RACE_SHARE: Final = {"outer race": 0.45, "inner race": 0.35, "ball": 0.15}
UNFIT: Final = 0.03
"""Density that a comb fits no bearing of a pulley [per unit of log order]."""


@dataclass(frozen=True)
class Comb:
    """A comb in the envelope, and what it says of each part.

    Attributes
    ----------
    family
        The comb.
    fit
        Natural log of how much better than the average pulley each part's bearing explains it.
    sidebands
        -ln p of lines at a part's turns beside the comb's.
    """

    family: Family
    fit: dict[str, float]
    sidebands: dict[str, float]


def clearest_comb(heard: Surprise, found: list[Found], sheet: DriveSheet) -> Comb | None:
    """The clearest comb in the envelope that no shaft's turns and no belt passing explain."""
    for one in found:
        if (
            one.spectrum == "envelope"
            and one.source not in BEARING_SOURCES
            and one.family.significance > LEAST_SIGNIFICANCE
        ):
            heard = without(heard, one.family)
    best: Family | None = None
    for low, high in WINDOWS:
        if high >= (heard.usable.size - 1) * heard.step:
            break
        family = find_family(heard, low, high, harmonics=3)
        if family is not None and (best is None or family.significance > best.significance):
            best = family
    if best is None or best.significance < LEAST_SIGNIFICANCE:
        return None
    ratios = {
        part: 0.5 * (low + high)
        for part, (low, high) in ratio_ranges(sheet).items()
        if part != "crank"
    }
    if not ratios:
        return None
    density = {
        part: _density(best.fundamental / ratio, sheet.pulley(part).bearing)
        for part, ratio in ratios.items()
    }
    mean = float(np.mean(list(density.values())))
    return Comb(
        best,
        {part: float(np.log(value / mean)) for part, value in density.items()},
        {part: _sidebands(heard, best, ratio) for part, ratio in ratios.items()},
    )


def _density(per_turn: float, bearing: Bearing | None) -> float:
    """How likely a bearing makes a comb at this many events per turn [per unit of log order]."""
    total = UNFIT
    if bearing is not None:
        share = bearing.ball_mm / bearing.pitch_mm * np.cos(np.radians(bearing.contact_deg))
        kinds: tuple[tuple[int, float, float, float], ...] = (
            (bearing.balls, float(share), 1.0, 0.004),
        )
    else:
        kinds = tuple((n, BALL_SHARE[0], weight, BALL_SHARE[1]) for n, weight in BALL_COUNTS)
    for balls, share, weight, spread in kinds:
        for race, sign in (("outer race", -1.0), ("inner race", 1.0)):
            place = 0.5 * balls * (1.0 + sign * share)
            width = float(np.hypot(spread / (1.0 + sign * share), RATIO_SPREAD))
            total += weight * RACE_SHARE[race] * _normal(np.log(per_turn / place) / width) / width
        spin = (1.0 - share**2) / share
        width = float(np.hypot(spread / share, RATIO_SPREAD))
        total += weight * RACE_SHARE["ball"] * _normal(np.log(per_turn / spin) / width) / width
    return total


def _normal(deviation: float) -> float:
    return float(np.exp(-0.5 * deviation**2) / np.sqrt(2.0 * np.pi))


def _sidebands(heard: Surprise, comb: Family, ratio: float) -> float:
    """-ln p beside the comb's lines at a shaft's turns, the mean over both sides and two lines."""
    total, count = 0.0, 0
    for member in comb.members[:2]:
        for offset in (-ratio, ratio):
            place = round((member.order + offset) / heard.step)
            if 1 < place < heard.usable.size - 1 and heard.usable[place]:
                near = heard.minus_log_p[comb.row, place - 1 : place + 2].max()
                total += max(float(near) - np.log(3.0), 0.0)
                count += 1
    return total / count if count else 0.0
