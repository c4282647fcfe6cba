"""Before and after: known changes on simulated pairs.

Truth of overall, bands and loudness: the second take's own sound once with the fault at full
strength and once turned down (bench/compare_rig.py), bands by filters of scipy.

usage: python bench/compare.py [--pairs 500] [--seed 70000] [--keep FILE]
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
import math
import pickle
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import numpy.typing as npt
from scipy import signal

from beltside.casework.compare import compare_sounds
from beltside.casework.compare_results import CompareResult, LineChange, Range
from beltside.casework.compare_takes import TakeSound
from beltside.casework.families import BEARING_SOURCES, COUNT_SOURCES
from beltside.sound.loudness import REFERENCE_PA, levels_of_powers, loudness_of_levels
from beltside.sound.sharpness import sharpness
from beltside.sound.third_octave import a_weight
from compare_rig import SAMPLE_RATE_HZ, TURNS_HZ, Float32, Pair, draw_pairs
from figures import Figure, table

Float64 = npt.NDArray[np.float64]
OrderPower = tuple[Float64, Float64]
"""Orders and the power at each."""

PAIRS_OF_A_CAR = 2
SPOILT = ("clipped", "hood", "wind", "other speed")
STEPS_A_TURN = 256
PRESENT = 4.0
"""A line whose height over its surroundings is this many times their unrest is there."""


def compared(pair: Pair, **changes: Float32) -> CompareResult:
    """The comparison of a pair, with samples exchanged where asked."""
    sounds = {"before": pair.before, "after": pair.after} | changes
    before, after = (TakeSound(name, sounds[name], SAMPLE_RATE_HZ) for name in ("before", "after"))
    return compare_sounds(before, after, pair.sheet)


def holds(found: Range, truth: float) -> bool:
    """Whether the range covers the truth; an open end covers everything."""
    return (found.low is None or found.low <= truth) and (found.high is None or truth <= found.high)


def spoilt(rng: np.random.Generator, pair: Pair, kind: str) -> Float32:
    """The second take made incomparable."""
    after = pair.after.astype(np.float64)
    size = after.size
    if kind == "clipped":
        flat = np.clip(after / np.abs(after).max() * 8.0, -1.0, 1.0)
        return np.asarray(flat, dtype=np.float32)
    if kind == "hood":
        frequency_hz = np.maximum(np.fft.rfftfreq(size, 1.0 / SAMPLE_RATE_HZ), 1.0)
        loss_db = np.interp(np.log(frequency_hz), np.log([60.0, 200.0, 5000.0]), [0.0, 5.0, 25.0])
        shut = np.fft.rfft(after) * 10.0 ** (-loss_db / 20.0)
        return np.asarray(np.fft.irfft(shut, size), dtype=np.float32)
    if kind == "wind":
        sections = signal.butter(2, (20.0, 80.0), "band", fs=SAMPLE_RATE_HZ, output="sos")
        moments = np.arange(size) / SAMPLE_RATE_HZ
        gusts = np.exp(1.5 * np.interp(moments, np.arange(12), rng.normal(size=12)))
        blow = signal.sosfilt(sections, rng.normal(size=size)) * gusts
        return np.asarray(after + 3.0 * after.std() / blow.std() * blow, dtype=np.float32)
    # Another speed: played 1.6 times as fast.
    return np.asarray(signal.resample(after, round(size / 1.6)), dtype=np.float32)


@dataclass
class Outcome:
    """What came out of one pair: (found, truth) of each range, in decibels or as a ratio.

    What became of each line is read off the second take's own sound with the fault at full
    strength and turned down. `named_lines` has another truth for the lines of other parts: their
    parts were left alone, so 0, whatever of the fault is laid to them.
    """

    fault: str
    speed_ratio: float
    why_not: tuple[str, ...]
    overall: tuple[Range, float] | None = None
    loudness: tuple[Range, float] | None = None
    sharpness: tuple[Range, float] | None = None
    bands: list[tuple[Range, float]] = field(default_factory=list)
    own_lines: list[tuple[Range, float]] = field(default_factory=list)
    other_lines: list[tuple[Range, float]] = field(default_factory=list)
    named_lines: list[tuple[Range, float]] = field(default_factory=list)
    turned_away: bool | None = None


def wanted_powers(pair: Pair) -> tuple[Float64, Float64]:
    """Mean squares in the 28 loudness bands without and with the repair, by filters of scipy."""
    frames = []
    for samples in (pair.wanted_before, pair.wanted_after):
        rows = []
        for centre_hz in 1000.0 * 10.0 ** (0.1 * np.arange(-16, 12)):
            edges = centre_hz * 10.0 ** np.array([-0.05, 0.05])
            if edges[1] >= 0.5 * SAMPLE_RATE_HZ:
                rows.append(0.0)
                continue
            sections = signal.butter(3, edges, "band", fs=SAMPLE_RATE_HZ, output="sos")
            rows.append(float(np.mean(signal.sosfilt(sections, samples.astype(np.float64)) ** 2)))
        frames.append(np.array(rows))
    return frames[0], frames[1]


def wanted_heard(powers: tuple[Float64, Float64]) -> tuple[float, float]:
    """Ratios of loudness and sharpness, after over before, at 70 dB(A) of the louder."""
    weight = a_weight(1000.0 * 10.0 ** (0.1 * np.arange(-16, 12)))
    loudest = max(float(weight @ power) for power in powers)
    pressure = REFERENCE_PA * math.sqrt(10.0**7.0 / loudest)
    one, other = (loudness_of_levels(levels_of_powers(power, pressure)) for power in powers)
    return other.sone / one.sone, sharpness(other) / sharpness(one)


def outcome(pair: Pair) -> Outcome:
    """The comparison of one pair beside its truth."""
    found = compared(pair)
    result = Outcome(pair.fault, pair.speed_ratio, found.why_not)
    if not found.comparable:
        return result
    powers = wanted_powers(pair)
    loud, sharp = wanted_heard(powers)
    result.overall = (found.quieter_db, pair.quieter_db)
    result.loudness = (found.loudness_ratio, loud)
    result.sharpness = (found.sharpness_ratio, sharp)
    change_db = 10.0 * np.log10(np.maximum(powers[0], 1e-30) / np.maximum(powers[1], 1e-30))
    for band in found.bands:
        number = round(10.0 * math.log10(band.nominal_hz / 1000.0)) + 16
        if 0 <= number < change_db.size and powers[0][number] > 0.0:
            result.bands.append((band.quieter_db, float(change_db[number])))
    part, _, fault = pair.fault.partition(".")
    kinds = BEARING_SOURCES if fault == "bearing" else COUNT_SOURCES
    spectra: dict[tuple[float, float] | None, tuple[OrderPower, OrderPower]] = {}
    for line in found.orders:
        if line.part == "belt":
            continue
        if line.band_hz not in spectra:
            spectra[line.band_hz] = (
                order_power(pair.wanted_before, pair.turns, line.band_hz),
                order_power(pair.wanted_after, pair.turns, line.band_hz),
            )
        truth = line_truth(*spectra[line.band_hz], line)
        if line.part == part and line.source in kinds:
            result.own_lines.append((line.quieter_db, truth))
        elif line.part != part:
            result.other_lines.append((line.quieter_db, truth))
            result.named_lines.append((line.quieter_db, 0.0))
    return result


def line_truth(before: OrderPower, after: OrderPower, line: LineChange) -> float:
    """By how much one line fell in the second take's own sound, by the true crank angle [dB].

    0 where the second take's own sound has no such line even with the fault at full strength:
    what was heard there was the first take's alone, or came from elsewhere, and the repair
    changed nothing of it.
    """
    full, unrest = _line_power(before, line.order)
    left, unrest_left = _line_power(after, line.order)
    if full < PRESENT * unrest:
        return 0.0
    decibels = 10.0 if line.spectrum == "sound" else 5.0
    return decibels * math.log10(full / max(left, 0.1 * unrest_left, 1e-6 * full))


def order_power(
    samples: Float32, turns: Float64, band_hz: tuple[float, float] | None
) -> OrderPower:
    """Order and power of the sound, or of the swing of its power behind a filter of scipy."""
    wave = np.asarray(samples, dtype=np.float64).ravel()
    if band_hz is not None:
        sections = signal.butter(4, band_hz, "band", fs=SAMPLE_RATE_HZ, output="sos")
        wave = np.abs(signal.hilbert(signal.sosfilt(sections, wave))) ** 2
    wave = signal.decimate(wave, 4, ftype="fir")
    moments = np.arange(wave.size) * 4.0 / SAMPLE_RATE_HZ
    angle = np.interp(moments, np.arange(turns.size) / TURNS_HZ, turns)
    even = np.arange(math.ceil(angle[0] * STEPS_A_TURN), int(angle[-1] * STEPS_A_TURN))
    wave = np.interp(even / STEPS_A_TURN, angle, wave)
    power = np.abs(np.fft.rfft((wave - wave.mean()) * np.hanning(wave.size))) ** 2
    return np.arange(power.size) * STEPS_A_TURN / wave.size, power


def _line_power(spectrum: OrderPower, at: float) -> tuple[float, float]:
    """Power of a line above what surrounds it, and the unrest of that."""
    order, power = spectrum
    away = np.abs(order - at)
    half = max(3.0 * order[1], 0.004 * at)
    inside, beside = away <= half, (away > 1.5 * half) & (away <= 6.0 * half)
    count = int(inside.sum())
    # The median of a power is ln 2 of its mean; sums of `count` bins stray by about its root.
    under = float(np.median(power[beside])) / math.log(2.0)
    return float(power[inside].sum()) - count * under, math.sqrt(count) * under


def car_outcomes(seed: int, spoil: str | None) -> list[Outcome]:
    """The pairs of one car; with `spoil`, whether the second of them made incomparable so is
    refused."""
    rng = np.random.default_rng(seed)
    pairs = draw_pairs(rng, PAIRS_OF_A_CAR)
    results = [outcome(pair) for pair in pairs]
    if spoil is not None and not results[-1].why_not:
        worse = compared(pairs[-1], after=spoilt(rng, pairs[-1], spoil))
        results[-1].turned_away = not worse.comparable
    return results


def outcomes(count: int, seed: int, keep: Path | None) -> list[Outcome]:
    """All pairs; kept after each other car, so that a run can be taken up again."""
    done: dict[int, list[Outcome]] = {}
    if keep is not None and keep.is_file():
        done = pickle.loads(keep.read_bytes())
    cars = range(seed, seed + math.ceil(count / PAIRS_OF_A_CAR))
    for number, car in enumerate(cars):
        if car not in done:
            spoil = SPOILT[number % len(SPOILT)] if number < 40 else None
            done[car] = car_outcomes(car, spoil)
        if keep is not None and number % 2 == 1:
            keep.write_bytes(pickle.dumps(done))
    if keep is not None:
        keep.write_bytes(pickle.dumps(done))
    return [one for car in cars for one in done[car]]


def _errors(found: Sequence[tuple[Range, float]]) -> Float64:
    """How far off, for what has a value."""
    return np.array([one.value - truth for one, truth in found if one.value is not None])


def _held(found: Sequence[tuple[Range, float]]) -> float:
    return float(np.mean([holds(one, truth) for one, truth in found])) if found else math.nan


def _of(results: Sequence[Outcome], name: str) -> list[tuple[Range, float]]:
    each = [getattr(one, name) for one in results]
    return [one for one in each if one is not None]


def measure_pairs(count: int, seed: int, keep: Path | None = None) -> list[Figure]:
    """Known changes, and pairs that must be refused."""
    results = outcomes(count, seed, keep)
    overall = _of(results, "overall")
    size = np.abs(_errors(overall))
    true = np.array([truth for _, truth in overall])
    figures = [
        Figure(
            "known change recovered: median error, overall [dB]", float(np.median(size)), "", 1.0,
            note=f"{size.size} pairs",
        ),
        Figure("known change recovered within 1 dB", float(np.mean(size <= 1.0)), "%"),
        Figure(
            "the same where the sound changed by more than 1 dB",
            float(np.mean(size[true > 1.0] <= 1.0)), "%",
            note=f"{int(np.sum(true > 1.0))} pairs, median {np.median(size[true > 1.0]):.2f} dB",
        ),
        Figure("90 % ranges that hold", _held(overall), "%", 0.85, True, "85 to 95 % wanted"),
    ]  # fmt: skip
    lists = {
        name: [one for result in results for one in getattr(result, name)]
        for name in ("bands", "own_lines", "other_lines", "named_lines")
    }
    for what, found in (
        ("loudness ratio", _of(results, "loudness")),
        ("sharpness ratio", _of(results, "sharpness")),
        ("third-octave bands", lists["bands"]),
        ("lines of the fault", lists["own_lines"]),
        ("lines of other parts", lists["other_lines"]),
        ("the same, if no line of the fault were laid to them", lists["named_lines"]),
    ):
        error = np.abs(_errors(found))
        figures.append(
            Figure(
                f"{what}: 90 % ranges that hold", _held(found), "%",
                note=f"{len(found)}; median error "
                f"{float(np.median(error)) if error.size else math.nan:.2g}",
            )
        )  # fmt: skip
    spoilt_all = [one.turned_away for one in results if one.turned_away is not None]
    refused = [one for one in results if one.why_not]
    figures += [
        Figure(
            "pairs refused", len(refused) / max(len(results), 1), "%",
            note=f"{sum('crank speed' in one.why_not[0] for one in refused)} of {len(refused)} "
            "for an unsure crank speed",
        ),
        Figure(
            "pairs made incomparable that are refused",
            float(np.mean(spoilt_all)) if spoilt_all else math.nan, "%", 0.95, True,
            f"{len(spoilt_all)}: clipped, hood shut, wind, other speed",
        ),
    ]  # fmt: skip
    return figures


def measure(pairs: int, seed: int, keep: Path | None = None) -> list[Figure]:
    """All figures of before and after."""
    return measure_pairs(pairs, seed, keep)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pairs", type=int, default=500)
    parser.add_argument("--seed", type=int, default=70_000)
    parser.add_argument("--keep", type=Path, help="file to keep what is done in")
    arguments = parser.parse_args()
    print(table(measure(arguments.pairs, arguments.seed, arguments.keep)))


if __name__ == "__main__":
    main()
