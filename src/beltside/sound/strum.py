"""The note of a plucked belt span: when it was plucked, and its fundamental with a range.

Mains hum is fitted and taken out first. A pluck is a sudden rise followed by partials that die
away; each is looked at through windows that rise and fall with it, its spectrum is set against the
noise around it, and the fundamental is the one whose series of partials, stretched by the belt's
stiffness, explains the sound best. Method: docs/methods/belt-strum.md.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
import numpy.typing as npt
import scipy.fft
import scipy.ndimage
import scipy.signal
import soxr

from beltside.base.errors import RecordingError, require_range

Float64 = npt.NDArray[np.float64]

RATE_HZ: Final = 4000
LOWEST_HZ: Final = 15.0
HIGHEST_HZ: Final = 600.0

SHORTEST_S: Final = 0.5
LONGEST_S: Final = 120.0

DECAYS_PER_S: Final = (5.0, 10.0, 20.0, 45.0)
"""Windows t exp(-a t): from a span that rings on to one that is all but dead."""

STRETCHES: Final = (0.0, 0.005, 0.01, 0.02, 0.03, 0.045, 0.06, 0.08, 0.1)
"""Stiffness B of the partials f_n = n f_1 sqrt((1 + B n^2) / (1 + B))."""

WEIGHTS: Final = (1.0, 0.7, 0.5, 0.35, 0.25, 0.2)
"""What each partial counts: falling, so that neither half the note nor its octave wins."""

BESIDE: Final = 0.2
"""Share of the level between a pluck's lines that counts as noise."""

BETWEEN: Final = (0.25, 0.15)
"""What lines at 3/2 and 5/2 of the note count against it."""

CLEAR_POWER: Final = 8.0
"""Power over the noise from which a partial counts; chance reaches it once in e^8 places."""

LEAST_EVIDENCE: Final = 3.0
"""Weighted log of power over noise a pluck must reach; noise alone stays below (measured)."""

CLEARLY_BETTER: Final = 1.5
"""So much more evidence for its own note makes a pluck one of another span."""

LEAST_HUM: Final = 2.5
"""Mean log of hum over noise from which hum is taken out (measured)."""

HUM_TOP_HZ: Final = 1250.0

FAINTEST: Final = 1e-3
"""Power, of the strongest line's, below which nothing counts: where there is no noise the skirts of
that line would pass for lines of a lower note (measured)."""

HUM_LEFT: Final = 1e-4
"""The same of the hum taken out, whose rest is no pluck (measured)."""

MOST_PLUCKS: Final = 12
LEAST_RISE: Final = 0.25
"""Share of the greatest rise from which another one is a pluck and no ripple of the noise."""

SAME_NOTE: Final = 0.03
LEAST_SPREAD: Final = 0.003
"""Range below which no frequency is given: the note moves that much as the swing dies away."""

LEAST_SPREAD_HZ: Final = 0.2
"""The same in Hz, for low notes: their broad lines lean on each other (measured)."""

_HOP: Final = 64
_WINDOW_S: Final = 0.6
_FFT: Final = 8192
_BIN_HZ: Final = RATE_HZ / _FFT
_MAINS_HZ: Final = (50.0, 60.0)
_TO_90: Final = 1.645
_QUIET: Final = 0.35
_MOST_FRAMES: Final = 400


@dataclass(frozen=True)
class Pluck:
    """One pluck.

    Attributes
    ----------
    start_s
        When [s from the start of the take].
    frequency_hz, low_hz, high_hz
        Its fundamental and 90 % range [Hz].
    evidence
        How clearly its partials stand out of the noise, a weighted log of power ratios.
    """

    start_s: float
    frequency_hz: float
    low_hz: float
    high_hz: float
    evidence: float


