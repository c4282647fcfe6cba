"""Whether two takes may be compared at all, and if not, why."""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from beltside.casework.crank_speed import CrankSpeed
from beltside.sound.compare_gain import Gain
from beltside.sound.compare_muffled import Tilt, muffled_chance
from beltside.sound.gate import Float32
from beltside.sound.level import clipping_share, wind_indicator

SILENCE: Final = 1e-4
CLIPPED_SHARE: Final = 2e-3
"""From this share of samples on flat tops the overtones are the recorder's; own choice."""

CLIPPED_WORTH_SAYING: Final = 2e-4
WIND_SCORE: Final = 0.35
FEWEST_TURNS: Final = 40.0
SHORTEST_S: Final = 3.0

STRAY_DB: Final = 5.0
"""Engine lines that stray more than this against each other are another engine's, or the same
one's heard from another place; from simulated pairs, docs/methods/compare.md."""

MOST_MUFFLED: Final = 0.1
"""Chance of a muffled take up to which takes are compared: a wrong number costs more than one more
recording. Own choice."""

COLOUR_DB: Final = 10.0
"""A change of the engine's own sound over frequency beyond this is no other phone, it is a hood,
a hand over the microphone or another place; from simulated pairs."""


def clipped_share(samples: Float32) -> float:
    """Share of samples on flat tops, shape (channels, n), 0 to 1."""
    return clipping_share(samples)


def recording_reasons(
    name: str, samples: Float32, sample_rate_hz: int, clipped: float
) -> list[str]:
    """What of one recording forbids a comparison.

    `clipped` is the share of samples on flat tops as reading the file showed.
    """
    said = []
    if clipped >= CLIPPED_SHARE:
        said.append(
            f"{100.0 * clipped:.2g} % of {name} is flattened on top (clipped), so its level "
            "and overtones are not the engine's. Hold the phone further away and record again"
        )
    if samples.shape[-1] >= 2 * sample_rate_hz and sample_rate_hz >= 1000:
        wind = wind_indicator(samples[:2], sample_rate_hz)
        if wind.score >= WIND_SCORE:
            said.append(
                f"there is wind in {name}: gusts below 100 Hz make {100.0 * wind.low_share:.0f} % "
                "of its power. Shield the phone and record again"
            )
    return said


def same_recording(one: Float32, other: Float32) -> bool:
    """Whether two recordings hold the same samples."""
    return one.shape == other.shape and bool(np.array_equal(one, other))


def speed_reasons(names: tuple[str, str], cranks: tuple[CrankSpeed, CrankSpeed]) -> list[str]:
    """Why the speeds do not allow it."""
    said = []
    for name, crank in zip(names, cranks, strict=True):
        if crank.track is None:
            why = (crank.reason or "no reason given").rstrip(".")
            said.append(
                f"the crank speed of {name} can't be told ({why}). Give it with --before-rpm or "
                "--after-rpm, or record 15 s at a steady idle"
            )
    return said


def gain_reasons(gain: Gain, power: npt.NDArray[np.float64]) -> list[str]:
    """What the engine's own sound says about place, hood and engine.

    `power` is the first take's power in each of the gain's bands, shape (b,).
    """
    said = []
    if gain.scatter_db > STRAY_DB:
        said.append(
            f"the engine's own lines stray by {gain.scatter_db:.0f} dB against each other from "
            "one take to the other: another engine, or the phone was held at another place"
        )
    heard = (gain.at_hz >= 200.0) & (gain.at_hz <= 8000.0) & (power > 1e-6 * power.max())
    if heard.any():
        sure = np.sqrt(np.diag(gain.covariance))[heard]
        shape = gain.db[heard]
        swing = float(shape.max() - shape.min())
        doubt = float(np.hypot(sure[np.argmax(shape)], sure[np.argmin(shape)]))
        if swing - doubt > COLOUR_DB:
            said.append(
                f"the engine's own sound changed its colour by {swing:.0f} dB between low and high "
                "pitch: the hood was shut in one take, something covered the phone, or it was "
                "held at another place"
            )
    return said


def muffled_reasons(names: tuple[str, str], engine: Tilt, level_db: float | None) -> list[str]:
    """Whether a hood, a cloth or a hand muffled one of the takes; `level_db` is the tilt of the
    level of all sound [dB per octave]."""
    chance = muffled_chance(engine, level_db)
    if chance <= MOST_MUFFLED:
        return []
    told = engine.sd_db is not None and abs(engine.db) > 2.0 * engine.sd_db
    falls = engine.db if told or level_db is None else level_db
    which = names[1] if falls < 0.0 else names[0]
    sure = min(100.0 * chance, 99.0)
    if told:
        return [
            f"the engine's own sound falls off by {abs(falls):.0f} dB more with each octave in "
            f"{which} than in the other take, as when the hood is shut or something covers the "
            f"phone ({sure:.0f} % likely). Record again with the hood as in the other "
            "take"
        ]
    return [
        f"all sound falls off by {abs(falls):.0f} dB more with each octave in {which} than in the "
        "other take, as when the hood is shut or something covers the phone, and too little of "
        f"the engine itself is heard to tell that from a repair ({sure:.0f} % likely). "
        "Record again with the hood as in the other take"
    ]
