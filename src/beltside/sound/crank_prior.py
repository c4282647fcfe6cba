"""What is known of an engine's speed before its sound is judged.

Most takes are made at idle, and one with the speed raised mostly starts or ends there. So the
speed a take is judged by is a low one along it, and its path is led towards idle a little.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from beltside.sound.crank_path import RPM_HIGH, RPM_LOW, speed_grid
from beltside.sound.track import CrankTrack

Float64 = npt.NDArray[np.float64]

USUAL_IDLE: Final = (800.0, 0.25)
"""Idle speed where none is known [1/min], and its spread as a share."""

SHEET_SPREAD: Final = 0.12
"""Spread of the true idle about that of the drive sheet: cold, loaded, worn; own choice."""

HEARD_SPREAD: Final = 0.035
"""Spread about the idle heard in other takes of the same engine."""

IDLE_SHARE: Final = 0.5
HEARD_IDLE_SHARE: Final = 0.85
"""Shares of takes that are at idle for a while."""

FAST_RPM: Final = 4500.0
"""An engine is seldom revved beyond this with the bonnet open."""

STALLING: Final = 0.88
"""No engine turns slower than this share of its idle, heard elsewhere."""

STALLED_NATS: Final = 6.0

LOW_PERCENTILE: Final = 8.0
"""Percentile along a take that stands for its lowest speed; a path may stray below it."""

IDLE_BONUS: Final = 3.0
FAST_BONUS: Final = -2.0
"""What a frame's match gains at idle, and for each e-fold above it [sigmas]; own choice."""

STALLED_BONUS: Final = -30.0


@dataclass(frozen=True)
class SpeedPrior:
    """What is expected of a take's speed.

    Attributes
    ----------
    centre_rpm, spread
        Where the speed of its calmest part is expected, and its spread as a share.
    share
        How probable it is to be there at all, 0 to 1; else it is anywhere.
    slowest_rpm
        Below this the engine would stall; 0 when that is not known.
    of_whole_take
        The speed expected is the take's median, not that of its calmest part.
    """

    centre_rpm: float
    spread: float
    share: float
    slowest_rpm: float = 0.0
    of_whole_take: bool = False

    def log_density(self, rpm: Float64) -> Float64:
        """Log density at these speeds, per unit of log speed [nats]."""
        at = np.log(rpm)
        near = np.exp(-0.5 * ((at - np.log(self.centre_rpm)) / self.spread) ** 2)
        near /= self.spread * np.sqrt(2.0 * np.pi)
        # Few takes run fast: half as often.
        span = np.log(FAST_RPM / RPM_LOW) + 0.5 * np.log(RPM_HIGH / FAST_RPM)
        anywhere = np.where(rpm < FAST_RPM, 1.0, 0.5) / span
        result: Float64 = np.log(self.share * near + (1.0 - self.share) * anywhere)
        return result - STALLED_NATS * (rpm < self.slowest_rpm)

    def path_bonus(self) -> Float64:
        """What each speed of the grid gains in a frame's match, shape (candidates,) [sigmas]."""
        grid = speed_grid()
        away = np.log(grid / self.centre_rpm)
        bonus = IDLE_BONUS * np.exp(-0.5 * (away / self.spread) ** 2)
        if not self.of_whole_take:
            bonus += FAST_BONUS * np.maximum(away, 0.0)
        result: Float64 = bonus + STALLED_BONUS * (grid < self.slowest_rpm)
        return result


def sheet_prior(idle_rpm: float | None) -> SpeedPrior:
    """From the idle speed of the drive sheet, if it gives one."""
    centre, spread = USUAL_IDLE if idle_rpm is None else (idle_rpm, SHEET_SPREAD)
    return SpeedPrior(centre, spread, IDLE_SHARE)


def heard_prior(idle_rpm: float) -> SpeedPrior:
    """From the idle speed heard in other takes of the same engine."""
    return SpeedPrior(idle_rpm, HEARD_SPREAD, HEARD_IDLE_SHARE, STALLING * idle_rpm)


def stated_prior(rpm: float) -> SpeedPrior:
    """From the take's own speed, read off a dashboard."""
    return SpeedPrior(rpm, HEARD_SPREAD, HEARD_IDLE_SHARE, of_whole_take=True)


def calm_share(track: CrankTrack) -> float:
    """The track's lowest speed (`LOW_PERCENTILE`) as a share of its median."""
    even_s = np.linspace(track.time_s[0], track.time_s[-1], 4 * track.time_s.size)
    return float(np.percentile(track.rpm_at(even_s), LOW_PERCENTILE)) / track.rpm_median
