"""How likely the noise sits at each of the housings probed, by all that the takes say of it.

A housing's own level is one sign among several: the level of the suspect's own lines, of the band
that went with the belt, of the whole sound, each over what the engine itself shows there; how
burst-like the sound is, and how clear the suspect's lines stand in it. The engine's levels carry a
minus, so that most of a take's gain drops out.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from typing import Final

import numpy as np

from beltside.base.errors import InputError
from beltside.base.units import power_to_db
from beltside.sound.gate import Float64
from beltside.sound.hearing import Hearing
from beltside.sound.housing import OwnSound, lines_over_background, require_two_places

OWN_WEIGHT: Final = {"rhythm": 0.16, "tones": 0.09, "band": 0.0}
"""Weight of the suspect's own level, by what it was read from [nats per dB]."""

WEIGHTS: Final = {
    "belt_band_db": 0.18,
    "whole_db": 0.57,
    "quiet_db": -0.2,
    "engine_lines_db": -0.2,
    "engine_beat_db": -0.26,
    "bursts": 0.82,
    "clearness": 0.26,
}
"""Weights of the other signs [nats per dB, per unit of the last two]. All of them fitted on cars
of five simulators by `scripts/fit_housing.py` (docs/methods/housing-map.md)."""

ENGINE_LINES: Final = (2.0, 40.0)
"""Lowest and highest order of the engine's lines whose mean level counts [per crank turn]."""

ENGINE_BEAT_TOP: Final = 12.0
"""Highest order at which the engine beats, for its beat's level [per crank turn]."""

LINE_FLOOR: Final = 0.3
"""A line that does not stand out counts as this share of its background; own choice."""

MOST_DB: Final = 25.0
"""A sign this far from the mean of the places says no more than at this distance; own choice."""


@dataclass(frozen=True)
class Signs:
    """What one take says of the place it was made at; None where it can't be read.

    Attributes
    ----------
    own_db
        Level of the suspect's own sound, as recorded [dB].
    belt_band_db
        Level in the bands that went with the belt [dB].
    whole_db, quiet_db
        Level of the whole sound, and what each band stays above 90 % of the time, summed [dB].
    engine_lines_db, engine_beat_db
        From `engine_levels` [dB].
    bursts
        Mean over the bands of ln(1 + kurtosis), kurtosis 0 for steady noise; 0 and more.
    clearness
        How clear the suspect's lines stand in the rhythm: -log10 of the false-alarm probability
        beyond 1, summed over its families; 0 and more.
    """

    own_db: float | None
    belt_band_db: float | None
    whole_db: float
    quiet_db: float
    engine_lines_db: float | None
    engine_beat_db: float | None
    bursts: float
    clearness: float | None


def engine_levels(
    hearing: Hearing, own: OwnSound, cycle_order: float
) -> tuple[float | None, float | None]:
    """How loud the engine itself is in a take [dB]: its lines, and its beat; None when there is no
    crank speed or every order is the suspect's.

    The lines' level is the mean of their decibels, so that no single one decides. The beat is, in
    each band, the power that swings with the working cycle (`housing.own_level`), summed over the
    bands.

    Parameters
    ----------
    own
        The suspect's sound; its orders are left out.
    cycle_order
        0.5 for a four-stroke engine, 1 for a two-stroke.
    """
    if hearing.orders is None:
        return None, None
    sound, spectrum = hearing.orders.sound, hearing.orders.envelope
    first, last = (round(order / cycle_order) for order in ENGINE_LINES)
    order = cycle_order * np.arange(first, last + 1, dtype=np.float64)
    lines = _foreign(order[order < sound.order[-4]], own.tone_orders, sound.step)
    level = None
    if lines:
        above, background = lines_over_background(sound.power[None, :], sound.step, lines)
        level = float(power_to_db(np.maximum(above, LINE_FLOOR * background)).mean())
    cycles = cycle_order * np.arange(1, round(ENGINE_BEAT_TOP / cycle_order) + 1, dtype=np.float64)
    beats = _foreign(cycles, own.rhythm_orders, spectrum.step)
    beat = None
    if beats:
        above, _ = lines_over_background(spectrum.power, spectrum.step, beats)
        swing = hearing.band_power * np.sqrt(2.0 * above.sum(axis=1) + 1e-6)
        beat = float(power_to_db(max(float(swing.sum()), 1e-30)))
    return level, beat


def _foreign(orders: Float64, mine: Sequence[float], step: float) -> tuple[float, ...]:
    """Orders that are none of the suspect's."""
    return tuple(one for one in orders.tolist() if all(abs(one - own) > 3.0 * step for own in mine))


def chances(parts: Sequence[str], takes: Sequence[Signs], by: str) -> dict[str, float]:
    """Probability of each place to be where the noise sits, one of them taken for granted.

    A multinomial logit (McFadden 1974): each sign counts as its difference from the mean of the
    places, times its weight. A sign that can't be read at a place counts as the mean there.

    Parameters
    ----------
    parts, takes
        Where the probe was held and what was read, one each for every take; takes at one place
        count by their mean.
    by
        "rhythm", "tones" or "band": what the own level was read from.

    Returns
    -------
    dict
        Part to probability, 0 to 1, adding up to 1, in the order the parts were first probed.

    Raises
    ------
    InputError
        With fewer than two housings, or when `by` is none of these.
    """
    names = require_two_places(parts)
    if by not in OWN_WEIGHT:
        raise InputError(f"a level by {by!r}", allowed="rhythm, tones or band")
    weights = {"own_db": OWN_WEIGHT[by], **WEIGHTS}
    table = sign_table(parts, takes)
    score = sum((weight * table[name] for name, weight in weights.items()), np.zeros(len(names)))
    share = np.exp(score - score.max())
    return dict(zip(names, (share / share.sum()).tolist(), strict=True))


def sign_table(parts: Sequence[str], takes: Sequence[Signs]) -> Mapping[str, Float64]:
    """Each sign at each place over the mean of the places, limited to +-`MOST_DB`, shape
    (places,) each; all 0 where fewer than two places show it."""
    names = list(dict.fromkeys(parts))
    table: dict[str, Float64] = {}
    for sign in fields(Signs):
        value = np.full(len(names), np.nan)
        for index, name in enumerate(names):
            here = [
                getattr(take, sign.name)
                for take, part in zip(takes, parts, strict=True)
                if part == name and getattr(take, sign.name) is not None
            ]
            if here:
                value[index] = float(np.mean(here))
        known = np.isfinite(value)
        if known.sum() < 2:
            table[sign.name] = np.zeros(len(names))
            continue
        value = np.where(known, value, value[known].mean())
        table[sign.name] = np.clip(value - value.mean(), -MOST_DB, MOST_DB)
    return table
