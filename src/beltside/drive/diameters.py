"""Which measured diameter is off, told from the speeds the shafts were heard to turn at.

Every speed over the crank's hangs on two diameters, the belt's unknown lines and its creep. One
wrong pulley moves its own line alone, a wrong crank or line moves all of them alike; so two
healthy shafts beside it are needed before one is blamed. Method: docs/methods/belt-path.md.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from beltside.base.errors import InputError, require_range
from beltside.drive.ratios import crank_pulley, plausible_lines_mm, running_diameter_mm
from beltside.drive.sheet import DriveSheet

Float64 = npt.NDArray[np.float64]

DIAMETER_SPREAD: Final = 0.003
"""Standard deviation of a diameter taken with care: 0.5 % is its 90 % range."""

WRONG_SPREAD: Final = 0.03
"""The same for one taken wrongly: a slipped caliper, another pulley fitted (own choice)."""

LINE_STEPS: Final = 9
"""Pitch lines and back lines looked at, even chances over what `drive.ratios` holds plausible."""

CREEP: Final = (0.0025, 0.0015)
"""Mean and standard deviation of each driven pulley's creep."""

LEAST_SHAFTS: Final = 3
LEAST_EVIDENCE: Final = 7.0
"""Log odds over "all measured with care" (1100 to 1) before a diameter is doubted."""

LEAST_LEAD: Final = 3.0
"""Log odds over the next best culprit (20 to 1)."""

LEAST_SHIFT: Final = 0.008
"""Smaller differences are not worth measuring again."""


@dataclass(frozen=True)
class HeardShaft:
    """A shaft's speed over the crank's as heard, and its standard error as a share."""

    part: str
    ratio: float
    error: float = 0.0005


@dataclass(frozen=True)
class DiameterDoubt:
    """A diameter that does not fit what was heard.

    Attributes
    ----------
    part
        The pulley.
    measured_mm, nearer_mm
        As measured, and what fits better [mm].
    low_mm, high_mm
        90 % range of the latter [mm].
    evidence
        Log odds over all diameters having been taken with care.
    """

    part: str
    measured_mm: float
    nearer_mm: float
    low_mm: float
    high_mm: float
    evidence: float


def doubted_diameter(sheet: DriveSheet, heard: Sequence[HeardShaft]) -> DiameterDoubt | None:
    """The one diameter that is off, or None when all fit or none can be told.

    Parameters
    ----------
    sheet
        A drive with its crank pulley.
    heard
        Speeds of driven shafts over the crank's, at most one for each part; three or more are
        needed.

    Raises
    ------
    InputError
        When a part is not a driven pulley of the drive, stands twice, or a ratio is no speed.
    """
    parts = [one.part for one in heard]
    known = [pulley.part for pulley in sheet.pulleys if pulley.part != "crank"]
    for one in heard:
        if one.part not in known or parts.count(one.part) > 1:
            raise InputError(
                f"a speed of {one.part}", allowed="each driven pulley once: " + ", ".join(known)
            )
        require_range(f"speed of {one.part} over the crank's", one.ratio, 0.05, 50.0, "")
        require_range(f"error of {one.part}'s speed", one.error, 1e-6, 0.1, "")
    crank = crank_pulley(sheet)
    if crank is None or len(heard) < LEAST_SHAFTS:
        return None
    noise = np.diag([one.error**2 for one in heard])
    spread = np.concatenate(
        (np.full(1 + len(heard), DIAMETER_SPREAD), np.full(len(heard), CREEP[1]))
    )
    pairs = [
        _linear(sheet, heard, float(line), float(back))
        for line in np.linspace(*plausible_lines_mm(sheet)[0], LINE_STEPS)
        for back in np.linspace(*plausible_lines_mm(sheet)[1], LINE_STEPS)
    ]
    off = np.array([one[0] for one in pairs])
    effect = np.array([one[1] for one in pairs])

    def evidence_of(spread: Float64) -> Float64:
        """Log likelihood at each pair of lines, shape (pairs,)."""
        return _log_likelihood(off, effect, spread, noise)

    careful = _log_mean(evidence_of(spread))
    found = []
    for index, part in enumerate(["crank", *parts]):
        wide = spread.copy()
        wide[index] = WRONG_SPREAD
        each = evidence_of(wide)
        found.append((_log_mean(each) - careful, index, part, wide, each))
    found.sort(key=lambda one: -one[0])
    evidence, index, part, wide, each = found[0]
    if evidence < LEAST_EVIDENCE or evidence - found[1][0] < LEAST_LEAD:
        return None
    weight = np.exp(each - each.max())
    weight /= weight.sum()
    covariance = _covariance(effect, wide, noise)
    gain = wide[index] ** 2 * np.linalg.solve(covariance, effect[:, :, index, None])[:, :, 0]
    shifts = np.sum(gain * off, axis=1)
    left = wide[index] ** 2 * (1.0 - np.sum(gain * effect[:, :, index], axis=1))
    shift = float(weight @ shifts)
    variance = float(weight @ (np.maximum(left, 0.0) + (shifts - shift) ** 2))
    if abs(shift) < LEAST_SHIFT:
        return None
    measured = sheet.pulley(part).diameter_mm
    half = 1.645 * math.sqrt(variance)
    return DiameterDoubt(
        part,
        measured,
        measured * math.exp(shift),
        measured * math.exp(shift - half),
        measured * math.exp(shift + half),
        evidence,
    )


def _linear(
    sheet: DriveSheet, heard: Sequence[HeardShaft], line: float, back: float
) -> tuple[Float64, Float64]:
    """What each unknown does to the log of each ratio, at given lines [mm].

    Unknowns: log error of the crank's diameter, of each heard pulley's, each pulley's creep.
    Returns how far the heard log ratios lie from the expected ones, shape (n,), and the effects,
    shape (n, 1 + 2 n).
    """
    count = len(heard)
    effect = np.zeros((count, 1 + 2 * count))
    off = np.zeros(count)
    crank = sheet.pulley("crank")
    for row, one in enumerate(heard):
        pulley = sheet.pulley(one.part)
        run_crank = running_diameter_mm(crank, line, back)
        run = running_diameter_mm(pulley, line, back)
        off[row] = math.log(one.ratio) - (math.log(run_crank / run) - CREEP[0])
        effect[row, 0] = crank.diameter_mm / run_crank
        effect[row, 1 + row] = -pulley.diameter_mm / run
        effect[row, 1 + count + row] = -1.0
    return off, effect


def _log_mean(each: Float64) -> float:
    top = float(each.max())
    return top + math.log(float(np.mean(np.exp(each - top))))


def _covariance(effect: Float64, spread: Float64, noise: Float64) -> Float64:
    """Covariance of the heard log ratios at each pair of lines, shape (pairs, n, n)."""
    found: Float64 = (effect * spread**2) @ effect.transpose(0, 2, 1) + noise
    return found


def _log_likelihood(off: Float64, effect: Float64, spread: Float64, noise: Float64) -> Float64:
    covariance = _covariance(effect, spread, noise)
    _, log_size = np.linalg.slogdet(covariance)
    solved = np.linalg.solve(covariance, off[:, :, None])[:, :, 0]
    found: Float64 = -0.5 * np.sum(off * solved, axis=1) - 0.5 * log_size
    return found
