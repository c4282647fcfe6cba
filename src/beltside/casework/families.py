"""Which families of lines a drive can make, looked for in what was heard."""

from __future__ import annotations

import threading
import weakref
from collections import OrderedDict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from beltside.base.words import part_kind
from beltside.drive.expected import ExpectedOrder, expected_orders, firing_order
from beltside.drive.sheet import DriveSheet
from beltside.sound.families import (
    Family,
    Surprise,
    find_family,
    pooled,
    surprise,
    surprise_of_bands,
    without,
)
from beltside.sound.hearing import Hearing

Float64 = npt.NDArray[np.float64]

BEARING_SOURCES: Final = ("outer race", "inner race", "ball", "cage")
COUNT_SOURCES: Final = ("poles", "pole pairs", "rectifier", "vanes", "fan blades")

HARMONICS: Final = {
    "shaft": 4,
    "belt passing": 6,
    "outer race": 3,
    "inner race": 3,
    "ball": 3,
    "cage": 3,
    "poles": 2,
    "pole pairs": 3,
    "rectifier": 1,
    "vanes": 3,
    "fan blades": 3,
    "sprocket mesh": 2,
}
"""How many harmonics of each source carry most of what can be told; own choice."""

UNKNOWN_COUNTS: Final = {
    "alternator": (5, 6, 7, 8, 10, 12, 14, 16),
    "steering-pump": (8, 9, 10, 11, 12),
    "coolant-pump": (5, 6, 7, 8),
}
"""Poles, vanes or blades tried when the sheet does not give them; common practice, no source."""

UNKNOWN_BELT_ORDER: Final = (0.22, 0.46)
"""Belt passing orders tried when the belt's length is not given: a 110 to 150 mm crank pulley
under a belt of 900 to 2000 mm; common practice, no source."""


CLAIM_SIGNIFICANCE: Final = 4.0
"""A family this clear keeps its lines from being taken for another part's."""

MOST_CLAIMS: Final = 8


@dataclass(frozen=True)
class Surprises:
    """How surprising each bin of a take's spectra is.

    Attributes
    ----------
    sound, envelope
        Without the engine's own half orders.
    engine
        The sound with them.
    """

    sound: Surprise
    envelope: Surprise
    engine: Surprise


@dataclass(frozen=True)
class Found:
    """A family found: whose it is and where."""

    part: str
    source: str
    spectrum: str
    family: Family


def surprises(hearing: Hearing, sheet: DriveSheet) -> Surprises | None:
    """None when the take has no crank angle to go by."""
    if hearing.orders is None:
        return None
    own = [0.5 if sheet.engine.strokes == 4 else 1.0]
    return Surprises(
        surprise(hearing.orders.sound, own),
        surprise_of_bands(hearing.orders.envelope, own, _reach(hearing)),
        surprise(hearing.orders.sound),
    )


_MOST_KEPT: Final = 16
_KEPT: Final[OrderedDict[int, tuple[weakref.ref[Hearing], DriveSheet, Surprises, list[Found]]]] = (
    OrderedDict()
)
_KEPT_LOCK: Final = threading.Lock()


def looked_for(hearing: Hearing, sheet: DriveSheet) -> tuple[Surprises, list[Found]] | None:
    """`surprises` of a take and what `search` finds in them, None without a crank angle.

    The odds, the housing map and the direction of one case ask for the same takes, so the last few
    are kept for as long as the takes themselves.
    """
    with _KEPT_LOCK:
        kept = _KEPT.get(id(hearing))
    if kept is not None and kept[0]() is hearing and kept[1] is sheet:
        return kept[2], kept[3]
    heard = surprises(hearing, sheet)
    if heard is None:
        return None
    found = search(heard, sheet)
    number = id(hearing)
    alive = weakref.ref(hearing, lambda _: _KEPT.pop(number, None))
    with _KEPT_LOCK:
        _KEPT[number] = (alive, sheet, heard, found)
        while len(_KEPT) > _MOST_KEPT:
            _KEPT.popitem(last=False)
    return heard, found


def pooled_surprises(takes: Sequence[Surprises]) -> Surprises:
    """Several takes of one engine as one (`sound.families.pooled`)."""
    return Surprises(
        pooled([one.sound for one in takes]),
        pooled([one.envelope for one in takes]),
        pooled([one.engine for one in takes]),
    )


def _reach(hearing: Hearing) -> Float64:
    """Highest order each band's envelope can hold: most of its width, at the take's mean speed."""
    turns_hz = hearing.orders.envelope.turns / hearing.seconds if hearing.orders else 1.0
    return np.array([0.7 * band.width_hz / max(turns_hz, 1.0) for band in hearing.bands])


