"""The proof sheet in words: every figure with its unit, metric or US, as paper and screen show it.

Numbers on the sheet are SI; here alone they are converted and rounded.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from beltside.casework.proof_sheet import Figure, Money, Said
from beltside.casework.proof_sheet import code_of as code_of

if TYPE_CHECKING:
    from beltside.casework.proof_sheet import Line, ProofSheet, Section

KPA_PER_PSI: Final = 6.894757293168
NM_PER_LBF_FT: Final = 1.3558179483314004
LITRES_PER_US_QUART: Final = 0.946352946
KM_PER_MILE: Final = 1.609344
"""International pound-force, foot, inch, mile and US gallon: NIST Special Publication 811 (2008),
appendix B."""

_JOINERS: Final = frozenset("\u200c\u200d\ufe0e\ufe0f")
"""Invisible, but they shape what stands beside them: emoji, Persian words."""


@dataclass(frozen=True)
class Row:
    """One line of a section.

    `number` and `unit` are empty where `words` say it.
    """

    label: str
    words: str = ""
    number: str = ""
    unit: str = ""
    range: str = ""
    source: str = ""

    def text(self) -> str:
        """The row as a sentence."""
        value = " ".join(filter(None, [self.number, self.unit, self.range, self.words]))
        return f"{self.label}: {value}" + (f" ({self.source})" if self.source else "")


def row(line: Line, *, us: bool = False) -> Row:
    """A line of the sheet as it is printed."""
    if isinstance(line, Said):
        return Row(as_typed(line.name), as_typed(line.words), source=as_typed(line.source))
    if isinstance(line, Money):
        return Row(
            as_typed(line.name),
            number=as_typed(line.amount),
            unit=as_typed(line.currency),
            source=as_typed(line.source),
        )
    number, unit = figure_words(line.value, line, us=us)
    return Row(
        as_typed(line.name),
        number=number,
        unit=unit,
        range=range_words(line, us=us),
        source=as_typed(line.source),
    )


def figure_words(value: float, figure: Figure, *, us: bool = False) -> tuple[str, str]:
    """A value of a figure and its unit.

    >>> figure_words(22.0, Figure("bolt", 22.0, "N m"), us=True)
    ('16.2', 'lb·ft')
    >>> figure_words(-36.4, Figure("frost", -36.4, "degC"))
    ('−36', '°C')
    """
    digits = figure.digits
    match figure.unit:
        case "kPa":
            return (_n(value / KPA_PER_PSI, 1), "psi") if us else (_n(value, digits), "kPa")
        case "degC":
            return (_n(1.8 * value + 32.0, 0), "°F") if us else (_n(value, digits), "°C")
        case "L":
            return (_n(value / LITRES_PER_US_QUART, 2), "qt") if us else (_n(value, digits), "L")
        case "N m":
            if us:
                return _n(value / NM_PER_LBF_FT, 1), "lb·ft"
            return _n(value, 0 if float(value).is_integer() else 1), "N·m"
        case "km":
            return (_n(value / KM_PER_MILE, 0), "mi") if us else (_n(value, digits), "km")
        case "in 100":
            if value < 1.0:
                return "under 1", "in 100"
            return ("over 99" if value > 99.0 else _n(value, 0)), "in 100"
        case "1":
            return _n(100.0 * value, 0), "% of before"
        case "deg":
            return _n(value, 0), "degrees"
    return _n(value, digits), figure.unit


def range_words(figure: Figure, *, us: bool = False) -> str:
    """The 90 % range: "8.1 to 10.6", "at least 11.0", or nothing.

    >>> range_words(Figure("quieter", 9.4, "dB", 8.1, 10.6, digits=1))
    '8.1 to 10.6'
    """
    low, high = (
        None if end is None else figure_words(end, figure, us=us)[0]
        for end in (figure.low, figure.high)
    )
    if low is not None and high is not None:
        return "" if low == high else f"{low} to {high}"
    if low is not None:
        return f"at least {low}"
    return f"at most {high}" if high is not None else ""


def rows(section: Section, *, us: bool = False) -> Iterator[Row]:
    """The lines of a section; a source that several lines on end share stands at the first."""
    source = ""
    for line in section.lines:
        found = row(line, us=us)
        yield replace(found, source="") if found.source == source else found
        source = found.source


def big_figures(sheet: ProofSheet, *, us: bool = False) -> list[tuple[str, str, str, str]]:
    """Up to three figures to print large: number, unit, what it is, range."""
    found = []
    for key, names in (
        ("sound", ("Quieter by",)),
        ("coolant", ("Held for",)),
        ("coolant", ("Frost protection to",)),
    ):
        figure = next(filter(None, map(sheet.section(key).figure, names)), None)
        if figure is None:
            continue
        number, unit = figure_words(figure.value, figure, us=us)
        name, extra = figure.name, range_words(figure, us=us)
        if figure.name == "Held for":
            end = sheet.section(key).figure("At the end")
            verdict = next(
                (
                    one.words
                    for one in sheet.section(key).lines
                    if isinstance(one, Said) and one.name == "Leak test"
                ),
                "",
            )
            name = "Under pressure for"
            extra = f"{' '.join(figure_words(end.value, end, us=us))} at the end" if end else ""
            if verdict.startswith("the system loses"):
                name = "Loses pressure; watched for"
        found.append((number, unit, name, extra))
    return found


def moment_words(sheet: ProofSheet) -> str:
    """The moment the sheet speaks of, to the minute."""
    return sheet.time.strftime("%Y-%m-%d %H:%M UTC")


def as_typed(text: str) -> str:
    """A person's words, ready to print: as typed, without what can't be seen.

    Invisible marks that turn the direction of what follows are left out, control characters
    become "�"; lines stay.

    >>> as_typed("a\\u202eb\\x07 #let x")
    'ab� #let x'
    """
    return "".join(map(_shown, text.replace("\r\n", "\n").replace("\r", "\n")))


def _shown(letter: str) -> str:
    if letter in _JOINERS or letter == "\n":
        return letter
    kind = unicodedata.category(letter)
    if letter == "\t" or kind in ("Zl", "Zp"):
        return " "
    if kind == "Cf":
        return ""
    return "�" if kind in ("Cc", "Cs", "Co", "Cn") else letter


def _n(value: float, digits: int) -> str:
    """A number with its digits, thousands parted by a narrow space from 10000 on, a true minus."""
    rounded = round(value, digits) + 0.0
    text = f"{abs(rounded):,.{digits}f}" if abs(rounded) >= 10_000 else f"{abs(rounded):.{digits}f}"
    return ("−" if rounded < 0 else "") + text.replace(",", "\u202f")
