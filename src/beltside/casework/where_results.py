"""What `where`, `direction` and `similar` hand back: plain frozen values and their JSON."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from beltside.base.provenance import Provenance

CLEARLY: Final = 0.9
LIKELY: Final = 0.7
"""From these probabilities on a place or pulley is named without, and with, reserve."""

MOST_BITS: Final = 3.0
"""One reading of one kind moves the odds by at most a factor of eight: the contact, the room and
the hand are the same in all of it. Own choice."""


@dataclass(frozen=True)
class PartEvidence:
    """What a reading says for or against a part: a reason for `find`.

    Attributes
    ----------
    part
        The part, as in the drive sheet.
    bits
        log2 of how much likelier the reading is with the noise at this part than at a part
        picked blindly among those compared, -3 to 3.
    from_, says
        Where it comes from and what was read, in plain words.
    """

    part: str
    bits: float
    from_: str
    says: str

    def to_json(self) -> dict[str, Any]:
        """Plain dict; bits to 0.01."""
        return {
            "part": self.part,
            "bits": round(self.bits, 2),
            "from": self.from_,
            "says": self.says,
        }


def bits_among(probability: float, count: int) -> float:
    """log2 of a probability over its fair share, within +-3.

    >>> bits_among(0.5, 4), bits_among(0.0, 4)
    (1.0, -3.0)
    """
    over_share = max(probability * count, 2.0**-MOST_BITS)
    return max(min(math.log2(over_share), MOST_BITS), -MOST_BITS)


@dataclass(frozen=True)
class DrawnPulley:
    """A pulley as drawn: centre seen from the front, right and up positive, and diameter [mm]."""

    part: str
    x_mm: float
    y_mm: float
    diameter_mm: float


@dataclass(frozen=True)
class Outline:
    """The front of the engine.

    Attributes
    ----------
    pulleys
        Every pulley of the sheet.
    spans
        Free pieces of the belt, ((x, y), (x, y)) [mm]; empty when no belt can be drawn.
    measured
        False when the sheet gives no positions and the pulleys stand in a row.
    """

    pulleys: tuple[DrawnPulley, ...]
    spans: tuple[tuple[tuple[float, float], tuple[float, float]], ...]
    measured: bool


@dataclass(frozen=True)
class PlaceReading:
    """The suspect's own sound at one place; levels against the mean of all places [dB].

    `loudest` is the probability that the noise sits here, among the places probed and by all signs
    together, 0 to 1; `own_loudest` the same by the level of its own sound alone.
    """

    part: str
    level_db: float
    low_db: float
    high_db: float
    heard: bool
    loudest: float
    files: tuple[str, ...]
    own_loudest: float = 0.0

    def to_json(self) -> dict[str, Any]:
        """Plain dict; levels to 0.1 dB."""
        return {
            "part": self.part,
            "level_db": round(self.level_db, 1),
            "low_db": round(self.low_db, 1),
            "high_db": round(self.high_db, 1),
            "heard": self.heard,
            "loudest": round(self.loudest, 3),
            "own_loudest": round(self.own_loudest, 3),
            "files": list(self.files),
        }


@dataclass(frozen=True)
class TakeGain:
    """Gain of a take over the mean of the takes, with its standard deviation [dB], and from which
    references it was read."""

    file: str
    part: str
    gain_db: float
    error_db: float
    references: Mapping[str, float]

    def to_json(self) -> dict[str, Any]:
        """Plain dict; to 0.1 dB."""
        return {
            "file": self.file,
            "part": self.part,
            "gain_db": round(self.gain_db, 1),
            "error_db": round(self.error_db, 1),
            "references_db": {name: round(value, 1) for name, value in self.references.items()},
        }


@dataclass(frozen=True)
class WhereResult:
    """Where on the engine a suspect's noise sits.

    Attributes
    ----------
    part, source
        Whose sound was compared and what makes it; "" when only a band was.
    by
        "rhythm", "tones" or "band".
    orders
        The lines compared [per crank turn].
    band_hz
        The band [Hz].
    places
        The likeliest first.
    gains
        How each take was levelled.
    outline
        The front of the engine, to draw on.
    unread
        Parts that were probed, but in takes whose lines can't be read, each with the probability
        that the noise sits there.
    warnings
        What to know before trusting it.
    """

    part: str
    source: str
    by: str
    orders: tuple[float, ...]
    band_hz: tuple[float, float]
    places: tuple[PlaceReading, ...]
    gains: tuple[TakeGain, ...]
    outline: Outline
    unread: Mapping[str, float] = field(default_factory=dict)
    warnings: tuple[str, ...] = ()
    provenance: Provenance | None = None

    @property
    def state(self) -> str:
        """ "clear", "likely" or "not told apart"."""
        first = self.places[0].loudest
        if first >= CLEARLY:
            return "clear"
        return "likely" if first >= LIKELY else "not told apart"

    def evidence(self) -> tuple[PartEvidence, ...]:
        """What the level of its own sound says of each part probed.

        The other signs of the map are left out: the odds measure them for themselves.
        """
        count = len(self.places)
        return tuple(
            PartEvidence(
                place.part,
                bits_among(place.own_loudest, count),
                "housing map",
                f"its own sound is {place.level_db:+.0f} dB here against the mean of "
                f"{count} places ({place.low_db:+.0f} to {place.high_db:+.0f})",
            )
            for place in self.places
        )

    def to_json(self) -> dict[str, Any]:
        """Plain dict with the keys of docs/usage/where.md."""
        return {
            "part": self.part or None,
            "source": self.source or None,
            "by": self.by,
            "orders": [round(order, 4) for order in self.orders],
            "band_hz": [round(edge) for edge in self.band_hz],
            "state": self.state,
            "places": [place.to_json() for place in self.places],
            "gains": [gain.to_json() for gain in self.gains],
            "unread": list(self.unread),
            "unread_loudest": {part: round(one, 3) for part, one in self.unread.items()},
            "evidence": [one.to_json() for one in self.evidence()],
            "warnings": list(self.warnings),
            "provenance": provenance_json(self.provenance),
        }


@dataclass(frozen=True)
class PathPoint:
    """Direction at one moment: delay of the right channel [s], angle to the right of straight
    ahead [degrees] when the spacing is given, and how clear it is, -1 to 1."""

    time_s: float
    delay_s: float
    angle_deg: float | None
    strength: float

    def to_json(self) -> list[float | None]:
        """[moment s, angle degrees or null, delay ms, clearness]."""
        angle = None if self.angle_deg is None else round(self.angle_deg, 1)
        return [round(self.time_s, 3), angle, round(1e3 * self.delay_s, 4), round(self.strength, 3)]


@dataclass(frozen=True)
class PointedPulley:
    """A pulley the direction may point at; probability among the pulleys, 0 to 1."""

    part: str
    along_mm: float
    probability: float

    def to_json(self) -> dict[str, Any]:
        """Plain dict; place to 1 mm."""
        return {
            "part": self.part,
            "along_mm": round(self.along_mm),
            "probability": round(self.probability, 3),
        }


@dataclass(frozen=True)
class DirectionTake:
    """One take's path; `state` is "apart", "same", "one silent", "mono" or "too close"."""

    file: str
    state: str
    path: tuple[PathPoint, ...]
    spread_deg: float | None

    def to_json(self) -> dict[str, Any]:
        """Plain dict."""
        return {
            "file": self.file,
            "channels": self.state,
            "spread_deg": None if self.spread_deg is None else round(self.spread_deg, 1),
            "path": [point.to_json() for point in self.path],
        }


