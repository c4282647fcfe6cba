"""From a force on a housing to the phone: modes, air, the bay's echoes, a probe held on.

Distances and levels are common practice, no source; loss with distance is that of a point source
in the free field (6 dB a doubling).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import fft

from neighbour_car import Car
from neighbour_motion import FRONT
from neighbour_tools import COARSE, Array, a_weight, chance, coarse_hz, gain, log_uniform

SOUND_M_S = 343.0
# Where things sit, seen from the front: right, up, towards the phone [m]. Crank at 0, 0, 0.
BODY = {
    "block": (0.0, 0.18, -0.25),
    "head": (0.0, 0.42, -0.2),
    "timing": (0.02, 0.2, -0.06),
    "intake": (0.28, 0.42, -0.3),
    "exhaust": (-0.28, 0.35, -0.3),
    "tailpipe": (0.6, -0.1, -3.6),
    "belt": (0.05, 0.2, 0.02),
    "bay": (0.1, 0.1, 0.2),
}
# What a probe is held on when it is no pulley part.
HOUSING_OF = {"timing-chain": "timing", "valve-train": "head"}
# Openings and loose sheets: they sound by themselves, without the modes of a casting.
OPEN = ("intake", "exhaust", "tailpipe", "belt", "bay")


@dataclass(frozen=True)
class Spot:
    """Where the phone is on one take: its place [m], what it is held on, and how firmly."""

    place: str
    at_m: tuple[float, float, float]
    grip_db: float
    contact: Array | None = None


def modes(rng: np.random.Generator, freqs: Array, low: float, high: float, count: int) -> Array:
    """Acceleration for a force on a casting with a few modes between `low` and `high` Hz.

    Each is a single mass on a spring: (f/f0)^2 / (1 - (f/f0)^2 + j f / (f0 Q)), Q 6 to 60.
    """
    out = np.full(len(freqs), 0.15, complex)
    for centre in np.exp(rng.uniform(np.log(low), np.log(high), count)):
        x = freqs / centre
        quality = log_uniform(rng, 6.0, 60.0)
        share = rng.choice([-1.0, 1.0]) * rng.uniform(0.2, 1.0) / np.sqrt(quality)
        out += share * x**2 / (1.0 - x**2 + 1j * x / quality)
    return out / (1.0 + 1j * freqs / rng.uniform(4_000, 12_000))


def tail(rng: np.random.Generator, rate_hz: int, decay_s: float) -> Array:
    """Echoes: noise that dies by 60 dB in `decay_s`, unit energy, on the coarse grid."""
    time = np.arange(COARSE) / rate_hz
    echoes = rng.normal(size=COARSE) * np.exp(-6.9 * time / decay_s)
    echoes[: int(0.004 * rate_hz)] = 0.0
    return np.asarray(fft.rfft(echoes / np.sqrt(np.sum(echoes**2))))


class Bay:
    """The paths of one engine in one place of work.

    `places` maps each housing and opening to where it sits [m].
    """

    def __init__(self, rng: np.random.Generator, car: Car, rate_hz: int) -> None:
        self.rng = rng
        self.freqs = coarse_hz(rate_hz)
        self.rate_hz = rate_hz
        self.places = dict(BODY)
        for wheel in car.wheels:
            back = 0.0 if "idler" in wheel.part or wheel.part == "tensioner" else -0.08
            self.places[wheel.part] = (wheel.x_mm / 1000, wheel.y_mm / 1000, back)
        self.body = {place: self._body(place) for place in self.places}
        self.shade_hz = {place: log_uniform(rng, 2_500, 20_000) for place in self.places}
        self.echo_db = rng.uniform(-16.0, -5.0)
        decay = log_uniform(rng, 0.06, 0.28)
        self.tails = [tail(rng, rate_hz, decay) for _ in range(3)]
        self.tail_of = {place: int(rng.integers(3)) for place in self.places}
        self.mirror = rng.uniform(0.2, 0.8)
        self.sloppy = chance(rng, 0.2)
        self.stand = (rng.normal(0.0, 0.15), rng.uniform(0.25, 0.7), log_uniform(rng, 0.3, 1.0))
        self.contact_db = rng.uniform(8.0, 20.0)
        self.leak = {place: rng.normal(0.0, 3.5) for place in self.places}

    def _body(self, place: str) -> Array:
        rng, freqs = self.rng, self.freqs
        if place in OPEN:
            ripple = sum(
                rng.uniform(0.05, 0.25) * np.cos(freqs / rng.uniform(150, 900) + rng.uniform(0, 6))
                for _ in range(3)
            )
            roll = rng.uniform(250, 900) if place == "tailpipe" else rng.uniform(6_000, 15_000)
            return np.asarray((1.0 + ripple) / (1.0 + 1j * freqs / roll))
        if place in ("block", "head", "timing"):
            return modes(rng, freqs, 250.0, 3_500.0, int(rng.integers(5, 9)))
        small = place in ("idler", "idler-2", "tensioner")
        low, high = (600.0, 6_500.0) if small else (350.0, 5_000.0)
        return modes(rng, freqs, low, high, int(rng.integers(3, 7)))

    def spot(self, place: str) -> Spot:
        """Where the phone is for a take at the front or held on `place`.

        At the front the takes of a case differ by 1 to 3 dB, sloppy ones by far more.
        """
        rng = self.rng
        if place == FRONT:
            stray, grip = (0.35, 3.0) if self.sloppy else (0.06, 0.8)
            x, y, z = self.stand
            z = z * float(np.exp(stray * rng.normal()))
            at = (x + stray * 0.5 * rng.normal(), y + stray * 0.5 * rng.normal(), max(z, 0.2))
            return Spot(place, at, float(grip * rng.normal()))
        x, y, z = self.places[HOUSING_OF.get(place, place)]
        at = (x + 0.08 * rng.normal(), y + 0.08 * rng.normal(), z + rng.uniform(0.12, 0.35))
        peak = log_uniform(rng, 400, 2_500)
        f = self.freqs / peak
        contact = 0.4 + f / (1.0 - f**2 + 1j * f / rng.uniform(0.8, 2.5)) * 1j
        contact /= (1.0 + 1j * self.freqs / rng.uniform(2_000, 6_000)) ** 2
        weight = a_weight(self.freqs) * (self.freqs < 5_000)
        contact /= np.sqrt(np.sum(np.abs(contact) ** 2 * weight) / np.sum(weight))
        firm = rng.normal(0.0, 4.0 if self.sloppy else 2.0)
        return Spot(place, at, float(firm), contact)

    def _air(self, place: str, at_m: tuple[float, float, float]) -> Array:
        """Straight way, one mirror (bonnet or floor) and echoes."""
        here, there = np.array(self.places[place]), np.array(at_m)
        way = max(float(np.linalg.norm(there - here)), 0.08)
        bonnet = np.array([here[0], 1.5 - here[1], here[2]])
        longer = float(np.linalg.norm(there - bonnet))
        turn = -2j * np.pi * self.freqs / SOUND_M_S
        straight = (
            np.exp(turn * (way - 0.08)) / way / (1.0 + 1j * self.freqs / self.shade_hz[place])
        )
        mirrored = self.mirror * np.exp(turn * (longer - 0.08)) / longer
        echoes = gain(self.echo_db) / 0.6 * self.tails[self.tail_of[place]]
        if place == "tailpipe":
            echoes = echoes / 5.0
        return np.asarray(straight + mirrored + echoes)

    def paths(self, spot: Spot) -> dict[str, Array]:
        """From a force on each place to the phone, on the coarse grid.

        A probe hears its own housing 8 to 20 dB above what comes to the front, the others by way of
        the engine, less with distance, and the air with the hand before it.
        """
        out = {}
        own = HOUSING_OF.get(spot.place, spot.place)
        for place in self.places:
            path = self._air(place, spot.at_m)
            if spot.contact is not None:
                path = path * gain(-9.0)
                if place not in OPEN:
                    way = float(np.linalg.norm(np.subtract(self.places[place], self.places[own])))
                    lost = 0.0 if place == own else 9.0 + 25.0 * way + self.leak[place]
                    stand = float(np.linalg.norm(np.subtract(self.places[place], self.stand)))
                    level = self.contact_db + spot.grip_db - lost
                    through = spot.contact * gain(level) / stand
                    if place != own:
                        through = through * np.exp(-2j * np.pi * self.freqs * way / 1500.0)
                    path = path + through
            else:
                path = path * gain(spot.grip_db)
            out[place] = self.body[place] * path
        return out
