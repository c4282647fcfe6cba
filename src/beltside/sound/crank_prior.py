"""What is known of an engine's speed before its sound is judged.

An engine has one idle speed. Most takes are made at it, some with the speed raised to two or
three times it, and those mostly start or end there. So the speed a take is judged by is a low one
along it, and what is believed of the idle speed, from the drive sheet and from other takes of the
same engine, says how likely each speed is.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Protocol

import numpy as np
import numpy.typing as npt

from beltside.sound.crank_path import RPM_HIGH, RPM_LOW, speed_grid
from beltside.sound.track import CrankTrack

Float64 = npt.NDArray[np.float64]

IDLE_STEP: Final = 0.01
IDLE_RPM: Final[Float64] = 400.0 * np.exp(IDLE_STEP * np.arange(133))
"""Idle speeds that are weighed against each other, 400 to 1500 [1/min]."""

USUAL_IDLE: Final = (780.0, 0.18)
"""Idle speed where none is known [1/min], and its spread as a share; own choice."""

SHEET_SPREAD: Final = 0.09
"""Spread of the true idle about that of the drive sheet: cold, loaded, worn; own choice."""

ODD_IDLE: Final = 0.1
ODD_WRITTEN: Final = 0.01
"""Share of engines that idle anywhere, whatever is usual; and whatever is written for this very
engine. An idle speed that was written down is seldom far off; own choices."""

AT_IDLE: Final = (0.67, 0.0, 0.03)
"""Takes at idle: their share, how far off idle they lie, and their spread, in logarithms."""

UNSETTLED: Final = (0.1, 0.05, 0.12)
"""Takes with a cold or loaded engine."""

RAISED: Final = (0.2, float(np.log(2.3)), 0.45)
"""Takes held above idle all along: a foot or a hand holds an engine at two to three times its
idle, seldom beyond five times. Shares, ratio and spread are own choices."""

ANYWHERE: Final = 0.03
"""Share of takes at any other speed an engine can turn at."""

STALLING: Final = 0.88
"""No engine turns slower than this share of its idle."""

STALLED_NATS: Final = 5.0

LOW_PERCENTILE: Final = 8.0
"""Percentile along a take that stands for its lowest speed; a path may stray below it."""

IDLE_BONUS: Final = 3.0
FAST_BONUS: Final = -2.0
"""What a frame's match gains at idle, and for each e-fold above it [sigmas]; own choice."""

STALLED_BONUS: Final = -30.0

STATED_SPREAD: Final = 0.035
STATED_SHARE: Final = 0.85
"""A speed read off a dashboard: its spread, and how often the take is near it."""


class SpeedPrior(Protocol):
    """What is expected of a take's speed."""

    @property
    def of_whole_take(self) -> bool:
        """The speed expected is the take's median, not that of its calmest part."""
        ...

    def log_density(self, rpm: Float64) -> Float64:
        """Log density at these speeds, per unit of log speed [nats]."""
        ...

    def path_bonus(self) -> Float64:
        """What each speed of the grid gains in a frame's match, shape (candidates,) [sigmas]."""
        ...


