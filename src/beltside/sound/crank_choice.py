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

from beltside.sound.crank_feed import LOW_RATE_HZ, PULSE_RATE_HZ, CrankSound
from beltside.sound.crank_path import RPM_HIGH, RPM_LOW
from beltside.sound.crank_refine import angle_samples
from beltside.sound.track import CrankTrack

Float64 = npt.NDArray[np.float64]

MULTIPLES: Final = tuple(sorted({a / b for a in range(1, 7) for b in range(1, 7)} | {1 / 8, 8.0}))
"""Candidate speeds as multiples of the path's."""

SHARES: Final = np.array([0.02, 0.06, 0.15, 0.3, 0.5, 0.7, 0.85, 0.95])
"""Shares of the possible cycle lines an engine may show, each as likely as the next: some
engines idle very evenly, others do not."""

FIRING_SHARES: Final = np.array([0.5, 0.7, 0.85, 0.95])

COVER_SIGMA: Final = 4.0
"""A line this high counts as clear."""

EVEN_SIGMA: Final = 10.0
EVEN_FADE_SIGMA: Final = 5.0
"""Firing lines this high with no other cycle line in sight are the less believable the higher
they stand: no engine's cylinders sound alike to better than some 25 dB."""

ACCIDENT: Final = 0.03
"""Chance of a line (of an accessory, of anything) where the engine has none; own choice."""

LINE_SPREAD_SIGMA: Final = 24.0
"""A line's height is taken as evenly likely up to this many sigmas."""

EDGE: Final = 0.02
"""An engine at the edge of the allowed speeds wanders across it: candidates may lie this share
beyond."""

LEAD_SIGMA: Final = 5.0
LEAD_SPREAD_SIGMA: Final = 4.0
"""Where cylinders sound unalike enough for other cycle lines to show, the firing lines still
stand this much higher than their neighbours, give or take the spread (own measurements on real
engines at speed: 10 to 25 dB)."""

LEAD_LINE_SIGMA: Final = 3.0
"""A neighbour must stand this high to be compared with."""


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
    lowest
        From which order on, shape (signals,).
    pulse_row
        Which row is the pulsation; -1 when there is none.
    """

    step: float
    segment_turns: float
    height: Float64
    usable: Float64
    lowest: Float64
    pulse_row: int


@dataclass(frozen=True)
class Candidate:
    """One candidate speed and what speaks for it; nats are log-likelihood ratios against "no
    line is expected here".

    Attributes
    ----------
    multiple
        Its speed as a multiple of the path's.
    firing
        From the firing lines [nats].
    uneven
        From cycle lines other than firing [nats].
    halves
        The part of `uneven` from lines that only a whole cycle explains [nats].
    lead
        From firing standing above its neighbours [nats].
    pulse
        The part of firing and uneven that the pulsation of the high sound brings [nats].
    covered
        Share of the height of all clear lines that lie where this candidate expects one, 0 to 1.
    chance
        Share of the order axis where it expects one, 0 to 1.
    """

    multiple: float
    firing: float
    uneven: float
    halves: float
    lead: float
    pulse: float
    covered: float
    chance: float

    @property
    def evidence(self) -> float:
        """All of it [nats]."""
        return self.firing + self.uneven + self.lead


def line_evidence(sound: CrankSound, track: CrankTrack) -> LineEvidence:
    """Order spectra of the low sound and the pulsation along the track, as heights of lines."""
    turns = float(track.turns_at(np.array([sound.duration_s]))[0])
    # At least 32 turns and 1.5 s, where the take has them.
    wanted = max(32.0, 1.5 * track.rpm_median / 60.0)
    segment_turns = float(2 ** np.floor(np.log2(np.clip(turns / 2.0, 8.0, wanted))))
    step = 1.0 / (2.0 * segment_turns)
    rows: list[Float64] = []
    usable: list[float] = []
    lowest: list[float] = []
    pulse_row = -1
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
        level = np.log(power + max(1e-12 * float(power.max()), 1e-30))
        # One and a half turns' worth of orders: wider than several lines, so their valleys show.
        wide = round(1.5 / step) | 1
        quiet = scipy.ndimage.percentile_filter(level, 40, wide, mode="nearest")
        excess = level - quiet
        top = scipy.ndimage.maximum_filter1d(excess, 3)
        middle = float(np.median(top))
        spread = max(float(np.median(top) - np.percentile(top, 16)), 0.15)
        if signal is sound.pulse:
            pulse_row = len(rows)
        rows.append((top - middle) / spread)
        usable.append(top_order)
        lowest.append(low_hz / speed_hz)
    width = max(row.size for row in rows) if rows else 0
    height = np.array([np.pad(row, (0, width - row.size)) for row in rows])
    return LineEvidence(step, segment_turns, height, np.array(usable), np.array(lowest), pulse_row)


def judge(
    lines: LineEvidence,
    multiple: float,
    cylinders: int,
    strokes: int,
) -> Candidate:
    """Evidence for an engine that turns at `multiple` times the path's speed."""
    cycle = multiple * (0.5 if strokes == 4 else 1.0)
    uneven = firing = halves = lead = pulse = 0.0
    for number_of_row, (row, usable, lowest) in enumerate(
        zip(lines.height, lines.usable, lines.lowest, strict=True)
    ):
        # The same stretch of the axis for every candidate, else they judge different data.
        number = np.arange(1, int(usable / cycle + 1e-9) + 1)
        number = number[number * cycle >= lowest]
        if number.size == 0:
            continue
        z = row[np.round(number * cycle / lines.step).astype(np.int64)]
        ratio = _present_over_absent(z)
        fires = number % cylinders == 0
        by_firing = _marginal(ratio[fires], FIRING_SHARES)
        others, of_halves = _uneven_evidence(number, ratio, z, cylinders)
        firing += by_firing
        uneven += others
        halves += of_halves
        if number_of_row == lines.pulse_row:
            pulse = by_firing + others
        lead += _lead_evidence(number, z, cylinders) / (1.0 + number_of_row)
    covered, chance = _coverage(lines, cycle)
    return Candidate(multiple, firing, uneven, halves, lead, pulse, covered, chance)