@dataclass(frozen=True)
class DirectionResult:
    """Where a stereo take says the sound in a band comes from.

    Attributes
    ----------
    can_tell
        Whether a direction was found at all.
    why_not
        Why not, or why no pulley; empty when all was told.
    band_hz, held
        The band [Hz], and how the phone was held: "across" or "upright".
    takes
        One each.
    along_mm
        Where along the phone's line of microphones the source lies, (value, low, high), 90 %
        range, from the crank, right or up positive [mm]; None without spacing and stand-off.
    pulleys
        Most likely first; empty without positions.
    swapped
        True when the path over a moved take fits only with the channels exchanged.
    """

    can_tell: bool
    why_not: tuple[str, ...]
    band_hz: tuple[float, float]
    held: str
    takes: tuple[DirectionTake, ...]
    along_mm: tuple[float, float, float] | None = None
    pulleys: tuple[PointedPulley, ...] = ()
    swapped: bool = False
    warnings: tuple[str, ...] = ()
    provenance: Provenance | None = None

    @property
    def state(self) -> str:
        """ "can't tell", "path only", "clear", "likely" or "not told apart"."""
        if not self.can_tell:
            return "can't tell"
        if not self.pulleys:
            return "path only"
        first = self.pulleys[0].probability
        if first >= CLEARLY:
            return "clear"
        return "likely" if first >= LIKELY else "not told apart"

    def evidence(self) -> tuple[PartEvidence, ...]:
        """What the direction says of each pulley."""
        if self.along_mm is None:
            return ()
        middle, low, high = self.along_mm
        side = "right of" if self.held == "across" else "above"
        return tuple(
            PartEvidence(
                pulley.part,
                bits_among(pulley.probability, len(self.pulleys)),
                "direction",
                f"the sound comes from {middle:.0f} mm {side} the crank ({low:.0f} to "
                f"{high:.0f}); this pulley is at {pulley.along_mm:.0f} mm",
            )
            for pulley in self.pulleys
        )

    def to_json(self) -> dict[str, Any]:
        """Plain dict with the keys of docs/usage/where.md."""
        along = self.along_mm
        return {
            "can_tell": self.can_tell,
            "state": self.state,
            "why_not": list(self.why_not),
            "band_hz": [round(edge) for edge in self.band_hz],
            "held": self.held,
            "takes": [take.to_json() for take in self.takes],
            "along_mm": None
            if along is None
            else {name: round(v) for name, v in zip(("value", "low", "high"), along, strict=True)},
            "pulleys": [pulley.to_json() for pulley in self.pulleys],
            "swapped": self.swapped,
            "evidence": [one.to_json() for one in self.evidence()],
            "warnings": list(self.warnings),
            "provenance": provenance_json(self.provenance),
        }


