"""Belt tension from the note of a plucked span, and the note to expect at a tension.

A span between two pulleys swings as a stiff string:

    T = 4 m L^2 f^2 - pi^2 EI / L^2

with tension T, mass per metre m, free span L, frequency f of the fundamental and bending
stiffness EI. The first term is the ideal string's, the second that of a stiff string hinged at
its ends (N. H. Fletcher and T. D. Rossing, The Physics of Musical Instruments, 1998, section
2.18, from memory). A belt that wraps round its pulleys behaves as one hinged at the tangent
points, but for terms of third order in sqrt(EI/T)/L: docs/methods/belt-strum.md.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from beltside.base.errors import InputError, require_range

MASS_PER_RIB_KG_M: Final = 0.020
"""Mass of a PK belt per rib [kg/m]: makers' manuals, from memory; weigh the belt if you can."""

MASS_ERROR: Final = 0.25
"""Share by which that may be off, 90 % range (from memory)."""

WEIGHED_ERROR: Final = 0.02
"""The same for a belt that was weighed (common practice, no source)."""

STIFFNESS_PER_RIB_NM2: Final = 0.0025
"""Bending stiffness EI of a PK belt per rib [N m^2]: order of magnitude used in published studies
of accessory drives (0.01 to 0.03 for six or seven ribs), from memory."""

STIFFNESS_FACTOR: Final = 2.0
"""Factor by which that may be off, 90 % range (own choice)."""

SPAN_ERROR_MM: Final = 2.0
"""Error of a free span by rule or by positions, 90 % range (common practice, no source)."""

PER_RIB_RANGE_N: Final = (15.0, 300.0)
"""Tension per rib outside of which a span can't be the one plucked (common practice, no source)."""

SPAN_RANGE_MM: Final = (30.0, 1500.0)
FREQUENCY_RANGE_HZ: Final = (5.0, 1000.0)
MASS_RANGE_KG_M: Final = (0.01, 1.0)


@dataclass(frozen=True)
class BeltBody:
    """What the belt itself brings to the note it gives.

    Attributes
    ----------
    mass_kg_m
        Mass per metre [kg/m], 0.01 to 1.
    mass_error
        Share by which it may be off, 90 % range.
    stiffness_nm2
        Bending stiffness EI [N m^2], 0 for an ideal string.
    stiffness_factor
        Factor by which it may be off, 90 % range.
    """

    mass_kg_m: float
    mass_error: float = WEIGHED_ERROR
    stiffness_nm2: float = 0.0
    stiffness_factor: float = 1.0

    def __post_init__(self) -> None:
        require_range("belt mass", self.mass_kg_m, *MASS_RANGE_KG_M, "kg/m")
        require_range("bending stiffness", self.stiffness_nm2, 0.0, 1.0, "N m^2")

    @classmethod
    def of_ribs(cls, ribs: int, mass_kg_m: float | None = None) -> BeltBody:
        """A PK belt of so many ribs, weighed or not.

        >>> round(BeltBody.of_ribs(6).mass_kg_m, 3)
        0.12
        """
        weighed = mass_kg_m is not None
        return cls(
            ribs * MASS_PER_RIB_KG_M if mass_kg_m is None else mass_kg_m,
            WEIGHED_ERROR if weighed else MASS_ERROR,
            ribs * STIFFNESS_PER_RIB_NM2,
            STIFFNESS_FACTOR,
        )


@dataclass(frozen=True)
class Tension:
    """A tension by strum.

    Attributes
    ----------
    value_n, low_n, high_n
        Tension and its 90 % range [N].
    string_n
        What the ideal string would give [N].
    stiffness_n
        What the belt's stiffness adds to that, taken off again [N].
    """

    value_n: float
    low_n: float
    high_n: float
    string_n: float
    stiffness_n: float


@dataclass(frozen=True)
class SpanTension:
    """What the note would mean if this span gave it; `possible` whether that can be."""

    from_part: str
    to_part: str
    span_mm: float
    tension: Tension
    possible: bool


