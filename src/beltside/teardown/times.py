"""Minutes of a step: low, likely, high, and what may go wrong on top.

A step's minutes are beta-distributed between low and high with the mean and the standard deviation
of the three-point estimate, (a + 4 m + b) / 6 and (b - a) / 6 (Malcolm, Roseboom, Clark and Fazar
1959, Operations Research 7, 646-669).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from beltside.base.errors import InputError

MOST_MINUTES = 6000.0


@dataclass(frozen=True)
class Minutes:
    """A three-point estimate [min].

    Attributes
    ----------
    low, likely, high
        0 <= low <= likely <= high <= 6000.

    Raises
    ------
    InputError
        When they do not rise or are out of range.

    >>> two_to_twelve = Minutes(2.0, 4.0, 12.0)
    >>> two_to_twelve.mean, round(two_to_twelve.deviation, 3)
    (5.0, 1.667)
    """

    low: float
    likely: float
    high: float

    def __post_init__(self) -> None:
        if not 0.0 <= self.low <= self.likely <= self.high <= MOST_MINUTES:
            raise InputError(
                f"minutes {self.low:g}, {self.likely:g}, {self.high:g}",
                allowed=f"low, likely and high, rising, from 0 to {MOST_MINUTES:g} minutes",
                instead="the shortest it takes when all goes well, the usual, the longest",
            )

    @property
    def mean(self) -> float:
        """Expected minutes, (a + 4 m + b) / 6."""
        return (self.low + 4.0 * self.likely + self.high) / 6.0

    @property
    def deviation(self) -> float:
        """Standard deviation [min], (b - a) / 6."""
        return (self.high - self.low) / 6.0

    @property
    def shapes(self) -> tuple[float, float]:
        """Shapes (alpha, beta) of the beta distribution; (inf, inf) when low equals high.

        >>> Minutes(0.0, 3.0, 6.0).shapes
        (4.0, 4.0)
        """
        if self.high <= self.low:
            return math.inf, math.inf
        share = (self.mean - self.low) / (self.high - self.low)
        total = share * (1.0 - share) * 36.0 - 1.0
        return share * total, (1.0 - share) * total

    @property
    def surely(self) -> float:
        """Minutes below which no sum of such steps has its 80 % point [min].

        The mean, when the density has a logarithm that is concave (both shapes at least 1): a sum
        of such is as well (Prekopa 1973), and then exceeds its mean with a chance of at least 1/e
        (Gruenbaum 1960; from memory). Else the low end.
        """
        return self.mean if min(self.shapes) >= 1.0 else self.low

    def scaled(self, factor: float) -> Minutes:
        """All three times `factor`.

        >>> Minutes(2.0, 4.0, 12.0).scaled(1.5)
        Minutes(low=3.0, likely=6.0, high=18.0)
        """
        return Minutes(self.low * factor, self.likely * factor, self.high * factor)


NONE = Minutes(0.0, 0.0, 0.0)


@dataclass(frozen=True)
class Piece:
    """One independent piece of a job's time: it comes with `chance`, and takes `minutes` then."""

    minutes: Minutes
    chance: float = 1.0

    @property
    def mean(self) -> float:
        """Expected minutes."""
        return self.chance * self.minutes.mean

    @property
    def variance(self) -> float:
        """Variance [min^2]: p (s^2 + m^2) - (p m)^2."""
        mean, deviation = self.minutes.mean, self.minutes.deviation
        return self.chance * (deviation**2 + mean**2) - self.mean**2

    @property
    def surely(self) -> float:
        """As `Minutes.surely`; nothing for what may not come."""
        return self.minutes.surely if self.chance >= 1.0 else 0.0
