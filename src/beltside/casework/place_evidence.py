"""What takes say of where the noise sits, as far as the measures of the sound don't hold it yet.

The sound model measures bearings, beats and bands under the probe itself, and what went with the
belt (docs/methods/odds.md). Two readings it knows nothing of: a suspect's tones on the housing
map, and the direction from a stereo take. Each moves the odds by at most 3 bits.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from beltside.base.errors import BeltsideError
from beltside.casework.direction import NamedSource, direction_in, own_band
from beltside.casework.fault_band import band_change, belt_share
from beltside.casework.own_sound import recognise
from beltside.casework.phone_setup import Setup
from beltside.casework.results import Because
from beltside.casework.sound_said import SoundSaid
from beltside.casework.takes import HeardTake, Source
from beltside.casework.where import where_heard
from beltside.casework.where_results import PartEvidence
from beltside.casework.where_signs import first_from_front
from beltside.drive.sheet import DriveSheet

TONAL_FAULTS: Final = ("electrical", "whine", "impeller")
"""Faults whose own sound is tones: what the housing map by tones says is said of these."""

BELT_BAND_SHARE: Final = 0.5
"""A band is the suspect's when at least this share of its power went with the belt; own choice."""


@dataclass(frozen=True)
class PlaceReason:
    """A reason for or against every suspect of a part, or those with the faults named."""

    evidence: PartEvidence
    faults: tuple[str, ...] = ()

    def counts_for(self, suspect: str) -> bool:
        """Whether it says anything of this suspect."""
        part, _, fault = suspect.partition(".")
        return part == self.evidence.part and (not self.faults or fault in self.faults)


@dataclass(frozen=True)
class PlacesSaid:
    """Reasons, and by take what to know: why a stereo take says nothing."""

    reasons: tuple[PlaceReason, ...] = ()
    warnings: tuple[tuple[str, str], ...] = ()

    def joined_to(self, said: SoundSaid) -> SoundSaid:
        """What the takes say, with the places."""
        if not (self.reasons or self.warnings):
            return said
        told = dict(said.told)
        reasons = dict(said.reasons)
        for one in self.reasons:
            because = Because(one.evidence.from_, one.evidence.says, one.evidence.bits)
            for suspect in told:
                if one.counts_for(suspect):
                    told[suspect] += one.evidence.bits * math.log(2.0)
                    reasons[suspect] = (*reasons.get(suspect, ()), because)
        listens = dict(said.listens)
        for name, text in self.warnings:
            listens[name] = replace(listens[name], warnings=(*listens[name].warnings, text))
        return replace(said, told=told, reasons=reasons, listens=listens)


def places_said(
    heard: Sequence[HeardTake],
    sources: Sequence[Source],
    setups: Sequence[Setup | None],
    sheet: DriveSheet,
) -> PlacesSaid:
    """Where the noise sits, from probe takes and stereo takes of one case.

    Parameters
    ----------
    heard
        The takes.
    sources
        Their sound, still open, in the same order.
    setups
        How the phone was held for a stereo take, None for a take that says nothing of direction.
    sheet
        The drive.
    """
    reasons = _tones_on_the_map(heard, sheet)
    pointed, warnings = _directions(heard, sources, setups, sheet)
    return PlacesSaid((*reasons, *pointed), tuple(warnings))


def _tones_on_the_map(heard: Sequence[HeardTake], sheet: DriveSheet) -> list[PlaceReason]:
    """What the housing map says, when it is one of tones; rhythm and bands are measured already."""
    if len({take.conditions.part for take in heard} - {None}) < 2:
        return []
    try:
        result = where_heard(heard, sheet)
    except BeltsideError:
        # A map that can't be made is the business of `where`; without one nothing is said.
        return []
    if result.by != "tones":
        return []
    whose = f"tones of the {result.part} ({result.source})"
    return [
        PlaceReason(replace(one, says=f"{whose}: {one.says}"), TONAL_FAULTS)
        for one in result.evidence()
    ]


def _directions(
    heard: Sequence[HeardTake],
    sources: Sequence[Source],
    setups: Sequence[Setup | None],
    sheet: DriveSheet,
) -> tuple[list[PlaceReason], list[tuple[str, str]]]:
    """What stereo takes say; those made alike are judged together."""
    groups: dict[Setup, list[int]] = {}
    for index, setup in enumerate(setups):
        if setup is not None:
            groups.setdefault(replace(setup, at=()), []).append(index)
    if not groups:
        return [], []
    reasons: list[PlaceReason] = []
    warnings: list[tuple[str, str]] = []
    names = [take.conditions.name for take in heard]
    band_hz = suspects_band_hz(heard, sheet)
    for alike, members in groups.items():
        first = names[members[0]]
        if band_hz is None:
            warnings.append(
                (
                    first,
                    "Its direction is not counted: no band of the suspect's own is known, and the "
                    "whole engine would be pointed at. A take with the belt off would show the "
                    "band, or lines of the part's own",
                )
            )
            continue
        top_hz = 0.45 * min(sources[index].sample_rate_hz for index in members)
        band = own_band(*band_hz, top_hz)
        at = tuple(place for index in members for place in (setups[index] or alike).at)
        result = direction_in(
            [NamedSource(names[index], sources[index]) for index in members],
            replace(alike, at=at),
            sheet=sheet,
            band_hz=(band.low_hz, band.high_hz),
        )
        warnings += [(first, text) for text in (*result.why_not, *result.warnings)]
        where_from = f"direction, {', '.join(names[index] for index in members)}"
        reasons += [PlaceReason(replace(one, from_=where_from)) for one in result.evidence()]
    return reasons, warnings


def suspects_band_hz(heard: Sequence[HeardTake], sheet: DriveSheet) -> tuple[float, float] | None:
    """The suspect's own band [Hz]: that of lines that stand out, or else the one that went with
    the belt; None when neither is known."""
    known = recognise(heard, sheet, None)
    if known is not None:
        return known.own.low_hz, known.own.high_hz
    on = first_from_front(heard, "on")
    off = first_from_front(heard, "off")
    if on is None or off is None:
        return None
    share = belt_share(band_change(on.hearing, off.hearing, (None, None)))
    best = int(np.argmax(share))
    if share[best] < BELT_BAND_SHARE:
        return None
    first = last = best
    while first > 0 and share[first - 1] >= BELT_BAND_SHARE:
        first -= 1
    while last < share.size - 1 and share[last + 1] >= BELT_BAND_SHARE:
        last += 1
    return on.hearing.bands[first].low_hz, on.hearing.bands[last].high_hz
