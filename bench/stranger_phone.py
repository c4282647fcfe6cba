"""From the engine bay to the file: places, rooms and phones of the stranger."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy import fft, ndimage, signal

from stranger_motion import LEAD_IN_S
from stranger_tools import (
    Array,
    NoisePool,
    band_pass,
    db,
    log_uniform,
    low_pass,
    peak_section,
    slow_curve,
    stretch,
)

FRONT = "front of engine"
# Sounds are made at this rate whatever the phone: above 16 kHz there is only the phone's hiss.
MAKING_HZ = 32000
RATES_HZ = (16000, 22050, 32000, 44100, 44100, 48000, 48000, 48000)


@dataclass(frozen=True)
class Phone:
    """One phone's ways; the same for every take of a case."""

    rate_hz: int
    channels: int
    high_pass_hz: float
    sections: Array
    leveller: str  # "none" | "compressor" | "fast limiter" | "expander"
    threshold_db: float
    ratio: float
    release_s: float
    target_db: float
    follows_level: bool
    bits: int
    noise_db: float
    spread: float


@dataclass(frozen=True)
class Room:
    """Where the car stands."""

    decay_s: float
    wet_db: float
    bounce_s: float
    bounce: float
    wind: bool


def draw_phone(rng: np.random.Generator) -> Phone:
    """A random phone."""
    rate = int(rng.choice(RATES_HZ))
    high_pass_hz = float(rng.uniform(40.0, 260.0))
    sections = [
        *signal.butter(2, high_pass_hz, "highpass", fs=rate, output="sos"),
        *(
            peak_section(rate, log_uniform(rng, low, high), rng.uniform(0.7, 5.0), gain)
            for (low, high), gain in zip(
                ((200.0, 900.0), (900.0, 3000.0), (3000.0, 7000.0)),
                rng.uniform(-7.0, 7.0, 3),
                strict=True,
            )
        ),
    ]
    if rng.random() < 0.6:
        top = min(rng.uniform(5500.0, 19000.0), 0.45 * rate)
        sections.extend(signal.butter(2, top, "lowpass", fs=rate, output="sos"))
    target_db = float(rng.uniform(-38.0, -12.0))
    return Phone(
        rate_hz=rate,
        channels=int(rng.choice([1, 1, 2])),
        high_pass_hz=high_pass_hz,
        sections=np.array(sections, np.float32),
        leveller=str(
            rng.choice(["none", "compressor", "fast limiter", "expander"], p=[0.4, 0.35, 0.15, 0.1])
        ),
        threshold_db=float(rng.uniform(-18.0, -3.0)),
        ratio=float(rng.uniform(1.5, 6.0)),
        release_s=log_uniform(rng, 0.05, 1.0),
        target_db=target_db,
        follows_level=bool(rng.random() < 0.6),
        bits=int(rng.choice([16, 16, 16, 12, 10, 9])),
        noise_db=target_db - float(rng.uniform(22.0, 55.0)),
        spread=float(rng.uniform(0.0, 1.0)),
    )


def draw_room(rng: np.random.Generator) -> Room:
    """A shop, a yard or a street."""
    outside = rng.random() < 0.45
    return Room(
        decay_s=float(rng.uniform(0.03, 0.1) if outside else rng.uniform(0.15, 0.8)),
        wet_db=float(rng.uniform(-24.0, -12.0) if outside else rng.uniform(-14.0, 0.0)),
        bounce_s=float(rng.uniform(0.001, 0.007)),
        bounce=float(rng.uniform(0.1, 0.7)),
        wind=bool(outside and rng.random() < 0.3),
    )


def gains_at(
    rng: np.random.Generator, place: str, parts: tuple[str, ...], steady: Mapping[str, float]
) -> dict[str, float]:
    """Level of each part's own noise at a place against the front of the engine [dB].

    `parts` are in the order the belt meets them; a probed part's neighbours are weakened less.
    """
    if place == FRONT:
        return {part: steady.get(part, 0.0) + float(rng.normal(0.0, 1.0)) for part in parts}
    at = parts.index(place) if place in parts else None
    close_db, away_db = rng.uniform(10.0, 20.0), rng.uniform(-10.0, -3.0)
    out = {}
    for i, part in enumerate(parts):
        if part == place:
            out[part] = float(close_db)
            continue
        near = at is not None and abs(i - at) == 1
        out[part] = float(away_db + (3.0 if near else 0.0) + rng.normal(0.0, 2.0))
    out["surroundings"] = float(away_db - 6.0)
    return out


def _room_answer(rng: np.random.Generator, room: Room, probe: bool, rate_hz: float) -> Array:
    count = int(min(1.2 * room.decay_s, LEAD_IN_S) * rate_hz)
    tail = rng.standard_normal(count) * 10.0 ** (-3.0 * np.arange(count) / rate_hz / room.decay_s)
    tail = low_pass(tail.astype(np.float32), rate_hz, 5000.0)
    tail[: int(0.003 * rate_hz)] = 0.0
    wet_db = room.wet_db - (15.0 if probe else 0.0)
    answer = tail * np.float32(db(wet_db) / (np.sqrt(np.sum(tail**2.0)) + 1e-9))
    answer[0] += 1.0
    late = min(int(room.bounce_s * rng.uniform(0.7, 1.4) * rate_hz), count - 1)
    answer[late] += room.bounce * (0.2 if probe else 1.0)
    return answer


def _probe_contact(rng: np.random.Generator, rate_hz: float) -> Array:
    """What a screwdriver or a tube between housing and phone does to the sound."""
    gains = (rng.uniform(-6.0, 10.0), rng.uniform(-10.0, 8.0))
    centres = (log_uniform(rng, 300.0, 1500.0), log_uniform(rng, 1500.0, 5000.0))
    return np.array(
        [
            peak_section(rate_hz, centre, rng.uniform(1.0, 4.0), gain)
            for centre, gain in zip(centres, gains, strict=True)
        ],
        np.float32,
    )


