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


def tab(browser: Browser) -> dict[str, dict[str, str]]:
    """The forms of a page opened in a tab: what each field holds, hidden ones too."""
    forms = {}
    for kind, form in re.findall(
        r'action="/job/1/complaint/(\w+)">(.*?)</form>', browser.get(PAGE), re.DOTALL
    ):
        found = re.findall(r'<input[^>]* name="(\w+)"[^>]* value="([^"]*)"', form)
        forms[kind] = {name: value for name, value in found if name in ("version", "_token")}
    return forms


def test_two_tabs_on_one_job_lose_neither(browser: Browser, shop: Shop) -> None:
    """Both were opened before either was sent."""
    first, second = tab(browser), tab(browser)
    fields = {"name": "Åsa", "phone": "", "email": "", "address": ""}
    for tab_of, changed in ((first, {"phone": "0555 1"}), (second, {"email": "a@x.example"})):
        sent = browser.client.post(
            f"{PAGE}/owner", data={**tab_of["owner"], **fields, **changed}, follow_redirects=False
        )
        assert sent.status_code == 303
    owner = shop.record.sheet(shop.record.job(1).id).newest("owner")
    assert owner is not None
    assert (owner.body["phone"], owner.body["email"]) == ("0555 1", "a@x.example")
    assert "at the same time" not in browser.get(PAGE)


def test_what_two_tabs_both_changed_is_told(browser: Browser, shop: Shop) -> None:
    first, second = tab(browser), tab(browser)
    for tab_of, words in ((first, "howls cold"), (second, "howls hot")):
        data = {**tab_of["complaint"], "words": words, "when": [], "where": "", "since": ""}
        browser.client.post(f"{PAGE}/complaint", data=data)
    page = browser.get(PAGE)
    assert "at the same time: howls cold" in page
    assert ">howls hot</textarea>" in page
    browser.client.post(f"{PAGE}/complaint", data={**tab(browser)["complaint"], "words": "howls"})
    assert "at the same time" not in browser.get(PAGE)


def test_two_tabs_that_had_nothing_before_them(browser: Browser, shop: Shop) -> None:
    first, second = tab(browser), tab(browser)
    assert first["car"]["version"] == "0"
    for tab_of, field, value in ((first, "plate", "K 1"), (second, "name", "Tarn")):
        data = {**tab_of["car"], **dict.fromkeys(("name", "plate", "vin"), ""), field: value}
        browser.client.post(f"{PAGE}/car", data=data)
    car = shop.record.sheet(shop.record.job(1).id).newest("car")
    assert car is not None
    assert (car.body["plate"], car.body["name"]) == ("K 1", "Tarn")
