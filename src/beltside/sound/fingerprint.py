"""A take's sound by crank order, made so that speed, level and phone change it little.

The loudness of each zone of the sound beats with what turns in the engine. How deep it beats
does not depend on the recording's level, nor on how a phone colours a narrow band; at which order
it beats does not depend on speed. The fingerprint keeps, over order, how clearly and how deep each
zone beats, which tones stand out, and a few measures that need no crank speed. docs/methods/
fingerprint.md says what was tried and how well it tells causes apart.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import scipy.ndimage

from beltside.base.errors import InputError
from beltside.sound.gate import Float64, steps_of
from beltside.sound.hearing import Hearing

_EDGES_HZ: Final = (400.0, 700.0, 1200.0, 2100.0, 3500.0, 6000.0, 10000.0, 18000.0)

ZONES_HZ: Final = tuple(pairwise(_EDGES_HZ))
"""Zones of about three quarters of an octave in which the rhythm is kept [Hz]: what beats where.
Chosen on simulated engines (docs/methods/fingerprint.md)."""

TEXTURE_ZONES_HZ: Final = ((400.0, 1200.0), (1200.0, 4000.0), (4000.0, 18000.0))
"""Low, middle and high zone [Hz]: growl and knock, most bearing resonances, hiss and tick. The
same as in docs/methods/odds.md; own choice."""

ORDER_STEP: Final = 1.0 / 16.0
RHYTHM_ORDERS: Final = (0.25, 24.0)
TONE_ORDERS: Final = (0.5, 96.0)
"""Lowest and highest order kept; own choice."""

_RHYTHM_WINDOW: Final = 25
_TONE_WINDOW: Final = 41

WEIGHTS: Final = {"rhythm": 1.0, "tones": 0.4}
"""Weight of each likeness; chosen on simulated engines (docs/methods/fingerprint.md)."""

TEXTURE_WEIGHT: Final = 0.2
"""How alike two takes can be called by texture alone: it hardly tells causes apart."""

TEXTURE_SCALE: Final = np.array([0.8, 1.0, 0.9, 2.2, 2.1, 2.0, 0.6])
"""Usual difference of each texture measure between two takes (own measurement on simulated
engines)."""


@dataclass(frozen=True)
class Fingerprint:
    """What is kept of a take.

    Attributes
    ----------
    rhythm
        How clearly and how deep each zone's loudness beats, shape (zones, orders), 0 or more; a
        zone beyond the recording's reach is all 0. None when the crank speed is not known.
    tones
        How clearly tones stand out, shape (orders,), 0 or more; None likewise.
    texture
        Seven measures that need no crank speed: burstiness of the low, middle and high zone,
        their steadiness [dB / 3], share that squeals.
    """

    rhythm: Float64 | None
    tones: Float64 | None
    texture: Float64

    def to_json(self) -> dict[str, Any]:
        """Plain lists, four digits."""

        def plain(values: Float64 | None) -> Any:
            return None if values is None else np.round(values, 4).tolist()

        return {
            "rhythm": plain(self.rhythm),
            "tones": plain(self.tones),
            "texture": plain(self.texture),
        }

    @classmethod
    def from_json(cls, plain: Mapping[str, Any]) -> Fingerprint:
        """The fingerprint behind `to_json`.

        Raises
        ------
        InputError
            When a part is missing, not finite or not of its size.
        """

        def read(name: str, shape: tuple[int, ...], *, may_miss: bool) -> Float64 | None:
            value = plain.get(name)
            if value is None and may_miss:
                return None
            try:
                array: Float64 = np.asarray(value, dtype=np.float64)
            except (TypeError, ValueError):
                array = np.zeros(0)
            if array.shape != shape or not np.isfinite(array).all():
                raise InputError(
                    f"a fingerprint whose {name} has shape {array.shape}",
                    allowed=f"finite numbers of shape {shape}",
                    instead="making it again from the recording",
                )
            return array

        rhythm = read("rhythm", (len(ZONES_HZ), rhythm_orders().size), may_miss=True)
        tones = read("tones", (tone_orders().size,), may_miss=True)
        texture = read("texture", (TEXTURE_SCALE.size,), may_miss=False)
        assert texture is not None
        if (rhythm is None) != (tones is None):
            raise InputError(
                "a fingerprint with only one of rhythm and tones", allowed="both or neither"
            )
        return cls(rhythm, tones, texture)


def rhythm_orders() -> Float64:
    """Orders at which the rhythm is kept, shape (k,)."""
    return _grid(*RHYTHM_ORDERS)


def tone_orders() -> Float64:
    """Orders at which tones are kept, shape (k,)."""
    return _grid(*TONE_ORDERS)


def _grid(low: float, high: float) -> Float64:
    return low + steps_of(round((high - low) / ORDER_STEP) + 1, ORDER_STEP)


def fingerprint(hearing: Hearing) -> Fingerprint:
    """Fingerprint of one take.

    The rhythm at an order is ln(P / background) x (P - background)^(1/4), the mean of it over the
    bands of a zone, P being the power of the squared envelope over its own mean: a beat must both
    stand out and be deep. The power of 1/4 makes a beat half as deep count 0.7 times. Tones count
    by the root of ln(P / background). Backgrounds are running medians of ln P over 25 and 41 bins.

    Parameters
    ----------
    hearing
        From `hearing.hear_block` or `merge`; without a crank track only the texture is kept.
    """
    texture = _texture(hearing)
    if hearing.orders is None:
        return Fingerprint(None, None, texture)
    spectrum = hearing.orders.envelope
    clear, above = _over_background(spectrum.power, _RHYTHM_WINDOW)
    beat = clear * above**0.25
    rhythm = np.array(
        [
            beat[zone].mean(axis=0) if zone.any() else np.zeros(beat.shape[1])
            for zone in _zones(hearing, ZONES_HZ)
        ]
    )
    sound = hearing.orders.sound
    tones, _ = _over_background(sound.power[None, :], _TONE_WINDOW)
    return Fingerprint(
        _on(rhythm_orders(), spectrum.order, rhythm),
        np.sqrt(_on(tone_orders(), sound.order, tones)[0]),
        texture,
    )


def _over_background(power: Float64, window: int) -> tuple[Float64, Float64]:
    """ln of power over its running median, not below 0, and power above it; shape as given."""
    log_power = np.log(np.maximum(power, 1e-14))
    background = scipy.ndimage.median_filter(log_power, size=(1, window), mode="nearest")
    clear = np.maximum(log_power - background, 0.0)
    above = np.maximum(np.exp(log_power) - np.exp(background), 0.0)
    return clear, above


def _on(wanted: Float64, order: Float64, rows: Float64) -> Float64:
    """Rows (r, k) at the wanted orders; a line may have strayed one bin either way."""
    near = scipy.ndimage.maximum_filter1d(rows, 3, axis=1)
    return np.array([np.interp(wanted, order, row, right=0.0) for row in near])


def _zones(
    hearing: Hearing, zones_hz: Sequence[tuple[float, float]]
) -> list[npt.NDArray[np.bool_]]:
    centre = np.array([band.centre_hz for band in hearing.bands])
    return [(centre >= low) & (centre < high) for low, high in zones_hz]


def _texture(hearing: Hearing) -> Float64:
    burst, steady = [], []
    for zone in _zones(hearing, TEXTURE_ZONES_HZ):
        if not zone.any():
            burst.append(0.0)
            steady.append(0.0)
            continue
        burst.append(float(np.log1p(max(float(np.median(hearing.band_kurtosis[zone])), 0.0))))
        mean = max(float(hearing.band_power[zone].sum()), 1e-30)
        quiet = max(float(hearing.band_quiet[zone].sum()), 1e-3 * mean)
        steady.append(float(10.0 * np.log10(quiet / mean) / 3.0))
    squeal = sum(
        (one.end_s - one.start_s) * min(max(one.prominence_db - 12.0, 0.0) / 10.0, 2.0)
        for one in hearing.squeals
        if one.follows < 0.5
    )
    share = min(4.0 * squeal / max(hearing.seconds, 1.0), 3.0)
    return np.array([*burst, *steady, share])


@dataclass(frozen=True)
class Nuisance:
    """What changes between takes of one noise, and is left out when takes are compared.

    Attributes
    ----------
    mean
        What all takes have in common, shape (k,), k the length of `profile`.
    directions
        Orthonormal directions in which takes of one noise differ most (another speed, phone,
        spot), shape (n, k).
    """

    mean: Float64
    directions: Float64


def parse_nuisance(plain: Mapping[str, Any]) -> Nuisance:
    """The nuisance from plain values (sound/fingerprint_nuisance.json).

    Raises
    ------
    InputError
        When it was made for another fingerprint.
    """
    scale = float(plain["scale"])
    mean = np.asarray(plain["mean"], dtype=np.float64) / scale
    rows = np.asarray(plain["directions"], dtype=np.float64) / scale
    size = len(ZONES_HZ) * rhythm_orders().size + tone_orders().size
    if mean.shape != (size,) or rows.ndim != 2 or rows.shape[1] != size:
        raise InputError(
            f"nuisance of {mean.size} values",
            allowed=f"{size} values, those of a fingerprint",
            instead="python scripts/fit_fingerprint.py",
        )
    directions, _ = np.linalg.qr(rows.T)
    return Nuisance(mean, np.ascontiguousarray(directions.T))


def profile(one: Fingerprint) -> tuple[Float64, npt.NDArray[np.bool_]]:
    """Rhythm and tones as one row, each about its mean and of length 1 and root of its weight,
    shape (k,), and which of its values the recording reaches, shape (k,).

    Only for a fingerprint with a crank speed.
    """
    assert one.rhythm is not None
    assert one.tones is not None
    zones = one.rhythm.any(axis=1)
    rhythm = np.zeros_like(one.rhythm)
    if zones.any():
        rhythm[zones] = one.rhythm[zones] - one.rhythm[zones].mean()
    tones = one.tones - one.tones.mean()
    row = np.concatenate(
        [
            np.sqrt(WEIGHTS[name]) * part.ravel() / max(float(np.linalg.norm(part)), 1e-12)
            for name, part in (("rhythm", rhythm), ("tones", tones))
        ]
    )
    reached = np.concatenate((np.repeat(zones, rhythm.shape[1]), np.ones(tones.size, np.bool_)))
    return row, reached


def cleaned(one: Fingerprint, nuisance: Nuisance | None) -> tuple[Float64, npt.NDArray[np.bool_]]:
    """The profile without the nuisance (Solomonoff, Campbell & Boardman 2005), shape (k,), and
    which of its values the recording reaches, shape (k,)."""
    row, reached = profile(one)
    if nuisance is None:
        return row, reached
    row = np.where(reached, row - nuisance.mean, 0.0)
    return row - (row @ nuisance.directions.T) @ nuisance.directions, reached


def likeness(one: Fingerprint, other: Fingerprint, nuisance: Nuisance | None = None) -> float:
    """How alike two takes are: 1 the same, about 0 strangers; may fall below 0.

    The correlation of their profiles over the zones that both reach, the nuisance taken out of
    either. Where one take has no crank speed, only textures can be compared: `TEXTURE_WEIGHT` x
    exp(-d^2 / 2), d being the root mean square difference over its usual size.
    """
    if one.rhythm is None or other.rhythm is None:
        return _texture_likeness(one, other)
    return _alike(cleaned(one, nuisance), cleaned(other, nuisance))


def _texture_likeness(one: Fingerprint, other: Fingerprint) -> float:
    apart = np.mean(((one.texture - other.texture) / TEXTURE_SCALE) ** 2)
    return TEXTURE_WEIGHT * float(np.exp(-0.5 * apart))


def _alike(
    one: tuple[Float64, npt.NDArray[np.bool_]], other: tuple[Float64, npt.NDArray[np.bool_]]
) -> float:
    """Cosine over what both reach, 0 when one of them is flat."""
    both = one[1] & other[1]
    first, second = one[0] * both, other[0] * both
    size = float(np.linalg.norm(first) * np.linalg.norm(second))
    return float(first @ second) / size if size > 0.0 else 0.0


def distance(one: Fingerprint, other: Fingerprint, nuisance: Nuisance | None = None) -> float:
    """1 less the likeness, not below 0: 0 the same, 1 and more strangers; symmetric."""
    return max(1.0 - likeness(one, other, nuisance), 0.0)


def distances(
    asked: Fingerprint, known: Sequence[Fingerprint], nuisance: Nuisance | None = None
) -> Float64:
    """Distance of one take to each of several, shape (len(known),)."""
    mine = None if asked.rhythm is None else cleaned(asked, nuisance)
    each = [
        _texture_likeness(asked, one)
        if mine is None or one.rhythm is None
        else _alike(mine, cleaned(one, nuisance))
        for one in known
    ]
    return np.maximum(1.0 - np.array(each, dtype=np.float64), 0.0)


def nearest(
    asked: Fingerprint,
    known: Sequence[Fingerprint],
    most: int = 5,
    nuisance: Nuisance | None = None,
) -> list[tuple[int, float]]:
    """Places in `known` and distances of the nearest takes, the nearest first.

    Parameters
    ----------
    asked
        The take in question.
    known
        Those to compare it with.
    most
        How many are wanted.
    nuisance
        What to leave out.
    """
    each = distances(asked, known, nuisance)
    order = np.argsort(each, kind="stable")[:most]
    return [(int(index), float(each[index])) for index in order]
