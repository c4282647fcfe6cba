"""How the phone was held for stereo takes, and where it was at every moment."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from beltside.base.errors import InputError, require_range
from beltside.base.words import suggest_part
from beltside.drive.sheet import DriveSheet
from beltside.sound.pointing import PlacedMap

Float64 = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Setup:
    """How the takes were made.

    Attributes
    ----------
    mic_spacing_mm, stand_off_mm
        Distance of the two microphones, and from the phone to the pulleys [mm]; None if unknown.
    held
        "across": microphones left and right; "upright": first one at the bottom.
    at
        Where the phone was for each take: a part's name or mm right of (above) the crank, or
        several of them with ":" between for a phone moved steadily from one to the next.
    swap
        Exchange the channels.
    """

    mic_spacing_mm: float | None = None
    stand_off_mm: float | None = None
    held: str = "across"
    at: tuple[str, ...] = ()
    swap: bool = False


def positions(setup: Setup, sheet: DriveSheet | None, count: int) -> list[list[float]]:
    """Where the phone was in each take: one or more places along its line [mm]."""
    given = list(setup.at)
    if not given:
        return [[0.0]] * count
    if len(given) == 1 and count > 1:
        given *= count
    if len(given) != count:
        raise InputError(
            f"{len(given)} places for {count} takes",
            allowed="one place for each take, or one for all",
            instead="--at once for each take, in their order",
        )
    return [[_place(word, setup.held, sheet) for word in text.split(":")] for text in given]


def _place(word: str, held: str, sheet: DriveSheet | None) -> float:
    word = word.strip()
    try:
        value = float(word)
    except ValueError:
        pass
    else:
        return require_range("place of the phone", value, -2000.0, 2000.0, "mm")
    placed = {
        pulley.part: pulley
        for pulley in (sheet.pulleys if sheet else ())
        if pulley.x_mm is not None and pulley.y_mm is not None
    }
    name = word.lower().replace(" ", "-")
    if name in placed:
        spot = placed[name].x_mm if held == "across" else placed[name].y_mm
        return float(spot or 0.0)
    close = suggest_part(name, placed)
    raise InputError(
        f'the phone at "{word}"',
        allowed="mm right of the crank (above it when held upright), or a part with a position on "
        f"the drive sheet: {', '.join(placed) or 'none is given'}",
        instead=close or "0",
    )


def over_time(knots: list[float], time_s: Float64, seconds: float) -> Float64:
    """The phone's place at every moment: steadily from one place to the next."""
    if len(knots) == 1:
        return np.full(time_s.size, knots[0])
    return np.interp(time_s, np.linspace(0.0, seconds, len(knots)), knots)


def ends(placed: Sequence[PlacedMap], sheet: DriveSheet | None, held: str) -> tuple[float, float]:
    """Stretch searched: all pulleys and the phone's own places, 250 mm beyond either way."""
    at = [float(value) for one in placed for value in (one.phone_mm.min(), one.phone_mm.max())]
    for pulley in sheet.pulleys if sheet else ():
        value = pulley.x_mm if held == "across" else pulley.y_mm
        if value is not None:
            at.append(float(value))
    return min(at) - 250.0, min(max(at) + 250.0, min(at) + 4500.0)
