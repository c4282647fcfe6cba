"""What a suspect sounds like in these takes: the orders of its lines and its band."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from beltside.casework.explain import deep_enough
from beltside.casework.families import Found, Surprises, looked_for
from beltside.casework.takes import HeardTake
from beltside.drive.sheet import DriveSheet
from beltside.sound.families import row_strength
from beltside.sound.hearing import Hearing
from beltside.sound.housing import OwnSound

FALSE_ALARM_RATE: Final = 0.01
"""Chance that noise passes for a suspect's own lines, all families and takes looked at together."""

BAND_SHARE: Final = 0.4
"""A band is the suspect's own when its lines stand out at least this share as far as in the
best band; own choice."""

WHOLE_BAND_HZ: Final = (1000.0, 8000.0)
"""Band looked at when nothing is known of the suspect's; own choice."""


@dataclass(frozen=True)
class Recognised:
    """A suspect's own sound and how it was found.

    Attributes
    ----------
    part, source
        Whose lines they are and what makes them, "" for a band alone.
    own
        Orders and band.
    significance
        -log10 of the false-alarm probability, 0 for a band alone.
    take
        Name of the take they were clearest in.
    """

    part: str
    source: str
    own: OwnSound
    significance: float
    take: str


@dataclass(frozen=True)
class _Looked:
    """A family looked for in one take."""

    take: HeardTake
    heard: Surprises
    found: Found


def recognise(takes: Sequence[HeardTake], sheet: DriveSheet, part: str | None) -> Recognised | None:
    """The clearest lines of a part (of any belt-driven part when None), all takes together.

    None when no take shows any that stand out clearly.
    """
    looked_at = [one for take in takes for one in _families(take, sheet, part)]
    wanted = -np.log10(FALSE_ALARM_RATE / max(len(looked_at), 1))
    clear = [
        one
        for one in looked_at
        if one.found.family.significance >= wanted and deep_enough(one.found)
    ]
    if not clear:
        return None
    # What is clear in several takes is more than what is clearest in one.
    total: dict[tuple[str, str, str], float] = {}
    for one in clear:
        total[_name(one)] = total.get(_name(one), 0.0) + one.found.family.significance
    first = max(total, key=lambda name: total[name])
    best = max(
        (one for one in clear if _name(one) == first),
        key=lambda one: one.found.family.significance,
    )
    family = best.found.family
    orders = tuple(member.order for member in family.members)
    bands = best.take.hearing.bands
    if best.found.spectrum == "sound":
        turns_hz = _turns_hz(best.take.hearing)
        low, high = min(orders) * turns_hz, max(orders) * turns_hz
        # A tone's band: half an octave to either side, inside the bands there are.
        own = OwnSound(
            (), orders, max(low / 1.4, bands[0].low_hz), max(high * 1.4, bands[2].high_hz)
        )
    else:
        low, high = _bands_of(best)
        own = OwnSound(orders, (), low, high)
    return Recognised(
        best.found.part,
        best.found.source,
        own,
        family.significance,
        best.take.conditions.name,
    )


def _name(one: _Looked) -> tuple[str, str, str]:
    return one.found.part, one.found.source, one.found.spectrum


def _families(take: HeardTake, sheet: DriveSheet, part: str | None) -> list[_Looked]:
    looked = looked_for(take.hearing, sheet)
    if looked is None:
        return []
    heard, found = looked
    return [
        _Looked(take, heard, one)
        for one in found
        if one.family.members
        and (one.part == part if part else one.part not in ("engine", "crank", "belt"))
    ]


def _turns_hz(hearing: Hearing) -> float:
    return hearing.orders.sound.turns / hearing.seconds if hearing.orders else 1.0


def _bands_of(one: _Looked) -> tuple[float, float]:
    """Edges of the run of bands round the strongest in which the family stands out."""
    bands = one.take.hearing.bands
    orders = np.array([member.order for member in one.found.family.members])
    strength = row_strength(one.heard.envelope, orders)[: len(bands)]
    best = int(np.argmax(strength))
    enough = strength >= BAND_SHARE * strength[best]
    first = last = best
    while first > 0 and enough[first - 1]:
        first -= 1
    while last < len(bands) - 1 and enough[last + 1]:
        last += 1
    return bands[first].low_hz, bands[last].high_hz
