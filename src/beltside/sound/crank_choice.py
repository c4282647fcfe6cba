"""Which speed is it: the path found, or a simple fraction or multiple of it, or no engine at all?

A path locks on to the pattern of lines, but half or double the speed lays a comb over many of
the same lines. So the take's whole order spectrum is judged once more under every candidate:
a line is expected at each multiple of the firing order, may be present at the other multiples
of the engine's cycle, and is an accident anywhere else. Candidates that expect lines that are
not there lose, and so do those that leave lines unexplained (marginal likelihood; how many of
the possible lines an engine shows is integrated out, so neither even nor uneven engines are
preferred).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import scipy.fft
import scipy.ndimage
import scipy.special

from beltside.sound.crank_feed import LOW_RATE_HZ, PULSE_RATE_HZ, CrankSound
from beltside.sound.crank_path import RPM_HIGH, RPM_LOW
from beltside.sound.crank_refine import angle_samples
from beltside.sound.track import CrankTrack

Float64 = npt.NDArray[np.float64]

MULTIPLES: Final = tuple(
    sorted({a / b for a in range(1, 7) for b in range(1, 7)} | {1 / 8, 8.0})
)
"""Candidate speeds as multiples of the path's."""

SHARES: Final = np.array([0.02, 0.06, 0.15, 0.3, 0.5, 0.7, 0.85, 0.95])
SHARES_PRIOR: Final = np.array([0.03, 0.07, 0.12, 0.16, 0.18, 0.18, 0.15, 0.11])
"""Shares of the possible cycle lines an engine may show, and how likely each is: cylinders that
sound exactly alike are rare. Own choice."""

FIRING_SHARES: Final = np.array([0.5, 0.7, 0.85, 0.95])
FIRING_PRIOR: Final = np.array([0.25, 0.25, 0.25, 0.25])

ACCIDENT: Final = 0.03
"""Chance of a line (of an accessory, of anything) where the engine has none; own choice."""

LINE_SPREAD_SIGMA: Final = 24.0
"""A line's height is taken as evenly likely up to this many sigmas."""


LEAD_LINE_SIGMA: Final = 3.0
"""A line must stand this high to say whether firing leads the cycle's other lines."""


@dataclass(frozen=True)
class LineEvidence:
    """How far each order stands out of its surroundings.

    Attributes
    ----------
    step
        Distance of the points on the order axis [per turn of the path].
    segment_turns
        Turns of the path in one spectrum.
    height
        Height of the highest neighbour within a line's width, in sigmas of the ordinary
        points, one row per signal (low sound, pulsation), shape (signals, points).
    usable
        Up to which order each row can be used, shape (signals,) [per turn of the path].
    """

    step: float
    segment_turns: float
    height: Float64
    usable: Float64
    lowest: Float64


@dataclass(frozen=True)
class Candidate:
    """One candidate speed.

    Attributes
    ----------
    multiple
        Its speed as a multiple of the path's.
    evidence
        Log-likelihood ratio against "no engine lines at all" [nats].
    uneven
        Part of it that comes from cycle lines other than firing [nats].
    firing
        Part of it that comes from firing lines [nats].
    lead
        Part of it that comes from firing leading the other lines [nats].
    """

    multiple: float
    evidence: float
    uneven: float
    firing: float
    lead: float


def line_evidence(sound: CrankSound, track: CrankTrack) -> LineEvidence:
    """Order spectra of the low sound and the pulsation along the track, as heights of lines."""
    turns = float(track.turns_at(np.array([sound.duration_s]))[0])
    # At least 32 turns and 1.5 s, where the take has them.
    wanted = max(32.0, 1.5 * track.rpm_median / 60.0)
    segment_turns = float(2 ** np.floor(np.log2(np.clip(turns / 2.0, 8.0, wanted))))
    step = 1.0 / (2.0 * segment_turns)
    rows, usable, lowest = [], [], []
    speed_hz = track.rpm_median / 60.0
    for signal, rate_hz, low_hz, top_hz in (
        (sound.low, LOW_RATE_HZ, 18.0, 1000.0),
        (sound.pulse, PULSE_RATE_HZ, 4.0, 350.0),
    ):
        if signal.size < rate_hz:
            continue
        values, per_turn = angle_samples(signal, rate_hz, track, top_hz)
        size = round(segment_turns * per_turn)
        if values.size < size:
            values = np.pad(values, (0, size - values.size))
        hop = size // 2
        stretches = np.lib.stride_tricks.sliding_window_view(values, size)[::hop]
        window = np.hanning(size + 2)[1:-1].astype(np.float32)
        top_order = min(top_hz / speed_hz, 40.0)
        keep = round(top_order / step) + 1
        power = np.zeros(keep)
        for stretch in stretches:
            spectrum = scipy.fft.rfft((stretch - stretch.mean()) * window, 2 * size)[:keep]
            part = spectrum.real**2 + spectrum.imag**2
            # Each stretch counts by its own loudness, so that a blip does not drown the rest.
            power[: part.size] += part / max(float(part.mean()), 1e-30)
        level = np.log(power + 1e-12 * power.max())
        # One and a half turns' worth of orders: wider than several lines, so their valleys show.
        wide = round(1.5 / step) | 1
        quiet = scipy.ndimage.percentile_filter(level, 40, wide, mode="nearest")
        excess = level - quiet
        top = scipy.ndimage.maximum_filter1d(excess, 3)
        middle = float(np.median(top))
        spread = max(float(np.median(top) - np.percentile(top, 16)), 0.15)
        rows.append((top - middle) / spread)
        usable.append(top_order)
        lowest.append(low_hz / speed_hz)
    width = max(row.size for row in rows) if rows else 0
    height = np.array([np.pad(row, (0, width - row.size)) for row in rows])
    return LineEvidence(step, segment_turns, height, np.array(usable), np.array(lowest))


