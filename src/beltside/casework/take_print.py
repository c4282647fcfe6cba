"""From a take that was listened to, to its fingerprint under each speed it may have."""

from __future__ import annotations

from typing import Final

import numpy as np

from beltside.casework.crank_speed import CrankSpeed, find_crank
from beltside.casework.takes import Mono, Source, crank_sound, hear
from beltside.drive.sheet import DriveSheet
from beltside.sound.fingerprint import MOST_SPEEDS, Fingerprint, fingerprint
from beltside.sound.hearing import Hearing, OrderHearing, orders_of_block
from beltside.sound.track import CrankTrack

OTHER_SPEEDS_S: Final = 8.0
"""So much of a take is heard again under its other likely speeds [s]: enough turns for all
orders, and little time."""

WORTH_A_LOOK: Final = 0.02
"""Beside a speed that was believed, others count from this probability on; own choice."""

FEWEST_TURNS: Final = 8.0
SAME_SPEED: Final = 0.02


def take_print(source: Source, crank: CrankSpeed, hearing: Hearing) -> Fingerprint:
    """The fingerprint of a take whose speed was sought and that was listened to by it.

    A speed not sure enough to be shown is used here all the same: in a comparison a wrong one only
    makes a take a stranger.

    Parameters
    ----------
    source
        Its sound, for another look at the beginning.
    crank
        Its speed, and the other likely ones.
    hearing
        What was heard by `crank.track`.
    """
    speeds: list[tuple[OrderHearing | None, float]] = []
    if crank.track is not None:
        speeds.append((hearing.orders, crank.confidence))
    others = [
        (track, chance)
        for track, chance in crank.likely
        if crank.track is None or (chance >= WORTH_A_LOOK and not _same(track, crank.track))
    ][: MOST_SPEEDS - len(speeds)]
    if others:
        samples = Mono()(next(iter(source.blocks(OTHER_SPEEDS_S))))
        seconds = np.array([samples.size / source.sample_rate_hz])
        others = [one for one in others if float(one[0].turns_at(seconds)[0]) >= FEWEST_TURNS]
        tracks = [track for track, _ in others]
        heard = orders_of_block(samples, source.sample_rate_hz, tracks)
        speeds += [(orders, chance) for orders, (_, chance) in zip(heard, others, strict=True)]
    return fingerprint(hearing, speeds)


def _same(one: CrankTrack, other: CrankTrack) -> bool:
    return abs(one.rpm_median / other.rpm_median - 1.0) < SAME_SPEED


def print_of(source: Source, sheet: DriveSheet, *, stated_rpm: float | None = None) -> Fingerprint:
    """Fingerprint of a take nobody listened to yet.

    Parameters
    ----------
    source, sheet
        Its sound and its engine.
    stated_rpm
        Speed read off the dash [1/min].
    """
    crank = find_crank(crank_sound(source), sheet, stated_rpm=stated_rpm)
    return take_print(source, crank, hear(source, crank.track))
