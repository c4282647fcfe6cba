"""No page of the demo shop is left half in English: every text a visitor sees, page by page.

What counts as English is told by words: one that the English texts know and the other language's
texts do not. The walk follows links as a visitor does; what a person typed stays as he typed it.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path
from unittest.mock import patch

import pytest

sys.path.insert(0, str(Path(__file__).parents[2] / "scripts"))

from beltside.casework import demo_shop
from beltside.casework.shop import Shop, open_shop
from beltside.web.texts import LANGUAGES
from untranslated import STAYS_ENGLISH, english_in, seen_on, untranslated

OTHERS = [name for name in LANGUAGES if name != "en"]
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


@pytest.mark.parametrize("language", OTHERS)
def test_no_page_is_left_in_english(demo: Shop, language: str) -> None:
    left = [f"{one.place}: {one.text}" for one in untranslated(demo, language, few=FEW)]
    assert left == []


def test_pages_in_english_are_found_out(demo: Shop) -> None:
    """The same walk over English pages finds them on every route: it does look."""
    found = {one.route for one in untranslated(demo, "de", few=1, shown="en")}
    assert {"/", "/job/{number}", "/job/{number}/find", "/job/{number}/plan", "/settings"} <= found
    assert len(found) > 20


def test_english_is_told_by_its_words() -> None:
    assert english_in("Den Riemen abnehmen, dann die Umlenkrolle", "de") == ""
    assert english_in("Den Riemen abnehmen, then the idler", "de") == "then the idler"
    assert english_in("“A whistle that rises with the engine.”", "de") == ""


def test_what_is_read_out_counts_and_scripts_do_not() -> None:
    html = '<p>one<br>two</p><img alt="three"><script>four</script><p translate="no">five</p>six'
    assert seen_on(html) == ["one", "two", "three", "six"]


def test_pages_that_stay_english_say_why() -> None:
    assert all(why for why in STAYS_ENGLISH.values())