def _coverage(lines: LineEvidence, cycle: float) -> tuple[float, float]:
    """Share of the clear lines' height that is explained, and share of the axis that is."""
    explained = total = 0.0
    axis = covered_axis = 0
    order = np.arange(lines.height.shape[1]) * lines.step
    for row, usable, lowest in zip(lines.height, lines.usable, lines.lowest, strict=True):
        inside = (order >= lowest) & (order <= usable)
        near = np.abs(order - np.round(order / cycle) * cycle) <= 1.6 * lines.step
        # The three-point maximum makes plateaus: a line is where the row is at its local top.
        top = scipy.ndimage.maximum_filter1d(row, 5)
        clear = inside & (row >= top) & (row > COVER_SIGMA)
        weight = np.minimum(row, 15.0) * clear
        explained += float(weight[near].sum())
        total += float(weight.sum())
        axis += int(inside.sum())
        covered_axis += int((inside & near).sum())
    return explained / max(total, 1e-9), covered_axis / max(axis, 1)


def _uneven_evidence(
    number: npt.NDArray[np.int64], ratio: Float64, z: Float64, cylinders: int
) -> tuple[float, float]:
    """Evidence of cycle lines other than firing, and the part only the whole cycle explains.

    Lines whose numbers share the same divisor with the number of cylinders come and go together
    (an engine whose two halves differ shows every second line, and so on), so each such class
    has its own share.
    """
    common = np.gcd(number, cylinders)
    fires = common == cylinders
    tall = float(np.mean(np.maximum(z[fires][:4], 0.0))) if fires.any() else 0.0
    prior = np.full(SHARES.size, 1.0 / SHARES.size)
    prior[0] *= np.exp(-max(tall - EVEN_SIGMA, 0.0) / EVEN_FADE_SIGMA)
    total = whole = 0.0
    for divisor in np.unique(common[~fires]).tolist():
        # Only the widest class must show something: that is what unevenness is.
        weights = prior if divisor == 1 else np.full(SHARES.size, 1.0 / SHARES.size)
        part = _marginal(ratio[common == divisor], SHARES, weights)
        total += part
        whole += part * (divisor == 1)
    return total, whole


def _lead_evidence(number: npt.NDArray[np.int64], z: Float64, cylinders: int) -> float:
    """Whether firing lines stand above neighbours that are there too.

    Tells an engine that fires at these lines from a slower one, evenly firing, whose every
    line is a firing line: there, each N-th line is no higher than the rest.
    """
    total = 0.0
    for times in range(1, 6):
        at = np.nonzero(number == times * cylinders)[0]
        if at.size == 0 or not 0 < at[0] < z.size - 1 or cylinders == 1:
            continue
        beside = z[[at[0] - 1, at[0] + 1]]
        if beside.max() < LEAD_LINE_SIGMA:
            continue
        step = float(z[at[0]] - np.maximum(beside, 0.0).mean())
        gain = (LEAD_SIGMA * step - 0.5 * LEAD_SIGMA**2) / LEAD_SPREAD_SIGMA**2
        total += float(np.clip(gain, -2.5, 2.5))
    return total


