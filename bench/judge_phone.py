"""The judge's phones: band limits, automatic gain, noise suppression, clipping, coding."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import signal

from judge_tools import Array, band, grid_hz, joined, lead_phase, spectra

GAIN_FRAME_S = 0.01
WINDOW = 1024


@dataclass(frozen=True)
class Phone:
    """One phone and how its recorder is set."""

    rate_hz: int
    low_hz: float
    high_hz: float
    ripple_db: Array
    level: float
    gain_follows: bool
    attack_s: float
    release_s: float
    suppresses_db: float
    clips: float
    coded_db: float
    coded_to_hz: float
    hiss: float


def draw_phone(rng: np.random.Generator) -> Phone:
    """A random phone; four in ten follow the level, a quarter suppress, a fifth code."""
    return Phone(
        rate_hz=int(rng.choice([44_100, 48_000])),
        low_hz=float(rng.uniform(50.0, 160.0)),
        high_hz=float(rng.uniform(9_000.0, 19_000.0)),
        ripple_db=rng.normal(0.0, 1.8, 24),
        level=float(10.0 ** (rng.uniform(-32.0, -12.0) / 20.0)),
        gain_follows=bool(rng.random() < 0.4),
        attack_s=float(rng.uniform(0.01, 0.06)),
        release_s=float(rng.uniform(0.3, 2.0)),
        suppresses_db=float(rng.uniform(3.0, 10.0)) if rng.random() < 0.25 else 0.0,
        clips=float(rng.uniform(0.15, 0.5)) if rng.random() < 0.15 else 1.0,
        coded_db=float(rng.uniform(10.0, 20.0)) if rng.random() < 0.2 else 0.0,
        coded_to_hz=float(rng.uniform(11_000.0, 16_000.0)),
        hiss=float(10.0 ** (rng.uniform(-78.0, -62.0) / 20.0)),
    )


def _microphone(phone: Phone, sound: Array) -> Array:
    freqs = grid_hz(phone.rate_hz)
    knots = np.geomspace(60.0, phone.rate_hz / 2.0, phone.ripple_db.size)
    ripple = 10.0 ** (np.interp(freqs, knots, phone.ripple_db) / 20.0)
    response = ripple * band(phone.low_hz, phone.high_hz, 2.0)(freqs)
    response = response * lead_phase(freqs, phone.rate_hz)
    return joined(spectra(sound) * response.astype(np.complex64), sound.size)


def _automatic_gain(phone: Phone, sound: Array) -> Array:
    """A gain that falls fast as it grows loud and comes back slowly."""
    step = int(GAIN_FRAME_S * phone.rate_hz)
    count = sound.size // step
    heard = np.sqrt(np.mean(sound[: count * step].reshape(count, step) ** 2, axis=1))
    attack = float(np.exp(-GAIN_FRAME_S / phone.attack_s))
    release = float(np.exp(-GAIN_FRAME_S / phone.release_s))
    follower, track = float(np.median(heard)), []
    for level in heard.tolist():
        keep = attack if level > follower else release
        follower = keep * follower + (1.0 - keep) * level
        track.append(follower)
    gains = phone.level / np.maximum(np.array(track), 1e-9)
    # Half way to an even level: most recorders leave some of the swing.
    gains = gains**0.7 * float(np.median(gains)) ** 0.3
    return np.asarray(
        sound * np.interp(np.arange(sound.size), (np.arange(count) + 0.5) * step, gains)
    )


def _reshaped(phone: Phone, rng: np.random.Generator, sound: Array) -> Array:
    """Noise suppression and coding, both on short spectra."""
    _, _, short = signal.stft(sound.astype(np.float32), nperseg=WINDOW, noverlap=WINDOW // 2)
    size = np.abs(short)
    if phone.suppresses_db:
        floor = np.percentile(size, 15, axis=1)[:, None]
        least = 10.0 ** (-phone.suppresses_db / 20.0)
        short = short * np.clip(1.0 - 0.9 * floor / np.maximum(size, 1e-9), least, 1.0)
    if phone.coded_db:
        # Coding leaves noise a set distance below each band of each frame.
        bands = np.unique(np.geomspace(1, size.shape[0], 26).astype(int)) - 1
        power = np.add.reduceat(np.abs(short) ** 2, bands, axis=0)
        width = np.diff([*bands, size.shape[0]])
        level = np.sqrt(np.repeat(power / width[:, None], width, axis=0) / 2.0)
        noise = rng.standard_normal(short.shape, dtype=np.float32) + 1j * rng.standard_normal(
            short.shape, dtype=np.float32
        )
        short = short + noise * level * 10.0 ** (-phone.coded_db / 20.0)
        top = np.arange(size.shape[0]) * phone.rate_hz / WINDOW > phone.coded_to_hz
        short[top] = 0.0
    _, back = signal.istft(short, nperseg=WINDOW, noverlap=WINDOW // 2)
    return np.asarray(back[: sound.size], dtype=float)


def record(phone: Phone, rng: np.random.Generator, sound: Array, usual: float) -> Array:
    """What the phone stores, float32, shape=(1, samples), within -1 to 1.

    `usual` is the level of sound (root mean square) that its gain is set for, unless its gain
    follows the level by itself.
    """
    heard = _microphone(phone, sound)
    if phone.gain_follows:
        heard = _automatic_gain(phone, heard)
    else:
        heard = heard * phone.level / max(usual, 1e-12)
    heard = heard + phone.hiss * rng.standard_normal(heard.size)
    if phone.suppresses_db or phone.coded_db:
        heard = _reshaped(phone, rng, heard)
    heard = phone.clips * np.tanh(heard / phone.clips)
    stored = np.round(np.clip(heard, -1.0, 1.0 - 2.0**-15) * 2.0**15) / 2.0**15
    return np.asarray(stored[None, :], dtype=np.float32)
