"""Before and after: known changes on simulated pairs.

usage: python bench/compare.py [--pairs 500] [--seed 50000]
"""

from __future__ import annotations

import argparse
import math

import numpy as np
from scipy import signal

from beltside.casework.compare import compare_sounds
from beltside.casework.compare_results import CompareResult, Range
from beltside.casework.compare_takes import TakeSound
from compare_rig import SAMPLE_RATE_HZ, Float32, Pair, draw_pairs
from figures import Figure, table

PAIRS_OF_A_CAR = 2


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


def measure_pairs(count: int, seed: int) -> list[Figure]:
    """Known changes, and pairs that must be refused."""
    errors, held, refused, total = [], [], 0, 0
    turned_away: dict[str, list[bool]] = {"clipped": [], "hood": [], "wind": [], "other speed": []}
    for car in range(math.ceil(count / PAIRS_OF_A_CAR)):
        rng = np.random.default_rng(seed + car)
        for pair in draw_pairs(rng, PAIRS_OF_A_CAR):
            total += 1
            found = compared(pair)
            if found.comparable and found.quieter_db.value is not None:
                errors.append(found.quieter_db.value - pair.quieter_db)
                held.append(holds(found.quieter_db, pair.quieter_db))
            else:
                refused += 1
            if car < 10 and found.comparable:
                kind = list(turned_away)[car % len(turned_away)]
                worse = compared(pair, after=spoilt(rng, pair, kind))
                turned_away[kind].append(not worse.comparable)
    size = np.abs(errors)
    spoilt_all = [one for kind in turned_away.values() for one in kind]
    return [
        Figure(
            "known change recovered: median error, overall [dB]",
            float(np.median(size)), "", 1.0, note=f"{len(errors)} pairs",
        ),
        Figure("known change recovered within 1 dB", float(np.mean(size <= 1.0)), "%"),
        Figure("90 % ranges that hold", float(np.mean(held)), "%", 0.85, True, "85 to 95 % wanted"),
        Figure("pairs refused, most for an unsure crank speed", refused / total, "%"),
        Figure(
            "pairs made incomparable that are refused",
            float(np.mean(spoilt_all)) if spoilt_all else math.nan, "%", 0.95, True,
            f"{len(spoilt_all)}: clipped, hood shut, wind, other speed",
        ),
    ]  # fmt: skip


def measure(pairs: int, seed: int) -> list[Figure]:
    """All figures of before and after."""
    return measure_pairs(pairs, seed)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pairs", type=int, default=500)
    parser.add_argument("--seed", type=int, default=50_000)
    arguments = parser.parse_args()
    print(table(measure(arguments.pairs, arguments.seed)))


if __name__ == "__main__":
    main()
