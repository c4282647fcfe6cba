"""Odds, findings in one tap and the next check, by plain forms."""

from __future__ import annotations

import pytest

from beltside.casework.shop import Shop
from beltside.casework.shop_find import finding_made

from .conftest import Browser

PAGE = "/job/1/find"


@pytest.fixture(autouse=True)
def job(browser: Browser) -> None:
    browser.send("/", "/jobs", {"words": "howls"})


def findings(shop: Shop) -> list[tuple[str, str, str]]:
    sheet = shop.record.sheet(shop.record.job(1).id)
    return [
        (one.body["check"], one.body["part"], one.body["outcome"])
        for one in sheet.of_kind("finding")
    ]


def test_a_finding_moves_the_odds_and_is_taken_back(browser: Browser, shop: Shop) -> None:
    sent = browser.send(
        PAGE,
        f"{PAGE}/finding",
        {"check": "spin-by-hand", "part": "coolant-pump", "outcome": "rough"},
    )
    assert sent.status_code == 303
    assert findings(shop) == [("spin-by-hand", "coolant-pump", "rough")]
    page = browser.get(PAGE)
    assert "coolant pump bearing" in page.split('id="odds-title"')[1].split("</summary>")[0]
    entry = shop.record.sheet(shop.record.job(1).id).of_kind("finding")[0].id
    browser.send(PAGE, f"{PAGE}/take-back", {"finding": entry})
    assert findings(shop) == []


def test_an_unknown_outcome_is_told_with_what_would_work(browser: Browser, shop: Shop) -> None:
    sent = browser.send(
        PAGE, f"{PAGE}/finding", {"check": "spin-by-hand", "part": "idler", "outcome": "purple"}
    )
    assert sent.status_code == 422
    assert "rough" in sent.text
    assert findings(shop) == []


def test_a_chosen_check_comes_first_with_its_cautions(browser: Browser) -> None:
    page = browser.get(f"{PAGE}?check=belt-off-run")
    first = page.split("<h2 id=")[1].split("</article>")[0]
    assert 'class="belt-off" data-seconds="180"' in first
    assert "Nothing cools" in first


def test_a_condition_is_changed(browser: Browser, shop: Shop) -> None:
    browser.send(PAGE, f"{PAGE}/condition", {"name": "engine-cold", "holds": "no"})
    (one,) = shop.record.sheet(shop.record.job(1).id).of_kind("condition")
    assert (one.body["name"], one.body["holds"]) == ("engine-cold", False)


def test_the_next_check_is_said_once_with_what_it_saves(browser: Browser) -> None:
    page = browser.get(PAGE)
    assert "Check on:" not in page
    card = page.split("<h2 id=")[1].split("</article>")[0]
    assert "Expected to save " in card


def test_a_chosen_check_does_not_hide_that_checking_may_stop(browser: Browser, shop: Shop) -> None:
    """When no check is worth its minutes, a check that is opened nonetheless says nothing of
    saving, and what to do instead is still said."""
    for check, outcome in (
        ("throttle-blip", "unmoved"),
        ("water-mist", "no-change"),
        ("ear-sides", "nowhere"),
        ("hose-pinch", "no-change"),
    ):
        finding_made(shop, "1", check, outcome)
    page = browser.get(f"{PAGE}?check=belt-look")
    card = page.split("<h2 id=")[1].split("</article>")[0]
    assert "Expected to save" not in card
    assert page.count("Stop checking:") == 1