def judge(
    lines: LineEvidence, multiple: float, cylinders: int, strokes: int
) -> Candidate:
    """Evidence for an engine that turns at `multiple` times the path's speed."""
    cycle = multiple * (0.5 if strokes == 4 else 1.0)
    uneven = firing = lead = 0.0
    for row, usable, lowest in zip(lines.height, lines.usable, lines.lowest, strict=True):
        # The same stretch of the axis for every candidate, else they judge different data.
        number = np.arange(1, int(usable / cycle + 1e-9) + 1)
        number = number[number * cycle >= lowest]
        if number.size == 0:
            continue
        z = row[np.round(number * cycle / lines.step).astype(np.int64)]
        ratio = _present_over_absent(z)
        fires = number % cylinders == 0
        firing += _marginal(ratio[fires], FIRING_SHARES, FIRING_PRIOR)
        uneven += _marginal(ratio[~fires], SHARES, SHARES_PRIOR)
        lead += _lead_evidence(np.log(number * cycle), z, fires)
    return Candidate(multiple, firing + uneven + lead, uneven, firing, lead)


def _lead_evidence(place: Float64, z: Float64, fires: npt.NDArray[np.bool_]) -> float:
    """Evidence that firing lines lead the others: one smooth level against two.

    Compares the squared misfits of the heights of all clear lines about one smooth curve, and
    about that curve with firing lines raised by a common step (likelihood ratio with the
    step's cost by the Bayesian information criterion, Schwarz 1978). Firing lines that lie
    lower than the rest speak against.
    """
    clear = z > LEAD_LINE_SIGMA
    if clear.sum() < 5 or not fires[clear].any() or fires[clear].all():
        return 0.0
    x, y, step = place[clear], z[clear], fires[clear].astype(np.float64)
    smooth = np.column_stack((np.ones_like(x), x, x**2)) if x.size > 7 else (
        np.column_stack((np.ones_like(x), x))
    )
    both = np.column_stack((smooth, step))
    fit_one = np.linalg.lstsq(smooth, y, rcond=None)[0]
    fit_two = np.linalg.lstsq(both, y, rcond=None)[0]
    # Heights of neighbouring lines scatter by a few sigmas on any engine; no fit is better.
    floor = 4.0 * x.size
    miss_one = float(((y - smooth @ fit_one) ** 2).sum()) + floor
    miss_two = float(((y - both @ fit_two) ** 2).sum()) + floor
    gain = 0.5 * x.size * np.log(miss_one / miss_two)
    if fit_two[-1] < 0.0:
        return float(-gain - 0.5 * np.log(x.size))
    return float(min(gain, 12.0) - 0.5 * np.log(x.size))


def _present_over_absent(z: Float64) -> Float64:
    """Likelihood of a height under "a line is here" over "nothing expected here"."""
    normal = np.exp(-0.5 * np.minimum(z, 12.0) ** 2) / np.sqrt(2.0 * np.pi)
    # Ordinary points have a longer upper tail than the normal law: a logistic-like mixture.
    tail = 0.25 * np.exp(-np.maximum(z, 0.0))
    line = np.where((z > 0.5) & (z < LINE_SPREAD_SIGMA), 1.0 / LINE_SPREAD_SIGMA, 0.002)
    absent = (1.0 - ACCIDENT) * (0.85 * normal + 0.15 * tail) + ACCIDENT * line
    result: Float64 = line / absent
    return result


def _marginal(ratio: Float64, shares: Float64, prior: Float64) -> float:
    """Log evidence with the share of lines present integrated out."""
    if ratio.size == 0:
        return 0.0
    each = np.log1p(shares[:, None] * (ratio[None, :] - 1.0)).sum(axis=1)
    return float(scipy.special.logsumexp(each, b=prior))


def scale_error(lines: LineEvidence, strokes: int) -> float:
    """How far off the path's speed is, as a share, so that cycle lines fall on their places."""
    cycle = 0.5 if strokes == 4 else 1.0
    shifts = np.arange(-0.012, 0.0121, 0.0004)
    total = np.zeros(shifts.size)
    for row, usable, lowest in zip(lines.height, lines.usable, lines.lowest, strict=True):
        number = np.arange(1, int(usable / cycle / 1.015) + 1)
        number = number[(number * cycle >= lowest) & (number * cycle < 16.0)]
        if number.size:
            at = number[:, None] * cycle * (1.0 + shifts) / lines.step
            points = np.arange(row.size)
            # Ordinary points say nothing, and no single loud line decides alone.
            total += np.log1p(np.maximum(np.interp(at, points, row) - 2.0, 0.0)).sum(axis=0)
    top = int(np.argmax(total))
    if not 0 < top < shifts.size - 1:
        return 0.0
    left, middle, right = total[top - 1 : top + 2]
    bend = left - 2.0 * middle + right
    return float(shifts[top] + (0.0004 * 0.5 * (left - right) / bend if bend < 0.0 else 0.0))


def candidates(
    lines: LineEvidence, path_rpm: float, cylinders: int, strokes: int
) -> list[Candidate]:
    """All candidates inside the allowed speeds, the likeliest first."""
    found = [
        judge(lines, multiple, cylinders, strokes)
        for multiple in MULTIPLES
        if RPM_LOW <= multiple * path_rpm <= RPM_HIGH
        # Closer together, the skirts of strong lines would pass for lines of their own.
        and multiple * (0.5 if strokes == 4 else 1.0) * lines.segment_turns >= 4.0
    ]
    return sorted(found, key=lambda one: -one.evidence)
