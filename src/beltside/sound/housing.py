"""Where on the engine a sound is loudest: the probe held on one housing after another.

What is compared is not the whole take but the suspect's own sound: the beat of its lines, or its
band. Each take has its own gain (the phone's, and the pressure of the hand), which is estimated
from what the suspect has no part in: the engine's lines, its beat, and the bands beside.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import scipy.ndimage
from scipy import stats

from beltside.base.errors import InputError, OutOfRangeError
from beltside.base.units import power_to_db
from beltside.sound.gate import Float64
from beltside.sound.hearing import Hearing

ENGINE_ORDERS: Final = (2.0, 12.0)
"""Engine lines between these orders carry a level that no belt-driven part changes."""

CONTACT_DB: Final = {"rhythm": 2.0, "tones": 5.0, "band": 3.0}
"""Standard deviation of what one housing passes on against another, the gain apart [dB]. A single
tone stands in the metal in waves, so its level changes within a hand's breadth. Set on simulated
engines (docs/methods/housing-map.md); common practice, no source."""

REFERENCE_ERROR_DB: Final = {
    "rhythm": {"firing beat": 3.0, "engine lines": 8.0},
    "tones": {"engine lines": 5.0},
    "band": {"firing beat": 3.0, "engine lines": 8.0},
}
"""How well each reference tells the gain, by what is compared [dB]: tones by the engine's own
tones, not by a beat heard in other bands. Set on simulated engines (docs/methods/housing-map.md).
"""

GAIN_SPREAD_DB: Final = 5.0
"""Usual difference in gain between probe takes [dB]; common practice, no source."""

HEARD_OVER_NOISE: Final = 2.0
"""A beat counts as heard from this many times the power that noise alone would show."""

_WINDOW: Final = 25


@dataclass(frozen=True)
class OwnSound:
    """What to listen for.

    Attributes
    ----------
    rhythm_orders
        Orders of its lines in the loudness of the bands [per crank turn]; empty for none.
    tone_orders
        Orders of its lines in the sound itself; empty for none.
    low_hz, high_hz
        Its band [Hz].
    """

    rhythm_orders: tuple[float, ...]
    tone_orders: tuple[float, ...]
    low_hz: float
    high_hz: float


@dataclass(frozen=True)
class OwnLevel:
    """The suspect's own sound in one take.

    Attributes
    ----------
    level_db
        Its level, not yet corrected for the take's gain [dB, full scale]; what noise would show
        when it is not heard.
    error_db
        Standard deviation from the take's length alone [dB].
    heard
        Whether it stands above noise.
    by
        "rhythm", "tones" or "band": what the level was read from.
    """

    level_db: float
    error_db: float
    heard: bool
    by: str


@dataclass(frozen=True)
class Place:
    """One housing on the map.

    Attributes
    ----------
    part
        Where the probe was held.
    level_db
        Level of the suspect's own sound over the mean of all places, the gains of the takes
        taken off [dB].
    low_db, high_db
        90 % range of it.
    heard
        Whether it stands above noise there.
    loudest
        Probability that it is loudest here, among the places probed, 0 to 1.
    """

    part: str
    level_db: float
    low_db: float
    high_db: float
    heard: bool
    loudest: float


def own_level(hearing: Hearing, own: OwnSound, *, by: str) -> OwnLevel:
    """Level of a suspect's own sound in one take.

    By "rhythm": in each band the power that beats at its orders is mean power x sqrt(2 P), P the
    envelope's power above background summed over the orders: the share of the band that swings
    with the suspect, whatever steady sound lies over it. Summed over the bands. By "tones": the
    power of its lines above background. By "band": the mean square in its band.

    Raises
    ------
    InputError
        When `by` is none of these, or there is no crank speed for the first two.
    """
    if by == "band":
        return OwnLevel(_band_db(hearing, own), 0.5, True, by)
    if by not in ("rhythm", "tones"):
        raise InputError(f"a level by {by!r}", allowed="rhythm, tones or band")
    if hearing.orders is None:
        raise InputError(
            f"a level by {by} without a crank speed", allowed="by band", instead="stating the speed"
        )
    if by == "tones":
        sound = hearing.orders.sound
        above, background = lines_over_background(sound.power[None, :], sound.step, own.tone_orders)
        signal, noise = float(above.sum()), float(background.sum()) / np.sqrt(sound.averages)
        return _level(signal, noise, sound.averages, len(own.tone_orders), by)
    spectrum = hearing.orders.envelope
    above, background = lines_over_background(spectrum.power, spectrum.step, own.rhythm_orders)
    inside = _bands(hearing, own)
    # Amplitudes of the beat, so that bands add as the powers they are.
    beat = hearing.band_power * np.sqrt(2.0 * above.sum(axis=1))
    noise_beat = hearing.band_power * np.sqrt(
        2.0 * background.sum(axis=1) / np.sqrt(spectrum.averages)
    )
    lines = len(own.rhythm_orders) * int(inside.sum())
    return _level(
        float(beat[inside].sum()), float(noise_beat[inside].sum()), spectrum.averages, lines, by
    )


def _level(signal: float, noise: float, averages: float, lines: int, by: str) -> OwnLevel:
    heard = signal > HEARD_OVER_NOISE * noise and signal > 0.0
    size = max(signal, noise, 1e-30)
    relative = np.sqrt(1.0 / max(averages * max(lines, 1), 1.0) + (noise / size) ** 2)
    return OwnLevel(float(power_to_db(size)), float(4.343 * min(relative, 2.0)) + 0.3, heard, by)


def lines_over_background(
    power: Float64, step: float, orders: Sequence[float]
) -> tuple[Float64, Float64]:
    """Power above background at each order, best of three bins, and background: (rows, lines)."""
    place = np.rint(np.asarray(orders, dtype=np.float64) / step).astype(np.intp)
    place = place[(place > 1) & (place < power.shape[1] - 2)]
    if place.size == 0:
        raise OutOfRangeError(
            f"lines at orders {', '.join(f'{order:.2f}' for order in orders) or 'none'}",
            allowed=f"{2 * step:.2f} to {step * (power.shape[1] - 3):.1f}",
            instead="comparing the band",
        )
    background = np.exp(
        scipy.ndimage.median_filter(
            np.log(np.maximum(power, 1e-20)), size=(1, _WINDOW), mode="nearest"
        )
    )
    near = np.stack([power[:, place + shift] for shift in (-1, 0, 1)]).max(axis=0)
    # Of three noisy bins the best is about twice the median of one.
    return np.maximum(near - 2.0 * background[:, place], 0.0), background[:, place]


def _bands(hearing: Hearing, own: OwnSound) -> npt.NDArray[np.bool_]:
    centre = np.array([band.centre_hz for band in hearing.bands])
    inside = (centre >= own.low_hz) & (centre <= own.high_hz)
    if not inside.any():
        raise OutOfRangeError(
            f"a band from {own.low_hz:g} to {own.high_hz:g} Hz",
            allowed=f"a band that holds one of {', '.join(f'{c:.0f}' for c in centre)} Hz",
            instead="a wider band",
        )
    return inside


def _band_db(hearing: Hearing, own: OwnSound) -> float:
    return float(power_to_db(float(hearing.band_power[_bands(hearing, own)].sum())))


def references(
    hearing: Hearing, own: OwnSound, *, cycle_order: float, firing_order: float
) -> dict[str, float]:
    """Levels in a take that the suspect has no part in [dB]; as many as can be read.

    "engine lines": the engine's own lines of orders 2 to 12. "firing beat": what beats with the
    firing in the suspect's own band, so that a phone's colour and the rod's count alike.

    Parameters
    ----------
    cycle_order
        0.5 for a four-stroke engine, 1 for a two-stroke.
    firing_order
        Firings per crank turn.
    """
    found: dict[str, float] = {}
    inside = _bands(hearing, own)
    if hearing.orders is None:
        return found
    mine = np.array([*own.rhythm_orders, *own.tone_orders])

    def foreign(orders: Float64, step: float) -> tuple[float, ...]:
        if mine.size == 0:
            return tuple(orders)
        clear = np.abs(orders[:, None] - mine[None, :]).min(axis=1) > 3.0 * step
        return tuple(orders[clear])

    sound = hearing.orders.sound
    first = int(np.ceil(ENGINE_ORDERS[0] / cycle_order))
    last = int(ENGINE_ORDERS[1] / cycle_order)
    lines = foreign(cycle_order * np.arange(first, last + 1, dtype=np.float64), sound.step)
    if lines:
        above, _ = lines_over_background(sound.power[None, :], sound.step, lines)
        if above.sum() > 0.0:
            found["engine lines"] = float(power_to_db(float(above.sum())))
    spectrum = hearing.orders.envelope
    firing = foreign(firing_order * np.arange(1.0, 4.0), spectrum.step)
    if firing:
        above, background = lines_over_background(spectrum.power, spectrum.step, firing)
        beat = hearing.band_power * np.sqrt(2.0 * above.sum(axis=1))
        if float(above[inside].sum()) > float(background[inside].sum()):
            found["firing beat"] = float(power_to_db(float(beat[inside].sum())))
    return found


def gains(takes: Sequence[Mapping[str, float]], by: str = "rhythm") -> tuple[Float64, Float64]:
    """Gain of each take over their mean, and its standard deviation [dB], each shape (takes,).

    Only references read in every take count, each as well as `REFERENCE_ERROR_DB` says for
    what is compared: "rhythm", "tones" or "band". Before
    anything is read the gain is 0 give or take `GAIN_SPREAD_DB` (a phone without automatic gain
    and a steady hand); all of it is joined by inverse variances.
    """
    if not takes:
        raise InputError("no take", allowed="one take or more")
    gain = np.zeros(len(takes))
    precision = 1.0 / GAIN_SPREAD_DB**2
    for name, error_db in REFERENCE_ERROR_DB[by].items():
        if all(name in take for take in takes):
            level = np.array([take[name] for take in takes])
            gain += (level - level.mean()) / error_db**2
            precision += 1.0 / error_db**2
    return gain / precision, np.full(len(takes), precision**-0.5)


def rank_places(
    parts: Sequence[str],
    levels: Sequence[OwnLevel],
    gain_db: npt.ArrayLike,
    gain_error_db: npt.ArrayLike,
    *,
    contact_db: float | None = None,
) -> tuple[Place, ...]:
    """Rank housings by the suspect's own sound, the loudest first.

    Several takes on one housing are one place: their mean, weighted by their errors. Errors of
    the level, the gain and the contact add as squares; the probability of being loudest is the
    normal integral of phi_i times the product of the others' Phi.

    Parameters
    ----------
    parts, levels
        Where the probe was held and what was read, one each for every take.
    gain_db, gain_error_db
        From `gains`, shape (takes,) [dB].
    contact_db
        Standard deviation of what a housing passes on [dB]; `CONTACT_DB` by default.

    Raises
    ------
    InputError
        With fewer than two housings: one place can't be louder than itself.
    """
    names = require_two_places(parts)
    if contact_db is None:
        contact_db = max(CONTACT_DB[one.by] for one in levels)
    gain, gain_error = np.asarray(gain_db, dtype=float), np.asarray(gain_error_db, dtype=float)
    each = np.array([one.level_db for one in levels]) - gain
    own_error = np.hypot([one.error_db for one in levels], gain_error)
    middle, error, heard = [], [], []
    for name in names:
        here = np.array([part == name for part in parts])
        weight = 1.0 / own_error[here] ** 2
        middle.append(float((each[here] * weight).sum() / weight.sum()))
        error.append(float(np.sqrt(1.0 / weight.sum() + contact_db**2 / here.sum())))
        heard.append(any(one.heard for one, is_here in zip(levels, here, strict=True) if is_here))
    level = np.array(middle) - np.mean(middle)
    spread = np.array(error)
    loudest = probability_of_most(level, spread)
    reach = 1.645 * spread
    places = [
        Place(
            name,
            float(level[index]),
            float(level[index] - reach[index]),
            float(level[index] + reach[index]),
            heard[index],
            float(loudest[index]),
        )
        for index, name in enumerate(names)
    ]
    return tuple(sorted(places, key=lambda place: -place.level_db))


def require_two_places(parts: Sequence[str]) -> list[str]:
    """The places probed, each once; InputError when there are fewer than two."""
    names = list(dict.fromkeys(parts))
    if len(names) < 2:
        raise InputError(
            f"the probe was held on {names[0] if names else 'nothing'} only",
            allowed="takes with the probe on two housings or more",
            instead="a take of the same length on each of its neighbours",
        )
    return names


def probability_of_most(middle: Float64, error: Float64) -> Float64:
    """Probability of each of several independent normal values to be the largest; sums to 1.

    >>> [round(float(p), 3) for p in probability_of_most(np.zeros(2), np.ones(2))]
    [0.5, 0.5]
    """
    reach = 6.0 * float(error.max())
    x = np.linspace(float(middle.min()) - reach, float(middle.max()) + reach, 2001)
    below = stats.norm.cdf(x[:, None], middle, error)
    log_below = np.log(np.maximum(below, 1e-300))
    others = np.exp(log_below.sum(axis=1, keepdims=True) - log_below)
    mass = (stats.norm.pdf(x[:, None], middle, error) * others).sum(axis=0)
    result: Float64 = mass / mass.sum()
    return result