def _leveller(phone: Phone, x: Array) -> Array:
    """Automatic level: gain from a looked-ahead envelope on a 5 ms grid, shared by channels."""
    step = int(0.005 * phone.rate_hz)
    frames = x.shape[1] // step
    power = np.mean(x[:, : frames * step].reshape(len(x), frames, step) ** 2, axis=(0, 2)) + 1e-12
    mean = power.mean()
    ahead = ndimage.maximum_filter1d(power, 5)
    keep = np.exp(-0.005 / (0.05 if phone.leveller == "fast limiter" else phone.release_s))
    held = signal.lfilter([1.0 - keep], [1.0, -keep], ahead, zi=[keep * mean])[0]
    level_db = 10.0 * np.log10(held / mean)
    over = level_db - (0.0 if phone.leveller == "expander" else phone.threshold_db + 8.0)
    if phone.leveller == "expander":
        gain_db = 0.5 * np.clip(over, -12.0, 0.0)
    else:
        slope = 0.95 if phone.leveller == "fast limiter" else 1.0 - 1.0 / phone.ratio
        gain_db = -slope * np.maximum(over, 0.0)
    return x * stretch(10.0 ** (gain_db / 20.0), x.shape[1])


def record(
    rng: np.random.Generator,
    pool: NoisePool,
    phone: Phone,
    room: Room,
    sounds: list[tuple[Array, float, float]],
    duration_s: float,
    place: str,
    reference_rms: float,
) -> Array:
    """The take as the phone writes it, shape=(channels, samples), float32 within -1 to 1.

    `sounds` holds (samples at the making rate, gain, side -1 to 1); `reference_rms` is the
    loudness for which a phone without automatic level was set.
    """
    making_hz, count = MAKING_HZ, len(sounds[0][0])
    # 640 divides every pair of rates here, so the phone's rate is reached exactly.
    size = 640 * fft.next_fast_len(-(-count // 640), real=True)
    out_size = size * phone.rate_hz // making_hz
    probe = place != FRONT
    contact = _probe_contact(rng, making_hz) if probe else None
    outputs = []
    for channel in range(phone.channels):
        mix: Array = np.zeros(size, np.float32)
        side_sign = 2 * channel - 1 if phone.channels == 2 else 0
        for samples, gain, side in sounds:
            tilt = 1.0 + 0.35 * phone.spread * side_sign * side
            delay = int(max(0.0, -side_sign * side) * phone.spread * 4e-4 * making_hz)
            mix[delay:count] += np.float32(gain * tilt) * samples[: count - delay]
        if contact is not None:
            mix = signal.sosfilt(contact, mix)
        spectrum = fft.rfft(mix)
        spectrum *= fft.rfft(_room_answer(rng, room, probe, making_hz), size)
        kept = np.zeros(out_size // 2 + 1, np.complex64)
        shared = min(len(kept), len(spectrum))
        kept[:shared] = spectrum[:shared]
        outputs.append(fft.irfft(kept, out_size) * np.float32(out_size / size))
    start = round(LEAD_IN_S * phone.rate_hz)
    x = np.stack(outputs)[:, start : start + round(duration_s * phone.rate_hz)]
    return hear(rng, pool, phone, x, room.wind and not probe, reference_rms)


def hear(
    rng: np.random.Generator,
    pool: NoisePool,
    phone: Phone,
    x: Array,
    wind: bool,
    reference_rms: float | None = None,
) -> Array:
    """Microphone, wind, automatic level, noise and number of bits; shape as `x`."""
    count = x.shape[1]
    if wind:
        x = x + gusts(rng, pool, count, phone.rate_hz) * np.float32(
            np.sqrt(np.mean(x**2)) * rng.uniform(0.2, 3.0)
        )
    x = signal.sosfilt(phone.sections, x, axis=1)
    own = float(np.sqrt(np.mean(x**2))) + 1e-12
    set_by = own
    if not phone.follows_level and reference_rms is not None:
        # A man who sees the meter far off moves the phone: no more than 8 dB up, 12 down.
        set_by = float(np.clip(reference_rms, own * db(-8.0), own * db(12.0)))
    x = x * np.float32(db(phone.target_db) / set_by)
    if phone.leveller != "none":
        x = _leveller(phone, x)
    hiss = np.stack([pool.white(rng, count) for _ in range(len(x))])
    x = x + np.float32(db(phone.noise_db)) * hiss
    if phone.bits < 16:  # rough coding: steps set by the take's own peak
        step = np.float32(np.abs(x).max() * 2.0 ** (1 - phone.bits))
        x = step * np.round(x / step)
    x = np.clip(x, -0.999, 0.999)
    return np.round(x * 32767.0).astype(np.float32) / np.float32(32768.0)


def gusts(rng: np.random.Generator, pool: NoisePool, count: int, rate_hz: float) -> Array:
    """Wind on a microphone: low rumble in gusts, unit variance, shape=(count,)."""
    corner_hz = log_uniform(rng, 40.0, 250.0)
    rumble = low_pass(low_pass(pool.white(rng, count), rate_hz, corner_hz), rate_hz, corner_hz * 2)
    span_s = count / rate_hz
    swing = np.exp(0.9 * slow_curve(rng, 600, span_s / 600, 0.5))
    out = rumble * stretch(swing, count)
    flutter = band_pass(pool.white(rng, count), rate_hz, 200.0, 800.0) * stretch(swing**2, count)
    out = out / out.std() + 0.15 * flutter / flutter.std()
    return np.asarray(out / out.std(), np.float32)
