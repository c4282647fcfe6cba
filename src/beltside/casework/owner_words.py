"""Finds what points to a person in texts, however it was typed, and takes it out."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from beltside.base.words import FAULTS, PARTS

REMOVED: Final = "[removed]"
_BETWEEN: Final = r"[\s_.,;:'’/+()-]{0,3}"
_WORD: Final = re.compile(r"(?:[^\W_][\u0300-\u036f]*)+")
_LEAST_WORD: Final = 3
"""Letters of a part of a name that is looked for by itself: shorter ones stand in every text."""
_LEAST_DIGITS: Final = 5
_LEAST_PART: Final = 5
_CORE_DIGITS: Final = 7
"""The last digits of a telephone number, which it has with and without the code of its country."""

TRADE: Final = frozenset(
    {word for name in (*PARTS, *FAULTS) for word in name.split("-")}
    | {"front", "rear", "left", "right", "hot", "cold", "both", "before", "after", "done", "other"}
    | {
        "rough",
        "smooth",
        "loose",
        "tight",
        "quiet",
        "loud",
        "dry",
        "wet",
        "pump",
        "hose",
        "unknown",
    }
)
"""Words of the trade: a name that is one of them is taken out only where it stands whole."""


@dataclass
class OwnerWords:
    """What points to a person: filled by `names`, `numbers`, `texts`; then `clean`.

    >>> words = OwnerWords()
    >>> words.names(["Åsa Lind"]); words.numbers(["+46 70-123 45 67"]); words.codes(["KLM 12A"])
    >>> words.clean("asa LIND rang 070 1234567 about klm-12a")
    '[removed] rang [removed] about [removed]'
    """

    _strong: list[str] = field(default_factory=list)
    _weak: list[str] = field(default_factory=list)
    _made: re.Pattern[str] | None = None

    def names(self, given: Iterable[str]) -> None:
        """Names of people: whole, and each part of three letters and more by itself."""
        for name in given:
            for form in _forms(name):
                parts = _WORD.findall(form)
                if parts:
                    self._strong.append(_bounded(_BETWEEN.join(map(re.escape, parts))))
                self._weak += [
                    _bounded(re.escape(part))
                    for part in parts
                    if len(part) >= _LEAST_WORD and part.casefold() not in TRADE
                ]
        self._made = None

    def numbers(self, given: Iterable[str]) -> None:
        """Telephone numbers, with and without their code and with any spaces."""
        for number in given:
            digits = re.sub(r"\D", "", unicodedata.normalize("NFKC", number))
            if len(digits) >= _LEAST_DIGITS:
                core = digits[-_CORE_DIGITS:]
                self._strong.append(
                    r"(?<!\d)(?:(?:[+(]{1,2}|(?=0))(?:\d[\s()./-]{0,2}){1,9})?"
                    + r"[\s()./-]{0,2}".join(core)
                    + r"(?!\d)"
                )
        self._made = None

    def codes(self, given: Iterable[str]) -> None:
        """Plates and vehicle numbers, with any spaces and dashes; the last six of a long one."""
        for code in given:
            letters = re.findall(r"[^\W_]", unicodedata.normalize("NFKC", code))
            if len(letters) >= 3:
                self._strong.append(_bounded(_BETWEEN.join(map(re.escape, letters))))
            if len(letters) >= 12:
                self._strong.append(_bounded("".join(map(re.escape, letters[-6:]))))
        self._made = None

    def texts(self, given: Iterable[str]) -> None:
        """Addresses and the like: whole, and each line or part between commas."""
        for text in given:
            for part in {text, *re.split(r"[\n,;]", text)}:
                for form in _forms(part):
                    words = form.split()
                    if len("".join(words)) >= _LEAST_PART:
                        self._strong.append(r"\s+".join(map(re.escape, words)))
        self._made = None

    def clean(self, text: str) -> str:
        """The text without it."""
        made = self._pattern()
        return made.sub(REMOVED, text) if made else text

    def stand_in(self, text: str) -> bool:
        """Whether anything of it stands in a text."""
        made = self._pattern()
        return bool(made and made.search(text))

    def cleaned(self, value: Any, replaced: Mapping[str, str] = {}) -> Any:
        """Plain values without it, keys too; texts that are names in `replaced` get the new one."""
        if isinstance(value, str):
            return replaced.get(value) or self.clean(value)
        if isinstance(value, Mapping):
            return {self.clean(key): self.cleaned(one, replaced) for key, one in value.items()}
        if isinstance(value, list | tuple):
            return [self.cleaned(one, replaced) for one in value]
        return value

    def in_bytes(self, data: bytes) -> list[tuple[int, int]]:
        """Where it stands in the bytes of a file, as UTF-8, Latin-1 or UTF-16: (start, end)."""
        made = self._pattern()
        if made is None:
            return []
        found = []
        for encoding, wide in (("latin-1", 1), ("utf-8", 1), ("utf-16-le", 2), ("utf-16-be", 2)):
            for start in range(wide):
                text = _decoded(data[start:], encoding)
                found += [(start + a, start + b) for a, b in _spans(made, text, encoding)]
        return sorted(found)

    def _pattern(self) -> re.Pattern[str] | None:
        if self._made is None and (self._strong or self._weak):
            longest = sorted({*self._strong, *self._weak}, key=len, reverse=True)
            self._made = re.compile("|".join(longest), re.IGNORECASE)
        return self._made


def _decoded(data: bytes, encoding: str) -> str:
    return data.decode(encoding, "surrogateescape" if encoding == "utf-8" else "replace")


def _spans(made: re.Pattern[str], text: str, encoding: str) -> Iterable[tuple[int, int]]:
    if encoding == "latin-1":
        yield from (match.span() for match in made.finditer(text))
        return
    at, before = 0, 0
    for match in made.finditer(text):
        at += _length(text[before : match.start()], encoding)
        end = at + _length(match[0], encoding)
        yield at, end
        at, before = end, match.end()


def _length(text: str, encoding: str) -> int:
    # Each wide unit that was none became one replacement mark: of one unit as well.
    return len(text.encode(encoding, "surrogateescape" if encoding == "utf-8" else "replace"))


def _forms(text: str) -> set[str]:
    """A text composed, decomposed, and without its accents."""
    apart = unicodedata.normalize("NFD", text)
    bare = "".join(letter for letter in apart if not unicodedata.combining(letter))
    return {one for one in (unicodedata.normalize("NFC", text), apart, bare) if one.strip()}


def _bounded(pattern: str) -> str:
    return rf"(?<![^\W_]){pattern}(?![^\W_])"
