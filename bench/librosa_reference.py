"""The named reference of speed.py: the same findings by librosa and scipy calls.

What a competent engineer would write with these libraries, in the order the product works:

1. mono; low sound by `librosa.resample`; pulsation of the high sound by Butterworth band-passes
   (`sosfiltfilt`), `hilbert` envelopes and `resample_poly`;
2. crank speed: frames of 0.8 s every 0.25 s (`librosa.util.frame`), each warped for 15 assumed
   accelerations (`scipy.interpolate.interp1d`), spectra (`scipy.fft`), whitened and matched with
   combs for 441 speeds between 500 and 7000 rpm, path by `librosa.sequence.viterbi`; then the
   right multiple by an order spectrum along the path;
3. spectrum by `welch`, spectrogram by `librosa.stft`, squeals by `librosa.stft`, a median filter
   and `label`;
4. order spectrum of the sound: `librosa.resample`, `CubicSpline` over the integrated speed,
   `welch`;
5. in the same 14 bands: `sosfiltfilt`, `hilbert`, squared envelope, level and kurtosis,
   `resample_poly`, running mean, `CubicSpline` to angle, `welch`;
6. backgrounds by running medians, p-values by `scipy.stats.gamma`, and for every order that the
   drive sheet expects Fisher's test over harmonics and fundamentals, all tries at once in numpy.

It is given the same resolution and both cores (bands run in two threads), takes float32 where
the libraries keep it, and does less than the product where that is simpler: one path instead of
three, no sharpening by phases, no spread of the background, no claims between families, no odds.
So the ratio is on the low side. Reading the file is left out of both.
"""

from __future__ import annotations

import itertools
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import librosa
import numpy as np
import numpy.typing as npt
from scipy import fft, integrate, interpolate, ndimage, signal, stats

from beltside.drive.expected import ExpectedOrder, expected_orders
from beltside.drive.sheet import DriveSheet

Array = npt.NDArray[Any]

LOW_HZ, PULSE_HZ = 4800, 1200
PULSE_BANDS_HZ = ((900.0, 1900.0), (1900.0, 3800.0), (3800.0, 7600.0))
FRAME_S, HOP_S = 0.8, 0.25
ACCELERATIONS = (0.0, *(s * a for a in (0.06, 0.15, 0.3, 0.5, 0.8, 1.2, 1.7) for s in (-1, 1)))
SPEEDS_RPM = 500.0 * np.exp(0.006 * np.arange(441))
MULTIPLES = sorted({a / b for a in range(1, 7) for b in range(1, 7)})
BAND_EDGES_HZ = np.geomspace(400.0, 18_000.0, 15)
SOUND_TOP, ENVELOPE_TOP, SEGMENT_TURNS = 160.0, 40.0, 32
HARMONICS = 3


@dataclass(frozen=True)
class Findings:
    """Median crank speed [1/min] and families, clearest first: (part, source, -log10 p)."""

    rpm: float
    families: list[tuple[str, str, float]]


def findings(samples: Array, rate_hz: int, sheet: DriveSheet) -> Findings:
    """Everything, from samples of shape (channels, n)."""
    mono = librosa.to_mono(samples)
    time_s, rpm = crank_track(mono, rate_hz, sheet.engine.cylinders)
    spectra_and_squeals(mono, rate_hz)
    # Hann segments overlapping by half: 1.9 independent averages for each length of one.
    averages = 1.9 * mono.size / rate_hz * float(np.mean(rpm)) / 60.0 / SEGMENT_TURNS
    sound = surprise(sound_orders(mono, rate_hz, time_s, rpm)[None, :], averages)
    envelope = surprise(envelope_orders(mono, rate_hz, time_s, rpm), averages)
    families = []
    for expected in expected_orders(sheet, SOUND_TOP):
        if expected.harmonic != 1 or expected.part in ("engine", "timing-chain", "crank"):
            continue
        for kind, rows in (("sound", sound), ("envelope", envelope)):
            if expected.spectrum in (kind, "both"):
                families.append((expected.part, expected.source, family(rows, expected)))
    families.sort(key=lambda one: -one[2])
    return Findings(float(np.median(rpm)), families)


def band_pass(mono: Array, rate_hz: int, low_hz: float, high_hz: float) -> Array:
    """Squared envelope of one band at the full rate."""
    section = signal.butter(4, (low_hz, high_hz), "bandpass", fs=rate_hz, output="sos")
    passed = signal.sosfiltfilt(section, mono).astype(np.float32)
    size = fft.next_fast_len(mono.size)
    squared: Array = np.abs(signal.hilbert(passed, size)[: mono.size]) ** 2
    return squared


