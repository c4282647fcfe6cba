"""From time to crank angle: computed order tracking.

Fyfe & Munck, Analysis of computed order tracking, Mechanical Systems and Signal Processing
11(2), 1997: the sound is given at equal steps of shaft angle instead of time, so that whatever
turns with the shaft keeps its place however the speed changes.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy import fft, special

from beltside.base.errors import InputError, OutOfRangeError
from beltside.base.units import SECONDS_PER_MINUTE
from beltside.sound.bands import BlockSpectrum, block_spectrum
from beltside.sound.gate import (
    AnyFloat,
    Float32,
    Float64,
    require_positive,
    require_signal,
    require_track,
    steps_of,
)
from beltside.sound.track import CrankTrack

PASS_SHARE: Final = 0.8
"""Share of the angular half rate (samples_per_turn / 2) up to which nothing is lost."""

MOST_SPEED_RATIO: Final = 16.0
"""Highest against lowest speed within one block."""

EDGE_SAMPLES: Final = 48
"""Values left off at either end, where the low-pass would look beyond the block."""

_OVERSAMPLING: Final = 3.0
# Slowest over fastest speed from which one low-pass in time does the work of both.
_NEARLY_STEADY: Final = 0.9
_CHUNK: Final = 1 << 15
# Quintic B-spline between two knots: row k holds the weight of knot k - 2 as a polynomial in the
# distance from knot 0, highest power first, times 120 (de Boor 1978, A Practical Guide to
# Splines; Unser, Splines: a perfect fit, IEEE Signal Processing Magazine 16(6), 1999).
_QUINTIC: Final = np.array(
    [
        [-1, 5, -10, 10, -5, 1],
        [5, -20, 20, 20, -50, 26],
        [-10, 30, 0, -60, 0, 66],
        [10, -20, -20, 20, 50, 26],
        [-5, 5, 10, 10, 5, 1],
        [1, 0, 0, 0, 0, 0],
    ],
    dtype=np.float32,
) / np.float32(120)


@dataclass(frozen=True)
class AngleSignal:
    """Values at equal steps of crank angle.

    Attributes
    ----------
    values
        Shape (..., m).
    samples_per_turn
        How many to one crank turn.
    start_turn
        Crank turns since time 0 of the track at the first value: a whole number of steps, so
        that blocks of one take share one grid [turns].
    """

    values: Float32
    samples_per_turn: int
    start_turn: float

    @property
    def turns(self) -> float:
        """Crank turns covered."""
        return int(self.values.shape[-1]) / self.samples_per_turn


def time_at_turns(track: CrankTrack, turns: npt.ArrayLike) -> Float64:
    """Moment at which the crank has made so many turns: the inverse of `track.turns_at`.

    Speed is linear between the track's moments, so angle is a parabola there and its inverse
    the root of a quadratic, here in the form that stays exact as acceleration goes to zero:
    t = 2 D / (v + sqrt(v^2 + 2 s D)) with D turns since the moment, v [1/s] the speed at it and
    s [1/s^2] the acceleration. Beyond the ends the speed is constant.

    Parameters
    ----------
    track
        Crank track, speeds above zero.
    turns
        Turns since time 0, rising, shape (k,) [turns].

    Returns
    -------
    Moments, shape (k,) [s].

    >>> [round(float(t), 12) for t in time_at_turns(CrankTrack.constant(600.0), [0.0, 5.0])]
    [0.0, 0.5]
    """
    require_track(track)
    asked = np.asarray(require_signal("turns", turns), dtype=np.float64)
    if bool(np.any(np.diff(asked) < 0.0)):
        raise InputError(
            "turns that go back", allowed="turns that rise", instead="sort them before asking"
        )
    return _invert(track, asked)


def _invert(track: CrankTrack, asked: Float64) -> Float64:
    """`time_at_turns` without its checks."""
    knot_s = np.asarray(track.time_s, dtype=np.float64)
    speed_hz = np.asarray(track.rpm, dtype=np.float64) / SECONDS_PER_MINUTE
    knot_turns = track.turns_at(knot_s)
    # Stretches between knots, with one of constant speed before the first and after the last.
    slope = np.concatenate(([0.0], np.diff(speed_hz) / np.diff(knot_s), [0.0]))
    reached = np.searchsorted(asked, knot_turns)
    times = np.diff(np.concatenate(([0], reached, [asked.size])))
    base = np.concatenate(([0], np.arange(knot_s.size)))
    since = asked - np.repeat(knot_turns[base], times)
    speed = np.repeat(speed_hz[base], times)
    root = np.sqrt(np.maximum(speed**2 + 2.0 * np.repeat(slope, times) * since, 0.0))
    result: Float64 = np.repeat(knot_s[base], times) + 2.0 * since / (speed + root)
    return result


@dataclass(frozen=True)
class _Grid:
    """Angles `(first + 0, 1, ... count - 1) / steps` [turns]."""

    track: CrankTrack
    first: int
    count: int
    steps: int


def resample_to_angle(
    signal: npt.ArrayLike | BlockSpectrum,
    rate_hz: float,
    start_s: float,
    track: CrankTrack,
    samples_per_turn: int,
) -> AngleSignal:
    """Give a block of sound, or several envelopes of it, at equal steps of crank angle.

    Nothing folds at any moment, in three steps:

    1. What lies above order samples_per_turn / 2 even at the *fastest* moment is taken out in
       time (Fourier), which also gives the signal at 3 times the rate it then needs.
    2. A quintic spline through it is read at equal steps of angle, D times finer than asked for,
       D being about the fastest over the slowest speed, rounded up: what passed step 1 then stays
       below half that finer rate even at the *slowest* moment.
    3. In the angle domain, where an order keeps its place, a low-pass takes out all from order
       samples_per_turn / 2 up, and every D-th value is kept.

    While the speed keeps within 10 %, step 1 takes out what lies above that order at the slowest
    moment instead, which is still above 0.8 of it at the fastest; D is then 1 and step 3 falls
    away.

    Up to order 0.8 x samples_per_turn / 2 the gain is 1 within 0.001 %. (At a corner of the speed
    itself a tone's order spreads for a moment, and what spreads beyond the edge is lost.) A spline
    of degree 5 leaves images of relative amplitude (f / (R - f))^6 at frequency f and rate R:
    6e-5 at most here (-84 dB), 1.4e-5 (-97 dB) at 0.8 of the edge.

    Parameters
    ----------
    signal
        Shape (..., n), finite, n >= 64, not written to; or its `block_spectrum`, when that is at
        hand already.
    rate_hz
        Its rate [Hz].
    start_s
        Moment of its first value on the track's clock [s].
    track
        Crank track, above zero rpm; fastest / slowest within the block at most 16.
    samples_per_turn
        Angular rate, 8 to 65536: twice the highest order wanted / 0.8.

    Raises
    ------
    OutOfRangeError
        When the block is too short (under 4 `EDGE_SAMPLES` steps of angle), or a figure is
        outside its range.
    InputError
        When the signal is not finite.
    """
    require_positive("rate", rate_hz, "Hz")
    require_track(track)
    block = signal if isinstance(signal, BlockSpectrum) else block_spectrum(signal, rate_hz)
    if block.sample_rate_hz != rate_hz:
        raise InputError(
            f"a spectrum of sound at {block.sample_rate_hz:g} Hz called {rate_hz:g} Hz",
            allowed="one rate",
            instead="the rate the spectrum was made with",
        )
    steps = int(samples_per_turn)
    if not 8 <= steps <= 65536 or not np.isfinite(start_s):
        raise OutOfRangeError(
            f"{samples_per_turn} samples per turn from {start_s:g} s",
            allowed="8 to 65536 and a finite start",
            instead="2.5 times the highest order wanted",
        )
    end_s = start_s + (block.samples - 1) / rate_hz
    slow_hz, fast_hz = _speed_range_hz(track, start_s, end_s)
    if fast_hz > MOST_SPEED_RATIO * slow_hz:
        raise OutOfRangeError(
            f"the speed goes from {slow_hz * 60:.0f} to {fast_hz * 60:.0f} rpm within one block",
            allowed=f"a factor of {MOST_SPEED_RATIO:g}",
            instead="shorter blocks",
        )
    stop_hz = steps / 2 * (slow_hz if slow_hz >= _NEARLY_STEADY * fast_hz else fast_hz)
    finer = max(1, int(np.ceil(min(stop_hz, rate_hz / 2) / (steps / 2 * slow_hz) * (1.0 - 1e-9))))
    ends = track.turns_at(np.array([start_s, end_s]))
    first = int(np.ceil(ends[0] * steps - 1e-6))
    count = int(np.floor(ends[1] * steps + 1e-6)) - first + 1
    if count < 4 * EDGE_SAMPLES:
        raise OutOfRangeError(
            f"the block covers {ends[1] - ends[0]:.3g} turns",
            allowed=f"{4 * EDGE_SAMPLES / steps:.3g} or more at {steps} samples per turn",
            instead="a longer block",
        )
    knots, knot_rate_hz = _spline_knots(block, PASS_SHARE * steps / 2 * fast_hz, stop_hz)
    grid = _Grid(track, first * finer, (count - 1) * finer + 1, steps * finer)
    fine = _read_spline(knots, knot_rate_hz, start_s, grid)
    if finer > 1:
        fine = _keep_every(fine, finer)[..., :count]
    return AngleSignal(
        np.ascontiguousarray(fine[..., EDGE_SAMPLES:-EDGE_SAMPLES]),
        steps,
        (first + EDGE_SAMPLES) / steps,
    )


def _speed_range_hz(track: CrankTrack, start_s: float, end_s: float) -> tuple[float, float]:
    """Slowest and fastest speed between two moments [turns/s]."""
    inside = (track.time_s > start_s) & (track.time_s < end_s)
    rpm = np.concatenate((track.rpm_at(np.array([start_s, end_s])), track.rpm[inside]))
    return float(rpm.min()) / SECONDS_PER_MINUTE, float(rpm.max()) / SECONDS_PER_MINUTE


def _spline_knots(block: BlockSpectrum, pass_hz: float, stop_hz: float) -> tuple[AnyFloat, float]:
    """Low-pass the block and give the weights of a quintic spline through it, and their rate."""
    bins = min(int(stop_hz / block.step_hz), block.fft_size // 2) + 1
    size = int(fft.next_fast_len(int(np.ceil(2 * _OVERSAMPLING * bins)), real=True))
    frequency_hz = steps_of(bins, block.step_hz)
    keep = _fall((frequency_hz - pass_hz) / (stop_hz - pass_hz))
    # A spline through values sampled at integers has weights = values filtered by the inverse
    # of the spline's own samples 1, 26, 66, 26, 1 over 120.
    turn = 2.0 * np.pi * np.arange(bins) / size
    own = (66.0 + 52.0 * np.cos(turn) + 2.0 * np.cos(2.0 * turn)) / 120.0
    gain = keep / own * (size / block.fft_size)
    if block.fft_size % 2 == 0 and bins == block.fft_size // 2 + 1:
        gain[-1] *= 0.5  # the block's own half-rate bin stands for two once it is oversampled
    spectrum = block.spectrum[..., :bins] * gain.astype(np.float32)
    return fft.irfft(spectrum, size, overwrite_x=True), size * block.step_hz


def _fall(share: Float64) -> Float64:
    """Gain that falls from 1 at 0 to 0 at 1 as a Gaussian's integral.

    It is within 1.1e-5 (-99 dB) of both at its ends, and its ringing dies away like a Gaussian.
    """
    result: Float64 = np.where(share < 1.0, 0.5 * special.erfc(3.0 * (2.0 * share - 1.0)), 0.0)
    return result


def _read_spline(knots: AnyFloat, knot_rate_hz: float, start_s: float, reading: _Grid) -> Float32:
    """Value of the ring-shaped spline with weights (..., n) at every angle of the grid."""
    ring = np.concatenate((knots[..., -2:], knots, knots[..., :4]), axis=-1)
    rows = ring.reshape(-1, ring.shape[-1])
    result = np.zeros((rows.shape[0], reading.count), dtype=np.float32)
    # In pieces that stay in the processor's cache; places and weights serve every row.
    for begin in range(0, reading.count, _CHUNK):
        end = min(begin + _CHUNK, reading.count)
        turns = (reading.first + np.arange(begin, end)) / reading.steps
        place = (_invert(reading.track, turns) - start_s) * knot_rate_hz
        whole = np.clip(np.floor(place), 0, knots.shape[-1] - 1).astype(np.intp)
        rest = (place - whole).astype(np.float32)
        for knot, polynomial in enumerate(_QUINTIC):
            weight = np.full(rest.size, polynomial[0], dtype=np.float32)
            for coefficient in polynomial[1:]:
                weight *= rest
                weight += coefficient
            for row, target in zip(rows, result, strict=True):
                target[begin:end] += weight * row.take(whole + knot)
    return result.reshape(*knots.shape[:-1], reading.count)


def _keep_every(fine: Float32, factor: int) -> Float32:
    """Low-pass at half the reduced rate and keep every `factor`-th value."""
    ring = block_spectrum(fine, 1.0, pad_samples=4 * EDGE_SAMPLES * factor, factor=factor)
    size = ring.fft_size // factor
    place = steps_of(size // 2 + 1, 2.0 / size)
    gain = (_fall((place - PASS_SHARE) / (1.0 - PASS_SHARE)) / factor).astype(np.float32)
    kept: Float32 = fft.irfft(ring.spectrum[..., : gain.size] * gain, size, overwrite_x=True)
    return kept


def angle_from_pulses(
    pulse_times_s: npt.ArrayLike, time_s: npt.ArrayLike, turns_per_pulse: float = 1.0
) -> Float64:
    """Shaft angle at any moments from the times of a once-per-turn (or finer) pulse.

    Constant acceleration is assumed over each three successive pulses: the angle is
    b0 + b1 t + b2 t^2 through them (Fyfe & Munck 1997), used from half-way before to half-way
    after the middle pulse.

    Parameters
    ----------
    pulse_times_s
        Times of the pulses, rising, shape (p,), p >= 3 [s].
    time_s
        Moments asked for, shape (k,) [s]; within half a pulse of the pulses, or it is refused.
    turns_per_pulse
        Angle from one pulse to the next [turns].

    Returns
    -------
    Angle since the first pulse, shape (k,) [turns].
    """
    times = np.asarray(require_signal("pulse_times_s", pulse_times_s, shortest=3), dtype=np.float64)
    asked = np.asarray(require_signal("time_s", time_s), dtype=np.float64)
    require_positive("turns per pulse", turns_per_pulse, "turns")
    gap = np.diff(times)
    if bool(np.any(gap <= 0.0)):
        raise OutOfRangeError(
            "pulse times that do not rise", allowed="rising times", instead="sort them"
        )
    if asked.min() < times[0] - 0.5 * gap[0] or asked.max() > times[-1] + 0.5 * gap[-1]:
        raise OutOfRangeError(
            f"moments from {asked.min():g} to {asked.max():g} s",
            allowed=f"{times[0]:g} to {times[-1]:g} s, half a pulse either side",
            instead="leave out what lies beyond the pulses",
        )
    halfway = 0.5 * (times[1:-2] + times[2:-1])
    middle = 1 + np.searchsorted(halfway, asked)
    back, ahead = gap[middle - 1], gap[middle]
    # Newton's form of the parabola about the middle pulse: speeds before and after it, then
    # their change.
    before, after = 1.0 / back, 1.0 / ahead
    bend = (after - before) / (back + ahead)
    since = asked - times[middle]
    result: Float64 = turns_per_pulse * (middle + since * (before + bend * (since + back)))
    return result
