"""Every error Beltside raises on purpose.

A message says three things: what was given, what is allowed, and what would work. Commands
turn `InputError` into exit code 2 (the call is off) and any other `BeltsideError` into exit
code 1 (the work failed).
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable


class BeltsideError(Exception):
    """Root of all errors raised on purpose.

    Parameters
    ----------
    given
        What was given or met, in plain words.
    allowed
        What is allowed.
    instead
        What would work.
    """

    def __init__(self, given: str, *, allowed: str = "", instead: str = "") -> None:
        self.given = given
        self.allowed = allowed
        self.instead = instead
        parts = [given]
        if allowed:
            parts.append(f"Allowed: {allowed}")
        if instead:
            parts.append(f"Try: {instead}")
        super().__init__(
            " ".join(part if part.endswith((".", "?", "!")) else part + "." for part in parts)
        )


class InputError(BeltsideError, ValueError):
    """Something typed or written in a file is not of the allowed form."""


class OutOfRangeError(InputError):
    """A value lies outside the range in which the method holds."""


class ClashError(InputError):
    """Somebody else has written the same meanwhile, and this writer wants to see it first."""


class RecordingError(BeltsideError):
    """A recording cannot be used: unreadable, empty, too short, no sound in it."""


class LimitError(BeltsideError):
    """A file asked for more time, memory or length than an untrusted file is given."""


def nearest(word: str, allowed: Iterable[str]) -> str | None:
    """The allowed word most like `word`, or None when nothing is close.

    >>> nearest("alternater", ["alternator", "idler"])
    'alternator'
    >>> nearest("zzz", ["alternator", "idler"]) is None
    True
    """
    found = difflib.get_close_matches(word, list(allowed), n=1, cutoff=0.6)
    return found[0] if found else None


def require_range(name: str, value: float, low: float, high: float, unit: str) -> float:
    """Give back `value` when low <= value <= high, else refuse it with the allowed range.

    Raises
    ------
    OutOfRangeError
        When the value is outside, or not a number.

    >>> require_range("idle speed", 760.0, 300.0, 2000.0, "rpm")
    760.0
    """
    if not low <= value <= high:
        near = min(max(value, low), high) if value == value else low
        if not unit:
            raise OutOfRangeError(
                f"{name} is {value:g}",
                allowed=f"{low:g} to {high:g}",
                instead=f"check the figure; the nearest allowed is {near:g}",
            )
        raise OutOfRangeError(
            f"{name} is {value:g} {unit}",
            allowed=f"{low:g} to {high:g} {unit}",
            instead=f"check the figure and its unit; the nearest allowed is {near:g} {unit}",
        )
    return value
