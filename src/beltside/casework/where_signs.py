"""What each probe take says of its place, beside the level of the suspect's own sound."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
import numpy.typing as npt

from beltside.base.units import power_to_db
from beltside.casework.families import Found, looked_for
from beltside.casework.fault_band import band_change, belt_share
from beltside.casework.takes import HeardTake
from beltside.drive.expected import firing_order
from beltside.drive.sheet import DriveSheet
from beltside.sound.hearing import Hearing
from beltside.sound.housing import OwnLevel, OwnSound, references
from beltside.sound.housing_odds import Signs, engine_levels

LEAST_BELT_SHARE: Final = 0.3
"""When in no band this share of the power went with the belt, none is known to; own choice."""

Float64 = npt.NDArray[np.float64]


def engine_references(hearing: Hearing, own: OwnSound, sheet: DriveSheet) -> dict[str, float]:
    """`sound.housing.references` for the engine of a sheet."""
    return references(
        hearing,
        own,
        cycle_order=cycle_order(sheet),
        firing_order=firing_order(sheet),
    )


def cycle_order(sheet: DriveSheet) -> float:
    """Working cycles per crank turn."""
    return 0.5 if sheet.engine.strokes == 4 else 1.0


def went_with_the_belt(
    heard: Sequence[HeardTake], own: OwnSound, sheet: DriveSheet
) -> Float64 | None:
    """Share of each band's power that went with the belt, by the first takes from the front with
    it on and off; None without such takes or without such a band."""
    on, off = (first_from_front(heard, belt) for belt in ("on", "off"))
    if on is None or off is None:
        return None
    lines = [engine_references(one.hearing, own, sheet).get("engine lines") for one in (on, off)]
    share = belt_share(band_change(on.hearing, off.hearing, (lines[0], lines[1])))
    return share if share.max() >= LEAST_BELT_SHARE else None


def first_from_front(heard: Sequence[HeardTake], belt: str) -> HeardTake | None:
    """The first take in front of the engine with the belt as wanted and nothing switched on."""
    return next(
        (
            take
            for take in heard
            if take.conditions.belt == belt
            and take.conditions.part is None
            and not take.conditions.load
        ),
        None,
    )


def signs_of(
    take: HeardTake,
    sheet: DriveSheet,
    part: str,
    own: OwnSound,
    level: OwnLevel | None,
    belt_bands: Float64 | None,
) -> Signs:
    """The signs of one probe take.

    Parameters
    ----------
    take, sheet
        The take and its drive.
    part
        The suspect's part, "" when none is known.
    own, level
        The suspect's own sound and its level there, None when it can't be read.
    belt_bands
        From `went_with_the_belt`.
    """
    hearing = take.hearing
    in_bands = None
    if belt_bands is not None and hearing.band_power.size >= belt_bands.size:
        db = power_to_db(np.maximum(hearing.band_power[: belt_bands.size], 1e-30))
        in_bands = float((belt_bands * db).sum() / belt_bands.sum())
    looked = looked_for(hearing, sheet) if part else None
    lines_db, beat_db = engine_levels(hearing, own, cycle_order(sheet))
    return Signs(
        own_db=None if level is None else level.level_db,
        belt_band_db=in_bands,
        whole_db=_sum_db(hearing.band_power),
        quiet_db=_sum_db(hearing.band_quiet),
        engine_lines_db=lines_db,
        engine_beat_db=beat_db,
        bursts=float(np.log1p(np.maximum(hearing.band_kurtosis, 0.0)).mean()),
        clearness=None if looked is None else _clearness(looked[1], part),
    )


def _clearness(found: Sequence[Found], part: str) -> float:
    """How clear the part's lines stand in the rhythm, summed over its families."""
    return float(
        sum(
            max(one.family.significance - 1.0, 0.0)
            for one in found
            if one.part == part and one.spectrum == "envelope"
        )
    )


def _sum_db(power: Float64) -> float:
    return float(power_to_db(max(float(power.sum()), 1e-30)))
