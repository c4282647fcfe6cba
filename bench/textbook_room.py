"""Where and with what the textbook's takes are recorded: workshop noises, room, phone.

Shares and limits of phones are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from textbook_signals import (
    GRID_HZ,
    Array,
    Mode,
    Spectrum,
    Wave,
    band,
    coloured,
    falling,
    grid,
    harmonics,
    modulation,
    on_bins,
    pulse,
    ringing,
    slow_course,
    tone,
)

RATES_HZ = (32000, 44100, 44100, 48000)
Noise = Callable[[np.random.Generator, int, int], Wave]


def _course(rng: np.random.Generator, size: int, rate_hz: int, hz: float, stray: float) -> Array:
    """Phase [turns] of something that turns `hz` times a second, give or take `stray`."""
    strays = slow_course(rng, size, rate_hz, 0.1, 2.0).astype(float)
    return np.asarray(np.cumsum(hz * (1.0 + stray * strays)) / rate_hz)


def wind(rng: np.random.Generator, size: int, rate_hz: int) -> Wave:
    """Gusts on the microphone."""
    gusts = np.exp(rng.uniform(0.4, 1.0) * slow_course(rng, size, rate_hz, 0.2, 3.0))
    noise = coloured(rng, size, rate_hz, 15.0, rng.uniform(80.0, 500.0))
    return np.asarray(noise * gusts, np.float32)


def speech(rng: np.random.Generator, size: int, rate_hz: int) -> Wave:
    """Speech-like: a voice of wandering pitch through formants, in syllables, with pauses."""
    phase = _course(rng, size, rate_hz, rng.uniform(90.0, 230.0), 0.12)
    voice = tone(phase, pulse(0.1)) + np.float32(0.1) * rng.standard_normal(size, dtype=np.float32)
    hz, spectrum = grid(rate_hz), fft.rfft(voice)
    syllables = np.maximum(slow_course(rng, size, rate_hz, 2.0, 6.0), 0.0)
    pauses = slow_course(rng, size, rate_hz, 0.1, 0.6) > -0.5
    mix = slow_course(rng, size, rate_hz, 1.0, 5.0)
    total = np.zeros(size, np.float32)
    for side in (mix, -mix):
        mouth = [
            Mode(rng.uniform(low, high), 0.06, height)
            for low, high, height in ((280, 800, 1.0), (900, 2300, 0.5), (2400, 3200, 0.2))
        ]
        spoken = fft.irfft(spectrum * on_bins(ringing(hz, mouth), size, rate_hz), size)
        total += spoken.astype(np.float32) * np.maximum(side, 0.0)
    return total * syllables * pauses


def music(rng: np.random.Generator, size: int, rate_hz: int) -> Wave:
    """Music-like: notes of a scale on a beat, and a drum."""
    beat = int(rate_hz * rng.uniform(0.18, 0.6))
    notes = rng.integers(0, 7, size // beat + 1)
    scale = 110.0 * 2.0 ** (np.array([0, 2, 4, 5, 7, 9, 11]) / 12.0 + rng.integers(0, 3))
    hz = np.repeat(scale[notes], beat)[:size]
    since = np.arange(size) % beat / beat
    fade = np.exp(-since * rng.uniform(0.5, 5.0)).astype(np.float32)
    lead = tone(np.cumsum(hz) / rate_hz, harmonics(rng, falling(rng, 12, 3.0))) * fade
    bass = tone(np.cumsum(0.5 * hz) / rate_hz, harmonics(rng, falling(rng, 5, 6.0)))
    drum = coloured(rng, size, rate_hz, 60.0, 6000.0) * np.exp(-15.0 * since).astype(np.float32)
    whole = lead + 0.5 * bass + rng.uniform(0.1, 1.5) * drum
    return np.asarray(whole, np.float32)


def traffic(rng: np.random.Generator, size: int, rate_hz: int) -> Wave:
    """Cars that pass."""
    swells = np.exp(0.8 * slow_course(rng, size, rate_hz, 0.05, 0.5))
    noise = coloured(rng, size, rate_hz, 40.0, rng.uniform(500.0, 2000.0))
    return np.asarray(noise * swells, np.float32)


def motor(rng: np.random.Generator, size: int, rate_hz: int) -> Wave:
    """An electric motor: harmonics of its turns, slots, a brush."""
    phase = _course(rng, size, rate_hz, rng.uniform(12.0, 300.0), rng.uniform(0.0005, 0.02))
    slots = int(rng.integers(8, 40))
    whole = tone(phase, harmonics(rng, falling(rng, 25, 1.0, 6.0)))
    whole += tone(phase * slots, harmonics(rng, falling(rng, 3, 6.0)))
    return whole + np.float32(rng.uniform(0.2, 3.0)) * coloured(rng, size, rate_hz, 300.0, 7000.0)


def fan(rng: np.random.Generator, size: int, rate_hz: int) -> Wave:
    """A workshop fan or heater: rush, with the passing of its blades in it."""
    phase = _course(rng, size, rate_hz, rng.uniform(8.0, 45.0), 0.003)
    blades = int(rng.integers(3, 10))
    rush = coloured(rng, size, rate_hz, 60.0, rng.uniform(600.0, 4000.0))
    blade = tone(blades * phase, harmonics(rng, falling(rng, 6, 5.0)))
    return rush * tone(phase, modulation(rng, 0.4)) + np.float32(rng.uniform(0.0, 1.0)) * blade


def hum(rng: np.random.Generator, size: int, rate_hz: int) -> Wave:
    """Silence: mains hum and what the microphone makes itself."""
    phase = np.arange(size, dtype=float) * float(rng.choice([50.0, 60.0]) / rate_hz)
    whole = tone(phase, harmonics(rng, falling(rng, 20, 1.5, 6.0)))
    return whole + np.float32(rng.uniform(0.1, 2.0)) * coloured(rng, size, rate_hz, 50.0, 9000.0)


def tools(rng: np.random.Generator, size: int, rate_hz: int) -> Wave:
    """Clanks: blows as chance has it that ring."""
    count = 1 + int(rng.poisson(size / rate_hz * rng.uniform(0.5, 4.0)))
    blows = np.zeros(size, np.float32)
    blows[rng.integers(0, size, count)] = np.exp(rng.normal(0.0, 0.8, count))
    modes = [Mode(float(hz), 0.003, 1.0) for hz in np.exp(rng.uniform(6.5, 8.8, 5))]
    ring = on_bins(ringing(grid(rate_hz), modes), size, rate_hz)
    return np.asarray(fft.irfft(fft.rfft(blows) * ring, size), np.float32)


NOTHING: dict[str, Noise] = {
    "wind": wind,
    "speech": speech,
    "music": music,
    "traffic": traffic,
    "electric motor": motor,
    "fan": fan,
    "silence with hum": hum,
}
WORKSHOP: tuple[Noise, ...] = (wind, speech, music, traffic, motor, fan, hum, tools)


def room_response(rng: np.random.Generator, rate_hz: int, decay_s: float) -> NDArray[np.complex128]:
    """Where the phone is held: a tilt, gentle hills, two to five early reflections, and the room.

    The room is noise that decays by 60 dB in `decay_s` (Polack 1988, from memory), 3 to 18 dB
    below the direct sound.
    """
    hz = grid(rate_hz)
    octaves = np.log2(np.maximum(hz, 20.0) / 1000.0)
    level = rng.uniform(-2.0, 1.0) * octaves
    for _ in range(4):
        hill = (octaves - rng.uniform(-3.0, 3.5)) / rng.uniform(0.3, 1.2)
        level = level + rng.normal(0.0, 2.5) * np.exp(-(hill**2))
    total = np.ones(len(hz), np.complex128)
    for _ in range(int(rng.integers(2, 6))):
        height = rng.uniform(0.05, 0.5)
        total += height * np.exp(-2j * np.pi * hz * rng.uniform(0.0008, 0.02))
    seconds = np.arange(rate_hz // 5) / rate_hz
    tail = rng.standard_normal(len(seconds)) * np.exp(-6.9 * seconds / decay_s)
    tail *= 10.0 ** (rng.uniform(-18.0, -3.0) / 20.0) / np.sqrt(np.sum(tail**2))
    total += fft.rfft(tail, int(rate_hz / GRID_HZ))
    return total * 10.0 ** (level / 20.0)


@dataclass(frozen=True)
class Phone:
    """One phone: its filter, its own noise, what its gain and its suppressor do.

    `gain` is "fixed" (for the whole case), "take" (levelled once a take) or "slow"; `own_noise_db`
    is re 0 dB, the level of an engine at idle; `suppresses_db` is the most it takes off noise,
    0 for none; one that does not clip turns itself down first.
    """

    rate_hz: int
    response: Array
    own_noise_db: float
    gain: str
    target: float
    suppresses_db: float
    clips: bool


def draw_phone(rng: np.random.Generator) -> Phone:
    """A random phone."""
    rate_hz = int(rng.choice(RATES_HZ))
    hz = grid(rate_hz)
    high = min(rng.uniform(7000.0, 20000.0), 0.47 * rate_hz)
    order = float(rng.choice([1.0, 1.0, 2.0, 3.0]))
    response = band(hz, np.exp(rng.uniform(np.log(60.0), np.log(250.0))), 1e6, order)
    response = response * band(hz, 1.0, high, rng.uniform(2.0, 8.0))
    peak = np.log2(np.maximum(hz, 20.0) / rng.uniform(1500.0, 6000.0)) / rng.uniform(0.3, 0.8)
    response = response * 10.0 ** (rng.uniform(-3.0, 8.0) * np.exp(-(peak**2)) / 20.0)
    clips = bool(rng.random() < 0.07)
    return Phone(
        rate_hz,
        response,
        float(rng.uniform(-65.0, -38.0)),
        str(rng.choice(["fixed", "take", "slow"], p=[0.3, 0.4, 0.3])),
        float(rng.uniform(0.2, 0.4) if clips else 10.0 ** (rng.uniform(-34.0, -16.0) / 20.0)),
        float(rng.uniform(3.0, 10.0)) if rng.random() < 0.2 else 0.0,
        clips,
    )


def record(
    rng: np.random.Generator, phone: Phone, spectrum: Spectrum, size: int, level: float
) -> Wave:
    """What the phone stores of what comes to it; `level` is the mean square it was levelled for.

    Within -1 to 1; what would be louder is cut.
    """
    hiss = rng.standard_normal(size, dtype=np.float32)
    hiss *= np.float32(10.0 ** (phone.own_noise_db / 20.0))
    filtered = fft.irfft(spectrum * on_bins(phone.response, size, phone.rate_hz), size)
    wave = np.asarray(filtered, np.float32) + hiss
    if phone.suppresses_db:
        wave = _suppressed(wave, phone.suppresses_db)
    if phone.gain == "slow":
        wave = _levelled(wave, phone.rate_hz, rng.uniform(0.3, 0.9))
    own = float(np.sqrt(np.mean(wave**2))) + 1e-9
    scale = phone.target / (own if phone.gain != "fixed" else max(np.sqrt(level), 1e-9))
    most = 0.4 / own if phone.clips else 0.98 / (float(np.abs(wave).max()) + 1e-9)
    scale = min(scale, most)
    return np.asarray(np.clip(wave * np.float32(scale), -1.0, 1.0), np.float32)


def _levelled(wave: Wave, rate_hz: int, share: float) -> Wave:
    """Slow automatic gain: swings slower than half a second are evened by `share` (in dB)."""
    step = rate_hz // 20
    power = np.add.reduceat(wave**2, np.arange(0, len(wave), step)) / step
    kernel = np.exp(-np.arange(60) / 10.0)
    smooth = np.convolve(np.pad(power, (59, 0), mode="edge"), kernel / kernel.sum(), "valid")
    gain = (smooth + 1e-9) ** (-0.5 * share)
    place = np.arange(len(power)) * step
    return wave * np.interp(np.arange(len(wave)), place, gain).astype(np.float32)


def _suppressed(wave: Wave, most_db: float) -> Wave:
    """Mild noise suppression: bands near their own floor are turned down by up to `most_db`."""
    hop = 512
    window = np.sqrt(np.hanning(2 * hop + 1)[:-1]).astype(np.float32)
    padded = np.pad(wave, (hop, 2 * hop))
    frames = np.lib.stride_tricks.sliding_window_view(padded, 2 * hop)[::hop] * window
    spectra = fft.rfft(frames, axis=1)
    power = spectra.real**2 + spectra.imag**2
    floor = np.quantile(power[::3], 0.2, axis=0) + 1e-12
    gain = np.clip(1.0 - 2.0 * floor / (power + 1e-12), 10.0 ** (-most_db / 20.0), 1.0)
    pieces = fft.irfft(spectra * gain.astype(np.float32), axis=1) * window
    total = np.zeros((len(pieces) + 1) * hop, np.float32)
    total[:-hop] += pieces[:, :hop].ravel()
    total[hop:] += pieces[:, hop:].ravel()
    return total[hop : hop + len(wave)]


def draw_nothing(rng: np.random.Generator) -> tuple[Wave, int, str]:
    """A recording without an engine: float32 samples, shape=(1, samples), rate [Hz], what it is."""
    phone = draw_phone(rng)
    what = str(rng.choice(list(NOTHING)))
    size = fft.next_fast_len(int(rng.uniform(5.0, 10.0) * phone.rate_hz), True)
    wave = NOTHING[what](rng, size, phone.rate_hz)
    wave = wave / np.float32(np.sqrt(np.mean(wave**2)) + 1e-9)
    response = room_response(rng, phone.rate_hz, rng.uniform(0.15, 0.9))
    spectrum = fft.rfft(wave) * on_bins(response, size, phone.rate_hz)
    return record(rng, phone, spectrum, size, 1.0)[np.newaxis], phone.rate_hz, what