@dataclass(frozen=True)
class Strum:
    """What a take of plucks says.

    Attributes
    ----------
    frequency_hz, low_hz, high_hz
        Fundamental and 90 % range [Hz]; None when it can't be told.
    plucks
        The plucks that share this note.
    others
        Plucks of another note.
    reason
        Why it can't be told, None when it can.
    hum_hz
        Mains frequency that was taken out, None without hum.
    """

    frequency_hz: float | None
    low_hz: float | None
    high_hz: float | None
    plucks: tuple[Pluck, ...]
    others: tuple[Pluck, ...]
    reason: str | None
    hum_hz: float | None


def find_strum(samples: npt.NDArray[np.floating], sample_rate_hz: int) -> Strum:
    """The note of a plucked span.

    Parameters
    ----------
    samples
        Sound, shape (n,), 0.5 to 120 s, any level.
    sample_rate_hz
        2000 to 384000 [Hz].

    Returns
    -------
    Strum
        Fundamentals from 15 to 600 Hz are looked for.

    Raises
    ------
    RecordingError
        When the take is too short, too long, silent or holds what is no number.
    """
    require_range("sample rate", sample_rate_hz, 2000, 384000, "Hz")
    sound = np.asarray(samples, dtype=np.float64)
    if sound.ndim != 1:
        raise RecordingError(f"samples of shape {sound.shape}", allowed="one channel, shape (n,)")
    seconds = sound.size / sample_rate_hz
    if not SHORTEST_S <= seconds <= LONGEST_S:
        raise RecordingError(
            f"a take of {seconds:.2f} s",
            allowed=f"{SHORTEST_S:g} to {LONGEST_S:g} s of plucks",
            instead="recording five plucks, a second apart",
        )
    if not np.isfinite(sound).all() or not np.ptp(sound) > 0.0:
        raise RecordingError("nothing but silence", allowed="a take in which the plucks are heard")
    sound = soxr.resample(sound / np.abs(sound).max(), sample_rate_hz, RATE_HZ)
    sections = scipy.signal.butter(2, 0.6 * LOWEST_HZ, "high", fs=RATE_HZ, output="sos")
    sound = scipy.signal.sosfiltfilt(sections, sound)
    whole = sound
    sound, hum_hz = without_hum(sound)
    floor = np.maximum(_noise_floor(sound), HUM_LEFT * _strongest(whole - sound))
    least = FAINTEST * _strongest(sound)
    starts = _onsets(sound, np.maximum(floor, least))
    found = [one for start in starts if (one := _Seen(sound, floor, least, start)).clear]
    if not found:
        return Strum(
            None,
            None,
            None,
            (),
            (),
            "no pluck stands out: engine off, phone close to the span, pluck it harder",
            hum_hz,
        )
    return _joined(found, hum_hz)


def without_hum(sound: Float64) -> tuple[Float64, float | None]:
    """Sound at 4000 Hz, shape (n,), without mains hum, and the hum's frequency [Hz] or None.

    The hum goes on while plucks die away, so its strength is fitted where it is quiet.
    """
    power = scipy.ndimage.uniform_filter1d(sound**2, int(0.1 * RATE_HZ), mode="nearest")
    weight = 1.0 / (power + np.quantile(power, _QUIET))
    best: tuple[float, float] = (0.0, 0.0)
    for mains in _MAINS_HZ:
        near = mains * (1.0 + np.linspace(-0.003, 0.003, 121))
        clear, gain = _comb_gain(sound * weight, near)
        if clear.max() > best[0]:
            best = (float(clear.max()), float(near[int(np.argmax(gain))]))
    if best[0] < LEAST_HUM:
        return sound, None
    hum_hz = best[1]
    left = np.empty_like(sound)
    count = max(round(sound.size / (4 * RATE_HZ)), 1)
    edges = np.linspace(0, sound.size, count + 1).astype(int)
    harmonics = np.arange(1, int(HUM_TOP_HZ / hum_hz) + 1)
    for start, stop in pairwise(edges):
        angle = 2.0 * np.pi * hum_hz * np.arange(stop - start) / RATE_HZ
        waves = np.concatenate(
            (np.cos(angle[:, None] * harmonics), np.sin(angle[:, None] * harmonics)), axis=1
        )
        # A strength that changes in step with time makes up for a frequency slightly off.
        drift = np.linspace(-1.0, 1.0, stop - start)[:, None]
        waves = np.concatenate((waves, waves * drift), axis=1)
        share = np.sqrt(weight[start:stop])
        scaled = waves * share[:, None]
        fit = np.linalg.solve(
            scaled.T @ scaled + 1e-9 * np.trace(scaled.T @ scaled) * np.eye(waves.shape[1]),
            scaled.T @ (sound[start:stop] * share),
        )
        left[start:stop] = sound[start:stop] - waves @ fit
    return left, hum_hz


