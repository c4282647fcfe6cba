"""Where the apprentice records: a little reverberation, pink noise behind, a phone.

Also recordings without an engine. Levels and times are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy import fft

from apprentice_signals import (
    GRID_HZ,
    Array,
    Float,
    Sound,
    Spectrum,
    Turning,
    band,
    draw_turning,
    harmonics,
    looked_up,
    noise,
)

PINK: Float = 1.0 / GRID_HZ


@dataclass(frozen=True)
class Phone:
    """A phone with a high-pass, a low-pass, noise of its own and perhaps an automatic gain.

    Attributes
    ----------
    low_hz, low_order, high_hz
        Corners [Hz] and the steepness of the high-pass.
    noise_db
        Its noise below the first take.
    steadies, steady_s
        Share of slow changes of level it takes away (0 for no automatic gain), and how slowly [s].
    peak
        Where the loudest sample lands; above 1 it is clipped.
    each_its_level
        Whether it sets its level anew for each take, instead of one for all.
    """

    rate_hz: int
    low_hz: float
    low_order: int
    high_hz: float
    noise_db: float
    steadies: float
    steady_s: float
    peak: float
    each_its_level: bool

    def response(self, freqs_hz: Array) -> Array:
        """Its gain at each frequency."""
        above = (np.maximum(freqs_hz, 1.0) / self.low_hz) ** (2 * self.low_order)
        below = (freqs_hz / self.high_hz) ** 12
        return np.asarray(np.sqrt(above / (1.0 + above) / (1.0 + below)), np.float32)


def draw_phone(rng: np.random.Generator) -> Phone:
    """A phone by chance."""
    automatic = rng.random() < 0.4
    return Phone(
        int(rng.choice([32_000, 44_100, 48_000])),
        float(np.exp(rng.uniform(np.log(60.0), np.log(250.0)))),
        int(rng.integers(1, 4)),
        float(rng.uniform(8000.0, 15_500.0)),
        float(rng.uniform(-65.0, -42.0)),
        float(rng.uniform(0.3, 0.9)) if automatic else 0.0,
        float(rng.uniform(0.2, 2.0)),
        float(rng.uniform(1.2, 2.5)) if rng.random() < 0.05 else float(rng.uniform(0.15, 0.98)),
        rng.random() < 0.5,
    )


def reverberation(rng: np.random.Generator, turning: Turning, level_db: float) -> Spectrum:
    """The direct sound and a tail of decaying noise `level_db` beside it."""
    lasts_s = rng.uniform(0.15, 0.6)
    time_s = np.arange(int(lasts_s * turning.rate_hz)) / turning.rate_hz
    tail = rng.normal(size=time_s.size) * 10.0 ** (-3.0 * time_s / lasts_s)
    tail *= 10.0 ** (level_db / 20.0) / np.sqrt(np.sum(tail**2))
    tail[0] += 1.0
    return np.asarray(fft.rfft(tail.astype(np.float32), turning.samples), np.complex64)


def background(rng: np.random.Generator) -> Callable[[np.random.Generator, Turning], list[Sound]]:
    """What else sounds in the place: pink noise, sometimes with the hum of a machine in it."""
    mains_hz = float(rng.choice([50.0, 60.0]))
    weights = rng.uniform(0.0, 1.0, 12) * np.arange(1, 13) ** -0.8
    table = harmonics(rng, weights)
    hums, hum_db = rng.random() < 0.35, rng.uniform(-20.0, 0.0)
    total = float(np.trapezoid(PINK, GRID_HZ))

    def play(rng: np.random.Generator, turning: Turning) -> list[Sound]:
        sounds = [Sound(density=PINK / total)]
        if hums:
            wave = looked_up(table, turning.sweep(np.full(turning.time_s.size, mains_hz)))
            sounds.append(Sound(time=wave * np.float32(10.0 ** (hum_db / 20.0) / table.std())))
        return sounds

    return play


def recorded(
    rng: np.random.Generator, phone: Phone, turning: Turning, spectrum: Spectrum, first_rms: float
) -> Array:
    """What the phone hears, level not yet set.

    `first_rms` is the level of the case's first take, to which the phone's own noise is set.
    """
    filtered = spectrum * phone.response(turning.freqs_hz)
    wave = np.asarray(fft.irfft(filtered, turning.samples), np.float32)
    hiss = first_rms * 10.0 ** (phone.noise_db / 20.0)
    wave += np.float32(hiss) * rng.standard_normal(wave.size, np.float32)
    if phone.steadies > 0.0:
        wave *= _automatic_gain(wave, phone, turning.rate_hz)
    return wave


def stored(rng: np.random.Generator, phone: Phone, waves: list[Array]) -> list[Array]:
    """The takes of one case as files: shape=(1, samples) each, 16 bit, within -1 to 1."""
    peaks = [float(np.abs(wave).max()) * rng.uniform(1.0, 1.4) for wave in waves]
    if not phone.each_its_level:
        # Even these listen up when a take is very quiet.
        peaks = [min(max(peaks), 10.0 * peak) for peak in peaks]
    files = []
    for wave, peak in zip(waves, peaks, strict=True):
        steps = np.round(np.clip(wave * np.float32(phone.peak / peak), -1.0, 1.0) * 32_767.0)
        files.append(np.asarray(steps / 32_767.0, np.float32)[None, :])
    return files


def _automatic_gain(wave: Array, phone: Phone, rate_hz: int) -> Array:
    frame = rate_hz // 20
    count = wave.size // frame
    power = np.mean(wave[: count * frame].reshape(count, frame) ** 2, axis=1) + 1e-12
    # Smoothed backwards only: the phone does not know what comes.
    keep = np.exp(-0.05 / phone.steady_s)
    kernel = (1.0 - keep) * keep ** np.arange(count)
    before = np.concatenate([np.full(count, power[:10].mean()), power])
    slow = np.convolve(before, kernel)[count : 2 * count]
    gain = slow ** (-0.5 * phone.steadies)
    centres = (np.arange(count) + 0.5) * frame
    return np.asarray(np.interp(np.arange(wave.size), centres, gain / gain.mean()), np.float32)


def draw_nothing(rng: np.random.Generator) -> tuple[Array, int, str]:
    """A recording without an engine: samples, shape=(1, samples), rate [Hz], and what it is."""
    phone = draw_phone(rng)
    turning = draw_turning(rng, phone.rate_hz, rng.uniform(5.0, 10.0), 600.0, 0.0)
    what = str(rng.choice(list(NOTHING)))
    wave = NOTHING[what](rng, turning)
    wave = wave / wave.std() + 0.01 * noise(rng, turning, PINK)
    spectrum = fft.rfft(wave.astype(np.float32)) * reverberation(rng, turning, -10.0)
    waves = stored(rng, phone, [recorded(rng, phone, turning, spectrum, 1.0)])
    return waves[0], phone.rate_hz, what


def _drift(rng: np.random.Generator, turning: Turning, seconds: float) -> Float:
    marks = rng.normal(size=int(turning.time_s[-1] / seconds) + 3)
    return np.interp(turning.time_s / seconds, np.arange(marks.size), marks)


def _wind(rng: np.random.Generator, turning: Turning) -> Array:
    gusts = turning.spread(np.exp(0.8 * _drift(rng, turning, 0.5)))
    return (noise(rng, turning, band(20.0, 200.0, -6.0)) * gusts).astype(np.float32)


def _speech(rng: np.random.Generator, turning: Turning) -> Array:
    """A buzz at a gliding pitch and some hiss, in syllables."""
    pitch_hz = rng.uniform(90.0, 240.0) * np.exp(0.12 * _drift(rng, turning, 0.25))
    wave = looked_up(harmonics(rng, np.arange(1, 31) ** -1.0), turning.sweep(pitch_hz))
    hiss = noise(rng, turning, band(2500.0, 7000.0))
    voiced = turning.spread(np.clip(_drift(rng, turning, 0.12), 0.0, None))
    hissed = turning.spread(np.clip(_drift(rng, turning, 0.1) - 0.8, 0.0, None))
    return np.asarray(wave / wave.std() * voiced + 0.5 * hiss / hiss.std() * hissed, np.float32)


def _traffic(rng: np.random.Generator, turning: Turning) -> Array:
    passing = np.zeros(turning.time_s.size)
    for _ in range(int(rng.integers(1, 5))):
        away = (turning.time_s - rng.uniform(0.0, turning.time_s[-1])) / rng.uniform(0.5, 2.0)
        passing += rng.uniform(0.3, 1.0) / (1.0 + away**2)
    tyres = noise(rng, turning, band(300.0, 1800.0, -1.0))
    return (tyres * turning.spread(passing + 0.05)).astype(np.float32)


def _motor(rng: np.random.Generator, turning: Turning) -> Array:
    """An electric tool: a whine with harmonics that runs up or sags under load."""
    speed_hz = rng.uniform(40.0, 400.0) * (1.0 + 0.03 * _drift(rng, turning, 0.7))
    if rng.random() < 0.5:
        speed_hz *= 1.0 - np.exp(-turning.time_s / rng.uniform(0.2, 1.0))
    weights = rng.uniform(0.1, 1.0, 24) * np.arange(1, 25) ** -0.5
    wave = looked_up(harmonics(rng, weights), turning.sweep(np.maximum(speed_hz, 1.0)))
    hiss = noise(rng, turning, band(500.0, 6000.0))
    return np.asarray(wave / wave.std() + rng.uniform(0.1, 0.8) * hiss / hiss.std(), np.float32)


def _fan(rng: np.random.Generator, turning: Turning) -> Array:
    blade_hz = np.full(turning.time_s.size, rng.uniform(60.0, 400.0))
    wave = looked_up(harmonics(rng, np.arange(1, 7) ** -1.2), turning.sweep(blade_hz))
    rush = noise(rng, turning, band(100.0, 2000.0, -3.0))
    return np.asarray(rng.uniform(0.05, 0.6) * wave / wave.std() + rush / rush.std(), np.float32)


def _music(rng: np.random.Generator, turning: Turning) -> Array:
    """Plucked notes on a beat."""
    beat_s = 60.0 / rng.uniform(70.0, 150.0)
    total = np.zeros(turning.samples, np.float32)
    since_s = np.arange(turning.samples) / turning.rate_hz
    for _ in range(3):
        note = rng.integers(0, 25, int(turning.time_s[-1] / beat_s) + 2)
        pitch_hz = 110.0 * 2.0 ** (note[(turning.time_s / beat_s).astype(int)] / 12.0)
        wave = looked_up(harmonics(rng, np.arange(1, 9) ** -1.2), turning.sweep(pitch_hz))
        total += (wave * np.exp(-(since_s % beat_s) / (0.4 * beat_s))).astype(np.float32)
    return total


def _hum(rng: np.random.Generator, turning: Turning) -> Array:
    """Silence, with the mains in it."""
    mains_hz = np.full(turning.time_s.size, float(rng.choice([50.0, 60.0])))
    wave = looked_up(harmonics(rng, rng.uniform(0.0, 1.0, 10)), turning.sweep(mains_hz))
    hiss = noise(rng, turning, PINK)
    return np.asarray(rng.uniform(0.3, 3.0) * wave / wave.std() + hiss / hiss.std(), np.float32)


NOTHING: dict[str, Callable[[np.random.Generator, Turning], Array]] = {
    "wind": _wind,
    "speech": _speech,
    "traffic": _traffic,
    "electric motor": _motor,
    "fan": _fan,
    "music": _music,
    "silence with hum": _hum,
}
