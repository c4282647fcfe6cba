"""Measured figures beside their targets, as lines and as a table."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class Figure:
    """One measured figure.

    Attributes
    ----------
    name
        What was measured.
    value
        As measured; nan when there was nothing to measure it on.
    unit
        "s", "MB", "%" ("%" takes a share, 0.1 for 10 %), "times" or "".
    target
        None when there is none.
    at_least
        Whether the target is a least value and not a most value.
    note
        What to know beside it, such as the range that the number of cases leaves open.
    """

    name: str
    value: float
    unit: str
    target: float | None = None
    at_least: bool = False
    note: str = ""

    @property
    def met(self) -> bool | None:
        """Whether the target is met; None without a target or a value."""
        if self.target is None or math.isnan(self.value):
            return None
        return self.value >= self.target if self.at_least else self.value <= self.target

    @property
    def verdict(self) -> str:
        """ "met", "missed", or "-" when there is nothing to judge.

        >>> Figure("wrong octave", 0.01, "%", 0.02).verdict
        'met'
        """
        return {True: "met", False: "missed", None: "-"}[self.met]

    def target_text(self) -> str:
        """The target in words.

        >>> Figure("faster", 6.0, "times", 5.0, at_least=True).target_text()
        'at least 5 times'
        """
        if self.target is None:
            return ""
        return f"at {'least' if self.at_least else 'most'} {_amount(self.target, self.unit)}"


def _amount(value: float, unit: str) -> str:
    if math.isnan(value):
        return "no cases"
    if unit == "%":
        percent = 100.0 * value
        return f"{percent:.3g} %" if percent < 10.0 else f"{percent:.1f} %".replace(".0 %", " %")
    digits = f"{value:.3g}" if abs(value) < 100.0 else f"{value:.0f}"
    return f"{digits} {unit}".rstrip()


def table(figures: Sequence[Figure]) -> str:
    """Figures under each other: name, measured, target, verdict, note.

    >>> print(table([Figure("help", 0.2, "s", 0.3, note="of 5")]))
    figure  measured  target          verdict  note
    help    0.2 s     at most 0.3 s   met      of 5
    """
    head = ("figure", "measured", "target", "verdict", "note")
    rows = [
        (one.name, _amount(one.value, one.unit), one.target_text(), one.verdict, one.note)
        for one in figures
    ]
    widths = [max(len(row[column]) for row in (head, *rows)) for column in range(len(head))]
    return "\n".join(
        "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
        for row in (head, *rows)
    )