def over_running_mean(squared: Array, rate_hz: float) -> Array:
    """Over its own mean of a second around."""
    mean = ndimage.uniform_filter1d(squared, max(round(rate_hz), 1))
    return np.asarray(squared / np.maximum(mean, 1e-3 * squared.mean() + 1e-30))


def crank_track(mono: Array, rate_hz: int, cylinders: int) -> tuple[Array, Array]:
    """Moments [s] and crank speeds [1/min] of a four-stroke engine."""
    low = librosa.resample(mono, orig_sr=rate_hz, target_sr=LOW_HZ)

    def pulsation(band: tuple[float, float]) -> Array:
        reduced = signal.resample_poly(band_pass(mono, rate_hz, *band), PULSE_HZ, rate_hz)
        return np.clip(over_running_mean(reduced, PULSE_HZ), 0.0, 12.0)

    bands = [band for band in PULSE_BANDS_HZ if band[1] < 0.49 * rate_hz]
    with ThreadPoolExecutor(2) as pool:
        pulse = np.mean(list(pool.map(pulsation, bands)), axis=0) - 1.0
    count = int(min(low.size / LOW_HZ, pulse.size / PULSE_HZ) / HOP_S)
    match = np.full((SPEEDS_RPM.size, count), -np.inf)
    combs = {
        LOW_HZ: comb_matrix(LOW_HZ, 20.0, 1000.0, cylinders),
        PULSE_HZ: comb_matrix(PULSE_HZ, 5.0, 320.0, cylinders),
    }
    for acceleration in ACCELERATIONS:
        total = np.zeros(match.shape)
        for values, rate, low_hz, high_hz in (
            (low, LOW_HZ, 20.0, 1000.0),
            (pulse, PULSE_HZ, 5.0, 320.0),
        ):
            frames = warped_frames(values, rate, acceleration, count)
            total += combs[rate] @ whitened(frames, rate, low_hz, high_hz)
        match = np.maximum(match, total - 0.3 * abs(acceleration) ** 0.5)
    chance = np.exp(match - match.max(axis=0))
    chance /= chance.sum(axis=0)
    reach = 2 * round(1.7 * HOP_S / 0.006) + 1
    moves = librosa.sequence.transition_local(SPEEDS_RPM.size, reach, window="triangle")
    path = librosa.sequence.viterbi(chance, moves)
    time_s = (np.arange(count) + 0.5) * HOP_S
    rpm = SPEEDS_RPM[path]
    if count >= 7:
        rpm = signal.savgol_filter(rpm, 7, 2)
    return time_s, rpm * best_multiple(low, time_s, rpm, cylinders)


def warped_frames(values: Array, rate: int, acceleration: float, count: int) -> Array:
    """Frames read as if the speed changed at this rate, shape (samples, frames)."""
    size, hop = round(FRAME_S * rate), round(HOP_S * rate)
    padded = np.pad(values, size)
    first = size - size // 2 + hop // 2
    frames = librosa.util.frame(padded[first:], frame_length=size, hop_length=hop)[:, :count]
    if acceleration == 0.0:
        return frames
    even = (np.arange(size) - 0.5 * (size - 1)) / rate
    read = interpolate.interp1d(
        even, frames, axis=0, bounds_error=False, fill_value=0.0, assume_sorted=True
    )
    root = np.sqrt(np.maximum(1.0 + 2.0 * acceleration * even, 0.05))
    return np.asarray(read((root - 1.0) / acceleration), dtype=np.float32)


def whitened(frames: Array, rate: int, low_hz: float, high_hz: float) -> Array:
    """Log spectra over their local mean, limited, shape (bins, frames)."""
    size = padded_size(rate)
    window = signal.get_window("hann", frames.shape[0])[:, None].astype(np.float32)
    spectrum = fft.rfft(frames * window, size, axis=0, workers=2)
    kept = slice(round(low_hz * size / rate), round(high_hz * size / rate))
    level = np.log(np.abs(spectrum[kept]) ** 2 + 1e-20)
    level -= ndimage.uniform_filter1d(level, round(40.0 * size / rate), axis=0)
    return np.clip(level, -1.5, 3.0)


def padded_size(rate: int) -> int:
    """Length of the transforms: twice the frame."""
    return int(fft.next_fast_len(2 * round(FRAME_S * rate), real=True))


