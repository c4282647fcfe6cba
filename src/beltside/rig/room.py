"""From each part to the microphone: distance, reflections, and the housing under the probe."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.random import Generator

from beltside.base.constants import SOUND_SPEED
from beltside.rig.layout import Drive
from beltside.rig.synthesis import (
    RATE_HZ,
    Float32,
    Float64,
    chain,
    coloured,
    db_to_gain,
    minimum_phase,
    unit_energy,
)

FRONT: Final = "front of engine"
REFERENCE_M: Final = 0.6
PATH_SAMPLES: Final = 1536
# Where the rest of the engine radiates from [m]: right, up, towards the phone. Own choice.
ELSEWHERE_M: Final = {
    "engine": (0.0, 0.25, -0.2),
    "intake": (0.15, 0.4, -0.15),
    "exhaust": (0.2, 0.0, -0.6),
    "timing-chain": (0.0, 0.2, -0.05),
    "valve-train": (0.0, 0.45, -0.2),
    "vacuum-leak": (0.1, 0.4, -0.25),
    "exhaust-leak": (-0.25, 0.3, -0.25),
    "radiator-fan": (0.0, 0.15, 0.3),
}


def free_field_gain(distance_m: float) -> float:
    """Amplitude at a distance against REFERENCE_M: 6.02 dB less for every doubling."""
    return REFERENCE_M / max(distance_m, 0.05)


@dataclass(frozen=True)
class Room:
    """Where one case was recorded; drawn once.

    Attributes
    ----------
    spots_m
        Where each part is [m], crank at 0, 0, 0.
    phone_m
        Where the phone is held for the front takes [m].
    reflections
        How many early reflections; `reflection_db` is the strongest [dB].
    tail
        Late reverberation against the direct sound, shape (m,); empty outdoors.
    """

    spots_m: dict[str, tuple[float, float, float]]
    phone_m: tuple[float, float, float]
    reflections: int
    reflection_db: float
    tail: Float32


def draw_room(rng: Generator, drive: Drive) -> Room:
    """A random yard, street or workshop."""
    spots = dict(ELSEWHERE_M)
    for pulley in drive.pulleys:
        spots[pulley.part] = (pulley.x_mm / 1000, pulley.y_mm / 1000, 0.0)
    middle = np.mean([spots[pulley.part] for pulley in drive.pulleys], axis=0)
    spots["belt"] = (float(middle[0]), float(middle[1]), 0.02)
    away = float(np.exp(rng.uniform(np.log(0.2), np.log(1.1))))
    phone = (float(rng.normal(0.0, 0.2)), float(rng.normal(0.3, 0.2)), away)
    tail = np.zeros(0, dtype=np.float32)
    if rng.random() < 0.75:
        seconds = float(np.exp(rng.uniform(np.log(0.15), np.log(0.9))))
        time = np.arange(int(0.5 * seconds * RATE_HZ)) / RATE_HZ
        decay = np.exp(-6.91 * time / seconds) * (time > 0.004)
        noise = np.convolve(rng.standard_normal(len(time)), (0.3, 0.4, 0.3), mode="same")
        tail = unit_energy(noise * decay) * np.float32(db_to_gain(rng.uniform(-22.0, -4.0)))
    return Room(spots, phone, int(rng.integers(2, 10)), float(rng.uniform(-12.0, -3.0)), tail)


@dataclass(frozen=True)
class Paths:
    """Responses from every part to the microphones in one take."""

    responses: dict[str, Float32]
    tail: Float32

    def of(self, part: str) -> Float32:
        """Responses of one part, shape (channels, samples)."""
        return self.responses[part]


def air_path(
    rng: Generator, room: Room, spot_m: Float64, ears_m: list[Float64], nearest_m: float
) -> Float32:
    """Direct sound and early reflections at each ear, shape (channels, PATH_SAMPLES)."""
    path = np.zeros((len(ears_m), PATH_SAMPLES), dtype=np.float32)
    later = rng.uniform(0.3, 8.0, room.reflections)  # how much longer the way round is [m]
    sign = rng.choice([-1.0, 1.0], room.reflections)
    loss_db = room.reflection_db - rng.exponential(5.0, room.reflections)
    twist = rng.normal(0.0, 0.05, (len(ears_m), room.reflections))
    for ear, place in enumerate(ears_m):
        direct = float(np.linalg.norm(spot_m - place))
        ways = np.concatenate(([direct], direct + later + twist[ear]))
        gains = np.concatenate(([1.0], sign * 10.0 ** (loss_db / 20.0) * direct / ways[1:]))
        gains = gains * free_field_gain(direct)
        position = np.maximum(ways - nearest_m, 0.0) / SOUND_SPEED.value * RATE_HZ
        whole = np.minimum(position.astype(np.int64), PATH_SAMPLES - 2)
        part = np.clip(position - whole, 0.0, 1.0)
        np.add.at(path[ear], whole, (gains * (1.0 - part)).astype(np.float32))
        np.add.at(path[ear], whole + 1, (gains * part).astype(np.float32))
    return path


def make_paths(
    rng: Generator, room: Room, place: str, *, ears: int = 1, spacing_m: float = 0.14
) -> Paths:
    """Paths for a take in front of the engine, or with the probe held on a part."""
    at = np.array(room.phone_m)
    if place == FRONT:
        at = at + rng.normal(0.0, 0.04, 3)
        at[2] = max(at[2], 0.12)
    else:
        at = np.array(room.spots_m[place]) + np.array([0.0, 0.0, 0.08])
    across = np.array([0.5 * spacing_m, 0.0, 0.0]) if ears == 2 else np.zeros(3)
    places = [at - across, at + across] if ears == 2 else [at]
    spots = {part: np.array(spot) for part, spot in room.spots_m.items()}
    nearest = min(float(np.linalg.norm(spot - at)) for spot in spots.values()) - 0.1
    air = {part: air_path(rng, room, spot, places, nearest) for part, spot in spots.items()}
    if place == FRONT:
        return Paths(air, room.tail)
    return _contact(rng, room, place, air, ears)


def _contact(rng: Generator, room: Room, place: str, air: dict[str, Float32], ears: int) -> Paths:
    """The probe: the touched part far above the rest, neighbours through the metal.

    Ranges: common practice, no source. Air still reaches the phone, 10 to 25 dB down.
    """
    own_db = float(rng.uniform(8.0, 20.0))
    air_db = float(rng.uniform(-25.0, -10.0))
    corner = float(rng.uniform(2000.0, 6000.0))
    rod = minimum_phase(
        [60.0, corner, 2 * corner, 20_000.0],
        [rng.uniform(-6, 3), 0.0, -rng.uniform(5, 14), -rng.uniform(20, 45)],
    )
    touched = np.array(room.spots_m[place])
    responses = {}
    for part, spot in room.spots_m.items():
        colour = unit_energy(chain(coloured(rng, 80.0, 8000.0, ripple_db=4.0, length=512), rod))
        if part == place:
            level_db = own_db
        elif part in ("exhaust", "intake", "radiator-fan"):
            level_db = float(rng.uniform(-25.0, -12.0))
        elif part in ("engine", "valve-train", "timing-chain", "exhaust-leak"):
            level_db = own_db - float(rng.uniform(6.0, 20.0))
        else:
            apart = float(np.linalg.norm(np.array(spot) - touched))
            level_db = own_db - min(5.0 + 25.0 * apart * rng.uniform(0.5, 1.5), 22.0)
        metal = db_to_gain(level_db) * colour
        both = np.zeros((ears, max(len(metal), PATH_SAMPLES)), dtype=np.float32)
        both[:, : len(metal)] += metal
        both[:, :PATH_SAMPLES] += np.float32(db_to_gain(air_db)) * air[part]
        responses[part] = both
    quieter = np.float32(db_to_gain(air_db))
    return Paths(responses, room.tail * quieter)
