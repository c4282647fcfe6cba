"""The words on the pages, and their translations.

A text is named by its English words. Each other language has a folder of TOML files, one for each
group of pages, that together hold the same texts; a test holds every text of every template
against them.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Mapping
from functools import cache
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
    return {
        file.name: tomllib.loads(file.read_text(encoding="utf-8"))
        for file in files(__package__).joinpath(language).iterdir()
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
