"""Results in a technician's words: odds, speeds, orders, the answer in one sentence.

Shared by charts and commands so that a picture and a line of text never say different things.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from beltside.casework.results import Because, Crank, FindResult, ListenResult, SuspectOdds

Said = Callable[[str], str]
"""Gives words in another language; `str` leaves them as they are."""
CANT_TELL: Final = "can't tell"
_NAMES: Final = {"ac-compressor": "AC compressor"}
_ONE_IN: Final = (10, 15, 20, 30, 50, 100)
_RAISED: Final = 1.15
"""A fastest over slowest speed above which a take counts as one with the speed raised."""
_CLEAR: Final = 0.5
"""From this probability on the first suspect is called most likely without reserve."""


def part_words(part: str) -> str:
    """A part's name as people say it.

    >>> part_words("coolant-pump"), part_words("ac-compressor"), part_words("idler-2")
    ('coolant pump', 'AC compressor', 'idler 2')
    """
    for name, words in _NAMES.items():
        part = part.replace(name, words)
    return part.replace("-", " ")


def odds_words(probability: float) -> str:
    """A probability, 0 to 1, as a count of cases.

    >>> odds_words(0.71), odds_words(0.96), odds_words(0.033), odds_words(0.001)
    ('7 in 10', '19 in 20', '1 in 30', 'under 1 in 100')
    """
    if probability > 0.99:
        return "over 99 in 100"
    if probability >= 0.98:
        return "99 in 100"
    if probability >= 0.945:
        return "19 in 20"
    if probability >= 0.1:
        return f"{max(1, min(9, math.floor(probability * 10 + 0.5)))} in 10"
    if probability < 0.01:
        return "under 1 in 100"
    one_in = 1.0 / probability
    return f"1 in {min(_ONE_IN, key=lambda n: abs(math.log(n / one_in)))}"


def percent_words(probability: float) -> str:
    """A probability, 0 to 1, in per cent, never rounded to a false certainty.

    >>> percent_words(0.714), percent_words(0.002), percent_words(0.999)
    ('71 %', 'under 1 %', 'over 99 %')
    """
    if probability < 0.01:
        return "under 1 %"
    if probability > 0.99:
        return "over 99 %"
    return f"{probability * 100:.0f} %"


def rpm_words(crank: Crank) -> str:
    """Speed with its 90 % range, such as "762 rpm (755 to 769)".

    A take in which the speed was raised gives what it ran through as well.
    """
    if crank.fastest_rpm > _RAISED * crank.slowest_rpm:
        return (
            f"{crank.slowest_rpm:.0f} to {crank.fastest_rpm:.0f} rpm, "
            f"median {crank.rpm_median:.0f} ({crank.rpm_low:.0f} to {crank.rpm_high:.0f})"
        )
    return f"{crank.rpm_median:.0f} rpm ({crank.rpm_low:.0f} to {crank.rpm_high:.0f})"


def sure_words(confidence: float) -> str:
    """A confidence, 0 to 1, in words.

    >>> sure_words(0.97), sure_words(0.8), sure_words(0.5)
    ('sure', 'fairly sure', 'unsure')
    """
    if confidence >= 0.9:
        return "sure"
    return "fairly sure" if confidence >= 0.7 else "unsure"


def order_words(order: float) -> str:
    """An order to three digits as far as they say something.

    >>> order_words(3.5714), order_words(2.0), order_words(26.43)
    ('3.57', '2', '26.4')
    """
    text = f"{order:.2f}" if order < 10 else f"{order:.1f}"
    return text.rstrip("0").rstrip(".")


def bits_words(bits: float) -> str:
    """Evidence with its sign, such as "+3.1 bits" or "-0.4 bits"."""
    rounded = round(bits, 1)
    unit = "bit" if abs(rounded) == 1.0 else "bits"
    return f"{rounded + 0.0:+.1f} {unit}"


def minutes_words(minutes: float) -> str:
    """A duration in minutes.

    >>> minutes_words(0.5), minutes_words(1.0), minutes_words(12.4)
    ('under a minute', '1 minute', '12 minutes')
    """
    if minutes < 0.95:
        return "under a minute"
    count = round(minutes)
    return f"{count} minute" if count == 1 else f"{count} minutes"


def ranked(result: FindResult) -> list[SuspectOdds]:
    """The suspects, most likely first."""
    return sorted(result.suspects, key=lambda suspect: -suspect.probability)


def weightiest(reasons: Sequence[Because], most: int) -> list[Because]:
    """The `most` reasons that move the odds furthest, in the order they were given."""
    heaviest = sorted(reasons, key=lambda reason: -abs(reason.bits))[:most]
    return [reason for reason in reasons if any(reason is kept for kept in heaviest)]


def _with_odds(suspect: SuspectOdds) -> str:
    return (
        f"{suspect.name}, {odds_words(suspect.probability)} ({percent_words(suspect.probability)})"
    )


def answer(result: FindResult) -> str:
    """The finding in one sentence."""
    order = ranked(result)
    first = order[0]
    if first.probability < _CLEAR and len(order) > 1:
        return f"Not settled yet. In front: {_with_odds(first)}; then {_with_odds(order[1])}."
    odds = f"{odds_words(first.probability)} ({percent_words(first.probability)})"
    if first.id == "none":
        return f"Most likely nothing is wrong at the belt end: {odds}."
    if first.id == "other":
        return f"Most likely something that is not on the list of suspects: {odds}."
    return f"Most likely: {_with_odds(first)}."


def crank_sentence(result: ListenResult, said: Said = str) -> str:
    """The crank speed of a take, or why it can't be told, in one sentence.

    `said` gives its parts in another language.
    """
    crank = result.crank
    if crank is None:
        why = said(full_stop(result.crank_reason or ""))
        return f"{said('Crank speed')}: {said(CANT_TELL)}. {why}".rstrip()
    speed = f"{said('Crank speed')}: {said(rpm_words(crank))}"
    if crank.source == "stated":
        return f"{speed}, {said('as stated')}."
    sure = said(sure_words(crank.confidence))
    return f"{speed}, {sure}, {said(percent_words(crank.confidence))}."


def printable(text: str) -> str:
    """`text` safe to show: what would move the cursor or can't be written becomes "?".

    >>> printable("belt\\x1b[2J on\\n.m4a")
    'belt?[2J on .m4a'
    """
    return "".join(
        letter if letter.isprintable() else " " if letter.isspace() else "?" for letter in text
    )


_FILE_FIRST: Final = re.compile(r"[^\s:]+\.[A-Za-z0-9]{2,5}(?=[\s:,]|$)")


def full_stop(text: str) -> str:
    """`text` as a sentence: first letter large, a full stop at the end.

    A file's name at its start stays as it is.

    >>> full_stop("no steady firing beat found")
    'No steady firing beat found.'
    >>> full_stop("drive.toml: pulley 4 is called idler-2")
    'drive.toml: pulley 4 is called idler-2.'
    """
    text = text.strip()
    if not text:
        return ""
    if not _FILE_FIRST.match(text):
        text = text[0].upper() + text[1:]
    return text if text.endswith((".", "!", "?")) else text + "."
