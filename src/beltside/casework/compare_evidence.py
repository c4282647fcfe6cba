"""What two takes side by side say for or against suspects, as plain data.

Belt on against belt off, load on against load off, before against after: how much quieter each
zone of the sound became once the gain is taken out, and whose lines went or stayed.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from beltside.casework.compare_results import CompareResult, Range

ZONES_HZ: Final = {"low": (400.0, 1200.0), "mid": (1200.0, 4000.0), "high": (4000.0, 18000.0)}
"""The zones in which `find` measures a drop [Hz]."""

GONE_DB: Final = 6.0
"""A source this much quieter for sure counts as gone."""

STAYED_DB: Final = 3.0
"""A source surely less than this quieter counts as still there."""


@dataclass(frozen=True)
class ChangeEvidence:
    """What a pair of takes says.

    Attributes
    ----------
    comparable
        False when nothing may be concluded; then everything else is empty.
    why_not
        Why.
    drop_db
        How much quieter each zone is; zones beyond the recording are left out [dB].
    gone, stayed
        (part, source) of lines that are surely gone, or surely still there.
    """

    comparable: bool
    why_not: tuple[str, ...]
    drop_db: dict[str, Range]
    gone: tuple[tuple[str, str], ...]
    stayed: tuple[tuple[str, str], ...]

    def to_json(self) -> dict[str, Any]:
        """Plain dict."""
        return {
            "comparable": self.comparable,
            "why_not": list(self.why_not),
            "drop_db": {name: drop.to_json() for name, drop in self.drop_db.items()},
            "gone": [list(one) for one in self.gone],
            "stayed": [list(one) for one in self.stayed],
        }


def change_evidence(result: CompareResult) -> ChangeEvidence:
    """Evidence from a comparison whose first take is belt on (or load on, or before)."""
    if not result.comparable:
        return ChangeEvidence(False, result.why_not, {}, (), ())
    drops = {name: zone for name in ZONES_HZ if (zone := _zone(result, *ZONES_HZ[name]))}
    gone, stayed = [], []
    for part in result.parts:
        low, high = part.quieter_db.low, part.quieter_db.high
        if low is not None and low >= GONE_DB:
            gone.append((part.part, part.source))
        elif high is not None and high <= STAYED_DB:
            stayed.append((part.part, part.source))
    return ChangeEvidence(True, (), drops, tuple(gone), tuple(stayed))


def _zone(result: CompareResult, low_hz: float, high_hz: float) -> Range | None:
    """Change of the bands of one zone together.

    Each band counts with its power; the bands share the gain's error, so their ranges are
    averaged, not narrowed.
    """
    inside = [
        band
        for band in result.bands
        if low_hz <= band.nominal_hz < high_hz and band.quieter_db.value is not None
    ]
    if not inside:
        return None
    before = np.array([10.0 ** (0.1 * band.before_db) for band in inside])
    change = np.array([band.quieter_db.value or 0.0 for band in inside])
    after = before * 10.0 ** (-0.1 * change)
    value = 10.0 * float(np.log10(before.sum() / after.sum()))
    share = after / after.sum()

    def end(ends: list[float | None], sign: float) -> float | None:
        if any(one is None for one in ends):
            return None
        reach = np.abs(np.array(ends, dtype=np.float64) - change)
        return value + sign * float(share @ reach)

    return Range(
        value,
        end([band.quieter_db.low for band in inside], -1.0),
        end([band.quieter_db.high for band in inside], 1.0),
    )