def _present_over_absent(z: Float64) -> Float64:
    """Likelihood of a height under "a line is here" over "nothing expected here"."""
    normal = np.exp(-0.5 * np.minimum(z, 12.0) ** 2) / np.sqrt(2.0 * np.pi)
    # Ordinary points have a longer upper tail than the normal law: a logistic-like mixture.
    tail = 0.25 * np.exp(-np.maximum(z, 0.0))
    line = np.where((z > 0.5) & (z < LINE_SPREAD_SIGMA), 1.0 / LINE_SPREAD_SIGMA, 0.002)
    absent = (1.0 - ACCIDENT) * (0.85 * normal + 0.15 * tail) + ACCIDENT * line
    result: Float64 = line / absent
    return result


def _marginal(ratio: Float64, shares: Float64, prior: Float64 | None = None) -> float:
    """Log evidence with the share of lines present integrated out."""
    if ratio.size == 0:
        return 0.0
    each = np.log1p(shares[:, None] * (ratio[None, :] - 1.0)).sum(axis=1)
    top = float(each.max())
    weights = 1.0 / shares.size if prior is None else prior
    return top + float(np.log((weights * np.exp(each - top)).sum()))


def mains_share(sound: CrankSound, mains_hz: float) -> float:
    """Share of the power of all clear tones below 1 kHz that lies on multiples of the mains.

    Engines reach it too, most easily four cylinders at 1500 or 1800 rpm, whose firing is at 50 or
    60 Hz: `mains_wander` tells them apart.
    """
    low = sound.low[: LOW_RATE_HZ * 60]
    power = np.abs(scipy.fft.rfft(low * np.hanning(low.size).astype(np.float32))) ** 2
    frequency = np.arange(power.size) * (LOW_RATE_HZ / low.size)
    inside = (frequency > 20.0) & (frequency < 1000.0)
    wide = max(round(20.0 * low.size / LOW_RATE_HZ), 15)
    usual = scipy.ndimage.median_filter(power[inside][:: max(wide // 15, 1)], 15, mode="nearest")
    background = np.repeat(usual, max(wide // 15, 1))[: int(inside.sum())]
    clear = np.maximum(power[inside] - 8.0 * background, 0.0)
    place = frequency[inside] / mains_hz
    away_hz = np.abs(place - np.round(place)) * mains_hz
    on = (away_hz < 0.3 + 2.0 * LOW_RATE_HZ / low.size) & (np.round(place) >= 1)
    return float(clear[on].sum() / max(float(clear.sum()), 1e-30))


def mains_wander(sound: CrankSound, mains_hz: float) -> float:
    """How far the tones on multiples of the mains wander over the take, as a share of their pitch.

    The mains keeps its frequency to 0.02 % within a minute; an engine wanders by 0.1 % and more
    even at idle (common practice, no source). Standard deviation of the pitch over pieces of two
    seconds, from the phase of the multiples that carry nearly all the power; 0 when the take is
    shorter than three pieces.
    """
    low = sound.low[: LOW_RATE_HZ * 60]
    piece = 2 * LOW_RATE_HZ
    pieces = low.size // piece
    if pieces < 3:
        return 0.0
    spectrum = scipy.fft.fft(low[: pieces * piece].astype(np.float64))
    frequency = np.arange(spectrum.size) * (LOW_RATE_HZ / spectrum.size)
    time_s = np.arange(pieces * piece) / LOW_RATE_HZ
    pitch = np.zeros(pieces)
    weight = 0.0
    for multiple in range(1, int(1000.0 / mains_hz)):
        away_hz = np.abs(frequency - multiple * mains_hz)
        near, beside = away_hz < 1.5, (away_hz > 2.5) & (away_hz < 4.0)
        power = float((np.abs(spectrum[near]) ** 2).sum())
        # Beside are as many hertz as near; a tone that wanders far is left out with the noise.
        if power < 10.0 * float((np.abs(spectrum[beside]) ** 2).sum()):
            continue
        tone = scipy.fft.ifft(np.where(near, spectrum, 0.0))
        tone *= np.exp(-2j * np.pi * multiple * mains_hz * time_s)
        # Turn of the phase from the first to the second half of each piece.
        halves = tone.reshape(pieces, 2, piece // 2).mean(axis=2)
        turn = np.angle(halves[:, 1] * halves[:, 0].conj()) / (2.0 * np.pi)
        loud = power * multiple**2
        pitch += loud * turn / (multiple * mains_hz)
        weight += loud
    return float(np.std(pitch / weight)) if weight > 0.0 else 0.0


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
    lines: LineEvidence,
    path_rpm: float,
    cylinders: int,
    strokes: int,
) -> list[Candidate]:
    """All candidates inside the allowed speeds, or within `EDGE` of them."""
    return [
        judge(lines, multiple, cylinders, strokes)
        for multiple in MULTIPLES
        if RPM_LOW * (1.0 - EDGE) <= multiple * path_rpm <= RPM_HIGH * (1.0 + EDGE)
        # Closer together, the skirts of strong lines would pass for lines of their own.
        and multiple * (0.5 if strokes == 4 else 1.0) * lines.segment_turns >= 4.0
    ]