@lru_cache
def comb_matrix(rate: int, low_hz: float, high_hz: float, cylinders: int) -> Array:
    """One comb of half orders per speed, zero mean, unit length, shape (speeds, bins)."""
    per_hz = padded_size(rate) / rate
    frequency = np.arange(round(low_hz * per_hz), round(high_hz * per_hz))[None, :] / per_hz
    cycle_hz = SPEEDS_RPM[:, None] / 120.0
    number = np.round(frequency / cycle_hz)
    width_hz = np.hypot(2.0 / FRAME_S, 0.004 * frequency)
    shape = np.maximum(1.0 - np.abs(frequency - number * cycle_hz) / width_hz, 0.0)
    weight = np.where(number % cylinders == 0, 1.0, 0.4) / np.sqrt(1.0 + number / (2 * cylinders))
    comb = shape * np.where((number >= 1) & (number <= 16 * cylinders), weight, 0.0)
    comb -= comb.mean(axis=1, keepdims=True)
    return np.asarray(comb / np.linalg.norm(comb, axis=1, keepdims=True), dtype=np.float32)


def best_multiple(low: Array, time_s: Array, rpm: Array, cylinders: int) -> float:
    """Which simple fraction or multiple of the path explains the lines best, to a fine scale."""
    order, power = welch_orders(*by_angle(low, LOW_HZ, time_s, rpm, 128), 40.0)
    level = np.log(power + 1e-30)
    height = np.clip(level - ndimage.median_filter(level, 97), -1.5, 3.0)
    scores = {}
    for multiple in MULTIPLES:
        if not 500.0 <= multiple * np.median(rpm) <= 7000.0:
            continue
        number = np.arange(1, int(min(16 * cylinders, order[-1] / (0.5 * multiple))) + 1)
        comb = np.zeros(order.size)
        at = np.rint(number * 0.5 * multiple / order[1]).astype(int)
        comb[at] = np.where(number % cylinders == 0, 1.0, 0.4) / np.sqrt(1.0 + number / 8.0)
        comb -= comb.mean()
        scores[multiple] = float(comb @ height / np.linalg.norm(comb))
    best = max(scores, key=lambda one: scores[one])
    lines = 0.5 * best * np.arange(1, int(16.0 / best) + 1)
    fine = np.arange(-0.012, 0.0121, 0.0004)
    total = [np.interp(lines * (1.0 + shift), order, height).sum() for shift in fine]
    return float(best * (1.0 + fine[int(np.argmax(total))]))


def by_angle(
    values: Array, rate: float, time_s: Array, rpm: Array, per_turn: int
) -> tuple[Array, int]:
    """Values at even crank angle, and how many to a turn."""
    at_s = np.arange(values.size) / rate
    turns = integrate.cumulative_trapezoid(np.interp(at_s, time_s, rpm) / 60.0, at_s, initial=0)
    even = np.arange(0.0, turns[-1], 1.0 / per_turn)
    spline = interpolate.CubicSpline(at_s, values)
    return np.asarray(spline(np.interp(even, turns, at_s)), dtype=np.float32), per_turn


def welch_orders(values: Array, per_turn: int, top: float) -> tuple[Array, Array]:
    """Orders and power, segments of 32 turns overlapping by half."""
    size = min(SEGMENT_TURNS * per_turn, values.size)
    order, power = signal.welch(values, per_turn, "hann", size, scaling="spectrum")
    return order[order <= top], power[order <= top]


def sound_orders(mono: Array, rate_hz: int, time_s: Array, rpm: Array) -> Array:
    """Order spectrum of the sound, 1/32 of an order apart."""
    fastest_hz = rpm.max() / 60.0
    top = min(SOUND_TOP, 0.45 * rate_hz / fastest_hz)
    rate = min(rate_hz, int(4.0 * top * fastest_hz))
    reduced = librosa.resample(mono, orig_sr=rate_hz, target_sr=rate)
    return welch_orders(*by_angle(reduced, rate, time_s, rpm, int(2.5 * top)), top)[1]


