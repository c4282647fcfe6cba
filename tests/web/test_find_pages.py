"""Odds, findings in one tap and the next check, by plain forms."""

from __future__ import annotations

import re

import pytest

from beltside.casework.shop import Shop, sheet_of, write
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


def test_a_check_that_was_done_unasked_can_be_told(browser: Browser, shop: Shop) -> None:
    """Who has the belt off spins every pulley, whatever is proposed next."""
    toml = "[engine]\ncylinders = 3\n"
    for part, mm in (("crank", 152), ("idler", 77), ("tensioner", 81), ("idler-2", 82)):
        toml += f'[[pulley]]\npart = "{part}"\ndiameter_mm = {mm}\n'
    write(shop, sheet_of(shop, "1").job.id, "drive-sheet", {"toml": toml})
    offered = re.findall(r'<option value="([^"]+)"', browser.get(PAGE))
    assert {"spin-by-hand:idler-2", "spin-by-hand:tensioner", "water-mist"} <= set(offered)
    assert not [one for one in offered if "fan" in one or "coolant-pump" in one]
    first = browser.get(f"{PAGE}?check=spin-by-hand:idler-2").split("</article>")[0]
    assert "idler 2" in first.split('id="next-title"')[1]
    for outcome in ("smooth", "rough", "loose", "not-sure", "not-done"):
        assert f'name="outcome" value="{outcome}"' in first
    sent = {"check": "spin-by-hand", "part": "idler-2", "outcome": "rough"}
    assert browser.send(PAGE, f"{PAGE}/finding", sent).status_code == 303
    assert findings(shop) == [("spin-by-hand", "idler-2", "rough")]


def test_a_check_that_cannot_be_done_here_makes_way_for_the_next(
    browser: Browser, shop: Shop
) -> None:
    def proposed() -> str:
        card = browser.get(PAGE).split('id="next-title"')[1]
        return card.split('name="check" value="')[1].split('"')[0]

    first = proposed()
    browser.send(PAGE, f"{PAGE}/finding", {"check": first, "part": "", "outcome": "not-done"})
    assert proposed() != first


def test_only_what_this_drive_asks_for_stands_under_how_the_car_stands(
    browser: Browser, shop: Shop
) -> None:
    assert 'value="viscous-fan"' in browser.get(PAGE)
    toml = "[engine]\ncylinders = 3\n"
    for part in ("crank", "coolant-pump"):
        toml += f'[[pulley]]\npart = "{part}"\ndiameter_mm = 100\n'
    write(shop, sheet_of(shop, "1").job.id, "drive-sheet", {"toml": toml})
    page = browser.get(PAGE)
    assert 'value="viscous-fan"' not in page
    assert 'value="overrunning-pulley"' not in page
    assert "taken for granted" in page.split('value="engine-cold"')[1].split("</form>")[0]
    browser.send(PAGE, f"{PAGE}/condition", {"name": "engine-cold", "holds": "no"})
    said = browser.get(PAGE).split('value="engine-cold"')[1].split("</form>")[0]
    assert "taken for granted" not in said
