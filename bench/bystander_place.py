"""Where the bystander listens: ways through the bay, rooms, phones and what else is to be heard."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy import fft

from bystander_tools import (
    GRID_S,
    Array,
    Colour,
    Motion,
    band,
    cloud,
    drift,
    gain_at,
    hum,
    log_uniform,
    puff,
    ring,
    strew,
)

FRONT = "front of engine"
# How loud each seat is from the front [dB]; pulley parts are 0 to -7 (common practice, no source).
_FROM_FRONT = {"block": -1.0, "valve-train": -3.0, "intake": -3.0, "exhaust": -7.0, "bay": -4.0}
# How much of what sits elsewhere comes through to a held probe [dB], least and most.
_LEAK = {
    "block": (-4, 1),
    "belt": (-14, -5),
    "intake": (-16, -8),
    "exhaust": (-16, -6),
    "bay": (-16, -8),
}


def wavy(rng: np.random.Generator, spread_db: float, bumps: int, bump_db: float) -> Colour:
    """A colour that wanders by some dB, with a few resonances of some dB."""
    hz = np.geomspace(40.0, 18e3, 48)
    level = np.interp(np.arange(48), np.arange(0, 54, 6), rng.normal(0.0, spread_db, 9))
    for _ in range(bumps):
        middle, width = rng.uniform(8, 42), rng.uniform(0.6, 2.5)
        level += (
            rng.uniform(0.4, 1.0) * bump_db * np.exp(-(((np.arange(48) - middle) / width) ** 2))
        )
    return tuple(zip(hz.tolist(), level.tolist(), strict=True))


class Bay:
    """The ways from each seat to the phone, drawn once for a car."""

    def __init__(self, rng: np.random.Generator, rate_hz: int) -> None:
        self._rng, self._rate_hz = rng, rate_hz
        self._drawn: dict[tuple[str, str], tuple[float, Colour]] = {}
        self._probe = wavy(rng, 2.0, 3, 12.0)  # the rod and how it is held
        self._knee_hz = log_uniform(rng, 1500, 7000)
        self._tail_s = log_uniform(rng, 0.05, 0.7)
        self._tail_gain = rng.uniform(0.0, 0.5)
        self._floor_s = rng.uniform(0.001, 0.006)

    def _way(self, seat: str, place: str) -> tuple[float, Colour]:
        if (seat, place) not in self._drawn:
            rng = self._rng
            if place == FRONT:
                level = _FROM_FRONT.get(seat, rng.uniform(-7, 0)) + rng.normal(0.0, 2.0)
                self._drawn[seat, place] = level, wavy(rng, 2.5, 3, 10.0)
            elif seat == place:
                self._drawn[seat, place] = rng.uniform(8, 20), wavy(rng, 3.0, 3, 10.0)
            else:
                level = rng.uniform(*_LEAK.get(seat, (-9.0, 0.0)))
                self._drawn[seat, place] = level, wavy(rng, 3.5, 2, 10.0)
        return self._drawn[seat, place]

    def response(self, seat: str, place: str, freqs_hz: Array) -> Array:
        """Amplitude gain from a seat to the phone at a place."""
        level, colour = self._way(seat, place)
        return gain_at([(hz, db + level) for hz, db in colour], freqs_hz)

    def around(self, place: str, size: int) -> Array:
        """What the room, or the probe, does to all of it: complex gain on the grid of `size`."""
        freqs = fft.rfftfreq(size, 1.0 / self._rate_hz)
        if place != FRONT:
            return gain_at(self._probe, freqs) / (1.0 + (freqs / self._knee_hz) ** 2)
        length = int(2.0 * self._tail_s * self._rate_hz)
        tail = self._rng.standard_normal(length) * np.exp(
            -6.9 * np.arange(length) / (self._tail_s * self._rate_hz)
        )
        tail *= self._tail_gain / np.sqrt(np.sum(np.square(tail)))
        tail[0] += 1.0
        tail[int(self._floor_s * self._rate_hz)] += 0.4
        return fft.rfft(tail.astype(np.float32), size)


@dataclass(frozen=True)
class Phone:
    """What a phone does to sound; levels in dB of full scale.

    `agc` is "none" (one gain for all takes), "slow" or "per take"; `hush` is the share of the
    steady power that is taken away in each line; one that is `careful` turns a take down that
    would clip.
    """

    rate_hz: int
    low_hz: float
    high_hz: float
    colour: Colour
    level_db: float
    floor_db: float
    agc: str
    hush: float
    careful: bool


def draw_phone(rng: np.random.Generator) -> Phone:
    loud = rng.random() < 0.06
    return Phone(
        int(rng.choice([32_000, 44_100, 48_000], p=[0.15, 0.3, 0.55])),
        log_uniform(rng, 60, 250),
        float(rng.uniform(6500, 9000) if rng.random() < 0.1 else rng.uniform(11e3, 18e3)),
        wavy(rng, 2.0, 2, 7.0),
        float(rng.uniform(-8, -2) if loud else rng.uniform(-34, -16)),
        float(rng.uniform(-75, -48)),
        str(rng.choice(["none", "slow", "per take"], p=[0.3, 0.35, 0.35])),
        float(rng.uniform(0.3, 0.8) if rng.random() < 0.2 else 0.0),
        not loud and bool(rng.random() < 0.9),
    )


def phone_gain(phone: Phone, freqs_hz: Array) -> Array:
    ratio = np.maximum(freqs_hz, 1.0)
    edges = 1.0 + (phone.low_hz / ratio) ** 4
    return gain_at(phone.colour, freqs_hz) / np.sqrt(edges * (1.0 + (ratio / phone.high_hz) ** 12))


def stored(rng: np.random.Generator, phone: Phone, sound: Array, usual_rms: float) -> Array:
    """The take as kept, within -1 to 1; `usual_rms` is the RMS of the car's first take."""
    rms = float(np.sqrt(np.mean(np.square(sound)))) + 1e-12
    sound = sound * (10.0 ** (phone.level_db / 20.0) / (usual_rms if phone.agc == "none" else rms))
    if phone.hush:
        sound = _hushed(sound, phone.hush)
    if phone.agc == "slow":
        block = phone.rate_hz // 25
        power = np.square(sound[: sound.size // block * block]).reshape(-1, block).mean(axis=1)
        level, quick, follow = power[0] if power.size else 1.0, 0.2, np.empty(power.size)
        for index, now in enumerate(power):
            level += (quick if now > level else 0.02) * (now - level)
            follow[index] = level
        gain = (np.mean(power) / np.maximum(follow, 1e-14)) ** 0.3
        at = np.arange(sound.size) / block - 0.5
        sound = sound * np.interp(at, np.arange(gain.size), np.minimum(gain, 4.0))
    if phone.careful:
        sound = sound * min(1.0, rng.uniform(0.7, 0.98) / float(np.abs(sound).max() + 1e-12))
    floor = cloud(rng, sound.size, phone.rate_hz, ((50, 8), (400, 0), (16e3, -2)))
    sound = sound + 10.0 ** (phone.floor_db / 20.0) * floor
    return np.clip(sound, -1.0, 1.0).astype(np.float32)


def _hushed(sound: Array, share: float) -> Array:
    hop, window = 512, np.sin(np.pi * (np.arange(1024) + 0.5) / 1024).astype(np.float32)
    padded = np.pad(sound.astype(np.float32), (hop, 1024 + hop))
    count = (padded.size - 1024) // hop + 1
    frames = np.lib.stride_tricks.sliding_window_view(padded, 1024)[::hop][:count]
    lines = fft.rfft(frames * window)
    power = np.square(np.abs(lines)) + 1e-20
    lines *= np.sqrt(np.maximum(1.0 - share * power.mean(axis=0) / power, 0.1))
    pieces = fft.irfft(lines, 1024) * window
    out = np.zeros((count + 1) * hop, np.float32)
    out[:-hop] += pieces[:, :hop].ravel()
    out[hop:] += pieces[:, hop:].ravel()
    return out[hop : hop + sound.size]


def _clock(samples: int, rate_hz: int) -> Motion:
    """A motion of one turn a second, for noises that no engine drives."""
    time = np.arange(samples) / rate_hz
    grid = np.arange(0.0, samples / rate_hz + 0.3, GRID_S)
    return Motion(rate_hz, samples, grid, time, np.ones(samples, np.float32))


def _wind(rng: np.random.Generator, clock: Motion) -> Array:
    gusts = np.exp(0.8 * drift(rng, clock, rng.uniform(0.5, 3)))
    low = cloud(rng, clock.samples, clock.rate_hz, ((30, 6), (90, 0), (400, -15), (4e3, -45)))
    return low * gusts


def _speech(rng: np.random.Generator, clock: Motion) -> Array:
    pitch = rng.uniform(90, 230)
    phase = np.cumsum(pitch * (1 + 0.12 * drift(rng, clock, 3.0))) / clock.rate_hz
    out = clock.silence()
    for _ in range(3):  # three vowels that take turns
        formants = [
            (rng.uniform(300, 800), 90),
            (rng.uniform(900, 2300), 120),
            (rng.uniform(2400, 3200), 200),
        ]
        heights = {
            k: sum(1 / (1 + ((k * pitch - hz) / wide) ** 2) for hz, wide in formants) / k**0.5
            for k in range(1, int(4500 / pitch))
        }
        out += hum(rng, phase, heights) * np.clip(drift(rng, clock, rng.uniform(3, 6)), 0.0, 1.5)
    hiss = puff(rng, clock.rate_hz, band(3500, 8000), 0.03, 0.04)
    times = rng.uniform(0, clock.samples / clock.rate_hz, clock.samples // clock.rate_hz * 2)
    return out + strew(rng, clock, times, 0.3 * out.std(), hiss)


def _traffic(rng: np.random.Generator, clock: Motion) -> Array:
    out = clock.silence()
    for _ in range(int(rng.integers(2, 5))):
        middle, width = rng.uniform(0, clock.samples / clock.rate_hz), rng.uniform(0.8, 4)
        pass_by = 1.0 / (1.0 + ((clock.turns - middle) / width) ** 2)
        out += cloud(rng, clock.samples, clock.rate_hz, band(200, 1200, 7.0)) * pass_by
    return out


def _motor(rng: np.random.Generator, clock: Motion) -> Array:
    """A drill, a vacuum cleaner, a mains motor: a speed with harmonics, a slot line, brushes."""
    turning = log_uniform(rng, 23, 300) * (1 + rng.uniform(0, 0.02) * drift(rng, clock, 1.0))
    harmonics = {k: float(rng.lognormal(0, 0.7)) / k for k in range(1, 13)}
    harmonics[int(rng.integers(14, 40))] = rng.uniform(0.1, 0.6)
    hiss = cloud(rng, clock.samples, clock.rate_hz, band(800, 5000, 6.0))
    return hum(rng, np.cumsum(turning) / clock.rate_hz, harmonics) + rng.uniform(0.1, 1.0) * hiss


def _fan(rng: np.random.Generator, clock: Motion) -> Array:
    phase = clock.turns * rng.uniform(8, 45)
    blades = int(rng.integers(3, 8))
    rush = cloud(rng, clock.samples, clock.rate_hz, band(150, 900, 6.0))
    beat = 1.0 + 0.1 * hum(rng, phase, {1: 1.0})
    return rush * beat + rng.uniform(0.05, 0.6) * hum(rng, phase, {blades: 1.0, 2 * blades: 0.4})


def _music(rng: np.random.Generator, clock: Motion) -> Array:
    beat, out = 60.0 / rng.uniform(75, 150), clock.silence()
    times = np.arange(0.0, clock.samples / clock.rate_hz, beat / 2)
    root = rng.uniform(110, 330)
    for step in rng.choice([0, 2, 4, 5, 7, 9, 11, 12], 5, replace=False):
        hz = root * 2 ** (step / 12)
        note = ring(rng, clock.rate_hz, (hz, 3 * hz), 0.15, 2, 0.0, 1)
        out += strew(rng, clock, times[rng.random(times.size) < 0.35], 1.0, note)
    drum = puff(rng, clock.rate_hz, band(60, 200), 0.003, 0.06)
    snare = puff(rng, clock.rate_hz, band(1500, 6000), 0.002, 0.03)
    out += strew(rng, clock, times[::2], 0.7, drum) + strew(rng, clock, times[2::4], 0.4, snare)
    return out


def _quiet(rng: np.random.Generator, clock: Motion) -> Array:
    mains = float(rng.choice([50.0, 60.0]))
    lines = hum(rng, clock.turns * mains, {1: 0.3, 2: 1.0, 4: 0.5, 6: 0.3, 8: 0.1})
    room = cloud(rng, clock.samples, clock.rate_hz, ((40, 5), (300, 0), (8e3, -25)))
    return rng.uniform(0.0, 1.0) * lines + room


def _wrench(rng: np.random.Generator, clock: Motion) -> Array:
    """An impact wrench two bays on."""
    grains = ring(rng, clock.rate_hz, (700, 4500), 0.006, 4, 0.5)
    times = np.arange(0.0, clock.samples / clock.rate_hz, 1.0 / rng.uniform(14, 28))
    on = clock.then(drift(rng, clock, 0.8), times) > 0.6
    return strew(rng, clock, times[on], 1.0, grains)


NOTHING: dict[str, Callable[[np.random.Generator, Motion], Array]] = {
    "wind": _wind,
    "speech": _speech,
    "traffic": _traffic,
    "electric motor": _motor,
    "fan": _fan,
    "music": _music,
    "quiet": _quiet,
}
_BACKGROUNDS = {**NOTHING, "impact wrench": _wrench}


def background(rng: np.random.Generator, kind: str, samples: int, rate_hz: int) -> Array:
    """Unit RMS of one kind, of `NOTHING` or "impact wrench"."""
    noise = _BACKGROUNDS[kind](rng, _clock(samples, rate_hz))
    scaled: Array = noise / (np.sqrt(np.mean(np.square(noise))) + 1e-9)
    return scaled


def draw_background(rng: np.random.Generator) -> str:
    return str(rng.choice(list(_BACKGROUNDS)))


def draw_nothing(rng: np.random.Generator) -> tuple[Array, int, str]:
    """A recording without an engine: samples float32, shape=(1, n), rate [Hz], and what it is."""
    phone, what = draw_phone(rng), str(rng.choice(list(NOTHING)))
    samples = int(rng.uniform(5.0, 10.0) * phone.rate_hz)
    size = fft.next_fast_len(samples, real=True)
    spectrum = fft.rfft(background(rng, what, samples, phone.rate_hz).astype(np.float32), size)
    spectrum *= phone_gain(phone, fft.rfftfreq(size, 1.0 / phone.rate_hz))
    sound = fft.irfft(spectrum, size)[:samples]
    usual = float(np.sqrt(np.mean(np.square(sound)))) * 10.0 ** (rng.uniform(0, 15) / 20)
    return stored(rng, phone, sound, usual)[None, :], phone.rate_hz, what