def _comb_gain(sound: Float64, mains: Float64) -> tuple[Float64, Float64]:
    """How clear a comb of harmonics is, and its power over the noise, for each mains frequency."""
    window = scipy.signal.windows.hann(sound.size, sym=False)
    size = max(1 << 19, scipy.fft.next_fast_len(2 * sound.size, real=True))
    power = np.abs(scipy.fft.rfft(sound * window, size)) ** 2
    step = RATE_HZ / size
    clear, gain = np.zeros(mains.size), np.zeros(mains.size)
    for k in range(1, 9):
        place = np.rint(k * mains / step).astype(int)
        low, high = int((k * mains[0] - 8.0) / step), int((k * mains[-1] + 8.0) / step)
        around = float(np.median(power[max(low, 1) : high])) + 1e-300
        clear += np.log1p(power[place] / around)
        gain += power[place] / around
    return clear / 8.0, gain


def _window(decay: float) -> Float64:
    time_s = np.arange(int(_WINDOW_S * RATE_HZ)) / RATE_HZ
    window = time_s * np.exp(-decay * time_s)
    unit: Float64 = window / np.sqrt(np.sum(window**2))
    return unit


def _frames(sound: Float64, starts: npt.NDArray[np.intp], decay: float) -> Float64:
    """Power spectra through the window from each start, shape (starts, bins)."""
    window = _window(decay)
    padded = np.concatenate((sound, np.zeros(window.size)))
    rows = padded[starts[:, None] + np.arange(window.size)]
    power: Float64 = np.abs(scipy.fft.rfft(rows * window, _FFT, axis=1)) ** 2
    return power


