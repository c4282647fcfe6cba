"""Old part, new part, gasket: do they agree?"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from beltside.base.errors import require_range
from beltside.bolting.match import SCATTER_MM, WRONG_MM, HoleMatch, Orientation, match_holes
from beltside.bolting.match_gap import Gap, widest_gap
from beltside.bolting.match_overlap import Overlap, overlap
from beltside.casework.match_part import MeasuredPart, read_part

HEIGHT_LIMIT_MM: Final = 0.5
"""Heights and hub offsets further apart are called different (common practice, no source)."""
_POOR_OVERLAP: Final = 0.9


@dataclass(frozen=True)
class HeightCheck:
    """One caliper reading of both parts: `what`, old and new [mm], and whether they agree."""

    what: str
    old_mm: float
    new_mm: float
    agrees: bool


@dataclass(frozen=True)
class PairResult:
    """Two parts beside each other.

    Attributes
    ----------
    first, second
        The parts.
    match
        What the holes say.
    verdict
        That of the holes, with the heights taken in.
    reasons
        Why, in words.
    outline, ports
        Overlap in the best orientation, when both parts have an outline or as many ports.
    heights
        Caliper readings given for both.
    gap
        Widest gap of the first part's holes.
    gap_on_second
        The same two holes on the second part; None when one has no partner.
    """

    first: MeasuredPart
    second: MeasuredPart
    match: HoleMatch
    verdict: str
    reasons: tuple[str, ...]
    outline: Overlap | None
    ports: tuple[Overlap, ...]
    heights: tuple[HeightCheck, ...]
    gap: Gap
    gap_on_second: tuple[int, int] | None

    def to_json(self) -> dict[str, Any]:
        """Plain dict; lengths to 0.01 mm, angles to 0.1 degree."""
        return {
            "first": self.first.name,
            "second": self.second.name,
            "verdict": self.verdict,
            "reasons": list(self.reasons),
            "orientations": [_orientation_json(one) for one in self.match.orientations],
            "alone": {
                "first": [k + 1 for k in self.match.old_alone],
                "second": [k + 1 for k in self.match.new_alone],
            },
            "widest_gap": {
                "first": [self.gap.first + 1, self.gap.second + 1],
                "second": [k + 1 for k in self.gap_on_second] if self.gap_on_second else None,
                "length_mm": round(self.gap.length_mm, 2),
                "next_mm": round(self.gap.next_mm, 2),
                "clear": self.gap.clear,
            },
            "outline_overlap": None if self.outline is None else round(self.outline.share, 3),
            "port_overlap": [round(port.of_old, 3) for port in self.ports],
            "heights": [
                {
                    "what": one.what,
                    "first_mm": one.old_mm,
                    "second_mm": one.new_mm,
                    "agrees": one.agrees,
                }
                for one in self.heights
            ],
            "provenance": {
                "method": self.match.provenance.method,
                "version": self.match.provenance.version,
                "inputs": dict(self.match.provenance.inputs),
                "source": self.match.provenance.source,
            },
        }


def _orientation_json(one: Orientation) -> dict[str, Any]:
    return {
        "turned_over": one.flipped,
        "turn_deg": round(one.turn_deg, 1),
        "state": {"fits": "fits", "open": "may fit", "off": "does not fit"}[one.state],
        "rms_mm": round(one.rms_mm, 2),
        "wrong_chance": round(one.wrong_chance, 4),
        "holes": [
            {
                "first": pair.old + 1,
                "second": pair.new + 1,
                "x_mm": round(pair.x_mm, 2),
                "y_mm": round(pair.y_mm, 2),
                "off_mm": round(pair.off_mm, 2),
                "sigma_mm": round(pair.sigma_mm, 2),
                "against_others_mm": round(pair.against_others_mm, 2),
                "diameter_difference_mm": (
                    None
                    if pair.diameter_difference_mm is None
                    else round(pair.diameter_difference_mm, 2)
                ),
            }
            for pair in one.residuals
        ],
    }


@dataclass(frozen=True)
class MatchResult:
    """Every pair: old and new, old and gasket, new and gasket.

    Attributes
    ----------
    pairs
        The pairs.
    warnings
        What to know before trusting it.
    """

    pairs: tuple[PairResult, ...]
    warnings: tuple[str, ...] = ()

    @property
    def verdict(self) -> str:
        """The first pair's, or the gasket's when that is worse."""
        order = ("doesn't fit", "can't tell", "fits another way up", "fits")
        told = [
            pair.verdict if number == 0 or pair.verdict != "fits another way up" else "fits"
            for number, pair in enumerate(self.pairs)
        ]
        return min(told, key=order.index)

    def to_json(self) -> dict[str, Any]:
        """Plain dict."""
        return {
            "verdict": self.verdict,
            "pairs": [pair.to_json() for pair in self.pairs],
            "warnings": list(self.warnings),
        }


def match_parts(
    old: Path,
    new: Path,
    *,
    gasket: Path | None = None,
    disc_mm: float | None = None,
    scatter_mm: float = SCATTER_MM,
    wrong_mm: float = WRONG_MM,
) -> MatchResult:
    """Compare an old part with a new one and, when given, the gasket with both.

    Parameters
    ----------
    old, new, gasket
        Part files (TOML), or photos with a disc of known size beside the part.
    disc_mm
        That disc's diameter, for photos [mm].
    scatter_mm, wrong_mm
        See `bolting.match.match_holes` [mm].

    Raises
    ------
    InputError
        When a file says too little, or something impossible.
    """
    if disc_mm is not None:
        require_range("diameter of the disc", disc_mm, 5.0, 300.0, "mm")
    first, second = read_part(old, disc_mm=disc_mm), read_part(new, disc_mm=disc_mm)
    parts = [first, second]
    pairs = [compare_parts(first, second, scatter_mm, wrong_mm)]
    if gasket is not None:
        third = read_part(gasket, disc_mm=disc_mm)
        parts.append(third)
        pairs += [compare_parts(one, third, scatter_mm, wrong_mm) for one in (first, second)]
    said = [note for part in parts for note in part.warnings]
    if pairs[0].verdict == "fits another way up":
        said.append(
            "turned over means seen from the other face: a flat gasket can be turned over, a pump "
            "or a cover can't; check that both pictures show the same face"
        )
    return MatchResult(tuple(pairs), tuple(said))


def compare_parts(
    first: MeasuredPart,
    second: MeasuredPart,
    scatter_mm: float = SCATTER_MM,
    wrong_mm: float = WRONG_MM,
) -> PairResult:
    """One pair; see `match_parts`."""
    match = match_holes(
        first.holes,
        second.holes,
        scatter_mm=scatter_mm,
        wrong_mm=wrong_mm,
        names=(first.name, second.name),
    )
    gap = widest_gap(first.holes.places_mm)
    best = match.best
    outline: Overlap | None = None
    ports: tuple[Overlap, ...] = ()
    on_second = None
    reasons = list(match.reasons)
    if best is not None:
        partner = best.partner
        if gap.first in partner and gap.second in partner:
            on_second = (partner[gap.first], partner[gap.second])
        if len(first.outline_mm) > 2 and len(second.outline_mm) > 2:
            outline = overlap(best.on_new(first.outline_mm), second.outline_mm)
        ports = _ports(best, first, second)
    heights = tuple(_heights(first, second))
    verdict: str = match.verdict
    for one in heights:
        if not one.agrees:
            verdict = "doesn't fit"
            reasons.insert(
                0,
                f"{one.what} differs by {abs(one.new_mm - one.old_mm):.1f} mm "
                f"({one.old_mm:g} and {one.new_mm:g} mm)",
            )
    if match.verdict.startswith("fits") and outline is not None and outline.share < _POOR_OVERLAP:
        reasons.append(
            f"the outlines cover each other by only {100.0 * outline.share:.0f} %: lay the parts "
            "on each other and look"
        )
    return PairResult(
        first, second, match, verdict, tuple(reasons), outline, ports, heights, gap, on_second
    )


def _ports(best: Orientation, first: MeasuredPart, second: MeasuredPart) -> tuple[Overlap, ...]:
    """Each port of the first part with the one of the second it covers most."""
    found = []
    for port in first.ports_mm:
        laid = best.on_new(port)
        choices = [overlap(laid, other) for other in second.ports_mm]
        if choices:
            found.append(max(choices, key=lambda one: one.common_mm2))
    return tuple(found)


def _heights(first: MeasuredPart, second: MeasuredPart) -> Sequence[HeightCheck]:
    return [
        HeightCheck(what, old, new, math.fabs(new - old) <= HEIGHT_LIMIT_MM)
        for what, old, new in (
            ("height", first.height_mm, second.height_mm),
            ("hub offset", first.hub_offset_mm, second.hub_offset_mm),
        )
        if old is not None and new is not None
    ]
