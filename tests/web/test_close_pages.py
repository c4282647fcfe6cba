"""Closing, opening again, and the car that is back; by plain forms."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "casework"))

from proof_jobs import full_job

from beltside.casework import shop_comeback
from beltside.casework.formats.learned_file import read_learned
from beltside.casework.own import learned_path
from beltside.casework.shop import Shop, sheet_of
from beltside.casework.shop_jobs import reminders

from .conftest import Browser

PAGE = "/job/1/close"


@pytest.fixture(autouse=True)
def job(shop: Shop) -> str:
    return full_job(shop)


def outcome(shop: Shop, number: int = 1):  # type: ignore[no-untyped-def]
    return sheet_of(shop, str(number)).newest("outcome").body  # type: ignore[union-attr]


def close(browser: Browser, page: str = PAGE, **typed: str):  # type: ignore[no-untyped-def]
    said = {"cause": "coolant-pump.bearing", "cured": "yes", "charged": "", **typed}
    return browser.send(page, page, said)


def learned(shop: Shop) -> dict[str, bool]:
    return {one.replaced: one.cured for one in read_learned(learned_path(shop.folder)).jobs}


def test_closing_keeps_the_outcome_and_teaches_the_odds(browser: Browser, shop: Shop) -> None:
    assert close(browser, charged="210,50", note="ran dry", currency="EUR").status_code == 303
    body = outcome(shop)
    assert body["closed"] is True
    assert (body["charged"], body["note"], body["cured"]) == ("210.50", "ran dry", True)
    # Nothing was ticked as put right: it is the cause.
    assert body["replaced"] == ["coolant-pump.bearing"]
    assert learned(shop) == {"coolant-pump.bearing": True}
    page = browser.get(PAGE)
    assert "it is the first closed job they rest on" in page
    assert "210.50" in page


def test_charged_stands_against_agreed(browser: Browser, shop: Shop) -> None:
    approval = sheet_of(shop, "1").newest("approval")
    assert approval is not None
    agreed = approval.body["agreement"]["option"]["total"]
    page = browser.get(PAGE)
    assert f'name="charged" type="text" value="{outcome(shop)["charged"] or agreed}"' in page
    close(browser, charged=agreed)
    assert "as agreed" in browser.get(PAGE)


def test_minutes_of_the_steps_are_shown(browser: Browser) -> None:
    browser.send("/job/1/plan", "/job/1/plan", {"template": "belt", "aim": "expected"})
    browser.send(
        "/job/1/plan", "/job/1/plan/tick", {"do": "done", "step": "apart:belt", "minutes": "9"}
    )
    page = browser.get(PAGE).split("Steps timed, together")[1]
    assert "9 min" in page


def test_wrong_figures_are_said_and_nothing_is_lost(browser: Browser, shop: Shop) -> None:
    before = dict(outcome(shop))
    sent = close(browser, charged="plenty", note="ran dry")
    assert sent.status_code == 422
    assert "is an amount" in sent.text.split('id="f-charged"')[1].split("</div>")[0]
    assert 'value="plenty"' in sent.text
    assert ">ran dry</textarea>" in sent.text
    sent = close(browser, cause="gremlin.bite")
    assert sent.status_code == 422
    assert "is not a suspect" in sent.text
    assert dict(outcome(shop)) == before


def test_parts_come_and_go(browser: Browser, shop: Shop) -> None:
    def names() -> list[str]:
        return [one.body["name"] for one in sheet_of(shop, "1").of_kind("part-used")]

    before = names()
    part = {"part_name": "clamp", "quantity": "2", "price": "3,20", "do": "add"}
    assert browser.send(PAGE, f"{PAGE}/part", part).status_code == 303
    assert names() == [*before, "clamp"]
    wrong = browser.send(PAGE, f"{PAGE}/part", {**part, "quantity": "some"})
    assert wrong.status_code == 422
    assert 'value="some"' in wrong.text
    entry = sheet_of(shop, "1").of_kind("part-used")[-1].id
    browser.send(PAGE, f"{PAGE}/part", {"do": "remove", "entry": entry})
    assert names() == before


def test_parts_of_the_offer_are_taken_over(browser: Browser, shop: Shop) -> None:
    browser.send("/", "/jobs", {"words": "howls", "owner": "Ines"})
    browser.send("/job/2/plan", "/job/2/plan", {"template": "belt", "aim": "expected"})
    offer = {"currency": "EUR", "labour_per_hour": "72", "tax_percent": "19", "offer_days": "14"}
    offer |= dict.fromkeys(("parts_margin_percent", "consumables", "travel"), "0")
    offer |= {"deposit_percent": "0", "o0.name": "belt", "o0.repairs": "belt", "do": "make"}
    offer |= {"p0.name": "belt", "p0.price": "21.35"}
    browser.send("/job/2/agree/offer", "/job/2/agree/offer", offer)
    browser.send(
        "/job/2/agree",
        "/job/2/agree",
        {"option": "belt", "name": "Ines", "yes": "yes", "version": "1"},
    )
    page = "/job/2/close"
    assert "In the offer agreed to" in browser.get(page)
    browser.send(page, f"{page}/part", {"do": "take-over", "take": ["belt"]})
    (part,) = sheet_of(shop, "2").of_kind("part-used")
    assert (part.body["name"], part.body["price"]) == ("belt", "21.35")


def test_reminders_only_where_asked_for(browser: Browser, shop: Shop) -> None:
    close(browser)
    before = len(reminders(shop, job_id="1"))
    close(browser, remind="yes")
    assert len(reminders(shop, job_id="1")) > before


def test_a_job_closed_too_early_is_opened(browser: Browser, shop: Shop) -> None:
    close(browser)
    browser.send(PAGE, f"{PAGE}/open", {"do": "open"})
    assert outcome(shop)["closed"] is False
    assert browser.send(PAGE, f"{PAGE}/open", {"do": "open"}).status_code == 422


def test_the_car_is_back_and_settles_the_earlier_job(browser: Browser, shop: Shop) -> None:
    close(browser)
    sent = browser.send(PAGE, f"{PAGE}/open", {"do": "back", "words": "It howls again."})
    assert sent.headers["location"] == "/job/2/comeback"
    page = browser.get("/job/2/comeback")
    assert "It howls again." in page
    assert "coolant pump bearing" in page
    assert "/job/2/comeback" in browser.get("/job/2")
    assert learned(shop) == {"coolant-pump.bearing": False}
    assert "came back" in browser.get(PAGE)
    close(browser, "/job/2/close")
    assert "it was found rightly, and failed again" in browser.get("/job/2/close")
    assert learned(shop) == {"coolant-pump.bearing": True}


def test_todays_take_stands_against_the_hand_over(
    browser: Browser, shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    from beltside.casework.shop import keep, write

    close(browser)
    browser.send(PAGE, f"{PAGE}/open", {"do": "back", "words": ""})
    sound = keep(shop, [b"today" * 99], media_type="audio/mp4").sha256
    job = sheet_of(shop, "2").job.id
    take = write(shop, job, "take", {"file": sound, "belt": "on"}, files=[sound])
    asked: list[str] = []

    def compared(shop: Shop, job_id: str, take: str) -> shop_comeback.SinceHandOver:
        asked.append(take)
        return shop_comeback.SinceHandOver("6.2 dB louder", 6.2, 5.0, 7.4, (), {})

    monkeypatch.setattr("beltside.web.routes.close.since_hand_over", compared)
    page = browser.get(f"/job/2/comeback?take={take.id}")
    assert asked == [take.id]
    assert "6.2 dB louder" in page
    monkeypatch.undo()
    # A file that is no recording is said, and the page stays.
    assert 'class="problem"' in browser.get(f"/job/2/comeback?take={take.id}")


def test_a_job_that_is_no_comeback_says_so(browser: Browser) -> None:
    assert browser.client.get("/job/1/comeback").status_code == 422
