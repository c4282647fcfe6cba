"""What it is worth that a noise sounds like that of an earlier job.

How often such a likeness named the right cause is learned from the shop's own closed jobs, pooled
with what was measured on simulated engines. docs/methods/likeness.md.
"""

from __future__ import annotations

import math
from typing import Final

from beltside.base.errors import require_range

MEASURED_RIGHT: Final = 0.86
"""How often the nearest of 299 takes had the right cause, by ear, mean of three simulators
(docs/methods/fingerprint.md)."""

MEASURED_WORTH_JOBS: Final = 2.0
"""How many of the shop's own jobs that measurement is worth: it was made on simulated engines,
each with another take of itself among the 299. Own choice."""

TRUST_JOBS: Final = 10.0
"""After so many judged jobs a likeness counts half of what its rate supports; own choice."""

MOST_BITS: Final = 3.0
"""A likeness never moves the odds by more: it is heard in the takes that the sound's own evidence
was heard in, as the direction and the housing map are. Own choice."""


def learned_rate(right: int, judged: int) -> float:
    """How often a likeness names the right cause, by what was measured and by the shop's own jobs.

    The mean of a Beta distribution (Gelman et al. 2013, section 2.4): the measured rate as
    `MEASURED_WORTH_JOBS` jobs, and the own ones.

    Raises
    ------
    OutOfRangeError
        When more were right than judged.

    >>> round(learned_rate(0, 0), 2), round(learned_rate(4, 6), 4)
    (0.86, 0.715)
    """
    require_range("jobs judged", judged, 0, math.inf, "")
    require_range("jobs judged rightly", right, 0, judged, "")
    worth = MEASURED_WORTH_JOBS
    return (worth * MEASURED_RIGHT + right) / (worth + judged)


def trust(judged: int) -> float:
    """The share of what its rate supports that a likeness counts: judged / (judged + TRUST_JOBS).

    >>> trust(0), trust(10)
    (0.0, 0.5)
    """
    return judged / (judged + TRUST_JOBS)


def likeness_bits(right: int, judged: int, prior: float) -> float:
    """How far a likeness moves the odds of its cause [bits], 0 to `MOST_BITS`.

    By Bayes' rule the factor odds(rate) / odds(prior) brings the cause from its prior to the
    learned rate and no farther; it is raised to the power `trust`, which only takes from it. A
    likeness never speaks against its cause: where the rate is below the prior it says nothing.

    Parameters
    ----------
    right, judged
        In how many closed jobs of the shop such a likeness named the right cause, of how many.
    prior
        How likely the cause is on this car before any test, above 0 and below 1.

    Raises
    ------
    OutOfRangeError
        When the prior is no probability between, or more were right than judged.

    >>> round(likeness_bits(4, 6, 0.1), 3)
    1.686
    """
    require_range("prior of the cause", prior, 1e-9, 1.0 - 1e-9, "")
    rate = learned_rate(right, judged)
    supported = math.log2(rate / (1.0 - rate)) - math.log2(prior / (1.0 - prior))
    return min(max(trust(judged) * supported, 0.0), MOST_BITS)


def kind_of_cause(cause: str) -> str:
    """A cause without the numbers of its parts, members of a pair in order: what two jobs on
    different drives can have in common.

    >>> kind_of_cause("idler-2.bearing"), kind_of_cause("none")
    ('idler.bearing', 'none')
    >>> kind_of_cause("coolant-pump.seal+coolant-pump.bearing")
    'coolant-pump.bearing+coolant-pump.seal'
    """
    return "+".join(sorted(_kind(one) for one in cause.split("+")))


def _kind(cause: str) -> str:
    part, dot, fault = cause.partition(".")
    head, dash, number = part.rpartition("-")
    return f"{head if dash and number.isdecimal() else part}{dot}{fault}"
