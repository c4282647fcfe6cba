"""Sentences of the computing rooms in another language: every one is one that the rooms make."""

from __future__ import annotations

import ast
import re
import tomllib
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from string import Formatter
from typing import Any

import pytest

import beltside
from beltside.web.texts import FIGURE, GAP, LANGUAGES, said, said_groups, said_or_none

from .errors_made import texts_of

FOLDER = Path(beltside.__file__).parent
OTHERS = [name for name in LANGUAGES if name != "en"]


def plain(text: str) -> str:
    """A sentence with all gaps alike."""
    return GAP.sub("{}", text)


def strings_of(tree: ast.AST) -> Iterator[str]:
    """Texts and f-strings of a module, gaps as {}; also each piece of a conditional or join."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            yield plain(node.value)
            yield node.value.replace("-", " ").replace("_", " ")
        elif isinstance(node, ast.AnnAssign) and isinstance(node.target, ast.Name):
            # A field of an entry, as the list of all changes names it.
            yield node.target.id.replace("_", " ")
        elif isinstance(node, ast.JoinedStr):
            yield "".join(
                str(one.value) if isinstance(one, ast.Constant) else "{}" for one in node.values
            )
            yield from texts_of(node)
        elif isinstance(node, ast.BinOp):
            yield from (text for text in texts_of(node) if any(map(str.isalpha, text)))
        elif isinstance(node, ast.Call) and ast.unparse(node.func) == "count_of":
            nouns = [one.value for one in node.args[1:] if isinstance(one, ast.Constant)]
            yield from (f"{{}} {noun}" for noun in [*nouns, *(f"{one}s" for one in nouns[:1])])
            yield from (f"1 {noun}" for noun in nouns[:1])


def strings_in(value: Any) -> Iterator[str]:
    """Texts of a TOML file, and keys, which are names of parts and checks."""
    if isinstance(value, str):
        yield plain(value)
    elif isinstance(value, dict):
        if isinstance(value.get("name"), str):
            # How a job file's thing is called on refitting when nothing else is said.
            yield f"{value['name'].replace('-', ' ')} back on"
        for key, inside in value.items():
            yield key
            yield key.replace("-", " ")
            if isinstance(inside, dict) and isinstance(inside.get("says"), str):
                yield f"{key}: {inside['says']}"  # what a check showed, as findings say it
            yield key.replace("-", " ").replace(".", " ")
            yield from strings_in(inside)
    elif isinstance(value, list):
        for inside in value:
            yield from strings_in(inside)


@cache
def made() -> frozenset[str]:
    """Every sentence the rooms may make, gaps as {}."""
    # The three parts of an error, as `BeltsideError` joins them, one or both of the last left out.
    texts = {"{} Allowed: {} Try: {}", "{} Allowed: {}", "{} Try: {}"}
    for path in FOLDER.rglob("*.py"):
        if FOLDER / "web" / "texts" not in path.parents:
            own = set(strings_of(ast.parse(path.read_text(encoding="utf-8"))))
            texts |= own
            if path.parent.name == "formats":
                # A value that is off, as `_shown` quotes it, with what is wrong with it.
                texts.update(f'"{{}}": {text}' for text in own)
    for path in FOLDER.rglob("*.toml"):
        if FOLDER / "web" / "texts" not in path.parents:
            texts.update(strings_in(tomllib.loads(path.read_text(encoding="utf-8"))))
    return frozenset(texts)


@pytest.mark.parametrize("language", OTHERS)
def test_every_sentence_is_one_that_a_room_makes(language: str) -> None:
    texts = [text for group in said_groups(language).values() for text in group]
    assert [text for text in texts if plain(text) not in made()] == []


@pytest.mark.parametrize("language", OTHERS)
def test_sentences_keep_their_gaps(language: str) -> None:
    for group in said_groups(language).values():
        for text, other in group.items():
            if not GAP.search(text):
                continue  # braces in it stand for themselves
            gaps = {name for _, name, _, _ in Formatter().parse(other) if name is not None}
            assert gaps == set(GAP.findall(text)), text


def test_what_stands_in_a_gap_is_translated_too() -> None:
    assert said("Most likely nothing is wrong: 7 in 10.", "de") == (
        "Am wahrscheinlichsten: nichts defekt, 7 von 10."
    )


@pytest.mark.parametrize(
    "figure",
    ["7", "-36 °C", "3.5 L", "4 min 45 s", "1:30", "1,065 kg/m³ (66.49 lb/ft³)", "24 N m"],
)
def test_a_gap_for_a_figure_holds_a_figure(figure: str) -> None:
    assert re.fullmatch(FIGURE, figure)


@pytest.mark.parametrize(
    "words", ["the pump", "7 pumps", "3 51", "3.5 L of coolant", "from 3 L", "L"]
)
def test_a_gap_for_a_figure_holds_no_other_words(words: str) -> None:
    assert not re.fullmatch(FIGURE, words)


def test_a_list_is_translated_member_by_member() -> None:
    assert (
        said("renew the belt + renew the idler", "de") == "Riemen erneuern + Umlenkrolle erneuern"
    )
    # The mark that parts the members stands inside of one of them too.
    assert said("needed for: belt taken off; coolant drained; filled again on refitting", "de") == (
        "nötig für: Riemen abnehmen; Kühlmittel ablassen; beim Zusammenbau wieder einfüllen"
    )


def test_a_member_nobody_knows_stays_as_it_is() -> None:
    assert said("needed for: belt taken off; slithy toves", "de") == (
        "nötig für: Riemen abnehmen; slithy toves"
    )
    assert said_or_none("belt taken off; slithy toves", "de") is None


def test_quoted_words_are_translated_where_they_are_known() -> None:
    assert said("\u201cbelt taken off\u201d", "de") == "\u201eRiemen abnehmen\u201c"
    assert said("\u201cslithy toves\u201d", "de") == "\u201eslithy toves\u201c"
    assert said("\u201cbelt taken off\u201d, \u201cslithy toves\u201d", "de") == (
        "\u201eRiemen abnehmen\u201c, \u201eslithy toves\u201c"
    )


def test_a_sentence_nobody_knows_stays_as_it_is() -> None:
    assert said("Twas brillig.", "de") == "Twas brillig."
    assert said_or_none("Twas brillig.", "de") is None
    assert said("Most likely nothing is wrong: 7 in 10.", "en").startswith("Most likely")


@pytest.mark.parametrize(
    ("sentence", "in_german"),
    [
        ("under 1 in 10.", "unter 1 von 10."),
        ("Under 1 in 10", "Unter 1 von 10"),
        ("Not begun", "Nicht begonnen"),
        ("not begun.", None),
    ],
)
def test_a_capital_letter_and_a_full_stop_hide_no_sentence(
    sentence: str, in_german: str | None
) -> None:
    assert said_or_none(sentence, "de") == in_german


def test_a_gap_for_typed_words_leaves_them_alone() -> None:
    assert said("belt agreed to nothing is wrong.", "de") == "belt hat zugestimmt: nichts defekt."


def test_a_gap_for_known_words_fits_no_others() -> None:
    assert said_or_none("the twas brillig", "de") is None


def test_a_join_of_pieces_fits_only_where_each_piece_is_known() -> None:
    assert said("nothing is wrong: over 9 in 10", "de") == "nichts defekt: über 9 von 10"
    assert said_or_none("nothing is wrong: twas brillig", "de") is None
    assert said_or_none("Twas brillig: 12", "de") is None


def test_a_sentence_is_parted_where_its_pieces_are_known() -> None:
    assert said("Probe on the housing on the coolant pump", "de") == (
        "Sonde am Gehäuse, Wasserpumpe"
    )
    assert said_or_none("Twas brillig on the coolant-pump", "de") is None