def strum_tension(
    frequency_hz: float,
    span_mm: float,
    belt: BeltBody,
    *,
    frequency_range_hz: tuple[float, float] | None = None,
    span_error_mm: float = SPAN_ERROR_MM,
) -> Tension:
    """Tension of a span from the frequency of its fundamental.

    Parameters
    ----------
    frequency_hz
        5 to 1000 [Hz].
    span_mm
        Free length between the tangent points, 30 to 1500 [mm].
    belt
        Mass and stiffness.
    frequency_range_hz
        90 % range of the frequency [Hz].
    span_error_mm
        90 % error of the span, plus and minus [mm].

    Raises
    ------
    OutOfRangeError
        For a frequency or a span outside its range.
    InputError
        When the belt's stiffness alone would give this note.

    Examples
    --------
    >>> round(strum_tension(120.0, 200.0, BeltBody(0.126)).value_n, 1)
    290.3
    """
    require_range("frequency", frequency_hz, *FREQUENCY_RANGE_HZ, "Hz")
    require_range("span", span_mm, *SPAN_RANGE_MM, "mm")
    require_range("error of the span", span_error_mm, 0.0, 0.25 * span_mm, "mm")
    low_hz, high_hz = frequency_range_hz or (frequency_hz, frequency_hz)
    span_m = span_mm / 1000.0
    string = 4.0 * belt.mass_kg_m * (span_m * frequency_hz) ** 2
    stiff = math.pi**2 * belt.stiffness_nm2 / span_m**2
    value = string - stiff
    if value <= 0.0:
        raise InputError(
            f"{frequency_hz:.1f} Hz on a span of {span_mm:.0f} mm: the belt's own stiffness "
            "alone would give a note as high",
            allowed="a span whose note is made by its tension",
            instead="plucking a longer span",
        )
    # Independent errors; each term is what the tension moves by over half its 90 % range.
    span_share = span_error_mm / span_mm
    parts = (
        2.0 * string * 0.5 * (high_hz - low_hz) / frequency_hz,
        (2.0 * string + 2.0 * stiff) * span_share,
        string * belt.mass_error,
        stiff * (belt.stiffness_factor - 1.0 / belt.stiffness_factor) / 2.0,
    )
    half = math.sqrt(math.fsum(part * part for part in parts))
    # As a factor, so that the low end stays above nothing.
    factor = math.exp(half / value)
    return Tension(value, value / factor, value * factor, string, stiff)


def strum_hz(tension_n: float, span_mm: float, belt: BeltBody) -> float:
    """The note of a span at a tension [Hz]: `strum_tension` the other way.

    >>> round(strum_hz(290.304, 200.0, BeltBody(0.126)), 3)
    120.0
    """
    require_range("tension", tension_n, 0.0, 20000.0, "N")
    require_range("span", span_mm, 1.0, 10000.0, "mm")
    span_m = span_mm / 1000.0
    stiff = math.pi**2 * belt.stiffness_nm2 / span_m**2
    return math.sqrt((tension_n + stiff) / belt.mass_kg_m) / (2.0 * span_m)


def spans_it_may_be(
    frequency_hz: float,
    spans: Sequence[tuple[str, str, float]],
    belt: BeltBody,
    *,
    ribs: int | None = None,
    frequency_range_hz: tuple[float, float] | None = None,
    span_error_mm: float = SPAN_ERROR_MM,
) -> tuple[SpanTension, ...]:
    """What each span's tension would be had it given this note, longest span first.

    Parameters
    ----------
    spans
        (from part, to part, free length [mm]).
    ribs
        Number of ribs; with it, spans whose tension would be outside 15 to 300 N per rib are
        marked as not possible (common practice, no source).

    A note alone does not say which span gave it: every span has a tension at which it would. What
    tells them apart is that a standing belt has nearly one tension all round, so plucking a
    second span settles it.
    """
    found = []
    for from_part, to_part, span_mm in spans:
        if not SPAN_RANGE_MM[0] <= span_mm <= SPAN_RANGE_MM[1]:
            continue
        try:
            tension = strum_tension(
                frequency_hz,
                span_mm,
                belt,
                frequency_range_hz=frequency_range_hz,
                span_error_mm=min(span_error_mm, 0.25 * span_mm),
            )
        except InputError:
            continue
        low, high = PER_RIB_RANGE_N
        possible = ribs is None or (tension.high_n >= low * ribs and tension.low_n <= high * ribs)
        found.append(SpanTension(from_part, to_part, span_mm, tension, possible))
    return tuple(sorted(found, key=lambda one: -one.span_mm))


def verdict(tension: Tension, target_n: tuple[float, float]) -> str:
    """The tension against the technician's target range [N].

    Returns
    -------
    str
        "too slack", "too tight", "within target" when the value lies there, or "can't tell" when
        the value lies outside but its range reaches in.
    """
    low, high = target_n
    if not 0.0 < low <= high:
        raise InputError(f"a target of {low:g} to {high:g} N", allowed="0 < low <= high")
    if low <= tension.value_n <= high:
        return "within target"
    if tension.high_n < low:
        return "too slack"
    if tension.low_n > high:
        return "too tight"
    return "can't tell"
