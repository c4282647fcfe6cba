"""What changes when something is switched on: lights, air conditioning, steering at the stop.

Each load works some parts harder and leaves the others alone, so each take with a load is put
against the one without on its own. docs/methods/odds.md explains each measure.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np
import numpy.typing as npt

from beltside.base.words import part_kind
from beltside.casework.changes import CHANGES, take_change
from beltside.casework.contrasts import Pair
from beltside.casework.sway import SWAY

Float64 = npt.NDArray[np.float64]
Changes = Mapping[str, tuple[Pair, dict[str, float]]]

WORKS: Final = {
    "lights": ("alternator",),
    "ac": ("ac-compressor", "alternator", "fan"),
    "steering": ("steering-pump",),
}
"""Kinds of part that work harder with something switched on; common practice, no source."""

CLEAREST: Final = {
    "alternator": ("lights", "ac"),
    "ac-compressor": ("ac",),
    "fan": ("ac",),
    "steering-pump": ("steering",),
}
"""What works a kind of part harder, the most telling first; common practice, no source."""

LEADS: Final = ("apart", "step", "burst", "less_burst")

CASE_LOADS: Final = ("has_load", *(f"load_{name}" for name in CHANGES))

SUSPECT_LOADS: Final = (
    "own_load",
    *(f"own_load_{name}" for name in CHANGES),
    *(f"own_load_{name}" for name in SWAY),
    *(f"own_load_lead_{name}" for name in LEADS),
    "other_load_apart",
    "other_load_burst",
)


def load_changes(base: Pair, loaded: Sequence[Pair]) -> Changes:
    """What each load changed, by its name: the take it was on in and `take_change` from `base`.
    Of a load that was on in several takes the one with the fewest others counts."""
    found: dict[str, tuple[Pair, dict[str, float]]] = {}
    for pair in sorted(loaded, key=lambda one: len(one[0].conditions.load)):
        new = [load for load in pair[0].conditions.load if load in WORKS and load not in found]
        if new:
            change = take_change(pair, base)
            found |= dict.fromkeys(new, (pair, change))
    return found


def case_loads(changes: Changes) -> dict[str, float]:
    """CASE_LOADS by name: the most that any load changed; 0 where nothing was switched on."""
    values = dict.fromkeys(CASE_LOADS, 0.0)
    if changes:
        values["has_load"] = 1.0
        for name in CHANGES:
            values[f"load_{name}"] = max((one[name] for _, one in changes.values()), key=abs)
    return values


def suspect_loads(part: str, base: Pair, changes: Changes) -> Float64:
    """SUSPECT_LOADS of a part, shape (len(SUSPECT_LOADS),)."""
    values = dict.fromkeys(SUSPECT_LOADS, 0.0)
    kind = part_kind(part)
    own = next((load for load in CLEAREST.get(kind, ()) if load in changes), None)
    others = [change for load, (_, change) in changes.items() if kind not in WORKS[load]]
    if others:
        values["other_load_apart"] = max(one["apart"] for one in others)
        values["other_load_burst"] = max(one["burst"] for one in others)
    if own is not None:
        pair, change = changes[own]
        values["own_load"] = 1.0
        values |= {f"own_load_{name}": value for name, value in change.items()}
        more = pair[1].sway - base[1].sway
        values |= {f"own_load_{name}": float(one) for name, one in zip(SWAY, more, strict=True)}
        if others:
            for name in LEADS:
                lead = change[name] - max(one[name] for one in others)
                values[f"own_load_lead_{name}"] = float(np.clip(lead, -2.0, 2.0))
    return np.array([values[name] for name in SUSPECT_LOADS])