@dataclass(frozen=True)
class SimilarTake:
    """A known take and how far it is: 0 the same, 1 a stranger."""

    file: str
    cause: str
    distance: float

    def to_json(self) -> dict[str, Any]:
        """Plain dict; distance to 0.001."""
        return {"file": self.file, "cause": self.cause, "distance": round(self.distance, 3)}


@dataclass(frozen=True)
class SimilarResult:
    """The takes with known causes most like one take.

    Attributes
    ----------
    file
        The take asked about.
    nearest
        Nearest first.
    state
        "near", "some likeness" or "nothing like it".
    lead
        How much farther the nearest take with another cause is; None when there is none.
    chance
        How often the nearest take at such a distance and lead has the right cause, 0 to 1; None
        when that was not worked out.
    compared
        How many takes it was compared with.
    left_out
        (file, why) of what could not be used.
    """

    file: str
    nearest: tuple[SimilarTake, ...]
    state: str
    compared: int
    lead: float | None = None
    chance: float | None = None
    left_out: tuple[tuple[str, str], ...] = ()
    warnings: tuple[str, ...] = ()
    provenance: Provenance | None = None

    def to_json(self) -> dict[str, Any]:
        """Plain dict with the keys of docs/usage/where.md."""
        return {
            "file": self.file,
            "state": self.state,
            "nearest": [one.to_json() for one in self.nearest],
            "compared": self.compared,
            "lead": None if self.lead is None else round(self.lead, 3),
            "chance": None if self.chance is None else round(self.chance, 2),
            "left_out": [{"file": file, "why": why} for file, why in self.left_out],
            "warnings": list(self.warnings),
            "provenance": provenance_json(self.provenance),
        }


def provenance_json(provenance: Provenance | None) -> dict[str, Any] | None:
    """Plain dict of a provenance."""
    if provenance is None:
        return None
    return {
        "method": provenance.method,
        "version": provenance.version,
        "inputs": dict(provenance.inputs),
        "valid_range": provenance.valid_range,
        "source": provenance.source,
        "warnings": list(provenance.warnings),
    }


def listed(words: Sequence[str]) -> str:
    """Words in a row with "and" before the last.

    >>> listed(["idler"]), listed(["idler", "fan", "crank"])
    ('idler', 'idler, fan and crank')
    """
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} and {words[-1]}"
