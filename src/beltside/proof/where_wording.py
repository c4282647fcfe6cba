"""The housing map, the direction and similar takes in a technician's words."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from beltside.casework.where_results import (
    DirectionResult,
    DirectionTake,
    PlaceReading,
    SimilarResult,
    WhereResult,
    listed,
)
from beltside.proof.wording import order_words, part_words, percent_words

_WHAT_COUNTS: Final = "dB against the mean of the places; the chance counts more signs than this."


def where_answer(result: WhereResult) -> str:
    """The map in one sentence."""
    first = result.places[0]
    whose = f"The {part_words(result.part)}'s sound" if result.part else "The sound in this band"
    odds = percent_words(first.loudest)
    if result.state == "clear":
        return f"{whose} sits at the {part_words(first.part)}: clear, {odds}."
    if result.state == "likely":
        return f"{whose} likely sits at the {part_words(first.part)}, {odds}."
    second = result.places[1]
    return (
        f"Not told apart: {part_words(first.part)} ({odds}) and {part_words(second.part)} "
        f"({percent_words(second.loudest)}) are in front."
    )


def what_compared(result: WhereResult) -> str:
    """What the levels are levels of."""
    band = f"{result.band_hz[0]:.0f} to {result.band_hz[1]:.0f} Hz"
    if result.by == "band":
        return f"Compared: the level from {band}. {_WHAT_COUNTS}"
    source = f"{result.source}, " if result.source else ""
    orders = listed([order_words(order) for order in result.orders[:4]])
    noun = "order" if len(result.orders) == 1 else "orders"
    where = f"in the rhythm of {band}" if result.by == "rhythm" else "in the sound"
    return f"Compared: {source}{noun} {orders} {where}. {_WHAT_COUNTS}"


def level_words(place: PlaceReading) -> str:
    """A place's level with its 90 % range."""
    if not place.heard:
        return f"{place.level_db:+.0f} dB or less"
    return f"{place.level_db:+.0f} dB ({place.low_db:+.0f} to {place.high_db:+.0f})"


def loudest_words(place: PlaceReading) -> str:
    """How likely the noise sits here."""
    heard = "" if place.heard else "not heard, "
    return f"{heard}{here_words(place.loudest)}"


def here_words(chance: float) -> str:
    """The probability of a place.

    >>> here_words(0.42)
    'chance 42 %'
    """
    return f"chance {percent_words(chance)}"


def direction_answer(result: DirectionResult) -> str:
    """The direction in one sentence."""
    if result.state == "can't tell":
        return f"Direction: can't tell. {stopped(result.why_not[0]) if result.why_not else ''}"
    if result.state == "path only":
        sides = [side_words(take, result.held) for take in result.takes if take.path]
        return f"Direction: {listed(list(dict.fromkeys(sides)))}."
    first = result.pulleys[0]
    odds = percent_words(first.probability)
    if result.state == "clear":
        return f"The sound points at the {part_words(first.part)}: clear, {odds}."
    if result.state == "likely":
        return f"The sound likely points at the {part_words(first.part)}, {odds}."
    second = result.pulleys[1]
    return (
        f"Not told apart: {part_words(first.part)} ({odds}) and {part_words(second.part)} "
        f"({percent_words(second.probability)}) are in front."
    )


def stopped(text: str) -> str:
    """`text` with a full stop; a file's name at its head keeps its letters as they are.

    >>> stopped("take.wav has one channel")
    'take.wav has one channel.'
    """
    return text if text.endswith((".", "!", "?")) else text + "."


def place_words(result: DirectionResult) -> str:
    """Where along the phone's line the sound comes from, with its 90 % range."""
    assert result.along_mm is not None
    middle, low, high = result.along_mm
    words = ("right", "left") if result.held == "across" else ("above", "below")
    where = words[0] if middle >= 0 else words[1]
    of = "of the crank" if result.held == "across" else "the crank"
    return f"It comes from {abs(middle):.0f} mm {where} {of} ({low:+.0f} to {high:+.0f} mm)."


def side_words(take: DirectionTake, held: str) -> str:
    """Where a take's path lies, and whether it moves; `held` is "across" or "upright"."""
    delays = [1e3 * point.delay_s for point in take.path]
    angles = [point.angle_deg for point in take.path if point.angle_deg is not None]
    ways = ("to the right", "to the left") if held == "across" else ("upwards", "downwards")
    if angles:
        low, middle, high = (_percentile(angles, share) for share in (0.1, 0.5, 0.9))
        if high - low > 12.0:
            first, last = _degrees(angles[0], ways), _degrees(angles[-1], ways)
            return f"{take.file} swings from {first} to {last}"
        return f"{take.file} hears it {_degrees(middle, ways)}"
    middle = _percentile(delays, 0.5)
    side = ways[1] if middle > 0.0 else ways[0]
    if abs(middle) < 0.03:
        side = "straight ahead"
    return f"{take.file} hears it {side} (second channel {middle:+.2f} ms)"


def _degrees(angle: float, ways: tuple[str, str]) -> str:
    if abs(angle) < 3.0:
        return "straight ahead"
    return f"{abs(angle):.0f} degrees {ways[0] if angle > 0 else ways[1]}"


def _percentile(values: Sequence[float], share: float) -> float:
    ordered = sorted(values)
    return ordered[round(share * (len(ordered) - 1))]


def similar_answer(result: SimilarResult) -> str:
    """The nearest takes in one sentence."""
    first = result.nearest[0]
    many = f"of {result.compared} takes" if result.compared != 1 else "of one take"
    cause = cause_words(first.cause)
    if result.state == "near":
        return f"Nearest {many}: {cause}, distance {first.distance:.2f}: near."
    if result.state == "some likeness":
        return f"Nearest {many}: {cause}, distance {first.distance:.2f}: some likeness, no more."
    return f"Nothing like it among {result.compared} takes; the nearest is {cause}."


def cause_words(cause: str) -> str:
    """A cause as people say it.

    >>> cause_words("coolant-pump.bearing"), cause_words("none")
    ('coolant pump bearing', 'nothing wrong')
    """
    if cause == "none":
        return "nothing wrong"
    if cause == "other":
        return "something not on the list"
    part, _, fault = cause.partition(".")
    return f"{part_words(part)} {fault}"
