"""How numbers are written in each language: what stands before decimals, and between thousands.

The rooms and the record write 1,065.5; a page in German shows 1 065,5. The mark between thousands
is a space in every language but English, as a comma or point would be taken for the other one's
decimals (ISO 80000-1:2022, 7.3.1 and 7.3.2; from memory).
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Final

_MARKS: Final[Mapping[str, tuple[str, str]]] = {"de": (",", "\N{NARROW NO-BREAK SPACE}")}
_ENGLISH: Final = (".", ",")

_NUMBER: Final = r"[-+−±]?\d[\d.,:]*"
_UNIT: Final = (
    r"(?:%|°C|°F|°|K|kPa|bar|psi|(?:k|psi|kPa|mL|ml|fl oz)/min|mL/kPa|mL|ml|L|l|qt|kg/m³|lb/ft³"
    r"|s|min|h|mm|km|m|kN|N m|lbf ft|lbf in|kgf m|kgf cm|N|rpm|1/min|ppm|dB|Hz)"
)
FIGURE: Final = rf"{_NUMBER}(?: ?{_UNIT}(?: (?:{_NUMBER}|\({_NUMBER}) ?{_UNIT}\)?)*)?"
"""What a gap named `figure...` holds: "3.5 L", "4 min 45 s", "24 N m (18 lbf ft)". Each unit stands
in it twice only: it stands in many patterns, and making those takes time."""
_FIGURES: Final = re.compile(rf"{FIGURE}(?: ?– ?{FIGURE})?(?: [A-Z]{{3}})?")
"""A figure or a range of two, or an amount of money (currencies of three letters, ISO 4217)."""
_THOUSANDS: Final = re.compile(r"(?<=\d),(?=\d{3}(?!\d))")
_PER_CENT: Final = re.compile(r"(?<=\d)%")
_THREE: Final = re.compile(r"\.\d{3}(?!\d)")
_POINT: Final = re.compile(r"(?<![\w.])(\d+)\.(?=\d+(?!\w|\.\d))")
"""The point of a number, which is none in 192.168.1.7, 30.11.2026, M10x1.25 and 1.4i."""


def number_marks(language: str) -> tuple[str, str]:
    """What stands before decimals, and what between thousands.

    >>> number_marks("en")
    ('.', ',')
    """
    return _MARKS.get(language, _ENGLISH)


def is_figure(words: str) -> bool:
    """Whether it is nothing but a number, or a range of two, perhaps with units or a currency.

    >>> is_figure("24.5 N m"), is_figure("3.1 – 4.2"), is_figure("84.50 EUR"), is_figure("Tarn 1.4")
    (True, True, True, False)
    """
    return _FIGURES.fullmatch(words) is not None


def field_figure(value: str, language: str) -> str:
    """A number as a field of a form shows it, with or without its unit; other words as they are.

    Only the point becomes the language's mark: a comma may have been typed for decimals. In front
    of three digits it stays, for some fields ask there whether a comma is for thousands.

    >>> field_figure("6.2 L", "de"), field_figure("1,065", "de"), field_figure("Tarn 1.4", "de")
    ('6,2 L', '1,065', 'Tarn 1.4')
    >>> field_figure("1.065", "de")
    '1.065'
    """
    if language not in _MARKS or "," in value or not is_figure(value) or _THREE.search(value):
        return value
    return figure(value, language)


def figure(words: str, language: str) -> str:
    """A number, with its unit if it has one, as a language writes it.

    In a longer text every number is written so: it must be no one's own words.

    >>> figure("1,065.5 kg/m³", "en"), figure("0.75 L, -36.5 °C", "de")
    ('1,065.5 kg/m³', '0,75 L, -36,5 °C')
    >>> figure("192.168.1.7, M10x1.25", "de")
    '192.168.1.7, M10x1.25'
    """
    if language not in _MARKS:
        return words
    decimal, thousands = _MARKS[language]
    words = _PER_CENT.sub(" %", _THOUSANDS.sub(thousands, words))
    return _POINT.sub(rf"\g<1>{decimal}", words)