def envelope_orders(mono: Array, rate_hz: int, time_s: Array, rpm: Array) -> Array:
    """Order spectra of all bands' squared envelopes, shape (bands, orders)."""
    wanted_hz = float(np.clip(2.5 * ENVELOPE_TOP * rpm.max() / 60.0, 600.0, 5000.0))
    down = max(int(rate_hz / wanted_hz), 1)

    def one(edges: tuple[float, float]) -> Array:
        squared = band_pass(mono, rate_hz, *edges)
        band_level(squared, rate_hz)
        reduced = signal.resample_poly(squared, 1, down)
        even = np.clip(over_running_mean(reduced, rate_hz / down), 0.0, 30.0)
        angle = by_angle(even, rate_hz / down, time_s, rpm, int(2.5 * ENVELOPE_TOP))
        return welch_orders(*angle, ENVELOPE_TOP)[1]

    edges = [
        (low, high) for low, high in itertools.pairwise(BAND_EDGES_HZ) if high < 0.47 * rate_hz
    ]
    with ThreadPoolExecutor(2) as pool:
        return np.array(list(pool.map(one, edges)))


def band_level(squared: Array, rate_hz: int) -> tuple[float, float, float]:
    """Mean, 10 % lowest over 20 ms, and kurtosis of a squared envelope."""
    step = round(0.02 * rate_hz)
    short = squared[: squared.size // step * step].reshape(-1, step).mean(axis=1)
    mean = float(squared.mean())
    kurtosis = float((squared.astype(np.float64) ** 2).mean()) / max(mean**2, 1e-30) - 2.0
    return mean, float(np.percentile(short, 10)), kurtosis


def spectra_and_squeals(mono: Array, rate_hz: int) -> tuple[Array, Array, int]:
    """Power spectrum, spectrogram of 256 x 300 at most [dB], and number of squeals."""
    power = signal.welch(mono, rate_hz, "hann", 8192)[1]
    picture = np.abs(librosa.stft(mono, n_fft=4096)) ** 2
    columns = np.array_split(np.arange(picture.shape[1]), min(300, picture.shape[1]))
    thin = np.column_stack([picture[:, one].mean(axis=1) for one in columns])
    shown = librosa.power_to_db(np.add.reduceat(thin, np.arange(0, 2048, 8), axis=0))
    frames = np.abs(librosa.stft(mono, n_fft=2048, hop_length=1024)) ** 2
    band = frames[round(400.0 * 2048 / rate_hz) : round(8000.0 * 2048 / rate_hz)]
    around = ndimage.median_filter(band, size=(43, 1))
    ridges, _ = ndimage.label(band > 10.0**1.5 * (around + 1e-20), np.ones((3, 3)))
    lengths = [one[1].stop - one[1].start for one in ndimage.find_objects(ridges)]
    return power, shown, sum(length * 1024 >= 0.08 * rate_hz for length in lengths)


def surprise(power: Array, averages: float) -> Array:
    """-ln p of every bin against its background, shape as `power`; engine lines left out."""
    level = np.log(power + 1e-30)
    order = np.arange(power.shape[-1]) / SEGMENT_TURNS
    engine = np.abs(order - 0.5 * np.rint(2.0 * order)) < 2.0 / SEGMENT_TURNS
    background = ndimage.median_filter(level, size=(1, 101))
    lines = level > background + 1.0
    background = ndimage.median_filter(np.where(lines, background, level), size=(1, 101))
    p_value = stats.gamma.sf(np.exp(level - background) * averages, averages)
    surprising: Array = -np.log(np.clip(p_value, 1e-5, 1.0))
    surprising[:, engine] = 0.0
    return surprising


def family(rows: Array, expected: ExpectedOrder) -> float:
    """-log10 p of the best fundamental within the window, in the best row (Fisher 1932)."""
    span = HARMONICS * (expected.order_high - expected.order_low) * SEGMENT_TURNS
    fundamental = np.linspace(expected.order_low, expected.order_high, int(2 * span) + 1)
    offsets = np.array([0.0, *expected.sidebands, *(-gap for gap in expected.sidebands)])
    harmonics = np.arange(1, HARMONICS + 1)
    order = (fundamental[:, None, None] * harmonics[:, None] + offsets).reshape(
        len(fundamental), -1
    )
    place = np.rint(order * SEGMENT_TURNS).astype(int)
    known = (place > 0) & (place < rows.shape[1])
    evidence = (rows[:, np.where(known, place, 0)] * known).sum(axis=-1)
    log_p = stats.chi2.logsf(2.0 * evidence, 2.0 * np.maximum(known.sum(axis=1), 1))
    tries = rows.shape[0] * (1.0 + span)
    return max(float(-(log_p.min() + np.log(tries)) / np.log(10.0)), 0.0)
