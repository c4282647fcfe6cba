"""Sounds of known answer: engines of a few lines each, and things that are no engine.

Written for these tests alone and sharing nothing with the rig: a train of firing impulses, a
little unlike from cylinder to cylinder, rings a few resonances, noise joins in and a phone takes
the lowest notes away.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy.signal

Float32 = npt.NDArray[np.float32]
Float64 = npt.NDArray[np.float64]

RATE_HZ = 16_000
"""Enough for everything the crank speed is read from."""

RESONANCES = (
    # frequency [Hz], damping ratio, loudness
    (65.0, 0.15, 1.0),
    (160.0, 0.10, 0.6),
    (410.0, 0.08, 0.4),
    (1250.0, 0.05, 0.15),
    (2600.0, 0.05, 0.10),
    (4600.0, 0.04, 0.06),
)


@dataclass(frozen=True)
class Take:
    """Mono sound with the crank speed it was made with, one value per sample [1/min]."""

    samples: Float32
    rate_hz: int
    rpm: Float64

    def rpm_at(self, time_s: Float64) -> Float64:
        """The true speed at any moments [1/min]."""
        return np.interp(time_s, np.arange(self.rpm.size) / self.rate_hz, self.rpm)


def engine(
    seed: int,
    rpm: float | tuple[list[float], list[float]],
    *,
    cylinders: int = 4,
    strokes: int = 4,
    seconds: float = 8.0,
    uneven: float = 0.15,
    noise_db: float = -10.0,
    rate_hz: int = RATE_HZ,
    highpass_hz: float = 80.0,
) -> Take:
    """An engine at one speed that wanders by 0.4 %, or along (moments [s], speeds [1/min]).

    `uneven` is how unlike the cylinders are, as a share; `noise_db` the pink noise against the
    engine.
    """
    rng = np.random.default_rng(seed)
    count = round(seconds * rate_hz)
    time_s = np.arange(count) / rate_hz
    if isinstance(rpm, tuple):
        speed = np.interp(time_s, *rpm)
    else:
        slow = scipy.signal.lfilter([1.0], [1.0, -0.9], rng.normal(size=int(20 * seconds) + 2))
        wander = 0.004 * slow / slow.std()
        speed = rpm * (1.0 + np.interp(time_s, np.arange(wander.size) / 20.0, wander))
    turns = np.cumsum(speed / 60.0) / rate_hz
    fired = turns * cylinders / (0.5 * strokes)
    at = np.nonzero(np.diff(np.floor(fired)) > 0.0)[0]
    cylinder = np.arange(at.size) % cylinders
    strength = (1.0 + uneven * rng.normal(size=cylinders))[cylinder]
    strength *= 1.0 + 0.1 * rng.normal(size=at.size)
    # Firing comes early or late by about half a degree to a degree and a half of crank.
    late = (0.03 * uneven / 0.15 * rng.normal(size=cylinders))[cylinder]
    place = np.rint(at + late * rate_hz / (speed[at] / 60.0 * cylinders / (0.5 * strokes)))
    impulses = np.zeros(count)
    np.add.at(impulses, np.clip(place.astype(int), 0, count - 1), strength)
    sound = np.zeros(count)
    ring_s = np.arange(round(0.1 * rate_hz)) / rate_hz
    for frequency_hz, damping, loudness in RESONANCES:
        own_hz = frequency_hz * float(np.exp(0.2 * rng.normal()))
        if own_hz > 0.45 * rate_hz:
            continue
        ring = np.exp(-2.0 * np.pi * own_hz * damping * ring_s)
        ring *= np.sin(2.0 * np.pi * own_hz * ring_s)
        sound += loudness * scipy.signal.fftconvolve(impulses, ring / np.linalg.norm(ring))[:count]
    sound /= sound.std()
    sound += 10.0 ** (noise_db / 20.0) * coloured(rng, count, rate_hz, 0.5)
    return Take(_recorded(sound, rate_hz, highpass_hz), rate_hz, speed)


def coloured(rng: np.random.Generator, count: int, rate_hz: int, slope: float) -> Float64:
    """Noise whose amplitude falls with frequency to the power of `slope`, mean square 1."""
    frequency_hz = np.maximum(np.fft.rfftfreq(count, 1.0 / rate_hz), 20.0)
    noise = np.fft.irfft(np.fft.rfft(rng.normal(size=count)) / frequency_hz**slope, count)
    result: Float64 = noise / noise.std()
    return result


def _recorded(sound: Float64, rate_hz: int, highpass_hz: float) -> Float32:
    sections = scipy.signal.butter(2, highpass_hz, "high", fs=rate_hz, output="sos")
    heard = scipy.signal.sosfilt(sections, sound)
    return (0.3 * heard / np.abs(heard).max()).astype(np.float32)


def _harmonics(fundamental_hz: Float64, count: int, rate_hz: int) -> Float64:
    phase = 2.0 * np.pi * np.cumsum(fundamental_hz) / rate_hz
    parts = [np.sin(k * phase) / k for k in range(1, count + 1)]
    result: Float64 = np.sum(parts, axis=0)
    return result


def no_engine(kind: str, seed: int, seconds: float = 8.0, rate_hz: int = RATE_HZ) -> Float32:
    """Sound of something that is no engine; `kind` is one of `NO_ENGINE`."""
    rng = np.random.default_rng(seed)
    count = round(seconds * rate_hz)
    time_s = np.arange(count) / rate_hz
    hiss = rng.normal(size=count)
    if kind == "white noise":
        sound = hiss
    elif kind == "wind":
        gusts = np.interp(
            time_s,
            np.arange(0.0, seconds + 1.0, 0.25),
            rng.lognormal(0.0, 0.7, size=int(4 * (seconds + 1.0))),
        )
        sound = gusts * coloured(rng, count, rate_hz, 1.0)
    elif kind in ("hum at 50 Hz", "hum at 60 Hz"):
        mains_hz = np.full(count, float(kind.split()[2]))
        sound = _harmonics(mains_hz, 11, rate_hz) + 0.05 * hiss
    elif kind == "fan":
        # Broad noise with one steady tone and its octave: blades passing.
        blades_hz = np.full(count, 173.0)
        sound = 0.5 * _harmonics(blades_hz, 2, rate_hz) + coloured(rng, count, rate_hz, 0.5)
    elif kind == "speech":
        # Syllables of moving pitch, 4 a second, with breath between them.
        knots_s = np.arange(0.0, seconds + 1.0, 0.25)
        pitch_hz = np.interp(time_s, knots_s, rng.uniform(95.0, 210.0, size=knots_s.size))
        loud = np.clip(np.interp(time_s, knots_s + 0.1, rng.uniform(-0.4, 1.0, knots_s.size)), 0, 1)
        sound = loud * _harmonics(pitch_hz, 20, rate_hz) + 0.03 * hiss
    else:
        raise ValueError(kind)
    return _recorded(sound, rate_hz, 80.0)


def electric_motor(seed: int, seconds: float = 8.0, rate_hz: int = RATE_HZ) -> Float32:
    """A tone between 60 and 900 Hz with its multiples, steady to 0.05 %, in hiss."""
    rng = np.random.default_rng(seed)
    time_s = np.arange(round(seconds * rate_hz)) / rate_hz
    tone_hz = float(np.exp(rng.uniform(np.log(60.0), np.log(900.0))))
    tone = _harmonics(
        tone_hz * (1.0 + 0.0005 * np.sin(time_s)), min(11, int(7000.0 / tone_hz)), rate_hz
    )
    return _recorded(tone + 0.1 * rng.normal(size=time_s.size), rate_hz, 80.0)


NO_ENGINE = (
    "white noise",
    "wind",
    "hum at 50 Hz",
    "hum at 60 Hz",
    "fan",
    "speech",
)
