"""Recordings of a plucked belt span, simulated; shares no code with the estimator.

Modes of a stiff string plucked at a point, each with its own decay; a finger's click; pitch that
falls a little while the swing dies away; a phone that does not hear low notes well; mains hum
with harmonics and the rumble of wind in the microphone.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy.signal

Float64 = npt.NDArray[np.float64]

RATES_HZ = (16000, 44100, 48000)


@dataclass(frozen=True)
class PluckedTake:
    """A take with its truth: `frequency_hz` is the fundamental of the small swing."""

    samples: Float64
    rate_hz: int
    frequency_hz: float
    plucks: int


def draw_take(
    rng: np.random.Generator, *, snr_db: float = 10.0, plucks: int | None = None
) -> PluckedTake:
    """A random take: 1 to 5 plucks of one span, noise at the given level.

    The signal's power is its mean over the 0.4 s after each pluck, the noise's its mean over the
    whole take, hum and wind about as loud, both as the phone hears them.
    """
    rate = int(rng.choice(RATES_HZ))
    frequency = float(np.exp(rng.uniform(np.log(28.0), np.log(320.0))))
    count = plucks or int(rng.integers(1, 6))
    gap_s = rng.uniform(0.7, 1.3, count)
    starts_s = rng.uniform(0.3, 0.8) + np.concatenate(([0.0], np.cumsum(gap_s[:-1])))
    seconds = float(max(starts_s[-1] + gap_s[-1] + 0.3, 2.2))
    time_s = np.arange(int(seconds * rate)) / rate
    stiff = float(rng.uniform(0.0, 0.06))
    quality = float(rng.uniform(12.0, 60.0))
    partials = int(rng.integers(3, 8))
    signal = np.zeros(time_s.size)
    for start_s in starts_s:
        signal += _pluck(rng, time_s - start_s, frequency, stiff, quality, partials)
    noise = _hum(rng, time_s) + float(rng.uniform(0.5, 2.0)) * _wind(rng, time_s.size, rate)
    noise += 0.2 * rng.normal(size=time_s.size)
    corner_hz = float(rng.uniform(20.0, 90.0))
    phone = scipy.signal.butter(2, corner_hz, "high", fs=rate, output="sos")
    signal, noise = scipy.signal.sosfilt(phone, signal), scipy.signal.sosfilt(phone, noise)
    heard = np.zeros(time_s.size, dtype=bool)
    for start_s in starts_s:
        heard |= (time_s >= start_s) & (time_s < start_s + 0.4)
    signal /= np.sqrt(np.mean(signal[heard] ** 2))
    noise /= np.sqrt(np.mean(noise**2)) * 10.0 ** (snr_db / 20.0)
    both = signal + noise
    return PluckedTake(0.3 * both / np.abs(both).max(), rate, frequency, count)


def noise_only(rng: np.random.Generator, seconds: float = 5.0) -> tuple[Float64, int]:
    """Hum and wind without a pluck."""
    rate = int(rng.choice(RATES_HZ))
    time_s = np.arange(int(seconds * rate)) / rate
    noise = _hum(rng, time_s) + float(rng.uniform(0.5, 2.0)) * _wind(rng, time_s.size, rate)
    noise += 0.2 * rng.normal(size=time_s.size)
    return 0.2 * noise / np.abs(noise).max(), rate


def _pluck(
    rng: np.random.Generator,
    since_s: Float64,
    frequency: float,
    stiff: float,
    quality: float,
    partials: int,
) -> Float64:
    place = float(rng.uniform(0.15, 0.5))
    strength = float(rng.uniform(0.6, 1.4))
    after = np.maximum(since_s, 0.0)
    on = since_s >= 0.0
    sound = np.zeros(since_s.size)
    fall = np.pi * frequency / quality
    # A large swing stretches the belt: the note starts a little high.
    glide = float(rng.uniform(0.0, 0.008)) * strength
    turns = frequency * (after + glide * (1.0 - np.exp(-2.0 * fall * after)) / (2.0 * fall))
    for n in range(1, partials + 1):
        height = np.sqrt((1.0 + stiff * n * n) / (1.0 + stiff)) * n
        size = strength * np.sin(np.pi * n * place) / n**1.3
        decay = fall * (1.0 + 0.25 * (n * n - 1.0))
        phase = float(rng.uniform(-0.4, 0.4))
        sound += size * np.exp(-decay * after) * np.sin(2.0 * np.pi * height * turns + phase)
    click = np.exp(-after / 0.004) * rng.normal(size=since_s.size)
    return on * (sound + float(rng.uniform(0.1, 0.5)) * click)


def _hum(rng: np.random.Generator, time_s: Float64) -> Float64:
    mains = float(rng.choice([50.0, 60.0])) * (1.0 + float(rng.normal(0.0, 4e-4)))
    hum = np.zeros(time_s.size)
    for k in range(1, 11):
        size = float(rng.lognormal(0.0, 0.7)) / k * (1.5 if k % 2 == 0 else 1.0)
        hum += size * np.sin(2.0 * np.pi * k * mains * time_s + float(rng.uniform(0, 2 * np.pi)))
    rms = float(np.sqrt(np.mean(hum**2)))
    return hum / rms


def _wind(rng: np.random.Generator, count: int, rate: int) -> Float64:
    """Rumble falling by 12 dB per octave above some 30 Hz, in gusts."""
    spectrum = np.fft.rfft(rng.normal(size=count))
    frequency = np.fft.rfftfreq(count, 1.0 / rate)
    spectrum /= 1.0 + (frequency / 30.0) ** 2
    rumble = np.fft.irfft(spectrum, count)
    knots = rng.uniform(0.3, 1.0, max(int(count / rate / 0.5), 2) + 1)
    gust = np.interp(np.linspace(0, knots.size - 1, count), np.arange(knots.size), knots)
    rumble = rumble * gust
    return np.asarray(rumble / np.sqrt(np.mean(rumble**2)))
