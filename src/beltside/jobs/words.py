"""The words of a text, folded so that one word typed in two ways is one; and how near two are.

Folding: Unicode compatibility forms (full-width letters, ligatures), case, accents (Unicode
Standard, chapter 5.18 and annex 15). Scripts written without spaces are cut into pairs of letters.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final

LONGEST_WORD: Final = 64
"""Letters of a word that are kept."""

MOST_WORDS: Final = 4000
"""Distinct words of one entry that are kept."""

LONGEST_CODE: Final = 40
"""A short text with a digit in it (plate, VIN, part number, telephone) is one word as well."""

_OWN_LETTERS: Final = str.maketrans(
    {"ø": "o", "ł": "l", "đ": "d", "ð": "d", "þ": "th", "æ": "ae", "œ": "oe", "ı": "i", "ħ": "h"}
)
"""Letters with a stroke or of two letters, which Unicode does not take apart."""

_WORD: Final = re.compile(r"[^\W_]+")
_JOINED: Final = re.compile(r"[^\W_]+(?:[-./·'’][^\W_]+)+")
_SPACELESS: Final = re.compile(
    "([\u0e00-\u0eff\u1000-\u109f\u1780-\u17ff\u3040-\u30ff\u3400-\u4dbf\u4e00-\u9fff]+)"
)
"""Thai, Lao, Burmese, Khmer, kana and Chinese characters."""
_HASH: Final = re.compile(r"[0-9a-fA-F]{32,}")

MACHINE_FIELDS: Final = frozenset(
    {
        *("toml", "result", "given", "marks", "offer", "agreement", "signature"),
        *("file", "files", "picture", "agreed_at", "started_at", "recorded_at"),
        *("belt", "stage", "state", "about", "aim", "currency", "unit", "engine"),
        *("estimate", "before", "after", "test", "earlier_job", "template"),
    }
)
"""Fields that hold what a program wrote, a choice from a list, or the name of something else."""


def fold(text: str) -> str:
    """A text as it is compared.

    >>> fold("Ｋ-12 Müller STRAẞE Łódź")
    'k-12 muller strasse lodz'
    """
    if text.isascii():
        return text.lower()
    folded = unicodedata.normalize("NFKD", unicodedata.normalize("NFKC", text).casefold())
    bare = "".join(letter for letter in folded if not _is_accent(letter))
    return unicodedata.normalize("NFC", bare.translate(_OWN_LETTERS))


def _is_accent(letter: str) -> bool:
    # Marks beyond this block are letters of their own script: vowels of Thai or Devanagari.
    return "\u0300" <= letter <= "\u036f"


def words_of(text: str) -> list[str]:
    """The words of a text in their order.

    A run joined by a dash, dot or slash is given once more in one piece, and so is a whole short
    text with a digit in it.

    >>> words_of("Coolant-pump, K 12 ABC")
    ['coolant', 'pump', 'k', '12', 'abc', 'coolantpump', 'coolantpumpk12abc']
    """
    folded = _HASH.sub(" ", fold(text))
    words = _plain_words(folded)
    for run in _JOINED.findall(folded):
        words += _cut("".join(_WORD.findall(run)))
    if len(folded) <= LONGEST_CODE and any(letter.isdigit() for letter in folded):
        whole = "".join(_WORD.findall(folded))
        if whole not in words:
            words.append(whole)
    return [word[:LONGEST_WORD] for word in words]


def asked_words(text: str) -> list[str]:
    """The words somebody looks for, each once, in their order.

    >>> asked_words("Coolant-pump K 12")
    ['coolant', 'pump', 'k', '12']
    """
    return list(dict.fromkeys(word[:LONGEST_WORD] for word in _plain_words(fold(text))))


def squeezed(text: str) -> str:
    """The letters and digits of a text, folded: every one of its words stands in it."""
    return "".join(_WORD.findall(fold(text)))


def _plain_words(folded: str) -> list[str]:
    return [part for found in _WORD.findall(folded) for part in _cut(found)]


def _cut(word: str) -> Iterator[str]:
    if word.isascii():
        yield word
        return
    for part in filter(None, _SPACELESS.split(word)):
        if len(part) > 2 and _SPACELESS.fullmatch(part):
            yield from (part[start : start + 2] for start in range(len(part) - 1))
        else:
            yield part


def texts_of(body: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """What a person would look for in the body of an entry: (field, text) pairs."""
    for name, value in body.items():
        # The name a phone gives a file says nothing.
        if name not in MACHINE_FIELDS and not (name == "name" and "file" in body):
            for text in _texts(value, 3):
                yield name, text


def _texts(value: Any, deep: int) -> Iterator[str]:
    if isinstance(value, str):
        if value:
            yield value
    elif isinstance(value, list) and deep:
        for one in value:
            yield from _texts(one, deep - 1)
    elif isinstance(value, dict) and deep:
        for name, one in value.items():
            if name not in MACHINE_FIELDS:
                yield from _texts(one, deep - 1)


def distinct_words(body: Mapping[str, Any]) -> set[str]:
    """The words by which an entry is found."""
    words: dict[str, None] = {}
    for _, text in texts_of(body):
        words.update(dict.fromkeys(words_of(text)))
        if len(words) > MOST_WORDS:
            break
    return set(list(words)[:MOST_WORDS])


# Keys ---------------------------------------------------------------------------------------------

LONG: Final = 9
"""Words of so many letters and more are found by groups of three letters, shorter ones by what is
left when one letter is taken out; words around it by both, so that a letter more or less is no
matter."""


def keys_of_word(word: str) -> set[str]:
    """Keys under which a word is kept."""
    keys: set[str] = set()
    if 3 <= len(word) <= LONG:
        keys |= _shortened(word)
    if len(word) >= LONG - 1:
        keys |= _triples(f"  {word} ")
    return keys


def slip_keys(word: str) -> tuple[set[str], int]:
    """Keys to look for words that `word` may be a slip of, and how many of them such a word has.

    A letter wrong, missing, too many or two exchanged leave one of a short word's keys alike. Of
    the n + 1 groups of a long one a slip spoils three, and four where two letters are exchanged.
    """
    if len(word) < LONG:
        return (_shortened(word), 1) if len(word) >= 3 else (set(), 1)
    keys = _triples(f"  {word} ")
    return keys, max(len(keys) - 4 * slips_allowed(word), 2)


def part_keys(word: str) -> set[str]:
    """Keys to look for long words that hold `word` within: the last digits of a VIN."""
    return _triples(word) if len(word) >= 4 else set()


def slips_allowed(word: str) -> int:
    """How many slips a word may have: none below 3 letters, 1 up to 8, else 2. Own choice."""
    return 0 if len(word) < 3 else 1 if len(word) < LONG else 2


def _shortened(word: str) -> set[str]:
    return {f"-{word}"} | {f"-{word[:at]}{word[at + 1 :]}" for at in range(len(word))}


def _triples(padded: str) -> set[str]:
    return {padded[at : at + 3] for at in range(len(padded) - 2)}


def slips(one: str, other: str, most: int) -> int:
    """Letters wrong, missing, too many, or two neighbours exchanged; `most` + 1 for any more.

    Optimal string alignment (Damerau, 1964; Levenshtein, 1966).

    >>> slips("pump", "pmup", 2), slips("bearing", "berring", 2), slips("pump", "belt", 2)
    (1, 1, 3)
    """
    if abs(len(one) - len(other)) > most:
        return most + 1
    before: list[int] = []
    row = list(range(len(other) + 1))
    for i, letter in enumerate(one, 1):
        older, before, row = before, row, [i]
        for j, against in enumerate(other, 1):
            cost = min(before[j] + 1, row[j - 1] + 1, before[j - 1] + (letter != against))
            if i > 1 and j > 1 and letter == other[j - 2] and one[i - 2] == against:
                cost = min(cost, older[j - 2] + 1)
            row.append(cost)
        if min(row) > most and (not before or min(before) > most):
            return most + 1
    return min(row[-1], most + 1)


def as_groups(asked: Sequence[str]) -> list[tuple[str, tuple[int, ...]]]:
    """Each asked word by itself with its place, and two to six neighbours in one piece.

    Only pieces with a digit: plates, VINs, part and telephone numbers are typed with and without
    spaces.

    >>> as_groups(["k", "12", "pump"])
    [('k', (0,)), ('12', (1,)), ('pump', (2,)), ('k12', (0, 1)), ('12pump', (1, 2)),
     ('k12pump', (0, 1, 2))]
    """
    groups: list[tuple[str, tuple[int, ...]]] = []
    for length in range(1, 7):
        for start in range(len(asked) - length + 1):
            piece = "".join(asked[start : start + length])
            if length == 1 or any(letter.isdigit() for letter in piece):
                groups.append((piece[:LONGEST_WORD], tuple(range(start, start + length))))
    return groups
