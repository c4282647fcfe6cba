"""No page of the demo shop is left half in English: every text a visitor sees, page by page.

Numbers are written as the language writes them, and code words of the record stand on no page.

What counts as English is told by words: one that the English texts know and the other language's
texts do not. The walk follows links as a visitor does; what a person typed stays as he typed it.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Iterator
from pathlib import Path
from unittest.mock import patch

import pytest

sys.path.insert(0, str(Path(__file__).parents[2] / "scripts"))

from beltside.casework import demo_shop
from beltside.casework.shop import Shop, open_shop
from untranslated import STAYS_ENGLISH, Shown, english_in, seen_on, shown_in, typed, untranslated

# Nothing but words; checks of the Tarn's six takes; everything up to the hold test; a car back.
JOBS = ("01", "03", "09", "12")
FEW = 8


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Shop]:
    """Four jobs of the demo shop that between them have every page."""
    some = tuple(job for job in demo_shop.DEMO_JOBS if job.name in JOBS)
    with (
        open_shop(tmp_path_factory.mktemp("demo") / "shop") as shop,
        patch.object(demo_shop, "DEMO_JOBS", some),
    ):
        demo_shop.make_demo_shop(shop)
        yield shop


@pytest.fixture(scope="module")
def german(demo: Shop) -> list[Shown]:
    return shown_in(demo, "de", few=FEW)


@pytest.fixture(scope="module")
def english(demo: Shop) -> list[Shown]:
    return shown_in(demo, "en", few=1)


def test_no_page_is_left_in_english(demo: Shop, german: list[Shown]) -> None:
    left = [f"{one.place}: {one.text}" for one in untranslated(demo, "de", pages=german)]
    assert left == []


def test_pages_in_english_are_found_out(demo: Shop, english: list[Shown]) -> None:
    """The same walk over English pages finds them on every route: it does look."""
    found = {one.route for one in untranslated(demo, "de", pages=english)}
    assert {"/", "/job/{number}", "/job/{number}/find", "/job/{number}/plan", "/settings"} <= found
    assert len(found) > 20


# Versions and addresses have two points and more, names of files letters behind theirs.
DECIMAL_POINT = re.compile(r"(?<![\w.])\d[\d,]*\.\d+(?!\w|\.\d)")
CODE_WORD = re.compile(r"\b[a-z]+(?:_[a-z0-9]+)+\b")
# What a machine reads as it stands: commands, addresses, heads of files, files of sheets.
MACHINE = ("code", "pre", "script", "style", "textarea")
TEXT_OF_DRAWING = re.compile(r"<(?:text|title|desc|tspan)\b[^>]*>([^<]+)<")


def texts_of(page: Shown) -> Iterator[str]:
    """All a visitor reads on a page, values of the record and drawings too, without what he typed
    himself: a car may be called Tarn 1.4."""
    texts = seen_on(page.html, values=True, unseen=MACHINE)
    for text in [*texts, *(one for svg in page.drawings for one in TEXT_OF_DRAWING.findall(svg))]:
        for own in typed():
            text = text.replace(own, " ")
        yield text


def found_in(pages: list[Shown], pattern: re.Pattern[str]) -> list[str]:
    return [
        f"{page.place}: {text}"
        for page in pages
        for text in texts_of(page)
        if pattern.search(text) is not None
    ]


def test_german_numbers_have_a_comma(german: list[Shown]) -> None:
    """DIN 1333:1992: the decimal sign is a comma (from memory)."""
    assert found_in(german, DECIMAL_POINT) == []


FIELD = re.compile(r'<input[^>]*\bvalue="([^"]+)"[^>]*\binputmode="decimal"')


def test_fields_for_numbers_show_a_comma_too(german: list[Shown], english: list[Shown]) -> None:
    def pointed(pages: list[Shown]) -> list[str]:
        held = [one for page in pages for one in FIELD.findall(page.html)]
        return [one for one in held if DECIMAL_POINT.search(one)]

    assert pointed(german) == []
    assert pointed(english) != []


def test_english_numbers_keep_their_point(english: list[Shown]) -> None:
    """The same search over English pages finds points in sentences, tables and drawings."""
    found = found_in(english, DECIMAL_POINT)
    for page in ("/plan", "/agree", "/hold", "/history", "/coolant"):
        assert any(page in one for one in found), page
    assert any(DECIMAL_POINT.search(svg) for page in english for svg in page.drawings)


@pytest.mark.parametrize("language", ["german", "english"])
def test_no_code_word_stands_on_a_page(language: str, request: pytest.FixtureRequest) -> None:
    assert found_in(request.getfixturevalue(language), CODE_WORD) == []


def test_code_words_and_points_are_told_from_names() -> None:
    assert CODE_WORD.search("Drehzahl crank_rpm")
    assert not CODE_WORD.search("front-drive.toml")
    assert DECIMAL_POINT.search("um 1.5 dB")
    assert DECIMAL_POINT.search("1,065.5 kg")
    for name in ("192.168.1.7", "30.11.2026", "M10x1.25", "belt-on.m4a", "0.4.1"):
        assert DECIMAL_POINT.search(name) is None, name


def test_english_is_told_by_its_words() -> None:
    assert english_in("Den Riemen abnehmen, dann die Umlenkrolle", "de") == ""
    assert english_in("Den Riemen abnehmen, then the idler", "de") == "then the idler"
    assert english_in("“A whistle that rises with the engine.”", "de") == ""


def test_what_is_read_out_counts_and_scripts_do_not() -> None:
    html = '<p>one<br>two</p><img alt="three"><script>four</script><p translate="no">five</p>six'
    assert seen_on(html) == ["one", "two", "three", "six"]


def test_pages_that_stay_english_say_why() -> None:
    assert all(why for why in STAYS_ENGLISH.values())
