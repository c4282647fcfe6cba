"""What was typed into a form that is refused stands on the page that says so.

The sizes are the project's own; that nothing typed is lost is its own rule.
"""

from __future__ import annotations

import html
import re

import pytest

from beltside.casework.shop import Shop

from .conftest import Browser


@pytest.fixture
def job(shop: Shop) -> str:
    shop.record.new_job(by="Per")
    return "/job/1"


def held_again(page: str) -> list[str]:
    """The texts a page holds for reading, as they were typed."""
    found = re.findall(r"<textarea[^>]* readonly>\n(.*?)</textarea>", page, flags=re.DOTALL)
    return [html.unescape(one) for one in found]


def test_a_sheet_too_long_to_be_read_is_held_again(browser: Browser, job: str) -> None:
    toml = 'name = "<Tarn> & co"\n' + "# a line of a very long sheet\n" * 40_000
    sent = browser.send(f"{job}/drive", f"{job}/drive", {"toml": toml})
    assert sent.status_code == 413
    assert held_again(sent.text) == [toml]


def test_a_text_too_long_to_be_kept_is_held_again(browser: Browser, shop: Shop, job: str) -> None:
    words = "It squeals when cold. " * 110_000
    sent = browser.send(
        f"{job}/complaint", f"{job}/complaint/complaint", {"words": words, "since": "two weeks"}
    )
    assert sent.status_code == 413
    assert "A text is 2.4 MB long" in sent.text
    assert held_again(sent.text) == [words, "two weeks"]
    assert shop.record.sheet(shop.record.job(1).id).entries == ()


def test_a_form_of_before_the_server_was_started_anew_is_held_again(
    browser: Browser, job: str
) -> None:
    sent = browser.client.post(
        f"{job}/complaint/complaint", data={"_token": "of yesterday", "words": "It squeals."}
    )
    assert sent.status_code == 403
    assert held_again(sent.text) == ["It squeals."]
    assert "of yesterday" not in sent.text


def test_all_values_of_a_field_are_held(browser: Browser, job: str) -> None:
    data = {"_token": "of yesterday", "off": ["4", "6", "9"]}
    sent = browser.client.post(f"{job}/complaint/complaint", data=data)
    assert held_again(sent.text) == ["4\n6\n9"]


def test_a_passphrase_is_shown_on_no_page(browser: Browser) -> None:
    data = {"_token": "of yesterday", "folder": "/media/stick", "passphrase": "long and secret"}
    sent = browser.client.post("/backup", data=data)
    assert sent.status_code == 403
    assert held_again(sent.text) == ["/media/stick"]
    assert "secret" not in sent.text


def test_a_form_longer_than_is_read_is_told_what_would_work(browser: Browser, job: str) -> None:
    sent = browser.send(f"{job}/drive", f"{job}/drive", {"toml": "x" * 11_000_000})
    assert sent.status_code == 413
    assert "up to 10 MB" in sent.text
    assert "a shorter text" in sent.text
