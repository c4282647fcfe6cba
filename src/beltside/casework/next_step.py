"""What `find` says of findings and of the next step: plain frozen values."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class NextStep:
    """The best next step.

    Attributes
    ----------
    do
        "check", "replace", "release" (nothing is wrong) or "hand over".
    what
        The check's word, or the repair's.
    part
        The part it is done on; "" for none.
    says
        The advice in a sentence or two.
    probability
        For a repair, how likely it ends the noise; for a check, how likely the repair that would
        be done without it does. 0 to 1.
    money
        Expected money from here on, beyond the repair the car needs in any case, if no further
        check is done.
    currency
        Label of the money.
    """

    do: str
    what: str
    part: str
    says: str
    probability: float
    money: float
    currency: str

    def to_json(self) -> dict[str, Any]:
        """Plain dict; probability to 0.0001, money to 0.01."""
        return {
            "do": self.do,
            "what": self.what,
            "part": self.part,
            "says": self.says,
            "probability": round(self.probability, 4),
            "money": round(self.money, 2),
            "currency": self.currency,
        }


@dataclass(frozen=True)
class FindingWeight:
    """One finding: what it moves, and the odds without it.

    Attributes
    ----------
    number
        Its place in the case, counted from 1.
    check, part, outcome
        As in the catalogue; `part` may be "".
    says
        The finding in words.
    bits
        How far it moves the odds of the likeliest suspect [bits].
    without
        Likeliest suspects if it is taken back: id and probability, at most three.
    """

    number: int
    check: str
    part: str
    outcome: str
    says: str
    bits: float
    without: tuple[tuple[str, float], ...]

    def to_json(self) -> dict[str, Any]:
        """Plain dict; bits to 0.01, probabilities to 0.0001."""
        if not math.isfinite(self.bits):
            raise ValueError(f"bits is {self.bits}; a result holds finite numbers only")
        return {
            "number": self.number,
            "check": self.check,
            "part": self.part,
            "outcome": self.outcome,
            "says": self.says,
            "bits": round(self.bits, 2),
            "without": [
                {"id": suspect, "probability": round(share, 4)} for suspect, share in self.without
            ],
        }


@dataclass(frozen=True)
class Contradiction:
    """Two pieces of evidence that speak against each other, or one against all the rest.

    `findings` are their numbers in the case, counted from 1; 0 is the sound. One number alone
    stands against all the rest. `bits` is how much rarer they are together than each by itself
    would make them.
    """

    findings: tuple[int, ...]
    says: str
    bits: float

    def to_json(self) -> dict[str, Any]:
        """Plain dict; bits to 0.01."""
        return {
            "findings": list(self.findings),
            "says": self.says,
            "bits": round(self.bits, 2),
        }
