"""Where a result came from: every result carries one of these."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

Plain = str | float | int | bool | None


@dataclass(frozen=True)
class Provenance:
    """How a number was made.

    Attributes
    ----------
    method
        Name of the method, as in docs/methods/.
    version
        Version of the method; it goes up when the same inputs give another answer.
    inputs
        What went in, plain values with the unit in the name.
    valid_range
        In which range the method holds, in words.
    source
        Author, year, equation; or "own method, docs/methods/<page>".
    warnings
        What the reader should know before trusting the number.
    """

    method: str
    version: int
    inputs: Mapping[str, Plain] = field(default_factory=dict)
    valid_range: str = ""
    source: str = ""
    warnings: tuple[str, ...] = ()
