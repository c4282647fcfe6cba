"""Settings: kept with their history, own values in rows and as text, what was learned set aside."""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "casework"))

from proof_jobs import full_job

from beltside.casework.own import learned_path
from beltside.casework.settings import setting
from beltside.casework.shop import Shop
from beltside.casework.shop_jobs import close_job

from .conftest import Browser

PAGE = "/settings"


def test_settings_are_kept_and_hold(browser: Browser, shop: Shop) -> None:
    typed = {"technician": "Per Ahl", "labour_per_hour": "64,50", "tax_percent": "25"}
    assert browser.send(PAGE, PAGE, {**typed, "units": "us", "language": "en"}).status_code == 303
    assert setting(shop, "labour_per_hour") == "64.50"
    assert setting(shop, "units") == "us"
    # Who is working stands beside what he writes.
    browser.send("/", "/jobs", {"words": "howls"})
    assert shop.record.job(1).created_by == "Per Ahl"
    browser.send(PAGE, PAGE, {"labour_per_hour": "70"})
    page = browser.get(PAGE)
    assert 'value="70"' in page
    assert "64.50" in page.split("Earlier values")[1]


def test_one_that_is_off_is_said_and_the_others_kept(browser: Browser, shop: Shop) -> None:
    sent = browser.send(PAGE, PAGE, {"labour_per_hour": "much", "shop": "Heron Lane"})
    assert sent.status_code == 422
    assert "is a number" in sent.text.split('id="f-labour_per_hour"')[1].split("</div>")[0]
    assert 'value="much"' in sent.text
    assert setting(shop, "shop") == "Heron Lane"


def test_a_tax_nobody_set_is_said_and_zero_is_a_tax(browser: Browser, shop: Shop) -> None:
    assert "no tax set" in browser.get(PAGE)
    browser.send(PAGE, PAGE, {"tax_percent": "0"})
    assert setting(shop, "tax_percent") == "0"
    assert "no tax set" not in browser.get(PAGE)
    browser.send(PAGE, PAGE, {"tax_percent": ""})
    assert setting(shop, "tax_percent") is None


def test_the_pages_speak_the_language_chosen(browser: Browser) -> None:
    browser.send(PAGE, PAGE, {"language": "de"})
    page = browser.get(PAGE)
    assert '<html lang="de">' in page
    assert "Einstellungen" in page


def test_own_values_in_rows_and_as_text(browser: Browser, shop: Shop) -> None:
    own = f"{PAGE}/own"
    assert browser.send(PAGE, own, {"repair.idler.money": "22"}).status_code == 303
    assert "money = 22" in (shop.folder / "costs.toml").read_text()
    sent = browser.send(PAGE, own, {"repair.idler.money": "cheap"})
    assert sent.status_code == 422
    assert 'value="cheap"' in sent.text
    text = f"{PAGE}/own-text"
    sent = browser.send(PAGE, text, {"file": "costs.toml", "text": "wages = 4"})
    assert sent.status_code == 422
    assert "wages = 4</textarea>" in sent.text
    assert "money = 22" in (shop.folder / "costs.toml").read_text()
    browser.send(PAGE, text, {"file": "costs.toml", "text": "hand_over = 500\r\n"})
    assert (shop.folder / "costs.toml").read_bytes() == b"hand_over = 500\n"


def test_what_was_learned_is_set_aside_only_after_a_question(browser: Browser, shop: Shop) -> None:
    close_job(shop, full_job(shop), {"cause": "coolant-pump.bearing", "cured": True})
    assert "1 closed job, cured by what was replaced." in browser.get(PAGE)
    forget = f"{PAGE}/forget"
    assert "Set aside what 1 closed job taught?" in browser.get(forget)
    browser.send(forget, forget, {"sure": "no"})
    assert learned_path(shop.folder).is_file()
    browser.send(forget, forget, {"sure": "yes"})
    assert not learned_path(shop.folder).is_file()
    assert list(shop.folder.glob("learned-before-reset-*.json"))
    assert "No closed job has taught anything yet" in browser.get(PAGE)
