"""Where the judge's noises sit and how they reach the phone: housings, paths, room."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import signal

from judge_drive import Car, kind_of
from judge_motion import Source
from judge_tools import Array, Modes, draw_modes, lead_phase

FRONT = "front of engine"
SOUND_MM_PER_S = 343_000.0
# A level is stated for a phone this far off [mm].
NEAR_MM = 500.0

# Lowest and highest mode [Hz], how many, damping ratios, and where a housing stops radiating [Hz].
HOUSINGS: dict[str, tuple[float, float, int, tuple[float, float], float]] = {
    "block": (350.0, 4000.0, 12, (0.02, 0.06), 5000.0),
    "head": (600.0, 6500.0, 11, (0.015, 0.05), 8000.0),
    "front-cover": (400.0, 5000.0, 11, (0.012, 0.05), 7000.0),
    "alternator": (700.0, 7000.0, 10, (0.012, 0.04), 8000.0),
    "coolant-pump": (500.0, 5000.0, 9, (0.015, 0.05), 6000.0),
    "steering-pump": (500.0, 5500.0, 9, (0.015, 0.05), 6000.0),
    "ac-compressor": (400.0, 5000.0, 10, (0.015, 0.05), 6500.0),
    "tensioner": (450.0, 6000.0, 8, (0.015, 0.05), 7000.0),
    "idler": (600.0, 6500.0, 8, (0.015, 0.05), 7500.0),
    "fan": (260.0, 3000.0, 9, (0.02, 0.06), 4000.0),
    "crank": (280.0, 3500.0, 9, (0.02, 0.06), 5000.0),
    "shield": (500.0, 6000.0, 14, (0.012, 0.02), 9000.0),
}
# Where things are that are not pulleys: right, up, forward of the crank pulley [mm].
ELSEWHERE = {
    "block": (0.0, 120.0, -250.0),
    "head": (0.0, 380.0, -220.0),
    "front-cover": (0.0, 150.0, -60.0),
    "intake": (170.0, 350.0, -250.0),
    "exhaust": (-200.0, 220.0, -280.0),
    "bay": (0.0, 200.0, -300.0),
    "belt": (20.0, 150.0, 10.0),
    "shield": (-180.0, 150.0, -200.0),
}
# The part a probe is said to be held on, and the place it truly touches.
PROBED = {
    "timing-chain": "front-cover",
    "valve-train": "head",
    "engine": "block",
    "exhaust-leak": "exhaust",
    "vacuum-leak": "intake",
}
# Flat things round a bay that throw sound back: which axis, where [mm].
WALLS = ((0, -480.0), (0, 480.0), (1, -420.0), (1, 900.0), (2, -420.0))


@dataclass(frozen=True)
class Room:
    """A room's tail: reverberation time [s] and its level against direct sound at 0.5 m [dB]."""

    name: str
    decay_s: float
    tail_db: float

    def impulse(self, rng: np.random.Generator, rate_hz: int) -> Array:
        """The direct sound and the tail after it; treble dies first."""
        size = int(min(self.decay_s, 0.9) * rate_hz)
        if size == 0:
            return np.ones(1)
        time = np.arange(size) / rate_hz
        dull = rng.standard_normal(size) * 10.0 ** (-3.0 * time / self.decay_s)
        bright = rng.standard_normal(size) * 10.0 ** (-5.0 * time / self.decay_s)
        low = signal.sosfilt(signal.butter(1, 1500.0, fs=rate_hz, output="sos"), dull)
        tail = low + 0.5 * (
            bright - signal.sosfilt(signal.butter(1, 1500.0, fs=rate_hz, output="sos"), bright)
        )
        tail[: int(0.012 * rate_hz)] = 0.0
        tail *= 10.0 ** (self.tail_db / 20.0) / np.sqrt(np.sum(tail**2))
        tail[0] = 1.0
        return np.asarray(tail)


def draw_room(rng: np.random.Generator) -> Room:
    """Mostly a yard or a garage; now and then under a roof."""
    kind = rng.random()
    if kind < 0.4:
        return Room("yard", 0.0, -60.0)
    if kind < 0.8:
        return Room("garage", float(rng.uniform(0.4, 1.2)), float(rng.uniform(-14.0, -5.0)))
    return Room("car port", float(rng.uniform(0.2, 0.4)), float(rng.uniform(-18.0, -10.0)))


