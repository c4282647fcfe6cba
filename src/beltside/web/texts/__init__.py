"""The words on the pages, and their translations.

A text is named by its English words. Each other language has a folder of TOML files, one for each
group of pages, that together hold the same texts; a test holds every text of every template
against them.

Sentences that the computing rooms make come to the pages in English, with their numbers and names
in them already. The files in a language's `said` folder hold such sentences with gaps; a sentence
is laid to the one whose words fit, and what stands in its gaps is translated in the same way.
A gap named `figure` or `figure_...` holds nothing but a number, perhaps with its unit; so
"{figure_low} to {figure_high}" fits no other sentence with "to" in it. Numbers in gaps are written
as the language writes them. A sentence of gaps alone,
such as "{name}: {says}", fits only what it joins of known pieces; so does a gap named `known` or
`known_...` in any sentence. A gap named `typed` or `typed_...` holds what a person typed, and stays
as it is. What is known with a small first letter is known with a capital one, and what is known
without a full stop at its end with one, and the other way round. A list is translated member by
member.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache, lru_cache
from importlib.resources import files
from typing import Final

from beltside.web.texts.figures import FIGURE as FIGURE
from beltside.web.texts.figures import figure, is_figure

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

    A number in a gap is written as the language writes it.

    >>> translator("en")("{count} takes", count=3)
    '3 takes'
    >>> translator("de")("{minutes} min", minutes=2.5)
    '2,5 min'
    """
    known = table(language if language in LANGUAGES else "en")

    def translate(text: str, /, **gaps: object) -> str:
        words = known.get(text, text)
        if not gaps:
            return words
        return words.format(**{name: _number(gap, language) for name, gap in gaps.items()})

    return translate


def _number(gap: object, language: str) -> object:
    if isinstance(gap, bool) or not isinstance(gap, str | int | float):
        return gap
    return figure(str(gap), language) if is_figure(str(gap)) else gap


GAP: Final = re.compile(r"\{(\w+)\}")
LIST_MARKS: Final = ("; ", " + ", " / ", ", ")
"""What parts the members of a list in a sentence of the rooms."""
_ERROR_PARTS: Final = (" Allowed: ", " Try: ")
_MOST_LISTED: Final = 40
_MARKS_INSIDE: Final = 3
"""So many of these marks may stand inside of one member."""
_KEPT: Final = 8192
_SIGNS: Final = 4
"""So many signs of its begin or end find a sentence with gaps."""


@cache
def said_groups(language: str) -> Mapping[str, Mapping[str, str]]:
    """The files of a language's `said` folder, each with its sentences."""
    return {} if language == "en" else _files_of(language, "said")


@dataclass(frozen=True)
class _Gapped:
    """A sentence with gaps: its place among them, what fits it, its translation."""

    place: int
    text: str
    fixed: Sequence[str]
    other: str
    worded: bool
    """Whether it has words of its own."""

    def may_fit(self, sentence: str) -> bool:
        """Whether its own words stand in the sentence, in their order, with room for the gaps.

        It is asked of all that are near, so that few patterns have to be made: that takes longer.
        """
        at = len(self.fixed[0])
        if not (sentence.startswith(self.fixed[0]) and sentence.endswith(self.fixed[-1])):
            return False
        for piece in self.fixed[1:]:
            at = sentence.find(piece, at + 1)
            if at < 0:
                return False
            at += len(piece)
        return True

    def matches(self, sentence: str) -> Iterator[re.Match[str]]:
        """The sentence parted so that the gaps hold as little as they can, then as much.

        A pattern is only made when it is asked for: making all takes seconds.
        """
        for most in (False, True)[: len(self.fixed) - 1]:
            found = _pattern(self.text, most=most).fullmatch(sentence)
            if found:
                yield found


@dataclass(frozen=True)
class _Sentences:
    """A language's sentences: whole ones by their English words; those with gaps by the signs
    they begin with or, where they begin with a gap, end with."""

    whole: Mapping[str, str]
    begin: Mapping[str, Sequence[_Gapped]]
    end: Mapping[str, Sequence[_Gapped]]

    def may_fit(self, sentence: str) -> list[_Gapped]:
        """Sentences with gaps that may fit, those with most words of their own first."""
        sizes = range(min(_SIGNS, len(sentence)) + 1)
        found = [one for size in sizes for one in self.begin.get(sentence[:size], ())]
        ends = (sentence[len(sentence) - size :] for size in sizes)
        found += [one for end in ends for one in self.end.get(end, ())]
        held = [one for one in found if one.may_fit(sentence)]
        return sorted(held, key=lambda one: one.place)


@cache
def _said(language: str) -> _Sentences:
    whole: dict[str, str] = {}
    gapped: dict[str, str] = {}
    for name, group in sorted(said_groups(language).items()):
        for text, other in group.items():
            kind = gapped if GAP.search(text) else whole
            if kind.setdefault(text, other) != other:
                raise ValueError(f"{language}/said/{name}: {text!r} has another translation")
    begin: dict[str, list[_Gapped]] = {}
    end: dict[str, list[_Gapped]] = {}
    for place, text in enumerate(sorted(gapped, key=_turn)):
        fixed = GAP.split(text)[::2]
        one = _Gapped(place, text, fixed, gapped[text], has_words("".join(fixed)))
        first, last = fixed[0], fixed[-1]
        where, signs = (begin, first[:_SIGNS]) if first else (end, last[-_SIGNS:])
        where.setdefault(signs, []).append(one)
    return _Sentences({**table(language), **whole}, begin, end)


