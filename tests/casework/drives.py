"""A made-up drive and takes of it, with a fault at a known order and the crank's true track."""

from __future__ import annotations

import numpy as np
import scipy.signal
from engines import RATE_HZ, Take, coloured, engine

from beltside.casework.crank_speed import CrankSpeed
from beltside.casework.takes import ArraySource, Conditions, HeardTake, hear
from beltside.drive.sheet import Bearing, Belt, DriveSheet, Engine, Pulley
from beltside.sound.track import CrankTrack

BEARING = Bearing(balls=8, ball_mm=6.75, pitch_mm=28.5)

SHEET = DriveSheet(
    Engine(cylinders=4, idle_rpm=800.0),
    Belt(length_mm=1230.0),
    (
        Pulley("crank", 138.0),
        Pulley("alternator", 55.0, bearing=BEARING),
        Pulley("coolant-pump", 112.0, bearing=BEARING),
        Pulley("idler", 70.0, face="back"),
    ),
    name="Made-up 1.4 front drive",
)

ALTERNATOR_RATIO = 138.0 / 55.0

OUTER_RACE_ORDER = 8 / 2 * (1.0 - 6.75 / 28.5) * ALTERNATOR_RATIO
"""Balls over a point of the standing outer race, n/2 (1 - d/D) per turn of the inner one
(Randall and Antoni, Mechanical Systems and Signal Processing 25, 2011, table 1), times the
alternator's speed."""


def turns_of(take: Take) -> np.ndarray:
    """Crank turns at every sample."""
    return np.cumsum(take.rpm / 60.0) / take.rate_hz


def bearing_noise(take: Take, seed: int, order: float = OUTER_RACE_ORDER) -> np.ndarray:
    """A short burst of noise around 3 kHz for each event, which slips by 1 %; loudness 1."""
    rng = np.random.default_rng(seed)
    at = np.nonzero(np.diff(np.floor(turns_of(take) * order)) > 0.0)[0]
    spacing = take.rate_hz / (np.median(take.rpm) / 60.0 * order)
    at = np.rint(at + 0.01 * spacing * rng.normal(size=at.size)).astype(int)
    hits = np.zeros(take.samples.size)
    hits[np.clip(at, 0, hits.size - 1)] = 1.0 + 0.2 * rng.normal(size=at.size)
    fall = np.exp(-400.0 * np.arange(round(0.02 * take.rate_hz)) / take.rate_hz)
    sections = scipy.signal.butter(2, (2500.0, 3500.0), "band", fs=take.rate_hz, output="sos")
    carrier = scipy.signal.sosfilt(sections, rng.normal(size=hits.size))
    sound = carrier * scipy.signal.fftconvolve(hits, fall)[: hits.size]
    return sound / sound.std()


def true_track(take: Take) -> CrankTrack:
    """The speed the take was made with, every 50 ms."""
    time_s = np.arange(0.0, take.samples.size / take.rate_hz, 0.05)
    rpm = take.rpm_at(time_s)
    return CrankTrack(time_s, rpm, 0.998 * rpm, 1.002 * rpm)


def heard(
    seed: int,
    *,
    bearing: float = 0.0,
    hiss: float = 0.0,
    rpm: float = 800.0,
    seconds: float = 12.0,
    gain: float = 1.0,
    with_crank: bool = True,
    conditions: Conditions | None = None,
) -> HeardTake:
    """A take of an engine with an alternator bearing and a hiss, as loud as given against the
    engine's 1."""
    take = engine(seed, rpm, seconds=seconds)
    samples = take.samples / take.samples.std()
    samples = samples + bearing * bearing_noise(take, seed + 1)
    if hiss:
        rng = np.random.default_rng(seed + 2)
        sections = scipy.signal.butter(4, 4500.0, "high", fs=RATE_HZ, output="sos")
        white = coloured(rng, samples.size, RATE_HZ, 0.0)
        samples = samples + hiss * scipy.signal.sosfilt(sections, white)
    source = ArraySource((0.05 * gain * samples[None, :]).astype(np.float32), RATE_HZ)
    track = true_track(take) if with_crank else None
    crank = CrankSpeed(track, 1.0 if with_crank else 0.0, None if with_crank else "deaf", "sound")
    return HeardTake(conditions or Conditions("front", "on"), crank, hear(source, track))
