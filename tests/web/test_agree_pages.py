"""Price and OK: the offer made in a form, options side by side, the owner's OK kept as it was."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pytest

from beltside.casework.shop import Shop
from beltside.casework.shop_agree import make_estimate, offer_now

from .conftest import Browser

PAGE = "/job/1/agree"
OFFER = "/job/1/agree/offer"
STROKES = json.dumps([[[100, 100], [200, 150], [300, 120], [400, 200], [500, 100]]])
RATES = {
    "currency": "EUR",
    "labour_per_hour": "72,00",
    "tax_percent": "19",
    "parts_margin_percent": "0",
    "consumables": "0",
    "travel": "0",
    "deposit_percent": "0",
    "offer_days": "14",
}
FORM = {
    **RATES,
    "do": "make",
    "o0.name": "belt alone",
    "o0.repairs": "belt",
    "p0.name": "belt",
    "p0.price": "21,35",
}


@pytest.fixture(autouse=True)
def job(browser: Browser) -> None:
    browser.send("/", "/jobs", {"words": "howls", "owner": "Ines Falk"})


@pytest.fixture
def planned(browser: Browser) -> None:
    browser.send("/job/1/plan", "/job/1/plan", {"template": "belt", "aim": "expected"})


@pytest.fixture
def offered(browser: Browser, planned: None) -> None:
    sent = browser.send(OFFER, OFFER, FORM)
    assert sent.status_code == 303, sent.text


def sheet(shop: Shop):  # type: ignore[no-untyped-def]
    return shop.record.sheet(shop.record.job(1).id)


def test_the_way_there_is_shown(browser: Browser) -> None:
    assert "The plan comes first" in browser.get(PAGE)
    browser.send("/job/1/plan", "/job/1/plan", {"template": "belt", "aim": "expected"})
    assert "There is no offer yet." in browser.get(PAGE)


def test_the_form_names_what_is_to_be_priced(browser: Browser, planned: None) -> None:
    page = browser.get(OFFER)
    assert 'name="p0.name" value="belt"' in page
    assert "no tax set" in page
    assert 'name="o0.repairs" value="belt" checked' in page


def test_an_offer_is_made_and_shown_with_its_range(browser: Browser, shop: Shop) -> None:
    browser.send("/job/1/plan", "/job/1/plan", {"template": "coolant-pump", "aim": "expected"})
    form = {**FORM, "o0.name": "pump", "o0.repairs": "coolant-pump", "p0.name": "coolant pump"}
    form |= {"o1.name": "pump + belt", "o1.repairs": ["coolant-pump", "belt"]}
    sent = browser.send(OFFER, OFFER, form)
    assert sent.status_code == 303, sent.text
    page = browser.get(PAGE)
    offer = offer_now(sheet(shop))
    assert offer is not None
    first, second = offer.offer["options"]
    for option in (first, second):
        for name in ("low", "likely", "sure", "high"):
            assert option["totals"][name] in page
    # Tax by hand: 19 % of the net sum, half a cent up.
    net = Decimal(first["net"])
    assert Decimal(first["tax"]) == (net * 19 / 100).quantize(Decimal("0.01"), "ROUND_HALF_UP")
    assert "a pump bolt snaps" in page
    assert "Not in this price" in page
    assert "pump gasket" in page


def test_a_tax_nobody_set_is_said(browser: Browser, planned: None) -> None:
    browser.send(OFFER, OFFER, {**FORM, "tax_percent": ""})
    page = browser.get(PAGE)
    assert "No tax set: these prices are without tax." in page
    assert "% tax" not in page


def test_what_is_wrong_stands_beside_it(browser: Browser, shop: Shop, planned: None) -> None:
    sent = browser.send(OFFER, OFFER, {**FORM, "labour_per_hour": "much", "p0.price": "dear"})
    assert sent.status_code == 422
    assert "no amount" in sent.text.split('id="f-labour_per_hour"')[1].split("</div>")[0]
    assert "no amount" in sent.text.split('id="f-p0.price"')[1].split("</div>")[0]
    assert 'value="belt alone"' in sent.text
    assert offer_now(sheet(shop)) is None
    sent = browser.send(OFFER, OFFER, {**FORM, "labour_per_hour": ""})
    assert "is not set yet" in sent.text.split('id="f-labour_per_hour"')[1].split("</div>")[0]


def test_a_rate_as_in_the_settings_overrules_nothing(
    browser: Browser, shop: Shop, planned: None
) -> None:
    browser.send(OFFER, OFFER, FORM)
    given = sheet(shop).newest("estimate").body["offer"]["given"]
    assert "travel" not in given
    assert given["labour_per_hour"] == "72.00"


def test_the_owner_signs(browser: Browser, shop: Shop, offered: None) -> None:
    page = browser.get(PAGE)
    assert 'value="Ines Falk"' in page
    typed = {"option": "belt alone", "name": "Ines Falk", "signature": STROKES, "version": "1"}
    assert browser.send(PAGE, PAGE, typed).status_code == 303
    body = sheet(shop).newest("approval").body
    assert (body["name"], body["option"], body["signature"]) == (
        "Ines Falk",
        "belt alone",
        STROKES,
    )
    page = browser.get(PAGE)
    assert 'd="M100 100L200 150L300 120L400 200L500 100"' in page
    assert "the offer reads as it did then" in page
    # A new offer needs a new OK; what was agreed to before stays readable.
    browser.send(OFFER, OFFER, {**FORM, "travel": "30"})
    page = browser.get(PAGE)
    assert "Agreed to earlier offers" in page
    assert "the offer reads as it did then" not in page


def test_a_name_and_a_tick_do_without_a_screen_to_sign(
    browser: Browser, shop: Shop, offered: None
) -> None:
    typed = {"option": "belt alone", "name": "Ines Falk", "version": "1"}
    sent = browser.send(PAGE, PAGE, typed)
    assert sent.status_code == 422
    assert "sign above, or tick this" in sent.text
    assert browser.send(PAGE, PAGE, {**typed, "yes": "yes"}).status_code == 303
    assert "without a signature" in browser.get(PAGE)


@pytest.mark.parametrize(
    "strokes",
    ["[", "[[[1,2]]]", "[[[-1,2],[3,4],[5,6],[7,8],[9,9]]]", '[[["x",1]]]', "[" * 5000, "{}"],
)
def test_a_signature_that_is_none_is_refused(
    browser: Browser, shop: Shop, offered: None, strokes: str
) -> None:
    typed = {"option": "belt alone", "name": "Ines", "signature": strokes, "version": "1"}
    sent = browser.send(PAGE, PAGE, typed)
    assert sent.status_code == 422
    assert 'value="Ines"' in sent.text
    assert sheet(shop).newest("approval") is None


def test_an_offer_that_changed_meanwhile_is_not_agreed_to(
    browser: Browser, shop: Shop, offered: None
) -> None:
    browser.send(OFFER, OFFER, {**FORM, "travel": "30"})
    typed = {"option": "belt alone", "name": "Ines", "yes": "yes", "version": "1"}
    sent = browser.send(PAGE, PAGE, typed)
    assert sent.status_code == 422
    assert "has changed" in sent.text
    assert sheet(shop).newest("approval") is None


def test_an_old_offer_says_so(browser: Browser, shop: Shop, planned: None) -> None:
    long_ago = datetime.now(UTC) - timedelta(days=40)
    price = [{"name": "belt", "price": "20"}]
    make_estimate(shop, "1", {**RATES, "labour_per_hour": "72", "price": price}, now=long_ago)
    page = browser.get(PAGE)
    assert "ran out on" in page
    assert "I agree" not in page