class Bay:
    """Housings and places of one engine in its bay, and where the phone stands before it."""

    def __init__(self, rng: np.random.Generator, car: Car, freqs_hz: Array, rate_hz: int) -> None:
        self.freqs_hz = freqs_hz
        self.rate_hz = rate_hz
        self.spots = {name: np.array(spot) for name, spot in ELSEWHERE.items()}
        for wheel in car.wheels:
            self.spots[wheel.part] = np.array([wheel.x_mm, wheel.y_mm, 0.0])
        self.radiates = {
            place: self._housing(rng, place) for place in self.spots if kind_of(place) in HOUSINGS
        }
        self.phone = np.array(
            [rng.normal(0.0, 150.0), rng.uniform(150.0, 600.0), rng.uniform(250.0, 800.0)]
        )
        self.walls = rng.uniform(-0.6, 0.6, len(WALLS))
        self.tip = self._probe_tip(rng)

    def _housing(self, rng: np.random.Generator, place: str) -> Array:
        low, high, count, damping, corner = HOUSINGS[kind_of(place)]
        modes: Modes = draw_modes(rng, low, high, count, damping)
        return modes.response(self.freqs_hz) / (1.0 + (self.freqs_hz / corner) ** 2)

    def _probe_tip(self, rng: np.random.Generator) -> Array:
        """A rod or the phone's own edge on metal: a soft resonance, then falling off."""
        corner = rng.uniform(2500.0, 7000.0)
        ring = draw_modes(rng, 500.0, 2500.0, 2, (0.15, 0.4)).response(self.freqs_hz)
        return (1.0 + 0.5 * ring) / (1.0 + (self.freqs_hz / corner) ** 2)

    def _through_air(self, place: str, phone: Array) -> Array:
        spot = self.spots[place]
        total = np.zeros(self.freqs_hz.size, dtype=complex)
        direct = float(np.linalg.norm(phone - spot))
        images = [(1.0, spot)]
        for (axis, wall), share in zip(WALLS, self.walls, strict=True):
            image = spot.copy()
            image[axis] = 2.0 * wall - spot[axis]
            images.append((float(share), image))
        for share, image in images:
            far = float(np.linalg.norm(phone - image))
            delay = (far - direct) / SOUND_MM_PER_S
            total += share * NEAR_MM / far * np.exp(-2j * np.pi * self.freqs_hz * delay)
        # What sits behind the front of the engine is shaded by it.
        depth = max(-float(spot[2]), 0.0)
        return total / np.sqrt(1.0 + (self.freqs_hz / 4000.0 * depth / 250.0) ** 2)

    def path(self, place: str, listening: str, stand: Array, grip_db: float) -> Array:
        """From a housing's or noise's place to the phone, held off or pressed on a part.

        A probe hears its own part by `grip_db` more than the air would give; what is bolted on
        farther off comes through joints, each a loss that grows with frequency and distance.
        """
        if listening == FRONT:
            return self._through_air(place, self.phone + stand)
        touched = PROBED.get(listening, listening)
        here, there = self.spots[touched], self.spots[place]
        through = self._through_air(place, here + np.array([0.0, 60.0, 120.0])) * 0.35
        if kind_of(place) not in HOUSINGS and place != touched:
            return np.asarray(through)
        grip = 10.0 ** (grip_db / 20.0)
        if place == touched:
            return np.asarray(through + grip * self.tip)
        apart = float(np.linalg.norm(here - there))
        loss = 10.0 ** (-(9.0 + 10.0 * apart / 300.0) / 20.0)
        joints = 1.0 / np.sqrt(1.0 + (self.freqs_hz * apart / 300.0 / 2500.0) ** 2)
        return np.asarray(through + grip * loss * joints * self.tip)

    def response(self, source: Source, path: Array) -> Array:
        """From a source's force or pressure to the phone."""
        whole = path * source.colour(self.freqs_hz) * lead_phase(self.freqs_hz, self.rate_hz)
        if not source.airborne:
            whole = whole * self.radiates[source.place]
        return np.asarray(whole.astype(np.complex64))
