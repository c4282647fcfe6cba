"""What `compare` hands back, and the JSON other programs rely on. Positive is quieter."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from beltside.base.provenance import Provenance
from beltside.casework.picture_data import OrderSpectrum
from beltside.casework.results import Crank, _provenance_json


@dataclass(frozen=True)
class Range:
    """An estimate with its 90 % range.

    Attributes
    ----------
    value
        The estimate; None when it can't be told.
    low, high
        Ends of the range; None where that end is open.
    """

    value: float | None = None
    low: float | None = None
    high: float | None = None

    def __post_init__(self) -> None:
        known = [one for one in (self.low, self.value, self.high) if one is not None]
        if not all(math.isfinite(one) for one in known) or known != sorted(known):
            raise ValueError(f"low {self.low}, value {self.value}, high {self.high} do not rise")

    def to_json(self, digits: int = 2) -> dict[str, float | None]:
        """Plain dict, rounded."""
        return {
            name: None if number is None else round(number, digits)
            for name, number in (("value", self.value), ("low", self.low), ("high", self.high))
        }


@dataclass(frozen=True)
class BandChange:
    """One third-octave band.

    Attributes
    ----------
    nominal_hz, low_hz, high_hz
        Nominal midband frequency and exact edges [Hz].
    before_db, after_db
        Levels as recorded [dB re full-scale sine].
    matched_db
        Level of the second take at the first one's gain [dB]; None when not comparable.
    quieter_db
        How much quieter [dB].
    """

    nominal_hz: float
    low_hz: float
    high_hz: float
    before_db: float
    after_db: float
    matched_db: float | None
    quieter_db: Range

    @property
    def drawn_after_db(self) -> float | None:
        """Level to draw beside the first take's [dB]: at its gain and, where the change can be
        told, as if at its crank speed too, since lines move from band to band with the speed."""
        if self.matched_db is None or self.quieter_db.value is None:
            return self.matched_db
        return self.before_db - self.quieter_db.value

    def to_json(self) -> dict[str, Any]:
        """Plain dict; frequencies and levels to 0.01."""
        return {
            "band_hz": self.nominal_hz,
            "low_hz": round(self.low_hz, 2),
            "high_hz": round(self.high_hz, 2),
            "before_db": round(self.before_db, 2),
            "after_db": round(self.after_db, 2),
            "after_matched_db": None if self.matched_db is None else round(self.matched_db, 2),
            "quieter_db": self.quieter_db.to_json(),
        }


@dataclass(frozen=True)
class LineChange:
    """One explained line.

    Attributes
    ----------
    part, source, order, spectrum, harmonic
        As in `results.ExplainedLine`.
    significance
        The greater of its two: -log10 of the false-alarm probability.
    quieter_db
        How much quieter; `high` is None when nothing of it is left for sure.
    gone
        Nothing is left for sure in the second take.
    band_hz
        Of a line in the rhythm: the band whose loudness beats, None for one in the sound.
    """

    part: str
    source: str
    order: float
    spectrum: str
    harmonic: int
    significance: float
    quieter_db: Range
    gone: bool
    band_hz: tuple[float, float] | None = None

    def to_json(self) -> dict[str, Any]:
        """Plain dict; order to 0.0001, significance to 0.01."""
        return {
            "part": self.part,
            "source": self.source,
            "order": round(self.order, 4),
            "spectrum": self.spectrum,
            "harmonic": self.harmonic,
            "significance": round(self.significance, 2),
            "quieter_db": self.quieter_db.to_json(),
            "gone": self.gone,
            "band_hz": None if self.band_hz is None else [round(one, 1) for one in self.band_hz],
        }


@dataclass(frozen=True)
class PartChange:
    """All lines of one source in one part together."""

    part: str
    source: str
    lines: int
    quieter_db: Range

    def to_json(self) -> dict[str, Any]:
        """Plain dict."""
        return {
            "part": self.part,
            "source": self.source,
            "lines": self.lines,
            "quieter_db": self.quieter_db.to_json(),
        }


@dataclass(frozen=True)
class ComparePictures:
    """What the pictures are drawn from: order spectra at one gain, where there are any."""

    before: OrderSpectrum | None = None
    after: OrderSpectrum | None = None


@dataclass(frozen=True)
class MatchedTake:
    """One take as it was compared, and where to find its sound again.

    `start_s` to `end_s` is the stretch compared; `gain_db` brings it to the first take's gain.
    """

    file: str
    crank: Crank | None
    crank_reason: str | None
    start_s: float
    end_s: float
    gain_db: float

    def to_json(self) -> dict[str, Any]:
        """Plain dict; moments to 1 ms."""
        return {
            "file": self.file,
            "crank": self.crank.to_json() if self.crank else None,
            "crank_reason": None if self.crank else self.crank_reason,
            "start_s": round(self.start_s, 3),
            "end_s": round(self.end_s, 3),
        }


@dataclass(frozen=True)
class CompareResult:
    """Two takes side by side.

    Attributes
    ----------
    comparable
        False when a number would mean nothing; then `why_not` says why and all ranges are open.
    quieter_db
        How much quieter the whole sound is at the same gain [dB].
    quieter_dba
        The same, A-weighted, nearer to what is heard [dB].
    loudness_ratio
        Loudness after over before (ISO 532-1, stationary); 0.5 is half as loud.
    sharpness_ratio
        Sharpness after over before (DIN 45692).
    gain_db
        Gain of the second recording over the first [dB].
    bands, orders, parts
        Change in each third-octave band, of each explained line, of each source.
    takes
        Before and after.
    """

    comparable: bool
    why_not: tuple[str, ...]
    quieter_db: Range
    quieter_dba: Range
    loudness_ratio: Range
    sharpness_ratio: Range
    gain_db: Range
    bands: tuple[BandChange, ...]
    orders: tuple[LineChange, ...]
    parts: tuple[PartChange, ...]
    takes: tuple[MatchedTake, MatchedTake]
    warnings: tuple[str, ...] = ()
    provenance: Provenance | None = None
    pictures: ComparePictures = field(default_factory=ComparePictures)

    def __post_init__(self) -> None:
        if self.comparable == bool(self.why_not):
            raise ValueError("takes are comparable, or there is a reason why not")

    def to_json(self) -> dict[str, Any]:
        """Plain dict with the keys of docs/usage/compare.md; the pictures' arrays left out."""
        return {
            "quieter_db": self.quieter_db.to_json(),
            "quieter_dba": self.quieter_dba.to_json(),
            "loudness_ratio": self.loudness_ratio.to_json(3),
            "sharpness_ratio": self.sharpness_ratio.to_json(3),
            "comparable": self.comparable,
            "why_not": list(self.why_not),
            "gain_db": self.gain_db.to_json(),
            "bands": [band.to_json() for band in self.bands],
            "orders": [line.to_json() for line in self.orders],
            "parts": [part.to_json() for part in self.parts],
            "before": self.takes[0].to_json(),
            "after": self.takes[1].to_json(),
            "warnings": list(self.warnings),
            "provenance": _provenance_json(self.provenance),
        }


LEAST_HEARD_HZ: Final = 200.0
"""Lowest band that is named as the one that changed most: below, rooms and phones have their say;
own choice."""

CLEARLY_DB: Final = 2.0
"""How much more than the whole a band must have changed for sure to be named; own choice."""


def most_changed(result: Mapping[str, Any]) -> Mapping[str, Any] | None:
    """The third-octave band that changed most, of a comparison as plain values.

    A howl that is gone may be a tenth of the whole sound's power and all that anybody heard. None
    when no band changed for sure by clearly more than the whole sound.
    """
    whole = abs(float((result.get("quieter_db") or {}).get("value") or 0.0))
    sure = []
    for band in result.get("bands") or ():
        change = band["quieter_db"]
        if band["band_hz"] < LEAST_HEARD_HZ or None in change.values():
            continue
        least = min(abs(change["low"]), abs(change["high"]))
        if change["low"] * change["high"] > 0.0 and least > whole + CLEARLY_DB:
            sure.append(band)
    return max(sure, key=lambda one: abs(float(one["quieter_db"]["value"])), default=None)