def search(heard: Surprises, sheet: DriveSheet) -> list[Found]:
    """Every family the drive can make, found or not, with its significance.

    Windows of different parts overlap, so the clearest family claims its lines first and the
    others are judged once more without them.
    """
    wanted = [
        (expected, spectrum)
        for expected in _sources(sheet)
        for spectrum in ("sound", "envelope")
        if expected.spectrum in (spectrum, "both")
    ]
    rows = {"sound": heard.sound, "envelope": heard.envelope}
    found = {index: _look(rows[one[1]], *one) for index, one in enumerate(wanted)}
    settled: list[Found] = []
    for _ in range(MOST_CLAIMS):
        clear = {
            index: one
            for index, one in found.items()
            if one is not None and one.family.significance >= CLAIM_SIGNIFICANCE
        }
        if not clear:
            break
        # The family with the strongest low harmonics first: the third harmonic of one race may
        # pass for the second of another, its first harmonic passes for nothing.
        best = max(clear, key=lambda index: clear[index].family.weight)
        claim = clear[best]
        settled.append(claim)
        found[best] = None
        rows[claim.spectrum] = without(rows[claim.spectrum], claim.family)
        for index, one in found.items():
            if one is not None and one.spectrum == claim.spectrum:
                found[index] = _look(rows[claim.spectrum], *wanted[index])
    return settled + [one for one in found.values() if one is not None]


def _look(row: Surprise, expected: ExpectedOrder, spectrum: str) -> Found | None:
    if expected.order_high >= (row.usable.size - 1) * row.step:
        return None
    family = find_family(
        row,
        expected.order_low,
        expected.order_high,
        harmonics=HARMONICS[expected.source],
        sidebands=expected.sidebands if expected.source in BEARING_SOURCES else (),
    )
    return None if family is None else Found(expected.part, expected.source, spectrum, family)


def _sources(sheet: DriveSheet) -> Iterator[ExpectedOrder]:
    """First harmonics of everything belt-driven, and guesses where a count is not given."""
    passing = False
    for expected in expected_orders(sheet, 200.0):
        if expected.harmonic != 1 or expected.part in ("engine", "timing-chain"):
            continue
        if expected.part == "crank" and expected.source == "shaft":
            continue  # the crank's own turns are the engine's lines
        passing |= expected.source == "belt passing"
        yield expected
        if expected.source == "shaft":
            yield from _guesses(sheet, expected)
    if not passing and len(sheet.pulleys) > 1:
        low, high = UNKNOWN_BELT_ORDER
        yield ExpectedOrder("belt", "belt passing", 0.5 * (low + high), low, high, 1, "envelope")


def _guesses(sheet: DriveSheet, shaft: ExpectedOrder) -> Iterator[ExpectedOrder]:
    pulley = sheet.pulley(shaft.part)
    if pulley.poles or pulley.vanes or pulley.fan_blades:
        return
    kind = part_kind(shaft.part)
    for count in UNKNOWN_COUNTS.get(kind, ()):
        yield ExpectedOrder(
            shaft.part,
            "poles" if kind == "alternator" else "vanes",
            count * shaft.order,
            count * shaft.order_low,
            count * shaft.order_high,
            1,
            "sound",
        )


@dataclass(frozen=True)
class EngineLines:
    """Levels of the engine's own lines.

    Attributes
    ----------
    order
        Multiples of the cycle, shape (k,) [per turn].
    excess, power
        Above background, and as power, shape (k,).
    minus_log_p
        -ln p of each, limited, shape (k,).
    fires
        Which are firing lines, shape (k,).
    """

    order: Float64
    excess: Float64
    power: Float64
    minus_log_p: Float64
    fires: npt.NDArray[np.bool_]


def engine_lines(heard: Surprises, sheet: DriveSheet, top_order: float = 40.0) -> EngineLines:
    """The engine's lines in the sound up to `top_order`."""
    row = heard.engine
    cycle = 0.5 if sheet.engine.strokes == 4 else 1.0
    top = min(top_order, (row.usable.size - 1) * row.step)
    order = cycle * np.arange(1, int(top / cycle) + 1, dtype=np.float64)
    place = np.rint(order / row.step).astype(np.intp)
    per_firing = order / firing_order(sheet)
    return EngineLines(
        order=order,
        excess=row.excess[0, place],
        power=row.excess[0, place] * row.background[0, place],
        minus_log_p=row.minus_log_p[0, place],
        fires=np.abs(per_firing - np.round(per_firing)) < 1e-6,
    )
