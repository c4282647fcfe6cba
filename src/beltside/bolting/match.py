"""Do the holes of two flat parts agree? Best turn and side, what is left over, a verdict.

Every assignment of hole to hole is considered (`match_assign`); each that comes near is fitted by
generalised least squares with the uncertainty of every hole, also that which holes of one picture
share (tilt, scale). docs/methods/hole-match.md has the derivation and the verdict's rules.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Final, Literal

import numpy as np

from beltside.base.errors import InputError, require_range
from beltside.base.provenance import Provenance
from beltside.base.words import count_of
from beltside.bolting.match_assign import Array, Assignment, assignments
from beltside.bolting.match_odds import wrong_hole_odds

Verdict = Literal["fits", "fits another way up", "doesn't fit", "can't tell"]
State = Literal["fits", "open", "off"]

SCATTER_MM: Final = 0.3
"""How far a hole of a good part lies beside its place, one standard deviation a coordinate, both
parts together (common practice, no source)."""
WRONG_MM: Final = 1.5
"""A hole so far off belongs to another part (common practice, no source)."""
RISK: Final = 0.02
"""A verdict is given when the chance that it is wrong is at most this, with even odds before the
look that all holes are right or that one is off by `WRONG_MM`."""
SURE: Final = 0.001
_SIZE_SPREAD_MM: Final = 0.3
_SIZE_CAP: Final = 9.0
SMALLER_MM: Final = 0.8
"""A new hole smaller than the old one by more may not pass the bolt (common practice)."""
MOST_HOLES: Final = 24


@dataclass(frozen=True)
class Holes:
    """Holes of one part as seen or measured.

    Attributes
    ----------
    places_mm
        Centres, shape (n, 2), x right and y up on the picture or sketch [mm].
    covariance_mm2
        Their uncertainty, shape (2n, 2n), x and y by turns [mm^2].
    diameter_mm, diameter_sigma_mm
        Sizes and their uncertainty, shape (n,), nan where not known [mm].
    complete
        False when some holes may have been missed.
    """

    places_mm: Array
    covariance_mm2: Array
    diameter_mm: Array
    diameter_sigma_mm: Array
    complete: bool = True

    def __post_init__(self) -> None:
        n = len(self.places_mm)
        if n < 3:
            raise InputError(
                count_of(n, "hole"),
                allowed=f"3 to {MOST_HOLES} holes",
                instead="a bore or a dowel hole counts as well",
            )
        if n > MOST_HOLES:
            raise InputError(f"{n} holes", allowed=f"3 to {MOST_HOLES} holes")
        if self.places_mm.shape != (n, 2) or self.covariance_mm2.shape != (2 * n, 2 * n):
            raise InputError("places and their covariance are of different sizes")
        if not (np.isfinite(self.places_mm).all() and np.isfinite(self.covariance_mm2).all()):
            raise InputError("a hole lies nowhere", allowed="finite places and uncertainties")
        gaps = np.linalg.norm(self.places_mm[:, None] - self.places_mm[None], axis=2)
        gaps[np.diag_indices(n)] = math.inf
        if gaps.min() < 0.5:
            one, other = np.unravel_index(int(np.argmin(gaps)), gaps.shape)
            raise InputError(
                f"holes {one + 1} and {other + 1} lie {gaps.min():.1f} mm apart",
                allowed="each hole once, 0.5 mm and more apart",
            )


def holes(
    places_mm: Array,
    sigma_mm: float = 0.2,
    diameter_mm: Array | None = None,
    *,
    complete: bool = True,
) -> Holes:
    """Holes measured one by one, each coordinate within `sigma_mm` (one standard deviation)."""
    n = len(places_mm)
    require_range("uncertainty of a hole", sigma_mm, 0.0, 20.0, "mm")
    sizes = np.full(n, np.nan) if diameter_mm is None else np.asarray(diameter_mm, dtype=float)
    return Holes(
        np.asarray(places_mm, dtype=float),
        sigma_mm**2 * np.eye(2 * n),
        sizes,
        np.where(np.isnan(sizes), np.nan, math.sqrt(2.0) * sigma_mm),
        complete,
    )


@dataclass(frozen=True)
class HoleResidual:
    """One hole of the old part beside its partner in the new one.

    Attributes
    ----------
    old, new
        Numbers of the two holes, counted from 0.
    x_mm, y_mm
        From the old hole, laid on the new part, to the new hole [mm].
    sigma_mm
        Uncertainty of measuring of either coordinate, one standard deviation [mm].
    against_others_mm, against_others_sigma_mm
        How far the new hole lies from where all others put it, and its uncertainty with the
        parts' own scatter, one standard deviation in the worst direction [mm].
    diameter_difference_mm
        New less old; None when either is not known [mm].
    """

    old: int
    new: int
    x_mm: float
    y_mm: float
    sigma_mm: float
    against_others_mm: float
    against_others_sigma_mm: float
    diameter_difference_mm: float | None

    @property
    def off_mm(self) -> float:
        """Distance left over [mm]."""
        return math.hypot(self.x_mm, self.y_mm)


@dataclass(frozen=True)
class Orientation:
    """One way of laying the old part's holes on the new part's.

    Attributes
    ----------
    flipped
        Whether the new part has to be turned over first.
    turn_deg
        Turn of the old part onto the new one, left-handed turns positive [degrees].
    shift_mm
        Where the old part's origin comes to lie on the new part [mm].
    residuals
        One for each pair.
    rms_mm
        Root mean square of what is left over [mm].
    chance
        How often two parts of one pattern would be measured at least so far apart, 0 to 1.
    wrong_chance
        Chance that one hole is off by the limit, even odds before the look, 0 to 1.
    state
        "fits", "off" or "open".
    worst
        Place in `residuals` of the hole that speaks most against it.
    rank
        What candidates are ordered by: chi-square of places and sizes.
    """

    flipped: bool
    turn_deg: float
    shift_mm: tuple[float, float]
    residuals: tuple[HoleResidual, ...]
    rms_mm: float
    chance: float
    wrong_chance: float
    state: State
    worst: int
    rank: float

    @property
    def partner(self) -> dict[int, int]:
        """Hole of the old part to hole of the new one."""
        return {one.old: one.new for one in self.residuals}

    def on_new(self, places_mm: Array) -> Array:
        """Places of the old part, shape (n, 2), as they come to lie on the new part [mm]."""
        turned = places_mm @ _turn(math.radians(self.turn_deg)).T + np.array(self.shift_mm)
        mirror = np.array([-1.0 if self.flipped else 1.0, 1.0])
        return np.asarray(turned * mirror)


@dataclass(frozen=True)
class HoleMatch:
    """Whether two patterns agree.

    Attributes
    ----------
    verdict
        "fits", "fits another way up", "doesn't fit" or "can't tell".
    reasons
        Why, in words.
    orientations
        All ways that fit or may fit, best first; the best one only when none does.
    old_alone, new_alone
        Holes without a partner, counted from 0.
    all_within_mm
        No way of laying them with less left over than this was passed over [mm].
    """

    verdict: Verdict
    reasons: tuple[str, ...]
    orientations: tuple[Orientation, ...]
    old_alone: tuple[int, ...]
    new_alone: tuple[int, ...]
    all_within_mm: float
    provenance: Provenance = field(default_factory=lambda: Provenance("hole match", 1))

    @property
    def best(self) -> Orientation | None:
        """The best way of laying them, when any comes near."""
        return self.orientations[0] if self.orientations else None


def match_holes(
    old: Holes,
    new: Holes,
    *,
    scatter_mm: float = SCATTER_MM,
    wrong_mm: float = WRONG_MM,
    can_flip: bool = True,
    names: tuple[str, str] = ("the old part", "the new part"),
) -> HoleMatch:
    """Lay the old part's holes on the new part's and judge.

    Parameters
    ----------
    old, new
        Holes of the two parts.
    scatter_mm
        The makers' scatter, one standard deviation a coordinate, both parts together [mm],
        0.02 to 2.
    wrong_mm
        A hole this far off must not pass as fitting [mm], 0.2 to 20.
    can_flip
        Whether turning a part over is worth a look (a gasket: yes).
    names
        What to call the two parts in the reasons.

    Raises
    ------
    OutOfRangeError
        When a figure is outside its range.
    """
    require_range("scatter of the holes", scatter_mm, 0.02, 2.0, "mm")
    require_range("limit for a wrong hole", wrong_mm, 0.2, 20.0, "mm")
    least = max(1.0, 3.0 * scatter_mm, 3.0 * _typical_sigma(old), 3.0 * _typical_sigma(new))
    every = assignments(old.places_mm, new.places_mm, least_mm=least)
    fitted = [
        _fit(old, new, one, scatter_mm, wrong_mm)
        for one in every.best
        if can_flip or not one.flipped
    ]
    fitted.sort(key=lambda one: ({"fits": 0, "open": 1, "off": 2}[one.state], one.rank))
    near = [one for one in fitted if one.state != "off"]
    kept = tuple(near or fitted[:1])
    n_old, n_new = len(old.places_mm), len(new.places_mm)
    old_alone: tuple[int, ...] = ()
    new_alone: tuple[int, ...] = ()
    if kept:
        old_alone = tuple(sorted(set(range(n_old)) - set(kept[0].partner)))
        new_alone = tuple(sorted(set(range(n_new)) - set(kept[0].partner.values())))
    verdict, reasons = _judge(
        old, new, kept, (old_alone, new_alone), every.all_within_mm, wrong_mm, names
    )
    return HoleMatch(
        verdict,
        reasons,
        kept,
        old_alone,
        new_alone,
        every.all_within_mm,
        Provenance(
            "hole match",
            1,
            {"scatter_mm": scatter_mm, "wrong_mm": wrong_mm, "risk": RISK, "can_flip": can_flip},
            f"flat parts with 3 to {MOST_HOLES} holes",
            "own method, docs/methods/hole-match.md",
        ),
    )


def _typical_sigma(one: Holes) -> float:
    return math.sqrt(float(np.mean(np.diag(one.covariance_mm2))))


def _turn(angle_rad: float) -> Array:
    cos, sin = math.cos(angle_rad), math.sin(angle_rad)
    return np.array([[cos, -sin], [sin, cos]])


def _fit(
    old: Holes, new: Holes, one: Assignment, scatter_mm: float, wrong_mm: float
) -> Orientation:
    """Generalised least squares for turn and shift of one assignment."""
    rows = [k for k, partner in enumerate(one.partner) if partner >= 0]
    columns = [one.partner[k] for k in rows]
    n = len(rows)
    mirror = np.array([-1.0 if one.flipped else 1.0, 1.0])
    z = old.places_mm[rows]
    w = new.places_mm[columns] * mirror
    pick_old = np.ravel([[2 * k, 2 * k + 1] for k in rows])
    pick_new = np.ravel([[2 * k, 2 * k + 1] for k in columns])
    signs = np.tile(mirror, n)
    of_new = new.covariance_mm2[np.ix_(pick_new, pick_new)] * signs[:, None] * signs
    of_old = old.covariance_mm2[np.ix_(pick_old, pick_old)]
    centre = z.mean(axis=0)
    angle, shift = one.angle_rad, w.mean(axis=0)
    for _ in range(4):
        big = np.kron(np.eye(n), _turn(angle))
        measured = of_new + big @ of_old @ big.T
        inverse = np.linalg.inv(measured + scatter_mm**2 * np.eye(2 * n))
        turned = (z - centre) @ _turn(angle).T
        design = np.zeros((2 * n, 3))
        design[0::2, 0] = design[1::2, 1] = 1.0
        design[0::2, 2], design[1::2, 2] = -turned[:, 1], turned[:, 0]
        reduced = inverse @ design
        inside = np.linalg.inv(design.T @ reduced)
        step = inside @ (reduced.T @ (w - turned - shift).ravel())
        shift = shift + step[:2]
        angle += step[2]
        if abs(step[2]) < 1e-9:
            break
    gap = (w - (z - centre) @ _turn(angle).T - shift).ravel()
    odds = wrong_hole_odds(gap, measured, design, scatter_mm, wrong_mm)
    precision = inverse - reduced @ inside @ reduced.T
    pulled = precision @ gap
    onto = np.eye(2 * n) - design @ inside @ reduced.T
    of_gap = onto @ measured @ onto.T
    residuals, quadratic = [], []
    for k in range(n):
        at = slice(2 * k, 2 * k + 2)
        block = precision[at, at]
        off = np.linalg.solve(block, pulled[at])
        quadratic.append(float(off @ pulled[at]))
        bigger = new.diameter_mm[columns[k]] - old.diameter_mm[rows[k]]
        back = mirror * gap[at]
        residuals.append(
            HoleResidual(
                rows[k],
                columns[k],
                float(back[0]),
                float(back[1]),
                math.sqrt(max(float(np.trace(of_gap[at, at])) / 2.0, 0.0)),
                float(np.linalg.norm(off)),
                1.0 / math.sqrt(float(np.linalg.eigvalsh(block)[0])),
                None if math.isnan(bigger) else float(bigger),
            )
        )
    state: State = "open"
    if odds.chance < SURE or max(odds.just_wrong, odds.any_wrong) > 1.0 - RISK:
        state = "off"
    elif odds.just_wrong <= RISK:
        state = "fits"
    origin = shift - _turn(angle) @ centre
    return Orientation(
        one.flipped,
        round(math.degrees(math.atan2(math.sin(angle), math.cos(angle))), 9) + 0.0,
        (float(origin[0]), float(origin[1])),
        tuple(residuals),
        math.sqrt(float(gap @ gap) / n),
        odds.chance,
        odds.just_wrong,
        state,
        int(np.argmax(quadratic)),
        float(gap @ pulled) + _size_cost(old, new, rows, columns),
    )


def _size_cost(old: Holes, new: Holes, rows: list[int], columns: list[int]) -> float:
    """Chi-square of the hole sizes, each hole's share capped."""
    difference = new.diameter_mm[columns] - old.diameter_mm[rows]
    spread = (
        _SIZE_SPREAD_MM**2 + new.diameter_sigma_mm[columns] ** 2 + old.diameter_sigma_mm[rows] ** 2
    )
    cost = np.minimum(difference**2 / spread, _SIZE_CAP)
    return float(np.nansum(cost))


