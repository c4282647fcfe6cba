"""How near to a known change two takes can come at all, and what each take's own chance costs.

The takes of bench/compare_rig.py in their parts (engine, healthy belt drive, fault), heard by a
phone with a fixed gain and without any noise: what is left is what differs from take to take by
itself. A method that knew a part's level in the second take exactly, and took the rest of the first
take for what it is, would say

    level(known parts as in the second take + the other parts as in the first) - level(second take)

and miss the change by as much as the other parts moved of themselves between the takes. Which part
of a fault's fall is the repair's, and which comes of another speed and of the phone a hand's
breadth away, no method can tell that is ready for any repair: so what it misses that knows all but
the fault is a bound.

usage: python bench/compare_limit.py [--cars 100] [--seed 130000]
"""

from __future__ import annotations

import argparse
import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
import numpy.typing as npt

from compare_rig import REMOVED_DB, Float32, Parts, draw_parts
from figures import Figure, table

Float64 = npt.NDArray[np.float64]

KNOWN = ("engine and healthy drive", "the engine", "the gain alone")
"""What a method may know of the second take; the last knows nothing but the recorders' gain."""

SECOND_TAKES = {
    "as drawn": "after",
    "the same speed": "after_same",
    "the phone just where it was": "after_there",
    "the same speed and place": "after_both",
}


def level_db(samples: Float32) -> float:
    """Mean square [dB]."""
    return 10.0 * float(np.log10(np.mean(np.square(samples, dtype=np.float64)) + 1e-30))


def misses_db(before: Parts, after: Parts) -> Float64:
    """By how much a method would be off that knows each of `KNOWN`, shape (3,) [dB]."""
    whole = level_db(after.engine + after.drive + after.fault)
    given = (
        after.engine + after.drive + before.fault,
        after.engine + before.drive + before.fault,
        before.engine + before.drive + before.fault,
    )
    return np.array([level_db(one) - whole for one in given])


def changes_db(after: Parts) -> Float64:
    """What turning the fault down changes in the second take, for each of `REMOVED_DB` [dB]."""
    healthy = after.engine + after.drive
    full = level_db(healthy + after.fault)
    return np.array(
        [
            full - level_db(healthy + np.float32(10.0 ** (-x / 20.0)) * after.fault)
            for x in REMOVED_DB
        ]
    )


def measure(cars: int, seed: int) -> list[Figure]:
    """Share within 1 dB that is within reach, by what is known and how the second take is made."""
    misses: dict[str, list[Float64]] = {name: [] for name in SECOND_TAKES}
    changes: list[Float64] = []
    for car in range(seed, seed + cars):
        parts = draw_parts(np.random.default_rng(car))
        changes.append(changes_db(parts.after))
        for name, which in SECOND_TAKES.items():
            misses[name].append(misses_db(parts.before, getattr(parts, which)))
    # Each fault is turned down by 3, 6 or 12 dB as often; what moves of itself stays the same.
    changed = np.array(changes).ravel() > 1.0
    figures = []
    for name in SECOND_TAKES:
        each = np.repeat(np.abs(np.array(misses[name])), len(REMOVED_DB), axis=0)
        for column, known in enumerate(KNOWN):
            miss = each[:, column]
            figures.append(
                Figure(
                    f"second take {name}: within 1 dB by a method that knows {known}",
                    float(np.mean(miss <= 1.0)), "%",
                    note=f"median miss {np.median(miss):.2f} dB; where the sound changed by more "
                    f"than 1 dB {np.mean(miss[changed] <= 1.0):.0%}, "
                    f"{np.median(miss[changed]):.2f} dB ({changed.sum() // len(REMOVED_DB)} of "
                    f"{cars} cars' worth)",
                )
            )  # fmt: skip
    return figures


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cars", type=int, default=100)
    parser.add_argument("--seed", type=int, default=130_000)
    given = parser.parse_args()
    print(table(measure(given.cars, given.seed)))


if __name__ == "__main__":
    main()
