"""Crank speed over time, and the angle it adds up to."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from beltside.base.units import SECONDS_PER_MINUTE

Float64 = npt.NDArray[np.float64]


@dataclass(frozen=True)
class CrankTrack:
    """Crank speed at given moments; linear in between, constant beyond the ends.

    Attributes
    ----------
    time_s
        Moments, rising, shape (n,), n >= 1 [s from the start of the take].
    rpm
        Crank speed at them, shape (n,) [1/min].
    rpm_low, rpm_high
        90 % range of the speed at them, shape (n,) [1/min].
    """

    time_s: Float64
    rpm: Float64
    rpm_low: Float64
    rpm_high: Float64

    @classmethod
    def constant(cls, rpm: float, relative_range: float = 0.003) -> CrankTrack:
        """A track that stays at `rpm` [1/min], with a range of +- `relative_range` of it."""
        value = np.array([rpm], dtype=np.float64)
        return cls(
            np.zeros(1), value, value * (1.0 - relative_range), value * (1.0 + relative_range)
        )

    def rpm_at(self, time_s: Float64) -> Float64:
        """Speed at any moments [1/min]."""
        return np.interp(time_s, self.time_s, self.rpm)

    def turns_at(self, time_s: Float64) -> Float64:
        """Crank turns made since time 0 at any moments [turns], exact for the linear track."""
        knots_s = np.concatenate(([min(0.0, float(self.time_s[0]))], self.time_s))
        speed_hz = np.concatenate(([self.rpm[0]], self.rpm)) / SECONDS_PER_MINUTE
        step = np.diff(knots_s) * 0.5 * (speed_hz[1:] + speed_hz[:-1])
        turns = np.concatenate(([0.0], np.cumsum(step)))
        width = np.diff(knots_s)
        slope = np.zeros_like(speed_hz)
        slope[:-1] = np.divide(np.diff(speed_hz), width, out=np.zeros_like(width), where=width > 0)

        def made(at_s: Float64) -> Float64:
            """Turns since the first knot."""
            before = np.clip(np.searchsorted(knots_s, at_s, side="right") - 1, 0, len(turns) - 1)
            since = at_s - knots_s[before]
            result: Float64 = (
                turns[before] + speed_hz[before] * since + 0.5 * slope[before] * since**2
            )
            return result

        return made(np.asarray(time_s, dtype=np.float64)) - float(made(np.zeros(1))[0])

    @property
    def rpm_median(self) -> float:
        """Median over time of the speed between the first and last moment [1/min]."""
        if self.time_s.size == 1:
            return float(self.rpm[0])
        even_s = np.linspace(self.time_s[0], self.time_s[-1], max(4 * self.time_s.size, 100))
        return float(np.median(self.rpm_at(even_s)))