def _noise_floor(sound: Float64) -> Float64:
    """Power of the noise in every bin of `_frames`, smooth over half an octave, shape (bins,)."""
    starts = np.arange(0, max(sound.size - int(0.25 * RATE_HZ), 1), 4 * _HOP)
    starts = starts[:: 1 + starts.size // _MOST_FRAMES]
    frames = _frames(sound, starts, DECAYS_PER_S[1])
    power = np.quantile(frames, 0.3, axis=0) / -math.log(1.0 - 0.3)
    frequency = np.arange(power.size) * _BIN_HZ
    grid = np.geomspace(0.5 * LOWEST_HZ, 0.5 * RATE_HZ - 1.0, 200)
    edges = np.searchsorted(frequency, np.outer(grid, (0.84, 1.19)))
    level = np.array([np.median(power[a : max(b, a + 3)]) for a, b in edges])
    smooth = np.exp(np.interp(frequency, grid, np.log(level + 1e-300)))
    # What never falls silent is no pluck.
    steady = scipy.ndimage.maximum_filter1d(np.quantile(frames, 0.1, axis=0), 5)
    floor: Float64 = np.maximum(smooth, steady)
    return floor


def _strongest(sound: Float64) -> float:
    """Power of the strongest line in any frame."""
    starts = np.arange(0, sound.size, int(0.1 * RATE_HZ))
    return float(_frames(sound, starts, DECAYS_PER_S[1]).max())


def _valleys(power: Float64, decay: float) -> Float64:
    """Level between the lines of one spectrum: a click or a very clear pluck lies above the noise
    at every pitch, but only lines stand out of their own surroundings. Shape as `power`."""
    half = int(max(20.0, 2.0 * decay) / _BIN_HZ)
    step = 8
    padded = np.pad(power, half, mode="reflect")
    around = np.lib.stride_tricks.sliding_window_view(padded, 2 * half + 1)[::step, ::4]
    level = np.quantile(around, 0.25, axis=1)
    found: Float64 = np.interp(
        np.arange(power.size), step * np.arange(level.size, dtype=np.float64), level
    )
    return found


def _onsets(sound: Float64, floor: Float64) -> list[int]:
    """Samples at which a pluck may start, in time's order."""
    starts = np.arange(0, max(sound.size - int(0.2 * RATE_HZ), 1), _HOP)
    low, high = int(LOWEST_HZ / _BIN_HZ), int(2.0 * HIGHEST_HZ / _BIN_HZ)
    loud = np.empty(starts.size)
    for first in range(0, starts.size, 256):
        rows = _frames(sound, starts[first : first + 256], DECAYS_PER_S[2])[:, low:high]
        above = np.log1p(np.maximum(rows / floor[low:high] - 3.0, 0.0))
        # Every octave counts alike.
        loud[first : first + 256] = above @ (1.0 / np.arange(low, high))
    lag = int(0.16 * RATE_HZ / _HOP)
    before = np.concatenate((np.full(lag, np.median(loud)), loud))[: loud.size]
    before = scipy.ndimage.minimum_filter1d(before, 3)
    rise = loud - before
    peaks, _ = scipy.signal.find_peaks(
        np.concatenate(([-1.0], rise, [-1.0])), distance=int(0.2 * RATE_HZ / _HOP)
    )
    peaks = peaks - 1
    peaks = peaks[rise[peaks] > LEAST_RISE * rise.max()]
    best = peaks[np.argsort(-rise[peaks])][:MOST_PLUCKS]
    picked = []
    for peak in sorted(best):
        ahead = loud[peak : peak + int(0.12 * RATE_HZ / _HOP) + 1]
        picked.append(int(starts[peak + int(np.argmax(ahead))]))
    return sorted(set(picked))


class _Seen:
    """One pluck's spectra against the noise around it, and the evidence for every fundamental."""

    def __init__(self, sound: Float64, floor: Float64, least: float, start: int) -> None:
        self.start_s = start / RATE_HZ
        here = np.array([start])
        self._power: list[Float64] = []
        self._raw: list[tuple[Float64, Float64]] = []
        back = start - int(0.3 * RATE_HZ)
        for decay in DECAYS_PER_S:
            raw = _frames(sound, here, decay)[0]
            noise = np.maximum(floor, BESIDE * _valleys(raw, decay))
            if back >= 0:
                # What sounded before the pluck is no part of it.
                earlier = sound[: start + 1]
                piece = _frames(earlier, np.array([back]), max(decay, DECAYS_PER_S[2]))[0]
                noise = np.maximum(noise, scipy.ndimage.uniform_filter1d(piece, 9))
            self._power.append(raw / np.maximum(noise, max(least, FAINTEST * float(raw.max()))))
            self._raw.append((raw, noise))
        steps = int(math.log(HIGHEST_HZ / LOWEST_HZ) / 0.004)
        self.grid = np.geomspace(LOWEST_HZ, HIGHEST_HZ, steps)
        self.evidence = np.max([self._comb(power) for power in self._power], axis=0)
        self.clear = bool(self.evidence.max() > LEAST_EVIDENCE)

    def _comb(self, power: Float64) -> Float64:
        """Evidence for a series of partials on each fundamental, shape (grid,)."""
        clear = np.log1p(scipy.ndimage.maximum_filter1d(power, 3) / CLEAR_POWER)
        number = np.arange(1, len(WEIGHTS) + 1)
        best = np.zeros(self.grid.size)
        for stretch in STRETCHES:
            ratio = number * np.sqrt((1.0 + stretch * number**2) / (1.0 + stretch))
            place = np.rint(self.grid[:, None] * ratio / _BIN_HZ).astype(int)
            seen = np.where(place < clear.size, clear[np.minimum(place, clear.size - 1)], 0.0)
            # Lines at half-way places mean that the note is half as high.
            half = ratio[[2, 4]] / ratio[1]
            place = np.rint(self.grid[:, None] * half / _BIN_HZ).astype(int)
            between = clear[np.minimum(place, clear.size - 1)]
            gain = seen @ np.array(WEIGHTS) - between @ np.array(BETWEEN)
            best = np.maximum(best, gain)
        return best

    def refine(self, near_hz: float) -> Pluck | None:
        """The pluck's own fundamental beside `near_hz`, None when it shows none there."""
        close = np.abs(self.grid / near_hz - 1.0) < SAME_NOTE
        evidence = float(self.evidence[close].max())
        if evidence < LEAST_EVIDENCE:
            return None
        # Through the window in which the fundamental stands out most.
        low, high = (int(near_hz * math.exp(off) / _BIN_HZ) for off in (-0.035, 0.035))
        low, high = max(low, 1), max(high, low + 2) + 1
        best = (-1.0, near_hz, 1.0)
        for raw, noise in self._raw:
            # One noise for all of the peak: its own slope would push the peak aside.
            level = raw / np.mean(noise[low:high])
            top = low + int(np.argmax(level[low:high]))
            bend = float(level[top - 1] - 2.0 * level[top] + level[top + 1])
            if level[top] > best[0] and bend < 0.0:
                shift = 0.5 * float(level[top - 1] - level[top + 1]) / bend
                shift = min(max(shift, -1.0), 1.0)
                spread = 1.0 / (math.sqrt(-bend) * top)
                best = (float(level[top]), (top + shift) * _BIN_HZ, spread)
        if best[0] < 6.0:
            return Pluck(self.start_s, near_hz, near_hz * 0.98, near_hz * 1.02, evidence)
        half = _TO_90 * math.hypot(best[2], LEAST_SPREAD)
        return Pluck(
            self.start_s, best[1], best[1] * math.exp(-half), best[1] * math.exp(half), evidence
        )


def _joined(found: list[_Seen], hum_hz: float | None) -> Strum:
    """The note most plucks share, each refined, averaged by how sure it is."""
    grid = found[0].grid
    width = 2 * int(0.5 * SAME_NOTE / math.log(grid[1] / grid[0])) + 1
    total = np.sum([scipy.ndimage.maximum_filter1d(one.evidence, width) for one in found], axis=0)
    # Of the wide top take the place where the plucks themselves agree best.
    total = total + 1e-3 * np.sum([one.evidence for one in found], axis=0)
    near_hz = float(grid[int(np.argmax(total))])
    plucks: list[Pluck] = []
    others: list[Pluck] = []
    for one in found:
        own_hz = float(grid[int(np.argmax(one.evidence))])
        fits = one.refine(near_hz)
        own = one.refine(own_hz)
        if fits is not None and (own is None or own.evidence - fits.evidence < CLEARLY_BETTER):
            plucks.append(fits)
        elif own is not None:
            others.append(own)
    if not plucks:
        plucks, others = others[:1], others[1:]
    weight = np.array([math.log(one.high_hz / one.low_hz) ** -2 for one in plucks])
    place = np.log([one.frequency_hz for one in plucks])
    mean = float(np.sum(weight * place) / np.sum(weight))
    own_half = 0.5 / math.sqrt(float(np.sum(weight)))
    scatter = 0.0
    if len(plucks) > 1:
        variance = float(np.sum(weight * (place - mean) ** 2) / np.sum(weight))
        scatter = 1.9 * math.sqrt(variance / (len(plucks) - 1))
    half = math.hypot(
        max(own_half, scatter), _TO_90 * LEAST_SPREAD, LEAST_SPREAD_HZ / math.exp(mean)
    )
    return Strum(
        math.exp(mean),
        math.exp(mean - half),
        math.exp(mean + half),
        tuple(plucks),
        tuple(others),
        None,
        hum_hz,
    )
