"""Checks, suspects, reasons and what is said of takes and the drive: nothing stays English."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

import beltside
from beltside.base.words import PULLEY_PARTS
from beltside.casework.families import HARMONICS
from beltside.casework.formats.load_words import as_load, unknown_loads_said
from beltside.casework.shipped import catalogue, costs
from beltside.casework.shop_takes import conditions_in_words
from beltside.suspects.catalogue import suspects_for
from beltside.suspects.costs import repairs_for
from beltside.web.routes.take import FRONT, LOADS
from beltside.web.texts import GAP, LANGUAGES, said, said_groups, said_or_none, table

FOLDER = Path(beltside.__file__).parent
OTHERS = [name for name in LANGUAGES if name != "en"]

ROOMS = (
    "casework/compare_checks.py",
    "casework/crank_speed.py",
    "casework/drive_orders.py",
    "casework/findings.py",
    "casework/place_evidence.py",
    "casework/reasons.py",
    "casework/shop_case.py",
    "casework/shop_likeness.py",
    "casework/sound_said.py",
    "casework/stepping.py",
    "drive/clearance.py",
    "media/report.py",
    "proof/compare_words.py",
    "sound/crank.py",
    "vehicle/year.py",
)
"""Modules whose sentences stand on the pages of finding, listening, comparing and the car."""

NOT_SHOWN = {
    # The proof sheet's picture and commands say these.
    "To the ear it is {} as loud as before ({} to {}; loudness by ISO 532-1).",
    "Its sharpness is {} of before ({} to {}; DIN 45692).",
    "; the second recording is {} dB {} for the same engine (give or take {}), which is taken out",
    "Crank speed: {} before, {} after{}",
    # Commands alone ask for the year of a number without its sentence.
    ", or if made for North America ({})",
    "if it is {}",
    "if the maker puts the model year at position 10",
    "lies ahead",
    # Names of figures in errors, which only a command can get wrong.
    "stated crank speed",
    "today's year",
    ", the rest of {} could not be read",
    # The same in every language.
    "0 dB",
    "{} Hz",
    "{} kHz",
    "{} rpm",
}


def catalogue_texts() -> Iterator[str]:
    """Every text of checks, suspects, pairs, accesses, conditions and repairs that a page shows."""
    for check in catalogue().checks:
        yield from (check.name, check.how, check.hazard, *check.cautions)
        for outcome in check.outcomes:
            yield from (outcome.word, outcome.says, f"{outcome.word}: {outcome.says}")
            yield f"{check.name} on the coolant pump: {outcome.says}"
    suspects = suspects_for(catalogue(), [*PULLEY_PARTS, "idler-2", "tensioner-2"])
    yield from (suspect.name for suspect in (*suspects, *catalogue().pairs))
    yield from (one.says for one in (*catalogue().accesses, *catalogue().conditions))
    yield from (repair.name for repair in repairs_for(costs(), suspects))


@pytest.mark.parametrize("language", OTHERS)
def test_the_shipped_catalogue_is_translated(language: str) -> None:
    texts = {text for text in catalogue_texts() if text}
    assert len(texts) > 400
    assert [text for text in sorted(texts) if said_or_none(text, language) is None] == []


@pytest.mark.parametrize("language", OTHERS)
def test_parts_and_what_sounds_in_them_are_translated(language: str) -> None:
    words = [*PULLEY_PARTS, *HARMONICS, "idler-2", "engine", "belt", "timing-chain"]
    assert [word for word in words if said_or_none(word, language) is None] == []


@pytest.mark.parametrize("language", OTHERS)
@pytest.mark.parametrize("place", [FRONT, *PULLEY_PARTS])
@pytest.mark.parametrize("belt", ["on", "off", "unknown"])
def test_the_conditions_of_a_take_are_translated(language: str, place: str, belt: str) -> None:
    take = {"belt": belt, "place": place, "raised": True, "stage": "after"}
    loads = [name for name, _ in LOADS]
    assert said_or_none(conditions_in_words({**take, "load": loads}), language) is not None
    assert said_or_none(conditions_in_words({**take, "load": loads[:1]}), language) is not None


def test_every_load_the_page_offers_counts_for_a_part() -> None:
    assert {as_load(name) for name, _ in LOADS} == {"lights", "ac", "steering"}


@pytest.mark.parametrize("language", OTHERS)
def test_a_load_that_counts_for_no_part_is_told_in_every_language(language: str) -> None:
    (told,) = unknown_loads_said("idle.m4a", ["radio"])
    assert said_or_none(told, language) is not None
    assert '"radio"' in said(told, language)


def test_a_take_in_german() -> None:
    take = {"belt": "off", "place": "coolant-pump", "load": ["lights", "heater fan"]}
    assert said(conditions_in_words(take), "de") == "Riemen ab, Wasserpumpe, mit Licht, Gebläse"


def sentences_of(module: Path) -> Iterator[str]:
    """Sentences of a module, gaps as {}; not its docstrings and not what errors say."""
    tree = ast.parse(module.read_text(encoding="utf-8"))
    left_out: set[int] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Raise | ast.JoinedStr):
            left_out.update(id(one) for one in ast.walk(node) if one is not node)
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
            left_out.add(id(node.value))
    for node in ast.walk(tree):
        if id(node) in left_out:
            continue
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            text = node.value
        elif isinstance(node, ast.JoinedStr):
            parts = node.values
            text = "".join(str(p.value) if isinstance(p, ast.Constant) else "{}" for p in parts)
        else:
            continue
        if " " in text.strip() and any(letter.isalpha() for letter in GAP.sub("", text)):
            yield text


@cache
def texts_of(language: str) -> frozenset[str]:
    """Every text that has a translation, gaps as {}."""
    groups = [*said_groups(language).values(), table(language)]
    return frozenset(GAP.sub("{}", text) for group in groups for text in group)


@pytest.mark.parametrize("language", OTHERS)
@pytest.mark.parametrize("module", ROOMS)
def test_the_sentences_of_a_room_are_translated(language: str, module: str) -> None:
    sentences = set(sentences_of(FOLDER / module)) - NOT_SHOWN
    assert sentences
    assert sorted(sentences - texts_of(language)) == []
