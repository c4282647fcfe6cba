"""The words on the pages, and their translations.

A text is named by its English words. Each other language has a folder of TOML files, one for each
group of pages, that together hold the same texts; a test holds every text of every template
against them.

Sentences that the computing rooms make come to the pages in English, with their numbers and names
in them already. The files in a language's `said` folder hold such sentences with gaps; a sentence
is laid to the one whose words fit, and what stands in its gaps is translated in the same way.
A gap named `figure` or `figure_...` holds nothing but a number, perhaps with its unit; so
"{figure_low} to {figure_high}" fits no other sentence with "to" in it. A sentence of gaps alone,
such as "{name}: {says}", fits only what it joins of known pieces.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Mapping, Sequence
from functools import cache, lru_cache
from importlib.resources import files
from typing import Final

LANGUAGES: Final[Mapping[str, str]] = {"en": "English", "de": "Deutsch"}

Translate = Callable[..., str]


def text_(words: str) -> str:
    """Marks words that a route hands to a template, which translates them; gives them back."""
    return words


@cache
def table(language: str) -> Mapping[str, str]:
    """Texts of a language by their English words; empty for English."""
    if language == "en":
        return {}
    words: dict[str, str] = {}
    for name, group in sorted(groups(language).items()):
        for text, other in group.items():
            if words.setdefault(text, other) != other:
                raise ValueError(f"{language}/{name}: {text!r} has another translation elsewhere")
    return words


def groups(language: str) -> Mapping[str, Mapping[str, str]]:
    """The files of a language, each with its texts; a text may stand in several, alike."""
    return _files_of(language)


def _files_of(*folder: str) -> Mapping[str, Mapping[str, str]]:
    return {
        file.name: tomllib.loads(file.read_text(encoding="utf-8"))
        for file in files(__package__).joinpath(*folder).iterdir()
        if file.name.endswith(".toml")
    }


def translator(language: str) -> Translate:
    """A function from the English words to those of a language; gaps are filled by name.

    >>> translator("en")("{count} takes", count=3)
    '3 takes'
    """
    known = table(language if language in LANGUAGES else "en")

    def translate(text: str, /, **gaps: object) -> str:
        words = known.get(text, text)
        return words.format(**gaps) if gaps else words

    return translate


GAP: Final = re.compile(r"\{(\w+)\}")
_NUMBER: Final = r"[-+−]?\d[\d.,:]*"
_UNIT: Final = (
    r"(?:%|°C|°F|°|K|kPa|bar|psi|(?:k|psi|kPa|mL|ml|fl oz)/min|mL/kPa|mL|ml|L|l|qt|kg/m³|lb/ft³"
    r"|s|min|h|mm|km|m|kN|N m|lbf ft|lbf in|kgf m|kgf cm|N|rpm|1/min|ppm|dB|Hz)"
)
_ONE_FIGURE: Final = rf"{_NUMBER}(?: ?{_UNIT})?(?: \({_NUMBER} ?{_UNIT}\))?"
FIGURE: Final = rf"{_ONE_FIGURE}(?: {_ONE_FIGURE})*"
"""What a gap named `figure...` holds: "3.5 L", "4 min 45 s", "24 N m (18 lbf ft)"."""
_THOUSANDS: Final = re.compile(r"(?<=\d),(?=\d{3}(?!\d))")
_KEPT: Final = 8192


@cache
def said_groups(language: str) -> Mapping[str, Mapping[str, str]]:
    """The files of a language's `said` folder, each with its sentences."""
    return {} if language == "en" else _files_of(language, "said")


@cache
def _said(language: str) -> tuple[Mapping[str, str], Sequence[tuple[re.Pattern[str], str, bool]]]:
    """Whole sentences by their English words, and those with gaps, the longest words first.

    Of each with gaps: what fits it, its translation, and whether it has words of its own.
    """
    whole: dict[str, str] = {}
    gapped: dict[str, str] = {}
    for name, group in sorted(said_groups(language).items()):
        for text, other in group.items():
            kind = gapped if GAP.search(text) else whole
            if kind.setdefault(text, other) != other:
                raise ValueError(f"{language}/said/{name}: {text!r} has another translation")
    order = sorted(gapped, key=lambda text: -len(GAP.sub("", text)))
    return {**table(language), **whole}, [
        (_pattern(text), gapped[text], has_words(GAP.sub("", text))) for text in order
    ]


def _pattern(text: str) -> re.Pattern[str]:
    """What fits a sentence with gaps; a gap holds at least one sign, one for a figure a figure."""
    pieces = GAP.split(text)
    fixed, names = pieces[::2], pieces[1::2]
    pattern = re.escape(fixed[0])
    for name, after in zip(names, fixed[1:], strict=True):
        held = FIGURE if name.startswith("figure") else ".+?"
        pattern += f"(?P<{name}>{held})" + re.escape(after)
    return re.compile(pattern, re.DOTALL)


@lru_cache(maxsize=_KEPT)
def said(sentence: str, language: str) -> str:
    """A sentence of a computing room in a language; as it is where no translation fits.

    >>> said("Not begun.", "en")
    'Not begun.'
    """
    found = said_or_none(sentence, language)
    return sentence if found is None else found


def said_or_none(sentence: str, language: str) -> str | None:
    """As `said`, None where no translation fits."""
    if language == "en" or language not in LANGUAGES:
        return sentence
    whole, gapped = _said(language)
    if sentence in whole:
        return whole[sentence]
    for pattern, other, worded in gapped:
        found = pattern.fullmatch(sentence)
        if found and (worded or _all_known(found.groups(), language)):
            gaps = {
                name: _figure(value) if name.startswith("figure") else said(value, language)
                for name, value in found.groupdict().items()
            }
            return other.format(**gaps)
    return None


def has_words(text: str) -> bool:
    """Whether a text holds letters: figures and signs are the same in every language."""
    return any(letter.isalpha() for letter in text)


def _all_known(pieces: Sequence[str], language: str) -> bool:
    return all(
        not has_words(one)
        or re.fullmatch(FIGURE, one) is not None
        or said_or_none(one, language) is not None
        for one in pieces
    )


def _figure(figure: str) -> str:
    """A figure without the comma between thousands, which elsewhere stands for decimals."""
    return _THOUSANDS.sub("\N{NARROW NO-BREAK SPACE}", figure)
