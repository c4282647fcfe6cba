"""Building blocks of the rig's sounds: responses, pulse placing, and one mixer.

A sound is an excitation in time (pulses, tones, noise) that passes through a short impulse
response. The mixer keeps all excitations in the frequency domain, block by block (overlap-add,
Oppenheim & Schafer 1989, chapter 8, from memory), and goes back to time once, which is what
makes thousands of draws affordable.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt
import scipy.fft
from numpy.random import Generator

RATE_HZ: Final = 48_000
BLOCK: Final = 4096
RESPONSE_LIMIT: Final = BLOCK + 1

Float32 = npt.NDArray[np.float32]
Float64 = npt.NDArray[np.float64]
Complex64 = npt.NDArray[np.complex64]


def db_to_gain(level_db: float) -> float:
    """Amplitude factor of a level [dB]."""
    return float(10.0 ** (level_db / 20.0))


def unit_energy(response: npt.NDArray[np.floating]) -> Float32:
    """The response scaled so that white noise keeps its power: sum of squares is 1."""
    energy = float(np.sqrt(np.sum(np.square(response, dtype=np.float64))))
    return np.asarray(response / max(energy, 1e-20), dtype=np.float32)


def ringing(
    frequency_hz: npt.ArrayLike,
    damping: npt.ArrayLike,
    gain: npt.ArrayLike,
    phase: npt.ArrayLike = 0.0,
    *,
    length: int = 2048,
) -> Float32:
    """Impulse response of damped modes side by side, unit energy, shape (length,).

    Each mode is exp(-damping w t) sin(w t + phase): the free decay of a single-degree-of-freedom
    oscillator, `damping` being the share of critical damping (textbook, from memory).
    """
    time = np.arange(length) / RATE_HZ
    omega = 2.0 * np.pi * np.atleast_1d(np.asarray(frequency_hz, dtype=np.float64))[:, None]
    decay = np.atleast_1d(np.asarray(damping, dtype=np.float64))[:, None]
    weight = np.atleast_1d(np.asarray(gain, dtype=np.float64))[:, None]
    start = np.atleast_1d(np.asarray(phase, dtype=np.float64))[:, None]
    modes = weight * np.exp(-decay * omega * time) * np.sin(omega * time + start)
    return unit_energy(fade_out(modes.sum(axis=0)))


def random_modes(
    rng: Generator,
    low_hz: float,
    high_hz: float,
    count: int,
    *,
    tilt_db_per_octave: float = 0.0,
    damping: tuple[float, float] = (0.01, 0.06),
    length: int = 2048,
) -> Float32:
    """Ringing of `count` modes drawn evenly in log frequency; own choice of ranges.

    The blow lasts about one period of `high_hz`, so that little is left above it.
    """
    frequency = np.exp(rng.uniform(np.log(low_hz), np.log(high_hz), count))
    level_db = rng.normal(0.0, 4.0, count) + tilt_db_per_octave * np.log2(frequency / low_hz)
    # A mode's energy falls with its decay rate: the square root keeps the drawn levels true.
    share = np.exp(rng.uniform(np.log(damping[0]), np.log(damping[1]), count))
    gain = 10.0 ** (level_db / 20.0) * np.sqrt(frequency * share)
    modes = ringing(frequency, share, gain, rng.uniform(0, 2 * np.pi, count), length=length)
    blow = np.hanning(int(RATE_HZ / high_hz) + 3)
    return unit_energy(np.convolve(modes, blow)[:length])


def fade_out(response: npt.NDArray[np.floating]) -> npt.NDArray[np.floating]:
    """The response with its last eighth brought smoothly to zero."""
    tail = len(response) // 8
    shaped = response.copy()
    if tail:
        shaped[-tail:] *= 0.5 + 0.5 * np.cos(np.linspace(0.0, np.pi, tail))
    return shaped


def minimum_phase(
    points_hz: npt.ArrayLike, points_db: npt.ArrayLike, *, length: int = 1024
) -> Float32:
    """Minimum-phase response with a magnitude drawn through points, shape (length,).

    Straight lines in dB over log frequency, level beyond the ends; phase from the folded real
    cepstrum (Oppenheim & Schafer 1989, section 12, from memory). Not scaled.
    """
    size = 4 * length
    grid = np.maximum(scipy.fft.rfftfreq(size, 1.0 / RATE_HZ), 1.0)
    known = np.log(np.asarray(points_hz, dtype=np.float64))
    level = np.interp(np.log(grid), known, np.asarray(points_db, dtype=np.float64))
    cepstrum = scipy.fft.irfft(level * (np.log(10.0) / 20.0), size)
    cepstrum[1 : size // 2] *= 2.0
    cepstrum[size // 2 + 1 :] = 0.0
    response = scipy.fft.irfft(np.exp(scipy.fft.rfft(cepstrum)), size)[:length]
    return np.asarray(fade_out(response), dtype=np.float32)


def coloured(
    rng: Generator,
    low_hz: float,
    high_hz: float,
    *,
    slope_db_per_octave: float = 0.0,
    ripple_db: float = 3.0,
    skirt_db_per_octave: float = 12.0,
    length: int = 1024,
) -> Float32:
    """Unit-energy response for noise between two corners, with random ripple; own choice."""
    points = np.exp(np.linspace(np.log(20.0), np.log(22_000.0), 24))
    octaves_below = np.maximum(np.log2(low_hz / points), 0.0)
    octaves_above = np.maximum(np.log2(points / high_hz), 0.0)
    inside = np.log2(np.clip(points, low_hz, high_hz) / low_hz)
    level = (
        slope_db_per_octave * inside
        - skirt_db_per_octave * (octaves_below + octaves_above)
        + rng.normal(0.0, ripple_db, len(points))
    )
    return unit_energy(minimum_phase(points, level, length=length))


def chain(*responses: Float32) -> Float32:
    """Responses one after the other, cut to what the mixer takes."""
    length = sum(len(response) for response in responses)
    size = 1 << (length - 1).bit_length()
    spectrum = scipy.fft.rfft(responses[0], size)
    for response in responses[1:]:
        spectrum = spectrum * scipy.fft.rfft(response, size)
    joined = scipy.fft.irfft(spectrum, size)[: min(length, RESPONSE_LIMIT)]
    return np.asarray(joined, dtype=np.float32)


def place_pulses(time_s: Float64, amplitude: Float64, count: int) -> Float32:
    """Pulses at any moments as samples, shape (count,); each is shared by two neighbours."""
    position = time_s * RATE_HZ
    whole = np.floor(position).astype(np.int64)
    inside = (whole >= 0) & (whole < count - 1)
    whole, part = whole[inside], (position - np.floor(position))[inside]
    size = amplitude[inside]
    placed = np.bincount(whole, size * (1.0 - part), count)
    placed += np.bincount(whole + 1, size * part, count)
    return placed.astype(np.float32)


def slow_noise(rng: Generator, count: int, rate_hz: float, bandwidth_hz: float) -> Float64:
    """Unit-variance random signal slower than `bandwidth_hz`, sampled at `rate_hz`."""
    knots = max(int(np.ceil(count / rate_hz * bandwidth_hz * 2.0)) + 4, 6)
    values = rng.standard_normal(knots)
    values = np.convolve(values, (0.25, 0.5, 0.25), mode="same") / np.sqrt(0.375)
    position = np.linspace(1.0, knots - 2.0, count)
    wave: Float64 = np.interp(position, np.arange(knots), values)
    return wave


def look_up(table: Float32, turns: Float64) -> Float32:
    """Value of a periodic table at each angle; `turns` in periods of the table."""
    index = ((turns - np.floor(turns)) * len(table)).astype(np.int32)
    return table.take(index, mode="clip")


class Mixer:
    """Sum of excitations, each through its own response, for one or more channels."""

    def __init__(self, count: int, channels: int = 1) -> None:
        self.count = count
        self.blocks = -(-count // BLOCK)
        self._spectrum = np.zeros((channels, self.blocks, BLOCK + 1), dtype=np.complex64)
        self._padded = np.zeros((self.blocks, 2 * BLOCK), dtype=np.float32)
        self._product = np.empty((self.blocks, BLOCK + 1), dtype=np.complex64)

    def add(self, signal: Float32, responses: Float32) -> None:
        """Add `signal`, shape (count,), through `responses`, shape (channels, <= 4097)."""
        padded = self._padded  # its second halves stay zero
        whole = self.count // BLOCK
        padded[:whole, :BLOCK] = signal[: whole * BLOCK].reshape(whole, BLOCK)
        if whole < self.blocks:
            padded[whole, : self.count - whole * BLOCK] = signal[whole * BLOCK :]
        excitation = scipy.fft.rfft(padded, axis=-1)
        for channel, response in enumerate(np.atleast_2d(responses)):
            transfer = scipy.fft.rfft(response.astype(np.float32), 2 * BLOCK)
            np.multiply(excitation, transfer, out=self._product)
            self._spectrum[channel] += self._product

    def power(self) -> Float64:
        """Mean power over blocks of the first channel at each of the 4097 frequencies."""
        mean: Float64 = np.mean(np.abs(self._spectrum[0]) ** 2, axis=0).astype(np.float64)
        return mean

    def samples(self) -> Float32:
        """The mix, shape (channels, count)."""
        parts = scipy.fft.irfft(self._spectrum, 2 * BLOCK, axis=-1)
        mix = np.zeros((len(parts), self.blocks + 1, BLOCK), dtype=np.float32)
        mix[:, :-1] += parts[:, :, :BLOCK]
        mix[:, 1:] += parts[:, :, BLOCK:]
        return mix.reshape(len(parts), -1)[:, : self.count]
