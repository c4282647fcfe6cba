"""The numbers of one car: its suspects, its checks, and how likely each outcome is.

Everything that depends on the drive alone, worked out once, so that each new finding costs little.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from beltside.suspects.catalogue import (
    Catalogue,
    Check,
    CheckDone,
    Suspect,
    all_suspects_for,
    checks_for,
)

Float64 = npt.NDArray[np.float64]
Place = tuple[Check, str | None]
"""A check with the pulley it is done on (None: the whole engine)."""


@dataclass(frozen=True)
class Board:
    """One car's suspects and checks as arrays.

    Attributes
    ----------
    suspects
        Single ones first, then pairs; S of them.
    places
        Every check with its pulley; C of them.
    log_prior
        Log of how likely each suspect is before any test, shape (S,).
    likely
        Probability of each outcome of each check under each suspect, shape (C, O, S); outcomes
        that a check does not have are 0.
    groups
        For each check which group of like checks it is in, counted per pulley; shape (C,).
        A check that is like no other is a group of its own.
    shares
        For each check how often its group sees one and the same thing, 0 to 1; shape (C,).
    repeat_share
        How often a check done again only repeats the first time, 0 to 1.
    index
        Position of each (check id, part).
    log_likely
        Log of `likely`, -inf where that is 0; shape (C, O, S).
    outcome_index
        Position of each (check id, outcome's word) among the check's outcomes.
    """

    suspects: tuple[Suspect, ...]
    places: tuple[Place, ...]
    log_prior: Float64
    likely: Float64
    groups: npt.NDArray[np.int64]
    shares: Float64
    repeat_share: float
    index: Mapping[tuple[str, str | None], int]
    log_likely: Float64
    outcome_index: Mapping[tuple[str, str], int]

    def place_of(self, done: CheckDone) -> int:
        """Position of a finding's check among `places`."""
        return self.index[done.check.id, done.part]

    def outcome_of(self, done: CheckDone) -> int:
        """Position of a finding's outcome among its check's outcomes."""
        return self.outcome_index[done.check.id, done.outcome.word]


def log_prior(suspects: Sequence[Suspect]) -> Float64:
    """Log of how likely each suspect is before any test, shape (suspects,)."""
    weight = np.array([suspect.weight for suspect in suspects])
    result: Float64 = np.log(weight / weight.sum())
    return result


def board_for(catalogue: Catalogue, parts_on_drive: Sequence[str]) -> Board:
    """The board of a car with these pulleys ("idler", "idler-2"), in the drive sheet's order."""
    suspects = all_suspects_for(catalogue, parts_on_drive)
    places = checks_for(catalogue, parts_on_drive)
    most = max((len(check.outcomes) for check, _ in places), default=0)
    likely = np.zeros((len(places), most, len(suspects)))
    for row, (check, part) in enumerate(places):
        known: dict[str, list[float]] = {}
        for column, suspect in enumerate(suspects):
            key = check.row_key(suspect, part)
            if key is None:
                values = list(check.likelihoods(suspect, part).values())
            else:
                values = known.setdefault(key, [])
                if not values:
                    shown = check.likely[key]
                    values += [shown[outcome.word] for outcome in check.outcomes]
            likely[row, : len(values), column] = values
    with np.errstate(divide="ignore"):
        log_likely = np.log(likely)
    group_of = {word: one for one in catalogue.alike for word in one.checks}
    numbers: dict[tuple[str, str | None], int] = {}
    groups, shares = [], []
    for check, part in places:
        group = group_of.get(check.id)
        key_of = (group.id if group else f"check {check.id}", part)
        groups.append(numbers.setdefault(key_of, len(numbers)))
        shares.append(group.share if group else 0.0)
    return Board(
        suspects,
        places,
        log_prior(suspects),
        likely,
        np.array(groups, dtype=np.int64),
        np.array(shares),
        catalogue.repeat_share,
        {(check.id, part): position for position, (check, part) in enumerate(places)},
        log_likely,
        {
            (check.id, outcome.word): position
            for check, _ in places
            for position, outcome in enumerate(check.outcomes)
        },
    )
