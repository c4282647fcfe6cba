"""Worn ball bearings: blows at the defect's order through one or two decaying resonances.

Rates of a bearing with one ring at rest: n/2 (1 - r) for its outer race, n/2 (1 + r) for its inner
race, D/d (1 - r^2) for a ball that strikes both, (1 - r)/2 for its cage, r = d/D cos(contact).
They count turns of one ring against the other, so they hold as well when the outer ring turns,
but for the cage, which then makes (1 + r)/2.
"""

from __future__ import annotations

import numpy as np

from apprentice_car import OUTER_RING_TURNS, Car
from apprentice_healthy import Pulsing
from apprentice_signals import (
    Modes,
    Sound,
    Source,
    Turning,
    band,
    bumps,
    draw_modes,
    ringing,
    slipping,
)
from beltside.drive.sheet import Bearing

# Spacing of balls differs by about this share of a period (common practice).
SLIP = 0.01


def defect_rates(bearing: Bearing, outer_turns: bool = False) -> dict[str, float]:
    """Blows per turn of the turning ring for "outer", "inner", "ball" and "cage"."""
    r = bearing.ball_mm / bearing.pitch_mm * np.cos(np.radians(bearing.contact_deg))
    return {
        "outer": 0.5 * bearing.balls * (1.0 - r),
        "inner": 0.5 * bearing.balls * (1.0 + r),
        "ball": (1.0 - r**2) * bearing.pitch_mm / bearing.ball_mm,
        "cage": 0.5 * (1.0 + r) if outer_turns else 0.5 * (1.0 - r),
    }


class DefectBlows:
    """Blows `order` times a crank turn, as strong as the load is where the defect is just then.

    `round_order` is how often a crank turn the defect comes through the load zone, 0 when it stays.
    """

    def __init__(
        self, order: float, round_order: float, depth: float, modes: Modes, scatter: float = 0.2
    ) -> None:
        self.order, self.round_order, self.depth = order, round_order, depth
        self.modes, self.scatter = modes, scatter

    def __call__(self, rng: np.random.Generator, turning: Turning) -> Sound:
        turns = slipping(rng, turning, self.order, SLIP)
        angle = 2.0 * np.pi * (turns * self.round_order + rng.random())
        zone = 1.0 - self.depth + self.depth * np.clip(np.cos(angle), 0.0, None) ** 2
        if self.round_order == 0.0:
            zone = np.ones(turns.size)
        heights = zone * np.exp(self.scatter * rng.normal(size=turns.size))
        return ringing(turning, turns, heights, self.modes)


def bearing_sources(rng: np.random.Generator, car: Car, part: str) -> list[Source]:
    """An early single defect, several with a growl behind them, or a growl alone."""
    wheel = car.wheel(part)
    outer_turns = part in OUTER_RING_TURNS
    rates = defect_rates(wheel.bearing, outer_turns)
    modes = draw_modes(rng, 900.0, 8000.0)
    # A ring that turns carries its defect through the load zone; balls go round with the cage.
    rounds = {
        "outer": wheel.ratio if outer_turns else 0.0,
        "inner": 0.0 if outer_turns else wheel.ratio,
        "ball": wheel.ratio * rates["cage"],
    }
    speed_power = float(rng.uniform(0.3, 1.2))

    def blows(defect: str, level_db: float) -> Source:
        depth = float(rng.uniform(0.4, 0.95))
        play = DefectBlows(wheel.ratio * rates[defect], rounds[defect], depth, modes)
        return Source(part, play, level_db, speed_power)

    def growl(level_db: float) -> Source:
        low_hz = rng.uniform(250.0, 1500.0)
        density = band(low_hz, low_hz * rng.uniform(2.0, 6.0), rng.uniform(-4.0, 1.0))
        swell = bumps(np.array([rng.random()]), np.array([rng.uniform(0.5, 3.0)]), 0.4, 1.0)
        rate = wheel.ratio * (1.0 if rng.random() < 0.6 else rates["cage"])
        return Source(part, Pulsing(density, rate, swell), level_db, speed_power)

    stage = rng.choice(["single", "several", "growl"], p=[0.55, 0.3, 0.15])
    if stage == "growl":
        return [growl(0.0)]
    defects = rng.choice(
        ["outer", "inner", "ball"],
        2 if stage == "several" else 1,
        replace=False,
        p=[0.45, 0.35, 0.2],
    )
    sources = [blows(str(defect), float(rng.uniform(-6.0, 0.0))) for defect in defects]
    if stage == "several" or rng.random() < 0.3:
        sources.append(growl(float(rng.uniform(-12.0, 0.0))))
    return sources
