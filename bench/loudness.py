"""Loudness of a steady sound: speed and agreement, against the package `mosqito` in the same run.

Speed: processor time of our stationary method on a take, and of the reference's time-varying
method on the same take from end to end (about two minutes and 3 GB for 60 s), or on its first
seconds, taken as proportional to length. Agreement: the stationary signals of ISO 532-1:2017,
annex B.3 (three tones and pink noise of 60 dB), against the reference's stationary method and
against the loudness the standard states. Tones are made as the standard says. The noise is made
here, for the standard's own recording is not at hand: how far down it reaches changes its
loudness at 60 dB overall (12.6 sone from 22 Hz up, 10.7 from 0.1 Hz up).

usage: python bench/loudness.py [--seconds 60] [--reference-s 60]
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
import contextlib
import io
import math
import resource
import time
import warnings

import numpy as np
import numpy.typing as npt
from scipy import fft

from beltside.sound.loudness import REFERENCE_PA, loudness
from figures import Figure, table

RATE_HZ = 48_000
SIGNAL_S = 8.0
ISO_TONES = ((250.0, 80.0, 14.655), (1000.0, 60.0, 4.019), (4000.0, 40.0, 1.549))
"""Frequency [Hz], level [dB] and loudness [sone] of the tones of annex B.3."""

ISO_PINK = (60.0, 10.498)
"""Level [dB] and loudness [sone] of the pink noise of annex B.3."""

Float64 = npt.NDArray[np.float64]


def tone(frequency_hz: float, level_db: float) -> Float64:
    """A pure tone [Pa]."""
    peak = math.sqrt(2.0) * REFERENCE_PA * 10.0 ** (level_db / 20.0)
    moments = np.arange(round(SIGNAL_S * RATE_HZ)) / RATE_HZ
    wave: Float64 = peak * np.sin(2.0 * np.pi * frequency_hz * moments)
    return wave


def pink_noise(rng: np.random.Generator, level_db: float) -> Float64:
    """Noise of equal power in each octave, from 1 over its length to half the rate [Pa]."""
    count = round(SIGNAL_S * RATE_HZ)
    frequency_hz = fft.rfftfreq(count, 1.0 / RATE_HZ)
    shape = np.concatenate(([0.0], 1.0 / np.sqrt(frequency_hz[1:])))
    wave = fft.irfft(fft.rfft(rng.standard_normal(count)) * shape, count)
    wave *= REFERENCE_PA * 10.0 ** (level_db / 20.0) / np.sqrt(np.mean(wave**2))
    result: Float64 = wave
    return result


def measure(seconds: float = 60.0, reference_s: float = 60.0) -> list[Figure]:
    """All figures; the reference's time-varying method runs on `reference_s` of the take."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from mosqito.sq_metrics import loudness_zwst, loudness_zwtv
    rng = np.random.default_rng(1)
    wave = rng.standard_normal(round(seconds * RATE_HZ))
    wave *= REFERENCE_PA * 10.0 ** (70.0 / 20.0)
    loudness(wave[:RATE_HZ], RATE_HZ)
    started = time.process_time()
    loudness(wave, RATE_HZ)
    own_s = time.process_time() - started
    reference_s = min(reference_s, seconds)
    with contextlib.redirect_stdout(io.StringIO()):
        started = time.process_time()
        loudness_zwtv(wave[: round(reference_s * RATE_HZ)], RATE_HZ)
        their_s = time.process_time() - started
    peak_gb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
    how = f"{their_s:.0f} s for {reference_s:g} s"
    if reference_s < seconds:
        their_s *= seconds / reference_s
        how += f", taken as {their_s:.0f} s"
    signals = [(tone(hz, db), stated) for hz, db, stated in ISO_TONES]
    signals.append((pink_noise(rng, ISO_PINK[0]), ISO_PINK[1]))
    off, off_standard = [], []
    for signal, stated in signals:
        ours = loudness(signal, RATE_HZ).sone
        with contextlib.redirect_stdout(io.StringIO()):
            theirs = float(loudness_zwst(signal, RATE_HZ)[0])
        off.append(abs(ours / theirs - 1.0))
        off_standard.append(abs(ours / stated - 1.0))
    each = ", ".join(f"{100.0 * one:.2g} %" for one in off)
    stated_each = ", ".join(f"{100.0 * one:.2g} %" for one in off_standard)
    return [
        Figure(
            f"loudness of {seconds:g} s: times faster than the reference", their_s / own_s,
            "times", 20.0, True,
            f"{own_s:.2f} s of processor time against {how}, {peak_gb:.1f} GB at most",
        ),
        Figure(
            "signals of ISO 532-1, annex B.3, off the reference, at worst", max(off), "%", 0.05,
            note=f"250 Hz, 1 kHz, 4 kHz, pink noise: {each}",
        ),
        Figure(
            "the same off the loudness the standard states", max(off_standard), "%", 0.05,
            note=f"{stated_each}; the noise is not the standard's own recording",
        ),
    ]  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=60.0)
    parser.add_argument("--reference-s", type=float, default=60.0)
    arguments = parser.parse_args()
    print(table(measure(arguments.seconds, arguments.reference_s)))


if __name__ == "__main__":
    main()
