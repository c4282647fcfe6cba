"""What each bolt holds after every pass: tightening one bolt takes load off its neighbours.

The order is searched as if each bolt held what the wrench gave it. Here it is gone through with
the bolts as springs: when one is tightened the cover sinks, and every bolt tightened before is
stretched less. A last pass round the flange at full torque brings them back; how many rounds
that takes is what this tells. Elastic interaction: Bibel & Ezell, J. Pressure Vessel Technol.
114 (1992), from memory; method: docs/methods/bolt-order.md.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from beltside.base.errors import require_range
from beltside.bolting.evenness import ElasticJoint

Float64 = npt.NDArray[np.float64]

STEEL_MPA: Final = 205_000.0
MOST_ROUNDS: Final = 6
ENOUGH: Final = 0.9
"""Share of the final force every bolt must hold for the rounds to end. Friction alone makes
more difference from bolt to bolt."""


@dataclass(frozen=True)
class Pass:
    """One pass over all bolts.

    Attributes
    ----------
    name
        "stage 1", ..., "round 1", ...
    share
        The share of the final torque the wrench was set to.
    held
        Share of the final force each bolt holds at the end of the pass.
    """

    name: str
    share: float
    held: tuple[float, ...]


def bolt_spring_n_mm(stress_area_mm2: float, stretch_mm: float) -> float:
    """Stiffness of a steel bolt, E A / L [N/mm].

    Parameters
    ----------
    stress_area_mm2
        Stress area of its thread [mm^2]; the shank is taken as thick as the thread.
    stretch_mm
        Length that stretches [mm], 3 to 500: from under the head to inside the thread.

    >>> round(bolt_spring_n_mm(20.1, 25.0))
    164820
    """
    require_range("length that stretches", stretch_mm, 3.0, 500.0, "mm")
    return STEEL_MPA * stress_area_mm2 / stretch_mm


def tighten(
    joint: ElasticJoint,
    order: Sequence[int],
    around: Sequence[int],
    stages: Sequence[float],
    hand_tight: float,
    bolt_n_mm: Float64,
) -> tuple[Pass, ...]:
    """Go through all stages in order, then round the flange until every bolt holds enough.

    Parameters
    ----------
    joint
        The joint, its bolts in the order entered.
    order, around
        The tightening order, and the order met going round.
    stages, hand_tight
        Shares of the final force.
    bolt_n_mm
        Stiffness of each bolt [N/mm], shape (bolts,).

    Returns
    -------
    tuple of Pass
        Each stage, then at least one round, up to six.
    """
    force = np.full(joint.bolts, hand_tight)
    passes = []
    for number, share in enumerate(stages, start=1):
        for bolt in order:
            force = turn_bolt(joint.sink, bolt_n_mm, force, bolt, share)
        passes.append(Pass(f"stage {number}", share, tuple(float(each) for each in force)))
    for number in range(1, MOST_ROUNDS + 1):
        for bolt in around:
            force = turn_bolt(joint.sink, bolt_n_mm, force, bolt, 1.0)
        passes.append(Pass(f"round {number}", 1.0, tuple(float(each) for each in force)))
        if force.min() >= ENOUGH:
            break
    return tuple(passes)


def turn_bolt(
    sink: Float64, bolt_n_mm: Float64, force: Float64, bolt: int, share: float
) -> Float64:
    """Bring one bolt to `share`; a wrench set to less than it holds only clicks."""
    if force[bolt] >= share:
        return force
    added = share - force[bolt]
    slack: list[int] = []
    while True:
        others = [k for k in range(len(force)) if k != bolt and k not in slack]
        # Each other bolt loses its spring rate times what the cover sinks there; one that has
        # come loose stays at nothing.
        change = np.zeros(len(force))
        change[bolt] = added
        change[slack] = -force[slack]
        known = sink[np.ix_(others, [bolt, *slack])] @ change[[bolt, *slack]]
        stiff = np.diag(1.0 / bolt_n_mm[others]) + sink[np.ix_(others, others)]
        change[others] = np.linalg.solve(stiff, -known)
        loose = [k for k in others if force[k] + change[k] < -1e-12]
        if not loose:
            return np.maximum(force + change, 0.0)
        slack += loose


def unevenness(held: Sequence[float]) -> float:
    """Spread of the bolts, (highest - lowest) / mean; nan when none holds anything.

    >>> round(unevenness([1.0, 0.9, 1.1]), 3)
    0.2
    """
    mean = sum(held) / len(held)
    return (max(held) - min(held)) / mean if mean > 0.0 else math.nan
