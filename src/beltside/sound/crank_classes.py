"""How high an engine's lines stand, class by class, under a candidate speed.

An engine of N cylinders may show a line at every multiple of its cycle. They come in classes: the
firing lines (every N-th), those that some but not all cylinders explain (of a four-cylinder: every
second), those that only the whole cycle explains, and what lies between them, where nothing is
expected. At the right speed firing leads, the others follow by their class, and the places between
are empty. At double the true speed every other "firing" line is missing its lead, and at half of
it every other firing line is missing. The mean heights of the classes say so, line for line.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from beltside.sound.crank_choice import LineEvidence

Float64 = npt.NDArray[np.float64]

SIGNALS: Final = ("low", "pulse")
CLASSES: Final = (
    "firing_odd",
    "firing_even",
    "some_cylinders",
    "whole_cycle",
    "between",
    "third_high",
    "third_low",
    "lead_mean",
)
CLASS_MEASURES: Final = tuple(f"{signal}_{name}" for signal in SIGNALS for name in CLASSES)
"""Mean heights in sigmas: odd and even multiples of the firing order, lines of some cylinders,
lines of the whole cycle, half way between lines, a third of the way (the higher and the lower of
the two), and the lead of firing over its neighbours; of the low sound, then of the pulsation."""

HEIGHTS: Final = (-2.0, 12.0)
"""Heights count between these: one loud whine is one line."""

CYCLES: Final = 8
"""Lines up to so many times the firing order."""


def class_heights(lines: LineEvidence, multiple: float, cylinders: int, strokes: int) -> Float64:
    """Mean heights of a candidate's lines by class, shape (len(CLASS_MEASURES),) [sigmas].

    Each mean counts one more line of height 0, so that few lines say less than many; a class
    without lines, and a signal that is not there, stand at 0.
    """
    cycle = multiple * (0.5 if strokes == 4 else 1.0)
    found = np.zeros((len(SIGNALS), len(CLASSES)))
    for place, (row, usable, lowest) in enumerate(
        zip(lines.height, lines.usable, lines.lowest, strict=True)
    ):
        signal = 1 if place == lines.pulse_row else 0
        most = min(int(usable / cycle + 1e-9), CYCLES * cylinders)
        least = max(int(np.ceil(lowest / cycle - 1e-9)), 1)
        if most >= least:
            found[signal] = _of_row(row, np.arange(least, most + 1), cycle / lines.step, cylinders)
    return found.ravel()


def _of_row(row: Float64, number: npt.NDArray[np.int64], spacing: float, cylinders: int) -> Float64:
    """Mean heights by class of the lines of those numbers, `spacing` points apart."""

    def heights(at: Float64) -> Float64:
        point = np.minimum(np.round(at * spacing).astype(np.intp), row.size - 1)
        result: Float64 = np.clip(row[point], *HEIGHTS)
        return result

    def mean(values: Float64) -> float:
        return float(values.sum()) / (values.size + 1.0)

    height = heights(number.astype(np.float64))
    common = np.gcd(number, cylinders)
    fires = common == cylinders
    odd = number // cylinders % 2 == 1
    first, last = number[0], number[-1]
    thirds = [
        mean(heights(np.arange(first, last) + 1.0 / 3.0)),
        mean(heights(np.arange(first + 1, last) - 1.0 / 3.0)),
    ]
    inner = np.flatnonzero(fires[1:-1]) + 1
    lead = height[inner] - 0.5 * (height[inner - 1] + height[inner + 1])
    return np.array(
        [
            mean(height[fires & odd]),
            mean(height[fires & ~odd]),
            mean(height[(common > 1) & ~fires]),
            mean(height[common == 1]) if cylinders > 1 else 0.0,
            mean(heights(np.arange(first, last) + 0.5)),
            max(thirds),
            min(thirds),
            mean(lead) if cylinders > 1 else 0.0,
        ]
    )