@dataclass(frozen=True)
class IdleBelief:
    """What is believed of an engine's idle speed.

    Attributes
    ----------
    share
        Probability of each speed of `IDLE_RPM`, adding up to 1.
    heard
        Whether takes of this very engine are behind it.
    """

    share: Float64
    heard: bool = False

    @property
    def of_whole_take(self) -> bool:
        """Idle is the speed of a take's calmest part."""
        return False

    @property
    def likeliest_rpm(self) -> float:
        """The likeliest idle speed [1/min]."""
        return float(IDLE_RPM[int(np.argmax(self.share))])

    @property
    def spread(self) -> float:
        """How far the idle speed may lie from the likeliest, as a share."""
        away = np.log(IDLE_RPM / self.likeliest_rpm)
        return float(np.sqrt((self.share * away**2).sum() + AT_IDLE[2] ** 2))

    def near(self, rpm: float, share: float) -> float:
        """Probability that idle lies within that share of a speed."""
        return float(self.share[np.abs(IDLE_RPM / rpm - 1.0) <= share].sum())

    def log_density(self, rpm: Float64) -> Float64:
        """Log density of a take's calm speed, per unit of log speed [nats]."""
        result: Float64 = np.log(np.exp(log_density_beside(rpm)) @ self.share)
        return result

    def path_bonus(self) -> Float64:
        """Towards idle, less the faster, and kept above stalling where idle was heard."""
        grid = speed_grid()
        away = np.log(grid / self.likeliest_rpm)
        bonus = IDLE_BONUS * np.exp(-0.5 * (away / self.spread) ** 2)
        bonus += FAST_BONUS * np.maximum(away, 0.0)
        if self.heard:
            bonus = bonus + STALLED_BONUS * (grid < STALLING * self.likeliest_rpm)
        return bonus


@dataclass(frozen=True)
class StatedSpeed:
    """A take's own speed, read off a dashboard [1/min]."""

    rpm: float

    @property
    def of_whole_take(self) -> bool:
        """A dashboard is read at any moment."""
        return True

    def log_density(self, rpm: Float64) -> Float64:
        """Log density of a take's median speed, per unit of log speed [nats]."""
        near = _bell(np.log(rpm / self.rpm), 0.0, STATED_SPREAD)
        span = np.log(RPM_HIGH / RPM_LOW)
        result: Float64 = np.log(STATED_SHARE * near + (1.0 - STATED_SHARE) / span)
        return result

    def path_bonus(self) -> Float64:
        """Towards the stated speed; it says nothing of what lies far from it."""
        away = np.log(speed_grid() / self.rpm)
        result: Float64 = IDLE_BONUS * np.exp(-0.5 * (away / STATED_SPREAD) ** 2)
        return result


def _bell(at: Float64, centre: float, spread: float) -> Float64:
    result: Float64 = np.exp(-0.5 * ((at - centre) / spread) ** 2) / (spread * np.sqrt(2 * np.pi))
    return result


def log_density_beside(rpm: Float64) -> Float64:
    """Log density of a take's calm speed beside each idle speed, shape (speeds, idle speeds)."""
    away = np.log(np.asarray(rpm)[:, None] / IDLE_RPM)
    density = np.zeros_like(away)
    for share, centre, spread in (AT_IDLE, UNSETTLED, RAISED):
        density += share * _bell(away, centre, spread)
    density += ANYWHERE / np.log(RPM_HIGH / RPM_LOW)
    result: Float64 = np.log(density) - STALLED_NATS * (away < np.log(STALLING))
    return result


def idle_belief(log_share: Float64, *, heard: bool = False) -> IdleBelief:
    """From the logarithm of each idle speed's probability, up to a constant."""
    share = np.exp(log_share - log_share.max())
    return IdleBelief(share / share.sum(), heard)


def sheet_belief(idle_rpm: float | None) -> IdleBelief:
    """From the idle speed of the drive sheet, if it gives one."""
    centre, spread = USUAL_IDLE if idle_rpm is None else (idle_rpm, SHEET_SPREAD)
    odd = ODD_IDLE if idle_rpm is None else ODD_WRITTEN
    density = (1.0 - odd) * _bell(np.log(IDLE_RPM / centre), 0.0, spread)
    density += odd / (IDLE_STEP * IDLE_RPM.size)
    return idle_belief(np.log(density))


def calm_share(track: CrankTrack) -> float:
    """The track's lowest speed (`LOW_PERCENTILE`) as a share of its median."""
    even_s = np.linspace(track.time_s[0], track.time_s[-1], 4 * track.time_s.size)
    return float(np.percentile(track.rpm_at(even_s), LOW_PERCENTILE)) / track.rpm_median
