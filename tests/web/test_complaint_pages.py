"""Owner, car and complaint; and the list of all changes."""

from __future__ import annotations

import re

import pytest

from beltside.casework.shop import Shop

from .conftest import Browser

PAGE = "/job/1/complaint"


@pytest.fixture(autouse=True)
def job(browser: Browser) -> None:
    browser.send("/", "/jobs", {"words": "howls", "owner": "Åsa"})


def test_each_form_keeps_its_own(browser: Browser, shop: Shop) -> None:
    browser.send(PAGE, f"{PAGE}/complaint", {"words": "howls", "when": ["at idle", "in the wet"]})
    browser.send(PAGE, f"{PAGE}/car", {"plate": "K 123", "displacement_l": "1,4"})
    browser.send(PAGE, f"{PAGE}/owner", {"name": "Åsa", "phone": "0123"})
    sheet = shop.record.sheet(shop.record.job(1).id)
    kept = {kind: sheet.newest(kind) for kind in ("complaint", "car", "owner")}
    assert [entry.body["when"] for entry in [kept["complaint"]] if entry] == [
        ["at idle", "in the wet"]
    ]
    assert [(e.body["plate"], e.body["displacement_l"]) for e in [kept["car"]] if e] == [
        ("K 123", 1.4)
    ]
    assert [e.body["phone"] for e in [kept["owner"]] if e] == ["0123"]


def test_the_vin_is_read(browser: Browser) -> None:
    """Worked number of 49 CFR 565: 1M8GDM9A_KP042788 has the check digit X."""
    browser.send(PAGE, f"{PAGE}/car", {"vin": "1M8GDM9AXKP042788"})
    assert "1989" in browser.get(PAGE)
    browser.send(PAGE, f"{PAGE}/car", {"vin": "1M8GDM9AXKP04278"})
    assert "16" in re.sub("<[^>]+>", "", browser.get(PAGE))


def test_a_wrong_year_keeps_the_rest_of_the_form(browser: Browser, shop: Shop) -> None:
    sent = browser.send(PAGE, f"{PAGE}/car", {"name": "grey van", "model_year": "19"})
    assert sent.status_code == 422
    assert 'value="grey van"' in sent.text
    assert "1900" in sent.text
    assert shop.record.job(1).card.car == ""


def test_what_was_written_over_can_be_brought_back(browser: Browser, shop: Shop) -> None:
    browser.send(PAGE, f"{PAGE}/owner", {"name": "Per"})
    page = browser.get("/job/1/history")
    assert "<del>Åsa</del> Per" in page
    owner = shop.record.sheet(shop.record.job(1).id).newest("owner")
    assert owner is not None
    browser.send("/job/1/history", f"/job/1/history/{owner.id}", {"version": "1"})
    assert shop.record.job(1).card.owner == "Åsa"
