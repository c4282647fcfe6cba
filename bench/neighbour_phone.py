"""The phone of the neighbour's technician, as a chain: capsule, gain, clean-up, storing.

Figures are common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import fft

from neighbour_tools import Array, chance, coarse_hz, gain, log_uniform

HOP = 1_024
# No program stores a take louder than this on average [dB re full scale], but one that clips.
ROOM_DB = -15.0


@dataclass(frozen=True)
class Phone:
    """One phone with its recording program.

    Attributes
    ----------
    capsule
        Response of capsule and case on the coarse grid.
    noise_db
        Its own noise against the first take's sound [dB].
    level_db
        How high the first take is stored [dB re full scale, rms].
    gains
        "fixed" for all takes, "take" (each brought to a level), "slow" (follows the level).
    cleans, codes
        Takes steady noise down a little; loses what is weak beside its neighbours.
    follows_s, ratio
        How slowly the slow gain follows, and how much of a change it takes away.
    clips
        Cuts peaks hard.
    """

    rate_hz: int
    capsule: Array
    noise_db: float
    level_db: float
    gains: str
    cleans: bool
    codes: bool
    follows_s: float
    ratio: float
    clips: bool


def draw_phone(rng: np.random.Generator) -> Phone:
    """A phone by chance."""
    rate = int(rng.choice([32_000, 44_100, 48_000], p=[0.15, 0.4, 0.45]))
    freqs = coarse_hz(rate)
    low = freqs / log_uniform(rng, 60, 250)
    capsule = low**2 / (1.0 - low**2 + 1j * low / 0.7)
    high = freqs / log_uniform(rng, 7_000, 20_000)
    capsule = capsule / (1.0 + 1j * high / 0.7 - high**2)
    for _ in range(int(rng.integers(1, 4))):
        f = freqs / log_uniform(rng, 1_500, 10_000)
        quality = rng.uniform(1.5, 6.0)
        lift = gain(rng.uniform(-5.0, 8.0))
        capsule = capsule * (1 - f**2 + 1j * f * lift / quality) / (1 - f**2 + 1j * f / quality)
    return Phone(
        rate,
        capsule,
        float(rng.uniform(-50.0, -24.0)),
        float(rng.uniform(-38.0, -18.0)),
        str(rng.choice(["fixed", "take", "slow"], p=[0.45, 0.25, 0.3])),
        chance(rng, 0.2),
        chance(rng, 0.3),
        log_uniform(rng, 0.3, 3.0),
        float(rng.uniform(0.3, 0.8)),
        chance(rng, 0.07),
    )


def _follow(samples: Array, phone: Phone) -> Array:
    """Gain that follows the level slowly, faster down than up."""
    step = phone.rate_hz // 50
    blocks = samples[: len(samples) // step * step].reshape(-1, step)
    levels = 10.0 * np.log10(np.mean(blocks**2, axis=1) + 1e-9)
    held, follow = np.empty(len(levels)), float(levels[: len(levels) // 8 + 1].mean())
    for i, level in enumerate(levels):
        pace = 0.02 / phone.follows_s
        follow += (level - follow) * min(1.0, pace * (4.0 if level > follow else 1.0))
        held[i] = follow
    change = -phone.ratio * (held - phone.level_db)
    centres = (np.arange(len(levels)) + 0.5) * step
    factor = 10.0 ** (np.interp(np.arange(len(samples)), centres, change) / 20.0)
    return np.asarray(samples * factor.astype(np.float32))


def _in_frames(samples: Array, phone: Phone) -> Array:
    """Clean-up and storing, in frames of 2,048 samples that overlap by half."""
    count = len(samples) // HOP - 1
    window = np.sin(np.pi * (np.arange(2 * HOP) + 0.5) / (2 * HOP)).astype(np.float32)
    places = np.arange(2 * HOP) + HOP * np.arange(count)[:, None]
    spectra = fft.rfft(samples[places] * window, axis=1)
    power = np.abs(spectra) ** 2
    if phone.cleans:
        steady = 2.0 * np.percentile(power[::8], 20, axis=0)
        spectra *= np.sqrt(np.maximum(1.0 - steady / (power + 1e-12), 0.3))
    if phone.codes:
        near = np.cumsum(np.pad(power, ((0, 0), (17, 16))), axis=1)
        near = (near[:, 33:] - near[:, :-33]) / 33.0
        spectra[power[:, : near.shape[1]] < 0.006 * near] = 0.0
        spectra[:, int(0.75 * HOP) :] *= 0.1
    pieces = fft.irfft(spectra, axis=1) * window
    out = samples.copy()
    out[: HOP * (count + 1)] = 0.0
    out[: HOP * count] += pieces[:, :HOP].ravel()
    out[HOP : HOP * (count + 1)] += pieces[:, HOP:].ravel()
    out[:HOP] = samples[:HOP]
    out[HOP * count : HOP * (count + 1)] = samples[HOP * count : HOP * (count + 1)]
    return out


def stored(rng: np.random.Generator, phone: Phone, samples: Array, first_rms: float) -> Array:
    """What the file holds, float32 within -1 to 1; `first_rms` is that of the case's first take."""
    rms = float(np.sqrt(np.mean(samples**2))) + 1e-12
    if phone.gains == "take":
        level = gain(phone.level_db + rng.normal(0.0, 1.5)) / rms
    else:
        level = gain(phone.level_db) / first_rms
    if not phone.clips:
        level = min(level, gain(ROOM_DB) / rms)
    out = samples * np.float32(level)
    if phone.gains == "slow":
        out = _follow(out, phone)
    if phone.cleans or phone.codes:
        out = _in_frames(out, phone)
    peak = float(np.max(np.abs(out)))
    if phone.clips:
        out = out * np.float32(rng.uniform(1.0, 2.0) / peak)
    elif peak > 0.98:
        # Room above: the gain of a good program gives way for loud parts.
        knee = np.float32(0.6)
        over = np.abs(out) > knee
        soft = np.sign(out) * (knee + (1 - knee) * np.tanh((np.abs(out) - knee) / (1 - knee)))
        out = np.where(over, soft, out)
    return np.asarray(np.clip(np.round(out * 32_767.0) / 32_768.0, -1.0, 1.0), np.float32)