def _judge(
    old: Holes,
    new: Holes,
    kept: tuple[Orientation, ...],
    alone: tuple[tuple[int, ...], tuple[int, ...]],
    within_mm: float,
    wrong_mm: float,
    names: tuple[str, str],
) -> tuple[Verdict, tuple[str, ...]]:
    first, second = names
    old_alone, new_alone = alone
    if not kept:
        return "doesn't fit", (
            f"every way of laying the holes was considered; all leave more than {within_mm:.0f} mm",
        )
    best = kept[0]
    worst = best.residuals[best.worst]
    place = (
        f"hole {worst.old + 1} of {first} lies {worst.against_others_mm:.1f} mm from hole "
        f"{worst.new + 1} of {second} when all others are laid on each other"
    )
    if best.state == "off":
        if best.rms_mm > 3.0 * wrong_mm:
            return "doesn't fit", (
                f"laid as well as can be, the holes are {best.rms_mm:.1f} mm apart on average",
            )
        return "doesn't fit", (place,)
    too_small = [
        one
        for one in best.residuals
        if one.diameter_difference_mm is not None
        and one.diameter_difference_mm
        + 2.0 * math.hypot(new.diameter_sigma_mm[one.new], old.diameter_sigma_mm[one.old])
        < -SMALLER_MM
    ]
    if old_alone and not new_alone:
        alone_words = ", ".join(str(k + 1) for k in old_alone)
        if old.complete and new.complete:
            return "doesn't fit", (f"hole {alone_words} of {first} has no partner in {second}",)
        return "can't tell", (
            f"hole {alone_words} of {first} has no partner; it may only have been missed",
        )
    if too_small:
        one = too_small[0]
        assert one.diameter_difference_mm is not None
        return "doesn't fit", (
            f"hole {one.new + 1} of {second} is {-one.diameter_difference_mm:.1f} mm smaller "
            f"than hole {one.old + 1} of {first}: its bolt may not pass",
        )
    reasons = []
    if new_alone:
        alone_words = ", ".join(str(k + 1) for k in new_alone)
        reasons.append(f"hole {alone_words} of {second} has no partner in {first}")
    if best.state == "open":
        return "can't tell", (
            f"{place}; the chance that a hole is {wrong_mm:g} mm off is still "
            f"{100.0 * best.wrong_chance:.0f} %, too much to say that it fits and too little to "
            "say that it doesn't",
            *reasons,
        )
    largest = max(one.against_others_mm for one in best.residuals)
    reasons.insert(0, f"no hole lies more than {largest:.1f} mm from where the others put it")
    if all(one.flipped for one in kept if one.state == "fits"):
        return "fits another way up", (*reasons, f"{second} has to be turned over")
    return "fits", tuple(reasons)