def _turn(text: str) -> tuple[bool, int, bool]:
    """What frames an error's three parts comes first, then what has most words of its own; of
    two alike the one whose gaps are translated."""
    frame = any(mark in text for mark in _ERROR_PARTS)
    typed = any(name.startswith("typed") for name in GAP.findall(text))
    return not frame, -len(GAP.sub("", text)), typed


@lru_cache(maxsize=_KEPT)
def _pattern(text: str, *, most: bool = False) -> re.Pattern[str]:
    """What fits a sentence with gaps; a gap holds at least one sign, one for a figure a figure.

    With `most`, the first gaps hold as much as they can, else as little. What stands between
    quotation marks holds none.
    """
    pieces = GAP.split(text)
    fixed, names = pieces[::2], pieces[1::2]
    pattern = re.escape(fixed[0])
    for before, name, after in zip(fixed, names, fixed[1:], strict=False):
        held = FIGURE if name.startswith("figure") else ".+" if most else ".+?"
        if before.endswith("\u201c") and after.startswith("\u201d"):
            held = "[^\u201c\u201d]+"
        elif before.endswith('"') and after.startswith('"'):
            held = '[^"]+'
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
    """As `said`, None where no translation fits; that of a list where one of its members has none.

    >>> said_or_none("belt, slithy toves", "de") is None
    True
    """
    if language == "en" or language not in LANGUAGES:
        return sentence
    found = _with_or_without_stop(sentence, language)
    if found is None and sentence[:1].isupper():
        found = _with_or_without_stop(sentence[:1].lower() + sentence[1:], language)
        return None if found is None else found[:1].upper() + found[1:]
    if found is None and is_figure(sentence):
        return figure(sentence, language)
    return found


def _with_or_without_stop(sentence: str, language: str) -> str | None:
    whole = _said(language).whole
    if sentence not in whole and sentence.endswith(".") and sentence[:-1] in whole:
        return f"{whole[sentence[:-1]]}."
    if sentence.endswith("."):
        # One with words of its own, even without the stop, goes before a join of pieces.
        found = _laid(sentence, language, joins=False)
        if found is None and (without := _laid(sentence[:-1], language)) is not None:
            return f"{without}."
        return found or _laid(sentence, language)
    found = _laid(sentence, language)
    if found is not None:
        return found
    found = _laid(f"{sentence}.", language)
    return None if found is None else found.removesuffix(".")


@lru_cache(maxsize=_KEPT)
def _laid(
    sentence: str, language: str, *, gaps_known: bool = False, joins: bool = True
) -> str | None:
    """A sentence laid to the one that fits; None where none does.

    `gaps_known`: one fits only where all that stands in its gaps is known. `joins`: so do lists,
    and sentences of gaps alone.
    """
    known = _said(language)
    if sentence in known.whole:
        return known.whole[sentence]
    may_fit = known.may_fit(sentence)
    for one in (one for one in may_fit if one.worded):
        for found in one.matches(sentence):
            if _all_known(_to_be_known(found, not gaps_known), language):
                return _filled(found, one.other, language)
    listed = _listed(sentence, language, all_known=True) if joins else None
    if listed is not None or not joins:
        return listed
    for one in (one for one in may_fit if not one.worded):
        for found in one.matches(sentence):
            if _all_known(_to_be_known(found, False), language):
                return _filled(found, one.other, language)
    return None


def _filled(found: re.Match[str], other: str, language: str) -> str:
    gaps = found.groupdict().items()
    return other.format(**{name: _in_gap(name, value, language) for name, value in gaps})


def _listed(sentence: str, language: str, *, all_known: bool) -> str | None:
    """A list member by member; None where it is none, or not all are known and all have to be.

    A mark that stands inside of a known member parts nothing.
    """
    mark = next((one for one in LIST_MARKS if one in sentence), None)
    if mark is None or sentence.count(mark) > _MOST_LISTED:
        return None
    pieces, at, words = sentence.split(mark), 0, []
    while at < len(pieces):
        last = len(pieces) if at else len(pieces) - 1
        for end in range(min(last, at + 1 + _MARKS_INSIDE), at + 1, -1):
            found = _laid(mark.join(pieces[at:end]), language, gaps_known=True)
            if found is not None:
                break
        else:
            end = at + 1
            found = said_or_none(pieces[at], language)
        if found is None and all_known and has_words(pieces[at]):
            return None
        words.append(pieces[at] if found is None else found)
        at = end
    return mark.join(words)


def has_words(text: str) -> bool:
    """Whether a text holds letters: figures and signs are the same in every language."""
    return any(letter.isalpha() for letter in text)


def _to_be_known(found: re.Match[str], worded: bool) -> list[str]:
    """What stands in gaps that hold only what is known: all where the sentence has no words."""
    gaps = found.groupdict().items()
    return [
        value
        for name, value in gaps
        if name.startswith("known") or not (worded or name.startswith("typed"))
    ]


def _all_known(pieces: Iterable[str], language: str) -> bool:
    return all(not has_words(one) or said_or_none(one, language) is not None for one in pieces)


def _in_gap(name: str, words: str, language: str) -> str:
    if name.startswith("typed"):
        return words
    if name.startswith("figure"):
        return figure(words, language)
    found = said_or_none(words, language)
    if found is None:
        # Of a list that stands in a sentence of ours, what is known is translated.
        found = _listed(words, language, all_known=False)
    return words if found is None else found
