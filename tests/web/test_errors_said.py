"""What goes wrong with a form is said in the language of the pages, and so is what would work."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import pytest

sys.path.insert(0, str(Path(__file__).parents[2] / "scripts"))

from beltside.casework.settings import save_settings
from beltside.casework.shop import Shop
from beltside.casework.shop_jobs import new_job
from untranslated import english_in, seen_on

from .conftest import Browser

# Form, where it is sent, its fields, and a word of the complaint. Typed words are German, since
# they stay as they are.
WRONG: tuple[tuple[str, str, dict[str, Any], str], ...] = (
    ("/", "/jobs", {"words": "", "car": "", "owner": ""}, "sagen, was der Halter sagt"),
    ("/settings", "/settings", {"labour_per_hour": "viel"}, "ist eine Zahl, etwa 72,50"),
    ("/settings", "/settings", {"tax_percent": "190"}, "geht von 0 bis 100"),
    ("/settings", "/settings", {"offer_days": "0"}, "ist eine ganze Zahl von 1 bis 365"),
    ("/settings", "/settings", {"shop": "x" * 301}, "ist länger als 300 Zeichen"),
    ("/job/1/close", "/job/1/close", {"charged": "viel"}, "ist ein Betrag, etwa 183,50"),
    ("/job/1/close", "/job/1/close/part", {"do": "add", "part_name": ""}, "was verbaut wurde"),
    (
        "/job/1/close",
        "/job/1/close/part",
        {"do": "add", "part_name": "Riemen", "quantity": "0"},
        "ist eine Zahl über 0",
    ),
    ("/job/1/complaint", "/job/1/complaint/car", {"model_year": "12"}, "Erlaubt: eine ganze Zahl"),
)
NOTHING_THERE = (
    ("/no-such-page", 404, "Keine Seite hat diese Adresse"),
    ("/job/999", 404, "Es gibt keinen Auftrag 999"),
    ("/job/1/comeback", 422, "Auftrag 1 knüpft an keinen früheren an"),
    ("/sheet/abc", 422, "Dieser Link führt zu keinem Blatt"),
)


@pytest.fixture
def german(shop: Shop, browser: Browser) -> Browser:
    """A browser on a shop with one job, whose pages speak German."""
    save_settings(shop, {"language": "de"})
    new_job(shop, {"words": "Es pfeift", "owner": "Falk"})
    return browser


@pytest.mark.parametrize(("page", "action", "fields", "told"), WRONG)
def test_a_wrong_field_is_told_in_german(
    german: Browser, page: str, action: str, fields: dict[str, Any], told: str
) -> None:
    sent = german.send(page, action, fields)
    texts = seen_on(sent.text)
    assert any(told in text for text in texts), texts
    assert [text for text in texts if english_in(text, "de")] == []


@pytest.mark.parametrize(("place", "status", "told"), NOTHING_THERE)
def test_what_is_not_there_is_told_in_german(
    german: Browser, place: str, status: int, told: str
) -> None:
    answer = german.client.get(place)
    texts = seen_on(answer.text)
    assert any(told in text for text in texts), texts
    assert [text for text in texts if english_in(text, "de")] == []
    assert answer.status_code in (status, 404)
